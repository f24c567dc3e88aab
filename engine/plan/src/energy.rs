//! The energy table: whether an order is quiet or energising, given all that was ordered before it.
//!
//! One table for each kind of item; the author of a sequence never decides. Only this module makes a [`QuietOrder`] or an
//! [`EnergisingOrder`]. What it does not know is energising: the table fails towards a permit.

use crate::program::{EnergisingOrder, Order, QuietOrder, Setting};
use pilotage_evidence::{EnergyState, ItemKind};

/// At or below this resistance behind the diode an item may see a vehicle that asks for energy.
///
/// The nominal edge between states B and C is 8 V: 1 kΩ · (8 − 0.7) / (12 − 8) = 1825 Ω. The worst generator that is still
/// in tolerance (11.4 V, 1030 Ω) with the diode shorted reaches 8 V at 1030 Ω · 8 / (11.4 − 8) = 2424 Ω. Everything up to
/// 2.5 kΩ therefore counts as asking; the resistor of state B (2740 Ω) does not.
pub const ASKING_RESISTANCE_OHM: f64 = 2500.0;

/// What the pilot load shows to the item.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PilotLoad {
    /// Nothing connected, or a state that keeps contactors open: A, B, open, or switched to the meter for a check.
    Waiting,
    /// State E: the pilot shorted to PE.
    Shorted,
    /// State C or D: a vehicle that asks for energy.
    Asking,
    /// The fine ladder, in ohms.
    Ladder(f64),
    /// Not known.
    Unknown,
}

impl PilotLoad {
    /// Whether an item may close its contactor on it.
    pub fn asks(self) -> bool {
        match self {
            Self::Waiting | Self::Shorted => false,
            Self::Asking | Self::Unknown => true,
            Self::Ladder(ohm) => ohm <= ASKING_RESISTANCE_OHM,
        }
    }
}

/// What was ordered so far, and what may be assumed about energy after it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BenchState {
    /// What a person may assume.
    pub energy: EnergyState,
    /// Whether the supply may be on.
    pub supply_on: bool,
    /// What the pilot load shows.
    pub pilot: PilotLoad,
    /// Whether the pilot load is switched to the meter, away from the item.
    pub pilot_checked: bool,
    /// Whether the load is on.
    pub load_on: bool,
    /// Set current of the load, in amperes.
    pub load_current_a: f64,
}

/// An order with what the table says about it.
#[derive(Debug, Clone, PartialEq)]
pub enum Typed {
    /// It cannot energise.
    Quiet(QuietOrder),
    /// It can.
    Energising(EnergisingOrder),
}

impl BenchState {
    /// After the tool's own preamble: everything off, proven dead, locked.
    pub const fn isolated() -> Self {
        Self {
            energy: EnergyState::Isolated,
            supply_on: false,
            pilot: PilotLoad::Waiting,
            pilot_checked: false,
            load_on: false,
            load_current_a: 0.0,
        }
    }

    /// Nothing known: the worst is assumed. Make safe is built from here.
    pub const fn unknown() -> Self {
        Self {
            energy: EnergyState::Unknown,
            supply_on: true,
            pilot: PilotLoad::Unknown,
            pilot_checked: false,
            load_on: true,
            load_current_a: f64::MAX,
        }
    }

    /// The state after every pair at a place was proven dead.
    ///
    /// A proof at the output ends with the next asking pilot load: while the pilot load asks, nothing is assumed from it.
    #[must_use]
    pub fn proven_dead(self, at: &str) -> Self {
        if at != "ac_output" || self.energy == EnergyState::Isolated || self.pilot.asks() {
            return self;
        }
        Self {
            energy: EnergyState::OutputDead,
            ..self
        }
    }

    /// Types an order and gives the state after it.
    pub fn order(self, kind: ItemKind, order: Order) -> (Typed, Self) {
        let (energising, after) = match kind {
            ItemKind::WallUnit => self.wall_unit(&order),
            // No table yet: nothing is quiet.
            _ => (
                true,
                Self {
                    energy: EnergyState::Live,
                    ..self
                },
            ),
        };
        let typed = if energising {
            Typed::Energising(EnergisingOrder(order))
        } else {
            Typed::Quiet(QuietOrder(order))
        };
        (typed, after)
    }

