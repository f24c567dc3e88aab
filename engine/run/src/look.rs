//! Looking at a point again and again: until it comes, to see that it does not come, until it stays.
//!
//! A time found by looking is an interval: the event came between the look before and the look that saw it. What it waits for began with the
//! orders before, somewhere between the sending of the first and the confirmation of the last; or, where a wait came before it, with what
//! that one saw.

use crate::halt::Halt;
use crate::runner::{Named, Ordered, Runner, no_value};
use crate::values::{Known, interval, missing};
use crate::wording;
use crate::world::{Answer, Bench, BenchError, Clock, Journal, Lane, People};
use pilotage_core::{Datum, Dimension, Measured, NoValue, Quantity, RunTime, Tolerance};
use pilotage_evidence::event::Exchange;
use pilotage_evidence::judge::{WAITED, judge, judge_reading};
use pilotage_evidence::{DecisionRule, Verdict};
use pilotage_plan::program::{Condition, MustNotSpec, ReadSpec, SettleSpec, WaitSpec, Wanted};
use pilotage_plan::sources::{LOOKS, of_answer};
use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;

/// Time between looks while something settles, at most; a tenth of the dwell where that is shorter.
const SETTLE_EVERY: Duration = Duration::from_millis(100);

/// Whether a value lies inside a tolerance; `None` where that cannot be said (no value, another dimension).
pub(crate) fn inside(datum: &Datum, tolerance: &Tolerance) -> Option<bool> {
    match judge(datum.as_ref(), tolerance, DecisionRule::Simple).verdict {
        Verdict::Pass => Some(true),
        Verdict::Fail => Some(false),
        _ => None,
    }
}

/// Whether a condition is met; `None` where that cannot be said.
fn met(condition: &Condition, answer: &Answer) -> Option<bool> {
    match &condition.wanted {
        Wanted::Number(tolerance) => inside(&answer.datum, tolerance),
        Wanted::Word(word) => answer.word.as_ref().map(|seen| seen == word),
    }
}

