//! What `find` looks for in sampled voltage and current: power, efficiency, harmonics, ripple, inrush, responses.
//!
//! One type serves the file and the program: they differ only in how channels, numbers and events are written.

use super::sequence::{EventText, SignalPart};
pub use super::takes::{DistortionTake, InrushTake, PowerTake, ResponseTake, RippleTake};
use crate::source::{Formula, Sp};
use pilotage_core::power::Grouping;

/// As a sequence writes it.
pub type PowerText = PowerFind<Sp<String>, Formula, EventText>;

/// Voltage and current of one side, sampled at the same moments.
#[derive(Debug, Clone, PartialEq)]
pub struct PairOf<C> {
    /// Channel of the voltage.
    pub voltage: C,
    /// Channel of the current.
    pub current: C,
}

/// An analysis over channels `C`, with numbers `N` and events `E`.
#[derive(Debug, Clone, PartialEq)]
pub enum PowerFind<C, N, E> {
    /// `{power: {voltage: …, current: …}, take: …}`: over whole cycles (IEEE 1459).
    Power {
        /// The pair.
        of: PairOf<C>,
        /// Which value.
        take: PowerTake,
    },
    /// `{efficiency: {output: {…}, input: {…}}}`: both sides over the same whole cycles.
    Efficiency {
        /// What comes out.
        output: PairOf<C>,
        /// What goes in.
        input: PairOf<C>,
    },
    /// `{harmonic: …, line: …, order: …, grouping: …}`: rms of one order (IEC 61000-4-7).
    Harmonic {
        /// The channel.
        of: C,
        /// The voltage that gives the cycles.
        line: C,
        /// The order, from 1.
        order: N,
        /// What counts as the harmonic.
        grouping: Grouping,
    },
    /// `{distortion: …, line: …, take: …, grouping: …}`: several orders together.
    Distortion {
        /// The channel.
        of: C,
        /// The voltage that gives the cycles.
        line: C,
        /// Which sum.
        take: DistortionTake,
        /// What counts as a harmonic.
        grouping: Grouping,
    },
    /// `{ripple: …, bandwidth: …, take: …}`: behind a low pass of first order.
    Ripple {
        /// The channel.
        of: C,
        /// Where the low pass is at −3 dB.
        bandwidth: N,
        /// Which value.
        take: RippleTake,
    },
    /// `{ripple: …, line: …, take: …}`: the part at twice the frequency of the line alone.
    RippleOfLine {
        /// The channel.
        of: C,
        /// The voltage that gives the cycles.
        line: C,
        /// Which value.
        take: RippleTake,
    },
    /// `{inrush: …, take: …, above: …}`: a surge of current, either way.
    Inrush {
        /// The channel.
        of: C,
        /// Which value.
        take: InrushTake,
        /// What lies below does not count; 0 where absent.
        above: Option<N>,
    },
    /// `{response: …, change: EVENT, take: …, band: …}`: how a signal comes to its new value.
    Response {
        /// The channel.
        of: C,
        /// Its samples or its envelope.
        part: SignalPart,
        /// What the signal responds to.
        change: E,
        /// Which value.
        take: ResponseTake,
        /// Half width of the band, as a share of the new value.
        band: N,
    },
}

impl<C, N, E> PowerFind<C, N, E> {
    /// The channels it looks at, without that of an event.
    pub fn channels(&self) -> Vec<&C> {
        match self {
            Self::Power { of, .. } => vec![&of.voltage, &of.current],
            Self::Efficiency { output, input } => {
                vec![&output.voltage, &output.current, &input.voltage, &input.current]
            }
            Self::Harmonic { of, line, .. }
            | Self::Distortion { of, line, .. }
            | Self::RippleOfLine { of, line, .. } => {
                vec![of, line]
            }
            Self::Ripple { of, .. } | Self::Inrush { of, .. } | Self::Response { of, .. } => vec![of],
        }
    }
}
