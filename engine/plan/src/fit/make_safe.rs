//! The tool's own order of de-energising, and what proves anything dead. A sequence adds nothing to it and removes nothing.

use super::fitter::Fitter;
use super::{code, names};
use crate::energy::{BenchState, Typed};
use crate::kind::{DeadPlace, KindTable, Line};
use crate::problem::Problem;
use crate::program::{
    DeadPlan, IsolateSpec, MakeSafePlan, Order, ProveDeadSpec, QuietOrder, ReadSpec, SafeAct, Setting, WithoutSource,
};
use crate::source::Sp;
use pilotage_core::{Dimension, Quantity, Tolerance};
use pilotage_evidence::SourceStatus;
use pilotage_evidence::heading::LimitPlate;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// Longest time for a proof within make safe and isolate.
const PROOF_DEADLINE: Duration = Duration::from_secs(10);

/// Lines of the table made into acts for this bench. Each order is typed after those before it, from the worst state on:
/// one that could energise there is a mistake of the table.
struct Lines<'f, 'a> {
    fitter: &'f Fitter<'a>,
    state: BenchState,
    acts: Vec<SafeAct>,
}

impl Lines<'_, '_> {
    fn made(fitter: &Fitter<'_>, lines: &[Line]) -> Vec<SafeAct> {
        let mut made = Lines {
            fitter,
            state: worst(fitter),
            acts: Vec::new(),
        };
        for line in lines {
            made.line(line);
        }
        made.acts
    }

    fn line(&mut self, line: &Line) {
        match line {
            Line::Word(point, to) => {
                let served = self.served_word(point, to).map(|order| self.quiet(order));
                self.acts.extend(served.map(SafeAct::Order));
            }
            Line::Zero(point) => self.amount(point, 0.0),
            Line::Amount(point, si) => self.amount(point, *si),
            Line::Wait(length) => self.acts.push(SafeAct::Wait(*length)),
            Line::SupplyOffUnlessDead(_) if !self.fitter.has_source() => {}
            Line::SupplyOffUnlessDead(at) => {
                let place = self.fitter.table.place(at).expect("a table names its own places");
                let off = quiet(self.fitter, BenchState::unknown(), word("supply", "off")).0;
                let act = SafeAct::SupplyOffUnlessDead(off, proof(self.fitter, place));
                self.acts.push(act);
            }
            Line::BleedUntil {
                point,
                below,
                deadline,
                off,
            } => self.bleed(point, *below, *deadline, *off),
        }
    }

    fn served_word(&self, point: &str, to: &str) -> Option<Order> {
        let words = self.fitter.services.choices(point)?;
        words.contains(&to).then(|| word(point, to))
    }

    fn amount(&mut self, point: &str, si: f64) {
        if let Some(order) = amount(self.fitter, point, si) {
            let order = self.quiet(order);
            self.acts.push(SafeAct::Order(order));
        }
    }

    fn bleed(&mut self, point: &str, below_si: f64, deadline: Duration, off: (&str, &str)) {
        let read = read_spec(self.fitter, point, point);
        let dimension = super::points::point_of(self.fitter.request.sequence.item.value, point)
            .and_then(|found| super::reads::dimension_of(found.shape))
            .expect("a table reads its own points");
        let below = Quantity::new(below_si, dimension).expect("a literal is finite");
        if let Some(order) = self.served_word(off.0, off.1) {
            let off = self.quiet(order);
            self.acts.push(SafeAct::BleedUntil {
                read,
                below,
                deadline,
                off,
            });
        }
    }

    fn quiet(&mut self, order: Order) -> QuietOrder {
        let (order, after) = quiet(self.fitter, self.state, order);
        self.state = after;
        order
    }
}

