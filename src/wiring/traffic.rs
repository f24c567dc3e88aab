//! What stands between the bench and its links where it was wished for: a trace of every byte, seeded faults, or a trace
//! played back in place of instruments.

use super::tracefile::{Line, TraceFile};
use crate::failure::Failure;
use pilotage_bench::link::{Fault, FaultPlan, Faults, Link, LinkError, Now, Pending, Playback, Reopened, Tape, Trace};
use pilotage_bench::scpi::{Sink, text};
use pilotage_core::RunTime;
use pilotage_evidence::document::reasons::short;
use std::collections::{BTreeMap, VecDeque};
use std::sync::atomic::AtomicU64;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::Notify;
use tokio::time::Instant;

/// The links of a bench by the names of the instruments.
pub type Links = BTreeMap<String, Box<dyn Link>>;

/// Replies that pass unharmed first on every link: those by which an instrument is recognised at the start.
const SPARED: u64 = 5;

/// A delay that is met by the deadline, and one that is not.
const DELAYS: [Fault; 2] = [
    Fault::Delay(Duration::from_millis(100)),
    Fault::Delay(Duration::from_secs(5)),
];

/// Seeded faults on every link.
#[derive(Debug, Clone)]
pub struct LinkFaults {
    /// Seed: the same seed does the same to the same replies.
    pub seed: u64,
    /// One reply of so many is hit.
    pub one_in: u64,
    /// How many replies were hit.
    pub hits: Arc<AtomicU64>,
}

impl LinkFaults {
    /// In words, for the record.
    pub fn words(&self) -> String {
        format!("with faults, seed {}, one reply in {}", self.seed, self.one_in)
    }

    fn before(&self, name: &str, link: Box<dyn Link>) -> Box<dyn Link> {
        // FNV-1a (public domain constants): links with different names get different faults.
        let named = name.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        });
        let plan = FaultPlan {
            seed: self.seed ^ named,
            one_in: self.one_in,
            spare_first: SPARED,
            kinds: [&DELAYS[..], &Fault::WITHOUT_DELAY].concat(),
        };
        Box::new(Faults::new(link, plan).counted(Arc::clone(&self.hits)))
    }
}

/// What was wished for the links of one run.
#[derive(Debug, Clone, Default)]
pub struct Wishes {
    /// Faults.
    pub faults: Option<LinkFaults>,
    /// Where the traffic is kept, if anywhere.
    pub trace: Option<Tapes>,
    /// A trace that is played in place of instruments.
    pub playback: Option<Arc<TraceFile>>,
}

impl Wishes {
    /// Puts what was wished for before every link. A trace shows what the bench saw: faults lie behind it.
    pub fn before(&self, links: Links, now: &Now) -> Links {
        let wrap = |(name, mut link): (String, Box<dyn Link>)| {
            if let Some(faults) = &self.faults {
                link = faults.before(&name, link);
            }
            if let Some(tapes) = &self.trace {
                link = tapes.before(&name, link, now);
            }
            (name, link)
        };
        links.into_iter().map(wrap).collect()
    }

    /// What was done to the links, for the record.
    pub fn words(&self) -> Option<String> {
        let played = self.playback.as_ref().map(|file| file.words());
        played.or_else(|| self.faults.as_ref().map(LinkFaults::words))
    }
}

/// The tapes of all links of a run.
#[derive(Debug, Clone, Default)]
pub struct Tapes(Arc<Mutex<Vec<(String, Tape)>>>);

impl Tapes {
    fn before(&self, name: &str, link: Box<dyn Link>, now: &Now) -> Box<dyn Link> {
        let (traced, tape) = Trace::new(link, Arc::clone(now));
        let mut tapes = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        tapes.push((name.to_owned(), tape));
        Box::new(traced)
    }

    /// Everything until now, in the order of time; at the same time in the order of the links' names.
    pub fn lines(&self) -> Vec<Line> {
        let tapes = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let mut lines: Vec<Line> = tapes
            .iter()
            .flat_map(|(name, tape)| {
                tape.to_text()
                    .lines()
                    .filter_map(|line| Line::of_link(name, line))
                    .collect::<Vec<_>>()
            })
            .collect();
        // Stable: pieces of one link keep their order.
        lines.sort_by(|a, b| (a.at, &a.link).cmp(&(b.at, &b.link)));
        lines
    }
}

/// Where what is asked leaves the trace that is played.
#[derive(Debug, Clone, Default)]
pub struct Divergence(Arc<Shared>);

