//! A sequence: the test as written.

use super::limits::ToleranceText;
pub use super::picture::{AlongText, PictureForm, PictureText};
use super::power::PowerText;
pub use super::takes::{LevelTake, PulseTake};
use crate::source::{Formula, Sp, Span};
use pilotage_evidence::heading::{Basis, CautionText};
use pilotage_evidence::{ItemKind, Side, SourceStatus};

/// `pilotage: sequence/1`. Its steps are one flat list; as it was read, they are steps and names of chapters
/// ([`super::chapter::WrittenSequence`]).
#[derive(Debug, Clone, PartialEq)]
pub struct SequenceFile<S = StepText> {
    /// `title`
    pub title: Sp<String>,
    /// `item`: the kind of item that it tests.
    pub item: Sp<ItemKind>,
    /// `basis`: standards that it rests on.
    pub basis: Vec<Basis>,
    /// `limits`: name of the limit set taken when none is chosen.
    pub limits: Sp<String>,
    /// `more_limits`: names of further sets.
    pub more_limits: Vec<Sp<String>>,
    /// `default_item`, `default_bench`: names of shipped files taken when none is given.
    pub default_item: Option<Sp<String>>,
    /// See `default_item`.
    pub default_bench: Option<Sp<String>>,
    /// `accepts`: nameplate names with what the sequence takes.
    pub accepts: Vec<(Sp<String>, ToleranceText)>,
    /// `cautions`
    pub cautions: Vec<Sp<CautionText>>,
    /// `interlocks`
    pub interlocks: Vec<InterlockText>,
    /// `protect`
    pub protect: Vec<ProtectText>,
    /// `steps`
    pub steps: Vec<S>,
    /// `not_tested`: what it knowingly leaves out: what, title, why.
    pub not_tested: Vec<pilotage_evidence::heading::NotTested>,
}

impl<S> SequenceFile<S> {
    /// The same with the steps that are made of its own.
    pub(crate) fn map_steps<T>(self, make: impl FnOnce(Vec<S>) -> Vec<T>) -> SequenceFile<T> {
        SequenceFile {
            title: self.title,
            item: self.item,
            basis: self.basis,
            limits: self.limits,
            more_limits: self.more_limits,
            default_item: self.default_item,
            default_bench: self.default_bench,
            accepts: self.accepts,
            cautions: self.cautions,
            interlocks: self.interlocks,
            protect: self.protect,
            steps: make(self.steps),
            not_tested: self.not_tested,
        }
    }
}

/// One entry of `interlocks`.
#[derive(Debug, Clone, PartialEq)]
pub enum InterlockText {
    /// `enclosure: {must_be: closed, every: 50 ms}`: a word read from a point.
    Word {
        /// The point.
        point: Sp<String>,
        /// The word that must be read.
        must_be: Sp<String>,
        /// Time between checks; a missed check trips.
        every: Formula,
    },
    /// `hard_wired_stop: {proven_within: 12 h}`: BC-11 must be at most this old.
    StopProof {
        /// The age.
        proven_within: Formula,
        /// Where it stands.
        span: Span,
    },
}

/// One entry of `protect`: `terminal.temperature: {at_most: 90 °C, every: 1 s}`.
#[derive(Debug, Clone, PartialEq)]
pub struct ProtectText {
    /// The point that is watched.
    pub point: Sp<String>,
    /// The limit.
    pub tolerance: ToleranceText,
    /// Time between checks; a missed check trips.
    pub every: Formula,
}

