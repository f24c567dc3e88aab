//! The uncertainty of a computed value before its readings are taken: the same expression with the same propagation as in
//! the run, at values that make the result equal to the bound.
//!
//! Inputs of which something says what they will be have that value. One that nothing speaks of, and a reading that stands
//! alone, is solved for. Where all are spoken of, those that only must lie in a window give way, one at a time, and the
//! largest uncertainty counts. Of several of which nothing is known, different values are tried: where the uncertainty comes
//! out the same, it does not depend on them and is known.

use super::accuracy::{Term, at_value};
use pilotage_core::expr::Value;
use pilotage_core::{Dimension, Expr, Measured, Quantity, Uncertainty, uncertainty};
use std::collections::BTreeMap;

/// An input of an expression.
#[derive(Debug, Clone)]
pub(crate) struct Input {
    /// What stands behind it.
    pub(crate) terms: Vec<Term>,
    /// Its value, where anything says it.
    pub(crate) expected: Option<Quantity>,
    /// Its dimension.
    pub(crate) dimension: Dimension,
    /// Whether it is a constant and no reading.
    pub(crate) constant: bool,
    /// Whether all that is expected of it is that it lies in a window.
    pub(crate) in_window: bool,
}

/// Values that are tried for inputs of which nothing is known, in coherent units.
const TRIED: [f64; 3] = [1.0, 7.3, 0.21];
/// The uncertainty does not depend on the inputs where it differs by less than this share.
const SAME: f64 = 0.01;
/// Steps of the search for an input, and how near to the bound it ends.
const STEPS: usize = 60;
const NEAR: f64 = 1e-9;
/// A bound of zero is met to [`NEAR`] of this.
const SMALLEST: f64 = 1e-6;

/// An expression with its inputs; constants are exact inputs.
pub(crate) struct Formula<'a> {
    /// The expression.
    expr: &'a Expr,
    /// By name.
    inputs: &'a BTreeMap<String, Input>,
    /// Dimension of the result, where it is solved for.
    dimension: Dimension,
}

impl<'a> Formula<'a> {
    /// Of an expression with its inputs, and the dimension of its result.
    pub(crate) fn new(expr: &'a Expr, inputs: &'a BTreeMap<String, Input>, dimension: Dimension) -> Self {
        Self {
            expr,
            inputs,
            dimension,
        }
    }

    /// The value, where every input has one.
    pub(crate) fn expected(&self) -> Option<Quantity> {
        self.foreseen().map(|measured| measured.value)
    }

    /// The same with its contributions.
    pub(crate) fn foreseen(&self) -> Option<Measured> {
        if self.free().next().is_some() {
            return None;
        }
        self.measured(&BTreeMap::new())
    }

    /// The value with its contributions where the result is at `bound`, or why nothing is known.
    pub(crate) fn at(&self, bound_si: f64) -> Result<Uncertainty, String> {
        let mut free: Vec<&str> = self.free().collect();
        if let (true, Some(alone)) = (free.is_empty(), self.alone()) {
            free.push(alone);
        }
        if free.is_empty() {
            return self.of_expected(bound_si).ok_or_else(|| self.no_value());
        }
        // Not every input leads to the bound from where the search begins; another one may.
        let found = free
            .iter()
            .find_map(|sought| self.whatever_the_others(sought, &free, bound_si));
        found.ok_or_else(|| self.unknown(&free))
    }

    /// Every input has a value: those of a window give way to the bound; where none leads there, the values stand.
    fn of_expected(&self, bound_si: f64) -> Option<Uncertainty> {
        let give_way = self.inputs.iter().filter(|(_, input)| input.in_window);
        let at_bound = give_way.filter_map(|(name, input)| {
            let start = input.expected?.si();
            self.solved(name, BTreeMap::new(), (bound_si, start))
        });
        let size = |found: &Uncertainty| uncertainty::standard(found).unwrap_or(0.0);
        let largest = at_bound.max_by(|a, b| size(a).total_cmp(&size(b)));
        largest.or_else(|| self.measured(&BTreeMap::new()).map(|measured| measured.uncertainty))
    }

