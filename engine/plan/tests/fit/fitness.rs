//! What a bench can decide, before the run.

use crate::build::*;
use crate::programs::six_steps;
use pilotage_plan::files::driver::{FunctionForm, MeasureText};
use pilotage_plan::files::limits::ToleranceText;
use pilotage_plan::files::sequence::*;
use pilotage_plan::fit::{fitness, would_decide};

#[test]
fn fitness_says_what_the_bench_can_decide() {
    let files = Files::new(six_steps());
    let program = files.fit().unwrap();
    let found = fitness(&program, &files.bench, &files.drivers);
    let delay = found.iter().find(|fit| fit.name == "close_delay").unwrap();
    // Samples of 50 µs and an envelope that smooths over half a period: U near 6 ms, below the 50 ms that are needed.
    assert!(delay.decidable, "{delay:?}");
    assert!((0.005..0.007).contains(&delay.expanded.unwrap().si()), "{delay:?}");
    let level = found.iter().find(|fit| fit.name == "v_a").unwrap();
    // 0.1 % of 12.6 V, rectangular, k = 2.
    assert!(
        (level.expanded.unwrap().si() - 2.0 * 0.0126 / 3f64.sqrt()).abs() < 1e-9,
        "{level:?}"
    );
    let computed = found.iter().find(|fit| fit.name == "r_path").unwrap();
    // 29 mΩ from a drop and a current, each known to 0.1 % of its reading, rectangular, k = 2.
    let expanded = 2.0 * 0.029 * 2f64.sqrt() * 0.001 / 3f64.sqrt();
    assert!(
        (computed.expanded.unwrap().si() - expanded).abs() < 1e-9,
        "{computed:?}"
    );
}

#[test]
fn a_need_that_the_bench_cannot_meet_is_said_beforehand() {
    let mut steps = six_steps();
    steps[3].needs = vec![(sp("close_delay"), f("1 ms"))];
    let files = Files::new(steps);
    let found = fitness(&files.fit().unwrap(), &files.bench, &files.drivers);
    let delay = found.iter().find(|fit| fit.name == "close_delay").unwrap();
    assert!(
        !delay.decidable && delay.says.starts_with("not decidable here"),
        "{delay:?}"
    );
    // Sampling and smoothing alone are too coarse: no instrument helps.
    assert!(delay.at_best.unwrap().si() > 0.001, "{delay:?}");
    let program = files.fit().unwrap();
    assert_eq!(
        would_decide(&program, &files.bench, &files.drivers, delay, &|new| new.decidable),
        Vec::<String>::new()
    );
}

#[test]
fn an_instrument_that_would_decide_it_is_named() {
    let mut steps = six_steps();
    let at = steps
        .iter()
        .position(|step| {
            step.acts
                .iter()
                .any(|act| matches!(&act.form, ActForm::Judge(list) if list[0].0.value == "v_a"))
        })
        .unwrap();
    steps[at].needs = vec![(sp("v_a"), f("1 mV"))];
    let mut files = Files::new(steps);
    let program = files.fit().unwrap();
    let level = fitness(&program, &files.bench, &files.drivers)
        .into_iter()
        .find(|fit| fit.name == "v_a")
        .unwrap();
    assert!(!level.decidable, "{level:?}");
    assert!(would_decide(&program, &files.bench, &files.drivers, &level, &|new| new.decidable).is_empty());
    // The same instrument, a hundred times as exact.
    let mut better = files.drivers["scope"].clone();
    better.name = sp("fine_scope");
    for function in &mut better.functions {
        if let FunctionForm::Measure(MeasureText {
            accuracy: Some(accuracy),
            ..
        }) = &mut function.form
        {
            accuracy.of_reading = Some(f("0.001 %"));
        }
    }
    files.drivers.insert("fine_scope".to_owned(), better);
    let would = would_decide(&program, &files.bench, &files.drivers, &level, &|new| new.decidable);
    assert!(
        would.iter().any(|text| text.contains("the driver `fine_scope`")),
        "{would:?}"
    );
}

#[test]
fn of_several_passes_the_least_fit_is_told() {
    let mut load = step("WU-40", vec![read(&[("i_now", "ac_output[L].current")])]);
    let within = ToleranceText::Within {
        of: f("$i_set"),
        by: f("0.1 A"),
    };
    load.acts.push(judge_value("i_diff", "$i_now", "A", within.clone()));
    let text = JudgeText {
        value: None,
        unit: None,
        limits: Vec::new(),
        inline: Some((within, source(), None)),
        when: None,
    };
    load.acts.push(act(ActForm::Judge(vec![(sp("i_now"), text)])));
    load.for_each = vec![ForEach {
        name: sp("i_set"),
        values: vec![f("8 A"), f("32 A"), f("16 A")],
    }];
    let files = Files::new(vec![load]);
    let found = fitness(&files.fit().unwrap(), &files.bench, &files.drivers);
    let current = found.iter().find(|fit| fit.name == "i_now").unwrap();
    // 0.1 % of 32.1 A, rectangular, k = 2.
    assert!(
        (current.expanded.unwrap().si() - 2.0 * 0.0321 / 3f64.sqrt()).abs() < 1e-9,
        "{current:?}"
    );
}

/// Two values that a person types are wrong by amounts that do not know of each other, as in the run.
#[test]
fn what_two_answers_have_wrong_does_not_cancel() {
    let ask = |name: &str| {
        act(ActForm::Ask {
            prompt: sp("What does the meter show?"),
            answer: AnswerText::Quantity { unit: sp("V") },
            name: Some(sp(name)),
            hands: false,
            does: None,
            uncertainty: Some(f("20 mV")),
            source: None,
        })
    };
    let at_most = |bound: &str| ToleranceText::AtMost(f(bound));
    let acts = vec![
        ask("typed_a"),
        ask("typed_b"),
        judge_value("difference", "$typed_a - $typed_b", "V", at_most("1 V")),
        judge_value("twice", "2 * $typed_a", "V", at_most("1 V")),
    ];
    let files = Files::new(vec![step("WU-01", acts)]);
    let found = fitness(&files.fit().unwrap(), &files.bench, &files.drivers);
    let expanded = |name: &str| {
        let entry = found.iter().find(|entry| entry.name == name).unwrap();
        entry.expanded.unwrap_or_else(|| panic!("{entry:?}")).si()
    };
    assert!((expanded("difference") - 0.02 * 2f64.sqrt()).abs() < 1e-12);
    assert!((expanded("twice") - 0.04).abs() < 1e-12);
}
