//! What a bus is told once the program has hung.

use super::code;
use super::fitter::Fitter;
use super::make_safe::words;
use super::services::Service;
use crate::files::bench::BenchFile;
use crate::files::driver::DriverFile;
use crate::frame_driver::signal_function;
use crate::problem::Problem;
use pilotage_core::frames::Signal;
use std::collections::BTreeMap;

impl Fitter<'_> {
    /// It must be what make safe would tell it, or nothing at all.
    pub(super) fn check_abandoned(&mut self) {
        for (point, wanted) in words(self) {
            let services = self.services.of(point).iter();
            let said = services.filter_map(|service| {
                let says = said_when_abandoned(self.request.drivers, self.request.bench, service)?;
                let quiet = says.word.is_some_and(|word| wanted.contains(word));
                (!quiet).then(|| (service.function.span.clone(), says))
            });
            for (span, says) in said.collect::<Vec<_>>() {
                let rest: Vec<String> = wanted.iter().map(|word| format!("{}: {word}", says.signal)).collect();
                let problem = Problem::new(
                    code::ABANDONED,
                    &span,
                    format!(
                        "a program that hangs would leave `{point}` on: the frame `{}` is sent on without make safe's word",
                        says.frame
                    ),
                )
                .expected(format!("`abandoned: {{{}}}`", rest.join(" or ")))
                .got(says.word.map_or_else(
                    || format!("`{}` stays as it was", says.signal),
                    |word| format!("`{}: {word}`", says.signal),
                ))
                .mend("say that word under `abandoned`, or take the key away: then nothing is sent any more");
                self.problems.add(problem);
            }
        }
    }
}

/// What a frame goes on saying of one signal after the program has hung.
struct Abandoned<'a> {
    frame: &'a str,
    signal: &'a str,
    /// None where it stays as it was.
    word: Option<&'a str>,
}

/// None where nothing is sent any more, or where the function sets no signal of a frame.
fn said_when_abandoned<'a>(
    drivers: &'a BTreeMap<String, DriverFile>,
    bench: &BenchFile,
    service: &Service<'_>,
) -> Option<Abandoned<'a>> {
    let by = &service.text.by.value;
    let instrument = bench.instruments.iter().find(|one| one.name.value == *by)?;
    let map = drivers.get(&instrument.driver.value)?.frames.as_ref()?;
    map.frames.iter().find_map(|layout| {
        let raws = layout.abandoned.as_ref()?;
        let set = |signal: &Signal| signal_function(layout, signal) == service.function.name.value;
        let (place, signal) = layout.signals.iter().enumerate().find(|(_, signal)| set(signal))?;
        let raw = raws.iter().find(|(said, _)| *said == place).map(|(_, raw)| *raw);
        Some(Abandoned {
            frame: &layout.name,
            signal: &signal.name,
            word: raw.and_then(|raw| signal.word(raw)),
        })
    })
}
