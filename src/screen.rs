//! Events as lines for people: a line a step while the run goes, the verdict and the side at its end.
//!
//! On a terminal a last line shows what is going on just now. In a pipe there are plain lines only. Nothing here decides
//! anything: it consumes the same events as the journal.

use crate::text::harmless;
use anstyle::{AnsiColor, Style};
use pilotage_core::{Measured, Quantity, Tolerance, Unit, format};
use pilotage_evidence::document::reasons;
use pilotage_evidence::event::{DeadStatement, Judgement, Reading, SafeLine, Stamped, Trouble};
use pilotage_evidence::heading::{Heading, Mode, StepHead};
use pilotage_evidence::judge::rests_on_typed_digits;
use pilotage_evidence::outcome::STOPPED_BEFORE;
use pilotage_evidence::{Event, Verdict};
use std::collections::BTreeMap;

const SIGNIFICANT: i32 = 5;
/// Width of a step's title, in characters.
const TITLE: usize = 48;

/// Turns events into lines.
#[derive(Debug, Default)]
pub struct Screen {
    heading: Option<Box<Heading>>,
    step: Step,
    /// Values of the run's readings, with their units, by their sequence number: a step may judge what an earlier one read.
    values: BTreeMap<u64, (Quantity, String)>,
    /// What is said below the heading, before anything is plugged in.
    opening: Vec<String>,
}

/// What is known about the step that runs.
#[derive(Debug, Default)]
struct Step {
    judged: Vec<Judged>,
    notes: Vec<String>,
}

/// A judgement, and the value that it is about.
#[derive(Debug)]
struct Judged {
    judgement: Judgement,
    value: Option<String>,
}

impl Screen {
    /// With lines of one's own below the heading.
    pub fn with_opening(opening: Vec<String>) -> Self {
        Self {
            opening,
            ..Self::default()
        }
    }

    /// The lines of an event, styled; empty for events that say nothing to people.
    pub fn lines(&mut self, stamped: &Stamped) -> Vec<String> {
        match &stamped.event {
            Event::RunStarted(heading) => self.started(heading),
            Event::StepStarted { .. } => {
                self.step = Step::default();
                Vec::new()
            }
            Event::Reading(reading) => {
                if let Some(measured) = &reading.value {
                    self.values.insert(stamped.seq, (measured.value, reading.unit.clone()));
                }
                typed(reading)
            }
            Event::Judged(judgement) => {
                let known = self.values.get(&judgement.reading);
                let value = known.map(|(value, unit)| beside(*value, unit, &judgement.limit.unit));
                self.step.judged.push(Judged {
                    judgement: (**judgement).clone(),
                    value,
                });
                Vec::new()
            }
            Event::Dead(statement) => {
                self.step.notes.push(dead(statement));
                Vec::new()
            }
            Event::Trouble(trouble) => trouble_lines(trouble),
            Event::StepEnded {
                step, verdict, because, ..
            } => self.ended(*step, *verdict, because.as_deref()),
            Event::Interlock {
                name,
                held: false,
                detail,
                ..
            } => vec![alarm(&format!("interlock {name}: {detail}"))],
            Event::Protection {
                point,
                held: false,
                detail,
                ..
            } => vec![alarm(&format!("protection {point}: {detail}"))],
            Event::Stopped { why, .. } => vec![alarm(&format!("stopped: {why}"))],
            Event::MadeSafe {
                confirmed,
                lines,
                by_hand,
                ..
            } => made_safe(*confirmed, lines, by_hand.as_deref()),
            _ => Vec::new(),
        }
    }

    /// What is going on just now, in one short line.
    pub fn now(&self, stamped: &Stamped) -> Option<String> {
        let at = clock(stamped.at.seconds());
        match &stamped.event {
            Event::StepStarted { step } => self
                .head(*step)
                .map(|head| format!("{at}  {}  {}", head.id, head.title)),
            Event::Reading(reading) => reading
                .value
                .as_ref()
                .map(|measured| format!("{at}  {} = {}", reading.name, in_unit(measured.value, &reading.unit))),
            Event::Applied { order, .. } => Some(format!("{at}  {order}")),
            Event::Asked { prompt, .. } => Some(format!("{at}  asked: {prompt}")),
            _ => None,
        }
    }

