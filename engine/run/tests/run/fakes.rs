//! A scripted bench with a tiny wall unit behind it, a clock in virtual time, a journal in memory, and a person.
//!
//! Everything that leaves the runner is also put on one tape, in order: what was appended, what was synced, what was sent.

use pilotage_core::{Contribution, Datum, Dimension, Measured, NoValue, Quantity, RunTime, Uncertainty, Unit};
use pilotage_evidence::Event;
use pilotage_evidence::event::{CapturedChannel, Exchange, Reading, Trouble};
use pilotage_evidence::heading::{CautionText, Mode};
use pilotage_evidence::record::{JournalWriter, Record};
use pilotage_evidence::rejudge::rejudge;
use pilotage_plan::program::{CaptureSpec, EnergisingOrder, Order, Program, QuietOrder, ReadSpec, Setting};
use pilotage_run::permit::Permit;
use pilotage_run::world::{
    Answer, Bench, BenchError, Captured, Clock, Identity, Journal, JournalError, Lane, People, Purpose, Question, Reply,
};
use pilotage_run::{Options, Outcome, StopProof};
use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;
use std::time::Duration;

/// Time of one exchange.
pub(crate) const EXCHANGE: Duration = Duration::from_millis(2);

/// One thing that left the runner.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Tape {
    Appended(String),
    Synced,
    Sent(RunTime, String),
}

/// Shared by all fakes of one run.
pub(crate) struct World {
    start: tokio::time::Instant,
    pub(crate) tape: RefCell<Vec<Tape>>,
    /// What each point was set to.
    pub(crate) set: RefCell<BTreeMap<String, String>>,
    pub(crate) enclosure_open: Cell<bool>,
    pub(crate) stop_pressed: Cell<bool>,
    pub(crate) faults: RefCell<Faults>,
    pub(crate) gate_shut_seen: Cell<bool>,
}

/// What is wrong with this bench.
#[derive(Debug, Clone, Default)]
pub(crate) struct Faults {
    /// Points that never answer a read.
    pub(crate) mute: BTreeSet<String>,
    /// Points whose read or set is a bench error.
    pub(crate) broken: BTreeSet<String>,
    /// Points that answer this instead.
    pub(crate) answers: BTreeMap<String, Datum>,
    /// Points that answer this word instead.
    pub(crate) words: BTreeMap<String, String>,
    /// Whether the item's contactor is welded.
    pub(crate) welded: bool,
    /// When somebody opens the enclosure.
    pub(crate) opens_at: Option<Duration>,
    /// From when on the points in `mute` never answer.
    pub(crate) mute_from: Option<Duration>,
    /// An instrument that is not the one of the bench file.
    pub(crate) stranger: bool,
    /// Whether the error queues never empty.
    pub(crate) drain_fails: bool,
    /// Whether they no longer answer once the pilot load asked for energy.
    pub(crate) drain_fails_after_energised: bool,
    /// A point whose read panics.
    pub(crate) panics: Option<String>,
    /// Points that answer this from some moment on.
    pub(crate) later: BTreeMap<String, (Duration, Datum)>,
    /// A supply contactor that the stop does not open.
    pub(crate) contactor_stuck: bool,
}

impl World {
    pub(crate) fn new() -> Rc<Self> {
        Rc::new(Self {
            start: tokio::time::Instant::now(),
            tape: RefCell::default(),
            set: RefCell::default(),
            enclosure_open: Cell::new(false),
            stop_pressed: Cell::new(false),
            faults: RefCell::default(),
            gate_shut_seen: Cell::new(false),
        })
    }

    pub(crate) fn now(&self) -> RunTime {
        RunTime::START.plus(self.start.elapsed())
    }

    fn is(&self, point: &str, word: &str) -> bool {
        self.set.borrow().get(point).is_some_and(|set| set == word)
    }

