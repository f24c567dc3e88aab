//! What an uncertainty leaves of a tolerance, before anything was measured.

use pilotage_core::{Dimension, Quantity, Tolerance};

/// From this ratio of tolerance to uncertainty on, a limit counts as decided without saying more: guard bands take at most a
/// quarter of the window.
pub const DECIDES_FROM: f64 = 4.0;

/// What a bench can say about a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Decides {
    /// The tolerance is at least four times as wide as the uncertainty, or the reading is exact.
    Yes,
    /// The guard bands take more than a quarter of the window, and leave some of it.
    GuardBanded,
    /// Nothing says before the run how exact the reading will be.
    OnlyWhenRead,
    /// Guard bands leave nothing, or the step needs less uncertainty than there is.
    No,
}

impl Decides {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Yes => "decides",
            Self::GuardBanded => "guard-banded",
            Self::OnlyWhenRead => "known only when read",
            Self::No => "cannot decide",
        }
    }

    /// Its word in JSON.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Yes => "decides",
            Self::GuardBanded => "guard_banded",
            Self::OnlyWhenRead => "only_when_read",
            Self::No => "cannot_decide",
        }
    }
}

/// A tolerance against an uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Weighed {
    /// Expanded uncertainty at the bound, coherent SI.
    pub(crate) expanded: f64,
    /// The tolerance over it; `None` where either is zero.
    pub(crate) ratio: Option<f64>,
    /// Share of the window that guard bands leave; `None` where the window has no other end.
    pub(crate) left: Option<f64>,
    /// What follows.
    pub(crate) decides: Decides,
}

/// The bound at which the uncertainty is told, the one farthest from zero, and half the width of the window: a single bound
/// stands for a window from zero. `None` where there is no width.
pub(crate) fn width(tolerance: &Tolerance) -> Option<(Quantity, Quantity)> {
    let quantity = |si: f64, dimension: Dimension| Quantity::new(si, dimension).ok();
    match tolerance {
        Tolerance::AtLeast(bound) | Tolerance::AtMost(bound) => {
            let half = quantity(bound.si().abs(), bound.dimension())?;
            (half.si() > 0.0).then_some((*bound, half))
        }
        Tolerance::Between(low, high) => {
            let far = if low.si().abs() > high.si().abs() { low } else { high };
            let half = quantity((high.si() - low.si()) / 2.0, low.dimension())?;
            (half.si() > 0.0).then_some((*far, half))
        }
        Tolerance::AnyOf(_) => None,
    }
}

/// Any value of the tolerance, where the uncertainty is asked for although there is no width.
pub(crate) fn some_bound(tolerance: &Tolerance) -> Option<Quantity> {
    match tolerance {
        Tolerance::AtLeast(bound) | Tolerance::AtMost(bound) | Tolerance::Between(_, bound) => Some(*bound),
        Tolerance::AnyOf(choices) => choices.first().copied(),
    }
}

/// Weighs a tolerance against the uncertainty that a reading has at a value.
pub(crate) fn weigh<E>(
    tolerance: &Tolerance,
    expanded_at: &mut dyn FnMut(f64) -> Result<f64, E>,
) -> Result<Weighed, E> {
    let (far, half) = match width(tolerance) {
        Some((far, half)) => (far.si(), half.si()),
        None => return without_width(tolerance, expanded_at),
    };
    let expanded = expanded_at(far)?;
    if expanded == 0.0 {
        return Ok(exact());
    }
    let (mean, closed) = match tolerance {
        Tolerance::Between(low, high) => {
            let nearer = if low.si().abs() > high.si().abs() { high } else { low };
            (f64::midpoint(expanded, expanded_at(nearer.si())?), true)
        }
        Tolerance::AtMost(high) => (expanded, high.si() > 0.0),
        _ => (expanded, false),
    };
    let ratio = half / mean;
    Ok(Weighed {
        expanded,
        ratio: Some(ratio),
        left: closed.then(|| (1.0 - 1.0 / ratio).max(0.0)),
        decides: match ratio {
            ratio if ratio >= DECIDES_FROM => Decides::Yes,
            ratio if ratio > 1.0 => Decides::GuardBanded,
            _ => Decides::No,
        },
    })
}

const fn exact() -> Weighed {
    Weighed {
        expanded: 0.0,
        ratio: None,
        left: Some(1.0),
        decides: Decides::Yes,
    }
}

/// A choice takes an exact value; a bound at zero has a guard band, and no width to compare it with.
fn without_width<E>(tolerance: &Tolerance, expanded_at: &mut dyn FnMut(f64) -> Result<f64, E>) -> Result<Weighed, E> {
    let at = some_bound(tolerance).map_or(0.0, Quantity::si);
    let expanded = expanded_at(at)?;
    if expanded == 0.0 {
        return Ok(exact());
    }
    let decides = match tolerance {
        Tolerance::AtLeast(_) | Tolerance::AtMost(_) => Decides::GuardBanded,
        Tolerance::Between(..) | Tolerance::AnyOf(_) => Decides::No,
    };
    Ok(Weighed {
        expanded,
        ratio: None,
        left: None,
        decides,
    })
}

#[cfg(test)]
mod tests {
    use super::{Decides, Weighed, weigh};
    use pilotage_core::{Dimension, Quantity, Tolerance};

    fn volts(si: f64) -> Quantity {
        Quantity::new(si, Dimension::VOLTAGE).expect("finite")
    }

    fn with(tolerance: &Tolerance, expanded: f64) -> Weighed {
        weigh::<()>(tolerance, &mut |_| Ok(expanded)).expect("never fails")
    }

    #[test]
    fn four_to_one_decides_and_one_to_one_leaves_nothing() {
        let window = Tolerance::Between(volts(-4.0), volts(4.0));
        // ISO 14253-1: the guard bands of a window of 8 V with U = 1 V leave 6 V.
        let four = with(&window, 1.0);
        assert_eq!((four.decides, four.left), (Decides::Yes, Some(0.75)));
        assert_eq!(with(&window, 1.001).decides, Decides::GuardBanded);
        let half = with(&window, 2.0);
        assert_eq!((half.decides, half.left), (Decides::GuardBanded, Some(0.5)));
        let none = with(&window, 4.0);
        assert_eq!((none.decides, none.left), (Decides::No, Some(0.0)));
    }

    #[test]
    fn a_window_open_to_one_side_has_no_share() {
        assert_eq!(with(&Tolerance::AtLeast(volts(10.0)), 1.0).left, None);
        assert_eq!(with(&Tolerance::AtMost(volts(10.0)), 1.0).left, Some(0.9));
        assert_eq!(with(&Tolerance::AtMost(volts(-8.0)), 1.0).left, None);
    }

    #[test]
    fn both_ends_of_a_window_have_guard_bands_of_their_own() {
        let window = Tolerance::Between(volts(10.0), volts(20.0));
        let weighed = weigh::<()>(&window, &mut |at| Ok(0.1 * at)).expect("never fails");
        // 11 V to 18 V of 10 V to 20 V.
        assert!((weighed.left.expect("closed") - 0.7).abs() < 1e-12, "{weighed:?}");
        assert!((weighed.expanded - 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_choice_takes_an_exact_value() {
        let choice = Tolerance::AnyOf(vec![volts(1.0)]);
        assert_eq!(with(&choice, 0.0).decides, Decides::Yes);
        assert_eq!(with(&choice, 0.1).decides, Decides::No);
        assert_eq!(with(&Tolerance::AtMost(volts(0.0)), 0.1).decides, Decides::GuardBanded);
    }
}
