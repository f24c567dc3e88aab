//! What is found in the last capture or in the last sweep becomes a reading, with what sampling and instrument add to its
//! uncertainty.

use crate::halt::Halt;
use crate::power;
use crate::runner::{LastCapture, Named, Runner};
use crate::sweep::{Crossing, Found};
use crate::values::missing;
use crate::wording;
use crate::world::{Bench, Clock, Journal, People};
use pilotage_core::power::{Disturbance, USUAL_MAINS_HZ};
use pilotage_core::pulse::{Estimate, Lack, PulseParameters};
use pilotage_core::signal::{self, Channel, Part, Which};
use pilotage_core::{Contribution, Datum, Dimension, Measured, NoValue, Quantity, RunTime, Uncertainty, Unit};
use pilotage_evidence::event::{CapturedChannel, Moment};
use pilotage_evidence::judge::WAITED;
use pilotage_plan::files::power::PowerFind;
use pilotage_plan::files::sequence::{LevelTake, PulseTake, SignalPart};
use pilotage_plan::program::{CaptureEvent, Find, FindSpec};
use pilotage_plan::sources::of_channel;
use std::collections::BTreeMap;
use std::time::Duration;

/// What a contact may have done unseen (JCGM 100, 4.3.7: anywhere as far as that).
const HIDDEN: &str = "what a zero crossing hides of the contact";

/// √12: a value rounded to steps of q has the standard uncertainty q/√12 (JCGM 100, F.2.2.1).
pub(crate) const SQRT_12: f64 = 3.464_101_615_137_754_6;

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Each analysis of the act; guards get their turn between them.
    pub(crate) async fn find_all(&mut self, specs: &[FindSpec]) -> Result<(), Halt> {
        for spec in specs {
            self.find_one(spec)?;
            tokio::task::yield_now().await;
        }
        Ok(())
    }

    fn find_one(&mut self, spec: &FindSpec) -> Result<(), Halt> {
        let now = self.clock.now();
        let mut moments = Vec::new();
        let ((datum, from), taken) = match &spec.find {
            Find::Swept {
                of,
                crossing,
                rises,
                level,
                back,
            } => {
                let (rises, back, level_si) = (*rises, *back, level.si());
                let wanted = Crossing {
                    of,
                    through: crossing,
                    rises,
                    level_si,
                    back,
                };
                (self.sweep.find(wanted), (now, now))
            }
            in_capture => self.find_in_capture((&spec.name, in_capture), now, &mut moments),
        };
        let named = Named {
            name: &spec.name,
            point: "",
            unit: &spec.unit,
        };
        let waited = if datum.is_err() {
            self.waited(spec)
        } else {
            BTreeMap::new()
        };
        let mut reading = self.computed(&named, datum, taken);
        reading.formula = Some(analysis(&spec.find));
        reading.from = from;
        reading.constants = waited;
        reading.moments = moments;
        self.put_reading(reading).map(drop)
    }

    fn find_in_capture(
        &self,
        (reading, find): (&str, &Find),
        now: RunTime,
        moments: &mut Vec<Moment>,
    ) -> (Found, (RunTime, RunTime)) {
        match &self.captured {
            Err(why) => ((Err(missing(why)), BTreeMap::new()), (now, now)),
            Ok(last) => {
                let look = Look {
                    last,
                    mains_hz: self.mains_hz(),
                    reading,
                };
                let from = BTreeMap::from([(last.name.clone(), last.seq)]);
                ((look.find(find, moments), from), look.taken().unwrap_or((now, now)))
            }
        }
    }

    /// How long was waited for an event that did not come: the record then knows that its time is longer.
    fn waited(&self, spec: &FindSpec) -> BTreeMap<String, Quantity> {
        let (Find::Between(from, to), Ok(last)) = (&spec.find, &self.captured) else {
            return BTreeMap::new();
        };
        let mains_hz = self.mains_hz();
        let reading = spec.name.as_str();
        let look = Look {
            last,
            mains_hz,
            reading,
        };
        let waited = look.waited_s(from, to);
        let waited = waited.and_then(|waited_s| Quantity::new(waited_s, Dimension::TIME).ok());
        waited.into_iter().map(|waited| (WAITED.to_owned(), waited)).collect()
    }

    fn mains_hz(&self) -> f64 {
        self.program
            .constants
            .get("supply_frequency")
            .map_or(USUAL_MAINS_HZ, |hz| hz.si())
    }
}

