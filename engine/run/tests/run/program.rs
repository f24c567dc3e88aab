//! Small programs, typed by the energy table of the plan.

use crate::fakes::volts;
use pilotage_core::{Dimension, Quantity, Tolerance, Unit};
use pilotage_evidence::heading::{
    BenchPlate, CautionText, Heading, ItemPlate, JOURNAL_FORM, LimitPlate, LimitSetPlate, Mode, StepHead,
};
use pilotage_evidence::{DecisionRule, EnergyState, ItemKind, SignalWord, SourceStatus};
use pilotage_plan::contactor::StopOpens;
use pilotage_plan::energy::{BenchState, Typed};
use pilotage_plan::files::sequence::AnswerText;
use pilotage_plan::kind::table_of;
use pilotage_plan::program::{
    Act, ActKind, AskSpec, DeadPlan, Interlock, IsolateSpec, JudgeSpec, MakeSafePlan, Order, Program, Protection,
    ProveDeadSpec, QuietOrder, ReadSpec, SafeAct, Setting, Step,
};
use pilotage_plan::source::Span;
use std::collections::BTreeMap;
use std::time::Duration;

/// Builds a program act by act.
pub(crate) struct Builder {
    state: BenchState,
    next: u32,
    steps: Vec<Step>,
}

pub(crate) fn span() -> Span {
    Span {
        file: "scripted.yaml".into(),
        line: 1,
        column: 1,
        offset: 0,
        length: 1,
    }
}

pub(crate) fn order(point: &str, to: &str) -> Order {
    let amount = to.split_once(' ').map(|(number, unit)| {
        let quantity = Quantity::of(number.parse().unwrap(), Unit::find(unit).unwrap()).unwrap();
        Setting::Amount(quantity, unit.to_owned())
    });
    Order {
        point: point.to_owned(),
        to: amount.unwrap_or_else(|| Setting::Word(to.to_owned())),
        becomes: None,
    }
}

pub(crate) fn quiet(point: &str, to: &str) -> QuietOrder {
    match BenchState::unknown().order(ItemKind::WallUnit, order(point, to)).0 {
        Typed::Quiet(order) => order,
        Typed::Energising(order) => panic!("{order:?} can energise"),
    }
}

pub(crate) fn limit(title: &str, tolerance: Tolerance, unit: &str) -> LimitPlate {
    LimitPlate {
        key: "inline".to_owned(),
        title: title.to_owned(),
        place: "scripted.yaml:1".to_owned(),
        standard: String::new(),
        edition: String::new(),
        clause: String::new(),
        status: SourceStatus::CommonPractice,
        by: None,
        tolerance,
        bounds: Vec::new(),
        unit: unit.to_owned(),
    }
}

pub(crate) fn pairs() -> Vec<String> {
    ["L-N", "L-PE", "N-PE"].map(str::to_owned).to_vec()
}

pub(crate) fn proof(at: &str) -> ProveDeadSpec {
    ProveDeadSpec {
        at: at.to_owned(),
        pairs: pairs(),
        deadline: Duration::from_secs(1),
        stops: true,
        behind_lock: at == "ac_input",
    }
}

pub(crate) fn read(name: &str, point: &str, unit: &str) -> ReadSpec {
    ReadSpec {
        name: name.to_owned(),
        point: point.to_owned(),
        unit: unit.to_owned(),
    }
}

pub(crate) fn judge(name: &str, tolerance: Tolerance) -> ActKind {
    ActKind::Judge(vec![JudgeSpec {
        name: name.to_owned(),
        value: None,
        unit: "V".to_owned(),
        limits: vec![limit(name, tolerance, "V")],
        late_bounds: BTreeMap::new(),
        when: None,
    }])
}

impl Builder {
    /// After the tool's own preamble.
    pub(crate) fn new() -> Self {
        Self {
            state: BenchState::isolated(),
            next: 0,
            steps: Vec::new(),
        }
    }

