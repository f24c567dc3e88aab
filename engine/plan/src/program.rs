//! The sequence fitted to one item and one bench: a flat list of acts with the energy state before and after.
//!
//! Repeats, `for_each`, sweeps and ramps are unrolled, values of `set` are numbers: nothing that energises depends on a
//! reading. `check`, `rehearse`, the time estimate and the safety proof read the same program that the runner executes.

use crate::contactor::StopOpens;
use crate::energy::BenchState;
use crate::files::power::PowerFind;
use crate::files::sequence::{AnswerText, LevelTake, PulseTake, SignalPart};
use crate::source::Span;
use pilotage_core::{Expr, Quantity, Tolerance};
use pilotage_evidence::heading::{LimitPlate, StepHead};
use pilotage_evidence::{EnergyState, Heading, Side};
use std::collections::BTreeMap;
use std::time::Duration;

/// A program, ready to run.
#[derive(Debug, Clone, PartialEq)]
pub struct Program {
    /// The first event; the runner fills in `run`, `mode` and `started`.
    pub heading: Heading,
    /// Nameplate values and constants by name.
    pub constants: BTreeMap<String, Quantity>,
    /// Interlocks that must hold while anything is energised.
    pub interlocks: Vec<Interlock>,
    /// Largest age of the stop proof; the runner refuses to energise without one.
    pub stop_proven_within: Duration,
    /// What the stop must open.
    pub stop_opens: Vec<StopOpens>,
    /// Limits watched whenever anything is energised.
    pub protections: Vec<Protection>,
    /// Whether the bench is a person with meters: nothing can be set, read or proven dead, and the item lies there disconnected.
    pub hand_held: bool,
    /// What proves an output dead.
    pub dead: DeadPlan,
    /// The tool's own order of de-energising.
    pub make_safe: MakeSafePlan,
    /// What takes the place of proving dead on a bench that cannot energise the item; `None` where it can.
    pub without_source: Option<WithoutSource>,
    /// The steps, in order.
    pub steps: Vec<Step>,
    /// Estimated length without waiting for persons.
    pub estimate: Duration,
}

/// One step, unrolled.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// As listed in the heading.
    pub head: StepHead,
    /// Whether it runs in *isolated*: a fail withholds every energising permit.
    pub isolated: bool,
    /// Whether it applies to this nameplate, else why not.
    pub skipped: Option<String>,
    /// Readings whose expanded uncertainty must stay below a value, else their limits are not decidable.
    pub needs: BTreeMap<String, Quantity>,
    /// Side claimed where it fails.
    pub fail_side: Option<Side>,
    /// Estimated length without waiting for persons.
    pub estimate: Duration,
    /// The acts, in order.
    pub acts: Vec<Act>,
    /// Where it stands.
    pub span: Span,
}

/// One thing done.
#[derive(Debug, Clone, PartialEq)]
pub struct Act {
    /// Counts from 0 through the whole program.
    pub number: u32,
    /// What is done.
    pub kind: ActKind,
    /// Energy state before.
    pub before: EnergyState,
    /// Energy state after, as far as known beforehand.
    pub after: EnergyState,
    /// Which pass of a repeat, a `for_each` or a sweep: `3 of 10`, `i_set = 8 A`, and `r_set = 2.74 kΩ, back` on a sweep's
    /// way back. Several are joined by commas, outermost first.
    pub pass: Option<String>,
    /// Values of `for_each` and sweep names in this pass.
    pub constants: BTreeMap<String, Quantity>,
    /// Where it stands.
    pub span: Span,
}

