//! The words between the physics and whoever acts on it or looks at it.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

pub use super::charger_words::{Command, DcPair, Insulated, Reported};
use super::world::World;

/// A world that instruments, persons and checkers share.
pub type SharedWorld = Arc<Mutex<World>>;

/// The kinds of item that can stand on the virtual bench.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum ItemSort {
    /// A wall unit.
    #[default]
    WallUnit,
    /// An on-board charger.
    OnboardCharger,
    /// A vehicle's inlet.
    Inlet,
    /// A detachable cable.
    CableAssembly,
}

/// A contact or core of an inlet or a cable, single phase.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Core {
    /// Line.
    L,
    /// Neutral.
    N,
    /// Protective conductor.
    Pe,
    /// Control pilot.
    Cp,
    /// Proximity.
    Pp,
}

/// What the bench shows to an inlet as a connector.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProximitySet {
    /// Nothing.
    Open,
    /// A connector that is latched.
    Latched,
    /// A connector whose release is pressed.
    Pressed,
}

/// What the fixture of an inlet feels.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Fixture {
    /// Where the lock's pin is.
    pub pin_locked: bool,
    /// What the lock says of itself.
    pub says_locked: bool,
}

/// What a world is made from: nameplate, virtual parameters and defect, one map, in coherent SI units.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Setup {
    /// What stands on the bench.
    pub item: ItemSort,
    /// Amounts by name: every name of [`super::parameters`] may stand here.
    pub amounts: BTreeMap<String, f64>,
    /// Words of the nameplate (`phases`, `connector`, `cable`, `earthing` …); others are left alone.
    pub words: BTreeMap<String, String>,
    /// Keys all randomness of the item.
    pub seed: u64,
}

/// A parameter that this world does not have, or cannot take.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UnknownParameter {
    /// No such name.
    #[error("the virtual item has no parameter `{name}`; the nearest name is `{nearest}`")]
    Name {
        /// As written.
        name: String,
        /// The nearest known name.
        nearest: &'static str,
    },
    /// The value is not finite, or is below what physics allows.
    #[error(
        "the parameter `{name}` of the virtual item cannot be {value}: give a finite number of at least {at_least} {unit}"
    )]
    Value {
        /// As written.
        name: String,
        /// As given.
        value: f64,
        /// The smallest value allowed.
        at_least: f64,
        /// Its unit.
        unit: &'static str,
    },
}

/// Two conductors of a single-phase outlet. On a split-phase item L is L1 and N is L2.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Pair {
    /// L to N (L1 to L2).
    LN,
    /// L to PE (L1 to PE).
    LPe,
    /// N to PE (L2 to PE).
    NPe,
}

/// One pole of the item's contactor, with the cable behind it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Pole {
    /// L (L1).
    L,
    /// N (L2).
    N,
}

/// What the bench switches onto the pilot contact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PilotState {
    /// Nothing.
    A,
    /// 2740 Ω behind the diode.
    B,
    /// 2740 Ω ‖ 1300 Ω behind the diode.
    C,
    /// 2740 Ω ‖ 270 Ω behind the diode.
    D,
    /// 80 Ω without a diode.
    E,
    /// The pilot conductor interrupted.
    Open,
    /// The bench's resistor goes to the meter, and nothing to the item.
    Check,
    /// The fine ladder, behind the diode.
    Ladder,
}

/// What the bench shows to a charger as a wall unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PilotSource {
    /// Nothing: the pilot conductor is interrupted.
    Off,
    /// The high rail, steady (X1).
    Steady,
    /// An offer: the pulse between both rails (X2).
    Pwm,
    /// The low rail, steady (state F).
    Fault,
    /// The pilot shorted to PE at the source.
    Shorted,
    /// The pulse between the high rail and 0 V.
    PositiveOnly,
    /// The source's own resistor goes to the meter, and nothing to the charger.
    Check,
    /// Its high rail goes to the meter, and nothing to the charger.
    CheckHigh,
    /// Its low rail, likewise.
    CheckLow,
}

/// The reference that proves a meter live.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ReferenceMode {
    /// No voltage.
    Off,
    /// 50 V AC (50 Hz).
    Ac,
    /// 50 V DC.
    Dc,
}

