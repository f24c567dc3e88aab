//! Power, harmonics, ripple, inrush and responses of the last capture, with what sampling and instrument add to their
//! uncertainty.

use crate::find::{Look, SQRT_12, Samples, event_words, measured};
use crate::values::missing;
use pilotage_core::power::{
    Disturbance, Estimate, Harmonics, Lack, Line, Power, PowerAnalysis, Response, Surge, response, ripple, surge,
};
use pilotage_core::signal::{Levels, levels};
use pilotage_core::uncertainty::rectangular;
use pilotage_core::{Contribution, Datum, Dimension, NoValue, Quantity, Uncertainty};
use pilotage_plan::files::power::{DistortionTake, InrushTake, PairOf, PowerFind, PowerTake, ResponseTake, RippleTake};
use pilotage_plan::files::sequence::SignalPart;
use pilotage_plan::program::CaptureEvent;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// Channels whose first samples lie further apart than this share of an interval were not sampled at the same moments.
const TOGETHER: f64 = 0.01;
/// From so many steps on, rounding is noise of its own in every sample.
const MANY_STEPS: f64 = 8.0;

type Spec = PowerFind<String, Quantity, CaptureEvent>;
type Kept<K, T> = RefCell<BTreeMap<K, Result<Rc<T>, Lack>>>;

/// What several analyses of one capture share, by the places of its channels: voltage, current, line.
#[derive(Default)]
pub(crate) struct OfLine {
    powers: Kept<(usize, usize, usize), PowerAnalysis>,
    harmonics: Kept<(usize, usize), Harmonics>,
}

fn kept<K: Ord, T>(kept: &Kept<K, T>, key: K, compute: impl FnOnce() -> Result<T, Lack>) -> Result<Rc<T>, Lack> {
    let mut all = kept.borrow_mut();
    all.entry(key).or_insert_with(|| compute().map(Rc::new)).clone()
}

/// The analysis in the words of the sequence, as the record prints it.
pub(crate) fn words(find: &Spec) -> String {
    let pair = |of: &PairOf<String>| format!("{} and {}", of.voltage, of.current);
    match find {
        PowerFind::Power { of, take } => format!("power {} of {} over whole cycles", take.word(), pair(of)),
        PowerFind::Efficiency { output, input } => {
            format!(
                "efficiency from {} to {} over the same whole cycles",
                pair(input),
                pair(output)
            )
        }
        PowerFind::Harmonic {
            of,
            line,
            order,
            grouping,
        } => format!("harmonic {order} of {of} with the line {line}, {}", grouping.word()),
        PowerFind::Distortion {
            of,
            line,
            take,
            grouping,
        } => format!("{} of {of} with the line {line}, {}", take.word(), grouping.word()),
        PowerFind::Ripple { of, bandwidth, take } => {
            format!(
                "ripple {} of {of} behind a low pass of first order at {bandwidth}",
                take.word()
            )
        }
        PowerFind::RippleOfLine { of, line, take } => {
            format!(
                "ripple {} of {of} at twice the frequency of the line {line}",
                take.word()
            )
        }
        PowerFind::Inrush { of, take, above } => {
            let above = above.map_or(String::new(), |above| format!(" above {above}"));
            format!("inrush {} of {of}{above}", take.word())
        }
        PowerFind::Response {
            of,
            part,
            change,
            take,
            band,
        } => format!(
            "response {} of {of}{} to {}, band {} %",
            take.word(),
            part.suffix(),
            event_words(change),
            band.si() * 100.0
        ),
    }
}

