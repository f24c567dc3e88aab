//! What a bench cannot decide, in words, before anything is plugged in: the `needs` of the steps against what the drivers
//! promise.

use crate::fitting::{Fitted, bench_drivers_and_shipped};
use crate::screen::tolerance;
use pilotage_core::Quantity;
use pilotage_plan::fit::{Fitness, fitness, would_decide};

/// One limit that the bench cannot decide, or of which nobody knows before the run.
#[derive(Debug, Clone, PartialEq)]
pub struct Unmet {
    /// Where the step stands: file, line and column.
    pub place: String,
    /// In one sentence after the other.
    pub says: String,
}

/// What comes of the `needs` of all steps.
#[derive(Debug, Clone, PartialEq)]
pub struct Needs {
    /// What is not met, in the order of the steps.
    pub unmet: Vec<Unmet>,
    /// What is met: step, reading, uncertainty and need.
    pub met: Vec<String>,
}

impl Needs {
    /// Of a fitted sequence.
    pub fn of(fitted: &Fitted) -> Self {
        Self::among(fitted, &fitness(&fitted.program, &fitted.bench, &fitted.drivers))
    }

    /// Of a fitted sequence whose limits were compared with the bench already.
    pub fn among(fitted: &Fitted, all: &[Fitness]) -> Self {
        let mut needs = Self {
            unmet: Vec::new(),
            met: Vec::new(),
        };
        for entry in all.iter().filter(|entry| entry.needs.is_some()) {
            match (entry.decidable, entry.expanded) {
                (true, Some(expanded)) => needs.met.push(met(entry, expanded)),
                _ => needs.unmet.push(Unmet {
                    place: place(fitted, entry),
                    says: unmet(fitted, entry),
                }),
            }
        }
        needs
    }

    /// As they stand above a run: one line where everything can be decided, else one for each limit that cannot.
    pub fn lines(&self) -> Vec<String> {
        let mut lines: Vec<String> = self
            .unmet
            .iter()
            .map(|unmet| format!("  needs   {}", unmet.says))
            .collect();
        if lines.is_empty() {
            lines.push(format!("  needs   {}", self.all_met()));
        }
        lines
    }

    /// That nothing is in the way, in one line.
    pub fn all_met(&self) -> String {
        if self.met.is_empty() {
            return "no step asks for a certain uncertainty".to_owned();
        }
        format!(
            "the bench can decide everything that is asked of it: {}",
            self.met.join("; ")
        )
    }
}

fn place(fitted: &Fitted, entry: &Fitness) -> String {
    let steps = &fitted.program.steps;
    let step = steps.iter().find(|step| step.head.number == entry.step);
    step.map(|step| step.span.place()).unwrap_or_default()
}

fn met(entry: &Fitness, expanded: Quantity) -> String {
    let needed = entry.needs.map(|needs| needs.to_string()).unwrap_or_default();
    format!("{} {} U = {expanded}, at most {needed}", entry.id, entry.name)
}

fn unmet(fitted: &Fitted, entry: &Fitness) -> String {
    let needed = entry.needs.map(|needs| needs.to_string()).unwrap_or_default();
    let limit = tolerance(&entry.limit.tolerance, &entry.limit.unit);
    let of = format!("{} {} ({limit})", entry.id, entry.name);
    let Some(expanded) = entry.expanded else {
        return format!(
            "{of}: whether it can be decided shows in the run; no accuracy is known beforehand, an expanded uncertainty of at most \
             {needed} is needed"
        );
    };
    format!(
        "{of}: not decidable here. The bench has an expanded uncertainty of {expanded}, at most {needed} is needed. {}",
        mend(fitted, entry)
    )
}

/// Which instrument would decide it; where none can, what else would help.
fn mend(fitted: &Fitted, entry: &Fitness) -> String {
    let would = would_decide(
        &fitted.program,
        &fitted.bench,
        &bench_drivers_and_shipped(fitted),
        entry,
        &|new| new.decidable,
    );
    if !would.is_empty() {
        return format!("Would do: {}.", would.join(", or "));
    }
    let needed = entry.needs.map_or(0.0, Quantity::si);
    match (entry.at_best, entry.points.is_empty()) {
        (Some(best), false) if best.si() < needed => {
            let left = (needed * needed - best.si() * best.si()).sqrt();
            let own = Quantity::new(left, best.dimension()).map_or_else(|_| String::new(), |own| own.to_string());
            format!(
                "Would do: an instrument at `{}` that adds at most {own} (none that is known here does).",
                entry.points.join("` and `")
            )
        }
        (Some(best), _) => format!(
            "No instrument would do: sampling, smoothing and polling alone bring {best}. Raise `rate`, shorten `every`, or ask for less."
        ),
        (None, _) => "No accuracy is known.".to_owned(),
    }
}
