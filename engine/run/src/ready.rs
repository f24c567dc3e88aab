//! The tool's own steps before the author's: who the instruments are (BC-01), that their error queues are empty and how
//! fast they answer (BC-02), and a bench made ready: dead, isolated, its hard-wired stop proven (BC-11).
//!
//! What is wrong here is wrong with the bench: it ends as an error of side bench, never as a fail of the item.

use crate::halt::Halt;
use crate::judge::count_limit;
use crate::options::StopProof;
use crate::runner::{Named, Progress, Runner};
use crate::world::{Bench, Clock, Journal, People, Purpose, Question, Queues, Reply};
use pilotage_core::{Dimension, Measured, NoValue, Quantity, RunTime};
use pilotage_evidence::event::Exchange;
use pilotage_evidence::heading::{InstrumentPlate, LimitPlate, StepHead};
use pilotage_evidence::judge::judge_reading;
use pilotage_evidence::{EnergyState, Event, Heading, Side, Verdict};
use pilotage_plan::files::sequence::AnswerText;
use pilotage_plan::program::{ActKind, IsolateSpec, Program, ProveDeadSpec, SafeAct, WithoutSource};
use std::time::Duration;

const LOCK_PROMPT: &str = "Switch the isolator off and lock it. Is it locked?";
const INPUT: &str = "ac_input";
/// Number of the tool's own steps: the author's steps are counted from here in the heading.
pub(crate) const OWN_STEPS: u32 = 3;

/// The heading as it is journaled: the tool's own steps in front, the run's name, mode and start filled in.
pub(crate) fn heading(program: &Program, options: &crate::Options) -> Heading {
    let mut heading = program.heading.clone();
    heading.mode = options.mode.clone();
    heading.run.clone_from(&options.run);
    heading.started.clone_from(&options.started);
    let mut steps = own_steps(program);
    steps.extend(heading.steps.into_iter().map(|step| StepHead {
        number: step.number + OWN_STEPS,
        ..step
    }));
    heading.steps = steps;
    for closing in &mut heading.closings {
        closing.step += OWN_STEPS;
        closing.since += OWN_STEPS;
    }
    if let (StopProof::Fresh { said, .. }, None) = (&options.stop_proof, &program.without_source) {
        heading
            .bench
            .notes
            .push(format!("The hard-wired stop was not proven again in this run: {said}"));
    }
    heading
}

