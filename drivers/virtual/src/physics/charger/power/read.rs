//! What can be measured live: AC pins, DC output, protective conductor; and what the charger says of itself.

use super::super::super::api::{DcPair, Node, Pair, Reported};
use super::super::super::mains::{Complex, Network, Phasors, Switching, Wave};
use super::super::OnboardCharger;
use super::Stage;
use super::course::Course;
use super::parts::CURRENT_ORDERS;
use super::rectifier::Pulse;
use super::stretch::{Bulk, Pins, Stretch};

/// Points at which a span with a pulse of the bridge is looked at.
const POINTS: usize = 240;
/// Samples of a period from which the charger itself works its own readings out.
const OWN_POINTS: usize = 48;
/// Networks that stay solved: those of the stretches in one period of the supply.
const SOLVED: usize = 4;

/// What a node shows within one stretch: a course with its ripple, a wave, a pulse.
struct Shape {
    start_s: f64,
    course: Course,
    wave: Wave<CURRENT_ORDERS>,
    /// Amplitude of the ripple as a ratio of the course; it follows the wave's angle twice.
    ripple: f64,
    /// Amplitude and Hz of the switching ripple.
    switching: (f64, f64),
    pulse: Option<Pulsed>,
}

/// What a pulse of the bridge adds.
struct Pulsed {
    pulse: Pulse,
    /// For each ampere and for each A/s: the drop over the supply's impedance, or the current itself.
    scale: (f64, f64),
    henry: f64,
    ohm: f64,
}

impl Pulsed {
    fn at(&self, t: f64) -> f64 {
        let (bulk_v, amps) = self.pulse.at(t);
        let amps = amps.max(0.0);
        let slope = (libm::fabs(self.pulse.source_v(t)) - bulk_v - self.ohm * amps) / self.henry.max(1e-7);
        self.pulse.sign * (self.scale.0 * amps + self.scale.1 * slope)
    }
}

impl Shape {
    fn ripple_at(&self, at_s: f64) -> f64 {
        if self.ripple == 0.0 {
            return 0.0;
        }
        -self.ripple * libm::sin(2.0 * (self.wave.angle + self.wave.omega * (at_s - self.start_s)))
    }

    fn at(&self, at_s: f64) -> f64 {
        let t = at_s - self.start_s;
        let base = self.course.at(t);
        let switched = if self.switching.0 == 0.0 {
            0.0
        } else {
            self.switching.0 * libm::sin(2.0 * core::f64::consts::PI * self.switching.1 * t)
        };
        let pulsed = self.pulse.as_ref().map_or(0.0, |pulse| pulse.at(t));
        base * (1.0 + self.ripple_at(at_s)) + self.wave.at(at_s) + switched + pulsed
    }

    /// Appends so many values, so far apart. Everything that swings is turned on from value to value.
    fn samples(&self, from_s: f64, (interval_s, count): (f64, usize), out: &mut Vec<f64>) {
        let at_s = |k: usize| from_s + k as f64 * interval_s;
        let first = out.len();
        self.wave.samples(from_s, interval_s, count, out);
        let swinging = |amplitude: f64, omega: f64, angle: f64| {
            let mut values = Vec::new();
            if amplitude != 0.0 {
                let wave = Wave::<1> {
                    start_s: self.start_s,
                    angle,
                    ..Wave::sine(amplitude * core::f64::consts::FRAC_1_SQRT_2, omega)
                };
                wave.samples(from_s, interval_s, count, &mut values);
            }
            values
        };
        let ripple = swinging(-self.ripple, 2.0 * self.wave.omega, 2.0 * self.wave.angle);
        let switched = swinging(self.switching.0, 2.0 * core::f64::consts::PI * self.switching.1, 0.0);
        for (k, value) in out[first..].iter_mut().enumerate() {
            let ripple = ripple.get(k).copied().unwrap_or(0.0);
            let switched = switched.get(k).copied().unwrap_or(0.0);
            *value += self.course.at(at_s(k) - self.start_s) * (1.0 + ripple) + switched;
        }
        if let Some(pulse) = &self.pulse {
            for (k, value) in out[first..].iter_mut().enumerate() {
                *value += pulse.at(at_s(k) - self.start_s);
            }
        }
    }

    /// ∫ of the ripple, as a ratio of the course.
    fn ripple_integral(&self, from_s: f64, to_s: f64) -> f64 {
        if self.ripple == 0.0 {
            return 0.0;
        }
        let omega = 2.0 * self.wave.omega;
        let cos = |at_s: f64| libm::cos(2.0 * self.wave.angle + omega * (at_s - self.start_s));
        self.ripple * (cos(to_s) - cos(from_s)) / omega
    }

