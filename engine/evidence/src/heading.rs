//! What stands at the top of a record: item, bench, limits, steps, cautions.
//!
//! It is the first event of a journal, so that a record explains itself without any other file.

use crate::pictured::PicturePlate;
use crate::words::{DecisionRule, ItemKind, SignalWord, SourceStatus};
use pilotage_core::uncertainty::{propagate, standard};
use pilotage_core::{Contribution, Measured, Quantity, Tolerance, Uncertainty};
use serde::{Deserialize, Deserializer, Serialize};
use std::collections::BTreeMap;

/// Version of the journal's form. A newer program opens every older form.
pub const JOURNAL_FORM: u32 = 1;

/// The first event of every run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Heading {
    /// [`JOURNAL_FORM`] of the writer.
    pub form: u32,
    /// Version of the program.
    pub program_version: String,
    /// A short name for the run, unique within a folder of runs.
    pub run: String,
    /// Virtual or real.
    pub mode: Mode,
    /// Wall clock at the start, RFC 3339, UTC.
    pub started: String,
    /// The sequence's title.
    pub title: String,
    /// Files that went into the run, each with its SHA-256.
    pub inputs: Vec<InputFile>,
    /// The thing under test.
    pub item: ItemPlate,
    /// The bench.
    pub bench: BenchPlate,
    /// The chosen limit set.
    pub limits: LimitSetPlate,
    /// How uncertainty enters verdicts.
    pub decision_rule: DecisionRule,
    /// Standards that the sequence rests on.
    pub basis: Vec<Basis>,
    /// Cautions to acknowledge before the first energising act.
    pub cautions: Vec<CautionText>,
    /// The steps in order, with what they judge.
    pub steps: Vec<StepHead>,
    /// Steps that take an earlier look at the bench once more.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub closings: Vec<Closing>,
    /// What this run does not cover, and why.
    pub not_tested: Vec<NotTested>,
}

/// Virtual or real.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "mode", rename_all = "snake_case")]
pub enum Mode {
    /// No item was tested.
    VirtualBench {
        /// Seed of all noise; `None` where another process serves the bench and does not say.
        #[serde(default)]
        seed: Option<u64>,
        /// The defect given to the virtual item, e.g. `W03 plain`.
        defect: Option<String>,
        /// Whether the bench was reached over TCP.
        over_tcp: bool,
        /// What was done to the links: faults, or a trace played back in place of instruments.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        links: Option<String>,
    },
    /// A real bench.
    RealBench,
}

/// One file that went into the run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InputFile {
    /// What it is: sequence, item, bench, driver, limits, defect, sides.
    pub role: String,
    /// The name as given, or `shipped:` and the name of an embedded one.
    pub name: String,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
}

/// The item as reports print it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ItemPlate {
    /// Its kind.
    pub kind: ItemKind,
    /// Title of the item file.
    pub title: String,
    /// Serial number as given.
    pub serial: String,
    /// Nameplate lines, in order: label and value as text.
    pub nameplate: Vec<(String, String)>,
}

/// The bench as reports print it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BenchPlate {
    /// Title of the bench file.
    pub title: String,
    /// Its instruments.
    pub instruments: Vec<InstrumentPlate>,
    /// Notes a person must know (e.g. that it runs attended only).
    pub notes: Vec<String>,
}

/// One instrument as reports print it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InstrumentPlate {
    /// Name within the bench.
    pub name: String,
    /// Title of its driver.
    pub driver: String,
    /// Where it is linked, e.g. `virtual` or `tcp 127.0.0.1:5025`.
    pub link: String,
    /// Serial number expected by the bench file.
    pub serial: String,
    /// Last day of its calibration (`YYYY-MM-DD`), where known.
    pub calibrated_until: Option<String>,
}

impl InstrumentPlate {
    /// The link of a meter that a person reads.
    pub const READ_BY_A_PERSON: &'static str = "read by a person";
}

/// The chosen limit set.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LimitSetPlate {
    /// Name, as given on the command line.
    pub name: String,
    /// Title.
    pub title: String,
}

/// A standard that the sequence rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Basis {
    /// E.g. `IEC 61851-1`.
    pub standard: String,
    /// E.g. `2017`.
    pub edition: String,
    /// E.g. `Annex A`.
    pub part: Option<String>,
}

/// A caution.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CautionText {
    /// ANSI Z535 signal word.
    pub signal: SignalWord,
    /// What a person must know.
    pub text: String,
}

/// One step as listed before the run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepHead {
    /// Position in the run, from 0.
    pub number: u32,
    /// Id of the catalogue, e.g. `WU-19`.
    pub id: String,
    /// Title.
    pub title: String,
    /// File and line.
    pub place: String,
    /// What a fail means, in the technician's words.
    pub fail_means: Option<String>,
    /// What to look at next.
    pub look_next: Vec<String>,
    /// What a report draws of it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub pictures: Vec<PicturePlate>,
}

