//! The hook-up page, worked out from the points of the bench file, the program that uses them, and the table of the item's
//! kind: which terminal goes to which instrument and channel, through what, and in which order.

use crate::fitting::Fitted;
use pilotage_evidence::{ItemKind, SignalWord};
use pilotage_plan::files::bench::ServiceText;
use pilotage_plan::fit::points::point_of;
use pilotage_plan::kind::{Found, KindTable, PointShape, Terminal, place_words, table_of, terminals};
use pilotage_plan::points_used;
use pilotage_plan::program::{Program, SafeAct};
use pilotage_plan::source::Sp;
use pilotage_reports::hook_up::{Beside, HookUp, Lead, Meets, Rail, Stage};
use std::collections::{BTreeMap, BTreeSet};

/// The page of a fitted sequence: only what its program uses.
pub fn hook_up(fitted: &Fitted) -> HookUp {
    let mut page = Page::new(fitted);
    for service in &fitted.bench.points {
        if page.used.contains(&service.point.value) {
            page.service(service);
        }
    }
    page.finish()
}

/// When a lead is plugged: what is dangerous comes last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Turn {
    /// Extra-low voltage: pilot, proximity.
    Low,
    /// What the item puts out.
    Output,
    /// What the supply feeds.
    Input,
    /// The supply itself.
    Supply,
}

/// A lead before it has its number.
struct Draft {
    turn: Turn,
    ends: Vec<(Terminal, Meets)>,
    through: &'static str,
    purposes: Vec<String>,
    dangerous: bool,
    /// Whether it sets something, so that a reading of the same instrument at the same place is its own.
    drives: bool,
}

type Key = (String, Option<String>, Vec<Terminal>);

struct Page<'a> {
    fitted: &'a Fitted,
    kind: ItemKind,
    table: Option<&'static KindTable>,
    used: BTreeSet<String>,
    /// Conductors of each place, as its proofs name them.
    places: BTreeMap<String, Vec<String>>,
    drafts: Vec<(Key, Draft)>,
    parts: Vec<Beside>,
    on_bench: Vec<Beside>,
}

impl<'a> Page<'a> {
    fn new(fitted: &'a Fitted) -> Self {
        let kind = fitted.program.heading.item.kind;
        Self {
            fitted,
            kind,
            table: table_of(kind),
            used: points_used(&fitted.program),
            places: places(&fitted.program),
            drafts: Vec::new(),
            parts: Vec::new(),
            on_bench: Vec::new(),
        }
    }

    fn service(&mut self, service: &'a ServiceText) {
        let point = &service.point.value;
        let (Some(found), Some(known)) = (terminals(self.kind, point), point_of(self.kind, point)) else {
            return;
        };
        let shape = known.shape;
        let purpose = if self.is_a_setting(service, shape) {
            String::new()
        } else {
            purpose(shape)
        };
        match found {
            Found::Bench(to) => {
                // Of all but the safety chain the place says it.
                let purpose = if to == SAFETY_CHAIN { purpose } else { String::new() };
                beside(&mut self.on_bench, service, to, purpose);
            }
            Found::Part(to) => beside(&mut self.parts, service, to, purpose),
            Found::Between(high, low) => {
                let ends = vec![(high, Meets::High), (low, Meets::Low)];
                let through = match word(service.connected.as_ref()) {
                    Some("isolated") => "isolated input",
                    Some("differential") => "differential",
                    _ => "direct",
                };
                self.add(service, shape, (ends, through), purpose);
            }
            Found::Through(terminal) => self.through(service, shape, terminal, purpose),
            Found::Power { at, with_pe } => {
                let ends = self.power(&at, with_pe);
                self.add(service, shape, (ends, "power leads"), purpose);
            }
            Found::Every(at) => {
                let ends = self.conductors(&at).into_iter().map(|terminal| (terminal, Meets::Each));
                let ends = ends.collect();
                self.add(service, shape, (ends, "switched leads"), purpose);
            }
        }
    }

    /// A current: by the instrument whose power leads carry it anyway, by a clamp, or in series.
    fn through(&mut self, service: &'a ServiceText, shape: &'static PointShape, terminal: Terminal, purpose: String) {
        let own = self.drafts.iter_mut().find(|(key, draft)| {
            key.0 == service.by.value && draft.drives && draft.ends.iter().any(|(end, _)| *end == terminal)
        });
        if let Some((_, draft)) = own {
            push(&mut draft.purposes, purpose);
            return;
        }
        let drives_later = self.drives(&service.by.value, &terminal);
        let (meets, through) = match word(service.connected.as_ref()) {
            _ if drives_later => (Meets::Power, "power leads"),
            Some("isolated") => (Meets::Clamp, "clamp or isolated transducer"),
            _ => (Meets::Series, "in series"),
        };
        if drives_later {
            let ends = self.power(&terminal.at, false);
            self.add(service, shape, (ends, through), purpose);
        } else {
            self.add(service, shape, (vec![(terminal, meets)], through), purpose);
        }
    }

