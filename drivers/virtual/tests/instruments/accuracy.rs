//! Over 200 seeds, every reading lies within what its driver file states, against the truth of the world.

use super::desk::Desk;
use super::files::{driver, quantity, text};
use pilotage_core::RunTime;
use pilotage_virtual::physics::{DeadPath, Node, Pair, Pole, World};
use serde_json::Value;
use std::time::Duration;

const SEEDS: u64 = 200;

/// Largest error that the statement allows at a value.
fn limit(accuracy: &Value, value: f64) -> f64 {
    let given = |key: &str| {
        if accuracy[key].is_null() {
            0.0
        } else {
            quantity(&accuracy[key])
        }
    };
    given("of_reading") * value.abs() + given("of_range") * given("range") + given("fixed") + given("resolution") / 2.0
}

/// A bench that is charging with 20 A, with the reference on.
fn charging(seed: u64) -> Desk {
    let mut desk = Desk::new(seed);
    desk.tell("supply", "VOLT 230;OUTP ON");
    desk.wait(Duration::from_secs(4));
    desk.tell("pilot_box", "ROUT:PIL B");
    desk.wait(Duration::from_secs(4));
    desk.tell("pilot_box", "ROUT:PIL C");
    desk.wait(Duration::from_secs(2));
    desk.tell("load", "CURR 20;INP ON");
    desk.tell("reference", "SOUR:FUNC AC");
    desk.wait(Duration::from_secs(2));
    desk
}

pub(crate) type Truth = fn(&mut World, RunTime, RunTime) -> f64;

pub(crate) fn rms(world: &mut World, node: Node, from: RunTime, to: RunTime) -> f64 {
    let mean = world.mean(node, from, to);
    (world.rms(node, from, to).powi(2) - mean * mean).max(0.0).sqrt()
}

/// Reads once for each seed; gives the worst error as a share of what is stated.
fn worst(
    prepare: fn(u64) -> Desk,
    instrument: &str,
    driver_name: &str,
    function: &str,
    channel: &str,
    truth: Truth,
) -> f64 {
    (0..SEEDS)
        .map(|seed| share(&mut prepare(seed), instrument, driver_name, (function, channel), truth))
        .fold(0.0, f64::max)
}

/// The error of one reading as a share of what is stated.
pub(crate) fn share(
    desk: &mut Desk,
    instrument: &str,
    driver_name: &str,
    (function, channel): (&str, &str),
    truth: Truth,
) -> f64 {
    let driver = driver(driver_name);
    let measure = &driver["functions"][function]["measure"];
    let aperture = Duration::from_secs_f64(quantity(&measure["aperture"]));
    let shown = desk.number(instrument, &text(measure, "ask").replace("{channel}", channel));
    let to = desk.now;
    let from = RunTime(to.0 - u64::try_from(aperture.as_nanos()).unwrap());
    let truth = truth(&mut desk.world.lock().unwrap(), from, to);
    let share = (shown - truth).abs() / limit(&measure["accuracy"], truth);
    assert!(
        share <= 1.0,
        "{function} {channel}: shown {shown}, true {truth}, {share} of the statement"
    );
    share
}

/// The statement is kept, and it is used: a statement ten times too wide would be as dishonest.
pub(crate) fn keeps(
    prepare: fn(u64) -> Desk,
    instrument: &str,
    driver: &str,
    function: &str,
    channel: &str,
    truth: Truth,
) {
    let worst = worst(prepare, instrument, driver, function, channel, truth);
    assert!(
        worst > 0.4,
        "{function}: the worst of {SEEDS} is only {worst} of what is stated"
    );
}

#[test]
fn meter_volts() {
    let meter = |function, channel, truth| keeps(charging, "meter", "bench_meter", function, channel, truth);
    meter("ac_voltage", "101", |world, from, to| {
        rms(world, Node::Out(Pair::LN), from, to)
    });
    meter("ac_voltage", "111", |world, from, to| {
        rms(world, Node::In(Pair::LN), from, to)
    });
    meter("ac_voltage", "141", |world, from, to| {
        rms(world, Node::Reference, from, to)
    });
    meter("dc_voltage", "101", |world, from, to| {
        world.mean(Node::Out(Pair::LN), from, to)
    });
    meter("dc_low_voltage", "131", |world, from, to| {
        world.mean(Node::Pilot, from, to)
    });
    keeps(
        charging,
        "drop_meter",
        "bench_meter",
        "ac_drop",
        "121",
        |world, from, to| rms(world, Node::Path(Pole::L), from, to),
    );
}

