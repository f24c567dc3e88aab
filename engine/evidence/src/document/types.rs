//! The plain document: everything a report prints, as text and numbers, in the order of its pages.
//!
//! Reports (PDF, CSV, `JUnit`, page) lay it out and decide nothing. All texts from files, instruments and persons are
//! data here; whoever prints them escapes them for its own form.

use super::picture::{Picture, Plot};
use crate::heading::{Basis, InputFile, ItemPlate, LimitSetPlate, NotTested};
use crate::record::Finding;
use crate::rejudge::Difference;
use crate::sides::SideStatement;
use crate::words::{DecisionRule, EnergyState, SignalWord, SourceStatus, Verdict};
use serde::Serialize;
use std::collections::BTreeMap;

/// Everything that a report prints.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Document {
    /// Form of the journal that it was made from.
    pub form: u32,
    /// Version of the program that ran.
    pub program_version: String,
    /// Short name of the run.
    pub run: String,
    /// Wall clock at the start, RFC 3339, UTC.
    pub started: String,
    /// Length of the run in seconds, to the last event.
    pub length_s: f64,
    /// The sequence's title.
    pub title: String,
    /// Printed on every page and suite of a rehearsal; no option removes it. `None` on a real bench.
    pub virtual_note: Option<String>,
    /// Seed, defect and link of a rehearsal, in words.
    pub virtual_detail: Option<String>,
    /// What must be said before everything else: what could not be confirmed dead and what to do by hand.
    pub said_first: Vec<String>,
    /// Verdict of the run; [`Verdict::Error`] where the journal has no end.
    pub verdict: Verdict,
    /// Exit code; `None` where the journal has no end.
    pub exit_code: Option<u8>,
    /// All codes that applied.
    pub codes: Vec<u8>,
    /// Why the verdict is not a pass: steps with their reasons, stops, an open end.
    pub because: Vec<String>,
    /// Which side, with the readings for and against it and the cheapest next check.
    pub side: SideStatement,
    /// Number of judgements by verdict.
    pub counts: BTreeMap<Verdict, u64>,
    /// How uncertainty enters verdicts.
    pub decision_rule: DecisionRule,
    /// The same in words, with its source.
    pub decision_text: String,
    /// The thing under test.
    pub item: ItemPlate,
    /// The bench and its instruments.
    pub bench: BenchPart,
    /// The chosen limit set.
    pub limits: LimitSetPlate,
    /// Standards that the sequence rests on.
    pub basis: Vec<Basis>,
    /// Files that went into the run.
    pub inputs: Vec<InputFile>,
    /// Cautions and who acknowledged them.
    pub cautions: Vec<CautionRow>,
    /// Questions and answers.
    pub answers: Vec<AnswerRow>,
    /// The steps in order.
    pub steps: Vec<StepPart>,
    /// Where the limits come from.
    pub sources: Vec<SourceRow>,
    /// Number of judgements by status of their limit.
    pub source_counts: BTreeMap<SourceStatus, u64>,
    /// What was not covered, and why.
    pub not_tested: Vec<NotTested>,
    /// What was measured dead, or not, in order.
    pub dead: Vec<DeadRow>,
    /// What stopped the run.
    pub stops: Vec<StopRow>,
    /// What the bench or the program could not do.
    pub troubles: Vec<TroubleRow>,
    /// Interlocks and protections: how often checked, and the trips.
    pub watches: Vec<WatchRow>,
    /// Each time that make safe was run.
    pub made_safe: Vec<MadeSafePart>,
    /// Pictures that the sequence asks for.
    pub pictures: Vec<Picture>,
    /// Captures, thinned out for plots.
    pub captures: Vec<Plot>,
    /// Resistance against pilot voltage and contactor, where the run swept it.
    pub state_map: Option<StateMap>,
    /// The record behind this document.
    pub evidence: EvidencePart,
    /// To what the tool defers.
    pub deference: String,
}

/// The bench and its instruments.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BenchPart {
    /// Title of the bench file.
    pub title: String,
    /// What a person must know.
    pub notes: Vec<String>,
    /// Its instruments.
    pub instruments: Vec<InstrumentRow>,
}

/// One instrument.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InstrumentRow {
    /// Name within the bench.
    pub name: String,
    /// Title of its driver.
    pub driver: String,
    /// Where it is linked.
    pub link: String,
    /// Serial number expected by the bench file.
    pub serial: String,
    /// Last day of its calibration, where known.
    pub calibrated_until: Option<String>,
    /// What it answered to `*IDN?`, where it was asked.
    pub identified: Option<String>,
    /// Whether that is the expected one.
    pub expected: Option<bool>,
}

