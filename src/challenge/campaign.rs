//! The list of rehearsals, run on all cores; the result does not depend on their number.

use super::corners;
use crate::args::SeverityWord;
use crate::failure::Failure;
use crate::fitting::Fitted;
use crate::folder::Events;
use crate::rehearsal::{Rehearsal, rehearse};
use crate::wiring::interrupt;
use crate::wiring::setup::{Given, setup, severity};
use crate::wiring::traffic::Wishes;
use pilotage_evidence::outcome::outcomes;
use pilotage_evidence::{Event, Verdict};
use pilotage_plan::files::defect::DefectFile;
use pilotage_virtual::physics::ItemSort;
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What one rehearsal of a challenge is given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Subject {
    /// The healthy twin: the item without a defect.
    Twin,
    /// A healthy item at a corner of its tolerances.
    Corner(usize),
    /// A defect, by its position in the list, with its severity.
    Defect(usize, SeverityWord),
}

/// One rehearsal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trial {
    /// What it is given.
    pub subject: Subject,
    /// Seed.
    pub seed: u64,
}

/// What came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Result {
    /// Verdict of each step by its id; the first of an id counts where several have it.
    pub steps: BTreeMap<String, Verdict>,
    /// Number of judgements by verdict.
    pub judgements: BTreeMap<Verdict, u64>,
    /// Judgements that were not a pass: step id and name of the reading.
    pub not_passed: Vec<(String, String, Verdict)>,
    /// Exit code of the run.
    pub exit_code: u8,
}

/// What a challenge consists of.
pub struct Campaign<'a> {
    /// The fitted files.
    pub fitted: &'a Fitted,
    /// The defects.
    pub defects: &'a [DefectFile],
    /// The rehearsals.
    pub trials: Vec<Trial>,
}

/// All trials of a challenge, in a fixed order: the healthy twin, corners, defects.
pub fn trials(
    item: ItemSort,
    defects: &[DefectFile],
    severities: &[SeverityWord],
    (seeds, healthy): (u64, u64),
) -> Vec<Trial> {
    let mut trials: Vec<Trial> = (1..=seeds)
        .map(|seed| Trial {
            subject: Subject::Twin,
            seed,
        })
        .collect();
    let count = corners::count(item);
    let corners = (0..healthy).map(|n| {
        let row = n as usize % count;
        Trial {
            subject: Subject::Corner(row),
            seed: 1 + n / count as u64,
        }
    });
    trials.extend(corners);
    for (index, defect) in defects.iter().enumerate() {
        for word in severities.iter().filter(|word| has(defect, **word)) {
            trials.extend((1..=seeds).map(|seed| Trial {
                subject: Subject::Defect(index, *word),
                seed,
            }));
        }
    }
    trials
}

fn has(defect: &DefectFile, word: SeverityWord) -> bool {
    defect.severities.iter().any(|(known, _)| *known == severity(word))
}

impl Campaign<'_> {
    /// Runs all trials on `jobs` threads. Results come in the order of the trials. `done` is called after each trial.
    pub fn run(&self, jobs: usize, done: &(dyn Fn(usize) + Sync)) -> std::result::Result<Vec<Result>, Failure> {
        let next = AtomicUsize::new(0);
        let finished = AtomicUsize::new(0);
        let results: Mutex<BTreeMap<usize, std::result::Result<Result, Failure>>> = Mutex::default();
        std::thread::scope(|scope| {
            for _ in 0..jobs.max(1) {
                scope.spawn(|| {
                    loop {
                        let index = next.fetch_add(1, Ordering::Relaxed);
                        let Some(trial) = self.trials.get(index) else { return };
                        let result = self.one(trial);
                        // What was stopped half-way says nothing of the item.
                        if interrupt::was_pressed() {
                            return;
                        }
                        if let Ok(mut results) = results.lock() {
                            results.insert(index, result);
                        }
                        done(finished.fetch_add(1, Ordering::Relaxed) + 1);
                    }
                });
            }
        });
        let results = results
            .into_inner()
            .map_err(|_| Failure::broken("a rehearsal panicked", "report this"))?;
        if interrupt::was_pressed() {
            let message = format!(
                "stopped with Ctrl-C: {} of {} rehearsals were done, and there is no table of some",
                results.len(),
                self.trials.len()
            );
            return Err(Failure::Stopped { message });
        }
        if results.len() != self.trials.len() {
            return Err(Failure::broken("a rehearsal was lost", "report this"));
        }
        results.into_values().collect()
    }

    fn one(&self, trial: &Trial) -> std::result::Result<Result, Failure> {
        let given = match trial.subject {
            Subject::Defect(index, severity) => Some(Given {
                defect: &self.defects[index],
                severity,
            }),
            _ => None,
        };
        let mut setup = setup(&self.fitted.item, given, trial.seed)?;
        if let Subject::Corner(row) = trial.subject {
            let corner = corners::corner(setup.item, row, &setup.amounts);
            setup.amounts.extend(corner);
        }
        let rehearsal = Rehearsal {
            fitted: self.fitted,
            setup,
            seed: trial.seed,
            defect: None,
            run: "challenge".to_owned(),
            wishes: Wishes::default(),
        };
        let mut events = Events::default();
        let outcome = rehearse(&rehearsal, &mut events)?;
        Ok(summary(&events, outcome.exit_code))
    }
}

fn summary(events: &Events, exit_code: u8) -> Result {
    let mut result = Result {
        steps: BTreeMap::new(),
        judgements: BTreeMap::new(),
        not_passed: Vec::new(),
        exit_code,
    };
    let mut ids = BTreeMap::new();
    for stamped in &events.0 {
        match &stamped.event {
            Event::RunStarted(heading) => {
                ids = heading
                    .steps
                    .iter()
                    .map(|head| (head.number, head.id.clone()))
                    .collect();
                for outcome in outcomes(heading, &events.0) {
                    let known = result.steps.entry(outcome.head.id).or_insert(outcome.verdict);
                    // Several steps may have one id: the worst of them counts.
                    *known = pilotage_evidence::rollup::run_verdict(&[*known, outcome.verdict], None);
                }
            }
            Event::Judged(judgement) => {
                *result.judgements.entry(judgement.verdict).or_insert(0) += 1;
                if judgement.verdict != Verdict::Pass {
                    let id = ids.get(&judgement.step).cloned().unwrap_or_default();
                    result.not_passed.push((id, judgement.name.clone(), judgement.verdict));
                }
            }
            _ => {}
        }
    }
    result
}
