//! Commands over a charger's bus, on benches that serve all of them, some or none: nothing is told that make safe does not take back.

use crate::charger::{fitted, fitted_with};
use crate::shipped::drivers;
use pilotage_plan::files::driver::FunctionForm;
use pilotage_plan::problem::Problem;
use pilotage_plan::program::{ActKind, Order, Program, SafeAct, Setting, with_inner};

const COMMANDS: [&str; 4] = ["command.frames", "command.enable", "command.voltage", "command.current"];

/// A sequence on a bench without these points.
fn without(sequence: &str, bench: &str, points: &[&str]) -> Result<Program, Vec<Problem>> {
    fitted(sequence, bench, |text| {
        let gone = |line: &&str| {
            points
                .iter()
                .any(|point| line.trim_start().starts_with(&format!("{point}:")))
        };
        let kept: Vec<&str> = text.lines().filter(|line| !gone(line)).collect();
        kept.join("\n") + "\n"
    })
}

/// What is ordered of the bus, in order.
fn told(program: &Program) -> Vec<(&str, &str)> {
    let acts = program.steps.iter().flat_map(|step| with_inner(&step.acts));
    let orders = acts.filter_map(|act| match &act.kind {
        ActKind::Quiet(order) => Some(order.order()),
        ActKind::Energise(order) => Some(order.order()),
        _ => None,
    });
    orders
        .filter(|order| order.point.starts_with("command."))
        .map(in_words)
        .collect()
}

fn in_words(order: &Order) -> (&str, &str) {
    match &order.to {
        Setting::Word(word) => (&order.point, word),
        Setting::Amount(..) => (&order.point, "an amount"),
    }
}

fn taken_back(acts: &[SafeAct]) -> Vec<(&str, &str)> {
    let orders = acts.iter().filter_map(|act| match act {
        SafeAct::Order(order) => Some(in_words(order.order())),
        _ => None,
    });
    orders.filter(|(point, _)| point.starts_with("command.")).collect()
}

/// Every subset of the points of commands, the interface itself still there, on a bench without a source and on one with.
#[test]
fn whatever_is_told_on_a_bench_that_serves_some_of_the_commands_is_taken_back() {
    let mut told_anything = 0;
    for (sequence, bench) in [("no_high_voltage", "small_workshop"), ("after_repair", "charger_bench")] {
        for subset in 0..16_u32 {
            let gone: Vec<&str> = (0..4)
                .filter(|bit| subset & 1 << bit != 0)
                .map(|bit| COMMANDS[bit])
                .collect();
            let program =
                without(sequence, bench, &gone).unwrap_or_else(|found| panic!("{bench} {gone:?}: {found:#?}"));
            let told = told(&program);
            told_anything += usize::from(!told.is_empty());
            for plan in [&program.make_safe.normal, &program.make_safe.emergency] {
                let back = taken_back(plan);
                for (point, word) in [("command.enable", "off"), ("command.frames", "stopped")] {
                    assert!(
                        !gone.contains(&point) || !told.iter().any(|(set, _)| *set == point),
                        "{gone:?}"
                    );
                    assert_eq!(
                        back.contains(&(point, word)),
                        !gone.contains(&point),
                        "{bench} {gone:?}: {back:?}"
                    );
                }
                assert!(
                    back.is_sorted(),
                    "it is told to stop before it is told nothing any more: {back:?}"
                );
            }
        }
    }
    assert!(
        told_anything >= 2,
        "with all four of them the charger is told something"
    );
}

/// Without the interface nothing is told, and what cannot be tested is listed.
#[test]
fn without_an_interface_nothing_is_told_and_the_steps_are_listed() {
    for (sequence, bench) in [("no_high_voltage", "small_workshop"), ("after_repair", "charger_bench")] {
        let program = fitted(sequence, bench, |text| {
            let of_bus = |line: &str| line.contains("by: can") || line.trim_start().starts_with("can:");
            let kept: Vec<&str> = text.lines().filter(|line| !of_bus(line)).collect();
            kept.join("\n") + "\n"
        });
        let program = program.unwrap_or_else(|found| panic!("{bench}: {found:#?}"));
        assert_eq!(told(&program), [], "{bench}");
        assert_eq!(taken_back(&program.make_safe.normal), [], "{bench}");
        assert!(
            program
                .steps
                .iter()
                .all(|step| step.head.id != "OB-43" || step.acts.is_empty())
        );
        let listed = program
            .heading
            .not_tested
            .iter()
            .filter(|entry| entry.what.starts_with("OB-43"));
        assert!(listed.count() >= 2, "{:?}", program.heading.not_tested);
    }
}

/// An interface that can begin and cannot cease, and one that can enable and not forbid, would be left as they are, and nobody would hear of
/// it.
#[test]
fn an_interface_that_make_safe_cannot_end_is_refused() {
    for (function, rest) in [("command_frames", "stopped"), ("command_enable", "off")] {
        let mut drivers = drivers();
        let interface = drivers.get_mut("charger_demo").unwrap();
        let found = interface.functions.iter_mut().find(|one| one.name.value == function);
        let FunctionForm::Choose(choices) = &mut found.unwrap().form else {
            panic!("{function} chooses")
        };
        choices.retain(|(word, _)| word.value != rest);
        let found = fitted_with("no_high_voltage", "small_workshop", |text| text, &drivers).unwrap_err();
        let [problem] = found.as_slice() else {
            panic!("{function}: {found:#?}")
        };
        assert_eq!(problem.code, "F045");
        let point = function.replace('_', ".");
        assert_eq!(
            problem.message,
            format!("make safe sets `{point}` to `{rest}`, and this bench cannot")
        );
    }
}
