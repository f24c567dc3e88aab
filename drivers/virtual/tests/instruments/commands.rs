//! Every command of every instrument: what is set is read back, and the world follows.

use super::desk::Desk;
use pilotage_virtual::physics::{Action, Node, Pair};
use std::time::Duration;

/// Supply on, a vehicle that asks, 20 A.
fn charging(seed: u64) -> Desk {
    let mut desk = Desk::new(seed);
    desk.tell("supply", "VOLTage 230;FREQuency 50");
    desk.tell("supply", "OUTPut ON");
    desk.wait(Duration::from_secs(4));
    desk.tell("pilot_box", "ROUTe:PILot B");
    desk.wait(Duration::from_secs(4));
    desk.tell("pilot_box", "ROUTe:PILot C");
    desk.wait(Duration::from_secs(2));
    desk.tell("load", "CURRent 20;INPut ON");
    desk.wait(Duration::from_secs(2));
    desk
}

#[test]
fn set_points_read_back() {
    let mut desk = Desk::new(1);
    for (name, set, ask, reply) in [
        ("load", "CURRent 12.5", "CURRent?", 12.5_f64),
        ("load", "CURR 300 MA", "CURR?", 0.3),
        ("load", "CURR MAX", "CURR?", 40.0),
        ("load", "CURR MIN", "CURR?", 0.0),
        ("supply", "VOLTage 229.9", "VOLTage?", 229.9),
        ("supply", "VOLT 0.12 KV", "VOLT?", 120.0),
        ("supply", "FREQuency 60", "FREQuency?", 60.0),
        ("supply", "CURRent:LIMit 32", "CURRent:LIMit?", 32.0),
        (
            "pilot_box",
            "ROUTe:PILot:RESistance 1.2 KOHM",
            "ROUTe:PILot:RESistance?",
            1200.0,
        ),
        (
            "pilot_box",
            "ROUTe:PILot:CAPacitance 2.4 NF",
            "ROUTe:PILot:CAPacitance?",
            2.4e-9,
        ),
        ("scope", "ACQuire:SRATe 1 MHZ", "ACQuire:SRATe?", 1e6),
        ("scope", "ACQuire:POINts 200000", "ACQuire:POINts?", 200_000.0),
    ] {
        desk.tell(name, set);
        assert_eq!(desk.number(name, ask).to_bits(), reply.to_bits(), "{name}: {set}");
    }
}

#[test]
fn words_read_back() {
    let mut desk = Desk::new(1);
    for state in ["A", "B", "C", "D", "E", "OPEN", "CHECK"] {
        desk.tell("pilot_box", &format!("ROUTe:PILot {state}"));
        assert_eq!(desk.ask("pilot_box", "ROUTe:PILot?"), state);
    }
    for (name, set, ask, reply) in [
        ("pilot_box", "ROUTe:PILot:DIODe SHORted", "ROUTe:PILot:DIODe?", "SHOR"),
        ("pilot_box", "ROUTe:PILot:DIODe NORM", "ROUTe:PILot:DIODe?", "NORM"),
        ("pilot_box", "ROUTe:BURDen ON", "ROUTe:BURDen?", "1"),
        ("pilot_box", "ROUTe:BURDen 0", "ROUTe:BURDen?", "0"),
        ("load", "INPut ON", "INPut?", "1"),
        ("load", "INPut OFF", "INPut?", "0"),
        ("supply", "OUTPut ON", "OUTPut?", "1"),
        ("supply", "OUTPut OFF", "OUTPut?", "0"),
        ("reference", "SOURce:FUNCtion AC", "SOURce:FUNCtion?", "AC"),
        ("reference", "SOURce:FUNCtion DC", "SOURce:FUNCtion?", "DC"),
        ("reference", "SOURce:FUNCtion OFF", "SOURce:FUNCtion?", "OFF"),
    ] {
        desk.tell(name, set);
        assert_eq!(desk.ask(name, ask), reply, "{name}: {set}");
    }
}