    /// Whether a point only sets how another one of the same instrument is: `load.current` beside `load`.
    fn is_a_setting(&self, service: &ServiceText, shape: &PointShape) -> bool {
        let Some((root, _)) = service.point.value.split_once('.') else {
            return false;
        };
        let mut all = self.fitted.bench.points.iter();
        shape.set && all.any(|other| other.point.value == root && other.by.value == service.by.value)
    }

    /// Whether an instrument also has its power leads at a place.
    fn drives(&self, instrument: &str, terminal: &Terminal) -> bool {
        self.fitted.bench.points.iter().any(|service| {
            service.by.value == instrument
                && self.used.contains(&service.point.value)
                && matches!(terminals(self.kind, &service.point.value), Some(Found::Power { at, .. }) if at == terminal.at)
        })
    }

    fn power(&self, at: &str, with_pe: bool) -> Vec<(Terminal, Meets)> {
        let signal = |conductor: &str| matches!(conductor, "CP" | "PP") || (conductor == "PE" && !with_pe);
        let all = self.conductors(at).into_iter();
        all.filter(|terminal| !signal(&terminal.conductor))
            .map(|terminal| (terminal, Meets::Power))
            .collect()
    }

    fn conductors(&self, at: &str) -> Vec<Terminal> {
        let names = self.places.get(at).map(Vec::as_slice).unwrap_or_default();
        let terminal = |conductor: &String| Terminal {
            at: at.to_owned(),
            conductor: conductor.clone(),
        };
        names.iter().map(terminal).collect()
    }

