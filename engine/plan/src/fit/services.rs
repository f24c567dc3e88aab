//! Which instrument serves which point: the bench file's names followed into the drivers.

use super::names;
use super::points::{self, Holds, PointShape};
use super::problems::Problems;
use super::{code, near};
use crate::files::bench::{BenchFile, InstrumentText, LinkText, ServiceText};
use crate::files::driver::{CaptureText, DriverFile, FunctionForm, FunctionText, MeasureText};
use crate::problem::Problem;
use crate::source::{Formula, Sp};
use pilotage_core::{Dimension, Unit};
use pilotage_evidence::ItemKind;
use std::collections::BTreeMap;

/// One entry of the bench's points, followed to a function of a driver.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Service<'a> {
    /// The entry.
    pub(crate) text: &'a ServiceText,
    /// The function.
    pub(crate) function: &'a FunctionText,
}

/// Everything that the bench serves. A point may have several entries, e.g. one that sets it and one that reads it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Services<'a> {
    by_point: BTreeMap<&'a str, Vec<Service<'a>>>,
}

impl<'a> Services<'a> {
    /// Follows every name of the bench file.
    pub(crate) fn resolve(
        kind: ItemKind,
        bench: &'a BenchFile,
        drivers: &'a BTreeMap<String, DriverFile>,
        problems: &mut Problems,
    ) -> Self {
        let mut services = Self::default();
        for text in &bench.points {
            match follow(kind, bench, drivers, text) {
                Ok(service) => services
                    .by_point
                    .entry(text.point.value.as_str())
                    .or_default()
                    .push(service),
                Err(problem) => problems.add(*problem),
            }
        }
        services
    }

    /// Whether the bench serves a point, or anything of it: `supply` and `supply.voltage` are of `supply`.
    pub(crate) fn serves_any_of(&self, root: &str) -> bool {
        let of_root = |point: &str| point.split(['.', '[']).next() == Some(root);
        self.by_point.keys().any(|point| of_root(point))
    }

    /// All entries of a point.
    pub(crate) fn of(&self, point: &str) -> &[Service<'a>] {
        self.by_point.get(point).map_or(&[], Vec::as_slice)
    }

    /// The entry that measures a point as a number.
    pub(crate) fn measure(&self, point: &str) -> Option<(Service<'a>, &'a MeasureText)> {
        self.of(point).iter().find_map(|service| match &service.function.form {
            FunctionForm::Measure(text) => Some((*service, text)),
            _ => None,
        })
    }

    /// The entry that captures a point.
    pub(crate) fn capture(&self, point: &str) -> Option<(Service<'a>, &'a CaptureText)> {
        self.of(point).iter().find_map(|service| match &service.function.form {
            FunctionForm::Capture(text) => Some((*service, text)),
            _ => None,
        })
    }

    /// The words that can be set at a point.
    pub(crate) fn choices(&self, point: &str) -> Option<Vec<&'a str>> {
        self.of(point).iter().find_map(|service| match &service.function.form {
            FunctionForm::Choose(choices) => Some(choices.iter().map(|(word, _)| word.value.as_str()).collect()),
            _ => None,
        })
    }

    /// Unit and bounds of what can be set at a point.
    pub(crate) fn amount(&self, point: &str) -> Option<(&'a Sp<String>, &'a (Formula, Formula))> {
        self.of(point).iter().find_map(|service| match &service.function.form {
            FunctionForm::Amount { unit, between, .. } => Some((unit, between)),
            _ => None,
        })
    }

    /// The words that a point can answer, where it answers in words.
    pub(crate) fn answers(&self, point: &str) -> Option<Vec<&'a str>> {
        self.of(point).iter().find_map(|service| match &service.function.form {
            FunctionForm::Word { answers, .. } => Some(answers.iter().map(|(_, word)| word.value.as_str()).collect()),
            FunctionForm::Choose(choices) => Some(choices.iter().map(|(word, _)| word.value.as_str()).collect()),
            _ => None,
        })
    }
}

/// What is wrong with the names of a bench that no sequence uses yet; its points may be those of any kind of item.
pub fn loose_ends(bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>) -> Vec<Problem> {
    let mut problems = Problems::default();
    Services::resolve(ItemKind::WallUnit, bench, drivers, &mut problems);
    problems.into_vec()
}

