//! A small run of a wall unit on a virtual bench, written as the runner writes it.
#![allow(clippy::unwrap_used, dead_code)]

pub(crate) mod pictured;

use pilotage_core::{Contribution, Dimension, Measured, NoValue, Quantity, RunTime, Tolerance, Uncertainty};
use pilotage_evidence::event::{Capture, CapturedChannel, DeadPair, DeadStatement, Exchange, Reading, SafeLine};
use pilotage_evidence::heading::{
    BenchPlate, CautionText, Heading, InstrumentPlate, ItemPlate, JOURNAL_FORM, LimitPlate, LimitSetPlate, Mode,
    NotTested, StepHead,
};
use pilotage_evidence::judge::judge_reading;
use pilotage_evidence::{
    DecisionRule, EnergyState, Event, ItemKind, Record, RecordWriter, SignalWord, SourceStatus, Verdict, rollup,
};
use std::collections::BTreeMap;
use std::path::Path;

pub(crate) fn quantity(si: f64, dimension: Dimension) -> Quantity {
    Quantity::new(si, dimension).unwrap()
}

pub(crate) fn volts(si: f64) -> Quantity {
    quantity(si, Dimension::VOLTAGE)
}

pub(crate) fn at(millis: u64) -> RunTime {
    RunTime(millis * 1_000_000)
}

pub(crate) fn measured(value: Quantity, source: &str, standard: f64) -> Measured {
    Measured {
        value,
        uncertainty: Uncertainty::Known(vec![Contribution {
            source: source.to_owned(),
            standard,
            degrees_of_freedom: None,
        }]),
    }
}

pub(crate) fn plate(title: &str, tolerance: Tolerance, unit: &str, status: SourceStatus) -> LimitPlate {
    LimitPlate {
        key: title.replace(' ', "_"),
        title: title.to_owned(),
        place: "limits/iec_61851_1_2017.yaml:12".to_owned(),
        standard: "IEC 61851-1".to_owned(),
        edition: "2017".to_owned(),
        clause: "Annex A, Table A.2".to_owned(),
        status,
        by: None,
        tolerance,
        bounds: Vec::new(),
        unit: unit.to_owned(),
    }
}

pub(crate) fn reading(
    name: &str,
    step: u32,
    point: &str,
    unit: &str,
    value: Result<Measured, NoValue>,
    millis: u64,
) -> Reading {
    let (value, no_value) = match value {
        Ok(measured) => (Some(measured), None),
        Err(reason) => (None, Some(reason)),
    };
    let exchange = Exchange {
        instrument: "meter".to_owned(),
        sent: format!("READ? \"{point}\""),
        received: value.as_ref().map(|measured| format!("{:+E}", measured.value.si())),
        began: at(millis),
        ended: at(millis + 20),
    };
    Reading {
        name: name.to_owned(),
        step,
        pass: None,
        point: point.to_owned(),
        value,
        no_value,
        word: None,
        unit: unit.to_owned(),
        taken: (at(millis), at(millis + 20)),
        exchanges: if point.is_empty() { Vec::new() } else { vec![exchange] },
        formula: None,
        from: BTreeMap::new(),
        constants: BTreeMap::new(),
        variables: BTreeMap::new(),
        moments: Vec::new(),
    }
}

fn step(number: u32, id: &str, title: &str) -> StepHead {
    StepHead {
        number,
        id: id.to_owned(),
        title: title.to_owned(),
        place: format!("sequences/wall_unit/quick.yaml:{}", 10 + number),
        fail_means: Some(format!("what a fail of {id} means")),
        look_next: vec![format!("look after {id}")],
        pictures: Vec::new(),
    }
}

