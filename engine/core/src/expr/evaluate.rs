//! Values of an expression, with first-order uncertainty (JCGM 100, 5.1.2) carried through every operation.
//!
//! At a kink: `abs` at exactly 0 keeps the contributions with their signs; `min` and `max` of two equal values take the
//! contributions of the less certain one, and where the uncertainty of either operand is unknown, that of the result is.
//! Away from a kink the branch that is taken decides, as for any first-order propagation: where the operands lie closer
//! together than their uncertainty, the true mean of a `min` is a little lower than its value here.
//!
//! Comparisons take values that agree within 10⁻⁹ of the larger one as equal, since `0.1 * 3` and `0.3` are the same
//! number to the reader. Verdicts are not made here.

use super::check;
use super::expression::Value;
use super::functions::Function;
use super::tree::{Comparison, Form, Node, Operator};
use crate::dimension::Dimension;
use crate::format;
use crate::measured::{Contribution, Datum, Measured, NoValue, Uncertainty};
use crate::pilot;
use crate::quantity::Quantity;
use crate::uncertainty;
use std::cmp::Ordering;

type Values<'a> = &'a dyn Fn(&str) -> Option<Datum>;

/// Relative difference below which two values are one to the reader.
const SAME: f64 = 1e-9;

/// The value of a part.
pub(super) fn value(node: &Node, values: Values<'_>) -> Result<Value, NoValue> {
    match &node.form {
        Form::Not(of) => Ok(Value::Truth(!truth(of, values)?)),
        Form::Binary(Operator::And, left, right) => Ok(Value::Truth(truth(left, values)? && truth(right, values)?)),
        Form::Binary(Operator::Or, left, right) => Ok(Value::Truth(truth(left, values)? || truth(right, values)?)),
        Form::Binary(Operator::Compare(comparison), left, right) => {
            let (left, right) = (measured(left, values)?, measured(right, values)?);
            compare(*comparison, &left, &right).map(Value::Truth)
        }
        _ => measured(node, values).map(Value::Measured),
    }
}

fn truth(node: &Node, values: Values<'_>) -> Result<bool, NoValue> {
    match value(node, values)? {
        Value::Truth(truth) => Ok(truth),
        Value::Measured(measured) => Ok(measured.value.si() != 0.0),
    }
}

fn measured(node: &Node, values: Values<'_>) -> Datum {
    match &node.form {
        Form::Literal { si, unit, .. } => Quantity::new(*si, unit.dimension).map(Measured::exact),
        Form::Name(name) => match values(name) {
            Some(datum) => datum,
            None => Err(NoValue::Missing(format!("${name} has no value"))),
        },
        Form::Negative(of) => {
            let of = measured(of, values)?;
            apply(-of.value.si(), of.value.dimension(), &[(-1.0, &of)])
        }
        Form::Power(of, exponent) => power(&measured(of, values)?, *exponent),
        Form::Binary(operator, left, right) => {
            arithmetic(*operator, &measured(left, values)?, &measured(right, values)?)
        }
        Form::Call(function, arguments) => call(*function, arguments, values),
        Form::Not(_) => Err(NoValue::Missing("a condition has no amount".to_owned())),
    }
}

fn apply(si: f64, dimension: Dimension, inputs: &[(f64, &Measured)]) -> Datum {
    let value = Quantity::new(si, dimension)?;
    let terms: Vec<(f64, &Uncertainty)> = inputs
        .iter()
        .map(|(slope, input)| (*slope, &input.uncertainty))
        .collect();
    Ok(Measured {
        value,
        uncertainty: uncertainty::propagate(&terms),
    })
}

fn arithmetic(operator: Operator, left: &Measured, right: &Measured) -> Datum {
    let (a, b) = (left.value.si(), right.value.si());
    let (of_a, of_b) = (left.value.dimension(), right.value.dimension());
    match operator {
        Operator::Add => apply(a + b, one_dimension(left, right)?, &[(1.0, left), (1.0, right)]),
        Operator::Subtract => apply(a - b, one_dimension(left, right)?, &[(1.0, left), (-1.0, right)]),
        Operator::Multiply => apply(a * b, in_range(of_a.times(of_b))?, &[(b, left), (a, right)]),
        Operator::Divide if b == 0.0 => Err(NoValue::DivisionByZero),
        Operator::Divide => apply(
            a / b,
            in_range(of_a.per(of_b))?,
            &[(1.0 / b, left), (-(a / b) / b, right)],
        ),
        Operator::Compare(_) | Operator::And | Operator::Or => {
            Err(NoValue::Missing("a condition has no amount".to_owned()))
        }
    }
}

fn power(of: &Measured, exponent: i8) -> Datum {
    let (x, n) = (of.value.si(), i32::from(exponent));
    if x == 0.0 && n < 0 {
        return Err(NoValue::DivisionByZero);
    }
    let slope = if n == 0 {
        0.0
    } else {
        f64::from(n) * integer_power(x, n - 1)
    };
    apply(
        integer_power(x, n),
        in_range(check::raised(of.value.dimension(), exponent))?,
        &[(slope, of)],
    )
}

