//! The lines that an interface to a bus understands. What a driver made from a file of frames sends, and the common commands that the
//! bench needs; a line is one program message (IEEE 488.2), an error ends it.

use pilotage_core::RunTime;
use pilotage_core::frames::{Figures, Life, Node, NodeError, Sending};
use pilotage_plan::frame_driver::{MISSING, MODEL};
use std::collections::VecDeque;

/// SCPI-99 volume 1, 7.2.1.5: what stands for no number.
const NOT_A_NUMBER: &str = "9.91E37";
/// Most errors that are kept.
const MOST_ERRORS: usize = 20;

/// What an interface says of itself, and the errors that it has not been asked for yet.
#[derive(Debug)]
pub struct Front {
    maker: String,
    serial: String,
    /// Whether it can keep everyone on the bus from sending.
    holds: bool,
    errors: VecDeque<(i16, String)>,
}

/// Why a command was not done: number and text of the error queue.
type Refusal = (i16, String);

impl Front {
    /// With these names in `*IDN?`; `holds` where it can keep everyone on the bus from sending.
    pub fn new(maker: &str, serial: &str, holds: bool) -> Self {
        Self {
            maker: maker.to_owned(),
            serial: serial.to_owned(),
            holds,
            errors: VecDeque::new(),
        }
    }

    /// Executes a line; gives the reply with its end, empty where nothing is replied.
    pub fn line(&mut self, line: &[u8], node: &mut Node, now: RunTime) -> Vec<u8> {
        let line = String::from_utf8_lossy(line);
        let mut replies = Vec::new();
        if let Some(at) = node.was_abandoned() {
            self.note(abandoned(at));
        }
        for command in line.split(';') {
            match self.command(command.trim(), node, now) {
                Ok(reply) => replies.extend(reply),
                Err((number, text)) => {
                    self.note((number, text));
                    // A command error ends the line, and what was to be replied is withheld; one of execution only adds nothing.
                    if (-199..=-100).contains(&number) {
                        return Vec::new();
                    }
                }
            }
        }
        if replies.is_empty() {
            return Vec::new();
        }
        let mut bytes = replies.join(";").into_bytes();
        bytes.push(b'\n');
        bytes
    }

    fn note(&mut self, refusal: Refusal) {
        if self.errors.len() < MOST_ERRORS {
            self.errors.push_back(refusal);
        }
    }

    fn command(&mut self, command: &str, node: &mut Node, now: RunTime) -> Result<Option<String>, Refusal> {
        let (header, arguments) = command.split_once(char::is_whitespace).unwrap_or((command, ""));
        let arguments: Vec<&str> = arguments
            .split(',')
            .map(str::trim)
            .filter(|text| !text.is_empty())
            .collect();
        let header = header.trim_start_matches(':');
        // Before anything is done: `*RST 1` resets nothing.
        if header.starts_with('*') && !arguments.is_empty() {
            return Err((-108, "Parameter not allowed".to_owned()));
        }
        if let Some(reply) = self.common(header, node, now) {
            return Ok(Some(reply).filter(|reply| !reply.is_empty()));
        }
        let known = HEADERS.iter().find(|(pattern, ..)| is_header(header, pattern));
        let Some((_, wanted, execute)) = known else {
            return Err((-113, "Undefined header".to_owned()));
        };
        if !self.holds && arguments.get(1) == Some(&Sending::BusOff.word()) && is_header(header, "FRAMes") {
            return Err((-221, "Settings conflict; this interface cannot hold the bus".to_owned()));
        }
        match arguments.len() {
            count if count < *wanted => Err((-109, "Missing parameter".to_owned())),
            count if count > *wanted => Err((-108, "Parameter not allowed".to_owned())),
            _ => execute(node, &arguments, now),
        }
    }

    /// The reply to a common command, empty where it has none; nothing where it is another one.
    fn common(&mut self, header: &str, node: &mut Node, now: RunTime) -> Option<String> {
        let upper = header.to_ascii_uppercase();
        Some(match upper.as_str() {
            "*IDN?" => format!("{},{MODEL},{},1.0", self.maker, self.serial),
            "*OPC?" => "1".to_owned(),
            "*CLS" => {
                self.errors.clear();
                String::new()
            }
            "*RST" => {
                node.reset(now);
                String::new()
            }
            _ if is_header(header, "SYSTem:ERRor?") || is_header(header, "SYSTem:ERRor:NEXT?") => {
                let (number, text) = self.errors.pop_front().unwrap_or((0, "No error".to_owned()));
                format!("{number},\"{text}\"")
            }
            _ => return None,
        })
    }
}

type Execute = fn(&mut Node, &[&str], RunTime) -> Result<Option<String>, Refusal>;