#[test]
fn a_state_ends_the_ladder_and_the_ladder_replaces_a_state() {
    let mut desk = Desk::new(1);
    desk.tell("pilot_box", "ROUT:PIL B");
    assert_eq!(desk.number("pilot_box", "ROUT:PIL:RES?"), 0.0);
    desk.tell("pilot_box", "ROUT:PIL:RES 5000");
    assert_eq!(desk.ask("pilot_box", "ROUT:PIL?"), "LADD");
    desk.tell("pilot_box", "ROUT:PIL CHECK");
    assert_eq!(
        desk.number("pilot_box", "ROUT:PIL:RES?"),
        5000.0,
        "the check looks at the ladder"
    );
    let shown = desk.number("meter", "MEAS:FRES? (@151)");
    assert!((shown - 5000.0).abs() < 5.0, "{shown}");
    desk.tell("pilot_box", "ROUT:PIL C");
    assert_eq!(desk.number("pilot_box", "ROUT:PIL:RES?"), 0.0);
    desk.tell("pilot_box", "ROUT:PIL CHECK");
    // 2740 Ω beside 1300 Ω.
    let shown = desk.number("meter", "MEAS:FRES? (@151)");
    assert!((shown - 881.7).abs() < 1.0, "{shown}");
    desk.tell("pilot_box", "ROUT:PIL:RES 50;RES 0");
    desk.tell("pilot_box", "ROUT:PIL B;PIL:RES 50;RES 0");
    assert_eq!(desk.ask("pilot_box", "ROUT:PIL?"), "A");
}

#[test]
fn the_guard_shows_the_safety_chain() {
    let mut desk = Desk::new(1);
    let seen = |desk: &mut Desk| desk.ask("guard", "DIGital:DATA? 1;DATA? 2;DATA? 3");
    assert_eq!(
        desk.ask("guard", "DIGital:DATA? 4"),
        "0",
        "no load of this bench has a contactor"
    );
    assert_eq!(seen(&mut desk), "1;1;1");
    desk.tell("supply", "VOLT 230;OUTP ON");
    assert_eq!(desk.ask("supply", "OUTP?"), "1");
    desk.act(Action::Enclosure { closed: false });
    desk.wait(Duration::from_millis(100));
    assert_eq!(seen(&mut desk), "0;1;0");
    assert_eq!(desk.ask("supply", "OUTP?"), "0", "the output went off with the guard");
    desk.act(Action::Enclosure { closed: true });
    assert_eq!(desk.ask("supply", "OUTP?"), "0", "and does not come back by itself");
    desk.act(Action::Stop { pressed: true });
    desk.wait(Duration::from_millis(100));
    assert_eq!(seen(&mut desk), "1;0;0");
}

#[test]
fn the_reference_proves_both_functions_of_the_meter() {
    let mut desk = Desk::new(1);
    desk.tell("reference", "SOUR:FUNC AC");
    desk.wait(Duration::from_millis(500));
    let (ac, dc) = (
        desk.number("meter", "MEAS:VOLT:AC? 750,(@141)"),
        desk.number("meter", "MEAS:VOLT:DC? 1000,(@141)"),
    );
    assert!((ac - 50.0).abs() < 0.5 && dc.abs() < 0.2, "{ac} {dc}");
    desk.tell("reference", "SOUR:FUNC DC");
    desk.wait(Duration::from_millis(500));
    let (ac, dc) = (
        desk.number("meter", "MEAS:VOLT:AC? 750,(@141)"),
        desk.number("meter", "MEAS:VOLT:DC? 1000,(@141)"),
    );
    assert!(ac < 0.5 && (dc - 50.0).abs() < 0.2, "{ac} {dc}");
}

