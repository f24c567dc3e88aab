//! The document grouped for its pages: passes of one reading together, proofs of a dead place in one line, every judgement
//! below its limit in the annex. Nothing is judged or left out here.

use crate::bars::{Bar, bar};
use crate::pictures;
use crate::printable;
use crate::traces;
use pilotage_evidence::Verdict;
use pilotage_evidence::beside::beside_judgements;
use pilotage_evidence::document::reasons::{self, REASON_CHARS, VALUE_CHARS, deciding, reading_says, short, worst};
use pilotage_evidence::document::{Document, RawReply, Row, StepPart};
use pilotage_evidence::outcome::STOPPED_BEFORE;
use serde::Serialize;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// Keys of the limits below which a place counts as dead.
const DEAD_KEYS: &str = "dead.";
/// So many replies of one value are printed; the others stand in the journal.
const MOST_REPLIES: usize = 3;

/// One line of the results: one reading, or its passes, against one limit.
#[derive(Serialize)]
struct Group<'a> {
    name: &'a str,
    title: &'a str,
    passes: usize,
    value: String,
    expanded: &'a str,
    limit: &'a str,
    source: usize,
    marks: Vec<&'a str>,
    verdict: Verdict,
    /// Whether every value is a number: reasons why there is none are longer.
    judged_number: bool,
    bar: Option<Bar>,
}

/// All pairs of one place, AC and DC, in one line.
#[derive(Serialize)]
struct DeadGroup<'a> {
    at: &'a str,
    passes: usize,
    ac: String,
    dc: String,
    limits: Vec<String>,
    sources: Vec<usize>,
    marks: Vec<&'a str>,
    verdict: Verdict,
    bar: Option<Bar>,
}

/// A limit with every judgement against it.
#[derive(Serialize)]
struct Linked<'a> {
    key: &'a str,
    title: &'a str,
    limit: &'a str,
    place: &'a str,
    source: &'a str,
    rows: Vec<Link<'a>>,
}

#[derive(Serialize)]
struct Link<'a> {
    seq: u64,
    step: &'a str,
    name: &'a str,
    pass: Option<&'a str>,
    verdict: Verdict,
    value: &'a str,
    formula: Option<&'a str>,
    raw: Vec<(String, &'a str)>,
    more: usize,
}

/// What the template reads. Every text is printable.
pub(crate) fn view(document: &Document) -> Result<Value, serde_json::Error> {
    let sources: BTreeMap<&str, usize> = document
        .sources
        .iter()
        .enumerate()
        .map(|(index, source)| (source.line.as_str(), index + 1))
        .collect();
    let mut all = plain(document)?;
    let steps = document.steps.iter().map(|step| step_view(step, &sources)).collect();
    all.insert("steps".to_owned(), Value::Array(steps));
    all.insert("annex".to_owned(), serde_json::to_value(annex(document))?);
    let mut all = Value::Object(all);
    printable::value(&mut all);
    // Drawings are written here; their texts were made printable one by one.
    let drawings: Vec<_> = document.pictures.iter().filter_map(pictures::drawing).collect();
    all["pictures"] = serde_json::to_value(drawings)?;
    let figures: Vec<_> = document.captures.iter().filter_map(traces::figure).collect();
    all["figures"] = serde_json::to_value(figures)?;
    Ok(all)
}

/// Everything that is printed as it stands.
fn plain(document: &Document) -> Result<Map<String, Value>, serde_json::Error> {
    let d = document;
    let memory = d
        .steps
        .iter()
        .flat_map(|step| &step.rows)
        .filter(|row| row.status == pilotage_evidence::SourceStatus::FromMemory);
    let fields = [
        ("title", json!(d.title)),
        ("run", json!(d.run)),
        ("program_version", json!(d.program_version)),
        ("started", json!(d.started)),
        ("length_s", json!(d.length_s)),
        ("virtual_note", json!(d.virtual_note)),
        ("virtual_detail", json!(d.virtual_detail)),
        ("said_first", json!(d.said_first)),
        ("verdict", serde_json::to_value(d.verdict)?),
        ("short_because", json!(reasons::reasons(d))),
        ("side", serde_json::to_value(&d.side)?),
        ("counts", serde_json::to_value(&d.counts)?),
        ("decision_text", json!(d.decision_text)),
        ("item", serde_json::to_value(&d.item)?),
        ("bench", serde_json::to_value(&d.bench)?),
        ("limits", serde_json::to_value(&d.limits)?),
        ("inputs", serde_json::to_value(&d.inputs)?),
        ("cautions", serde_json::to_value(&d.cautions)?),
        ("answers", serde_json::to_value(&d.answers)?),
        ("sources", serde_json::to_value(&d.sources)?),
        ("from_memory", json!(memory.count())),
        ("not_tested", serde_json::to_value(&d.not_tested)?),
        ("dead", serde_json::to_value(&d.dead)?),
        ("stops", serde_json::to_value(&d.stops)?),
        ("troubles", serde_json::to_value(&d.troubles)?),
        ("watches", serde_json::to_value(&d.watches)?),
        ("made_safe", serde_json::to_value(&d.made_safe)?),
        ("state_map", serde_json::to_value(&d.state_map)?),
        ("evidence", serde_json::to_value(&d.evidence)?),
        ("left_out", json!(left_out(d))),
        ("deference", json!(d.deference)),
    ];
    Ok(fields
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value))
        .collect())
}

