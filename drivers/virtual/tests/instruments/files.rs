//! The driver files and the bench files, read as plain YAML: they name what exists, and every message in them works.

use super::desk::Desk;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::PathBuf;

pub(crate) fn read(path: &str) -> Value {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..").join(path);
    serde_saphyr::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

pub(crate) fn driver(name: &str) -> Value {
    read(&format!("drivers/files/{name}.yaml"))
}

pub(crate) fn bench() -> Value {
    read("sequences/benches/mid_bench.yaml")
}

pub(crate) fn map(value: &Value) -> &serde_json::Map<String, Value> {
    value.as_object().unwrap()
}

pub(crate) fn text<'v>(value: &'v Value, key: &str) -> &'v str {
    value[key].as_str().unwrap_or_else(|| panic!("{key} of {value}"))
}

pub(crate) fn texts(value: &Value) -> Vec<&str> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|text| text.as_str().unwrap())
        .collect()
}

/// The interface to a charger's bus, in every bench file that has one.
const INTERFACE: &str = "can";

/// Each bench file with the desk that it describes. Two of them are about the same desk: a bench file may leave instruments alone. An
/// interface to a bus is no model of this crate: it is tried where its lines are.
fn benches() -> [(Value, Desk); 3] {
    let mut charger = Desk::at_a_charger(1);
    // Off, it measures nothing.
    charger.tell("insulation", "VOLTage 500;OUTPut ON");
    let at_a_charger = |name: &str| without_interfaces(read(&format!("sequences/benches/{name}.yaml")));
    [
        (bench(), Desk::new(1)),
        (at_a_charger("small_workshop"), Desk::at_a_charger(1)),
        (at_a_charger("charger_bench"), charger),
    ]
}

/// A bench without instruments whose driver is a file of frames, and without their points.
fn without_interfaces(mut bench: Value) -> Value {
    let is_interface = |entry: &Value| text(entry, "driver") == "charger_demo";
    let names: Vec<String> = map(&bench["instruments"])
        .iter()
        .filter(|(_, entry)| is_interface(entry))
        .map(|(name, _)| name.clone())
        .collect();
    assert_eq!(names, [INTERFACE]);
    bench["instruments"].as_object_mut().unwrap().remove(INTERFACE);
    bench["points"]
        .as_object_mut()
        .unwrap()
        .retain(|_, service| text(service, "by") != INTERFACE);
    bench
}

/// The instruments of the desk that a bench file names, in the order of their ports.
fn named_of(bench: &Value, desk: &Desk) -> Vec<String> {
    let known = map(&bench["instruments"]);
    desk.names()
        .into_iter()
        .filter(|name| known.contains_key(name))
        .collect()
}

/// Instruments of a bench with their drivers.
fn instruments(bench: &Value) -> BTreeMap<String, (Value, Value)> {
    map(&bench["instruments"])
        .iter()
        .map(|(name, entry)| (name.clone(), (entry.clone(), driver(text(entry, "driver")))))
        .collect()
}

#[test]
fn the_bench_files_name_the_instruments_that_exist() {
    for (bench, mut desk) in benches() {
        let named = instruments(&bench);
        let mut names = named_of(&bench, &desk);
        names.sort();
        assert_eq!(named.keys().cloned().collect::<Vec<_>>(), names);
        for (name, (entry, driver)) in &named {
            let identity = desk.ask(name, "*IDN?");
            let fields: Vec<&str> = identity.split(',').collect();
            assert_eq!(
                (fields[1], fields[2]),
                (text(driver, "model"), text(entry, "serial")),
                "{name}"
            );
        }
    }
}

#[test]
fn a_bench_file_and_its_file_for_tcp_differ_in_their_links_only() {
    let files = ["mid_bench", "small_workshop", "charger_bench"];
    for ((bench, desk), name) in benches().into_iter().zip(files) {
        let named = named_of(&bench, &desk);
        assert!(desk.names().starts_with(&named), "ports are counted from the first on");
        let whole = read(&format!("sequences/benches/{name}.yaml"));
        let tcp = read(&format!("sequences/benches/{name}_tcp.yaml"));
        if let Some(interface) = tcp["instruments"].get(INTERFACE) {
            // It is served behind all others.
            let port = 5025 + desk.names().len();
            assert_eq!(text(&interface["link"], "tcp"), format!("127.0.0.1:{port}"), "{name}");
        }
        differ_in_their_links_only(whole, tcp, &named);
    }
}

/// Every instrument that stands at an item is used by a bench file.
#[test]
fn no_instrument_stands_there_for_nothing() {
    let named: Vec<Vec<String>> = benches().iter().map(|(bench, desk)| named_of(bench, desk)).collect();
    let stand = benches().map(|(_, desk)| desk.names());
    assert_eq!((&named[0], &named[2]), (&stand[0], &stand[2]));
}

