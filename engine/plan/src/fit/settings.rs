//! What every point was last set to. Steps follow each other: a step that needs what a left-out step would have set must be
//! left out too, or the item would be judged in a state that nobody meant.

use crate::program::Setting;
use std::collections::BTreeMap;

/// Points that are not as the tool's own preamble leaves them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Settings(BTreeMap<String, String>);

impl Settings {
    /// Notes an order.
    pub(crate) fn note(&mut self, point: &str, to: &Setting) {
        // Good for the next change only, so nothing is left of it.
        if point == "pilot_load.angle" {
            return;
        }
        // The ladder and the states exclude each other.
        match point {
            "pilot_load" => self.0.remove("pilot_load.resistance"),
            "pilot_load.resistance" => self.0.remove("pilot_load"),
            _ => None,
        };
        let (text, at_rest) = match to {
            Setting::Word(word) => (
                word.clone(),
                matches!(word.as_str(), "off" | "state_A" | "normal" | "item"),
            ),
            Setting::Amount(value, _) => (value.to_string(), value.si() == 0.0),
        };
        if at_rest {
            self.0.remove(point);
        } else {
            self.0.insert(point.to_owned(), text);
        }
    }

    /// Isolating brings back what the preamble leaves; set points of the supply stay.
    pub(crate) fn isolate(&mut self) {
        for point in [
            "supply",
            "pilot_load",
            "pilot_load.resistance",
            "pilot_load.diode",
            "load",
            "load.current",
        ] {
            self.0.remove(point);
        }
    }

    /// Points that differ, with what they are here.
    pub(crate) fn differing(&self, other: &Self) -> BTreeMap<String, String> {
        let points = self.0.keys().chain(other.0.keys());
        let differing = points.filter(|point| self.0.get(*point) != other.0.get(*point));
        let told = |point: &String| {
            (
                point.clone(),
                self.0.get(point).map_or("at rest", String::as_str).to_owned(),
            )
        };
        differing.map(told).collect()
    }
}
