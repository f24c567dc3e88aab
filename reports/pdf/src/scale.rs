//! Axes: which part of the numbers they show, and round numbers along them.

/// What an axis shows.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Span {
    /// Its first value.
    pub(crate) from: f64,
    /// Its last value.
    pub(crate) to: f64,
}

impl Span {
    /// From the lowest to the highest of these, with a margin as a share of the width; `None` where there is nothing to show.
    pub(crate) fn of(values: impl Iterator<Item = f64>, margin: f64) -> Option<Self> {
        let (from, to) = values
            .filter(|value| value.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(value), high.max(value))
            });
        let width = if to > from { to - from } else { from.abs().max(1.0) };
        let span = Self {
            from: from - margin * width,
            to: to + margin * width,
        };
        (from <= to && span.width().is_finite() && span.width() > 0.0).then_some(span)
    }

    /// With zero, where the values begin not far from it: lengths from zero can be compared.
    pub(crate) fn with_zero(self, least: f64) -> Self {
        let near = least >= 0.0 && least < 0.5 * self.to;
        Self {
            from: if near { 0.0 } else { self.from },
            ..self
        }
    }

    pub(crate) fn width(&self) -> f64 {
        self.to - self.from
    }

    /// A value as a fraction of the axis.
    pub(crate) fn at(&self, value: f64) -> f64 {
        (value - self.from) / self.width()
    }
}

/// Round numbers along an axis: place and figure.
pub(crate) fn ticks(span: &Span, wanted: u32, factor: f64, unit: &str) -> Vec<(f64, String)> {
    let found = some_ticks(span, wanted, factor, unit);
    // One figure alone gives no scale.
    if found.len() < 2 && span.width() > 0.0 {
        return some_ticks(span, 2 * wanted, factor, unit);
    }
    found
}

fn some_ticks(span: &Span, wanted: u32, factor: f64, unit: &str) -> Vec<(f64, String)> {
    let raw = span.width() * factor / f64::from(wanted);
    let power = 10f64.powf(raw.log10().floor());
    let mantissa = [1.0, 2.0, 2.5, 5.0].into_iter().find(|m| m * power >= raw * 0.999);
    let step = mantissa.unwrap_or(10.0) * power;
    // As many as the step itself has.
    let last = if mantissa == Some(2.5) { 1.0 } else { 0.0 };
    let decimals = (last - (step * 1.000_001).log10().floor()).clamp(0.0, 12.0) as usize;
    let (first, last) = (
        (span.from * factor / step).ceil() as i64,
        (span.to * factor / step).floor() as i64,
    );
    (first..=last)
        .map(|n| {
            let value = n as f64 * step;
            (span.at(value / factor), format!("{value:.decimals$}{unit}"))
        })
        .collect()
}
