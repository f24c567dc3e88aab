//! The scanning multimeter (SCAN-DMM): one converter behind a scanner, so every reading needs its own time.

use super::accuracy::{Accuracy, Since};
use super::common::tree;
use super::flaws::Flaws;
use super::frame::{Model, Span, before};
use super::measuring::{self, HIGHEST_CREST, LINE_HZ};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Amount, COUNT, Header, Intake, Unit, channel_of, read_line};
use crate::physics::{Core, DcPair, DeadPath, Node, Pair, Pole, World};
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::mnemonic_compare;
use scpi::parser::parameters::Parameters;
use scpi::parser::tokenizer::Token;
use std::collections::BTreeMap;
use std::time::Duration;

/// Time in which a relay of the scanner settles, when the channel changes.
const SCANNER: Duration = Duration::from_millis(15);
/// Current of the diode test, A.
const DIODE_TEST_A: f64 = 5e-3;
/// How far beyond its nominal end a range reads before it is overloaded.
const HEADROOM: f64 = 1.2;
/// Power line cycles over which DC is averaged; 1 after power on and `*RST`.
const CYCLES: Amount = Amount {
    suffixes: COUNT,
    low: 0.02,
    high: 10.0,
};
/// Span whose shape says how peaked an AC voltage is, and the number of values that are taken of it: a prime, so that they
/// fall on different moments of every period, the pilot's too.
const SHAPE: (Duration, usize) = (Duration::from_millis(20), 61);
/// Number of values of a whole aperture that an average-responding converter takes, a prime for the same reason.
const RECTIFIED: usize = 997;

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Function {
    /// AC, true rms, without the DC part; flat from 20 Hz to 20 kHz within 0.02 %.
    Ac,
    /// DC, mean over some periods of 50 Hz: what repeats in one of them leaves nothing.
    Dc,
    /// Ohms by two wires.
    TwoWire,
    /// Ohms by four wires.
    FourWire,
    /// Forward drop of a diode at the meter's own 5 mA.
    Diode,
}

impl Function {
    fn name(self) -> &'static str {
        match self {
            Self::Ac => "ac",
            Self::Dc => "dc",
            Self::TwoWire => "two wires",
            Self::FourWire => "four wires",
            Self::Diode => "diode",
        }
    }

    /// Power line cycles for which its accuracy is stated, of which an aperture is made.
    fn stated_cycles(self) -> f64 {
        match self {
            Self::Ac => 10.0,
            Self::Dc | Self::Diode => 1.0,
            Self::TwoWire => 2.0,
            Self::FourWire => 3.0,
        }
    }

    /// Ranges, in V or Ω.
    fn ranges(self) -> &'static [f64] {
        match self {
            Self::Ac => &[0.1, 1.0, 10.0, 100.0, 750.0],
            Self::Dc => &[0.1, 1.0, 10.0, 100.0, 1000.0],
            Self::TwoWire => &[100.0, 1e3, 10e3, 100e3, 1e6, 10e6],
            Self::Diode => &[10.0],
            Self::FourWire => &[10.0, 100.0, 1e3, 10e3, 100e3, 1e6, 10e6],
        }
    }

    /// The same figures as in `drivers/files/bench_meter.yaml`.
    fn accuracy(self, range: f64) -> Accuracy {
        let (of_reading, of_range, fixed) = match self {
            Self::Ac => (0.06e-2, 0.03e-2, 0.0),
            Self::Dc => (0.01e-2, 0.005e-2, 0.0),
            // The law of the diode turns 5 % of the current into 1.3 mV.
            Self::Diode => (0.01e-2, 0.005e-2, 1.5e-3),
            // By two wires, what is left of the leads after zeroing counts too.
            Self::TwoWire => (0.02e-2, 0.005e-2, 0.2),
            Self::FourWire => (0.02e-2, 0.005e-2, 0.0),
        };
        Accuracy {
            of_reading,
            constant: of_range * range + fixed,
            resolution: range * 1e-6,
        }
    }
}

/// What the meter can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    /// `MEASure:…? [<range>,](@<channel>)`
    Measure(Measurement),
    /// Power line cycles of DC.
    SetCycles(f64),
    AskCycles,
}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Measurement {
    function: Function,
    /// The fixed range that was asked for, else the meter chooses.
    range: Option<f64>,
    channel: u16,
}

/// Where a channel leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    Volts(Node),
    Ohms(DeadPath),
    Either(Node, DeadPath),
    /// The same with [`FITTED_OHM`] across the leads.
    Fitted(Node, DeadPath),
    /// Ohms with [`FITTED_OHM`] beside them.
    FittedOhms(DeadPath),
    Diode,
}

