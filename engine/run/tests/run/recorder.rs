//! A clock in virtual time, a journal in memory, a person, and what a run left.

use crate::fakes::{FakeBench, Tape, World};
use pilotage_core::RunTime;
use pilotage_evidence::Event;
use pilotage_evidence::event::Reading;
use pilotage_evidence::heading::{CautionText, Mode};
use pilotage_evidence::record::{JournalWriter, Record};
use pilotage_evidence::rejudge::rejudge;
use pilotage_plan::program::Program;
use pilotage_run::world::{Clock, Journal, JournalError, People, Purpose, Question, Reply};
use pilotage_run::{Options, Outcome, StopProof};
use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;

/// Virtual time.
pub(crate) struct FakeClock(pub(crate) Rc<World>);

impl Clock for FakeClock {
    fn now(&self) -> RunTime {
        self.0.now()
    }

    fn wall(&self) -> Option<Duration> {
        Some(self.0.wall())
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
    pub(crate) syncs: bool,
}

impl FakeJournal {
    pub(crate) fn new(world: &Rc<World>) -> Self {
        Self {
            world: Rc::clone(world),
            events: Vec::new(),
            fails_from: None,
            appends: 0,
            syncs: true,
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
        if !self.syncs {
            return Err(Self::full());
        }
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
    run_proven(program, StopProof::Wanted, script)
}

/// The same with a proof of the stop.
pub(crate) fn run_proven(
    program: &Program,
    stop_proof: StopProof,
    script: impl FnOnce(&World, &mut FakeJournal, &mut FakePeople),
) -> Ran {
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
        let outcome = pilotage_run::run(program, &bench, &clock, &mut journal, &people, &options(stop_proof)).await;
        let ran = Ran {
            outcome,
            events: journal.events,
            appends: journal.appends,
            world,
        };
        if journal.fails_from.is_none() && journal.syncs {
            ran.judged_again();
        }
        ran
    })
}

fn options(stop_proof: StopProof) -> Options {
    Options {
        mode: Mode::VirtualBench {
            seed: Some(1),
            defect: None,
            over_tcp: false,
            links: None,
        },
        run: "scripted".to_owned(),
        started: "2026-05-01T10:00:00Z".to_owned(),
        stop_proof,
    }
}

impl Ran {
    /// Whatever a run says must come out the same from its record alone, and its times must not go back.
    fn judged_again(&self) {
        let mut writer = JournalWriter::new(Vec::new(), "journal");
        for (at, event) in &self.events {
            writer.append(*at, event.clone()).unwrap();
        }
        let record = Record::from_bytes(&writer.into_sink().unwrap(), "journal").unwrap();
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
