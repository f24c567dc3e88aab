//! The energy table, line by line, and against an independent walk over random acts.

use crate::build::*;
use pilotage_core::{Dimension, Quantity};
use pilotage_evidence::{EnergyState, ItemKind};
use pilotage_plan::energy::{BenchState, Typed, all_quiet};
use pilotage_plan::files::sequence::ActText;
use pilotage_plan::fit::code;
use pilotage_plan::program::{Act, ActKind, Order, Program, Setting};
use proptest::prelude::*;

fn word(point: &str, word: &str) -> Order {
    Order {
        point: point.into(),
        to: Setting::Word(word.into()),
        becomes: None,
    }
}

fn amount(point: &str, si: f64, dimension: Dimension) -> Order {
    let value = Quantity::new(si, dimension).unwrap();
    Order {
        point: point.into(),
        to: Setting::Amount(value, String::new()),
        becomes: None,
    }
}

fn ohms(si: f64) -> Order {
    amount("pilot_load.resistance", si, Dimension::RESISTANCE)
}

fn after(orders: &[Order]) -> BenchState {
    orders.iter().cloned().fold(BenchState::isolated(), |state, order| {
        state.order(ItemKind::WallUnit, order).1
    })
}

fn energises(state: BenchState, order: Order) -> bool {
    matches!(state.order(ItemKind::WallUnit, order).0, Typed::Energising(_))
}

#[test]
fn the_table_line_by_line() {
    let off = BenchState::isolated();
    let on = after(&[word("supply", "on")]);
    let live = after(&[word("supply", "on"), word("pilot_load", "state_C")]);
    let volts = || amount("supply.voltage", 230.0, Dimension::VOLTAGE);
    let amperes = |si| amount("load.current", si, Dimension::CURRENT);
    // state, order, energising
    let table = [
        (off, word("supply", "on"), true),
        (off, volts(), false),
        (on, volts(), true),
        (off, word("pilot_load", "state_C"), false),
        (on, word("pilot_load", "state_A"), false),
        (on, word("pilot_load", "state_B"), false),
        (on, word("pilot_load", "state_C"), true),
        (on, word("pilot_load", "state_D"), true),
        (on, word("pilot_load", "state_E"), false),
        (on, word("pilot_load", "open"), false),
        (on, ohms(2740.0), false),
        (on, ohms(1900.0), true),
        (on, ohms(882.0), true),
        (on, ohms(0.0), true),
        (on, word("pilot_load.diode", "shorted"), false),
        (live, word("pilot_load.diode", "shorted"), true),
        (live, word("pilot_load.diode", "normal"), true),
        (live, word("load", "on"), true),
        (live, amperes(8.0), true),
        (live, amperes(0.0), false),
        (live, word("load", "off"), false),
        (live, word("supply", "off"), false),
        (off, amperes(8.0), false),
        (on, word("something", "new"), true),
    ];
    for (state, order, expected) in table {
        assert_eq!(energises(state, order.clone()), expected, "{order:?} in {state:?}");
    }
}

#[test]
fn switching_off_proves_nothing() {
    let live = after(&[word("supply", "on"), word("pilot_load", "state_C")]);
    assert_eq!(live.energy, EnergyState::Live);
    for order in [word("pilot_load", "state_A"), word("supply", "off"), ohms(30_000.0)] {
        assert_eq!(live.order(ItemKind::WallUnit, order).1.energy, EnergyState::Unknown);
    }
    assert_eq!(
        live.proven_dead(ItemKind::WallUnit, "ac_output").energy,
        EnergyState::Live,
        "it may close the next moment"
    );
    let waiting = live.order(ItemKind::WallUnit, word("pilot_load", "state_B")).1;
    assert_eq!(
        waiting.proven_dead(ItemKind::WallUnit, "ac_output").energy,
        EnergyState::OutputDead
    );
    assert_eq!(
        waiting.proven_dead(ItemKind::WallUnit, "ac_input").energy,
        EnergyState::Unknown
    );
}

#[test]
fn a_kind_without_a_table_has_nothing_quiet() {
    assert!(all_quiet(ItemKind::PortableCord, [word("supply", "off")]).is_err());
    assert!(all_quiet(ItemKind::WallUnit, [word("supply", "on")]).is_err());
}

/// What a random sequence may do.
#[derive(Debug, Clone)]
enum Deed {
    Word(&'static str, &'static str),
    Amount(&'static str, f64, &'static str),
    InCapture(&'static str, &'static str),
    ProveDead,
    Isolate,
    Hands,
    DeadReading,
}

