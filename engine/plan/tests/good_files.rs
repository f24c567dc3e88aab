//! Good files: every form that the brief of the design names is read, and says what it should.

// Whole numbers of a unit are exact.
#![allow(clippy::unwrap_used, clippy::float_cmp)]

use pilotage_core::{Dimension, Quantity, expr::Value};
use pilotage_evidence::{Side, SourceStatus};
use pilotage_plan::files::bench::LinkText;
use pilotage_plan::files::driver::FunctionForm;
use pilotage_plan::files::item::NameplateValue;
use pilotage_plan::files::limits::ToleranceText;
use pilotage_plan::files::sequence::{
    ActForm, AnswerText, FindText, InterlockText, Latest, SequenceFile, SetText, SignalPart, WantedText,
};
use pilotage_plan::fit::whole;
use pilotage_plan::lower::read;
use pilotage_plan::problem::Problem;
use pilotage_plan::render::{Form, render_all};
use pilotage_plan::source::{Formula, Sp};
use pilotage_plan::{AnyFile, FileKind};

fn good(name: &str) -> String {
    let path = format!("{}/tests/good/{name}.yaml", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(path).unwrap()
}

fn sequence() -> SequenceFile {
    let text = good("sequence");
    let shown = |p: &[Problem]| render_all(p, &|_| Some(text.as_str()), Form::Plain);
    let written = read::read_sequence("sequence.yaml", &text).unwrap_or_else(|p| panic!("{}", shown(&p)));
    let chapter = &mut |name: &Sp<String>| {
        assert_eq!(name.value, "pilot_levels");
        read::read_chapter("chapter.yaml", &good("chapter"))
    };
    whole(written, chapter).unwrap_or_else(|p| panic!("{}", shown(&p)))
}

/// One flat list; each step says in which file it stands.
#[test]
fn the_steps_of_a_chapter_stand_where_it_is_named() {
    let file = sequence();
    let placed = file
        .steps
        .iter()
        .map(|step| (step.id.value.as_str(), step.title.span.place()));
    let placed: Vec<(&str, String)> = placed.collect();
    assert_eq!(
        placed,
        [
            ("WU-19", "sequence.yaml:25".to_owned()),
            ("WU-40", "sequence.yaml:73".to_owned()),
            ("WU-12", "chapter.yaml:5".to_owned()),
            ("WU-14", "chapter.yaml:12".to_owned()),
            ("WU-12", "sequence.yaml:79".to_owned()),
        ]
    );
    assert_eq!(file.steps[2].acts[1].span.place(), "chapter.yaml:9");
}

fn value(formula: &Formula) -> Quantity {
    let names = |name: &str| match name {
        "rated_current" => Quantity::parse("32 A")
            .ok()
            .map(|q| Ok(pilotage_core::Measured::exact(q))),
        "supply_voltage" => Quantity::parse("230 V")
            .ok()
            .map(|q| Ok(pilotage_core::Measured::exact(q))),
        _ => None,
    };
    match formula.expr.evaluate(&names).unwrap() {
        Value::Measured(measured) => measured.value,
        Value::Truth(_) => panic!("a condition"),
    }
}

fn form(file: &SequenceFile, wanted: fn(&ActForm) -> bool) -> &ActForm {
    &file.steps[0].acts.iter().find(|a| wanted(&a.form)).unwrap().form
}

#[test]
fn every_kind_of_file_is_read() {
    for kind in FileKind::ALL {
        let text = good(kind.word());
        let file = pilotage_plan::read(kind.word(), &text)
            .unwrap_or_else(|p| panic!("{}", render_all(&p, &|_| Some(text.as_str()), Form::Plain)));
        assert_eq!(file.kind(), kind);
    }
}

#[test]
fn head_of_a_sequence() {
    let file = sequence();
    assert_eq!(file.title.value, "Wall unit, every form of act");
    assert_eq!(file.title.span.place(), "sequence.yaml:3");
    assert_eq!(file.basis[0].edition, "2017", "an unquoted number is a text as written");
    assert!(matches!(file.accepts[0].1, ToleranceText::Between(..)));
    assert!(matches!(&file.interlocks[0], InterlockText::Word { must_be, .. } if must_be.value == "closed"));
    assert!(
        matches!(&file.interlocks[1], InterlockText::StopProof { proven_within, .. } if value(proven_within).si() == 43200.0)
    );
    assert_eq!(file.protect[0].point.value, "terminal.temperature");
    assert_eq!(file.not_tested[0].what, "WU-06");
}

#[test]
fn a_step_with_shares() {
    let file = sequence();
    let step = &file.steps[0];
    let values = &step.for_each[0].values;
    let amperes: Vec<f64> = values.iter().map(|f| value(f).si()).collect();
    assert_eq!(amperes, [8.0, 16.0, 24.0, 32.0]);
    assert_eq!(step.repeat.unwrap().times, 10);
    assert_eq!(step.needs[0].0.value, "close_delay");
    assert_eq!(step.fail_side, Some(Side::WallUnit));
    assert_eq!(step.look_next, ["coil voltage", "WU-21"]);
    assert_eq!(file.steps[1].for_each[0].values.len(), 2);
}

#[test]
fn points_are_set_in_order_to_words_and_values() {
    let file = sequence();
    let ActForm::Set(set) = form(&file, |f| matches!(f, ActForm::Set(_))) else {
        panic!()
    };
    let points: Vec<&str> = set.iter().map(|(p, _)| p.value.as_str()).collect();
    assert_eq!(points, ["pilot_load", "load.current", "supply"]);
    assert!(matches!(&set[0].1, SetText::Word(w) if w.value == "state_C"));
    assert!(matches!(&set[1].1, SetText::Amount(f) if f.expr.text() == "$i_set"));
    assert!(
        matches!(&set[2].1, SetText::Word(w) if w.value == "on"),
        "on is a word, not a boolean"
    );
}

#[test]
fn what_find_looks_for() {
    let file = sequence();
    let ActForm::Find(finds) = form(&file, |f| matches!(f, ActForm::Find(_))) else {
        panic!()
    };
    let FindText::Between { from, to } = &finds[0].1 else {
        panic!()
    };
    assert_eq!(
        (from.channel.value.as_str(), from.part, from.rises),
        ("pilot", SignalPart::High, false)
    );
    assert_eq!(
        (to.channel.value.as_str(), to.part, to.rises),
        ("ac_output[L-N]", SignalPart::Envelope, true)
    );
    assert!(to.last && !from.last);
    assert!((value(&to.level).si() - 80.5).abs() < 1e-9);
    assert_eq!(value(&to.level).dimension(), Dimension::VOLTAGE);
    assert!(matches!(finds[1].1, FindText::Pulse { .. }));
    assert!(matches!(finds[2].1, FindText::Level { .. }));
    assert!(matches!(finds[3].1, FindText::Count { .. }));
    assert!(matches!(
        finds[4].1,
        FindText::Swept {
            back: true,
            rises: true,
            ..
        }
    ));
}

#[test]
fn sweeps_ramps_and_captures() {
    let file = sequence();
    let ActForm::Sweep {
        points,
        logarithmic,
        and_back,
        acts,
        ..
    } = form(&file, |f| matches!(f, ActForm::Sweep { .. }))
    else {
        panic!()
    };
    assert_eq!((*points, *logarithmic, *and_back, acts.len()), (60, true, true, 1));
    assert!(matches!(
        form(&file, |f| matches!(f, ActForm::Ramp { .. })),
        ActForm::Ramp { steps: 10, .. }
    ));
    let ActForm::Capture { of, during, rate, .. } = form(&file, |f| matches!(f, ActForm::Capture { .. })) else {
        panic!()
    };
    assert_eq!((of.len(), during.len()), (2, 1));
    assert_eq!(value(rate.as_ref().unwrap()).si(), 20_000.0);
}

#[test]
fn waits_and_questions_carry_their_sources() {
    let file = sequence();
    let ActForm::WaitFor {
        condition,
        latest,
        otherwise,
        ..
    } = form(&file, |f| matches!(f, ActForm::WaitFor { .. }))
    else {
        panic!()
    };
    assert!(matches!(condition.wanted, WantedText::Number(ToleranceText::AtMost(_))));
    assert!(otherwise.inconclusive && otherwise.side == Some(Side::Settings));
    let Latest::Deadline(_, source) = latest else { panic!() };
    assert_eq!(source.status, SourceStatus::CommonPractice);
    let asks: Vec<_> = file.steps[0]
        .acts
        .iter()
        .filter(|a| matches!(a.form, ActForm::Ask { .. }))
        .collect();
    let ActForm::Ask {
        answer, source, hands, ..
    } = &asks[0].form
    else {
        panic!()
    };
    assert!(*answer == AnswerText::YesNo && source.is_some() && *hands);
    let ActForm::Ask { answer, source, .. } = &asks[2].form else {
        panic!()
    };
    assert!(matches!(answer, AnswerText::Quantity { unit } if unit.value == "A") && source.is_none());
}

#[test]
fn judging_by_key_and_by_a_limit_written_here() {
    let file = sequence();
    let ActForm::Judge(judged) = form(&file, |f| matches!(f, ActForm::Judge(_))) else {
        panic!()
    };
    assert_eq!(judged[0].1.limits[0].value, "pilot.close_delay");
    let (tolerance, source, title) = judged[1].1.inline.as_ref().unwrap();
    assert!(matches!(tolerance, ToleranceText::AtMost(f) if (value(f).si() - 0.029).abs() < 1e-12));
    assert_eq!(source.status, SourceStatus::CommonPractice);
    assert!(title.is_some() && judged[1].1.when.is_some());
    assert!(judged[2].1.value.is_some() && judged[2].1.inline.is_none());
}

#[test]
fn items_and_benches() {
    let AnyFile::Item(item) = pilotage_plan::read("i", &good("item")).unwrap() else {
        panic!()
    };
    assert!(matches!(&item.nameplate[0].1, NameplateValue::Amount(f) if value(f).si() == 32.0));
    assert!(matches!(&item.nameplate[3].1, NameplateValue::Word(w) if w.value == "single"));
    let AnyFile::Bench(bench) = pilotage_plan::read("b", &good("bench")).unwrap() else {
        panic!()
    };
    assert_eq!(bench.instruments[0].link, LinkText::Virtual);
    assert!(matches!(&bench.instruments[1].link, LinkText::Tcp { host, port: 5026 } if host.value == "127.0.0.1"));
    assert!(matches!(&bench.instruments[2].link, LinkText::Tcp { host, .. } if host.value == "::1"));
    assert_eq!(bench.points[2].channel.as_ref().unwrap().value, "1");
}

#[test]
fn drivers_and_defects() {
    let AnyFile::Driver(driver) = pilotage_plan::read("d", &good("driver")).unwrap() else {
        panic!()
    };
    assert_eq!(driver.functions.len(), 6);
    let FunctionForm::Measure(measure) = &driver.functions[0].form else {
        panic!()
    };
    assert_eq!(measure.accuracy.as_ref().unwrap().coverage, Some(2.0));
    let FunctionForm::Capture(capture) = &driver.functions[5].form else {
        panic!()
    };
    assert_eq!(capture.most_points, 4_000_000);
    let AnyFile::Defect(defect) = pilotage_plan::read("x", &good("defect")).unwrap() else {
        panic!()
    };
    assert_eq!(defect.severities.len(), 3);
    assert!(defect.inconclusive);
}

#[test]
fn a_byte_order_mark_moves_no_column() {
    let column = |text: &str| pilotage_plan::read("x", text).unwrap_err()[0].span.column;
    assert_eq!(column("\u{feff}pilotage: nothing/1\n"), 11);
    assert_eq!(column("pilotage: nothing/1\n"), 11);
}
