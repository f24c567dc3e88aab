//! Data on the standard output, messages on the standard error. Styles are dropped where they are not wanted (`NO_COLOR`, a
//! pipe, a dumb terminal).

use crate::failure::{Failure, Problems};
use crate::text::harmless;
use anstyle::{AnsiColor, Style};
use pilotage_plan::render::{self, Form};
use std::io::{IsTerminal, Write};

/// Where a verb writes.
pub struct Output {
    data: Box<dyn Write>,
    messages: Box<dyn Write>,
    /// Whether messages go to a person's terminal.
    pub live: bool,
}

impl Output {
    /// The standard output and error.
    pub fn standard() -> Self {
        Self {
            data: Box::new(anstream::AutoStream::auto(std::io::stdout())),
            messages: Box::new(anstream::AutoStream::auto(std::io::stderr())),
            live: std::io::stderr().is_terminal(),
        }
    }

    /// Two writers of one's own, without a terminal.
    pub fn to(data: Box<dyn Write>, messages: Box<dyn Write>) -> Self {
        Self {
            data: Box::new(anstream::StripStream::new(data)),
            messages: Box::new(anstream::StripStream::new(messages)),
            live: false,
        }
    }

    /// A line of data. A reader that went away (`| head`) is no failure of ours.
    pub fn data(&mut self, line: &str) {
        let _reader_went_away = writeln!(self.data, "{line}");
    }

    /// A line for people.
    pub fn message(&mut self, line: &str) {
        let _reader_went_away = writeln!(self.messages, "{line}");
    }

    /// Data as JSON, indented.
    pub fn json(&mut self, value: &serde_json::Value) {
        self.data(&format!("{value:#}"));
    }

    /// What must be heard before anything else: what could not be confirmed dead, and what to do by hand.
    pub fn said_first(&mut self, text: &str) {
        let red = Style::new().fg_color(Some(AnsiColor::Red.into())).bold();
        self.message("");
        for line in text.lines() {
            self.message(&format!("{red}!!! {}{red:#}", harmless(line)));
        }
    }

    /// Says why a verb could not do its work, and how to mend it.
    pub fn failure(&mut self, failure: &Failure) {
        if let Failure::Problems(problems) = failure {
            self.problems(problems, Form::Styled);
        }
        let red = Style::new().fg_color(Some(AnsiColor::Red.into())).bold();
        let text = failure.to_string();
        let mut lines = text.lines();
        self.message(&format!(
            "{red}error:{red:#} {}",
            harmless(lines.next().unwrap_or_default())
        ));
        lines.for_each(|line| self.message(&harmless(line)));
        if let Some(mend) = failure.mend() {
            self.message(&format!("\n  mend: {}", harmless(mend)));
        }
    }

    /// Every problem: in full as a message for people, in the short form as data for editors and CI.
    pub fn problems(&mut self, problems: &Problems, form: Form) {
        let text_of = |name: &str| {
            problems
                .texts
                .iter()
                .find(|(file, _)| file == name)
                .map(|(_, text)| text.as_str())
        };
        let rendered = render::render_all(&problems.problems, &text_of, form);
        if form == Form::Short {
            self.data(rendered.trim_end());
        } else {
            self.message(rendered.trim_end());
            self.message("");
        }
    }
}
