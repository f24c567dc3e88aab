//! The bridge (LCR-1K): capacitance, series resistance and dissipation at 1 kHz and 1 V; its channels lead to pilot and PE, or at a
//! charger to its pins.

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
/// Frequency of the measurement, Hz.
const TEST_HZ: f64 = 1000.0;
/// Largest reactance of which a series resistance is told, Ω.
const REACTANCE: f64 = 10.0;

/// What it can be asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Asked {
    Capacitance,
    SeriesResistance,
    Dissipation,
}

impl Asked {
    /// Figures as in `drivers/files/lcr_bridge.yaml`.
    const fn accuracy(self) -> Accuracy {
        let (of_reading, constant, resolution) = match self {
            Self::Capacitance => (0.5e-2, 5e-12, 1e-14),
            Self::SeriesResistance => (1e-2, 3e-3, 1e-5),
            Self::Dissipation => (1e-2, 5e-4, 1e-5),
        };
        Accuracy {
            of_reading,
            constant,
            resolution,
        }
    }

    /// Name of its errors.
    const fn name(self) -> &'static str {
        match self {
            Self::Capacitance => "capacitance",
            Self::SeriesResistance => "series resistance",
            Self::Dissipation => "dissipation",
        }
    }

    /// The true value, `None` beyond its range.
    fn truth(self, path: DeadPath, at: RunTime, world: &mut World) -> Option<f64> {
        let farad = world.capacitance(path, at)?;
        let susceptance = std::f64::consts::TAU * TEST_HZ * farad;
        match self {
            Self::Capacitance => Some(farad),
            Self::SeriesResistance if susceptance * REACTANCE < 1.0 => None,
            Self::SeriesResistance => world.series_ohm(path, TEST_HZ, at),
            Self::Dissipation => world.series_ohm(path, TEST_HZ, at).map(|ohm| ohm * susceptance),
        }
    }
}

/// What its channel leads to at an inlet or a cable: CP to PE.
pub(super) static PILOT: [DeadPath; 1] = [DeadPath::Between(Core::Cp, Core::Pe)];
/// At a charger: its DC output, and L to N of its AC pins.
pub(super) static CHARGER: [DeadPath; 2] = [DeadPath::Dc(DcPair::PlusMinus), DeadPath::AcPins(Pair::LN)];

/// What of which channel, from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Measure(Asked, u16);

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
        Measure(asked, number): Measure,
        span: Span,
        world: &mut World,
    ) -> std::result::Result<Answer, Error> {
        let path = scanned(self.channels, number)?;
        let truth = asked.truth(path, span.now, world);
        let reading = self.noise.next_reading();
        let shown = truth.map_or(OVERLOAD, |truth| {
            asked.accuracy().shown(truth, asked.name(), &self.noise, reading)
        });
        Ok(Answer::number(shown))
    }

    fn reset(&mut self, _: RunTime, _: &mut World) {}
}

fn measure(parameters: &mut Parameters<'_, '_>, asked: Asked) -> Result<Measure> {
    channel(parameters).map(|number| Measure(asked, number))
}

type H = Header<Measure>;
const CAPACITANCE: H = Header {
    set: None,
    ask: Some(|given| measure(given, Asked::Capacitance)),
};
const SERIES_RESISTANCE: H = Header {
    set: None,
    ask: Some(|given| measure(given, Asked::SeriesResistance)),
};
const DISSIPATION: H = Header {
    set: None,
    ask: Some(|given| measure(given, Asked::Dissipation)),
};

const TREE: scpi::tree::Node<'static, Intake<Measure>> = tree![Branch![b"MEASure";
    Leaf!(b"CAPacitance" => &CAPACITANCE),
    Leaf!(b"SRESistance" => &SERIES_RESISTANCE),
    Leaf!(b"DISSipation" => &DISSIPATION)
]];
