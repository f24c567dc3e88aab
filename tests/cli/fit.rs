//! `fit`: what a bench can do with an item, held against what the record of a rehearsal then says, and the hook-up page.

use crate::support::{Place, snapshot, yaml_below};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// Every shipped sequence, by the name that the command takes.
pub(crate) fn shipped() -> Vec<String> {
    let folder = crate::support::repository("sequences");
    let sequences = yaml_below("sequences").into_iter().filter(|path| {
        let text = std::fs::read_to_string(path).unwrap();
        text.lines().any(|line| line.starts_with("pilotage: sequence/"))
    });
    sequences
        .map(|path| {
            let inner = path.strip_prefix(&folder).unwrap().with_extension("");
            inner.to_str().unwrap().replace('\\', "/")
        })
        .collect()
}

pub(crate) fn fit(place: &Place, sequence: &str) -> Value {
    let ran = place.run(&["fit", sequence, "--json"]);
    assert!([0, 3].contains(&ran.code), "{ran:#?}");
    ran.json()
}

/// The events of a record, in order.
fn events(place: &Place, record: &str) -> Vec<Value> {
    let text = std::fs::read_to_string(place.path().join(record).join("journal.txt")).unwrap();
    let lines = text.lines().map(|line| line.split_once(' ').unwrap().1);
    lines.map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// Step (without the tool's own three), reading and limit.
type Key = (u64, String, String);

/// A record names the pair that was measured, a forecast the place.
fn name_of(judged: &Value) -> String {
    let name = judged["name"].as_str().unwrap();
    let kind = match judged["limit"]["key"].as_str() {
        Some("dead.ac") => "AC",
        Some("dead.dc") => "DC",
        _ => return name.to_owned(),
    };
    format!("{} dead, {kind}", name.split('[').next().unwrap())
}

/// Expanded uncertainty (k = 2) that the terms of a limit come to at a value.
fn at_value(limit: &Value, si: f64) -> f64 {
    let mut by_source: BTreeMap<&str, f64> = BTreeMap::new();
    for term in limit["terms"].as_array().unwrap() {
        let standard = term["relative"].as_f64().unwrap() * si + term["fixed_si"].as_f64().unwrap();
        *by_source.entry(term["source"].as_str().unwrap()).or_default() += standard;
    }
    2.0 * by_source
        .values()
        .map(|standard| standard * standard)
        .sum::<f64>()
        .sqrt()
}

/// The bound that is farthest from zero.
fn farthest(bounds: &Value) -> f64 {
    let bounds = ["at_least", "at_most"].iter().filter_map(|name| bounds[*name].as_f64());
    bounds.map(f64::abs).fold(0.0, f64::max)
}

/// How a reading came about, where its uncertainty beforehand is the most that will come and not what will come, and why.
const THE_MOST: &[(&str, &str)] = &[
    (
        "duty_at_",
        "edges have several samples, which say the moment better than two",
    ),
    (
        "rise of",
        "edges have several samples, which say the moment better than two",
    ),
    (
        "fall of",
        "edges have several samples, which say the moment better than two",
    ),
    (
        "time from pilot ",
        "edges have several samples, which say the moment better than two",
    ),
    (
        " to dc_output[plus] ",
        "how long two pulses of the pilot hide its change depends on the duty",
    ),
    (
        "time from pilot.duty ",
        "how long two pulses of the pilot hide its change depends on the duty",
    ),
    (
        ".contact",
        "a contact is hidden only where it moves near a zero crossing",
    ),
    ("time until", "what is there at the first look was not waited for"),
    ("angle of", "how long two pulses hide a change depends on the duty"),
    (
        "$",
        "of a computed value it is told at the bound, where its readings are larger",
    ),
];

/// The other way round: what is said beforehand is the least.
const THE_LEAST: &[&str] = &[
    "/ $rated_current",
    "power ",
    "efficiency ",
    "harmonic ",
    "of the line",
    "ripple ",
    // What the orders before a wait take is known in the run.
    "time until ",
];

struct Compared {
    key: Key,
    how: String,
    ratio: f64,
}

fn compared(place: &Place, sequence: &str, record: &str) -> Vec<Compared> {
    let said = fit(place, sequence);
    let limits: BTreeMap<Key, &Value> = said["limits"]
        .as_array()
        .unwrap()
        .iter()
        .map(|limit| {
            let text = |field: &str| limit[field].as_str().unwrap().to_owned();
            (
                (limit["step_number"].as_u64().unwrap(), text("reading"), text("limit")),
                limit,
            )
        })
        .collect();
    let events = events(place, record);
    let readings: BTreeMap<u64, &Value> = events
        .iter()
        .filter(|event| event["event"] == "reading")
        .map(|event| (event["seq"].as_u64().unwrap(), event))
        .collect();
    let mut found = Vec::new();
    for judged in events.iter().filter(|event| event["event"] == "judged") {
        let Some(step) = judged["step"].as_u64().unwrap().checked_sub(3) else {
            continue;
        };
        let key = (
            step,
            name_of(judged),
            judged["limit"]["key"].as_str().unwrap().to_owned(),
        );
        let limit = limits
            .get(&key)
            .unwrap_or_else(|| panic!("{sequence}: {key:?} was judged and not foreseen"));
        let reading = readings[&judged["reading"].as_u64().unwrap()];
        let (Some(recorded), Some(si)) = (judged["expanded"].as_f64(), reading["value"]["value"]["si"].as_f64()) else {
            continue;
        };
        if limit["expanded_si"].is_null() {
            continue;
        }
        // A computed value is foreseen at its bound: of what lies beyond, nothing was said.
        let computed = reading["formula"].as_str().is_some_and(|formula| formula.contains('$'));
        if computed && si.abs() > farthest(&limit["bounds_si"]) {
            continue;
        }
        let foreseen = at_value(limit, si);
        let how = reading["formula"].as_str().unwrap_or("direct").to_owned();
        // What cancels leaves the rounding of numbers.
        let nothing = 1e-12 * si.abs();
        let ratio = if recorded <= nothing && foreseen <= nothing {
            1.0
        } else {
            foreseen / recorded
        };
        found.push(Compared { key, how, ratio });
    }
    found
}

/// What makes the verb honest: the uncertainty that it says is the one that the record then has.
#[test]
fn the_uncertainty_said_beforehand_is_the_one_in_the_record() {
    let place = Place::new();
    let mut of_wall_units = 0;
    let mut reasons_met = BTreeSet::new();
    for sequence in shipped() {
        let ran = place.run(&["rehearse", &sequence, "--no-pdf", "--out", "record"]);
        if ran.code == 2 && ran.err.contains("there is no virtual item of the kind") {
            assert!(!sequence.starts_with("wall_unit/"), "{ran:#?}");
            continue;
        }
        let all = compared(&place, &sequence, "record");
        assert!(all.len() >= 5, "{sequence}: {} limits compared", all.len());
        for Compared { key, how, ratio } in &all {
            let most = THE_MOST.iter().find(|(part, _)| how.contains(part));
            let least = how != "direct" && THE_LEAST.iter().any(|part| how.contains(part));
            assert!(
                *ratio >= 0.8 || least,
                "{sequence} {key:?} ({how}): only {ratio:.3} of what was recorded"
            );
            assert!(
                *ratio <= 1.2 || most.is_some(),
                "{sequence} {key:?} ({how}): {ratio:.3} times what was recorded"
            );
            reasons_met.extend(most.filter(|_| *ratio > 1.2).map(|(part, _)| *part));
        }
        if sequence.starts_with("wall_unit/") {
            of_wall_units += all.iter().filter(|one| one.how == "direct").count();
        }
        std::fs::remove_dir_all(place.path().join("record")).unwrap();
    }
    assert!(of_wall_units >= 100, "{of_wall_units} direct readings compared");
    let listed: BTreeSet<&str> = THE_MOST.iter().map(|(part, _)| *part).collect();
    assert_eq!(reasons_met, listed, "an exception that nothing meets is none");
}

#[test]
fn what_is_known_only_when_read_has_its_reason() {
    let place = Place::new();
    let said = fit(&place, "wall_unit/acceptance_single_phase");
    let unknown: Vec<&Value> = said["limits"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|limit| limit["decides"] == "only_when_read")
        .collect();
    let names: Vec<&str> = unknown.iter().map(|limit| limit["reading"].as_str().unwrap()).collect();
    assert_eq!(names, ["spread", "v_close", "v_ventilate", "v_leave"]);
    for limit in unknown {
        let why = limit["why"].as_str().unwrap();
        assert!(why.starts_with("known only when read: "), "{why}");
    }
}

/// A ratio of two efficiencies by one set of channels: their gains cancel, and what is left is not nothing.
#[test]
fn where_all_that_is_known_beforehand_cancels_nothing_is_said() {
    let said = fit(&Place::new(), "onboard_charger/after_repair");
    let mut limits = said["limits"].as_array().unwrap().iter();
    let cycle = limits.find(|limit| limit["reading"] == "eta_cycle").unwrap();
    assert_eq!(
        (&cycle["decides"], &cycle["expanded_si"]),
        (&"only_when_read".into(), &Value::Null)
    );
    let why = cycle["why"].as_str().unwrap();
    assert!(why.contains("`$eta_of_cycle / $eta_first` cancels"), "{why}");
}

#[test]
fn a_guard_banded_limit_names_the_line_of_the_driver_and_what_would_do() {
    let place = Place::new();
    let out = place.run(&["fit", "wall_unit/quick_check"]).exits(0).out;
    let at = out.find("BC-04  zero_ac").unwrap();
    let driver = std::fs::read_to_string(crate::support::repository("drivers/files/bench_meter.yaml")).unwrap();
    let line = 1 + driver
        .lines()
        .position(|line| line.contains("of_range: 0.03 %, range: 750 V"))
        .unwrap();
    let block = &out[at..at + 600];
    for words in [
        &format!("(bench_meter.yaml:{line})"),
        "48 %",
        "needs  U of at most 130 mV",
        "48 % of",
    ] {
        assert!(
            block.replace("\n                ", " ").contains(words),
            "{words}: {block}"
        );
    }
}

/// The same meter, ten times as exact, in a folder of one's own.
#[test]
fn a_better_instrument_is_named() {
    let place = Place::new();
    std::fs::create_dir(place.path().join("drivers")).unwrap();
    let driver = std::fs::read_to_string(crate::support::repository("drivers/files/bench_meter.yaml")).unwrap();
    place.write(
        "worse_meter.yaml",
        driver
            .replace("of_range: 0.03 %", "of_range: 3 %")
            .replace("name: bench_meter", "name: worse_meter"),
    );
    let bench = std::fs::read_to_string(crate::support::repository("sequences/benches/mid_bench.yaml")).unwrap();
    let worse = bench.replacen("meter: {driver: bench_meter", "meter: {driver: worse_meter", 1);
    assert_ne!(bench, worse);
    place.write("worse.yaml", worse);
    let ran = place.run(&["fit", "wall_unit/quick_check", "--bench", "worse.yaml", "--files", "."]);
    let ran = ran.exits(3);
    let cannot = ran.out.split("CANNOT DECIDE").nth(1).unwrap();
    let cannot = cannot.split("GUARD-BANDED").next().unwrap();
    assert!(
        cannot.contains("zero_ac") && cannot.contains("worse_meter.yaml:"),
        "{cannot}"
    );
    let said = place
        .run(&[
            "fit",
            "wall_unit/quick_check",
            "--bench",
            "worse.yaml",
            "--files",
            ".",
            "--json",
        ])
        .json();
    let dead = said["limits"].as_array().unwrap().iter();
    let dead: Vec<&Value> = dead.filter(|limit| limit["limit"] == "dead.ac").collect();
    // 3 % of 750 V, rectangular, k = 2: 26 V against 30 V.
    assert!(dead.iter().all(|limit| limit["decides"] == "guard_banded"), "{dead:?}");
    let would = dead[0]["would"].as_array().unwrap();
    assert!(
        would
            .iter()
            .any(|text| text.as_str().unwrap().contains("drop_meter, `ac_voltage`")),
        "{would:?}"
    );
}

#[test]
fn a_step_that_the_bench_cannot_do_says_what_would() {
    let place = Place::new();
    let bench = std::fs::read_to_string(crate::support::repository("sequences/benches/mid_bench.yaml")).unwrap();
    let without = bench.lines().filter(|line| !line.contains("proximity.resistance"));
    place.write("small.yaml", without.collect::<Vec<_>>().join("\n"));
    let ran = place
        .run(&["fit", "wall_unit/acceptance_single_phase", "--bench", "small.yaml"])
        .exits(0);
    let part = ran.out.split("Steps that this bench cannot do (1)").nth(1).unwrap();
    let part = part.split("Not part of this sequence").next().unwrap();
    let part = part.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        part.contains("WU-05") && part.contains("this bench cannot read `proximity.resistance`"),
        "{part}"
    );
    assert!(part.contains("driver `bench_meter`, function `resistance`"), "{part}");
}

