//! The tree of an expression, and what may be joined whatever the dimensions are: the rules for °C and %.

use super::error::ExprError;
use super::functions::Function;
use crate::unit::Unit;
use std::ops::Range;

/// The deepest tree, so that no walk over it can exhaust the stack.
const DEEPEST: u16 = 256;

/// A part of an expression and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Node {
    pub(super) form: Form,
    pub(super) at: Range<usize>,
    pub(super) thermal: Thermal,
    depth: u16,
}

/// What a part is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Form {
    /// A number with its unit.
    Literal { si: f64, unit: Unit, grouped: bool },
    /// `$name`
    Name(String),
    /// `-x`
    Negative(Box<Node>),
    /// `not x`
    Not(Box<Node>),
    /// `a ∘ b`
    Binary(Operator, Box<Node>, Box<Node>),
    /// `x ^ n`
    Power(Box<Node>, i8),
    /// `f(…)`
    Call(Function, Vec<Node>),
}

/// What joins two parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Operator {
    Add,
    Subtract,
    Multiply,
    Divide,
    Compare(Comparison),
    And,
    Or,
}

/// A comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Comparison {
    Less,
    AtMost,
    Greater,
    AtLeast,
    Equal,
}

/// Whether a part is a point on the Celsius scale. A name may hold either: its value is in kelvin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Thermal {
    /// A point on the scale.
    Point,
    /// Certainly an amount.
    Amount,
    /// Not known before the dimension is: a name.
    Either,
}

impl Operator {
    pub(super) fn sign(self) -> &'static str {
        match self {
            Self::Add => "+",
            Self::Subtract => "-",
            Self::Multiply => "*",
            Self::Divide => "/",
            Self::And => "and",
            Self::Or => "or",
            Self::Compare(comparison) => comparison.sign(),
        }
    }
}

impl Comparison {
    pub(super) fn sign(self) -> &'static str {
        match self {
            Self::Less => "<",
            Self::AtMost => "<=",
            Self::Greater => ">",
            Self::AtLeast => ">=",
            Self::Equal => "==",
        }
    }
}

impl Node {
    pub(super) fn literal(si: f64, unit: Unit, at: Range<usize>) -> Self {
        let thermal = if unit.is_affine() {
            Thermal::Point
        } else {
            Thermal::Amount
        };
        let form = Form::Literal {
            si,
            unit,
            grouped: false,
        };
        Self {
            form,
            at,
            thermal,
            depth: 1,
        }
    }

    pub(super) fn name(name: String, at: Range<usize>) -> Self {
        Self {
            form: Form::Name(name),
            at,
            thermal: Thermal::Either,
            depth: 1,
        }
    }

    pub(super) fn negative(of: Self, at: Range<usize>) -> Result<Self, ExprError> {
        of.refuse_point("have its sign changed")?;
        let (thermal, depth) = (of.thermal, of.depth);
        Self::build(Form::Negative(Box::new(of)), at, thermal, depth)
    }

    pub(super) fn not(of: Self, at: Range<usize>) -> Result<Self, ExprError> {
        let depth = of.depth;
        Self::build(Form::Not(Box::new(of)), at, Thermal::Amount, depth)
    }

    pub(super) fn power(of: Self, exponent: i8, at: Range<usize>) -> Result<Self, ExprError> {
        of.refuse_point("be raised to a power")?;
        of.refuse_percent("^")?;
        let depth = of.depth;
        Self::build(Form::Power(Box::new(of), exponent), at, Thermal::Amount, depth)
    }

    /// `25 % of x`
    pub(super) fn share(share: Self, of: Self) -> Result<Self, ExprError> {
        of.refuse_point("be divided into shares")?;
        Self::joined(Operator::Multiply, share, of, Thermal::Amount)
    }

    pub(super) fn binary(operator: Operator, left: Self, right: Self) -> Result<Self, ExprError> {
        let arithmetic = !matches!(operator, Operator::Compare(_) | Operator::And | Operator::Or);
        if arithmetic {
            left.refuse_percent(operator.sign())?;
            right.refuse_percent(operator.sign())?;
        }
        let thermal = thermal(operator, &left, &right)?;
        Self::joined(operator, left, right, thermal)
    }

