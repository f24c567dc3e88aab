//! Entries of the error queue (SCPI-99 volume 2, 21.8): `-113,"Undefined header;…"`.

use crate::scpi::number::integer;
use crate::scpi::{Element, Refused, Reply};

const ENTRY: &str = "a code and a string, e.g. 0,\"No error\"";
const MEND: &str = "check the driver's `errors` query";

/// One entry of an instrument's error queue.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{code},\"{message}\"")]
pub struct Entry {
    /// Negative codes are SCPI's, positive ones the instrument's own; 0 is an empty queue.
    pub code: i64,
    /// The message, with what the instrument added after `;`.
    pub message: String,
}

impl Entry {
    /// Reads the reply to `SYSTem:ERRor?`.
    pub fn parse(message: &[u8]) -> Result<Self, Refused> {
        Self::read(&Reply::parse(message)?)
    }

    /// From a reply that is one entry.
    pub(crate) fn read(reply: &Reply<'_>) -> Result<Self, Refused> {
        Self::from_elements(reply.list()?).ok_or_else(|| reply.refuse(ENTRY, MEND))
    }

    /// From a reply to a query and, in the same message, to the error query: what came before the entry, and the entry.
    pub(crate) fn split<'a>(reply: &Reply<'a>) -> Result<(Reply<'a>, Self), Refused> {
        match reply.units() {
            [_, last] => match Self::from_elements(last) {
                Some(entry) => Ok((reply.without_last(), entry)),
                None => Err(reply.refuse(ENTRY, MEND)),
            },
            _ => Err(reply.refuse(
                "two replies: the answer, and a code and a string, e.g. 230.1;0,\"No error\"",
                "an instrument that answers one query in a message has `errors_with_reading: false` in its driver",
            )),
        }
    }

    /// From the elements of one response unit; `None` where they are not a code and a string.
    fn from_elements(elements: &[Element<'_>]) -> Option<Self> {
        match elements {
            [Element::Plain(code), Element::Quoted(message)] => Some(Self {
                code: integer(code).ok()?,
                message: message.to_string(),
            }),
            _ => None,
        }
    }

    /// Whether the queue is empty.
    pub fn is_none(&self) -> bool {
        self.code == 0
    }

    /// Whether errors were lost before this one could be read (SCPI-99: -350, queue overflow).
    pub fn errors_lost(&self) -> bool {
        self.code == -350
    }

    /// What a person can do about it, by the class of the code (SCPI-99 volume 2, 21.8.3 ff.).
    pub fn mend(&self) -> &'static str {
        match self.code {
            -350 => {
                "the queue overflowed: more errors came than it holds and some are lost; look at the commands before"
            }
            -199..=-100 => "the instrument does not know this command in this form: correct the driver file",
            -299..=-200 => "the instrument cannot do this now: check value, range, wiring and its protection",
            -399..=-300 => "the instrument reports a fault of its own: read its manual under this code",
            -499..=-400 => {
                "query and reply are out of step: check that the driver's texts end as the instrument expects"
            }
            _ => "look up the code in the instrument's manual",
        }
    }
}
