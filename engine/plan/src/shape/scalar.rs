//! Scalars: words, names, numbers by our own rules, units, messages, expressions.

use super::checked::{Checked, CheckedMap};
use super::table::{Grammar, Record, Shape, WORD, Want, Word, Yields, name_of};
use crate::problem::{Problem, code, quoted};
use crate::source::{Formula, Sp, Span};
use pilotage_core::expr::{Kind, Value};
use pilotage_core::{Dimension, Expr, ExprError, Quantity, Unit};
use std::ops::Range;

type Read = Result<Checked, Box<Problem>>;

/// Reads a scalar as its shape wants it.
pub(super) fn read(shape: &Shape, text: &str, quotes: bool, span: &Span, source: &str) -> Read {
    let checked_text = || {
        Checked::Text(Sp {
            value: text.to_owned(),
            span: span.clone(),
        })
    };
    match shape {
        Shape::Text => nonempty(text, span).map(|()| checked_text()),
        Shape::Form(grammar) if (grammar.fits)(text) => Ok(checked_text()),
        Shape::Form(grammar) => Err(Box::new(not_in_form(text, grammar, span))),
        Shape::Word(words) => word(words, text, span).map(|()| checked_text()),
        Shape::Truth => truth(text, quotes, span).map(Checked::Truth),
        Shape::Count(from, to) => count(text, *from, *to, span).map(Checked::Count),
        Shape::Factor => factor(text, span).map(Checked::Factor),
        Shape::Unit => unit(text, span).map(|()| checked_text()),
        Shape::Formula(want) => formula(*want, text, span, source).map(Checked::Formula),
        Shape::WordOrAmount if (WORD.fits)(text) => Ok(checked_text()),
        Shape::WordOrAmount => formula(Want::ANY, text, span, source).map(Checked::Formula),
        Shape::Message(placeholders) => message(placeholders, text, span).map(|()| checked_text()),
        Shape::List(..) | Shape::Map(_) | Shape::Either(_) | Shape::Variants(_) => Err(Box::new(Problem::new(
            code::WRONG_SORT,
            span,
            "a text stands where a list or a map is wanted",
        ))),
    }
}

/// What a scalar shape wants, in words.
pub(super) fn wanted(shape: &Shape) -> String {
    match shape {
        Shape::Form(grammar) => grammar.what.to_owned(),
        Shape::Word(_) => "a word".to_owned(),
        Shape::Truth => "true or false".to_owned(),
        Shape::Count(..) => "a whole number".to_owned(),
        Shape::Factor => "a number".to_owned(),
        Shape::Unit => "a unit".to_owned(),
        Shape::Formula(want) => match want.yields {
            Yields::Of(measure) => measure.name.to_owned(),
            Yields::Any => "a quantity".to_owned(),
            Yields::Truth => "a condition".to_owned(),
        },
        Shape::WordOrAmount => "a word or a quantity".to_owned(),
        Shape::Message(_) => "a message".to_owned(),
        _ => "a text".to_owned(),
    }
}

/// A good value of a shape.
pub(super) fn example(shape: &Shape) -> String {
    let text = match shape {
        Shape::Form(grammar) => grammar.example,
        Shape::Word(words) => words.first().map_or("", |w| w.word),
        Shape::Truth => "true",
        Shape::Count(..) => "10",
        Shape::Factor => "2",
        Shape::Unit => "mΩ",
        Shape::Formula(want) => literal_example(*want),
        Shape::WordOrAmount => "state_C",
        Shape::Message(_) => "\"SYSTem:ERRor?\"",
        Shape::List(of, ..) => return format!("[{}]", example(of)),
        Shape::Map(_) | Shape::Either(_) | Shape::Variants(_) => "{…: …}",
        Shape::Text => "\"text\"",
    };
    text.to_owned()
}

fn literal_example(want: Want) -> &'static str {
    match want.yields {
        Yields::Of(measure) => measure.example,
        Yields::Any => "12 V",
        Yields::Truth => "$rated_current >= 16 A",
    }
}

fn nonempty(text: &str, span: &Span) -> Result<(), Box<Problem>> {
    if !text.trim().is_empty() {
        return Ok(());
    }
    Err(Box::new(
        Problem::new(code::EMPTY_TEXT, span, "the text is empty")
            .expected("a text")
            .got("an empty text")
            .mend("write something, or delete the key"),
    ))
}

