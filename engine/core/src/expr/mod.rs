//! Expressions over quantities, checked for dimension before they are ever evaluated.
//!
//! ```text
//! truth       = truth "or" truth | truth "and" truth | "not" truth | sum compare sum
//! compare     = "<" | "<=" | ">" | ">=" | "=="            (one comparison; `a < b and b < c` for a range)
//! sum         = sum ("+" | "-") product | product
//! product     = product ("*" | "/") signed | signed
//! signed      = "-" signed | power
//! power       = primary "^" ["-"] integer | primary
//! primary     = number [unit] ["of" signed] | "$" name | function "(" … ")" | "(" truth ")"
//! ```
//!
//! A number and its unit bind tightest, so `1 / 2 Ω` is 1 divided by (2 Ω), and `2 Ω ^ 2` is (2 Ω)². `25 % of $x` binds
//! next, so `$i / 50 % of $x` is `$i / (0.5 · $x)`. `-` binds less than `^`: `-2 ^ 2` is −4. A percentage that stands
//! alone (a whole expression, an argument, a side of a comparison, inside parentheses) is a ratio; between `+ - * / ^` it
//! is refused, since readers disagree on what `100 % - 5 %` and `$x + 5 %` mean.
//!
//! °C is a point on a scale, not an amount: it may be compared, subtracted from another temperature (a difference in K),
//! and moved by a difference in K; everything else is refused.
//!
//! | module | holds |
//! | --- | --- |
//! | `expression` | [`Expr`], [`Kind`], [`Value`] |
//! | `error` | [`ExprError`] |
//! | `lexer` | text to tokens with places |
//! | `parser` | tokens to a tree, by binding power |
//! | `tree` | the tree, and the rules for °C and % |
//! | `check` | dimensions |
//! | `evaluate` | values with uncertainty |
//! | `functions` | the table of functions |

mod check;
mod error;
mod evaluate;
mod expression;
mod functions;
mod lexer;
mod parser;
mod tree;

pub use error::ExprError;
pub use expression::{Expr, Kind, Value};
pub use functions::function_names;