    fn head(&self, step: u32) -> Option<&StepHead> {
        self.heading
            .as_ref()
            .and_then(|heading| heading.steps.iter().find(|head| head.number == step))
    }

    fn started(&mut self, heading: &Heading) -> Vec<String> {
        self.heading = Some(Box::new(heading.clone()));
        let bold = Style::new().bold();
        let mut lines = vec![
            format!("{bold}{}{bold:#}", harmless(&heading.title)),
            format!(
                "  item    {} · {}",
                harmless(&heading.item.title),
                harmless(&heading.item.serial)
            ),
            format!("  bench   {}", harmless(&heading.bench.title)),
            format!(
                "  limits  {} ({})",
                harmless(&heading.limits.title),
                harmless(&heading.limits.name)
            ),
            format!("  mode    {}", mode(&heading.mode)),
        ];
        lines.extend(self.opening.iter().map(|line| harmless(line)));
        lines.extend(heading.steps_left_out().map(|line| alarm(&line)));
        lines.push(String::new());
        lines
    }

    fn ended(&mut self, step: u32, verdict: Verdict, because: Option<&str>) -> Vec<String> {
        let ended = std::mem::take(&mut self.step);
        let Some(head) = self.head(step) else { return Vec::new() };
        let mut lines = vec![step_line(head, verdict, &ended)];
        // What stopped the run was said when it did; it need not be said again for each step that was left out.
        let left_out = because.is_some_and(|why| why.starts_with(STOPPED_BEFORE));
        if verdict != Verdict::Pass && !left_out {
            lines.extend(why_not(&ended, because));
            if verdict == Verdict::Fail {
                lines.extend(advice(head));
            }
        }
        lines
    }
}

/// A value in the unit of its limit, so that both can be compared at a glance; else in its own.
fn beside(value: Quantity, own: &str, of_limit: &str) -> String {
    let same = Unit::find(of_limit).is_some_and(|unit| unit.dimension == value.dimension());
    in_unit(value, if same { of_limit } else { own })
}

/// Said when it is typed, while the person can still do better.
fn typed(reading: &Reading) -> Vec<String> {
    let answered = reading.word.is_some() && reading.value.as_ref().is_some_and(rests_on_typed_digits);
    let half = reading.value.as_ref().and_then(Measured::expanded);
    let (true, Some(measured), Some(expanded)) = (answered, &reading.value, half) else {
        return Vec::new();
    };
    let expanded = Quantity::new(expanded, measured.value.dimension());
    let expanded = expanded
        .map(|expanded| difference(expanded, &reading.unit))
        .unwrap_or_default();
    vec![format!(
        "          {} {}: nobody said how exact it is, so half of its last digit counts (U = {expanded})",
        harmless(&reading.name),
        in_unit(measured.value, &reading.unit)
    )]
}

/// A step that did not pass shows what did not.
fn step_line(head: &StepHead, verdict: Verdict, step: &Step) -> String {
    let of_verdict = step.judged.iter().filter(|judged| judged.judgement.verdict == verdict);
    let decisive: Vec<&Judged> = of_verdict.collect();
    let shown = nearest(&decisive).or_else(|| decisive.first().copied().filter(|_| verdict != Verdict::Pass));
    let nearest = shown.map(closest).unwrap_or_default();
    let title = reasons::short(&harmless(&head.title), TITLE);
    format!("  {}  {:<6} {title:<50}  {nearest}", word(verdict), harmless(&head.id))
        .trim_end()
        .to_owned()
}

/// The judgement that stands nearest to its bound, as a share of the tolerance's width where it has one.
fn nearest<'j>(judged: &[&'j Judged]) -> Option<&'j Judged> {
    judged
        .iter()
        .copied()
        .filter_map(|judged| {
            let tolerance = &judged.judgement.limit.tolerance;
            let margin = judged.judgement.margin.filter(|_| !is_count(tolerance))?;
            Some((judged, margin / width(tolerance)))
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(judged, _)| judged)
}