/// Widths that people have, and no colour: nothing hangs on it.
#[test]
fn lines_keep_to_their_width_and_need_no_colour() {
    let place = Place::new();
    for sequence in shipped() {
        for width in ["80", "120"] {
            let ran = place.run_with(&["fit", &sequence, "--width", width], &[("NO_COLOR", "1")], "");
            let widest = ran.out.lines().max_by_key(|line| line.chars().count()).unwrap();
            let most = width.parse::<usize>().unwrap();
            assert!(widest.chars().count() <= most, "{sequence} at {width}: {widest}");
            assert!(!ran.out.contains('\u{1b}'), "{sequence}");
        }
    }
}

#[test]
fn every_shipped_sequence_has_a_hook_up_page_of_one_page() {
    let place = Place::new();
    for sequence in shipped() {
        let ran = place.run(&["fit", &sequence, "--out", "fit"]);
        assert!([0, 3].contains(&ran.code), "{ran:#?}");
        let said: Value = serde_json::from_slice(&std::fs::read(place.path().join("fit/fit.json")).unwrap()).unwrap();
        every_point_hangs_somewhere(&sequence, &said["hook_up"]);
        let pdf = place.path().join("fit/hook-up.pdf");
        let text = std::process::Command::new("pdftotext")
            .args(["-layout".as_ref(), pdf.as_os_str(), "-".as_ref()])
            .output();
        let text = String::from_utf8(text.expect("pdftotext is installed: `tests/run tools` does it").stdout).unwrap();
        assert_eq!(text.matches('\u{c}').count(), 1, "{sequence}: more than one page");
        let page = &said["hook_up"];
        for name in [&page["isolator"], &page["stop"]] {
            assert!(text.contains(name.as_str().unwrap()), "{sequence}: {name}");
        }
        let first = std::fs::read(&pdf).unwrap();
        place.run(&["fit", &sequence, "--out", "fit"]);
        assert!(
            first == std::fs::read(&pdf).unwrap(),
            "{sequence}: two pages of the same files differ"
        );
    }
}

