//! What every part of a run shares: the bench side, the journal side, and where the run stands.

use crate::guard::Watch;
use crate::halt::Halt;
use crate::log::Log;
use crate::options::Options;
use crate::power::OfLine;
use crate::sweep::Sweep;
use crate::values::{Known, Values};
use crate::wording;
use crate::world::{Answer, Bench, BenchError, Captured, Clock, Journal, Lane, People, Queues};
use pilotage_core::signal::{Channel, Timing};
use pilotage_core::{Datum, NoValue, Quantity, RunTime, Unit};
use pilotage_evidence::event::{CapturedChannel, Exchange, Reading, Trouble};
use pilotage_evidence::{EnergyState, Event, Side, Verdict};
use pilotage_plan::program::{ActKind, Program, QuietOrder, ReadSpec};
use std::cell::OnceCell;
use std::collections::BTreeMap;

/// Period of the pilot, 1 kHz (IEC 61851-1, Annex A, Table A.2): its high and low are followed from one to the next.
const PILOT_PERIOD_S: f64 = 1e-3;

/// One run.
pub(crate) struct Runner<'a, B, C, J, P> {
    pub(crate) program: &'a Program,
    pub(crate) options: &'a Options,
    pub(crate) bench: &'a B,
    pub(crate) clock: &'a C,
    pub(crate) people: &'a P,
    /// Guards and gate, shared with the monitor that runs beside every act.
    pub(crate) watch: &'a Watch<'a, B, C>,
    pub(crate) log: Log<'a, C, J>,
    pub(crate) values: Values,
    /// `needs` of the step that runs now.
    pub(crate) needs: BTreeMap<String, Quantity>,
    pub(crate) sweep: Sweep,
    /// The last capture, or why there is none.
    pub(crate) captured: Result<LastCapture, String>,
    pub(crate) captures: u32,
    pub(crate) energy: EnergyState,
    /// As last ordered; true while unknown.
    pub(crate) supply_on: bool,
    pub(crate) cautioned: bool,
    /// Until when the proof of the hard-wired stop holds; `None` without one.
    pub(crate) stop_proven_until: Option<RunTime>,
    /// The isolated step that withholds every energising permit.
    pub(crate) permits_withheld: Option<String>,
    pub(crate) pass: Option<String>,
    /// What a wait counts from; `None` where time was let pass since.
    pub(crate) ordered: Option<Ordered>,
    /// The step that runs now.
    pub(crate) step: Option<Progress>,
    /// Index of the last step that began: readings of make safe belong to it.
    pub(crate) last_step: u32,
    /// Verdicts of the steps that ended.
    pub(crate) ended: Vec<Verdict>,
}

/// Orders one after the other, or what a wait saw: what follows from it began somewhere between these two times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Ordered {
    /// When the first was sent, or the look before it was taken.
    pub(crate) sent: RunTime,
    /// When the last was confirmed, or it was seen.
    pub(crate) confirmed: RunTime,
    /// Whether another order would belong to them: nothing was looked at since.
    goes_on: bool,
}

impl Ordered {
    /// What a wait saw: the next one counts from it.
    pub(crate) fn event((earliest, latest): (RunTime, RunTime)) -> Self {
        Self {
            sent: earliest,
            confirmed: latest,
            goes_on: false,
        }
    }

    /// What of them is left after an act: looking and reckoning let what they do go on; where the sequence, a person or a capture takes time,
    /// a wait begins anew.
    pub(crate) fn after(self, kind: &ActKind) -> Option<Self> {
        match kind {
            ActKind::Quiet(_) | ActKind::Energise(_) => Some(self),
            ActKind::Read(_) | ActKind::WaitFor(_) | ActKind::Find(_) | ActKind::Judge(_) => {
                Some(Self { goes_on: false, ..self })
            }
            ActKind::Capture(_)
            | ActKind::MustNot(_)
            | ActKind::Hold(_)
            | ActKind::Settle(_)
            | ActKind::Ask(_)
            | ActKind::Isolate(_)
            | ActKind::ProveDead(_) => None,
        }
    }
}

/// A stored capture.
pub(crate) struct LastCapture {
    /// Sequence number of its event.
    pub(crate) seq: u64,
    /// Its name.
    pub(crate) name: String,
    /// Channels and samples.
    pub(crate) captured: Captured,
    /// Each channel in coherent SI units, once somebody looked at it.
    looked: Vec<OnceCell<Channel>>,
    /// What was taken over whole cycles of its line.
    pub(crate) of_line: OfLine,
}

