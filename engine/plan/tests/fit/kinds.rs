//! The tables of kinds other than wall units: their energy tables line by line, and what every table must keep.

use pilotage_core::{Dimension, Quantity};
use pilotage_evidence::{EnergyState, ItemKind};
use pilotage_plan::energy::{BenchState, Typed};
use pilotage_plan::kind::{Line, table_of};
use pilotage_plan::program::{Order, Setting};

const KINDS: [ItemKind; 4] = [
    ItemKind::WallUnit,
    ItemKind::OnboardCharger,
    ItemKind::Inlet,
    ItemKind::CableAssembly,
];

fn word(point: &str, word: &str) -> Order {
    Order {
        point: point.into(),
        to: Setting::Word(word.into()),
        becomes: None,
    }
}

fn amount(point: &str, si: f64) -> Order {
    Order {
        point: point.into(),
        to: Setting::Amount(Quantity::new(si, Dimension::NONE).unwrap(), String::new()),
        becomes: None,
    }
}

fn after(kind: ItemKind, orders: &[Order]) -> BenchState {
    let start = BenchState::isolated();
    orders
        .iter()
        .cloned()
        .fold(start, |state, order| state.order(kind, order).1)
}

fn energises(kind: ItemKind, state: BenchState, order: Order) -> bool {
    matches!(state.order(kind, order).0, Typed::Energising(_))
}

/// An order of make safe that could energise would need a permit when there is none to have.
#[test]
fn every_line_of_make_safe_is_quiet_from_the_worst_state_on() {
    for kind in KINDS {
        let table = table_of(kind).unwrap();
        for lines in [
            table.make_safe.normal,
            table.make_safe.emergency,
            table.make_safe.isolate,
        ] {
            let mut state = BenchState::unknown();
            for line in lines {
                let order = match line {
                    Line::Word(point, to) | Line::BleedUntil { off: (point, to), .. } => word(point, to),
                    Line::Zero(point) => amount(point, 0.0),
                    Line::Amount(point, si) => amount(point, *si),
                    Line::Wait(_) | Line::SupplyOffUnlessDead(_) => continue,
                };
                let (typed, next) = state.order(kind, order);
                assert!(matches!(typed, Typed::Quiet(_)), "{kind}: {line:?}");
                state = next;
            }
            assert!(!state.supply_on, "{kind}: the supply stays on");
        }
    }
}

/// Stop category 0 of IEC 60204-1: the supply goes before anything else is tried.
#[test]
fn in_an_emergency_the_supply_goes_first() {
    for kind in KINDS {
        let first = &table_of(kind).unwrap().make_safe.emergency[0];
        assert!(matches!(first, Line::Word("supply", "off")), "{kind}: {first:?}");
    }
}

/// A sink that is on, reversed, with a voltage set would go from one side to the other; one that holds a voltage would put it on the output.
#[test]
fn a_sink_of_a_charger_holds_nothing_before_it_is_turned_and_before_it_is_on() {
    let make_safe = &table_of(ItemKind::OnboardCharger).unwrap().make_safe;
    for lines in [make_safe.normal, make_safe.emergency, make_safe.isolate] {
        let zero = lines.iter().position(|line| matches!(line, Line::Zero("load.voltage")));
        let turned = lines
            .iter()
            .position(|line| matches!(line, Line::Word("load.polarity", "normal")));
        let on = lines.iter().position(|line| matches!(line, Line::Word("load", "on")));
        assert!(zero.is_some() && zero < turned && turned < on, "{lines:?}");
    }
    let [first, second, third, ..] = make_safe.emergency else {
        panic!("an emergency needs three lines")
    };
    assert!(
        matches!(
            (first, second, third),
            (
                Line::Word("supply", "off"),
                Line::Word("insulation", "off"),
                Line::Zero("load.voltage")
            )
        ),
        "whatever gives goes first: {:?}",
        make_safe.emergency
    );
}

/// What watches the bleeding would read the reference; the next run would capture it.
#[test]
fn the_inputs_of_the_capture_instrument_look_at_the_item_before_anything_is_watched() {
    for kind in [ItemKind::WallUnit, ItemKind::OnboardCharger] {
        let make_safe = &table_of(kind).unwrap().make_safe;
        for lines in [make_safe.normal, make_safe.emergency, make_safe.isolate] {
            let led = lines
                .iter()
                .position(|line| matches!(line, Line::Word("capture_input", "item")));
            let watched = lines
                .iter()
                .position(|line| matches!(line, Line::BleedUntil { .. } | Line::SupplyOffUnlessDead(_)));
            let led = led.unwrap_or_else(|| panic!("{kind}: {lines:?}"));
            assert!(watched.is_none_or(|watched| led < watched), "{kind}: {lines:?}");
        }
    }
}

#[test]
fn every_kind_proves_something_behind_the_lock_and_something_that_a_person_touches() {
    for kind in KINDS {
        let table = table_of(kind).unwrap();
        assert!(table.dead.iter().any(|place| place.behind_lock), "{kind}");
        assert!(table.dead.iter().any(|place| place.output), "{kind}");
        for place in table.dead {
            for what in ["voltage", "dc_voltage"] {
                let found = table.all_points().any(|shape| {
                    shape.needed && shape.pattern.starts_with(place.at) && shape.pattern.ends_with(&format!("].{what}"))
                });
                assert!(found, "{kind}: `{}` needs its {what}", place.at);
            }
        }
    }
}