    pub(crate) fn step(mut self, id: &str) -> Self {
        let number = self.steps.len() as u32;
        self.steps.push(Step {
            head: StepHead {
                number,
                id: id.to_owned(),
                title: format!("scripted {id}"),
                place: "scripted.yaml:1".to_owned(),
                fail_means: None,
                look_next: Vec::new(),
                pictures: Vec::new(),
            },
            isolated: self.state.energy == EnergyState::Isolated,
            skipped: None,
            needs: BTreeMap::new(),
            fail_side: None,
            estimate: std::time::Duration::ZERO,
            acts: Vec::new(),
            span: span(),
        });
        self
    }

    pub(crate) fn last(mut self, change: impl FnOnce(&mut Step)) -> Self {
        change(self.steps.last_mut().unwrap());
        self
    }

    pub(crate) fn set(self, point: &str, to: &str) -> Self {
        self.set_as(point, to, None)
    }

    pub(crate) fn set_as(mut self, point: &str, to: &str, becomes: Option<&str>) -> Self {
        let order = Order {
            becomes: becomes.map(str::to_owned),
            ..order(point, to)
        };
        let before = self.state.energy;
        let (typed, after) = self.state.order(ItemKind::WallUnit, order);
        self.state = after;
        match typed {
            Typed::Quiet(order) => self.push(ActKind::Quiet(order), before),
            Typed::Energising(order) => {
                self.steps.last_mut().unwrap().isolated = false;
                self.push(ActKind::Energise(order), before)
            }
        }
    }

    pub(crate) fn act(self, kind: ActKind) -> Self {
        let before = self.state.energy;
        self.push(kind, before)
    }

    pub(crate) fn prove_dead(mut self) -> Self {
        let before = self.state.energy;
        self.state = self.state.proven_dead(ItemKind::WallUnit, "ac_output");
        self.push(ActKind::ProveDead(proof("ac_output")), before)
    }

    pub(crate) fn isolate(mut self) -> Self {
        let before = self.state.energy;
        self.state = BenchState::isolated();
        let spec = IsolateSpec {
            off: vec![
                SafeAct::Order(quiet("load.current", "0 A")),
                SafeAct::Order(quiet("pilot_load", "state_A")),
                SafeAct::Order(quiet("supply", "off")),
            ],
            prove: vec![proof("ac_output"), proof("ac_input")],
            prompt: "Lock the isolator Q1. Is it locked?".to_owned(),
        };
        self.push(ActKind::Isolate(spec), before)
    }

    fn push(mut self, kind: ActKind, before: EnergyState) -> Self {
        let act = Act {
            number: self.next,
            kind,
            before,
            after: self.state.energy,
            pass: None,
            constants: BTreeMap::new(),
            span: span(),
        };
        self.next += 1;
        self.steps.last_mut().unwrap().acts.push(act);
        self
    }

    pub(crate) fn build(self) -> Program {
        Program {
            heading: heading(&self.steps),
            constants: BTreeMap::new(),
            interlocks: vec![Interlock {
                point: "enclosure".to_owned(),
                must_be: "closed".to_owned(),
                every: EVERY,
            }],
            stop_proven_within: Duration::from_hours(12),
            stop_opens: vec![opens(ItemKind::WallUnit, "supply_contactor", None)],
            protections: vec![Protection {
                point: "terminal.temperature".to_owned(),
                unit: "°C".to_owned(),
                tolerance: Tolerance::AtMost(Quantity::of(90.0, Unit::find("°C").unwrap()).unwrap()),
                every: Duration::from_secs(1),
            }],
            hand_held: false,
            dead: dead_plan(),
            make_safe: make_safe(),
            without_source: None,
            steps: self.steps,
            estimate: Duration::from_mins(1),
        }
    }
}

/// A contactor of a kind of item, with what is read behind it.
pub(crate) fn opens(kind: ItemKind, point: &str, shows: Option<ReadSpec>) -> StopOpens {
    let mut contactors = table_of(kind).unwrap().contactors.iter();
    StopOpens {
        contactor: contactors.find(|contactor| contactor.point == point).unwrap(),
        shows,
    }
}

/// Period of the enclosure's interlock.
pub(crate) const EVERY: Duration = Duration::from_millis(50);

