//! Virtual instruments as devices behind links in memory.

use pilotage_bench::link::{Device, Link, MemoryLink, Now, Progress};
use pilotage_core::RunTime;
use pilotage_virtual::instruments::{Outcome, Responder};
use pilotage_virtual::physics::SharedWorld;
use std::collections::BTreeMap;

/// A virtual instrument as a link sees it.
pub struct VirtualDevice(pub Box<dyn Responder + Send>);

impl Device for VirtualDevice {
    fn respond(&mut self, line: &[u8], now: RunTime) -> RunTime {
        self.0.respond(line, now).ready
    }

    fn finish(&mut self, now: RunTime) -> Progress {
        match self.0.finish(now) {
            Outcome::Pending(pending) => Progress::NotBefore(pending.ready),
            Outcome::Done(bytes) => Progress::Done(bytes),
        }
    }
}

/// A link in memory to every instrument of the virtual bench over a world.
pub fn links(world: &SharedWorld, seed: u64, now: &Now) -> BTreeMap<String, Box<dyn Link>> {
    pilotage_virtual::instruments::bench(world, seed)
        .into_iter()
        .map(|(name, instrument)| {
            let link: Box<dyn Link> = Box::new(MemoryLink::new(Box::new(VirtualDevice(instrument)), now.clone()));
            (name, link)
        })
        .collect()
}