#[test]
fn a_charging_bench_is_seen_alike_by_its_instruments() {
    let mut desk = charging(3);
    let outlet = desk.number("meter", "MEASure:VOLTage:AC? (@101)");
    assert!((220.0..232.0).contains(&outlet), "{outlet}");
    let by_load = desk.number("load", "MEASure:VOLTage?");
    assert!((outlet - by_load).abs() < 1.0, "{outlet} {by_load}");
    let input = desk.number("supply", "MEASure:VOLTage?");
    assert!(input > outlet && input < outlet + 5.0, "{input} {outlet}");
    let current = desk.number("load", "MEASure:CURRent?");
    assert!((current - 20.0).abs() < 0.2, "{current}");
    let drawn = desk.number("supply", "MEASure:CURRent?");
    assert!((drawn - 20.0).abs() < 0.5, "{drawn}");
    let power = desk.number("load", "MEASure:POWer?");
    assert!((power / (outlet * current) - 1.0).abs() < 0.01, "{power}");
    let drop = desk.number("drop_meter", "MEASure:VOLTage:AC? 10,(@121)");
    assert!((0.05..2.0).contains(&drop), "{drop}");
    let celsius = desk.number("thermometer", "MEASure:TEMPerature? (@1)");
    assert!((20.0..60.0).contains(&celsius), "{celsius}");
    let high = desk.number("scope", "MEASure:HIGH? (@1)");
    // State C: 5.48 to 6.49 V (IEC 61851-1, 2017, Table A.2).
    assert!((5.4..6.6).contains(&high), "{high}");
    let low = desk.number("scope", "MEASure:LOW? (@1)");
    assert!((-12.7..-11.3).contains(&low), "{low}");
    let frequency = desk.number("scope", "MEASure:FREQuency? (@1)");
    assert!((frequency - 1000.0).abs() < 5.0, "{frequency}");
    let duty = desk.number("scope", "MEASure:PDUTycycle? (@1)");
    // 32 A: 32 / 0.6 percent (IEC 61851-1, 2017, Table A.7).
    assert!((duty - 53.33).abs() < 0.6, "{duty}");
}

#[test]
fn a_range_that_is_too_small_is_overloaded_and_never_a_number() {
    let mut desk = charging(3);
    assert_eq!(desk.ask("meter", "MEAS:VOLT:AC? 10,(@101)"), "+9.90000000E+37");
    assert_eq!(
        desk.ask("meter", "MEAS:FRES? 10,(@151)"),
        "+9.90000000E+37",
        "an open path"
    );
    assert_eq!(
        desk.ask("thermometer", "MEAS:TEMP? (@2)"),
        "+9.90000000E+37",
        "nothing plugged in"
    );
}

#[test]
fn a_steady_pilot_has_no_frequency() {
    let mut desk = Desk::new(1);
    desk.tell("supply", "VOLT 230;OUTP ON");
    desk.wait(Duration::from_secs(4));
    let high = desk.number("scope", "MEAS:HIGH? (@1)");
    assert!((high - 12.0).abs() < 0.2, "{high}");
    assert_eq!(desk.ask("scope", "MEAS:FREQ? (@1)"), "+9.91000000E+37");
    assert_eq!(desk.ask("scope", "MEAS:PDUT? (@1)"), "+9.91000000E+37");
}

/// Samples of a channel, in its unit.
fn fetched(desk: &mut Desk, channel: u32, points: usize) -> Vec<f64> {
    let scaling = desk.ask("scope", &format!("TRACe:SCALing? (@{channel})"));
    let (offset, scale) = scaling.split_once(',').unwrap();
    let (offset, scale): (f64, f64) = (offset.parse().unwrap(), scale.parse().unwrap());
    let block = desk.bytes("scope", format!("TRACe:DATA? (@{channel})").as_bytes());
    // IEEE 488.2 8.7.9: `#`, one figure that counts the figures of the length, the length, the bytes; then LF.
    let digits = usize::from(block[1] - b'0');
    let length: usize = std::str::from_utf8(&block[2..2 + digits]).unwrap().parse().unwrap();
    assert_eq!(
        (block[0], length, block.len(), block[block.len() - 1]),
        (b'#', points * 2, digits + 3 + length, b'\n')
    );
    let codes = block[2 + digits..block.len() - 1]
        .chunks_exact(2)
        .map(|pair| i16::from_le_bytes([pair[0], pair[1]]));
    codes.map(|code| offset + scale * f64::from(code)).collect()
}