/// Every amount that a line of make safe or of `isolate` sets, in coherent units, each point once.
pub(super) fn amounts(fitter: &Fitter<'_>) -> BTreeMap<&'static str, f64> {
    let orders = &fitter.table.make_safe;
    let lines = [orders.normal, orders.emergency, orders.isolate];
    let set = lines.into_iter().flatten().filter_map(|line| match line {
        Line::Zero(point) => Some((*point, 0.0)),
        Line::Amount(point, si) => Some((*point, *si)),
        _ => None,
    });
    set.collect()
}

/// Every word that a line of make safe or of `isolate` sets, each point with the words that it is set to.
fn words(fitter: &Fitter<'_>) -> BTreeMap<&'static str, BTreeSet<&'static str>> {
    let orders = &fitter.table.make_safe;
    let mut set: BTreeMap<_, BTreeSet<_>> = BTreeMap::new();
    for line in [orders.normal, orders.emergency, orders.isolate].into_iter().flatten() {
        if let Line::Word(point, to) | Line::BleedUntil { off: (point, to), .. } = line {
            set.entry(*point).or_default().insert(*to);
        }
    }
    set
}

/// The word that a point has at the end of make safe.
pub(super) fn last_words(fitter: &Fitter<'_>) -> BTreeMap<&'static str, &'static str> {
    let set = fitter.table.make_safe.normal.iter().filter_map(|line| match line {
        Line::Word(point, to) | Line::BleedUntil { off: (point, to), .. } => Some((*point, *to)),
        _ => None,
    });
    set.collect()
}

/// The worst state that this bench can be in: what it does not serve, nobody has set. What it serves without reaching zero, it is
/// refused for; the walk before the refusal takes it as set.
fn worst(fitter: &Fitter<'_>) -> BenchState {
    let kind = fitter.request.sequence.item.value;
    amounts(fitter)
        .into_iter()
        .filter(|(point, si)| *si == 0.0 && amount(fitter, point, *si).is_none())
        .fold(BenchState::unknown(), |state, (point, _)| {
            state.order(kind, zero(point)).1
        })
}

impl Fitter<'_> {
    /// A served point that cannot be set to what make safe wants would stay as somebody left it, and nobody would hear of it.
    pub(crate) fn check_make_safe(&mut self) {
        self.check_words_of_rest();
        self.check_abandoned();
        for (point, si) in amounts(self) {
            let Some((_, (low, high))) = self.services.amount(point) else {
                continue;
            };
            let (low, high) = match (names::constant(low), names::constant(high)) {
                (Ok(low), Ok(high)) => (low, high),
                (Err(problem), _) | (_, Err(problem)) => {
                    self.problems.add(*problem);
                    continue;
                }
            };
            if (low.si()..=high.si()).contains(&reached(si, low, high)) {
                continue;
            }
            let wanted = Quantity::new(si, low.dimension()).map_or_else(|_| si.to_string(), |value| value.to_string());
            let expected = format!("a function whose `between` holds {wanted}");
            self.no_rest(point, &wanted, (&expected, &format!("from {low} to {high}")));
        }
    }

    /// The same for words. Points that are needed have been asked for theirs already.
    fn check_words_of_rest(&mut self) {
        let kind = self.request.sequence.item.value;
        for (point, wanted) in words(self) {
            let needed = super::points::point_of(kind, point).is_some_and(|found| found.shape.needed);
            let Some(has) = self.services.choices(point).filter(|_| !needed) else {
                continue;
            };
            for to in wanted.into_iter().filter(|to| !has.contains(to)) {
                let expected = format!("a function with the choice `{to}`");
                self.no_rest(point, &format!("`{to}`"), (&expected, &has.join(", ")));
            }
        }
    }

    fn no_rest(&mut self, point: &str, wanted: &str, (expected, got): (&str, &str)) {
        let service = self.services.of(point).first();
        let span = service.map_or(&self.request.bench.title.span, |service| &service.text.point.span);
        let problem = Problem::new(
            code::NO_REST,
            span,
            format!("make safe sets `{point}` to {wanted}, and this bench cannot"),
        )
        .expected(expected)
        .got(got)
        .mend("serve the point by an instrument that can, or do not serve it at all");
        self.problems.add(problem);
    }
}

fn quiet(fitter: &Fitter<'_>, state: BenchState, order: Order) -> (QuietOrder, BenchState) {
    match state.order(fitter.request.sequence.item.value, order) {
        (Typed::Quiet(order), after) => (order, after),
        (Typed::Energising(order), _) => {
            panic!("make safe would energise: {:?}; the tables are tested for it", order.0)
        }
    }
}

fn word(point: &str, word: &str) -> Order {
    Order {
        point: point.to_owned(),
        to: Setting::Word(word.to_owned()),
        becomes: None,
    }
}

fn zero(point: &str) -> Order {
    Order {
        point: point.to_owned(),
        to: Setting::Amount(Quantity::new(0.0, Dimension::NONE).expect("0 is finite"), String::new()),
        becomes: None,
    }
}

