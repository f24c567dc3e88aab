//! The 13 mandatory commands of IEEE 488.2, `SYSTem`, and the error queue, on every instrument.

use super::desk::Desk;
use std::time::Duration;

#[test]
fn nine_instruments_say_who_they_are() {
    let mut desk = Desk::new(1);
    let identities: Vec<String> = desk.names().iter().map(|name| desk.ask(name, "*IDN?")).collect();
    assert_eq!(
        identities,
        [
            "PILOTAGE VIRTUAL,SCAN-DMM,M-0001,1.0",
            "PILOTAGE VIRTUAL,SCAN-DMM,M-0002,1.0",
            "PILOTAGE VIRTUAL,WAVE-4CH,W-0001,1.0",
            "PILOTAGE VIRTUAL,AC-LOAD,L-0001,1.0",
            "PILOTAGE VIRTUAL,AC-SOURCE,S-0001,1.0",
            "PILOTAGE VIRTUAL,RELAY-BOX,R-0001,1.0",
            "PILOTAGE VIRTUAL,GUARD-IO,G-0001,1.0",
            "PILOTAGE VIRTUAL,LIVE-REF,V-0001,1.0",
            "PILOTAGE VIRTUAL,TEMP-8CH,T-0001,1.0",
        ]
    );
}

#[test]
fn mandatory_commands_work_on_every_instrument() {
    let mut desk = Desk::new(1);
    for name in desk.names() {
        // Power on is noted, and reading clears it (IEEE 488.2 11.5.1.1.9, 11.5.1.3).
        assert_eq!(desk.ask(&name, "*ESR?"), "128", "{name}");
        assert_eq!(desk.ask(&name, "*ESR?"), "0", "{name}");
        for command in ["*CLS", "*RST", "*WAI", "*OPC", "*ESE 36", "*SRE 32"] {
            desk.tell(&name, command);
        }
        assert_eq!(desk.ask(&name, "*ESR?"), "1", "{name}: *OPC sets bit 0");
        assert_eq!(desk.ask(&name, "*ESE?"), "36", "{name}");
        assert_eq!(desk.ask(&name, "*SRE?"), "32", "{name}");
        assert_eq!(desk.ask(&name, "*OPC?"), "1", "{name}");
        assert_eq!(desk.ask(&name, "*STB?"), "0", "{name}");
        assert_eq!(desk.ask(&name, "*TST?"), "0", "{name}");
        assert_eq!(desk.ask(&name, "SYST:VERS?"), "1999.0", "{name}");
        assert_eq!(desk.ask(&name, "SYSTem:ERRor:NEXT?"), "0,\"No error\"", "{name}");
        assert_eq!(desk.ask(&name, "syst:err?"), "0,\"No error\"", "{name}");
    }
}

#[test]
fn the_status_byte_sums_up() {
    let mut desk = Desk::new(1);
    desk.ask("guard", "*ESR?");
    assert_eq!(desk.bytes("guard", b"BOGUS"), b"");
    // An error waits (bit 2); its class is not enabled yet.
    assert_eq!(desk.ask("guard", "*STB?"), "4");
    assert_eq!(desk.bytes("guard", b"*ESE 32;*SRE 32"), b"");
    // Event summary (32) and master summary (64) besides.
    assert_eq!(desk.ask("guard", "*STB?"), "100");
    // A part of the reply waits already: message available (16).
    assert_eq!(desk.ask("guard", "*TST?;*STB?"), "0;116");
    assert_eq!(desk.ask("guard", "*ESR?"), "32", "a command error");
    desk.bytes("guard", b"DIG:DATA? 9");
    assert_eq!(desk.ask("guard", "*ESR?"), "16", "an execution error");
    assert_eq!(desk.bytes("guard", b"*CLS"), b"");
    assert_eq!(desk.ask("guard", "*STB?"), "0");
    assert_eq!(desk.error("guard"), 0, "*CLS empties the queue");
    assert_eq!(desk.ask("guard", "*SRE 255;*SRE?"), "191", "bit 6 cannot be enabled");
}

#[test]
fn a_full_error_queue_ends_with_350() {
    let mut desk = Desk::new(1);
    for _ in 0..40 {
        assert_eq!(desk.bytes("load", b"BOGUS"), b"");
    }
    let codes: Vec<i32> = (0..17).map(|_| desk.error("load")).collect();
    let mut expected = vec![-113; 15];
    expected.extend([-350, 0]);
    assert_eq!(codes, expected);
    assert_eq!(desk.bytes("load", b"CURR 99"), b"");
    assert_eq!(desk.ask("load", "SYST:ERR?"), "-222,\"Data out of range\"");
}

#[test]
fn an_unfinished_line_is_interrupted_by_the_next() {
    let mut desk = Desk::new(1);
    let now = desk.now;
    desk.instrument("meter").respond(b"MEAS:VOLT:AC? (@101)", now);
    assert_eq!(desk.ask("meter", "*IDN?"), "PILOTAGE VIRTUAL,SCAN-DMM,M-0001,1.0");
    assert_eq!(desk.ask("meter", "SYST:ERR?"), "-410,\"Query INTERRUPTED\"");
}

#[test]
fn reset_leaves_everything_off() {
    let mut desk = Desk::new(1);
    for (name, line) in [
        ("supply", "VOLT 230;OUTP ON"),
        ("load", "CURR 5;INP ON"),
        ("pilot_box", "ROUT:PIL C;PIL:DIOD SHOR;CAP 1e-9;:ROUT:BURD ON"),
        ("reference", "SOUR:FUNC AC"),
    ] {
        desk.tell(name, line);
    }
    for name in desk.names() {
        desk.tell(&name, "*RST");
    }
    assert_eq!(desk.ask("supply", "OUTP?;VOLT?"), "0;+0.000000000000000E+00");
    assert_eq!(desk.ask("load", "INP?;CURR?"), "0;+0.000000000000000E+00");
    assert_eq!(desk.ask("pilot_box", "ROUT:PIL?;PIL:DIOD?;:ROUT:BURD?"), "A;NORM;0");
    assert_eq!(desk.ask("reference", "SOUR:FUNC?"), "OFF");
    desk.wait(Duration::from_secs(1));
    assert!(
        desk.number("meter", "MEAS:VOLT:AC? (@111)") < 1.0,
        "the world is off too"
    );
    assert!(desk.number("meter", "MEAS:VOLT:AC? (@141)") < 1.0);
}
