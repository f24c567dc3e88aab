//! `pictures`: every name of a picture is one that the step goes through, reads, judges or captures.

use super::code;
use super::fitter::Fitter;
use super::names::dimension_name;
use super::near;
use crate::files::picture::{PictureForm, PictureText};
use crate::files::sequence::StepText;
use crate::problem::Problem;
use crate::source::{Formula, Sp};
use pilotage_core::{Dimension, Quantity, Unit};
use pilotage_evidence::pictured::{Draws, PicturePlate, Rule, Shown};

/// A rule is worked out at so many places from the lowest to the highest value, besides the values themselves.
const RULE_PLACES: u32 = 60;
/// `says` has words for a rule under this name.
const RULE: &str = "rule";

/// A name of `for_each` or of a sweep, with every value that the step goes through.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Variable {
    /// The unit to print in.
    pub(crate) unit: String,
    /// Its values, in order.
    pub(crate) values: Vec<Quantity>,
}

impl Fitter<'_> {
    /// What a report draws of a step. Called behind its acts, in its last pass no longer.
    pub(crate) fn pictures(&mut self, step: &StepText) -> Vec<PicturePlate> {
        let pictures = step.pictures.iter();
        pictures.filter_map(|picture| self.picture(picture)).collect()
    }

    fn picture(&mut self, text: &PictureText) -> Option<PicturePlate> {
        let draws = match &text.form {
            PictureForm::Map { of, across, up } => self.map(text, of, across, up),
            PictureForm::Ladder { of, across, rule } => self.ladder(text, of, across, rule.as_ref()),
            PictureForm::Bars {
                of,
                across,
                along,
                logarithmic,
            } => {
                let readings = self.of_one_dimension(text, of);
                let variable = across.as_ref().map(|across| self.variable(text, across));
                if let (Some(across), [_, second, ..]) = (across, of.as_slice()) {
                    self.refuse_picture(
                        second,
                        format!("bars over `{}` show one reading", across.value),
                        "one reading".to_owned(),
                        "delete the others, or delete `across`",
                    );
                }
                Some(Draws::Bars {
                    of: readings?,
                    across: match variable {
                        None => None,
                        Some(variable) => Some(variable?),
                    },
                    along: along.clone(),
                    logarithmic: *logarithmic,
                })
            }
            PictureForm::Course { of } => self.readings_of(text, of).map(|of| Draws::Course { of }),
            PictureForm::Wave { of, marks } => self.wave(text, of, marks),
        };
        self.words_used(text);
        let draws = draws?;
        Some(PicturePlate {
            title: text.title.clone().unwrap_or_else(|| plain_title(&draws)),
            draws,
        })
    }

    fn map(&mut self, text: &PictureText, of: &Sp<String>, across: &Sp<String>, up: &Sp<String>) -> Option<Draws> {
        let reading = self.reading_of(text, of);
        let (right, upwards) = (self.variable(text, across), self.variable(text, up));
        if across.value == up.value {
            self.refuse_picture(
                up,
                format!("`{}` cannot run to the right and upwards", up.value),
                "two names".to_owned(),
                "name another one, or draw a `ladder`",
            );
            return None;
        }
        Some(Draws::Map {
            of: reading?,
            across: right?,
            up: upwards?,
        })
    }

    fn ladder(
        &mut self,
        text: &PictureText,
        of: &[Sp<String>],
        across: &Sp<String>,
        rule: Option<&Formula>,
    ) -> Option<Draws> {
        let readings = self.of_one_dimension(text, of);
        let variable = self.variable(text, across);
        let dimension = of.iter().find_map(|name| self.readings.get(&name.value)?.dimension);
        let rule = match (rule, dimension) {
            (Some(rule), Some(dimension)) if variable.is_some() => {
                Some(self.rule(text, rule, &across.value, dimension)?)
            }
            _ => None,
        };
        Some(Draws::Ladder {
            of: readings?,
            across: variable?,
            rule,
        })
    }

    /// A line over the name's values: it must be known before the run, like everything that is set.
    fn rule(&mut self, text: &PictureText, formula: &Formula, across: &str, dimension: Dimension) -> Option<Rule> {
        const WHAT: &str = "the rule of a picture";
        let values = self.step.variables.get(across)?.values.clone();
        let of = values.first()?.dimension();
        let mut places: Vec<f64> = values.iter().map(|value| value.si()).collect();
        let low = places.iter().copied().fold(f64::INFINITY, f64::min);
        let high = places.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let share = |n: u32| f64::from(n) / f64::from(RULE_PLACES);
        places.extend((1..RULE_PLACES).map(|n| low + (high - low) * share(n)));
        places.sort_by(f64::total_cmp);
        places.dedup();
        let mut points = Vec::with_capacity(places.len());
        for place in places {
            self.pass.insert(across.to_owned(), Quantity::new(place, of).ok()?);
            let value = self.number(formula, dimension, WHAT);
            self.pass.remove(across);
            points.push((place, value?.si()));
        }
        Some(Rule {
            says: words(text, RULE).unwrap_or(formula.expr.text().trim()).to_owned(),
            points,
        })
    }

    fn wave(&mut self, text: &PictureText, of: &[Sp<String>], marks: &[Sp<String>]) -> Option<Draws> {
        let mut all = Some(Vec::new());
        for point in of {
            let Some(unit) = self.step.captured.get(&point.value).cloned() else {
                let known: Vec<&String> = self.step.captured.keys().collect();
                let mend = if known.is_empty() {
                    "put a `capture` into the step, or draw a `course` of readings".to_owned()
                } else {
                    near::mend(&point.value, &known)
                };
                self.refuse_picture(
                    point,
                    format!("`{}` is not captured in this step", point.value),
                    "a point that the step captures".to_owned(),
                    &mend,
                );
                all = None;
                continue;
            };
            if let Some(all) = &mut all {
                all.push(shown(text, &point.value, unit));
            }
        }
        let marks = if marks.is_empty() {
            Some(Vec::new())
        } else {
            self.readings_of(text, marks)
        };
        Some(Draws::Wave {
            of: all?,
            marks: marks?,
        })
    }

    fn of_one_dimension(&mut self, text: &PictureText, of: &[Sp<String>]) -> Option<Vec<Shown>> {
        let readings = self.readings_of(text, of)?;
        let dimension = |fitter: &Self, name: &str| fitter.readings.get(name).and_then(|reading| reading.dimension);
        let first = dimension(self, &of.first()?.value)?;
        for name in of {
            let other = dimension(self, &name.value)?;
            if other != first {
                self.problems.add(
                    Problem::new(code::DIMENSION, &name.span, "one axis cannot show two dimensions")
                        .expected(dimension_name(first))
                        .got(format!("`{}`, {}", name.value, dimension_name(other)))
                        .mend("draw it in a picture of its own"),
                );
                return None;
            }
        }
        Some(readings)
    }

    fn readings_of(&mut self, text: &PictureText, of: &[Sp<String>]) -> Option<Vec<Shown>> {
        let all: Vec<Option<Shown>> = of.iter().map(|name| self.reading_of(text, name)).collect();
        all.into_iter().collect()
    }

    /// A reading that this step takes or judges.
    fn reading_of(&mut self, text: &PictureText, name: &Sp<String>) -> Option<Shown> {
        let here = self.step.defines.contains(&name.value) || self.step.judged.contains(&name.value);
        let Some(reading) = self.readings.get(&name.value).filter(|_| here).cloned() else {
            let known: Vec<&String> = self.step.defines.iter().chain(&self.step.judged).collect();
            let mend = near::mend(&name.value, &known);
            self.problems.add(
                Problem::new(
                    code::UNKNOWN_NAME,
                    &name.span,
                    format!("`{}` is no reading of this step", name.value),
                )
                .expected("a reading that this step takes or judges")
                .got(format!("`{}`", name.value))
                .mend(mend),
            );
            return None;
        };
        if reading.dimension.is_none() {
            self.problems.add(
                Problem::new(
                    code::WORD_READING,
                    &name.span,
                    format!("`{}` is a reading in words", name.value),
                )
                .expected("a reading that is a number")
                .got("a word")
                .mend("delete it from the picture"),
            );
            return None;
        }
        Some(shown(text, &name.value, reading.unit))
    }

    /// A name of `for_each` or of a sweep of this step.
    fn variable(&mut self, text: &PictureText, name: &Sp<String>) -> Option<Shown> {
        if let Some(variable) = self.step.variables.get(&name.value) {
            return Some(shown(text, &name.value, variable.unit.clone()));
        }
        let known: Vec<&String> = self.step.variables.keys().collect();
        let mend = if known.is_empty() {
            format!("write `for_each: {{{}: […]}}` into the step", name.value)
        } else {
            near::nearest(&name.value, &known).map_or_else(
                || format!("add it to `for_each`, or write one of: {}", near::listed(&known)),
                |near| format!("did you mean `{near}`?"),
            )
        };
        self.refuse_picture(
            name,
            format!("this step does not go through values of `{}`", name.value),
            "a name of `for_each` or of a sweep of this step".to_owned(),
            &mend,
        );
        None
    }

    /// Words for a name that the picture does not show are a slip.
    fn words_used(&mut self, text: &PictureText) {
        let mut names = names_of(&text.form);
        if let PictureForm::Ladder { rule: Some(_), .. } = &text.form {
            names.push(RULE);
        }
        for (name, _) in &text.says {
            if !names.contains(&name.value.as_str()) {
                self.refuse_picture(
                    name,
                    format!("the picture does not show `{}`", name.value),
                    "words for a name of this picture".to_owned(),
                    &near::mend(&name.value, &names),
                );
            }
        }
    }

    fn refuse_picture(&mut self, at: &Sp<String>, message: String, expected: String, mend: &str) {
        self.problems.add(
            Problem::new(code::NO_PICTURE, &at.span, message)
                .expected(expected)
                .got(format!("`{}`", at.value))
                .mend(mend),
        );
    }
}