impl<'c> Look<'c> {
    pub(crate) fn power(&self, find: &Spec) -> Datum {
        match find {
            PowerFind::Power { of, take } => self.power_of(of, *take),
            PowerFind::Efficiency { output, input } => self.efficiency(output, input),
            PowerFind::Harmonic {
                of,
                line,
                order,
                grouping,
            } => {
                let order = order.si() as usize;
                self.of_harmonics(of, line, |harmonics| harmonics.order(order, *grouping))
            }
            PowerFind::Distortion {
                of,
                line,
                take,
                grouping,
            } => match take {
                DistortionTake::Thd => self.distortion(of, line, |harmonics| harmonics.distortion(*grouping)),
                DistortionTake::Total => self.of_harmonics(of, line, |harmonics| harmonics.total(*grouping)),
                DistortionTake::PartialWeighted => {
                    self.of_harmonics(of, line, |harmonics| harmonics.partial_weighted(*grouping))
                }
                DistortionTake::PartialOdd => self.of_harmonics(of, line, |harmonics| harmonics.partial_odd(*grouping)),
            },
            PowerFind::Ripple { of, bandwidth, take } => self.ripple(of, *bandwidth, *take),
            PowerFind::RippleOfLine { of, line, take } => {
                // A sine swings from −√2 to √2 times its rms.
                let scale = match take {
                    RippleTake::Span => 2.0 * std::f64::consts::SQRT_2,
                    RippleTake::Rms => 1.0,
                };
                self.of_harmonics(of, line, |harmonics| {
                    let found = harmonics.order(2, pilotage_core::power::Grouping::Line)?;
                    Ok(scaled(found, scale))
                })
            }
            PowerFind::Inrush { of, take, above } => self.inrush(of, *take, above.map_or(0.0, Quantity::si)),
            PowerFind::Response {
                of,
                part,
                change,
                take,
                band,
            } => self.response(of, *part, (change, band.si()), *take),
        }
    }

