//! From files to tables. All problems are found at once.

use super::Problem;
use super::tables::{
    Accuracy, Amount, Capture, Choice, Ends, InstrumentTable, Measure, Query, Serves, Service, Tables,
};
use super::texts::{asks_operation_condition, channel_sendable, joined, sendable, unknown_placeholder};
use pilotage_core::expr::Value;
use pilotage_core::{Dimension, Unit};
use pilotage_plan::files::bench::{BenchFile, InstrumentText, ServiceText};
use pilotage_plan::files::driver::{AccuracyText, CaptureText, ChoiceText, DriverFile, FunctionForm, MeasureText};
use pilotage_plan::source::{Formula, Sp};
use pilotage_plan::sources::Sources;
use std::collections::BTreeMap;
use std::time::Duration;

/// A result whose problem is kept beside those of others.
type Found<T> = Result<T, Problem>;

impl Tables {
    /// Compiles a bench file with its drivers.
    pub fn compile<'a>(
        bench: &BenchFile,
        drivers: impl IntoIterator<Item = &'a DriverFile>,
    ) -> Result<Self, Vec<Problem>> {
        let drivers: BTreeMap<&str, &DriverFile> = drivers
            .into_iter()
            .map(|file| (file.name.value.as_str(), file))
            .collect();
        let mut problems = Vec::new();
        let mut kept = BTreeMap::new();
        for text in &bench.instruments {
            match driver_of(text, &drivers).and_then(|driver| Ok((instrument(text, driver)?, driver))) {
                Ok(made) => {
                    kept.insert(text.name.value.clone(), made);
                }
                Err(problem) => problems.push(problem),
            }
        }
        let mut services = BTreeMap::new();
        for text in &bench.points {
            match kept.get(&text.by.value) {
                Some((table, driver)) => match service(text, table, driver) {
                    Ok(service) => {
                        services.insert(service.point.clone(), service);
                    }
                    Err(problem) => problems.push(problem),
                },
                None if bench.instruments.iter().any(|known| known.name.value == text.by.value) => {}
                None => problems.push(no_instrument(text)),
            }
        }
        let instruments = kept.into_iter().map(|(name, (table, _))| (name, table)).collect();
        if problems.is_empty() {
            Ok(Self { instruments, services })
        } else {
            Err(problems)
        }
    }
}

fn no_instrument(text: &ServiceText) -> Problem {
    Problem::new(
        text.by.span.place(),
        format!(
            "point `{}` is served by `{}`, which is no instrument of this bench",
            text.point.value, text.by.value
        ),
        "name an instrument of `instruments`",
    )
}

fn driver_of<'a>(text: &InstrumentText, drivers: &BTreeMap<&str, &'a DriverFile>) -> Found<&'a DriverFile> {
    drivers.get(text.driver.value.as_str()).copied().ok_or_else(|| {
        Problem::new(
            text.driver.span.place(),
            format!("no driver `{}` for instrument `{}`", text.driver.value, text.name.value),
            format!(
                "drivers at hand: {}",
                drivers.keys().copied().collect::<Vec<_>>().join(", ")
            ),
        )
    })
}

fn instrument(text: &InstrumentText, driver: &DriverFile) -> Found<InstrumentTable> {
    Ok(InstrumentTable {
        model: driver.model.value.clone(),
        serial: text.serial.value.clone(),
        deadline: span(&driver.deadline)?,
        errors: checked(&driver.errors, &[])?.into(),
        errors_with_reading: driver.errors_with_reading,
        start: driver
            .start
            .iter()
            .map(|line| checked(line, &[]).map(Into::into))
            .collect::<Found<_>>()?,
    })
}

fn service(text: &ServiceText, table: &InstrumentTable, driver: &DriverFile) -> Found<Service> {
    let function = driver
        .functions
        .iter()
        .find(|known| known.name.value == text.function.value)
        .ok_or_else(|| {
            let known: Vec<&str> = driver.functions.iter().map(|known| known.name.value.as_str()).collect();
            Problem::new(
                text.function.span.place(),
                format!(
                    "driver `{}` has no function `{}`",
                    driver.name.value, text.function.value
                ),
                format!("its functions: {}", known.join(", ")),
            )
        })?;
    let maker = Maker { text, table, driver };
    Ok(Service {
        point: text.point.value.clone(),
        instrument: text.by.value.clone(),
        function: function.name.value.clone(),
        driver: function.span.place(),
        ratio: maker.ratio()?,
        ratio_standard: text.ratio_standard.as_ref().map(ratio).transpose()?,
        serves: maker.serves(&function.form)?,
    })
}

/// Makes one service.
struct Maker<'a> {
    text: &'a ServiceText,
    table: &'a InstrumentTable,
    driver: &'a DriverFile,
}

