//! A JUnit file. One case for each judgement, and one for each step that judged nothing.
//!
//! | verdict | in the file |
//! | --- | --- |
//! | pass | a case without a result |
//! | fail | `failure`, type `fail` |
//! | error | `error`, type `error` |
//! | inconclusive | `error`, type `inconclusive` |
//! | not run because of a stop | `error`, type `not_run` |
//! | does not apply to this nameplate | `skipped` |
//! | a step that the bench or the item leaves out | `skipped` |
//!
//! The crate writes control characters as they come, so every text goes through [`crate::text::for_xml`] first. It has no
//! properties; values go to `system-out`.

use crate::text::for_xml;
use junit_report::{Duration, OffsetDateTime, ReportBuilder, TestCase, TestCaseBuilder, TestSuite, TestSuiteBuilder};
use pilotage_evidence::Verdict;
use pilotage_evidence::document::{Document, Row, StepPart};
use pilotage_evidence::heading::NotTested;
use std::collections::BTreeMap;
use time::format_description::well_known::Rfc3339;

/// Why no JUnit file could be made.
#[derive(Debug, thiserror::Error)]
pub enum JunitError {
    /// The run's start is not a time.
    #[error("the record's start `{started}` is not a time in the form of RFC 3339")]
    Started {
        /// As recorded.
        started: String,
    },
    /// The writer failed.
    #[error("the XML could not be written: {0}")]
    Written(String),
}

/// The bytes of a JUnit file.
pub fn junit(document: &Document) -> Result<Vec<u8>, JunitError> {
    let started = OffsetDateTime::parse(&document.started, &Rfc3339).map_err(|_| JunitError::Started {
        started: document.started.clone(),
    })?;
    let report = ReportBuilder::new().add_testsuite(suite(document, started)).build();
    let mut bytes = Vec::new();
    report
        .write_xml(&mut bytes)
        .map_err(|error| JunitError::Written(error.to_string()))?;
    Ok(bytes)
}

fn suite(document: &Document, started: OffsetDateTime) -> TestSuite {
    let mut builder = TestSuiteBuilder::new(&for_xml(&suite_name(document)));
    builder.set_timestamp(started);
    builder.set_system_out(&for_xml(&summary(document)));
    let mut names = Names::default();
    for step in &document.steps {
        for case in cases(step, document, &mut names) {
            builder.add_testcase(case);
        }
    }
    for step in document.not_tested.iter().filter(|step| step.left_out) {
        builder.add_testcase(skipped_case(step, &mut names));
    }
    if document.verdict != Verdict::Pass {
        builder.add_testcase(run_case(document, &mut names));
    }
    builder.build()
}

fn suite_name(document: &Document) -> String {
    match &document.virtual_note {
        Some(note) => format!("{} ({note})", document.title),
        None => document.title.clone(),
    }
}

fn summary(document: &Document) -> String {
    let mut lines = document.said_first.clone();
    lines.extend(document.virtual_note.clone());
    lines.push(format!("item: {} {}", document.item.title, document.item.serial));
    lines.push(format!("bench: {}", document.bench.title));
    lines.push(format!("limits: {} ({})", document.limits.title, document.limits.name));
    lines.push(format!("decision rule: {}", document.decision_text));
    lines.push(format!("side: {}", document.side.says));
    lines.push(format!("cheapest next check: {}", document.side.cheapest_next));
    lines.push(format!("hash of the last line: {}", document.evidence.head));
    lines.extend(
        document
            .not_tested
            .iter()
            .map(|not| format!("not tested: {} {}: {}", not.what, not.title, not.why)),
    );
    lines.join("\n")
}

/// A run that does not pass is never all green, whatever its steps say (a stop, a make safe that was not confirmed).
fn run_case(document: &Document, names: &mut Names) -> TestCase {
    let name = names.unique("run", "the run as a whole");
    let reasons: Vec<String> = document.said_first.iter().chain(&document.because).cloned().collect();
    result_case(&name, Duration::ZERO, document.verdict, &reasons.join("; "), "")
        .set_classname("run")
        .build()
}

fn cases(step: &StepPart, document: &Document, names: &mut Names) -> Vec<TestCase> {
    if step.rows.is_empty() {
        return vec![bare_step(step, names)];
    }
    let share = step.length_s.unwrap_or(0.0) / step.rows.len() as f64;
    let mut cases: Vec<TestCase> = step
        .rows
        .iter()
        .map(|row| judged(step, row, share, document, names))
        .collect();
    if step.verdict != Verdict::Pass && step.rows.iter().all(|row| row.verdict == Verdict::Pass) {
        cases.push(bare_step(step, names));
    }
    cases
}

