//! The sensor of the current in the protective conductor (PE-CLAMP): milliamperes, AC and DC apart.

use super::accuracy::Accuracy;
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Header, Intake, Unit, read_line};
use crate::physics::{Node, World};
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

/// Time over which it measures.
const APERTURE: Duration = Duration::from_millis(200);
/// Figures as in `drivers/files/pe_clamp.yaml`.
const AC: Accuracy = Accuracy {
    of_reading: 1e-2,
    constant: 20e-6,
    resolution: 1e-6,
};
const DC: Accuracy = Accuracy {
    of_reading: 1e-2,
    constant: 100e-6,
    resolution: 1e-6,
};

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Order {
    Ac,
    Dc,
}

/// The model.
pub(crate) struct PeSensor {
    noise: Noise,
}

impl PeSensor {
    pub(crate) fn new(noise: Noise) -> Self {
        Self { noise }
    }
}

impl Model for PeSensor {
    type Order = Order;
    const NAME: &'static str = "PE-CLAMP";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, _: &Order) -> Duration {
        APERTURE
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        let (from, to) = span.aperture(APERTURE);
        let mean = world.mean(Node::PeCurrent, from, to);
        Ok(Answer::number(match order {
            Order::Dc => DC.next_shown(mean, "dc", &mut self.noise),
            Order::Ac => {
                let rms = world.rms(Node::PeCurrent, from, to);
                let truth = libm::sqrt((rms * rms - mean * mean).max(0.0));
                AC.next_shown(truth, "ac", &mut self.noise).max(0.0)
            }
        }))
    }

    fn reset(&mut self, _: RunTime, _: &mut World) {}
}

type H = Header<Order>;
const ASK_AC: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::Ac)),
};
const ASK_DC: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::Dc)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> =
    tree![Branch![b"MEASure"; Branch![b"CURRent"; Leaf!(b"AC" => &ASK_AC), Leaf!(b"DC" => &ASK_DC)]]];
