//! The instruments, by the names and serial numbers of the bench files in `sequences/benches`: nine at a wall unit
//! (`mid_bench.yaml`), four at a charger without high voltage (`small_workshop.yaml`).

use super::capture::Capture;
use super::dc_supply::DcSupply;
use super::flaws::{Flaws, UnknownFlaw};
use super::frame::{Instrument, Model};
use super::guard::Guard;
use super::inputs::Inputs;
use super::load::Load;
use super::meter::Meter;
use super::noise::Noise;
use super::pilot_source::PilotSourceBox;
use super::reference::Reference;
use super::relay_box::RelayBox;
use super::responder::Responder;
use super::source::Source;
use super::thermometer::Thermometer;
use crate::physics::{ItemSort, SharedWorld};
use std::collections::BTreeMap;
use std::sync::PoisonError;

/// Name within the bench file, and the instrument.
pub(crate) type Named = (String, Box<dyn Responder + Send>);

/// The bench over a world. The seed draws every instrument's errors, within what its driver file states, and its noise;
/// each instrument is keyed by its name, so that one more of them changes nothing in the others.
///
/// The order is that of the ports in `sequences/benches/mid_bench_tcp.yaml`: the first is served at 5025, the last at 5033.
pub fn bench(world: &SharedWorld, seed: u64) -> Vec<Named> {
    bench_with(world, seed, &BTreeMap::new()).expect("no flaws are given, so none is unknown")
}

/// The same bench with flaws of `flaws.rs`, by name.
///
/// # Errors
/// Names the flaw that does not exist, or the value that it cannot have.
pub fn bench_with(world: &SharedWorld, seed: u64, given: &BTreeMap<String, f64>) -> Result<Vec<Named>, UnknownFlaw> {
    let flaws = Flaws::new(given)?;
    let sort = world.lock().unwrap_or_else(PoisonError::into_inner).sort();
    match sort {
        ItemSort::WallUnit => at_a_wall_unit(world, seed, &flaws),
        ItemSort::OnboardCharger => Ok(at_a_charger(world, seed, &flaws)),
    }
}

/// Extra-low voltage only.
fn at_a_charger(world: &SharedWorld, seed: u64, flaws: &Flaws) -> Vec<Named> {
    let noise = |name| Noise::new(seed, name);
    vec![
        named("meter", meter_serial(flaws), Meter::new(noise("meter"), flaws), world),
        named(
            "scope",
            "W-0001",
            Capture::new(noise("scope"), flaws, Inputs::default()),
            world,
        ),
        named(
            "pilot_source",
            "P-0001",
            PilotSourceBox::new(noise("pilot_source")),
            world,
        ),
        named("low_voltage", "D-0001", DcSupply::new(noise("low_voltage")), world),
    ]
}

fn at_a_wall_unit(world: &SharedWorld, seed: u64, flaws: &Flaws) -> Result<Vec<Named>, UnknownFlaw> {
    let healthy = Flaws::new(&BTreeMap::new())?;
    let noise = |name| Noise::new(seed, name);
    let inputs = Inputs::default();
    Ok(vec![
        named("meter", meter_serial(flaws), Meter::new(noise("meter"), flaws), world),
        named("drop_meter", "M-0002", Meter::new(noise("drop_meter"), &healthy), world),
        named(
            "scope",
            "W-0001",
            Capture::new(noise("scope"), flaws, inputs.clone()),
            world,
        ),
        named("load", "L-0001", Load::new(noise("load")), world),
        named("supply", "S-0001", Source::new(noise("supply")), world),
        named("pilot_box", "R-0001", RelayBox::new(noise("pilot_box"), inputs), world),
        named("guard", "G-0001", Guard::new(flaws), world),
        named("reference", "V-0001", Reference::new(), world),
        named("thermometer", "T-0001", Thermometer::new(noise("thermometer")), world),
    ])
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
