//! `inspect`: anybody's capture of a pilot, or of voltage and current, analysed and held against the chosen limits.

mod power;

use super::Context;
use crate::args::Inspect;
use crate::failure::Failure;
use crate::fitting::Reader;
use crate::screen;
use crate::shipped::Shelf;
use crate::text::harmless;
use pilotage_core::expr::Value;
use pilotage_core::pulse::{Found, PulseParameters, analyse};
use pilotage_core::{Datum, Dimension, Expr, Measured, Quantity, Tolerance, Uncertainty, Unit};
use pilotage_evidence::judge::judge;
use pilotage_evidence::{DecisionRule, Ruling, Verdict};
use pilotage_plan::files::limits::{LimitText, LimitsFile, ToleranceText};
use pilotage_plan::lower::read as reading;
use pilotage_plan::source::Formula;
use serde_json::{Value as Json, json};
use std::path::Path;

/// Samples and their spacing.
struct Samples {
    volts: Vec<f64>,
    /// Where every line has a third number.
    amps: Option<Vec<f64>>,
    interval_s: f64,
}

/// The set that is taken for a pilot where none is named.
const PILOT_LIMITS: &str = "iec_61851_1_2017";

/// A pilot, or voltage and current. Exit code 1 where something is outside its limit.
pub(super) fn perform(arguments: &Inspect, context: &mut Context<'_>) -> Result<u8, Failure> {
    let samples = read(&arguments.path)?;
    let usual = if samples.amps.is_some() {
        power::LIMITS
    } else {
        PILOT_LIMITS
    };
    let name = arguments.limits.as_deref().unwrap_or(usual);
    let shelves = context.shelves.clone();
    let limits = Reader::new(&shelves).read(Shelf::Limits, "limits", name, reading::read_limits)?;
    match &samples.amps {
        Some(amps) => power::perform(&samples, amps, &limits, arguments, context),
        None => pilot(&samples, &limits, arguments, context),
    }
}

/// Shows levels, state, duty, amps and edges.
fn pilot(
    samples: &Samples,
    limits: &LimitsFile,
    arguments: &Inspect,
    context: &mut Context<'_>,
) -> Result<u8, Failure> {
    let pulse = analyse(&samples.volts, samples.interval_s).map_err(|lack| {
        Failure::usage(
            format!("{}: {lack}", arguments.path.display()),
            "give a capture of at least some samples",
        )
    })?;
    let state = state(&pulse);
    let rows = judged(&pulse, state, limits, arguments.current.as_deref())?;
    let outside = rows.iter().any(Row::is_outside);
    if context.json {
        context.output.json(&json!({
            "file": arguments.path, "pulse": as_json(&pulse), "state": state, "amps": amps(&pulse),
            "judged": rows.iter().map(Row::as_json).collect::<Vec<_>>(),
        }));
    } else {
        if !arguments.no_drawing {
            for line in drawing(samples, &pulse) {
                context.output.data(&line);
            }
        }
        for line in words(&pulse, state) {
            context.output.data(&line);
        }
        for row in &rows {
            context.output.data(&harmless(&row.line()));
        }
    }
    Ok(u8::from(outside))
}

fn read(path: &Path) -> Result<Samples, Failure> {
    let text = std::fs::read_to_string(path)
        .map_err(|error| Failure::usage(format!("{}: {error}", path.display()), "give a CSV file"))?;
    let mut times = Vec::new();
    let mut volts = Vec::new();
    let mut amps = Vec::new();
    for (number, line) in text.lines().enumerate() {
        match row(line) {
            Some((time, volt, amp)) => {
                times.push(time);
                volts.push(volt);
                amps.extend(amp);
            }
            None if number == 0 || line.trim().is_empty() || line.starts_with('#') => {}
            None => return Err(not_numbers(path, number + 1, line)),
        }
    }
    let interval_s = interval(path, &times)?;
    let amps = (amps.len() == volts.len()).then_some(amps);
    Ok(Samples {
        volts,
        amps,
        interval_s,
    })
}