    /// Channels of which each sample belongs to the same moment.
    fn together(&self, points: &[&String]) -> Result<Vec<Samples<'c>>, NoValue> {
        let all: Vec<Samples<'c>> = points
            .iter()
            .map(|point| self.samples(point))
            .collect::<Result<_, _>>()?;
        let first = &all[0].channel;
        for Samples { channel, .. } in &all {
            let apart_s = (channel.first_sample.seconds() - first.first_sample.seconds()).abs();
            let stretched = (channel.interval_s / first.interval_s - 1.0).abs() * first.samples as f64;
            if apart_s > TOGETHER * first.interval_s || stretched > TOGETHER {
                return Err(missing(format!(
                    "{} and {} were not sampled at the same moments",
                    first.point, channel.point
                )));
            }
        }
        Ok(all)
    }

    fn scatter(&self, of: &str, found: Estimate, what: &str) -> Contribution {
        let source = format!("{of}, scatter of the {what}, {}", self.own());
        Contribution::normal(source, found.standard)
    }

    fn analysis(
        &self,
        volts: &Samples<'_>,
        amps: &Samples<'_>,
        (line, place): (&Line, usize),
    ) -> Result<Rc<PowerAnalysis>, NoValue> {
        let compute = || PowerAnalysis::of(volts.signal.samples(), amps.signal.samples(), line);
        let key = (volts.number, amps.number, place);
        Ok(kept(&self.last.of_line.powers, key, compute)?)
    }

    fn power_of(&self, of: &PairOf<String>, take: PowerTake) -> Datum {
        let both = self.together(&[&of.voltage, &of.current])?;
        let (volts, amps) = (&both[0], &both[1]);
        let line = volts.signal.line().map_err(|lack| lack.in_unit(volts.unit))?;
        let Some((value, dimension)) = value_of(take) else {
            let hz = line.frequency_hz();
            return measured(hz, Dimension::FREQUENCY, volts.with_time_base(Vec::new(), -hz));
        };
        let analysis = self.analysis(volts, amps, (line, volts.number))?;
        let found = analysis.estimate(value);
        let whole = analysis.whole();
        let terms = vec![self.scatter(&format!("{} and {}", of.voltage, of.current), found, "cycles")];
        // −180° and 180° are one angle.
        let turns = if take == PowerTake::Angle {
            2.0 * std::f64::consts::PI
        } else {
            f64::INFINITY
        };
        let moved = |power: &Power| {
            let moved = value(power) - found.value;
            if moved.abs() > turns / 2.0 {
                moved - turns.copysign(moved)
            } else {
                moved
            }
        };
        let through_volts = |by| moved(&whole.disturbed(by, Disturbance::default()));
        let through_amps = |by| moved(&whole.disturbed(Disturbance::default(), by));
        let terms = volts.disturbed(Uncertainty::Known(terms), analysis.samples(), through_volts);
        let terms = amps.disturbed(terms, analysis.samples(), through_amps);
        measured(found.value, dimension, terms)
    }

    /// Both sides over the cycles of the side that alternates.
    fn efficiency(&self, output: &PairOf<String>, input: &PairOf<String>) -> Datum {
        let all = self.together(&[&output.voltage, &output.current, &input.voltage, &input.current])?;
        let of_input = all[2].signal.line().map(|line| (line, all[2].number));
        let of_output = || all[0].signal.line().map(|line| (line, all[0].number));
        let line = of_input.or_else(|lack| of_output().map_err(|_| lack.in_unit(all[2].unit)))?;
        let sides = (
            self.analysis(&all[0], &all[1], line)?,
            self.analysis(&all[2], &all[3], line)?,
        );
        let found = sides.0.efficiency(&sides.1);
        let mut terms = Uncertainty::Known(vec![self.scatter("both sides", found, "cycles")]);
        for (place, samples) in all.iter().enumerate() {
            let change = |by: Disturbance| {
                let by = |here: usize| if here == place { by } else { Disturbance::default() };
                let output = sides.0.whole().disturbed(by(0), by(1)).active_w;
                output / sides.1.whole().disturbed(by(2), by(3)).active_w - found.value
            };
            terms = samples.disturbed(terms, sides.0.samples(), change);
        }
        measured(found.value, Dimension::NONE, terms)
    }

    fn harmonics(&self, of: &String, line: &String) -> Result<(Samples<'c>, Rc<Harmonics>), NoValue> {
        let mut both = self.together(&[line, of])?;
        let (of, line) = (both.remove(1), both.remove(0));
        let compute = || Harmonics::of(of.signal.samples(), line.signal.line()?);
        let found = kept(&self.last.of_line.harmonics, (of.number, line.number), compute);
        Ok((of, found?))
    }

    fn of_harmonics(
        &self,
        of: &String,
        line: &String,
        take: impl FnOnce(&Harmonics) -> Result<Estimate, Lack>,
    ) -> Datum {
        let (samples, harmonics) = self.harmonics(of, line)?;
        let found = take(&harmonics)?;
        let terms = vec![
            self.scatter(of, found, "windows"),
            samples.rounding_in_mean(harmonics.samples()),
        ];
        let terms = samples.with_gain(Uncertainty::Known(terms), found.value);
        measured(found.value, samples.unit.dimension, terms)
    }

    /// A ratio of amplitudes of one channel: its gain cancels.
    fn distortion(&self, of: &String, line: &String, take: impl FnOnce(&Harmonics) -> Result<Estimate, Lack>) -> Datum {
        let (samples, harmonics) = self.harmonics(of, line)?;
        let found = take(&harmonics)?;
        let fundamental = harmonics.order(1, pilotage_core::power::Grouping::Line)?.value;
        let rounding = samples.rounding_in_mean(harmonics.samples());
        let rounding = rounding.times(1.0 / fundamental);
        let terms = vec![self.scatter(of, found, "windows"), rounding];
        measured(found.value, Dimension::NONE, Uncertainty::Known(terms))
    }

    fn ripple(&self, of: &str, bandwidth: Quantity, take: RippleTake) -> Datum {
        let samples = self.samples(of)?;
        let found = ripple(samples.signal.samples(), samples.channel.interval_s, bandwidth.si())
            .map_err(|lack| lack.in_unit(samples.unit))?;
        let mut terms = samples.with_step(Vec::new());
        let value = match take {
            RippleTake::Rms => found.rms,
            RippleTake::Span => {
                // Missed by nothing at best and by all of it at worst; the span itself is not corrected.
                let source = samples.source("peaks between samples");
                terms.push(Contribution::rectangular(source, found.missed));
                found.peak_to_peak
            }
        };
        let terms = match take {
            RippleTake::Rms => Uncertainty::Known(terms),
            RippleTake::Span => samples.with_ends(terms, 2.0),
        };
        measured(value, samples.unit.dimension, samples.with_gain(terms, value))
    }

    /// A peak is one sample: the highest or the lowest of them, with or without an error of the channel; its rounding is not averaged.
    fn inrush_peak(samples: &Samples<'_>) -> Datum {
        let found = levels(samples.signal.samples()).map_err(|lack| lack.in_unit(samples.unit))?;
        let change = |by: Disturbance| {
            let seen = |sample: f64| sample * (1.0 + by.gain) + by.offset;
            let disturbed = Levels {
                lowest: seen(found.lowest),
                highest: seen(found.highest),
                ..found
            };
            disturbed.peak() - found.peak()
        };
        let terms = samples.disturbed(Uncertainty::Known(Vec::new()), 1.0, change);
        measured(found.peak(), Dimension::CURRENT, terms)
    }

    fn inrush(&self, of: &str, take: InrushTake, above: f64) -> Datum {
        let samples = self.samples(of)?;
        let interval_s = samples.channel.interval_s;
        let (dimension, value, weight): (_, fn(&Surge) -> f64, _) = match take {
            InrushTake::Peak => return Self::inrush_peak(&samples),
            InrushTake::TimeAbove => (Dimension::TIME, |found| found.above_s, 1.0),
            InrushTake::SquareTime => (SQUARE_TIME, |found| found.square_time, above * above),
        };
        let of_samples = |all: &[f64]| surge(all, interval_s, above);
        let found = of_samples(samples.signal.samples()).map_err(|lack| lack.in_unit(samples.unit))?;
        let passing_s = rectangular(0.5 * interval_s) * (found.passages as f64).sqrt();
        let source = samples.source("moments between two samples");
        let terms = vec![Contribution::normal(source, passing_s * weight)];
        let change = |by: Disturbance| {
            let all = samples.signal.samples().iter();
            let disturbed: Vec<f64> = all.map(|sample| sample * (1.0 + by.gain) + by.offset).collect();
            of_samples(&disturbed).map_or(f64::NAN, |other| value(&other) - value(&found))
        };
        // Each passage of the level hangs on two samples: their rounding is not averaged.
        let terms = samples.disturbed(Uncertainty::Known(terms), 1.0, change);
        measured(value(&found), dimension, terms)
    }

    fn response(&self, of: &str, part: SignalPart, (change, band): (&CaptureEvent, f64), take: ResponseTake) -> Datum {
        let samples = self.samples(of)?;
        let (change_s, change_terms, change_samples) = self.event(change)?;
        let skew_s = change_samples.channel.first_sample.seconds() - samples.channel.first_sample.seconds();
        let trace = samples.signal.trace(part == SignalPart::Envelope)?;
        let found = response(&trace, change_s + skew_s, band).map_err(|lack| lack.in_unit(samples.unit))?;
        if take == ResponseTake::Time {
            let source = samples.source(&format!("moment between two looks at the signal{}", part.suffix()));
            let mut terms: Vec<Contribution> = change_terms.into_iter().map(|term| term.times(-1.0)).collect();
            terms.push(Contribution::rectangular(source, found.time_half_width_s));
            return measured(
                found.time_s,
                Dimension::TIME,
                samples.with_time_base(terms, found.time_s),
            );
        }
        let (value, offset) = level_of(&found, take);
        let value = value.ok_or_else(|| missing("the capture shows too little before the change"))?;
        let step = samples.with_step(Vec::new());
        let terms = if offset {
            samples.with_offset(step)
        } else {
            samples.with_ends(step, 1.0)
        };
        measured(value, samples.unit.dimension, samples.with_gain(terms, value))
    }
}

