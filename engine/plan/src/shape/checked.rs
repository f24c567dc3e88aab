//! A tree that was found to fit its shape: what lowering works on, so that it never has to report anything.

use crate::source::{Formula, Sp, Span};
use std::collections::BTreeSet;

/// A value that fits its shape.
#[derive(Debug, Clone, PartialEq)]
pub enum Checked {
    /// A text, a name, a word, a unit.
    Text(Sp<String>),
    /// An expression.
    Formula(Formula),
    /// True or false.
    Truth(bool),
    /// A whole number.
    Count(u64),
    /// A plain number.
    Factor(f64),
    /// A list.
    List(Vec<Checked>),
    /// A map.
    Map(CheckedMap),
}

/// A map that fits its record.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckedMap {
    /// Where it stands.
    pub span: Span,
    /// Every key that stands in the file, whether its value fits or not.
    pub present: Vec<Sp<String>>,
    /// The same as a set.
    pub names: BTreeSet<String>,
    /// Fixed keys whose values fit.
    pub fixed: Vec<(&'static str, Checked)>,
    /// Free names whose values fit.
    pub rest: Vec<(Sp<String>, Checked)>,
}

/// Something that the table of shapes promised is not there: our mistake, never the user's.
#[derive(Debug)]
pub struct Mismatch(pub Span, pub String);

/// What lowering gives.
pub(crate) type Lower<T> = Result<T, Mismatch>;

impl CheckedMap {
    /// A fixed key whose value fits.
    pub fn get(&self, name: &str) -> Option<&Checked> {
        self.fixed.iter().find(|(k, _)| *k == name).map(|(_, v)| v)
    }

    /// Whether a key stands in the file.
    pub fn has(&self, name: &str) -> bool {
        self.names.contains(name)
    }

    /// Where a key stands; the map itself where it does not.
    pub fn place(&self, name: &str) -> &Span {
        self.present
            .iter()
            .find(|k| k.value == name)
            .map_or(&self.span, |k| &k.span)
    }

    fn wrong<T>(&self, name: &str) -> Lower<T> {
        Err(Mismatch(self.span.clone(), format!("`{name}`")))
    }

    /// A text that may be missing.
    pub fn may_text(&self, name: &str) -> Option<Sp<String>> {
        match self.get(name) {
            Some(Checked::Text(text)) => Some(text.clone()),
            _ => None,
        }
    }

    /// The same without its place.
    pub fn may_string(&self, name: &str) -> Option<String> {
        self.may_text(name).map(|t| t.value)
    }

    /// A text.
    pub fn text(&self, name: &str) -> Lower<Sp<String>> {
        self.may_text(name).map_or_else(|| self.wrong(name), Ok)
    }

    /// A text without its place.
    pub fn string(&self, name: &str) -> Lower<String> {
        self.text(name).map(|t| t.value)
    }

    /// An expression that may be missing.
    pub fn may_formula(&self, name: &str) -> Option<Formula> {
        match self.get(name) {
            Some(Checked::Formula(formula)) => Some(formula.clone()),
            _ => None,
        }
    }

    /// An expression.
    pub fn formula(&self, name: &str) -> Lower<Formula> {
        self.may_formula(name).map_or_else(|| self.wrong(name), Ok)
    }

    /// `true` where it is there and true.
    pub fn truth(&self, name: &str) -> bool {
        matches!(self.get(name), Some(Checked::Truth(true)))
    }

    /// A whole number.
    pub fn count(&self, name: &str) -> Lower<u64> {
        match self.get(name) {
            Some(Checked::Count(count)) => Ok(*count),
            _ => self.wrong(name),
        }
    }

    /// A map that may be missing.
    pub fn may_map(&self, name: &str) -> Option<&CheckedMap> {
        match self.get(name) {
            Some(Checked::Map(map)) => Some(map),
            _ => None,
        }
    }

    /// A map.
    pub fn map(&self, name: &str) -> Lower<&CheckedMap> {
        self.may_map(name).map_or_else(|| self.wrong(name), Ok)
    }

    /// A list; empty where it is missing.
    pub fn list(&self, name: &str) -> &[Checked] {
        match self.get(name) {
            Some(Checked::List(items)) => items,
            _ => &[],
        }
    }

    /// A list of texts; empty where it is missing.
    pub fn texts(&self, name: &str) -> Vec<Sp<String>> {
        texts_of(self.list(name))
    }

    /// A list of texts without their places; empty where it is missing.
    pub fn strings(&self, name: &str) -> Vec<String> {
        self.texts(name).into_iter().map(|t| t.value).collect()
    }

    /// The only free name.
    pub fn only(&self) -> Lower<&(Sp<String>, Checked)> {
        self.rest.first().map_or_else(|| self.wrong("a free name"), Ok)
    }

    /// The only fixed key.
    pub fn only_key(&self) -> Lower<(&'static str, &Checked)> {
        self.fixed
            .first()
            .map_or_else(|| self.wrong("a key"), |(k, v)| Ok((*k, v)))
    }
}

impl Checked {
    /// As a map.
    pub fn as_map(&self, at: &Span) -> Lower<&CheckedMap> {
        match self {
            Self::Map(map) => Ok(map),
            _ => Err(Mismatch(at.clone(), "a map".to_owned())),
        }
    }

    /// As a text.
    pub fn as_text(&self, at: &Span) -> Lower<Sp<String>> {
        match self {
            Self::Text(text) => Ok(text.clone()),
            _ => Err(Mismatch(at.clone(), "a text".to_owned())),
        }
    }

    /// As an expression.
    pub fn as_formula(&self, at: &Span) -> Lower<Formula> {
        match self {
            Self::Formula(formula) => Ok(formula.clone()),
            _ => Err(Mismatch(at.clone(), "an expression".to_owned())),
        }
    }
}

/// The texts of a list.
pub(crate) fn texts_of(items: &[Checked]) -> Vec<Sp<String>> {
    let text = |item: &Checked| match item {
        Checked::Text(text) => Some(text.clone()),
        _ => None,
    };
    items.iter().filter_map(text).collect()
}

/// The expressions of a list.
pub(crate) fn formulas_of(items: &[Checked]) -> Vec<Formula> {
    let formula = |item: &Checked| match item {
        Checked::Formula(formula) => Some(formula.clone()),
        _ => None,
    };
    items.iter().filter_map(formula).collect()
}
