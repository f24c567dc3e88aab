//! A step as the power side of a charger will have it, with every form of picture: made-up readings, nothing was measured.
#![allow(clippy::unwrap_used, dead_code)]

use super::{Bench, at, heading, measured, plate, quantity, reading};
use pilotage_core::{Dimension, Quantity, Tolerance, Unit};
use pilotage_evidence::event::{Capture, CapturedChannel, Moment, Reading};
use pilotage_evidence::heading::StepHead;
use pilotage_evidence::pictured::{Draws, PicturePlate, Rule, Shown};
use pilotage_evidence::{Event, Record, RecordWriter, SourceStatus, Verdict};
use std::collections::BTreeMap;
use std::path::Path;

const PERCENT: f64 = 0.01;

fn shown(name: &str, says: &str, unit: &str) -> Shown {
    Shown {
        name: name.to_owned(),
        says: says.to_owned(),
        unit: unit.to_owned(),
    }
}

fn picture(title: &str, draws: Draws) -> PicturePlate {
    PicturePlate {
        title: title.to_owned(),
        draws,
    }
}

fn head(number: u32, id: &str, title: &str, pictures: Vec<PicturePlate>) -> StepHead {
    StepHead {
        number,
        id: id.to_owned(),
        title: title.to_owned(),
        place: format!("onboard_charger/after_repair.yaml:{}", 100 + number),
        fail_means: None,
        look_next: Vec::new(),
        pictures,
    }
}

/// IEC 61851-1, Table A.8: 0.6 A a point up to 85 %, then 2.5 A a point above 64 %.
fn current_for(percent: f64) -> f64 {
    if percent <= 85.0 {
        0.6 * percent
    } else {
        2.5 * (percent - 64.0)
    }
}

fn steps() -> Vec<StepHead> {
    let map = |title: &str, of: Shown| {
        picture(
            title,
            Draws::Map {
                of,
                across: shown("load", "load", "%"),
                up: shown("u_line", "supply voltage", "V"),
            },
        )
    };
    let rule = (0..=86)
        .map(|n| 10.0 + f64::from(n))
        .map(|d| (d * PERCENT, current_for(d)))
        .collect();
    let orders: Vec<Shown> = (2..=40)
        .map(|n| shown(&format!("h_{n}"), &format!("h_{n}"), "A"))
        .collect();
    vec![
        head(
            0,
            "OB-30",
            "efficiency and power factor",
            vec![
                map(
                    "Efficiency over load and supply voltage",
                    shown("efficiency", "efficiency", "%"),
                ),
                map(
                    "Power factor over load and supply voltage",
                    shown("factor", "power factor", ""),
                ),
            ],
        ),
        head(
            1,
            "OB-14",
            "current against the duty",
            vec![picture(
                "Current against the offer",
                Draws::Ladder {
                    of: vec![shown("i_drawn", "line current", "A")],
                    across: shown("duty", "duty of the pilot", "%"),
                    rule: Some(Rule {
                        says: "IEC 61851-1, Table A.8".to_owned(),
                        points: rule,
                    }),
                },
            )],
        ),
        head(
            2,
            "OB-34",
            "harmonics",
            vec![picture(
                "Harmonics of the line current",
                Draws::Bars {
                    of: orders,
                    across: None,
                    along: Some("harmonic order".to_owned()),
                    logarithmic: true,
                },
            )],
        ),
        head(
            3,
            "OB-47",
            "a dip of the supply",
            vec![picture(
                "Half a second at 40 % of the supply",
                Draws::Wave {
                    of: vec![
                        shown("ac_input[L-N]", "supply", "V"),
                        shown("dc_output.current", "output current", "A"),
                    ],
                    marks: vec![shown("hold_up", "hold_up", "ms"), shown("recovery", "recovery", "ms")],
                },
            )],
        ),
        head(
            4,
            "OB-40",
            "soak",
            vec![picture(
                "An hour at full load",
                Draws::Course {
                    of: vec![
                        shown("t_soak", "coolant out", "°C"),
                        shown("t_board", "terminal", "°C"),
                        shown("i_soak", "output current", "A"),
                    ],
                },
            )],
        ),
    ]
}

struct Run {
    bench: Bench,
    step: u32,
}

impl Run {
    fn read(&mut self, made: Reading) -> (Reading, u64) {
        let seq = self.bench.read(made.clone());
        (made, seq)
    }

