//! One run on the virtual bench in virtual time, with the witness at every link, at the journal and beside the person.

use crate::witness::{Entry, What, Witness};
use pilotage::fitting::{Fitted, Request, load};
use pilotage::shipped::Shelves;
use pilotage::wiring::clock::TokioClock;
use pilotage::wiring::devices::VirtualDevice;
use pilotage::wiring::frames;
use pilotage::wiring::person::VirtualPerson;
use pilotage::wiring::setup::setup;
use pilotage_bench::Wired;
use pilotage_bench::link::{Device, FaultPlan, Faults, Link, LinkError, MemoryLink, Now, Pending, Reopened};
use pilotage_bench::scpi::Sink;
use pilotage_core::RunTime;
use pilotage_core::frames::Life;
use pilotage_evidence::Event;
use pilotage_evidence::event::DeadStatement;
use pilotage_evidence::heading::{CautionText, Mode};
use pilotage_plan::program::Program;
use pilotage_run::options::{Options, Outcome, StopProof};
use pilotage_run::world::{Clock, Journal, JournalError, People, Purpose, Question, Reply};
use pilotage_virtual::instruments::bench_with;
use pilotage_virtual::person::Person;
use pilotage_virtual::physics::{Action, Setup};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::time::Instant;

/// A run that takes longer than this hangs.
const HANGS_AFTER: Duration = Duration::from_hours(6);
/// Time between looks of the witness while anything is energised.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// What is done to a run.
#[derive(Debug, Clone, Default)]
pub(crate) struct Plot {
    /// Seed of noise and person.
    pub(crate) seed: u64,
    /// Faults of the link to each of these instruments.
    pub(crate) faults: BTreeMap<String, FaultPlan>,
    /// Flaws of the instruments.
    pub(crate) flaws: BTreeMap<String, f64>,
    /// What somebody does to the bench, and when.
    pub(crate) deeds: Vec<(Duration, Action)>,
    /// When a person wants the run to stop.
    pub(crate) stop_after: Option<Duration>,
    /// The journal fails from this append on.
    pub(crate) append_fails: Option<u64>,
    /// The journal fails from this sync on.
    pub(crate) sync_fails: Option<u64>,
    /// No capture can be stored from this one on.
    pub(crate) store_fails: Option<u64>,
}

/// What came of it.
pub(crate) struct Story {
    /// What the runner said; `None` where it hung.
    pub(crate) outcome: Option<Outcome>,
    /// Everything that happened.
    pub(crate) entries: Vec<Entry>,
    /// How many replies came over each link.
    pub(crate) replies: BTreeMap<String, u64>,
}

impl Story {
    pub(crate) fn events(&self) -> impl Iterator<Item = (RunTime, &Event)> {
        self.entries.iter().filter_map(|entry| match &entry.what {
            What::Event(event) => Some((entry.at, event.as_ref())),
            _ => None,
        })
    }
}

/// A shipped sequence with everything that it names.
pub(crate) fn shipped(sequence: &str) -> Fitted {
    let fitting = pilotage::args::Fitting {
        item: None,
        bench: None,
        limits: None,
        rule: pilotage::args::Rule::Simple,
    };
    load(
        Request {
            sequence,
            fitting: &fitting,
            defect: None,
        },
        &Shelves::default(),
    )
    .unwrap()
}

/// A shipped sequence on a healthy item, and what happens where nothing is disturbed.
pub(crate) fn undisturbed(sequence: &str) -> (Fitted, Setup, Story) {
    let fitted = shipped(sequence);
    let item = setup(&fitted.item, None, 1).unwrap();
    let plot = Plot {
        seed: 1,
        ..Plot::default()
    };
    let whole = run(&fitted, &fitted.program, &item, &plot);
    (fitted, item, whole)
}

/// Runs a program.
pub(crate) fn run(fitted: &Fitted, program: &Program, setup: &Setup, plot: &Plot) -> Story {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .start_paused(true)
        .build()
        .unwrap();
    tokio::task::LocalSet::new().block_on(&runtime, on_the_bench(fitted, program, setup, plot))
}