fn follow<'a>(
    kind: ItemKind,
    bench: &'a BenchFile,
    drivers: &'a BTreeMap<String, DriverFile>,
    text: &'a ServiceText,
) -> Result<Service<'a>, Box<Problem>> {
    let name = &text.point.value;
    let shapes = match points::point_of(kind, name) {
        Some(point) => vec![point.shape],
        None => points::of_other_kinds(kind, name),
    };
    if shapes.is_empty() {
        return Err(unknown_point(text, points::find_point(kind, name).err().flatten()));
    }
    let instrument = instrument_of(bench, text)?;
    let driver = driver_of(drivers, instrument)?;
    check_link(instrument, driver)?;
    let function = function_of(driver, text)?;
    fits_one_of(&shapes, function, text)?;
    check_connection(text)?;
    Ok(Service { text, function })
}

/// A point of another kind may be called the same as one of a third kind: one of them must fit.
fn fits_one_of(shapes: &[&PointShape], function: &FunctionText, text: &ServiceText) -> Result<(), Box<Problem>> {
    let mut last = Ok(());
    for shape in shapes {
        last = check_form(shape, function, text);
        if last.is_ok() {
            break;
        }
    }
    last
}

fn unknown_point(text: &ServiceText, near: Option<String>) -> Box<Problem> {
    let mend = near.map_or_else(
        || "see the table of points".to_owned(),
        |near| format!("did you mean `{near}`?"),
    );
    Box::new(
        Problem::new(
            code::UNKNOWN_POINT,
            &text.point.span,
            "the bench serves an unknown point",
        )
        .expected("a point of a kind of item that can be fitted")
        .got(format!("`{}`", text.point.value))
        .mend(mend),
    )
}

/// The one that is called so; else what exists.
fn named<'a, T>(
    list: &'a [T],
    name_of: impl Fn(&'a T) -> &'a str,
    name: &Sp<String>,
    expected: &str,
) -> Result<&'a T, Box<Problem>> {
    let found = list.iter().find(|one| name_of(one) == name.value);
    found.ok_or_else(|| leads_nowhere(name, expected, &list.iter().map(name_of).collect::<Vec<_>>()))
}

fn instrument_of<'a>(bench: &'a BenchFile, text: &ServiceText) -> Result<&'a InstrumentText, Box<Problem>> {
    let instruments = &bench.instruments;
    named(
        instruments,
        |instrument| &instrument.name.value,
        &text.by,
        "an instrument of this bench",
    )
}

fn driver_of<'a>(
    drivers: &'a BTreeMap<String, DriverFile>,
    instrument: &InstrumentText,
) -> Result<&'a DriverFile, Box<Problem>> {
    drivers.get(&instrument.driver.value).ok_or_else(|| {
        let known: Vec<&str> = drivers.keys().map(String::as_str).collect();
        leads_nowhere(&instrument.driver, "a driver file that was given", &known)
    })
}

/// An interface to a bus speaks frames over it, or stands behind a socket; no other instrument can.
fn check_link(instrument: &InstrumentText, driver: &DriverFile) -> Result<(), Box<Problem>> {
    let (expected, mend) = match (&instrument.link, driver.frames.is_some()) {
        (LinkText::Can { .. }, false) => (
            "`virtual` or `tcp`",
            "name a file of frames as its driver, or link it otherwise",
        ),
        (LinkText::Virtual, true) => (
            "`{can: virtual}`, `{can: vcan0}` or `tcp`",
            "write `link: {can: virtual}`",
        ),
        _ => return Ok(()),
    };
    let what = format!(
        "`{}` cannot be linked by `{}`: its driver `{}` {}",
        instrument.name.value,
        instrument.link.words(),
        driver.name.value,
        if driver.frames.is_some() {
            "is a file of frames"
        } else {
            "speaks in lines of text"
        },
    );
    Err(Box::new(
        Problem::new(code::OTHER_LINK, &instrument.name.span, what)
            .expected(expected)
            .got(format!("`{}`", instrument.link.words()))
            .mend(mend),
    ))
}

