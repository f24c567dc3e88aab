//! `calc`: an expression with units, worked out for people or, line by line, for programs.

use super::Context;
use crate::args::Calc;
use crate::failure::Failure;
use crate::text::harmless;
use pilotage_core::expr::Value;
use pilotage_core::{Expr, ExprError, NoValue, Unit, format};
use serde_json::{Value as Json, json};
use std::io::BufRead;

/// One answer.
enum Answer {
    Value(Box<Value>),
    NoValue(NoValue),
    Wrong(ExprError),
}

/// Answers one expression, or one for each line of the standard input. Exit code 3 where there is no value, 2 where an
/// expression is wrong.
pub(super) fn perform(arguments: &Calc, context: &mut Context<'_>) -> Result<u8, Failure> {
    let unit = arguments.unit.as_deref().map(unit).transpose()?;
    if arguments.expression == "-" {
        return lines(unit, context);
    }
    let text = &arguments.expression;
    let answer = answer(text);
    if let Answer::Wrong(error) = &answer {
        if context.json {
            context.output.json(&as_json(text, &answer, unit));
        }
        return Err(wrong(text, error));
    }
    show(text, &answer, unit, context)?;
    Ok(code(&answer))
}

fn lines(unit: Option<Unit>, context: &mut Context<'_>) -> Result<u8, Failure> {
    let mut worst = 0;
    for line in std::io::stdin().lock().lines() {
        let line = line.map_err(|error| Failure::broken(format!("standard input: {error}"), "give UTF-8 text"))?;
        let answer = answer(&line);
        worst = worst.max(if matches!(answer, Answer::Wrong(_)) { 2 } else { 0 });
        if let (Answer::Value(value), Some(unit)) = (&answer, unit) {
            fits(value, unit)?;
        }
        let printed = if context.json {
            as_json(&line, &answer, unit).to_string()
        } else {
            in_words(&answer, unit)
        };
        context.output.data(&printed);
    }
    Ok(worst)
}

fn answer(text: &str) -> Answer {
    let checked = Expr::parse(text).and_then(|expr| expr.kind(&|_| None).map(|_| expr));
    match checked.map(|expr| expr.evaluate(&|_| None)) {
        Ok(Ok(value)) => Answer::Value(Box::new(value)),
        Ok(Err(no_value)) => Answer::NoValue(no_value),
        Err(error) => Answer::Wrong(error),
    }
}

fn show(text: &str, answer: &Answer, unit: Option<Unit>, context: &mut Context<'_>) -> Result<(), Failure> {
    if let (Answer::Value(value), Some(unit)) = (answer, unit) {
        fits(value, unit)?;
    }
    if context.json {
        context.output.json(&as_json(text, answer, unit));
    } else {
        context.output.data(&in_words(answer, unit));
    }
    Ok(())
}

fn fits(value: &Value, unit: Unit) -> Result<(), Failure> {
    match value {
        Value::Measured(measured) if measured.value.dimension() == unit.dimension => Ok(()),
        Value::Measured(measured) => Err(Failure::usage(
            format!(
                "the result is {}, and cannot be given in {}",
                format::automatic(measured.value, 6),
                unit.symbol
            ),
            format!(
                "leave --unit out, or give a unit of {}",
                format::dimension(measured.value.dimension())
            ),
        )),
        Value::Truth(_) => Err(Failure::usage(
            "the result is true or false and has no unit",
            "leave --unit out",
        )),
    }
}

fn in_words(answer: &Answer, unit: Option<Unit>) -> String {
    match answer {
        Answer::Value(value) => match (value.as_ref(), unit) {
            (Value::Truth(truth), _) => truth.to_string(),
            (Value::Measured(measured), Some(unit)) => format::in_unit(measured.value, unit, 6),
            (Value::Measured(measured), None) => format::automatic(measured.value, 6),
        },
        Answer::NoValue(no_value) => format!("no value: {no_value}"),
        Answer::Wrong(error) => format!("wrong: {}", harmless(&error.to_string())),
    }
}

fn as_json(text: &str, answer: &Answer, unit: Option<Unit>) -> Json {
    match answer {
        Answer::Value(value) => match value.as_ref() {
            Value::Truth(truth) => json!({"expression": text, "truth": truth}),
            Value::Measured(measured) => json!({
                "expression": text,
                "si": measured.value.si(),
                "dimension": format::dimension(measured.value.dimension()),
                "text": in_words(answer, unit),
            }),
        },
        Answer::NoValue(no_value) => json!({"expression": text, "no_value": no_value.to_string()}),
        Answer::Wrong(error) => json!({
            "expression": text, "error": error.message, "from": error.at.start, "to": error.at.end, "mend": error.mend,
        }),
    }
}

fn code(answer: &Answer) -> u8 {
    match answer {
        Answer::Value(_) => 0,
        Answer::NoValue(_) => 3,
        Answer::Wrong(_) => 2,
    }
}

fn unit(symbol: &str) -> Result<Unit, Failure> {
    Unit::find(symbol).ok_or_else(|| {
        let near = Unit::near(symbol).join(", ");
        Failure::usage(
            format!("`{symbol}` is not a unit"),
            format!("did you mean one of: {near}?"),
        )
    })
}

/// The expression with its wrong part marked below.
fn wrong(text: &str, error: &ExprError) -> Failure {
    let before = text.get(..error.at.start).unwrap_or("").chars().count();
    let length = text.get(error.at.clone()).unwrap_or("").chars().count().max(1);
    let message = format!(
        "{}\n\n    {}\n    {}{}",
        error.message,
        text,
        " ".repeat(before),
        "^".repeat(length)
    );
    Failure::usage(
        message,
        error
            .mend
            .clone()
            .unwrap_or_else(|| "see `pilotage calc --help` for an example".to_owned()),
    )
}