async fn on_the_bench(fitted: &Fitted, program: &Program, setup: &Setup, plot: &Plot) -> Story {
    let clock = TokioClock::virtual_time();
    let now: Now = Arc::new(move || clock.now());
    let interface = frames::OfBench::of(fitted);
    let life = Life::default();
    let world = frames::world(setup, interface.as_ref(), Some(&life)).unwrap();
    let witness = Witness::new(world.clone(), now.clone());
    let replies: Arc<Mutex<BTreeMap<String, u64>>> = Arc::default();
    let mut links: BTreeMap<String, Box<dyn Link>> = BTreeMap::new();
    let instruments = bench_with(&world, plot.seed, &plot.flaws).unwrap();
    let devices = instruments
        .into_iter()
        .map(|(name, instrument)| (name, Box::new(VirtualDevice(instrument)) as Box<dyn Device>));
    let interface = interface.map(|interface| {
        (
            interface.name().to_owned(),
            Box::new(frames::interface(&world)) as Box<dyn Device>,
        )
    });
    for (name, device) in devices.chain(interface) {
        let spy = Spy {
            inner: MemoryLink::new(device, now.clone()),
            name: name.clone(),
            witness: witness.clone(),
            line: Vec::new(),
            replies: replies.clone(),
        };
        let link: Box<dyn Link> = match plot.faults.get(&name) {
            Some(faults) => Box::new(Faults::new(spy, faults.clone())),
            None => Box::new(spy),
        };
        links.insert(name, link);
    }
    let bench = Wired::open(program, &fitted.bench, fitted.drivers.values(), links, Arc::new(clock))
        .unwrap()
        .living(life);
    let people = Watched {
        person: VirtualPerson::new(Person::new(setup), world, clock),
        witness: witness.clone(),
        clock,
        stop_after: plot.stop_after,
    };
    let options = Options {
        mode: Mode::VirtualBench {
            seed: Some(plot.seed),
            defect: None,
            over_tcp: false,
            links: None,
        },
        run: "campaign".to_owned(),
        started: "2026-01-01T08:00:00Z".to_owned(),
        stop_proof: StopProof::Wanted,
    };
    let mut diary = Diary {
        witness: witness.clone(),
        plot: plot.clone(),
        counts: [0; 3],
        taken: BTreeMap::new(),
    };
    let looks = tokio::task::spawn_local(look_on(witness.clone(), clock));
    let deeds: Vec<_> = plot
        .deeds
        .iter()
        .map(|deed| tokio::task::spawn_local(do_at(witness.clone(), clock, *deed)))
        .collect();
    let ran = pilotage_run::run(program, &bench, &clock, &mut diary, &people, &options);
    let outcome = tokio::time::timeout(HANGS_AFTER, ran).await.ok();
    witness.look();
    looks.abort();
    deeds.iter().for_each(tokio::task::JoinHandle::abort);
    let replies = replies.lock().unwrap().clone();
    Story {
        outcome,
        entries: witness.entries(),
        replies,
    }
}

async fn look_on(witness: Witness, clock: TokioClock) {
    loop {
        clock.sleep(LOOK_EVERY).await;
        if witness.energised() {
            witness.look();
        }
    }
}

async fn do_at(witness: Witness, clock: TokioClock, (after, action): (Duration, Action)) {
    clock.sleep(after).await;
    witness.world(|world, now| world.act(now, action));
    witness.note(What::Deed(format!("{action:?}")));
    witness.look();
}

/// Sees every whole line that goes out, and looks at the world just before it does.
struct Spy {
    inner: MemoryLink,
    name: String,
    witness: Witness,
    line: Vec<u8>,
    replies: Arc<Mutex<BTreeMap<String, u64>>>,
}

impl Link for Spy {
    fn address(&self) -> String {
        self.inner.address()
    }

    fn send<'a>(&'a mut self, bytes: &'a [u8], deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        for byte in bytes {
            if *byte == b'\n' {
                let line = String::from_utf8_lossy(&self.line).into_owned();
                let sight = self.witness.sight();
                self.witness.note(What::Sent {
                    instrument: self.name.clone(),
                    line,
                    sight,
                });
                self.line.clear();
            } else {
                self.line.push(*byte);
            }
        }
        self.inner.send(bytes, deadline)
    }

    fn receive<'a>(&'a mut self, into: &'a mut dyn Sink, deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        Box::pin(async move {
            self.inner.receive(into, deadline).await?;
            *self.replies.lock().unwrap().entry(self.name.clone()).or_insert(0) += 1;
            Ok(())
        })
    }

    fn arrived(&mut self, into: &mut dyn Sink) -> Result<(), LinkError> {
        self.inner.arrived(into)
    }

    fn reopen(&mut self, deadline: Instant) -> Pending<'_, Result<Reopened, LinkError>> {
        self.line.clear();
        self.inner.reopen(deadline)
    }
}

/// The journal: keeps every event, and fails where it is told to.
struct Diary {
    witness: Witness,
    plot: Plot,
    counts: [u64; 3],
    /// When each reading was taken.
    taken: BTreeMap<u64, (RunTime, RunTime)>,
}

