//! Small instruments for this crate's tests: in memory, and behind real sockets on 127.0.0.1.

#![allow(clippy::unwrap_used)]

pub(crate) mod shipped;

use crate::link::{Now, Simple};
use pilotage_core::RunTime;
use pilotage_run::world::Clock;
use std::collections::{BTreeMap, VecDeque};
use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::time::Instant;

/// The run's clock over tokio's.
pub(crate) struct TestClock(Instant);

impl TestClock {
    pub(crate) fn start() -> Arc<Self> {
        Arc::new(Self(Instant::now()))
    }

    pub(crate) fn reader(self: &Arc<Self>) -> Now {
        let clock = Arc::clone(self);
        Arc::new(move || clock.now())
    }
}

impl Clock for TestClock {
    fn now(&self) -> RunTime {
        RunTime::START.plus(self.0.elapsed())
    }

    async fn sleep(&self, span: Duration) {
        tokio::time::sleep(span).await;
    }
}

/// A command error stops the whole message.
struct Stopped;

/// A load with a meter and a capture: enough of an instrument to be driven.
pub(crate) struct Desk {
    pub(crate) identity: String,
    settings: BTreeMap<String, String>,
    errors: VecDeque<String>,
    enabled: String,
    points: usize,
    /// Execution time of queries that begin with a text.
    pub(crate) slow: BTreeMap<String, Duration>,
    /// Replies that replace the usual ones.
    pub(crate) fixed: BTreeMap<String, Vec<u8>>,
}

impl Desk {
    pub(crate) fn new() -> Self {
        Self {
            identity: "PILOTAGE VIRTUAL,DESK,D-0001,1.0".to_owned(),
            settings: BTreeMap::new(),
            errors: VecDeque::new(),
            enabled: "0".to_owned(),
            points: 0,
            slow: BTreeMap::new(),
            fixed: BTreeMap::new(),
        }
    }

    pub(crate) fn answering(query: &str, reply: &[u8]) -> Self {
        let mut desk = Self::new();
        desk.fixed.insert(query.to_owned(), reply.to_vec());
        desk
    }

    /// One command.
    fn command(&mut self, command: &str) -> Result<Option<Vec<u8>>, Stopped> {
        if let Some(reply) = self.fixed.get(command) {
            return Ok(Some(reply.clone()));
        }
        let (header, argument) = command.split_once(' ').unwrap_or((command, ""));
        let reply = match header {
            "*IDN?" => Some(self.identity.clone().into_bytes()),
            "*CLS" => {
                self.errors.clear();
                None
            }
            "*RST" => {
                self.settings.clear();
                None
            }
            "*ESE" => {
                self.enabled = argument.to_owned();
                None
            }
            "*ESE?" => Some(self.enabled.clone().into_bytes()),
            "*OPC?" => Some(b"1".to_vec()),
            "*ESR?" | "STATus:OPERation:CONDition?" => Some(b"0".to_vec()),
            "SYSTem:ERRor?" => Some(
                self.errors
                    .pop_front()
                    .unwrap_or_else(|| "0,\"No error\"".to_owned())
                    .into_bytes(),
            ),
            "MEASure:ECHO?" => Some(argument.as_bytes().to_vec()),
            "TRACe:SCALing?" => Some(b"1.5,0.25".to_vec()),
            "ACQuire:POINts" => {
                self.points = argument.parse().unwrap();
                None
            }
            "TRACe:DATA?" => Some(self.block()),
            "CURRent" | "INPut" | "ACQuire:SRATe" | "INITiate" => {
                self.settings.insert(header.to_owned(), argument.to_owned());
                None
            }
            "CURRent?" | "INPut?" => {
                let name = header.trim_end_matches('?');
                Some(
                    self.settings
                        .get(name)
                        .map_or(b"0".to_vec(), |value| value.clone().into_bytes()),
                )
            }
            _ => {
                self.errors.push_back(format!("-113,\"Undefined header;{command}\""));
                return Err(Stopped);
            }
        };
        Ok(reply)
    }

    fn block(&self) -> Vec<u8> {
        let length = (2 * self.points).to_string();
        let mut out = format!("#{}{length}", length.len()).into_bytes();
        (0..self.points).for_each(|index| out.extend(((10 * index) as u16).to_le_bytes()));
        out
    }
}

