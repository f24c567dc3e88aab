//! The micro-ohmmeter (MICRO-OHM): 10 A through four wires, one scanner channel for each contact or core, or at a charger the bond
//! of its chassis.

use super::accuracy::{Accuracy, OVERLOAD};
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Header, Intake, Unit, channel, read_line, scanned};
use crate::physics::{Core, DeadPath, World};
use pilotage_core::RunTime;
use scpi::error::{Error, Result};
use scpi::parser::parameters::Parameters;
use std::time::Duration;

/// Time in which the current settles and both polarities are measured.
const TAKES: Duration = Duration::from_millis(500);
/// The end of its range, Ω: what 10 A can be driven through.
const RANGE: f64 = 2.0;
/// Figures as in `drivers/files/micro_ohmmeter.yaml`.
const ACCURACY: Accuracy = Accuracy {
    of_reading: 0.25e-2,
    constant: 5e-6,
    resolution: 1e-7,
};
/// What its channels lead to at an inlet or a cable: L, N, PE, CP, PP.
pub(super) static CORES: [DeadPath; 5] = [
    DeadPath::Core(Core::L, Core::L),
    DeadPath::Core(Core::N, Core::N),
    DeadPath::Core(Core::Pe, Core::Pe),
    DeadPath::Core(Core::Cp, Core::Cp),
    DeadPath::Core(Core::Pp, Core::Pp),
];
/// At a charger.
pub(super) static BOND: [DeadPath; 1] = [DeadPath::Bond];

/// Channel, from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Measure(u16);

/// The model.
pub(crate) struct MicroOhm {
    noise: Noise,
    channels: &'static [DeadPath],
}

impl MicroOhm {
    pub(crate) fn new(noise: Noise, channels: &'static [DeadPath]) -> Self {
        Self { noise, channels }
    }
}

impl Model for MicroOhm {
    type Order = Measure;
    const NAME: &'static str = "MICRO-OHM";

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
        let ohm = world.resistance(path, span.now);
        let reading = self.noise.next_reading();
        let shown = ohm
            .filter(|ohm| *ohm <= RANGE)
            .map_or(OVERLOAD, |ohm| ACCURACY.shown(ohm, "four wires", &self.noise, reading));
        Ok(Answer::number(shown))
    }

    fn reset(&mut self, _: RunTime, _: &mut World) {}
}

fn measure(parameters: &mut Parameters<'_, '_>) -> Result<Measure> {
    channel(parameters).map(Measure)
}

const FOUR_WIRE: Header<Measure> = Header {
    set: None,
    ask: Some(measure),
};

const TREE: scpi::tree::Node<'static, Intake<Measure>> =
    tree![Branch![b"MEASure"; Leaf!(b"FRESistance" => &FOUR_WIRE)]];