/// By repeated multiplication: the same on every platform.
fn integer_power(x: f64, n: i32) -> f64 {
    let product = (0..n.unsigned_abs()).fold(1.0, |product, _| product * x);
    if n < 0 { 1.0 / product } else { product }
}

fn call(function: Function, arguments: &[Node], values: Values<'_>) -> Datum {
    let mut evaluated = Vec::with_capacity(arguments.len());
    for argument in arguments {
        evaluated.push(measured(argument, values)?);
    }
    match evaluated.as_slice() {
        [x] => single(function, x),
        [a, b] => choose(function, a, b),
        _ => Err(NoValue::Missing(format!("{} takes one or two values", function.name()))),
    }
}

fn single(function: Function, of: &Measured) -> Datum {
    let x = of.value.si();
    match function {
        Function::Abs => apply(x.abs(), of.value.dimension(), &[(if x < 0.0 { -1.0 } else { 1.0 }, of)]),
        Function::Sqrt => square_root(of),
        Function::Ln if x <= 0.0 => Err(NoValue::NotANumber),
        Function::Ln => apply(libm::log(x), Dimension::NONE, &[(1.0 / x, of)]),
        Function::Exp => apply(libm::exp(x), Dimension::NONE, &[(libm::exp(x), of)]),
        Function::DutyFor => on_curve(pilot::duty_for(x)?, Dimension::NONE, of),
        Function::CurrentFor => on_curve(pilot::current_for(x)?, Dimension::CURRENT, of),
        Function::DiodeDrop => on_curve(pilot::diode_drop(x)?, Dimension::VOLTAGE, of).map(with_diode_spread),
        Function::Min | Function::Max => Err(NoValue::Missing(format!("{} takes 2 values", function.name()))),
    }
}

fn on_curve(point: pilot::OnCurve, dimension: Dimension, of: &Measured) -> Datum {
    apply(point.value, dimension, &[(point.slope, of)])
}

/// What is not known of the diode: one source in every call, so that `diode_drop(a) - diode_drop(b)` is free of it.
fn with_diode_spread(mut drop: Measured) -> Measured {
    if let Uncertainty::Known(terms) = &mut drop.uncertainty {
        let spread_v = pilot::DIODE_SPREAD_V;
        let source = format!("forward drop of the diode, ±{spread_v} V about its law");
        let spread = Contribution::rectangular(source, spread_v);
        terms.push(spread);
    }
    drop
}

fn square_root(of: &Measured) -> Datum {
    let x = of.value.si();
    let dimension = in_range(of.value.dimension().root())?;
    if x < 0.0 {
        return Err(NoValue::NotANumber);
    }
    if x > 0.0 {
        let root = x.sqrt();
        return apply(root, dimension, &[(0.5 / root, of)]);
    }
    let uncertainty = match uncertainty::standard(&of.uncertainty) {
        Some(0.0) | None => of.uncertainty.clone(),
        Some(_) => Uncertainty::Unknown("the slope of a square root at 0 is infinite".to_owned()),
    };
    Ok(Measured {
        value: Quantity::new(0.0, dimension)?,
        uncertainty,
    })
}

fn choose(function: Function, a: &Measured, b: &Measured) -> Datum {
    let dimension = one_dimension(a, b)?;
    let (x, y) = (a.value.si(), b.value.si());
    let (u_a, u_b) = (
        uncertainty::standard(&a.uncertainty),
        uncertainty::standard(&b.uncertainty),
    );
    let tie = x.partial_cmp(&y) == Some(Ordering::Equal);
    let takes_a = match function {
        Function::Min => x < y || (tie && u_a >= u_b),
        Function::Max => x > y || (tie && u_a >= u_b),
        _ => return Err(NoValue::Missing(format!("{} takes 1 value", function.name()))),
    };
    if u_a.is_none() || u_b.is_none() {
        // The choice itself rests on both.
        return apply(if takes_a { x } else { y }, dimension, &[(1.0, a), (1.0, b)]);
    }
    let chosen = if takes_a { a } else { b };
    apply(chosen.value.si(), dimension, &[(1.0, chosen)])
}

fn compare(comparison: Comparison, left: &Measured, right: &Measured) -> Result<bool, NoValue> {
    one_dimension(left, right)?;
    let (a, b) = (left.value.si(), right.value.si());
    let same = (a - b).abs() <= SAME * a.abs().max(b.abs());
    Ok(match comparison {
        Comparison::Less => a < b && !same,
        Comparison::AtMost => a < b || same,
        Comparison::Greater => a > b && !same,
        Comparison::AtLeast => a > b || same,
        Comparison::Equal => same,
    })
}

/// [`check::kind`] refuses mixed dimensions before anything is measured; whoever skipped it gets no value.
fn one_dimension(left: &Measured, right: &Measured) -> Result<Dimension, NoValue> {
    let dimension = left.value.dimension();
    if dimension == right.value.dimension() {
        return Ok(dimension);
    }
    let (left, right) = (format::dimension(dimension), format::dimension(right.value.dimension()));
    Err(NoValue::Missing(format!("the dimensions differ: {left} and {right}")))
}

fn in_range(dimension: Option<Dimension>) -> Result<Dimension, NoValue> {
    dimension.ok_or_else(|| NoValue::Missing("the powers of the units leave every reasonable range".to_owned()))
}