/// Time, volts, and amps where a third cell is a number.
fn row(line: &str) -> Option<(f64, f64, Option<f64>)> {
    let mut cells = line.split([',', ';', '\t']).map(str::trim);
    let mut number = || cells.next()?.parse().ok().filter(|number: &f64| number.is_finite());
    let (time, volt) = (number()?, number()?);
    Some((time, volt, number()))
}

fn not_numbers(path: &Path, line: usize, text: &str) -> Failure {
    let shown: String = text.chars().take(60).collect();
    Failure::usage(
        format!(
            "{}:{line}: expected time in seconds and volts, got `{}`",
            path.display(),
            harmless(&shown)
        ),
        "write two numbers with a decimal point, separated by a comma, a semicolon or a tab",
    )
}

/// The spacing of the samples: none may lie further from its place than one spacing, or no timing can be believed.
fn interval(path: &Path, times: &[f64]) -> Result<f64, Failure> {
    let wrong = |what: String| {
        Failure::usage(
            format!("{}: {what}", path.display()),
            "export evenly spaced samples with enough digits of time",
        )
    };
    let (Some(first), Some(last)) = (times.first(), times.last()) else {
        return Err(wrong("no samples".to_owned()));
    };
    let interval = (last - first) / (times.len().max(2) - 1) as f64;
    if interval <= 0.0 {
        return Err(wrong(format!("time does not grow from {first} s to {last} s")));
    }
    // Times are often printed with few digits, so a single one may be off by a little; drift may not.
    let off = times
        .iter()
        .enumerate()
        .map(|(n, time)| (time - first - n as f64 * interval).abs())
        .fold(0.0, f64::max);
    if off > interval {
        return Err(wrong(format!(
            "samples are not evenly spaced: one is {off:.3e} s away from its place"
        )));
    }
    Ok(interval)
}

/// The state by its high level (IEC 61851-1 Table A.4), `?` between windows.
fn state(pulse: &PulseParameters) -> &'static str {
    let high = value(&pulse.high_v).unwrap_or(pulse.mean_v);
    let pulsed = !pulse.steady;
    match high {
        v if (11.0..=13.0).contains(&v) => {
            if pulsed {
                "A2"
            } else {
                "A1"
            }
        }
        v if (8.0..=10.0).contains(&v) => {
            if pulsed {
                "B2"
            } else {
                "B1"
            }
        }
        v if (5.0..=7.0).contains(&v) => {
            if pulsed {
                "C2"
            } else {
                "C1"
            }
        }
        v if (2.0..=4.0).contains(&v) => {
            if pulsed {
                "D2"
            } else {
                "D1"
            }
        }
        v if (-1.0..2.0).contains(&v) => "E",
        v if (-13.0..=-11.0).contains(&v) && !pulsed => "F",
        _ => "?",
    }
}

fn value(found: &Found) -> Option<f64> {
    found.as_ref().ok().map(|estimate| estimate.value)
}

/// The current that the duty cycle offers.
fn amps(pulse: &PulseParameters) -> Option<f64> {
    let duty = value(&pulse.duty_at_zero)?;
    number(&format!("current_for({duty})"))
}

fn number(expression: &str) -> Option<f64> {
    match Expr::parse(expression).ok()?.evaluate(&|_| None) {
        Ok(Value::Measured(measured)) => Some(measured.value.si()),
        _ => None,
    }
}

fn as_json(pulse: &PulseParameters) -> Json {
    json!({
        "steady": pulse.steady, "mean": pulse.mean_v, "lowest": pulse.lowest_v, "highest": pulse.highest_v,
        "high": value(&pulse.high_v), "low": value(&pulse.low_v), "frequency": value(&pulse.frequency_hz),
        "duty_at_zero": value(&pulse.duty_at_zero), "duty_at_half": value(&pulse.duty_at_half),
        "duty_spread": value(&pulse.duty_spread), "rise": value(&pulse.rise_s), "fall": value(&pulse.fall_s),
        "overshoot": value(&pulse.overshoot),
    })
}

