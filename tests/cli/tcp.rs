//! `bench serve` and `run` over real sockets and real clocks: the whole quick check, Ctrl-C, and a bench that goes away.
//!
//! A faster pace shortens the test and every deadline with it: an interlock that must answer within 50 ms then has to do so
//! within 5 ms of ours. A busy machine misses that, and the run rightly trips; so the whole run is tried at slower paces too.
#![allow(clippy::unwrap_used)]
#![cfg(unix)]

mod support;

use serde_json::Value;
use std::io::{BufRead, BufReader, Read};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};
use support::{Place, Ran, binary, repository};

/// A served bench; killed when dropped.
struct Served {
    child: Child,
    person: String,
}

impl Served {
    /// On ports that the system chooses, with a bench file for them.
    fn start(place: &Place, pace: &str) -> Self {
        Self::at(place, pace, ("wall_unit_32a", "mid_bench_tcp"))
    }

    /// The same with another item on the bench that is for it.
    fn at(place: &Place, pace: &str, (item, bench): (&str, &str)) -> Self {
        let mut child = Command::new(binary())
            .args([
                "bench", "serve", "--port", "0", "--pace", pace, "--json", "--item", item,
            ])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.as_mut().unwrap())
            .read_line(&mut line)
            .unwrap();
        let announced: Value = serde_json::from_str(&line).unwrap();
        let mut bench = std::fs::read_to_string(repository(&format!("sequences/benches/{bench}.yaml"))).unwrap();
        for (name, port) in announced["ports"].as_object().unwrap() {
            // A bench file may leave instruments alone that stand at the item.
            let Some(start) = bench.find(&format!("\n  {name}: {{")) else {
                continue;
            };
            let from = start + bench[start..].find("127.0.0.1:").unwrap();
            let to = from + bench[from..].find('"').unwrap();
            bench.replace_range(from..to, &format!("127.0.0.1:{port}"));
        }
        place.write("bench.yaml", bench);
        Self {
            child,
            person: announced["person"].to_string(),
        }
    }

    /// Runs a sequence on it, with its person, to the end.
    fn run(&self, place: &Place, sequence: &str, pace: &str) -> Ran {
        let bench = ["run", sequence, "--bench", "bench.yaml", "--no-pdf", "--out", "r"];
        let person = ["--pace", pace, "--virtual-person", &self.person];
        place.run(&[&bench[..], &person].concat())
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _already_ended = self.child.kill();
        self.child.wait().unwrap();
    }
}

/// A run that goes on beside the test.
struct Going {
    child: Child,
    lines: BufReader<std::process::ChildStderr>,
    said: String,
}

impl Going {
    fn start(place: &Place, more: &[&str]) -> Self {
        let mut child = Command::new(binary())
            .current_dir(place.path())
            .args([
                "run",
                "wall_unit/quick_check",
                "--bench",
                "bench.yaml",
                "--no-pdf",
                "--out",
                "r",
                "--json",
            ])
            .args(more)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stderr.take().unwrap());
        Self {
            child,
            lines,
            said: String::new(),
        }
    }

    /// Reads messages until one holds these words.
    fn until(&mut self, words: &str) {
        loop {
            let from = self.said.len();
            assert!(
                self.lines.read_line(&mut self.said).unwrap() > 0,
                "{words:?} never came: {}",
                self.said
            );
            if self.said[from..].contains(words) {
                return;
            }
        }
    }

    fn interrupt(&self) {
        let id = self.child.id().to_string();
        assert!(Command::new("kill").args(["-INT", &id]).status().unwrap().success());
    }

    /// Its end: exit status, all messages, and the data.
    fn end(mut self) -> (ExitStatus, String, String) {
        let mut data = String::new();
        self.lines.read_to_string(&mut self.said).unwrap();
        self.child.stdout.take().unwrap().read_to_string(&mut data).unwrap();
        (self.child.wait().unwrap(), self.said, data)
    }
}

/// Only a machine that was too slow is a reason to try at a slower pace.
fn too_slow(said: &str) -> bool {
    [
        "missed check",
        "was not seen open within",
        "in which nothing was watched",
    ]
    .iter()
    .any(|words| said.contains(words))
}

