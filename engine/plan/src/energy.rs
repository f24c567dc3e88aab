//! The energy table: whether an order is quiet or energising, given all that was ordered before it.
//!
//! One table for each kind of item (`kind`); the author of a sequence never decides. Only this module makes a [`QuietOrder`] or an
//! [`EnergisingOrder`]. What it does not know is energising: the table fails towards a permit.

use crate::kind::{KindTable, common, table_of};
use crate::program::{EnergisingOrder, Order, QuietOrder};
use pilotage_evidence::{EnergyState, ItemKind};

/// At or below this resistance behind the diode an item may see a vehicle that asks for energy.
///
/// The nominal edge between states B and C is 8 V: 1 kΩ · (8 − 0.7) / (12 − 8) = 1825 Ω. The worst generator that is still
/// in tolerance (11.4 V, 1030 Ω) with the diode shorted reaches 8 V at 1030 Ω · 8 / (11.4 − 8) = 2424 Ω. Everything up to
/// 2.5 kΩ therefore counts as asking; the resistor of state B (2740 Ω) does not.
pub const ASKING_RESISTANCE_OHM: f64 = 2500.0;

/// What the bench shows to the item on the pilot: a vehicle to a wall unit, an offer to a charger.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PilotShown {
    /// Nothing connected, or a state that keeps contactors open: A, B, open, or switched to the meter for a check.
    Waiting,
    /// State E: the pilot shorted to PE.
    Shorted,
    /// State C or D, a vehicle that asks for energy; or an offer that a charger may take.
    Asking,
    /// The fine ladder, in ohms.
    Ladder(f64),
    /// Not known.
    Unknown,
}

impl PilotShown {
    /// Whether an item may close its contactor on it, or begin to draw.
    pub fn asks(self) -> bool {
        match self {
            Self::Waiting | Self::Shorted => false,
            Self::Asking | Self::Unknown => true,
            Self::Ladder(ohm) => ohm <= ASKING_RESISTANCE_OHM,
        }
    }
}

