//! What the limits of the two charger sequences with power notice: each shown by a parameter of the charger, by a bench that is wired
//! wrongly, or by a step that meets what it forbids.

use crate::support::{Place, Ran, repository};

const QUICK: &str = "sequences/onboard_charger/quick_check.yaml";
const REPAIR: &str = "sequences/onboard_charger/after_repair.yaml";

fn text_of(path: &str) -> String {
    std::fs::read_to_string(repository(path)).unwrap()
}

/// A sequence with the steps of its chapters where it names them.
fn sequence(path: &str) -> String {
    let whole = |line: &str| match line.strip_prefix("  - chapter: ") {
        Some(name) => {
            let chapter = text_of(&format!("sequences/chapters/{name}.yaml"));
            chapter.split_once("\nsteps:\n").unwrap().1.to_owned()
        }
        None => format!("{line}\n"),
    };
    text_of(path).lines().map(whole).collect()
}

/// The charger with other parameters.
fn with_parameters(place: &Place, parameters: &str) -> String {
    let item = text_of("sequences/items/onboard_charger_7kw.yaml");
    place.write(
        "item.yaml",
        item.replace("virtual: {}", &format!("virtual: {{{parameters}}}")),
    )
}

/// One step of a sequence, by its title.
fn step<'t>(sequence: &'t str, title: &str) -> &'t str {
    let begin = sequence
        .find(&format!("  - step: {title}\n"))
        .unwrap_or_else(|| panic!("no step `{title}`"));
    let rest = &sequence[begin..];
    let end = rest[1..].find("\n  - step: ").map_or(rest.len(), |at| at + 2);
    &rest[..end]
}

/// The quick check up to a step, and then another one: charger, supply and sink are as the steps before leave them.
fn quick_check_then(before: &str, own: &str) -> String {
    let quick = sequence(QUICK);
    let end = quick.find(&format!("  - step: {before}\n")).unwrap();
    let own = own.split("\n  # ").next().unwrap();
    format!("{}{own}\n", &quick[..end])
}

fn rehearse(place: &Place, sequence: &str, more: &[&str]) -> (Ran, String) {
    let arguments = ["rehearse", sequence, "--no-pdf", "--out", "r", "--json"];
    let ran = place.run(&[&arguments, more].concat());
    let stem = sequence.rsplit('/').next().unwrap().trim_end_matches(".yaml");
    let csv = place.path().join(format!("r/reports/{stem}-seed1.csv"));
    let csv = std::fs::read_to_string(&csv).unwrap_or_else(|error| panic!("{}: {error}: {ran:#?}", csv.display()));
    (ran, csv)
}

/// The verdict of a reading under a limit.
#[track_caller]
fn verdict(csv: &str, reading: &str, limit: &str) -> String {
    let of = |line: &&str| line.contains(&format!(",{reading},")) && line.contains(&format!(",{limit},"));
    let row = csv
        .lines()
        .find(of)
        .unwrap_or_else(|| panic!("{reading} under {limit} is nowhere:\n{csv}"));
    let verdicts = ["pass", "fail", "inconclusive", "error"];
    let found = verdicts.iter().find(|word| row.contains(&format!(",{word},")));
    (*found.unwrap_or_else(|| panic!("{row}"))).to_owned()
}