/// One entry of `steps`.
#[derive(Debug, Clone, PartialEq)]
pub struct StepText {
    /// `step`: the title.
    pub title: Sp<String>,
    /// `id` of the catalogue.
    pub id: Sp<String>,
    /// `closes`: id of an earlier look at the bench that this step takes once more.
    pub closes: Option<Sp<String>>,
    /// `only_if`: a condition over nameplate values; where false the step does not apply (`JUnit`: skipped).
    pub only_if: Option<Formula>,
    /// `needs`: reading names with the largest expanded uncertainty that lets the limit be judged.
    pub needs: Vec<(Sp<String>, Formula)>,
    /// `for_each: {name: {of: …, at: […]}}` or `{name: […]}`: names and their values in order, the first changes least often.
    pub for_each: Vec<ForEach>,
    /// `repeat: {times: 10, judge: each | worst}`.
    pub repeat: Option<Repeat>,
    /// `do`
    pub acts: Vec<ActText>,
    /// `pictures`
    pub pictures: Vec<PictureText>,
    /// `if_fail.means`
    pub fail_means: Option<String>,
    /// `if_fail.look_next`
    pub look_next: Vec<String>,
    /// `if_fail.side`: claimed side where the step fails.
    pub fail_side: Option<Side>,
}

/// `for_each`.
#[derive(Debug, Clone, PartialEq)]
pub struct ForEach {
    /// The name, used as `$name`.
    pub name: Sp<String>,
    /// The values, in order. `{of: x, at: [25 %, …]}` becomes products.
    pub values: Vec<Formula>,
}

/// `repeat`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Repeat {
    /// How often.
    pub times: u32,
}

/// One entry of `do`.
#[derive(Debug, Clone, PartialEq)]
pub struct ActText {
    /// Where it stands.
    pub span: Span,
    /// What is done.
    pub form: ActForm,
}

/// The forms of act.
#[derive(Debug, Clone, PartialEq)]
pub enum ActForm {
    /// `set: {point: value, …}` in order.
    Set(Vec<(Sp<String>, SetText)>),
    /// `read: {name: point, …}`, all at the same time.
    Read(Vec<(Sp<String>, Sp<String>)>),
    /// `capture: {of: […], for: …, rate: …, while: […]}`.
    Capture {
        /// Points, one a channel.
        of: Vec<Sp<String>>,
        /// Length.
        length: Formula,
        /// Samples a second; the bench's default where absent.
        rate: Option<Formula>,
        /// Acts done while it runs, after it was armed.
        during: Vec<ActText>,
    },
    /// `find: {name: …}` in the last capture.
    Find(Vec<(Sp<String>, FindText)>),
    /// `sweep: {point: {from, to, points, spacing, and_back}, as: name, dwell: …, do: […]}`.
    Sweep {
        /// The point that is set.
        point: Sp<String>,
        /// First value.
        from: Formula,
        /// Last value.
        to: Formula,
        /// How many values.
        points: u32,
        /// `linear` or `logarithmic`.
        logarithmic: bool,
        /// Whether it comes back the same way.
        and_back: bool,
        /// The value's name.
        name: Sp<String>,
        /// Wait after each set.
        dwell: Formula,
        /// Acts at each value.
        acts: Vec<ActText>,
    },
    /// `ramp: {point: {from, to, over, steps}}`.
    Ramp {
        /// The point that is set.
        point: Sp<String>,
        /// First value.
        from: Formula,
        /// Last value.
        to: Formula,
        /// In this time.
        over: Formula,
        /// In so many steps.
        steps: u32,
    },
    /// `wait_for: {point: {at_most: …}, every, deadline, otherwise: {verdict, side, says}}`.
    WaitFor {
        /// What must come.
        condition: ConditionText,
        /// Time between looks.
        every: Formula,
        /// The latest, and whose demand that is.
        latest: Latest,
        /// The time it took becomes a reading of this name.
        name: Option<Sp<String>>,
        /// What it means where it does not come.
        otherwise: Otherwise,
    },
    /// `must_not: {point: {at_least: …}, for: …, every: …}`: an event that must not come for a time.
    MustNot {
        /// What must not come.
        condition: ConditionText,
        /// For so long.
        length: Formula,
        /// Time between looks.
        every: Formula,
        /// In the technician's words, what it would mean.
        means: Option<String>,
        /// Source of the demand.
        source: InlineSource,
    },
    /// `hold: 60 s`, protections and interlocks watched; `hold: {for: 60 s, read: {…}, every: 5 s}` with readings on the way.
    Hold(Formula, Option<AlongText>),
    /// `settle: {point: …, within: {of, by} | by, for: …, deadline: …}`: band and dwell.
    Settle {
        /// What must settle.
        point: Sp<String>,
        /// Half width of the band.
        band: Formula,
        /// How long it must stay inside.
        dwell: Formula,
        /// The latest.
        deadline: Formula,
        /// Readings on the way.
        along: Option<AlongText>,
    },
    /// `ask: {prompt, answer: yes_no | done | word | quantity, unit, name, hands}`.
    Ask {
        /// The prompt.
        prompt: Sp<String>,
        /// What kind of answer.
        answer: AnswerText,
        /// Name of the answer.
        name: Option<Sp<String>>,
        /// Whether hands are wanted at the item: only in *isolated*.
        hands: bool,
        /// What the virtual person does when asked, in a word of the virtual bench.
        does: Option<Sp<String>>,
        /// Expanded uncertainty (k = 2) of a value that is answered, unless the person states one.
        uncertainty: Option<Formula>,
        /// Source of the demand: always there for yes/no and words, never needed for a quantity.
        source: Option<InlineSource>,
    },
    /// `isolate: {}`: supply off, prove dead, the person locks the isolator.
    Isolate,
    /// `prove_dead: {at, deadline}`.
    ProveDead {
        /// `ac_output` or `ac_input`.
        at: Sp<String>,
        /// The latest.
        deadline: Formula,
    },
    /// `judge: {name: […]}`: each name against limits.
    Judge(Vec<(Sp<String>, JudgeText)>),
}