/// The problem of a text that does not have its form.
pub(super) fn not_in_form(text: &str, grammar: &Grammar, span: &Span) -> Problem {
    Problem::new(grammar.code, span, format!("{} is not {}", quoted(text), grammar.what))
        .expected(format!("{} like {}", grammar.what, grammar.example))
        .got(quoted(text))
        .mend(format!("write it like {}: {}", grammar.example, grammar.says))
}

fn word(words: &[Word], text: &str, span: &Span) -> Result<(), Box<Problem>> {
    if words.iter().any(|w| w.word == text) {
        return Ok(());
    }
    let listed: Vec<&str> = words.iter().map(|w| w.word).collect();
    let mend = match nearest(text, listed.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("write one of: {}", listed.join(", ")),
    };
    Err(Box::new(
        Problem::new(
            code::UNKNOWN_WORD,
            span,
            format!("{} is not a word that is known here", quoted(text)),
        )
        .expected(listed.join(", "))
        .got(quoted(text))
        .mend(mend),
    ))
}

fn truth(text: &str, quotes: bool, span: &Span) -> Result<bool, Box<Problem>> {
    match (text, quotes) {
        ("true", false) => return Ok(true),
        ("false", false) => return Ok(false),
        _ => {}
    }
    let mend = match text.to_ascii_lowercase().as_str() {
        "yes" | "on" | "y" | "true" => "write true, without quotes",
        "no" | "off" | "n" | "false" => "write false, without quotes",
        _ => "write true or false",
    };
    Err(Box::new(
        Problem::new(
            code::NOT_TRUE_FALSE,
            span,
            format!("{} is neither true nor false", quoted(text)),
        )
        .expected("true or false")
        .got(quoted(text))
        .mend(mend),
    ))
}

fn count(text: &str, from: u64, to: u64, span: &Span) -> Result<u64, Box<Problem>> {
    let decimal =
        !text.is_empty() && text.chars().all(|c| c.is_ascii_digit()) && (text == "0" || !text.starts_with('0'));
    let Some(value) = Some(text).filter(|_| decimal).and_then(|t| t.parse::<u64>().ok()) else {
        return Err(Box::new(
            Problem::new(code::BAD_COUNT, span, format!("{} is not a whole number", quoted(text)))
                .expected("a whole number in digits")
                .got(quoted(text))
                .mend("write digits only, without sign, point, unit, leading zero or separators, e.g. 10"),
        ));
    };
    if (from..=to).contains(&value) {
        return Ok(value);
    }
    Err(Box::new(
        Problem::new(code::COUNT_RANGE, span, format!("{value} is outside its range"))
            .expected(format!("{from} to {to}"))
            .got(format!("{value}"))
            .mend(format!("write a number from {from} to {to}")),
    ))
}

fn factor(text: &str, span: &Span) -> Result<f64, Box<Problem>> {
    let digits = text.starts_with(|c: char| c.is_ascii_digit());
    let value = text.parse::<f64>().ok().filter(|v| digits && v.is_finite() && *v > 0.0);
    value.ok_or_else(|| {
        Box::new(
            Problem::new(
                code::BAD_COUNT,
                span,
                format!("{} is not a number above zero", quoted(text)),
            )
            .expected("a number above zero")
            .got(quoted(text))
            .mend("write a plain number, e.g. 2"),
        )
    })
}

fn unit(text: &str, span: &Span) -> Result<(), Box<Problem>> {
    if Unit::find(text).is_some() {
        return Ok(());
    }
    let mend = match Unit::near(text).first() {
        Some(near) => format!("did you mean `{near}`?"),
        None => "write the unit alone, with its prefix and the right case, e.g. mA".to_owned(),
    };
    Err(Box::new(
        Problem::new(code::UNKNOWN_UNIT, span, format!("{} is not a unit", quoted(text)))
            .expected("a unit such as V, mA, Ω, kHz, ms, °C, %")
            .got(quoted(text))
            .mend(mend),
    ))
}

/// The dimension of a unit by its symbol.
pub(crate) fn unit_dimension(text: &str) -> Option<Dimension> {
    Unit::find(text).map(|unit| unit.dimension)
}

/// The dimension of an expression without names.
pub(crate) fn dimension_of(formula: &Formula) -> Option<Dimension> {
    match formula.expr.kind(&|_| None) {
        Ok(Kind::Quantity(dimension)) => Some(dimension),
        _ => None,
    }
}