impl Simple for Desk {
    fn respond(&mut self, line: &[u8], _now: RunTime) -> (Vec<u8>, Duration) {
        let line = str::from_utf8(line).unwrap();
        let slow = self.slow.iter().find(|(start, _)| line.starts_with(start.as_str()));
        let after = slow.map_or(Duration::from_millis(1), |(_, after)| *after);
        let mut out: Vec<u8> = Vec::new();
        for command in line.split(';') {
            match self.command(command.trim_start_matches(':')) {
                Ok(Some(reply)) => {
                    if !out.is_empty() {
                        out.push(b';');
                    }
                    out.extend(reply);
                }
                Ok(None) => {}
                Err(Stopped) => return (Vec::new(), after),
            }
        }
        if !out.is_empty() {
            out.push(b'\n');
        }
        (out, after)
    }
}

/// What a socket does with the next reply.
#[derive(Debug, Clone)]
pub(crate) enum Prank {
    /// Sends it after so long.
    Late(Duration),
    /// Closes instead.
    Close,
    /// Sends this instead, and nothing more.
    Instead(Vec<u8>),
}

/// A desk behind a socket.
pub(crate) struct Served {
    pub(crate) port: u16,
    pub(crate) pranks: Arc<Mutex<VecDeque<Prank>>>,
    pub(crate) desk: Arc<Mutex<Desk>>,
}

impl Served {
    /// Plays a prank on the next reply that none is waiting for yet.
    pub(crate) fn prank(&self, prank: Prank) {
        self.pranks.lock().unwrap().push_back(prank);
    }
}

/// Serves a desk on a free port until the process ends. Pranks are played on replies to `MEASure` queries only.
pub(crate) fn serve(desk: Desk) -> Served {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let served = Served {
        port: listener.local_addr().unwrap().port(),
        pranks: Arc::default(),
        desk: Arc::new(Mutex::new(desk)),
    };
    let (pranks, desk) = (Arc::clone(&served.pranks), Arc::clone(&served.desk));
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let (pranks, desk) = (Arc::clone(&pranks), Arc::clone(&desk));
            std::thread::spawn(move || {
                let mut stream = stream.unwrap();
                stream.set_nodelay(true).unwrap();
                let mut lines = BufReader::new(stream.try_clone().unwrap());
                let mut line = Vec::new();
                while lines.read_until(b'\n', &mut line).is_ok_and(|count| count > 0) {
                    line.pop();
                    let (reply, _) = desk.lock().unwrap().respond(&line, RunTime::START);
                    let prank = if line.starts_with(b"MEASure") {
                        pranks.lock().unwrap().pop_front()
                    } else {
                        None
                    };
                    line.clear();
                    let sent = match prank {
                        Some(Prank::Close) => return,
                        Some(Prank::Instead(bytes)) => stream.write_all(&bytes),
                        Some(Prank::Late(span)) => {
                            std::thread::sleep(span);
                            stream.write_all(&reply)
                        }
                        None => stream.write_all(&reply),
                    };
                    if sent.is_err() {
                        return;
                    }
                }
            });
        }
    });
    served
}

/// Runs on a paused clock.
pub(crate) fn virtually<F: Future>(future: F) -> F::Output {
    let mut builder = tokio::runtime::Builder::new_current_thread();
    builder
        .enable_all()
        .start_paused(true)
        .build()
        .unwrap()
        .block_on(future)
}

/// Runs on the real clock.
pub(crate) fn really<F: Future>(future: F) -> F::Output {
    let mut builder = tokio::runtime::Builder::new_current_thread();
    builder.enable_all().build().unwrap().block_on(future)
}

/// Files written by hand: a bench with one desk, and its driver.
pub(crate) mod files {
    use pilotage_core::Expr;
    use pilotage_plan::files::bench::{BenchFile, InstrumentText, LinkText, ServiceText};
    use pilotage_plan::files::driver::{
        AccuracyText, CaptureText, ChoiceText, DriverFile, FunctionForm, FunctionText, MeasureText,
    };
    use pilotage_plan::source::{Formula, Sp, Span};

    pub(crate) fn span() -> Span {
        Span {
            file: "desk.yaml".into(),
            line: 7,
            column: 1,
            offset: 0,
            length: 1,
        }
    }

    pub(crate) fn sp(text: &str) -> Sp<String> {
        Sp {
            value: text.to_owned(),
            span: span(),
        }
    }

    pub(crate) fn formula(text: &str) -> Formula {
        Formula {
            expr: Expr::parse(text).unwrap(),
            span: span(),
        }
    }

    fn function(name: &str, form: FunctionForm) -> FunctionText {
        FunctionText {
            name: sp(name),
            form,
            span: span(),
        }
    }

    fn choice(word: &str, send: &str, ask: &str, answer: &str) -> (Sp<String>, ChoiceText) {
        let text = ChoiceText {
            send: vec![sp(send)],
            ask: sp(ask),
            answer: sp(answer),
        };
        (sp(word), text)
    }