#[test]
fn the_quick_check_passes_over_real_sockets() {
    for pace in ["10", "4", "1"] {
        let place = Place::new();
        let served = Served::start(&place, pace);
        let (status, said, data) = Going::start(
            &place,
            &["--pace", pace, "--virtual-person", &served.person, "--trace", "t.trace"],
        )
        .end();
        if status.code() != Some(0) && too_slow(&said) && pace != "1" {
            continue;
        }
        assert_eq!(status.code(), Some(0), "pace {pace}: {said}");
        let json: Value = serde_json::from_str(&data).unwrap();
        assert_eq!(
            (&json["verdict"], &json["virtual"]),
            (&"pass".into(), &"virtual bench, no item was tested".into())
        );
        let journal = std::fs::read_to_string(place.path().join("r/journal.txt")).unwrap();
        let heading = journal.lines().next().unwrap();
        assert!(
            heading.contains("\"mode\":\"virtual_bench\"") && heading.contains("\"over_tcp\":true"),
            "{heading}"
        );
        place.run(&["verify", "r"]).exits(0);
        place.run(&["judge", "r"]).exits(0);
        let trace = std::fs::read_to_string(place.path().join("t.trace")).unwrap();
        assert!(
            trace.starts_with("# pilotage trace 1\n# of: run-") && trace.contains(" meter > *IDN?\\x0A\n"),
            "{}",
            &trace[..trace.len().min(300)]
        );
        assert!(said.contains("needs   the bench can decide everything"), "{said}");
        return;
    }
}

/// The small workshop over real sockets. No interlock hurries it, so a busy machine only makes deadlines short; it is tried slower too.
#[test]
fn a_charger_without_high_voltage_passes_over_real_sockets() {
    for pace in ["20", "6"] {
        let place = Place::new();
        let served = Served::at(&place, pace, ("onboard_charger_7kw", "small_workshop_tcp"));
        let ran = served.run(&place, "onboard_charger/no_high_voltage", pace);
        if ran.code != 0 && pace != "6" {
            continue;
        }
        let ran = ran.exits(0);
        assert!(ran.err.contains("so it cannot energise the item"), "{}", ran.err);
        place.run(&["verify", "r"]).exits(0);
        place.run(&["judge", "r"]).exits(0);
        return;
    }
}

/// Power for some seconds: a battery of 350 V, an offer of 30 %, and the end of the offer.
const POWER: &str = r#"pilotage: sequence/1
title: A charger with power, for some seconds
item: onboard_charger
limits: onboard_charger_practice
default_item: onboard_charger_7kw
default_bench: charger_bench
cautions:
  - {signal: danger, text: "AC pins and DC output carry dangerous voltages."}
interlocks:
  enclosure: {must_be: closed, every: 50 ms}
  hard_wired_stop: {proven_within: 12 h}
protect:
  terminal.temperature: {at_most: 90 °C, every: 1 s}
steps:
  - step: an offer, and power
    id: XC-01
    do:
      - set: {low_voltage.voltage: $low_voltage}
      - set: {low_voltage: on}
      - set: {proximity: latched}
      - set: {pilot_source: steady}
      - set: {supply.voltage: $supply_voltage}
      - set: {supply: on}
      - set: {load.voltage: 350 V, load.current: $dc_current}
      - set: {load: on}
      - set: {pilot_source.duty: 30 %}
      - set: {pilot_source: pwm}
      - wait_for:
          "ac_input[L].current": {at_least: 15 A}
          every: 500 ms
          deadline: 30 s
          as: t_power
          status: common practice
      - read: {v_dc: dc_output.voltage, v_sink: load.measured_voltage, i_ac: "ac_input[L].current"}
      - judge:
          v_dc: {between: [345 V, 355 V], status: common practice}
          v_sink: {between: [345 V, 355 V], status: common practice}
          i_ac: {at_most: 18 A, status: common practice}
  - step: the offer ends
    id: XC-02
    do:
      - set: {pilot_source: steady}
      - hold: 4 s
      - read: {i_after: "ac_input[L].current"}
      - judge: {i_after: {at_most: 1 A, status: common practice}}
"#;

