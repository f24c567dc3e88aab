//! Dimensions of an expression, known before anything is measured.

use super::error::ExprError;
use super::expression::Kind;
use super::functions::Function;
use super::tree::{Form, Node, Operator};
use crate::dimension::Dimension;
use crate::format;

type Kinds<'a> = &'a dyn Fn(&str) -> Option<Kind>;

/// What a part yields.
pub(super) fn kind(node: &Node, kinds: Kinds<'_>) -> Result<Kind, ExprError> {
    match &node.form {
        Form::Literal { unit, .. } => Ok(Kind::Quantity(unit.dimension)),
        Form::Name(name) => kinds(name)
            .ok_or_else(|| ExprError::new(node.at.clone(), format!("there is no value named `${name}` here"))),
        Form::Negative(of) => quantity(of, kinds).map(Kind::Quantity),
        Form::Not(of) => truth(of, kinds),
        Form::Power(of, exponent) => power(node, quantity(of, kinds)?, *exponent),
        Form::Binary(operator, left, right) => binary(node, *operator, left, right, kinds),
        Form::Call(function, arguments) => call(node, *function, arguments, kinds),
    }
}

/// The dimension of a product of a dimension with itself.
pub(super) fn raised(dimension: Dimension, exponent: i8) -> Option<Dimension> {
    let mut exponents = dimension.exponents();
    for own in &mut exponents {
        *own = own.checked_mul(exponent)?;
    }
    Some(Dimension::from_exponents(exponents))
}

fn quantity(node: &Node, kinds: Kinds<'_>) -> Result<Dimension, ExprError> {
    match kind(node, kinds)? {
        Kind::Quantity(dimension) => Ok(dimension),
        Kind::Truth => Err(ExprError::new(
            node.at.clone(),
            "expected a quantity, found a condition (true or false)",
        )),
    }
}

fn truth(node: &Node, kinds: Kinds<'_>) -> Result<Kind, ExprError> {
    match kind(node, kinds)? {
        Kind::Truth => Ok(Kind::Truth),
        Kind::Quantity(dimension) => {
            let found = format::dimension(dimension);
            let error = ExprError::new(
                node.at.clone(),
                format!("expected a condition (true or false), found {found}"),
            );
            Err(error.mended("compare it: `$x >= 16 A`"))
        }
    }
}

fn power(node: &Node, base: Dimension, exponent: i8) -> Result<Kind, ExprError> {
    raised(base, exponent)
        .map(Kind::Quantity)
        .ok_or_else(|| out_of_range(node))
}

fn binary(node: &Node, operator: Operator, left: &Node, right: &Node, kinds: Kinds<'_>) -> Result<Kind, ExprError> {
    match operator {
        Operator::And | Operator::Or => {
            truth(left, kinds)?;
            truth(right, kinds)
        }
        Operator::Multiply => {
            let product = quantity(left, kinds)?.times(quantity(right, kinds)?);
            product.map(Kind::Quantity).ok_or_else(|| out_of_range(node))
        }
        Operator::Divide => {
            let quotient = quantity(left, kinds)?.per(quantity(right, kinds)?);
            quotient.map(Kind::Quantity).ok_or_else(|| out_of_range(node))
        }
        Operator::Add => same(node, "add", "to", right, left, kinds).map(Kind::Quantity),
        Operator::Subtract => same(node, "subtract", "from", right, left, kinds).map(Kind::Quantity),
        Operator::Compare(_) => same(node, "compare", "with", left, right, kinds).map(|_| Kind::Truth),
    }
}

fn same(node: &Node, verb: &str, joint: &str, a: &Node, b: &Node, kinds: Kinds<'_>) -> Result<Dimension, ExprError> {
    let (of_a, of_b) = (quantity(a, kinds)?, quantity(b, kinds)?);
    if of_a == of_b {
        return Ok(of_a);
    }
    let (a, b) = (format::dimension(of_a), format::dimension(of_b));
    Err(ExprError::new(
        node.at.clone(),
        format!("cannot {verb} {a} {joint} {b}"),
    ))
}

fn call(node: &Node, function: Function, arguments: &[Node], kinds: Kinds<'_>) -> Result<Kind, ExprError> {
    let [first, rest @ ..] = arguments else {
        return Err(ExprError::new(
            node.at.clone(),
            format!("{} takes a value", function.name()),
        ));
    };
    let of = quantity(first, kinds)?;
    let wants = |wanted: Dimension, yields: Dimension| {
        if of == wanted {
            return Ok(yields);
        }
        let (wanted, found) = (format::dimension(wanted), format::dimension(of));
        Err(ExprError::new(
            first.at.clone(),
            format!("{} takes {wanted}, found {found}", function.name()),
        ))
    };
    let dimension = match function {
        Function::Abs => of,
        Function::Min | Function::Max => match rest {
            [second] => same(node, "compare", "with", first, second, kinds)?,
            _ => {
                return Err(ExprError::new(
                    node.at.clone(),
                    format!("{} takes 2 values", function.name()),
                ));
            }
        },
        Function::Sqrt => of.root().ok_or_else(|| {
            let message = format!("{} has no square root", format::dimension(of));
            ExprError::new(first.at.clone(), message)
        })?,
        Function::Ln | Function::Exp => wants(Dimension::NONE, Dimension::NONE)?,
        Function::DutyFor => wants(Dimension::CURRENT, Dimension::NONE)?,
        Function::CurrentFor => wants(Dimension::NONE, Dimension::CURRENT)?,
        Function::DiodeDrop => wants(Dimension::CURRENT, Dimension::VOLTAGE)?,
    };
    Ok(Kind::Quantity(dimension))
}

fn out_of_range(node: &Node) -> ExprError {
    ExprError::new(node.at.clone(), "the powers of the units leave every reasonable range")
}
