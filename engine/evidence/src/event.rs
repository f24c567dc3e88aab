//! What a run says about itself, one event after the other.
//!
//! Events are the only thing that journal, terminal, reports and judging consume. Times are [`RunTime`]; the wall clock
//! stands only in the heading. Every energising act has an `Intent` that is synced before its bytes are sent.

use crate::heading::{Heading, LimitPlate};
use crate::words::{EnergyState, Side, Verdict};
use pilotage_core::{Measured, NoValue, RunTime};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// One event with its place in the journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stamped {
    /// Counts from 0 without a gap.
    pub seq: u64,
    /// When it happened.
    pub at: RunTime,
    /// What happened.
    #[serde(flatten)]
    pub event: Event,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "snake_case")]
pub enum Event {
    /// Always the first.
    RunStarted(Box<Heading>),
    /// A person acknowledged a caution.
    CautionAcknowledged {
        /// Index into the heading's cautions.
        caution: u32,
        /// Who.
        by: String,
    },
    /// A person was asked.
    Asked {
        /// The prompt.
        prompt: String,
        /// The answer, verbatim.
        answer: String,
        /// Who answered.
        by: String,
        /// Whether hands were wanted at the item (only ever in *isolated*).
        hands: bool,
    },
    /// An instrument said who it is.
    Identified {
        /// Name within the bench.
        instrument: String,
        /// Its `*IDN?` reply.
        reply: String,
        /// Whether it matches the bench file.
        expected: bool,
    },
    /// A step begins.
    StepStarted {
        /// Index into the heading's steps.
        step: u32,
    },
    /// About to energise. On disk before the first byte is sent.
    Intent {
        /// Number of the act in the program.
        act: u32,
        /// In words, e.g. `set pilot_load to state_C`.
        order: String,
        /// Before the act.
        before: EnergyState,
        /// After the act.
        after: EnergyState,
        /// What will be sent: instrument and text.
        messages: Vec<(String, String)>,
    },
    /// A point was set and read back.
    Applied {
        /// Number of the act in the program.
        act: u32,
        /// In words.
        order: String,
        /// What was exchanged.
        exchanges: Vec<Exchange>,
    },
    /// A value was read or computed.
    Reading(Box<Reading>),
    /// Samples were captured and stored beside the journal.
    Captured(Capture),
    /// A reading was judged.
    Judged(Box<Judgement>),
    /// A pair of conductors was found dead or not dead.
    Dead(DeadStatement),
    /// The energy state changed.
    EnergyChanged {
        /// Before.
        from: EnergyState,
        /// After.
        to: EnergyState,
        /// Why.
        why: String,
    },
    /// An interlock was watched: a summary while it held, or the trip.
    Interlock {
        /// Its name, e.g. `enclosure`.
        name: String,
        /// Whether it held.
        held: bool,
        /// Checks since the last event of this interlock.
        checks: u64,
        /// What was seen.
        detail: String,
    },
    /// A protection tripped, or its extreme value over a hold.
    Protection {
        /// The point that it watches.
        point: String,
        /// Whether it stayed inside its limit.
        held: bool,
        /// Checks since the last event of this protection.
        checks: u64,
        /// What was seen.
        detail: String,
    },
    /// An instrument, a link or the program could not do something.
    Trouble(Trouble),
    /// A step ends.
    StepEnded {
        /// Index into the heading's steps.
        step: u32,
        /// Its verdict.
        verdict: Verdict,
        /// In words where it is not a pass.
        because: Option<String>,
        /// Side that the sequence claims for this outcome (e.g. `settings` for an item that waits).
        side: Option<Side>,
    },
    /// The run stops before its end.
    Stopped {
        /// By what.
        by: StopCause,
        /// In words.
        why: String,
    },
    /// Make safe was run and read back.
    MadeSafe {
        /// Whether every line was confirmed.
        confirmed: bool,
        /// Whether the emergency order was used (supply off first).
        emergency: bool,
        /// What was done and seen, in order.
        lines: Vec<SafeLine>,
        /// Said first where something could not be confirmed: what to do by hand.
        by_hand: Option<String>,
    },
    /// Always the last.
    RunEnded {
        /// Verdict of the run.
        verdict: Verdict,
        /// Exit code by the precedence of the design.
        exit_code: u8,
        /// All codes that applied.
        codes: Vec<u8>,
    },
}

/// One exchange with an instrument, with its times.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Exchange {
    /// Name within the bench.
    pub instrument: String,
    /// What was sent, without its terminator; bytes outside printable ASCII escaped as `\xNN`.
    pub sent: String,
    /// What came, likewise; `None` where none was expected. Blocks are given as `#block N bytes sha256 …`.
    pub received: Option<String>,
    /// First byte sent.
    pub began: RunTime,
    /// Last byte received (or sent).
    pub ended: RunTime,
}

/// A value that was read or computed, or the reason why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Name in the sequence (without `$`).
    pub name: String,
    /// Index into the heading's steps.
    pub step: u32,
    /// Which pass of a repeat, a `for_each` or a sweep, e.g. `3 of 10` or `i_set = 8 A`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pass: Option<String>,
    /// The point that was read, e.g. `ac_output[L-N].voltage`; empty for a computed value.
    pub point: String,
    /// The value, where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<Measured>,
    /// Why there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no_value: Option<NoValue>,
    /// A word instead of a number (interlock inputs, selector positions).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub word: Option<String>,
    /// The unit to print in.
    pub unit: String,
    /// From when to when it was taken.
    pub taken: (RunTime, RunTime),
    /// The exchanges that brought it, raw replies included.
    pub exchanges: Vec<Exchange>,
    /// For a computed value: its formula, or the name of the analysis.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub formula: Option<String>,
    /// For a computed value: name and sequence number of each reading or capture that went in.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub from: BTreeMap<String, u64>,
    /// For a computed value: the constants that went in.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub constants: BTreeMap<String, pilotage_core::Quantity>,
    /// Values of `for_each` and sweep names in this pass.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub variables: BTreeMap<String, pilotage_core::Quantity>,
    /// For what was found in a capture: the moments that it rests on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moments: Vec<Moment>,
}

