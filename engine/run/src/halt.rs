//! Why a run ends before its end, and how hard it is then de-energised.

use crate::consequence::{Consequence, Noticed, of};
use crate::world::JournalError;
use pilotage_core::RunTime;
use pilotage_evidence::Event;
use pilotage_evidence::event::StopCause;

/// Why a run ends before its end.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Halt {
    /// An interlock or a protection tripped.
    Trip(Trip),
    /// A person wanted it.
    Person(String),
    /// Something that must be dead was not, or could not be proven dead.
    NotDead(String),
    /// An isolated step failed and the next step would energise.
    PermitsWithheld(String),
    /// The bench or the program could not go on; supply off first where a link is lost.
    Bench {
        /// In words.
        why: String,
        /// Whether the supply goes off before anything else.
        emergency: bool,
    },
    /// The journal failed.
    Journal(JournalError),
    /// The program itself failed.
    Panic(String),
}

/// What tripped.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Trip {
    /// Interlock or protection.
    pub(crate) kind: TripKind,
    /// Its name or point.
    pub(crate) name: String,
    /// What was seen.
    pub(crate) detail: String,
    /// Checks since its last event.
    pub(crate) checks: u64,
    /// When it was seen.
    pub(crate) at: RunTime,
}

/// Interlock or protection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum TripKind {
    /// An interlock.
    Interlock,
    /// A protection.
    Protection,
}

impl Halt {
    /// A bench that cannot be used further, its links alive.
    pub(crate) fn bench(why: impl Into<String>) -> Self {
        Self::Bench {
            why: why.into(),
            emergency: false,
        }
    }

    /// By what the run is stopped, in the words of the journal.
    pub(crate) fn cause(&self) -> StopCause {
        let stopped_by = |noticed| match of(noticed) {
            Consequence::Stop(cause) => cause,
            Consequence::GoOn | Consequence::WithholdPermits => StopCause::Bench,
        };
        match self {
            Self::Trip(trip) if trip.kind == TripKind::Interlock => stopped_by(Noticed::Interlock),
            Self::Trip(_) => stopped_by(Noticed::Protection),
            Self::NotDead(_) => stopped_by(Noticed::NotDead),
            Self::Person(_) => StopCause::Person,
            Self::PermitsWithheld(_) => StopCause::IsolatedStepFailed,
            Self::Bench { .. } | Self::Journal(_) | Self::Panic(_) => StopCause::Bench,
        }
    }

    /// In words.
    pub(crate) fn why(&self) -> String {
        match self {
            Self::Trip(trip) => format!("{}: {}", trip.name, trip.detail),
            Self::Person(why) | Self::NotDead(why) | Self::PermitsWithheld(why) | Self::Bench { why, .. } => {
                why.clone()
            }
            Self::Journal(error) => format!("the journal failed: {error}"),
            Self::Panic(text) => format!("the program itself failed: {text}"),
        }
    }

    /// Whether the supply goes off before anything else (stop category 0 of IEC 60204-1, else category 1).
    pub(crate) fn emergency(&self) -> bool {
        match self {
            Self::Trip(_) | Self::NotDead(_) | Self::Panic(_) => true,
            Self::Bench { emergency, .. } => *emergency,
            Self::Person(_) | Self::PermitsWithheld(_) | Self::Journal(_) => false,
        }
    }
}

impl Trip {
    /// The event of the trip.
    pub(crate) fn event(&self) -> Event {
        let (name, detail, checks) = (self.name.clone(), self.detail.clone(), self.checks);
        match self.kind {
            TripKind::Interlock => Event::Interlock {
                name,
                held: false,
                checks,
                detail,
            },
            TripKind::Protection => Event::Protection {
                point: name,
                held: false,
                checks,
                detail,
            },
        }
    }
}