    fn integral(&self, from_s: f64, to_s: f64) -> f64 {
        if self.pulse.is_some() {
            return self.summed((from_s, to_s), POINTS, |value| value);
        }
        let (from, to) = (from_s - self.start_s, to_s - self.start_s);
        let middle = self.course.at(0.5 * (from + to));
        self.course.integral(from, to) + self.wave.integral(from_s, to_s) + middle * self.ripple_integral(from_s, to_s)
    }

    /// ∫ of the square, where a pulse is in it by so many points. Ripples and waves count with what is between them and a course
    /// that hardly moves while they swing.
    fn square_integral(&self, (from_s, to_s): (f64, f64), points: usize) -> f64 {
        if self.pulse.is_some() {
            return self.summed((from_s, to_s), points, |value| value * value);
        }
        let (from, to) = (from_s - self.start_s, to_s - self.start_s);
        let middle = self.course.at(0.5 * (from + to));
        let swinging = 0.5 * self.ripple * self.ripple * (to_s - from_s);
        self.course.product(&self.course, from, to)
            + self.wave.square_integral(from_s, to_s)
            + 2.0 * middle * self.wave.integral(from_s, to_s)
            + middle * middle * (2.0 * self.ripple_integral(from_s, to_s) + swinging)
            + 0.5 * self.switching.0 * self.switching.0 * (to_s - from_s)
    }

    fn summed(&self, (from_s, to_s): (f64, f64), points: usize, of: impl Fn(f64) -> f64) -> f64 {
        let step = (to_s - from_s) / points as f64;
        (0..points)
            .map(|k| of(self.at(from_s + (k as f64 + 0.5) * step)))
            .sum::<f64>()
            * step
    }

    /// Square of a whole period that runs as it does then.
    fn mean_square(&self, at_s: f64) -> f64 {
        let base = self.course.at(at_s - self.start_s);
        let rms = self.wave.rms();
        let pulsed = self.pulse.as_ref().map_or(0.0, |pulse| pulse.at(at_s - self.start_s));
        let swinging = 1.0 + 0.5 * self.ripple * self.ripple;
        base * base * swinging + rms * rms + 0.5 * self.switching.0 * self.switching.0 + pulsed * pulsed
    }

    /// Behind something that passes each frequency by another gain.
    fn through(mut self, gain: &dyn Fn(f64) -> f64) -> Self {
        let hertz = self.wave.omega / (2.0 * core::f64::consts::PI);
        let dc = gain(0.0);
        self.course = self.course.scaled(dc);
        if self.ripple != 0.0 && dc != 0.0 {
            self.ripple *= gain(2.0 * hertz) / dc;
        }
        if self.switching.0 != 0.0 {
            self.switching.0 *= gain(self.switching.1);
        }
        self.wave = self.wave.through(gain);
        self
    }
}

impl OnboardCharger {
    /// The network of a stretch, solved once for as long as the same few are asked for.
    fn phasors(&self, switching: &Switching) -> Phasors {
        let mut solved = self.power.solved.borrow_mut();
        if let Some((_, phasors)) = solved.iter().find(|(of, _)| of == switching) {
            return *phasors;
        }
        let network = Network {
            fixed: &self.power.parts.fixed,
            switching,
            r_poles: [1.0; 2],
        };
        let phasors = network.solve();
        if solved.len() == SOLVED {
            solved.pop_front();
        }
        solved.push_back((*switching, phasors));
        phasors
    }

    /// The wave of a node of the AC side, with the distortion of what the input stage draws; none on the DC side.
    pub(super) fn ac_wave(&self, stretch: &Stretch, node: Node) -> Wave<CURRENT_ORDERS> {
        let mut all = [Complex::ZERO; CURRENT_ORDERS];
        let of_ac = matches!(node, Node::In(_) | Node::InCurrent | Node::PeCurrent);
        if of_ac && stretch.mains.switching.source_v > 0.0 && stretch.pins == Pins::Fed {
            let phasors = self.phasors(&stretch.mains.switching);
            let own = if node == Node::PeCurrent {
                Some(phasors.leaking())
            } else {
                phasors.of(node)
            };
            for (place, phasor) in own.into_iter().flatten().enumerate() {
                all[place] = phasor;
            }
            if node == Node::InCurrent && stretch.distorted {
                let pins = phasors.of(Node::In(Pair::LN)).map_or(Complex::ZERO, |orders| orders[0]);
                let first = pins.scaled(stretch.mains.switching.drawn_s);
                for (sum, more) in all.iter_mut().zip(self.power.parts.distortion(first)) {
                    *sum = *sum + more;
                }
            }
        }
        Wave {
            phasors: all,
            omega: stretch.mains.omega(),
            start_s: stretch.mains.start_s,
            angle: stretch.mains.phase,
        }
    }

