//! A bench that cannot energise the item: a person measures dead and says so, and nothing is proven.

use crate::program::{Builder, ask_for_plate, quiet};
use crate::recorder::{Ran, run_with};
use pilotage_evidence::{EnergyState, Event, Verdict};
use pilotage_plan::program::{ActKind, Program, SafeAct, WithoutSource};
use pilotage_run::world::Purpose;

/// Hands at the item, and something quiet that is set.
fn elv() -> Program {
    let mut program = Builder::new()
        .step("OB-01")
        .act(ask_for_plate())
        .set("pilot_load", "state_C")
        .isolate()
        .build();
    // As fitting makes it: nothing to prove, and the same question.
    for act in program.steps.iter_mut().flat_map(|step| &mut step.acts) {
        if let ActKind::Isolate(spec) = &mut act.kind {
            spec.prove.clear();
            spec.off
                .retain(|line| matches!(line, SafeAct::Order(order) if order.order().point == "pilot_load"));
            "Is every pair dead?".clone_into(&mut spec.prompt);
        }
    }
    program.interlocks.clear();
    program.protections.clear();
    program.without_source = Some(WithoutSource {
        prompt: "Is every pair dead?".to_owned(),
        says: "a person measured dead".to_owned(),
    });
    let lines = vec![
        SafeAct::Order(quiet("pilot_load", "state_A")),
        SafeAct::NothingThere("`supply`".to_owned()),
    ];
    program.make_safe.normal.clone_from(&lines);
    program.make_safe.emergency = lines;
    "Switch off by hand what could not be confirmed off.".clone_into(&mut program.make_safe.by_hand);
    program
}

fn asked(ran: &Ran) -> usize {
    let prompts = ran
        .events
        .iter()
        .filter(|(_, event)| matches!(event, Event::Asked { prompt, .. } if prompt == "Is every pair dead?"));
    prompts.count()
}

fn energies(ran: &Ran) -> Vec<EnergyState> {
    let changes = ran.events.iter().filter_map(|(_, event)| match event {
        Event::EnergyChanged { to, .. } => Some(*to),
        _ => None,
    });
    changes.collect()
}

#[test]
fn a_person_says_dead_and_nothing_is_proven_or_locked() {
    let ran = run_with(&elv(), |_, _, people| {
        people.answers.borrow_mut().push("yes".to_owned());
    });
    assert_eq!(ran.outcome.exit_code, 0, "{:?}", ran.steps());
    assert_eq!(asked(&ran), 2, "at the start, and where the sequence isolates");
    assert_eq!(energies(&ran), [EnergyState::Isolated]);
    assert!(!ran.names().contains(&"Dead".to_owned()), "{:?}", ran.names());
    assert!(!ran.world.set.borrow().contains_key("reference"));
    // The tool's own steps end with a verdict, too.
    assert!(
        ran.steps().iter().all(|(verdict, _)| *verdict == Verdict::Pass),
        "{:?}",
        ran.steps()
    );
}

/// The person who measures must know before what may still be charged.
#[test]
fn cautions_come_before_the_question() {
    let ran = run_with(&elv(), |_, _, _| {});
    let names = ran.names();
    let first = |name: &str| names.iter().position(|known| known == name);
    assert!(
        first("CautionAcknowledged").unwrap() < first("Asked").unwrap(),
        "{names:?}"
    );
    let ran = run_with(&elv(), |_, _, people| people.acknowledges = false);
    assert_eq!(ran.outcome.exit_code, 4);
    assert!(!ran.names().contains(&"Asked".to_owned()));
}

#[test]
fn a_refusal_ends_the_run_before_anything_was_done() {
    let ran = run_with(&elv(), |_, _, people| people.refuses = Some(Purpose::Sequence));
    assert_eq!(ran.outcome.exit_code, 4);
    assert!(energies(&ran).iter().all(|energy| *energy != EnergyState::Isolated));
    assert!(!ran.world.set.borrow().values().any(|word| word == "state_C"));
}

#[test]
fn what_could_not_be_switched_off_is_said_first_and_not_called_dead() {
    let ran = run_with(&elv(), |world, _, _| {
        world.faults.borrow_mut().broken.insert("pilot_load".to_owned());
    });
    assert_eq!(ran.outcome.exit_code, 6);
    let said = ran.outcome.not_confirmed_dead.clone().unwrap();
    assert!(said.starts_with("NOT CONFIRMED OFF. Switch off by hand"), "{said}");
    assert!(energies(&ran).iter().all(|energy| *energy != EnergyState::Isolated));
}