#[test]
fn a_capture_runs_in_the_background_and_comes_as_a_block() {
    let mut desk = charging(3);
    for line in ["ACQ:SRAT 20000", "ACQ:POIN 4000", "INITiate"] {
        desk.tell("scope", line);
    }
    assert_eq!(desk.ask("scope", "STATus:OPERation:CONDition?"), "256");
    let high = desk.number("scope", "MEAS:HIGH? (@1)");
    assert!((5.4..6.6).contains(&high), "quick measurements go on meanwhile");
    desk.wrong("scope", b"TRACe:DATA? (@1)", -230);
    desk.wrong("scope", b"INITiate", -213);
    desk.wait(Duration::from_millis(200));
    assert_eq!(desk.ask("scope", "STAT:OPER:COND?"), "0");
    let start = desk.number("scope", "TRACe:TIME?");
    assert!(start > 5.0 && start < desk.now.seconds() - 0.2, "{start}");

    let outlet = fetched(&mut desk, 2, 4000);
    let rms = (outlet.iter().map(|volt| volt * volt).sum::<f64>() / 4000.0).sqrt();
    let meter = desk.number("meter", "MEAS:VOLT:AC? (@101)");
    assert!((rms / meter - 1.0).abs() < 0.015, "{rms} {meter}");
    let current = fetched(&mut desk, 4, 4000);
    let rms = (current.iter().map(|ampere| ampere * ampere).sum::<f64>() / 4000.0).sqrt();
    assert!((rms - 20.0).abs() < 0.5, "{rms}");
    assert_eq!(
        fetched(&mut desk, 1, 4000),
        fetched(&mut desk, 1, 4000),
        "fetched twice is the same"
    );
    assert_eq!(fetched(&mut desk, 3, 4000).len(), 4000);
}

#[test]
fn an_abort_gives_nothing_away() {
    let mut desk = Desk::new(1);
    desk.wrong("scope", b"TRAC:DATA? (@1)", -230);
    desk.wrong("scope", b"TRAC:TIME?", -230);
    desk.tell("scope", "ACQ:SRAT 1000;POIN 1000;:INIT");
    desk.tell("scope", "ABORt");
    assert_eq!(desk.ask("scope", "STAT:OPER:COND?"), "0");
    desk.wait(Duration::from_secs(2));
    desk.wrong("scope", b"TRAC:DATA? (@1)", -230);
    desk.tell("scope", "INIT");
}

#[test]
fn a_capture_longer_than_the_memory_of_the_world_is_whole() {
    let mut desk = charging(3);
    desk.tell("scope", "ACQ:SRAT 1000;POIN 150000;:INIT");
    desk.tell("load", "CURR 0;INP OFF");
    for _ in 0..31 {
        desk.wait(Duration::from_secs(5));
        desk.ask("scope", "STAT:OPER:COND?");
    }
    let outlet = fetched(&mut desk, 2, 150_000);
    let peak = |part: &[f64]| part.iter().fold(0.0_f64, |peak, volt| peak.max(volt.abs()));
    assert!(
        (300.0..345.0).contains(&peak(&outlet[..1000])),
        "{}",
        peak(&outlet[..1000])
    );
    assert!((300.0..345.0).contains(&peak(&outlet[149_000..])));
}

#[test]
fn the_world_hears_what_the_instruments_are_told() {
    let mut desk = Desk::new(2);
    desk.tell("supply", "VOLT 120;OUTP ON");
    desk.wait(Duration::from_secs(1));
    let (from, to) = (desk.now, desk.now.plus(Duration::from_millis(200)));
    let truth = desk.world.lock().unwrap().rms(Node::In(Pair::LN), from, to);
    assert!((truth - 120.0).abs() < 1.0, "{truth}");
}

/// The reference on all inputs of the capture instrument: 10 V of ±16 V and 50 V of ±500 V, each in 2048 steps.
#[test]
fn the_capture_instrument_looks_at_the_reference() {
    let mut desk = Desk::new(1);
    desk.tell("pilot_box", "ROUT:CAPT REF");
    assert_eq!(desk.ask("pilot_box", "ROUT:CAPT?"), "REF");
    desk.tell("scope", "ACQ:SRAT 10000;POIN 1000;:INIT");
    desk.wait(Duration::from_millis(20));
    desk.tell("reference", "SOUR:FUNC DC");
    desk.wait(Duration::from_millis(50));
    desk.tell("pilot_box", "ROUT:CAPT ITEM");
    desk.wait(Duration::from_millis(100));
    let mut record = |channel: u16| -> Vec<i16> {
        let block = desk.bytes("scope", format!("TRAC:DATA? (@{channel})").as_bytes());
        let codes = block[6..block.len() - 1].chunks_exact(2);
        codes.map(|p| i16::from_le_bytes([p[0], p[1]])).collect()
    };
    for (channel, wanted) in [(1, 1280), (2, 205), (3, 205), (4, 0)] {
        let codes = record(channel);
        let during = f64::from(codes[500]);
        assert!((during - f64::from(wanted)).abs() < 20.0, "{channel}: {during}");
        assert!(
            codes[10].abs() < 10 && codes[990].abs() < 10,
            "{channel}: before and after"
        );
    }
}

