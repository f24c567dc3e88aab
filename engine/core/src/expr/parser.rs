//! Tokens to a tree, by binding power.

use super::error::ExprError;
use super::functions::{Function, function_names};
use super::lexer::{Placed, Token, tokens};
use super::tree::{Comparison, Node, Operator};
use crate::unit::Unit;
use std::ops::Range;

/// The longest text in bytes.
const LONGEST: usize = 4096;
/// The deepest nesting of brackets, signs and functions.
const DEEPEST: usize = 64;

const OR: u8 = 1;
const AND: u8 = 2;
const NOT: u8 = 3;
const COMPARE: u8 = 4;
const SUM: u8 = 5;
const PRODUCT: u8 = 6;
const SIGNED: u8 = 7;

/// Reads a whole text.
pub(super) fn parse(text: &str) -> Result<Node, ExprError> {
    if text.len() > LONGEST {
        let error = ExprError::new(
            0..text.len(),
            format!("the expression has {} bytes; at most {LONGEST} are read", text.len()),
        );
        return Err(error.mended("give parts of it names of their own"));
    }
    let mut parser = Parser {
        text,
        tokens: tokens(text)?,
        next: 0,
        nesting: 0,
    };
    let node = parser.expression(OR)?;
    match parser.tokens.get(parser.next) {
        None => Ok(node),
        Some(extra) => Err(parser.left_over(extra)),
    }
}

struct Parser<'a> {
    text: &'a str,
    tokens: Vec<Placed>,
    next: usize,
    nesting: usize,
}

