//! What the parser refused, in our words, with a mend.

use super::span_at;
use crate::problem::{Problem, code};
use crate::source::Span;
use serde_saphyr::granit_parser::{ErrorKind, ScanError};
use std::sync::Arc;

/// What an error of the parser is to us.
pub(super) enum Refusal {
    /// Nested too deeply here.
    TooDeep(Span),
    /// Anything else.
    Problem(Problem),
}

/// Turns an error of the parser into a problem.
pub(super) fn refusal(error: &ScanError, file: &Arc<str>, text: &str) -> Refusal {
    let at = error.marker().byte_offset().unwrap_or(text.len()).min(text.len());
    let length = text[at..]
        .chars()
        .next()
        .filter(|c| *c != '\n')
        .map_or(0, char::len_utf8);
    let span = span_at(file, text, at, length);
    if matches!(error.kind(), ErrorKind::RecursionLimitExceeded) {
        return Refusal::TooDeep(span);
    }
    if let Some(tab) = tab(error.kind(), at, text) {
        let span = span_at(file, text, tab, 1);
        return Refusal::Problem(
            Problem::new(code::TAB, &span, "a tab stands where blanks are wanted")
                .expected("blanks")
                .got("a tab")
                .mend("indent with blanks, two for each level"),
        );
    }
    let message = format!("not well-formed YAML: {}", error.info());
    Refusal::Problem(Problem::new(code::SYNTAX, &span, message).mend(syntax_mend(error.kind())))
}

/// The tab that is to blame: in the indentation of the line, or at the place that the parser names.
fn tab(kind: &ErrorKind, at: usize, text: &str) -> Option<usize> {
    let named = matches!(
        kind,
        ErrorKind::TabNotAllowed
            | ErrorKind::TabInBlockIndentation
            | ErrorKind::TabAtBlockScalarStart
            | ErrorKind::TabInIndentation
            | ErrorKind::TabInPlainScalar
    );
    let start = text[..at].rfind('\n').map_or(0, |newline| newline + 1);
    let indent = text[start..].bytes().take_while(|b| matches!(b, b' ' | b'\t'));
    let first = indent.into_iter().position(|b| b == b'\t').map(|tab| start + tab);
    first.or_else(|| Some(at).filter(|at| named && text[*at..].starts_with('\t')))
}

fn syntax_mend(kind: &ErrorKind) -> &'static str {
    match kind {
        ErrorKind::UnclosedQuotedScalar | ErrorKind::UnexpectedEndOfPlainScalar => "close the quote",
        ErrorKind::UnclosedFlowCollection { .. }
        | ErrorKind::UnexpectedEofFlowSequence
        | ErrorKind::UnexpectedEofFlowMapping
        | ErrorKind::UnexpectedEofImplicitFlowMapping => "close the bracket or brace that was opened before this place",
        ErrorKind::ExpectedFlowMappingSeparator | ErrorKind::ExpectedFlowSequenceSeparator => {
            "put a comma between entries, and quote text that holds brackets, braces or colons"
        }
        ErrorKind::MisplacedFlowCollectionEnd | ErrorKind::MismatchedFlowCollectionEnd { .. } => {
            "delete this bracket, or quote the text that it belongs to"
        }
        ErrorKind::UnknownQuotedScalarEscape => "write the backslash twice, or put the text into single quotes",
        ErrorKind::MappingValueNotAllowed | ErrorKind::InvalidColonPlacement => {
            "quote text that holds a colon followed by a blank; look at the indentation"
        }
        ErrorKind::UnexpectedCharacter { .. } => "quote text that begins with this character",
        ErrorKind::InvalidIndentation | ErrorKind::ExpectedBlockMappingKey | ErrorKind::ExpectedBlockSequenceEntry => {
            "indent keys of one map alike, two blanks for each level"
        }
        _ => "look at this line and the one above it: a quote, a bracket, a colon or the indentation is wrong",
    }
}
