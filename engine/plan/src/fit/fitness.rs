//! What the bench can decide, worked out before anything is plugged in: for each limit the expanded uncertainty (k = 2)
//! that the drivers promise at the limit's bound, against half the width of the tolerance.
//!
//! Printed limits of error count as rectangular (a / √3, JCGM 100 4.3.7) unless the driver gives a coverage factor.

use super::accuracy::{Accuracy, edges_s, of_capture, of_measure, polling};
use super::problems::Problems;
use super::services::Services;
use crate::files::bench::BenchFile;
use crate::files::driver::DriverFile;
use crate::files::power::{DistortionTake, PowerFind, PowerTake};
use crate::files::sequence::{LevelTake, PulseTake, SignalPart};
use crate::program::{Act, ActKind, CaptureEvent, CaptureSpec, Find, Program, Step};
use crate::source::Sp;
use pilotage_core::{Dimension, Quantity, Tolerance, Unit};
use pilotage_evidence::heading::LimitPlate;
use std::collections::BTreeMap;

/// One limit of one reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitness {
    /// Position of the step in the program.
    pub step: u32,
    /// Its id.
    pub id: String,
    /// The reading.
    pub name: String,
    /// Key of the limit.
    pub key: String,
    /// The limit.
    pub limit: LimitPlate,
    /// The points that the reading is taken at; none where it is computed.
    pub points: Vec<String>,
    /// Expanded uncertainty (k = 2) at the bound; `None` where it is not known before the run.
    pub expanded: Option<Quantity>,
    /// The same with instruments that add nothing: what sampling, smoothing and polling leave.
    pub at_best: Option<Quantity>,
    /// Half the width of the tolerance, or its only bound.
    pub half_width: Quantity,
    /// Half width over expanded uncertainty.
    pub ratio: Option<f64>,
    /// Largest expanded uncertainty that the step allows, where it says one.
    pub needs: Option<Quantity>,
    /// Whether the bench meets what the step needs; true where it says nothing, false where it is not known.
    pub decidable: bool,
    /// In words.
    pub says: String,
}

/// Fitness of every judged limit, each once: of several passes the least fit one.
pub fn fitness(program: &Program, bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>) -> Vec<Fitness> {
    let mut found = walk(program, bench, drivers, false);
    let ideal = walk(program, bench, drivers, true);
    for (fitness, ideal) in found.iter_mut().zip(ideal) {
        fitness.at_best = ideal.expanded;
    }
    found
}

/// The instruments and functions by which a limit that is not decidable would be: each of these drivers tried at each of the
/// reading's points, one at a time. In words, an instrument of this bench by its name.
pub fn would_decide(
    program: &Program,
    bench: &BenchFile,
    drivers: &BTreeMap<String, DriverFile>,
    fitness: &Fitness,
) -> Vec<String> {
    let mut found = Vec::new();
    for point in &fitness.points {
        for driver in drivers.values() {
            for function in &driver.functions {
                let Some((other, instrument)) = served_by(bench, point, driver, &function.name) else {
                    continue;
                };
                let decides = walk(program, &other, drivers, false).iter().any(|new| {
                    (new.step, &new.name, &new.key) == (fitness.step, &fitness.name, &fitness.key) && new.decidable
                });
                if decides {
                    found.push(format!("{instrument}, `{}` at `{point}`", function.name.value));
                }
            }
        }
    }
    found
}

/// The bench with a point served by a function of a driver, and the instrument in words.
fn served_by(
    bench: &BenchFile,
    point: &str,
    driver: &DriverFile,
    function: &Sp<String>,
) -> Option<(BenchFile, String)> {
    let mut other = bench.clone();
    let own = bench
        .instruments
        .iter()
        .find(|instrument| instrument.driver.value == driver.name.value);
    let by = if let Some(own) = own {
        own.name.clone()
    } else {
        let mut borrowed = bench.instruments.first()?.clone();
        borrowed.name.value = format!("an instrument with the driver `{}`", driver.name.value);
        borrowed.driver.value.clone_from(&driver.name.value);
        other.instruments.push(borrowed.clone());
        borrowed.name
    };
    for service in other.points.iter_mut().filter(|service| service.point.value == point) {
        service.by = by.clone();
        service.function = function.clone();
    }
    Some((other, by.value))
}

