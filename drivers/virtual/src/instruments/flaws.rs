//! What may be wrong with the instruments themselves, beyond what their driver files state: the hooks of bench defects.
//!
//! Faults of the way between (late, lost, cut, doubled replies) belong to the link, not here.

use super::accuracy::OVERLOAD;
use std::collections::BTreeMap;

/// One flaw.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Flaw {
    /// As written in a defect's file.
    name: &'static str,
    /// SI unit or year, `1` for a ratio or a yes (1) / no (0).
    unit: &'static str,
    /// The value of a healthy instrument.
    healthy: f64,
    /// What it is.
    meaning: &'static str,
}

/// Every flaw.
const FLAWS: &[Flaw] = &[
    flaw(
        "meter_exchanged",
        "1",
        0.0,
        "1: another meter of the same model, with another serial number",
    ),
    flaw("meter_offset", "V", 0.0, "added to every voltage that the meter shows"),
    flaw(
        "meter_repeats",
        "1",
        0.0,
        "1: the meter repeats the first reading of each channel and function",
    ),
    flaw(
        "meter_overload",
        "V",
        OVERLOAD,
        "what the meter shows where a voltage is beyond its range",
    ),
    flaw(
        "meter_own_range",
        "1",
        0.0,
        "1: the meter chooses its range itself, whatever range it is asked for",
    ),
    flaw("meter_ac_tau", "s", 0.02, "time constant of the meter's AC filter"),
    flaw(
        "meter_average",
        "1",
        0.0,
        "1: the meter's AC takes the mean of the rectified voltage, scaled for a sine, instead of the true rms",
    ),
    flaw(
        "meter_age",
        "a",
        0.5,
        "years since the meter was adjusted; it drifts from then on",
    ),
    flaw(
        "scope_probe",
        "1",
        1.0,
        "what the mains channels show of a volt: 0.1 or 10 for a wrong probe setting",
    ),
    flaw(
        "scope_probe_pilot",
        "1",
        1.0,
        "what the pilot's channel shows of a volt",
    ),
    flaw(
        "scope_drift",
        "1",
        0.0,
        "what every channel shows more of a volt once it has drifted, at `drift_after`",
    ),
    flaw(
        "drift_after",
        "s",
        0.0,
        "when the drift comes, counted from the start of the bench",
    ),
    flaw(
        "load_fold",
        "A",
        40.0,
        "the most that the load draws, whatever it is set to",
    ),
    flaw(
        "scope_skew",
        "s",
        0.0,
        "how much earlier the channels 2 to 4 are sampled than channel 1",
    ),
    flaw(
        "guard_stuck",
        "1",
        0.0,
        "1: the guard's input for the enclosure always says closed",
    ),
];

/// Flaws that go both ways.
const MAY_BE_NEGATIVE: [&str; 2] = ["meter_offset", "scope_drift"];

const fn flaw(name: &'static str, unit: &'static str, healthy: f64, meaning: &'static str) -> Flaw {
    Flaw {
        name,
        unit,
        healthy,
        meaning,
    }
}

/// A flaw that does not exist, or a value that it cannot have.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UnknownFlaw {
    /// No such name.
    #[error("the virtual instruments have no flaw `{name}`; known are:{known}")]
    Name {
        /// As written.
        name: String,
        /// All names with units and meanings, a line each.
        known: String,
    },
    /// Not finite, or negative where that has no meaning.
    #[error("the flaw `{name}` cannot be {value}: give a finite number, not below 0 but for an offset or a drift")]
    Value {
        /// As written.
        name: String,
        /// As given.
        value: f64,
    },
}

/// Values of all flaws.
#[derive(Debug, Clone)]
pub(crate) struct Flaws {
    values: BTreeMap<&'static str, f64>,
}

impl Flaws {
    /// Healthy, but for what is given.
    pub(crate) fn new(given: &BTreeMap<String, f64>) -> Result<Self, UnknownFlaw> {
        let mut values: BTreeMap<_, _> = FLAWS.iter().map(|flaw| (flaw.name, flaw.healthy)).collect();
        for (name, &value) in given {
            let known = FLAWS
                .iter()
                .find(|flaw| flaw.name == name)
                .ok_or_else(|| unknown(name))?;
            if !value.is_finite() || (value < 0.0 && !MAY_BE_NEGATIVE.contains(&known.name)) {
                return Err(UnknownFlaw::Value {
                    name: name.clone(),
                    value,
                });
            }
            values.insert(known.name, value);
        }
        Ok(Self { values })
    }

    /// The value of a flaw of the table.
    pub(crate) fn get(&self, name: &str) -> f64 {
        self.values.get(name).copied().unwrap_or_default()
    }

    /// Whether it is there, for a flaw that is or is not.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.get(name) > 0.5
    }
}

fn unknown(name: &str) -> UnknownFlaw {
    let line = |flaw: &Flaw| format!("\n  {} ({}): {}", flaw.name, flaw.unit, flaw.meaning);
    UnknownFlaw::Name {
        name: name.to_owned(),
        known: FLAWS.iter().map(line).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_flaw_can_be_given_as_it_is_when_healthy() {
        for flaw in FLAWS {
            let given = BTreeMap::from([(flaw.name.to_owned(), flaw.healthy)]);
            assert_eq!(Flaws::new(&given).err(), None, "{}", flaw.name);
        }
    }

    #[test]
    fn an_unknown_flaw_is_told_all_that_there_are() {
        let problem = unknown("meter_ofset").to_string();
        for flaw in FLAWS {
            assert!(
                problem.contains(flaw.name) && problem.contains(flaw.meaning),
                "{problem}"
            );
        }
    }
}