fn one(fitter: &Fitter<'_>, point: &str, setting: &str) -> QuietOrder {
    quiet(fitter, BenchState::unknown(), word(point, setting)).0
}

/// A temperature as near as the instrument comes to it; all else as it is.
fn reached(si: f64, low: Quantity, high: Quantity) -> f64 {
    if low.dimension() == Dimension::TEMPERATURE {
        si.max(low.si()).min(high.si())
    } else {
        si
    }
}

/// An amount, where the bench can set it.
fn amount(fitter: &Fitter<'_>, point: &str, si: f64) -> Option<Order> {
    let (unit, (low, high)) = fitter.services.amount(point)?;
    let (low, high) = (names::constant(low).ok()?, names::constant(high).ok()?);
    let si = reached(si, low, high);
    let value = Quantity::new(si, low.dimension()).ok()?;
    let to = Setting::Amount(value, unit.value.clone());
    (low.si() <= si && si <= high.si()).then(|| Order {
        point: point.to_owned(),
        to,
        becomes: None,
    })
}

fn proof(fitter: &Fitter<'_>, place: &DeadPlace) -> ProveDeadSpec {
    ProveDeadSpec {
        at: place.at.to_owned(),
        pairs: fitter.plate.pairs_of(place.pairs).to_vec(),
        deadline: PROOF_DEADLINE,
        stops: false,
        behind_lock: place.behind_lock,
    }
}

/// Both orders end with proofs of every place; on a bench without a source, with the words why there is nothing to prove.
pub(crate) fn make_safe_plan(fitter: &Fitter<'_>) -> MakeSafePlan {
    let table = fitter.table;
    let proven = |lines: &[Line]| {
        let mut acts = Lines::made(fitter, lines);
        if fitter.has_source() {
            acts.extend(table.dead.iter().map(|place| SafeAct::ProveDead(proof(fitter, place))));
        } else {
            acts.push(SafeAct::NothingThere(sources_in_words(table)));
        }
        acts
    };
    MakeSafePlan {
        from: worst(fitter),
        normal: proven(table.make_safe.normal),
        emergency: proven(table.make_safe.emergency),
        by_hand: if fitter.has_source() {
            by_hand(fitter, table)
        } else {
            "Nothing on this bench gives more than extra-low voltage. Switch off by hand what could not be confirmed off."
                .to_owned()
        },
    }
}

/// `supply`, `load`
fn sources_in_words(table: &KindTable) -> String {
    let quoted: Vec<String> = table.sources.iter().map(|source| format!("`{source}`")).collect();
    quoted.join(", ")
}

/// What takes the place of proofs where no instrument of the bench can energise the item; `None` where one can.
pub(crate) fn without_source(fitter: &Fitter<'_>) -> Option<WithoutSource> {
    if fitter.has_source() {
        return None;
    }
    let table = fitter.table;
    let places: Vec<String> = table
        .dead
        .iter()
        .map(|place| {
            let pairs = fitter.plate.pairs_of(place.pairs).join(", ");
            format!("{pairs} at {}", super::acts::place_words(place.at))
        })
        .collect();
    Some(WithoutSource {
        prompt: format!(
            "This bench has no source of its own that could energise the item. Nothing else may be connected to it either: no \
             mains, no battery, no other source. Measure {}, AC and DC, with a meter that was tried on a live source just before \
             and just after. Is nothing connected, and did every pair measure below 30 V AC and below 60 V DC?",
            places.join("; ")
        ),
        says: format!(
            "no instrument of this bench serves {}; a person measured every pair dead by hand and said so",
            sources_in_words(table)
        ),
    })
}

/// A name of the bench file; a bench that can energise was refused without it.
fn named<'n>(name: Option<&'n Sp<String>>, otherwise: &'n str) -> &'n str {
    name.map_or(otherwise, |name| name.value.as_str())
}

fn by_hand(fitter: &Fitter<'_>, table: &KindTable) -> String {
    let bench = fitter.request.bench;
    let pairs: Vec<&str> = table
        .dead
        .iter()
        .filter(|place| place.output)
        .flat_map(|place| fitter.plate.pairs_of(place.pairs))
        .map(String::as_str)
        .collect();
    format!(
        "Treat {what} as live. Do not touch it. Press {stop}. Switch {isolator} off and \
         lock it. Then measure {pairs} at {place}, AC and DC, with a meter that was tried on a live source just \
         before and just after. Touch nothing before every pair was measured dead.",
        what = table.by_hand.0,
        place = table.by_hand.1,
        stop = named(bench.stop_name.as_ref(), "the hard-wired stop"),
        isolator = named(bench.isolator_name.as_ref(), "the isolator"),
        pairs = pairs.join(", "),
    )
}

