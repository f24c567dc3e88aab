//! A capture with what must be known about it, and its parts.

use super::duty::Duties;
use super::envelope::Envelope;
use super::event::{Event, Which, crossings, no_event, way};
use super::track::Track;
use super::wave::Wave;
use crate::power::{Line, Trace};
use crate::pulse::{self, Lack, PulseParameters};
use std::cell::OnceCell;

/// Beyond this the sum of the squares of a capture could overflow.
const LARGEST: f64 = 1e150;

/// Which signal of a captured channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// The samples themselves.
    Samples,
    /// The highest value of each pulse period.
    High,
    /// The lowest value of each pulse period.
    Low,
    /// The amplitude of an alternating signal: rms over a sliding half period.
    Envelope,
    /// How much of the settled sine stands, sample by sample: 1 behind a closed contact, 0 behind an open one.
    Contact,
    /// The duty of each pulse, between its crossings of 0 V.
    Duty,
}

/// What must be known of a channel besides its samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timing {
    /// Time between samples.
    pub interval_s: f64,
    /// Period of the pulses (1 ms for a pilot), for [`Part::High`], [`Part::Low`] and [`Part::Duty`].
    pub pulse_period_s: f64,
    /// Stated frequency of the mains, for [`Part::Envelope`] and [`Part::Contact`].
    pub mains_hz: f64,
}

/// A captured channel. Times count from its first sample. What several analyses need is computed once and kept.
#[derive(Debug, Clone)]
pub struct Channel {
    samples: Vec<f64>,
    timing: Timing,
    usable: OnceCell<Result<(), Lack>>,
    envelope: OnceCell<Result<Envelope, Lack>>,
    wave: OnceCell<Result<Wave, Lack>>,
    pulse: OnceCell<Result<PulseParameters, Lack>>,
    line: OnceCell<Result<Line, Lack>>,
}

impl Channel {
    /// A channel of these samples, in its unit.
    pub fn new(samples: Vec<f64>, timing: Timing) -> Self {
        Self {
            samples,
            timing,
            usable: OnceCell::new(),
            envelope: OnceCell::new(),
            wave: OnceCell::new(),
            pulse: OnceCell::new(),
            line: OnceCell::new(),
        }
    }

    /// The samples.
    pub fn samples(&self) -> &[f64] {
        &self.samples
    }

    /// Parameters of the pulses, as [`pulse::analyse`] finds them.
    pub fn pulse(&self) -> Result<&PulseParameters, Lack> {
        kept(&self.pulse, || pulse::analyse(&self.samples, self.timing.interval_s))
    }

    /// All events of one kind, in order. None at all is no error here.
    ///
    /// How well the moment is known depends on the part. *Samples*: interpolated, within one sample interval. *High* and
    /// *low*: the level of a pulse train is not to be seen while the pulse is at its other state, so the bounds are the last
    /// sample that showed the old level and the first that showed the new one. *Envelope*: the change lies within the half
    /// period over which the rms was taken. *Contact*: between two samples, but from one side of a zero crossing to the
    /// other where it falls into one; [`Event::hidden_s`] says how far away a zero crossing may hide one more. *Duty*: between
    /// the end of the last pulse of the old width and where the next one differs.
    pub fn events(&self, part: Part, level: f64, rises: bool) -> Result<Vec<Event>, Lack> {
        self.check()?;
        Ok(match part {
            Part::Samples => self.sample_events(level, rises),
            Part::High => self.track()?.events(level, rises),
            Part::Low => self.mirrored(|mirror| Ok(mirror.track()?.events(-level, !rises)))?,
            Part::Envelope => self.envelope()?.events(level, rises),
            Part::Contact => self
                .settled()?
                .events(&self.samples, self.timing.interval_s, (level, rises)),
            Part::Duty => self.duties()?.events(level, rises),
        })
    }

    /// One event at or after a time, or why there is none.
    pub fn event(&self, part: Part, level: f64, rises: bool, which: Which, after_s: f64) -> Result<Event, Lack> {
        let mut events = self.events(part, level, rises)?;
        events.retain(|event| event.at_s >= after_s);
        match which.among(&events) {
            Some(event) => Ok(event),
            None if events.is_empty() => Err(no_event(self.values(part)?.into_iter(), level, rises)),
            None => Err(Lack::TooFewEvents {
                way: way(rises),
                level,
                have: events.len(),
                wanted: if let Which::Number(number) = which { number } else { 1 },
            }),
        }
    }

