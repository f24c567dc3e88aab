//! Harmonics to the 40th order with the grouping of IEC 61000-4-7.
//!
//! A window is 10 cycles at 50 Hz and 12 at 60 Hz, some 200 ms, so that its lines lie 5 Hz apart (IEC 61000-4-7, 4.4.1). The
//! amplitude of each line is worked out by itself, not by a fast transform: that is the same sum in the same order on every
//! processor, and a window that follows the line is no power of two long.

use super::ac::standard_of_mean;
use super::condensed::Condensed;
use super::lack::LineLack;
use super::line::Line;
use super::window::{BAND, Window};
use crate::pulse::{Estimate, Lack};

/// The highest order that the standards limit.
pub const HIGHEST_ORDER: usize = 40;
/// Cycles of a window, with the frequencies for which they make some 200 ms: lowest, highest.
const WINDOWS: [(usize, f64, f64); 2] = [(10, 42.5, 55.0), (12, 55.0, 69.0)];

/// What counts as a harmonic (IEC 61000-4-7).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grouping {
    /// The line at the harmonic's own frequency alone.
    Line,
    /// That line and its two neighbours (harmonic subgroup, 5.6).
    Subgroup,
    /// All lines half-way to the neighbouring harmonics, the two in the middle by half (harmonic group, 5.5.1).
    Group,
}

impl Grouping {
    /// The word of a file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Line => "line",
            Self::Subgroup => "subgroup",
            Self::Group => "group",
        }
    }

    /// What a word of a file stands for.
    pub fn find(word: &str) -> Option<Self> {
        [Self::Line, Self::Subgroup, Self::Group]
            .into_iter()
            .find(|grouping| grouping.word() == word)
    }
}

/// The lines of a channel.
#[derive(Debug, Clone)]
pub struct Harmonics {
    /// Lines between two harmonics: the cycles of a window.
    spacing: usize,
    /// Mean squares of the lines of each window, from line 0 (not taken, 0) on.
    windows: Vec<Vec<f64>>,
    /// The highest order whose group the rate can tell.
    highest: usize,
    rate_hz: f64,
    frequency_hz: f64,
    samples: f64,
}

impl Harmonics {
    /// The lines of a channel that was sampled at the same moments as the voltage of the line. As many windows as fit, end to
    /// end, without gap and without overlap (IEC 61000-4-7, 4.4.1).
    pub fn of(channel: &[f64], line: &Line) -> Result<Self, Lack> {
        line.check(channel)?;
        let spacing = cycles_of_window(line)?;
        let windows = line.windows(spacing)?;
        let orders = BAND * line.rate_hz() / line.frequency_hz() - 0.5;
        let highest = HIGHEST_ORDER.min(orders.max(0.0) as usize);
        let lines = highest * spacing + spacing / 2;
        let squares = |window: &Window| squares(window, channel, line.omega() / spacing as f64, lines);
        Ok(Self {
            spacing,
            samples: windows.first().map_or(0.0, Window::samples),
            windows: windows.iter().map(squares).collect(),
            highest,
            rate_hz: line.rate_hz(),
            frequency_hz: line.frequency_hz(),
        })
    }

    /// The lowest rate at which an order is told with its group.
    pub fn least_rate_hz(order: usize, hz: f64) -> f64 {
        (order as f64 + 0.5) * hz / BAND
    }

    /// The shortest capture that holds a window; none at a frequency that is not that of 50 Hz or 60 Hz mains.
    pub fn least_length_s(hz: f64, rate_hz: f64) -> Option<f64> {
        let cycles = cycles_at(hz)?;
        Some(cycles as f64 / hz + (2.0 * Window::margin() + 1.0) / rate_hz)
    }

    /// How many windows.
    pub fn windows(&self) -> usize {
        self.windows.len()
    }

    /// Samples in one window.
    pub fn samples(&self) -> f64 {
        self.samples
    }

    /// Rms of one order, in the unit of the channel: the mean over the windows, with the standard uncertainty of that mean (0
    /// of a single window). Order 1 is the fundamental.
    pub fn order(&self, order: usize, grouping: Grouping) -> Result<Estimate, Lack> {
        self.check(order)?;
        Ok(self.over_windows(|lines| libm::sqrt(self.square(lines, order, grouping))))
    }

