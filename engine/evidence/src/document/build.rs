//! The document as a whole, from a record and the side rules.

use super::text::seconds;
use super::types::{BenchPart, Document, EvidencePart, InstrumentRow, Row, SourceRow, StepPart};
use super::{pictures, plots, rows, safety, state_map, text};
use crate::event::Event;
use crate::heading::{Heading, Mode, StepHead};
use crate::outcome::{self, Outcome};
use crate::record::Record;
use crate::rejudge;
use crate::sides::{self, SideRule};
use crate::void;
use crate::words::{EnergyState, Verdict};
use std::collections::{BTreeMap, BTreeSet};

/// Said on every page, suite and table of a rehearsal; no option takes it away.
const VIRTUAL_NOTE: &str = "virtual bench, no item was tested";

const DEFERENCE: &str = "Local codes, the maker's instructions and licensed practice come before anything said here.";

/// Makes the document of a record: verifies it, judges it again, and states a side.
pub fn build(record: &Record, side_rules: &[SideRule]) -> Document {
    let heading = record.heading();
    let outcomes = outcome::outcomes(heading, record.events());
    let end = End::of(record);
    let made_safe = safety::made_safe(record);
    let steps = steps(record, &outcomes);
    let pictures = pictures::pictures(record, &steps);
    let evidence = evidence(record);
    let mut said_first = safety::said_first(record, &made_safe, end.ended);
    said_first.extend(altered(&evidence));
    said_first.extend(heading.steps_left_out());
    let (virtual_note, virtual_detail) = virtual_words(&heading.mode);
    Document {
        form: heading.form,
        program_version: heading.program_version.clone(),
        run: heading.run.clone(),
        started: heading.started.clone(),
        length_s: record.events().last().map_or(0.0, |stamped| seconds(stamped.at)),
        title: heading.title.clone(),
        virtual_note,
        virtual_detail,
        said_first,
        verdict: end.verdict,
        exit_code: end.exit_code,
        codes: end.codes,
        because: because(record, &outcomes, end.ended),
        side: sides::state(heading.item.kind, &outcomes, side_rules),
        counts: counted(steps.iter().flat_map(|step| &step.rows).map(|row| row.verdict)),
        decision_rule: heading.decision_rule,
        decision_text: text::decision(heading.decision_rule).to_owned(),
        item: heading.item.clone(),
        bench: bench(record, heading),
        limits: heading.limits.clone(),
        basis: heading.basis.clone(),
        inputs: heading.inputs.clone(),
        cautions: safety::cautions(record),
        answers: safety::answers(record),
        sources: sources(record),
        source_counts: counted(steps.iter().flat_map(|step| &step.rows).map(|row| row.status)),
        steps,
        not_tested: heading.not_tested.clone(),
        dead: safety::dead(record),
        stops: safety::stops(record),
        troubles: safety::troubles(record),
        watches: safety::watches(record),
        made_safe,
        pictures,
        captures: plots::plots(record),
        state_map: state_map::state_map(record),
        evidence,
        deference: DEFERENCE.to_owned(),
    }
}

/// How the run ended.
struct End {
    ended: bool,
    verdict: Verdict,
    exit_code: Option<u8>,
    codes: Vec<u8>,
}

impl End {
    fn of(record: &Record) -> Self {
        match record.events().last().map(|stamped| &stamped.event) {
            Some(Event::RunEnded {
                verdict,
                exit_code,
                codes,
            }) => Self {
                ended: true,
                verdict: *verdict,
                exit_code: Some(*exit_code),
                codes: codes.clone(),
            },
            _ => Self {
                ended: false,
                verdict: Verdict::Error,
                exit_code: None,
                codes: Vec::new(),
            },
        }
    }
}

fn virtual_words(mode: &Mode) -> (Option<String>, Option<String>) {
    match mode {
        Mode::RealBench => (None, None),
        Mode::VirtualBench {
            seed,
            defect,
            over_tcp,
            links,
        } => {
            let item = match (defect, seed) {
                (Some(defect), Some(seed)) => format!("defect {defect}, seed {seed}"),
                (None, Some(seed)) => format!("healthy item, seed {seed}"),
                (_, None) => "item, defect and seed as served: not known here".to_owned(),
            };
            let link = if *over_tcp {
                "over TCP, in real time"
            } else {
                "in memory, in virtual time"
            };
            let links = links
                .as_ref()
                .map(|links| format!(", links {links}"))
                .unwrap_or_default();
            (Some(VIRTUAL_NOTE.to_owned()), Some(format!("{item}, {link}{links}")))
        }
    }
}

fn counted<T: Ord>(all: impl Iterator<Item = T>) -> BTreeMap<T, u64> {
    let mut counts = BTreeMap::new();
    for one in all {
        *counts.entry(one).or_insert(0) += 1;
    }
    counts
}

/// Why the verdict is not a pass.
fn because(record: &Record, outcomes: &[Outcome], ended: bool) -> Vec<String> {
    let troubled = outcomes
        .iter()
        .filter(|outcome| !matches!(outcome.verdict, Verdict::Pass | Verdict::NotRun));
    let reason = |outcome: &Outcome| {
        let why = outcome.because.as_deref().unwrap_or("no reason was given");
        format!("{} {}: {}: {why}", outcome.head.id, outcome.head.title, outcome.verdict)
    };
    let mut reasons: Vec<String> = troubled.map(reason).collect();
    reasons.extend(
        safety::stops(record)
            .into_iter()
            .map(|stop| format!("stopped by {}: {}", stop.by, stop.why)),
    );
    if !ended {
        reasons.push("the journal has no end: the run was cut off or goes on".to_owned());
    }
    reasons.extend(left_out(outcomes));
    reasons
}