pub(crate) fn heading(inputs: Vec<pilotage_evidence::heading::InputFile>) -> Heading {
    Heading {
        form: JOURNAL_FORM,
        program_version: "0.1.0".to_owned(),
        run: "run-0001".to_owned(),
        mode: Mode::VirtualBench {
            seed: Some(7),
            defect: Some("W21 plain".to_owned()),
            over_tcp: false,
            links: None,
        },
        started: "2026-01-01T00:00:00Z".to_owned(),
        title: "Wall unit quick check".to_owned(),
        inputs,
        item: ItemPlate {
            kind: ItemKind::WallUnit,
            title: "Wall unit, 32 A".to_owned(),
            serial: "WU-DEMO-0032".to_owned(),
            nameplate: vec![("rated current".to_owned(), "32 A".to_owned())],
        },
        bench: BenchPlate {
            title: "Mid bench".to_owned(),
            instruments: vec![InstrumentPlate {
                name: "meter".to_owned(),
                driver: "Scanning digital multimeter".to_owned(),
                link: "virtual".to_owned(),
                serial: "M-0001".to_owned(),
                calibrated_until: Some("2027-06-30".to_owned()),
            }],
            notes: vec!["attended only".to_owned()],
        },
        limits: LimitSetPlate {
            name: "iec_61851_1_2017".to_owned(),
            title: "IEC 61851-1, edition 2017, Annex A".to_owned(),
        },
        decision_rule: DecisionRule::Simple,
        basis: Vec::new(),
        cautions: vec![CautionText {
            signal: SignalWord::Danger,
            text: "The connector carries mains in states C and D.".to_owned(),
        }],
        steps: vec![
            step(0, "WU-13", "high level in state B"),
            step(1, "WU-40", "contact path under load"),
            step(2, "WU-26", "state map"),
            step(3, "WU-30", "rating ladder"),
        ],
        closings: Vec::new(),
        not_tested: vec![NotTested {
            what: "WU-06".to_owned(),
            title: "Capacitance of the pilot".to_owned(),
            why: "needs a 1 kHz bridge".to_owned(),
            left_out: false,
        }],
    }
}

/// Writes events and keeps what is needed to end steps as the runner does.
pub(crate) struct Bench {
    pub(crate) out: RecordWriter,
    pub(crate) millis: u64,
    pub(crate) verdicts: Vec<Verdict>,
    pub(crate) steps: Vec<Verdict>,
}

impl Bench {
    pub(crate) fn say(&mut self, event: Event) -> u64 {
        self.millis += 10;
        self.out.append(at(self.millis), event).unwrap().seq
    }

    pub(crate) fn read(&mut self, reading: Reading) -> u64 {
        self.say(Event::Reading(Box::new(reading)))
    }

    pub(crate) fn judge(&mut self, reading: &Reading, seq: u64, limit: &LimitPlate) {
        let judgement = judge_reading(reading, limit, DecisionRule::Simple).of(reading, seq, limit);
        self.verdicts.push(judgement.verdict);
        self.say(Event::Judged(Box::new(judgement)));
    }

    pub(crate) fn end_step(&mut self, step: u32) {
        let verdict = rollup::step_verdict(&std::mem::take(&mut self.verdicts));
        self.steps.push(verdict);
        self.say(Event::StepEnded {
            step,
            verdict,
            because: (verdict != Verdict::Pass).then(|| "a limit was not met".to_owned()),
            side: None,
        });
    }
}

/// A whole sealed run into `folder`: one step passes, one fails, one sweeps, one does not apply.
pub(crate) fn write_run(folder: &Path) {
    let mut out = RecordWriter::create(folder).unwrap();
    let inputs = vec![
        out.input("sequence", "sequences/quick.yaml", b"pilotage: sequence/1\n")
            .unwrap(),
        out.input("item", "shipped:wall_unit_32a", b"pilotage: item/1\n")
            .unwrap(),
    ];
    let mut bench = Bench {
        out,
        millis: 0,
        verdicts: Vec::new(),
        steps: Vec::new(),
    };
    bench.say(Event::RunStarted(Box::new(heading(inputs))));
    bench.say(Event::CautionAcknowledged {
        caution: 0,
        by: "J. Doe".to_owned(),
    });
    bench.say(Event::Identified {
        instrument: "meter".to_owned(),
        reply: "PILOTAGE VIRTUAL,SCAN-DMM,M-0001,1.0".to_owned(),
        expected: true,
    });
    level_step(&mut bench);
    path_step(&mut bench);
    map_step(&mut bench);
    finish(bench);
}

fn level_step(bench: &mut Bench) {
    bench.say(Event::StepStarted { step: 0 });
    let limit = plate(
        "high level in state B",
        Tolerance::Between(volts(8.477), volts(9.489)),
        "V",
        SourceStatus::Derived,
    );
    let level = reading(
        "v_high",
        0,
        "pilot.high",
        "V",
        Ok(measured(volts(8.98), "capture gain", 0.01)),
        bench.millis,
    );
    let seq = bench.read(level.clone());
    bench.judge(&level, seq, &limit);
    capture(bench);
    bench.end_step(0);
}

