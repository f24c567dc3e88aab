//! The nameplate as constants: amounts by their name, words as `NAME_is_WORD`, and the conductors that follow from it.

use super::names;
use super::problems::Problems;
use super::{code, near};
use crate::files::item::{ItemFile, NameplateValue};
use crate::problem::Problem;
use crate::shape::item::{nameplate_names, nameplate_words};
use pilotage_core::{Dimension, Quantity};
use std::collections::{BTreeMap, BTreeSet};

/// What the nameplate says.
#[derive(Debug, Clone, Default)]
pub(crate) struct Plate {
    /// Amounts by name, and 1 or 0 for each `NAME_is_WORD`.
    pub(crate) constants: BTreeMap<String, Quantity>,
    /// Words by name.
    pub(crate) words: BTreeMap<String, String>,
    /// Pairs of conductors, all of which must be dead.
    pub(crate) pairs: Vec<String>,
    /// Conductors that carry current to the load.
    pub(crate) conductors: Vec<String>,
    /// Poles of the contactor.
    pub(crate) poles: Vec<String>,
}

impl Plate {
    /// Reads the nameplate.
    pub(crate) fn read(item: &ItemFile, problems: &mut Problems) -> Self {
        let mut plate = Self::default();
        for (name, value) in &item.nameplate {
            match value {
                NameplateValue::Amount(formula) => match names::constant(formula) {
                    Ok(quantity) => {
                        plate.constants.insert(name.value.clone(), quantity);
                    }
                    Err(problem) => problems.add(*problem),
                },
                NameplateValue::Word(word) => {
                    plate.words.insert(name.value.clone(), word.value.clone());
                }
            }
        }
        plate.name_words();
        plate.name_conductors(item, problems);
        plate
    }

    /// `NAME_is_WORD` for every word that the name may have: 1 for the one on the plate, 0 for the others.
    fn name_words(&mut self) {
        let mut truths = BTreeMap::new();
        for name in nameplate_names() {
            for word in nameplate_words(name) {
                truths.insert(format!("{name}_is_{word}"), truth(false));
            }
        }
        for (name, word) in &self.words {
            truths.insert(format!("{name}_is_{word}"), truth(true));
        }
        self.constants.extend(truths);
    }

    fn name_conductors(&mut self, item: &ItemFile, problems: &mut Problems) {
        let lists: Option<[&[&str]; 3]> = match self.words.get("phases").map(String::as_str) {
            Some("single") => Some([&["L-N", "L-PE", "N-PE"], &["L"], &["L", "N"]]),
            Some("split") => Some([&["L1-L2", "L1-PE", "L2-PE"], &["L1", "L2"], &["L1", "L2"]]),
            _ => None,
        };
        let Some([pairs, conductors, poles]) = lists else {
            problems.add(self.phases_problem(item));
            return;
        };
        let owned = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
        self.pairs = owned(pairs);
        self.conductors = owned(conductors);
        self.poles = owned(poles);
    }

    fn phases_problem(&self, item: &ItemFile) -> Problem {
        let got = self.words.get("phases").map_or("nothing", String::as_str);
        Problem::new(
            code::PHASES,
            &item.title.span,
            "the conductors of this item are not known",
        )
        .expected("`phases: single` or `phases: split`")
        .got(got)
        .mend("write `phases: single` or `phases: split` into the nameplate; three phases cannot be fitted yet")
    }

    /// The constant of a name; a free word that is not on the plate is 0.
    pub(crate) fn constant(&self, name: &str) -> Option<Quantity> {
        self.constants.get(name).copied().or_else(|| self.free_word(name))
    }

    fn free_word(&self, name: &str) -> Option<Quantity> {
        let (plate_name, _) = name.split_once("_is_")?;
        (nameplate_words(plate_name).is_empty() && self.words.contains_key(plate_name)).then(|| truth(false))
    }

    /// Rated current, where the plate gives it.
    pub(crate) fn rated_current(&self) -> Option<Quantity> {
        self.amount("rated_current", Dimension::CURRENT)
    }

    /// Nominal supply voltage, where the plate gives it.
    pub(crate) fn supply_voltage(&self) -> Option<Quantity> {
        self.amount("supply_voltage", Dimension::VOLTAGE)
    }

    fn amount(&self, name: &str, dimension: Dimension) -> Option<Quantity> {
        self.constants
            .get(name)
            .copied()
            .filter(|quantity| quantity.dimension() == dimension)
    }

    /// Whether what stands in a point's brackets exists on this item.
    pub(crate) fn has(&self, bracket: &str) -> bool {
        let known: BTreeSet<&String> = self.pairs.iter().chain(&self.conductors).chain(&self.poles).collect();
        known.iter().any(|name| name.as_str() == bracket)
    }

    /// Names for a mend.
    pub(crate) fn nearest(&self, name: &str) -> Option<String> {
        near::nearest(name, self.constants.keys())
    }
}

fn truth(holds: bool) -> Quantity {
    Quantity::new(f64::from(u8::from(holds)), Dimension::NONE).expect("0 and 1 are finite")
}
