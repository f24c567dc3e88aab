//! The closed word lists as people read them.

use crate::words::{DecisionRule, EnergyState, ItemKind, Side, SignalWord, SourceStatus, Verdict};
use std::fmt;

/// `Display` of a word list by one table.
macro_rules! worded {
    ($list:ident: $($word:ident $text:literal),+ $(,)?) => {
        impl fmt::Display for $list {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(match self { $(Self::$word => $text),+ })
            }
        }
    };
}

worded!(Verdict: Pass "pass", Fail "fail", Inconclusive "inconclusive", Error "error", NotRun "not run");

worded!(Side:
    WallUnit "wall unit",
    Vehicle "vehicle",
    CableOrInlet "cable or inlet",
    Installation "installation",
    Settings "settings",
    Pairing "pairing",
    Bench "bench",
    NotDecidable "not decidable",
);

worded!(EnergyState: Isolated "isolated", OutputDead "output dead", Live "live", Unknown "unknown");

worded!(SourceStatus:
    Read "read",
    Restated "restated",
    Derived "derived",
    CommonPractice "common practice",
    FromMemory "from memory",
);

worded!(SignalWord: Danger "DANGER", Warning "WARNING", Caution "CAUTION", Notice "NOTICE");

worded!(ItemKind:
    WallUnit "wall unit",
    PortableCord "portable cord",
    OnboardCharger "on-board charger",
    Inlet "inlet",
    CableAssembly "cable assembly",
    ChargingSession "charging session",
    Bench "bench",
);

worded!(DecisionRule: Simple "simple", GuardBanded "guard banded");