fn out(pair: Pair) -> Place {
    Place::Either(Node::Out(pair), DeadPath::Out(pair))
}

fn dc(pair: DcPair) -> Place {
    Place::Either(Node::Dc(pair), DeadPath::Dc(pair))
}

/// Two contacts of an inlet or a cable, from channel 201 on.
const CONTACT_PAIRS: [(Core, Core); 10] = [
    (Core::L, Core::N),
    (Core::L, Core::Pe),
    (Core::N, Core::Pe),
    (Core::L, Core::Cp),
    (Core::N, Core::Cp),
    (Core::L, Core::Pp),
    (Core::N, Core::Pp),
    (Core::Cp, Core::Pe),
    (Core::Pp, Core::Pe),
    (Core::Cp, Core::Pp),
];
/// Its contacts or cores from end to end, from channel 221 on.
const CORES: [Core; 5] = [Core::L, Core::N, Core::Pe, Core::Cp, Core::Pp];

fn place(channel: u16) -> Result<Place> {
    Ok(match channel {
        101 => out(Pair::LN),
        102 => out(Pair::LPe),
        103 => out(Pair::NPe),
        111 => Place::Volts(Node::In(Pair::LN)),
        112 => Place::Volts(Node::In(Pair::LPe)),
        113 => Place::Volts(Node::In(Pair::NPe)),
        121 => Place::Fitted(Node::Path(Pole::L), DeadPath::Pole(Pole::L)),
        122 => Place::Fitted(Node::Path(Pole::N), DeadPath::Pole(Pole::N)),
        131 => Place::Volts(Node::Pilot),
        132 => Place::Ohms(DeadPath::Proximity),
        133 => Place::Volts(Node::Proximity),
        134 => Place::Ohms(DeadPath::PilotReverse),
        141 => Place::Volts(Node::Reference),
        152 => Place::Diode,
        151 => Place::Ohms(DeadPath::PilotLoad),
        201..=210 => {
            let (first, second) = CONTACT_PAIRS[usize::from(channel - 201)];
            Place::Fitted(Node::Contacts(first, second), DeadPath::Between(first, second))
        }
        221..=225 => {
            let core = CORES[usize::from(channel - 221)];
            Place::Fitted(Node::CoreDrop(core), DeadPath::Core(core, core))
        }
        231 => Place::FittedOhms(DeadPath::Core(Core::L, Core::N)),
        232 => Place::FittedOhms(DeadPath::Core(Core::N, Core::L)),
        241 => Place::FittedOhms(DeadPath::Plug),
        251 => Place::Volts(Node::ProximityVolts),
        261 => Place::FittedOhms(DeadPath::Sensor(1)),
        262 => Place::FittedOhms(DeadPath::Sensor(2)),
        153 => Place::Ohms(DeadPath::PilotSource),
        154 => Place::Volts(Node::PilotSource),
        161 => Place::Ohms(DeadPath::AcPins(Pair::LN)),
        162 => Place::Ohms(DeadPath::AcPins(Pair::LPe)),
        163 => Place::Ohms(DeadPath::AcPins(Pair::NPe)),
        164 => Place::FittedOhms(DeadPath::InterlockLoop),
        301 => dc(DcPair::PlusMinus),
        302 => dc(DcPair::PlusPe),
        303 => dc(DcPair::MinusPe),
        _ => return Err(ErrorCode::DataOutOfRange.extended(b"no such channel")),
    })
}

/// The model.
pub(crate) struct Meter {
    noise: Noise,
    channel: u16,
    /// Power line cycles of DC.
    cycles: f64,
    /// Added to every voltage.
    offset_v: f64,
    /// What it shows beyond its range.
    overload: f64,
    /// It does not take the range that it is asked for.
    own_range: bool,
    /// Time constant of the AC converter's filter: what was there before fades with it.
    ac_tau_s: f64,
    /// It rectifies and averages where it should take the true rms.
    averages: bool,
    /// Years since it was adjusted.
    years: f64,
    /// Where a flawed meter repeats itself: what it showed first.
    repeats: Option<BTreeMap<(u16, &'static str), f64>>,
}

impl Meter {
    pub(crate) fn new(noise: Noise, flaws: &Flaws) -> Self {
        Self {
            noise,
            channel: 0,
            cycles: 1.0,
            offset_v: flaws.get("meter_offset"),
            overload: flaws.get("meter_overload"),
            own_range: flaws.has("meter_own_range"),
            ac_tau_s: flaws.get("meter_ac_tau"),
            averages: flaws.has("meter_average"),
            years: flaws.get("meter_age"),
            repeats: flaws.has("meter_repeats").then(BTreeMap::new),
        }
    }