fn deeds() -> impl Strategy<Value = Vec<Deed>> {
    let words = prop_oneof![
        4 => Just(("supply", "on")),
        2 => Just(("supply", "off")),
        2 => Just(("pilot_load", "state_A")),
        2 => Just(("pilot_load", "state_B")),
        4 => Just(("pilot_load", "state_C")),
        1 => Just(("pilot_load", "state_D")),
        1 => Just(("pilot_load", "open")),
        1 => Just(("pilot_load", "check")),
        1 => Just(("pilot_load.diode", "shorted")),
        1 => Just(("pilot_load.diode", "normal")),
        2 => Just(("load", "on")),
        1 => Just(("load", "off")),
        1 => Just(("burden", "on")),
        1 => Just(("reference", "dc")),
    ];
    let deed = prop_oneof![
        8 => words.clone().prop_map(|(point, word)| Deed::Word(point, word)),
        2 => words.prop_map(|(point, word)| Deed::InCapture(point, word)),
        1 => (0.0..230.0).prop_map(|v| Deed::Amount("supply.voltage", v, "V")),
        2 => (0.0..6000.0).prop_map(|r| Deed::Amount("pilot_load.resistance", r, "Ω")),
        2 => prop_oneof![Just(0.0), 0.0..40.0].prop_map(|i| Deed::Amount("load.current", i, "A")),
        2 => Just(Deed::ProveDead),
        2 => Just(Deed::Isolate),
        1 => Just(Deed::Hands),
        1 => Just(Deed::DeadReading),
    ];
    prop::collection::vec(deed, 1..25)
}

fn text(deed: &Deed) -> ActText {
    match deed {
        Deed::Word(point, word) => set(point, word),
        Deed::Amount(point, value, unit) => set_to(point, &format!("{value:.3} {unit}")),
        Deed::InCapture(point, word) => capture(&["pilot"], "1 s", "1 kHz", vec![set(point, word)]),
        Deed::ProveDead => prove_dead("ac_output"),
        Deed::Isolate => isolate(),
        Deed::Hands => ask_hands(),
        Deed::DeadReading => read(&[("r", "path[L].resistance")]),
    }
}

/// A second opinion, written from the design's words and nothing else: it looks at the fitted program as a witness would.
#[allow(clippy::struct_excessive_bools)]
#[derive(Default)]
struct Witness {
    unlocked: bool,
    supply_on: bool,
    asks: bool,
    plain_pilot: bool,
    wrong: Vec<String>,
}

impl Witness {
    fn watch(program: &Program) -> Vec<String> {
        let mut witness = Self {
            plain_pilot: true,
            ..Self::default()
        };
        for act in program.steps.iter().flat_map(|step| &step.acts) {
            witness.act(act);
        }
        witness.wrong
    }

    fn act(&mut self, act: &Act) {
        match &act.kind {
            ActKind::Quiet(order) => self.order(order.order(), true),
            ActKind::Energise(order) => self.order(order.order(), false),
            ActKind::Capture(capture) => capture.during.iter().for_each(|inner| self.act(inner)),
            ActKind::Isolate(_) => {
                *self = Self {
                    plain_pilot: true,
                    wrong: std::mem::take(&mut self.wrong),
                    ..Self::default()
                }
            }
            ActKind::Ask(ask) if ask.hands && self.unlocked => self.wrong.push("hands while unlocked".into()),
            ActKind::Read(reads) if self.unlocked && reads.iter().any(|r| r.point.ends_with(".resistance")) => {
                self.wrong.push("a dead measurement while unlocked".into());
            }
            _ => {}
        }
    }

    fn order(&mut self, order: &Order, quiet: bool) {
        let (word, value) = match &order.to {
            Setting::Word(word) => (word.as_str(), 0.0),
            Setting::Amount(value, _) => ("", value.si()),
        };
        let asks = match order.point.as_str() {
            "pilot_load" => matches!(word, "state_C" | "state_D"),
            "pilot_load.resistance" => value <= 1900.0,
            _ => self.asks,
        };
        let could_close = self.supply_on && self.asks;
        let energises = match order.point.as_str() {
            "supply" => word == "on",
            "supply.voltage" => self.supply_on,
            "pilot_load" | "pilot_load.resistance" => self.supply_on && asks,
            "pilot_load.diode" => word == "shorted" && self.supply_on && !self.plain_pilot,
            "load" => word == "on" && could_close,
            "load.current" => value > 0.0 && could_close,
            _ => false,
        };
        if energises && quiet {
            self.wrong.push(format!("{order:?} is quiet"));
        }
        self.asks = asks;
        if order.point == "supply" {
            self.supply_on = word == "on";
            self.unlocked |= word == "on";
        }
        match order.point.as_str() {
            "pilot_load" => self.plain_pilot = matches!(word, "state_A" | "state_B" | "open" | "check"),
            "pilot_load.resistance" => self.plain_pilot = false,
            _ => {}
        }
    }
}

