//! A hand-held multimeter of 6000 counts and a thermometer, as the virtual person reads them: what a prompt may ask to be measured, and
//! what they show. Beyond its last range the meter shows overload, which is typed as the end of that range.

use crate::instruments::mix;
use crate::physics::{Core, DeadPath, World};
use pilotage_core::RunTime;

/// What is measured by hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Measured {
    /// A resistance.
    Ohm(DeadPath),
    /// How far the two temperature sensors of an inlet are apart, by one meter on one range.
    SensorsApart,
    /// The temperature of the room.
    Room,
}

/// What a person can be asked to measure, by its word.
const MEASURED: [(&str, Measured); 13] = [
    ("measure_pp_pe", Measured::Ohm(DeadPath::Between(Core::Pp, Core::Pe))),
    ("measure_cp_pe", Measured::Ohm(DeadPath::Between(Core::Cp, Core::Pe))),
    ("measure_cp_pp", Measured::Ohm(DeadPath::Between(Core::Cp, Core::Pp))),
    ("measure_plug_pp_pe", Measured::Ohm(DeadPath::Plug)),
    ("measure_through_l", Measured::Ohm(DeadPath::Core(Core::L, Core::L))),
    ("measure_through_n", Measured::Ohm(DeadPath::Core(Core::N, Core::N))),
    ("measure_through_pe", Measured::Ohm(DeadPath::Core(Core::Pe, Core::Pe))),
    ("measure_through_cp", Measured::Ohm(DeadPath::Core(Core::Cp, Core::Cp))),
    ("measure_across_l_n", Measured::Ohm(DeadPath::Core(Core::L, Core::N))),
    ("measure_sensor_1", Measured::Ohm(DeadPath::Sensor(1))),
    ("measure_sensor_2", Measured::Ohm(DeadPath::Sensor(2))),
    ("measure_sensors_apart", Measured::SensorsApart),
    ("measure_room", Measured::Room),
];
/// Counts of a range.
const COUNTS: f64 = 6000.0;
/// Ends of its ranges, Ω.
const RANGES: [f64; 6] = [600.0, 6e3, 60e3, 600e3, 6e6, 60e6];
/// Limits of error: share of the reading, and counts; as the sequences state them.
const ACCURACY: (f64, f64) = (0.2e-2, 2.0);
/// Limit of error of the thermometer, K.
const ROOM_K: f64 = 0.5;
const ZERO_CELSIUS_K: f64 = 273.15;

/// What a word asks to be measured.
pub(crate) fn measured(word: Option<&str>) -> Option<Measured> {
    let found = MEASURED.into_iter().find(|(known, _)| Some(*known) == word);
    found.map(|(_, what)| what)
}

/// What is typed.
pub(crate) fn typed(what: Measured, world: &mut World, now: RunTime, seed: u64) -> String {
    match what {
        Measured::Ohm(path) => {
            let ohm = world.resistance(path, now);
            ohm.and_then(|ohm| shown(ohm, seed))
                .unwrap_or_else(|| format!("{} Ω", RANGES[5]))
        }
        Measured::SensorsApart => {
            let sensors = [1, 2].map(|number| world.resistance(DeadPath::Sensor(number), now));
            match sensors {
                [Some(one), Some(other)] => shown(libm::fabs(one - other), seed).unwrap_or_default(),
                _ => format!("{} Ω", RANGES[5]),
            }
        }
        Measured::Room => {
            let celsius = world.room_k() - ZERO_CELSIUS_K + drawn(seed, 3) * ROOM_K;
            format!("{celsius:.1} °C")
        }
    }
}

/// A resistance as the meter shows it; nothing where it is beyond the last range.
fn shown(ohm: f64, seed: u64) -> Option<String> {
    let range = RANGES.into_iter().find(|range| ohm < *range)?;
    let count = range / COUNTS;
    // Half a count is left for the rounding.
    let seen = ohm * (1.0 + drawn(seed, 1) * ACCURACY.0) + drawn(seed, 2) * (ACCURACY.1 - 0.5) * count;
    let counts = libm::round(seen.max(0.0) / count);
    Some(match count {
        count if count < 1.0 => format!("{:.1} Ω", counts * count),
        count => format!("{:.0} Ω", counts * count),
    })
}

/// An error of this meter, between −0.95 and 0.95 of its limit.
fn drawn(seed: u64, which: u64) -> f64 {
    let bits = mix(mix(seed) ^ which) >> 11;
    0.95 * (bits as f64 / 4_503_599_627_370_496.0 - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shows_its_digits_within_its_limits() {
        for seed in 0..200 {
            for ohm in [0.18, 150.0, 480.0, 2700.0, 1.2e6, 9.9e6] {
                let text = shown(ohm, seed).expect("within the last range");
                let value: f64 = text.trim_end_matches(" Ω").parse().expect("a number");
                let count = RANGES.into_iter().find(|range| ohm < *range).expect("a range holds it") / COUNTS;
                let limit = ohm * ACCURACY.0 + ACCURACY.1 * count;
                assert!((value - ohm).abs() <= limit + 1e-9, "{ohm}: {text}");
            }
        }
        assert_eq!(shown(2e9, 1), None);
    }

    #[test]
    fn words_are_different_and_only_they_are_measured() {
        for (word, what) in MEASURED {
            assert_eq!(measured(Some(word)), Some(what));
        }
        assert_eq!((measured(Some("measure_nothing")), measured(None)), (None, None));
    }
}
