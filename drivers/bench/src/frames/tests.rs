//! What an interface answers, line by line, and that a driver made from frames says nothing that it does not understand.

#![allow(clippy::unwrap_used)]

use super::{Front, Interface, NodeAt};
use crate::interpret::tables::{Serves, Service, Tables};
use crate::link::{Device, Progress};
use pilotage_core::RunTime;
use pilotage_core::frames::{Layout, Life, Node};
use pilotage_plan::files::bench::LinkText;
use pilotage_plan::files::frames::FramesFile;
use pilotage_plan::frame_driver::driver_of;
use pilotage_plan::source::Sp;
use pilotage_plan::{AnyFile, read};
use std::path::Path;
use std::sync::{Arc, Mutex};

fn frames() -> FramesFile {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../files/frames/charger_demo.yaml");
    match read("charger_demo.yaml", &std::fs::read_to_string(path).unwrap()) {
        Ok(AnyFile::Frames(file)) => file,
        other => panic!("{other:?}"),
    }
}

fn layout(name: &str) -> Layout {
    frames().map.named(name).unwrap().1.clone()
}

struct Desk {
    front: Front,
    node: Node,
    now: RunTime,
}

impl Desk {
    fn new() -> Self {
        Self {
            front: Front::new("MAKER", "N-0001", true),
            node: Node::new(frames().map),
            now: RunTime(1_000_000_000),
        }
    }

    fn ask(&mut self, line: &str) -> String {
        let reply = self.front.line(line.as_bytes(), &mut self.node, self.now);
        String::from_utf8(reply).unwrap()
    }

    /// Status frames 100 ms apart, the last of them now.
    fn status(&mut self, count: u32) {
        let status = layout("status");
        for k in 0..count {
            let raws = [1, 0, 2, 801, 100, 230, 160, 60];
            let at = RunTime(self.now.0 + u64::from(k) * 100_000_000);
            self.node.received(&status.encode(&raws, k), at);
        }
        self.now = RunTime(self.now.0 + u64::from(count - 1) * 100_000_000);
    }
}

#[test]
fn lines_and_their_replies() {
    let mut desk = Desk::new();
    for (line, reply) in [
        ("*IDN?", "MAKER,FRAME-INTERFACE,N-0001,1.0\n"),
        ("*RST", ""),
        ("*CLS", ""),
        ("*OPC?", "1\n"),
        ("SYSTem:ERRor?", "0,\"No error\"\n"),
        ("SIGNal command,voltage,400;:SYSTem:ERRor?", "0,\"No error\"\n"),
        ("SIGNal? command,voltage", "400\n"),
        ("sign? command,voltage", "400\n"),
        ("SIGNal command,enable,on", ""),
        ("SIGNal? command,enable", "on\n"),
        ("FRAMes command,bad_counter", ""),
        ("FRAMes? command;:SYSTem:ERRor?", "bad_counter;0,\"No error\"\n"),
        ("PERiod? status", "9.91E37\n"),
        ("SIGNal? status,proximity", "missing\n"),
        ("SIGNal? status,dc_voltage", "9.91E37\n"),
        ("SILence? status", "0\n"),
    ] {
        assert_eq!(desk.ask(line), reply, "{line}");
    }
    desk.status(11);
    for (line, reply) in [
        ("PERiod? status", "0.1\n"),
        ("PERiod:RATio? status", "1\n"),
        ("PER:MIN? status", "0.1\n"),
        ("COUNt:LOST? status", "0\n"),
        ("COUNt:FAULty? status", "0\n"),
        ("SILence? status", "0\n"),
        ("SIGNal? status,proximity", "latched\n"),
        ("SIGNal? status,dc_voltage", "400.5\n"),
    ] {
        assert_eq!(desk.ask(line), reply, "{line}");
    }
}

