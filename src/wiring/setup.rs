//! Nameplate, item and defect made into the parameters of a virtual item.

use crate::args::SeverityWord;
use crate::failure::Failure;
use crate::shipped::did_you_mean;
use pilotage_core::expr::Value;
use pilotage_core::{Dimension, Unit};
use pilotage_evidence::ItemKind;
use pilotage_plan::files::defect::{DefectFile, Severity};
use pilotage_plan::files::item::{ItemFile, NameplateValue};
use pilotage_plan::source::{Formula, Sp};
use pilotage_virtual::physics::{ItemSort, Setup, parameters};
use std::collections::BTreeMap;

/// Parameters whose names begin so are answers of the virtual person, kept as they are written: `person_breaker: 40 A`.
const PERSON: &str = "person_";

/// The defect and severity that a virtual item is given.
#[derive(Debug, Clone, Copy)]
pub struct Given<'a> {
    /// The defect.
    pub defect: &'a DefectFile,
    /// How far it goes.
    pub severity: SeverityWord,
}

/// The setup of a virtual item. A severity that the defect does not have is wrong usage.
pub fn setup(item: &ItemFile, given: Option<Given<'_>>, seed: u64) -> Result<Setup, Failure> {
    let sort = sort(item)?;
    let mut amounts = BTreeMap::new();
    let mut words = BTreeMap::new();
    for (name, value) in &item.nameplate {
        match value {
            NameplateValue::Amount(formula) => drop(amounts.insert(name.value.clone(), number(formula)?)),
            NameplateValue::Word(word) => drop(words.insert(name.value.clone(), word.value.clone())),
        }
    }
    for (name, word) in &item.virtual_words {
        words.insert(name.value.clone(), word.value.clone());
    }
    if let Some(given) = &given {
        same_kind(item, given.defect)?;
    }
    let changes = given.map(changes).transpose()?.unwrap_or_default();
    for (name, formula) in item.virtual_parameters.iter().chain(changes) {
        if name.value.starts_with(PERSON) {
            words.insert(name.value.clone(), formula.expr.text().to_owned());
        } else {
            amounts.insert(name.value.clone(), in_its_unit(sort, name, formula)?);
        }
    }
    Ok(Setup {
        item: sort,
        amounts,
        words,
        seed,
    })
}

/// What stands on the virtual bench for a kind of item.
pub fn sort(item: &ItemFile) -> Result<ItemSort, Failure> {
    sort_of(item.kind.value).ok_or_else(|| {
        Failure::usage(
            format!(
                "{}: there is no virtual item of the kind `{}`",
                item.kind.span.place(),
                item.kind.value.word()
            ),
            "rehearse with an item of another kind; real items of this kind can be run",
        )
    })
}

fn sort_of(kind: ItemKind) -> Option<ItemSort> {
    match kind {
        ItemKind::WallUnit => Some(ItemSort::WallUnit),
        ItemKind::Inlet => Some(ItemSort::Inlet),
        ItemKind::CableAssembly => Some(ItemSort::CableAssembly),
        ItemKind::OnboardCharger => Some(ItemSort::OnboardCharger),
        _ => None,
    }
}

/// Names and units of what an item or a defect changes of the virtual item; nothing is said of a kind that has none.
pub fn check_parameters(kind: ItemKind, changes: &[(Sp<String>, Formula)]) -> Result<(), Failure> {
    let Some(sort) = sort_of(kind) else { return Ok(()) };
    for (name, formula) in changes.iter().filter(|(name, _)| !name.value.starts_with(PERSON)) {
        in_its_unit(sort, name, formula)?;
    }
    Ok(())
}

/// In the coherent unit, SI.
fn in_its_unit(sort: ItemSort, name: &Sp<String>, formula: &Formula) -> Result<f64, Failure> {
    let Some(known) = parameters(sort).find(|known| known.name == name.value) else {
        let known: Vec<&str> = parameters(sort).map(|known| known.name).collect();
        return Err(Failure::usage(
            format!("{}: the virtual item has no `{}`", name.span.place(), name.value),
            did_you_mean(&name.value, &known, "docs/parameters.md lists all"),
        ));
    };
    let wanted = unit_of(known.unit).map(|wanted| (known.unit, wanted));
    if let (Some((symbol, wanted)), Ok(Value::Measured(measured))) = (wanted, formula.expr.evaluate(&|_| None))
        && measured.value.dimension() != wanted
    {
        return Err(Failure::usage(
            format!(
                "{}: `{}` is given as {}",
                formula.span.place(),
                name.value,
                formula.expr.text()
            ),
            match symbol {
                "1" => "write a number without a unit".to_owned(),
                symbol => format!("write it in {symbol}"),
            },
        ));
    }
    number(formula)
}

/// The dimension of a unit as the table of parameters writes it.
fn unit_of(symbol: &str) -> Option<Dimension> {
    match symbol {
        "1" => Some(Dimension::NONE),
        symbol => Unit::find(symbol).map(|unit| unit.dimension),
    }
}

/// A defect changes parameters that only its own kind of item has.
fn same_kind(item: &ItemFile, defect: &DefectFile) -> Result<(), Failure> {
    if defect.item.value == item.kind.value {
        return Ok(());
    }
    Err(Failure::usage(
        format!(
            "{}: defect {} is one of the kind `{}`, and {} is of the kind `{}`",
            defect.item.span.place(),
            defect.id.value,
            defect.item.value.word(),
            item.title.value,
            item.kind.value.word()
        ),
        "choose a defect of this kind: `pilotage defects SEQUENCE` lists them",
    ))
}

fn changes(given: Given<'_>) -> Result<&[(Sp<String>, Formula)], Failure> {
    let wanted = severity(given.severity);
    let found = given.defect.severities.iter().find(|(severity, _)| *severity == wanted);
    found.map(|(_, changes)| changes.as_slice()).ok_or_else(|| {
        Failure::usage(
            format!(
                "defect {} has no severity {}",
                given.defect.id.value,
                severity_word(given.severity)
            ),
            "it is there or not: leave --severity out",
        )
    })
}

/// The word for a severity, as it stands in files.
pub fn severity_word(severity: SeverityWord) -> &'static str {
    match severity {
        SeverityWord::Edge => "edge",
        SeverityWord::Plain => "plain",
        SeverityWord::Gross => "gross",
    }
}

/// The severity of a file that a word of the command line means.
pub fn severity(severity: SeverityWord) -> Severity {
    match severity {
        SeverityWord::Edge => Severity::Edge,
        SeverityWord::Plain => Severity::Plain,
        SeverityWord::Gross => Severity::Gross,
    }
}

fn number(formula: &Formula) -> Result<f64, Failure> {
    match formula.expr.evaluate(&|_| None) {
        Ok(Value::Measured(measured)) => Ok(measured.value.si()),
        Ok(Value::Truth(truth)) => Ok(f64::from(u8::from(truth))),
        Err(no_value) => Err(Failure::usage(
            format!(
                "{}: `{}` has no value: {no_value}",
                formula.span.place(),
                formula.expr.text()
            ),
            "write a number with its unit",
        )),
    }
}
