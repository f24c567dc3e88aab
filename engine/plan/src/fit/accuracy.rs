//! What drivers promise, as standard uncertainties: a relative part and a fixed part.

use super::names;
use super::services::Service;
use crate::files::driver::{AccuracyText, CaptureText, MeasureText};
use crate::source::Formula;
use std::time::Duration;

/// √3: from the half width of a rectangular distribution to its standard deviation (JCGM 100, 4.3.7).
const RECTANGULAR: f64 = 1.732_050_807_568_877_2;

/// Standard uncertainty: a share of the value, and an amount in coherent SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Accuracy {
    /// Share of the value.
    pub(crate) relative: f64,
    /// Amount.
    pub(crate) fixed: f64,
}

impl Accuracy {
    /// At a value in coherent SI units.
    pub(crate) fn standard_at(self, si: f64) -> f64 {
        root_sum([self.relative * si, self.fixed])
    }

    /// With one more independent amount.
    pub(crate) fn plus(self, amount: f64) -> Self {
        Self {
            fixed: root_sum([self.fixed, amount]),
            ..self
        }
    }
}

fn root_sum<const N: usize>(terms: [f64; N]) -> f64 {
    terms.iter().map(|term| term * term).sum::<f64>().sqrt()
}

/// A number of a driver file; a difference of temperatures has no offset.
fn amount(formula: Option<&Formula>) -> Option<f64> {
    formula.map_or(Some(0.0), |formula| {
        names::constant(formula).ok().map(pilotage_core::Quantity::si)
    })
}

/// What a measuring function promises; `None` where it says nothing.
pub(crate) fn of_measure(service: &Service<'_>, text: &MeasureText) -> Option<Accuracy> {
    let accuracy = text.accuracy.as_ref()?;
    let own = of_accuracy(accuracy)?;
    Some(through_ratio(service, own))
}

fn of_accuracy(text: &AccuracyText) -> Option<Accuracy> {
    let divisor = text.coverage.filter(|k| *k > 0.0).unwrap_or(RECTANGULAR);
    let range = amount(text.of_range.as_ref())? * amount(text.range.as_ref())?;
    Some(Accuracy {
        relative: amount(text.of_reading.as_ref())? / divisor,
        fixed: root_sum([
            range / divisor,
            amount(text.fixed.as_ref())? / divisor,
            amount(text.resolution.as_ref())? / 2.0 / RECTANGULAR,
        ]),
    })
}

/// A probe or transformer in front scales what is fixed and adds a share of its own.
fn through_ratio(service: &Service<'_>, own: Accuracy) -> Accuracy {
    let ratio = amount(service.text.ratio.as_ref()).filter(|ratio| *ratio != 0.0 && service.text.ratio.is_some());
    let share = amount(service.text.ratio_standard.as_ref()).unwrap_or(0.0);
    Accuracy {
        relative: root_sum([own.relative, share]),
        fixed: own.fixed * ratio.unwrap_or(1.0).abs(),
    }
}

/// What a capturing function promises: for levels, and for times.
pub(crate) fn of_capture(service: &Service<'_>, text: &CaptureText) -> Option<(Accuracy, Accuracy)> {
    let value = |formula: &Formula| names::constant(formula).ok().map(pilotage_core::Quantity::si);
    let offset = value(&text.offset)?;
    let level = Accuracy {
        relative: value(&text.gain)? / RECTANGULAR,
        fixed: offset / RECTANGULAR,
    };
    let time = Accuracy {
        relative: value(&text.time_base)? / RECTANGULAR,
        fixed: 0.0,
    };
    Some((through_ratio(service, level), time))
}

/// Two edges, each somewhere within one sample.
pub(crate) fn edges_s(rate: f64) -> f64 {
    1.0 / rate / 6f64.sqrt()
}

/// An event found by looking now and then lies between two looks.
pub(crate) fn polling(every: Duration) -> Accuracy {
    Accuracy {
        relative: 0.0,
        fixed: every.as_secs_f64() / 2.0 / RECTANGULAR,
    }
}
