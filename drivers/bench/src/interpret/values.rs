//! From replies to readings with their uncertainty.

use super::tables::{Accuracy, Measure, Service};
use crate::scpi::{Number, Reply};
use pilotage_core::{Contribution, Datum, Measured, NoValue, Quantity, Uncertainty, Unit};

/// The value at the point of a number at the instrument, in coherent SI.
pub fn at_point_si(number: f64, unit: Unit, ratio: f64) -> f64 {
    unit.to_si(number) * ratio
}

/// A measurement's number as a reading. `serial` counts readings: what is random is not correlated between two of them.
pub fn datum(service: &Service, measure: &Measure, number: Number, serial: u64) -> Datum {
    let number = match number {
        Number::Value(number) => number,
        Number::Overload { .. } => return Err(NoValue::Overload),
        Number::NotANumber => return Err(NoValue::NotANumber),
    };
    let value = Quantity::new(at_point_si(number, measure.unit, service.ratio), measure.unit.dimension)?;
    let uncertainty = match &measure.accuracy {
        Ok(accuracy) => Uncertainty::Known(contributions(service, measure, *accuracy, number, serial)),
        Err(why) => Uncertainty::Unknown(why.clone()),
    };
    Ok(Measured { value, uncertainty })
}

/// The terms of JCGM 100, 5.1: each limit of error's standard uncertainty, scaled to the point. What is relative to the
/// reading has the reading's sign, because terms of one source are fully correlated.
fn contributions(
    service: &Service,
    measure: &Measure,
    accuracy: Accuracy,
    number: f64,
    serial: u64,
) -> Vec<Contribution> {
    let (unit, ratio, sources) = (measure.unit, service.ratio, &measure.sources);
    let reading_si = unit.to_si(number) - unit.to_si(0.0);
    let mut terms = Vec::with_capacity(5);
    let mut add = |standard: f64, source: &dyn Fn() -> String| {
        if standard != 0.0 {
            terms.push(Contribution {
                source: source(),
                standard,
                degrees_of_freedom: None,
            });
        }
    };
    add(reading_si * accuracy.gain * ratio, &|| sources.gain.clone());
    add(accuracy.range_si * ratio, &|| sources.range.clone());
    add(accuracy.fixed_si * ratio, &|| sources.fixed.clone());
    add(accuracy.resolution_si * ratio, &|| {
        format!("{}{serial}", sources.resolution)
    });
    add(reading_si * ratio * service.ratio_standard.unwrap_or(0.0), &|| {
        sources.ratio.clone()
    });
    terms
}

/// Whether a reply is an expected answer: the same text (quotes around a string do not count), or the same number.
#[allow(clippy::float_cmp)] // Codes are compared, not measured numbers.
pub fn answers(reply: &Reply<'_>, answer: &str) -> bool {
    let Ok(word) = reply.word() else {
        return false;
    };
    let same_number = || {
        let (a, b) = (Number::parse(word).ok()?.value()?, Number::parse(answer).ok()?.value()?);
        Some(a == b)
    };
    word == answer.trim() || same_number() == Some(true)
}