    fn shape(&self, stretch: &Stretch, node: Node) -> Shape {
        let parts = &self.power.parts;
        let mut shape = Shape {
            start_s: stretch.mains.start_s,
            course: Course::ZERO,
            wave: self.ac_wave(stretch, node),
            ripple: 0.0,
            switching: (0.0, parts.switching_hz),
            pulse: None,
        };
        match node {
            Node::In(pair) => {
                // The three pairs see it whole, and halved to either side of PE.
                let share = match pair {
                    Pair::LN => 1.0,
                    Pair::LPe => 0.5,
                    Pair::NPe => -0.5,
                };
                match stretch.pins {
                    Pins::Fed => {}
                    Pins::Alone { volts, tau_s } => shape.course = Course::settling(share * volts, 0.0, tau_s),
                    Pins::BackFed(volts) => shape.wave.phasors[0] = Complex::real(share * volts),
                }
                shape.pulse = pulsed(
                    stretch,
                    parts,
                    (-share * parts.fixed.z_source, -share * parts.fixed.l_source),
                );
            }
            Node::InCurrent => shape.pulse = pulsed(stretch, parts, (1.0, 0.0)),
            Node::PeCurrent => shape.course = Course::constant(stretch.pe_a),
            Node::DcCurrent => {
                shape.course = stretch.dc_a;
                shape.ripple = if stretch.held { stretch.ripple } else { 0.0 };
                shape.switching.0 = if stretch.switching { parts.switching_a } else { 0.0 };
            }
            Node::Dc(pair) => self.shape_dc(&mut shape, stretch, (pair, stretch.contact_v)),
            Node::AtSink => match stretch.sink_v {
                Some(volts) => shape.course = Course::constant(volts),
                None => self.shape_dc(&mut shape, stretch, (DcPair::PlusMinus, stretch.contact_v)),
            },
            _ => {}
        }
        shape
    }

    /// The output floats: each of its contacts stands against PE as its insulation, with the meter beside it, divides.
    fn shape_dc(&self, shape: &mut Shape, stretch: &Stretch, (pair, course): (DcPair, Course)) {
        let parts = &self.power.parts;
        let share = match pair {
            DcPair::PlusMinus => 1.0,
            DcPair::PlusPe => parts.shares_to_pe.0,
            DcPair::MinusPe => parts.shares_to_pe.1,
        };
        let volts = course.at(0.0);
        shape.course = course.scaled(share);
        shape.ripple = if stretch.held && volts > 1.0 {
            stretch.ripple * stretch.dc_a.at(0.0) * parts.r_sink / volts
        } else {
            stretch.ripple
        };
        if stretch.switching {
            shape.switching.0 = share * parts.switching_a * parts.r_sink;
        }
    }

