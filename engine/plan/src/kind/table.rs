//! What the table of a kind consists of, and which one belongs to a kind.

use super::columns::PointShape;
use super::{contacts, onboard_charger, wall_unit};
use crate::contactor::Contactor;
use crate::energy::BenchState;
use crate::program::Order;
use pilotage_evidence::ItemKind;
use std::time::Duration;

/// Everything that is special for one kind of item. Without it nothing is quiet and nothing can be fitted.
#[derive(Debug)]
pub struct KindTable {
    /// Points: those of this kind, and those that every bench has.
    pub points: &'static [&'static [PointShape]],
    /// The energy table: whether an order energises, and the state after it. What it does not know must energise.
    pub energy: fn(BenchState, &Order) -> (bool, BenchState),
    /// Points through which a bench can put energy into the item. A bench that serves none of them cannot energise it: it needs no
    /// proof of its stop, and what it does not serve, make safe need not switch off.
    pub sources: &'static [&'static str],
    /// What the hard-wired stop must open. A bench that can energise proves it before anything else (BC-11).
    pub contactors: &'static [Contactor],
    /// Where dead can be proven. Make safe and `isolate` prove all of them, in this order.
    pub dead: &'static [DeadPlace],
    /// What the nameplate allows.
    pub bounds: &'static [Bound],
    /// The name on the nameplate that the current of the load is compared with.
    pub rated_load: &'static str,
    /// Whether the load is a source of its own: while it is on, a proof of death changes no energy state, since guards go on
    /// looking only while something is energised.
    pub load_drives: bool,
    /// The order of de-energising.
    pub make_safe: MakeSafe,
    /// What must be taken as live where dead cannot be confirmed, and where to measure it by hand.
    pub by_hand: (&'static str, &'static str),
    /// What the tool needs of a bench, in words.
    pub needs: &'static str,
}

impl KindTable {
    /// Every point.
    pub fn all_points(&self) -> impl Iterator<Item = &'static PointShape> + Clone {
        self.points.iter().copied().flatten()
    }

    /// A place by its point.
    pub fn place(&self, at: &str) -> Option<&'static DeadPlace> {
        self.dead.iter().find(|place| place.at == at)
    }
}

/// The table of a kind; `None` where there is none yet.
pub fn table_of(kind: ItemKind) -> Option<&'static KindTable> {
    match kind {
        ItemKind::WallUnit => Some(&wall_unit::TABLE),
        ItemKind::OnboardCharger => Some(&onboard_charger::TABLE),
        ItemKind::Inlet => Some(&contacts::INLET),
        ItemKind::CableAssembly => Some(&contacts::CABLE),
        ItemKind::PortableCord | ItemKind::ChargingSession | ItemKind::Bench => None,
    }
}

/// A place where every pair of conductors can be proven dead.
#[derive(Debug)]
pub struct DeadPlace {
    /// Root of its points: `AT[PAIR].voltage` and `AT[PAIR].dc_voltage` are read.
    pub at: &'static str,
    /// The pairs.
    pub pairs: Pairs,
    /// Whether the supply feeds it directly: it cannot be dead while the supply is on.
    pub fed: bool,
    /// Whether a proof here means *output dead*: nothing that a person could touch first carries voltage.
    pub output: bool,
    /// Whether it is proven only once the isolator is locked.
    pub behind_lock: bool,
    /// How the pilot may bring it to life at any moment; `None` where it cannot.
    pub asks: Option<Asks>,
}

/// What is said where dead is to be proven while the pilot asks the item to energise.
#[derive(Debug)]
pub struct Asks {
    /// How: the rest of a sentence.
    pub how: &'static str,
    /// What would do.
    pub expected: &'static str,
    /// What there is.
    pub got: &'static str,
    /// The mend.
    pub mend: &'static str,
}

/// Which pairs of conductors a place has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pairs {
    /// Those of the mains, by the nameplate.
    Mains,
    /// Plus, minus and protective conductor of a DC output.
    Dc,
    /// Every two contacts or cores, pilot and proximity among them.
    Contacts,
}

/// How far a point may be set: above what stands on the nameplate, or at all.
#[derive(Debug)]
pub struct Bound {
    /// The point.
    pub point: &'static str,
    /// The name on the nameplate; `None` where the bound is a ratio by itself.
    pub plate: Option<&'static str>,
    /// Largest ratio to it, or the largest ratio.
    pub above: f64,
    /// Code of the problem.
    pub code: &'static str,
    /// Whether it binds only while the supply may be on, and what was set before as soon as it is switched on.
    pub supplied_only: bool,
}

/// The order of de-energising, run on every way out (stop categories 1 and 0 of IEC 60204-1), and what `isolate` does.
/// Orders that a bench does not serve are left out; points that must be there are in the table of points.
#[derive(Debug)]
pub struct MakeSafe {
    /// Normal order.
    pub normal: &'static [Line],
    /// Emergency order: the supply first.
    pub emergency: &'static [Line],
    /// Before a person locks the isolator.
    pub isolate: &'static [Line],
}

/// One line of it.
#[derive(Debug)]
pub enum Line {
    /// A word is set at a point.
    Word(&'static str, &'static str),
    /// A point is set to zero, where the bench can.
    Zero(&'static str),
    /// A point is set to an amount, in coherent units, where the bench can.
    Amount(&'static str, f64),
    /// Wait for the item to act.
    Wait(Duration),
    /// If this place is not dead yet, the supply goes off now.
    SupplyOffUnlessDead(&'static str),
    /// What bleeds stays on until a point reads less than this, in coherent units, and goes off only then.
    BleedUntil {
        /// What is read.
        point: &'static str,
        /// Below this.
        below: f64,
        /// The latest.
        deadline: Duration,
        /// What then goes off: a word at a point.
        off: (&'static str, &'static str),
    },
}