/// Everything that the bench or a person can do to the world.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Action {
    /// The source's output. It stays off while the guard holds the supply contactor open.
    Supply {
        /// On or off.
        on: bool,
    },
    /// V rms.
    SupplyVoltage(f64),
    /// Hz.
    SupplyFrequency(f64),
    /// A rms at which the source folds back.
    SupplyCurrentLimit(f64),
    /// What stands on the pilot. It ends the fine ladder, except that `Check` keeps the resistor last chosen.
    PilotLoad(PilotState),
    /// The fine ladder, Ω: above 0 it replaces the state on the pilot (in `Check` it goes to the meter); 0 takes it
    /// off again, which leaves state A.
    PilotResistance(f64),
    /// The bench's diode shorted, or not.
    PilotDiode {
        /// Shorted.
        shorted: bool,
    },
    /// F added from the pilot to PE.
    PilotCapacitance(f64),
    /// What the bench shows as a wall unit.
    PilotSource(PilotSource),
    /// Duty of the offer, 0…1.
    PilotSourceDuty(f64),
    /// Hz of the offer.
    PilotSourceFrequency(f64),
    /// V of the high rail.
    PilotSourceHigh(f64),
    /// V of the low rail.
    PilotSourceLow(f64),
    /// Standard deviation of the duty from one pulse to the next, 0…1.
    PilotSourceJitter(f64),
    /// Ω that the bench puts from proximity to PE as a connector; `None` for nothing.
    Proximity(Option<f64>),
    /// The low-voltage supply of a charger.
    LowVoltage {
        /// On or off.
        on: bool,
    },
    /// V of the low-voltage supply.
    LowVoltageLevel(f64),
    /// The electronic load's input.
    Load {
        /// On or off.
        on: bool,
    },
    /// A rms, a sine in phase with the supply; of a DC sink: A that it takes, or takes at most while it holds a voltage.
    LoadCurrent(f64),
    /// V that a DC sink holds as a battery does; 0 makes it a pure sink of current.
    SinkVoltage(f64),
    /// The DC sink presents 10 V the wrong way round, limited in current, while it is on.
    SinkReversed {
        /// Reversed.
        on: bool,
    },
    /// The supply's voltage falls once, when it next has this angle.
    SupplyDip {
        /// What is left of it, 0…1.
        ratio: f64,
        /// How long it lasts, s.
        for_s: f64,
        /// rad after the rise through zero.
        angle_rad: f64,
    },
    /// Angle at which the source's output next switches on, rad after its rise through zero.
    SupplyAngle(f64),
    /// The coolant flows, or not.
    Coolant {
        /// It flows.
        on: bool,
    },
    /// Temperature of the coolant where it enters, K.
    CoolantTemperature(f64),
    /// The interlock loop of the high-voltage connector.
    InterlockLoop {
        /// Closed.
        closed: bool,
    },
    /// What a charger is told.
    Command(Command),
    /// The burden on every output pair.
    Burden {
        /// On or off.
        on: bool,
    },
    /// The reference.
    Reference(ReferenceMode),
    /// The door of the enclosure.
    Enclosure {
        /// Closed.
        closed: bool,
    },
    /// The hard-wired stop.
    Stop {
        /// Pressed.
        pressed: bool,
    },
    /// The lock of the isolator in front of the item.
    Isolator {
        /// Locked open.
        locked: bool,
    },
    /// The latch button of a Type 1 connector.
    Latch {
        /// Pressed.
        pressed: bool,
    },
    /// The insulation instrument is led to two contacts.
    InsulationPair(Core, Core),
    /// A person flexes and twists the cable, or ceases to.
    Flex {
        /// Begins.
        on: bool,
    },
    /// A person pulls at the cable, or ceases to.
    Pull {
        /// Begins.
        on: bool,
    },
    /// The gauge is pulled off and mated again.
    Mate,
    /// What the bench shows to an inlet as a connector.
    ProximitySet(ProximitySet),
    /// Which way the lock is driven.
    LockDrive {
        /// To lock.
        locks: bool,
    },
    /// V of the lock's motor.
    LockVoltage(f64),
    /// The warming sleeve.
    Sleeve {
        /// On.
        on: bool,
        /// K that it aims at.
        kelvin: f64,
    },
}