/// An analysis in the words of the sequence, as the record prints it.
fn analysis(find: &Find) -> String {
    match find {
        Find::Between(from, to) => format!("time from {} to {}", event_words(from), event_words(to)),
        Find::Pulse(channel, take) => format!("{} of the pulse at {channel}", take.word()),
        Find::Level(channel, take) => format!("{} of the level at {channel}", take.word()),
        Find::Count(event) => format!("how often {}", event_words(event)),
        Find::Angle(wave, event, near) => format!(
            "angle of the mains at {wave} where {}, within half a turn of {}",
            event_words(event),
            wording::quantity(*near, "°")
        ),
        Find::Power(find) => power::words(find),
        Find::Swept { of, crossing, back, .. } => {
            let way = if *back { "on the way back" } else { "on the way there" };
            format!("{of} where {crossing} crosses its level {way}")
        }
    }
}

pub(crate) fn event_words(event: &CaptureEvent) -> String {
    let way = if event.rises { "rises" } else { "falls" };
    let level = crate::wording::quantity(event.level, "");
    let last = if event.last { " for the last time" } else { "" };
    format!("{}{} {way} through {level}{last}", event.channel, event.part.suffix())
}

/// One look into the last capture.
pub(crate) struct Look<'c> {
    pub(crate) last: &'c LastCapture,
    pub(crate) mains_hz: f64,
    /// The name of what is found.
    pub(crate) reading: &'c str,
}

/// One channel in coherent SI units.
pub(crate) struct Samples<'c> {
    /// Its place among the channels.
    pub(crate) number: usize,
    pub(crate) channel: &'c CapturedChannel,
    pub(crate) signal: &'c Channel,
    pub(crate) unit: Unit,
    /// What is found of which capture.
    own: String,
}

impl<'c> Look<'c> {
    /// What is looked for; the moments that it rests on are kept as far as they came.
    fn find(&self, find: &Find, moments: &mut Vec<Moment>) -> Datum {
        match find {
            Find::Between(from, to) => self.between(from, to, moments),
            Find::Pulse(channel, take) => self.samples(channel)?.pulse(*take),
            Find::Level(channel, take) => self.samples(channel)?.level(*take),
            Find::Count(event) => self.count(event),
            Find::Angle(wave, event, near) => self.angle(wave, event, near.si()),
            Find::Power(find) => {
                if let PowerFind::Response { change, .. } = find {
                    let _ = self.moment(change, moments);
                }
                self.power(find)
            }
            Find::Swept { .. } => Err(missing("a sweep is no capture")),
        }
    }

    /// From the first sample to the last.
    fn taken(&self) -> Option<(RunTime, RunTime)> {
        let channel = self.last.captured.channels.first()?;
        let length_s = channel.interval_s * channel.samples as f64;
        let length = Duration::try_from_secs_f64(length_s).ok()?;
        Some((channel.first_sample, channel.first_sample.plus(length)))
    }

