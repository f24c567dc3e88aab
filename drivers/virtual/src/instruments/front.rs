//! The analogue front of what captures: channels, converters, time base, and their errors.

use super::flaws::Flaws;
use super::inputs::Inputs;
use super::noise::{Noise, Reading};
use crate::physics::{Core, DcPair, Node, Pair, World};
use pilotage_core::RunTime;
use std::time::Duration;

/// Limit of error of the time base, relative; as in the driver files.
const TIME_BASE: f64 = 5e-6;
/// Channels of an oscilloscope lag by up to this, each its own, s: by half of it either way about a common moment. Below one interval at the
/// highest rate.
const SKEW_S: f64 = 20e-9;
/// The same of a power analyser with its transducers, s: at 50 Hz some 0.04° (common practice).
const TRANSDUCER_SKEW_S: f64 = 2e-6;
/// Divider between the reference and the channel of the pilot, whose range ends at 16 V; within 0.1 %.
const DIVIDER: (f64, f64) = (1.0 / 5.0, 0.1e-2);
/// Number of a channel, from 0.
pub(super) type Index = usize;

/// What a channel sees of the reference while all inputs are led there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum OfReference {
    /// All of it.
    Whole,
    /// What the divider leaves.
    Divided,
    /// Nothing: a sensor of current has no part in it.
    Nothing,
}

/// One channel's converter. Figures as in the driver files.
pub(super) struct Channel {
    node: Node,
    /// Full scale, one way.
    full: f64,
    /// Steps of the converter from zero to full scale.
    steps: f64,
    /// Limit of the gain error, relative.
    gain: f64,
    /// Limit of the offset error, quantisation and noise included.
    offset: f64,
    /// It lags by up to this, s.
    skew_s: f64,
    of_reference: OfReference,
    name: &'static str,
}

/// Steps one way of a converter of 12 bit, and of one of 16 bit.
const BIT_12: f64 = 2048.0;
const BIT_16: f64 = 32768.0;

/// The capture instrument at a wall unit, as in `drivers/files/wave_capture.yaml`.
pub(super) static MAINS: [Channel; 4] = [
    pilot(Node::Pilot, "1"),
    mains(Node::Out(Pair::LN), "2"),
    mains(Node::Out(Pair::NPe), "3"),
    Channel {
        node: Node::OutCurrent,
        full: 100.0,
        steps: BIT_12,
        gain: 1e-2,
        offset: 0.2,
        skew_s: SKEW_S,
        of_reference: OfReference::Nothing,
        name: "4",
    },
];

/// The bench of inlets and cables: pilot core and PE core at 5 mA, proximity at 5 mA, and the current of a lock.
pub(super) static GAPS: [Channel; 4] = [
    pilot(Node::Loop(Core::Cp), "1"),
    gap(Node::Loop(Core::Pe), "2"),
    gap(Node::ProximityLoop, "3"),
    Channel {
        of_reference: OfReference::Nothing,
        ..gap(Node::LockCurrent, "4")
    },
];

/// The power analyser at a charger, as in `drivers/files/power_analyser.yaml`: AC voltage and current, DC voltage and current, and
/// an auxiliary input for the pilot.
pub(super) static POWER: [Channel; 5] = [
    fine(Node::In(Pair::LN), (600.0, 0.15), OfReference::Whole, "1"),
    fine(Node::InCurrent, (400.0, 0.025), OfReference::Nothing, "2"),
    fine(Node::Dc(DcPair::PlusMinus), (1000.0, 0.3), OfReference::Whole, "3"),
    fine(Node::DcCurrent, (60.0, 0.015), OfReference::Nothing, "4"),
    fine(Node::Pilot, (16.0, 0.008), OfReference::Divided, "5"),
];

const fn pilot(node: Node, name: &'static str) -> Channel {
    Channel {
        of_reference: OfReference::Divided,
        ..gap(node, name)
    }
}

const fn gap(node: Node, name: &'static str) -> Channel {
    Channel {
        node,
        full: 16.0,
        steps: BIT_12,
        gain: 0.5e-2,
        offset: 0.02,
        skew_s: SKEW_S,
        of_reference: OfReference::Whole,
        name,
    }
}

const fn mains(node: Node, name: &'static str) -> Channel {
    Channel {
        node,
        full: 500.0,
        steps: BIT_12,
        gain: 1e-2,
        offset: 1.0,
        skew_s: SKEW_S,
        of_reference: OfReference::Whole,
        name,
    }
}

const fn fine(node: Node, (full, offset): (f64, f64), of_reference: OfReference, name: &'static str) -> Channel {
    Channel {
        node,
        full,
        steps: BIT_16,
        gain: 0.05e-2,
        offset,
        skew_s: TRANSDUCER_SKEW_S,
        of_reference,
        name,
    }
}

impl Channel {
    /// One step of the converter.
    pub(super) fn step(&self) -> f64 {
        self.full / self.steps
    }

    fn gain_error(&self, noise: &Noise) -> f64 {
        noise.property(&format!("{} gain", self.name)) * self.gain * 0.95
    }

    /// Half a step is left for the rounding, a tenth of the limit for the noise.
    fn offset_error(&self, noise: &Noise) -> f64 {
        noise.property(&format!("{} offset", self.name)) * (self.offset * 0.9 - self.step() / 2.0)
    }