/// One caution.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CautionRow {
    /// ANSI Z535 signal word.
    pub signal: SignalWord,
    /// What a person must know.
    pub text: String,
    /// Who acknowledged it; `None` where nobody did.
    pub acknowledged_by: Option<String>,
    /// When, in seconds since the start.
    pub at_s: Option<f64>,
}

/// One question and its answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AnswerRow {
    /// When, in seconds since the start.
    pub at_s: f64,
    /// Sequence number in the journal.
    pub seq: u64,
    /// The prompt.
    pub prompt: String,
    /// The answer, verbatim.
    pub answer: String,
    /// Who answered.
    pub by: String,
    /// Whether hands were wanted at the item.
    pub hands: bool,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StepPart {
    /// Position in the run, from 0.
    pub number: u32,
    /// Id of the catalogue.
    pub id: String,
    /// Title.
    pub title: String,
    /// File and line.
    pub place: String,
    /// Verdict; not run where the run never came to it.
    pub verdict: Verdict,
    /// In words where it is not a pass.
    pub because: Option<String>,
    /// Whether it was not run because it does not apply to this nameplate: the only thing that is skipped.
    pub does_not_apply: bool,
    /// Why nothing that it read counts any more, where that is so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub void: Option<String>,
    /// When it began, in seconds since the start; `None` where it never did.
    pub began_s: Option<f64>,
    /// How long it took, in seconds.
    pub length_s: Option<f64>,
    /// What a fail means, in the technician's words.
    pub fail_means: Option<String>,
    /// What to look at next.
    pub look_next: Vec<String>,
    /// Its judgements, in order.
    pub rows: Vec<Row>,
    /// Readings that were not judged, in order.
    pub readings: Vec<ReadingRow>,
}

/// One judgement.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// Sequence number of the judgement in the journal.
    pub seq: u64,
    /// Sequence number of the reading in the journal.
    pub reading: u64,
    /// When the reading was complete, in seconds since the start.
    pub at_s: f64,
    /// Name of the reading.
    pub name: String,
    /// Title of the limit.
    pub title: String,
    /// Which pass of a repeat.
    pub pass: Option<String>,
    /// Outcome.
    pub verdict: Verdict,
    /// The value in its unit, or the reason why there is none.
    pub value: String,
    /// Expanded uncertainty (k = 2) in the unit, or why it is not known.
    pub expanded: String,
    /// The limit in its unit, e.g. `8.477 … 9.489 V`.
    pub limit: String,
    /// Distance to the nearest bound, with its sign; empty where there is none.
    pub margin: String,
    /// Probability that the true value lies outside, e.g. `0.3 %`; empty where not known.
    pub risk: String,
    /// Value, U, low bound, high bound, margin in the unit `unit`, for tables of numbers.
    pub numbers: Numbers,
    /// The unit of `numbers`.
    pub unit: String,
    /// Marks printed beside the verdict.
    pub marks: Vec<String>,
    /// Key of the limit in its set, or `inline`.
    pub key: String,
    /// The source in one line: standard, edition, clause, status, by whom.
    pub source: String,
    /// How the figure is known.
    pub status: SourceStatus,
    /// File and line of the limit.
    pub place: String,
    /// For a computed value: how.
    pub formula: Option<String>,
    /// What went to and came from the instruments for this value, computed ones included.
    pub raw: Vec<RawReply>,
}

/// The figures of a row in its unit; `None` where there is none.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Numbers {
    /// Value.
    pub value: Option<f64>,
    /// Expanded uncertainty (k = 2).
    pub expanded: Option<f64>,
    /// Lower bound.
    pub low: Option<f64>,
    /// Upper bound.
    pub high: Option<f64>,
    /// Distance to the nearest bound.
    pub margin: Option<f64>,
    /// Probability that the true value lies outside (a ratio).
    pub risk: Option<f64>,
}

/// One question to an instrument and its answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RawReply {
    /// Name within the bench.
    pub instrument: String,
    /// What was sent.
    pub sent: String,
    /// What came.
    pub received: Option<String>,
    /// When the last byte had come, in seconds since the start.
    pub at_s: f64,
}

/// A reading that nobody judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadingRow {
    /// Sequence number in the journal.
    pub seq: u64,
    /// When it was complete, in seconds since the start.
    pub at_s: f64,
    /// Name.
    pub name: String,
    /// The point; empty for a computed value.
    pub point: String,
    /// Which pass of a repeat.
    pub pass: Option<String>,
    /// The value in its unit, the word, or the reason why there is none.
    pub value: String,
    /// Expanded uncertainty (k = 2) in the unit, or why it is not known.
    pub expanded: String,
    /// Value in `unit`, for tables of numbers.
    pub number: Option<f64>,
    /// Expanded uncertainty in `unit`.
    pub expanded_number: Option<f64>,
    /// The unit.
    pub unit: String,
    /// For a computed value: how.
    pub formula: Option<String>,
    /// What went to and came from the instruments.
    pub raw: Vec<RawReply>,
}