fn class(id: &str) -> String {
    // Readers split a class at its dots; ids have none, and titles are kept out of it.
    for_xml(id).replace('.', "_")
}

fn skipped_case(step: &NotTested, names: &mut Names) -> TestCase {
    let mut builder = TestCaseBuilder::skipped(&for_xml(&names.unique(&step.what, &step.title)));
    builder.set_classname(&class(&step.what));
    builder.set_system_out(&for_xml(&step.why));
    builder.build()
}

fn bare_step(step: &StepPart, names: &mut Names) -> TestCase {
    let name = names.unique(&step.id, &step.title);
    let why = step.because.clone().unwrap_or_else(|| "it judged nothing".to_owned());
    let length = seconds(step.length_s.unwrap_or(0.0));
    let builder = if step.verdict == Verdict::NotRun && step.does_not_apply {
        let mut builder = TestCaseBuilder::skipped(&for_xml(&name));
        builder.set_system_out(&for_xml(&why));
        builder
    } else {
        result_case(&name, length, step.verdict, &why, &why)
    };
    with_class(builder, step)
}

fn judged(step: &StepPart, row: &Row, share_s: f64, document: &Document, names: &mut Names) -> TestCase {
    let pass = row.pass.as_ref().map(|pass| format!(" ({pass})")).unwrap_or_default();
    let name = names.unique(&step.id, &format!("{}{pass} against {}", row.name, row.title));
    let message = format!(
        "{} = {} · limit {} · margin {}",
        row.name, row.value, row.limit, row.margin
    );
    with_class(
        result_case(
            &name,
            seconds(share_s),
            row.verdict,
            &message,
            &details(step, row, document),
        ),
        step,
    )
}

fn details(step: &StepPart, row: &Row, document: &Document) -> String {
    let mut lines = vec![
        format!("step: {} {} ({})", step.id, step.title, or_built_in(&step.place)),
        format!("value: {}   U (k = 2): {}", row.value, row.expanded),
        format!("limit: {}   {} ({})", row.limit, row.key, row.place),
        format!("source: {}", row.source),
    ];
    lines.extend(row.marks.iter().map(|mark| format!("mark: {mark}")));
    lines.extend(row.formula.iter().map(|formula| format!("formula: {formula}")));
    lines.extend(row.raw.iter().take(4).map(|raw| {
        format!(
            "raw: {}: {} → {}",
            raw.instrument,
            raw.sent,
            raw.received.as_deref().unwrap_or("(no reply wanted)")
        )
    }));
    if row.verdict == Verdict::Fail {
        lines.extend(step.fail_means.iter().map(|means| format!("means: {means}")));
        lines.push(format!("look next: {}", step.look_next.join(", ")));
    }
    lines.extend(document.virtual_note.clone());
    lines.join("\n")
}

fn result_case(name: &str, length: Duration, verdict: Verdict, message: &str, details: &str) -> TestCaseBuilder {
    let (name, message) = (for_xml(name), for_xml(message));
    let mut builder = match verdict {
        Verdict::Pass => TestCaseBuilder::success(&name, length),
        Verdict::Fail => TestCaseBuilder::failure(&name, length, "fail", &message),
        Verdict::Error => TestCaseBuilder::error(&name, length, "error", &message),
        Verdict::Inconclusive => TestCaseBuilder::error(&name, length, "inconclusive", &message),
        Verdict::NotRun => TestCaseBuilder::error(&name, length, "not_run", &message),
    };
    builder.set_system_out(&for_xml(details));
    builder
}

fn with_class(mut builder: TestCaseBuilder, step: &StepPart) -> TestCase {
    builder.set_classname(&class(&step.id));
    builder.build()
}

/// Steps that every run has stand in no file.
fn or_built_in(place: &str) -> &str {
    if place.is_empty() { "built in" } else { place }
}

/// Whole milliseconds: the common schema allows three decimals, and the writer prints the sum of all cases.
fn seconds(seconds: f64) -> Duration {
    let milliseconds = (seconds * 1e3).round();
    Duration::milliseconds(if milliseconds.is_finite() {
        milliseconds.max(0.0) as i64
    } else {
        0
    })
}

/// Names of cases, each once: readers drop a second case of the same class and name without a word.
#[derive(Default)]
struct Names(BTreeMap<String, u32>);

impl Names {
    fn unique(&mut self, class: &str, name: &str) -> String {
        let count = self.0.entry(format!("{class}\0{name}")).or_insert(0);
        *count += 1;
        if *count == 1 {
            name.to_owned()
        } else {
            format!("{name} [{count}]")
        }
    }
}