/// The kinds of act.
#[derive(Debug, Clone, PartialEq)]
pub enum ActKind {
    /// Set a point to something that cannot energise.
    Quiet(QuietOrder),
    /// Set a point to something that can energise.
    Energise(EnergisingOrder),
    /// Read points, all at the same time.
    Read(Vec<ReadSpec>),
    /// Capture samples while acts are done.
    Capture(CaptureSpec),
    /// Analyse the last capture or sweep.
    Find(Vec<FindSpec>),
    /// Wait for something.
    WaitFor(WaitSpec),
    /// Make sure that something does not come.
    MustNot(MustNotSpec),
    /// Let time pass.
    Hold(Duration),
    /// Wait until a reading stays within a band.
    Settle(SettleSpec),
    /// Ask a person.
    Ask(AskSpec),
    /// Supply off, prove dead, the person locks the isolator: afterwards *isolated*.
    Isolate(IsolateSpec),
    /// Prove every pair of conductors dead.
    ProveDead(ProveDeadSpec),
    /// Judge readings.
    Judge(Vec<JudgeSpec>),
}

/// Acts in their order, those that are done during a capture behind it.
pub fn with_inner(acts: &[Act]) -> Vec<&Act> {
    acts.iter()
        .flat_map(|act| match &act.kind {
            ActKind::Capture(capture) => [vec![act], with_inner(&capture.during)].concat(),
            _ => vec![act],
        })
        .collect()
}

/// Set one point.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// The point, e.g. `pilot_load`.
    pub point: String,
    /// To what.
    pub to: Setting,
    /// For sweeps: the reading that the value becomes.
    pub becomes: Option<String>,
}

/// To what a point is set.
#[derive(Debug, Clone, PartialEq)]
pub enum Setting {
    /// A word.
    Word(String),
    /// A value, and the unit to print it in.
    Amount(Quantity, String),
}

/// An order that cannot energise. Only the energy table of the item's kind makes one.
#[derive(Debug, Clone, PartialEq)]
pub struct QuietOrder(pub(crate) Order);

/// An order that can energise. Only the energy table of the item's kind makes one; sending it takes a permit.
#[derive(Debug, Clone, PartialEq)]
pub struct EnergisingOrder(pub(crate) Order);

impl QuietOrder {
    /// What is set.
    pub fn order(&self) -> &Order {
        &self.0
    }
}

impl EnergisingOrder {
    /// What is set.
    pub fn order(&self) -> &Order {
        &self.0
    }
}

/// Read one point.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadSpec {
    /// Name of the reading.
    pub name: String,
    /// The point.
    pub point: String,
    /// The unit to print in; empty for a word.
    pub unit: String,
}

impl ReadSpec {
    /// A reading that is called by its point.
    pub fn of(point: &str, unit: &str) -> Self {
        Self {
            name: point.to_owned(),
            point: point.to_owned(),
            unit: unit.to_owned(),
        }
    }
}

/// A capture.
#[derive(Debug, Clone, PartialEq)]
pub struct CaptureSpec {
    /// Its name, made from the step's id.
    pub name: String,
    /// The points, one a channel.
    pub of: Vec<String>,
    /// Length.
    pub length: Duration,
    /// Samples a second.
    pub rate: f64,
    /// Acts done while it runs.
    pub during: Vec<Act>,
}

/// One analysis.
#[derive(Debug, Clone, PartialEq)]
pub struct FindSpec {
    /// Name of the reading that it becomes.
    pub name: String,
    /// The unit to print in.
    pub unit: String,
    /// What is looked for.
    pub find: Find,
}

/// What is looked for.
#[derive(Debug, Clone, PartialEq)]
pub enum Find {
    /// Time between two events.
    Between(CaptureEvent, CaptureEvent),
    /// A parameter of a periodic pulse.
    Pulse(String, PulseTake),
    /// A level over the whole capture.
    Level(String, LevelTake),
    /// How often an event comes.
    Count(CaptureEvent),
    /// Angle of the wave of a channel at an event, within half a turn of the angle that is expected.
    Angle(String, CaptureEvent, Quantity),
    /// The swept reading's value where another reading crosses a level.
    Swept {
        /// Reading whose value is wanted.
        of: String,
        /// Reading that crosses.
        crossing: String,
        /// Whether it rises.
        rises: bool,
        /// The level.
        level: Quantity,
        /// Whether on the way back.
        back: bool,
    },
    /// Power, harmonics, ripple, inrush, responses.
    Power(PowerFind<String, Quantity, CaptureEvent>),
}

