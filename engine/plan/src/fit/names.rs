//! Formulas against the names that are known: checked for dimension first, evaluated where they must be numbers now.

use super::code;
use super::fitter::Fitter;
use super::near;
use crate::problem::Problem;
use crate::source::{Formula, Span};
use pilotage_core::expr::{Kind, Value};
use pilotage_core::{Dimension, Measured, NoValue, Quantity, Unit};
use std::time::Duration;

/// A reading that was defined so far.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ReadingName {
    /// Its dimension; `None` for a reading in words.
    pub(crate) dimension: Option<Dimension>,
    /// The unit to print in.
    pub(crate) unit: String,
    /// Why there will be no such reading in this run.
    pub(crate) absent: Option<Absent>,
}

/// Why a step, and every reading of it, is left out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Absent {
    /// It does not apply to this nameplate.
    DoesNotApply(String),
    /// The bench does not serve it.
    NotTested(String),
}

/// Evaluates a formula without names.
pub(crate) fn constant(formula: &Formula) -> Result<Quantity, Box<Problem>> {
    evaluate(formula, &|_| None)
}

/// Evaluates a formula with constants only.
pub(crate) fn evaluate(
    formula: &Formula,
    constants: &dyn Fn(&str) -> Option<Quantity>,
) -> Result<Quantity, Box<Problem>> {
    let kinds = |name: &str| constants(name).map(|quantity| Kind::Quantity(quantity.dimension()));
    formula
        .expr
        .kind(&kinds)
        .map_err(|error| Box::new(expression_problem(formula, &error)))?;
    let values = |name: &str| constants(name).map(|quantity| Ok(Measured::exact(quantity)));
    match formula.expr.evaluate(&values) {
        Ok(Value::Measured(measured)) => Ok(measured.value),
        Ok(Value::Truth(_)) => Err(Box::new(not_a_quantity(formula))),
        Err(why) => Err(Box::new(no_number(formula, &why))),
    }
}

fn no_number(formula: &Formula, why: &NoValue) -> Problem {
    let message = format!("`{}` gives no number: {why}", formula.expr.text());
    Problem::new(code::NO_NUMBER, &formula.span, message)
        .expected("a finite number")
        .got(why.to_string())
        .mend("check the values that go in")
}

fn expression_problem(formula: &Formula, error: &pilotage_core::ExprError) -> Problem {
    let problem = Problem::new(code::DIMENSION, &formula.span, error.message.clone())
        .got(format!("`{}`", formula.expr.text()))
        .expected("an expression whose dimensions fit together");
    problem.mend(
        error
            .mend
            .clone()
            .unwrap_or_else(|| "change the units or the names in it".to_owned()),
    )
}

fn not_a_quantity(formula: &Formula) -> Problem {
    Problem::new(code::NOT_A_CONDITION, &formula.span, "a quantity is wanted here")
        .expected("a quantity")
        .got(format!("the condition `{}`", formula.expr.text()))
        .mend("write a value instead of a comparison")
}

/// A dimension for people: the coherent unit where it has a name.
pub(crate) fn dimension_name(dimension: Dimension) -> String {
    match Unit::coherent(dimension) {
        _ if dimension.is_none() => "a pure number".to_owned(),
        Some(unit) => format!("a quantity in {}", unit.symbol),
        None => format!("a quantity of the dimension {:?}", dimension.exponents()),
    }
}