/// A bench is free of proofs only where it serves none of the sources, so each must be a point of the kind, and the supply among them.
#[test]
fn every_kind_says_through_which_points_it_can_be_energised() {
    for kind in KINDS {
        let table = table_of(kind).unwrap();
        assert!(table.sources.contains(&"supply"), "{kind}");
        for source in table.sources {
            assert!(
                table.all_points().any(|shape| shape.pattern == *source),
                "{kind}: {source}"
            );
        }
        // Whatever energises from *isolated* alone is a source.
        for shape in table.all_points().filter(|shape| shape.set) {
            let root = shape.pattern.split(['.', '[']).next().unwrap();
            if let pilotage_plan::kind::Holds::Words(words) = shape.holds {
                for to in words.iter().copied() {
                    let lone = energises(kind, BenchState::isolated(), word(shape.pattern, to));
                    assert!(!lone || table.sources.contains(&root), "{kind}: {} {to}", shape.pattern);
                }
            }
        }
    }
}

/// A contactor that no bench could serve, or that follows from a point that does not exist, would never be asked for.
#[test]
fn every_contactor_of_a_kind_is_a_point_with_both_words_and_the_supply_has_one() {
    for kind in KINDS {
        let table = table_of(kind).unwrap();
        let shape = |point: &str| table.all_points().find(|shape| shape.pattern == point);
        for contactor in table.contactors {
            let found = shape(contactor.point).unwrap_or_else(|| panic!("{kind}: {}", contactor.point));
            assert_eq!(found.holds, pilotage_plan::kind::Holds::Words(&["open", "closed"]));
            assert_eq!(found.needed, contactor.with.is_none(), "{kind}: {}", contactor.point);
            for point in contactor
                .with
                .map(|(point, _)| point)
                .into_iter()
                .chain(contactor.shows)
            {
                assert!(shape(point).is_some(), "{kind}: {point}");
            }
        }
        assert_eq!(
            table.contactors.first().map(|first| first.point),
            Some("supply_contactor")
        );
        // A load that holds a voltage is a source of its own.
        let holds = shape("load.voltage").is_some();
        let cut = table
            .contactors
            .iter()
            .any(|contactor| contactor.with.is_some_and(|(point, _)| point == "load.voltage"));
        assert_eq!(holds, cut, "{kind}");
    }
}

#[test]
fn unknown_orders_energise_and_bench_orders_do_not() {
    for kind in KINDS {
        let off = BenchState::isolated();
        assert!(energises(kind, off, word("something", "new")), "{kind}");
        assert!(!energises(kind, BenchState::unknown(), word("burden", "on")), "{kind}");
        assert!(
            !energises(kind, BenchState::unknown(), word("reference", "ac")),
            "{kind}"
        );
    }
}

