//! What goes wrong at an instrument, in words: what was sent, what was expected, what came, how to mend it.

use crate::link::LinkError;
use crate::scpi::{Entry, FrameError, Line, Refused, text};
use pilotage_evidence::event::{Exchange, Trouble};
use pilotage_run::permit::Withheld;
use pilotage_run::world::BenchError;
use std::time::Duration;

/// The instrument and the command that a trouble is about.
#[derive(Debug, Clone, Copy)]
pub(crate) struct About<'a> {
    pub(crate) instrument: &'a str,
    pub(crate) command: &'a str,
    pub(crate) elapsed: Duration,
}

impl About<'_> {
    pub(crate) fn error(&self, expected: &str, got: &str, mend: &str) -> BenchError {
        BenchError {
            trouble: Box::new(Trouble {
                instrument: self.instrument.to_owned(),
                command: self.command.to_owned(),
                expected: expected.to_owned(),
                got: got.to_owned(),
                elapsed_s: self.elapsed.as_secs_f64(),
                mend: mend.to_owned(),
            }),
            exchanges: Vec::new(),
        }
    }

    /// A reply did not come whole; `partial` is what did come.
    pub(crate) fn no_reply(
        &self,
        error: &LinkError,
        partial: &[u8],
        missing: Option<usize>,
        deadline: Duration,
    ) -> BenchError {
        let expected = format!("a reply ending with LF within {} s", deadline.as_secs_f64());
        let got = match (partial.is_empty(), missing) {
            (true, _) => error.to_string(),
            (false, None) => format!("{error}; received until then: {}", text::hex_and_text(partial)),
            (false, Some(missing)) => format!(
                "{error}; a block that lacks {missing} of its bytes after {}",
                partial.len()
            ),
        };
        let mend = match (error, partial.is_empty(), missing) {
            (LinkError::TimedOut, false, None) => {
                "the reply has begun but not ended: check that the instrument ends its replies with LF"
            }
            (LinkError::TimedOut, false, Some(_)) => {
                "the block is still coming: raise the driver's `deadline` or ask for fewer points"
            }
            _ => error.mend(),
        };
        self.error(&expected, &got, mend)
    }

    pub(crate) fn not_sent(&self, error: &LinkError) -> BenchError {
        self.error("the command taken by the link", &error.to_string(), error.mend())
    }

    pub(crate) fn frame(&self, error: FrameError) -> BenchError {
        self.error(
            "a reply ending with LF, or a block of declared length",
            &error.to_string(),
            error.mend(),
        )
    }

    pub(crate) fn refused(&self, refused: &Refused) -> BenchError {
        self.error(&refused.expected, &refused.got, &refused.mend)
    }

    pub(crate) fn withheld(&self, withheld: &Withheld) -> BenchError {
        self.error(
            "a permit that holds when the bytes are sent",
            &format!("{withheld}; nothing was sent"),
            "look for what tripped before; a new run starts from unknown",
        )
    }

    /// What an error queue held; `asked` are the queries that it may have come of, where the command itself is none.
    pub(crate) fn entries(&self, asked: &[Line], entries: &[Entry]) -> BenchError {
        let got: Vec<String> = entries
            .iter()
            .map(|entry| text::escaped(entry.to_string().as_bytes()))
            .collect();
        let mend = entries
            .iter()
            .find(|entry| entry.errors_lost())
            .or(entries.first())
            .map_or("", Entry::mend);
        let lost = if entries.iter().any(Entry::errors_lost) {
            " (errors were lost)"
        } else {
            ""
        };
        let asked: Vec<String> = asked.iter().map(|line| format!("\"{}\"", line.text())).collect();
        let expected = match asked.as_slice() {
            [] => "an empty error queue".to_owned(),
            asked => format!("an empty error queue after {}", asked.join(", ")),
        };
        self.error(&expected, &format!("{}{lost}", got.join("; ")), mend)
    }
}

/// Puts the exchanges that came before an error in front of its own.
pub(crate) fn after(mut earlier: Vec<Exchange>, mut error: BenchError) -> BenchError {
    earlier.append(&mut error.exchanges);
    error.exchanges = earlier;
    error
}