/// SCPI-99 volume 2, 21.8: −1xx of the command, −2xx of its execution.
#[test]
fn wrong_lines_are_silent_and_say_why() {
    let mut desk = Desk::new();
    for (line, error) in [
        ("NONSense?", "-113,\"Undefined header\"\n"),
        ("SIGNal command,voltage", "-109,\"Missing parameter\"\n"),
        ("SIGNal? command,voltage,4", "-108,\"Parameter not allowed\"\n"),
        ("*IDN? 1", "-108,\"Parameter not allowed\"\n"),
        ("SIGNal command,voltage,much", "-120,\"Numeric data error\"\n"),
        (
            "SIGNal command,voltage,2000",
            "-222,\"Data out of range; 2000 V lies outside of 0 V to 1023.75 V, which `voltage` can hold\"\n",
        ),
        (
            "SIGNal status,dc_voltage,1",
            "-224,\"Illegal parameter value; the frame `status` comes from the item\"\n",
        ),
        (
            "PERiod? stats",
            "-224,\"Illegal parameter value; the map has no frame `stats`\"\n",
        ),
        ("FRAMes command,maybe", "-224,\"Illegal parameter value; maybe\"\n"),
    ] {
        assert_eq!(desk.ask(line), "", "{line}");
        assert_eq!(desk.ask("SYSTem:ERRor?"), error, "{line}");
        assert_eq!(desk.ask("SYSTem:ERRor?"), "0,\"No error\"\n", "{line}");
    }
    // A command error ends its line and withholds what was to be replied.
    assert_eq!(desk.ask("*OPC?;NONSense;*OPC?"), "");
    assert_eq!(desk.ask("SYSTem:ERRor?"), "-113,\"Undefined header\"\n");
}

/// The next question after a silence of the program gets the answer, and with it what became of the commands.
#[test]
fn the_next_line_after_the_program_hung_says_so() {
    let (mut desk, life) = (Desk::new(), Life::default());
    life.show(desk.now);
    desk.node.owned_by(life.clone());
    assert_eq!(
        desk.ask("SIGNal command,enable,on;:FRAMes command,on;:SYSTem:ERRor?"),
        "0,\"No error\"\n"
    );
    let mut sent = 0;
    while let Some(due) = desk.node.due().filter(|due| *due < RunTime(4_000_000_000)) {
        sent += desk.node.transmit(due).len();
        desk.now = due;
    }
    assert_eq!(sent, 30);
    life.show(desk.now);
    let said = "-300,\"Device-specific error; at 3.100 s the program had shown no life for 2 s, and the item was told to stop\"";
    assert_eq!(
        desk.ask("SIGNal? command,enable;:SYSTem:ERRor?"),
        format!("off;{said}\n")
    );
    assert_eq!(
        desk.ask("SIGNal? command,enable;:SYSTem:ERRor?"),
        "off;0,\"No error\"\n"
    );
}

#[test]
fn an_interface_that_cannot_hold_the_bus_says_so() {
    let mut desk = Desk::new();
    desk.front = Front::new("MAKER", "can0", false);
    assert_eq!(desk.ask("FRAMes command,bus_off"), "");
    assert_eq!(
        desk.ask("SYSTem:ERRor?"),
        "-221,\"Settings conflict; this interface cannot hold the bus\"\n"
    );
    assert_eq!(desk.ask("FRAMes? command"), "stopped\n");
    assert_eq!(
        desk.ask("FRAMes command,bad_counter;:SYSTem:ERRor?"),
        "0,\"No error\"\n"
    );
}

/// Two parties on one interface of the system, each with the frames of its own side.
#[test]
#[ignore = "needs the interface vcan0: ip link add vcan0 type vcan && ip link set vcan0 up"]
fn frames_go_over_an_interface_of_the_system() {
    let began = std::time::Instant::now();
    let now: crate::link::Now = Arc::new(move || RunTime(u64::try_from(began.elapsed().as_nanos()).unwrap()));
    let mut turned = frames().map;
    for layout in &mut turned.frames {
        layout.to_item = !layout.to_item;
    }
    let life = Life::default();
    let mut bench = super::socket::open("vcan0", frames().map, &life, &now).unwrap();
    let item_lives = Life::default();
    item_lives.show(RunTime(u64::MAX));
    let mut item = super::socket::open("vcan0", turned, &item_lives, &now).unwrap();
    assert!(super::socket::stays_on_this_machine("vcan0"));
    let start = |node: &mut Node, frame: &str, at| node.send(frame, pilotage_core::frames::Sending::On, at).unwrap();
    bench
        .with(now(), &mut |node| {
            node.set("command", "voltage", 400.0).unwrap();
            node.set_word("command", "enable", "on").unwrap();
            start(node, "command", now());
        })
        .unwrap();
    life.show(now());
    item.with(now(), &mut |node| start(node, "status", now())).unwrap();
    std::thread::sleep(std::time::Duration::from_secs(2));
    item.with(now(), &mut |node| {
        assert_eq!(node.value("command", "voltage", now()), Ok(Some(400.0)));
    })
    .unwrap();
    bench
        .with(now(), &mut |node| {
            let figures = node.figures("status", now()).unwrap().unwrap();
            assert!((figures.mean_s - 0.1).abs() < 0.01 && figures.lost == 0, "{figures:?}");
        })
        .unwrap();
    // From here on the program shows no life.
    std::thread::sleep(std::time::Duration::from_millis(2500));
    item.with(now(), &mut |node| {
        assert_eq!(node.word("command", "enable", now()), Ok(Some("off".to_owned())));
    })
    .unwrap();
    bench
        .with(now(), &mut |node| assert!(node.was_abandoned().is_some()))
        .unwrap();
}