/// A²s.
const SQUARE_TIME: Dimension = Dimension::from_exponents([0, 0, 1, 2, 0, 0, 0]);

/// A level of a response, and whether the offset of the channel is in it: a difference has none.
fn level_of(found: &Response, take: ResponseTake) -> (Option<f64>, bool) {
    match take {
        ResponseTake::Overshoot => (found.overshoot(), false),
        ResponseTake::Undershoot => (found.undershoot(), false),
        ResponseTake::Before => (found.before, true),
        ResponseTake::After | ResponseTake::Time => (Some(found.after), true),
    }
}

/// How a value is taken, in coherent SI units.
type Taker = fn(&Power) -> f64;

/// How a value is taken, and its dimension; none for the frequency, which the line itself tells.
fn value_of(take: PowerTake) -> Option<(Taker, Dimension)> {
    Some(match take {
        PowerTake::Active => (|power| power.active_w, Dimension::POWER),
        PowerTake::Apparent => (Power::apparent_va, Dimension::POWER),
        PowerTake::NonActive => (Power::non_active_var, Dimension::POWER),
        PowerTake::Factor => (Power::factor, Dimension::NONE),
        PowerTake::Displacement => (Power::displacement, Dimension::NONE),
        PowerTake::Angle => (Power::displacement_angle, Dimension::NONE),
        PowerTake::Voltage => (|power| power.volts.rms, Dimension::VOLTAGE),
        PowerTake::Current => (|power| power.amps.rms, Dimension::CURRENT),
        PowerTake::Crest => (|power| power.amps.crest(), Dimension::NONE),
        PowerTake::Frequency => return None,
    })
}

