//! The power side of the bench at a charger: what its instruments refuse, what reaches the world, and that they keep their figures.

use super::accuracy::{Truth, keeps, rms, share};
use super::desk::Desk;
use pilotage_core::RunTime;
use pilotage_virtual::physics::{Action, DcPair, DeadPath, Insulated, Node, Pair, World};
use std::f64::consts::TAU;
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

/// The contactor of the sink opens with the guard, and the sink says that it went off; on again it has only its own terminals.
#[test]
fn the_guard_shows_the_contactor_of_the_sink() {
    let mut desk = Desk::at_a_charger(1);
    desk.tell("sink", "VOLTage 400;CURRent 20;INPut ON");
    desk.wait(Duration::from_millis(200));
    assert_eq!(desk.ask("guard", "DIGital:DATA? 3;DATA? 4"), "1;1");
    assert!((desk.number("sink", "MEASure:VOLTage?") - 400.0).abs() < 2.0);
    desk.act(Action::Stop { pressed: true });
    desk.wait(Duration::from_millis(200));
    assert_eq!(desk.ask("guard", "DIGital:DATA? 3;DATA? 4"), "0;0");
    assert_eq!(desk.ask("sink", "INPut?"), "0");
    assert!(desk.number("sink", "MEASure:VOLTage?").abs() < 2.0);
    desk.tell("sink", "INPut ON");
    desk.wait(Duration::from_millis(200));
    assert!((desk.number("sink", "MEASure:VOLTage?") - 400.0).abs() < 2.0);
    assert!(
        desk.number("meter", "MEASure:VOLTage:DC? 1000,(@301)").abs() < 2.0,
        "nothing gets through"
    );
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
        let code = i16::from_le_bytes([block[5], block[6]]);
        let shown = f64::from(code) * full / 32768.0;
        // The reference itself is within 1 % of its nominal voltage.
        assert!((shown - wanted).abs() <= limit + wanted * 0.01, "{channel}: {shown}");
    }
}