#[test]
fn meter_ohms() {
    let check = |seed| {
        let mut desk = Desk::new(seed);
        desk.tell("pilot_box", "ROUT:PIL D");
        desk.tell("pilot_box", "ROUT:PIL CHECK");
        desk
    };
    keeps(
        check,
        "meter",
        "bench_meter",
        "load_resistance",
        "151",
        |world, _, to| world.resistance(DeadPath::PilotLoad, to).unwrap(),
    );
    keeps(
        check,
        "drop_meter",
        "bench_meter",
        "resistance",
        "132",
        |world, _, to| world.resistance(DeadPath::Proximity, to).unwrap(),
    );
}

#[test]
fn load_source_and_thermometer() {
    keeps(
        charging,
        "load",
        "ac_load",
        "measured_current",
        "",
        |world, from, to| world.rms(Node::OutCurrent, from, to),
    );
    keeps(
        charging,
        "load",
        "ac_load",
        "measured_voltage",
        "",
        |world, from, to| world.rms(Node::Out(Pair::LN), from, to),
    );
    keeps(
        charging,
        "supply",
        "ac_source",
        "measured_voltage",
        "",
        |world, from, to| world.rms(Node::In(Pair::LN), from, to),
    );
    keeps(
        charging,
        "supply",
        "ac_source",
        "measured_current",
        "",
        |world, from, to| world.rms(Node::InCurrent, from, to),
    );
    keeps(
        charging,
        "thermometer",
        "temperature_8ch",
        "temperature",
        "1",
        |world, _, to| world.temperature_k(to) - 273.15,
    );
    // A resistive load: the product of two true values, by finer samples than the instrument's.
    keeps(charging, "load", "ac_load", "measured_power", "", |world, from, to| {
        let count = to.since(from).as_micros() as usize / 20;
        let (mut volts, mut amperes) = (Vec::new(), Vec::new());
        world.samples(Node::Out(Pair::LN), from, 20e-6, count, &mut volts);
        world.samples(Node::OutCurrent, from, 20e-6, count, &mut amperes);
        volts.iter().zip(&amperes).map(|(v, i)| v * i).sum::<f64>() / count as f64
    });
}

#[test]
fn what_is_set_comes_within_what_the_driver_files_say() {
    let (mut volts, mut amperes, mut ohms) = (0.0_f64, 0.0_f64, 0.0_f64);
    for seed in 0..SEEDS {
        let mut desk = charging(seed);
        let (from, to) = (RunTime(desk.now.0 - 1_000_000_000), desk.now);
        let current = desk.world.lock().unwrap().rms(Node::OutCurrent, from, to);
        amperes = amperes.max((current - 20.0).abs() / (0.002 * 20.0 + 0.02));
        desk.tell("load", "INP OFF");
        desk.wait(Duration::from_secs(2));
        let (from, to) = (RunTime(desk.now.0 - 1_000_000_000), desk.now);
        // Without load, but for the item's own few watts over 0.2 Ω.
        let voltage = desk.world.lock().unwrap().rms(Node::In(Pair::LN), from, to);
        volts = volts.max((voltage - 230.0).abs() / (0.002 * 230.0 + 0.02));
        desk.tell("pilot_box", "ROUT:PIL:RES 1000;:ROUT:PIL CHECK");
        let resistance = desk
            .world
            .lock()
            .unwrap()
            .resistance(DeadPath::PilotLoad, desk.now)
            .unwrap();
        // The ladder within 0.05 %, behind the 0.1 Ω of its relay.
        ohms = ohms.max((resistance - 1000.0).abs() / (0.5 + 0.1));
    }
    for (what, worst) in [("V", volts), ("A", amperes), ("Ω", ohms)] {
        assert!(
            (0.5..=1.0).contains(&worst),
            "{what}: the worst of {SEEDS} is {worst} of what is stated"
        );
    }
}

/// A pulse's levels and edges from samples ten times finer than the instrument's.
fn fine(world: &mut World, from: RunTime, to: RunTime) -> Vec<f64> {
    let mut record = Vec::new();
    world.samples(
        Node::Pilot,
        from,
        100e-9,
        to.since(from).as_nanos() as usize / 100,
        &mut record,
    );
    record
}

fn median(mut levels: Vec<f64>) -> f64 {
    levels.sort_by(f64::total_cmp);
    levels[levels.len() / 2]
}