    /// A reading with its standard uncertainty, in a pass.
    fn taken(
        &mut self,
        name: &str,
        value: f64,
        standard: f64,
        unit: &str,
        pass: &[(&str, Quantity)],
    ) -> (Reading, u64) {
        let of = Unit::find(unit).unwrap();
        let value = Quantity::new(of.to_si(value), of.dimension).unwrap();
        let standard = of.to_si(standard) - of.to_si(0.0);
        let millis = self.bench.millis;
        let mut made = reading(
            name,
            self.step,
            name,
            unit,
            Ok(measured(value, "analyser", standard)),
            millis,
        );
        made.variables = pass.iter().map(|(name, value)| ((*name).to_owned(), *value)).collect();
        let labels: Vec<String> = pass.iter().map(|(name, value)| format!("{name} = {value}")).collect();
        made.pass = (!labels.is_empty()).then(|| labels.join(", "));
        self.read(made)
    }

    fn judge(&mut self, made: &(Reading, u64), title: &str, tolerance: Tolerance, unit: &str) {
        let limit = plate(title, tolerance, unit, SourceStatus::Restated);
        self.bench.judge(&made.0, made.1, &limit);
    }

    fn step(&mut self, number: u32, acts: impl FnOnce(&mut Self)) {
        self.step = number;
        self.bench.say(Event::StepStarted { step: number });
        acts(self);
        self.bench.end_step(number);
    }
}

fn ratio(percent: f64) -> Quantity {
    quantity(percent * PERCENT, Dimension::NONE)
}

/// Shares of the load in percent, and supply voltages.
pub(crate) const LOADS: [f64; 5] = [10.0, 25.0, 50.0, 75.0, 100.0];
/// See [`LOADS`].
pub(crate) const LINES_V: [f64; 3] = [110.0, 230.0, 264.0];

/// Efficiency in percent: fails at the smallest load on the lowest voltage.
pub(crate) fn efficiency(load: f64, volts: f64) -> f64 {
    95.2 - 42.0 / (load + 2.0) - 0.012 * (264.0 - volts)
}

fn maps(run: &mut Run) {
    for volts in LINES_V {
        for load in LOADS {
            let pass = [("u_line", quantity(volts, Dimension::VOLTAGE)), ("load", ratio(load))];
            let efficiency = run.taken("efficiency", efficiency(load, volts), 0.1, "%", &pass);
            run.judge(&efficiency, "efficiency", Tolerance::AtLeast(ratio(90.0)), "%");
            let factor = 0.995 - 0.4 / (load + 5.0);
            let factor = run.taken("factor", factor, 0.001, "1", &pass);
            if load >= 50.0 {
                run.judge(&factor, "power factor", Tolerance::AtLeast(ratio(98.0)), "");
            }
        }
    }
}

fn ladder(run: &mut Run) {
    for percent in [10.0, 16.0, 25.0, 40.0, 53.3, 66.7, 80.0, 89.2, 96.0] {
        let rule = current_for(percent);
        let drawn = if percent > 95.0 { rule + 1.2 } else { 0.97 * rule };
        let made = run.taken("i_drawn", drawn, 0.05 + 0.002 * rule, "A", &[("duty", ratio(percent))]);
        let most = quantity(rule, Dimension::CURRENT);
        run.judge(&made, "current offered", Tolerance::AtMost(most), "A");
    }
}

/// IEC 61000-3-2, Table 1, class A, in A, for orders 2 to 40.
pub(crate) fn class_a(order: u32) -> f64 {
    match order {
        2 => 1.08,
        3 => 2.30,
        4 => 0.43,
        5 => 1.14,
        6 => 0.30,
        7 => 0.77,
        9 => 0.40,
        11 => 0.33,
        13 => 0.21,
        _ if order.is_multiple_of(2) => 0.23 * 8.0 / f64::from(order),
        _ => 0.15 * 15.0 / f64::from(order),
    }
}

/// Made up: odd orders fall with the order, the 11th is too high.
pub(crate) fn harmonic(order: u32) -> f64 {
    match order {
        11 => 0.36,
        _ if order.is_multiple_of(2) => 0.02 / f64::from(order),
        _ => 2.4 / f64::from(order).powf(1.4),
    }
}

fn harmonics(run: &mut Run) {
    for order in 2..=40 {
        let name = format!("h_{order}");
        let made = run.taken(&name, harmonic(order), 0.002, "A", &[]);
        let most = quantity(class_a(order), Dimension::CURRENT);
        run.judge(&made, &format!("harmonic {order}"), Tolerance::AtMost(most), "A");
    }
}