fn walk(program: &Program, bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>, ideal: bool) -> Vec<Fitness> {
    let kind = program.heading.item.kind;
    let services = Services::resolve(kind, bench, drivers, &mut Problems::default());
    let mut walk = Walk {
        services,
        ideal,
        known: BTreeMap::new(),
        points: BTreeMap::new(),
        capture: None,
        at: BTreeMap::new(),
        found: Vec::new(),
    };
    for step in &program.steps {
        for act in &step.acts {
            walk.act(step, act);
        }
    }
    walk.found
}

struct Walk<'a> {
    services: Services<'a>,
    /// Whether instruments add nothing.
    ideal: bool,
    known: BTreeMap<String, Option<Accuracy>>,
    points: BTreeMap<String, Vec<String>>,
    capture: Option<&'a CaptureSpec>,
    at: BTreeMap<(u32, String, String), usize>,
    found: Vec<Fitness>,
}

/// An instrument that adds nothing.
const NOTHING: Accuracy = Accuracy {
    relative: 0.0,
    fixed: 0.0,
};

impl<'p> Walk<'p> {
    fn act(&mut self, step: &'p Step, act: &'p Act) {
        match &act.kind {
            ActKind::Read(specs) => {
                for spec in specs {
                    let accuracy = self
                        .services
                        .measure(&spec.point)
                        .and_then(|(s, text)| of_measure(&s, text))
                        .map(|accuracy| if self.ideal { NOTHING } else { accuracy });
                    self.points.insert(spec.name.clone(), vec![spec.point.clone()]);
                    self.known.insert(spec.name.clone(), accuracy);
                }
            }
            ActKind::Capture(capture) => {
                self.capture = Some(capture);
                for inner in &capture.during {
                    self.act(step, inner);
                }
            }
            ActKind::Find(specs) => {
                for spec in specs {
                    let accuracy = self.of_find(&spec.find);
                    self.points.insert(spec.name.clone(), points(&spec.find));
                    self.known.insert(spec.name.clone(), accuracy);
                }
            }
            ActKind::WaitFor(wait) => {
                self.known.insert(wait.name.clone(), Some(polling(wait.every)));
                self.points.remove(&wait.name);
                self.limit(step, &wait.name, &wait.limit);
            }
            ActKind::Judge(specs) => {
                for spec in specs {
                    if spec.value.is_some() {
                        self.known.insert(spec.name.clone(), None);
                        self.points.remove(&spec.name);
                    }
                    let early = spec
                        .limits
                        .iter()
                        .enumerate()
                        .filter(|(i, _)| !spec.late_bounds.contains_key(i));
                    for (_, limit) in early {
                        self.limit(step, &spec.name, limit);
                    }
                }
            }
            _ => {}
        }
    }

    fn of_find(&self, find: &Find) -> Option<Accuracy> {
        let channel = |point: &str| {
            self.services
                .capture(point)
                .map(|(service, text)| of_capture(&service, text))
                .map(|found| found.map(|found| if self.ideal { (NOTHING, NOTHING) } else { found }))
        };
        let rate = self.capture?.rate;
        match find {
            Find::Pulse(point, take) => {
                let (level, time) = channel(point)??;
                match take {
                    PulseTake::High | PulseTake::Low => Some(level),
                    PulseTake::Frequency => Some(Accuracy { fixed: 0.0, ..time }),
                    PulseTake::Rise | PulseTake::Fall => Some(time.plus(edges_s(rate))),
                    // Two edges of a pulse of 1 kHz (IEC 61851-1, Annex A).
                    PulseTake::DutyAtZero | PulseTake::DutyAtHalf => Some(time.plus(edges_s(rate) * 1000.0)),
                    PulseTake::DutySpread => None,
                }
            }
            Find::Level(point, take) => {
                let (level, _) = channel(point)??;
                Some(if *take == LevelTake::Span {
                    Accuracy { fixed: 0.0, ..level }
                } else {
                    level
                })
            }
            Find::Between(from, to) => {
                let (_, time) = channel(&from.channel)??;
                let hidden_s = hidden_s(from.part) + hidden_s(to.part);
                Some(time.plus(edges_s(rate)).plus(hidden_s))
            }
            Find::Power(find) => of_power(find, |point| channel(point)?.map(|(level, _)| level)),
            Find::Count(_) | Find::Angle(..) | Find::Swept { .. } => None,
        }
    }

