//! Limits, items, benches, defects, side rules.

use super::common::{item_kind, named_formulas, side, status, tolerance};
use super::sequence::{each, entries};
use crate::files::bench::{BenchFile, HandMeterText, InstrumentText, LinkText, ServiceText};
use crate::files::defect::{DefectFile, Severity};
use crate::files::item::{ItemFile, NameplateValue};
use crate::files::limits::{LimitText, LimitsFile};
use crate::files::sides::{SideRule, SidesFile};
use crate::shape::checked::{Checked, CheckedMap, Lower, Mismatch};
use crate::shape::table::host_and_port;
use crate::source::Sp;

/// `pilotage: limits/1`
pub(super) fn limits(map: &CheckedMap) -> Lower<LimitsFile> {
    Ok(LimitsFile {
        name: map.text("name")?,
        title: map.text("title")?,
        standard: map.text("standard")?,
        edition: map.text("edition")?,
        limits: entries(map, "limits", limit)?,
    })
}

fn limit(key: &Sp<String>, map: &CheckedMap) -> Lower<LimitText> {
    Ok(LimitText {
        key: key.clone(),
        title: map.string("title")?,
        unit: map.text("unit")?,
        tolerance: tolerance(map)?,
        standard: map.may_string("standard"),
        edition: map.may_string("edition"),
        clause: map.may_string("clause"),
        status: status(map)?,
        by: map.may_string("by"),
        derivation: map.may_string("derivation"),
        note: map.may_string("note"),
        span: key.span.clone(),
    })
}

/// `pilotage: item/1`
pub(super) fn item(map: &CheckedMap) -> Lower<ItemFile> {
    Ok(ItemFile {
        title: map.text("title")?,
        kind: item_kind(map)?,
        serial: map.text("serial")?,
        nameplate: nameplate(map.map("nameplate")?)?,
        virtual_parameters: of_virtual(map, |value| match value {
            Checked::Formula(formula) => Some(formula.clone()),
            _ => None,
        }),
        virtual_words: of_virtual(map, |value| match value {
            Checked::Text(word) => Some(word.clone()),
            _ => None,
        }),
    })
}

/// What stands below `virtual` and is of one sort.
fn of_virtual<T>(map: &CheckedMap, sort: impl Fn(&Checked) -> Option<T>) -> Vec<(Sp<String>, T)> {
    let all = map.may_map("virtual").map_or(&[][..], |given| &given.rest);
    all.iter()
        .filter_map(|(name, value)| Some((name.clone(), sort(value)?)))
        .collect()
}

/// In the order of the file.
fn nameplate(map: &CheckedMap) -> Lower<Vec<(Sp<String>, NameplateValue)>> {
    let value = |name: &Sp<String>| match map.get(&name.value) {
        Some(Checked::Text(word)) => Ok((name.clone(), NameplateValue::Word(word.clone()))),
        Some(Checked::Formula(amount)) => Ok((name.clone(), NameplateValue::Amount(amount.clone()))),
        _ => Err(Mismatch(name.span.clone(), format!("`{}`", name.value))),
    };
    map.present.iter().map(value).collect()
}

/// `pilotage: bench/1`
pub(super) fn bench(map: &CheckedMap) -> Lower<BenchFile> {
    Ok(BenchFile {
        title: map.text("title")?,
        instruments: may_entries(map, "instruments", instrument)?,
        hand_held: may_entries(map, "hand_held", hand_meter)?,
        points: may_entries(map, "points", service)?,
        stop_name: map.may_text("stop_name"),
        isolator_name: map.may_text("isolator_name"),
        supply_protected_by: map.may_map("supply").and_then(|m| m.may_text("protected_by")),
        ambient: map.may_formula("ambient"),
        dead_burden: map.may_formula("dead_burden"),
    })
}

fn hand_meter(name: &Sp<String>, map: &CheckedMap) -> Lower<HandMeterText> {
    Ok(HandMeterText {
        name: name.clone(),
        title: map.text("title")?,
        serial: map.text("serial")?,
        calibrated_until: map.may_text("calibrated_until"),
    })
}

/// Entries of a map that need not be there.
fn may_entries<T>(map: &CheckedMap, key: &str, one: fn(&Sp<String>, &CheckedMap) -> Lower<T>) -> Lower<Vec<T>> {
    if map.has(key) {
        entries(map, key, one)
    } else {
        Ok(Vec::new())
    }
}

fn instrument(name: &Sp<String>, map: &CheckedMap) -> Lower<InstrumentText> {
    Ok(InstrumentText {
        name: name.clone(),
        driver: map.text("driver")?,
        link: link(map)?,
        serial: map.text("serial")?,
        calibrated_until: map.may_text("calibrated_until"),
    })
}

fn link(map: &CheckedMap) -> Lower<LinkText> {
    let Some(link) = map.may_map("link") else {
        return Ok(LinkText::Virtual);
    };
    if let Some(interface) = link.may_text("can") {
        return Ok(LinkText::Can { interface });
    }
    let address = link.text("tcp")?;
    let parts = host_and_port(&address.value).map(|(host, port)| (host.to_owned(), port));
    let (host, port) = parts.ok_or_else(|| Mismatch(address.span.clone(), "an address".to_owned()))?;
    Ok(LinkText::Tcp {
        host: Sp {
            value: host,
            span: address.span,
        },
        port,
    })
}

fn service(point: &Sp<String>, map: &CheckedMap) -> Lower<ServiceText> {
    Ok(ServiceText {
        point: point.clone(),
        by: map.text("by")?,
        function: map.text("function")?,
        channel: map.may_text("channel"),
        connected: map.may_text("connected"),
        ratio: map.may_formula("ratio"),
        ratio_standard: map.may_formula("ratio_standard"),
        span: point.span.clone(),
    })
}

/// `pilotage: defect/1`
pub(super) fn defect(map: &CheckedMap) -> Lower<DefectFile> {
    let severities = map.map("severities")?;
    let known = [
        ("edge", Severity::Edge),
        ("plain", Severity::Plain),
        ("gross", Severity::Gross),
    ];
    let present = known.into_iter().filter(|(name, _)| severities.has(name));
    Ok(DefectFile {
        id: map.text("id")?,
        title: map.text("title")?,
        item: item_kind(map)?,
        noticed_by: map.texts("noticed_by"),
        side: side(&map.text("side")?)?,
        inconclusive: map.may_string("verdict").as_deref() == Some("inconclusive"),
        severities: present
            .map(|(name, severity)| Ok((severity, named_formulas(severities.map(name)?)?)))
            .collect::<Lower<_>>()?,
    })
}

/// `pilotage: sides/1`
pub(super) fn sides(map: &CheckedMap) -> Lower<SidesFile> {
    Ok(SidesFile {
        title: map.text("title")?,
        rules: each(map, "rules", side_rule)?,
    })
}

fn side_rule(map: &CheckedMap) -> Lower<SideRule> {
    Ok(SideRule {
        id: map.text("id")?,
        if_failed: map.texts("if_failed"),
        if_inconclusive: map.texts("if_inconclusive"),
        side: side(&map.text("side")?)?,
        kind: map.text("kind")?,
        says: map.string("says")?,
        cheapest_next: map.string("cheapest_next")?,
    })
}
