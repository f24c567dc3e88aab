//! What a bus is told once the program has hung.

use super::code;
use super::fitter::Fitter;
use super::make_safe::{amounts, last_words};
use crate::files::bench::InstrumentText;
use crate::files::driver::{DriverFile, FunctionText};
use crate::frame_driver::signal_function;
use crate::problem::Problem;
use pilotage_core::frames::{Layout, Signal};
use std::collections::BTreeMap;

/// What make safe sets, by points.
struct Rest {
    amounts: BTreeMap<&'static str, f64>,
    words: BTreeMap<&'static str, &'static str>,
}

impl Fitter<'_> {
    /// It must be what make safe would tell it: the word that make safe sets where the bench serves the signal, else the word at rest; and of a
    /// frame that carries an amount that make safe sets, nothing at all.
    pub(super) fn check_abandoned(&mut self) {
        let bench = self.request.bench;
        let drivers = self.request.drivers;
        let rest = Rest {
            amounts: amounts(self),
            words: last_words(self),
        };
        for instrument in &bench.instruments {
            let Some(driver) = drivers.get(&instrument.driver.value) else {
                continue;
            };
            let frames = driver.frames.iter().flat_map(|map| &map.frames);
            let said = frames.filter_map(|layout| Some((layout, layout.abandoned.as_ref()?)));
            let problems: Vec<Problem> = said
                .flat_map(|(layout, raws)| {
                    let signals = layout.signals.iter().enumerate();
                    signals.filter_map(|(place, signal)| {
                        let raw = raws.iter().find(|(said, _)| *said == place).map(|(_, raw)| *raw);
                        self.abandoned(&rest, (instrument, driver), (layout, signal), raw)
                    })
                })
                .collect();
            for problem in problems {
                self.problems.add(problem);
            }
        }
    }

    /// What is wrong with one signal of a frame that is sent on; `said` is what it says then, none where it stays as it was.
    fn abandoned(
        &self,
        rest: &Rest,
        (instrument, driver): (&InstrumentText, &DriverFile),
        (layout, signal): (&Layout, &Signal),
        said: Option<i64>,
    ) -> Option<Problem> {
        let function = driver
            .functions
            .iter()
            .find(|function| function.name.value == signal_function(layout, signal))?;
        let served =
            self.request.bench.points.iter().find(|service| {
                service.by.value == instrument.name.value && service.function.value == function.name.value
            });
        let point = served.map(|service| service.point.value.as_str());
        if let Some(point) = point.filter(|point| rest.amounts.contains_key(point)) {
            return Some(amount_goes_on(layout, point, function));
        }
        let of_make_safe = point.and_then(|point| rest.words.get(point)).copied();
        // What make safe does not set may stay as it was; what is said of it must be the word at rest.
        let wanted = of_make_safe.or_else(|| said.and(signal.word(signal.at_rest())))?;
        let says = said.and_then(|raw| signal.word(raw));
        (says != Some(wanted)).then(|| {
            Problem::new(
                code::ABANDONED,
                &function.span,
                format!(
                    "a program that hangs would leave `{}` on: the frame `{}` is sent on without the word that ends it",
                    point.unwrap_or(&signal.name),
                    layout.name
                ),
            )
            .expected(format!("`abandoned: {{{}: {wanted}}}`", signal.name))
            .got(says.map_or_else(
                || format!("`{}` stays as it was", signal.name),
                |word| format!("`{}: {word}`", signal.name),
            ))
            .mend("say that word under `abandoned`, or take the key away: then nothing is sent any more")
        })
    }
}

fn amount_goes_on(layout: &Layout, point: &str, function: &FunctionText) -> Problem {
    Problem::new(
        code::ABANDONED,
        &function.span,
        format!(
            "a program that hangs would leave `{point}` as it was: the frame `{}` is sent on with it",
            layout.name
        ),
    )
    .expected(format!("no `abandoned` in `{}`", layout.name))
    .got("a frame that is sent on")
    .mend("take the key away: then nothing is sent any more")
}