    pub(crate) fn measure(unit: &str, ask: &str, accuracy: Option<AccuracyText>) -> FunctionForm {
        FunctionForm::Measure(MeasureText {
            unit: sp(unit),
            ask: sp(ask),
            deadline: None,
            aperture: Some(formula("200 ms")),
            accuracy,
        })
    }

    /// The figures of the meter in the design's example: 0.06 % of reading, 0.03 % of 750 V, 0.1 mV.
    pub(crate) fn accuracy() -> AccuracyText {
        AccuracyText {
            of_reading: Some(formula("0.06 %")),
            of_range: Some(formula("0.03 %")),
            range: Some(formula("750 V")),
            fixed: None,
            resolution: Some(formula("0.1 mV")),
            coverage: None,
        }
    }

    fn current(ask: &str) -> FunctionForm {
        FunctionForm::Amount {
            unit: sp("A"),
            between: (formula("0 A"), formula("40 A")),
            send: vec![sp("CURRent {value}")],
            ask: sp(ask),
            confirm_within: formula("10 mA"),
        }
    }

    fn capture() -> FunctionForm {
        FunctionForm::Capture(CaptureText {
            unit: sp("V"),
            arm: vec![
                sp("ACQuire:SRATe {rate}"),
                sp("ACQuire:POINts {points}"),
                sp("INITiate"),
            ],
            finished: sp("STATus:OPERation:CONDition?"),
            scaling: sp("TRACe:SCALing? (@{channel})"),
            fetch: sp("TRACe:DATA? (@{channel})"),
            highest_rate: formula("20 MHz"),
            most_points: 4_000_000,
            gain: formula("0.5 %"),
            offset: formula("20 mV"),
            time_base: formula("5e-6"),
            delay: formula("20 ns"),
        })
    }

    pub(crate) fn driver() -> DriverFile {
        let input = vec![
            choice("on", "INPut ON", "INPut?", "ON"),
            choice("off", "INPut OFF", "INPut?", "OFF"),
        ];
        let broken = vec![choice("on", "INPutt ON", "INPut?", "ON")];
        let words = FunctionForm::Word {
            ask: sp("MEASure:ECHO? 1"),
            answers: vec![(sp("1"), sp("closed")), (sp("0"), sp("open"))],
        };
        DriverFile {
            name: sp("desk"),
            title: sp("A desk"),
            model: sp("DESK"),
            deadline: formula("2 s"),
            errors: sp("SYSTem:ERRor?"),
            errors_with_reading: false,
            start: vec![sp("*RST")],
            functions: vec![
                function("input", FunctionForm::Choose(input)),
                function("broken", FunctionForm::Choose(broken)),
                function("current", current("CURRent?")),
                function("deaf", current("MEASure:ECHO? 3")),
                function("ac_voltage", measure("V", "MEASure:ECHO? {channel}", Some(accuracy()))),
                function("plain", measure("V", "MEASure:ECHO? {channel}", None)),
                function("temperature", measure("°C", "MEASure:ECHO? {channel}", None)),
                function("enclosure", words),
                function("waveform", capture()),
            ],
            frames: None,
        }
    }

    pub(crate) fn point(point: &str, function: &str, channel: &str) -> ServiceText {
        ServiceText {
            point: sp(point),
            by: sp("desk"),
            function: sp(function),
            channel: (!channel.is_empty()).then(|| sp(channel)),
            connected: None,
            ratio: None,
            ratio_standard: None,
            span: span(),
        }
    }

    pub(crate) fn bench() -> BenchFile {
        let probe = ServiceText {
            ratio: Some(formula("200")),
            ratio_standard: Some(formula("1 %")),
            ..point("probe.voltage", "ac_voltage", "1.5")
        };
        BenchFile {
            title: sp("Desk"),
            instruments: vec![InstrumentText {
                name: sp("desk"),
                driver: sp("desk"),
                link: LinkText::Virtual,
                serial: sp("D-0001"),
                calibrated_until: None,
            }],
            hand_held: Vec::new(),
            points: vec![
                point("load", "input", ""),
                point("broken", "broken", ""),
                point("load.current", "current", ""),
                point("deaf.current", "deaf", ""),
                point("ac_output[L-N].voltage", "ac_voltage", "230"),
                point("over.voltage", "ac_voltage", "9.9E37"),
                point("list.voltage", "ac_voltage", "230:5"),
                point("terminal.temperature", "temperature", "25"),
                point("enclosure", "enclosure", ""),
                point("pilot", "waveform", "1"),
                point("ac_output[L-N]", "waveform", "2"),
                probe,
            ],
            stop_name: Some(sp("S1")),
            isolator_name: Some(sp("Q1")),
            supply_protected_by: None,
            ambient: None,
            dead_burden: Some(formula("100 kΩ")),
        }
    }
}
