//! The nameplate as constants: amounts by their name, words as `NAME_is_WORD`, and the conductors that follow from it.

use super::names;
use super::problems::Problems;
use super::{code, near};
use crate::files::item::{ItemFile, NameplateValue};
use crate::kind::Pairs;
use crate::problem::Problem;
use crate::shape::item::{nameplate_names_of, nameplate_words};
use pilotage_core::{Dimension, Quantity};
use std::collections::BTreeMap;

/// What the nameplate says.
#[derive(Debug, Clone, Default)]
pub(crate) struct Plate {
    /// Amounts by name, and 1 or 0 for each `NAME_is_WORD`.
    pub(crate) constants: BTreeMap<String, Quantity>,
    /// Words by name.
    pub(crate) words: BTreeMap<String, String>,
    /// Pairs of mains conductors, all of which must be dead.
    pub(crate) pairs: Vec<String>,
    /// Pairs of a DC output, likewise.
    dc_pairs: Vec<String>,
    /// Conductors of a DC output whose current is measured, and pairs of sides that are insulated from each other.
    dc_conductors: Vec<String>,
    insulated: Vec<String>,
    /// Every two contacts or cores, pilot and proximity among them, likewise.
    contact_pairs: Vec<String>,
    /// Contacts or cores.
    cores: Vec<String>,
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
        plate.name_words(item);
        plate.name_conductors(item, problems);
        plate
    }

    /// `NAME_is_WORD` for every word that the name may have: 1 for the one on the plate, 0 for the others.
    fn name_words(&mut self, item: &ItemFile) {
        let mut truths = BTreeMap::new();
        for name in nameplate_names_of(item.kind.value.word()) {
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
        self.dc_pairs = owned(&["plus-minus", "plus-PE", "minus-PE"]);
        self.dc_conductors = owned(&["plus"]);
        self.insulated = owned(&["ac-PE", "ac-dc"]);
        self.cores = owned(&[poles[0], poles[1], "PE", "CP", "PP"]);
        self.contact_pairs = self.pairs.clone();
        for second in ["CP", "PP"] {
            self.contact_pairs
                .extend(poles.iter().map(|first| format!("{first}-{second}")));
        }
        self.contact_pairs.extend(owned(&["CP-PE", "PP-PE", "CP-PP"]));
    }

    /// The pairs of a place.
    pub(crate) fn pairs_of(&self, pairs: Pairs) -> &[String] {
        match pairs {
            Pairs::Mains => &self.pairs,
            Pairs::Dc => &self.dc_pairs,
            Pairs::Contacts => &self.contact_pairs,
        }
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

    /// An amount of this dimension, where the plate gives it.
    pub(crate) fn amount(&self, name: &str, dimension: Dimension) -> Option<Quantity> {
        self.constants
            .get(name)
            .copied()
            .filter(|quantity| quantity.dimension() == dimension)
    }

    /// Whether what stands in a point's brackets exists on this item.
    pub(crate) fn has(&self, bracket: &str) -> bool {
        let single = [&self.conductors, &self.poles, &self.cores, &self.dc_conductors];
        let pairs = [&self.pairs, &self.dc_pairs, &self.contact_pairs, &self.insulated];
        single.into_iter().chain(pairs).flatten().any(|name| name == bracket)
    }

    /// Names for a mend.
    pub(crate) fn nearest(&self, name: &str) -> Option<String> {
        near::nearest(name, self.constants.keys())
    }
}

fn truth(holds: bool) -> Quantity {
    Quantity::new(f64::from(u8::from(holds)), Dimension::NONE).expect("0 and 1 are finite")
}
