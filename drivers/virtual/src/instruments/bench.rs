//! The instruments, by the names and serial numbers of `sequences/benches/`: those of the bench on which the item stands.

use super::analyser::Analyser;
use super::capture::Capture;
use super::coolant::Coolant;
use super::current_source::CurrentSource;
use super::dc_supply::DcSupply;
use super::fixture::Contact;
use super::flaws::{Flaws, UnknownFlaw};
use super::frame::{Instrument, Model};
use super::front::{GAPS, MAINS};
use super::guard::Guard;
use super::inputs::Inputs;
use super::insulation::{self, Insulation};
use super::lcr::{self, Lcr};
use super::load::Load;
use super::meter::Meter;
use super::micro_ohm::{self, MicroOhm};
use super::noise::Noise;
use super::pe_sensor::PeSensor;
use super::pilot_source::PilotSourceBox;
use super::reference::Reference;
use super::relay_box::RelayBox;
use super::responder::Responder;
use super::sink::Sink;
use super::source::Source;
use super::switch_box::SwitchBox;
use super::thermometer::Thermometer;
use crate::physics::{ItemSort, SharedWorld};
use std::collections::BTreeMap;
use std::sync::PoisonError;

/// Name within the bench file, and the instrument.
pub(crate) type Named = (String, Box<dyn Responder + Send>);

/// The bench over a world, for the kind of item that stands there. The seed draws every instrument's errors, within what its driver file states, and its noise;
/// each instrument is keyed by its name, so that one more of them changes nothing in the others.
///
/// The order is that of the ports in the bench files for TCP: the first is served at 5025. At a charger two benches stand side by side,
/// of which one is the beginning of the other: a bench file names those that it uses.
pub fn bench(world: &SharedWorld, seed: u64) -> Vec<Named> {
    bench_with(world, seed, &BTreeMap::new()).expect("no flaws are given, so none is unknown")
}

/// The same bench with flaws of `flaws.rs`, by name.
///
/// # Errors
/// Names the flaw that does not exist, or the value that it cannot have.
pub fn bench_with(world: &SharedWorld, seed: u64, given: &BTreeMap<String, f64>) -> Result<Vec<Named>, UnknownFlaw> {
    let flaws = Flaws::new(given)?;
    let healthy = Flaws::new(&BTreeMap::new())?;
    let sort = world.lock().unwrap_or_else(PoisonError::into_inner).sort();
    Ok(match sort {
        ItemSort::WallUnit => mains_bench(world, seed, (&flaws, &healthy)),
        ItemSort::OnboardCharger => charger_bench(world, seed, &flaws),
        ItemSort::Inlet | ItemSort::CableAssembly => contact_bench(world, seed, &flaws),
    })
}

/// `small_workshop.yaml`, the first four, and `charger_bench.yaml`, all of them. Where there is an analyser, it is the capture
/// instrument, and its inputs are what the switch box leads.
fn charger_bench(world: &SharedWorld, seed: u64, flaws: &Flaws) -> Vec<Named> {
    let noise = |name| Noise::new(seed, name);
    let inputs = Inputs::default();
    let scope = Capture::new(noise("scope"), &MAINS, flaws, Inputs::default());
    let analyser = Analyser::new(noise("analyser"), flaws, inputs.clone());
    let insulation = Insulation::new(noise("insulation"), &insulation::CHARGER);
    vec![
        named("meter", meter_serial(flaws), Meter::new(noise("meter"), flaws), world),
        named("scope", "W-0001", scope, world),
        named(
            "pilot_source",
            "P-0001",
            PilotSourceBox::new(noise("pilot_source")),
            world,
        ),
        named("low_voltage", "D-0001", DcSupply::new(noise("low_voltage")), world),
        named("supply", "S-0002", Source::new(noise("supply")), world),
        named("sink", "K-0001", Sink::new(noise("sink")), world),
        named("analyser", "A-0001", analyser, world),
        named("switch_box", "X-0001", SwitchBox::new(inputs), world),
        named("guard", "G-0003", Guard::new(flaws), world),
        named("reference", "V-0003", Reference::new(), world),
        named("thermometer", "T-0003", Thermometer::new(noise("thermometer")), world),
        named("coolant", "Q-0001", Coolant::new(noise("coolant")), world),
        named("pe_sensor", "E-0001", PeSensor::new(noise("pe_sensor")), world),
        named("insulation", "I-0002", insulation, world),
        named(
            "ohmmeter",
            "O-0002",
            MicroOhm::new(noise("ohmmeter"), &micro_ohm::BOND),
            world,
        ),
        named("bridge", "B-0002", Lcr::new(noise("bridge"), &lcr::CHARGER), world),
    ]
}

/// `mid_bench.yaml`
fn mains_bench(world: &SharedWorld, seed: u64, (flaws, healthy): (&Flaws, &Flaws)) -> Vec<Named> {
    let noise = |name| Noise::new(seed, name);
    let inputs = Inputs::default();
    vec![
        named("meter", meter_serial(flaws), Meter::new(noise("meter"), flaws), world),
        named("drop_meter", "M-0002", Meter::new(noise("drop_meter"), healthy), world),
        named(
            "scope",
            "W-0001",
            Capture::new(noise("scope"), &MAINS, flaws, inputs.clone()),
            world,
        ),
        named("load", "L-0001", Load::new(noise("load"), flaws), world),
        named("supply", "S-0001", Source::new(noise("supply")), world),
        named("pilot_box", "R-0001", RelayBox::new(noise("pilot_box"), inputs), world),
        named("guard", "G-0001", Guard::new(flaws), world),
        named("reference", "V-0001", Reference::new(), world),
        named("thermometer", "T-0001", Thermometer::new(noise("thermometer")), world),
    ]
}

/// `cable_bench.yaml`
fn contact_bench(world: &SharedWorld, seed: u64, flaws: &Flaws) -> Vec<Named> {
    let noise = |name| Noise::new(seed, name);
    let scope = Capture::new(noise("gap_detector"), &GAPS, flaws, Inputs::default());
    vec![
        named("meter", "M-0003", Meter::new(noise("meter"), flaws), world),
        named(
            "ohmmeter",
            "O-0001",
            MicroOhm::new(noise("ohmmeter"), &micro_ohm::CORES),
            world,
        ),
        named(
            "insulation",
            "I-0001",
            Insulation::new(noise("insulation"), &insulation::CONTACTS),
            world,
        ),
        named("bridge", "B-0001", Lcr::new(noise("bridge"), &lcr::PILOT), world),
        named("gap_detector", "W-0002", scope, world),
        named(
            "current_source",
            "C-0001",
            CurrentSource::new(noise("current_source")),
            world,
        ),
        named("fixture", "F-0001", Contact::new(noise("fixture")), world),
        named("guard", "G-0002", Guard::new(flaws), world),
        named("reference", "V-0002", Reference::new(), world),
        named("thermometer", "T-0002", Thermometer::new(noise("thermometer")), world),
    ]
}

fn meter_serial(flaws: &Flaws) -> &'static str {
    if flaws.has("meter_exchanged") {
        "M-0907"
    } else {
        "M-0001"
    }
}

fn named<M>(name: &str, serial: &str, model: M, world: &SharedWorld) -> Named
where
    M: Model + Send + 'static,
    M::Order: Send,
{
    (name.to_owned(), Box::new(Instrument::new(model, serial, world.clone())))
}