/// One source of limits.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct SourceRow {
    /// Standard; empty for common practice.
    pub standard: String,
    /// Edition.
    pub edition: String,
    /// Clause.
    pub clause: String,
    /// How the figures are known.
    pub status: SourceStatus,
    /// By whom restated, or how derived.
    pub by: Option<String>,
    /// The same in one line, as in [`Row::source`]: ties rows to their source.
    pub line: String,
    /// Titles of the limits that were judged.
    pub limits: Vec<String>,
    /// Number of judgements.
    pub judged: u64,
}

/// What was measured dead, or not.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DeadRow {
    /// Sequence number in the journal.
    pub seq: u64,
    /// When, in seconds since the start.
    pub at_s: f64,
    /// `ac_output` or `ac_input`.
    pub at: String,
    /// Whether every pair was below its limits and the meter was proven before and after.
    pub dead: bool,
    /// The sentence for people.
    pub sentence: String,
    /// The known burden.
    pub burden: String,
    /// The pairs with their readings.
    pub pairs: Vec<DeadPairRow>,
    /// What the meter read on the reference before and after.
    pub proofs: Vec<String>,
}

/// One pair of conductors.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DeadPairRow {
    /// E.g. `L-PE`.
    pub pair: String,
    /// The AC reading.
    pub ac: String,
    /// The DC reading.
    pub dc: String,
    /// Whether both are below their limits.
    pub dead: bool,
}

/// What stopped the run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StopRow {
    /// When, in seconds since the start.
    pub at_s: f64,
    /// By what, in words.
    pub by: String,
    /// Why.
    pub why: String,
}

/// What the bench or the program could not do.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TroubleRow {
    /// When, in seconds since the start.
    pub at_s: f64,
    /// Sequence number in the journal.
    pub seq: u64,
    /// Name within the bench; empty for the program itself.
    pub instrument: String,
    /// One sentence: command, expected, got, elapsed.
    pub text: String,
    /// How to mend it.
    pub mend: String,
}

/// An interlock or a protection over the whole run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WatchRow {
    /// `interlock` or `protection`.
    pub kind: String,
    /// Its name or point.
    pub name: String,
    /// Number of checks.
    pub checks: u64,
    /// Trips, in words.
    pub trips: Vec<String>,
    /// What was seen last.
    pub last: String,
}

/// One run of make safe.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MadeSafePart {
    /// When, in seconds since the start.
    pub at_s: f64,
    /// Whether every line was confirmed.
    pub confirmed: bool,
    /// Whether the emergency order was used.
    pub emergency: bool,
    /// Lines: what, confirmed, seen.
    pub lines: Vec<(String, bool, String)>,
    /// What to do by hand.
    pub by_hand: Option<String>,
}

/// Resistance against pilot voltage and contactor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StateMap {
    /// Index of its step.
    pub step: u32,
    /// Id of its step.
    pub id: String,
    /// In order of the sweep.
    pub points: Vec<StatePoint>,
    /// Levels that the limits name, in volts, with a label.
    pub levels: Vec<(f64, String)>,
    /// The standard's windows of the states, as far as the run judged against them: low, high in volts, name of the state.
    pub bands: Vec<(f64, f64, String)>,
}

/// One point of a state map.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StatePoint {
    /// Sequence number of the last reading that went in.
    pub seq: u64,
    /// Which pass.
    pub pass: String,
    /// Resistance in ohms.
    pub resistance_ohm: f64,
    /// High level of the pilot in volts.
    pub pilot_v: Option<f64>,
    /// Output voltage in volts.
    pub output_v: Option<f64>,
    /// Whether the contactor is closed by the output voltage: at or above half of the highest of the sweep.
    pub closed: Option<bool>,
    /// Whether on the way back.
    pub back: bool,
}

/// The record behind the document.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EvidencePart {
    /// Hash of the last line.
    pub head: String,
    /// Number of lines.
    pub lines: u64,
    /// Whether the record is sealed.
    pub sealed: bool,
    /// What is wrong with the record.
    pub findings: Vec<Finding>,
    /// Verdicts that come out differently when judged again.
    pub differences: Vec<Difference>,
    /// Energy state at the end, as far as known.
    pub energy: EnergyState,
}
