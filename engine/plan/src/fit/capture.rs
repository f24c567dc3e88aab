//! `capture` and `find`: channels on one instrument, rate and points within its means, analyses of what was captured.

use super::code;
use super::fitter::{Fitter, LastCapture};
use super::names;
use super::near;
use super::orders::Use;
use super::reads::dimension_of;
use crate::files::driver::CaptureText;
use crate::files::sequence::{ActText, EventText, FindText, PulseTake, SignalPart};
use crate::problem::Problem;
use crate::program::{Act, ActKind, CaptureEvent, CaptureSpec, Find, FindSpec};
use crate::source::{Formula, Sp, Span};
use pilotage_core::{Dimension, Quantity, Unit};
use std::collections::BTreeMap;
use std::time::Duration;

/// Most points that a capture takes by itself where the author names no rate.
const DEFAULT_POINTS: f64 = 1_000_000.0;

impl Fitter<'_> {
    /// `capture: {of, for, rate, while}`
    pub(crate) fn capture(
        &mut self,
        of: &[Sp<String>],
        (length, rate): (&Formula, Option<&Formula>),
        during: &[ActText],
        span: &Span,
    ) -> Option<Act> {
        let channels = self.channels(of);
        let time = self.time(length, "the length of a capture");
        let rate = match rate {
            Some(rate) => Some(self.number(rate, Dimension::FREQUENCY, "the rate of a capture")?.si()),
            None => None,
        };
        self.step.capture = Some(LastCapture {
            channels,
            sampling: None,
        });
        let time = time?;
        let rate = self.rate(of, time, rate);
        if let Some(capture) = &mut self.step.capture {
            capture.sampling = Some((time.as_secs_f64(), rate));
        }
        let name = self.capture_name();
        self.pass_time(time, span);
        let before = self.energy();
        let number = self.take_number();
        let during = self.acts_during(during);
        let of = of.iter().map(|point| point.value.clone()).collect();
        let spec = CaptureSpec {
            name,
            of,
            length: time,
            rate,
            during,
        };
        Some(self.finish(number, ActKind::Capture(spec), before, span))
    }

    fn acts_during(&mut self, texts: &[ActText]) -> Vec<Act> {
        let mut acts = Vec::new();
        self.step.capturing = true;
        self.acts(texts, &mut acts);
        self.step.capturing = false;
        acts
    }

    fn capture_name(&mut self) -> String {
        let count = self.captures.entry(self.step.id.clone()).or_insert(0);
        *count += 1;
        format!("{}-{count}", self.step.id)
    }

    /// Every channel served, by one instrument.
    fn channels(&mut self, of: &[Sp<String>]) -> BTreeMap<String, (Dimension, String)> {
        let mut channels = BTreeMap::new();
        let mut instrument: Option<String> = None;
        for point in of {
            let Some(shape) = self.point(point, Use::Capture) else {
                continue;
            };
            let Some(dimension) = dimension_of(shape) else { continue };
            let mut unit = Unit::coherent(dimension).map_or("", |unit| unit.symbol).to_owned();
            match self.services.capture(&point.value) {
                None => self
                    .step
                    .not_served(format!("this bench cannot capture `{}`", point.value)),
                Some((service, text)) => {
                    self.check_mains(shape, &service);
                    unit.clone_from(&text.unit.value);
                    let by = service.text.by.value.clone();
                    if instrument.get_or_insert_with(|| by.clone()) != &by {
                        let why = format!("`{}` is not on the instrument of the other channels", point.value);
                        self.step.not_served(why);
                    }
                }
            }
            self.step.captured.insert(point.value.clone(), unit.clone());
            channels.insert(point.value.clone(), (dimension, unit));
        }
        channels
    }

    /// The rate asked for where the instrument can, or the best that it can do.
    fn rate(&mut self, of: &[Sp<String>], length: Duration, wanted: Option<f64>) -> f64 {
        let (mut highest, mut most_points) = (f64::MAX, f64::MAX);
        for point in of {
            if let Some((_, text)) = self.services.capture(&point.value) {
                highest = highest.min(self.highest_rate(text));
                most_points = most_points.min(text.most_points as f64);
            }
        }
        let length_s = length.as_secs_f64();
        let Some(wanted) = wanted else {
            return round_rate(highest.min(most_points.min(DEFAULT_POINTS) / length_s));
        };
        if wanted > highest {
            self.step.not_served(format!(
                "this bench captures at most {highest} samples a second, not {wanted}"
            ));
        }
        let points = (wanted * length_s).ceil();
        if points > most_points {
            self.step.not_served(format!(
                "this bench captures at most {most_points} points a channel, not {points}"
            ));
        }
        wanted
    }

    fn highest_rate(&mut self, text: &CaptureText) -> f64 {
        match names::constant(&text.highest_rate) {
            Ok(rate) => rate.si(),
            Err(problem) => {
                self.problems.add(*problem);
                f64::MAX
            }
        }
    }

    /// `find: {name: …}`
    pub(crate) fn find(&mut self, entries: &[(Sp<String>, FindText)], span: &Span) -> Option<Act> {
        let mut specs = Vec::new();
        for (name, text) in entries {
            if let Some((find, dimension, unit)) = self.analysis(text, &name.span) {
                self.define(&name.value, Some(dimension), &unit, &name.span);
                specs.push(FindSpec {
                    name: name.value.clone(),
                    unit,
                    find,
                });
            }
        }
        (!specs.is_empty()).then(|| self.plain(ActKind::Find(specs), span))
    }

    fn analysis(&mut self, text: &FindText, span: &Span) -> Option<(Find, Dimension, String)> {
        match text {
            FindText::Between { from, to } => {
                let (from, to) = (self.event(from), self.event(to));
                Some((Find::Between(from?, to?), Dimension::TIME, "ms".to_owned()))
            }
            FindText::Pulse { channel, take } => {
                let (dimension, unit) = self.channel(channel)?;
                let (dimension, unit) = pulse_unit(*take, dimension, unit);
                Some((Find::Pulse(channel.value.clone(), *take), dimension, unit))
            }
            FindText::Level { channel, take } => {
                let (dimension, unit) = self.channel(channel)?;
                Some((Find::Level(channel.value.clone(), *take), dimension, unit))
            }
            FindText::Count { event } => Some((Find::Count(self.event(event)?), Dimension::NONE, String::new())),
            FindText::Angle { wave, at, near } => {
                self.channel(wave)?;
                let near = match near {
                    Some(near) => self.number(near, Dimension::NONE, "the angle that is expected")?,
                    None => Quantity::new(0.0, Dimension::NONE).ok()?,
                };
                let find = Find::Angle(wave.value.clone(), self.event(at)?, near);
                Some((find, Dimension::NONE, "°".to_owned()))
            }
            FindText::Power(text) => self.power(text, span),
            FindText::Swept { .. } => self.swept(text, span),
        }
    }

    /// A channel of the last capture.
    pub(crate) fn channel(&mut self, channel: &Sp<String>) -> Option<(Dimension, String)> {
        let found = self
            .step
            .capture
            .as_ref()
            .and_then(|capture| capture.channels.get(&channel.value))
            .cloned();
        if found.is_none() {
            let captured: Vec<String> = self
                .step
                .capture
                .iter()
                .flat_map(|capture| capture.channels.keys().cloned())
                .collect();
            let (message, mend) = match captured.as_slice() {
                [] => (
                    format!("nothing was captured before `{}` is looked at", channel.value),
                    "put a `capture` of it before".to_owned(),
                ),
                _ => (
                    format!("`{}` is not in the last capture", channel.value),
                    near::mend(&channel.value, &captured),
                ),
            };
            self.problems.add(
                Problem::new(code::NO_CAPTURE, &channel.span, message)
                    .expected("a channel of the last capture of this step")
                    .got(format!("`{}`", channel.value))
                    .mend(mend),
            );
        }
        found
    }

    pub(crate) fn event(&mut self, event: &EventText) -> Option<CaptureEvent> {
        let (dimension, _) = self.channel(&event.channel)?;
        // A contact is a share of the channel's own wave, a duty a share of the pulse's period.
        let dimension = if matches!(event.part, SignalPart::Contact | SignalPart::Duty) {
            Dimension::NONE
        } else {
            dimension
        };
        let level = self.number(&event.level, dimension, "the level of an event")?;
        Some(CaptureEvent {
            channel: event.channel.value.clone(),
            part: event.part,
            rises: event.rises,
            level,
            last: event.last,
        })
    }

    fn swept(&mut self, text: &FindText, span: &Span) -> Option<(Find, Dimension, String)> {
        let FindText::Swept {
            of,
            crossing,
            rises,
            level,
            back,
        } = text
        else {
            return None;
        };
        let (dimension, unit) = self.swept_reading(of, span)?;
        let (crossing_dimension, _) = self.swept_reading(crossing, span)?;
        let level = self.number(level, crossing_dimension, "the level of a crossing")?;
        let find = Find::Swept {
            of: of.value.clone(),
            crossing: crossing.value.clone(),
            rises: *rises,
            level,
            back: *back,
        };
        Some((find, dimension, unit))
    }

    /// A numeric reading of the last sweep.
    fn swept_reading(&mut self, name: &Sp<String>, span: &Span) -> Option<(Dimension, String)> {
        let in_sweep = self
            .step
            .sweep
            .as_ref()
            .is_some_and(|sweep| sweep.contains(&name.value));
        if !in_sweep {
            let known: Vec<String> = self.step.sweep.iter().flatten().cloned().collect();
            let mend = if known.is_empty() {
                "put a `sweep` before".to_owned()
            } else {
                near::mend(&name.value, &known)
            };
            self.problems.add(
                Problem::new(
                    code::NO_CAPTURE,
                    &name.span,
                    format!("`{}` was not read in a sweep before", name.value),
                )
                .expected("a reading of the last sweep of this step")
                .got(format!("`{}`", name.value))
                .mend(mend),
            );
            return None;
        }
        let reading = self.readings.get(&name.value).cloned()?;
        self.usable_reading(&name.value, &reading, span).then_some(())?;
        Some((reading.dimension?, reading.unit))
    }
}

/// The highest of 1, 2, 5 · 10ⁿ that is not above.
fn round_rate(most: f64) -> f64 {
    let mut rate = 1.0;
    for decade in 0..12 {
        for step in [1.0, 2.0, 5.0] {
            let candidate = step * 10f64.powi(decade);
            if candidate <= most {
                rate = candidate;
            }
        }
    }
    rate
}

fn pulse_unit(take: PulseTake, dimension: Dimension, unit: String) -> (Dimension, String) {
    match take {
        PulseTake::High | PulseTake::Low => (dimension, unit),
        PulseTake::Frequency => (Dimension::FREQUENCY, "Hz".to_owned()),
        PulseTake::DutyAtZero | PulseTake::DutyAtHalf | PulseTake::DutySpread => (Dimension::NONE, "%".to_owned()),
        PulseTake::Rise | PulseTake::Fall => (Dimension::TIME, "µs".to_owned()),
    }
}