    /// Each stretch that overlaps, with what a node shows in it.
    fn shapes(&self, node: Node, from_s: f64, to_s: f64) -> impl Iterator<Item = ((f64, f64), Shape)> + '_ {
        self.shapes_of(move |stretch| self.shape(stretch, node), from_s, to_s)
    }

    fn shapes_of(
        &self,
        of: impl Fn(&Stretch) -> Shape,
        from_s: f64,
        to_s: f64,
    ) -> impl Iterator<Item = ((f64, f64), Shape)> {
        self.power
            .past
            .overlapping(from_s, to_s)
            .enumerate()
            .map(move |(number, (stretch, end_s))| {
                let start_s = if number == 0 { from_s } else { stretch.mains.start_s };
                ((start_s, end_s), of(&stretch))
            })
    }

    /// The value of a node at a moment.
    pub(in super::super) fn power_at(&self, node: Node, at_s: f64) -> f64 {
        let last = self.shapes(node, at_s, at_s).last();
        last.map_or(0.0, |(_, shape)| shape.at(at_s))
    }

    pub(in super::super) fn power_mean(&self, node: Node, (from_s, to_s): (f64, f64)) -> f64 {
        if to_s <= from_s {
            return self.power_at(node, to_s);
        }
        mean_of(self.shapes(node, from_s, to_s), (from_s, to_s))
    }

    /// V of the output's capacitance, where the charger's own sensor is.
    fn inner_mean(&self, (from_s, to_s): (f64, f64)) -> f64 {
        let inner = |stretch: &Stretch| {
            let mut shape = self.shape(stretch, Node::Dc(DcPair::PlusMinus));
            self.shape_dc(&mut shape, stretch, (DcPair::PlusMinus, stretch.dc_v));
            shape
        };
        let shapes = self.shapes_of(inner, from_s, to_s);
        if to_s <= from_s {
            return shapes.last().map_or(0.0, |(_, shape)| shape.at(to_s));
        }
        mean_of(shapes, (from_s, to_s))
    }

    pub(in super::super) fn power_rms(&self, node: Node, (from_s, to_s): (f64, f64), gain: &dyn Fn(f64) -> f64) -> f64 {
        let shapes = self
            .shapes(node, from_s, to_s)
            .map(|(span, shape)| (span, shape.through(gain)));
        if to_s <= from_s {
            return shapes
                .last()
                .map_or(0.0, |(_, shape)| libm::sqrt(shape.mean_square(to_s).max(0.0)));
        }
        let square: f64 = shapes
            .map(|((start_s, end_s), shape)| shape.square_integral((start_s, end_s.min(to_s)), POINTS))
            .sum();
        libm::sqrt((square / (to_s - from_s)).max(0.0))
    }

    pub(in super::super) fn power_samples(
        &self,
        node: Node,
        from_s: f64,
        (interval_s, count): (f64, usize),
        out: &mut Vec<f64>,
    ) {
        let last_s = from_s + (count.saturating_sub(1)) as f64 * interval_s;
        out.reserve(count);
        let mut done = 0;
        for ((_, end_s), shape) in self.shapes(node, from_s, last_s) {
            let before_end = (done..count)
                .take_while(|k| from_s + *k as f64 * interval_s < end_s)
                .count();
            shape.samples(from_s + done as f64 * interval_s, (interval_s, before_end), out);
            done += before_end;
        }
    }

    /// Root mean square of the last period by the charger's own samples: where nothing changed in it, that of any.
    fn period_rms(&self, node: Node, (from_s, to_s): (f64, f64)) -> f64 {
        if to_s <= from_s {
            return 0.0;
        }
        let square: f64 = self
            .shapes(node, from_s, to_s)
            .map(|((start_s, end_s), shape)| {
                let span_s = end_s.min(to_s) - start_s;
                let share = span_s / (to_s - from_s);
                if share >= 1.0 && shape.pulse.is_none() {
                    return shape.mean_square(to_s);
                }
                let points = libm::ceil(share * OWN_POINTS as f64).max(1.0) as usize;
                shape.square_integral((start_s, start_s + span_s), points) / (to_s - from_s)
            })
            .sum();
        libm::sqrt(square.max(0.0))
    }

    /// What the charger says of itself, by its own sensors.
    pub(in super::super) fn report(&self) -> Reported {
        let now_s = self.now_s;
        let power = &self.power;
        let period_s = 1.0 / power.feed.source.frequency;
        let span_s = ((now_s - period_s).max(0.0), now_s);
        let rms = |node: Node| self.period_rms(node, span_s);
        let awake = self.control.awake;
        let said = |value: &dyn Fn() -> f64| if awake { value() } else { 0.0 };
        Reported {
            awake,
            s2: self.control.s2,
            proximity: self.perceived_proximity(),
            dc_v: said(&|| power.parts.v_sense_gain * self.inner_mean(span_s)),
            dc_a: said(&|| power.parts.i_sense_gain * self.power_mean(Node::DcCurrent, span_s)),
            ac_v: said(&|| rms(Node::In(Pair::LN))),
            ac_a: said(&|| rms(Node::InCurrent)),
            temperature_k: self.sensed_k(now_s),
            fault: power.fault.is_some(),
            enabled: power.stage == Stage::Deliver,
        }
    }
}

fn mean_of(shapes: impl Iterator<Item = ((f64, f64), Shape)>, (from_s, to_s): (f64, f64)) -> f64 {
    let sum: f64 = shapes
        .map(|((start_s, end_s), shape)| shape.integral(start_s, end_s.min(to_s)))
        .sum();
    sum / (to_s - from_s)
}

fn pulsed(stretch: &Stretch, parts: &super::parts::Parts, scale: (f64, f64)) -> Option<Pulsed> {
    let Bulk::Pulsed(pulse) = stretch.bulk else { return None };
    let path = pulse.path();
    Some(Pulsed {
        pulse,
        scale,
        henry: path.henry.max(parts.fixed.l_source),
        ohm: path.ohm,
    })
}