fn function_of<'a>(driver: &'a DriverFile, text: &ServiceText) -> Result<&'a FunctionText, Box<Problem>> {
    let expected = format!("a function of the driver `{}`", driver.name.value);
    named(
        &driver.functions,
        |function| &function.name.value,
        &text.function,
        &expected,
    )
}

/// A driver that a bench names and that cannot be had.
pub fn unknown_driver(name: &Sp<String>, why: impl Into<String>, mend: impl Into<String>) -> Problem {
    Problem::new(code::BENCH_NAME, &name.span, why)
        .expected("the name of a driver, shipped or of your own")
        .got(format!("`{}`", name.value))
        .mend(mend)
}

fn leads_nowhere(name: &Sp<String>, expected: &str, known: &[&str]) -> Box<Problem> {
    Box::new(
        Problem::new(code::BENCH_NAME, &name.span, format!("`{}` leads nowhere", name.value))
            .expected(expected)
            .got(format!("`{}`", name.value))
            .mend(near::mend(&name.value, known)),
    )
}

/// The unit of what a function moves, where it moves numbers.
fn unit_of(function: &FunctionText) -> Option<&Sp<String>> {
    match &function.form {
        FunctionForm::Amount { unit, .. } => Some(unit),
        FunctionForm::Measure(measure) => Some(&measure.unit),
        FunctionForm::Capture(capture) => Some(&capture.unit),
        FunctionForm::Choose(_) | FunctionForm::Word { .. } => None,
    }
}

fn check_form(shape: &PointShape, function: &FunctionText, text: &ServiceText) -> Result<(), Box<Problem>> {
    let fits = match (&function.form, shape.holds) {
        (FunctionForm::Choose(_), Holds::Words(_)) => shape.set,
        (FunctionForm::Word { .. }, Holds::Words(_)) => shape.read,
        (FunctionForm::Amount { .. }, Holds::Amount(dimension)) => shape.set && has_dimension(function, dimension),
        (FunctionForm::Measure(_), Holds::Amount(dimension)) => shape.read && has_dimension(function, dimension),
        (FunctionForm::Capture(_), Holds::Amount(dimension)) => shape.capture && has_dimension(function, dimension),
        _ => false,
    };
    if fits {
        return Ok(());
    }
    Err(Box::new(
        Problem::new(
            code::BENCH_FORM,
            &text.function.span,
            format!("`{}` cannot serve `{}`", text.function.value, text.point.value),
        )
        .expected(wanted_form(shape))
        .got(form_name(function))
        .mend("name a function of the driver that does this, or serve the point by another instrument"),
    ))
}

fn has_dimension(function: &FunctionText, dimension: Dimension) -> bool {
    unit_of(function)
        .and_then(|unit| Unit::find(&unit.value))
        .is_some_and(|unit| unit.dimension == dimension)
}

fn wanted_form(shape: &PointShape) -> String {
    let mut forms = Vec::new();
    let (set, read) = match shape.holds {
        Holds::Words(_) => ("choose", "word"),
        Holds::Amount(_) => ("amount", "measure"),
    };
    for (wanted, form) in [(shape.set, set), (shape.read, read), (shape.capture, "capture")] {
        if wanted {
            forms.push(format!("`{form}`"));
        }
    }
    let of = match shape.holds {
        Holds::Words(words) => format!("with the words {}", words.join(", ")),
        Holds::Amount(dimension) => format!("of {}", names::dimension_name(dimension)),
    };
    format!("a function of the form {} {of}", forms.join(" or "))
}

fn form_name(function: &FunctionText) -> String {
    let form = match &function.form {
        FunctionForm::Choose(_) => "choose",
        FunctionForm::Amount { .. } => "amount",
        FunctionForm::Measure(_) => "measure",
        FunctionForm::Word { .. } => "word",
        FunctionForm::Capture(_) => "capture",
    };
    let unit = unit_of(function)
        .map(|unit| format!(" in {}", unit.value))
        .unwrap_or_default();
    format!("`{form}`{unit}")
}

fn check_connection(text: &ServiceText) -> Result<(), Box<Problem>> {
    const WORDS: &[&str] = &["differential", "isolated", "direct"];
    match &text.connected {
        Some(word) if !WORDS.contains(&word.value.as_str()) => {
            Err(leads_nowhere(word, "differential, isolated or direct", WORDS))
        }
        _ => Ok(()),
    }
}