/// The bench of chargers over real sockets, with power: both contactors are seen to open, everything passes, and the record names the socket
/// of each instrument.
#[test]
fn a_charger_with_power_passes_over_real_sockets_and_the_record_names_them() {
    for pace in ["10", "4", "1"] {
        let place = Place::new();
        let served = Served::at(&place, pace, ("onboard_charger_7kw", "charger_bench_tcp"));
        place.write("power.yaml", POWER);
        let ran = served.run(&place, "power.yaml", pace);
        if ran.code != 0 && too_slow(&ran.err) && pace != "1" {
            continue;
        }
        let ran = ran.exits(0);
        for said in ["pass          BC-11", "pass          XC-01", "pass          XC-02"] {
            assert!(ran.err.contains(said), "{said}: {}", ran.err);
        }
        let journal = std::fs::read_to_string(place.path().join("r/journal.txt")).unwrap();
        for stop in ["enclosure", "hard_wired_stop"] {
            assert!(journal.contains(&format!("\"{stop}_load_contactor_delay\"")), "{stop}");
        }
        let bench = std::fs::read_to_string(place.path().join("bench.yaml")).unwrap();
        let sockets: Vec<&str> = bench
            .split("{tcp: \"")
            .skip(1)
            .filter_map(|rest| rest.split('"').next())
            .collect();
        assert_eq!(sockets.len(), 17, "{sockets:?}");
        let heading = journal.lines().next().unwrap();
        for socket in sockets {
            assert!(
                heading.contains(&format!("\"link\":\"tcp {socket}\"")),
                "{socket}: {heading}"
            );
        }
        assert!(heading.contains("\"over_tcp\":true"), "{heading}");
        place.run(&["verify", "r"]).exits(0);
        place.run(&["judge", "r"]).exits(0);
        return;
    }
}

#[test]
fn a_person_stops_the_run_and_it_makes_safe() {
    let place = Place::new();
    let served = Served::start(&place, "4");
    let mut going = Going::start(&place, &["--pace", "4", "--virtual-person", &served.person]);
    going.until("BC-02");
    going.interrupt();
    let (status, said, data) = going.end();
    assert!(said.contains("stopped: a person asked the run to stop"), "{said}");
    let confirmed = said.contains("made safe and read back");
    assert_eq!(status.code(), Some(if confirmed { 4 } else { 6 }), "{said}");
    assert!(
        serde_json::from_str::<Value>(&data).unwrap()["codes"]
            .as_array()
            .unwrap()
            .contains(&4.into())
    );
    place.run(&["verify", "r"]).exits(0);
}

#[test]
fn a_bench_that_goes_away_is_not_confirmed_dead_and_that_is_said_first() {
    let place = Place::new();
    let mut served = Served::start(&place, "4");
    let mut going = Going::start(&place, &["--pace", "4", "--virtual-person", &served.person]);
    going.until("BC-02");
    served.child.kill().unwrap();
    let began = Instant::now();
    let (status, said, data) = going.end();
    assert!(
        began.elapsed() < Duration::from_secs(90),
        "it takes {:?} to give up",
        began.elapsed()
    );
    assert_eq!(status.code(), Some(6), "{said}");
    assert!(
        said.contains("!!! NOT CONFIRMED DEAD") && said.contains("mend: "),
        "{said}"
    );
    let json: Value = serde_json::from_str(&data).unwrap();
    assert!(
        json["said_first"][0].as_str().unwrap().contains("NOT CONFIRMED DEAD"),
        "{json:#}"
    );
    place.run(&["verify", "r"]).exits(0);
}

#[test]
fn a_prompt_at_the_terminal_can_be_refused_or_interrupted() {
    let place = Place::new();
    let _served = Served::start(&place, "4");
    let mut going = Going::start(&place, &["--pace", "4"]);
    going.until("Your name or role");
    // The standard input stays open: a stopped run must not wait for it.
    going.interrupt();
    let mut input = going.child.stdin.take();
    let (status, said, _) = going.end();
    assert!(
        matches!(status.code(), Some(4 | 6)) && said.contains("stopped: a person"),
        "{said}"
    );
    drop(input.take());
    // Nobody there at all: the end of the standard input is a refusal.
    std::fs::remove_dir_all(place.path().join("r")).unwrap();
    let ran = place.run(&[
        "run",
        "wall_unit/quick_check",
        "--bench",
        "bench.yaml",
        "--pace",
        "4",
        "--no-pdf",
        "--out",
        "r",
    ]);
    assert!(matches!(ran.code, 4 | 6) && ran.err.contains("stopped: "), "{ran:#?}");
}

#[test]
fn a_port_that_is_taken_and_a_person_that_is_not_there() {
    let place = Place::new();
    let served = Served::start(&place, "1");
    let ran = place.run(&["bench", "serve", "--port", &served.person]).exits(5);
    assert!(
        ran.err.contains(&served.person) && ran.err.contains("mend: "),
        "{ran:?}"
    );
    let arguments = [
        "run",
        "wall_unit/quick_check",
        "--bench",
        "bench.yaml",
        "--virtual-person",
        "1",
        "--out",
        "r",
    ];
    let ran = place.run(&arguments).exits(5);
    assert!(
        ran.err.contains("virtual person at port 1") && !place.path().join("r").exists(),
        "{ran:?}"
    );
}