    fn cycles(&self, function: Function) -> f64 {
        if function == Function::Dc {
            self.cycles
        } else {
            function.stated_cycles()
        }
    }

    fn aperture(&self, function: Function) -> Duration {
        Duration::from_secs_f64(self.cycles(function) / LINE_HZ)
    }

    /// What comes out of the converter for what is at a channel, or `None` for an open circuit or more than the converter
    /// can take.
    fn converted(&self, order: Measurement, span: Span, world: &mut World) -> Result<Option<f64>> {
        let (from, to) = span.aperture(self.aperture(order.function));
        Ok(match (order.function, place(order.channel)?) {
            (Function::Ac, Place::Volts(node) | Place::Either(node, _) | Place::Fitted(node, _)) => self
                .ac(world, node, (from, to), order.range)
                .map(|volts| volts + self.offset_v),
            (Function::Dc, Place::Volts(node) | Place::Either(node, _) | Place::Fitted(node, _)) => {
                Some(world.mean(node, from, to) + self.offset_v)
            }
            (Function::TwoWire | Function::FourWire, Place::Fitted(_, what) | Place::FittedOhms(what)) => {
                Some(with_fitted(world.resistance(what, span.now)))
            }
            (Function::Diode, Place::Diode) => {
                let drop_v = world.diode_drop(DIODE_TEST_A, span.now);
                drop_v.map(|drop_v| drop_v + self.offset_v)
            }
            (Function::TwoWire | Function::FourWire, Place::Ohms(what) | Place::Either(_, what)) => {
                world.resistance(what, span.now)
            }
            _ => return Err(ErrorCode::SettingsConflict.extended(b"this channel serves another function")),
        })
    }

    /// AC with the tail of what was there one aperture earlier, and the error of its shape. `None` where the peaks are
    /// beyond what the range can take.
    fn ac(&self, world: &mut World, node: Node, (from, to): (RunTime, RunTime), range: Option<f64>) -> Option<f64> {
        let rms = if self.averages {
            averaged(world, node, from, to)
        } else {
            let crest = crest(world, node, from, to);
            let rms = ac_part(world, node, from, to);
            if range.is_some_and(|range| rms * crest > range * HIGHEST_CREST) {
                return None;
            }
            rms * (1.0 + measuring::crest_error(crest))
        };
        let length = to.since(from);
        let earlier = before(from, length);
        if earlier == from {
            return Some(rms);
        }
        let was = ac_part(world, node, earlier, from);
        let elapsed_s = length.as_secs_f64();
        Some(measuring::settling(was, rms, elapsed_s, self.ac_tau_s.max(1e-6)))
    }

    /// What the converter shows: on the range that was asked for, or on the smallest that holds the value.
    fn shown(&mut self, order: Measurement, truth: f64, room_k: f64) -> f64 {
        let holds = |range: &f64| truth.abs() <= range * HEADROOM;
        let Some(range) = order
            .range
            .filter(|_| !self.own_range)
            .or_else(|| order.function.ranges().iter().copied().find(holds))
        else {
            return self.overload;
        };
        let reading = self.noise.next_reading();
        if !holds(&range) {
            return self.overload;
        }
        let name = format!("{} {range}", order.function.name());
        let since = Since {
            years: self.years,
            outside_k: measuring::kelvin_outside(room_k),
            noise: measuring::noise_by_cycles(self.cycles(order.function) / order.function.stated_cycles()),
        };
        let accuracy = order.function.accuracy(range);
        let shown = accuracy.shown_since(truth, &name, &self.noise, reading, since);
        // A true rms cannot be negative.
        if order.function == Function::Ac {
            shown.max(0.0)
        } else {
            shown
        }
    }