impl Maker<'_> {
    fn ratio(&self) -> Found<f64> {
        let Some(formula) = &self.text.ratio else {
            return Ok(1.0);
        };
        match ratio(formula)? {
            value if value != 0.0 => Ok(value),
            _ => Err(Problem::new(
                formula.span.place(),
                "a ratio of 0",
                "write value at the point / value at the instrument",
            )),
        }
    }

    fn serves(&self, form: &FunctionForm) -> Found<Serves> {
        Ok(match form {
            FunctionForm::Choose(choices) => Serves::Choose(
                choices
                    .iter()
                    .map(|(word, text)| self.choice(word, text))
                    .collect::<Found<_>>()?,
            ),
            FunctionForm::Amount {
                unit,
                between,
                send,
                ask,
                confirm_within,
            } => {
                let unit = unit_of(unit)?;
                Serves::Amount(Amount {
                    unit,
                    between_si: (
                        quantity(&between.0, unit.dimension)?,
                        quantity(&between.1, unit.dimension)?,
                    ),
                    message: self.set_message(send, &["{value}"])?,
                    ask: self.query(ask)?,
                    within_si: difference(confirm_within, unit)?,
                })
            }
            FunctionForm::Measure(text) => Serves::Measure(self.measure(text)?),
            FunctionForm::Word { ask, answers } => Serves::Word {
                ask: self.query(ask)?,
                answers: answers
                    .iter()
                    .map(|(reply, word)| (reply.value.clone(), word.value.clone()))
                    .collect(),
            },
            FunctionForm::Capture(text) => Serves::Capture(self.capture(text)?),
        })
    }

    fn choice(&self, word: &Sp<String>, text: &ChoiceText) -> Found<Choice> {
        Ok(Choice {
            word: word.value.clone(),
            message: self.set_message(&text.send, &[])?.as_str().into(),
            ask: self.query(&text.ask)?,
            answer: text.answer.value.clone(),
        })
    }

    /// All commands in one message with the error query at its end, so that an error belongs to its command.
    fn set_message(&self, send: &[Sp<String>], known: &[&str]) -> Found<String> {
        let commands: Vec<String> = send.iter().map(|text| self.filled(text, known)).collect::<Found<_>>()?;
        if let Some(text) = send.iter().find(|text| text.value.contains('?')) {
            return Err(Problem::new(
                text.span.place(),
                format!("`{}` asks, but stands in `send`", text.value),
                "move the query to `ask`",
            ));
        }
        Ok(joined(
            commands.iter().map(String::as_str).chain([self.table.errors.text()]),
        ))
    }

    fn measure(&self, text: &MeasureText) -> Found<Measure> {
        let unit = unit_of(&text.unit)?;
        Ok(Measure {
            unit,
            ask: self.query(&text.ask)?,
            deadline: text.deadline.as_ref().map(span).transpose()?,
            aperture: text.aperture.as_ref().map(span).transpose()?.unwrap_or_default(),
            accuracy: match &text.accuracy {
                Some(accuracy) => Ok(self.accuracy(accuracy, unit)?),
                None => Err(format!(
                    "driver `{}` states no accuracy for `{}`",
                    self.driver.name.value, self.text.function.value
                )),
            },
            sources: Sources::new(&self.text.by.value, &self.text.function.value, &self.text.point.value),
        })
    }

    fn accuracy(&self, text: &AccuracyText, unit: Unit) -> Found<Accuracy> {
        let divisor = text.coverage.unwrap_or_else(|| 3f64.sqrt());
        if !divisor.is_finite() || divisor <= 0.0 {
            return Err(Problem::new(
                self.driver.name.span.place(),
                "a coverage factor that is not positive",
                "write e.g. 2",
            ));
        }
        let relative = |formula: &Option<Formula>| formula.as_ref().map(ratio).transpose();
        let span_si = |formula: &Option<Formula>| formula.as_ref().map(|formula| difference(formula, unit)).transpose();
        let range_si = match (relative(&text.of_range)?, &text.range) {
            (Some(part), Some(range)) => part * (quantity(range, unit.dimension)? - unit.to_si(0.0)) / divisor,
            (Some(_), None) => {
                let place = text
                    .of_range
                    .as_ref()
                    .map_or_else(String::new, |formula| formula.span.place());
                return Err(Problem::new(
                    place,
                    "`of_range` without `range`",
                    "add `range`, the full scale",
                ));
            }
            (None, _) => 0.0,
        };
        Ok(Accuracy {
            gain: relative(&text.of_reading)?.unwrap_or(0.0) / divisor,
            range_si,
            fixed_si: span_si(&text.fixed)?.unwrap_or(0.0) / divisor,
            // JCGM 100, F.2.2.1: half of the resolution is a rectangular limit.
            resolution_si: span_si(&text.resolution)?.unwrap_or(0.0) / 2.0 / 3f64.sqrt(),
        })
    }

    fn capture(&self, text: &CaptureText) -> Found<Capture> {
        let unit = unit_of(&text.unit)?;
        let arm: Vec<String> = text
            .arm
            .iter()
            .map(|line| self.filled(line, &["{rate}", "{points}"]))
            .collect::<Found<_>>()?;
        let finished = self.filled(&text.finished, &[])?;
        let unit_si = unit.to_si(1.0) - unit.to_si(0.0);
        Ok(Capture {
            unit,
            arm,
            ends: if asks_operation_condition(&finished) {
                Ends::AtQuietRegister
            } else {
                Ends::AtOne
            },
            finished: finished.as_str().into(),
            scaling: self.filled(&text.scaling, &[])?.as_str().into(),
            fetch: self.filled(&text.fetch, &[])?.as_str().into(),
            highest_rate_hz: quantity(&text.highest_rate, Dimension::FREQUENCY)?,
            most_points: text.most_points,
            gain_standard: ratio(&text.gain)? / 3f64.sqrt(),
            offset_standard: difference(&text.offset, unit)? / unit_si / 3f64.sqrt(),
            time_standard: ratio(&text.time_base)? / 3f64.sqrt(),
            delay_standard_s: quantity(&text.delay, Dimension::TIME)? / 3f64.sqrt(),
        })
    }

    fn query(&self, text: &Sp<String>) -> Found<Query> {
        Ok(Query::new(&self.filled(text, &[])?, self.table))
    }

    /// A driver's text with the channel put in.
    fn filled(&self, text: &Sp<String>, known: &[&str]) -> Found<String> {
        let mut all = vec!["{channel}"];
        all.extend(known);
        let line = checked(text, &all)?.to_owned();
        match &self.text.channel {
            Some(channel) if !channel_sendable(&channel.value) => Err(Problem::new(
                channel.span.place(),
                format!("`{}` cannot be a channel", channel.value),
                "letters, digits and `_.:-!` only",
            )),
            Some(channel) => Ok(line.replace("{channel}", &channel.value)),
            None if line.contains("{channel}") => Err(Problem::new(
                self.text.span.place(),
                format!(
                    "function `{}` needs a channel, and point `{}` names none",
                    self.text.function.value, self.text.point.value
                ),
                "add `channel: \"…\"` to the point",
            )),
            None => Ok(line),
        }
    }
}