    /// The values of a part: samples, one for each period, or the rms at each position of the window.
    pub fn values(&self, part: Part) -> Result<Vec<f64>, Lack> {
        self.check()?;
        Ok(match part {
            Part::Samples => self.samples.clone(),
            Part::High => self.track()?.highest(),
            Part::Low => {
                let mirrored = self.mirrored(|mirror| Ok(mirror.track()?.highest()))?;
                mirrored.into_iter().map(|value| -value).collect()
            }
            Part::Envelope => self.envelope()?.values().to_vec(),
            Part::Contact => self.settled()?.shares(&self.samples).map(|(_, share)| share).collect(),
            Part::Duty => self.duties()?.values(),
        })
    }

    /// The settled sine of the mains in this capture.
    pub fn wave(&self) -> Result<&Wave, Lack> {
        self.check()?;
        self.settled()
    }

    /// The line that this voltage shows, for what is taken over whole cycles.
    pub fn line(&self) -> Result<&Line, Lack> {
        self.check()?;
        kept(&self.line, || Line::of(&self.samples, self.timing.interval_s))
    }

    /// The samples with their times, or the amplitude of an alternating signal with the half period that each value stands for.
    pub fn trace(&self, of_envelope: bool) -> Result<Trace<'_>, Lack> {
        self.check()?;
        let interval_s = self.timing.interval_s;
        if !of_envelope {
            return Ok(Trace {
                values: &self.samples,
                interval_s,
                first_s: 0.0,
                half_width_s: 0.0,
            });
        }
        let envelope = self.envelope()?;
        let half_width_s = envelope.half_window() * interval_s;
        Ok(Trace {
            values: envelope.values(),
            interval_s,
            first_s: half_width_s,
            half_width_s,
        })
    }

    fn settled(&self) -> Result<&Wave, Lack> {
        kept(&self.wave, || {
            Wave::new(
                &self.samples,
                self.envelope()?.values(),
                self.timing.interval_s,
                self.timing.mains_hz,
            )
        })
    }

    fn check(&self) -> Result<(), Lack> {
        kept(&self.usable, || {
            if self.samples.is_empty() {
                return Err(Lack::TooFewSamples { have: 0, need: 1 });
            }
            // NaN is not below anything.
            if !self.samples.iter().all(|sample| sample.abs() <= LARGEST) {
                return Err(Lack::NotANumber);
            }
            positive("the time between samples", self.timing.interval_s)
        })
        .copied()
    }

    fn sample_events(&self, level: f64, rises: bool) -> Vec<Event> {
        let interval_s = self.timing.interval_s;
        let event = |at: f64| {
            let bounds = (at.floor() * interval_s, (at.floor() + 1.0) * interval_s);
            Event::seen(at * interval_s, bounds)
        };
        crossings(&self.samples, level, rises, 0.0)
            .into_iter()
            .map(event)
            .collect()
    }

    fn track(&self) -> Result<Track<'_>, Lack> {
        positive("the pulse period", self.timing.pulse_period_s)?;
        Ok(Track::new(
            &self.samples,
            self.timing.interval_s,
            self.timing.pulse_period_s,
        ))
    }

    fn duties(&self) -> Result<Duties, Lack> {
        positive("the pulse period", self.timing.pulse_period_s)?;
        Duties::new(&self.samples, self.timing.interval_s, self.timing.pulse_period_s)
    }

    fn envelope(&self) -> Result<&Envelope, Lack> {
        kept(&self.envelope, || {
            positive("the mains frequency", self.timing.mains_hz)?;
            Envelope::new(&self.samples, self.timing.interval_s, 0.5 / self.timing.mains_hz)
        })
    }

    fn mirrored<T>(&self, look: impl FnOnce(&Self) -> Result<T, Lack>) -> Result<T, Lack> {
        let samples = self.samples.iter().map(|sample| -sample).collect();
        look(&Self::new(samples, self.timing))
    }
}

/// What was computed before, or is computed now.
fn kept<T>(cell: &OnceCell<Result<T, Lack>>, compute: impl FnOnce() -> Result<T, Lack>) -> Result<&T, Lack> {
    cell.get_or_init(compute).as_ref().map_err(Clone::clone)
}

fn positive(what: &'static str, value: f64) -> Result<(), Lack> {
    if value > 0.0 && value.is_finite() {
        return Ok(());
    }
    Err(Lack::NotPositive { what, value })
}