    fn enclosure_is_open(&self) -> bool {
        let opens_at = self.faults.borrow().opens_at;
        self.enclosure_open.get() || opens_at.is_some_and(|at| self.start.elapsed() >= at)
    }

    fn contactor_closed(&self) -> bool {
        self.faults.borrow().contactor_stuck || !(self.enclosure_is_open() || self.stop_pressed.get())
    }

    fn input_live(&self) -> bool {
        self.is("supply", "on") && self.contactor_closed()
    }

    fn output_live(&self) -> bool {
        let closes = self.is("pilot_load", "state_C") || self.faults.borrow().welded;
        self.input_live() && closes
    }

    /// Orders as they were sent, in words.
    pub(crate) fn sent(&self) -> Vec<String> {
        let tape = self.tape.borrow();
        let sent = tape.iter().filter_map(|entry| match entry {
            Tape::Sent(_, words) => Some(words.clone()),
            _ => None,
        });
        sent.collect()
    }
}

fn words(order: &Order) -> String {
    match &order.to {
        Setting::Word(word) => format!("{} {word}", order.point),
        Setting::Amount(value, _) => format!("{} {}", order.point, value.si()),
    }
}

/// The scripted bench.
pub(crate) struct FakeBench(pub(crate) Rc<World>);

impl FakeBench {
    async fn exchange(&self, sent: &str) -> Exchange {
        let began = self.0.now();
        tokio::time::sleep(EXCHANGE).await;
        Exchange {
            instrument: "fake".to_owned(),
            sent: sent.to_owned(),
            received: Some("1".to_owned()),
            began,
            ended: self.0.now(),
        }
    }

    fn error(point: &str) -> BenchError {
        BenchError {
            trouble: Box::new(Trouble {
                instrument: "fake".to_owned(),
                command: point.to_owned(),
                expected: "an answer".to_owned(),
                got: "error -200".to_owned(),
                elapsed_s: 0.002,
                mend: "look at the script".to_owned(),
            }),
            exchanges: Vec::new(),
        }
    }

    async fn set(&self, order: &Order) -> Result<Vec<Exchange>, BenchError> {
        let sent = words(order);
        self.0.tape.borrow_mut().push(Tape::Sent(self.0.now(), sent.clone()));
        let exchange = self.exchange(&sent).await;
        if self.0.faults.borrow().broken.contains(&order.point) {
            return Err(Self::error(&order.point));
        }
        let value = sent.split_once(' ').unwrap().1.to_owned();
        self.0.set.borrow_mut().insert(order.point.clone(), value);
        Ok(vec![exchange])
    }

    fn word(&self, point: &str) -> Option<String> {
        if let Some(word) = self.0.faults.borrow().words.get(point) {
            return Some(word.clone());
        }
        let word = match point {
            "enclosure" if self.0.enclosure_is_open() => "open",
            "enclosure" => "closed",
            "hard_wired_stop" if self.0.stop_pressed.get() => "pressed",
            "hard_wired_stop" => "ready",
            "supply_contactor" if self.0.contactor_closed() => "closed",
            "supply_contactor" => "open",
            _ => return None,
        };
        Some(word.to_owned())
    }

    fn datum(&self, point: &str) -> Datum {
        if let Some(datum) = self.0.faults.borrow().answers.get(point) {
            return datum.clone();
        }
        if let Some((from, datum)) = self.0.faults.borrow().later.get(point)
            && self.0.start.elapsed() >= *from
        {
            return datum.clone();
        }
        let (output, input) = (self.0.output_live(), self.0.input_live());
        let live = |live: bool| if live { 230.0 } else { 0.02 };
        match point {
            "ac_output[L-N].voltage" | "ac_output[L-PE].voltage" => value(live(output), "V"),
            "ac_input[L-N].voltage" | "ac_input[L-PE].voltage" => value(live(input), "V"),
            "reference.voltage" => value(if self.0.is("reference", "ac") { 50.0 } else { 0.01 }, "V"),
            "reference.dc_voltage" => value(if self.0.is("reference", "dc") { 50.0 } else { 0.01 }, "V"),
            "terminal.temperature" => value(40.0, "°C"),
            "pilot.high" => value(if self.0.is("pilot_load", "state_C") { 6.0 } else { 9.0 }, "V"),
            "ac_output[L].current" => value(if output { 8.0 } else { 0.0 }, "A"),
            _ => value(0.01, "V"),
        }
    }
}

