//! The instruments at a charger without high voltage: what they refuse, what they show, and that they keep their figures.

use super::desk::Desk;
use pilotage_virtual::physics::Node;

#[test]
fn the_pilot_source_refuses_what_it_does_not_have() {
    let mut desk = Desk::at_a_charger(1);
    for (line, code) in [
        (&b"PILot MAYBE"[..], -224),
        (b"PILot", -109),
        (b"PILot PWM,PWM", -108),
        (b"PILot:DUTY 101", -222),
        (b"PILot:DUTY 5 V", -138),
        (b"PILot:HIGH -1", -222),
        (b"PILot:LOW 1", -222),
        (b"PILot:CAPacitance 1 NF", -224),
        (b"PROXimity:RESistance 1", -222),
        (b"PROXimity HALF", -224),
        (b"PILot:PHASe 1", -113),
    ] {
        desk.wrong("pilot_source", line, code);
    }
    for (line, code) in [
        (&b"VOLTage 21"[..], -222),
        (b"OUTPut MAYBE", -224),
        (b"MEASure:POWer?", -113),
    ] {
        desk.wrong("low_voltage", line, code);
    }
}

/// What is set reaches the world within what the driver file states, and `*RST` takes it back.
#[test]
fn what_the_pilot_source_is_told_reaches_the_pilot() {
    let mut desk = Desk::at_a_charger(3);
    for line in ["PILot:HIGH 11.4", "PILot STEAdy"] {
        desk.tell("pilot_source", line);
    }
    desk.wait(std::time::Duration::from_millis(50));
    let now = desk.now;
    let level = |desk: &mut Desk| desk.world.lock().unwrap().mean(Node::Pilot, now, now);
    // 11.4 V behind 1 kΩ into 2740 Ω behind the diode, by its law: 8.5376 V; 0.02 % and 1 mV of the rail.
    let high = level(&mut desk);
    assert!((high - 8.5376).abs() < 0.733 * (11.4 * 2e-4 + 1e-3) + 2e-3, "{high}");
    assert_eq!(desk.ask("pilot_source", "PILot?"), "STEA");
    desk.tell("pilot_source", "*RST");
    assert_eq!(desk.ask("pilot_source", "PILot?"), "OFF");
    assert_eq!(desk.ask("pilot_source", "PROXimity?"), "OPEN");
    assert_eq!(desk.number("pilot_source", "PILot:HIGH?"), 12.0);
}

#[test]
fn proximity_is_one_of_its_words_or_a_resistor() {
    let mut desk = Desk::at_a_charger(1);
    for (line, word, ohm) in [
        ("PROXimity LATChed", "LATC", 150.0),
        ("PROXimity PRESsed", "PRES", 480.0),
        ("PROXimity:RESistance 220", "RES", 220.0),
        ("PROXimity OPEN", "OPEN", 9.9e37),
    ] {
        desk.tell("pilot_source", line);
        assert_eq!(desk.ask("pilot_source", "PROXimity?"), word);
        assert_eq!(desk.number("pilot_source", "PROXimity:RESistance?"), ohm);
    }
}

/// The meter reads the source's own resistor only while it is led there.
#[test]
fn the_check_of_the_source_is_led_to_the_meter() {
    let mut desk = Desk::at_a_charger(1);
    let ohms = "MEASure:FRESistance? (@153)";
    assert_eq!(desk.number("meter", ohms), 9.9e37);
    desk.tell("pilot_source", "PILot CHECk");
    let shown = desk.number("meter", ohms);
    assert!((shown - 1000.0).abs() < 0.65, "{shown}");
    desk.tell("pilot_source", "PILot CLOW");
    let shown = desk.number("meter", "MEASure:VOLTage:DC? 100,(@154)");
    // 10 MΩ of the meter behind 1 kΩ; rail within 0.02 % and 1 mV, meter within 0.01 % and 5 mV.
    assert!((shown + 12.0 * 10e6 / 10.001e6).abs() < 0.0034 + 0.0062, "{shown}");
}

/// 0.2 % and 20 µA, over many instruments.
#[test]
fn the_low_voltage_current_keeps_its_figures() {
    for seed in 0..40 {
        let mut desk = Desk::at_a_charger(seed);
        for line in ["VOLTage 12", "OUTPut ON"] {
            desk.tell("low_voltage", line);
        }
        desk.wait(std::time::Duration::from_secs(2));
        let awake = desk.number("low_voltage", "MEASure:CURRent?");
        // 5 W at 12 V within 0.1 %.
        assert!(
            (awake - 5.0 / 12.0).abs() < 5.0 / 12.0 * 3.1e-3 + 21e-6,
            "{seed}: {awake}"
        );
        desk.wait(std::time::Duration::from_secs(30));
        let asleep = desk.number("low_voltage", "MEASure:CURRent?");
        assert!((asleep - 0.5e-3).abs() < 1e-6 + 21e-6, "{seed}: {asleep}");
    }
}