/// 800 ms at 5 kHz: from 150 ms to 650 ms the supply has 40 %; the output goes 31 ms later and comes back slowly.
fn dip(run: &mut Run) {
    const INTERVAL_S: f64 = 2e-4;
    let wave = |n: u16| {
        let t = f64::from(n) * INTERVAL_S;
        let share = if (0.15..0.65).contains(&t) { 0.4 } else { 1.0 };
        (share * 325.0 * 64.0 * (t * 100.0 * std::f64::consts::PI).sin()) as i16
    };
    let output = |n: u16| {
        let t = f64::from(n) * INTERVAL_S;
        let amps = match t {
            _ if t < 0.181 => 16.0,
            _ if t < 0.69 => 0.0,
            _ => 16.0 * ((t - 0.69) / 0.08).min(1.0),
        };
        (amps * 1000.0) as i16
    };
    let samples = [
        (0..4000).map(wave).collect(),
        (0..4000).map(output).collect::<Vec<i16>>(),
    ];
    let (file, sha256) = run.bench.out.store("OB-47", &samples).unwrap();
    let begin = at(run.bench.millis);
    let channel = |point: &str, unit: &str, scale: f64| CapturedChannel {
        point: point.to_owned(),
        unit: unit.to_owned(),
        first_sample: begin,
        interval_s: INTERVAL_S,
        samples: 4000,
        offset: 0.0,
        scale,
        gain_standard: None,
        offset_standard: None,
        time_standard: None,
        delay_standard_s: None,
    };
    let capture = Capture {
        name: "OB-47-1".to_owned(),
        step: run.step,
        pass: None,
        file,
        sha256,
        channels: vec![
            channel("ac_input[L-N]", "V", 1.0 / 64.0),
            channel("dc_output.current", "A", 1e-3),
        ],
        exchanges: Vec::new(),
    };
    let seq = run.bench.say(Event::Captured(capture));
    for (name, millis, first, second) in [
        (
            "hold_up",
            31.0,
            (150, "ac_input[L-N].envelope falls through 160 V"),
            (181, "dc_output.current falls through 1 A"),
        ),
        (
            "recovery",
            120.0,
            (650, "ac_input[L-N].envelope rises through 160 V"),
            (770, "dc_output.current rises through 15 A"),
        ),
    ] {
        let time = measured(quantity(millis * 1e-3, Dimension::TIME), "time base", 1e-4);
        let mut made = reading(name, run.step, "", "ms", Ok(time), run.bench.millis);
        made.from = BTreeMap::from([("OB-47-1".to_owned(), seq)]);
        let moment = |(millis, what): (u64, &str)| Moment {
            when: begin.plus(std::time::Duration::from_millis(millis)),
            what: what.to_owned(),
        };
        made.moments = vec![moment(first), moment(second)];
        let made = run.read(made);
        run.judge(&made, name, Tolerance::AtMost(quantity(0.2, Dimension::TIME)), "ms");
    }
}

fn soak(run: &mut Run) {
    for minute in 0..=60 {
        let share = 1.0 - (-f64::from(minute) / 14.0).exp();
        run.taken("t_soak", 23.0 + 19.0 * share, 0.3, "°C", &[]);
        run.taken("t_board", 23.0 + 38.0 * share, 0.5, "°C", &[]);
        let amps = if minute > 40 { 14.2 } else { 16.0 };
        let last = run.taken("i_soak", amps, 0.02, "A", &[]);
        if minute == 60 {
            let least = quantity(13.0, Dimension::CURRENT);
            run.judge(&last, "current at the end", Tolerance::AtLeast(least), "A");
        }
        run.bench.millis += 59_900;
    }
}

/// A sealed run with all of them, opened.
pub(crate) fn charger(folder: &Path) -> Record {
    let out = RecordWriter::create(folder).unwrap();
    let mut head = heading(Vec::new());
    "On-board charger, invented".clone_into(&mut head.title);
    head.steps = steps();
    let bench = Bench {
        out,
        millis: 0,
        verdicts: Vec::new(),
        steps: Vec::new(),
    };
    let mut run = Run { bench, step: 0 };
    run.bench.say(Event::RunStarted(Box::new(head)));
    run.step(0, maps);
    run.step(1, ladder);
    run.step(2, harmonics);
    run.step(3, dip);
    run.step(4, soak);
    let mut bench = run.bench;
    bench.say(Event::RunEnded {
        verdict: Verdict::Fail,
        exit_code: 1,
        codes: vec![1],
    });
    bench.out.sync().unwrap();
    bench.out.seal().unwrap();
    Record::open(folder).unwrap()
}
