//! What drivers promise, source by source, as standard uncertainties: a share of the value or an amount.
//!
//! Printed limits of error count as rectangular (a / √3, JCGM 100 4.3.7) unless the driver gives a coverage factor.

use super::names;
use super::services::Service;
use crate::files::driver::{AccuracyText, CaptureText, MeasureText};
use crate::source::Formula;
use crate::sources::{Sources, of_channel};
use pilotage_core::uncertainty::{self, rectangular};
use pilotage_core::{Contribution, Uncertainty};

/// √3: from the half width of a rectangular distribution to its standard deviation (JCGM 100, 4.3.7).
const RECTANGULAR: f64 = 1.732_050_807_568_877_2;

/// One source of uncertainty that is known before the run. One without size stands for what shows its size only in the run.
#[derive(Debug, Clone, PartialEq)]
pub struct Term {
    /// Its name in records. Terms of one name are fully correlated.
    pub source: String,
    /// What it is, in words: `gain of scope, mains_wave`.
    pub what: String,
    /// Where it is written: file and line of the driver, of the bench or of the sequence.
    pub place: String,
    /// Signed standard uncertainty as a share of the value.
    pub relative: f64,
    /// Signed standard uncertainty as an amount, in coherent SI units.
    pub fixed: f64,
    /// Limit of error as it was printed over its standard uncertainty: √3, or the coverage factor.
    pub divisor: f64,
    /// Whether an instrument brings it, so that another one could bring less.
    pub by_instrument: bool,
}

impl Term {
    /// What no instrument changes: sampling, smoothing, polling.
    pub(crate) fn of_sequence(what: impl Into<String>, place: String, fixed: f64) -> Self {
        let what = what.into();
        Self {
            source: format!("{what}, {place}"),
            what,
            place,
            relative: 0.0,
            fixed,
            divisor: RECTANGULAR,
            by_instrument: false,
        }
    }

    /// Standard uncertainty at a value, signed.
    pub fn standard_at(&self, si: f64) -> f64 {
        self.relative * si + self.fixed
    }

    /// Whether it has no size.
    pub fn is_nothing(&self) -> bool {
        self.relative == 0.0 && self.fixed == 0.0
    }
}

/// Terms at a value in coherent SI units, as a reading would carry them.
pub(crate) fn at_value(terms: &[Term], si: f64) -> Uncertainty {
    let contributions = terms
        .iter()
        .map(|term| Contribution::normal(term.source.clone(), term.standard_at(si)));
    Uncertainty::Known(contributions.collect())
}

/// The expanded uncertainty (k = 2) that terms come to at a value in coherent SI units.
pub fn expanded_at(terms: &[Term], si: f64) -> f64 {
    uncertainty::expanded(&at_value(terms, si)).unwrap_or(f64::NAN)
}

/// A number of a driver file; a difference of temperatures has no offset.
fn amount(formula: Option<&Formula>) -> Option<f64> {
    formula.map_or(Some(0.0), |formula| {
        names::constant(formula).ok().map(pilotage_core::Quantity::si)
    })
}

/// What a measuring function promises for one reading, or why nothing is known.
pub(crate) fn of_measure(service: &Service<'_>, text: &MeasureText, reading: &str) -> Result<Vec<Term>, String> {
    let silent = || {
        format!(
            "`{}` of {} states no accuracy ({})",
            service.function.name.value,
            service.text.by.value,
            service.function.span.place()
        )
    };
    let accuracy = text.accuracy.as_ref().ok_or_else(silent)?;
    of_accuracy(service, accuracy, reading).ok_or_else(silent)
}

