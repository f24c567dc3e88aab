//! Pictures of a step: several names at once, readings on the way of a hold, names that must be there.

use crate::build::*;
use pilotage_core::Dimension;
use pilotage_evidence::pictured::Draws;
use pilotage_plan::files::sequence::*;
use pilotage_plan::fit::code;
use pilotage_plan::program::ActKind;
use std::time::Duration;

fn picture(form: PictureForm) -> PictureText {
    PictureText {
        span: span(),
        title: None,
        says: Vec::new(),
        form,
    }
}

fn for_each(name: &str, values: &[&str]) -> ForEach {
    ForEach {
        name: sp(name),
        values: values.iter().map(|value| f(value)).collect(),
    }
}

/// A step that reads the pilot at two duties and three currents.
fn two_names(form: PictureForm) -> Files {
    let mut walk = step("WU-16", vec![read(&[("v", "pilot.high"), ("low", "pilot.low")])]);
    walk.for_each = vec![
        for_each("share", &["25 %", "53.3 %"]),
        for_each("i_set", &["6 A", "50 % of $rated_current", "32 A"]),
    ];
    walk.pictures = vec![picture(form)];
    Files::new(vec![walk])
}

fn map(of: &str, across: &str, up: &str) -> PictureForm {
    PictureForm::Map {
        of: sp(of),
        across: sp(across),
        up: sp(up),
    }
}

fn ladder(of: &[&str], across: &str, rule: Option<&str>) -> PictureForm {
    PictureForm::Ladder {
        of: of.iter().map(|name| sp(name)).collect(),
        across: sp(across),
        rule: rule.map(f),
    }
}

#[test]
fn several_names_give_every_combination_the_first_changing_least_often() {
    let program = two_names(map("v", "i_set", "share")).fit().unwrap();
    let step = &program.steps[0];
    let passes: Vec<&str> = step.acts.iter().map(|act| act.pass.as_deref().unwrap()).collect();
    assert_eq!(
        passes,
        [
            "share = 25 %, i_set = 6 A",
            "share = 25 %, i_set = 16 A",
            "share = 25 %, i_set = 32 A",
            "share = 53.3 %, i_set = 6 A",
            "share = 53.3 %, i_set = 16 A",
            "share = 53.3 %, i_set = 32 A",
        ]
    );
    let values: Vec<(f64, f64)> = step
        .acts
        .iter()
        .map(|act| (act.constants["share"].si(), act.constants["i_set"].si()))
        .collect();
    assert_eq!(values[1], (0.25, 16.0));
    let Draws::Map { of, across, up } = &step.head.pictures[0].draws else {
        panic!("a map expected")
    };
    assert_eq!((of.name.as_str(), of.unit.as_str()), ("v", "V"));
    assert_eq!((across.unit.as_str(), up.unit.as_str()), ("A", "%"));
    assert_eq!(step.head.pictures[0].title, "v over i_set and share");
}

#[test]
fn a_rule_is_worked_out_before_the_run_at_every_value_and_between() {
    let files = two_names(ladder(&["v"], "i_set", Some("$i_set * 0.5 Ω")));
    let program = files.fit().unwrap();
    let Draws::Ladder { rule: Some(rule), .. } = &program.steps[0].head.pictures[0].draws else {
        panic!("a ladder with a rule expected")
    };
    assert_eq!(rule.says, "$i_set * 0.5 Ω");
    assert_eq!(
        (rule.points[0], rule.points[rule.points.len() - 1]),
        ((6.0, 3.0), (32.0, 16.0))
    );
    assert!(rule.points.contains(&(16.0, 8.0)) && rule.points.len() > 50);
    assert!(rule.points.windows(2).all(|pair| pair[0].0 < pair[1].0));
}

