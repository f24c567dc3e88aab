//! What was noticed, as lines and as JSON.

use super::bound::upper_95;
use super::campaign::{Campaign, Result, Subject};
use crate::args::SeverityWord;
use crate::claims::{claimed_step, named_steps};
use crate::wiring::setup::severity_word;
use pilotage_evidence::Verdict;
use pilotage_plan::files::defect::DefectFile;
use serde_json::{Value as Json, json};
use std::collections::BTreeMap;

/// What the row of the healthy twin is called.
pub const TWIN: &str = "Healthy twin, no defect: nothing to notice";

/// One defect at one severity.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Id of the defect.
    pub id: String,
    /// Its title.
    pub title: String,
    /// How far it goes.
    pub severity: SeverityWord,
    /// The step that must notice it, where the sequence has one: the first that the run reached.
    pub claimed: Option<String>,
    /// Rehearsals.
    pub trials: u64,
    /// In how many the claimed step noticed it.
    pub at_claimed: u64,
    /// In how many any step noticed it.
    pub anywhere: u64,
    /// How often each step noticed it.
    pub by_step: BTreeMap<String, u64>,
}

/// Healthy items.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Healthy {
    /// Rehearsals.
    pub trials: u64,
    /// In how many a step failed.
    pub failed: u64,
    /// How often each step failed although nothing was wrong.
    pub by_step: BTreeMap<String, u64>,
    /// Judgements by verdict.
    pub judgements: BTreeMap<Verdict, u64>,
    /// Judgements that were not a pass, by step and reading.
    pub not_passed: BTreeMap<(String, String, Verdict), u64>,
}

/// The whole table.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    /// Ids of the steps, in order.
    pub steps: Vec<String>,
    /// Defects.
    pub rows: Vec<Row>,
    /// The healthy twin: the same item without a defect, rehearsed as often as each defect.
    pub twin: Healthy,
    /// Items at the corners of their tolerances.
    pub corners: Healthy,
}

impl Table {
    /// From the results, in the order of the trials.
    pub fn new(campaign: &Campaign<'_>, results: &[Result]) -> Self {
        let steps = campaign
            .fitted
            .sequence
            .steps
            .iter()
            .map(|step| step.id.value.clone())
            .collect();
        let mut table = Self {
            steps,
            ..Self::default()
        };
        for (trial, result) in campaign.trials.iter().zip(results) {
            match &trial.subject {
                Subject::Twin => table.twin.add(result),
                Subject::Corner(_) => table.corners.add(result),
                Subject::Defect(index, severity) => table.add(campaign, *index, *severity, result),
            }
        }
        table
    }

    fn add(&mut self, campaign: &Campaign<'_>, index: usize, severity: SeverityWord, result: &Result) {
        let defect = &campaign.defects[index];
        let id = &defect.id.value;
        if self
            .rows
            .last()
            .is_none_or(|row| row.id != *id || row.severity != severity)
        {
            self.rows.push(Row {
                id: id.clone(),
                title: defect.title.value.clone(),
                severity,
                claimed: reached_step(defect, result).or_else(|| claimed_step(defect, &campaign.fitted.sequence)),
                trials: 0,
                at_claimed: 0,
                anywhere: 0,
                by_step: BTreeMap::new(),
            });
        }
        let wanted = if defect.inconclusive {
            Verdict::Inconclusive
        } else {
            Verdict::Fail
        };
        if let Some(row) = self.rows.last_mut() {
            row.add(result, wanted, reached_step(defect, result).as_ref());
        }
    }

    /// Whether every claimed defect of severity plain was noticed at its step in every rehearsal, no healthy item failed, and
    /// the healthy twin has no verdict but pass.
    pub fn holds(&self) -> bool {
        let plain = self
            .rows
            .iter()
            .filter(|row| row.severity == SeverityWord::Plain && row.claimed.is_some());
        let noticed = plain.into_iter().all(|row| row.at_claimed == row.trials);
        let quiet = self.twin.judgements.keys().all(|verdict| *verdict == Verdict::Pass);
        noticed && quiet && self.twin.failed == 0 && self.corners.failed == 0
    }

    /// As JSON.
    pub fn as_json(&self) -> Json {
        let rows: Vec<Json> = self.rows.iter().map(Row::as_json).collect();
        json!({
            "steps": self.steps, "defects": rows, "healthy_twin": self.twin.as_json(), "corners": self.corners.as_json(),
            "holds": self.holds(),
        })
    }

    /// As lines.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!(
            "  {:<5} {:<6} {:<44} {:<7} {:>9}  also noticed by",
            "id", "", "defect", "claimed", "noticed"
        )];
        lines.push(self.twin.row());
        lines.extend(self.rows.iter().map(Row::line));
        lines.push(String::new());
        lines.extend(self.unnoticed());
        lines.push(self.twin.line("healthy twin"));
        lines.extend(self.twin.details());
        lines.push(self.corners.line("healthy items at their corners"));
        lines.extend(self.corners.details());
        lines
    }

    fn unnoticed(&self) -> Option<String> {
        let silent: Vec<String> = self
            .rows
            .iter()
            .filter(|row| row.anywhere < row.trials)
            .map(|row| {
                format!(
                    "{} {} ({} of {})",
                    row.id,
                    severity_word(row.severity),
                    row.trials - row.anywhere,
                    row.trials
                )
            })
            .collect();
        (!silent.is_empty()).then(|| format!("  noticed by nobody: {}", silent.join(", ")))
    }
}