    fn limit(&mut self, step: &Step, name: &str, limit: &LimitPlate) {
        let place = (step.head.number, name.to_owned(), limit.key.clone());
        let Some((bound, half_width)) = width(&limit.tolerance) else {
            return;
        };
        let accuracy = self.known.get(name).copied().flatten();
        let expanded = accuracy.and_then(|a| Quantity::new(2.0 * a.standard_at(bound.si()), bound.dimension()).ok());
        let needs = step.needs.get(name).copied();
        let ratio = expanded.filter(|u| u.si() > 0.0).map(|u| half_width.si() / u.si());
        let decidable = needs.is_none_or(|needs| expanded.is_some_and(|expanded| expanded.si() <= needs.si()));
        let fitness = Fitness {
            step: step.head.number,
            id: step.head.id.clone(),
            name: name.to_owned(),
            key: limit.key.clone(),
            limit: limit.clone(),
            points: self.points.get(name).cloned().unwrap_or_default(),
            expanded,
            at_best: None,
            half_width,
            ratio,
            needs,
            decidable,
            says: says(expanded, half_width, ratio, (needs, decidable), &limit.unit),
        };
        self.keep(place, fitness);
    }

    /// Of several passes the least fit is kept.
    fn keep(&mut self, place: (u32, String, String), fitness: Fitness) {
        match self.at.get(&place) {
            None => {
                self.at.insert(place, self.found.len());
                self.found.push(fitness);
            }
            Some(&index) => {
                let worse = matches!((fitness.ratio, self.found[index].ratio), (Some(new), Some(old)) if new < old);
                if worse || !fitness.decidable {
                    self.found[index] = fitness;
                }
            }
        }
    }
}

/// An envelope follows an edge within half of its half period of 10 ms (50 Hz), to either side.
const HALF_WINDOW_S: f64 = 0.005 / 1.732_050_807_568_877_2;

/// A contact is not seen around a zero crossing, 1.3 ms at 50 Hz, to either side of its middle.
const HALF_CROSSING_S: f64 = 0.000_65 / 1.732_050_807_568_877_2;

/// A pulse of 1 kHz shows a new duty once in its period (IEC 61851-1, Annex A), to either side of its middle.
const HALF_PULSE_S: f64 = 0.000_5 / 1.732_050_807_568_877_2;

/// How long an event of such a signal may be hidden, as a standard uncertainty.
fn hidden_s(part: SignalPart) -> f64 {
    match part {
        SignalPart::Envelope => HALF_WINDOW_S,
        SignalPart::Contact => HALF_CROSSING_S,
        SignalPart::Duty => HALF_PULSE_S,
        SignalPart::Samples | SignalPart::High | SignalPart::Low => 0.0,
    }
}

