//! The bench of inlets and cables: its files name what exists, every message works, and readings keep what the drivers state.

use super::desk::Desk;
use super::files::{differ_in_their_links_only, driver, map, quantity, read, set_and_confirmed, text, texts};
use pilotage_virtual::physics::{Core, DeadPath, ItemSort, World};
use serde_json::Value;
use std::collections::BTreeMap;

const SORTS: [ItemSort; 2] = [ItemSort::Inlet, ItemSort::CableAssembly];

fn bench() -> Value {
    read("sequences/benches/cable_bench.yaml")
}

fn drivers() -> BTreeMap<String, Value> {
    let bench = bench();
    let named = map(&bench["instruments"]).iter();
    named
        .map(|(name, entry)| (name.clone(), driver(text(entry, "driver"))))
        .collect()
}

fn healthy(sort: ItemSort) -> Desk {
    Desk::contacts(1, sort, &[])
}

#[test]
fn the_bench_file_names_the_instruments_that_exist() {
    for sort in SORTS {
        let mut desk = healthy(sort);
        let bench = bench();
        let mut names = desk.names();
        names.sort();
        assert_eq!(map(&bench["instruments"]).keys().cloned().collect::<Vec<_>>(), names);
        for (name, entry) in map(&bench["instruments"]) {
            let identity = desk.ask(name, "*IDN?");
            let fields: Vec<&str> = identity.split(',').collect();
            let driver = driver(text(entry, "driver"));
            assert_eq!((fields[1], fields[2]), (text(&driver, "model"), text(entry, "serial")));
            for line in texts(&driver["start"]) {
                desk.tell(name, line);
            }
            assert_eq!(desk.ask(name, text(&driver, "errors")), "0,\"No error\"", "{name}");
        }
    }
}

#[test]
fn both_bench_files_differ_in_their_links_only() {
    let names = healthy(ItemSort::Inlet).names();
    assert_eq!(names.len(), 10);
    differ_in_their_links_only(bench(), read("sequences/benches/cable_bench_tcp.yaml"), &names);
}

/// What only one of the two kinds has answers on the other's bench with an overload or a word, never with an error.
#[test]
fn every_point_is_served_by_a_message_that_works() {
    let (bench, drivers) = (bench(), drivers());
    for sort in SORTS {
        let mut desk = healthy(sort);
        desk.tell("insulation", "VOLT 500;OUTP ON");
        let mut counted = BTreeMap::new();
        for (point, service) in map(&bench["points"]) {
            let by = text(service, "by");
            let function = &drivers[by]["functions"][text(service, "function")];
            let channel = service["channel"].as_str().unwrap_or("");
            let form = if function["measure"].is_object() {
                let reply = desk.ask(by, &text(&function["measure"], "ask").replace("{channel}", channel));
                assert!(reply.parse::<f64>().is_ok(), "{point}: {reply}");
                "measure"
            } else if function["amount"].is_object() {
                set_and_confirmed(&mut desk, by, &function["amount"]);
                "amount"
            } else if let Some(word) = function["word"].as_object() {
                let reply = desk.ask(by, word["ask"].as_str().unwrap());
                assert!(word["answers"][&reply].is_string(), "{point}: {reply}");
                "word"
            } else if let Some(choices) = function["choose"].as_object() {
                for choice in choices.values() {
                    for line in texts(&choice["send"]) {
                        desk.tell(by, line);
                    }
                    assert_eq!(desk.ask(by, text(choice, "ask")), text(choice, "answer"), "{point}");
                }
                // Whatever comes last in the file: on again, so that insulation can be read.
                desk.tell("insulation", "VOLT 500;OUTP ON");
                "choose"
            } else {
                assert!(function["capture"].is_object(), "{point}: {function}");
                "capture"
            };
            *counted.entry(form).or_insert(0) += 1;
        }
        let expected = [
            ("amount", 4),
            ("capture", 3),
            ("choose", 7),
            ("measure", 49),
            ("word", 5),
        ];
        assert_eq!(counted.into_iter().collect::<Vec<_>>(), expected);
    }
}

/// Worst error of a reading over 200 seeds, as a share of what the driver states.
fn worst(
    name: &str,
    function: &str,
    channel: &str,
    prepare: &str,
    truth: fn(&mut World, pilotage_core::RunTime) -> f64,
) -> f64 {
    let driver = drivers().remove(name).unwrap();
    let measure = &driver["functions"][function]["measure"];
    let stated = |key: &str| {
        let given = &measure["accuracy"][key];
        if given.is_null() { 0.0 } else { quantity(given) }
    };
    let mut worst = 0.0_f64;
    for seed in 0..200 {
        let mut desk = Desk::contacts(seed, ItemSort::CableAssembly, &[]);
        if !prepare.is_empty() {
            desk.tell(name, prepare);
        }
        let shown = desk.number(name, &text(measure, "ask").replace("{channel}", channel));
        let truth = truth(&mut desk.world.lock().unwrap(), desk.now);
        let limit = stated("of_reading") * truth + stated("fixed") + stated("resolution") / 2.0;
        let share = (shown - truth).abs() / limit;
        assert!(share <= 1.0, "{name} {function}, seed {seed}: {shown} {truth}, {share}");
        worst = worst.max(share);
    }
    worst
}

/// The statement is kept, and it is used.
#[test]
fn readings_keep_what_the_drivers_state() {
    let cases = [
        worst("ohmmeter", "resistance", "1", "", |world, now| {
            world.resistance(DeadPath::Core(Core::L, Core::L), now).unwrap()
        }),
        worst("insulation", "insulation", "2", "VOLT 500;OUTP ON", |world, now| {
            world.resistance(DeadPath::Between(Core::L, Core::Pe), now).unwrap()
        }),
        worst("bridge", "capacitance", "1", "", |world, now| {
            world.capacitance(DeadPath::Between(Core::Cp, Core::Pe), now).unwrap()
        }),
        worst(
            "current_source",
            "measured_current",
            "",
            "CURR 32;OUTP ON",
            |world, now| world.truth(now).load_a,
        ),
    ];
    for worst in cases {
        assert!(worst > 0.4, "{cases:?}");
    }
}

#[test]
fn the_insulation_instrument_refuses_to_measure_while_it_is_off() {
    let mut desk = healthy(ItemSort::Inlet);
    desk.tell("insulation", "VOLT 500");
    desk.wrong("insulation", b"MEAS:RES? (@1)", -221);
    desk.wrong("insulation", b"VOLT 501", -222);
    desk.tell("insulation", "OUTP ON");
    desk.wrong("insulation", b"MEAS:RES? (@7)", -222);
}

/// 10 MΩ are fitted: an open core reads them by the meter and is an overload to 10 A; so is what is beyond its range.
#[test]
fn an_open_core_reads_a_number_by_the_meter_and_an_overload_by_ten_ampere() {
    let mut desk = Desk::contacts(1, ItemSort::CableAssembly, &[("cp_open", 1.0), ("r_pe_more", 5.0)]);
    let open = desk.number("meter", "MEAS:FRES? (@224)");
    assert!((open - 10e6).abs() < 10e3, "{open}");
    assert!(desk.number("ohmmeter", "MEAS:FRES? (@4)") > 9e37);
    assert!(desk.number("ohmmeter", "MEAS:FRES? (@3)") > 9e37);
    assert!(desk.number("meter", "MEAS:FRES? (@223)") < 5.1);
}