/// A value with 0.1 % as its uncertainty.
pub(crate) fn value(number: f64, unit: &str) -> Datum {
    let value = Quantity::of(number, Unit::find(unit).unwrap())?;
    Ok(Measured {
        value,
        uncertainty: Uncertainty::Known(vec![Contribution {
            source: "meter".to_owned(),
            standard: 1e-3 * value.si().abs(),
            degrees_of_freedom: None,
        }]),
    })
}

impl Bench for FakeBench {
    async fn identify(&self) -> Result<Vec<Identity>, BenchError> {
        self.exchange("*IDN?").await;
        Ok(vec![Identity {
            instrument: "fake".to_owned(),
            reply: "FAKE,MODEL,1,1".to_owned(),
            expected: !self.0.faults.borrow().stranger,
        }])
    }

    fn messages(&self, order: &Order) -> Vec<(String, String)> {
        vec![("fake".to_owned(), words(order))]
    }

    async fn apply(&self, order: &QuietOrder, _lane: Lane) -> Result<Vec<Exchange>, BenchError> {
        self.set(order.order()).await
    }

    async fn energise(&self, order: &EnergisingOrder, permit: Permit) -> Result<Vec<Exchange>, BenchError> {
        if permit.check(self.0.now()).is_err() {
            self.0.gate_shut_seen.set(true);
            return Err(Self::error(&order.order().point));
        }
        self.set(order.order()).await
    }

    async fn read(&self, what: &ReadSpec, _lane: Lane) -> Result<Answer, BenchError> {
        let point = what.point.as_str();
        let faults = self.0.faults.borrow().clone();
        let mute_now = faults.mute_from.is_none_or(|from| self.0.start.elapsed() >= from);
        if faults.mute.contains(point) && mute_now {
            std::future::pending::<()>().await;
        }
        assert!(faults.panics.as_deref() != Some(point), "the script panics at {point}");
        let exchange = self.exchange(point).await;
        if faults.broken.contains(point) {
            return Err(Self::error(point));
        }
        let word = self.word(point);
        let datum = match &word {
            Some(_) => Err(NoValue::Missing("a word".to_owned())),
            None => self.datum(point),
        };
        Ok(Answer {
            datum,
            word,
            taken: (exchange.began, exchange.ended),
            exchanges: vec![exchange],
        })
    }

    async fn arm(&self, capture: &CaptureSpec) -> Result<Vec<Exchange>, BenchError> {
        if self.0.faults.borrow().broken.contains("arm") {
            return Err(Self::error("arm"));
        }
        Ok(vec![self.exchange(&format!("arm {}", capture.name)).await])
    }

    /// Each channel steps from its lowest to its highest sample in the middle of the capture.
    async fn fetch(&self, capture: &CaptureSpec) -> Result<Captured, BenchError> {
        let count = (capture.length.as_secs_f64() * capture.rate) as usize;
        let samples: Vec<i16> = (0..count).map(|n| if n < count / 2 { 0 } else { 1000 }).collect();
        let channel = |point: &String| CapturedChannel {
            point: point.clone(),
            unit: "V".to_owned(),
            first_sample: RunTime::START,
            interval_s: 1.0 / capture.rate,
            samples: count as u64,
            offset: 0.0,
            scale: 0.01,
            gain_standard: Some(0.001),
            offset_standard: Some(0.001),
            time_standard: Some(1e-6),
        };
        Ok(Captured {
            channels: capture.of.iter().map(channel).collect(),
            samples: capture.of.iter().map(|_| samples.clone()).collect(),
            exchanges: vec![self.exchange("fetch").await],
        })
    }