/// Middle between both levels, and the numbers of the samples after which it is crossed upwards and downwards.
fn edges(record: &[f64]) -> (Vec<usize>, Vec<usize>) {
    let high = record.iter().copied().fold(f64::MIN, f64::max);
    let low = record.iter().copied().fold(f64::MAX, f64::min);
    let middle = f64::midpoint(high, low);
    let crossing = |rises: bool| {
        let pairs = record.windows(2).enumerate();
        pairs.filter(move |(_, pair)| (pair[0] <= middle) == rises && (pair[1] > middle) == rises)
    };
    (
        crossing(true).map(|(at, _)| at).collect(),
        crossing(false).map(|(at, _)| at).collect(),
    )
}

#[test]
fn quick_levels() {
    keeps(
        charging,
        "scope",
        "wave_capture",
        "high_level",
        "1",
        |world, from, to| median(fine(world, from, to).into_iter().filter(|level| *level > 0.0).collect()),
    );
    keeps(
        charging,
        "scope",
        "wave_capture",
        "low_level",
        "1",
        |world, from, to| median(fine(world, from, to).into_iter().filter(|level| *level < 0.0).collect()),
    );
}

#[test]
fn quick_times() {
    let frequency: Truth = |world, from, to| {
        let (rising, _) = edges(&fine(world, from, to));
        (rising.len() - 1) as f64 / ((rising[rising.len() - 1] - rising[0]) as f64 * 100e-9)
    };
    let duty: Truth = |world, from, to| {
        let (rising, falling) = edges(&fine(world, from, to));
        let whole = &rising[..rising.len() - 1];
        let high: usize = whole
            .iter()
            .map(|rise| falling.iter().find(|fall| *fall > rise).unwrap() - rise)
            .sum();
        high as f64 / (rising[rising.len() - 1] - rising[0]) as f64 * 100.0
    };
    worst(charging, "scope", "wave_capture", "frequency", "1", frequency);
    let driver = driver("wave_capture");
    // The file states points of duty as a ratio; the reply is in percent.
    let limit = quantity(&driver["functions"]["duty"]["measure"]["accuracy"]["fixed"]) * 100.0;
    for seed in 0..SEEDS {
        let mut desk = charging(seed);
        let shown = desk.number("scope", "MEAS:PDUT? (@1)");
        let (from, to) = (RunTime(desk.now.0 - 10_000_000), desk.now);
        let truth = duty(&mut desk.world.lock().unwrap(), from, to);
        assert!(
            (shown - truth).abs() <= limit,
            "seed {seed}: shown {shown} %, true {truth} %"
        );
    }
}

#[test]
fn captured_samples() {
    let driver = driver("wave_capture");
    for (function, channel, node) in [
        ("pilot_wave", 1, Node::Pilot),
        ("mains_wave", 2, Node::Out(Pair::LN)),
        ("mains_wave", 3, Node::Out(Pair::NPe)),
        ("current_wave", 4, Node::OutCurrent),
    ] {
        let capture = &driver["functions"][function]["capture"];
        let (gain, offset) = (quantity(&capture["gain"]), quantity(&capture["offset"]));
        let mut worst = 0.0_f64;
        for seed in 0..SEEDS {
            let mut desk = charging(seed);
            desk.tell("scope", "ACQ:SRAT 10000;POIN 400");
            desk.tell("scope", "INIT");
            // Commands and the error query that `tell` sends take 1 ms each; the record began at the end of INIT.
            let start = RunTime(desk.now.0 - 2_000_000);
            desk.wait(Duration::from_millis(50));
            let block = desk.bytes("scope", format!("TRAC:DATA? (@{channel})").as_bytes());
            let scaling = desk.ask("scope", &format!("TRAC:SCAL? (@{channel})"));
            let scale: f64 = scaling.split_once(',').unwrap().1.parse().unwrap();
            let mut truth = Vec::new();
            desk.world.lock().unwrap().samples(node, start, 1e-4, 400, &mut truth);
            // Where the true value moves fast, the time base and the skew count as well: look at slow places.
            for (index, pair) in block[5..block.len() - 1].chunks_exact(2).enumerate().skip(1).take(398) {
                let slow = (truth[index + 1] - truth[index - 1]).abs() < offset / 4.0;
                let shown = f64::from(i16::from_le_bytes([pair[0], pair[1]])) * scale;
                let share = (shown - truth[index]).abs() / (gain * truth[index].abs() + offset);
                assert!(
                    !slow || share <= 1.0,
                    "{function}, seed {seed}: shown {shown}, true {}",
                    truth[index]
                );
                worst = if slow { worst.max(share) } else { worst };
            }
        }
        assert!(worst > 0.4, "{function}: only {worst} of the statement is used");
    }
}