impl Fitter<'_> {
    /// A constant: of this pass first, then of the nameplate.
    pub(crate) fn constant(&self, name: &str) -> Option<Quantity> {
        self.pass.get(name).copied().or_else(|| self.plate.constant(name))
    }

    fn kind_of_name(&self, name: &str) -> Option<Kind> {
        let known = self.constant(name).map(pilotage_core::Quantity::dimension);
        known
            .or_else(|| self.readings.get(name).and_then(|reading| reading.dimension))
            .map(Kind::Quantity)
    }

    /// Whether a formula refers to a reading.
    pub(crate) fn is_late(&self, formula: &Formula) -> bool {
        formula
            .expr
            .names()
            .iter()
            .any(|name| self.constant(name).is_none() && self.readings.contains_key(*name))
    }

    /// Every name must be known and a number; notes readings that this run will not have.
    fn names_known(&mut self, formula: &Formula) -> bool {
        let mut all = true;
        let names: Vec<String> = formula.expr.names().iter().map(|name| (*name).to_owned()).collect();
        for name in names {
            if self.constant(&name).is_some() {
                continue;
            }
            if let Some(reading) = self.readings.get(&name).cloned() {
                all &= self.usable_reading(&name, &reading, &formula.span);
            } else {
                self.unknown_name(&name, &formula.span);
                all = false;
            }
        }
        all
    }

    /// Whether a reading is a number; notes where it will be absent.
    pub(crate) fn usable_reading(&mut self, name: &str, reading: &ReadingName, span: &Span) -> bool {
        if let Some(absent) = &reading.absent {
            self.step.leave_out(absent.clone());
        }
        if reading.dimension.is_none() {
            self.problems.add(
                Problem::new(code::WORD_READING, span, format!("`${name}` is a reading in words"))
                    .expected("a reading that is a number")
                    .got("a word")
                    .mend("judge words with `wait_for` or `must_not`"),
            );
        }
        reading.dimension.is_some()
    }

    /// An unknown name, with the nearest that exists.
    pub(crate) fn unknown_name(&mut self, name: &str, span: &Span) {
        let known: Vec<String> = self
            .readings
            .keys()
            .chain(self.pass.keys())
            .chain(self.plate.constants.keys())
            .cloned()
            .collect();
        let mend = near::nearest(name, &known).map_or_else(
            || "define it in an earlier act (`read`, `find`, `ask`), or use a name of the nameplate".to_owned(),
            |near| format!("did you mean `${near}`?"),
        );
        self.problems.add(
            Problem::new(code::UNKNOWN_NAME, span, format!("`${name}` is not known here"))
                .expected("a name of the nameplate, of this pass, or of a reading taken earlier")
                .got(format!("`${name}`"))
                .mend(mend),
        );
    }

    /// The kind of a formula with every known name, readings too.
    fn kind_of(&mut self, formula: &Formula) -> Option<Kind> {
        if !self.names_known(formula) {
            return None;
        }
        match formula.expr.kind(&|name| self.kind_of_name(name)) {
            Ok(kind) => Some(kind),
            Err(error) => {
                self.problems.add(expression_problem(formula, &error));
                None
            }
        }
    }

    /// The dimension of a formula that yields a quantity, readings allowed.
    pub(crate) fn dimension_of(&mut self, formula: &Formula) -> Option<Dimension> {
        match self.kind_of(formula)? {
            Kind::Quantity(dimension) => Some(dimension),
            Kind::Truth => {
                self.problems.add(not_a_quantity(formula));
                None
            }
        }
    }

    /// Whether a formula is a condition, readings allowed.
    pub(crate) fn is_condition(&mut self, formula: &Formula) -> bool {
        match self.kind_of(formula) {
            None => false,
            Some(Kind::Truth) => true,
            Some(Kind::Quantity(_)) => {
                self.problems.add(
                    Problem::new(code::NOT_A_CONDITION, &formula.span, "a condition is wanted here")
                        .expected("a comparison, e.g. `$rated_current >= 16 A`")
                        .got(format!("the quantity `{}`", formula.expr.text()))
                        .mend("compare it with something"),
                );
                false
            }
        }
    }

    /// The truth of a condition over constants.
    pub(crate) fn truth(&mut self, formula: &Formula) -> Option<bool> {
        if !self.is_condition(formula) || !self.is_early(formula, "a condition of a step") {
            return None;
        }
        let values = |name: &str| self.constant(name).map(|quantity| Ok(Measured::exact(quantity)));
        match formula.expr.evaluate(&values) {
            Ok(Value::Truth(holds)) => Some(holds),
            _ => None,
        }
    }

    /// Refuses a formula that depends on a reading.
    fn is_early(&mut self, formula: &Formula, what: &str) -> bool {
        if !self.is_late(formula) {
            return true;
        }
        self.problems.add(
            Problem::new(code::LATE_VALUE, &formula.span, format!("{what} depends on a reading"))
                .expected("a value that is known before the run: a number, the nameplate, `for_each` or a sweep")
                .got(format!("`{}`", formula.expr.text()))
                .mend("write the value, or step through values with `for_each` or `sweep` and judge the reading"),
        );
        false
    }

    /// The value of a formula that must be known before the run.
    pub(crate) fn value(&mut self, formula: &Formula, what: &str) -> Option<Quantity> {
        self.dimension_of(formula)?;
        if !self.is_early(formula, what) {
            return None;
        }
        match evaluate(formula, &|name| self.constant(name)) {
            Ok(quantity) => Some(quantity),
            Err(problem) => {
                self.problems.add(*problem);
                None
            }
        }
    }

    /// The value of a formula that must be known before the run and have this dimension.
    pub(crate) fn number(&mut self, formula: &Formula, wanted: Dimension, what: &str) -> Option<Quantity> {
        let quantity = self.value(formula, what)?;
        self.same_dimension(quantity.dimension(), wanted, formula, what)
            .then_some(quantity)
    }

    /// Refuses a formula of another dimension than wanted.
    pub(crate) fn same_dimension(&mut self, got: Dimension, wanted: Dimension, formula: &Formula, what: &str) -> bool {
        if got != wanted {
            self.problems.add(
                Problem::new(
                    code::DIMENSION,
                    &formula.span,
                    format!("{what} has the wrong dimension"),
                )
                .expected(dimension_name(wanted))
                .got(format!("`{}`, {}", formula.expr.text(), dimension_name(got)))
                .mend("write the unit that belongs to it"),
            );
        }
        got == wanted
    }

    /// A length of time above zero.
    pub(crate) fn time(&mut self, formula: &Formula, what: &str) -> Option<Duration> {
        let quantity = self.number(formula, Dimension::TIME, what)?;
        let duration = Duration::try_from_secs_f64(quantity.si())
            .ok()
            .filter(|d| !d.is_zero() && d.as_secs() < 604_800);
        if duration.is_none() {
            self.problems.add(
                Problem::new(code::TIME_RANGE, &formula.span, format!("{what} is outside its range"))
                    .expected("more than 0 s and less than 7 days")
                    .got(quantity.to_string())
                    .mend("write a longer or shorter time"),
            );
        }
        duration
    }
}