/// Over TCP each instrument has a port of its own, from 5025 on; all else is the same.
pub(crate) fn differ_in_their_links_only(mut memory: Value, mut tcp: Value, names: &[String]) {
    let link = |name: &String| text(&tcp["instruments"][name]["link"], "tcp").to_owned();
    let ports: Vec<String> = names.iter().map(link).collect();
    let expected: Vec<String> = (5025..)
        .take(ports.len())
        .map(|port| format!("127.0.0.1:{port}"))
        .collect();
    assert_eq!(ports, expected);
    for bench in [&mut memory, &mut tcp] {
        bench["title"] = Value::Null;
        for (_, instrument) in bench["instruments"].as_object_mut().unwrap() {
            instrument["link"] = Value::Null;
        }
    }
    assert_eq!(memory, tcp);
}

#[test]
fn every_point_is_served_by_a_function_that_exists_and_mains_points_are_differential_or_isolated() {
    for (bench, _) in benches() {
        let named = instruments(&bench);
        for (point, service) in map(&bench["points"]) {
            let (_, driver) = &named[text(service, "by")];
            let function = &driver["functions"][text(service, "function")];
            assert!(function.is_object(), "{point}: {service}");
            let messages = function.to_string();
            assert_eq!(
                messages.contains("{channel}"),
                service["channel"].is_string(),
                "{point}: {service}"
            );
            // Ohms are measured of what is dead.
            let mains = ["ac_input", "ac_output", "path", "dc_output"]
                .iter()
                .any(|mains| point.starts_with(mains));
            let dead = [".resistance", ".capacitance", ".series_resistance", ".dissipation"]
                .iter()
                .any(|dead| point.ends_with(dead));
            if mains && !(dead && !point.starts_with("ac_output") && !point.starts_with("path")) {
                assert!(
                    ["differential", "isolated"].contains(&text(service, "connected")),
                    "{point}"
                );
            }
        }
    }
}

#[test]
fn every_start_message_and_error_query_works() {
    for (bench, mut desk) in benches() {
        for (name, (_, driver)) in instruments(&bench) {
            for line in texts(&driver["start"]) {
                desk.tell(&name, line);
            }
            assert_eq!(desk.ask(&name, text(&driver, "errors")), "0,\"No error\"", "{name}");
        }
    }
}

/// Whatever a bench file reads is answered by its instrument with a number.
#[test]
fn every_reading_of_the_bench_files_is_answered() {
    let mut counted = 0;
    for (bench, mut desk) in benches() {
        let named = instruments(&bench);
        for (point, service) in map(&bench["points"]) {
            let name = text(service, "by");
            let measure = &named[name].1["functions"][text(service, "function")]["measure"];
            if measure.is_object() {
                let channel = service["channel"].as_str().unwrap_or_default();
                desk.tell(name, "*CLS");
                let reply = desk.ask(name, &text(measure, "ask").replace("{channel}", channel));
                assert!(reply.parse::<f64>().is_ok(), "{point}: {reply}");
                assert_eq!(desk.ask(name, "SYSTem:ERRor?"), "0,\"No error\"", "{point}");
                counted += 1;
            }
        }
    }
    assert!(counted > 50, "{counted}");
}

/// The value of a quantity as files write it, in the unit written without its prefix; a ratio as a plain number.
pub(crate) fn quantity(written: &Value) -> f64 {
    let Value::String(written) = written else {
        return written.as_f64().unwrap();
    };
    let (number, unit) = written.split_once(' ').unwrap_or((written, ""));
    let factor = match unit {
        // Of temperatures in °C only differences are taken.
        "" | "V" | "A" | "Ω" | "Hz" | "F" | "K" | "W" | "s" | "°" | "°C" => 1.0,
        "µΩ" | "µV" | "µA" => 1e-6,
        "mV" | "mA" | "mΩ" | "mHz" | "ms" | "mW" => 1e-3,
        "kΩ" | "kW" => 1e3,
        "MHz" => 1e6,
        "nF" => 1e-9,
        "pF" => 1e-12,
        "%" => 1e-2,
        other => panic!("unit {other} of {written}"),
    };
    number.parse::<f64>().unwrap() * factor
}