/// What a point is set to.
#[derive(Debug, Clone, PartialEq)]
pub enum SetText {
    /// A word: `state_C`, `on`.
    Word(Sp<String>),
    /// A value that is known before the run (nameplate, `for_each`, sweep; never a reading).
    Amount(Formula),
}

/// A point against a tolerance.
#[derive(Debug, Clone, PartialEq)]
pub struct ConditionText {
    /// The point.
    pub point: Sp<String>,
    /// The tolerance, or a word.
    pub wanted: WantedText,
}

/// What a condition wants.
#[expect(
    clippy::large_enum_variant,
    reason = "a sequence has few conditions, and they are read once"
)]
#[derive(Debug, Clone, PartialEq)]
pub enum WantedText {
    /// A number inside a tolerance.
    Number(ToleranceText),
    /// A word.
    Word(Sp<String>),
}

/// The latest moment that is waited for.
#[derive(Debug, Clone, PartialEq)]
pub enum Latest {
    /// `deadline: 30 s`, a demand of the sequence itself.
    Deadline(Formula, InlineSource),
    /// `limit: pilot.x2_delay`: the upper bound of a limit of the set.
    Limit(Sp<String>),
}

/// What it means where a wait ends without its event.
#[derive(Debug, Clone, PartialEq)]
pub struct Otherwise {
    /// `fail` or `inconclusive`.
    pub inconclusive: bool,
    /// Side.
    pub side: Option<Side>,
    /// In words.
    pub says: Option<String>,
}

/// Source of a limit that is written in the sequence itself.
#[derive(Debug, Clone, PartialEq)]
pub struct InlineSource {
    /// Status; without one the file is refused.
    pub status: SourceStatus,
    /// Standard, where there is one.
    pub standard: Option<String>,
    /// Edition.
    pub edition: Option<String>,
    /// Clause.
    pub clause: Option<String>,
    /// By whom restated, or how derived.
    pub by: Option<String>,
}

/// What kind of answer a person gives.
#[derive(Debug, Clone, PartialEq)]
pub enum AnswerText {
    /// Yes or no; `no` fails the step.
    YesNo,
    /// Yes once an instruction is carried out; on no nothing that the step judges behind it can be decided.
    Done,
    /// One of these words; the ones behind `passes` pass.
    Word {
        /// All that may be answered.
        choices: Vec<String>,
        /// Those that pass.
        passes: Vec<String>,
    },
    /// A value with a unit of this dimension.
    Quantity {
        /// The unit that is asked for.
        unit: Sp<String>,
    },
}