/// A moment that was found in a capture.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Moment {
    /// When.
    pub when: RunTime,
    /// What happened, e.g. `pilot.high falls through 7 V`.
    pub what: String,
}

/// Captured samples, stored beside the journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Capture {
    /// Name in the sequence.
    pub name: String,
    /// Index into the heading's steps.
    pub step: u32,
    /// Which pass.
    pub pass: Option<String>,
    /// File below `captures/`.
    pub file: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// The channels in the file, in order.
    pub channels: Vec<CapturedChannel>,
    /// The exchanges that brought it.
    pub exchanges: Vec<Exchange>,
}

/// One channel of a capture: samples are little-endian `i16`, value = offset + scale × sample.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CapturedChannel {
    /// The point, e.g. `pilot`.
    pub point: String,
    /// Unit of the value.
    pub unit: String,
    /// Run time of the first sample.
    pub first_sample: RunTime,
    /// Seconds between samples.
    pub interval_s: f64,
    /// Number of samples.
    pub samples: u64,
    /// Value of sample 0.
    pub offset: f64,
    /// Value of one step.
    pub scale: f64,
    /// Standard uncertainty of the gain, relative; `None` where unknown.
    pub gain_standard: Option<f64>,
    /// Standard uncertainty of the offset in the unit; `None` where unknown.
    pub offset_standard: Option<f64>,
    /// Standard uncertainty of the time base, relative; `None` where unknown.
    pub time_standard: Option<f64>,
    /// Standard uncertainty of when the channel shows what happened, against the common moment of sampling, in seconds; `None` in records of earlier versions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub delay_standard_s: Option<f64>,
}

/// A reading against one limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judgement {
    /// Name of the reading that was judged.
    pub name: String,
    /// Index into the heading's steps.
    pub step: u32,
    /// Which pass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pass: Option<String>,
    /// Sequence number of the `Reading` event that was judged.
    pub reading: u64,
    /// The limit with its source.
    pub limit: LimitPlate,
    /// The outcome.
    pub verdict: Verdict,
    /// Expanded uncertainty (k = 2) in coherent SI units, where known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expanded: Option<f64>,
    /// Distance to the nearest bound in coherent SI units: positive inside, negative outside.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub margin: Option<f64>,
    /// Probability that the true value lies outside the limit (JCGM 106, 7), where the uncertainty is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk: Option<f64>,
    /// Marks printed beside the verdict: `uncertainty unknown`, `limit from memory` …
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub marks: Vec<String>,
}

/// What was measured dead, or not: never "safe".
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DeadStatement {
    /// `ac_output` or `ac_input`. Written as `place`: `at` is the time of every event.
    #[serde(rename = "place")]
    pub at: String,
    /// Whether every pair was below its limits and the meter was proven before and after.
    pub dead: bool,
    /// Pairs with the sequence numbers of their AC and DC readings.
    pub pairs: Vec<DeadPair>,
    /// The known burden across the pairs, in words.
    pub burden: String,
    /// Meter proven live before and after: sequence numbers of the four readings (AC and DC, before and after).
    pub proofs: Vec<u64>,
    /// Readings of the reference switched off, where they were taken (AC and DC, before and after): a meter that holds its
    /// last value shows here.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub resting: Vec<u64>,
    /// The sentence for people.
    pub sentence: String,
    /// What it was judged by: AC and DC of the pairs, AC and DC of the reference, in this order.
    #[serde(default)]
    pub limits: Vec<LimitPlate>,
}

/// One pair of conductors.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DeadPair {
    /// E.g. `L-PE`.
    pub pair: String,
    /// Sequence number of the AC reading.
    pub ac: u64,
    /// Sequence number of the DC reading.
    pub dc: u64,
    /// Whether both are below their limits.
    pub dead: bool,
}

/// Something that the bench or the program could not do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Trouble {
    /// Name within the bench; empty for the program itself.
    pub instrument: String,
    /// What was sent.
    pub command: String,
    /// What was expected.
    pub expected: String,
    /// What came.
    pub got: String,
    /// How long it took, in seconds.
    pub elapsed_s: f64,
    /// How to mend it.
    pub mend: String,
}

/// By what a run was stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StopCause {
    /// An interlock tripped.
    Interlock,
    /// A protection tripped.
    Protection,
    /// A person (Ctrl-C, a refused prompt).
    Person,
    /// Something that must be dead was not.
    NotDead,
    /// An isolated step failed, so nothing may be energised.
    IsolatedStepFailed,
    /// A link, an instrument, the disk or the program failed.
    Bench,
}

/// One line of make safe.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SafeLine {
    /// In words, e.g. `supply off`.
    pub what: String,
    /// Whether it was read back as wanted within its deadline.
    pub confirmed: bool,
    /// What was seen.
    pub seen: String,
}

/// What the line of a proof begins with.
pub const PROVE: &str = "prove";

impl SafeLine {
    /// Whether it proves a place dead.
    pub fn is_proof(&self) -> bool {
        self.what.split(' ').next() == Some(PROVE)
    }
}