    pub(crate) fn samples(&self, point: &str) -> Result<Samples<'c>, NoValue> {
        let captured = &self.last.captured;
        let found = captured.channels.iter().position(|channel| channel.point == point);
        let number = found.ok_or_else(|| missing(format!("{point} is not in the last capture")))?;
        let channel = &captured.channels[number];
        let unit = Unit::find(&channel.unit)
            .ok_or_else(|| NoValue::Bench(format!("{point} was captured in `{}`, which is no unit", channel.unit)))?;
        Ok(Samples {
            number,
            channel,
            signal: self.last.channel(number, &unit, self.mains_hz),
            unit,
            own: self.own(),
        })
    }

    /// What is another one in every reading bears this in the name of its source, so that it does not fall out of a difference or
    /// a ratio of two; gain, offset and time base of a channel stay the same, and do.
    pub(crate) fn own(&self) -> String {
        format!("{} of {}", self.reading, self.last.name)
    }

    /// The time of an event after the first sample, and its own contributions.
    pub(crate) fn event(&self, event: &CaptureEvent) -> Result<(f64, Vec<Contribution>, Samples<'c>), NoValue> {
        let samples = self.samples(&event.channel)?;
        let which = if event.last { Which::Last } else { Which::First };
        let part = part(event.part);
        let found = samples
            .signal
            .event(part, event.level.si(), event.rises, which, f64::NEG_INFINITY)
            .map_err(|lack| lack.in_unit(samples.unit))?;
        // One moment that two readings of a capture begin with is the same in both.
        let source = |what: &str| format!("{}, {what}, {}", event_words(event), self.last.name);
        let moment = source("moment between two looks at the signal");
        let mut terms = vec![Contribution::normal(moment, found.standard_s())];
        let hidden_s = found.hidden_s(which);
        if hidden_s > 0.0 {
            terms.push(Contribution::rectangular(source(HIDDEN), hidden_s));
        }
        Ok((found.at_s, terms, samples))
    }

    /// The same, kept as a moment.
    fn moment(
        &self,
        event: &CaptureEvent,
        moments: &mut Vec<Moment>,
    ) -> Result<(f64, Vec<Contribution>, Samples<'c>), NoValue> {
        let found = self.event(event)?;
        if let Ok(after) = Duration::try_from_secs_f64(found.0) {
            moments.push(Moment {
                when: found.2.channel.first_sample.plus(after),
                what: event_words(event),
            });
        }
        Ok(found)
    }

    fn between(&self, from: &CaptureEvent, to: &CaptureEvent, moments: &mut Vec<Moment>) -> Datum {
        let (from_s, from_terms, from_samples) = self.moment(from, moments)?;
        let (to_s, to_terms, to_samples) = self.moment(to, moments)?;
        let skew_s = to_samples.channel.first_sample.seconds() - from_samples.channel.first_sample.seconds();
        let span_s = skew_s + to_s - from_s;
        // What makes the first moment later makes the time shorter.
        let from_terms = from_terms.into_iter().map(|term| term.times(-1.0));
        let terms = from_terms.chain(to_terms).collect();
        measured(span_s, Dimension::TIME, to_samples.with_time_base(terms, span_s))
    }

    /// The angle that the wave has, or would have if it still stood, when the event comes.
    fn angle(&self, wave: &str, event: &CaptureEvent, near: f64) -> Datum {
        let (event_s, terms, event_samples) = self.event(event)?;
        let samples = self.samples(wave)?;
        let wave = samples.signal.wave()?;
        let skew_s = event_samples.channel.first_sample.seconds() - samples.channel.first_sample.seconds();
        let at = (event_s + skew_s) / samples.channel.interval_s;
        let turns = wave.turn() / samples.channel.interval_s;
        let terms = terms.into_iter().map(|term| term.times(turns)).collect();
        let angle = within_half_a_turn(wave.angle_at(at), near);
        measured(angle, Dimension::NONE, Uncertainty::Known(terms))
    }

    /// From the first event to the end of the capture, where only the second event did not come although it could have: a
    /// signal that lies beyond the level already cannot cross it, and says nothing about time.
    fn waited_s(&self, from: &CaptureEvent, to: &CaptureEvent) -> Option<f64> {
        let (from_s, _, from_samples) = self.event(from).ok()?;
        if !matches!(self.event(to), Err(NoValue::Missing(_))) {
            return None;
        }
        let samples = self.samples(&to.channel).ok()?;
        let values = samples.signal.values(part(to.part)).ok()?;
        let last = *values.last()?;
        if (last < to.level.si()) != to.rises {
            return None;
        }
        let channel = samples.channel;
        let end_s = channel.first_sample.seconds() + channel.interval_s * channel.samples as f64;
        Some(end_s - from_samples.channel.first_sample.seconds() - from_s)
    }

    fn count(&self, event: &CaptureEvent) -> Datum {
        let samples = self.samples(&event.channel)?;
        let events = samples
            .signal
            .events(part(event.part), event.level.si(), event.rises)
            .map_err(|lack| lack.in_unit(samples.unit))?;
        Quantity::new(events.len() as f64, Dimension::NONE).map(Measured::exact)
    }
}