fn capture(bench: &mut Bench) {
    // 4 ms of a 1 kHz pilot at 50 kHz, and an output that comes up in the middle.
    let pilot: Vec<i16> = (0..200).map(|n| if n % 50 < 27 { 1100 } else { -1500 }).collect();
    let output: Vec<i16> = (0..200).map(|n| if n < 100 { 0 } else { 1300 }).collect();
    let (file, sha256) = bench.out.store("WU-13", &[pilot, output]).unwrap();
    let channel = |point: &str, unit: &str, scale: f64| CapturedChannel {
        point: point.to_owned(),
        unit: unit.to_owned(),
        first_sample: at(bench.millis),
        interval_s: 2e-5,
        samples: 200,
        offset: 0.0,
        scale,
        gain_standard: None,
        offset_standard: None,
        time_standard: None,
        delay_standard_s: None,
    };
    let capture = Capture {
        name: "WU-13".to_owned(),
        step: 0,
        pass: None,
        file,
        sha256,
        channels: vec![channel("pilot", "V", 0.007_812_5), channel("ac_output[L-N]", "V", 0.25)],
        exchanges: Vec::new(),
    };
    let seq = bench.say(Event::Captured(capture));
    let mut delay = reading(
        "close_delay",
        0,
        "",
        "ms",
        Ok(measured(quantity(2e-3, Dimension::TIME), "time base", 1e-5)),
        bench.millis,
    );
    delay.formula =
        Some("time from pilot.high falling through 7 V to ac_output[L-N].envelope rising through 80 V".to_owned());
    delay.from.insert("WU-13".to_owned(), seq);
    let limit = plate(
        "delay of closing",
        Tolerance::AtMost(quantity(3.0, Dimension::TIME)),
        "s",
        SourceStatus::FromMemory,
    );
    let seq = bench.read(delay.clone());
    bench.judge(&delay, seq, &limit);
}

fn path_step(bench: &mut Bench) {
    bench.say(Event::StepStarted { step: 1 });
    bench.say(Event::Intent {
        act: 3,
        order: "set pilot_load to state_C".to_owned(),
        before: EnergyState::OutputDead,
        after: EnergyState::Live,
        messages: vec![("pilot_box".to_owned(), "ROUTe:PILot C".to_owned())],
    });
    let drop = reading(
        "drop",
        1,
        "path[L].voltage",
        "V",
        Ok(measured(volts(1.0), "meter gain", 0.002)),
        bench.millis,
    );
    let current = quantity(31.9, Dimension::CURRENT);
    let current = reading(
        "i_now",
        1,
        "ac_output[L].current",
        "A",
        Ok(measured(current, "load gain", 0.05)),
        bench.millis,
    );
    let (drop_seq, current_seq) = (bench.read(drop.clone()), bench.read(current.clone()));
    let mut path = computed(
        "r_path",
        1,
        "$drop / $i_now",
        "mΩ",
        &[("drop", &drop), ("i_now", &current)],
        bench.millis,
    );
    path.from = BTreeMap::from([("drop".to_owned(), drop_seq), ("i_now".to_owned(), current_seq)]);
    let seq = bench.read(path.clone());
    let limit = plate(
        "resistance of one pole with its cable",
        Tolerance::AtMost(quantity(0.029, Dimension::RESISTANCE)),
        "mΩ",
        SourceStatus::CommonPractice,
    );
    bench.judge(&path, seq, &limit);
    dead(bench);
    bench.end_step(1);
}

pub(crate) fn computed(
    name: &str,
    step: u32,
    formula: &str,
    unit: &str,
    inputs: &[(&str, &Reading)],
    millis: u64,
) -> Reading {
    let expr = pilotage_core::Expr::parse(formula).unwrap();
    let values = |name: &str| {
        let (_, reading) = inputs.iter().find(|(own, _)| *own == name)?;
        Some(reading.value.clone().ok_or(NoValue::TimedOut))
    };
    let value = match expr.evaluate(&values) {
        Ok(pilotage_core::expr::Value::Measured(measured)) => Ok(measured),
        Ok(_) => unreachable!("a quotient is a quantity"),
        Err(reason) => Err(reason),
    };
    let mut reading = reading(name, step, "", unit, value, millis);
    reading.formula = Some(formula.to_owned());
    reading
}