/// The value of an expression without names.
pub(super) fn value_of(formula: &Formula) -> Option<Quantity> {
    match formula.expr.evaluate(&|_| None) {
        Ok(Value::Measured(measured)) => Some(measured.value),
        _ => None,
    }
}

fn message(placeholders: &[&str], text: &str, span: &Span) -> Result<(), Box<Problem>> {
    nonempty(text, span)?;
    for inside in placeholders_of(text) {
        if placeholders.contains(&inside) {
            continue;
        }
        let listed: Vec<String> = placeholders.iter().map(|p| format!("{{{p}}}")).collect();
        let wanted = if listed.is_empty() {
            "no placeholder".to_owned()
        } else {
            listed.join(", ")
        };
        let mend = match nearest(inside, placeholders.iter().copied()) {
            Some(near) => format!("did you mean {{{near}}}?"),
            None => "delete it".to_owned(),
        };
        let message = format!("the placeholder {} is not known here", quoted(&format!("{{{inside}}}")));
        return Err(Box::new(
            Problem::new(code::UNKNOWN_PLACEHOLDER, span, message)
                .expected(wanted)
                .mend(mend),
        ));
    }
    Ok(())
}

/// The names in braces.
pub(super) fn placeholders_of(text: &str) -> Vec<&str> {
    let parts = text.split('{').skip(1);
    parts
        .map(|part| part.split_once('}').map_or(part, |(inside, _)| inside))
        .collect()
}

fn formula(want: Want, text: &str, span: &Span, source: &str) -> Result<Formula, Box<Problem>> {
    nonempty(text, span)?;
    let expr = Expr::parse(text).map_err(|e| Box::new(expression_problem(e, text, span, source)))?;
    let formula = Formula {
        expr,
        span: span.clone(),
    };
    if want.literal {
        literal(&formula, want)?;
    }
    if want.difference {
        not_celsius(text, span, source)?;
    }
    if formula.expr.names().is_empty() {
        yields(want, &formula, text, source)?;
    }
    Ok(formula)
}

fn literal(formula: &Formula, want: Want) -> Result<(), Box<Problem>> {
    let Some(name) = formula.expr.names().first().copied().map(str::to_owned) else {
        return Ok(());
    };
    let example = literal_example(want);
    Err(Box::new(
        Problem::new(
            code::NOT_LITERAL,
            &formula.span,
            format!("{} cannot stand here", quoted(&format!("${name}"))),
        )
        .expected("a number with its unit")
        .got("an expression with a name")
        .mend(format!("write the value itself, e.g. {example}")),
    ))
}

/// A difference of temperatures is in K: 5 °C would be read as 278.15 K.
fn not_celsius(text: &str, span: &Span, source: &str) -> Result<(), Box<Problem>> {
    let found = ["°C", "degC", "℃"]
        .iter()
        .find_map(|unit| text.find(unit).map(|at| at..at + unit.len()));
    let Some(range) = found else { return Ok(()) };
    Err(Box::new(
        Problem::new(
            code::CELSIUS_DIFFERENCE,
            &within(span, text, &range, source),
            "a difference of temperatures is not in °C",
        )
        .expected("K")
        .got("°C")
        .mend("write K instead of °C"),
    ))
}

fn yields(want: Want, formula: &Formula, text: &str, source: &str) -> Result<(), Box<Problem>> {
    let kind = formula
        .expr
        .kind(&|_| None)
        .map_err(|e| Box::new(expression_problem(e, text, &formula.span, source)))?;
    match (want.yields, kind) {
        (Yields::Any, Kind::Quantity(_)) | (Yields::Truth, Kind::Truth) => Ok(()),
        (Yields::Of(measure), Kind::Quantity(got)) if got == measure.dimension => Ok(()),
        (Yields::Of(measure), Kind::Quantity(got)) if got.is_none() && text.trim_end().ends_with('%') => Err(Box::new(
            Problem::new(code::BARE_SHARE, &formula.span, format!("{} of what?", text.trim()))
                .expected(measure.name)
                .got("a share without `of`")
                .mend(format!(
                    "write `{} of …`, or a value such as {}",
                    text.trim(),
                    measure.example
                )),
        )),
        (Yields::Of(measure), Kind::Quantity(got)) => Err(Box::new(wrong_dimension(measure, got, text, &formula.span))),
        (Yields::Truth, Kind::Quantity(_)) => Err(Box::new(
            Problem::new(
                code::NOT_A_CONDITION,
                &formula.span,
                "this is a quantity, not a condition",
            )
            .expected("a condition")
            .got("a quantity")
            .mend("compare it with something, e.g. $rated_current >= 16 A"),
        )),
        (_, Kind::Truth) => Err(Box::new(
            Problem::new(
                code::NOT_A_CONDITION,
                &formula.span,
                "this is a condition, not a quantity",
            )
            .expected("a quantity")
            .got("a condition")
            .mend("write a quantity, e.g. 12 V"),
        )),
    }
}