/// The number that goes into `{value}`.
pub(crate) fn set_and_confirmed(desk: &mut Desk, name: &str, function: &Value) {
    let ends: Vec<f64> = function["between"].as_array().unwrap().iter().map(quantity).collect();
    let within = quantity(&function["confirm_within"]);
    for value in ends {
        for line in texts(&function["send"]) {
            desk.tell(name, &line.replace("{value}", &value.to_string()));
        }
        let confirmed = desk.number(name, text(function, "ask"));
        assert!(
            (confirmed - value).abs() <= within,
            "{name}: {function}: {value} is confirmed as {confirmed}"
        );
    }
}

#[test]
fn every_selector_set_point_and_word_of_the_drivers_works() {
    let counts = benches().map(|(bench, mut desk)| {
        let drivers = instruments(&bench).into_iter();
        drivers
            .map(|(name, (_, driver))| functions_work(&mut desk, &name, &driver))
            .sum::<usize>()
    });
    let workshop = 9 + 3 + 2 + 8 + 1;
    // Source, sink, switch box, guard, reference, coolant, insulation instrument.
    let charger = workshop + (4 + 7) + (4 + 2) + 6 + 4 + 3 + (2 + 1) + (2 + 1);
    assert_eq!(
        counts,
        [(18 + 2) + (7 + 4) + 6 + 2, workshop, charger],
        "each was tried"
    );
}

/// How many of a driver's selectors, set points and words were tried.
fn functions_work(desk: &mut Desk, name: &str, driver: &Value) -> usize {
    let mut counted = 0;
    for (_, function) in map(&driver["functions"]) {
        if let Some(choices) = function["choose"].as_object() {
            for choice in choices.values() {
                for line in texts(&choice["send"]) {
                    desk.tell(name, line);
                }
                assert_eq!(
                    desk.ask(name, text(choice, "ask")),
                    text(choice, "answer"),
                    "{name}: {choice}"
                );
                counted += 1;
            }
        }
        if function["amount"].is_object() {
            set_and_confirmed(desk, name, &function["amount"]);
            counted += 1;
        }
        if let Some(word) = function["word"].as_object() {
            let ask = text(&function["word"], "ask");
            // Only of the reference is it known what a meter makes of it.
            let of_reference = ask.contains("{channel}");
            if of_reference && !desk.names().contains(&"reference".to_owned()) {
                continue;
            }
            if of_reference {
                desk.tell("reference", "SOURce:FUNCtion DC");
            }
            let reply = desk.ask(name, &ask.replace("{channel}", "141"));
            assert!(word["answers"][&reply].is_string(), "{name}: {reply}");
            counted += 1;
        }
    }
    counted
}

#[test]
fn every_capture_of_the_drivers_works() {
    captures_work(
        Desk::new(1),
        ("scope", "wave_capture"),
        &[
            ("pilot_wave", "1"),
            ("mains_wave", "2"),
            ("mains_wave", "3"),
            ("current_wave", "4"),
        ],
    );
    captures_work(
        Desk::at_a_charger(1),
        ("analyser", "power_analyser"),
        &[
            ("ac_voltage_wave", "1"),
            ("ac_current_wave", "2"),
            ("dc_voltage_wave", "3"),
            ("dc_current_wave", "4"),
            ("pilot_wave", "5"),
        ],
    );
}

fn captures_work(mut desk: Desk, (name, driver_name): (&str, &str), channels: &[(&str, &str)]) {
    let driver = driver(driver_name);
    let capture = |function: &str| driver["functions"][function]["capture"].clone();
    for (function, channel) in channels {
        let capture = capture(function);
        for line in texts(&capture["arm"]) {
            desk.tell(name, &line.replace("{rate}", "5000").replace("{points}", "100"));
        }
        assert_eq!(desk.ask(name, text(&capture, "finished")), "256");
        desk.wait(std::time::Duration::from_millis(25));
        assert_eq!(desk.ask(name, text(&capture, "finished")), "0");
        let scaling = desk.ask(name, &text(&capture, "scaling").replace("{channel}", channel));
        assert_eq!(scaling.split(',').count(), 2);
        let block = desk.bytes(name, text(&capture, "fetch").replace("{channel}", channel).as_bytes());
        assert_eq!((&block[..5], block.len()), (&b"#3200"[..], 206));
    }
    let beyond = channels.len() + 1;
    for trace in ["SCALing", "DATA"] {
        desk.wrong(name, format!("TRACe:{trace}? (@{beyond})").as_bytes(), -222);
    }
    let first = capture(channels[0].0);
    for (setting, key) in [("ACQ:SRAT? ", "highest_rate"), ("ACQ:POIN? ", "most_points")] {
        let header = setting.trim_end_matches("? ");
        let most = quantity(&first[key]);
        desk.tell(name, &format!("{header} {most}"));
        desk.wrong(name, format!("{header} {}", most * 1.01).as_bytes(), -222);
    }
}