impl Parser<'_> {
    /// An expression whose operators all bind at least as tightly as `least`.
    fn expression(&mut self, least: u8) -> Result<Node, ExprError> {
        self.nesting += 1;
        if self.nesting > DEEPEST {
            let error = ExprError::new(self.here(), format!("nested more than {DEEPEST} deep"));
            return Err(error.mended("give parts of it names of their own"));
        }
        let mut left = self.prefix()?;
        while let Some((operator, power)) = self.operator()? {
            if power < least {
                break;
            }
            self.next += 1;
            let right = self.expression(power + 1)?;
            left = Node::binary(operator, left, right)?;
            self.refuse_chain(operator)?;
        }
        self.nesting -= 1;
        Ok(left)
    }

    fn operator(&self) -> Result<Option<(Operator, u8)>, ExprError> {
        let Some(placed) = self.tokens.get(self.next) else {
            return Ok(None);
        };
        let found = match &placed.token {
            Token::Sign("+") => (Operator::Add, SUM),
            Token::Sign("-") => (Operator::Subtract, SUM),
            Token::Sign("*") => (Operator::Multiply, PRODUCT),
            Token::Sign("/") => (Operator::Divide, PRODUCT),
            Token::Sign("<") => (Operator::Compare(Comparison::Less), COMPARE),
            Token::Sign("<=") => (Operator::Compare(Comparison::AtMost), COMPARE),
            Token::Sign(">") => (Operator::Compare(Comparison::Greater), COMPARE),
            Token::Sign(">=") => (Operator::Compare(Comparison::AtLeast), COMPARE),
            Token::Sign("==") => (Operator::Compare(Comparison::Equal), COMPARE),
            Token::Word(word) if word == "and" => (Operator::And, AND),
            Token::Word(word) if word == "or" => (Operator::Or, OR),
            Token::Sign(")" | ",") => return Ok(None),
            _ => return Err(self.left_over(placed)),
        };
        Ok(Some(found))
    }

    fn prefix(&mut self) -> Result<Node, ExprError> {
        let start = self.here().start;
        if self.take_sign("-") {
            return self.negative(start);
        }
        if self.take_word("not") {
            let of = self.expression(NOT + 1)?;
            let end = of.at.end;
            return Node::not(of, start..end);
        }
        self.power()
    }

    /// A minus directly before a number in °C belongs to the number: `-5 °C` is a point on the scale.
    fn negative(&mut self, start: usize) -> Result<Node, ExprError> {
        if let Some(Placed {
            token: Token::Number { written, unit },
            at,
        }) = self.tokens.get(self.next)
            && unit.is_affine()
        {
            let literal = Node::literal(unit.read(&format!("-{written}")), *unit, start..at.end);
            self.next += 1;
            return Ok(literal);
        }
        let of = self.expression(SIGNED)?;
        let end = of.at.end;
        Node::negative(of, start..end)
    }

    fn power(&mut self) -> Result<Node, ExprError> {
        let base = self.primary()?;
        if !self.take_sign("^") {
            return Ok(base);
        }
        let (exponent, end) = self.exponent()?;
        let at = base.at.start..end;
        let power = Node::power(base, exponent, at)?;
        if self.take_sign("^") {
            let error = ExprError::new(self.here(), "a power of a power needs parentheses");
            return Err(error.mended("write `($x ^ 2) ^ 3`"));
        }
        Ok(power)
    }

    fn exponent(&mut self) -> Result<(i8, usize), ExprError> {
        let start = self.here().start;
        let negative = self.take_sign("-");
        let at = start..self.here().end;
        let exponent = match self.tokens.get(self.next).map(|placed| &placed.token) {
            Some(Token::Number { written, unit }) if *unit == Unit::ONE => {
                written.parse::<i8>().ok().filter(|n| *n <= 16)
            }
            _ => None,
        };
        let Some(exponent) = exponent else {
            let error = ExprError::new(
                at,
                "expected a whole number without a unit, at most 16, as the exponent",
            );
            return Err(error.mended("write `$x ^ 2`; a root is `sqrt($x)`"));
        };
        self.next += 1;
        Ok((if negative { -exponent } else { exponent }, at.end))
    }

    fn primary(&mut self) -> Result<Node, ExprError> {
        let Some(placed) = self.tokens.get(self.next).cloned() else {
            return Err(self.ended("a value"));
        };
        self.next += 1;
        match placed.token {
            Token::Number { written, unit } => self.number(&written, unit, placed.at),
            Token::Name(name) => Ok(Node::name(name, placed.at)),
            Token::Sign("(") => self.group(placed.at),
            Token::Word(word) => self.call(&word, placed.at),
            Token::Sign(sign) => Err(ExprError::new(placed.at, format!("expected a value, found `{sign}`"))),
        }
    }

    fn number(&mut self, written: &str, unit: Unit, at: Range<usize>) -> Result<Node, ExprError> {
        let literal = Node::literal(unit.read(written), unit, at.clone());
        if !self.take_word("of") {
            return Ok(literal);
        }
        if !matches!(unit.symbol, "%" | "ppm") {
            let error = ExprError::new(at, "`of` stands only behind a percentage");
            return Err(error.mended("write `25 % of $x`, or a product with `*`"));
        }
        let of = self.expression(SIGNED)?;
        Node::share(literal, of)
    }

    fn group(&mut self, open: Range<usize>) -> Result<Node, ExprError> {
        let inner = self.expression(OR)?;
        let end = self.close(&open)?;
        Ok(inner.grouped(open.start..end))
    }

    fn call(&mut self, word: &str, at: Range<usize>) -> Result<Node, ExprError> {
        let Some(function) = Function::find(word) else {
            return Err(self.unknown_word(word, at));
        };
        let open = self.here();
        if !self.take_sign("(") {
            let error = ExprError::new(at, format!("expected `(` after the function `{word}`"));
            return Err(error.mended(format!("write `{word}(…)`; a value of that name is `${word}`")));
        }
        let mut arguments = vec![self.expression(OR)?];
        while self.take_sign(",") {
            arguments.push(self.expression(OR)?);
        }
        let end = self.close(&open)?;
        let at = at.start..end;
        if arguments.len() != function.arguments() {
            let wanted = function.arguments();
            let values = if wanted == 1 { "value" } else { "values" };
            let message = format!("{word} takes {wanted} {values}, found {}", arguments.len());
            let comma =
                (arguments.len() == wanted + 1).then(|| "a decimal point is written as a point: 0.7".to_owned());
            return Err(ExprError {
                at,
                message,
                mend: comma,
            });
        }
        Node::call(function, arguments, at)
    }

    fn close(&mut self, open: &Range<usize>) -> Result<usize, ExprError> {
        let here = self.here();
        if self.take_sign(")") {
            return Ok(here.end);
        }
        match self.tokens.get(self.next) {
            None => {
                let error = ExprError::new(open.clone(), "this `(` is never closed");
                Err(error.mended("add `)`"))
            }
            Some(placed) => Err(self.left_over(placed)),
        }
    }

    fn refuse_chain(&self, operator: Operator) -> Result<(), ExprError> {
        let Operator::Compare(_) = operator else {
            return Ok(());
        };
        match self.operator()? {
            Some((Operator::Compare(_), _)) => {
                let error = ExprError::new(self.here(), "comparisons cannot be chained");
                Err(error.mended("write `$a < $b and $b < $c`"))
            }
            _ => Ok(()),
        }
    }

    /// The error for a token that cannot continue what stands before it.
    fn left_over(&self, extra: &Placed) -> ExprError {
        let shown = &self.text[extra.at.clone()];
        match &extra.token {
            Token::Sign(")") => ExprError::new(extra.at.clone(), "this `)` has no `(`"),
            Token::Sign(",") => {
                ExprError::new(extra.at.clone(), "a comma stands only between the values of a function")
                    .mended("a decimal point is written as a point: 0.7")
            }
            Token::Word(word) if word == "of" => {
                ExprError::new(extra.at.clone(), "`of` stands only behind a percentage")
                    .mended("write `25 % of $x`, or a product with `*`")
            }
            Token::Word(word) if Function::find(word).is_none() && Unit::find(word).is_some() => {
                let message = format!("the unit `{word}` stands only directly after a number");
                ExprError::new(extra.at.clone(), message)
                    .mended(format!("write `1 {word}` where a unit is meant as a value"))
            }
            _ => ExprError::new(extra.at.clone(), format!("an operator is missing before `{shown}`"))
                .mended("put + - * / or a comparison between the two values"),
        }
    }

    fn unknown_word(&self, word: &str, at: Range<usize>) -> ExprError {
        if matches!(word, "and" | "or" | "of") {
            return ExprError::new(at, format!("expected a value before `{word}`"));
        }
        let called = matches!(
            self.tokens.get(self.next),
            Some(Placed {
                token: Token::Sign("("),
                ..
            })
        );
        if !called && Unit::find(word).is_some() {
            let error = ExprError::new(at, format!("the unit `{word}` stands only directly after a number"));
            return error.mended(format!("write `1 {word}` where a unit is meant as a value"));
        }
        let error = ExprError::new(at, format!("there is no function `{word}`"));
        match Function::near(word) {
            Some(near) => error.mended(format!("did you mean `{near}`?")),
            None if called => error.mended(format!("there are {}", function_names().collect::<Vec<_>>().join(", "))),
            None => error.mended(format!("a value of that name is written `${word}`")),
        }
    }

    fn ended(&self, wanted: &str) -> ExprError {
        if self.tokens.is_empty() {
            return ExprError::new(0..self.text.len(), format!("expected {wanted}, found nothing"));
        }
        ExprError::new(self.here(), format!("expected {wanted} at the end"))
    }

    /// Where the next token stands; the end of the text where there is none.
    fn here(&self) -> Range<usize> {
        let end = self.text.len();
        self.tokens.get(self.next).map_or(end..end, |placed| placed.at.clone())
    }

    fn take_sign(&mut self, sign: &str) -> bool {
        let there =
            matches!(self.tokens.get(self.next), Some(Placed { token: Token::Sign(found), .. }) if *found == sign);
        self.next += usize::from(there);
        there
    }

    fn take_word(&mut self, word: &str) -> bool {
        let there =
            matches!(self.tokens.get(self.next), Some(Placed { token: Token::Word(found), .. }) if found == word);
        self.next += usize::from(there);
        there
    }
}
