//! The 13 mandatory common commands of IEEE 488.2 (10.2, Table 4-4 of SCPI-99 volume 1) and the required part of `SYSTem`.

use super::reply::Answer;
use super::status::{OPC, Status};
use super::syntax::{CommonHeader, whole};
use pilotage_core::RunTime;
use scpi::error::Error;

/// An order that every instrument understands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Common {
    /// `*CLS`
    Clear,
    /// `*ESE`
    EnableEvents(u8),
    /// `*ESE?`
    AskEnabledEvents,
    /// `*ESR?`
    AskEvents,
    /// `*IDN?`
    AskIdentity,
    /// `*OPC`
    NoteCompletion,
    /// `*OPC?`
    AskCompletion,
    /// `*RST`
    Reset,
    /// `*SRE`
    EnableService(u8),
    /// `*SRE?`
    AskEnabledService,
    /// `*STB?`
    AskStatus,
    /// `*TST?`
    AskSelfTest,
    /// `*WAI`
    Wait,
    /// `SYSTem:ERRor[:NEXT]?`
    AskError,
    /// `SYSTem:VERSion?`
    AskVersion,
}

const fn command(read: super::syntax::Read<Common>) -> CommonHeader {
    CommonHeader {
        set: Some(read),
        ask: None,
    }
}

const fn query(read: super::syntax::Read<Common>) -> CommonHeader {
    CommonHeader {
        set: None,
        ask: Some(read),
    }
}

const fn both(set: super::syntax::Read<Common>, ask: super::syntax::Read<Common>) -> CommonHeader {
    CommonHeader {
        set: Some(set),
        ask: Some(ask),
    }
}

pub(crate) const CLS: CommonHeader = command(|_| Ok(Common::Clear));
pub(crate) const ESE: CommonHeader = both(
    |given| mask(given).map(Common::EnableEvents),
    |_| Ok(Common::AskEnabledEvents),
);
pub(crate) const ESR: CommonHeader = query(|_| Ok(Common::AskEvents));
pub(crate) const IDN: CommonHeader = query(|_| Ok(Common::AskIdentity));
pub(crate) const OPC_HEADER: CommonHeader = both(|_| Ok(Common::NoteCompletion), |_| Ok(Common::AskCompletion));
pub(crate) const RST: CommonHeader = command(|_| Ok(Common::Reset));
pub(crate) const SRE: CommonHeader = both(
    |given| mask(given).map(Common::EnableService),
    |_| Ok(Common::AskEnabledService),
);
pub(crate) const STB: CommonHeader = query(|_| Ok(Common::AskStatus));
pub(crate) const TST: CommonHeader = query(|_| Ok(Common::AskSelfTest));
pub(crate) const WAI: CommonHeader = command(|_| Ok(Common::Wait));
pub(crate) const ERROR: CommonHeader = query(|_| Ok(Common::AskError));
pub(crate) const VERSION: CommonHeader = query(|_| Ok(Common::AskVersion));

/// A register mask, 0…255.
fn mask(parameters: &mut scpi::parser::parameters::Parameters<'_, '_>) -> scpi::error::Result<u8> {
    whole(parameters, 0, 255).map(|value| value as u8)
}

/// The tree of headers of an instrument: the common ones, then its own.
macro_rules! tree {
    ($($node:expr),+ $(,)?) => {{
        use scpi::{Branch, Leaf, Root};
        use $crate::instruments::common;
        Root![
            Leaf!(b"*CLS" => &common::CLS),
            Leaf!(b"*ESE" => &common::ESE),
            Leaf!(b"*ESR" => &common::ESR),
            Leaf!(b"*IDN" => &common::IDN),
            Leaf!(b"*OPC" => &common::OPC_HEADER),
            Leaf!(b"*RST" => &common::RST),
            Leaf!(b"*SRE" => &common::SRE),
            Leaf!(b"*STB" => &common::STB),
            Leaf!(b"*TST" => &common::TST),
            Leaf!(b"*WAI" => &common::WAI),
            Branch![b"SYSTem";
                Branch![b"ERRor";
                    Leaf!(default b"NEXT" => &common::ERROR)
                ],
                Leaf!(b"VERSion" => &common::VERSION)
            ],
            $($node),+
        ]
    }};
}
pub(crate) use tree;

/// What the common orders need to know of their instrument.
pub(crate) struct Circumstances<'a> {
    /// Model and serial, for `*IDN?`.
    pub(crate) model: &'a str,
    /// See `model`.
    pub(crate) serial: &'a str,
    /// When what runs in the background ends.
    pub(crate) busy_until: RunTime,
    /// Now.
    pub(crate) now: RunTime,
    /// Whether a part of the reply waits already.
    pub(crate) available: bool,
}

/// Executes a common order, but for `*RST`, which the instrument does itself.
pub(crate) fn execute(order: Common, status: &mut Status, wanted: &mut bool, about: &Circumstances<'_>) -> Answer {
    if order == Common::NoteCompletion {
        *wanted = true;
    }
    if *wanted && about.now >= about.busy_until {
        status.event(OPC);
        *wanted = false;
    }
    match order {
        Common::NoteCompletion | Common::Wait | Common::Reset => return Answer::Nothing,
        Common::Clear => {
            *wanted = false;
            status.clear();
            return Answer::Nothing;
        }
        Common::EnableEvents(mask) => {
            status.enable_events(mask);
            return Answer::Nothing;
        }
        Common::EnableService(mask) => {
            status.enable_service(mask);
            return Answer::Nothing;
        }
        _ => {}
    }
    Answer::Text(text(order, status, about))
}

fn text(order: Common, status: &mut Status, about: &Circumstances<'_>) -> String {
    match order {
        Common::AskEnabledEvents => status.enabled_events().to_string(),
        Common::AskEvents => status.take_events().to_string(),
        Common::AskIdentity => format!("PILOTAGE VIRTUAL,{},{},1.0", about.model, about.serial),
        Common::AskCompletion => "1".to_owned(),
        Common::AskEnabledService => status.enabled_service().to_string(),
        Common::AskStatus => status.byte(about.available).to_string(),
        Common::AskSelfTest => "0".to_owned(),
        Common::AskError => error_text(status.next_error()),
        Common::AskVersion => "1999.0".to_owned(),
        _ => String::new(),
    }
}

/// `-113,"Undefined header"`
fn error_text(error: Error) -> String {
    error.to_string()
}