/// What was ordered so far, and what may be assumed about energy after it.
#[allow(clippy::struct_excessive_bools, reason = "each is one switch")]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BenchState {
    /// What a person may assume.
    pub energy: EnergyState,
    /// Whether the supply may be on.
    pub supply_on: bool,
    /// What the pilot shows.
    pub pilot: PilotShown,
    /// Whether the pilot load is switched to the meter, away from the item.
    pub pilot_checked: bool,
    /// Whether an insulation instrument beside the supply may be on.
    pub insulation_on: bool,
    /// Whether the load is on.
    pub load_on: bool,
    /// Set current of the load, in amperes.
    pub load_current_a: f64,
    /// Voltage that the load holds as a battery does, in volts.
    pub load_voltage_v: f64,
    /// Whether the low-voltage supply of an item may be on.
    pub low_voltage_on: bool,
    /// Places of the kind that were proven dead since anything was live: one bit each, in the order of its table.
    pub places_dead: u32,
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
            pilot: PilotShown::Waiting,
            pilot_checked: false,
            insulation_on: false,
            load_on: false,
            load_current_a: 0.0,
            load_voltage_v: 0.0,
            low_voltage_on: false,
            places_dead: u32::MAX,
        }
    }

    /// Nothing known: the worst is assumed. Make safe is built from here.
    pub const fn unknown() -> Self {
        Self {
            energy: EnergyState::Unknown,
            supply_on: true,
            pilot: PilotShown::Unknown,
            pilot_checked: false,
            insulation_on: true,
            load_on: true,
            load_current_a: f64::MAX,
            load_voltage_v: f64::MAX,
            low_voltage_on: true,
            places_dead: 0,
        }
    }

    /// The state after every pair at a place was proven dead.
    ///
    /// A proof at the output ends with the next asking pilot: while the pilot asks, nothing is assumed from it. Nor is it
    /// while the load drives its current through the place, holds a voltage there, or an insulation instrument stands on it.
    #[must_use]
    pub fn proven_dead(self, kind: ItemKind, at: &str) -> Self {
        let Some(table) = table_of(kind) else { return self };
        let Some((index, place)) = table.dead.iter().enumerate().find(|(_, place)| place.at == at) else {
            return self;
        };
        let may_wake = place.asks.is_some() && self.pilot.asks();
        let tested = self.insulation_on && has(table, "insulation");
        let holds = self.load_on && self.load_voltage_v > 0.0 && has(table, "load.voltage");
        let fed = place.fed && self.supply_on;
        if self.is_isolated() || may_wake || tested || holds || fed || (table.load_drives && self.load_on) {
            return self;
        }
        let proven = Self {
            places_dead: self.places_dead | 1 << index,
            ..self
        };
        if !place.output {
            return proven;
        }
        Self {
            energy: EnergyState::OutputDead,
            ..proven
        }
    }

    /// What forbids an insulation instrument to be switched on: it would stand on what feeds or holds, or on a charge that nobody knows of.
    pub(crate) fn forbids_insulation(self, table: &KindTable) -> Vec<String> {
        let mut found: Vec<String> = self.feeding().map(str::to_owned).collect();
        let unproven = table.dead.iter().enumerate();
        let unproven = unproven.filter(|(index, _)| self.places_dead & 1 << index == 0);
        found.extend(
            unproven.map(|(_, place)| format!("`{}` was not proven dead since it may have been live", place.at)),
        );
        found
    }

    /// What brings energy, or wakes an item that may, beside an insulation instrument.
    fn feeding(self) -> impl Iterator<Item = &'static str> {
        let held = self.load_on && self.load_voltage_v > 0.0;
        let all = [
            (self.supply_on, "the supply may be on"),
            (self.pilot.asks(), "the pilot offers or asks for energy"),
            (held, "the load holds a voltage"),
            (self.low_voltage_on, "the low-voltage supply may be on"),
        ];
        all.into_iter().filter(|(there, _)| *there).map(|(_, words)| words)
    }

    /// Sources that stand on the item at the same time and must not, in words: anything beside an insulation instrument, and, where the
    /// load is a source of its own, that one beside the supply.
    pub(crate) fn meeting(self, table: &KindTable) -> Vec<&'static str> {
        let mut met = Vec::new();
        if self.insulation_on && has(table, "insulation") {
            met.extend(self.feeding());
        }
        if table.load_drives && self.load_on && self.supply_on {
            met.push("the supply and the load may both be on");
        }
        met
    }

    /// Types an order and gives the state after it.
    pub fn order(self, kind: ItemKind, order: Order) -> (Typed, Self) {
        let (energising, after) = match table_of(kind) {
            Some(_) if common::moves_the_bench_only(&order) => (false, self),
            Some(table) => (table.energy)(self, &order),
            // No table yet: nothing is quiet.
            None => self.unknown_order(),
        };
        let typed = if energising {
            Typed::Energising(EnergisingOrder(order))
        } else {
            Typed::Quiet(QuietOrder(order))
        };
        (typed, after)
    }

    /// What a table does not know energises.
    pub(crate) fn unknown_order(self) -> (bool, Self) {
        (true, self.live())
    }

    pub(crate) fn is_isolated(self) -> bool {
        self.energy == EnergyState::Isolated
    }

    pub(crate) fn may_be_live(self) -> bool {
        !matches!(self.energy, EnergyState::Isolated | EnergyState::OutputDead)
    }

    pub(crate) fn live(self) -> Self {
        Self {
            energy: EnergyState::Live,
            places_dead: 0,
            ..self
        }
    }

    pub(crate) fn supply_off(self) -> Self {
        Self {
            supply_on: false,
            ..self.no_longer_live()
        }
    }

    pub(crate) fn with_load_current(self, amperes: f64) -> Self {
        Self {
            load_current_a: amperes,
            ..self
        }
    }

    /// De-energising by command proves nothing: live becomes unknown until it is measured.
    pub(crate) fn no_longer_live(self) -> Self {
        match self.energy {
            EnergyState::Live => Self {
                energy: EnergyState::Unknown,
                ..self
            },
            _ => self,
        }
    }
}

fn has(table: &KindTable, point: &str) -> bool {
    table.all_points().any(|shape| shape.pattern == point)
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