impl LastCapture {
    /// A capture that was just stored.
    pub(crate) fn new(seq: u64, name: String, captured: Captured) -> Self {
        let looked = vec![OnceCell::new(); captured.samples.len()];
        Self {
            seq,
            name,
            captured,
            looked,
            of_line: OfLine::default(),
        }
    }

    /// A channel in coherent SI units; several analyses share it and what it keeps.
    pub(crate) fn channel(&self, number: usize, unit: &Unit, mains_hz: f64) -> &Channel {
        let CapturedChannel {
            offset,
            scale,
            interval_s,
            ..
        } = self.captured.channels[number];
        let value = |sample: &i16| unit.to_si(offset + scale * f64::from(*sample));
        let timing = Timing {
            interval_s,
            pulse_period_s: PILOT_PERIOD_S,
            mains_hz,
        };
        let look = || Channel::new(self.captured.samples[number].iter().map(value).collect(), timing);
        self.looked[number].get_or_init(look)
    }
}

/// A step as far as it came.
pub(crate) struct Progress {
    /// Index into the heading's steps.
    pub(crate) index: u32,
    /// Side that the sequence claims for a fail.
    pub(crate) fail_side: Option<Side>,
    /// What a wait that may stay open did not bring: what is judged behind it is not decidable.
    pub(crate) waited_in_vain: Option<String>,
    /// What a person was told to do and did not: the same of all that follows in the step.
    pub(crate) undone: Option<String>,
    notes: Vec<Note>,
}

struct Note {
    verdict: Verdict,
    why: Option<String>,
    side: Option<Side>,
}

impl Progress {
    pub(crate) fn new(index: u32, fail_side: Option<Side>) -> Self {
        Self {
            index,
            fail_side,
            waited_in_vain: None,
            undone: None,
            notes: Vec::new(),
        }
    }

    pub(crate) fn undecidable(&self) -> Option<String> {
        self.undone.clone().or_else(|| self.waited_in_vain.clone())
    }

    pub(crate) fn note(&mut self, verdict: Verdict, why: Option<String>, side: Option<Side>) {
        self.notes.push(Note { verdict, why, side });
    }

    /// Verdict, words where it is not a pass, side. A step that looks at the bench finds a bad bench, not a bad item: its
    /// fail is an error of side bench.
    pub(crate) fn conclude(&self) -> (Verdict, Option<String>, Option<Side>) {
        match self.decided() {
            (Verdict::Fail, why, Some(Side::Bench)) => (Verdict::Error, why, Some(Side::Bench)),
            decided => decided,
        }
    }

    fn decided(&self) -> (Verdict, Option<String>, Option<Side>) {
        let all: Vec<Verdict> = self.notes.iter().map(|note| note.verdict).collect();
        let verdict = pilotage_evidence::rollup::step_verdict(&all);
        let deciding = || self.notes.iter().filter(|note| note.verdict == verdict);
        let side = deciding().find_map(|note| note.side);
        (verdict, self.words(verdict), side.or(self.claimed(verdict)))
    }

    /// Where a look at the bench decides nothing, that is the bench's too.
    fn claimed(&self, verdict: Verdict) -> Option<Side> {
        match verdict {
            Verdict::Fail => self.fail_side,
            Verdict::Inconclusive => self.fail_side.filter(|side| *side == Side::Bench),
            Verdict::Pass | Verdict::Error | Verdict::NotRun => None,
        }
    }

    fn words(&self, verdict: Verdict) -> Option<String> {
        let mut words: Vec<&str> = Vec::new();
        for why in self
            .notes
            .iter()
            .filter(|note| note.verdict == verdict)
            .filter_map(|note| note.why.as_deref())
        {
            if !words.contains(&why) {
                words.push(why);
            }
        }
        match words.len() {
            0 => None,
            1..=3 => Some(words.join("; ")),
            more => Some(format!("{}; and {} more", words[..3].join("; "), more - 3)),
        }
    }
}

/// What a reading is called and how it is printed.
pub(crate) struct Named<'n> {
    pub(crate) name: &'n str,
    pub(crate) point: &'n str,
    pub(crate) unit: &'n str,
}