fn words(pulse: &PulseParameters, state: &str) -> Vec<String> {
    let shown = |label: &str, found: &Found, scale: f64, unit: &str| match found {
        Ok(estimate) => format!("  {label:<16} {:.4} {unit}", estimate.value * scale),
        Err(lack) => format!("  {label:<16} no value: {lack}"),
    };
    let mut lines = vec![format!("  state            {state}")];
    if pulse.steady {
        lines.push(format!(
            "  level            {:.4} V, steady, {:.1} mV from lowest to highest",
            pulse.mean_v,
            pulse.span_v() * 1e3
        ));
        return lines;
    }
    lines.push(shown("high", &pulse.high_v, 1.0, "V"));
    lines.push(shown("low", &pulse.low_v, 1.0, "V"));
    lines.push(shown("frequency", &pulse.frequency_hz, 1.0, "Hz"));
    lines.push(shown("duty at 0 V", &pulse.duty_at_zero, 100.0, "%"));
    lines.push(shown("duty at 50 %", &pulse.duty_at_half, 100.0, "%"));
    lines.push(shown("spread of duty", &pulse.duty_spread, 100.0, "%"));
    lines.push(shown("rise 10 to 90 %", &pulse.rise_s, 1e6, "µs"));
    lines.push(shown("fall 90 to 10 %", &pulse.fall_s, 1e6, "µs"));
    lines.push(match amps(pulse) {
        Some(amps) => format!("  offers           {amps:.2} A"),
        None => "  offers           no current by this duty cycle".to_owned(),
    });
    lines
}

/// One value against one limit.
struct Row {
    key: String,
    unit: String,
    value: Quantity,
    tolerance: Tolerance,
    ruling: Ruling,
}

impl Row {
    fn is_outside(&self) -> bool {
        self.ruling.verdict == Verdict::Fail
    }

    fn as_json(&self) -> Json {
        json!({
            "limit": self.key, "value": self.value.si(), "tolerance": self.tolerance, "verdict": self.ruling.verdict,
            "margin": self.ruling.margin, "marks": self.ruling.marks,
        })
    }

    fn line(&self) -> String {
        let word = if self.is_outside() { "OUTSIDE" } else { "inside" };
        let (value, tolerance) = (
            screen::in_unit(self.value, &self.unit),
            screen::tolerance(&self.tolerance, &self.unit),
        );
        format!("  {word:<11} {:<28} {value}  ({tolerance})", self.key)
    }
}

/// The limits that can be judged from a capture alone. The bench load's window needs an exact load, so for anybody's capture
/// the state window and the corner window of a real pair are taken.
fn judged(
    pulse: &PulseParameters,
    state: &str,
    limits: &LimitsFile,
    current: Option<&str>,
) -> Result<Vec<Row>, Failure> {
    let letter = &state[..1];
    let high = value(&pulse.high_v).or(pulse.steady.then_some(pulse.mean_v));
    let mut wanted = vec![
        (format!("pilot.state_{letter}"), high),
        (format!("pilot.corner_{letter}"), high),
    ];
    if letter == "A" {
        wanted.push(("pilot.generator_high".to_owned(), high));
    }
    wanted.extend([
        ("pilot.generator_low".to_owned(), value(&pulse.low_v)),
        ("pilot.frequency".to_owned(), value(&pulse.frequency_hz)),
        ("pilot.duty_spread".to_owned(), value(&pulse.duty_spread)),
        (format!("pilot.rise_{letter}"), value(&pulse.rise_s)),
        (format!("pilot.fall_{letter}"), value(&pulse.fall_s)),
    ]);
    let current = current.map(current_of).transpose()?;
    if current.is_some() {
        wanted.push(("pilot.duty_of_setting".to_owned(), value(&pulse.duty_at_zero)));
    }
    let find = |key: &str| limits.limits.iter().find(|limit| limit.key.value == key);
    Ok(wanted
        .into_iter()
        .filter_map(|(key, value)| against(find(&key)?, value?, current))
        .collect())
}

fn current_of(text: &str) -> Result<Quantity, Failure> {
    let mend = "write a current, e.g. --current \"32 A\"";
    let current =
        Quantity::parse(text).map_err(|error| Failure::usage(format!("--current {text}: {}", error.message), mend))?;
    if current.dimension() != Dimension::CURRENT || current.si() <= 0.0 {
        return Err(Failure::usage(
            format!("--current {text}: expected a current above 0, got {current}"),
            mend,
        ));
    }
    Ok(current)
}

