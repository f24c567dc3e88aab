//! Why nothing can be told over whole cycles.

/// What the line of a capture, or its rate, does not allow.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LineLack {
    /// Fewer whole cycles than needed.
    #[error("{have} whole cycles of the line in the capture, at least {need} are needed")]
    TooFewCycles {
        /// How many there are.
        have: usize,
        /// How many are needed.
        need: usize,
    },
    /// The cycles are not of one length.
    #[error("the line is not steady: its cycles last from {:.3} ms to {:.3} ms", shortest_s * 1e3, longest_s * 1e3)]
    Unsteady {
        /// The shortest.
        shortest_s: f64,
        /// The longest.
        longest_s: f64,
    },
    /// The rate is too low.
    #[error("{have_hz:.0} samples a second, at least {need_hz:.0} are needed")]
    TooSlow {
        /// The rate.
        have_hz: f64,
        /// The rate that is needed.
        need_hz: f64,
    },
    /// The frequency is neither that of 50 Hz nor that of 60 Hz mains.
    #[error("the line has {hz:.3} Hz: harmonics are told of 50 Hz and 60 Hz mains (42.5 Hz to 69 Hz)")]
    NoMains {
        /// The frequency.
        hz: f64,
    },
    /// Channels that belong together have different numbers of samples.
    #[error("{have} samples beside {need} of the voltage")]
    Unequal {
        /// Samples of the channel.
        have: usize,
        /// Samples of the voltage.
        need: usize,
    },
}
