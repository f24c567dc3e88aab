//! A bench: the instruments, how they are linked, and which point each one serves.

use crate::source::{Formula, Sp, Span};

/// `pilotage: bench/1`
#[derive(Debug, Clone, PartialEq)]
pub struct BenchFile {
    /// `title`
    pub title: Sp<String>,
    /// `instruments`, in order.
    pub instruments: Vec<InstrumentText>,
    /// `hand_held`: meters that a person reads, in the place of instruments; then there are no points.
    pub hand_held: Vec<HandMeterText>,
    /// `points`: which instrument serves which point.
    pub points: Vec<ServiceText>,
    /// `stop`: what the person presses and what the isolator is called, for prompts.
    pub stop_name: Option<Sp<String>>,
    /// Name of the isolator, for prompts.
    pub isolator_name: Option<Sp<String>>,
    /// `supply.protected_by`
    pub supply_protected_by: Option<Sp<String>>,
    /// `ambient`: temperature around the instruments.
    pub ambient: Option<Formula>,
    /// `dead_burden`: the known burden used to prove dead, e.g. `100 kΩ`.
    pub dead_burden: Option<Formula>,
}

/// One instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct InstrumentText {
    /// Its name within the bench.
    pub name: Sp<String>,
    /// `driver`: name of a driver file.
    pub driver: Sp<String>,
    /// `link`
    pub link: LinkText,
    /// `serial` that `*IDN?` must give.
    pub serial: Sp<String>,
    /// `calibrated_until`: `YYYY-MM-DD`.
    pub calibrated_until: Option<Sp<String>>,
}

/// One meter that a person reads.
#[derive(Debug, Clone, PartialEq)]
pub struct HandMeterText {
    /// Its name within the bench.
    pub name: Sp<String>,
    /// `title`
    pub title: Sp<String>,
    /// `serial` that a person must find on it.
    pub serial: Sp<String>,
    /// `calibrated_until`: `YYYY-MM-DD`.
    pub calibrated_until: Option<Sp<String>>,
}

/// How bytes reach an instrument.
#[derive(Debug, Clone, PartialEq)]
pub enum LinkText {
    /// `virtual`: in memory.
    Virtual,
    /// `tcp: host:port`
    Tcp {
        /// Host.
        host: Sp<String>,
        /// Port.
        port: u16,
    },
    /// `can: virtual` or `can: vcan0`: an interface to a bus of frames.
    Can {
        /// `virtual`, or the name that the system gives to the interface.
        interface: Sp<String>,
    },
}

impl LinkText {
    /// As reports print it.
    pub fn words(&self) -> String {
        match self {
            Self::Virtual => "virtual".to_owned(),
            Self::Tcp { host, port } => format!("tcp {}:{port}", host.value),
            Self::Can { interface } => format!("can {}", interface.value),
        }
    }
}

/// `"ac_output[L-N].voltage": {by: meter, function: ac_voltage, channel: "101"}`
#[derive(Debug, Clone, PartialEq)]
pub struct ServiceText {
    /// The point.
    pub point: Sp<String>,
    /// The instrument's name.
    pub by: Sp<String>,
    /// Name of a function of its driver.
    pub function: Sp<String>,
    /// Channel, put into the driver's text for `{channel}`.
    pub channel: Option<Sp<String>>,
    /// `connected: differential | isolated | direct`; mains points need one of the first two.
    pub connected: Option<Sp<String>>,
    /// `ratio` of a probe or transformer (value at the point divided by value at the instrument).
    pub ratio: Option<Formula>,
    /// Relative standard uncertainty of the ratio.
    pub ratio_standard: Option<Formula>,
    /// Where it stands.
    pub span: Span,
}