/// An event in a capture.
#[derive(Debug, Clone, PartialEq)]
pub struct CaptureEvent {
    /// The channel's point.
    pub channel: String,
    /// Which signal of it.
    pub part: SignalPart,
    /// Whether it rises through the level.
    pub rises: bool,
    /// The level.
    pub level: Quantity,
    /// The last such event instead of the first.
    pub last: bool,
}

/// A point against a tolerance or a word.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    /// The point.
    pub point: String,
    /// The unit to print in; empty for a word.
    pub unit: String,
    /// What is wanted.
    pub wanted: Wanted,
}

/// What a condition wants.
#[derive(Debug, Clone, PartialEq)]
pub enum Wanted {
    /// A number inside a tolerance.
    Number(Tolerance),
    /// A word.
    Word(String),
}

/// Wait for something.
#[derive(Debug, Clone, PartialEq)]
pub struct WaitSpec {
    /// What must come.
    pub condition: Condition,
    /// Time between looks.
    pub every: Duration,
    /// The latest.
    pub deadline: Duration,
    /// Name of the reading that the time becomes (an interval: between two looks).
    pub name: String,
    /// The demand as a limit on that time.
    pub limit: LimitPlate,
    /// Whether its absence is inconclusive instead of a fail.
    pub inconclusive: bool,
    /// Side claimed by its absence.
    pub side: Option<Side>,
    /// In words.
    pub says: Option<String>,
}

/// Make sure that something does not come.
#[derive(Debug, Clone, PartialEq)]
pub struct MustNotSpec {
    /// What must not come.
    pub condition: Condition,
    /// For so long.
    pub length: Duration,
    /// Time between looks.
    pub every: Duration,
    /// Name of the reading that the count of such looks becomes.
    pub name: String,
    /// The demand as a limit on that count: at most 0.
    pub limit: LimitPlate,
}

/// Wait until a reading stays within a band.
#[derive(Debug, Clone, PartialEq)]
pub struct SettleSpec {
    /// What must settle.
    pub point: String,
    /// Half width of the band.
    pub band: Quantity,
    /// How long it must stay inside.
    pub dwell: Duration,
    /// The latest.
    pub deadline: Duration,
    /// What is read on the way, all at the same time, and the time between such readings.
    pub along: Option<(Vec<ReadSpec>, Duration)>,
}

/// Ask a person.
#[derive(Debug, Clone, PartialEq)]
pub struct AskSpec {
    /// The prompt.
    pub prompt: String,
    /// What kind of answer.
    pub answer: AnswerText,
    /// Name of the answer's reading.
    pub name: String,
    /// Whether hands are wanted at the item.
    pub hands: bool,
    /// What the person is asked to do with the item, in a word that a virtual person knows.
    pub does: Option<String>,
    /// Expanded uncertainty (k = 2) of a value that is answered, unless the person states one.
    pub uncertainty: Option<Quantity>,
    /// The demand as a limit where the answer judges; `None` for a quantity. Yes counts as 1 and no as 0; a word counts as
    /// its position among the choices, from 0.
    pub limit: Option<LimitPlate>,
}

/// Isolate.
#[derive(Debug, Clone, PartialEq)]
pub struct IsolateSpec {
    /// What switches everything off, in order.
    pub off: Vec<SafeAct>,
    /// What is proven dead, before and behind the lock.
    pub prove: Vec<ProveDeadSpec>,
    /// What the person is asked to do (lock the isolator by its name).
    pub prompt: String,
}

/// Prove dead.
#[derive(Debug, Clone, PartialEq)]
pub struct ProveDeadSpec {
    /// A place of the item's kind, e.g. `ac_output`.
    pub at: String,
    /// Pairs of conductors, e.g. `L-N`.
    pub pairs: Vec<String>,
    /// The latest.
    pub deadline: Duration,
    /// Whether a pair found live stops the run (it does, except inside make safe).
    pub stops: bool,
    /// Whether `isolate` proves it only once the isolator is locked.
    pub behind_lock: bool,
}

