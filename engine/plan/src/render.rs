//! Problems for people: the full form with the line of the file, and a short form of one line for editors and CI.

use crate::problem::{self, Problem};
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use std::ops::Range;

/// How a problem is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// With the line of the file, without colours.
    Plain,
    /// With the line of the file and colours.
    Styled,
    /// One line: `file:line:col: error[P012]: message; mend`.
    Short,
}

/// The title of a code.
pub fn title(id: &str) -> Option<&'static str> {
    let all = problem::tables().iter().flat_map(|table| table.iter());
    all.into_iter().find(|c| c.id == id).map(|c| c.title)
}

/// Writes one problem. `text` is the text of the file that it stands in, where there is one.
pub fn render(problem: &Problem, text: Option<&str>, form: Form) -> String {
    match form {
        Form::Short => short(problem),
        Form::Plain => full(problem, text, &Renderer::plain()),
        Form::Styled => full(problem, text, &Renderer::styled()),
    }
}

/// Writes all problems, one after the other. `text_of` gives the text of a file by its name.
pub fn render_all<'t>(problems: &[Problem], text_of: &dyn Fn(&str) -> Option<&'t str>, form: Form) -> String {
    let separator = if form == Form::Short { "\n" } else { "\n\n" };
    let parts: Vec<String> = problems
        .iter()
        .map(|p| render(p, text_of(&p.span.file), form))
        .collect();
    parts.join(separator)
}

fn short(problem: &Problem) -> String {
    let span = &problem.span;
    let place = format!("{}:{}:{}", span.file, span.line, span.column);
    let head = format!("{place}: error[{}]: {}", problem.code, problem.message);
    let parts: Vec<String> = [Some(head), label(problem), problem.mend.clone()]
        .into_iter()
        .flatten()
        .collect();
    printable(&parts.join("; "))
}

fn label(problem: &Problem) -> Option<String> {
    match (&problem.expected, &problem.got) {
        (Some(expected), Some(got)) => Some(format!("expected {expected}, got {got}")),
        (Some(expected), None) => Some(format!("expected {expected}")),
        (None, Some(got)) => Some(format!("got {got}")),
        (None, None) => None,
    }
}

fn full(problem: &Problem, text: Option<&str>, renderer: &Renderer) -> String {
    let message = printable(&problem.message);
    let label = printable(&label(problem).unwrap_or_default());
    let file = printable(&problem.span.file);
    let mend = problem.mend.as_deref().map(printable);
    let window = text.map(|text| Window::around(text, problem));
    let mut group = annotate_snippets::Group::with_title(Level::ERROR.primary_title(&message).id(problem.code));
    if let Some(window) = &window {
        let annotation = AnnotationKind::Primary.span(window.range.clone()).label(&label);
        let snippet = Snippet::source(&window.line)
            .line_start(problem.span.line as usize)
            .path(&file);
        group = group.element(snippet.annotation(annotation));
    } else {
        let place = annotate_snippets::Origin::path(&file)
            .line(problem.span.line as usize)
            .char_column(problem.span.column as usize);
        group = group.element(place);
        if !label.is_empty() {
            group = group.element(Level::NOTE.message(&label));
        }
    }
    if let Some(mend) = &mend {
        group = group.element(Level::HELP.message(mend));
    }
    renderer.render(&[group])
}

/// The one line that is shown, with the place marked in it.
struct Window {
    line: String,
    range: Range<usize>,
}

impl Window {
    /// Longest part of a line that is shown before and after the place, in bytes.
    const REACH: usize = 200;

    fn around(text: &str, problem: &Problem) -> Self {
        let offset = floor(text, problem.span.offset);
        let start = text[..offset].rfind('\n').map_or(0, |at| at + 1);
        let end = text[offset..].find('\n').map_or(text.len(), |at| offset + at);
        // A long line loses its end, never its start: columns are counted from there.
        let end = floor(text, end.min((offset + Self::REACH).max(start + Self::REACH)));
        let stop = floor(text, offset + problem.span.length).clamp(offset, end);
        let line = printable(&text[start..end]);
        // `printable` keeps the number of characters, not of bytes.
        let from = bytes_of(&line, text[start..offset].chars().count());
        let to = bytes_of(&line, text[start..stop].chars().count());
        Self {
            line,
            range: from..to.max(from),
        }
    }
}

fn bytes_of(line: &str, characters: usize) -> usize {
    line.char_indices().nth(characters).map_or(line.len(), |(at, _)| at)
}

fn floor(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// Untrusted text without anything a terminal would obey: control characters become U+FFFD, one for one.
fn printable(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\t' => ' ',
            c if c.is_control() || crate::tree::turns_text(c) => '\u{fffd}',
            c => c,
        })
        .collect()
}
