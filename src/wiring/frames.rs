//! The virtual bench's interface to a bus of frames: which frames it speaks, and where it is on the bus.

use crate::failure::Failure;
use crate::fitting::{Fitted, Reader, driver_or_frames};
use crate::shipped::{Shelf, Shelves};
use pilotage_bench::frames::{Interface, NodeAt};
use pilotage_bench::link::{Device, Link, MemoryLink, Now, Progress};
use pilotage_core::RunTime;
use pilotage_core::frames::{Life, Map, Node};
use pilotage_plan::files::bench::BenchFile;
use pilotage_plan::files::driver::DriverFile;
use pilotage_virtual::instruments::{Outcome, Pending, Responder};
use pilotage_virtual::physics::{ItemSort, Setup, SharedWorld, World};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Name of the interface in the shipped benches.
const NAME: &str = "can";
/// Its serial number there.
const SERIAL: &str = "N-0001";
/// The frames that a served bench speaks.
const SERVED: &str = "charger_demo";
/// What it says of its maker, as every virtual instrument does.
const MAKER: &str = "PILOTAGE VIRTUAL";

/// The interface of a bench: its name, and the frames that it speaks.
#[derive(Debug, Clone)]
pub struct OfBench {
    name: String,
    map: Map,
}

impl OfBench {
    /// The first instrument of a bench whose driver was made from frames.
    pub fn of(fitted: &Fitted) -> Option<Self> {
        first(&fitted.bench, &fitted.drivers)
    }

    /// The one of the shipped bench of this kind of item.
    pub fn shipped(sort: ItemSort) -> Result<Option<Self>, Failure> {
        if sort != ItemSort::OnboardCharger {
            return Ok(None);
        }
        let driver = Reader::new(&Shelves::default()).read(Shelf::Drivers, "driver", SERVED, driver_or_frames)?;
        Ok(driver.frames.map(|map| Self {
            name: NAME.to_owned(),
            map,
        }))
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.name
    }
}

fn first(bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>) -> Option<OfBench> {
    bench.instruments.iter().find_map(|instrument| {
        let map = drivers.get(&instrument.driver.value)?.frames.clone()?;
        Some(OfBench {
            name: instrument.name.value.clone(),
            map,
        })
    })
}

/// The world of a setup, with the interface where the bench has one. Without an owner who shows life, as behind a socket, the interface is
/// an instrument like any other: it goes on with what it was told last.
pub fn world(setup: &Setup, interface: Option<&OfBench>, owner: Option<&Life>) -> Result<SharedWorld, Failure> {
    let world = match interface {
        Some(interface) => World::with_frames(setup, interface.map.clone()),
        None => World::new(setup),
    };
    let mut world = world.map_err(|error| {
        Failure::usage(
            error.to_string(),
            "see `virtual` in the item file and the severities of the defect",
        )
    })?;
    if let (Some(node), Some(owner)) = (world.frames(RunTime::START), owner) {
        node.owned_by(owner.clone());
    }
    Ok(Arc::new(Mutex::new(world)))
}

/// The interface as an instrument of the virtual bench.
pub fn interface(world: &SharedWorld) -> impl Device + Responder + use<> {
    OnTheBus(Interface::new(InTheWorld(world.clone()), MAKER, SERIAL))
}

/// A link in memory to it.
pub fn link(world: &SharedWorld, now: &Now) -> Box<dyn Link> {
    Box::new(MemoryLink::new(Box::new(interface(world)), now.clone()))
}

/// Where the interface is to be had.
struct InTheWorld(SharedWorld);

impl NodeAt for InTheWorld {
    fn with(&mut self, now: RunTime, work: &mut dyn FnMut(&mut Node)) -> Result<(), String> {
        let mut world = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match world.frames(now) {
            Some(node) => {
                work(node);
                Ok(())
            }
            None => Err("the virtual bench has no bus".to_owned()),
        }
    }
}

/// A device that can be served as well.
struct OnTheBus(Interface<InTheWorld>);

impl Device for OnTheBus {
    fn respond(&mut self, line: &[u8], now: RunTime) -> RunTime {
        self.0.respond(line, now)
    }

    fn finish(&mut self, now: RunTime) -> Progress {
        self.0.finish(now)
    }
}

impl Responder for OnTheBus {
    fn respond(&mut self, line: &[u8], now: RunTime) -> Pending {
        Pending {
            ready: self.0.respond(line, now),
        }
    }

    fn finish(&mut self, now: RunTime) -> Outcome {
        match self.0.finish(now) {
            Progress::NotBefore(ready) => Outcome::Pending(Pending { ready }),
            Progress::Done(bytes) => Outcome::Done(bytes),
        }
    }
}