fn own_steps(program: &Program) -> Vec<StepHead> {
    let step = |number, id: &str, title: &str, fail_means: &str, look_next: &[&str]| StepHead {
        number,
        id: id.to_owned(),
        title: title.to_owned(),
        place: String::new(),
        fail_means: Some(fail_means.to_owned()),
        look_next: look_next.iter().map(|words| (*words).to_owned()).collect(),
        pictures: Vec::new(),
    };
    let identity = if program.hand_held {
        step(
            0,
            "BC-01",
            "Meters are the ones of the bench file",
            "another meter is used",
            &["serial number on the meter", "bench file"],
        )
    } else {
        step(
            0,
            "BC-01",
            "Instruments are the ones of the bench file",
            "another instrument answers on this link",
            &["serial number on the instrument", "link in the bench file"],
        )
    };
    let queues = step(
        1,
        "BC-02",
        "Error queues are empty",
        "an instrument holds errors, or its link is slow or dead",
        &["error texts in the journal", "cable and address of the instrument"],
    );
    let ready = if program.without_source.is_some() {
        step(
            2,
            "BC-22",
            "Bench made ready: nothing on it can energise, and a person measured the item dead by hand",
            "something is connected to the item, or something in it is still charged",
            &["what is connected to the item", "meter tried before and after"],
        )
    } else {
        let opens = program.stop_opens.iter().map(|opens| opens.contactor.name);
        let look_next: Vec<&str> = ["guard switch", "red button"].into_iter().chain(opens).collect();
        step(
            2,
            "BC-11",
            "Bench made ready: measured dead, isolated, hard-wired stop proven",
            "something is live, or the safety chain does not work",
            &look_next,
        )
    };
    vec![identity, queues, ready]
}

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// BC-01.
    pub(crate) async fn identify(&mut self) -> Result<(), Halt> {
        self.begin_own_step(0)?;
        let identities = match self.bench.identify().await {
            Ok(identities) => identities,
            Err(error) => return Err(self.set_failed(&error)?),
        };
        let mut strangers = self.meters_that_are_others().await?;
        for identity in identities {
            if !identity.expected {
                strangers.push(format!("{} answers `{}`", identity.instrument, identity.reply));
            }
            self.log.put(Event::Identified {
                instrument: identity.instrument,
                reply: identity.reply,
                expected: identity.expected,
            })?;
        }
        let limit = count_limit("Instruments that are not the ones of the bench file", "BC-01");
        let why = format!(
            "{}: model or serial number is not the one of the bench file; mend the bench file or the link",
            strangers.join("; ")
        );
        self.demand_of_bench("strangers", count(strangers.len()), &limit, Vec::new(), &why)?;
        self.calibrations_hold()?;
        self.end_step()
    }

    /// A person looks for the serial number on each meter that a person reads.
    async fn meters_that_are_others(&mut self) -> Result<Vec<String>, Halt> {
        let mut others = Vec::new();
        let meters = self.program.heading.bench.instruments.iter();
        for meter in meters.filter(|meter| meter.link == InstrumentPlate::READ_BY_A_PERSON) {
            let prompt = format!(
                "Is the meter at hand `{}`, {}, with the serial number {}?",
                meter.name, meter.driver, meter.serial
            );
            let reply = self.people.ask(question(&prompt, Purpose::Sequence)).await;
            let (expected, reply) = self.said_yes(&prompt, reply)?;
            if !expected {
                others.push(format!("{}: a person answers `{reply}`", meter.name));
            }
            self.log.put(Event::Identified {
                instrument: meter.name.clone(),
                reply,
                expected,
            })?;
        }
        Ok(others)
    }

    /// No calibration may have run out on the day of the run. Days are written `YYYY-MM-DD`, so their texts compare.
    fn calibrations_hold(&mut self) -> Result<(), Halt> {
        let today = self.options.started.get(..10).unwrap_or_default();
        let instruments = &self.program.heading.bench.instruments;
        let run_out = instruments.iter().filter_map(|instrument| {
            let until = instrument.calibrated_until.as_deref()?;
            (until < today).then(|| format!("{} (until {until})", instrument.name))
        });
        let run_out: Vec<String> = run_out.collect();
        let limit = count_limit("Instruments whose calibration has run out", "BC-01");
        let why = format!(
            "calibration has run out: {}; have it calibrated, or correct the bench file",
            run_out.join(", ")
        );
        self.demand_of_bench("calibrations_run_out", count(run_out.len()), &limit, Vec::new(), &why)
    }

    /// BC-02.
    pub(crate) async fn errors_empty(&mut self) -> Result<(), Halt> {
        if self.program.hand_held {
            return self.no_queues();
        }
        self.begin_own_step(1)?;
        let exchanges = match self.bench.drain(Queues::OfStep).await {
            Ok(exchanges) => exchanges,
            Err(error) => {
                self.put_trouble(&error)?;
                return Err(Halt::bench(format!(
                    "the error queue is not empty: {}",
                    error.trouble.got
                )));
            }
        };
        self.put_latency(&exchanges)?;
        let limit = count_limit("Errors left in the queues", "BC-02");
        self.demand_of_bench("errors_left", count(0), &limit, exchanges, "errors were left")?;
        self.end_step()
    }

    /// What a person reads has no error queue.
    fn no_queues(&mut self) -> Result<(), Halt> {
        self.last_step = 1;
        self.log.put(Event::StepStarted { step: 1 })?;
        let why = "does not apply: nothing is linked to the program".to_owned();
        self.put_ended(1, Verdict::NotRun, Some(why), None)
    }

    /// Median and longest answer of the queues, for the record; the drivers' own deadlines judge each exchange.
    fn put_latency(&mut self, exchanges: &[Exchange]) -> Result<(), Halt> {
        let mut spans: Vec<Duration> = exchanges
            .iter()
            .map(|exchange| exchange.ended.since(exchange.began))
            .collect();
        spans.sort_unstable();
        let at = (self.clock.now(), self.clock.now());
        for (name, place) in [
            ("latency_median", spans.len() / 2),
            ("latency_longest", spans.len().saturating_sub(1)),
        ] {
            if let Some(span) = spans.get(place) {
                let named = Named {
                    name,
                    point: "",
                    unit: "ms",
                };
                let datum = Quantity::new(span.as_secs_f64(), Dimension::TIME).map(Measured::exact);
                let reading = self.computed(&named, datum, at);
                self.put_reading(reading)?;
            }
        }
        Ok(())
    }

    /// BC-11 with all that comes before it: from unknown to dead to isolated, then the proof of the stop.
    pub(crate) async fn make_ready(&mut self) -> Result<(), Halt> {
        self.begin_own_step(2)?;
        self.start_from_dead().await?;
        if let Some(without) = &self.program.without_source {
            return self.measured_dead_by_hand(without).await;
        }
        let spec = self.first_isolation();
        self.isolate(crate::TOOL_ACT, &spec).await?;
        match &self.options.stop_proof {
            StopProof::Wanted => {
                self.prove_stop().await?;
                self.stop_proven_until = Some(self.clock.now().plus(self.program.stop_proven_within));
            }
            StopProof::Fresh { age, .. } => {
                let left = self.program.stop_proven_within.checked_sub(*age);
                self.stop_proven_until = left.map(|left| RunTime::START.plus(left));
            }
        }
        self.end_step()
    }

    /// Where nothing on the bench can energise, a person's word stands for *isolated*, and is judged.
    async fn measured_dead_by_hand(&mut self, without: &WithoutSource) -> Result<(), Halt> {
        let reply = self.people.ask(question(&without.prompt, Purpose::Sequence)).await;
        let (yes, _) = self.said_yes(&without.prompt, reply)?;
        let limit = count_limit(
            "Doubts that nothing is connected and every pair is dead, by a person's word",
            "BC-22",
        );
        let why = "a person does not say that nothing is connected and that every pair was measured dead; disconnect the item, and measure it";
        self.demand_of_bench("doubts", count(usize::from(!yes)), &limit, Vec::new(), why)?;
        self.set_energy(EnergyState::Isolated, &without.says);
        self.supply_on = false;
        self.end_step()
    }

    /// What is left to do after make safe has switched everything off and proven the output dead: the lock, and then the
    /// input. Asked as the author's first `isolate` asks, where there is one.
    fn first_isolation(&self) -> IsolateSpec {
        let acts = self.program.steps.iter().flat_map(|step| &step.acts);
        let mut written = acts.filter_map(|act| match &act.kind {
            ActKind::Isolate(spec) => Some(spec),
            _ => None,
        });
        let (prove, prompt) = match written.next() {
            Some(spec) => (spec.prove.clone(), spec.prompt.clone()),
            None => (self.proofs_of_make_safe(), LOCK_PROMPT.to_owned()),
        };
        IsolateSpec {
            off: Vec::new(),
            prove: behind_lock(&prove),
            prompt,
        }
    }

    fn proofs_of_make_safe(&self) -> Vec<ProveDeadSpec> {
        let lines = self.program.make_safe.normal.iter();
        let proofs = lines.filter_map(|line| match line {
            SafeAct::ProveDead(spec) => Some(spec.clone()),
            _ => None,
        });
        proofs.collect()
    }

    /// A demand on the bench: met, it stands as judged; not met, it is an error of side bench and ends the run.
    pub(crate) fn demand_of_bench(
        &mut self,
        name: &str,
        datum: Result<Measured, NoValue>,
        limit: &LimitPlate,
        exchanges: Vec<Exchange>,
        why: &str,
    ) -> Result<(), Halt> {
        let now = self.clock.now();
        let named = Named {
            name,
            point: "",
            unit: &limit.unit,
        };
        let mut reading = self.computed(&named, datum, (now, now));
        reading.exchanges = exchanges;
        let known = self.put_reading(reading)?;
        let ruling = judge_reading(&known.reading, limit, self.program.heading.decision_rule);
        if ruling.verdict == Verdict::Pass {
            return self.put_ruling(&known, ruling, limit).map(drop);
        }
        self.note(Verdict::Error, why, Some(Side::Bench));
        Err(Halt::bench(why))
    }

    fn begin_own_step(&mut self, index: u32) -> Result<(), Halt> {
        self.last_step = index;
        self.step = Some(Progress::new(index, None));
        self.log.put(Event::StepStarted { step: index }).map(drop)
    }

    /// A person does something by hand on the bench (never at the item) and says so; a no is a refusal.
    pub(crate) async fn confirmed_by_person(&mut self, prompt: &str, purpose: Purpose) -> Result<(), Halt> {
        let reply = self.people.ask(question(prompt, purpose)).await;
        self.confirmed(prompt, reply)
    }

    /// Journals a yes; anything else is a refusal.
    pub(crate) fn confirmed(&mut self, prompt: &str, reply: Option<Reply>) -> Result<(), Halt> {
        match self.said_yes(prompt, reply)? {
            (true, _) => Ok(()),
            (false, answer) => Err(Halt::Person(format!("answered `{answer}`: {prompt}"))),
        }
    }

    /// Journals an answer: whether it was yes, and its words.
    fn said_yes(&mut self, prompt: &str, reply: Option<Reply>) -> Result<(bool, String), Halt> {
        let Some(reply) = reply else {
            return Err(Halt::Person(format!("nobody answered: {prompt}")));
        };
        self.log.put(Event::Asked {
            prompt: prompt.to_owned(),
            answer: reply.answer.clone(),
            by: reply.by,
            hands: false,
        })?;
        Ok((crate::ask::yes(&reply.answer) == Some(true), reply.answer))
    }

    /// Every caution is acknowledged by a named person before the first energising act.
    pub(crate) async fn acknowledge_cautions(&mut self) -> Result<(), Halt> {
        for (index, caution) in self.program.heading.cautions.iter().enumerate() {
            let by = self
                .people
                .acknowledge(caution)
                .await
                .filter(|name| !name.trim().is_empty());
            let Some(by) = by else {
                return Err(Halt::Person(format!(
                    "a caution was not acknowledged by name: {}",
                    caution.text
                )));
            };
            let caution = u32::try_from(index).unwrap_or(u32::MAX);
            self.log.put(Event::CautionAcknowledged { caution, by })?;
        }
        self.cautioned = true;
        Ok(())
    }

    /// One line of switching off before the lock: what make safe would only note ends the run here.
    async fn off_line(&mut self, act: u32, line: &SafeAct) -> Result<(), Halt> {
        let SafeAct::Order(order) = line else {
            return self.quiet_line(line).await.map(drop).map_err(Halt::bench);
        };
        self.apply(act, order).await?;
        if crate::energise::is_supply(&order.order().point, &order.order().to) == Some(false) {
            self.supply_on = false;
        }
        Ok(())
    }

    /// Supply off, output dead, isolator locked by the person, input dead: afterwards *isolated*.
    pub(crate) async fn isolate(&mut self, act: u32, spec: &IsolateSpec) -> Result<(), Halt> {
        for line in &spec.off {
            self.off_line(act, line).await?;
        }
        let (inputs, outputs): (Vec<_>, Vec<_>) = spec.prove.iter().partition(|prove| prove.behind_lock);
        for prove in outputs {
            self.must_be_dead(prove).await?;
            self.set_energy(EnergyState::OutputDead, "measured dead");
        }
        if let Some(without) = &self.program.without_source {
            self.confirmed_by_person(&spec.prompt, Purpose::Sequence).await?;
            self.set_energy(EnergyState::Isolated, &without.says);
            return self.log.check();
        }
        self.confirmed_by_person(&spec.prompt, Purpose::LockIsolator).await?;
        for prove in inputs {
            self.must_be_dead(prove).await?;
        }
        self.set_energy(
            EnergyState::Isolated,
            "supply off, isolator locked by a person, input and output measured dead",
        );
        self.log.check()
    }
}

/// The proofs of what lies behind the lock; all of them at the input where none does.
fn behind_lock(proofs: &[ProveDeadSpec]) -> Vec<ProveDeadSpec> {
    let written: Vec<ProveDeadSpec> = proofs.iter().filter(|spec| spec.behind_lock).cloned().collect();
    if !written.is_empty() {
        return written;
    }
    let moved = proofs.iter().map(|spec| ProveDeadSpec {
        at: INPUT.to_owned(),
        behind_lock: true,
        ..spec.clone()
    });
    moved.collect()
}

/// A question that is answered with yes or no.
pub(crate) fn question(prompt: &str, purpose: Purpose) -> Question<'_> {
    Question {
        prompt,
        answer: &AnswerText::YesNo,
        hands: false,
        purpose,
        does: None,
    }
}

fn count(number: usize) -> Result<Measured, NoValue> {
    Quantity::new(number as f64, Dimension::NONE).map(Measured::exact)
}