    /// The table of `wall_unit`: point, setting → energising?, state after.
    fn wall_unit(self, order: &Order) -> (bool, Self) {
        match (order.point.as_str(), &order.to) {
            ("supply", Setting::Word(word)) if word == "off" => (false, self.supply_off()),
            ("supply", _) => (true, self.supply_switched_on()),
            ("supply.voltage", _) => (self.supply_on, self),
            (
                "supply.frequency"
                | "pilot_load.capacitance"
                | "pilot_load.angle"
                | "burden"
                | "reference"
                | "capture_input",
                _,
            ) => (false, self),
            ("pilot_load", Setting::Word(word)) => self.pilot_word(word),
            ("pilot_load.resistance", Setting::Amount(value, _)) => self.pilot_load(PilotLoad::Ladder(value.si())),
            ("pilot_load.diode", _) => self.pilot_diode(),
            ("load", Setting::Word(word)) if word == "off" => (false, Self { load_on: false, ..self }),
            ("load", Setting::Word(word)) if word == "on" => (self.may_be_live(), Self { load_on: true, ..self }),
            ("load.current", Setting::Amount(value, _)) => {
                let after = Self {
                    load_current_a: value.si(),
                    ..self
                };
                (value.si() != 0.0 && self.may_be_live(), after)
            }
            _ => (
                true,
                Self {
                    energy: EnergyState::Live,
                    ..self
                },
            ),
        }
    }

    fn may_be_live(self) -> bool {
        !matches!(self.energy, EnergyState::Isolated | EnergyState::OutputDead)
    }

    fn supply_off(self) -> Self {
        Self {
            supply_on: false,
            energy: self.no_longer_live(),
            ..self
        }
    }

    /// An item with a welded contactor is live at once, so switching on leaves nothing proven.
    fn supply_switched_on(self) -> Self {
        let energy = match (self.pilot.asks(), self.energy) {
            (true, _) | (_, EnergyState::Live) => EnergyState::Live,
            _ => EnergyState::Unknown,
        };
        Self {
            supply_on: true,
            energy,
            ..self
        }
    }

    /// De-energising by command proves nothing: live becomes unknown until it is measured.
    fn no_longer_live(self) -> EnergyState {
        match self.energy {
            EnergyState::Live => EnergyState::Unknown,
            other => other,
        }
    }

    fn pilot_word(self, word: &str) -> (bool, Self) {
        let pilot = match word {
            "state_A" | "state_B" | "open" | "check" => PilotLoad::Waiting,
            "state_E" => PilotLoad::Shorted,
            _ => PilotLoad::Asking,
        };
        let (energising, after) = self.pilot_load(pilot);
        (
            energising,
            Self {
                pilot_checked: word == "check",
                ..after
            },
        )
    }

    /// Asking is quiet only in *isolated*: a supply that is off by command alone may still be there.
    fn pilot_load(self, pilot: PilotLoad) -> (bool, Self) {
        let changed = Self {
            pilot,
            pilot_checked: false,
            ..self
        };
        if self.energy == EnergyState::Isolated {
            return (false, changed);
        }
        if pilot.asks() {
            return (
                true,
                Self {
                    energy: EnergyState::Live,
                    ..changed
                },
            );
        }
        (
            false,
            Self {
                energy: self.no_longer_live(),
                ..changed
            },
        )
    }

    /// Shorting and restoring alike: an item that waits for a diode in state C closes when it comes.
    fn pilot_diode(self) -> (bool, Self) {
        if self.energy == EnergyState::Isolated || self.pilot == PilotLoad::Waiting {
            return (false, self);
        }
        let energy = if self.pilot.asks() {
            EnergyState::Live
        } else {
            self.energy
        };
        (true, Self { energy, ..self })
    }
}

/// Types orders one after the other from the worst state and keeps those that are quiet even there.
///
/// # Errors
/// The first order that can energise: a make safe plan must not contain it.
pub fn all_quiet(kind: ItemKind, orders: impl IntoIterator<Item = Order>) -> Result<Vec<QuietOrder>, Order> {
    let mut state = BenchState::unknown();
    let mut quiet = Vec::new();
    for order in orders {
        let (typed, after) = state.order(kind, order);
        match typed {
            Typed::Quiet(order) => quiet.push(order),
            Typed::Energising(order) => return Err(order.0),
        }
        state = after;
    }
    Ok(quiet)
}