#[test]
fn the_diode_is_measured_away_from_the_item() {
    let mut desk = Desk::new(1);
    desk.tell("pilot_box", "ROUT:PIL B");
    assert!(desk.number("meter", "MEAS:DIOD? (@152)") > 1e37, "the item is on it");
    desk.tell("pilot_box", "ROUT:PIL CHECK");
    // 0.70 V at 25 °C, −2 mV/K, at 23 °C.
    assert!((desk.number("meter", "MEAS:DIOD? (@152)") - 0.704).abs() < 0.002);
    desk.tell("pilot_box", "ROUT:PIL:DIOD SHOR");
    assert!(desk.number("meter", "MEAS:DIOD? (@152)").abs() < 0.002);
}

/// 50 Hz: 90° is 5 ms after the rise through zero.
#[test]
fn the_pilot_changes_at_an_angle_once_and_without_mains_at_once() {
    let mut desk = Desk::new(1);
    desk.tell("pilot_box", "ROUT:PIL:ANGL 90");
    assert!((desk.number("pilot_box", "ROUT:PIL:ANGL?") - 90.0).abs() < 1e-9);
    desk.tell("pilot_box", "ROUT:PIL B");
    assert_eq!(desk.number("pilot_box", "ROUT:PIL:ANGL?"), 0.0, "good for one change");
    assert_eq!(desk.ask("pilot_box", "ROUT:PIL?"), "B");
    desk.tell("pilot_box", "ROUT:PIL A");
    desk.tell("supply", "VOLT 230;OUTP ON");
    desk.wait(Duration::from_secs(4));
    let mut edge = |angle: &str, state: &str| {
        desk.tell("pilot_box", &format!("ROUT:PIL:ANGL {angle};:ROUT:PIL{state}"));
        desk.wait(Duration::from_millis(50));
        let mut world = desk.world.lock().unwrap();
        let before = desk.now.seconds() - 0.15;
        let mut levels = Vec::new();
        let from = pilotage_core::RunTime::START.plus(Duration::from_secs_f64(before));
        world.samples(Node::Pilot, from, 1e-5, 15_000, &mut levels);
        let mut mains = Vec::new();
        world.samples(Node::In(Pair::LN), from, 1e-5, 15_000, &mut mains);
        drop(world);
        // State A is 12 V, state B 9 V, and the pulse does not run before the item is authorised, after 1 s.
        let changes = levels.windows(2).position(|pair| (pair[0] - pair[1]).abs() > 0.5);
        changes.map(|at| mains[at])
    };
    let peak = 230.0 * 2f64.sqrt();
    let at_90 = edge("90", " B").expect("it changes");
    assert!(at_90 > 0.99 * peak, "{at_90}");
    let at_0 = edge("0", " A").expect("it changes");
    assert!(at_0.abs() < 0.06 * peak, "{at_0}");
    // The ladder changes the load as a state does, and the box takes its whole circle of angles.
    let at_270 = edge("270", ":RES 2740").expect("it changes");
    assert!(at_270 < -0.99 * peak, "{at_270}");
    let at_330 = edge("330", " A").expect("it changes");
    assert!((at_330 / peak + 0.5).abs() < 0.05, "{at_330}");
    let mut desk = Desk::new(1);
    desk.tell("pilot_box", "ROUT:PIL:ANGL 90");
    desk.wrong("pilot_box", b"ROUT:PIL:RES 5", -222);
    assert!(
        (desk.number("pilot_box", "ROUT:PIL:ANGL?") - 90.0).abs() < 1e-9,
        "5 Ω was refused"
    );
    desk.tell("pilot_box", "ROUT:PIL:RES 2740");
    assert_eq!(desk.number("pilot_box", "ROUT:PIL:ANGL?"), 0.0, "good for one change");
}