fn step_view(step: &StepPart, sources: &BTreeMap<&str, usize>) -> Value {
    let (dead, others): (Vec<&Row>, Vec<&Row>) = step.rows.iter().partition(|row| row.key.starts_with(DEAD_KEYS));
    let groups: Vec<Group> = together(&others, |row| (&row.name, &row.key, &row.title, &row.limit))
        .iter()
        .map(|rows| group(rows, sources))
        .collect();
    let dead: Vec<DeadGroup> = together(&dead, |row| place_of(&row.name))
        .iter()
        .map(|rows| dead_group(rows, sources))
        .collect();
    json!({
        "id": step.id, "title": step.title, "verdict": step.verdict, "because": because(step),
        "short_because": short_because(step), "left_out": is_left_out(step),
        "does_not_apply": step.does_not_apply, "fail_means": step.fail_means, "look_next": step.look_next,
        "nearest": nearest(step), "groups": groups, "dead": dead,
    })
}

/// Whether a stop left it out: it then has nothing to say of its own.
fn is_left_out(step: &StepPart) -> bool {
    step.verdict == Verdict::NotRun
        && step.rows.is_empty()
        && step
            .because
            .as_deref()
            .is_some_and(|why| why.starts_with(STOPPED_BEFORE))
}

/// The steps that were left out by the reason of their stop, which is said once.
fn left_out(document: &Document) -> Vec<(String, Vec<&str>)> {
    let mut all: Vec<(String, Vec<&str>)> = Vec::new();
    for step in document.steps.iter().filter(|step| is_left_out(step)) {
        let why = step.because.as_deref().unwrap_or_default();
        let why = short(why.strip_prefix(STOPPED_BEFORE).unwrap_or(why), REASON_CHARS);
        match all.last_mut() {
            Some((known, ids)) if *known == why => ids.push(&step.id),
            _ => all.push((why, vec![&step.id])),
        }
    }
    all
}

fn short_because(step: &StepPart) -> Option<String> {
    if is_left_out(step) {
        return None;
    }
    step.because.as_deref().map(|because| short(because, VALUE_CHARS))
}

/// What the rows below do not say themselves; all of it, shortened, where nothing was judged.
fn because(step: &StepPart) -> Option<String> {
    let because = step.because.as_deref()?;
    if step.rows.is_empty() {
        return Some(short(because, REASON_CHARS));
    }
    beside_judgements(because, step.rows.iter().map(|row| row.title.as_str()))
}

/// Rows with the same key together, in the order of their first.
fn together<'a, K: Ord>(rows: &[&'a Row], key: impl Fn(&'a Row) -> K) -> Vec<Vec<&'a Row>> {
    let mut places: BTreeMap<K, usize> = BTreeMap::new();
    let mut groups: Vec<Vec<&Row>> = Vec::new();
    for row in rows {
        let place = *places.entry(key(row)).or_insert(groups.len());
        if place == groups.len() {
            groups.push(Vec::new());
        }
        groups[place].push(row);
    }
    groups
}

fn place_of(name: &str) -> &str {
    name.split('[').next().unwrap_or(name)
}

fn marks<'a>(rows: &[&'a Row]) -> Vec<&'a str> {
    let mut marks: Vec<&str> = rows
        .iter()
        .flat_map(|row| row.marks.iter().map(String::as_str))
        .collect();
    marks.sort_unstable();
    marks.dedup();
    marks
}

fn group<'a>(rows: &[&'a Row], sources: &BTreeMap<&str, usize>) -> Group<'a> {
    let first = rows[0];
    let value = range(rows);
    let widest = |row: &&&Row| row.numbers.expanded.map_or(0, f64::to_bits);
    Group {
        name: &first.name,
        title: &first.title,
        passes: rows.len(),
        expanded: rows.iter().max_by_key(widest).map_or("", |row| &row.expanded),
        limit: &first.limit,
        source: sources.get(first.source.as_str()).copied().unwrap_or(0),
        // A reason that stands as the value is not said again.
        marks: marks(rows).into_iter().filter(|mark| !value.contains(mark)).collect(),
        verdict: worst(rows),
        judged_number: rows.iter().all(|row| row.numbers.value.is_some()),
        bar: bar(rows),
        value,
    }
}

