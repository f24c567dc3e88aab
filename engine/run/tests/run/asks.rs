//! Answers of a person: one that nobody can read, and an instruction that was not carried out.

use crate::acts::{first_step, live, must_not, wait};
use crate::fakes::volts;
use crate::program::{Builder, judge, read, span};
use crate::recorder::run_with;
use pilotage_core::{Dimension, Quantity, Tolerance};
use pilotage_evidence::Verdict::{Fail, Inconclusive};
use pilotage_plan::files::sequence::AnswerText;
use pilotage_plan::program::{ActKind, AskSpec};
use pilotage_plan::source::Sp;

#[test]
fn an_answer_that_nobody_can_read_is_no_answer() {
    let unit = Sp {
        value: "A".to_owned(),
        span: span(),
    };
    let ask = ActKind::Ask(AskSpec {
        prompt: "Breaker rating?".to_owned(),
        answer: AnswerText::Quantity { unit },
        name: "breaker".to_owned(),
        hands: false,
        does: None,
        uncertainty: None,
        limit: None,
    });
    let run_answered = |answers: &[&str]| {
        run_with(&live(ask.clone()), |_, _, people| {
            people
                .answers
                .borrow_mut()
                .extend(answers.iter().rev().map(|answer| (*answer).to_owned()));
        })
    };
    let ran = run_answered(&["about forty", "40 V", "40"]);
    assert_eq!(
        ran.reading("breaker").value.unwrap().value,
        Quantity::new(40.0, Dimension::CURRENT).unwrap()
    );
    let ran = run_answered(&["forty", "many", "NaN"]);
    assert_eq!(ran.reading("breaker").value, None);
    assert_eq!(first_step(&ran).0, Inconclusive);
}

/// A reading of some 230 V against 0 V … 10 V fails, unless a person did not do what makes it one of the item.
#[test]
fn what_follows_an_instruction_that_was_not_done_is_not_decided() {
    let run_answered = |answer: &str, then: ActKind| {
        let program = Builder::new()
            .step("WU-19")
            .act(ActKind::Ask(AskSpec {
                prompt: "Press the release.".to_owned(),
                answer: AnswerText::Done,
                name: "pressed".to_owned(),
                hands: true,
                does: None,
                uncertainty: None,
                limit: None,
            }))
            .set("supply", "on")
            .act(ActKind::Read(vec![read("v_in", "ac_input[L-N].voltage", "V")]))
            .act(then)
            .build();
        run_with(&program, |_, _, people| {
            people.answers.borrow_mut().push(answer.to_owned());
        })
    };
    let judged = || judge("v_in", Tolerance::Between(volts(0.0), volts(10.0)));
    assert_eq!(first_step(&run_answered("yes", judged())).0, Fail);
    let (verdict, why, _) = first_step(&run_answered("no", judged()));
    assert_eq!(verdict, Inconclusive);
    assert!(why.contains("what was asked for was not done"), "{why}");
    // The same of what must not be seen, and of what is waited for.
    let seen: fn() -> ActKind = || must_not("ac_input[L-N].voltage");
    let never_comes: fn() -> ActKind = || wait("ac_output[L-N].voltage", 207.0, false);
    for then in [seen, never_comes] {
        assert_eq!(first_step(&run_answered("yes", then())).0, Fail);
        assert_eq!(first_step(&run_answered("no", then())).0, Inconclusive);
    }
}
