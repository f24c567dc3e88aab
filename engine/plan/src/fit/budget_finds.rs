//! What an analysis of a capture will be uncertain by: the channel's promise, and how well the moment of an event is known.
//!
//! A moment on a slow edge is better known than by two samples, and a contact that closes away from a zero crossing better
//! than one that closes near it: what is said here is then the most that will come. What scatters from cycle to cycle shows only in
//! the capture: where an analysis rests on many, a term without size says that more will come.

use super::accuracy::{ChannelTerms, Term, of_capture};
use super::services::Services;
use crate::files::power::{DistortionTake, PowerFind, PowerTake, RippleTake};
use crate::files::sequence::{LevelTake, PulseTake, SignalPart};
use crate::program::{CaptureEvent, CaptureSpec, Find, FindSpec};
use crate::source::Span;
use pilotage_core::signal::hidden_by_crossing_s;
use pilotage_core::uncertainty::rectangular;
use pilotage_core::{Quantity, power::USUAL_MAINS_HZ};
use std::f64::consts::PI;

/// The longest that an event of a pulse may be hidden: its period, 1 ms (IEC 61851-1, Annex A).
const PULSE_S: f64 = 0.001;
/// A source that begins a new pulse while the old one is high makes one cycle of nearly two periods, which has no duty. So a change of the
/// duty is hidden from the end of the last old pulse over that cycle into the first new one, as far as the shorter of the two pulses reaches.
const HIDDEN_CYCLES: f64 = 2.0;
/// An envelope follows an edge within half of its half period, to either side.
const HALF_WINDOW: f64 = 0.25;

/// What adds to the rest, and shows its size only in the capture.
const UNSIZED: &str = "offsets, steps and scatter of the waveform, known only when read";

/// The points that an analysis looks at, and what it will be uncertain by, or why nothing is known.
type Found = (Vec<String>, Result<Vec<Term>, String>);

/// What analyses rest on.
pub(super) struct Finds<'w, 'a> {
    /// What the bench serves.
    pub(super) services: &'w Services<'a>,
    /// The last capture and where it is written.
    pub(super) capture: Option<(&'a CaptureSpec, &'a Span)>,
    /// Frequency of the mains, where the nameplate says it.
    pub(super) mains_hz: Option<f64>,
}

impl Finds<'_, '_> {
    /// One analysis.
    pub(super) fn find(&self, spec: &FindSpec, span: &Span) -> Found {
        (points(&spec.find), self.terms(spec, span))
    }

    fn terms(&self, FindSpec { name, find, .. }: &FindSpec, span: &Span) -> Result<Vec<Term>, String> {
        match find {
            Find::Pulse(point, take) => self.pulse(point, *take),
            Find::Level(point, take) => {
                let channel = self.channel(point)?;
                Ok(match take {
                    LevelTake::Mean | LevelTake::Rms => channel.level(),
                    LevelTake::Highest | LevelTake::Lowest => of_single_samples(channel, name, 1.0),
                    LevelTake::Span => of_single_samples(channel, name, 2.0),
                })
            }
            Find::Between(from, to) => {
                // What makes the first moment later makes the time shorter.
                let from = self.moment(from, span)?;
                let from = Term {
                    fixed: -from.fixed,
                    ..from
                };
                let mut terms = vec![from, self.moment(to, span)?];
                terms.push(self.channel(&to.channel)?.time_base);
                Ok(terms)
            }
            Find::Count(_) => Ok(Vec::new()),
            Find::Angle(_, event, _) => {
                let moment = self.moment(event, span)?;
                let turned = 2.0 * PI * self.mains_hz() * moment.fixed;
                Ok(vec![Term {
                    fixed: turned,
                    ..moment
                }])
            }
            Find::Swept { crossing, .. } => Err(format!(
                "known only when read: it lies between two points of the sweep, and how far these are apart shows when \
                 `{crossing}` crosses its level"
            )),
            Find::Power(PowerFind::Ripple {
                of,
                take: RippleTake::Span,
                ..
            }) => {
                let mut terms = of_single_samples(self.channel(of)?, name, 2.0);
                terms.push(unsized_term());
                Ok(terms)
            }
            Find::Power(find) => self.power(find),
        }
    }

    fn mains_hz(&self) -> f64 {
        self.mains_hz.unwrap_or(USUAL_MAINS_HZ)
    }

    fn channel(&self, point: &str) -> Result<ChannelTerms, String> {
        let unserved = || format!("`{point}` is captured by nothing that states an accuracy");
        let (service, text) = self.services.capture(point).ok_or_else(unserved)?;
        of_capture(&service, text).ok_or_else(unserved)
    }

    /// Length of the last capture, time between its samples, and where it is written.
    fn sampling(&self) -> Result<(f64, f64, String), String> {
        let (capture, span) = self.capture.ok_or("nothing is captured before it")?;
        Ok((capture.length.as_secs_f64(), 1.0 / capture.rate, span.place()))
    }

    fn pulse(&self, point: &str, take: PulseTake) -> Result<Vec<Term>, String> {
        let channel = self.channel(point)?;
        let (length_s, interval_s, place) = self.sampling()?;
        let edges = two_edges(interval_s);
        let sampled = |fixed: f64| Term::of_sequence("samples on two edges", place.clone(), fixed);
        Ok(match take {
            PulseTake::High | PulseTake::Low => channel.level(),
            PulseTake::Frequency => {
                let share = Term {
                    relative: edges / length_s,
                    ..sampled(0.0)
                };
                vec![channel.time_base, share]
            }
            PulseTake::Rise | PulseTake::Fall => vec![channel.time_base, sampled(edges)],
            // A ratio of two times of one time base: it cancels.
            PulseTake::DutyAtZero | PulseTake::DutyAtHalf => vec![sampled(edges / PULSE_S)],
            PulseTake::DutySpread => {
                return Err("known only when read: it is itself the scatter of the pulses".to_owned());
            }
        })
    }