fn dead_plan() -> DeadPlan {
    let reference = || limit("reference", Tolerance::Between(volts(45.0), volts(55.0)), "V");
    let dead = || limit("dead", Tolerance::AtMost(volts(5.0)), "V");
    DeadPlan {
        burden_on: quiet("burden", "on"),
        burden_off: quiet("burden", "off"),
        burden: "100 kΩ across each pair".to_owned(),
        reference_ac: quiet("reference", "ac"),
        reference_dc: quiet("reference", "dc"),
        reference_off: quiet("reference", "off"),
        reference_reads: (
            read("reference_ac", "reference.voltage", "V"),
            read("reference_dc", "reference.dc_voltage", "V"),
        ),
        reference_limits: (reference(), reference()),
        limits: (dead(), dead()),
    }
}

fn make_safe() -> MakeSafePlan {
    let order = |point, to| SafeAct::Order(quiet(point, to));
    let wait = || SafeAct::Wait(Duration::from_millis(200));
    MakeSafePlan {
        from: BenchState::unknown(),
        normal: vec![
            order("load.current", "0 A"),
            order("pilot_load", "state_A"),
            wait(),
            SafeAct::SupplyOffUnlessDead(quiet("supply", "off"), proof("ac_output")),
            order("supply", "off"),
            order("load", "off"),
            SafeAct::ProveDead(proof("ac_output")),
        ],
        emergency: vec![
            order("supply", "off"),
            order("pilot_load", "state_A"),
            order("load.current", "0 A"),
            order("load", "off"),
            wait(),
            SafeAct::ProveDead(proof("ac_output")),
        ],
        by_hand: "Press red button S1. Then switch off Q1.".to_owned(),
    }
}

fn heading(steps: &[Step]) -> Heading {
    Heading {
        form: JOURNAL_FORM,
        program_version: "0.1.0".to_owned(),
        run: String::new(),
        mode: Mode::RealBench,
        started: String::new(),
        title: "scripted".to_owned(),
        inputs: Vec::new(),
        item: ItemPlate {
            kind: ItemKind::WallUnit,
            title: "wall unit".to_owned(),
            serial: "1".to_owned(),
            nameplate: Vec::new(),
        },
        bench: BenchPlate {
            title: "scripted bench".to_owned(),
            instruments: Vec::new(),
            notes: Vec::new(),
        },
        limits: LimitSetPlate {
            name: "scripted".to_owned(),
            title: "scripted".to_owned(),
        },
        decision_rule: DecisionRule::Simple,
        basis: Vec::new(),
        cautions: vec![CautionText {
            signal: SignalWord::Danger,
            text: "The connector carries mains.".to_owned(),
        }],
        steps: steps.iter().map(|step| step.head.clone()).collect(),
        closings: Vec::new(),
        not_tested: Vec::new(),
    }
}

/// Asks with hands, then goes live, holds, reads, and is proven dead again.
pub(crate) fn whole() -> Program {
    Builder::new()
        .step("WU-01")
        .act(ask_for_plate())
        .step("WU-19")
        .set("supply.voltage", "230 V")
        .set("supply", "on")
        .set("pilot_load", "state_B")
        .set("pilot_load", "state_C")
        .act(ActKind::Hold(Duration::from_secs(10)))
        .act(ActKind::Read(vec![read("v_out", "ac_output[L-N].voltage", "V")]))
        .act(judge("v_out", Tolerance::Between(volts(207.0), volts(253.0))))
        .step("WU-21")
        .set("pilot_load", "state_B")
        .prove_dead()
        .build()
}

pub(crate) fn ask_for_plate() -> ActKind {
    let one = Quantity::new(1.0, Dimension::NONE).unwrap();
    ActKind::Ask(AskSpec {
        prompt: "Is the plate legible?".to_owned(),
        answer: AnswerText::YesNo,
        name: "plate_ok".to_owned(),
        hands: true,
        does: None,
        uncertainty: None,
        limit: Some(limit("plate legible", Tolerance::AnyOf(vec![one]), "")),
    })
}