/// A step that takes an earlier look at the bench once more. Where it is not met now, nothing in between counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Closing {
    /// Number of the step.
    pub step: u32,
    /// Number of the earlier look.
    pub since: u32,
}

impl Heading {
    /// How many steps of the sequence this bench or this item leaves out, and which: a pass says nothing of them.
    pub fn steps_left_out(&self) -> Option<String> {
        let left_out: Vec<&str> = self
            .not_tested
            .iter()
            .filter(|step| step.left_out)
            .map(|step| step.what.as_str())
            .collect();
        let all = left_out.len() + self.steps.len();
        (!left_out.is_empty()).then(|| {
            format!(
                "{} of {all} steps are NOT TESTED, as the bench or the item lacks what they need: {}",
                left_out.len(),
                left_out.join(", ")
            )
        })
    }
}

/// Something that this run does not cover.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NotTested {
    /// A step id or a clause.
    pub what: String,
    /// In words.
    pub title: String,
    /// Why not, and what would be needed.
    pub why: String,
    /// A step of the sequence that this bench or this item leaves out, as opposed to what the sequence does not cover at all.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub left_out: bool,
}

/// Where a limit comes from, as printed beside each verdict.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LimitPlate {
    /// Key in its limit set, or `inline` for a limit written in the sequence.
    pub key: String,
    /// Title.
    pub title: String,
    /// File and line of its definition.
    pub place: String,
    /// Standard, e.g. `IEC 61851-1`; empty for common practice.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub standard: String,
    /// Edition.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub edition: String,
    /// Clause.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub clause: String,
    /// How the figure is known.
    pub status: SourceStatus,
    /// By whom it was restated, or how it was derived.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Bounds worked out for this item.
    pub tolerance: Tolerance,
    /// Uncertainty of each bound that was worked out from readings; none where they rest on the nameplate and on numbers. Records of earlier
    /// versions hold one at most, without a list.
    #[serde(default, skip_serializing_if = "Vec::is_empty", deserialize_with = "one_or_more")]
    pub bounds: Vec<Uncertainty>,
    /// The unit to print in.
    pub unit: String,
}

/// Keys of limits that are demands on the bench begin so.
const OF_THE_BENCH: &str = "bench.";

impl LimitPlate {
    /// Whether it is a demand on the bench: a bad bench is not a bad item, in whichever step it shows.
    pub fn is_of_the_bench(&self) -> bool {
        self.key.starts_with(OF_THE_BENCH)
    }

    /// The same limit with bounds that come of readings.
    #[must_use]
    pub fn worked_out(&self, low: Option<Measured>, high: Option<Measured>) -> Self {
        let of = |bound: &Option<Measured>| bound.as_ref().map(|bound| bound.value);
        let tolerance = match (of(&low), of(&high)) {
            (Some(low), Some(high)) => Tolerance::Between(low, high),
            (Some(low), None) => Tolerance::AtLeast(low),
            (None, Some(high)) => Tolerance::AtMost(high),
            (None, None) => self.tolerance.clone(),
        };
        let uncertain = |bound: &Measured| bound.standard().is_none_or(|standard| standard > 0.0);
        let bounds = low.into_iter().chain(high).filter(uncertain);
        Self {
            tolerance,
            bounds: bounds.map(|bound| bound.uncertainty).collect(),
            ..self.clone()
        }
    }

    /// What counts in a decision: the uncertainty of a reading less the bound that leaves it the least certain, and never less than that
    /// of the reading. Of one meter gain and fixed part are in both; but a part of what is stated as fixed scatters, and nothing says
    /// which. A bound that the reading shares a meter with can be the larger one and still add less than one of another meter.
    pub fn counted(&self, reading: &Uncertainty) -> Uncertainty {
        let size = |one: &Uncertainty| standard(one).unwrap_or(f64::INFINITY);
        let less_bound = |bound| propagate(&[(1.0, reading), (-1.0, bound)]);
        let all = self.bounds.iter().map(less_bound);
        all.fold(
            reading.clone(),
            |most, one| if size(&one) >= size(&most) { one } else { most },
        )
    }
}

/// A list, or one alone.
fn one_or_more<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<Uncertainty>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Kept {
        All(Vec<Uncertainty>),
        One(Uncertainty),
    }
    Ok(match Kept::deserialize(deserializer)? {
        Kept::All(all) => all,
        Kept::One(one) => vec![one],
    })
}

/// Names and values that hold for the whole run (nameplate values, constants), for re-evaluation from the record.
pub type Constants = BTreeMap<String, Quantity>;

/// Kept here for the documentation of budgets printed in annexes.
pub type Budget = Vec<Contribution>;
