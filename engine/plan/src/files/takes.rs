//! Which value of an analysis is taken: the words of `take`.

macro_rules! takes {
    ($($(#[$about:meta])* $name:ident { $($(#[$means:meta])* $variant:ident = $word:literal,)* })*) => {$(
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum $name {
            $($(#[$means])* $variant,)*
        }

        impl $name {
            /// The word of a file.
            pub const fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)*
                }
            }

            /// What a word of a file stands for.
            pub fn find(word: &str) -> Option<Self> {
                [$(Self::$variant),*].into_iter().find(|take| take.word() == word)
            }
        }
    )*};
}

takes! {
    /// Parameters of a periodic pulse.
    PulseTake {
        /// Top level.
        High = "high",
        /// Base level.
        Low = "low",
        /// Repetition frequency.
        Frequency = "frequency",
        /// Duty between 0 V crossings.
        DutyAtZero = "duty_at_zero",
        /// Duty between 50 % crossings.
        DutyAtHalf = "duty_at_half",
        /// 10–90 % rise.
        Rise = "rise",
        /// 90–10 % fall.
        Fall = "fall",
        /// Standard deviation of the duty over the cycles.
        DutySpread = "duty_spread",
    }

    /// Levels over a whole capture.
    LevelTake {
        /// Mean.
        Mean = "mean",
        /// Root mean square.
        Rms = "rms",
        /// Highest minus lowest.
        Span = "span",
        /// Highest.
        Highest = "highest",
        /// Lowest.
        Lowest = "lowest",
    }

    /// Values of voltage and current over whole cycles.
    PowerTake {
        /// Active power P.
        Active = "active",
        /// Apparent power S.
        Apparent = "apparent",
        /// Non-active power N.
        NonActive = "non_active",
        /// Power factor P/S.
        Factor = "factor",
        /// Displacement factor: power factor of the fundamental.
        Displacement = "displacement",
        /// Displacement φ₁, positive where the current lags.
        Angle = "angle",
        /// Frequency of the line.
        Frequency = "frequency",
        /// Rms of the voltage.
        Voltage = "voltage",
        /// Rms of the current.
        Current = "current",
        /// Crest factor of the current.
        Crest = "crest",
    }

    /// Sums over orders.
    DistortionTake {
        /// Total harmonic distortion, over the fundamental.
        Thd = "thd",
        /// Total harmonic current.
        Total = "total",
        /// Partial weighted harmonic current, orders 14 to 40.
        PartialWeighted = "partial_weighted",
        /// Partial odd harmonic current, orders 21 to 39.
        PartialOdd = "partial_odd",
    }

    /// Values of a ripple.
    RippleTake {
        /// Highest minus lowest.
        Span = "span",
        /// Rms without the mean.
        Rms = "rms",
    }

    /// Values of a surge.
    InrushTake {
        /// Largest magnitude.
        Peak = "peak",
        /// Time in all above the level.
        TimeAbove = "time_above",
        /// I²t above the level.
        SquareTime = "square_time",
    }

    /// Values of a response.
    ResponseTake {
        /// Time until it stays within the band.
        Time = "time",
        /// How far above both values.
        Overshoot = "overshoot",
        /// How far below both values.
        Undershoot = "undershoot",
        /// The value before the change.
        Before = "before",
        /// The value at the end.
        After = "after",
    }
}
