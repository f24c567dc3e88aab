//! What really happened: every line sent, every event, every prompt and every true voltage, in one order.
//!
//! The witness looks at [`World::truth`] and at the bytes on the links. It shares no code with the runner.

use pilotage_bench::link::Now;
use pilotage_core::RunTime;
use pilotage_evidence::Event;
use pilotage_virtual::physics::{DcPair, Node, Pair, SharedWorld, World};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

/// The truth about every conductor at one moment.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sight {
    /// V rms: output L-N, L-PE, N-PE.
    pub(crate) out_v: [f64; 3],
    /// V rms: input L-N, L-PE, N-PE.
    pub(crate) in_v: [f64; 3],
    /// V of a charger's DC output: plus-minus, plus-PE, minus-PE; 0 on every other item.
    pub(crate) dc_v: [f64; 3],
    /// The isolator is locked open.
    pub(crate) locked: bool,
    /// The source's output is on.
    pub(crate) supply_on: bool,
    /// The door is closed.
    pub(crate) door_closed: bool,
}

impl Sight {
    /// Highest voltage between any two conductors of the AC side, V rms.
    pub(crate) fn highest(&self) -> f64 {
        self.out_v.iter().chain(&self.in_v).copied().fold(0.0, f64::max)
    }

    /// Highest voltage of the DC output, V.
    pub(crate) fn highest_dc(&self) -> f64 {
        self.dc_v.iter().copied().fold(0.0, f64::max)
    }
}

/// From when to when.
pub(crate) type Taken = (RunTime, RunTime);

/// Place, pair, and when its AC and its DC were read.
pub(crate) type PairRead = (String, String, Taken, Taken);

/// Truth behind one pair of a statement of dead.
#[derive(Debug, Clone)]
pub(crate) struct PairTruth {
    /// Place and pair, e.g. `ac_output L-PE`.
    pub(crate) name: String,
    /// V rms over its AC reading, and at its end.
    pub(crate) ac_v: (f64, f64),
    /// Mean V over its DC reading.
    pub(crate) dc_v: f64,
}

/// One thing that happened.
#[derive(Debug, Clone)]
pub(crate) enum What {
    /// A whole line went to an instrument.
    Sent {
        instrument: String,
        line: String,
        sight: Sight,
    },
    /// An event was appended.
    Event(Box<Event>),
    /// The journal refused something.
    Refused(&'static str),
    /// All that was appended is on disk.
    Synced,
    /// A person is asked for hands at the item.
    HandsIn { prompt: String },
    /// The person has answered.
    HandsOut,
    /// A person said that the isolator is locked, and it is not.
    Lied,
    /// Somebody did something to the bench.
    Deed(String),
    /// What was true.
    Sight(Sight),
    /// What was true of the readings of the statement of dead before.
    Pairs(Vec<PairTruth>),
}

/// One thing that happened, with its time.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    pub(crate) at: RunTime,
    pub(crate) what: What,
}

/// Writes everything down. Clones write into the same list.
#[derive(Clone)]
pub(crate) struct Witness {
    world: SharedWorld,
    now: Now,
    entries: Arc<Mutex<Vec<Entry>>>,
}

impl Witness {
    pub(crate) fn new(world: SharedWorld, now: Now) -> Self {
        Self {
            world,
            now,
            entries: Arc::default(),
        }
    }

    pub(crate) fn now(&self) -> RunTime {
        (self.now)()
    }

    pub(crate) fn note(&self, what: What) {
        self.note_at(self.now(), what);
    }

    /// Notes something that happened before: events may be held back.
    pub(crate) fn note_at(&self, at: RunTime, what: What) {
        self.entries.lock().unwrap().push(Entry { at, what });
    }

    pub(crate) fn world<T>(&self, look: impl FnOnce(&mut World, RunTime) -> T) -> T {
        let now = self.now();
        look(&mut self.world.lock().unwrap(), now)
    }

    pub(crate) fn sight(&self) -> Sight {
        self.world(sight)
    }

    /// Looks once.
    pub(crate) fn look(&self) {
        let sight = self.sight();
        self.note(What::Sight(sight));
    }

    /// The truth of every pair of a statement of dead, over the very time of its readings.
    pub(crate) fn look_back(&self, pairs: &[PairRead]) {
        let truths = self.world(|world, _| pairs.iter().map(|pair| pair_truth(world, pair)).collect());
        self.note(What::Pairs(truths));
    }

    pub(crate) fn entries(&self) -> Vec<Entry> {
        std::mem::take(&mut *self.entries.lock().unwrap())
    }

    /// Whether anything is worth a look: the source is on, or a person has hands inside.
    pub(crate) fn energised(&self) -> bool {
        self.world(|world, now| world.words(now).supply_on)
    }
}

fn sight(world: &mut World, now: RunTime) -> Sight {
    let truth = world.truth(now);
    let words = world.words(now);
    let to_earth = |name: &str| truth.conductors_v[name];
    let of_dc = |name: &str| truth.conductors_v.get(name).copied().unwrap_or(0.0);
    let between = |world: &mut World, node| world.rms(node, now, now);
    Sight {
        out_v: [
            between(world, Node::Out(Pair::LN)),
            to_earth("out.L"),
            to_earth("out.N"),
        ],
        in_v: [between(world, Node::In(Pair::LN)), to_earth("in.L"), to_earth("in.N")],
        dc_v: [
            between(world, Node::Dc(DcPair::PlusMinus)),
            of_dc("dc.plus"),
            of_dc("dc.minus"),
        ],
        locked: truth.isolator_locked,
        supply_on: words.supply_on,
        door_closed: words.enclosure_closed,
    }
}

fn pair_truth(world: &mut World, (place, pair, ac, dc): &PairRead) -> PairTruth {
    let ac_pair = || BTreeMap::from([("L-N", Pair::LN), ("L-PE", Pair::LPe), ("N-PE", Pair::NPe)])[pair.as_str()];
    let node = match place.as_str() {
        "ac_input" => Node::In(ac_pair()),
        "dc_output" => Node::Dc(
            BTreeMap::from([
                ("plus-minus", DcPair::PlusMinus),
                ("plus-PE", DcPair::PlusPe),
                ("minus-PE", DcPair::MinusPe),
            ])[pair.as_str()],
        ),
        _ => Node::Out(ac_pair()),
    };
    // A meter on AC does not see what is steady.
    let mut ac_v = |from: RunTime, to: RunTime| {
        let rms = world.rms(node, from, to);
        if place == "dc_output" {
            let mean = world.mean(node, from, to);
            (rms * rms - mean * mean).max(0.0).sqrt()
        } else {
            rms
        }
    };
    PairTruth {
        name: format!("{place} {pair}"),
        ac_v: (ac_v(ac.0, ac.1), ac_v(ac.1, ac.1)),
        dc_v: world.mean(node, dc.0, dc.1),
    }
}
