//! Bus, interface and charger moved on together, in the order of time.

use super::super::api::{Action, ProximitySet, Reported};
use super::super::values::Values;
use super::super::world::Item;
use super::bus::{Bus, Confinement};
use super::talk::Talk;
use pilotage_core::RunTime;
use pilotage_core::frames::Node;
use std::time::Duration;

/// The bench's interface on the bus.
const BENCH: usize = 0;
/// The charger.
const CHARGER: usize = 1;

/// Everything on the bus.
#[derive(Debug)]
pub(in super::super) struct Traffic {
    bus: Bus,
    node: Node,
    talk: Option<Talk>,
}

impl Traffic {
    /// The interface alone, or with a charger of these values.
    pub(in super::super) fn new(node: Node, charger: Option<(&Values, u64)>) -> Self {
        let mut bus = Bus::new(node.map().bit_rate, 2);
        bus.listen(BENCH, true, RunTime::START);
        if let Some((values, _)) = charger {
            let after = Duration::from_secs_f64(values.get("t_bus_restart"));
            bus.restart(CHARGER, (!values.yes("no_bus_restart")).then_some(after));
        }
        let talk = charger.map(|(values, seed)| Talk::new(node.map(), values, seed));
        Self { bus, node, talk }
    }

    /// The interface.
    pub(in super::super) fn node(&mut self) -> &mut Node {
        &mut self.node
    }

    /// When something happens next.
    pub(in super::super) fn next(&self) -> Option<RunTime> {
        let talk = self.talk.as_ref().and_then(Talk::due);
        [self.bus.next(), self.node.due(), talk].into_iter().flatten().min()
    }

    /// What is due at this moment, which the item has reached.
    pub(in super::super) fn happen(&mut self, at: RunTime, item: &mut dyn Item) {
        self.bus.hold(self.node.holds_the_bus(), at);
        for frame in self.node.transmit(at) {
            self.bus.request(BENCH, frame, at);
        }
        if let Some(talk) = &mut self.talk
            && talk.due().is_some_and(|due| due <= at)
        {
            let frames = talk.work(at, &item.reported().unwrap_or(SILENT));
            self.bus.listen(CHARGER, talk.is_awake(), at);
            for frame in frames {
                self.bus.request(CHARGER, frame, at);
            }
        }
        while self.bus.next().is_some_and(|next| next <= at) {
            let Some(delivery) = self.bus.step(at) else { continue };
            match (delivery.from, &mut self.talk) {
                (CHARGER, _) => self.node.received(&delivery.frame, delivery.at),
                (_, Some(talk)) if self.bus.confinement(CHARGER) != Confinement::Off => {
                    talk.received(&delivery.frame, delivery.at);
                }
                _ => {}
            }
        }
        if let Some((command, missing)) = self.talk.as_mut().and_then(Talk::changed) {
            item.miss_commands(at, missing);
            item.act(at, Action::Command(command));
        }
    }
}

/// What an item says that says nothing.
const SILENT: Reported = Reported {
    awake: false,
    s2: false,
    proximity: ProximitySet::Open,
    dc_v: 0.0,
    dc_a: 0.0,
    ac_v: 0.0,
    ac_a: 0.0,
    temperature_k: 0.0,
    fault: false,
    enabled: false,
};
