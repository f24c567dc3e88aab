//! The file of a trace: a head of comments, then every piece of bytes that went over any link, with its time.
//!
//! ```text
//! # pilotage trace 1
//! # of: quick_check-W03-plain-seed1
//! # seed: 1
//! # defect: W03
//! # severity: plain
//! # every line: nanoseconds, link, > sent or < received or ! what happened, the bytes (\xNN where not printable)
//! 0 meter > *IDN?\x0A
//! 12000000 meter < Pilotage,SCAN-DMM,M-0001,1.0 VIRTUAL\x0A
//! ```

use crate::args::SeverityWord;
use crate::failure::Failure;
use crate::wiring::setup::severity_word;
use pilotage_bench::link::Playback;
use std::collections::VecDeque;
use std::fmt::Write;
use std::path::Path;

const FIRST: &str = "# pilotage trace 1";

/// One piece.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Nanoseconds of run time.
    pub at: u64,
    /// The link, by its instrument's name.
    pub link: String,
    /// Mark and escaped bytes.
    rest: String,
}

impl Line {
    /// From a line of one link's tape.
    pub fn of_link(link: &str, line: &str) -> Option<Self> {
        let (at, rest) = line.split_once(' ')?;
        Some(Self {
            at: at.parse().ok()?,
            link: link.to_owned(),
            rest: rest.to_owned(),
        })
    }

    fn as_link(&self) -> String {
        format!("{} {}", self.at, self.rest)
    }
}

/// What made a trace.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// Name of the run.
    pub of: String,
    /// Seed of the virtual item and instruments; none where others served them.
    pub seed: Option<u64>,
    /// Id and severity of the defect given to the virtual item.
    pub defect: Option<(String, SeverityWord)>,
}

/// A trace that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TraceFile {
    /// Its name as given.
    pub name: String,
    /// What made it.
    pub head: Head,
    /// All pieces, with the numbers of their lines.
    lines: Vec<(usize, Line)>,
}

impl TraceFile {
    /// Reads one. Every line must be one of a trace.
    pub fn read(path: &Path) -> Result<Self, Failure> {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path).map_err(|error| {
            Failure::usage(
                format!("{name}: {error}"),
                "give a file that `--trace FILE` of `rehearse` wrote",
            )
        })?;
        let wrong = |number: usize, got: &str| {
            Failure::usage(
                format!(
                    "{name}:{number}: expected a line of a trace, e.g. `12000 meter > *IDN?\\x0A`, got `{}`",
                    got.chars().take(60).collect::<String>()
                ),
                "give a file that `--trace FILE` of `rehearse` wrote",
            )
        };
        if text.lines().next() != Some(FIRST) {
            return Err(wrong(1, text.lines().next().unwrap_or_default()));
        }
        let mut lines = Vec::new();
        for (index, line) in text.lines().enumerate().filter(|(_, line)| !line.starts_with('#')) {
            let piece = piece(line).ok_or_else(|| wrong(index + 1, line))?;
            lines.push((index + 1, piece));
        }
        Ok(Self {
            name,
            head: head(&text),
            lines,
        })
    }

    /// For the record.
    pub fn words(&self) -> String {
        format!("played back from the trace of {}", self.head.of)
    }

    /// What was sent over one link: number of the line and escaped bytes.
    pub fn sent(&self, link: &str) -> VecDeque<(usize, String)> {
        let own = self.lines.iter().filter(|(_, line)| line.link == link);
        own.filter_map(|(number, line)| Some((*number, line.rest.strip_prefix("> ")?.to_owned())))
            .collect()
    }

    /// One link's pieces in the form of its tape.
    pub fn of_link(&self, link: &str) -> String {
        let own = self.lines.iter().filter(|(_, line)| line.link == link);
        own.fold(String::new(), |mut text, (_, line)| {
            text.push_str(&line.as_link());
            text.push('\n');
            text
        })
    }

    /// Refuses a trace with a link that the bench does not have.
    pub fn only_known(&self, names: &[String]) -> Result<(), Failure> {
        match self.lines.iter().find(|(_, line)| !names.contains(&line.link)) {
            None => Ok(()),
            Some((number, line)) => Err(Failure::usage(
                format!(
                    "{}:{number}: the bench has no instrument `{}`; it has {}",
                    self.name,
                    line.link,
                    names.join(", ")
                ),
                "give the bench that the trace was made with by --bench",
            )),
        }
    }
}

/// A line whose bytes can be played too.
fn piece(line: &str) -> Option<Line> {
    let (at, rest) = line.split_once(' ')?;
    let (link, rest) = rest.split_once(' ')?;
    let line = Line::of_link(link, &format!("{at} {rest}"))?;
    Playback::from_text(&line.as_link()).is_ok().then_some(line)
}

fn head(text: &str) -> Head {
    let said = |key: &str| {
        let mut comments = text.lines().take_while(|line| line.starts_with('#'));
        comments.find_map(|line| line.strip_prefix("# ")?.strip_prefix(key)?.strip_prefix(": "))
    };
    let severity = |word: &str| {
        [SeverityWord::Edge, SeverityWord::Plain, SeverityWord::Gross]
            .into_iter()
            .find(|known| severity_word(*known) == word)
    };
    Head {
        of: said("of").unwrap_or("an unnamed run").to_owned(),
        seed: said("seed").and_then(|seed| seed.parse().ok()),
        defect: said("defect")
            .map(str::to_owned)
            .zip(said("severity").and_then(severity)),
    }
}

/// Refuses a file that lies there and is no trace: a mistyped name must not cost a sequence or a record.
pub fn may_be_written(path: &Path) -> Result<(), Failure> {
    match std::fs::read(path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Err(error) => Err(Failure::disk(path, &error)),
        Ok(bytes) if bytes.starts_with(FIRST.as_bytes()) => Ok(()),
        Ok(_) => Err(Failure::usage(
            format!("{} lies there already and is no trace", path.display()),
            "give another name with --trace",
        )),
    }
}

/// Writes a trace, over one that lies there.
pub fn write(path: &Path, head: &Head, lines: &[Line]) -> Result<(), Failure> {
    let mut text = format!("{FIRST}\n# of: {}\n", head.of);
    if let Some(seed) = head.seed {
        let _infallible = writeln!(text, "# seed: {seed}");
    }
    if let Some((id, severity)) = &head.defect {
        let _infallible = writeln!(text, "# defect: {id}\n# severity: {}", severity_word(*severity));
    }
    text.push_str(
        "# every line: nanoseconds, link, > sent or < received or ! what happened, the bytes (\\xNN where not printable)\n",
    );
    for line in lines {
        let _infallible = writeln!(text, "{} {} {}", line.at, line.link, line.rest);
    }
    std::fs::write(path, text).map_err(|error| Failure::disk(path, &error))
}