/// Header, number of parameters, what is done.
const HEADERS: [(&str, usize, Execute); 12] = [
    ("SIGNal", 3, set_signal),
    ("SIGNal?", 2, ask_signal),
    ("FRAMes", 2, set_frames),
    ("FRAMes?", 1, |node, given, _| {
        let sending = node.sending(given[0]).map_err(refused)?;
        Ok(Some(sending.word().to_owned()))
    }),
    ("PERiod?", 1, |node, given, now| figure(node, given, now, |f| f.mean_s)),
    ("PERiod:MINimum?", 1, |node, given, now| {
        figure(node, given, now, |f| f.min_s)
    }),
    ("PERiod:MAXimum?", 1, |node, given, now| {
        figure(node, given, now, |f| f.max_s)
    }),
    ("PERiod:JITTer?", 1, |node, given, now| {
        figure(node, given, now, |f| f.jitter_s)
    }),
    ("PERiod:RATio?", 1, |node, given, now| {
        let (_, layout) = node
            .map()
            .named(given[0])
            .ok_or_else(|| refused(NodeError::NoFrame(given[0].to_owned())))?;
        let period_s = layout.period.as_secs_f64();
        figure(node, given, now, |f| f.mean_s / period_s)
    }),
    ("COUNt:LOST?", 1, |node, given, now| {
        figure(node, given, now, |f| f64::from(f.lost))
    }),
    ("COUNt:FAULty?", 1, |node, given, now| {
        figure(node, given, now, |f| f64::from(f.unsound + f.repeated))
    }),
    ("SILence?", 1, |node, given, now| {
        let silence_s = node.silence_s(given[0], now).map_err(refused)?;
        Ok(Some(silence_s.to_string()))
    }),
];

fn set_signal(node: &mut Node, given: &[&str], _: RunTime) -> Result<Option<String>, Refusal> {
    let (frame, signal, value) = (given[0], given[1], given[2]);
    if node.holds_words(frame, signal).map_err(refused)? {
        node.set_word(frame, signal, value).map_err(refused)?;
    } else {
        let value = value
            .parse::<f64>()
            .ok()
            .filter(|value| value.is_finite())
            .ok_or_else(|| (-120, "Numeric data error".to_owned()))?;
        node.set(frame, signal, value).map_err(refused)?;
    }
    Ok(None)
}

fn ask_signal(node: &mut Node, given: &[&str], now: RunTime) -> Result<Option<String>, Refusal> {
    let (frame, signal) = (given[0], given[1]);
    Ok(Some(if node.holds_words(frame, signal).map_err(refused)? {
        let word = node.word(frame, signal, now).map_err(refused)?;
        word.unwrap_or_else(|| MISSING.to_owned())
    } else {
        number(node.value(frame, signal, now).map_err(refused)?)
    }))
}

fn set_frames(node: &mut Node, given: &[&str], now: RunTime) -> Result<Option<String>, Refusal> {
    let sending = Sending::find(given[1]).ok_or_else(|| (-224, format!("Illegal parameter value; {}", given[1])))?;
    node.send(given[0], sending, now).map_err(refused)?;
    Ok(None)
}

fn figure(node: &Node, given: &[&str], now: RunTime, of: impl Fn(&Figures) -> f64) -> Result<Option<String>, Refusal> {
    let figures = node.figures(given[0], now).map_err(refused)?;
    Ok(Some(number(figures.as_ref().map(of))))
}

fn number(value: Option<f64>) -> String {
    value.map_or_else(|| NOT_A_NUMBER.to_owned(), |value| value.to_string())
}

/// SCPI-99 volume 2, 21.8.11: an error of the device itself, here with what it did meanwhile.
fn abandoned(at: RunTime) -> Refusal {
    let text = format!(
        "Device-specific error; at {:.3} s the program had shown no life for {} s, and the item was told to stop",
        at.seconds(),
        Life::WITHIN.as_secs()
    );
    (-300, text)
}

/// An error of execution: SCPI-99 volume 2, 21.8.10, with what it is about behind a semicolon.
#[allow(clippy::needless_pass_by_value, reason = "it is what `map_err` gives")]
fn refused(error: NodeError) -> Refusal {
    let (number, text) = match error {
        NodeError::OutOfRange(_) => (-222, "Data out of range"),
        _ => (-224, "Illegal parameter value"),
    };
    (number, format!("{text}; {error}"))
}

/// Whether a header is the one of a pattern, in its long or its short form (SCPI-99 volume 1, 6.2.1).
fn is_header(header: &str, pattern: &str) -> bool {
    let (mut given, mut wanted) = (header.split(':'), pattern.split(':'));
    loop {
        match (given.next(), wanted.next()) {
            (None, None) => return true,
            (Some(given), Some(wanted)) if is_mnemonic(given, wanted) => {}
            _ => return false,
        }
    }
}

fn is_mnemonic(given: &str, wanted: &str) -> bool {
    let short: String = wanted.chars().filter(|c| !c.is_ascii_lowercase()).collect();
    given.eq_ignore_ascii_case(wanted) || given.eq_ignore_ascii_case(&short)
}