    pub(super) fn call(function: Function, arguments: Vec<Self>, at: Range<usize>) -> Result<Self, ExprError> {
        let choice = matches!(function, Function::Min | Function::Max);
        if !choice {
            for argument in &arguments {
                argument.refuse_point(&format!("be an argument of {}", function.name()))?;
            }
        }
        let point = arguments.iter().any(|argument| argument.thermal == Thermal::Point);
        let either = choice && arguments.iter().any(|argument| argument.thermal == Thermal::Either);
        let thermal = match (point, either) {
            (true, _) => Thermal::Point,
            (false, true) => Thermal::Either,
            (false, false) => Thermal::Amount,
        };
        let depth = arguments.iter().map(|argument| argument.depth).max().unwrap_or(0);
        Self::build(Form::Call(function, arguments), at, thermal, depth)
    }

    /// The same part inside parentheses.
    pub(super) fn grouped(mut self, at: Range<usize>) -> Self {
        if let Form::Literal { grouped, .. } = &mut self.form {
            *grouped = true;
        }
        self.at = at;
        self
    }

    /// Calls `see` for this part and every part of it.
    pub(super) fn visit<'a>(&'a self, see: &mut impl FnMut(&'a Self)) {
        see(self);
        match &self.form {
            Form::Literal { .. } | Form::Name(_) => {}
            Form::Negative(of) | Form::Not(of) | Form::Power(of, _) => of.visit(see),
            Form::Binary(_, left, right) => {
                left.visit(see);
                right.visit(see);
            }
            Form::Call(_, arguments) => {
                for argument in arguments {
                    argument.visit(see);
                }
            }
        }
    }

    fn joined(operator: Operator, left: Self, right: Self, thermal: Thermal) -> Result<Self, ExprError> {
        let at = left.at.start..right.at.end;
        let depth = left.depth.max(right.depth);
        Self::build(
            Form::Binary(operator, Box::new(left), Box::new(right)),
            at,
            thermal,
            depth,
        )
    }

    fn build(form: Form, at: Range<usize>, thermal: Thermal, below: u16) -> Result<Self, ExprError> {
        if below >= DEEPEST {
            let error = ExprError::new(at, format!("the expression has more than {DEEPEST} levels"));
            return Err(error.mended("give parts of it names of their own"));
        }
        let depth = below + 1;
        Ok(Self {
            form,
            at,
            thermal,
            depth,
        })
    }

    fn refuse_point(&self, what: &str) -> Result<(), ExprError> {
        if self.thermal != Thermal::Point {
            return Ok(());
        }
        let error = ExprError::new(
            self.at.clone(),
            format!("a temperature in °C cannot {what}: its zero is arbitrary"),
        );
        Err(error.mended("write a difference in K, or the temperature itself in K"))
    }

    fn refuse_percent(&self, sign: &str) -> Result<(), ExprError> {
        match &self.form {
            Form::Literal {
                unit, grouped: false, ..
            } if unit.symbol == "%" => {
                let error = ExprError::new(
                    self.at.clone(),
                    format!("a bare percentage beside `{sign}` can be read in two ways"),
                );
                Err(error.mended("write `5 % of $x`, or put a ratio in parentheses: `(5 %) * $x`"))
            }
            Form::Negative(of) => of.refuse_percent(sign),
            _ => Ok(()),
        }
    }
}

/// What joining makes of points on the Celsius scale: point − point is an amount, point ± amount is a point.
fn thermal(operator: Operator, left: &Node, right: &Node) -> Result<Thermal, ExprError> {
    use Thermal::{Amount, Either, Point};
    let at = left.at.start..right.at.end;
    match (operator, left.thermal, right.thermal) {
        (Operator::Add, Point, Point) => {
            let error = ExprError::new(at, "two temperatures in °C cannot be added");
            Err(error.mended("write the difference in K, as in `20 °C + 5 K`"))
        }
        (Operator::Subtract, Amount, Point) => {
            let error = ExprError::new(at, "a temperature in °C cannot be subtracted from a difference");
            Err(error.mended("write the temperature first, as in `25 °C - 5 K`"))
        }
        (Operator::Add, Point, _) | (Operator::Add, _, Point) | (Operator::Subtract, Point, Amount) => Ok(Point),
        (Operator::Add | Operator::Subtract, Either, _) | (Operator::Add | Operator::Subtract, _, Either) => Ok(Either),
        (Operator::Multiply | Operator::Divide, _, _) => {
            left.refuse_point("be multiplied or divided")?;
            right.refuse_point("be multiplied or divided")?;
            Ok(Amount)
        }
        _ => Ok(Amount),
    }
}
