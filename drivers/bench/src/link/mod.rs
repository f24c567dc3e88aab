//! How bytes reach an instrument, and what can stand between.
//!
//! | module | holds |
//! | --- | --- |
//! | [`memory`] | a device in this process, in virtual or real time, without sockets |
//! | [`tcp`] | a TCP socket |
//! | [`open`] | the links of a bench file |
//! | [`playback`] | a trace played back |
//! | [`trace`] | middleware: every byte with its time |
//! | [`faults`] | middleware: seeded faults |

pub mod faults;
pub mod memory;
pub mod open;
pub mod playback;
pub mod tcp;
pub mod trace;

use crate::scpi::Sink;
use pilotage_core::RunTime;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use tokio::time::Instant;

pub use faults::{Fault, FaultPlan, Faults};
pub use memory::{AtOnce, Device, MemoryLink, Progress, Simple};
pub use open::open_sockets;
pub use playback::Playback;
pub use tcp::TcpLink;
pub use trace::{Tape, Trace, Traffic, Way};

/// What a link's asynchronous functions return.
pub type Pending<'a, T> = Pin<Box<dyn Future<Output = T> + Send + 'a>>;

/// Reads the run's clock from anywhere.
pub type Now = Arc<dyn Fn() -> RunTime + Send + Sync>;

/// What `reopen` brought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reopened {
    /// A new connection: nothing of the old one can still come.
    Fresh,
    /// The same stream of bytes: late ones may still come, and must be told apart by a marker.
    Same,
}

/// Why bytes could not be moved.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LinkError {
    /// The deadline passed.
    #[error("no reply in time")]
    TimedOut,
    /// The other side closed the connection.
    #[error("the connection was closed by the instrument")]
    Closed,
    /// No connection could be made.
    #[error("no connection to {address}: {why}")]
    NotOpened {
        /// Where to.
        address: String,
        /// What the system said.
        why: String,
    },
    /// Anything else, in words.
    #[error("{0}")]
    Broken(String),
}

impl LinkError {
    /// How to mend it.
    pub fn mend(&self) -> &'static str {
        match self {
            Self::TimedOut => "check that the instrument is on and not in local mode, and the driver's `deadline`",
            Self::Closed => {
                "check that no other program took the connection over and that the instrument was not restarted"
            }
            Self::NotOpened { .. } => {
                "switch the instrument on, check host and port in the bench file, and that no other program holds its only connection"
            }
            Self::Broken(_) => "check cable and network",
        }
    }
}

/// Bytes to and from one instrument. Deadlines are tokio's, so that they follow a paused clock.
pub trait Link: Send {
    /// Where it leads, for messages.
    fn address(&self) -> String;
    /// Sends all bytes.
    fn send<'a>(&'a mut self, bytes: &'a [u8], deadline: Instant) -> Pending<'a, Result<(), LinkError>>;
    /// Waits for at least one byte.
    fn receive<'a>(&'a mut self, into: &'a mut dyn Sink, deadline: Instant) -> Pending<'a, Result<(), LinkError>>;
    /// Takes what has already come, without waiting. A closed connection is an error.
    fn arrived(&mut self, into: &mut dyn Sink) -> Result<(), LinkError>;
    /// Makes the link usable again after a time-out or a broken connection.
    fn reopen(&mut self, deadline: Instant) -> Pending<'_, Result<Reopened, LinkError>>;
}

impl<L: Link + ?Sized> Link for Box<L> {
    fn address(&self) -> String {
        (**self).address()
    }

    fn send<'a>(&'a mut self, bytes: &'a [u8], deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        (**self).send(bytes, deadline)
    }

    fn receive<'a>(&'a mut self, into: &'a mut dyn Sink, deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        (**self).receive(into, deadline)
    }

    fn arrived(&mut self, into: &mut dyn Sink) -> Result<(), LinkError> {
        (**self).arrived(into)
    }

    fn reopen(&mut self, deadline: Instant) -> Pending<'_, Result<Reopened, LinkError>> {
        (**self).reopen(deadline)
    }
}