/// Leads are numbered without a gap, each belongs to one stage, each rail is met, and mains come after extra-low voltage.
fn every_point_hangs_somewhere(sequence: &str, page: &Value) {
    let leads = page["leads"].as_array().unwrap();
    let numbers: Vec<u64> = leads.iter().map(|lead| lead["number"].as_u64().unwrap()).collect();
    assert_eq!(numbers, (1..=leads.len() as u64).collect::<Vec<_>>(), "{sequence}");
    let staged = page["order"].as_array().unwrap().iter();
    let staged: Vec<u64> = staged
        .flat_map(|stage| stage["leads"].as_array().unwrap())
        .map(|number| number.as_u64().unwrap())
        .collect();
    assert_eq!(staged, numbers, "{sequence}");
    let met: BTreeSet<u64> = leads
        .iter()
        .flat_map(|lead| lead["ends"].as_array().unwrap())
        .map(|end| end[0].as_u64().unwrap())
        .collect();
    assert_eq!(met.len(), page["rails"].as_array().unwrap().len(), "{sequence}");
    assert!(
        leads.iter().all(|lead| !lead["ends"].as_array().unwrap().is_empty()),
        "{sequence}: {leads:?}"
    );
    // What supplies comes last. A bench without instruments has no lead at all.
    if let Some(last) = leads.last() {
        assert!(last["dangerous"].as_bool().unwrap(), "{sequence}");
    }
}

