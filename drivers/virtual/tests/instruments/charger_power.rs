//! The power side of the bench at a charger: what its instruments refuse, what reaches the world, and that they keep their figures.

use super::desk::Desk;
use std::time::Duration;

#[test]
fn what_they_do_not_have_is_refused() {
    let mut desk = Desk::at_a_charger(1);
    for (name, line, code) in [
        ("supply", &b"DIP TWICE"[..], -224),
        ("supply", b"DIP:LEVel 101", -222),
        ("supply", b"DIP:TIME 0", -222),
        ("supply", b"DIP:TIME 1 V", -131),
        ("supply", b"OUTPut:ANGLe 361", -222),
        ("sink", b"CURRent 41", -222),
        ("sink", b"VOLTage -1", -222),
        ("sink", b"POLarity ODD", -224),
        ("sink", b"MEASure:POWer?", -113),
        ("analyser", b"MEASure:POWer? (@3)", -222),
        ("analyser", b"MEASure:VOLTage? (@1)", -113),
        ("analyser", b"TRACe:DATA? (@1)", -230),
        ("switch_box", b"ROUTe:ILOop HALF", -224),
        ("coolant", b"TEMPerature 76", -222),
        ("coolant", b"TEMPerature 20 V", -138),
        ("pe_sensor", b"MEASure:CURRent:PEAK?", -113),
        ("insulation", b"MEASure:RESistance? (@1)", -221),
        ("ohmmeter", b"MEASure:FRESistance? (@2)", -222),
        ("bridge", b"MEASure:CAPacitance? (@3)", -222),
        ("meter", b"MEASure:VOLTage:DC? (@304)", -222),
    ] {
        desk.wrong(name, line, code);
    }
    desk.tell("insulation", "VOLTage 500;OUTPut ON");
    desk.wrong("insulation", b"MEASure:RESistance? (@5)", -222);
}

#[test]
fn a_reset_takes_back_what_was_set() {
    let mut desk = Desk::at_a_charger(1);
    for (name, set, ask, rest) in [
        ("supply", "DIP:LEVel 40", "DIP:LEVel?", "+1.000000000000000E+02"),
        ("supply", "OUTPut:ANGLe 90", "OUTPut:ANGLe?", "+0.000000000000000E+00"),
        ("supply", "DIP ONCE", "DIP?", "READ"),
        ("sink", "INPut ON", "INPut?", "0"),
        ("sink", "POLarity REVersed", "POLarity?", "NORM"),
        ("sink", "VOLTage 400", "VOLTage?", "+0.000000000000000E+00"),
        ("switch_box", "ROUTe:BURDen ON", "ROUTe:BURDen?", "0"),
        ("switch_box", "ROUTe:ILOop OPEN", "ROUTe:ILOop?", "CLOS"),
        ("switch_box", "ROUTe:CAPTure REFerence", "ROUTe:CAPTure?", "ITEM"),
        ("coolant", "PUMP ON", "PUMP?", "0"),
        ("coolant", "TEMPerature 60", "TEMPerature?", "+2.300000000000000E+01"),
        ("insulation", "OUTPut ON", "OUTPut?", "0"),
    ] {
        desk.tell(name, set);
        assert_ne!(desk.ask(name, ask), rest, "{name}: {set}");
        desk.tell(name, "*RST");
        assert_eq!(desk.ask(name, ask), rest, "{name}: {set}");
    }
}

/// The angle is good for one switching on.
#[test]
fn an_angle_of_switching_on_is_used_up() {
    let mut desk = Desk::at_a_charger(1);
    desk.tell("supply", "VOLTage 230;OUTPut:ANGLe 90");
    desk.tell("supply", "OUTPut OFF");
    assert_eq!(desk.number("supply", "OUTPut:ANGLe?"), 90.0);
    desk.tell("supply", "OUTPut ON");
    assert_eq!(desk.number("supply", "OUTPut:ANGLe?"), 0.0);
}

/// The reference on all voltage inputs of the analyser: 50 V of ±600 V and ±1000 V, 10 V of ±16 V, in 32768 steps.
#[test]
fn the_analyser_looks_at_the_reference() {
    let mut desk = Desk::at_a_charger(1);
    desk.tell("switch_box", "ROUT:CAPT REF");
    desk.tell("reference", "SOUR:FUNC DC");
    desk.wait(Duration::from_millis(100));
    desk.tell("analyser", "ACQ:SRAT 10000;POIN 100;:INIT");
    desk.wait(Duration::from_millis(50));
    for (channel, full, wanted, limit) in [
        (1, 600.0, 50.0, 0.05e-2 * 50.0 + 0.15),
        (2, 400.0, 0.0, 0.025),
        (3, 1000.0, 50.0, 0.05e-2 * 50.0 + 0.3),
        (4, 60.0, 0.0, 0.015),
        (5, 16.0, 10.0, 0.15e-2 * 10.0 + 0.008),
    ] {
        let block = desk.bytes("analyser", format!("TRAC:DATA? (@{channel})").as_bytes());
        let code = i16::from_le_bytes([block[6], block[7]]);
        let shown = f64::from(code) * full / 32768.0;
        // The reference itself is within 1 % of its nominal voltage.
        assert!((shown - wanted).abs() <= limit + wanted * 0.01, "{channel}: {shown}");
    }
}

/// A closed loop has some ohms; an open one leaves the 10 MΩ that are fitted, and one that is bridged inside never opens.
#[test]
fn the_interlock_loop_reads_a_number_open_and_closed() {
    for (bridged, open_ohm) in [(0.0, 10e6), (1.0, 1.0)] {
        let mut desk = Desk::at_a_charger_with(1, &[("interlock_bridged", bridged)]);
        let ohm = |desk: &mut Desk| desk.number("meter", "MEASure:FRESistance? (@164)");
        assert!((ohm(&mut desk) - 1.0).abs() < 0.01);
        desk.tell("switch_box", "ROUTe:ILOop OPEN");
        let shown = ohm(&mut desk);
        assert!((shown - open_ohm).abs() <= 0.001 * open_ohm + 1e-3, "{shown}");
    }
}

/// Three burdens of 100 kΩ: one beside the two others in a row, and what the charger has across its output.
#[test]
fn a_burden_stands_across_each_pair_of_the_output() {
    let mut desk = Desk::at_a_charger(1);
    desk.tell("switch_box", "ROUTe:BURDen ON");
    let two_thirds = 100e3 * 200e3 / 300e3;
    let own = 1e6;
    let wanted = two_thirds * own / (two_thirds + own);
    let shown = desk.number("meter", "MEASure:RESistance? 100000,(@301)");
    // The insulation of 100 MΩ and the meter's own inputs take less than 2 %.
    assert!(shown < wanted && shown > 0.98 * wanted, "{shown} {wanted}");
}