#[derive(Debug, Default)]
struct Shared {
    first: Mutex<Option<Failure>>,
    /// What every link still expects: place and escaped bytes, by the link's name.
    expected: Mutex<BTreeMap<String, VecDeque<(usize, String)>>>,
    came: Notify,
}

impl Divergence {
    /// Links that play the trace, one for each instrument of the bench.
    pub fn links(&self, file: &TraceFile, names: &[String]) -> Result<Links, Failure> {
        file.only_known(names)?;
        let mut links = Links::new();
        for name in names {
            let expected = file.sent(name);
            self.expected(|all| drop(all.insert(name.clone(), expected)));
            let playback = Playback::from_text(&file.of_link(name))
                .map_err(|error| Failure::usage(format!("{}: {name}: {error}", file.name), error.mend()))?;
            let played = Played {
                inner: playback,
                name: name.clone(),
                file: file.name.clone(),
                shared: self.clone(),
            };
            links.insert(name.clone(), Box::new(played));
        }
        Ok(links)
    }

    /// Waits until something else is asked than the trace has.
    pub async fn came(&self) -> Failure {
        loop {
            self.0.came.notified().await;
            if let Some(failure) = self.first().take() {
                return failure;
            }
        }
    }

    /// After the run: a trace that goes on where the run has ended was not made by it.
    pub fn nothing_left(&self, file: &TraceFile) -> Result<(), Failure> {
        // The last question may differ in the very moment in which the run ends.
        if let Some(failure) = self.first().take() {
            return Err(failure);
        }
        let left = self.expected(|all| {
            all.iter()
                .filter_map(|(name, left)| Some((left.front()?.clone(), name.clone())))
                .min()
        });
        match left {
            None => Ok(()),
            Some(((line, bytes), name)) => Err(diverged(
                &format!("{}:{line}", file.name),
                &format!("{name} is asked \"{}\" there", shortened(&bytes)),
                "the run has ended",
            )),
        }
    }

    fn first(&self) -> MutexGuard<'_, Option<Failure>> {
        self.0.first.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn expected<T>(&self, look: impl FnOnce(&mut BTreeMap<String, VecDeque<(usize, String)>>) -> T) -> T {
        look(&mut self.0.expected.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn sent(&self, name: &str, file: &str, bytes: &[u8]) {
        let next = self.expected(|all| all.get_mut(name).and_then(VecDeque::pop_front));
        let asked = text::escaped(bytes);
        let failure = match next {
            Some((_, expected)) if expected == asked => return,
            Some((line, expected)) => diverged(
                &format!("{file}:{line}"),
                &format!("{name} is asked \"{}\" there", shortened(&expected)),
                &format!("now it is asked \"{}\"", shortened(&asked)),
            ),
            None => diverged(
                &format!("{file}, at its end"),
                &format!("{name} is asked nothing more"),
                &format!("now it is asked \"{}\"", shortened(&asked)),
            ),
        };
        self.first().get_or_insert(failure);
        self.0.came.notify_one();
    }
}

fn diverged(place: &str, expected: &str, got: &str) -> Failure {
    Failure::usage(
        format!("{place}: the trace does not fit: {expected}, but {got}"),
        "play it with the sequence, item, bench and limits that it was made with, or make a new one with --trace; a trace of \
         `run` mostly cannot be played, because in real time the moments differ",
    )
}

/// Of a message that is long, the first words tell which it is.
fn shortened(escaped: &str) -> String {
    short(escaped, 100)
}

/// A link that plays a trace and says where what is asked leaves it.
struct Played {
    inner: Playback,
    name: String,
    file: String,
    shared: Divergence,
}

impl Link for Played {
    fn address(&self) -> String {
        self.inner.address()
    }

    fn send<'a>(&'a mut self, bytes: &'a [u8], deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        self.shared.sent(&self.name, &self.file, bytes);
        self.inner.send(bytes, deadline)
    }

    fn receive<'a>(&'a mut self, into: &'a mut dyn Sink, deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        self.inner.receive(into, deadline)
    }

    fn arrived(&mut self, into: &mut dyn Sink) -> Result<(), LinkError> {
        self.inner.arrived(into)
    }

    fn reopen(&mut self, deadline: Instant) -> Pending<'_, Result<Reopened, LinkError>> {
        self.inner.reopen(deadline)
    }
}

/// Run time for the tapes, from any clock.
pub fn now_of<C: pilotage_run::world::Clock + Copy + Send + Sync + 'static>(clock: C) -> Now {
    Arc::new(move || -> RunTime { clock.now() })
}
