//! An item: the thing under test, by its nameplate.

use crate::source::{Formula, Sp};
use pilotage_evidence::ItemKind;

/// `pilotage: item/1`
#[derive(Debug, Clone, PartialEq)]
pub struct ItemFile {
    /// `title`
    pub title: Sp<String>,
    /// `item`: its kind.
    pub kind: Sp<ItemKind>,
    /// `serial`
    pub serial: Sp<String>,
    /// `nameplate`: each name with its value. Names and dimensions are fixed for each kind (see the table of shapes).
    pub nameplate: Vec<(Sp<String>, NameplateValue)>,
    /// `virtual`: parameters of the virtual item, where they differ from a healthy one.
    pub virtual_parameters: Vec<(Sp<String>, Formula)>,
    /// What the virtual person answers in words, e.g. `person_press_stop: refuses`.
    pub virtual_words: Vec<(Sp<String>, Sp<String>)>,
}

/// One nameplate value.
#[derive(Debug, Clone, PartialEq)]
pub enum NameplateValue {
    /// A quantity: `rated_current: 32 A`.
    Amount(Formula),
    /// A word: `connector: type_2`.
    Word(Sp<String>),
}
