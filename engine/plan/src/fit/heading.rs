//! The heading: what stands at the top of a record. The runner fills in run, mode and start.

use super::fitter::Fitter;
use super::steps::Walked;
use crate::files::bench::{HandMeterText, InstrumentText};
use crate::files::item::NameplateValue;
use pilotage_evidence::Heading;
use pilotage_evidence::heading::{
    BenchPlate, InstrumentPlate, ItemPlate, JOURNAL_FORM, LimitSetPlate, Mode, NotTested,
};

/// The heading of a program. Until the runner says otherwise, no item was tested.
pub(crate) fn heading(fitter: &Fitter<'_>, walked: &Walked) -> Heading {
    let request = fitter.request;
    Heading {
        form: JOURNAL_FORM,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        run: String::new(),
        mode: Mode::VirtualBench {
            seed: None,
            defect: None,
            over_tcp: false,
            links: None,
        },
        started: String::new(),
        title: request.sequence.title.value.clone(),
        inputs: request.inputs.to_vec(),
        item: item_plate(fitter),
        bench: bench_plate(fitter),
        limits: LimitSetPlate {
            name: request.limits.name.value.clone(),
            title: request.limits.title.value.clone(),
        },
        decision_rule: request.decision_rule,
        basis: request.sequence.basis.clone(),
        cautions: request
            .sequence
            .cautions
            .iter()
            .map(|caution| caution.value.clone())
            .collect(),
        steps: walked.steps.iter().map(|step| step.head.clone()).collect(),
        closings: walked.closings.clone(),
        not_tested: not_tested(fitter, walked),
    }
}

fn not_tested(fitter: &Fitter<'_>, walked: &Walked) -> Vec<NotTested> {
    let mut all = fitter.request.sequence.not_tested.clone();
    all.extend(walked.not_tested.iter().cloned());
    all
}

fn item_plate(fitter: &Fitter<'_>) -> ItemPlate {
    let item = fitter.request.item;
    let line = |(name, value): &(crate::source::Sp<String>, NameplateValue)| {
        let text = match value {
            NameplateValue::Amount(formula) => formula.expr.text().trim().to_owned(),
            NameplateValue::Word(word) => word.value.replace('_', " "),
        };
        (name.value.replace('_', " "), text)
    };
    ItemPlate {
        kind: item.kind.value,
        title: item.title.value.clone(),
        serial: item.serial.value.clone(),
        nameplate: item.nameplate.iter().map(line).collect(),
    }
}

fn bench_plate(fitter: &Fitter<'_>) -> BenchPlate {
    let bench = fitter.request.bench;
    let mut notes = vec![match super::make_safe::without_source(fitter) {
        None => "This bench has no hardware watchdog: it runs attended only.".to_owned(),
        Some(without) => format!("This bench cannot energise the item: {}.", without.says),
    }];
    if fitter.hand_held() {
        notes.push("Readings were typed by a person from hand-held meters.".to_owned());
    }
    if let Some(device) = &bench.supply_protected_by {
        notes.push(format!("Supply protected by: {}.", device.value));
    }
    if let Some(ambient) = &bench.ambient {
        notes.push(format!("Ambient temperature: {}.", ambient.expr.text().trim()));
    }
    BenchPlate {
        title: bench.title.value.clone(),
        instruments: bench
            .instruments
            .iter()
            .map(|instrument| instrument_plate(fitter, instrument))
            .chain(bench.hand_held.iter().map(hand_meter_plate))
            .collect(),
        notes,
    }
}

fn hand_meter_plate(meter: &HandMeterText) -> InstrumentPlate {
    InstrumentPlate {
        name: meter.name.value.clone(),
        driver: meter.title.value.clone(),
        link: InstrumentPlate::READ_BY_A_PERSON.to_owned(),
        serial: meter.serial.value.clone(),
        calibrated_until: meter.calibrated_until.as_ref().map(|day| day.value.clone()),
    }
}

fn instrument_plate(fitter: &Fitter<'_>, instrument: &InstrumentText) -> InstrumentPlate {
    let driver = fitter.request.drivers.get(&instrument.driver.value);
    InstrumentPlate {
        name: instrument.name.value.clone(),
        driver: driver.map_or_else(|| instrument.driver.value.clone(), |driver| driver.title.value.clone()),
        link: instrument.link.words(),
        serial: instrument.serial.value.clone(),
        calibrated_until: instrument.calibrated_until.as_ref().map(|day| day.value.clone()),
    }
}