/// The first of the steps that the defect's file names which the run reached: a fail of a dead step keeps the ones behind it from running.
fn reached_step(defect: &DefectFile, result: &Result) -> Option<String> {
    let ran = |id: &String| result.steps.get(id).is_some_and(|verdict| *verdict != Verdict::NotRun);
    named_steps(defect).into_iter().find(ran)
}

impl Row {
    /// Counts a run, which had to notice the defect at the step that it reached.
    fn add(&mut self, result: &Result, wanted: Verdict, reached: Option<&String>) {
        self.trials += 1;
        let noticing: Vec<&String> = result
            .steps
            .iter()
            .filter(|(_, verdict)| **verdict == wanted)
            .map(|(id, _)| id)
            .collect();
        self.anywhere += u64::from(!noticing.is_empty());
        let claimed = reached.or(self.claimed.as_ref());
        self.at_claimed += u64::from(claimed.is_some_and(|claimed| noticing.contains(&claimed)));
        for id in noticing {
            *self.by_step.entry(id.clone()).or_insert(0) += 1;
        }
    }

    fn line(&self) -> String {
        let claimed = self.claimed.as_deref().unwrap_or("–");
        let noticed = match &self.claimed {
            Some(_) => format!("{}/{}", self.at_claimed, self.trials),
            None => "not claimed".to_owned(),
        };
        let mark = if self.claimed.is_some() && self.at_claimed < self.trials {
            "!"
        } else {
            " "
        };
        let others: Vec<&str> = self
            .by_step
            .keys()
            .filter(|id| Some(*id) != self.claimed.as_ref())
            .map(String::as_str)
            .collect();
        let severity = severity_word(self.severity);
        format!(
            "{mark} {:<5} {severity:<6} {:<44} {claimed:<7} {noticed:>9}  {}",
            self.id,
            self.title,
            others.join(" ")
        )
        .trim_end()
        .to_owned()
    }

    fn as_json(&self) -> Json {
        json!({
            "id": self.id, "title": self.title, "severity": severity_word(self.severity), "claimed_step": self.claimed,
            "trials": self.trials, "at_claimed_step": self.at_claimed, "anywhere": self.anywhere, "by_step": self.by_step,
        })
    }
}

fn rehearsals(count: u64) -> String {
    match count {
        1 => "1 rehearsal".to_owned(),
        count => format!("{count} rehearsals"),
    }
}

impl Healthy {
    fn add(&mut self, result: &Result) {
        self.trials += 1;
        let failed: Vec<&String> = result
            .steps
            .iter()
            .filter(|(_, verdict)| **verdict == Verdict::Fail)
            .map(|(id, _)| id)
            .collect();
        self.failed += u64::from(!failed.is_empty());
        for id in failed {
            *self.by_step.entry(id.clone()).or_insert(0) += 1;
        }
        for (verdict, count) in &result.judgements {
            *self.judgements.entry(*verdict).or_insert(0) += count;
        }
        for entry in &result.not_passed {
            *self.not_passed.entry(entry.clone()).or_insert(0) += 1;
        }
    }

    /// Its row above the defects: nothing may be noticed there.
    fn row(&self) -> String {
        let mark = if self.failed > 0 { "!" } else { " " };
        let steps: Vec<&str> = self.by_step.keys().map(String::as_str).collect();
        let noticed = format!("{}/{}", self.failed, self.trials);
        format!(
            "{mark} {:<5} {:<6} {:<44} {:<7} {noticed:>9}  {}",
            "–",
            "",
            TWIN,
            "–",
            steps.join(" ")
        )
        .trim_end()
        .to_owned()
    }

    fn line(&self, what: &str) -> String {
        let all: u64 = self.judgements.values().sum();
        let passed = self.judgements.get(&Verdict::Pass).copied().unwrap_or(0);
        let share = if all == 0 {
            0.0
        } else {
            100.0 * passed as f64 / all as f64
        };
        let bound = 100.0 * upper_95(self.failed, self.trials);
        format!(
            "  {what}: {}, {} with a fail (at most {bound:.1} % with 95 % confidence), {share:.1} % of {all} verdicts pass",
            rehearsals(self.trials),
            self.failed
        )
    }

    fn details(&self) -> Vec<String> {
        self.not_passed
            .iter()
            .map(|((id, name, verdict), count)| format!("    {id} {name}: {count} × {verdict}"))
            .collect()
    }

    fn as_json(&self) -> Json {
        let not_passed: Vec<Json> = self
            .not_passed
            .iter()
            .map(|((id, name, verdict), count)| json!({"step": id, "name": name, "verdict": verdict, "count": count}))
            .collect();
        json!({
            "trials": self.trials, "failed": self.failed, "upper_95": upper_95(self.failed, self.trials), "by_step": self.by_step,
            "judgements": self.judgements, "not_passed": not_passed,
        })
    }
}