/// What is left of the gains of its channels; an offset does not reach what alternates. `None` where that is not so simple.
fn of_power(
    find: &PowerFind<String, Quantity, CaptureEvent>,
    level: impl Fn(&str) -> Option<Accuracy>,
) -> Option<Accuracy> {
    let gains = |points: &[&String]| {
        let mut relative = 0.0;
        for point in points {
            relative = f64::hypot(relative, level(point)?.relative);
        }
        Some(Accuracy { relative, fixed: 0.0 })
    };
    // The gain of a channel that stands on both sides cancels.
    let on_one_side = |points: Vec<&String>| {
        let (output, input) = points.split_at(2);
        let other = |point: &String| output.contains(&point) != input.contains(&point);
        let left: Vec<&String> = points.iter().copied().filter(|point| other(point)).collect();
        gains(&left)
    };
    match find {
        PowerFind::Power { of, take } => match take {
            PowerTake::Active | PowerTake::Apparent | PowerTake::NonActive => gains(&[&of.voltage, &of.current]),
            PowerTake::Voltage => gains(&[&of.voltage]),
            PowerTake::Current => gains(&[&of.current]),
            _ => None,
        },
        PowerFind::Efficiency { .. } => on_one_side(find.channels()),
        PowerFind::Distortion {
            take: DistortionTake::Thd,
            ..
        }
        | PowerFind::Inrush { .. }
        | PowerFind::Response { .. } => None,
        PowerFind::Harmonic { of, .. }
        | PowerFind::Distortion { of, .. }
        | PowerFind::Ripple { of, .. }
        | PowerFind::RippleOfLine { of, .. } => gains(&[of]),
    }
}

/// The points of the channels that an analysis looks at.
fn points(find: &Find) -> Vec<String> {
    let mut points = match find {
        Find::Pulse(point, _) | Find::Level(point, _) => vec![point.clone()],
        Find::Between(from, to) => vec![from.channel.clone(), to.channel.clone()],
        Find::Count(event) => vec![event.channel.clone()],
        Find::Angle(wave, event, _) => vec![wave.clone(), event.channel.clone()],
        Find::Power(find) => find.channels().into_iter().cloned().collect(),
        Find::Swept { .. } => Vec::new(),
    };
    points.dedup();
    points
}

/// The bound nearest to zero width and half the width; `None` where there is no width to compare with.
fn width(tolerance: &Tolerance) -> Option<(Quantity, Quantity)> {
    let quantity = |si: f64, dimension: Dimension| Quantity::new(si, dimension).ok();
    match tolerance {
        Tolerance::AtLeast(bound) | Tolerance::AtMost(bound) => {
            let half = quantity(bound.si().abs(), bound.dimension())?;
            (half.si() > 0.0).then_some((*bound, half))
        }
        Tolerance::Between(low, high) => {
            let far = if low.si().abs() > high.si().abs() { low } else { high };
            Some((*far, quantity((high.si() - low.si()) / 2.0, low.dimension())?))
        }
        Tolerance::AnyOf(_) => None,
    }
}

fn says(
    expanded: Option<Quantity>,
    half_width: Quantity,
    ratio: Option<f64>,
    (needs, decidable): (Option<Quantity>, bool),
    unit: &str,
) -> String {
    let show = |quantity: Quantity| shown(quantity, unit);
    let Some(expanded) = expanded else {
        let needed = if decidable {
            ""
        } else {
            "; what the step needs cannot be said before the run"
        };
        return format!("uncertainty known only from the run{needed}");
    };
    if let Some(needs) = needs.filter(|_| !decidable) {
        return format!(
            "not decidable here: U = {}, the step needs at most {}",
            show(expanded),
            show(needs)
        );
    }
    match ratio {
        Some(ratio) if ratio < 1.0 => {
            format!(
                "U = {} is wider than the tolerance of ±{}",
                show(expanded),
                show(half_width)
            )
        }
        Some(ratio) => format!(
            "U = {} in a tolerance of ±{}, {ratio:.1} to 1",
            show(expanded),
            show(half_width)
        ),
        None => format!("exact, tolerance ±{}", show(half_width)),
    }
}

/// Ratios in the unit of the limit; everything else in a unit of its own, because a difference has no offset (kelvins, not
/// degrees Celsius) and is often far smaller than its limit.
fn shown(quantity: Quantity, unit: &str) -> String {
    match Unit::find(unit) {
        Some(unit) if quantity.dimension().is_none() => quantity.display_in(unit),
        _ => quantity.to_string(),
    }
}
