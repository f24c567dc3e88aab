//! Healthy items: every toleranced parameter at 95 % of its tolerance, every pair of parameters in every pair of signs.
//!
//! Two rows have all parameters high and all low. For each bit of a parameter's number, two rows have it high where the bit is
//! set, and the other way round. Any two parameters differ in some bit, so every pair meets in all four pairs of signs.

use pilotage_virtual::physics::{ItemSort, Parameter, parameters};
use std::collections::BTreeMap;

/// How far towards the end of its tolerance a parameter is put.
pub const SHARE: f64 = 0.95;

/// The parameters that have a tolerance.
pub fn toleranced(item: ItemSort) -> Vec<&'static Parameter> {
    parameters(item)
        .filter(|parameter| parameter.tolerance.is_some())
        .collect()
}

/// How many items there are.
pub fn count(item: ItemSort) -> usize {
    2 + 2 * bits(toleranced(item).len())
}

fn bits(parameters: usize) -> usize {
    (usize::BITS - parameters.saturating_sub(1).leading_zeros()) as usize
}

/// The parameters of one corner item, by name, in coherent SI units. A value that the item itself gives is left as far from it, as a share, as
/// the tolerance lies from the healthy one.
pub fn corner(item: ItemSort, row: usize, given: &BTreeMap<String, f64>) -> BTreeMap<String, f64> {
    toleranced(item)
        .into_iter()
        .enumerate()
        .map(|(index, parameter)| {
            let own = given.get(parameter.name).map_or(1.0, |own| own / parameter.healthy);
            let own = if own.is_finite() { own } else { 1.0 };
            (parameter.name.to_owned(), own * value(parameter, is_high(row, index)))
        })
        .collect()
}

fn is_high(row: usize, index: usize) -> bool {
    match row {
        0 => true,
        1 => false,
        row => ((index >> ((row - 2) / 2)) & 1 == 1) == (row % 2 == 0),
    }
}

fn value(parameter: &Parameter, high: bool) -> f64 {
    let (low_end, high_end) = parameter.tolerance.unwrap_or((parameter.healthy, parameter.healthy));
    let end = if high { high_end } else { low_end };
    parameter.healthy + SHARE * (end - parameter.healthy)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pair_meets_in_all_four_pairs_of_signs() {
        let number = toleranced(ItemSort::WallUnit).len();
        for a in 0..number {
            for b in 0..a {
                for wanted in [(true, true), (true, false), (false, true), (false, false)] {
                    let met = (0..count(ItemSort::WallUnit)).any(|row| (is_high(row, a), is_high(row, b)) == wanted);
                    assert!(met, "parameters {a} and {b} never meet as {wanted:?}");
                }
            }
        }
    }
}