#[test]
fn names_that_are_not_there_are_refused() {
    for (form, wanted) in [
        (map("v", "i_set", "u_line"), code::NO_PICTURE),
        (map("v", "i_set", "i_set"), code::NO_PICTURE),
        (map("vv", "i_set", "share"), code::UNKNOWN_NAME),
        (ladder(&["v"], "i_sett", None), code::NO_PICTURE),
        (ladder(&["v"], "i_set", Some("$i_set")), code::DIMENSION),
        (ladder(&["v"], "i_set", Some("$v")), code::LATE_VALUE),
        (ladder(&["v", "i_set"], "share", None), code::UNKNOWN_NAME),
        (
            PictureForm::Bars {
                of: vec![sp("v"), sp("low")],
                across: Some(sp("i_set")),
                along: None,
                logarithmic: false,
            },
            code::NO_PICTURE,
        ),
        (
            PictureForm::Wave {
                of: vec![sp("pilot")],
                marks: Vec::new(),
            },
            code::NO_PICTURE,
        ),
    ] {
        let words = format!("{form:?}");
        assert_eq!(two_names(form).codes(), [wanted], "{words}");
    }
    let problems = two_names(ladder(&["v"], "i_sett", None)).fit().unwrap_err();
    assert_eq!(problems[0].mend.as_deref(), Some("did you mean `i_set`?"));
    let mut slip = two_names(map("v", "i_set", "share"));
    slip.sequence.steps[0].pictures[0].says = vec![(sp("i_setting"), "current".to_owned())];
    assert_eq!(slip.codes(), [code::NO_PICTURE]);
}

/// A hold with readings on the way.
fn held(length: &str, every: &str) -> Files {
    let along = AlongText {
        reads: vec![(sp("v_along"), sp("pilot.high"))],
        every: f(every),
    };
    let mut held = step("WU-40", vec![act(ActForm::Hold(f(length), Some(along)))]);
    held.pictures = vec![picture(PictureForm::Course {
        of: vec![sp("v_along")],
    })];
    Files::new(vec![held])
}

#[test]
fn a_hold_reads_at_its_beginning_on_its_way_and_at_its_end() {
    let program = held("10 s", "4 s").fit().unwrap();
    let acts: Vec<Option<Duration>> = program.steps[0]
        .acts
        .iter()
        .map(|act| match &act.kind {
            ActKind::Hold(length) => Some(*length),
            ActKind::Read(specs) => {
                assert_eq!(
                    (specs[0].name.as_str(), specs[0].point.as_str()),
                    ("v_along", "pilot.high")
                );
                None
            }
            other => panic!("{other:?}"),
        })
        .collect();
    let s = |seconds| Some(Duration::from_secs(seconds));
    assert_eq!(acts, [None, s(4), None, s(4), None, s(2), None]);
    assert_eq!(held("10 s", "20 s").codes(), [code::TIME_RANGE]);
    assert_eq!(held("20 h", "1 s").codes(), [code::TIME_RANGE]);
}

#[test]
fn what_is_read_while_something_settles_is_a_reading_of_the_step() {
    let mut files = held("10 s", "4 s");
    files.sequence.steps[0].acts = vec![act(ActForm::Settle {
        point: sp("pilot.high"),
        band: f("0.1 V"),
        dwell: f("1 s"),
        deadline: f("10 s"),
        along: Some(AlongText {
            reads: vec![(sp("v_along"), sp("pilot.high"))],
            every: f("2 s"),
        }),
    })];
    let program = files.fit().unwrap();
    let ActKind::Settle(spec) = &program.steps[0].acts[0].kind else {
        panic!("a settle expected")
    };
    let (reads, every) = spec.along.as_ref().unwrap();
    assert_eq!((reads[0].name.as_str(), every.as_secs()), ("v_along", 2));
    let Draws::Course { of } = &program.steps[0].head.pictures[0].draws else {
        panic!("a course expected")
    };
    assert_eq!((of[0].name.as_str(), of[0].unit.as_str()), ("v_along", "V"));
    assert_eq!(
        Dimension::VOLTAGE,
        pilotage_core::Unit::find(&of[0].unit).unwrap().dimension
    );
}