impl Samples<'_> {
    fn pulse(&self, take: PulseTake) -> Datum {
        let in_unit = |lack: Lack| lack.in_unit(self.unit);
        let all = self.signal.pulse().map_err(in_unit)?;
        let estimate = taken(all, take).map_err(in_unit)?;
        let terms = vec![Contribution::normal(
            self.source("sampling and scatter"),
            estimate.standard,
        )];
        match take {
            PulseTake::High | PulseTake::Low => {
                let terms = self.with_offset(self.with_step(terms));
                self.level_measured(estimate.value, terms)
            }
            PulseTake::Frequency => {
                let terms = self.with_time_base(terms, -estimate.value);
                measured(estimate.value, Dimension::FREQUENCY, terms)
            }
            PulseTake::Rise | PulseTake::Fall => {
                let terms = self.with_time_base(terms, estimate.value);
                measured(estimate.value, Dimension::TIME, terms)
            }
            // A ratio of two times of one time base: it cancels.
            PulseTake::DutyAtZero | PulseTake::DutyAtHalf | PulseTake::DutySpread => {
                measured(estimate.value, Dimension::NONE, Uncertainty::Known(terms))
            }
        }
    }

    fn level(&self, take: LevelTake) -> Datum {
        let all = signal::levels(self.signal.samples())?;
        let step = self.with_step(Vec::new());
        match take {
            LevelTake::Mean => self.level_measured(all.mean, self.with_offset(step)),
            LevelTake::Rms => {
                let count = self.signal.samples().len() as f64;
                let own = Uncertainty::Known(vec![self.rounding_in_mean(count)]);
                // What is stated as offset includes noise, which each sample has anew.
                let noise = self.offset_standard().map(|standard| standard / count.sqrt());
                let own = self.with_own_term(own, "noise of the samples", noise);
                let change = |by: Disturbance| all.disturbed_rms(by.gain, by.offset) - all.rms;
                measured(all.rms, self.unit.dimension, self.bent(own, &change))
            }
            LevelTake::Highest => self.level_measured(all.highest, self.with_ends(step, 1.0)),
            LevelTake::Lowest => self.level_measured(all.lowest, self.with_ends(step, 1.0)),
            LevelTake::Span => self.level_measured(all.span(), self.with_ends(step, 2.0)),
        }
    }

    fn level_measured(&self, si: f64, terms: Uncertainty) -> Datum {
        measured(si, self.unit.dimension, self.with_gain(terms, si))
    }

    /// Half a step either way.
    pub(crate) fn with_step(&self, mut terms: Vec<Contribution>) -> Vec<Contribution> {
        terms.push(Contribution::normal(self.source("resolution"), self.step_standard()));
        terms
    }

    /// Standard uncertainty of a value that is rounded to a step.
    pub(crate) fn step_standard(&self) -> f64 {
        self.difference_si(self.channel.scale).abs() / SQRT_12
    }

    /// Standard uncertainty of the offset, where the instrument tells it.
    pub(crate) fn offset_standard(&self) -> Option<f64> {
        let offset = self.channel.offset_standard;
        offset.map(|standard| self.difference_si(standard))
    }

    pub(crate) fn with_offset(&self, terms: Vec<Contribution>) -> Uncertainty {
        self.with_term(Uncertainty::Known(terms), "offset", self.offset_standard())
    }

    /// A value between or at so many single samples. What is stated as offset includes noise and steps of the converter, and nothing
    /// says how much of it stays: so each sample has one of its own.
    pub(crate) fn with_ends(&self, terms: Vec<Contribution>, ends: f64) -> Uncertainty {
        let each = self.offset_standard().map(|standard| ends.sqrt() * standard);
        self.with_own_term(Uncertainty::Known(terms), "offset and noise of single samples", each)
    }

    pub(crate) fn with_gain(&self, terms: Uncertainty, si: f64) -> Uncertainty {
        let gain = self.channel.gain_standard.map(|relative| relative * si);
        self.with_term(terms, "gain", gain)
    }

    pub(crate) fn with_time_base(&self, terms: Vec<Contribution>, of: f64) -> Uncertainty {
        let time = self.channel.time_standard.map(|relative| relative * of);
        self.with_term(Uncertainty::Known(terms), "time base", time)
    }

    /// What the instrument does not tell leaves the whole unknown.
    pub(crate) fn with_term(&self, uncertainty: Uncertainty, what: &str, standard: Option<f64>) -> Uncertainty {
        with_source(uncertainty, of_channel(&self.channel.point, what), standard)
    }

    /// The same, of a source that this reading shares with no other.
    pub(crate) fn with_own_term(&self, uncertainty: Uncertainty, what: &str, standard: Option<f64>) -> Uncertainty {
        with_source(uncertainty, self.source(what), standard)
    }

    /// The name of such a source.
    pub(crate) fn source(&self, what: &str) -> String {
        format!("{}, {}", of_channel(&self.channel.point, what), self.own)
    }

    fn difference_si(&self, number: f64) -> f64 {
        self.unit.to_si(number) - self.unit.to_si(0.0)
    }
}