/// What looking brought.
struct Looked {
    datum: Datum,
    taken: (RunTime, RunTime),
    /// How long was waited, where it did not come.
    constants: BTreeMap<String, Quantity>,
    /// Of the last two looks.
    exchanges: Vec<Exchange>,
    trouble: Option<BenchError>,
    last_seen: String,
    /// Between which times it came, where it did.
    came: Option<(RunTime, RunTime)>,
}

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Waits for a condition; the time that it took becomes a reading, judged against its deadline.
    pub(crate) async fn wait_for(&mut self, spec: &WaitSpec) -> Result<(), Halt> {
        let looked = self.look_until_met(spec).await;
        let last_seen = looked.last_seen.clone();
        let came = looked.datum.is_ok() && looked.trouble.is_none();
        self.ordered = looked.came.map(Ordered::event);
        let how = format!("time until {} is as wanted, between two looks", spec.condition.point);
        let known = self.put_looked(&spec.name, &spec.limit.unit, &how, looked).await?;
        let ruling = judge_reading(&known.reading, &spec.limit, self.program.heading.decision_rule);
        let ruling = self.unless_undone(ruling);
        let ruling = if spec.inconclusive {
            ruling.claimed_inconclusive()
        } else {
            ruling
        };
        let verdict = self.put_ruling(&known, ruling, &spec.limit)?;
        if let Some(step) = &mut self.step {
            step.waited_in_vain =
                (spec.inconclusive && !came).then(|| format!("{} did not come before", spec.limit.title));
        }
        if !came || verdict != Verdict::Pass {
            let says = spec.says.as_ref().map(|says| format!("{says}; ")).unwrap_or_default();
            let point = &spec.condition.point;
            self.note(verdict, format!("{says}{point} last read {last_seen}"), spec.side);
        }
        Ok(())
    }

    async fn look_until_met(&self, spec: &WaitSpec) -> Looked {
        let began = self.clock.now();
        let origin = self
            .ordered
            .map_or((began, began), |ordered| (ordered.sent, ordered.confirmed));
        let read = ReadSpec::of(&spec.condition.point, &spec.condition.unit);
        let mut before: Option<Answer> = None;
        loop {
            let asked = self.clock.now();
            let answer = match self.bench.read(&read, Lane::Work).await {
                Ok(answer) => answer,
                Err(error) => return failed(error, (began, self.clock.now())),
            };
            let seen = met(&spec.condition, &answer);
            if seen == Some(true) {
                let came = (
                    before.as_ref().map_or(origin.0, |answer| answer.taken.0),
                    answer.taken.1,
                );
                let datum = time_between(origin, before.is_some(), came, &self.own_source(LOOKS, &spec.name));
                return Looked {
                    came: Some(came),
                    ..looked(datum, began, before, answer, &read.unit)
                };
            }
            if asked.since(began) >= spec.deadline {
                return match seen {
                    Some(_) => too_late(spec, (origin.1, began), before, answer, &read.unit),
                    None => looked(Err(unseen(&answer, &read)), began, before, answer, &read.unit),
                };
            }
            before = Some(answer);
            let next = asked.plus(spec.every).min(began.plus(spec.deadline));
            self.clock.sleep(next.since(self.clock.now())).await;
        }
    }

    /// Looks for a time that something does not come; the count of looks at which it was there becomes a reading. The first
    /// such look ends the looking: what must not be live is not left live to be counted.
    pub(crate) async fn must_not(&mut self, spec: &MustNotSpec) -> Result<(), Halt> {
        let looked = self.look_that_it_stays_away(spec).await;
        let how = format!("looks that saw {} as it must not be", spec.condition.point);
        let known = self.put_looked(&spec.name, &spec.limit.unit, &how, looked).await?;
        self.judge_against(&known, &spec.limit).map(drop)
    }

    async fn look_that_it_stays_away(&self, spec: &MustNotSpec) -> Looked {
        let began = self.clock.now();
        let read = ReadSpec::of(&spec.condition.point, &spec.condition.unit);
        let mut before: Option<Answer> = None;
        let mut doubt: Option<NoValue> = None;
        loop {
            let asked = self.clock.now();
            let answer = match self.bench.read(&read, Lane::Work).await {
                Ok(answer) => answer,
                Err(error) => return failed(error, (began, self.clock.now())),
            };
            let there = met(&spec.condition, &answer);
            if there.is_none() {
                doubt.get_or_insert_with(|| unseen(&answer, &read));
            }
            if there == Some(true) || asked.since(began) >= spec.length {
                let datum = match doubt {
                    Some(reason) if there != Some(true) => Err(reason),
                    _ => count(u32::from(there == Some(true))),
                };
                return looked(datum, began, before, answer, &read.unit);
            }
            before = Some(answer);
            let next = asked.plus(spec.every).min(began.plus(spec.length));
            self.clock.sleep(next.since(self.clock.now())).await;
        }
    }

    /// Waits until a reading stays within a band; what never settles makes the step inconclusive.
    pub(crate) async fn settle(&mut self, spec: &SettleSpec) -> Result<(), Halt> {
        let read = ReadSpec::of(&spec.point, "");
        let began = self.clock.now();
        let mut window: VecDeque<(RunTime, f64)> = VecDeque::new();
        let mut next_along = began;
        loop {
            if let Some((reads, every)) = &spec.along
                && self.clock.now() >= next_along
            {
                next_along = self.clock.now().plus(*every);
                self.read_all(reads).await?;
            }
            let asked = self.clock.now();
            let outcome = self.bench.read(&read, Lane::Work).await;
            let value = outcome
                .as_ref()
                .ok()
                .and_then(|answer| answer.datum.as_ref().ok())
                .map(|seen| seen.value.si());
            match value {
                Some(si) => window.push_back((asked, si)),
                None => window.clear(),
            }
            let settled = stays(&mut window, spec, asked);
            let late = asked.since(began) >= spec.deadline;
            if settled || late || outcome.is_err() {
                if let Some((reads, _)) = &spec.along {
                    self.read_all(reads).await?;
                }
                return self.put_settled(spec, &read, &outcome, asked, settled).await;
            }
            self.clock.sleep(SETTLE_EVERY.min(spec.dwell / 10)).await;
        }
    }

    async fn put_settled(
        &mut self,
        spec: &SettleSpec,
        read: &ReadSpec,
        outcome: &Result<Answer, BenchError>,
        asked: RunTime,
        settled: bool,
    ) -> Result<(), Halt> {
        self.note_answer(read, outcome, asked).map(drop)?;
        if outcome.is_err() {
            return self.recover().await;
        }
        if !settled {
            let band = wording::quantity(spec.band, "");
            let why = format!(
                "{} did not settle within ±{band} in {}",
                spec.point,
                wording::span(spec.deadline)
            );
            self.own_trouble(
                &format!("settle {}", spec.point),
                &format!("±{band}"),
                &why,
                "lengthen the deadline",
            )?;
            self.note(Verdict::Inconclusive, why, None);
        }
        Ok(())
    }

    /// Of two waits neither knows of the other: none falls out of a difference.
    fn own_source(&self, what: &str, name: &str) -> String {
        let name = of_answer(what, name);
        self.pass
            .as_ref()
            .map_or_else(|| name.clone(), |pass| format!("{name}, {pass}"))
    }

    async fn put_looked(&mut self, name: &str, unit: &str, how: &str, looked: Looked) -> Result<Known, Halt> {
        let named = Named { name, point: "", unit };
        let mut reading = self.computed(&named, looked.datum.clone(), looked.taken);
        reading.exchanges = looked.exchanges;
        reading.formula = Some(how.to_owned());
        reading.constants = looked.constants;
        let known = self.put_reading(reading)?;
        if let Some(error) = &looked.trouble {
            self.put_trouble(error)?;
            self.recover().await?;
        }
        Ok(known)
    }
}

