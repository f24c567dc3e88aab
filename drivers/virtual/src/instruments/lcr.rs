//! The bridge (LCR-1K): capacitance at 1 kHz and 1 V; its channels lead to pilot and PE, or at a charger to its pins.

use super::accuracy::{Accuracy, OVERLOAD};
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Header, Intake, Unit, channel, read_line, scanned};
use crate::physics::{Core, DcPair, DeadPath, Pair, World};
use pilotage_core::RunTime;
use scpi::error::{Error, Result};
use scpi::parser::parameters::Parameters;
use std::time::Duration;

/// Time of one measurement.
const TAKES: Duration = Duration::from_millis(200);
/// Figures as in `drivers/files/lcr_bridge.yaml`.
const ACCURACY: Accuracy = Accuracy {
    of_reading: 0.5e-2,
    constant: 5e-12,
    resolution: 1e-14,
};

/// What its channel leads to at an inlet or a cable: CP to PE.
pub(super) static PILOT: [DeadPath; 1] = [DeadPath::Between(Core::Cp, Core::Pe)];
/// At a charger: its DC output, and L to N of its AC pins.
pub(super) static CHARGER: [DeadPath; 2] = [DeadPath::Dc(DcPair::PlusMinus), DeadPath::AcPins(Pair::LN)];

/// Channel, from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Measure(u16);

/// The model.
pub(crate) struct Lcr {
    noise: Noise,
    channels: &'static [DeadPath],
}

impl Lcr {
    pub(crate) fn new(noise: Noise, channels: &'static [DeadPath]) -> Self {
        Self { noise, channels }
    }
}

impl Model for Lcr {
    type Order = Measure;
    const NAME: &'static str = "LCR-1K";

    fn read(line: &[u8]) -> Vec<Unit<Measure>> {
        read_line(&TREE, line)
    }

    fn takes(&self, _: &Measure) -> Duration {
        TAKES
    }

    fn execute(
        &mut self,
        Measure(number): Measure,
        span: Span,
        world: &mut World,
    ) -> std::result::Result<Answer, Error> {
        let path = scanned(self.channels, number)?;
        let farad = world.capacitance(path, span.now);
        let reading = self.noise.next_reading();
        let shown = farad.map_or(OVERLOAD, |farad| {
            ACCURACY.shown(farad, "capacitance", &self.noise, reading)
        });
        Ok(Answer::number(shown))
    }

    fn reset(&mut self, _: RunTime, _: &mut World) {}
}

fn measure(parameters: &mut Parameters<'_, '_>) -> Result<Measure> {
    channel(parameters).map(Measure)
}

const CAPACITANCE: Header<Measure> = Header {
    set: None,
    ask: Some(measure),
};

const TREE: scpi::tree::Node<'static, Intake<Measure>> =
    tree![Branch![b"MEASure"; Leaf!(b"CAPacitance" => &CAPACITANCE)]];