impl<'n> From<&'n ReadSpec> for Named<'n> {
    fn from(spec: &'n ReadSpec) -> Self {
        Self {
            name: &spec.name,
            point: &spec.point,
            unit: &spec.unit,
        }
    }
}

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Something that decides the step that runs now.
    pub(crate) fn note(&mut self, verdict: Verdict, why: impl Into<String>, side: Option<Side>) {
        let why = why.into();
        if let Some(step) = &mut self.step {
            step.note(verdict, (!why.is_empty()).then_some(why), side);
        }
    }

    /// Where readings belong.
    pub(crate) fn step_index(&self) -> u32 {
        self.step.as_ref().map_or(self.last_step, |step| step.index)
    }

    /// Appends a reading as far as that works, and makes it known under its name.
    pub(crate) fn say_reading(&mut self, mut reading: Reading) -> Option<Known> {
        let exchanges = std::mem::take(&mut reading.exchanges);
        let bare = reading.clone();
        reading.exchanges = exchanges;
        let seq = self.log.say(Event::Reading(Box::new(reading)))?;
        let known = Known { seq, reading: bare };
        self.sweep.add(&known);
        self.values.insert(known.clone());
        Some(known)
    }

    /// Appends a reading, or ends the run.
    pub(crate) fn put_reading(&mut self, reading: Reading) -> Result<Known, Halt> {
        let known = self.say_reading(reading);
        self.log.check()?;
        known.ok_or_else(|| Halt::bench("the journal gave no sequence number"))
    }

    /// The reading of an answer, or of a bench that gave none.
    pub(crate) fn reading(&self, named: &Named<'_>, outcome: &Result<Answer, BenchError>, asked: RunTime) -> Reading {
        match outcome {
            Ok(answer) => Reading {
                word: answer.word.clone(),
                exchanges: answer.exchanges.clone(),
                ..self.computed(named, datum_unless_word(answer), answer.taken)
            },
            Err(error) => Reading {
                exchanges: error.exchanges.clone(),
                ..self.computed(named, Err(no_value(error)), (asked, self.clock.now()))
            },
        }
    }

    /// A reading without exchanges.
    pub(crate) fn computed(&self, named: &Named<'_>, datum: Datum, taken: (RunTime, RunTime)) -> Reading {
        let (value, no_value) = match datum {
            Ok(measured) => (Some(measured), None),
            Err(reason) => (None, Some(reason)),
        };
        Reading {
            name: named.name.to_owned(),
            step: self.step_index(),
            pass: self.pass.clone(),
            point: named.point.to_owned(),
            value,
            no_value,
            word: None,
            unit: named.unit.to_owned(),
            taken,
            exchanges: Vec::new(),
            formula: None,
            from: BTreeMap::new(),
            constants: BTreeMap::new(),
            variables: self.values.pass().clone(),
            moments: Vec::new(),
        }
    }

    /// Reads one point and journals it; a bench that gives no answer makes the step an error.
    pub(crate) async fn read_point(&mut self, spec: &ReadSpec, lane: Lane) -> Result<Known, Halt> {
        let asked = self.clock.now();
        let outcome = self.bench.read(spec, lane).await;
        let seen = self.note_answer(spec, &outcome, asked)?;
        if outcome.is_err() {
            self.recover().await?;
        }
        Ok(seen)
    }

    /// Journals what a read brought.
    pub(crate) fn note_answer(
        &mut self,
        spec: &ReadSpec,
        outcome: &Result<Answer, BenchError>,
        asked: RunTime,
    ) -> Result<Known, Halt> {
        let reading = self.reading(&spec.into(), outcome, asked);
        let known = self.put_reading(reading)?;
        if let Err(error) = outcome {
            self.put_trouble(error)?;
        }
        Ok(known)
    }

    /// Journals a trouble of the bench; the step is an error of side bench.
    pub(crate) fn put_trouble(&mut self, error: &BenchError) -> Result<(), Halt> {
        self.note(Verdict::Error, wording::trouble(&error.trouble), Some(Side::Bench));
        self.log.put(Event::Trouble((*error.trouble).clone())).map(drop)
    }

    /// After a trouble, and at the end of each step.
    pub(crate) async fn recover(&mut self) -> Result<(), Halt> {
        self.empty_queues(Queues::OfStep).await
    }

    /// Empties error queues. What instruments kept there is a trouble of this step; a queue that does not even answer is a
    /// lost link, and ends the run.
    pub(crate) async fn empty_queues(&mut self, queues: Queues) -> Result<(), Halt> {
        let Err(error) = self.bench.drain(queues).await else {
            return Ok(());
        };
        self.put_trouble(&error)?;
        let silent = error.exchanges.iter().any(|exchange| exchange.received.is_none());
        if !silent && !error.exchanges.is_empty() {
            return Ok(());
        }
        Err(Halt::Bench {
            why: format!("{} no longer answers: {}", error.trouble.instrument, error.trouble.got),
            emergency: true,
        })
    }

    /// Sets a point that cannot energise, and reads it back; a bench that cannot ends the run.
    pub(crate) async fn apply(&mut self, act: u32, order: &QuietOrder) -> Result<(), Halt> {
        self.order_sent();
        match self.bench.apply(order, Lane::Work).await {
            Ok(exchanges) => {
                self.order_confirmed();
                self.put_applied(act, wording::order(order.order()), exchanges)
            }
            Err(error) => Err(self.set_failed(&error)?),
        }
    }

    /// To be called directly before an order is sent.
    pub(crate) fn order_sent(&mut self) {
        let now = self.clock.now();
        let before = self.ordered.filter(|ordered| ordered.goes_on);
        self.ordered = before.or(Some(Ordered {
            sent: now,
            confirmed: now,
            goes_on: true,
        }));
    }

    /// To be called directly after the bench has confirmed it.
    pub(crate) fn order_confirmed(&mut self) {
        if let Some(ordered) = &mut self.ordered {
            ordered.confirmed = self.clock.now();
        }
    }

    /// A point could not be set: what follows would not be what the program says.
    pub(crate) fn set_failed(&mut self, error: &BenchError) -> Result<Halt, Halt> {
        self.put_trouble(error)?;
        Ok(Halt::Bench {
            why: wording::trouble(&error.trouble),
            emergency: self.watch.is_armed(),
        })
    }

    /// Journals a set point.
    pub(crate) fn put_applied(&mut self, act: u32, order: String, exchanges: Vec<Exchange>) -> Result<(), Halt> {
        self.log.put(Event::Applied { act, order, exchanges }).map(drop)
    }

    /// Journals a trouble of the program or of a person's answer.
    pub(crate) fn own_trouble(&mut self, command: &str, expected: &str, got: &str, mend: &str) -> Result<(), Halt> {
        self.log
            .put(Event::Trouble(Trouble {
                instrument: String::new(),
                command: command.to_owned(),
                expected: expected.to_owned(),
                got: got.to_owned(),
                elapsed_s: 0.0,
                mend: mend.to_owned(),
            }))
            .map(drop)
    }

    /// The energy state as it is known now. Guards watch whenever anything may be energised.
    pub(crate) fn set_energy(&mut self, to: EnergyState, why: &str) {
        let from = self.energy;
        self.energy = to;
        let quiet = to == EnergyState::Isolated || (to == EnergyState::OutputDead && !self.supply_on);
        if quiet {
            self.watch.disarm();
        }
        if from != to {
            let why = why.to_owned();
            self.log.say(Event::EnergyChanged { from, to, why });
        }
    }
}