/// Lowest and highest of several passes, the unit once.
fn range(rows: &[&Row]) -> String {
    if let Some(row) = rows.iter().find(|row| row.numbers.value.is_none()) {
        return row.value.clone();
    }
    let by_value = |a: &&&Row, b: &&&Row| {
        a.numbers
            .value
            .unwrap_or(f64::NAN)
            .total_cmp(&b.numbers.value.unwrap_or(f64::NAN))
    };
    let lowest = rows.iter().min_by(by_value).map_or("", |row| &row.value);
    let highest = rows.iter().max_by(by_value).map_or("", |row| &row.value);
    match (lowest.rsplit_once(' '), highest.rsplit_once(' ')) {
        _ if lowest == highest => highest.to_owned(),
        (Some((number, unit)), Some((_, same))) if unit == same => format!("{number} … {highest}"),
        _ => format!("{lowest} … {highest}"),
    }
}

fn dead_group<'a>(rows: &[&'a Row], sources: &BTreeMap<&str, usize>) -> DeadGroup<'a> {
    let of = |ending: &str| -> Vec<&'a Row> { rows.iter().copied().filter(|row| row.key.ends_with(ending)).collect() };
    let (ac, dc) = (of(".ac"), of(".dc"));
    let pairs = together(&ac, |row| &row.name);
    let limit = |rows: &[&'a Row], kind: &str| rows.first().map(|row| format!("{} {kind}", row.limit));
    let mut numbers: Vec<usize> = rows
        .iter()
        .filter_map(|row| sources.get(row.source.as_str()).copied())
        .collect();
    numbers.sort_unstable();
    numbers.dedup();
    DeadGroup {
        at: place_of(&rows[0].name),
        passes: pairs.first().map_or(0, Vec::len),
        ac: by_pair(&ac),
        dc: by_pair(&dc),
        limits: [limit(&ac, "AC"), limit(&dc, "DC")].into_iter().flatten().collect(),
        sources: numbers,
        marks: marks(rows),
        verdict: worst(rows),
        bar: bar(&ac).or_else(|| bar(&dc)),
    }
}

/// `L-N 0.15 V, L-PE 0.38 V`, of several proofs the range.
fn by_pair(rows: &[&Row]) -> String {
    let pair = |name: &str| name.split(['[', ']']).nth(1).unwrap_or(name).to_owned();
    let texts = together(rows, |row| &row.name)
        .into_iter()
        .map(|rows| format!("{} {}", pair(&rows[0].name), range(&rows)));
    texts.collect::<Vec<_>>().join(", ")
}

fn nearest(step: &StepPart) -> Option<Value> {
    let row = deciding(step)?;
    Some(json!({"says": reading_says(row), "bar": bar(&[row])}))
}

/// Every judgement below its limit.
fn annex(document: &Document) -> Vec<Linked<'_>> {
    let mut places: BTreeMap<[&str; 5], usize> = BTreeMap::new();
    let mut all: Vec<Linked> = Vec::new();
    let rows = document
        .steps
        .iter()
        .flat_map(|step| step.rows.iter().map(move |row| (step, row)));
    for (step, row) in rows {
        // Limits written in a sequence may share a place: the title tells them apart.
        let limit = [&row.key, &row.title, &row.place, &row.limit, &row.source].map(String::as_str);
        let place = *places.entry(limit).or_insert(all.len());
        if place == all.len() {
            let [key, title, place, limit, source] = limit;
            all.push(Linked {
                key,
                title,
                limit,
                place,
                source,
                rows: Vec::new(),
            });
        }
        all[place].rows.push(link(step, row));
    }
    all
}

fn link<'a>(step: &'a StepPart, row: &'a Row) -> Link<'a> {
    // From the last, which carries the value; the first ones set the instrument up. Equal ones are printed once.
    let mut replies: Vec<&RawReply> = Vec::new();
    for reply in row.raw.iter().rev().filter(|reply| reply.received.is_some()) {
        if !replies
            .iter()
            .any(|known| (&known.sent, &known.received) == (&reply.sent, &reply.received))
        {
            replies.push(reply);
        }
    }
    let more = replies.len().saturating_sub(MOST_REPLIES);
    replies.truncate(MOST_REPLIES);
    Link {
        seq: row.seq,
        step: &step.id,
        name: &row.name,
        pass: row.pass.as_deref(),
        verdict: row.verdict,
        value: &row.value,
        formula: row.formula.as_deref(),
        raw: replies
            .iter()
            .rev()
            .map(|reply| {
                (
                    format!("{} {}", reply.instrument, reply.sent),
                    reply.received.as_deref().unwrap_or_default(),
                )
            })
            .collect(),
        more,
    }
}