fn scaled(found: Estimate, scale: f64) -> Estimate {
    Estimate {
        value: scale * found.value,
        standard: scale * found.standard,
    }
}

impl Samples<'_> {
    /// What gain, offset, rounding and delay of this channel do to a value, by trying them out either way. `count` samples average
    /// the rounding.
    fn disturbed(&self, terms: Uncertainty, count: f64, change: impl Fn(Disturbance) -> f64) -> Uncertainty {
        let terms = self.bent(terms, &change);
        let rounding = self.rounding_in_mean(count).standard;
        let terms = self.with_own_term(terms, "resolution", Some(of_offset(&change, rounding)));
        let of_delay = |delay_s: f64| {
            let by = Disturbance {
                delay: delay_s / self.channel.interval_s,
                ..Disturbance::default()
            };
            effect(&change, by)
        };
        match self.channel.delay_standard_s.map(of_delay) {
            Some(moved) if moved != 0.0 => self.with_term(terms, "delay", Some(moved)),
            _ => terms,
        }
    }

    /// What gain and offset do.
    pub(crate) fn bent(&self, terms: Uncertainty, change: &dyn Fn(Disturbance) -> f64) -> Uncertainty {
        let of_gain = |gain: f64| {
            let by = Disturbance {
                gain,
                ..Disturbance::default()
            };
            effect(change, by)
        };
        let terms = self.with_term(terms, "gain", self.channel.gain_standard.map(of_gain));
        let offset = self.offset_standard().map(|offset| of_offset(change, offset));
        self.with_term(terms, "offset", offset)
    }

    /// Rounding to steps, as it is left in a mean over so many samples. It is a noise of its own in each sample only where the
    /// signal passes many steps; else it stays whole.
    pub(crate) fn rounding_in_mean(&self, count: f64) -> Contribution {
        let step = self.step_standard();
        let passes_many = levels(self.signal.samples()).is_ok_and(|levels| levels.span() > MANY_STEPS * step * SQRT_12);
        let left = if passes_many { step / count.sqrt() } else { step };
        Contribution::normal(self.source("resolution"), left)
    }
}

fn of_offset(change: &dyn Fn(Disturbance) -> f64, offset: f64) -> f64 {
    let by = Disturbance {
        offset,
        ..Disturbance::default()
    };
    effect(change, by)
}

/// The slope, with its sign; and what the value does alike in both directions (an offset makes any rms larger).
fn effect(change: &dyn Fn(Disturbance) -> f64, by: Disturbance) -> f64 {
    let (up, down) = (change(by), change(-by));
    let (slope, alike) = (0.5 * (up - down), 0.5 * (up + down));
    (slope * slope + alike * alike).sqrt().copysign(slope)
}
