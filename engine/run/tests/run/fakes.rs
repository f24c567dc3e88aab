//! A scripted bench with a tiny wall unit behind it, a clock in virtual time, a journal in memory, and a person.
//!
//! Everything that leaves the runner is also put on one tape, in order: what was appended, what was synced, what was sent.

use pilotage_core::{Contribution, Datum, Dimension, Measured, NoValue, Quantity, RunTime, Uncertainty, Unit};
use pilotage_evidence::event::{CapturedChannel, Exchange, Trouble};
use pilotage_plan::program::{CaptureSpec, EnergisingOrder, Order, QuietOrder, ReadSpec, Setting};
use pilotage_run::permit::Permit;
use pilotage_run::world::{Answer, Bench, BenchError, Captured, Identity, Lane, Queues};
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
    /// Which queues were emptied, in order.
    pub(crate) drains: RefCell<Vec<Queues>>,
    /// When the runner showed life.
    pub(crate) alive: RefCell<Vec<RunTime>>,
}

/// What is wrong with this bench.
#[derive(Debug, Clone, Default)]
#[expect(clippy::struct_excessive_bools, reason = "each is a fault of its own")]
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
    /// Whether the error queues hold errors once the pilot load asked for energy.
    pub(crate) queue_holds_errors: bool,
    /// Whether they no longer answer then.
    pub(crate) drain_fails_after_energised: bool,
    /// A point whose read panics.
    pub(crate) panics: Option<String>,
    /// Points that answer this from some moment on.
    pub(crate) later: BTreeMap<String, (Duration, Datum)>,
    /// When the whole program stands still for so long.
    pub(crate) stands_still: Option<(Duration, Duration)>,
    /// When the wall clock jumps ahead by so much.
    pub(crate) wall_jumps: Option<(Duration, Duration)>,
    /// A supply contactor that the stop does not open.
    pub(crate) contactor_stuck: bool,
    /// A contactor of the load that the stop does not open.
    pub(crate) load_contactor_stuck: bool,
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
            drains: RefCell::default(),
            alive: RefCell::default(),
        })
    }

    pub(crate) fn now(&self) -> RunTime {
        RunTime::START.plus(self.start.elapsed())
    }

    /// A wall clock that may jump.
    pub(crate) fn wall(&self) -> Duration {
        let elapsed = self.start.elapsed();
        match self.faults.borrow().wall_jumps {
            Some((at, by)) if elapsed >= at => elapsed + by,
            _ => elapsed,
        }
    }

    fn is(&self, point: &str, word: &str) -> bool {
        self.set.borrow().get(point).is_some_and(|set| set == word)
    }

    fn enclosure_is_open(&self) -> bool {
        let opens_at = self.faults.borrow().opens_at;
        self.enclosure_open.get() || opens_at.is_some_and(|at| self.start.elapsed() >= at)
    }

    fn stopped(&self) -> bool {
        self.enclosure_is_open() || self.stop_pressed.get()
    }

    fn contactor_closed(&self) -> bool {
        self.faults.borrow().contactor_stuck || !self.stopped()
    }

    fn load_contactor_closed(&self) -> bool {
        self.faults.borrow().load_contactor_stuck || !self.stopped()
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
        Self::error_after(point, Vec::new())
    }

    fn error_after(point: &str, exchanges: Vec<Exchange>) -> BenchError {
        BenchError {
            trouble: Box::new(Trouble {
                instrument: "fake".to_owned(),
                command: point.to_owned(),
                expected: "an answer".to_owned(),
                got: "error -200".to_owned(),
                elapsed_s: 0.002,
                mend: "look at the script".to_owned(),
            }),
            exchanges,
        }
    }

    /// Time passes without any task getting its turn.
    async fn stand_still(&self) {
        let due = |(at, _): &(Duration, Duration)| self.0.start.elapsed() >= *at;
        let pause = self.0.faults.borrow_mut().stands_still.take_if(|pause| due(pause));
        if let Some((_, span)) = pause {
            tokio::time::advance(span).await;
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
            "load_contactor" if self.0.load_contactor_closed() => "closed",
            "supply_contactor" | "load_contactor" => "open",
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
        self.stand_still().await;
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
            delay_standard_s: None,
        };
        Ok(Captured {
            channels: capture.of.iter().map(channel).collect(),
            samples: capture.of.iter().map(|_| samples.clone()).collect(),
            exchanges: vec![self.exchange("fetch").await],
        })
    }

    fn alive(&self) {
        self.0.alive.borrow_mut().push(self.0.now());
    }

    async fn drain(&self, queues: Queues) -> Result<Vec<Exchange>, BenchError> {
        self.0.drains.borrow_mut().push(queues);
        if queues == Queues::OfAct {
            return Ok(Vec::new());
        }
        let exchange = self.exchange("SYSTem:ERRor?").await;
        let faults = self.0.faults.borrow();
        let lost = faults.drain_fails_after_energised && self.0.is("pilot_load", "state_C");
        if lost {
            let unanswered = Exchange {
                received: None,
                ..exchange
            };
            return Err(Self::error_after("SYSTem:ERRor?", vec![unanswered]));
        }
        if faults.queue_holds_errors && self.0.is("pilot_load", "state_C") {
            return Err(Self::error_after("SYSTem:ERRor?", vec![exchange]));
        }
        Ok(vec![exchange])
    }
}

/// Volts without uncertainty.
pub(crate) fn volts(number: f64) -> Quantity {
    Quantity::new(number, Dimension::VOLTAGE).unwrap()
}