/// Whether hands or dead measurements are wanted after the isolator was unlocked: from the list of deeds alone.
fn dangerous(deeds: &[Deed]) -> bool {
    let mut locked = true;
    for deed in deeds {
        match deed {
            Deed::Word("supply", "on") | Deed::InCapture("supply", "on") => locked = false,
            Deed::Isolate => locked = true,
            Deed::Hands | Deed::DeadReading if !locked => return true,
            _ => {}
        }
    }
    false
}

/// Whether the output is to be proven dead while the supply may be on and the pilot load asks: from the list alone.
fn asks_at_a_proof(deeds: &[Deed]) -> bool {
    let (mut supplied, mut asks) = (false, false);
    for deed in deeds {
        match deed {
            Deed::Word("supply", word) | Deed::InCapture("supply", word) => supplied = *word == "on",
            Deed::Word("pilot_load", word) | Deed::InCapture("pilot_load", word) => {
                asks = matches!(*word, "state_C" | "state_D");
            }
            Deed::Amount("pilot_load.resistance", ohm, _) => asks = *ohm <= 2500.0,
            Deed::Isolate => (supplied, asks) = (false, false),
            Deed::ProveDead if supplied && asks => return true,
            _ => {}
        }
    }
    false
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn no_program_lets_hands_near_energy_or_energises_quietly(deeds in deeds()) {
        let mut acts = vec![set_to("supply.voltage", "230 V")];
        acts.extend(deeds.iter().map(text));
        let files = Files::new(vec![step("WU-00", acts)]);
        match files.fit() {
            Ok(program) => {
                prop_assert!(!dangerous(&deeds) && !asks_at_a_proof(&deeds));
                let wrong = Witness::watch(&program);
                prop_assert!(wrong.is_empty(), "{:?}", wrong);
            }
            Err(problems) => {
                let codes: Vec<&str> = problems.iter().map(|problem| problem.code).collect();
                let known = [code::HANDS, code::NOT_ISOLATED, code::STILL_ASKING];
                prop_assert!(codes.iter().all(|found| known.contains(found)), "{codes:?}");
                prop_assert_eq!(codes.contains(&code::STILL_ASKING), asks_at_a_proof(&deeds), "{:?}", problems);
                prop_assert_eq!(codes.iter().any(|found| *found != code::STILL_ASKING), dangerous(&deeds));
            }
        }
    }
}

/// Telling a charger that it may, or another set-point, energises while it is offered power; forbidding it, or ceasing to tell it anything, is
/// quiet always.
#[test]
fn commands_to_a_charger_energise_while_it_is_offered_power() {
    let kind = ItemKind::OnboardCharger;
    let after = |orders: &[Order]| {
        let all = orders.iter().cloned();
        all.fold(BenchState::isolated(), |state, order| state.order(kind, order).1)
    };
    let isolated = BenchState::isolated();
    let waiting = after(&[word("supply", "on"), word("pilot_source", "steady")]);
    let offered = after(&[word("supply", "on"), word("pilot_source", "pwm")]);
    let volts = || amount("command.voltage", 400.0, Dimension::VOLTAGE);
    let amps = || amount("command.current", 10.0, Dimension::CURRENT);
    for (order, expected) in [
        (word("command.enable", "on"), true),
        (word("command.frames", "on"), true),
        (word("command.frames", "lost"), true),
        (volts(), true),
        (amps(), true),
        (word("command.enable", "off"), false),
        (word("command.frames", "stopped"), false),
        // A charger that looks at neither begins with them.
        (word("command.frames", "bad_counter"), true),
        (word("command.frames", "bad_checksum"), true),
        (word("command.frames", "bus_off"), false),
    ] {
        for (state, energises) in [
            (isolated, false),
            (waiting, false),
            (offered, expected),
            (BenchState::unknown(), expected),
        ] {
            let typed = state.order(kind, order.clone()).0;
            assert_eq!(
                matches!(typed, Typed::Energising(_)),
                energises,
                "{order:?} in {state:?}"
            );
        }
    }
}
