//! The parameters of a pulse train, each with a standard uncertainty or the reason why it has none.

use super::blocks::Blocks;
use super::cycles::{Cycles, Mean, crossing_uncertainty, fewest_inside, mean};
use super::edges::{Transition, arrival, departure, transitions};
use super::lack::Lack;
use super::levels::{self, LevelMethod, Levels};

/// A value and its standard uncertainty from sampling and scatter, both in the unit that the field's name says. What the
/// instrument adds (gain, offset, time base) is not in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard: f64,
}

/// A parameter, or why there is none.
pub type Found = Result<Estimate, Lack>;

/// What the analysis takes for granted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// A signal that moves less than this in all is steady. A pilot short to PE through 80 Ω still swings 1.8 V.
    pub least_swing_v: f64,
    /// The stated level for widths and duty beside 50 %. For a pilot the width is that between zero crossings.
    pub stated_level_v: f64,
    /// How levels are found.
    pub levels: LevelMethod,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            least_swing_v: 0.5,
            stated_level_v: 0.0,
            levels: LevelMethod::Refined,
        }
    }
}

/// What a capture of a pulse train shows. The names end in the unit; duties, spread and overshoot are ratios.
///
/// Standard uncertainty of times: a crossing is interpolated linearly between two samples. Where an edge has no sample of
/// its own the crossing lies anywhere within the interval T, T/√12; an edge that n samples describe divides that by n. Two
/// crossings make √2 of it. It is not divided by the number of cycles, since a pulse whose period is a whole number of
/// samples is wrong by the same amount in each; the scatter of the cycles s/√N is added as a square.
#[derive(Debug, Clone, PartialEq)]
pub struct PulseParameters {
    /// Mean of all samples.
    pub mean_v: f64,
    /// Lowest sample.
    pub lowest_v: f64,
    /// Highest sample.
    pub highest_v: f64,
    /// Whether the signal stays at one level; then only mean, lowest and highest have values.
    pub steady: bool,
    /// High state.
    pub high_v: Found,
    /// Low state.
    pub low_v: Found,
    /// Repetition frequency, between 50 % crossings.
    pub frequency_hz: Found,
    /// Period, between 50 % crossings.
    pub period_s: Found,
    /// Time above the stated level.
    pub width_at_zero_s: Found,
    /// Time above 50 %.
    pub width_at_half_s: Found,
    /// Fraction of time above the stated level (0 V unless said otherwise), mean over whole cycles.
    pub duty_at_zero: Found,
    /// Fraction of time above 50 %, mean over whole cycles.
    pub duty_at_half: Found,
    /// Standard deviation of the duty over the cycles, at the stated level, or at 50 % where that is not crossed.
    pub duty_spread: Found,
    /// Rise from 10 % to 90 %, mean.
    pub rise_s: Found,
    /// The slowest rise.
    pub rise_worst_s: Found,
    /// Fall from 90 % to 10 %, mean.
    pub fall_s: Found,
    /// The slowest fall.
    pub fall_worst_s: Found,
    /// Highest sample above the high state, as a fraction of the difference of the states. Noise is part of it.
    pub overshoot: Found,
    /// Lowest sample below the low state, likewise.
    pub undershoot: Found,
}

impl PulseParameters {
    /// Highest minus lowest sample.
    pub fn span_v(&self) -> f64 {
        self.highest_v - self.lowest_v
    }
}

/// Analyses samples in volt that are `interval_s` apart, as a pilot: 0 V is the stated level.
pub fn analyse(samples_v: &[f64], interval_s: f64) -> Result<PulseParameters, Lack> {
    analyse_with(samples_v, interval_s, &Options::default())
}