    async fn drain(&self) -> Result<Vec<Exchange>, BenchError> {
        let exchange = self.exchange("SYSTem:ERRor?").await;
        let faults = self.0.faults.borrow();
        let lost = faults.drain_fails_after_energised && self.0.is("pilot_load", "state_C");
        if faults.drain_fails || lost {
            return Err(Self::error("SYSTem:ERRor?"));
        }
        Ok(vec![exchange])
    }
}

/// Virtual time.
pub(crate) struct FakeClock(pub(crate) Rc<World>);

impl Clock for FakeClock {
    fn now(&self) -> RunTime {
        self.0.now()
    }

    async fn sleep(&self, span: Duration) {
        tokio::time::sleep(span).await;
    }
}

/// A journal in memory that may fail from some append on.
pub(crate) struct FakeJournal {
    pub(crate) world: Rc<World>,
    pub(crate) events: Vec<(RunTime, Event)>,
    pub(crate) fails_from: Option<usize>,
    pub(crate) appends: usize,
}

impl FakeJournal {
    pub(crate) fn new(world: &Rc<World>) -> Self {
        Self {
            world: Rc::clone(world),
            events: Vec::new(),
            fails_from: None,
            appends: 0,
        }
    }

    fn full() -> JournalError {
        JournalError {
            file: "journal".to_owned(),
            what: "no space left".to_owned(),
            mend: "free some space".to_owned(),
        }
    }
}

/// The variant's name.
pub(crate) fn name_of(event: &Event) -> String {
    let text = format!("{event:?}");
    text.split([' ', '(', '{']).next().unwrap_or_default().to_owned()
}

impl Journal for FakeJournal {
    fn append(&mut self, at: RunTime, event: Event) -> Result<u64, JournalError> {
        self.appends += 1;
        if self.fails_from.is_some_and(|from| self.appends > from) {
            return Err(Self::full());
        }
        self.world.tape.borrow_mut().push(Tape::Appended(name_of(&event)));
        self.events.push((at, event));
        Ok(self.events.len() as u64 - 1)
    }

    fn sync(&mut self) -> Result<(), JournalError> {
        self.world.tape.borrow_mut().push(Tape::Synced);
        Ok(())
    }

    fn store(&mut self, name: &str, _samples: &[Vec<i16>]) -> Result<(String, String), JournalError> {
        Ok((format!("{name}.i16"), "0".repeat(64)))
    }
}

/// A person who does as asked, unless the script says otherwise.
pub(crate) struct FakePeople {
    pub(crate) world: Rc<World>,
    pub(crate) stops_at: Option<Duration>,
    pub(crate) refuses: Option<Purpose>,
    pub(crate) acknowledges: bool,
    pub(crate) answers: RefCell<Vec<String>>,
}

impl FakePeople {
    pub(crate) fn new(world: &Rc<World>) -> Self {
        Self {
            world: Rc::clone(world),
            stops_at: None,
            refuses: None,
            acknowledges: true,
            answers: RefCell::default(),
        }
    }

    fn act(&self, purpose: Purpose) {
        match purpose {
            Purpose::OpenEnclosure => self.world.enclosure_open.set(true),
            Purpose::CloseEnclosure => self.world.enclosure_open.set(false),
            Purpose::PressStop => self.world.stop_pressed.set(true),
            Purpose::ReleaseStop => self.world.stop_pressed.set(false),
            Purpose::Sequence | Purpose::LockIsolator | Purpose::UnlockIsolator => {}
        }
    }
}

