//! What every point was last set to. Steps follow each other: a step that needs what a left-out step would have set must be
//! left out too, or the item would be judged in a state that nobody meant.

use crate::kind::Line;
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
            Setting::Word(word) => (word.clone(), rests(point, word)),
            Setting::Amount(value, _) => (value.to_string(), value.si() == 0.0),
        };
        if at_rest {
            self.0.remove(point);
        } else {
            self.0.insert(point.to_owned(), text);
        }
    }

    /// Isolating brings back what the preamble leaves; set points of the supply stay.
    pub(crate) fn isolate(&mut self, lines: &[Line]) {
        for line in lines {
            match line {
                Line::Word("pilot_load", _) => {
                    self.0.remove("pilot_load");
                    self.0.remove("pilot_load.resistance");
                }
                Line::Word(point, _)
                | Line::Zero(point)
                | Line::Amount(point, _)
                | Line::BleedUntil { off: (point, _), .. } => {
                    self.0.remove(*point);
                }
                Line::Wait(_) | Line::SupplyOffUnlessDead(_) => {}
            }
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

/// Whether a word is what the tool's own preamble leaves at a point.
fn rests(point: &str, word: &str) -> bool {
    matches!(
        (point, word),
        (_, "off")
            | ("pilot_load", "state_A")
            | ("pilot_load.diode", "normal")
            | ("capture_input", "item")
            | ("proximity" | "proximity_set", "open")
            | ("lock", "released")
            | ("command.frames", "stopped")
    )
}