#[test]
fn the_page_of_the_quick_check_at_80_columns() {
    let ran = Place::new().run(&["fit", "wall_unit/quick_check", "--hook-up-only", "--width", "80"]);
    snapshot("hook_up_80", &ran.exits(0).out);
}

#[test]
fn the_whole_answer_at_120_columns() {
    let ran = Place::new().run(&["fit", "wall_unit/quick_check", "--width", "120"]);
    snapshot("fit_120", &ran.exits(0).out);
}

#[test]
fn a_split_phase_item_hangs_on_two_lines_and_no_neutral() {
    let place = Place::new();
    let item = std::fs::read_to_string(crate::support::repository("sequences/items/wall_unit_32a.yaml")).unwrap();
    let split = item
        .replace("phases: single", "phases: split")
        .replace("230 V", "240 V");
    place.write("split.yaml", split);
    let ran = place.run(&["fit", "wall_unit/quick_check", "--item", "split.yaml", "--json"]);
    let said = ran.json();
    let rails = said["hook_up"]["rails"].as_array().unwrap().iter();
    let conductors: BTreeSet<&str> = rails.map(|rail| rail["conductor"].as_str().unwrap()).collect();
    assert!(
        conductors.contains("L1") && conductors.contains("L2") && !conductors.contains("N"),
        "{conductors:?}"
    );
}

#[test]
fn names_of_others_reach_no_terminal_as_commands() {
    let place = Place::new();
    let bench = std::fs::read_to_string(crate::support::repository("sequences/benches/mid_bench.yaml")).unwrap();
    place.write(
        "odd.yaml",
        bench.replace("isolator_name: Q1", "isolator_name: \"Q1\\e[31m #panic()\""),
    );
    let ran = place
        .run(&["fit", "wall_unit/quick_check", "--bench", "odd.yaml", "--out", "fit"])
        .exits(0);
    assert!(
        ran.out.contains("Q1<1B>[31m #panic()") && !ran.out.contains('\u{1b}'),
        "{}",
        ran.out
    );
    assert!(place.path().join("fit/hook-up.pdf").is_file());
}

#[test]
fn a_width_that_nothing_fits_into_is_refused() {
    let ran = Place::new()
        .run(&["fit", "wall_unit/quick_check", "--width", "12"])
        .exits(2);
    assert!(ran.err.contains("72 to 200"), "{}", ran.err);
}