impl People for FakePeople {
    async fn ask(&self, question: Question<'_>) -> Option<Reply> {
        tokio::time::sleep(Duration::from_millis(500)).await;
        if self.refuses == Some(question.purpose) {
            return None;
        }
        self.act(question.purpose);
        let scripted = (question.purpose == Purpose::Sequence)
            .then(|| self.answers.borrow_mut().pop())
            .flatten();
        Some(Reply {
            answer: scripted.unwrap_or_else(|| "yes".to_owned()),
            by: "technician".to_owned(),
        })
    }

    async fn acknowledge(&self, _caution: &CautionText) -> Option<String> {
        self.acknowledges.then(|| "technician".to_owned())
    }

    async fn stop_wanted(&self) {
        match self.stops_at {
            Some(at) => tokio::time::sleep(at).await,
            None => std::future::pending().await,
        }
    }
}

/// What a run left.
pub(crate) struct Ran {
    pub(crate) outcome: Outcome,
    pub(crate) events: Vec<(RunTime, Event)>,
    pub(crate) appends: usize,
    pub(crate) world: Rc<World>,
}

/// Runs a program in virtual time; the script may spoil the world, the journal and the person beforehand.
pub(crate) fn run_with(program: &Program, script: impl FnOnce(&World, &mut FakeJournal, &mut FakePeople)) -> Ran {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .start_paused(true)
        .build()
        .unwrap();
    runtime.block_on(async {
        let world = World::new();
        let (mut journal, mut people) = (FakeJournal::new(&world), FakePeople::new(&world));
        script(&world, &mut journal, &mut people);
        let (bench, clock) = (FakeBench(Rc::clone(&world)), FakeClock(Rc::clone(&world)));
        let outcome = pilotage_run::run(program, &bench, &clock, &mut journal, &people, &options()).await;
        let ran = Ran {
            outcome,
            events: journal.events,
            appends: journal.appends,
            world,
        };
        if journal.fails_from.is_none() {
            ran.judged_again();
        }
        ran
    })
}

pub(crate) fn options() -> Options {
    Options {
        mode: Mode::VirtualBench {
            seed: 1,
            defect: None,
            over_tcp: false,
        },
        run: "scripted".to_owned(),
        started: "2026-05-01T10:00:00Z".to_owned(),
        stop_proof: StopProof::Wanted,
    }
}

impl Ran {
    /// Whatever a run says must come out the same from its record alone, and its times must not go back.
    fn judged_again(&self) {
        let mut writer = JournalWriter::new(Vec::new(), "journal");
        for (at, event) in &self.events {
            writer.append(*at, event.clone()).unwrap();
        }
        let record = Record::from_bytes(&writer.into_sink(), "journal").unwrap();
        assert_eq!(rejudge(&record), Vec::new());
        assert!(self.events.is_sorted_by_key(|(at, _)| *at), "a time goes back");
        let ended = self.names().iter().filter(|name| *name == "StepEnded").count();
        assert_eq!(ended, record.heading().steps.len(), "each step ends once");
    }

    /// The one reading of a name.
    pub(crate) fn reading(&self, name: &str) -> Reading {
        let mut found = self.events.iter().filter_map(|(_, event)| match event {
            Event::Reading(reading) if reading.name == name => Some((**reading).clone()),
            _ => None,
        });
        let reading = found.next().expect("it was taken");
        assert!(found.next().is_none(), "{name} was taken more than once");
        reading
    }

    /// Names of all events in order.
    pub(crate) fn names(&self) -> Vec<String> {
        self.events.iter().map(|(_, event)| name_of(event)).collect()
    }

    /// Verdicts of all steps in the order of the heading, with the words.
    pub(crate) fn steps(&self) -> Vec<(pilotage_evidence::Verdict, Option<String>)> {
        let ended = self.events.iter().filter_map(|(_, event)| match event {
            Event::StepEnded { verdict, because, .. } => Some((*verdict, because.clone())),
            _ => None,
        });
        ended.collect()
    }
}

/// Volts without uncertainty.
pub(crate) fn volts(number: f64) -> Quantity {
    Quantity::new(number, Dimension::VOLTAGE).unwrap()
}
