//! The bridge (LCR-1K): capacitance at 1 kHz and 1 V, one scanner channel for pilot to PE.

use super::accuracy::{Accuracy, OVERLOAD};
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Header, Intake, Unit, channel, read_line};
use crate::physics::{Core, DeadPath, World};
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode, Result};
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

/// Channel 1: CP to PE.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Measure;

/// The model.
pub(crate) struct Lcr {
    noise: Noise,
}

impl Lcr {
    pub(crate) fn new(noise: Noise) -> Self {
        Self { noise }
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

    fn execute(&mut self, Measure: Measure, span: Span, world: &mut World) -> std::result::Result<Answer, Error> {
        let farad = world.capacitance(DeadPath::Between(Core::Cp, Core::Pe), span.now);
        let reading = self.noise.next_reading();
        let shown = farad.map_or(OVERLOAD, |farad| {
            ACCURACY.shown(farad, "capacitance", &self.noise, reading)
        });
        Ok(Answer::number(shown))
    }

    fn reset(&mut self, _: RunTime, _: &mut World) {}
}

fn measure(parameters: &mut Parameters<'_, '_>) -> Result<Measure> {
    match channel(parameters)? {
        1 => Ok(Measure),
        _ => Err(ErrorCode::DataOutOfRange.extended(b"no such channel")),
    }
}

const CAPACITANCE: Header<Measure> = Header {
    set: None,
    ask: Some(measure),
};

const TREE: scpi::tree::Node<'static, Intake<Measure>> =
    tree![Branch![b"MEASure"; Leaf!(b"CAPacitance" => &CAPACITANCE)]];