/// From something that happened within `origin` to what came within `came`; no time at all where nobody looked before.
fn time_between(origin: (RunTime, RunTime), looked_before: bool, came: (RunTime, RunTime), source: &str) -> Datum {
    let low_s = if looked_before {
        came.0.since(origin.1).as_secs_f64()
    } else {
        0.0
    };
    let high_s = came.1.since(origin.0).as_secs_f64();
    interval(low_s, high_s, Dimension::TIME, source)
}

/// It had not come when the last look ended: all that is known of its time is that it is longer.
fn too_late(
    spec: &WaitSpec,
    (ordered, began): (RunTime, RunTime),
    before: Option<Answer>,
    last: Answer,
    unit: &str,
) -> Looked {
    let why = format!("did not come within {}", wording::span(spec.deadline));
    let waited = Quantity::new(
        last.taken.1.since(ordered).max(spec.deadline).as_secs_f64(),
        Dimension::TIME,
    );
    Looked {
        constants: waited.into_iter().map(|waited| (WAITED.to_owned(), waited)).collect(),
        ..looked(Err(missing(why)), began, before, last, unit)
    }
}

/// Why a look says neither that it is there nor that it is not.
fn unseen(answer: &Answer, read: &ReadSpec) -> NoValue {
    let why = || missing(format!("{} read {}", read.point, wording::answer(answer, &read.unit)));
    answer.datum.clone().err().unwrap_or_else(why)
}

fn looked(datum: Datum, began: RunTime, before: Option<Answer>, last: Answer, unit: &str) -> Looked {
    let last_seen = wording::answer(&last, unit);
    let mut exchanges = before.map(|answer| answer.exchanges).unwrap_or_default();
    exchanges.extend(last.exchanges);
    Looked {
        datum,
        taken: (began, last.taken.1),
        constants: BTreeMap::new(),
        exchanges,
        trouble: None,
        last_seen,
        came: None,
    }
}

fn failed(error: BenchError, taken: (RunTime, RunTime)) -> Looked {
    Looked {
        datum: Err(no_value(&error)),
        taken,
        constants: BTreeMap::new(),
        exchanges: error.exchanges.clone(),
        last_seen: "nothing".to_owned(),
        trouble: Some(error),
        came: None,
    }
}

fn count(number: u32) -> Datum {
    Quantity::new(f64::from(number), Dimension::NONE).map(Measured::exact)
}

/// Whether the looks of the last dwell lie within the band; older ones are forgotten.
fn stays(window: &mut VecDeque<(RunTime, f64)>, spec: &SettleSpec, now: RunTime) -> bool {
    while window.get(1).is_some_and(|(at, _)| now.since(*at) >= spec.dwell) {
        window.pop_front();
    }
    let long_enough = window.front().is_some_and(|(at, _)| now.since(*at) >= spec.dwell);
    let low = window.iter().map(|(_, si)| *si).fold(f64::INFINITY, f64::min);
    let high = window.iter().map(|(_, si)| *si).fold(f64::NEG_INFINITY, f64::max);
    long_enough && high - low <= 2.0 * spec.band.si().abs()
}