/// A count that must be 0, or a word: nothing to be near to.
fn is_count(tolerance: &Tolerance) -> bool {
    match tolerance {
        Tolerance::AtMost(bound) => bound.si() == 0.0,
        Tolerance::AnyOf(_) => true,
        Tolerance::AtLeast(_) | Tolerance::Between(..) => false,
    }
}

fn width(tolerance: &Tolerance) -> f64 {
    let width = match tolerance {
        Tolerance::AtLeast(bound) | Tolerance::AtMost(bound) => bound.si().abs(),
        Tolerance::Between(low, high) => (high.si() - low.si()) / 2.0,
        Tolerance::AnyOf(_) => 1.0,
    };
    if width > 0.0 { width } else { 1.0 }
}

fn closest(Judged { judgement, value }: &Judged) -> String {
    let limit = &judgement.limit;
    let value = value.as_deref().unwrap_or("no value");
    format!(
        "{} {value} ({})",
        harmless(&judgement.name),
        tolerance(&limit.tolerance, &limit.unit)
    )
}

fn why_not(step: &Step, because: Option<&str>) -> Vec<String> {
    let wrong: Vec<&Judged> = step
        .judged
        .iter()
        .filter(|judged| judged.judgement.verdict != Verdict::Pass)
        .collect();
    let mut lines: Vec<String> = because
        .filter(|_| wrong.is_empty())
        .map(|text| format!("          {}", harmless(text)))
        .into_iter()
        .collect();
    for Judged { judgement, value } in wrong.into_iter().take(4) {
        let pass = judgement
            .pass
            .as_ref()
            .map(|pass| format!(" ({})", harmless(pass)))
            .unwrap_or_default();
        lines.push(format!(
            "          {}{pass} {}: {}{} · limit {} · {}",
            harmless(&judgement.name),
            value.as_deref().unwrap_or_default(),
            outside(judgement),
            marks(judgement),
            tolerance(&judgement.limit.tolerance, &judgement.limit.unit),
            harmless(&judgement.limit.title),
        ));
    }
    lines.extend(step.notes.iter().map(|note| format!("          {}", harmless(note))));
    lines
}

fn marks(judgement: &Judgement) -> String {
    judgement
        .marks
        .iter()
        .fold(String::new(), |marks, mark| marks + ", " + &harmless(mark))
}

fn outside(judgement: &Judgement) -> String {
    let by = judgement
        .margin
        .and_then(|margin| Quantity::new(-margin, dimension(&judgement.limit.tolerance)?).ok());
    match by {
        Some(by) if by.si() > 0.0 => format!("outside by {}", difference(by, &judgement.limit.unit)),
        Some(_) => "inside, but not decided".to_owned(),
        None => "no value".to_owned(),
    }
}

fn advice(head: &StepHead) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(means) = &head.fail_means {
        lines.push(format!("          means: {}", harmless(means)));
    }
    if !head.look_next.is_empty() {
        lines.push(format!("          look next: {}", harmless(&head.look_next.join(", "))));
    }
    lines
}

fn made_safe(confirmed: bool, lines: &[SafeLine], by_hand: Option<&str>) -> Vec<String> {
    if confirmed {
        return read_back(lines);
    }
    let missing = lines.iter().filter(|line| !line.confirmed);
    let mut out = vec![alarm("NOT CONFIRMED DEAD")];
    out.extend(by_hand.map(alarm));
    out.extend(missing.map(|line| format!("          {}: {}", harmless(&line.what), harmless(&line.seen))));
    out
}

/// Every place that was proven dead; else the last line, which says why there was nothing to prove.
fn read_back(lines: &[SafeLine]) -> Vec<String> {
    let proofs: Vec<&SafeLine> = lines.iter().filter(|line| line.is_proof()).collect();
    let shown = if proofs.is_empty() {
        lines.last().into_iter().collect()
    } else {
        proofs
    };
    let title = (!shown.is_empty()).then(|| "\n  made safe and read back".to_owned());
    let said = shown.iter().map(|line| format!("          {}", harmless(&line.seen)));
    title.into_iter().chain(said).collect()
}

fn dead(statement: &DeadStatement) -> String {
    statement.sentence.clone()
}