fn datum_unless_word(answer: &Answer) -> Datum {
    match (&answer.word, &answer.datum) {
        (Some(word), Err(_)) => Err(NoValue::Missing(format!("the point answers in words: {word}"))),
        (_, datum) => datum.clone(),
    }
}

/// A bench error as the reason of a reading without value.
pub(crate) fn no_value(error: &BenchError) -> NoValue {
    NoValue::Bench(wording::trouble(&error.trouble))
}

#[cfg(test)]
mod tests {
    use super::Progress;
    use pilotage_evidence::{Side, Verdict};

    #[test]
    fn a_bad_bench_is_not_a_bad_item() {
        let ended = |side| {
            let mut step = Progress::new(0, Some(side));
            step.note(Verdict::Fail, Some("2740 Ω instead of 882 Ω".to_owned()), None);
            step.conclude()
        };
        let why = Some("2740 Ω instead of 882 Ω".to_owned());
        assert_eq!(ended(Side::Bench), (Verdict::Error, why.clone(), Some(Side::Bench)));
        assert_eq!(ended(Side::WallUnit), (Verdict::Fail, why, Some(Side::WallUnit)));
    }

    #[test]
    fn a_look_at_the_bench_that_decides_nothing_is_the_benchs() {
        let ended = |side| {
            let mut step = Progress::new(0, Some(side));
            step.note(Verdict::Inconclusive, None, None);
            step.conclude()
        };
        assert_eq!(ended(Side::Bench), (Verdict::Inconclusive, None, Some(Side::Bench)));
        assert_eq!(ended(Side::WallUnit), (Verdict::Inconclusive, None, None));
    }
}