    fn measure(&mut self, order: Measurement, span: Span, world: &mut World) -> Result<Answer> {
        let converted = self.converted(order, span, world)?;
        self.channel = order.channel;
        let room_k = world.room_k();
        let shown = converted.map_or(self.overload, |volts| self.shown(order, volts, room_k));
        Ok(Answer::number(match &mut self.repeats {
            Some(first) => *first.entry((order.channel, order.function.name())).or_insert(shown),
            None => shown,
        }))
    }
}

/// The bench has 10 MΩ fitted across each pole's sense leads: an open pole then reads a number, which can be judged, and not
/// an overload, which cannot be told from a broken lead.
const FITTED_OHM: f64 = 10e6;

fn with_fitted(path_ohm: Option<f64>) -> f64 {
    path_ohm.map_or(FITTED_OHM, |ohm| ohm * FITTED_OHM / (ohm + FITTED_OHM))
}

/// True rms without the DC part, as far as the AC path passes it.
fn ac_part(world: &mut World, node: Node, from: RunTime, to: RunTime) -> f64 {
    let rms = world.rms_through(node, from, to, &measuring::ac_gain);
    let mean = world.mean(node, from, to);
    libm::sqrt((rms * rms - mean * mean).max(0.0))
}

/// Crest factor at the end of an aperture; that of a sine where there is nothing.
fn crest(world: &mut World, node: Node, from: RunTime, to: RunTime) -> f64 {
    let (span, count) = SHAPE;
    let values = values(world, node, (before(to, span).max(from), to), count);
    measuring::crest_factor(&values).unwrap_or(core::f64::consts::SQRT_2)
}

fn averaged(world: &mut World, node: Node, from: RunTime, to: RunTime) -> f64 {
    measuring::average_responding(&values(world, node, (from, to), RECTIFIED))
}

/// Values spread evenly over a span.
fn values(world: &mut World, node: Node, (from, to): (RunTime, RunTime), count: usize) -> Vec<f64> {
    let mut values = Vec::with_capacity(count);
    let interval_s = to.since(from).as_secs_f64() / count as f64;
    world.samples(node, from, interval_s, count, &mut values);
    values
}

impl Model for Meter {
    type Order = Order;
    const NAME: &'static str = "SCAN-DMM";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        let Order::Measure(order) = order else {
            return Duration::from_millis(1);
        };
        let scanner = if order.channel == self.channel {
            Duration::ZERO
        } else {
            SCANNER
        };
        scanner + self.aperture(order.function)
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> std::result::Result<Answer, Error> {
        match order {
            Order::Measure(order) => self.measure(order, span, world),
            Order::SetCycles(cycles) => {
                self.cycles = cycles;
                Ok(Answer::Nothing)
            }
            Order::AskCycles => Ok(Answer::set_point(self.cycles)),
        }
    }

    fn reset(&mut self, _: RunTime, _: &mut World) {
        self.channel = 0;
        self.cycles = 1.0;
    }
}

/// `[<range>|AUTO|DEFault,](@<channel>)`
fn order(parameters: &mut Parameters<'_, '_>, function: Function) -> Result<Order> {
    let first = parameters.next_token()?;
    if matches!(first, Token::ExpressionProgramData(_)) {
        return Ok(Order::Measure(Measurement {
            function,
            range: None,
            channel: channel_of(first)?,
        }));
    }
    let channel = channel_of(parameters.next_token()?)?;
    Ok(Order::Measure(Measurement {
        function,
        range: range(first, function)?,
        channel,
    }))
}

/// The smallest range that holds the expected value.
fn range(token: Token<'_>, function: Function) -> Result<Option<f64>> {
    let expected = match token {
        Token::CharacterProgramData(word) if mnemonic_compare(b"AUTO", word) || mnemonic_compare(b"DEFault", word) => {
            return Ok(None);
        }
        Token::DecimalNumericProgramData(_) => f64::try_from(token)?,
        Token::DecimalNumericSuffixProgramData(..) => return Err(ErrorCode::SuffixNotAllowed.into()),
        _ => return Err(ErrorCode::DataTypeError.into()),
    };
    let holding = function
        .ranges()
        .iter()
        .copied()
        .find(|range| expected >= 0.0 && expected <= *range);
    holding.map(Some).ok_or_else(|| ErrorCode::DataOutOfRange.into())
}

const AC: Header<Order> = Header {
    set: None,
    ask: Some(|given| order(given, Function::Ac)),
};
const DC: Header<Order> = Header {
    set: None,
    ask: Some(|given| order(given, Function::Dc)),
};
const TWO_WIRE: Header<Order> = Header {
    set: None,
    ask: Some(|given| order(given, Function::TwoWire)),
};
const FOUR_WIRE: Header<Order> = Header {
    set: None,
    ask: Some(|given| order(given, Function::FourWire)),
};

const DIODE: Header<Order> = Header {
    set: None,
    ask: Some(|given| order(given, Function::Diode)),
};

const NPLC: Header<Order> = Header {
    set: Some(|given| CYCLES.read(given).map(Order::SetCycles)),
    ask: Some(|_| Ok(Order::AskCycles)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Branch![b"MEASure";
        Branch![b"VOLTage"; Leaf!(b"AC" => &AC), Leaf!(b"DC" => &DC)],
        Leaf!(b"RESistance" => &TWO_WIRE),
        Leaf!(b"FRESistance" => &FOUR_WIRE),
        Leaf!(b"DIODe" => &DIODE)
    ],
    Branch![b"SENSe"; Branch![b"VOLTage"; Branch![b"DC"; Leaf!(b"NPLCycles" => &NPLC)]]]
];
