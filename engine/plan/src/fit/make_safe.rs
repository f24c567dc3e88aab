//! The tool's own order of de-energising, and what proves anything dead. A sequence adds nothing to it and removes nothing.

use super::fitter::Fitter;
use super::names;
use crate::energy;
use crate::program::{
    DeadPlan, IsolateSpec, MakeSafePlan, Order, ProveDeadSpec, QuietOrder, ReadSpec, SafeAct, Setting,
};
use pilotage_core::{Dimension, Quantity, Tolerance};
use pilotage_evidence::SourceStatus;
use pilotage_evidence::heading::LimitPlate;
use std::time::Duration;

/// An item must open within 100 ms (state A after C); the wait is that and 100 ms more.
const OPENS_WITHIN: Duration = Duration::from_millis(200);
/// Longest time for a proof within make safe and isolate.
const PROOF_DEADLINE: Duration = Duration::from_secs(10);

fn word(point: &str, word: &str) -> Order {
    Order {
        point: point.to_owned(),
        to: Setting::Word(word.to_owned()),
        becomes: None,
    }
}

fn quiet(fitter: &Fitter<'_>, orders: Vec<Order>) -> Vec<QuietOrder> {
    energy::all_quiet(fitter.request.sequence.item.value, orders)
        .expect("orders that switch off are quiet in every state; the energy table is tested for it")
}

fn one(fitter: &Fitter<'_>, point: &str, setting: &str) -> QuietOrder {
    let mut orders = quiet(fitter, vec![word(point, setting)]);
    orders.remove(0)
}

/// Orders that take the load away, as far as this bench has one.
fn unload(fitter: &Fitter<'_>) -> Vec<Order> {
    let mut orders = Vec::new();
    if let Some(order) = no_current(fitter) {
        orders.push(order);
    }
    if fitter
        .services
        .choices("load")
        .is_some_and(|words| words.contains(&"off"))
    {
        orders.push(word("load", "off"));
    }
    orders
}

fn no_current(fitter: &Fitter<'_>) -> Option<Order> {
    let (unit, (low, _)) = fitter.services.amount("load.current")?;
    let lowest = names::constant(low).ok()?;
    let zero = Quantity::new(0.0, Dimension::CURRENT).ok()?;
    let to = Setting::Amount(zero, unit.value.clone());
    (lowest.si() <= 0.0).then(|| Order {
        point: "load.current".to_owned(),
        to,
        becomes: None,
    })
}

fn proof(fitter: &Fitter<'_>, at: &str) -> ProveDeadSpec {
    ProveDeadSpec {
        at: at.to_owned(),
        pairs: fitter.plate.pairs.clone(),
        deadline: PROOF_DEADLINE,
        stops: false,
    }
}

/// Brings the diode of the pilot load back, so that the next run begins as it expects to.
fn restored(fitter: &Fitter<'_>) -> Option<Order> {
    let words = fitter.services.choices("pilot_load.diode")?;
    words.contains(&"normal").then(|| word("pilot_load.diode", "normal"))
}

/// Normal order: load away, pilot to A, wait for the item, supply off. Emergency order: supply off first (stop categories
/// 1 and 0 of IEC 60204-1). Both end with proofs at the output and the input.
pub(crate) fn make_safe_plan(fitter: &Fitter<'_>) -> MakeSafePlan {
    MakeSafePlan {
        normal: normal(fitter),
        emergency: emergency(fitter),
        by_hand: by_hand(fitter),
    }
}

fn normal(fitter: &Fitter<'_>) -> Vec<SafeAct> {
    let mut orders = unload(fitter);
    orders.push(word("pilot_load", "state_A"));
    let gentle = orders.len();
    orders.push(word("supply", "off"));
    orders.extend(restored(fitter));
    let mut quiet = quiet(fitter, orders).into_iter();
    let mut acts: Vec<SafeAct> = quiet.by_ref().take(gentle).map(SafeAct::Order).collect();
    acts.push(SafeAct::Wait(OPENS_WITHIN));
    let supply_off = one(fitter, "supply", "off");
    acts.push(SafeAct::SupplyOffUnlessDead(supply_off, proof(fitter, "ac_output")));
    acts.extend(quiet.map(SafeAct::Order));
    acts.extend(proofs(fitter));
    acts
}

fn emergency(fitter: &Fitter<'_>) -> Vec<SafeAct> {
    let mut orders = vec![word("supply", "off")];
    orders.extend(unload(fitter));
    orders.push(word("pilot_load", "state_A"));
    let mut acts: Vec<SafeAct> = quiet(fitter, orders).into_iter().map(SafeAct::Order).collect();
    acts.push(SafeAct::Wait(OPENS_WITHIN));
    acts.extend(proofs(fitter));
    acts
}