/// 4 mA are less than blinds a device of type A, and may trip one of 6 mA.
#[test]
fn a_direct_current_that_may_trip_devices_of_6_ma_is_noticed() {
    let place = Place::new();
    let item = with_parameters(&place, "dc_to_pe: 4 mA");
    let (ran, csv) = rehearse(&place, "onboard_charger/quick_check", &["--item", &item]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert_eq!(verdict(&csv, "i_pe_dc", "charger.pe_dc_current"), "pass");
    assert_eq!(verdict(&csv, "i_pe_dc", "charger.pe_dc_no_trip"), "fail");
}

/// A supply that drops 8 % under load is no fault of the charger, and neither is a current that is scaled wrongly.
#[test]
fn instruments_that_do_not_agree_under_load_are_the_bench() {
    for (parameters, ratio, reading, limit) in [
        ("z_source: 0.6 Ω", "1", "u_of_supply", "bench.supply_under_load"),
        ("", "0.95", "i_of_supply", "bench.supply_current"),
    ] {
        let place = Place::new();
        let item = with_parameters(&place, parameters);
        let bench = text_of("sequences/benches/charger_bench.yaml");
        let point = r#""ac_input[L].current": {by: analyser, function: ac_current, connected: isolated"#;
        assert_eq!(bench.matches(point).count(), 1);
        let bench = bench.replace(point, &format!("{point}, ratio: {ratio}"));
        let bench = place.write("bench.yaml", bench);
        let (ran, csv) = rehearse(
            &place,
            "onboard_charger/quick_check",
            &["--item", &item, "--bench", &bench],
        );
        assert_eq!(ran.code, 5, "{limit}: {}", ran.err);
        assert!(ran.err.contains("ERROR         BC-13"), "{}", ran.err);
        assert_eq!(ran.json()["side"]["side"], "bench", "{}", ran.err);
        assert_eq!(verdict(&csv, reading, limit), "error");
        assert!(!ran.err.contains("FAIL"), "{}", ran.err);
    }
}

/// A charger that connects for a moment and lets go again: a meter that looks afterwards sees nothing.
#[test]
fn a_pulse_of_current_counts_where_none_may_flow() {
    let place = Place::new();
    let repair = sequence(REPAIR);
    let shipped = step(&repair, "a sink at 0 V, and one the wrong way round");
    let empty = "load.voltage: 0 V, load.current: 1 A";
    assert_eq!(shipped.matches(empty).count(), 1);
    let battery = shipped.replace(empty, "load.voltage: 250 V, load.current: 1 A");
    place.write("pulse.yaml", quick_check_then("an offer, then S2", &battery));
    // Its precharge surges into the output's capacitor, and no voltage is near enough for its relay.
    let item = with_parameters(&place, "r_precharge: 10 Ω, precharge_dv: 0 V");
    let (ran, csv) = rehearse(&place, "pulse.yaml", &["--item", &item]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    for (reading, wanted) in [
        ("into_nothing", "pass"),
        ("i_nothing_least", "fail"),
        ("i_reversed_least", "pass"),
        ("i_reversed_most", "pass"),
    ] {
        assert_eq!(verdict(&csv, reading, "charger.no_output"), wanted, "{reading}");
    }
    for (reading, wanted) in [("u_nothing_most", "fail"), ("u_reversed_least", "pass")] {
        assert_eq!(verdict(&csv, reading, "charger.discharged"), wanted, "{reading}");
    }
}

/// A voltage that goes beyond where it settles, shown by a sink that holds the contacts so.
#[test]
fn a_voltage_that_overshoots_into_constant_voltage_is_noticed() {
    let repair = sequence(REPAIR);
    let shipped = step(
        &repair,
        "into constant voltage, as a battery that is nearly full takes less and less",
    );
    let ramp = shipped.lines().find(|line| line.contains("- ramp:")).unwrap();
    let (indent, _) = ramp.split_once("- ramp:").unwrap();
    let held = |share: &str| format!("{indent}- set: {{load.voltage: {share} of $dc_voltage}}\n{indent}- hold: 2 s");
    let over = format!("{}\n{}", held("99.5 %"), held("98 %"));
    for (during, code, wanted) in [(ramp, 0, "pass"), (&over, 1, "fail")] {
        let place = Place::new();
        let own = shipped.replace(ramp, during);
        place.write("over.yaml", quick_check_then("current against the duty", &own));
        let (ran, csv) = rehearse(&place, "over.yaml", &[]);
        assert_eq!(ran.code, code, "{}", ran.err);
        assert_eq!(verdict(&csv, "cv_over", "charger.cv_overshoot"), wanted);
    }
}

/// The time of a discharge begins when the last source goes: what the charger bleeds within the 5 s passes, what it does not fails.
#[test]
fn a_discharge_is_timed_from_the_last_source_on() {
    for (ohm, code, wanted) in [("60 kΩ", 0, "pass"), ("400 kΩ", 1, "fail")] {
        let place = Place::new();
        let item = with_parameters(&place, &format!("r_out_active: {ohm}"));
        let (ran, csv) = rehearse(&place, "onboard_charger/quick_check", &["--item", &item]);
        assert_eq!(ran.code, code, "{ohm}: {}", ran.err);
        assert_eq!(verdict(&csv, "t_discharge", "charger.discharge"), wanted, "{ohm}");
    }
}

/// A current that flows where nothing was offered is judged by its own limit.
#[test]
fn a_current_without_an_offer_is_judged() {
    let place = Place::new();
    let arguments = [
        "rehearse",
        "onboard_charger/quick_check",
        "--no-pdf",
        "--out",
        "r",
        "--json",
        "--defect",
        "O40",
    ];
    let ran = place.run(&arguments).exits(1);
    let csv = std::fs::read_to_string(place.path().join("r/reports/quick_check-O40-plain-seed1.csv")).unwrap();
    assert_eq!(verdict(&csv, "i_idle", "charger.idle_current"), "fail", "{}", ran.err);
}

/// Whatever is asked of a discharged output is asked either way round; and where a sink is used, a person is told that it is a source too.
#[test]
fn what_is_discharged_is_so_either_way_round_and_the_sink_is_named_as_a_source() {
    for path in [QUICK, REPAIR] {
        let text = sequence(path);
        for line in text.lines().filter(|line| line.contains("dc_output.voltage: {")) {
            assert!(line.contains("between: [-60 V, 60 V]"), "{path}: {line}");
        }
        let caution = text.split("interlocks:").next().unwrap();
        assert!(
            text.contains("set: {load: on}") && caution.contains("The DC sink is a source too"),
            "{path}"
        );
    }
    let place = Place::new();
    let explained = place.run(&["explain", "charger.discharged"]).exits(0).out;
    assert!(
        explained.contains("-60 V") || explained.contains("−60 V"),
        "{explained}"
    );
}

/// Nothing with the DC side in it gets more than that side has in service.
#[test]
fn insulation_with_the_dc_side_in_it_is_measured_at_its_rated_voltage() {
    let place = Place::new();
    let (_, _) = rehearse(&place, "onboard_charger/after_repair", &[]);
    let journal = std::fs::read_to_string(place.path().join("r/journal.txt")).unwrap();
    let mut volts = None;
    let mut seen = Vec::new();
    for line in journal.lines() {
        let event: serde_json::Value = serde_json::from_str(line.split_once(' ').unwrap().1).unwrap();
        let words = event.to_string();
        for set in ["500 V", "420 V"] {
            if event["order"].as_str() == Some(&format!("set insulation.voltage to {set}")) {
                volts = Some(set);
            }
        }
        if event["event"] == "reading" {
            for (pair, wanted) in [
                ("insulation[ac-PE]", "500 V"),
                ("insulation[plus-PE]", "420 V"),
                ("insulation[minus-PE]", "420 V"),
                ("insulation[ac-dc]", "420 V"),
            ] {
                if event["point"].as_str().is_some_and(|point| point.starts_with(pair)) {
                    assert_eq!(volts, Some(wanted), "{words}");
                    seen.push(pair);
                }
            }
        }
    }
    assert_eq!(seen.len(), 8, "{seen:?}");
}