/// What `isolate` does: everything off, proofs, the person locks the isolator, proofs of what lies behind it.
pub(crate) fn isolate_spec(fitter: &Fitter<'_>) -> IsolateSpec {
    let stopping = |place| ProveDeadSpec {
        stops: true,
        ..proof(fitter, place)
    };
    if let Some(WithoutSource { prompt, .. }) = without_source(fitter) {
        return IsolateSpec {
            off: Lines::made(fitter, fitter.table.make_safe.isolate),
            prove: Vec::new(),
            prompt,
        };
    }
    IsolateSpec {
        off: Lines::made(fitter, fitter.table.make_safe.isolate),
        prove: fitter.table.dead.iter().map(stopping).collect(),
        prompt: format!(
            "Switch {} off, lock it and keep the key. Is it locked?",
            named(fitter.request.bench.isolator_name.as_ref(), "the isolator")
        ),
    }
}

/// What proves dead: the bench's own reference before and after, a known burden, a limit for AC and one for DC.
pub(crate) fn dead_plan(fitter: &Fitter<'_>) -> DeadPlan {
    let burden = match fitter.request.bench.dead_burden.as_ref().map(names::constant) {
        Some(Ok(resistance)) => format!("{resistance} across each pair"),
        _ => "the bench's burden across each pair".to_owned(),
    };
    DeadPlan {
        burden_on: one(fitter, "burden", "on"),
        burden_off: one(fitter, "burden", "off"),
        burden,
        reference_ac: one(fitter, "reference", "ac"),
        reference_dc: one(fitter, "reference", "dc"),
        reference_off: one(fitter, "reference", "off"),
        reference_reads: (
            read_spec(fitter, "reference_ac", "reference.voltage"),
            read_spec(fitter, "reference_dc", "reference.dc_voltage"),
        ),
        reference_limits: (reference_limit("AC"), reference_limit("DC")),
        limits: (dead_ac(), dead_dc()),
    }
}

pub(crate) fn read_spec(fitter: &Fitter<'_>, name: &str, point: &str) -> ReadSpec {
    let unit = fitter
        .services
        .measure(point)
        .map_or("V", |(_, measure)| measure.unit.value.as_str());
    ReadSpec {
        name: name.to_owned(),
        point: point.to_owned(),
        unit: unit.to_owned(),
    }
}

fn volts(si: f64) -> Quantity {
    Quantity::new(si, Dimension::VOLTAGE).expect("a literal is finite")
}

fn built_in(key: &str, title: &str, tolerance: Tolerance) -> LimitPlate {
    LimitPlate {
        key: key.to_owned(),
        title: title.to_owned(),
        place: "built in".to_owned(),
        standard: String::new(),
        edition: String::new(),
        clause: String::new(),
        status: SourceStatus::CommonPractice,
        by: None,
        tolerance,
        bounds: Vec::new(),
        unit: "V".to_owned(),
    }
}

/// The reference gives about 50 V; a meter that reads it within 10 % counts as proven.
fn reference_limit(kind: &str) -> LimitPlate {
    let tolerance = Tolerance::Between(volts(45.0), volts(55.0));
    let key = format!("reference.{}", kind.to_lowercase());
    built_in(
        &key,
        &format!("Meter proven on the bench's own reference, {kind}"),
        tolerance,
    )
}

fn dead_ac() -> LimitPlate {
    LimitPlate {
        standard: "IEC 61140".to_owned(),
        clause: "touch voltage, AC".to_owned(),
        status: SourceStatus::FromMemory,
        ..built_in("dead.ac", "Measured dead, AC", Tolerance::AtMost(volts(30.0)))
    }
}

/// DC may be of either sign.
fn dead_dc() -> LimitPlate {
    LimitPlate {
        standard: "IEC 61140".to_owned(),
        clause: "touch voltage, DC".to_owned(),
        status: SourceStatus::FromMemory,
        ..built_in(
            "dead.dc",
            "Measured dead, DC",
            Tolerance::Between(volts(-60.0), volts(60.0)),
        )
    }
}