impl Diary {
    fn may(&mut self, what: usize, fails: Option<u64>) -> Result<u64, JournalError> {
        let number = self.counts[what];
        self.counts[what] += 1;
        if fails.is_none_or(|fails| number < fails) {
            return Ok(number);
        }
        let what = ["append", "sync", "store"][what];
        self.witness.note(What::Refused(what));
        let text = |words: &str| words.to_owned();
        Err(JournalError {
            file: text("journal.txt"),
            what: format!("{what} failed"),
            mend: text("make room"),
        })
    }

    fn look_back(&self, statement: &DeadStatement) {
        let pairs: Vec<_> = statement
            .pairs
            .iter()
            .map(|pair| {
                (
                    statement.at.clone(),
                    pair.pair.clone(),
                    self.taken[&pair.ac],
                    self.taken[&pair.dc],
                )
            })
            .collect();
        self.witness.look_back(&pairs);
    }
}

impl Journal for Diary {
    fn append(&mut self, at: RunTime, event: Event) -> Result<u64, JournalError> {
        let seq = self.may(0, self.plot.append_fails)?;
        if let Event::Reading(reading) = &event {
            self.taken.insert(seq, reading.taken);
        }
        self.witness.note_at(at, What::Event(Box::new(event.clone())));
        if let Event::Dead(statement) = &event {
            self.look_back(statement);
        }
        Ok(seq)
    }

    fn sync(&mut self) -> Result<(), JournalError> {
        self.may(1, self.plot.sync_fails)?;
        self.witness.note(What::Synced);
        Ok(())
    }

    fn store(&mut self, name: &str, _: &[Vec<i16>]) -> Result<(String, String), JournalError> {
        self.may(2, self.plot.store_fails)?;
        Ok((name.to_owned(), String::new()))
    }
}

/// The person, watched: whether hands are in, and whether what was said is true.
struct Watched {
    person: VirtualPerson<TokioClock>,
    witness: Witness,
    clock: TokioClock,
    stop_after: Option<Duration>,
}

impl Watched {
    async fn look_on(&self) {
        loop {
            self.witness.look();
            self.clock.sleep(LOOK_EVERY).await;
        }
    }
}

impl People for Watched {
    async fn ask(&self, question: Question<'_>) -> Option<Reply> {
        let (hands, purpose) = (question.hands, question.purpose);
        if hands {
            self.witness.note(What::HandsIn {
                prompt: question.prompt.to_owned(),
            });
        }
        let reply = if hands {
            tokio::select! {
                biased;
                reply = self.person.ask(question) => reply,
                () = self.look_on() => None,
            }
        } else {
            self.person.ask(question).await
        };
        if hands {
            self.witness.look();
            self.witness.note(What::HandsOut);
        }
        if purpose == Purpose::LockIsolator && reply.is_some() && !self.witness.sight().locked {
            self.witness.note(What::Lied);
        }
        reply
    }

    async fn acknowledge(&self, caution: &CautionText) -> Option<String> {
        self.person.acknowledge(caution).await
    }

    async fn stop_wanted(&self) {
        match self.stop_after {
            Some(span) => self.clock.sleep(span).await,
            None => std::future::pending().await,
        }
    }
}

/// A story for people who look for the reason of a contradiction.
pub(crate) fn print(story: &Story) {
    for entry in &story.entries {
        let at = entry.at.seconds();
        match &entry.what {
            What::Sight(_) => {}
            What::Sent {
                instrument,
                line,
                sight,
            } => {
                let guard = instrument == "guard" || instrument == "thermometer";
                if !guard {
                    println!(
                        "{at:10.4} > {instrument} {line}   out {:.1?} in {:.1?}",
                        sight.out_v, sight.in_v
                    );
                }
            }
            What::Event(event) => match event.as_ref() {
                Event::Reading(reading) => {
                    let value = reading.value.as_ref().map(|measured| measured.value);
                    println!(
                        "{at:10.4}   {} = {value:?} {:?} {:?}",
                        reading.name, reading.word, reading.no_value
                    );
                }
                Event::Applied { order, .. } => println!("{at:10.4}   applied {order}"),
                Event::RunStarted(_) | Event::Captured(_) | Event::Judged(_) => {}
                Event::Dead(statement) => println!("{at:10.4}   {}", statement.sentence),
                other => println!("{at:10.4}   {other:?}"),
            },
            What::Refused(what) => println!("{at:10.4} * the journal refused {what}"),
            What::Deed(what) => println!("{at:10.4} * {what}"),
            other => println!("{at:10.4} * {other:?}"),
        }
    }
}
