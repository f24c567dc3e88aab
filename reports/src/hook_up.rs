//! What hangs on what: the plain form of a hook-up page, for the terminal, for JSON and for the PDF.

use serde::Serialize;

/// One page: the item's terminals, the bench's leads, and the order in which they are plugged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HookUp {
    /// Title of the sequence.
    pub sequence: String,
    /// Title and serial number of the item.
    pub item: (String, String),
    /// Title of the bench.
    pub bench: String,
    /// Name of the isolator.
    pub isolator: String,
    /// Name of the hard-wired stop.
    pub stop: String,
    /// What protects the supply, where the bench file says it.
    pub protected_by: Option<String>,
    /// Signal word and text of each caution.
    pub cautions: Vec<(String, String)>,
    /// The item's terminals, place by place.
    pub rails: Vec<Rail>,
    /// The leads, in the order in which they are plugged.
    pub leads: Vec<Lead>,
    /// What goes to a part of the item that is no conductor.
    pub parts: Vec<Beside>,
    /// What stays on the bench.
    pub on_bench: Vec<Beside>,
    /// The order: what is done, and which leads belong to it.
    pub order: Vec<Stage>,
    /// Role, name and SHA-256 of the files that the page was drawn from.
    pub drawn_from: Vec<(String, String, String)>,
}

/// One terminal of the item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Rail {
    /// Key of its place, e.g. `ac_output`.
    pub at: String,
    /// The place in words.
    pub place: String,
    /// The conductor.
    pub conductor: String,
}

/// How a lead meets a conductor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Meets {
    /// The first of two leads of a measurement: the one that reads positive.
    High,
    /// The second one.
    Low,
    /// Around the conductor; nothing is opened.
    Clamp,
    /// The conductor is opened and goes through the instrument.
    Series,
    /// A power connection.
    Power,
    /// One of several that are switched or scanned.
    Each,
}

/// Everything that goes from one channel of an instrument to the item.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lead {
    /// Its number on this page, from 1.
    pub number: usize,
    /// The instrument.
    pub instrument: String,
    /// Its channel, where it has several.
    pub channel: Option<String>,
    /// The rails that it meets, by their place in the list, and how.
    pub ends: Vec<(usize, Meets)>,
    /// Through what: `differential`, `isolated`, `clamp`, `in series`, `power`, …
    pub through: String,
    /// What it is for.
    pub purpose: String,
    /// Whether a conductor that it meets can carry dangerous voltage.
    pub dangerous: bool,
}

impl Lead {
    /// Instrument and channel.
    pub fn name(&self) -> String {
        match &self.channel {
            Some(channel) => format!("{} {channel}", self.instrument),
            None => self.instrument.clone(),
        }
    }
}

/// What is on no conductor of the item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Beside {
    /// Instrument and channel.
    pub instrument: String,
    /// Where it goes.
    pub to: String,
    /// What it is for.
    pub purpose: String,
}

/// One stage of plugging in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Stage {
    /// What is done.
    pub says: String,
    /// Numbers of the leads.
    pub leads: Vec<usize>,
}