/// Analyses samples in volt that are `interval_s` apart.
pub fn analyse_with(samples_v: &[f64], interval_s: f64, options: &Options) -> Result<PulseParameters, Lack> {
    if !(interval_s > 0.0 && interval_s.is_finite()) {
        return Err(Lack::NotPositive {
            what: "the time between samples",
            value: interval_s,
        });
    }
    let blocks = Blocks::of(samples_v)?;
    let span = blocks.highest - blocks.lowest;
    if span <= 0.0 || span < options.least_swing_v {
        return Ok(steady(&blocks));
    }
    let levels = levels::find(&blocks, options.levels);
    // Noise alone has no two states: its "levels" lie closer than a few steps from sample to sample.
    if levels.high.0 - levels.low.0 <= 3.0 * blocks.roughness {
        return Ok(steady(&blocks));
    }
    Ok(Analysis::new(&blocks, levels, interval_s, options).parameters())
}

fn steady(blocks: &Blocks<'_>) -> PulseParameters {
    let lack = Lack::Steady {
        mean: blocks.mean,
        span: blocks.highest - blocks.lowest,
    };
    let none = || Err(lack.clone());
    PulseParameters {
        mean_v: blocks.mean,
        lowest_v: blocks.lowest,
        highest_v: blocks.highest,
        steady: true,
        high_v: none(),
        low_v: none(),
        frequency_hz: none(),
        period_s: none(),
        width_at_zero_s: none(),
        width_at_half_s: none(),
        duty_at_zero: none(),
        duty_at_half: none(),
        duty_spread: none(),
        rise_s: none(),
        rise_worst_s: none(),
        fall_s: none(),
        fall_worst_s: none(),
        overshoot: none(),
        undershoot: none(),
    }
}

/// A capture with two states.
struct Analysis<'a> {
    blocks: &'a Blocks<'a>,
    low: Estimate,
    high: Estimate,
    interval_s: f64,
    transitions: Vec<Transition>,
    half: Cycles,
    zero: Result<Cycles, Lack>,
}

impl<'a> Analysis<'a> {
    fn new(blocks: &'a Blocks<'a>, levels: Levels, interval_s: f64, options: &Options) -> Self {
        let (low, high) = (levels.low.0, levels.high.0);
        let swing = high - low;
        let transitions = transitions(blocks, low + 0.1 * swing, high - 0.1 * swing);
        let half = Cycles::of(blocks.samples, &transitions, low + 0.5 * swing);
        Self {
            blocks,
            low: estimate(levels.low),
            high: estimate(levels.high),
            interval_s,
            zero: stated(blocks, low, high, options.stated_level_v, half.fewest()),
            half,
            transitions,
        }
    }

    fn parameters(&self) -> PulseParameters {
        let (rise_s, rise_worst_s) = self.edges(true);
        let (fall_s, fall_worst_s) = self.edges(false);
        let swing = self.high.value - self.low.value;
        PulseParameters {
            mean_v: self.blocks.mean,
            lowest_v: self.blocks.lowest,
            highest_v: self.blocks.highest,
            steady: false,
            high_v: Ok(self.high),
            low_v: Ok(self.low),
            frequency_hz: self.frequency(),
            period_s: self.period(),
            width_at_zero_s: self.zero().and_then(|cycles| self.width(cycles)),
            width_at_half_s: self.width(&self.half),
            duty_at_zero: self.zero().and_then(Self::duty),
            duty_at_half: Self::duty(&self.half),
            duty_spread: self.duty_spread(),
            rise_s,
            rise_worst_s,
            fall_s,
            fall_worst_s,
            overshoot: Ok(self.beyond((self.blocks.highest - self.high.value) / swing, self.high)),
            undershoot: Ok(self.beyond((self.low.value - self.blocks.lowest) / swing, self.low)),
        }
    }

    fn zero(&self) -> Result<&Cycles, Lack> {
        self.zero.as_ref().map_err(Lack::clone)
    }

    /// The two outer crossings share the uncertainty of the mean of all periods between them.
    fn period(&self) -> Found {
        let mean = self.half.period()?;
        let standard = 2f64.sqrt() * self.half.crossing_uncertainty() / mean.count as f64;
        Ok(Estimate {
            value: mean.value * self.interval_s,
            standard: standard * self.interval_s,
        })
    }

    fn frequency(&self) -> Found {
        let period = self.period()?;
        let value = 1.0 / period.value;
        Ok(Estimate {
            value,
            standard: period.standard * value * value,
        })
    }

