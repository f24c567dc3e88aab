//! The two phases: nothing before its time, and every reading over its own span.

use super::desk::Desk;
use pilotage_core::RunTime;
use pilotage_virtual::instruments::Outcome;
use std::time::Duration;

/// Time from a line to its end.
fn takes(desk: &mut Desk, name: &str, line: &str) -> Duration {
    let before = desk.now;
    desk.bytes(name, line.as_bytes());
    desk.now.since(before)
}

#[test]
fn commands_take_their_time() {
    let mut desk = Desk::new(1);
    for (name, line, ms) in [
        // The scanner's relay settles for 15 ms when the channel changes.
        ("meter", "MEAS:VOLT:AC? (@101)", 215),
        ("meter", "MEAS:VOLT:AC? (@101)", 200),
        ("meter", "MEAS:VOLT:DC? (@101)", 20),
        ("meter", "MEAS:FRES? (@151)", 75),
        ("meter", "MEAS:FRES? (@151)", 60),
        ("meter", "MEAS:RES? (@132)", 55),
        ("load", "CURR 5", 5),
        ("load", "MEAS:CURR?", 100),
        ("supply", "OUTP ON", 10),
        // Contacts move after 5 ms and settle for 15 ms.
        ("pilot_box", "ROUT:PIL B", 20),
        ("pilot_box", "ROUT:PIL?", 1),
        ("guard", "DIG:DATA? 1", 2),
        ("scope", "MEAS:HIGH? (@1)", 12),
        ("scope", "*IDN?", 1),
        ("thermometer", "MEAS:TEMP? (@1)", 100),
        ("reference", "SOUR:FUNC AC", 20),
        ("meter", "*IDN?;*IDN?;MEAS:VOLT:DC? (@101)", 37),
    ] {
        assert_eq!(
            takes(&mut desk, name, line),
            Duration::from_millis(ms),
            "{name}: {line}"
        );
    }
}

#[test]
fn too_early_is_too_early() {
    let mut desk = Desk::new(1);
    let start = desk.now;
    let pending = desk.instrument("meter").respond(b"MEAS:VOLT:DC? (@131)", start);
    assert_eq!(pending.ready, start.plus(Duration::from_millis(35)));
    let early = RunTime(pending.ready.0 - 1);
    assert_eq!(desk.instrument("meter").finish(early), Outcome::Pending(pending));
    assert!(matches!(desk.instrument("meter").finish(pending.ready), Outcome::Done(reply) if reply.ends_with(b"\n")));
    assert_eq!(
        desk.instrument("meter").finish(pending.ready),
        Outcome::Done(Vec::new()),
        "nothing is pending any more"
    );
}

#[test]
fn an_order_takes_effect_when_it_is_executed_and_not_when_it_is_taken() {
    let mut desk = Desk::new(1);
    desk.tell("supply", "VOLT 230");
    let start = desk.now;
    let pending = desk.instrument("supply").respond(b"OUTP ON", start);
    let seen = |desk: &Desk, at| desk.world.lock().unwrap().words(at).supply_on;
    assert!(!seen(&desk, RunTime(pending.ready.0 - 1)));
    desk.instrument("supply").finish(pending.ready);
    assert!(seen(&desk, pending.ready));
}

#[test]
fn a_reading_does_not_see_what_came_after_its_aperture() {
    let mut desk = Desk::new(1);
    desk.tell("supply", "VOLT 230;OUTP ON");
    desk.wait(Duration::from_secs(1));
    let start = desk.now;
    let pending = desk.instrument("meter").respond(b"MEAS:VOLT:AC? (@111)", start);
    // The link is late: the supply goes off before the reply is fetched.
    desk.now = pending.ready;
    desk.tell("supply", "OUTP OFF");
    desk.wait(Duration::from_secs(1));
    let late = desk.now;
    let Outcome::Done(reply) = desk.instrument("meter").finish(late) else {
        panic!("it is ready")
    };
    let shown: f64 = std::str::from_utf8(&reply).unwrap().trim().parse().unwrap();
    assert!((shown - 230.0).abs() < 2.0, "{shown}");
}

#[test]
fn opc_waits_for_a_capture() {
    let mut desk = Desk::new(1);
    desk.bytes("scope", b"*CLS");
    desk.tell("scope", "ACQ:SRAT 1000;POIN 500;:INIT");
    desk.tell("scope", "*OPC");
    assert_eq!(desk.ask("scope", "*ESR?"), "0");
    let waited = takes(&mut desk, "scope", "*OPC?");
    assert!((0.48..0.5).contains(&waited.as_secs_f64()), "{waited:?}");
    assert_eq!(desk.ask("scope", "*ESR?"), "1");
    desk.tell("scope", "INIT");
    assert_eq!(desk.ask("scope", "*WAI;STAT:OPER:COND?"), "0");
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_other_instruments_change_nothing() {
    let run = |seed, others: bool| {
        let mut desk = Desk::new(seed);
        desk.tell("supply", "VOLT 230;OUTP ON");
        let mut replies = Vec::new();
        for round in 0..5 {
            // At the same times, whatever else is read in between.
            desk.now = RunTime(10_000_000_000 + round * 2_000_000_000);
            if others {
                desk.ask("thermometer", "MEAS:TEMP? (@1)");
                desk.ask("drop_meter", "MEAS:VOLT:AC? (@121)");
                desk.now = RunTime(10_000_000_000 + round * 2_000_000_000);
            }
            replies.push(desk.bytes("meter", b"MEAS:VOLT:AC? (@111)"));
            replies.push(desk.bytes("scope", b"MEAS:HIGH? (@1)"));
        }
        replies
    };
    assert_eq!(run(7, false), run(7, false));
    assert_eq!(run(7, false), run(7, true));
    assert_ne!(run(7, false), run(8, false));
    let readings = run(7, false);
    assert_ne!(
        readings[0], readings[2],
        "two readings of a steady value differ in their last figures"
    );
}