fn names_of(form: &PictureForm) -> Vec<&str> {
    let (many, few) = match form {
        PictureForm::Map { of, across, up } => (Vec::new(), vec![of, across, up]),
        PictureForm::Ladder { of, across, .. } => (of.iter().collect(), vec![across]),
        PictureForm::Bars { of, across, .. } => (of.iter().collect(), across.iter().collect()),
        PictureForm::Course { of } => (of.iter().collect(), Vec::new()),
        PictureForm::Wave { of, marks } => (of.iter().collect(), marks.iter().collect()),
    };
    many.into_iter()
        .chain(few)
        .map(|name: &Sp<String>| name.value.as_str())
        .collect()
}

/// The words for a name.
fn words<'t>(text: &'t PictureText, name: &str) -> Option<&'t str> {
    let said = text.says.iter().find(|(known, _)| known.value == name);
    said.map(|(_, words)| words.as_str())
}

fn shown(text: &PictureText, name: &str, unit: String) -> Shown {
    Shown {
        name: name.to_owned(),
        says: words(text, name).unwrap_or(name).to_owned(),
        unit,
    }
}

fn plain_title(draws: &Draws) -> String {
    let list = |of: &[Shown]| {
        of.iter()
            .map(|shown| shown.says.as_str())
            .collect::<Vec<_>>()
            .join(", ")
    };
    match draws {
        Draws::Map { of, across, up } => format!("{} over {} and {}", of.says, across.says, up.says),
        Draws::Ladder { of, across, .. } => format!("{} over {}", list(of), across.says),
        Draws::Bars { of, across, .. } => match across {
            Some(across) => format!("{} over {}", list(of), across.says),
            None => list(of),
        },
        Draws::Course { of } => format!("{} over time", list(of)),
        Draws::Wave { of, .. } => list(of),
    }
}

/// The unit in which a value was written, where it was: people see `80 %`, not `0.8`.
pub(crate) fn written_unit(text: &str, dimension: Dimension) -> String {
    let written = text.rsplit(|c: char| c.is_whitespace() || c.is_ascii_digit()).next();
    let written = written.and_then(Unit::find).filter(|unit| unit.dimension == dimension);
    match written.or_else(|| Unit::coherent(dimension)) {
        Some(unit) if unit.symbol != "1" => unit.symbol.to_owned(),
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::written_unit;
    use pilotage_core::Dimension;

    #[test]
    fn values_are_printed_in_the_unit_in_which_they_were_written() {
        for (text, dimension, unit) in [
            ("53.3 %", Dimension::NONE, "%"),
            ("53.3%", Dimension::NONE, "%"),
            ("90 °", Dimension::NONE, "°"),
            ("7", Dimension::NONE, ""),
            ("25 % of $rated_current", Dimension::CURRENT, "A"),
            ("400 mV", Dimension::VOLTAGE, "mV"),
            ("$supply_voltage", Dimension::VOLTAGE, "V"),
        ] {
            assert_eq!(written_unit(text, dimension), unit, "{text}");
        }
    }
}