#[test]
fn the_table_of_chargers_line_by_line() {
    let kind = ItemKind::OnboardCharger;
    let off = BenchState::isolated();
    let on = after(kind, &[word("supply", "on")]);
    let offered = after(kind, &[word("supply", "on"), word("pilot_source", "pwm")]);
    let tested = after(kind, &[word("insulation", "on")]);
    let battery = after(kind, &[amount("load.voltage", 400.0)]);
    let drawing = after(kind, &[word("load", "on")]);
    let holding = after(kind, &[amount("load.voltage", 400.0), word("load", "on")]);
    let table = [
        (off, word("supply", "on"), true),
        (off, word("pilot_source", "pwm"), false),
        (on, word("pilot_source", "pwm"), true),
        (on, word("pilot_source", "steady"), false),
        (on, word("pilot_source", "fault"), false),
        (on, word("pilot_source", "off"), false),
        (on, amount("pilot_source.duty", 0.5), false),
        (offered, amount("pilot_source.duty", 0.5), true),
        (offered, word("proximity", "latched"), true),
        (on, word("pilot_source", "positive_only"), true),
        (on, word("pilot_source", "shorted"), false),
        (on, word("pilot_source", "check"), false),
        (on, word("pilot_source", "check_high"), false),
        (offered, amount("pilot_source.capacitance", 3.1e-9), true),
        (offered, amount("pilot_source.jitter", 0.005), true),
        (offered, word("low_voltage", "on"), true),
        (offered, word("low_voltage", "off"), false),
        (on, word("low_voltage", "on"), false),
        (off, amount("low_voltage.voltage", 12.0), false),
        (off, amount("supply.voltage", 230.0), false),
        (on, amount("supply.voltage", 230.0), true),
        (on, word("load", "on"), false),
        (on, word("load", "off"), false),
        (on, word("supply", "off"), false),
        (off, amount("supply.dip_level", 0.4), false),
        (on, amount("supply.dip_level", 0.4), true),
        (off, word("supply.dip", "once"), false),
        (on, word("supply.dip", "once"), true),
        (on, amount("supply.dip_time", 0.5), true),
        (on, amount("supply.dip_angle", 0.0), true),
        (off, amount("supply.angle", 1.57), false),
        (on, amount("supply.angle", 1.57), true),
        (offered, word("interlock_loop", "open"), false),
        (offered, word("interlock_loop", "closed"), true),
        (on, word("interlock_loop", "closed"), false),
        (offered, word("load.polarity", "reversed"), false),
        (drawing, word("load.polarity", "reversed"), false),
        (battery, word("load.polarity", "reversed"), false),
        (holding, word("load.polarity", "reversed"), true),
        (holding, word("load.polarity", "normal"), true),
        (off, amount("supply.frequency", 50.0), false),
        (on, amount("supply.frequency", 60.0), true),
        (off, amount("load.voltage", 400.0), false),
        (battery, word("load", "on"), true),
        (drawing, amount("load.voltage", 400.0), true),
        (drawing, amount("load.voltage", 0.0), false),
        (offered, word("coolant", "off"), false),
        (off, word("insulation", "on"), true),
        (off, word("insulation", "off"), false),
        (off, amount("insulation.voltage", 500.0), false),
        (tested, amount("insulation.voltage", 500.0), true),
    ];
    for (state, order, expected) in table {
        assert_eq!(
            energises(kind, state, order.clone()),
            expected,
            "{order:?} in {state:?}"
        );
    }
    assert_eq!(on.energy, EnergyState::Live, "the AC pins are live with the supply");
    assert_eq!(
        offered.proven_dead(kind, "dc_output").energy,
        EnergyState::Live,
        "it may begin at any moment"
    );
    let stopped = after(
        kind,
        &[
            word("supply", "on"),
            word("pilot_source", "pwm"),
            word("pilot_source", "off"),
            word("supply", "off"),
        ],
    );
    assert_eq!(stopped.energy, EnergyState::Unknown);
    assert_eq!(stopped.proven_dead(kind, "dc_output").energy, EnergyState::OutputDead);
    assert_eq!(
        stopped.proven_dead(kind, "ac_input").energy,
        EnergyState::Unknown,
        "the capacitor is behind the output"
    );
}

/// The sink that holds a voltage and the insulation instrument are sources beside the supply of a charger.
#[test]
fn what_gives_beside_the_supply_keeps_a_charger_live() {
    let kind = ItemKind::OnboardCharger;
    let tested = after(kind, &[word("insulation", "on")]);
    let holding = after(kind, &[amount("load.voltage", 400.0), word("load", "on")]);
    assert_eq!(
        holding.proven_dead(kind, "dc_output").energy,
        EnergyState::Live,
        "the sink holds a voltage there"
    );
    assert_eq!(
        holding.order(kind, word("load", "off")).1.energy,
        EnergyState::Unknown,
        "it charged what is behind the output"
    );
    assert_eq!(
        tested.proven_dead(kind, "dc_output").energy,
        EnergyState::Live,
        "the insulation instrument is still on"
    );
    let ended = after(kind, &[word("insulation", "on"), word("insulation", "off")]);
    assert_eq!(ended.energy, EnergyState::Unknown, "switching off proves nothing");
    assert_eq!(ended.proven_dead(kind, "dc_output").energy, EnergyState::OutputDead);
    let both = [word("supply", "on"), word("insulation", "on"), word("supply", "off")];
    assert_eq!(
        after(kind, &both).energy,
        EnergyState::Live,
        "the insulation instrument is still on"
    );
}

#[test]
fn the_table_of_contacts_line_by_line() {
    for kind in [ItemKind::Inlet, ItemKind::CableAssembly] {
        let off = BenchState::isolated();
        let testing = after(kind, &[word("supply", "on")]);
        let heating = after(kind, &[amount("load.current", 32.0), word("load", "on")]);
        let table = [
            (off, word("supply", "on"), true),
            (off, amount("supply.voltage", 500.0), false),
            (testing, amount("supply.voltage", 250.0), true),
            (testing, word("supply", "off"), false),
            (off, amount("load.current", 32.0), false),
            (off, word("load", "on"), true),
            (heating, amount("load.current", 16.0), true),
            (heating, amount("load.current", 0.0), false),
            (heating, word("load", "off"), false),
            (off, word("lock", "locked"), false),
            (off, word("proximity_set", "latched"), false),
            (off, amount("sleeve.temperature", 333.15), false),
        ];
        for (state, order, expected) in table {
            assert_eq!(
                energises(kind, state, order.clone()),
                expected,
                "{order:?} in {state:?}"
            );
        }
        let both = after(kind, &[word("supply", "on"), word("load", "on"), word("supply", "off")]);
        assert_eq!(both.energy, EnergyState::Live, "the current source is still on");
        assert_eq!(
            both.proven_dead(kind, "contacts").energy,
            EnergyState::Live,
            "it still heats"
        );
        let none = both.order(kind, word("load", "off")).1;
        assert_eq!(none.energy, EnergyState::Unknown, "switching off proves nothing");
        assert_eq!(none.proven_dead(kind, "contacts").energy, EnergyState::OutputDead);
    }
}
