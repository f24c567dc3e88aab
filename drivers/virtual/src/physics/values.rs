//! The resolved parameters of one world, by name.

use std::collections::BTreeMap;

use super::api::{ItemSort, UnknownParameter};
use super::parameters::resolve;

/// Every parameter with its value.
#[derive(Debug, Clone)]
pub(super) struct Values(BTreeMap<&'static str, f64>);

impl Values {
    pub(super) fn new(item: ItemSort, given: &BTreeMap<String, f64>) -> Result<Self, UnknownParameter> {
        resolve(item, given).map(Self)
    }

    /// The value of a name of the table.
    pub(super) fn get(&self, name: &str) -> f64 {
        *self.0.get(name).expect("physics asks only for names of its own table")
    }

    /// A yes or no.
    pub(super) fn yes(&self, name: &str) -> bool {
        self.get(name) != 0.0
    }

    /// The current that the item is set to, A.
    pub(super) fn rated_set_a(&self) -> f64 {
        let set = self.get("rated_set");
        if set > 0.0 { set } else { self.get("rated_current") }
    }

    /// Copper of one conductor of the cable at 20 °C, Ω.
    pub(super) fn r_cable(&self) -> f64 {
        self.get("rho_cable") * self.get("cable_length") / self.get("cable_area")
    }

    /// Proximity resistor that codes the rated current (IEC 61851-1 Annex B), Ω.
    pub(super) fn cable_code_ohm(&self) -> f64 {
        match self.get("rated_current") {
            a if a <= 13.0 => 1500.0,
            a if a <= 20.0 => 680.0,
            a if a <= 32.0 => 220.0,
            _ => 100.0,
        }
    }
}
