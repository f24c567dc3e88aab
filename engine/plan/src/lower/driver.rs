//! Drivers.

use super::common::two;
use super::sequence::entries;
use crate::files::driver::{
    AccuracyText, CaptureText, ChoiceText, DriverFile, FunctionForm, FunctionText, MeasureText,
};
use crate::shape::checked::{Checked, CheckedMap, Lower, Mismatch};
use crate::source::Sp;

/// `pilotage: driver/1`
pub(super) fn driver(map: &CheckedMap) -> Lower<DriverFile> {
    Ok(DriverFile {
        name: map.text("name")?,
        title: map.text("title")?,
        model: map.text("model")?,
        deadline: map.formula("deadline")?,
        errors: map.text("errors")?,
        errors_with_reading: map.truth("errors_with_reading"),
        start: map.texts("start"),
        functions: entries(map, "functions", function)?,
        frames: None,
    })
}

fn function(name: &Sp<String>, map: &CheckedMap) -> Lower<FunctionText> {
    let (key, value) = map.only_key()?;
    let inner = value.as_map(&map.span)?;
    let form = match key {
        "choose" => choose(inner)?,
        "amount" => amount(inner)?,
        "measure" => FunctionForm::Measure(measure(inner)?),
        "word" => word(inner)?,
        "capture" => FunctionForm::Capture(capture(inner)?),
        other => return Err(Mismatch(map.span.clone(), format!("another form than `{other}`"))),
    };
    Ok(FunctionText {
        name: name.clone(),
        form,
        span: name.span.clone(),
    })
}

fn choose(map: &CheckedMap) -> Lower<FunctionForm> {
    let one = |(word, value): &(Sp<String>, Checked)| Ok((word.clone(), choice(value.as_map(&word.span)?)?));
    map.rest.iter().map(one).collect::<Lower<_>>().map(FunctionForm::Choose)
}

fn choice(map: &CheckedMap) -> Lower<ChoiceText> {
    Ok(ChoiceText {
        send: map.texts("send"),
        ask: map.text("ask")?,
        answer: map.text("answer")?,
    })
}

fn amount(map: &CheckedMap) -> Lower<FunctionForm> {
    Ok(FunctionForm::Amount {
        unit: map.text("unit")?,
        between: two(map, "between")?,
        send: map.texts("send"),
        ask: map.text("ask")?,
        confirm_within: map.formula("confirm_within")?,
    })
}

fn measure(map: &CheckedMap) -> Lower<MeasureText> {
    Ok(MeasureText {
        unit: map.text("unit")?,
        ask: map.text("ask")?,
        deadline: map.may_formula("deadline"),
        aperture: map.may_formula("aperture"),
        accuracy: map.may_map("accuracy").map(accuracy),
    })
}

fn accuracy(map: &CheckedMap) -> AccuracyText {
    AccuracyText {
        of_reading: map.may_formula("of_reading"),
        of_range: map.may_formula("of_range"),
        range: map.may_formula("range"),
        fixed: map.may_formula("fixed"),
        resolution: map.may_formula("resolution"),
        coverage: match map.get("coverage") {
            Some(Checked::Factor(factor)) => Some(*factor),
            _ => None,
        },
    }
}

fn word(map: &CheckedMap) -> Lower<FunctionForm> {
    let answers = map.map("answers")?;
    let one = |(reply, word): &(Sp<String>, Checked)| Ok((reply.clone(), word.as_text(&reply.span)?));
    Ok(FunctionForm::Word {
        ask: map.text("ask")?,
        answers: answers.rest.iter().map(one).collect::<Lower<_>>()?,
    })
}

fn capture(map: &CheckedMap) -> Lower<CaptureText> {
    Ok(CaptureText {
        unit: map.text("unit")?,
        arm: map.texts("arm"),
        finished: map.text("finished")?,
        scaling: map.text("scaling")?,
        fetch: map.text("fetch")?,
        highest_rate: map.formula("highest_rate")?,
        most_points: map.count("most_points")?,
        gain: map.formula("gain")?,
        offset: map.formula("offset")?,
        time_base: map.formula("time_base")?,
        delay: map.formula("delay")?,
    })
}
