//! The thermometer (TEMP-8CH): eight inputs for thermocouples, of which the first sits at the item's terminal.

use super::accuracy::{Accuracy, OVERLOAD};
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Header, Intake, Unit, channel, read_line};
use crate::physics::World;
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::parameters::Parameters;
use std::time::Duration;

/// Conversion time.
const APERTURE: Duration = Duration::from_millis(100);
/// °C of 0 K.
pub(super) const ZERO_CELSIUS_K: f64 = 273.15;
/// Figures as in `drivers/files/temperature_8ch.yaml`: 1 K, of which 0.1 K resolution.
const ACCURACY: Accuracy = Accuracy {
    of_reading: 0.0,
    constant: 1.0,
    resolution: 0.1,
};

/// Channel, 1…8.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Measure(u16);

/// The model.
pub(crate) struct Thermometer {
    noise: Noise,
}

impl Thermometer {
    pub(crate) fn new(noise: Noise) -> Self {
        Self { noise }
    }
}

impl Model for Thermometer {
    type Order = Measure;
    const NAME: &'static str = "TEMP-8CH";

    fn read(line: &[u8]) -> Vec<Unit<Measure>> {
        read_line(&TREE, line)
    }

    fn takes(&self, _: &Measure) -> Duration {
        APERTURE
    }

    fn execute(
        &mut self,
        Measure(channel): Measure,
        span: Span,
        world: &mut World,
    ) -> std::result::Result<Answer, Error> {
        // Nothing is plugged into the other inputs, and an open thermocouple is over range.
        if channel != 1 {
            return Ok(Answer::number(OVERLOAD));
        }
        let celsius = world.temperature_k(span.now) - ZERO_CELSIUS_K;
        let reading = self.noise.next_reading();
        Ok(Answer::number(ACCURACY.shown(
            celsius,
            "temperature",
            &self.noise,
            reading,
        )))
    }

    fn reset(&mut self, _: RunTime, _: &mut World) {}
}

fn measure(parameters: &mut Parameters<'_, '_>) -> Result<Measure> {
    match channel(parameters)? {
        number @ 1..=8 => Ok(Measure(number)),
        _ => Err(ErrorCode::DataOutOfRange.extended(b"no such channel")),
    }
}

const TEMPERATURE: Header<Measure> = Header {
    set: None,
    ask: Some(measure),
};

const TREE: scpi::tree::Node<'static, Intake<Measure>> =
    tree![Branch![b"MEASure"; Leaf!(b"TEMPerature" => &TEMPERATURE)]];