fn proofs(fitter: &Fitter<'_>) -> [SafeAct; 2] {
    ["ac_output", "ac_input"].map(|at| SafeAct::ProveDead(proof(fitter, at)))
}

fn by_hand(fitter: &Fitter<'_>) -> String {
    let bench = fitter.request.bench;
    format!(
        "Treat the connector and everything wired to it as live. Do not touch it. Press {stop}. Switch {isolator} off and \
         lock it. Then measure {pairs} at the connector, AC and DC, with a meter that was tried on a live source just \
         before and just after. Touch nothing before every pair was measured dead.",
        stop = bench.stop_name.value,
        isolator = bench.isolator_name.value,
        pairs = fitter.plate.pairs.join(", "),
    )
}

/// What `isolate` does: everything off, proofs at input and output, the person locks the isolator.
pub(crate) fn isolate_spec(fitter: &Fitter<'_>) -> IsolateSpec {
    let mut orders = unload(fitter);
    orders.push(word("pilot_load", "state_A"));
    orders.extend(restored(fitter));
    orders.push(word("supply", "off"));
    let stopping = |at: &str| ProveDeadSpec {
        stops: true,
        ..proof(fitter, at)
    };
    IsolateSpec {
        off: quiet(fitter, orders),
        prove: vec![stopping("ac_output"), stopping("ac_input")],
        prompt: format!(
            "Switch {} off, lock it and keep the key. Is it locked?",
            fitter.request.bench.isolator_name.value
        ),
    }
}

/// What proves dead: the bench's own reference before and after, a known burden, a limit for AC and one for DC.
pub(crate) fn dead_plan(fitter: &Fitter<'_>) -> DeadPlan {
    let burden = match names::constant(&fitter.request.bench.dead_burden) {
        Ok(resistance) => format!("{resistance} across each pair"),
        Err(_) => "the bench's burden across each pair".to_owned(),
    };
    DeadPlan {
        burden_on: one(fitter, "burden", "on"),
        burden_off: one(fitter, "burden", "off"),
        burden,
        reference_ac: one(fitter, "reference", "ac"),
        reference_dc: one(fitter, "reference", "dc"),
        reference_off: one(fitter, "reference", "off"),
        reference_reads: (
            reference_read(fitter, "reference_ac", "reference.voltage"),
            reference_read(fitter, "reference_dc", "reference.dc_voltage"),
        ),
        reference_limits: (reference_limit("AC"), reference_limit("DC")),
        limits: (dead_ac(), dead_dc()),
    }
}

fn reference_read(fitter: &Fitter<'_>, name: &str, point: &str) -> ReadSpec {
    let unit = fitter
        .services
        .measure(point)
        .map_or("V", |(_, measure)| measure.unit.value.as_str());
    ReadSpec {
        name: name.to_owned(),
        point: point.to_owned(),
        unit: unit.to_owned(),
    }
}

fn volts(si: f64) -> Quantity {
    Quantity::new(si, Dimension::VOLTAGE).expect("a literal is finite")
}

fn built_in(key: &str, title: &str, tolerance: Tolerance) -> LimitPlate {
    LimitPlate {
        key: key.to_owned(),
        title: title.to_owned(),
        place: "built in".to_owned(),
        standard: String::new(),
        edition: String::new(),
        clause: String::new(),
        status: SourceStatus::CommonPractice,
        by: None,
        tolerance,
        unit: "V".to_owned(),
    }
}

/// The reference gives about 50 V; a meter that reads it within 10 % counts as proven.
fn reference_limit(kind: &str) -> LimitPlate {
    let tolerance = Tolerance::Between(volts(45.0), volts(55.0));
    let key = format!("reference.{}", kind.to_lowercase());
    built_in(
        &key,
        &format!("Meter proven on the bench's own reference, {kind}"),
        tolerance,
    )
}

fn dead_ac() -> LimitPlate {
    LimitPlate {
        standard: "IEC 61140".to_owned(),
        clause: "touch voltage, AC".to_owned(),
        status: SourceStatus::FromMemory,
        ..built_in("dead.ac", "Measured dead, AC", Tolerance::AtMost(volts(30.0)))
    }
}

/// DC may be of either sign.
fn dead_dc() -> LimitPlate {
    LimitPlate {
        standard: "IEC 61140".to_owned(),
        clause: "touch voltage, DC".to_owned(),
        status: SourceStatus::FromMemory,
        ..built_in(
            "dead.dc",
            "Measured dead, DC",
            Tolerance::Between(volts(-60.0), volts(60.0)),
        )
    }
}