fn dead(bench: &mut Bench) {
    let mut level = |bench: &mut Bench, name: &str, si: f64| {
        let value = measured(volts(si), "meter offset", 0.01);
        let reading = reading(name, 1, name, "V", Ok(value), bench.millis);
        bench.read(reading)
    };
    let before = [
        level(bench, "reference.voltage", 50.1),
        level(bench, "reference.dc_voltage", 50.0),
    ];
    let pair = |bench: &mut Bench, pair: &str, level: &mut dyn FnMut(&mut Bench, &str, f64) -> u64| DeadPair {
        pair: pair.to_owned(),
        ac: level(bench, &format!("ac_output[{pair}].voltage"), 0.2),
        dc: level(bench, &format!("ac_output[{pair}].dc_voltage"), 0.1),
        dead: true,
    };
    let pairs = ["L-N", "L-PE", "N-PE"]
        .map(|name| pair(bench, name, &mut level))
        .to_vec();
    let after = [
        level(bench, "reference.voltage", 50.1),
        level(bench, "reference.dc_voltage", 50.0),
    ];
    let band = Tolerance::Between(volts(45.0), volts(55.0));
    let low = |title: &str, bound: f64| {
        plate(
            title,
            Tolerance::AtMost(volts(bound)),
            "V",
            SourceStatus::CommonPractice,
        )
    };
    bench.verdicts.push(Verdict::Pass);
    bench.say(Event::Dead(DeadStatement {
        at: "ac_output".to_owned(),
        dead: true,
        pairs,
        burden: "100 kΩ".to_owned(),
        proofs: [before, after].concat(),
        resting: Vec::new(),
        sentence: "output measured dead, L-N, L-PE and N-PE, AC and DC, meter proven before and after".to_owned(),
        limits: vec![
            low("dead, AC", 30.0),
            low("dead, DC", 60.0),
            plate("reference, AC", band.clone(), "V", SourceStatus::CommonPractice),
            plate("reference, DC", band, "V", SourceStatus::CommonPractice),
        ],
    }));
}

fn map_step(bench: &mut Bench) {
    bench.say(Event::StepStarted { step: 2 });
    for (number, ohm) in [30e3, 2.7e3, 880.0, 880.0, 2.7e3, 30e3].into_iter().enumerate() {
        let pass = Some(format!("r_set = {ohm} Ω"));
        let high = 12.0 - 11.3 * 1000.0 / (1000.0 + ohm);
        let output = if ohm < 1000.0 { 230.0 } else { 0.1 };
        let resistance = quantity(ohm, Dimension::RESISTANCE);
        for (name, point, unit, value) in [
            ("r", "pilot_load.resistance", "Ω", resistance),
            ("v", "pilot.high", "V", volts(high)),
            ("out", "ac_output[L-N].voltage", "V", volts(output)),
        ] {
            let mut reading = reading(name, 2, point, unit, Ok(measured(value, "gain", 0.01)), bench.millis);
            reading.pass.clone_from(&pass);
            let seq = bench.read(reading.clone());
            if number == 2 && name == "v" {
                let limit = plate("threshold", Tolerance::AtMost(volts(8.0)), "V", SourceStatus::Restated);
                bench.judge(&reading, seq, &limit);
            }
        }
    }
    bench.end_step(2);
}

fn finish(mut bench: Bench) {
    bench.steps.push(Verdict::NotRun);
    bench.say(Event::StepEnded {
        step: 3,
        verdict: Verdict::NotRun,
        because: Some("does not apply: the rating is fixed".to_owned()),
        side: None,
    });
    bench.say(Event::MadeSafe {
        confirmed: true,
        emergency: false,
        lines: vec![SafeLine {
            what: "supply off".to_owned(),
            confirmed: true,
            seen: "OUTPut? answers 0".to_owned(),
        }],
        by_hand: None,
    });
    let codes = rollup::codes(&bench.steps, None, true);
    let verdict = rollup::run_verdict(&bench.steps, None);
    bench.say(Event::RunEnded {
        verdict,
        exit_code: rollup::exit_code(&codes),
        codes,
    });
    bench.out.sync().unwrap();
    bench.out.seal().unwrap();
}

/// The run of [`write_run`], opened.
pub(crate) fn run(folder: &Path) -> Record {
    write_run(folder);
    Record::open(folder).unwrap()
}