/// Its own readings look where its inputs are led, too: 50 V within 1 %, class and range, and no current; then the item again, which
/// is dead.
#[test]
fn the_analysers_own_readings_look_at_the_reference_too() {
    let mut desk = Desk::at_a_charger(1);
    desk.tell("switch_box", "ROUT:CAPT REF");
    desk.tell("reference", "SOUR:FUNC DC");
    desk.wait(Duration::from_millis(300));
    let shown = desk.number("analyser", "MEASure:VOLTage:DC? (@2)");
    assert!((shown - 50.0).abs() <= 0.5 + 0.05e-2 * 650.0 + 1e-3, "{shown}");
    let amperes = desk.number("analyser", "MEASure:CURRent:DC? (@2)");
    assert!(amperes.abs() <= 0.05e-2 * 30.0 + 1e-4, "{amperes}");
    desk.tell("switch_box", "ROUT:CAPT ITEM");
    desk.wait(Duration::from_millis(300));
    let shown = desk.number("analyser", "MEASure:VOLTage:DC? (@2)");
    assert!(shown.abs() <= 0.05e-2 * 600.0 + 1e-3, "{shown}");
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

/// A charger that takes 24 A and charges a battery of 350 V.
fn charging(seed: u64) -> Desk {
    let mut desk = Desk::at_a_charger(seed);
    for (name, line) in [
        ("coolant", "TEMPerature 40;PUMP ON"),
        ("low_voltage", "VOLTage 12;OUTPut ON"),
        ("pilot_source", "PROXimity LATChed"),
        ("sink", "VOLTage 350;CURRent 21;INPut ON"),
        ("supply", "VOLTage 230;FREQuency 50"),
        ("supply", "OUTPut ON"),
        ("pilot_source", "PILot:DUTY 40"),
        ("pilot_source", "PILot PWM"),
    ] {
        desk.tell(name, line);
    }
    desk.wait(Duration::from_secs(20));
    desk
}

const AC: (Node, Node) = (Node::In(Pair::LN), Node::InCurrent);
const DC: (Node, Node) = (Node::Dc(DcPair::PlusMinus), Node::DcCurrent);

/// Mean of the product, over samples of its own.
fn power(world: &mut World, (volts, amps): (Node, Node), (from, to): (RunTime, RunTime)) -> f64 {
    let count = 20_000;
    let interval_s = to.since(from).as_secs_f64() / f64::from(count);
    let mut of = |node| {
        let mut values = Vec::new();
        world.samples(node, from, interval_s, count as usize, &mut values);
        values
    };
    let (volts, amps) = (of(volts), of(amps));
    volts.iter().zip(&amps).map(|(v, i)| v * i).sum::<f64>() / f64::from(count)
}

#[test]
fn a_charging_charger_is_seen_alike_by_its_instruments() {
    let mut desk = charging(3);
    let input = desk.number("analyser", "MEASure:POWer? (@1)");
    let output = desk.number("analyser", "MEASure:POWer? (@2)");
    // 24 A of 230 V, some 2 % of it left; 90 % to 97 % of it come out.
    assert!((5200.0..5550.0).contains(&input), "{input}");
    assert!((0.90..0.97).contains(&(output / input)), "{output} {input}");
    let volts = desk.number("analyser", "MEASure:VOLTage:RMS? (@1)");
    let amps = desk.number("analyser", "MEASure:CURRent:RMS? (@1)");
    let factor = desk.number("analyser", "MEASure:PFACtor? (@1)");
    assert!((input / (volts * amps) - factor).abs() < 0.005, "{factor}");
    let by_supply = desk.number("supply", "MEASure:CURRent?");
    assert!((by_supply - amps).abs() < 0.3, "{by_supply} {amps}");
    let by_sink = desk.number("sink", "MEASure:VOLTage?");
    let by_meter = desk.number("meter", "MEASure:VOLTage:DC? 1000,(@301)");
    assert!(
        (by_sink - 350.0).abs() < 5.0 && (by_meter - by_sink).abs() < 2.0,
        "{by_sink} {by_meter}"
    );
    desk.wrong("insulation", b"OUTPut ON", -221);
    assert_eq!(
        desk.ask("insulation", "OUTPut?"),
        "0",
        "it does not switch on while anything is live"
    );
    let outlet = desk.number("coolant", "MEASure:TEMPerature?");
    assert!((26.0..45.0).contains(&outlet), "{outlet}");
}

/// The charger is idle and its output relay open: what the sink holds is at the contacts, for everything that looks there.
#[test]
fn a_sink_that_holds_its_voltage_makes_the_contacts_live() {
    let mut desk = Desk::at_a_charger(3);
    desk.tell("sink", "VOLTage 400;CURRent 20");
    let shown = |desk: &mut Desk| {
        [
            ("meter", "MEASure:VOLTage:DC? 1000,(@301)"),
            ("analyser", "MEASure:VOLTage:DC? (@2)"),
            ("sink", "MEASure:VOLTage?"),
        ]
        .map(|(name, ask)| desk.number(name, ask))
    };
    for (switch, volts) in [("INPut ON", 400.0), ("POLarity REVersed", -10.0), ("INPut OFF", 0.0)] {
        desk.tell("sink", switch);
        desk.wait(Duration::from_secs(1));
        for value in shown(&mut desk) {
            assert!((value - volts).abs() < 1.5, "{switch}: {value}");
        }
        if volts == 400.0 {
            desk.wrong("insulation", b"OUTPut ON", -221);
        }
    }
}

/// Less than 1 VA has no power factor.
#[test]
fn nothing_has_no_power_factor() {
    let mut desk = Desk::at_a_charger(1);
    assert_eq!(desk.ask("analyser", "MEASure:PFACtor? (@1)"), "+9.91000000E+37");
}

/// Every reading of the power side, with its truth.
const READINGS: [(&str, &str, &str, Truth); 12] = [
    ("analyser", "power_analyser", "ac_voltage", |world, from, to| {
        world.rms(AC.0, from, to)
    }),
    ("analyser", "power_analyser", "ac_current", |world, from, to| {
        world.rms(AC.1, from, to)
    }),
    ("analyser", "power_analyser", "ac_power", |world, from, to| {
        power(world, AC, (from, to))
    }),
    ("analyser", "power_analyser", "power_factor", |world, from, to| {
        power(world, AC, (from, to)) / (world.rms(AC.0, from, to) * world.rms(AC.1, from, to))
    }),
    ("analyser", "power_analyser", "dc_voltage", |world, from, to| {
        world.mean(DC.0, from, to)
    }),
    ("analyser", "power_analyser", "dc_current", |world, from, to| {
        world.mean(DC.1, from, to)
    }),
    ("analyser", "power_analyser", "dc_power", |world, from, to| {
        power(world, DC, (from, to))
    }),
    ("sink", "dc_sink", "measured_current", |world, from, to| {
        world.mean(DC.1, from, to)
    }),
    ("sink", "dc_sink", "measured_voltage", |world, from, to| {
        world.mean(DC.0, from, to)
    }),
    ("coolant", "coolant_unit", "outlet", |world, _, to| {
        world.coolant_k(to).unwrap() - 273.15
    }),
    ("pe_sensor", "pe_clamp", "ac_current", |world, from, to| {
        rms(world, Node::PeCurrent, from, to)
    }),
    ("pe_sensor", "pe_clamp", "dc_current", |world, from, to| {
        world.mean(Node::PeCurrent, from, to)
    }),
];

/// The statements are kept, and they are used.
#[test]
fn readings_at_a_charging_charger_keep_what_the_drivers_state() {
    let mut worst = [0.0_f64; READINGS.len()];
    for seed in 0..80 {
        let mut desk = charging(seed);
        for (worst, (name, driver, function, truth)) in worst.iter_mut().zip(READINGS) {
            *worst = worst.max(share(&mut desk, name, driver, (function, ""), truth));
        }
    }
    for (worst, (_, _, function, _)) in worst.iter().zip(READINGS) {
        assert!(*worst > 0.4, "{function}: {worst}");
    }
}

#[test]
fn what_measures_a_dead_charger_keeps_its_figures() {
    let tested = |seed| {
        let mut desk = Desk::at_a_charger(seed);
        desk.tell("insulation", "VOLTage 500;OUTPut ON");
        desk
    };
    for (channel, truth) in [
        (
            "1",
            (|world, _, to| isolation(world, Insulated::AcToChassis, to)) as Truth,
        ),
        ("2", |world, _, to| isolation(world, Insulated::DcPlusToChassis, to)),
        ("3", |world, _, to| isolation(world, Insulated::DcMinusToChassis, to)),
        ("4", |world, _, to| isolation(world, Insulated::AcToDc, to)),
    ] {
        keeps(tested, "insulation", "insulation_tester", "insulation", channel, truth);
    }
    keeps(
        Desk::at_a_charger,
        "ohmmeter",
        "micro_ohmmeter",
        "resistance",
        "1",
        |world, _, to| world.resistance(DeadPath::Bond, to).unwrap(),
    );
    keeps(
        Desk::at_a_charger,
        "bridge",
        "lcr_bridge",
        "capacitance",
        "1",
        |world, _, to| world.capacitance(DeadPath::Dc(DcPair::PlusMinus), to).unwrap(),
    );
    keeps(
        Desk::at_a_charger,
        "bridge",
        "lcr_bridge",
        "series_resistance",
        "1",
        |world, _, to| series_ohm(world, to),
    );
    keeps(
        Desk::at_a_charger,
        "bridge",
        "lcr_bridge",
        "dissipation",
        "1",
        |world, _, to| {
            let farad = world.capacitance(DeadPath::Dc(DcPair::PlusMinus), to).unwrap();
            series_ohm(world, to) * TAU * 1000.0 * farad
        },
    );
    keeps(
        Desk::at_a_charger,
        "meter",
        "bench_meter",
        "resistance",
        "164",
        |world, _, to| world.resistance(DeadPath::InterlockLoop, to).unwrap(),
    );
}

fn series_ohm(world: &mut World, at: RunTime) -> f64 {
    let path = DeadPath::Dc(DcPair::PlusMinus);
    world.series_ohm(path, 1000.0, at).unwrap()
}

/// The X capacitor has some 70 Ω of reactance: its series resistance is beyond the bridge, and what is no capacitor has none.
#[test]
fn a_bridge_tells_series_resistance_only_where_it_can() {
    let mut desk = Desk::at_a_charger(1);
    assert_eq!(desk.number("bridge", "MEASure:SRESistance? (@2)"), 9.9e37);
    let dissipation = desk.number("bridge", "MEASure:DISSipation? (@2)");
    assert!(dissipation.abs() < 6e-4, "{dissipation}");
    assert!(desk.number("bridge", "MEASure:SRESistance? (@1)") < 0.012);
    desk.wrong("bridge", b"MEASure:SRESistance? (@3)", -222);
    desk.wrong("bridge", b"MEASure:DISSipation? (@0)", -222);
}

fn isolation(world: &mut World, parts: Insulated, at: RunTime) -> f64 {
    world.resistance(DeadPath::Isolation(parts), at).unwrap()
}

/// A dip to 40 % for 60 ms from 90° on: the crest breaks there, and comes back.
#[test]
fn a_dip_begins_at_its_angle_and_lasts_as_long_as_it_was_told() {
    let mut desk = Desk::at_a_charger(2);
    desk.tell("supply", "VOLTage 230;FREQuency 50");
    desk.tell("supply", "OUTPut ON");
    desk.wait(Duration::from_secs(1));
    let from = desk.now;
    desk.tell("supply", "DIP:LEVel 40;TIME 0.06;ANGLe 90");
    desk.tell("supply", "DIP ONCE");
    assert_eq!(desk.ask("supply", "DIP?"), "ONCE");
    desk.wait(Duration::from_millis(300));
    let mut volts = Vec::new();
    desk.world
        .lock()
        .unwrap()
        .samples(Node::In(Pair::LN), from, 1e-4, 3000, &mut volts);
    let crest = 230.0 * 2f64.sqrt();
    let high = |part: &[f64]| part.iter().fold(0.0_f64, |high, v| high.max(v.abs()));
    assert!(high(&volts[..50]) > 0.0 && high(&volts) > 0.97 * crest);
    let fall = volts
        .windows(2)
        .position(|pair| pair[0] > 0.95 * crest && pair[1] < 0.45 * crest);
    let fall = fall.expect("it falls from its crest");
    assert!(high(&volts[fall + 1..fall + 590]) < 0.42 * crest);
    assert!(high(&volts[fall + 620..fall + 900]) > 0.97 * crest, "it is back");
}