    /// One input solved for, the others at several values: the uncertainty where it is the same for all of them.
    fn whatever_the_others(&self, sought: &str, free: &[&str], bound_si: f64) -> Option<Uncertainty> {
        let others: Vec<&str> = free.iter().copied().filter(|name| *name != sought).collect();
        let tries = if others.is_empty() { &TRIED[..1] } else { &TRIED };
        let at = |(turn, first): (usize, &f64)| {
            let values = others.iter().enumerate();
            let values = values.map(|(nth, name)| ((*name).to_owned(), self.tried(name, *first, nth + turn, bound_si)));
            let start = if self.like_the_bound(sought) { bound_si } else { *first };
            self.solved(sought, values.collect(), (bound_si, start))
        };
        let found: Vec<Uncertainty> = tries.iter().enumerate().map(at).collect::<Option<_>>()?;
        let first = found.first()?.clone();
        all_alike(&found, bound_si).then_some(first)
    }

    /// Something to try for an input: of the bound's own dimension something smaller than the bound, so that the largest or the
    /// sum of several can reach it.
    fn tried(&self, name: &str, first: f64, turn: usize, bound_si: f64) -> f64 {
        if self.like_the_bound(name) {
            bound_si * first / TRIED[1] / (2.0 + turn as f64)
        } else {
            first * (1.0 + turn as f64)
        }
    }

    fn like_the_bound(&self, name: &str) -> bool {
        self.inputs
            .get(name)
            .is_some_and(|input| input.dimension == self.dimension && !self.dimension.is_none())
    }

    fn free(&self) -> impl Iterator<Item = &str> {
        let free = self.inputs.iter().filter(|(_, input)| input.expected.is_none());
        free.map(|(name, _)| name.as_str())
    }

    /// The only reading of the expression: it is what the bound says, whatever was expected of it.
    fn alone(&self) -> Option<&str> {
        let mut readings = self.inputs.iter().filter(|(_, input)| !input.constant);
        let (name, _) = readings.next()?;
        readings.next().is_none().then_some(name.as_str())
    }

    fn measured(&self, values: &BTreeMap<String, f64>) -> Option<Measured> {
        let datum = |name: &str| {
            let input = self.inputs.get(name)?;
            let si = values.get(name).copied().or(input.expected.map(Quantity::si))?;
            let value = Quantity::new(si, input.dimension);
            Some(value.map(|value| Measured {
                value,
                uncertainty: at_value(&input.terms, si),
            }))
        };
        match self.expr.evaluate(&datum) {
            Ok(Value::Measured(measured)) => Some(measured),
            _ => None,
        }
    }

    /// Searches the value of one input that brings the result to the bound (secant).
    fn solved(
        &self,
        name: &str,
        mut values: BTreeMap<String, f64>,
        (bound_si, start): (f64, f64),
    ) -> Option<Uncertainty> {
        let mut off = |x: f64| {
            values.insert(name.to_owned(), x);
            let measured = self.measured(&values)?;
            Some((measured.value.si() - bound_si, measured.uncertainty))
        };
        let (mut before, mut now) = (start, 1.1 * start);
        let mut off_before = off(before)?.0;
        for _ in 0..STEPS {
            let (off_now, uncertainty) = off(now)?;
            if off_now.abs() <= NEAR * bound_si.abs().max(SMALLEST) {
                return Some(uncertainty);
            }
            let slope = (off_now - off_before) / (now - before);
            if !slope.is_finite() || slope == 0.0 {
                return None;
            }
            (before, off_before) = (now, off_now);
            now -= off_now / slope;
        }
        None
    }

    fn unknown(&self, free: &[&str]) -> String {
        let names: Vec<String> = free.iter().map(|name| format!("`${name}`")).collect();
        format!(
            "known only when read: it depends on {} in `{}`, and nothing says beforehand how large {} will be",
            names.join(" and "),
            self.expr.text(),
            if free.len() == 1 { "it" } else { "they" },
        )
    }

    fn no_value(&self) -> String {
        format!("known only when read: `{}` has no value beforehand", self.expr.text())
    }
}