    fn width(&self, cycles: &Cycles) -> Found {
        let mean = cycles.width()?;
        let samples = with_scatter(mean, 2f64.sqrt() * cycles.crossing_uncertainty());
        Ok(Estimate {
            value: mean.value * self.interval_s,
            standard: samples * self.interval_s,
        })
    }

    fn duty(cycles: &Cycles) -> Found {
        let mean = cycles.duty()?;
        let period = cycles.period()?.value;
        Ok(Estimate {
            value: mean.value,
            standard: with_scatter(mean, 2f64.sqrt() * cycles.crossing_uncertainty() / period),
        })
    }

    /// Of a normal scatter the standard deviation is known to 1/√(2(N − 1)) of itself; sampling adds to what is seen.
    fn duty_spread(&self) -> Found {
        let cycles = self.zero().unwrap_or(&self.half);
        let mean = cycles.duty()?;
        if mean.count < 2 {
            return Err(cycles.too_few(mean.count));
        }
        let sampling = 2f64.sqrt() * cycles.crossing_uncertainty() / cycles.period()?.value;
        let own = mean.spread / (2.0 * (mean.count - 1) as f64).sqrt();
        Ok(Estimate {
            value: mean.spread,
            standard: libm::hypot(own, sampling),
        })
    }

    /// Mean and slowest edge of one direction between 10 % and 90 %.
    fn edges(&self, rising: bool) -> (Found, Found) {
        let edges: Vec<&Transition> = self.transitions.iter().filter(|edge| edge.rising == rising).collect();
        let durations: Vec<f64> = edges.iter().map(|edge| self.duration(**edge)).collect();
        let sampling = 2f64.sqrt() * crossing_uncertainty(fewest_inside(edges.iter().copied()));
        let Some(mean) = mean(&durations) else {
            let edge = if rising { "rising" } else { "falling" };
            return (Err(Lack::NoEdge { edge }), Err(Lack::NoEdge { edge }));
        };
        let worst = durations.iter().fold(0.0_f64, |worst, duration| worst.max(*duration));
        let found = |samples: f64, standard: f64| {
            Ok(Estimate {
                value: samples * self.interval_s,
                standard: standard * self.interval_s,
            })
        };
        (found(mean.value, with_scatter(mean, sampling)), found(worst, sampling))
    }

    /// Samples between the 10 % and 90 % levels of an edge.
    fn duration(&self, edge: Transition) -> f64 {
        let tenth = 0.1 * (self.high.value - self.low.value);
        let (lower, upper) = (self.low.value + tenth, self.high.value - tenth);
        let (near, far) = if edge.rising { (lower, upper) } else { (upper, lower) };
        arrival(self.blocks.samples, edge, far) - departure(self.blocks.samples, edge, near)
    }

    fn beyond(&self, ratio: f64, level: Estimate) -> Estimate {
        Estimate {
            value: ratio.max(0.0),
            standard: level.standard / (self.high.value - self.low.value),
        }
    }
}

/// Crossings of the stated level, where it lies between the states. A transition must come from a tenth of the swing on
/// one side to a tenth on the other; nearer to a state, from half-way.
fn stated(blocks: &Blocks<'_>, low: f64, high: f64, level: f64, on_edge: usize) -> Result<Cycles, Lack> {
    if level <= low || level >= high {
        return Err(Lack::LevelOutside { level, low, high });
    }
    let tenth = 0.1 * (high - low);
    let below = tenth.min(0.5 * (level - low));
    let above = tenth.min(0.5 * (high - level));
    // Only a level on the steep part of the edges is known as well as their samples say.
    let steep = level >= low + tenth && level <= high - tenth;
    Ok(Cycles::at(
        blocks,
        level,
        level - below,
        level + above,
        if steep { on_edge } else { 0 },
    ))
}

fn estimate((value, standard): (f64, f64)) -> Estimate {
    Estimate { value, standard }
}

fn with_scatter(mean: Mean, sampling: f64) -> f64 {
    libm::hypot(sampling, mean.spread / (mean.count as f64).sqrt())
}