fn of_accuracy(service: &Service<'_>, text: &AccuracyText, reading: &str) -> Option<Vec<Term>> {
    let names = Sources::new(
        &service.text.by.value,
        &service.text.function.value,
        &service.text.point.value,
    );
    let divisor = text.coverage.filter(|k| *k > 0.0).unwrap_or(RECTANGULAR);
    let scale = ratio(service).abs();
    let stated = |source: String, what: &str, of: Option<&Formula>, (relative, fixed): (f64, f64), divisor: f64| Term {
        source,
        what: of_function(service, what),
        place: of.map_or_else(|| service.function.span.place(), |formula| formula.span.place()),
        relative: relative / divisor,
        fixed: fixed * scale / divisor,
        divisor,
        by_instrument: true,
    };
    let range = amount(text.of_range.as_ref())? * amount(text.range.as_ref())?;
    let resolution = amount(text.resolution.as_ref())?;
    let of_reading = amount(text.of_reading.as_ref())?;
    let fixed = amount(text.fixed.as_ref())?;
    let mut terms = vec![
        stated(
            names.gain,
            "share of the reading",
            text.of_reading.as_ref(),
            (of_reading, 0.0),
            divisor,
        ),
        stated(
            names.range,
            "share of the range",
            text.of_range.as_ref(),
            (0.0, range),
            divisor,
        ),
        stated(names.fixed, "fixed part", text.fixed.as_ref(), (0.0, fixed), divisor),
        stated(
            format!("{}{reading}", names.resolution),
            "resolution",
            text.resolution.as_ref(),
            (0.0, resolution / 2.0),
            RECTANGULAR,
        ),
    ];
    terms.extend(of_ratio(service, names.ratio));
    terms.retain(|term| !term.is_nothing());
    Some(terms)
}

fn of_function(service: &Service<'_>, what: &str) -> String {
    format!("{what} of {}, `{}`", service.text.by.value, service.text.function.value)
}

/// Value at the point over value at the instrument.
fn ratio(service: &Service<'_>) -> f64 {
    let stated = service.text.ratio.as_ref();
    stated
        .and_then(|formula| amount(Some(formula)))
        .filter(|ratio| *ratio != 0.0)
        .unwrap_or(1.0)
}

/// The share that a probe or a transformer in front adds.
fn of_ratio(service: &Service<'_>, source: String) -> Option<Term> {
    let formula = service.text.ratio_standard.as_ref()?;
    Some(Term {
        source,
        what: format!("ratio of what stands before {}", service.text.by.value),
        place: formula.span.place(),
        relative: amount(Some(formula))?,
        fixed: 0.0,
        divisor: 1.0,
        by_instrument: true,
    })
}

/// What a captured channel promises.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ChannelTerms {
    /// For levels: what is a share of the value.
    pub(crate) gain: Vec<Term>,
    /// For levels: what is fixed.
    pub(crate) offset: Term,
    /// For times.
    pub(crate) time_base: Term,
}

impl ChannelTerms {
    /// All that stands behind a level.
    pub(crate) fn level(&self) -> Vec<Term> {
        let mut all = self.gain.clone();
        all.push(self.offset.clone());
        all
    }
}

/// What a capturing function promises.
pub(crate) fn of_capture(service: &Service<'_>, text: &CaptureText) -> Option<ChannelTerms> {
    let point = &service.text.point.value;
    let value = |formula: &Formula| names::constant(formula).ok().map(pilotage_core::Quantity::si);
    let term = |what: &str, formula: &Formula, (relative, fixed): (f64, f64)| Term {
        source: of_channel(point, what),
        what: of_function(service, what),
        place: formula.span.place(),
        relative: rectangular(relative),
        fixed: rectangular(fixed),
        divisor: RECTANGULAR,
        by_instrument: true,
    };
    let offset = value(&text.offset)? * ratio(service).abs();
    let mut gain = vec![term("gain", &text.gain, (value(&text.gain)?, 0.0))];
    gain.extend(of_ratio(service, format!("{point}: probe ratio")));
    Some(ChannelTerms {
        gain,
        offset: term("offset", &text.offset, (0.0, offset)),
        time_base: term("time base", &text.time_base, (value(&text.time_base)?, 0.0)),
    })
}