#[test]
fn an_interface_that_does_not_exist_is_refused_with_its_name() {
    let now: crate::link::Now = Arc::new(|| RunTime::START);
    let error = super::socket::open("nowhere9", frames().map, &Life::default(), &now)
        .err()
        .unwrap();
    assert!(
        error.to_string().starts_with("no connection to can nowhere9: "),
        "{error}"
    );
    assert!(!super::socket::stays_on_this_machine("nowhere9"));
}

/// Every message of every function, as the bench would send it.
#[test]
fn the_interface_understands_every_message_of_its_driver() {
    let driver = driver_of(&frames());
    let mut bench = crate::testing::files::bench();
    bench.instruments[0].link = LinkText::Can {
        interface: Sp {
            value: "virtual".to_owned(),
            span: driver.name.span.clone(),
        },
    };
    bench.instruments[0].driver = driver.name.clone();
    let of_function = |name: &str| crate::testing::files::point(&format!("point_{name}"), name, "");
    let names = driver
        .functions
        .iter()
        .map(|function| of_function(&function.name.value));
    bench.points = names.collect();
    let tables = Tables::compile(&bench, [&driver]).unwrap();
    assert_eq!(tables.services.len(), driver.functions.len());
    let mut desk = Desk::new();
    desk.status(11);
    let mut asked = 0;
    for Service { serves, point, .. } in tables.services.values() {
        let mut asks = Vec::new();
        match serves {
            Serves::Choose(choices) => {
                for choice in choices {
                    assert_eq!(desk.ask(choice.message.text()), "0,\"No error\"\n", "{point}");
                    assert_eq!(desk.ask(choice.ask.alone.text()).trim_end(), choice.answer, "{point}");
                    asks.push(&choice.ask);
                }
            }
            Serves::Amount(amount) => {
                let line = amount.message.replace("{value}", "10.05");
                assert_eq!(desk.ask(&line), "0,\"No error\"\n", "{point}");
                let back: f64 = desk.ask(amount.ask.alone.text()).trim_end().parse().unwrap();
                assert!((back - 10.05).abs() <= amount.within_si + 1e-12, "{point}: {back}");
                asks.push(&amount.ask);
            }
            Serves::Measure(measure) => asks.push(&measure.ask),
            Serves::Word { ask, .. } => asks.push(ask),
            Serves::Capture(_) => panic!("{point}: frames are not captured"),
        }
        for ask in asks {
            assert!(!desk.ask(ask.alone.text()).is_empty(), "{point}");
            let both = ask.with_errors.as_ref().expect("errors are asked for with a reading");
            assert!(desk.ask(both.text()).ends_with(";0,\"No error\"\n"), "{point}");
            asked += 1;
        }
    }
    assert!(asked > 30, "{asked}");
}

struct Shared(Arc<Mutex<Option<Node>>>);

impl NodeAt for Shared {
    fn with(&mut self, _: RunTime, work: &mut dyn FnMut(&mut Node)) -> Result<(), String> {
        let mut node = self.0.lock().unwrap();
        node.as_mut().map(work).ok_or_else(|| "gone".to_owned())
    }
}

#[test]
fn a_line_takes_its_time_and_an_interface_without_a_bus_is_silent() {
    let node = Arc::new(Mutex::new(Some(Node::new(frames().map))));
    let mut device = Interface::new(Shared(node.clone()), "MAKER", "N-0001");
    let ready = device.respond(b"*OPC?", RunTime::START);
    assert_eq!(ready, RunTime(1_000_000));
    assert_eq!(device.finish(RunTime(999_999)), Progress::NotBefore(ready));
    assert_eq!(device.finish(ready), Progress::Done(b"1\n".to_vec()));
    *node.lock().unwrap() = None;
    let ready = device.respond(b"*OPC?", ready);
    assert_eq!(device.finish(ready), Progress::Done(Vec::new()));
}