fn trouble_lines(trouble: &Trouble) -> Vec<String> {
    vec![
        alarm(&format!("{}: {}", trouble.instrument, trouble.command)),
        format!(
            "          expected {}, got {}",
            harmless(&trouble.expected),
            harmless(&trouble.got)
        ),
        format!("          mend: {}", harmless(&trouble.mend)),
    ]
}

fn alarm(text: &str) -> String {
    let red = Style::new().fg_color(Some(AnsiColor::Red.into())).bold();
    format!("  {red}!{red:#} {}", harmless(text))
}

/// A verdict as a word of fixed width; capitals where it is not a pass, so that colour carries nothing alone.
pub fn word(verdict: Verdict) -> String {
    let (text, colour) = match verdict {
        Verdict::Pass => ("pass        ", AnsiColor::Green),
        Verdict::Fail => ("FAIL        ", AnsiColor::Red),
        Verdict::Inconclusive => ("INCONCLUSIVE", AnsiColor::Yellow),
        Verdict::Error => ("ERROR       ", AnsiColor::Magenta),
        Verdict::NotRun => ("not run     ", AnsiColor::White),
    };
    let style = Style::new().fg_color(Some(colour.into()));
    format!("{style}{text}{style:#}")
}

fn mode(mode: &Mode) -> String {
    match mode {
        Mode::VirtualBench { seed: None, .. } => {
            "virtual bench, no item is tested (item, defect and seed as served: not known here)".to_owned()
        }
        Mode::VirtualBench {
            seed: Some(seed),
            defect,
            links,
            ..
        } => {
            let defect = defect
                .as_ref()
                .map(|defect| format!(", defect {}", harmless(defect)))
                .unwrap_or_default();
            let links = links
                .as_ref()
                .map(|links| format!(", links {}", harmless(links)))
                .unwrap_or_default();
            format!("virtual bench, no item is tested (seed {seed}{defect}{links})")
        }
        Mode::RealBench => "a real item".to_owned(),
    }
}

/// A tolerance in words and numbers.
pub fn tolerance(tolerance: &Tolerance, unit: &str) -> String {
    match tolerance {
        Tolerance::AtLeast(low) => format!("at least {}", in_unit(*low, unit)),
        Tolerance::AtMost(high) => format!("at most {}", in_unit(*high, unit)),
        Tolerance::Between(low, high) => format!("{} … {}", in_unit(*low, unit), in_unit(*high, unit)),
        Tolerance::AnyOf(values) => values
            .iter()
            .map(|value| in_unit(*value, unit))
            .collect::<Vec<_>>()
            .join(" or "),
    }
}

fn dimension(tolerance: &Tolerance) -> Option<pilotage_core::Dimension> {
    match tolerance {
        Tolerance::AtLeast(bound) | Tolerance::AtMost(bound) | Tolerance::Between(bound, _) => Some(bound.dimension()),
        Tolerance::AnyOf(values) => values.first().map(|value| value.dimension()),
    }
}

/// A quantity in a unit by its symbol; in a fitting one where there is no such unit.
pub fn in_unit(quantity: Quantity, unit: &str) -> String {
    match Unit::find(unit) {
        Some(unit) => format::in_unit(quantity, unit, SIGNIFICANT),
        None => format::automatic(quantity, SIGNIFICANT),
    }
}

/// An amount beside a limit: ratios in the limit's unit; all else in a unit of its own, since an uncertainty is far smaller than
/// its limit, and one of °C is in K.
pub fn quantity(quantity: Quantity, unit: &str) -> String {
    match Unit::find(unit).filter(|_| quantity.dimension().is_none()) {
        Some(unit) => format::in_unit(quantity, unit, 2),
        None => format::automatic(quantity, 2),
    }
}

/// A difference: a unit with an offset (°C) is left for the one of its differences.
fn difference(quantity: Quantity, unit: &str) -> String {
    match Unit::find(unit).filter(|unit| !unit.is_affine()) {
        Some(unit) => format::in_unit(quantity, unit, 3),
        None => format::automatic(quantity, 3),
    }
}

fn clock(seconds: f64) -> String {
    let whole = seconds as u64;
    format!("{:>3}:{:02}", whole / 60, whole % 60)
}