/// How anything is proven dead on this bench.
#[derive(Debug, Clone, PartialEq)]
pub struct DeadPlan {
    /// Orders that put the known burden across the pairs, and take it away.
    pub burden_on: QuietOrder,
    /// See `burden_on`.
    pub burden_off: QuietOrder,
    /// The burden in words.
    pub burden: String,
    /// Orders that put the bench's own reference to AC, to DC, and off.
    pub reference_ac: QuietOrder,
    /// See `reference_ac`.
    pub reference_dc: QuietOrder,
    /// See `reference_ac`.
    pub reference_off: QuietOrder,
    /// AC and DC reading of the reference.
    pub reference_reads: (ReadSpec, ReadSpec),
    /// What the reference must read for the meter to count as proven: AC and DC.
    pub reference_limits: (LimitPlate, LimitPlate),
    /// What dead means: AC and DC.
    pub limits: (LimitPlate, LimitPlate),
}

/// A bench without any source that could energise the item: it proves nothing dead, so a person does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WithoutSource {
    /// What the person is asked before anything begins, and wherever the sequence isolates.
    pub prompt: String,
    /// What is then known, and from whom.
    pub says: String,
}

/// A condition that must hold while anything is energised.
#[derive(Debug, Clone, PartialEq)]
pub struct Interlock {
    /// The point.
    pub point: String,
    /// The word that must be read.
    pub must_be: String,
    /// Time between checks; a missed check trips.
    pub every: Duration,
}

/// A limit watched whenever anything is energised.
#[derive(Debug, Clone, PartialEq)]
pub struct Protection {
    /// The point.
    pub point: String,
    /// The unit to print in.
    pub unit: String,
    /// The limit.
    pub tolerance: Tolerance,
    /// Time between checks; a missed check trips.
    pub every: Duration,
}

/// The tool's own order of de-energising for this kind of item.
#[derive(Debug, Clone, PartialEq)]
pub struct MakeSafePlan {
    /// The worst state that the bench can be in before the first line. Each line is quiet only if those before it were done.
    pub from: BenchState,
    /// Normal order (stop category 1 of IEC 60204-1).
    pub normal: Vec<SafeAct>,
    /// Emergency order (stop category 0): supply off first.
    pub emergency: Vec<SafeAct>,
    /// What to do by hand where dead cannot be confirmed, with the bench's own names.
    pub by_hand: String,
}

/// One line of make safe.
#[derive(Debug, Clone, PartialEq)]
pub enum SafeAct {
    /// Set and read back.
    Order(QuietOrder),
    /// There is nothing to switch off or to prove: the points in words that no instrument of this bench serves.
    NothingThere(String),
    /// Wait for the item to act.
    Wait(Duration),
    /// If the output is not dead yet, switch the supply off now.
    SupplyOffUnlessDead(QuietOrder, ProveDeadSpec),
    /// What bleeds goes off only once a reading is below this.
    BleedUntil {
        /// What is read.
        read: ReadSpec,
        /// Below this.
        below: Quantity,
        /// The latest.
        deadline: Duration,
        /// What then goes off.
        off: QuietOrder,
    },
    /// Prove dead.
    ProveDead(ProveDeadSpec),
}

/// Judge one reading against its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgeSpec {
    /// Name of the reading.
    pub name: String,
    /// A formula that computes it first.
    pub value: Option<Expr>,
    /// The unit to print in.
    pub unit: String,
    /// The limits, bounds worked out for this item and pass. Where the bounds are late, the tolerance is *any of* nothing,
    /// which nothing passes.
    pub limits: Vec<LimitPlate>,
    /// Bounds that depend on readings: formulas for the tolerances of `limits`, by position.
    pub late_bounds: BTreeMap<usize, LateBounds>,
    /// Judged only where this holds.
    pub when: Option<Expr>,
}

/// Bounds that depend on readings.
#[derive(Debug, Clone, PartialEq)]
pub struct LateBounds {
    /// Lower bound.
    pub low: Option<Expr>,
    /// Upper bound.
    pub high: Option<Expr>,
}