    fn add(
        &mut self,
        service: &ServiceText,
        shape: &PointShape,
        (ends, through): (Vec<(Terminal, Meets)>, &'static str),
        purpose: String,
    ) {
        let met = ends.iter().map(|(terminal, _)| terminal.clone()).collect();
        let channel = service.channel.as_ref().map(|channel| channel.value.clone());
        let key: Key = (service.by.value.clone(), channel, met);
        let root = service.point.value.split(['.', '[']).next().unwrap_or_default();
        let dangerous = shape.mains || matches!(root, "supply" | "load" | "burden") || self.live(&ends);
        let turn = self.turn(root, &ends, dangerous);
        if let Some((_, draft)) = self.drafts.iter_mut().find(|(known, _)| *known == key) {
            if shape.set && !purpose.is_empty() {
                draft.purposes.insert(0, purpose);
            } else {
                push(&mut draft.purposes, purpose);
            }
            draft.drives |= shape.set;
            draft.dangerous |= dangerous;
            draft.turn = draft.turn.max(turn);
            return;
        }
        let mut draft = Draft {
            turn,
            dangerous,
            ends,
            through,
            purposes: Vec::new(),
            drives: shape.set,
        };
        push(&mut draft.purposes, purpose);
        self.drafts.push((key, draft));
    }

    /// Whether a power conductor of a place that is proven dead is met.
    fn live(&self, ends: &[(Terminal, Meets)]) -> bool {
        let low = |conductor: &str| matches!(conductor, "CP" | "PP" | "PE");
        ends.iter()
            .any(|(end, _)| self.table.is_some_and(|table| table.place(&end.at).is_some()) && !low(&end.conductor))
    }

    fn turn(&self, root: &str, ends: &[(Terminal, Meets)], dangerous: bool) -> Turn {
        let fed = |end: &Terminal| {
            let place = self.table.and_then(|table| table.place(&end.at));
            place.is_some_and(|place| place.fed)
        };
        match root {
            // Where contacts are tested, the insulation instrument is the supply.
            "supply" | "insulation" => Turn::Supply,
            _ if !dangerous => Turn::Low,
            _ if ends.iter().any(|(end, _)| fed(end)) => Turn::Input,
            _ => Turn::Output,
        }
    }

    fn finish(mut self) -> HookUp {
        self.drafts.sort_by_key(|(_, draft)| draft.turn);
        let rails = self.rails();
        let mut turns: BTreeMap<Turn, Vec<usize>> = BTreeMap::new();
        let mut leads = Vec::new();
        for (number, (key, draft)) in (1..).zip(self.drafts) {
            turns.entry(draft.turn).or_default().push(number);
            let place = |end: &Terminal| {
                rails
                    .iter()
                    .position(|(terminal, _)| terminal == end)
                    .unwrap_or_default()
            };
            leads.push(Lead {
                number,
                instrument: key.0,
                channel: key.1,
                ends: draft.ends.iter().map(|(end, meets)| (place(end), *meets)).collect(),
                through: draft.through.to_owned(),
                purpose: draft.purposes.join(" · "),
                dangerous: draft.dangerous,
            });
        }
        let fitted = self.fitted;
        let heading = &fitted.program.heading;
        // The insulation instrument hangs on the item by the leads of what it measures.
        let hangs = |name: &str| leads.iter().any(|lead| lead.instrument == name);
        self.on_bench
            .retain(|one| one.to != INSULATION || !hangs(&one.instrument));
        let feeds_pe = |lead: &&Lead| {
            let mut ends = lead.ends.iter();
            ends.any(|(rail, meets)| *meets == Meets::Power && rails[*rail].1.conductor == "PE")
        };
        let protective = leads.iter().find(feeds_pe).map(|lead| lead.number);
        HookUp {
            sequence: heading.title.clone(),
            item: (heading.item.title.clone(), heading.item.serial.clone()),
            bench: heading.bench.title.clone(),
            isolator: named(fitted.bench.isolator_name.as_ref()),
            stop: named(fitted.bench.stop_name.as_ref()),
            protected_by: fitted.bench.supply_protected_by.as_ref().map(|name| name.value.clone()),
            cautions: heading
                .cautions
                .iter()
                .map(|caution| (signal(caution.signal).to_owned(), caution.text.clone()))
                .collect(),
            order: order(fitted, &turns, (!self.parts.is_empty(), protective)),
            rails: rails.into_iter().map(|(_, rail)| rail).collect(),
            leads,
            parts: self.parts,
            on_bench: self.on_bench,
            drawn_from: drawn_from(fitted),
        }
    }

    /// Every terminal that a lead meets: places in the order in which current flows, conductors as they are proven dead.
    fn rails(&self) -> Vec<(Terminal, Rail)> {
        let met: BTreeSet<&Terminal> = self
            .drafts
            .iter()
            .flat_map(|(_, draft)| draft.ends.iter().map(|(end, _)| end))
            .collect();
        let mut all: Vec<&Terminal> = met.into_iter().collect();
        all.sort_by_key(|terminal| {
            let place = PLACES.iter().position(|place| *place == terminal.at);
            let conductor = CONDUCTORS.iter().position(|name| *name == terminal.conductor);
            (place.unwrap_or(PLACES.len()), conductor.unwrap_or(CONDUCTORS.len()))
        });
        let rail = |terminal: &Terminal| Rail {
            at: terminal.at.clone(),
            place: place_words(self.kind, &terminal.at),
            conductor: terminal.conductor.clone(),
        };
        all.into_iter()
            .map(|terminal| (terminal.clone(), rail(terminal)))
            .collect()
    }
}

/// What guards people is named one by one.
const SAFETY_CHAIN: &str = "safety chain";
/// What supplies inlets and cables.
const INSULATION: &str = "insulation instrument";
const PLACES: &[&str] = &[
    "ac_input",
    "plug",
    "wires",
    "contacts",
    "ac_output",
    "dc_output",
    "housing",
];
const CONDUCTORS: &[&str] = &["L", "L1", "L2", "L3", "N", "plus", "minus", "all", "PE", "CP", "PP"];

/// The conductors of each place that is proven dead.
fn places(program: &Program) -> BTreeMap<String, Vec<String>> {
    let mut places: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for line in &program.make_safe.normal {
        let SafeAct::ProveDead(spec) = line else { continue };
        let conductors = places.entry(spec.at.clone()).or_default();
        for name in spec.pairs.iter().flat_map(|pair| pair.split('-')) {
            if !conductors.iter().any(|known| known == name) {
                conductors.push(name.to_owned());
            }
        }
    }
    places
}

fn word(text: Option<&pilotage_plan::source::Sp<String>>) -> Option<&str> {
    text.map(|text| text.value.as_str())
}

fn push(all: &mut Vec<String>, one: String) {
    if !one.is_empty() && !all.contains(&one) {
        all.push(one);
    }
}

fn beside(all: &mut Vec<Beside>, service: &ServiceText, to: &str, purpose: String) {
    let channel = service.channel.as_ref().map(|channel| format!(" {}", channel.value));
    let instrument = format!("{}{}", service.by.value, channel.unwrap_or_default());
    match all
        .iter_mut()
        .find(|known| known.instrument == instrument && known.to == to)
    {
        Some(known) if known.purpose.is_empty() => known.purpose = purpose,
        Some(known) if !known.purpose.contains(&purpose) => known.purpose = format!("{} · {purpose}", known.purpose),
        Some(_) => {}
        None => all.push(Beside {
            instrument,
            to: to.to_owned(),
            purpose,
        }),
    }
}

/// What a point is, without where it is: `AC voltage` of "AC voltage at the connector".
fn purpose(shape: &PointShape) -> String {
    let meaning = shape
        .meaning
        .split_once("; read, ")
        .map_or(shape.meaning, |(_, read)| read);
    let at_all = meaning.split([',', ':', ';']).next().unwrap_or(meaning);
    let ends = [" at the ", " of the ", " between ", " out of ", " into "];
    let cut = ends
        .iter()
        .filter_map(|end| at_all.find(end))
        .min()
        .unwrap_or(at_all.len());
    let short = at_all[..cut].trim();
    let worth_it = short.contains(' ') || shape.pattern.contains(['.', '[']);
    if worth_it { short.to_owned() } else { at_all.to_owned() }
}

/// The signal word of a caution.
pub fn signal(word: SignalWord) -> &'static str {
    match word {
        SignalWord::Danger => "DANGER",
        SignalWord::Warning => "WARNING",
        SignalWord::Caution => "CAUTION",
        SignalWord::Notice => "NOTICE",
    }
}