/// A capture from anywhere has no known uncertainty, and is judged by simple acceptance.
fn against(limit: &LimitText, si: f64, current: Option<Quantity>) -> Option<Row> {
    let unit = Unit::find(&limit.unit.value)?;
    let value = Quantity::new(si, unit.dimension).ok()?;
    let tolerance = tolerance(&limit.tolerance, current)?;
    let uncertainty = Uncertainty::Unknown("nothing is known about the instrument".to_owned());
    let ruling = judge(Ok(&Measured { value, uncertainty }), &tolerance, DecisionRule::Simple);
    Some(Row {
        key: limit.key.value.clone(),
        unit: limit.unit.value.clone(),
        value,
        tolerance,
        ruling,
    })
}

/// A tolerance whose bounds can be worked out from the set current alone.
fn tolerance(text: &ToleranceText, current: Option<Quantity>) -> Option<Tolerance> {
    let bound = |formula: &Formula| match formula.expr.evaluate(&|name| constant(name, current)) {
        Ok(Value::Measured(measured)) => Some(measured.value),
        _ => None,
    };
    Some(match text {
        ToleranceText::AtLeast(low) => Tolerance::AtLeast(bound(low)?),
        ToleranceText::AtMost(high) => Tolerance::AtMost(bound(high)?),
        ToleranceText::Between(low, high) => Tolerance::Between(bound(low)?, bound(high)?),
        ToleranceText::Within { of, by } => {
            let (of, by) = (bound(of)?, bound(by)?);
            let at = |si: f64| Quantity::new(si, of.dimension()).ok();
            Tolerance::Between(at(of.si() - by.si())?, at(of.si() + by.si())?)
        }
        ToleranceText::AnyOf(_) => return None,
    })
}

fn constant(name: &str, current: Option<Quantity>) -> Option<Datum> {
    (name == "rated_current")
        .then_some(current)
        .flatten()
        .map(|current| Ok(Measured::exact(current)))
}

/// Two periods as a drawing of 72 × 13 characters.
fn drawing(samples: &Samples, pulse: &PulseParameters) -> Vec<String> {
    const WIDTH: usize = 72;
    const HEIGHT: usize = 13;
    let period_s = value(&pulse.period_s).unwrap_or(samples.volts.len() as f64 * samples.interval_s / 2.0);
    let shown = ((2.0 * period_s / samples.interval_s) as usize)
        .max(2)
        .min(samples.volts.len());
    let (low, high) = (pulse.lowest_v.min(-0.5), pulse.highest_v.max(0.5));
    let row_of = |volt: f64| (((high - volt) / (high - low)) * (HEIGHT - 1) as f64).round() as usize;
    let mut grid = vec![vec![' '; WIDTH]; HEIGHT];
    let zero = row_of(0.0).min(HEIGHT - 1);
    grid[zero].fill('·');
    for column in 0..WIDTH {
        let (from, to) = (
            column * shown / WIDTH,
            ((column + 1) * shown / WIDTH).max(column * shown / WIDTH + 1),
        );
        let slice = &samples.volts[from..to.min(samples.volts.len())];
        let (top, bottom) = slice.iter().fold((usize::MAX, 0), |(top, bottom), volt| {
            let row = row_of(*volt).min(HEIGHT - 1);
            (top.min(row), bottom.max(row))
        });
        for line in grid.iter_mut().take(bottom + 1).skip(top) {
            line[column] = '█';
        }
    }
    let label = |row: usize| match row {
        0 => format!("{high:>7.2} V "),
        row if row == HEIGHT - 1 => format!("{low:>7.2} V "),
        row if row == zero => "   0.00 V ".to_owned(),
        _ => " ".repeat(10),
    };
    let mut lines: Vec<String> = grid
        .iter()
        .enumerate()
        .map(|(row, cells)| label(row) + &cells.iter().collect::<String>())
        .collect();
    lines.push(format!(
        "{}0 … {:.3} ms",
        " ".repeat(10),
        shown as f64 * samples.interval_s * 1e3
    ));
    lines.push(String::new());
    lines
}