    /// Codes of true values; `first` is the number of the first sample within its record.
    fn convert(&self, truth: &[f64], own: &Noise, reading: Reading, first: u64) -> Vec<i16> {
        let gain = 1.0 + self.gain_error(own);
        let offset = self.offset_error(own);
        let (wander, steps) = (self.offset * 0.1, 1.0 / self.step());
        truth
            .iter()
            .zip(reading.coarse(first))
            .map(|(value, noise)| {
                let seen = value * gain + offset + noise * wander;
                nearest_code(seen * steps, self.steps)
            })
            .collect()
    }
}

/// The whole number nearest to a position of the converter, which has so many steps one way. Millions of samples pass here: moved
/// above zero, a cast does what a call of `round` does.
fn nearest_code(position: f64, steps: f64) -> i16 {
    let code = (position.clamp(-steps, steps - 1.0) + steps + 0.5) as i32 - steps as i32;
    code as i16
}

/// The channels with their errors.
pub(super) struct Front {
    noise: Noise,
    channels: &'static [Channel],
    /// How far before its nominal moment each channel is sampled.
    skews: Vec<Duration>,
    /// What each channel shows of a volt or ampere.
    probes: Vec<f64>,
    /// What it shows more of a volt or ampere, and from when on, s.
    drift: (f64, f64),
    /// Where the inputs are led.
    inputs: Inputs,
}

impl Front {
    pub(super) fn new(noise: Noise, channels: &'static [Channel], flaws: &Flaws, inputs: Inputs) -> Self {
        let apart = Duration::from_secs_f64(flaws.get("scope_skew"));
        let skew = |(index, channel): (usize, &Channel)| {
            let drawn = (noise.property(&format!("{} skew", channel.name)) + 1.0) * channel.skew_s / 2.0;
            Duration::from_secs_f64(drawn) + if index == 0 { Duration::ZERO } else { apart }
        };
        let probe = |channel: &Channel| match channel.of_reference {
            OfReference::Whole => flaws.get("scope_probe"),
            OfReference::Divided => flaws.get("scope_probe_pilot"),
            OfReference::Nothing => 1.0,
        };
        Self {
            skews: channels.iter().enumerate().map(skew).collect(),
            probes: channels.iter().map(probe).collect(),
            noise,
            channels,
            drift: (flaws.get("scope_drift"), flaws.get("drift_after")),
            inputs,
        }
    }

    /// Number of channels.
    pub(super) fn count(&self) -> usize {
        self.channels.len()
    }

    /// One step of a channel's converter.
    pub(super) fn step(&self, index: Index) -> f64 {
        self.channels[index].step()
    }

    /// Begins the reading of a record, one for each channel.
    pub(super) fn begin(&mut self) -> Vec<Reading> {
        self.channels.iter().map(|_| self.noise.next_reading()).collect()
    }

    /// Relative error of the time base.
    pub(super) fn time_error(&self) -> f64 {
        self.noise.property("time base") * TIME_BASE * 0.95
    }

    /// What a channel shows of a volt or ampere in a record that began at `start`.
    fn shows(&self, index: Index, start: RunTime) -> f64 {
        let (drift, after_s) = self.drift;
        let drifted = if start.seconds() >= after_s { 1.0 + drift } else { 1.0 };
        self.probes[index] * drifted
    }

    /// What a channel sees of the reference.
    fn reference(&self, channel: &Channel) -> (Node, f64) {
        let gain = match channel.of_reference {
            OfReference::Divided => DIVIDER.0 * (1.0 + self.noise.property("divider") * DIVIDER.1),
            OfReference::Nothing => 0.0,
            OfReference::Whole => 1.0,
        };
        (Node::Reference, gain)
    }

    /// Codes of `count` samples from sample `first` of a record on.
    pub(super) fn codes(&self, index: Index, run: &Run, (first, count): (usize, usize), world: &mut World) -> Vec<i16> {
        let channel = &self.channels[index];
        let since = Duration::from_secs_f64(first as f64 * run.interval_s);
        let from = super::frame::before(run.start.plus(since), self.skews[index]);
        let mut truth = Vec::with_capacity(count);
        let stretches = self.inputs.stretches(from, run.interval_s, count);
        for (number, (start, on_reference)) in stretches.iter().enumerate() {
            let end = stretches.get(number + 1).map_or(count, |(next, _)| *next);
            let start_at = from.plus(Duration::from_secs_f64(*start as f64 * run.interval_s));
            let (node, gain) = if *on_reference {
                self.reference(channel)
            } else {
                (channel.node, 1.0)
            };
            world.samples(node, start_at, run.interval_s, end - start, &mut truth);
            let gain = gain * self.shows(index, run.start);
            truth[*start..].iter_mut().for_each(|value| *value *= gain);
        }
        channel.convert(&truth, &self.noise, run.readings[index], first as u64)
    }
}

/// When and how densely a record is taken.
#[derive(Clone)]
pub(super) struct Run {
    /// The first sample.
    pub(super) start: RunTime,
    /// True interval, with the error of the time base.
    pub(super) interval_s: f64,
    /// Noise of each channel.
    pub(super) readings: Vec<Reading>,
}
