//! The item's contactor: coil, touch with bounce, release. The arc belongs to the world, which knows the current.

use super::api::Pole;
use super::random::{Stream, uniform};
use super::values::Values;

/// What the contactor is made of.
#[derive(Debug, Clone)]
pub(super) struct Contactor {
    coil_ratio: f64,
    v_pull: f64,
    v_drop: f64,
    t_pull_in: f64,
    t_skew: f64,
    bounces: u32,
    t_bounce: f64,
    t_release: f64,
    tau_coil: f64,
    stuck: [bool; 2],
    n_open: bool,
    p_fail: f64,
    i2t_weld: f64,
    p_weld: f64,
    /// Since when an arc burns at each pole while it bounces, s.
    arc_s: [Option<f64>; 2],
    /// ∫i² dt of the arcs of this closing, A²s.
    arc_i2t: [f64; 2],
    /// The coil's current when it last held its armature, as the ratio to that at nominal voltage.
    held: f64,
    seed: u64,
    /// The coil has pulled in.
    pub(super) pulled: bool,
    /// The coil is driven, and would pull if its voltage were enough.
    pub(super) driven: bool,
    /// Closings so far.
    pub(super) operations: u64,
}

/// A pole begins or ceases to touch, at a time after the coil was driven.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Touch {
    /// s
    pub(super) after_s: f64,
    /// Which pole.
    pub(super) pole: Pole,
    /// It touches.
    pub(super) touches: bool,
}

/// Resistance for which `v_pull` and `v_drop` are stated, Ω.
const NOMINAL_COIL_OHM: f64 = 3000.0;

impl Contactor {
    pub(super) fn new(values: &Values, seed: u64) -> Self {
        Self {
            coil_ratio: NOMINAL_COIL_OHM / values.get("r_coil"),
            v_pull: values.get("v_pull"),
            v_drop: values.get("v_drop"),
            t_pull_in: values.get("t_pull_in"),
            t_skew: values.get("t_skew"),
            bounces: values.get("bounces") as u32,
            t_bounce: values.get("t_bounce"),
            t_release: values.get("t_release"),
            tau_coil: values.get("tau_coil"),
            held: 0.0,
            stuck: [values.yes("pole_l_stuck"), values.yes("pole_n_stuck")],
            n_open: values.yes("n_pole_open"),
            p_fail: values.get("p_fail"),
            i2t_weld: values.get("i2t_weld"),
            p_weld: values.get("p_weld"),
            arc_s: [None; 2],
            arc_i2t: [0.0; 2],
            seed,
            pulled: false,
            driven: false,
            operations: 0,
        }
    }

    /// The poles as they are without the coil.
    pub(super) fn at_rest(&self) -> [bool; 2] {
        [self.stuck[0], self.stuck[1] && !self.n_open]
    }

    /// A welded pole neither opens nor bounces; an interrupted one never closes.
    pub(super) fn is_movable(&self, pole: Pole) -> bool {
        match pole {
            Pole::L => !self.stuck[0],
            Pole::N => !self.stuck[1] && !self.n_open,
        }
    }

    /// Drives the coil, or releases it. A closing may fail by chance; then the coil is not driven.
    pub(super) fn drive(&mut self, on: bool) {
        self.driven = on;
        if on {
            self.operations += 1;
            (self.arc_s, self.arc_i2t) = ([None; 2], [0.0; 2]);
            let draw = uniform(self.seed, Stream::Closing, 0, self.operations);
            self.driven = draw >= self.p_fail;
        }
    }

    /// Whether the coil's force changes at this ratio of nominal voltage: `Some(true)` pulls in, `Some(false)` drops out.
    pub(super) fn moves(&mut self, voltage_ratio: f64) -> Option<bool> {
        let force = if self.driven {
            voltage_ratio * self.coil_ratio
        } else {
            0.0
        };
        if self.pulled && force >= self.v_drop {
            self.held = force;
        }
        match self.pulled {
            false if force >= self.v_pull => Some(true),
            true if force < self.v_drop => Some(false),
            _ => None,
        }
    }

    /// From the coil's release to the parting of the contacts, s. Through a free-wheel diode the coil's current dies with
    /// L/R, and the armature lets go where it falls below what holds it: `(L/R)·ln(I₀/I_d)` later.
    pub(super) fn release_s(&self) -> f64 {
        let falls = (self.held / self.v_drop.max(1e-3)).max(1.0);
        self.t_release + self.tau_coil * libm::log(falls)
    }

    /// A pole parts or touches again while it bounces under `amps` rms: its arc heats it, and may weld it.
    pub(super) fn arc(&mut self, pole: Pole, touches: bool, now_s: f64, amps: f64) {
        let k = usize::from(pole == Pole::N);
        if !touches {
            self.arc_s[k] = (amps > 0.0).then_some(now_s);
            return;
        }
        let Some(since_s) = self.arc_s[k].take() else { return };
        self.arc_i2t[k] += amps * amps * (now_s - since_s);
        let draw = uniform(self.seed, Stream::Weld, k as u64, self.operations);
        if self.arc_i2t[k] > self.i2t_weld && draw < self.p_weld {
            self.stuck[k] = true;
        }
    }

    /// Touches and bounces of both poles after the coil pulled in.
    pub(super) fn touches(&self) -> Vec<Touch> {
        let first = [(Pole::L, self.t_pull_in), (Pole::N, self.t_pull_in + self.t_skew)];
        first
            .into_iter()
            .filter(|&(pole, _)| self.is_movable(pole))
            .flat_map(|(pole, after_s)| self.bounce_train(pole, after_s.max(0.0)))
            .collect()
    }

    /// Each bounce lasts 0.3 of the one before, and so does each touch between two.
    fn bounce_train(&self, pole: Pole, mut after_s: f64) -> Vec<Touch> {
        let mut train = Vec::new();
        let mut length_s = self.t_bounce;
        for _ in 0..self.bounces.min(20) {
            train.push(Touch {
                after_s,
                pole,
                touches: true,
            });
            train.push(Touch {
                after_s: after_s + 0.5 * length_s,
                pole,
                touches: false,
            });
            after_s += 1.5 * length_s;
            length_s *= 0.3;
        }
        train.push(Touch {
            after_s,
            pole,
            touches: true,
        });
        train
    }
}