/// What cancels leaves the rounding of numbers.
fn all_alike(found: &[Uncertainty], bound_si: f64) -> bool {
    let all: Vec<f64> = found.iter().filter_map(uncertainty::standard).collect();
    let largest = all.iter().copied().fold(0.0, f64::max);
    all.len() == found.len()
        && all
            .iter()
            .all(|one| largest - one <= SAME * largest + NEAR * bound_si.abs())
}

#[cfg(test)]
mod tests {
    use super::{Formula, Input};
    use crate::fit::accuracy::Term;
    use pilotage_core::expr::Kind;
    use pilotage_core::{Dimension, Expr, Quantity, uncertainty};
    use std::collections::BTreeMap;

    fn term(source: &str, relative: f64, fixed: f64) -> Term {
        Term {
            source: source.to_owned(),
            relative,
            fixed,
            ..Term::of_sequence("", String::new(), 0.0)
        }
    }

    fn standard(text: &str, inputs: &[(&str, Dimension, Option<f64>, Term)], bound: f64) -> Result<f64, String> {
        let expr = Expr::parse(text).expect("parses");
        let inputs: BTreeMap<String, Input> = inputs
            .iter()
            .map(|(name, dimension, expected, term)| {
                let input = Input {
                    terms: vec![term.clone()],
                    expected: expected.map(|si| Quantity::new(si, *dimension).expect("finite")),
                    dimension: *dimension,
                    constant: false,
                    in_window: false,
                };
                ((*name).to_owned(), input)
            })
            .collect();
        let kinds = |name: &str| inputs.get(name).map(|input| Kind::Quantity(input.dimension));
        let dimension = expr.dimension_of(&kinds).expect("dimensions fit");
        let found = Formula::new(&expr, &inputs, dimension).at(bound)?;
        uncertainty::standard(&found).ok_or_else(|| "unknown".to_owned())
    }

    const V: Dimension = Dimension::VOLTAGE;
    const A: Dimension = Dimension::CURRENT;

    #[test]
    fn the_input_that_nobody_knows_is_solved_for() {
        // 30 mΩ at 32 A is 0.96 V, known to 0.1 %; the current to 1 %: 30 mΩ · √(0.001² + 0.01²).
        let inputs = [
            ("drop", V, None, term("meter", 0.001, 0.0)),
            ("i", A, Some(32.0), term("load", 0.01, 0.0)),
        ];
        let found = standard("$drop / $i", &inputs, 0.03).expect("one unknown");
        assert!((found - 0.03 * f64::hypot(0.001, 0.01)).abs() < 1e-9, "{found}");
    }

    #[test]
    fn what_does_not_depend_on_the_readings_is_known_without_them() {
        // A ratio of two readings of one gain: the gain cancels, whatever they read; fixed parts would not.
        let shared = |name| (name, V, None, term("meter", 0.01, 0.0));
        assert!(standard("$a / $b", &[shared("a"), shared("b")], 1.0).expect("known") < 1e-12);
        let apart = [("a", V, None, term("a", 0.0, 0.1)), ("b", V, None, term("b", 0.0, 0.1))];
        let why = standard("$a / $b", &apart, 1.0).expect_err("depends on both");
        assert!(
            why.contains("known only when read") && why.contains("`$a` and `$b`"),
            "{why}"
        );
        // A difference of two: √2 times as much.
        let found = standard("$a - $b", &apart, 5.0).expect("known");
        assert!((found - 0.1 * 2f64.sqrt()).abs() < 1e-12, "{found}");
    }

    #[test]
    fn the_largest_of_several_reaches_the_bound_by_one_of_them() {
        let inputs = [
            ("a", V, None, term("a", 0.01, 0.0)),
            ("b", V, None, term("b", 0.01, 0.0)),
            ("c", V, None, term("c", 0.01, 0.0)),
        ];
        let found = standard("max(max($a, $b), $c)", &inputs, 0.001).expect("known");
        assert!((found - 0.00001).abs() < 1e-12, "{found}");
    }

    #[test]
    fn where_no_input_leads_to_the_bound_nothing_is_known() {
        let why = standard("$a * 0", &[("a", V, None, term("a", 0.1, 0.0))], 5.0).expect_err("constant");
        assert!(why.contains("`$a`"), "{why}");
    }
}