    /// How well the moment of an event is known, as the analysis will say it.
    fn moment(&self, event: &CaptureEvent, span: &Span) -> Result<Term, String> {
        let (_, interval_s, capture) = self.sampling()?;
        let period_s = 1.0 / self.mains_hz();
        let (what, place, half_s) = match event.part {
            SignalPart::Samples => ("time between two samples", capture, interval_s / 2.0),
            SignalPart::High | SignalPart::Low => ("time between two pulses", span.place(), PULSE_S / 2.0),
            SignalPart::Duty => {
                // The level lies between the two duties.
                let hidden_s = (HIDDEN_CYCLES + event.level.si().clamp(0.0, 1.0)) * PULSE_S;
                ("time between two pulses that differ", span.place(), hidden_s / 2.0)
            }
            SignalPart::Envelope => (
                "half period of the mains under the envelope",
                span.place(),
                HALF_WINDOW * period_s,
            ),
            // The most: where it moves in a zero crossing, that alone hides less.
            SignalPart::Contact => {
                let hidden_s = hidden_by_crossing_s(self.mains_hz(), interval_s);
                ("zero crossing that hides a contact", span.place(), hidden_s)
            }
        };
        let way = if event.rises { "rises" } else { "falls" };
        let signal = format!("`{}{}` {way}", event.channel, event.part.suffix());
        let term = Term::of_sequence(format!("{what}, where {signal}"), place, rectangular(half_s));
        // Of one signal every level is passed at a moment of its own.
        let last = if event.last { ", last" } else { "" };
        Ok(Term {
            source: format!("{}, {}{last}", term.source, event.level),
            ..term
        })
    }

    /// What is left of the gains of its channels; an offset does not reach what alternates.
    fn power(&self, find: &PowerFind<String, Quantity, CaptureEvent>) -> Result<Vec<Term>, String> {
        let read = |what: &str| Err(format!("known only when read: {what}"));
        let gains = |points: &[&String]| -> Result<Vec<Term>, String> {
            let channels: Vec<ChannelTerms> = points
                .iter()
                .map(|point| self.channel(point))
                .collect::<Result<_, _>>()?;
            let mut terms: Vec<Term> = channels.into_iter().flat_map(|channel| channel.gain).collect();
            terms.push(unsized_term());
            Ok(terms)
        };
        match find {
            PowerFind::Power { of, take } => match take {
                PowerTake::Active | PowerTake::Apparent | PowerTake::NonActive => gains(&[&of.voltage, &of.current]),
                PowerTake::Voltage => gains(&[&of.voltage]),
                PowerTake::Current => gains(&[&of.current]),
                PowerTake::Frequency => Ok(vec![self.channel(&of.voltage)?.time_base]),
                PowerTake::Factor | PowerTake::Displacement | PowerTake::Angle | PowerTake::Crest => {
                    read("gains cancel, and what is left comes from offsets, steps, delays and scatter of the waveform")
                }
            },
            PowerFind::Efficiency { .. } => gains(&on_one_side(&find.channels())),
            PowerFind::Distortion {
                take: DistortionTake::Thd,
                ..
            } => read("the gain cancels, and what is left comes from steps and scatter of the waveform"),
            PowerFind::Inrush { .. } => read("it rests on how fast the surge rises"),
            PowerFind::Response { .. } => read("it rests on how the signal settles"),
            PowerFind::Harmonic { of, .. }
            | PowerFind::Distortion { of, .. }
            | PowerFind::Ripple { of, .. }
            | PowerFind::RippleOfLine { of, .. } => gains(&[of]),
        }
    }
}

/// A value between or at so many single samples: each has an offset and a noise of its own, together at most what the driver
/// states as offset.
fn of_single_samples(channel: ChannelTerms, reading: &str, ends: f64) -> Vec<Term> {
    let own = Term {
        source: format!("{}, {reading}", channel.offset.source),
        what: format!("{}, with the noise of single samples", channel.offset.what),
        fixed: ends.sqrt() * channel.offset.fixed,
        ..channel.offset
    };
    let mut terms = channel.gain;
    terms.push(own);
    terms
}

fn unsized_term() -> Term {
    Term::of_sequence(UNSIZED, String::new(), 0.0)
}

/// The gain of a channel that stands on both sides of an efficiency cancels.
fn on_one_side<'p>(points: &[&'p String]) -> Vec<&'p String> {
    let (output, input) = points.split_at(2);
    let one_side = points.iter().copied();
    one_side
        .filter(|point| output.contains(point) != input.contains(point))
        .collect()
}

/// Two edges, each somewhere within one sample.
fn two_edges(interval_s: f64) -> f64 {
    2f64.sqrt() * rectangular(interval_s / 2.0)
}

/// The points of the channels that an analysis looks at.
fn points(find: &Find) -> Vec<String> {
    let mut points = match find {
        Find::Pulse(point, _) | Find::Level(point, _) => vec![point.clone()],
        Find::Between(from, to) => vec![from.channel.clone(), to.channel.clone()],
        Find::Count(event) => vec![event.channel.clone()],
        Find::Angle(wave, event, _) => vec![wave.clone(), event.channel.clone()],
        Find::Power(find) => find.channels().into_iter().cloned().collect(),
        Find::Swept { .. } => Vec::new(),
    };
    points.dedup();
    points
}