/// What `find` looks for in the last capture (or in a finished sweep).
#[derive(Debug, Clone, PartialEq)]
pub enum FindText {
    /// `{from: EVENT, to: EVENT}`: a time.
    Between {
        /// First event.
        from: EventText,
        /// Second event.
        to: EventText,
    },
    /// `{pulse: pilot, take: …}`: a parameter of a periodic pulse (IEEE 181).
    Pulse {
        /// The channel.
        channel: Sp<String>,
        /// Which parameter.
        take: PulseTake,
    },
    /// `{level: "ac_output[L-N]", take: …}`: a level over the whole capture.
    Level {
        /// The channel.
        channel: Sp<String>,
        /// Which level.
        take: LevelTake,
    },
    /// `{count: EVENT}`: how often.
    Count {
        /// The event.
        event: EventText,
    },
    /// `{angle: "ac_output[L-N]", at: EVENT, near: $angle}`: the angle of a settled wave at an event, 0° where it rises through
    /// zero, within half a turn of `near`.
    Angle {
        /// The channel of the wave.
        wave: Sp<String>,
        /// The event.
        at: EventText,
        /// The angle that is expected; 0° where absent.
        near: Option<Formula>,
    },
    /// `{swept: name, when: {other: {falls_through: …}}, way: there | back}`: the swept reading's value where another
    /// reading of the last sweep crosses a level; the answer is an interval between two points.
    Swept {
        /// The reading whose value is wanted.
        of: Sp<String>,
        /// The reading that crosses.
        crossing: Sp<String>,
        /// Whether it rises.
        rises: bool,
        /// The level.
        level: Formula,
        /// Whether on the way back.
        back: bool,
    },
    /// Power, harmonics, ripple, inrush, responses.
    Power(PowerText),
}

/// `{pilot.high: {falls_through: 7 V}}`
#[derive(Debug, Clone, PartialEq)]
pub struct EventText {
    /// The channel, e.g. `pilot` or `ac_output[L-N]`.
    pub channel: Sp<String>,
    /// Which signal of the channel.
    pub part: SignalPart,
    /// Whether it rises through the level.
    pub rises: bool,
    /// The level. `{of: x, by: 35 %}` becomes a product.
    pub level: Formula,
    /// Whether the last such event is meant (else the first).
    pub last: bool,
}

/// Which signal of a captured channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SignalPart {
    /// The samples themselves.
    Samples,
    /// The highest value of each pulse period.
    High,
    /// The lowest value of each pulse period.
    Low,
    /// The amplitude of an alternating signal (rms over a sliding half period).
    Envelope,
    /// How much of the settled wave stands, sample by sample: 1 behind a closed contact, 0 behind an open one.
    Contact,
    /// The duty of each pulse, between its crossings of 0 V.
    Duty,
}

impl SignalPart {
    /// What stands behind the channel's name in a file; nothing for the samples themselves.
    pub const fn suffix(self) -> &'static str {
        match self {
            Self::Samples => "",
            Self::High => ".high",
            Self::Low => ".low",
            Self::Envelope => ".envelope",
            Self::Contact => ".contact",
            Self::Duty => ".duty",
        }
    }
}

/// The right side of a `judge` entry.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgeText {
    /// A formula over readings; where absent, the reading of that name.
    pub value: Option<Formula>,
    /// The unit to print a computed value in.
    pub unit: Option<Sp<String>>,
    /// Keys in the limit set.
    pub limits: Vec<Sp<String>>,
    /// A limit written here.
    pub inline: Option<(ToleranceText, InlineSource, Option<String>)>,
    /// Judged only where this holds.
    pub when: Option<Formula>,
}
