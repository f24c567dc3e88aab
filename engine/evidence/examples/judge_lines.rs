//! Judges one case a line, for checkers in other languages: JSON lines in, one verdict a line out.
//!
//! ```text
//! {"kind": "between", "low": 1.0, "high": 2.0, "u": 0.1, "value": 1.95, "rule": "guard_banded"}
//! ```
//!
//! `kind` is `at_least`, `at_most` or `between`; values are volts; `u` is the standard uncertainty, or null where it is
//! unknown; `value` is null where there is none. With `--risk` the risk of the judgement follows its verdict (`-` where
//! it has none). A line that is no such case ends the program with 2.
#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example talks to its terminal"
)]

use pilotage_core::{Contribution, Dimension, Measured, NoValue, Quantity, Tolerance, Uncertainty};
use pilotage_evidence::judge::{Ruling, judge};
use pilotage_evidence::words::{DecisionRule, Verdict};
use serde::Deserialize;
use std::io::{BufWriter, Write, stdin, stdout};
use std::process::ExitCode;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    kind: Kind,
    low: f64,
    high: f64,
    u: Option<f64>,
    value: Option<f64>,
    rule: DecisionRule,
}

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum Kind {
    AtLeast,
    AtMost,
    Between,
}

fn main() -> ExitCode {
    let with_risk = std::env::args().any(|argument| argument == "--risk");
    match judge_all(with_risk) {
        Ok(()) => ExitCode::SUCCESS,
        Err(problem) => {
            eprintln!("judge_lines: {problem}");
            ExitCode::from(2)
        }
    }
}

fn judge_all(with_risk: bool) -> Result<(), String> {
    let mut out = BufWriter::new(stdout().lock());
    for (number, line) in stdin().lines().enumerate() {
        let at_line = |problem: String| format!("line {}: {problem}", number + 1);
        let line = line.map_err(|error| at_line(error.to_string()))?;
        let case: Case = serde_json::from_str(&line).map_err(|error| at_line(error.to_string()))?;
        let ruling = case.judged().map_err(at_line)?;
        let word = word(ruling.verdict).map_err(at_line)?;
        let written = match (with_risk, ruling.risk) {
            (false, _) => writeln!(out, "{word}"),
            (true, Some(risk)) => writeln!(out, "{word} {risk:e}"),
            (true, None) => writeln!(out, "{word} -"),
        };
        written.map_err(|error| error.to_string())?;
    }
    out.flush().map_err(|error| error.to_string())
}

impl Case {
    fn judged(&self) -> Result<Ruling, String> {
        let tolerance = match self.kind {
            Kind::AtLeast => Tolerance::AtLeast(volts(self.low)?),
            Kind::AtMost => Tolerance::AtMost(volts(self.high)?),
            Kind::Between => Tolerance::Between(volts(self.low)?, volts(self.high)?),
        };
        let Some(value) = self.value else {
            return Ok(judge(Err(&NoValue::Overload), &tolerance, self.rule));
        };
        let measured = Measured {
            value: volts(value)?,
            uncertainty: self.uncertainty(),
        };
        Ok(judge(Ok(&measured), &tolerance, self.rule))
    }

    fn uncertainty(&self) -> Uncertainty {
        match self.u {
            None => Uncertainty::Unknown("not given".to_owned()),
            Some(u) => Uncertainty::Known(vec![Contribution::normal("given", u)]),
        }
    }
}

fn volts(si: f64) -> Result<Quantity, String> {
    Quantity::new(si, Dimension::VOLTAGE).map_err(|reason| format!("{si} V: {reason}"))
}

/// The verdict's word as the journal writes it.
fn word(verdict: Verdict) -> Result<String, String> {
    let json = serde_json::to_value(verdict).map_err(|error| error.to_string())?;
    json.as_str()
        .map(str::to_owned)
        .ok_or_else(|| format!("{json} is no word"))
}