fn wrong_dimension(measure: &super::table::Measure, got: Dimension, text: &str, span: &Span) -> Problem {
    let bare = got.is_none() && text.trim().parse::<f64>().is_ok();
    let mend = if bare {
        format!("write the unit behind the number, e.g. {}", measure.example)
    } else {
        format!("write {}, e.g. {}", measure.name, measure.example)
    };
    let came = if bare { "a number without a unit" } else { name_of(got) };
    Problem::new(
        code::WRONG_DIMENSION,
        span,
        format!("{} is {came}, not {}", quoted(text.trim()), measure.name),
    )
    .expected(measure.name)
    .got(came)
    .mend(mend)
}

fn expression_problem(error: ExprError, text: &str, span: &Span, source: &str) -> Problem {
    let place = within(span, text, &error.at, source);
    let problem = Problem::new(code::BAD_EXPRESSION, &place, error.message);
    problem.mend(
        error
            .mend
            .unwrap_or_else(|| "write a number with its unit, or an expression such as $drop / $i_now".to_owned()),
    )
}

/// The place of a part of a scalar. Where the text is not written as it is meant (escapes, several lines), the whole scalar.
fn within(span: &Span, text: &str, part: &Range<usize>, source: &str) -> Span {
    let Some(written) = source.get(span.offset..span.offset + span.length) else {
        return span.clone();
    };
    let lead = usize::from(written.starts_with(['"', '\'']));
    let plain = written.get(lead..lead + text.len()) == Some(text) && !text.contains('\n');
    let (Some(before), Some(inside)) = (text.get(..part.start), text.get(part.clone())) else {
        return span.clone();
    };
    if !plain {
        return span.clone();
    }
    Span {
        file: span.file.clone(),
        line: span.line,
        column: span.column + (lead + before.chars().count()) as u32,
        offset: span.offset + lead + part.start,
        length: inside.len(),
    }
}

/// The nearest known word, where one is near enough to be meant.
pub(crate) fn nearest<'w>(word: &str, known: impl Iterator<Item = &'w str>) -> Option<&'w str> {
    let length = word.chars().count();
    if length > 40 {
        return None;
    }
    let reach = match length {
        0..=2 => 0,
        3..=5 => 1,
        6..=8 => 2,
        _ => 3,
    };
    let word = word.to_lowercase();
    known
        .filter(|k| k.chars().count().abs_diff(length) <= reach)
        .map(|k| (strsim::osa_distance(&word, &k.to_lowercase()), k))
        .filter(|(distance, _)| *distance <= reach)
        .min()
        .map(|(_, k)| k)
}

/// The key that a name that is none most likely stands for: one that is not there yet.
pub(super) fn meant(name: &str, record: &Record, map: &CheckedMap) -> Option<&'static str> {
    let absent = record.all_keys().map(|k| k.name).filter(|k| !map.has(k));
    let other = other_word(name).filter(|other| record.key(other).is_some() && !map.has(other));
    other.or_else(|| nearest(name, absent))
}

/// Our word for what people often write instead.
fn other_word(word: &str) -> Option<&'static str> {
    Some(match word {
        "timeout" | "within_time" | "max_time" => "deadline",
        "min" | "minimum" | "low" => "at_least",
        "max" | "maximum" | "high" => "at_most",
        "range" => "between",
        "wait" | "sleep" | "delay" | "pause" => "hold",
        "measure" | "get" => "read",
        "interval" | "period" => "every",
        "name" => "as",
        "acts" | "then" => "do",
        "check" | "assert" => "judge",
        "source" => "standard",
        _ => return None,
    })
}