    /// Total harmonic distortion: orders 2 to 40 over the fundamental, both with this grouping (THD, THDS, THDG of
    /// IEC 61000-4-7, 3.3).
    pub fn distortion(&self, grouping: Grouping) -> Result<Estimate, Lack> {
        self.check(HIGHEST_ORDER)?;
        Ok(self.over_windows(|lines| {
            libm::sqrt(self.sum(lines, 2..=HIGHEST_ORDER, grouping, |_| 1.0) / self.square(lines, 1, grouping))
        }))
    }

    /// Total harmonic current: root of the sum of the squares of orders 2 to 40 (IEC 61000-3-12, 3.15).
    pub fn total(&self, grouping: Grouping) -> Result<Estimate, Lack> {
        self.root_sum(2..=HIGHEST_ORDER, grouping, |_| 1.0)
    }

    /// Partial weighted harmonic current: root of the sum of order times square, orders 14 to 40 (IEC 61000-3-12, 3.16).
    pub fn partial_weighted(&self, grouping: Grouping) -> Result<Estimate, Lack> {
        self.root_sum(14..=HIGHEST_ORDER, grouping, |order| order as f64)
    }

    /// Partial odd harmonic current: root of the sum of the squares of the odd orders 21 to 39 (IEC 61000-3-2, 3.15).
    pub fn partial_odd(&self, grouping: Grouping) -> Result<Estimate, Lack> {
        let odd = |order: usize| if order % 2 == 1 { 1.0 } else { 0.0 };
        self.root_sum(21..=39, grouping, odd)
    }

    fn root_sum(
        &self,
        orders: std::ops::RangeInclusive<usize>,
        grouping: Grouping,
        weight: impl Fn(usize) -> f64,
    ) -> Result<Estimate, Lack> {
        self.check(*orders.end())?;
        Ok(self.over_windows(|lines| libm::sqrt(self.sum(lines, orders.clone(), grouping, &weight))))
    }

    fn sum(
        &self,
        lines: &[f64],
        orders: std::ops::RangeInclusive<usize>,
        grouping: Grouping,
        weight: impl Fn(usize) -> f64,
    ) -> f64 {
        orders
            .map(|order| weight(order) * self.square(lines, order, grouping))
            .sum()
    }

    fn square(&self, lines: &[f64], order: usize, grouping: Grouping) -> f64 {
        let middle = order * self.spacing;
        let half = self.spacing / 2;
        match grouping {
            Grouping::Line => lines[middle],
            Grouping::Subgroup => lines[middle - 1..=middle + 1].iter().sum(),
            Grouping::Group => {
                let inside: f64 = lines[middle - half + 1..middle + half].iter().sum();
                inside + 0.5 * (lines[middle - half] + lines[middle + half])
            }
        }
    }

    fn over_windows(&self, take: impl Fn(&[f64]) -> f64) -> Estimate {
        let each: Vec<f64> = self.windows.iter().map(|lines| take(lines)).collect();
        Estimate {
            value: each.iter().sum::<f64>() / each.len() as f64,
            standard: standard_of_mean(&each),
        }
    }

    fn check(&self, order: usize) -> Result<(), Lack> {
        if (1..=self.highest).contains(&order) {
            return Ok(());
        }
        let lack = LineLack::TooSlow {
            have_hz: self.rate_hz,
            need_hz: Self::least_rate_hz(order, self.frequency_hz),
        };
        Err(lack.into())
    }
}

fn cycles_of_window(line: &Line) -> Result<usize, Lack> {
    let hz = line.frequency_hz();
    cycles_at(hz).ok_or(LineLack::NoMains { hz }.into())
}

fn cycles_at(hz: f64) -> Option<usize> {
    let fits = WINDOWS
        .iter()
        .find(|(_, lowest, highest)| (*lowest..=*highest).contains(&hz));
    fits.map(|(cycles, ..)| *cycles)
}

/// Mean squares of the lines 0 to `count`; line 0 is not taken.
fn squares(window: &Window, channel: &[f64], omega: f64, count: usize) -> Vec<f64> {
    let condensed = Condensed::new(window, channel, omega * count as f64);
    let square = |line: usize| {
        let pointer = condensed.pointer(omega * line as f64);
        pointer.cosine * pointer.cosine + pointer.sine * pointer.sine
    };
    std::iter::once(0.0).chain((1..=count).map(square)).collect()
}