fn with_source(uncertainty: Uncertainty, source: String, standard: Option<f64>) -> Uncertainty {
    match (uncertainty, standard) {
        (Uncertainty::Known(mut terms), Some(standard)) => {
            terms.push(Contribution::normal(source, standard));
            Uncertainty::Known(terms)
        }
        (Uncertainty::Known(_), None) => Uncertainty::Unknown(format!("{source} is not known")),
        (unknown, _) => unknown,
    }
}

pub(crate) fn measured(si: f64, dimension: Dimension, uncertainty: Uncertainty) -> Datum {
    Ok(Measured {
        value: Quantity::new(si, dimension)?,
        uncertainty,
    })
}

fn taken(all: &PulseParameters, take: PulseTake) -> Result<Estimate, Lack> {
    let found = match take {
        PulseTake::High => &all.high_v,
        PulseTake::Low => &all.low_v,
        PulseTake::Frequency => &all.frequency_hz,
        PulseTake::DutyAtZero => &all.duty_at_zero,
        PulseTake::DutyAtHalf => &all.duty_at_half,
        PulseTake::Rise => &all.rise_s,
        PulseTake::Fall => &all.fall_s,
        PulseTake::DutySpread => &all.duty_spread,
    };
    found.clone()
}

fn part(part: SignalPart) -> Part {
    match part {
        SignalPart::Samples => Part::Samples,
        SignalPart::High => Part::High,
        SignalPart::Low => Part::Low,
        SignalPart::Envelope => Part::Envelope,
        SignalPart::Contact => Part::Contact,
        SignalPart::Duty => Part::Duty,
    }
}

/// The same angle, counted so that it lies within half a turn of the one that is expected.
fn within_half_a_turn(angle: f64, near: f64) -> f64 {
    use std::f64::consts::{PI, TAU};
    near + (angle - near + PI).rem_euclid(TAU) - PI
}

#[cfg(test)]
mod tests {
    use super::within_half_a_turn;

    #[test]
    fn an_angle_is_counted_towards_the_one_that_is_expected() {
        // Found from −180° to 180°, expected, counted.
        for (found, near, wanted) in [
            (3.0, 0.0, 3.0),
            (-3.0, 0.0, -3.0),
            (-178.0, 170.0, 182.0),
            (175.0, 170.0, 175.0),
            (-20.0, 340.0, 340.0),
            (2.0, 360.0, 362.0),
            (-90.0, 90.0, -90.0),
        ] {
            let counted = within_half_a_turn(f64::to_radians(found), f64::to_radians(near));
            assert!(
                (counted.to_degrees() - wanted).abs() < 1e-9,
                "{found} near {near}: {counted}"
            );
        }
    }
}