/// Where something can be measured while the bench runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Node {
    /// Voltage of an output pair, V.
    Out(Pair),
    /// Voltage of an input pair, V.
    In(Pair),
    /// Voltage from input to output of one conductor, V.
    Path(Pole),
    /// Pilot to PE, V.
    Pilot,
    /// Current of the output's L conductor, A.
    OutCurrent,
    /// Current of the input's L conductor, A.
    InCurrent,
    /// The reference, V.
    Reference,
    /// Voltage between two contacts, V.
    Contacts(Core, Core),
    /// Voltage over a core that carries 5 mA, V.
    Loop(Core),
    /// Voltage from proximity to PE at 5 mA, V.
    ProximityLoop,
    /// Voltage from proximity to PE behind the bench's 5 V, V.
    ProximityVolts,
    /// Drop over a core under the current source, V.
    CoreDrop(Core),
    /// Current of the current source, A.
    SourceCurrent,
    /// Current of a lock's motor, A.
    LockCurrent,
    /// Proximity to PE, V.
    Proximity,
    /// A rail of the pilot source that is led to the meter, V.
    PilotSource,
    /// Current out of the low-voltage supply, A.
    LowVoltageCurrent,
    /// Voltage of a charger's DC output, or of one of its contacts to PE, V.
    Dc(DcPair),
    /// Voltage at the DC sink, which its contactor may separate from that output, V.
    AtSink,
    /// Current out of a charger's DC output, A.
    DcCurrent,
    /// Current in a charger's protective conductor, A.
    PeCurrent,
}

/// What can be measured in ohms, dead.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DeadPath {
    /// Input to output of one conductor.
    Pole(Pole),
    /// Across a pair of the output, with everything that stands between its conductors.
    Out(Pair),
    /// PP to PE at the connector.
    Proximity,
    /// The bench's own pilot resistor; only in [`PilotState::Check`].
    PilotLoad,
    /// From a contact at the plug, or behind an inlet, to one at the vehicle's end.
    Core(Core, Core),
    /// Between two contacts at the vehicle's end.
    Between(Core, Core),
    /// Proximity to PE at the plug.
    Plug,
    /// A temperature sensor of an inlet, 1 or 2.
    Sensor(u8),
    /// The pilot source's own resistor; only in [`PilotSource::Check`].
    PilotSource,
    /// Pilot to PE of a charger, against its diode.
    PilotReverse,
    /// Two AC pins of a charger.
    AcPins(Pair),
    /// Two contacts of a charger's DC output.
    Dc(DcPair),
    /// Chassis of a charger to the PE pin.
    Bond,
    /// Insulation of a charger, at test voltage.
    Isolation(Insulated),
    /// The interlock loop of the high-voltage connector.
    InterlockLoop,
}

/// The bench's digital inputs, and the own states of source and DC sink.
#[allow(clippy::struct_excessive_bools, reason = "each is one wire")]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Inputs {
    /// The door is closed.
    pub enclosure_closed: bool,
    /// The hard-wired stop is not pressed.
    pub stop_ready: bool,
    /// The bench's supply contactor is closed.
    pub supply_contactor_closed: bool,
    /// The source's output is on.
    pub supply_on: bool,
    /// The contactor between the DC sink and the item is closed; open where there is none.
    pub load_contactor_closed: bool,
    /// The DC sink is on.
    pub load_on: bool,
}

/// What the item's generator does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Generator {
    /// No power: 0 V behind the source resistance.
    Off,
    /// Steady high (X1).
    High,
    /// PWM (X2) with this ratio of high time.
    Pwm(f64),
    /// Steady low (state F).
    Low,
}

/// The state that the item believes to see.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Seen {
    /// Nothing connected.
    A,
    /// Vehicle connected.
    B,
    /// Vehicle ready.
    C,
    /// Vehicle ready, ventilation wanted.
    D,
    /// Short to PE.
    E,
}

/// The whole truth at one moment: for tests and for an independent witness, never for an instrument.
#[allow(clippy::struct_excessive_bools, reason = "each is one fact")]
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// RMS volts to the item's PE, by conductor: `in.L`, `in.N`, `out.L`, `out.N`; `in.PE` is against the source's earth.
    /// A charger has `dc.plus` and `dc.minus` besides.
    pub conductors_v: BTreeMap<&'static str, f64>,
    /// The L pole conducts.
    pub pole_l: bool,
    /// The N pole conducts.
    pub pole_n: bool,
    /// The item drives its coil.
    pub commanded: bool,
    /// What the item's generator does.
    pub generator: Generator,
    /// What the item believes.
    pub seen: Seen,
    /// The item has latched a fault.
    pub fault: bool,
    /// The isolator in front of the item is locked open.
    pub isolator_locked: bool,
    /// A rms through the output.
    pub load_a: f64,
    /// Temperature of the terminal, K.
    pub terminal_k: f64,
    /// Operations of the contactor so far.
    pub operations: u64,
}