/// What the bench calls it; a bench that can energise was refused without a name.
fn named(name: Option<&Sp<String>>) -> String {
    name.map_or_else(|| "none on this bench".to_owned(), |name| name.value.clone())
}

/// The order of plugging in. Everything is connected dead; the one who plugs is not the one who checks.
fn order(
    fitted: &Fitted,
    turns: &BTreeMap<Turn, Vec<usize>>,
    (parts, protective): (bool, Option<usize>),
) -> Vec<Stage> {
    let (isolator, stop) = (
        named(fitted.bench.isolator_name.as_ref()),
        named(fitted.bench.stop_name.as_ref()),
    );
    let has_source = fitted.program.without_source.is_none();
    let of = |turn: Turn| turns.get(&turn).cloned().unwrap_or_default();
    let stage = |says: String, leads: Vec<usize>| Stage { says, leads };
    if turns.is_empty() {
        let by_hand = "Nothing of this bench hangs on the item: a person holds the leads. Disconnect the item first, and find every \
                       two conductors dead, AC and DC, with a meter tried on a live source just before and just after.";
        return vec![stage(by_hand.to_owned(), Vec::new())];
    }
    let off = if has_source {
        format!("Switch {isolator} off, lock it, keep the key. Press {stop}.")
    } else {
        "Disconnect the item from the mains, from its battery and from every other source.".to_owned()
    };
    let measured = "Measure every place below dead by hand, AC and DC, with a meter tried on a live source just before and just after.";
    let mut stages = vec![stage(format!("{off} {measured}"), Vec::new())];
    let more = if parts { ", and what goes to no conductor" } else { "" };
    let low = match protective {
        Some(lead) => format!("PE of lead {lead} first. Then extra-low voltage{more}."),
        None => format!("Extra-low voltage{more}."),
    };
    stages.push(stage(low, of(Turn::Low)));
    let later = [
        (Turn::Output, "Leads at the output."),
        (Turn::Input, "Leads at what the supply feeds."),
        (Turn::Supply, "What supplies, last."),
    ];
    for (turn, says) in later {
        if !of(turn).is_empty() {
            stages.push(stage(says.to_owned(), of(turn)));
        }
    }
    let (begun, ended) = if has_source {
        (
            format!(
                "Only then: close the enclosure, release {stop}, start the run. {isolator} is unlocked only when the run asks for it."
            ),
            format!("when the run has said what it measured dead and {isolator} is locked"),
        )
    } else {
        (
            "Only then: start the run.".to_owned(),
            "when the run has ended".to_owned(),
        )
    };
    stages.push(stage(
        format!("A second person checks every lead against this page and signs. {begun}"),
        Vec::new(),
    ));
    stages.push(stage(
        format!("Unplugging: only {ended}. The same order backwards; the protective conductor last."),
        Vec::new(),
    ));
    stages
}

fn drawn_from(fitted: &Fitted) -> Vec<(String, String, String)> {
    let wanted = ["sequence", "chapter", "item", "bench"];
    let inputs = fitted.inputs.iter().filter(|input| wanted.contains(&input.role));
    inputs
        .map(|input| {
            let entry = input.entry();
            (entry.role, entry.name, entry.sha256)
        })
        .collect()
}