/// What was not run is one reason, not one for each step.
fn left_out(outcomes: &[Outcome]) -> Option<String> {
    let left_out = outcomes.iter().filter(|outcome| outcome.was_left_out());
    let ids: Vec<&str> = left_out.map(|outcome| outcome.head.id.as_str()).collect();
    (!ids.is_empty()).then(|| format!("not run: {}", ids.join(", ")))
}

fn bench(record: &Record, heading: &Heading) -> BenchPart {
    let identified = |name: &str| {
        record.events().iter().rev().find_map(|stamped| match &stamped.event {
            Event::Identified {
                instrument,
                reply,
                expected,
            } if instrument == name => Some((reply.clone(), *expected)),
            _ => None,
        })
    };
    let instruments = heading.bench.instruments.iter().map(|plate| {
        let (reply, expected) = identified(&plate.name).unzip();
        InstrumentRow {
            name: plate.name.clone(),
            driver: plate.driver.clone(),
            link: plate.link.clone(),
            serial: plate.serial.clone(),
            calibrated_until: plate.calibrated_until.clone(),
            identified: reply,
            expected,
        }
    });
    BenchPart {
        title: heading.bench.title.clone(),
        notes: heading.bench.notes.clone(),
        instruments: instruments.collect(),
    }
}

fn steps(record: &Record, outcomes: &[Outcome]) -> Vec<StepPart> {
    let mut parts: Vec<StepPart> = outcomes.iter().map(step_part).collect();
    let judged: BTreeSet<u64> = record
        .events()
        .iter()
        .filter_map(|stamped| match &stamped.event {
            Event::Judged(judgement) => Some(judgement.reading),
            _ => None,
        })
        .collect();
    for stamped in record.events() {
        match &stamped.event {
            Event::StepStarted { step } => at_step(&mut parts, *step, |part| part.began_s = Some(seconds(stamped.at))),
            Event::StepEnded { step, .. } => at_step(&mut parts, *step, |part| {
                part.length_s = part.began_s.map(|began| seconds(stamped.at) - began);
            }),
            Event::Judged(judgement) => at_step(&mut parts, judgement.step, |part| {
                let mut row = rows::row(record, stamped.seq, judgement);
                take_away(&mut row, part.void.as_deref());
                part.rows.push(row);
            }),
            Event::Reading(reading) if !judged.contains(&stamped.seq) => at_step(&mut parts, reading.step, |part| {
                part.readings.push(rows::reading_row(record, stamped.seq, reading));
            }),
            _ => {}
        }
    }
    parts
}

/// A row of a step that counts no more says so, and neither passes nor fails.
fn take_away(row: &mut Row, void: Option<&str>) {
    if let Some(why) = void {
        row.verdict = void::of_row(row.verdict);
        row.marks.push(why.to_owned());
    }
}

fn at_step(parts: &mut [StepPart], step: u32, change: impl FnOnce(&mut StepPart)) {
    if let Some(part) = parts.get_mut(step as usize) {
        change(part);
    }
}

fn step_part(outcome: &Outcome) -> StepPart {
    let StepHead {
        number,
        id,
        title,
        place,
        fail_means,
        look_next,
        pictures: _,
    } = outcome.head.clone();
    StepPart {
        number,
        id,
        title,
        place,
        verdict: outcome.verdict,
        because: outcome.because.clone(),
        does_not_apply: outcome.does_not_apply(),
        void: outcome.void.clone(),
        began_s: None,
        length_s: None,
        fail_means,
        look_next,
        rows: Vec::<Row>::new(),
        readings: Vec::new(),
    }
}

/// Where the judged limits come from, each source once.
fn sources(record: &Record) -> Vec<SourceRow> {
    let mut all: BTreeMap<[String; 5], SourceRow> = BTreeMap::new();
    for stamped in record.events() {
        let Event::Judged(judgement) = &stamped.event else {
            continue;
        };
        let limit = &judgement.limit;
        let by = limit.by.clone().unwrap_or_default();
        let key = [
            limit.standard.clone(),
            limit.edition.clone(),
            limit.clause.clone(),
            limit.status.to_string(),
            by,
        ];
        let row = all.entry(key).or_insert_with(|| SourceRow {
            standard: limit.standard.clone(),
            edition: limit.edition.clone(),
            clause: limit.clause.clone(),
            status: limit.status,
            by: limit.by.clone(),
            line: text::source(limit),
            limits: Vec::new(),
            judged: 0,
        });
        row.judged += 1;
        if !row.limits.contains(&limit.title) {
            row.limits.push(limit.title.clone());
        }
    }
    all.into_values().collect()
}

fn evidence(record: &Record) -> EvidencePart {
    let energy = record.events().iter().rev().find_map(|stamped| match &stamped.event {
        Event::EnergyChanged { to, .. } => Some(*to),
        _ => None,
    });
    EvidencePart {
        head: record.head().to_owned(),
        lines: record.events().len() as u64,
        sealed: record.seal().is_some(),
        findings: record.verify(),
        differences: rejudge::rejudge(record),
        energy: energy.unwrap_or(EnergyState::Unknown),
    }
}

/// A record that does not hold is said before its verdict.
fn altered(evidence: &EvidencePart) -> Vec<String> {
    let mut said = Vec::new();
    let altered = evidence
        .findings
        .iter()
        .filter(|finding| finding.is_alteration())
        .count();
    if altered > 0 {
        said.push(format!(
            "This record does not hold: {altered} findings, listed with the evidence."
        ));
    }
    if !evidence.differences.is_empty() {
        let number = evidence.differences.len();
        said.push(format!(
            "Judged again, {number} figures or verdicts of this record come out differently."
        ));
    }
    said
}