fn checked<'a>(text: &'a Sp<String>, known: &[&str]) -> Found<&'a str> {
    if !sendable(&text.value) {
        return Err(Problem::new(
            text.span.place(),
            "a message that is empty or not printable ASCII",
            "write SCPI text",
        ));
    }
    if let Some(unknown) = unknown_placeholder(&text.value, known) {
        let mend = if known.is_empty() {
            "no placeholder stands here".to_owned()
        } else {
            format!("known here: {}", known.join(" "))
        };
        return Err(Problem::new(
            text.span.place(),
            format!("unknown placeholder `{unknown}`"),
            mend,
        ));
    }
    Ok(&text.value)
}

fn unit_of(text: &Sp<String>) -> Found<Unit> {
    Unit::find(&text.value).ok_or_else(|| {
        Problem::new(
            text.span.place(),
            format!("unknown unit `{}`", text.value),
            "write e.g. V, mA, Ω, Hz, s, °C",
        )
    })
}

/// A formula without names, in coherent SI.
fn quantity(formula: &Formula, dimension: Dimension) -> Found<f64> {
    let wrong = |what: String| Problem::new(formula.span.place(), what, "write a number with its unit, e.g. `750 V`");
    let text = formula.expr.text();
    match formula.expr.evaluate(&|_| None) {
        Ok(Value::Measured(measured)) if measured.value.dimension() == dimension => Ok(measured.value.si()),
        Ok(_) => Err(wrong(format!("`{text}` has another dimension than is wanted here"))),
        Err(why) => Err(wrong(format!("`{text}` has no value: {why}"))),
    }
}

fn ratio(formula: &Formula) -> Found<f64> {
    quantity(formula, Dimension::NONE)
}

/// A difference of two values in a unit; differences of temperatures are in K.
fn difference(formula: &Formula, unit: Unit) -> Found<f64> {
    let si = quantity(formula, unit.dimension)?;
    if unit.offset != 0.0 && si.abs() >= unit.offset.abs() / 2.0 {
        return Err(Problem::new(
            formula.span.place(),
            format!("`{}` is a temperature, not a difference", formula.expr.text()),
            "write differences in K",
        ));
    }
    if si < 0.0 {
        return Err(Problem::new(
            formula.span.place(),
            format!("`{}` is negative", formula.expr.text()),
            "write it positive",
        ));
    }
    Ok(si)
}

fn span(formula: &Formula) -> Found<Duration> {
    let seconds = quantity(formula, Dimension::TIME)?;
    Duration::try_from_secs_f64(seconds).map_err(|_| {
        Problem::new(
            formula.span.place(),
            format!("`{}` is no length of time", formula.expr.text()),
            "write e.g. `2 s`",
        )
    })
}
