//! The circuit at the pilot: source resistance, leakage, capacitance, and a load behind a diode.
//!
//! The diode is a knee: below it the load draws nothing, above it the load is its resistor. The voltage of the knee
//! is found from the diode's law at the current that flows at the high level, so steady levels follow the law.

/// The diode's law over current: 0.70 V at 5 mA and 25 °C, growing with the logarithm of the current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Diode {
    /// Forward voltage at 5 mA and at the ambient temperature, V.
    pub(in super::super) at_5_ma_v: f64,
    /// Growth with the natural logarithm of the current, V.
    pub(in super::super) slope_v: f64,
}

/// What stands between the pilot and PE.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) enum Load {
    /// Nothing.
    None,
    /// A resistor that conducts both ways, Ω.
    Resistor(f64),
    /// A resistor behind the diode, Ω.
    Diode(f64),
    /// The same with its leads exchanged: the diode conducts while the pilot is low, Ω.
    Reversed(f64),
    /// The same behind a diode that leaks: its resistor, and the resistance of the diode while it blocks, Ω.
    LeakyDiode(f64, f64),
}

/// Response of the pilot on one side of the diode's knee.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Side {
    /// Steady volts of the pilot for each volt of the source.
    pub(super) gain: f64,
    /// Steady volts of the pilot with the source at 0 V.
    pub(super) offset_v: f64,
    /// Time constant, s.
    pub(super) tau_s: f64,
}

/// The whole circuit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Circuit {
    below: Side,
    above: Side,
    /// Pilot voltage at which the diode begins to conduct, upwards or downwards; infinite without one.
    pub(super) knee_v: f64,
    /// Volts of the pilot for each volt of the source while the diode blocks.
    blocked_gain: f64,
}

impl Circuit {
    /// The circuit for a source of `r_source` Ω whose high rail is `v_high`.
    pub(in super::super) fn new(
        (r_source, v_high): (f64, f64),
        r_leak: f64,
        capacitance: f64,
        load: Load,
        diode: Diode,
    ) -> Self {
        let source_s = 1.0 / r_source;
        let leak_s = 1.0 / r_leak;
        let side = |load_s: f64, behind_v: f64| {
            let total_s = source_s + leak_s + load_s;
            Side {
                gain: source_s / total_s,
                offset_v: load_s * behind_v / total_s,
                tau_s: capacitance / total_s,
            }
        };
        match load {
            Load::None => Self::without_knee(side(0.0, 0.0)),
            Load::Resistor(ohm) => Self::without_knee(side(1.0 / ohm, 0.0)),
            Load::Diode(ohm) => Self::with_knee(&side, (source_s + leak_s, v_high), (ohm, 0.0), diode),
            // The low rail drives it; it is as far from zero as the high one.
            Load::Reversed(ohm) => {
                Self::with_knee(&side, (source_s + leak_s, v_high), (ohm, 0.0), diode).reversed(&side, ohm)
            }
            Load::LeakyDiode(ohm, reverse_ohm) => {
                let blocked_s = 1.0 / (ohm + reverse_ohm);
                Self::with_knee(&side, (source_s + leak_s, v_high), (ohm, blocked_s), diode)
            }
        }
    }

    /// `blocked_s` is what the load conducts while the diode blocks, S; `outside` the conductance of everything else and the
    /// high rail.
    fn with_knee(
        side: &impl Fn(f64, f64) -> Side,
        outside: (f64, f64),
        (ohm, blocked_s): (f64, f64),
        diode: Diode,
    ) -> Self {
        let (outside_s, v_high) = outside;
        let open = side(0.0, 0.0);
        let knee_v = diode.forward_v(open.gain * v_high, 1.0 / outside_s + ohm);
        let blocked = side(blocked_s, 0.0);
        Self {
            below: blocked,
            above: side(1.0 / ohm, knee_v),
            knee_v,
            blocked_gain: blocked.gain,
        }
    }

    /// The same with the diode's leads exchanged.
    fn reversed(self, side: &impl Fn(f64, f64) -> Side, ohm: f64) -> Self {
        Self {
            below: side(1.0 / ohm, -self.knee_v),
            above: self.below,
            knee_v: -self.knee_v,
            ..self
        }
    }

    fn without_knee(side: Side) -> Self {
        Self {
            below: side,
            above: side,
            knee_v: f64::INFINITY,
            blocked_gain: side.gain,
        }
    }

    /// Where the pilot settles when the source stays at `source_v`.
    pub(in super::super) fn level(&self, source_v: f64) -> f64 {
        let side = self.side_of(self.blocked_gain * source_v > self.knee_v);
        side.gain * source_v + side.offset_v
    }

    /// How many volts the settled pilot moves for each volt of the source.
    pub(in super::super) fn gain(&self, source_v: f64) -> f64 {
        self.side_of(self.blocked_gain * source_v > self.knee_v).gain
    }

    pub(super) fn side_of(&self, above: bool) -> &Side {
        if above { &self.above } else { &self.below }
    }
}

impl Diode {
    /// Forward voltage in series with `ohm` from `open_v`, solved with the current that it causes itself.
    fn forward_v(&self, open_v: f64, ohm: f64) -> f64 {
        let mut forward_v = self.at_5_ma_v;
        for _ in 0..40 {
            let current_a = ((open_v - forward_v) / ohm).max(1e-9);
            // Newton's step on V − law(I(V)): the law's own slope is slope/(I·R), which keeps it quick at low current.
            let miss = forward_v - (self.at_5_ma_v + self.slope_v * libm::log(current_a / 5e-3));
            forward_v -= miss / (1.0 + self.slope_v / (current_a * ohm));
        }
        forward_v.max(0.0)
    }
}
