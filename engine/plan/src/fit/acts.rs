//! One act after the other: which form it has, and the forms that need little.

use super::code;
use super::fitter::Fitter;
use super::orders::Use;
use super::points::Holds;
use super::waits::plate;
use crate::files::sequence::{ActForm, ActText, AlongText, AnswerText, InlineSource};
use crate::kind::{DeadPlace, KindTable};
use crate::problem::Problem;
use crate::program::{Act, ActKind, AskSpec, ProveDeadSpec, SettleSpec};
use crate::source::{Formula, Sp, Span};
use pilotage_core::{Dimension, Quantity, Tolerance, Unit};
use pilotage_evidence::heading::LimitPlate;
use pilotage_evidence::{EnergyState, SourceStatus};
use std::time::Duration;

/// A longer course has more readings than any picture shows.
const MOST_ALONG: f64 = 10_000.0;

impl Fitter<'_> {
    /// Acts in order, unrolled.
    pub(crate) fn acts(&mut self, texts: &[ActText], out: &mut Vec<Act>) {
        for text in texts {
            if !self.step.capturing || self.allowed_while_capturing(text) {
                self.act(text, out);
            }
        }
    }

    fn act(&mut self, text: &ActText, out: &mut Vec<Act>) {
        let span = &text.span;
        match &text.form {
            ActForm::Set(entries) => {
                for (point, to) in entries {
                    out.extend(self.set(point, to, span));
                }
            }
            ActForm::Read(entries) => out.extend(self.read(entries, span)),
            ActForm::Capture {
                of,
                length,
                rate,
                during,
            } => {
                out.extend(self.capture(of, (length, rate.as_ref()), during, span));
            }
            ActForm::Find(entries) => out.extend(self.find(entries, span)),
            ActForm::Sweep { .. } => self.sweep(&text.form, span, out),
            ActForm::Ramp { .. } => self.ramp(&text.form, span, out),
            ActForm::WaitFor { .. } => out.extend(self.wait_for(&text.form, span)),
            ActForm::MustNot { .. } => out.extend(self.must_not(&text.form, span)),
            ActForm::Hold(length, along) => self.hold(length, along.as_ref(), span, out),
            ActForm::Settle {
                point,
                band,
                dwell,
                deadline,
                along,
            } => {
                out.extend(self.settle(point, (band, dwell, deadline), along.as_ref(), span));
            }
            ActForm::Ask { .. } => out.extend(self.ask(&text.form, span)),
            ActForm::Isolate => out.push(self.isolate(span)),
            ActForm::ProveDead { at, deadline } => out.extend(self.prove_dead(at, deadline, span)),
            ActForm::Judge(entries) => out.extend(self.judge(entries, span)),
        }
    }

    fn allowed_while_capturing(&mut self, text: &ActText) -> bool {
        let what = match text.form {
            ActForm::Capture { .. } => "capture",
            ActForm::Find(_) => "find",
            ActForm::Ask { .. } => "ask",
            ActForm::Isolate => "isolate",
            ActForm::ProveDead { .. } => "prove_dead",
            ActForm::Judge(_) => "judge",
            ActForm::Sweep { .. } => "sweep",
            _ => return true,
        };
        self.problems.add(
            Problem::new(
                code::INSIDE_CAPTURE,
                &text.span,
                format!("`{what}` cannot be done while a capture runs"),
            )
            .expected("`set`, `read`, `ramp`, `hold`, `settle`, `wait_for` or `must_not`")
            .got(format!("`{what}`"))
            .mend("put it before or after the capture"),
        );
        false
    }

    /// Readings on the way become acts of their own, with parts of the hold between them.
    fn hold(&mut self, length: &Formula, along: Option<&AlongText>, span: &Span, out: &mut Vec<Act>) {
        let Some(mut left) = self.time(length, "the length of a hold") else {
            return;
        };
        let mut every = left;
        if let Some(along) = along {
            let Some(between) = self.time_between(along, left, "hold") else {
                // Its readings are known all the same: nothing is reported twice.
                self.read_specs(&along.reads);
                return;
            };
            every = between;
        }
        let reads = along.map_or(&[][..], |along| &along.reads);
        while !left.is_zero() {
            out.extend(self.read(reads, span));
            let part = every.min(left);
            self.pass_time(part, span);
            out.push(self.plain(ActKind::Hold(part), span));
            left -= part;
        }
        out.extend(self.read(reads, span));
    }

    /// Time between readings on the way.
    fn time_between(&mut self, along: &AlongText, whole: Duration, what: &str) -> Option<Duration> {
        let every = self.time(&along.every, "the time between readings")?;
        self.not_longer(every, whole, &along.every, what);
        if whole.as_secs_f64() <= MOST_ALONG * every.as_secs_f64() {
            return Some(every);
        }
        self.problems.add(
            Problem::new(
                code::TIME_RANGE,
                &along.every.span,
                format!("`{what}` would read too often on its way"),
            )
            .expected(format!("at most {MOST_ALONG} readings"))
            .got(format!("{:.0}", whole.as_secs_f64() / every.as_secs_f64()))
            .mend("read less often"),
        );
        None
    }

    /// Counts time under load; longer than a minute above half of the rated load wants a watch on the temperature:
    /// a bad contact heats up within minutes.
    pub(crate) fn pass_time(&mut self, length: Duration, span: &Span) {
        if !self.loaded_above_half() {
            return;
        }
        self.now.loaded_s += length.as_secs_f64();
        let watched = self
            .request
            .sequence
            .protect
            .iter()
            .any(|p| p.point.value == "terminal.temperature");
        if watched || self.now.loaded_s <= 60.0 {
            return;
        }
        self.refuse(
            Problem::new(
                code::HOT,
                span,
                "longer than 60 s above half of the rated load, and nobody watches the temperature",
            )
            .expected("`protect: {terminal.temperature: {at_most: …, every: …}}`")
            .got(format!("{:.0} s under load without it", self.now.loaded_s))
            .mend("add the protection, or shorten the hold"),
        );
    }

    fn settle(
        &mut self,
        point: &Sp<String>,
        times: (&Formula, &Formula, &Formula),
        along: Option<&AlongText>,
        span: &Span,
    ) -> Option<Act> {
        let (band, dwell, deadline) = times;
        let (shape, _) = self.readable(point)?;
        let Holds::Amount(dimension) = shape.holds else {
            self.problems
                .add(super::orders::wrong_sort(point, shape, &point.span, &point.value));
            return None;
        };
        let band = self.number(band, dimension, "the band of `settle`");
        let dwell = self.time(dwell, "`for` of `settle`");
        let deadline_time = self.time(deadline, "the deadline of `settle`");
        let (band, dwell, limit) = (band?, dwell?, deadline_time?);
        self.not_longer(dwell, limit, deadline, "settle");
        let along = match along {
            None => None,
            Some(along) => Some((
                self.read_specs(&along.reads),
                self.time_between(along, limit, "settle")?,
            )),
        };
        self.pass_time(limit, span);
        let spec = SettleSpec {
            point: point.value.clone(),
            band,
            dwell,
            deadline: limit,
            along,
        };
        Some(self.plain(ActKind::Settle(spec), span))
    }

    /// A part of a wait may not be longer than the whole.
    pub(crate) fn not_longer(&mut self, part: Duration, whole: Duration, at: &Formula, what: &str) {
        if part <= whole {
            return;
        }
        self.problems.add(
            Problem::new(code::TIME_RANGE, &at.span, format!("`{what}` ends before it can look"))
                .expected(format!("at least {} s", part.as_secs_f64()))
                .got(format!("{} s", whole.as_secs_f64()))
                .mend("lengthen it, or look more often"),
        );
    }

    fn isolate(&mut self, span: &Span) -> Act {
        let spec = super::make_safe::isolate_spec(self);
        let before = self.energy();
        self.now.bench = crate::energy::BenchState::isolated();
        self.now.settings.isolate(self.table.make_safe.isolate);
        self.now.loaded_s = 0.0;
        let number = self.take_number();
        self.finish(number, ActKind::Isolate(spec), before, span)
    }

    fn prove_dead(&mut self, at: &Sp<String>, deadline: &Formula, span: &Span) -> Option<Act> {
        let deadline = self.time(deadline, "the deadline of `prove_dead`")?;
        let Some(place) = self.table.place(&at.value) else {
            self.problems.add(no_place(at, self.table));
            return None;
        };
        if place.fed && self.now.bench.supply_on {
            self.refuse(
                Problem::new(
                    code::DEAD_PLACE,
                    &at.span,
                    format!("{} cannot be dead while the supply is on", place_words(&at.value)),
                )
                .expected("`set: {supply: off}` before it")
                .got("the supply on")
                .mend(fed_mend(self.table)),
            );
        }
        self.nothing_asks(at, place);
        if !self.has_source() {
            self.step.not_served(format!(
                "this bench cannot prove {} dead; nothing on it can energise, and a person measured it dead at the start",
                place_words(&at.value)
            ));
        }
        let before = self.energy();
        self.now.bench = self.now.bench.proven_dead(self.request.sequence.item.value, &at.value);
        let spec = ProveDeadSpec {
            at: at.value.clone(),
            pairs: self.plate.pairs_of(place.pairs).to_vec(),
            deadline,
            stops: true,
            behind_lock: place.behind_lock,
        };
        let number = self.take_number();
        Some(self.finish(number, ActKind::ProveDead(spec), before, span))
    }

    /// While the pilot load asks for energy the item may close between the last look and the statement: whoever reads
    /// *dead* would believe what is no longer true.
    fn nothing_asks(&mut self, at: &Sp<String>, place: &'static DeadPlace) {
        let bench = self.now.bench;
        let may_close = bench.supply_on && bench.energy != EnergyState::Isolated && bench.pilot.asks();
        let Some(asks) = place.asks.as_ref().filter(|_| may_close) else {
            return;
        };
        self.refuse(
            Problem::new(
                code::STILL_ASKING,
                &at.span,
                format!("{} is to be proven dead while {}", place_words(&at.value), asks.how),
            )
            .expected(asks.expected)
            .got(asks.got)
            .mend(asks.mend),
        );
    }

    fn ask(&mut self, form: &ActForm, span: &Span) -> Option<Act> {
        let ActForm::Ask {
            prompt,
            answer,
            name,
            hands,
            does,
            uncertainty,
            source,
        } = form
        else {
            return None;
        };
        if *hands && self.energy() != EnergyState::Isolated {
            self.refuse(
                Problem::new(
                    code::HANDS,
                    span,
                    "hands are wanted at the item while it is not isolated",
                )
                .expected("*isolated*: supply off, proven dead, isolator locked")
                .got(energy_words(self.energy()))
                .mend("put `isolate: {}` before it, or move it before the first `supply: on`"),
            );
        }
        let reading = name
            .as_ref()
            .map_or_else(|| format!("answer_{}", self.now.next_act), |name| name.value.clone());
        let (dimension, unit) = self.answer_dimension(answer)?;
        self.define(
            &reading,
            Some(dimension),
            &unit,
            name.as_ref().map_or(span, |name| &name.span),
        );
        let uncertainty = match uncertainty {
            Some(formula) => Some(self.uncertainty_of_an_answer(formula, dimension)?),
            None => None,
        };
        let spec = AskSpec {
            prompt: prompt.value.clone(),
            answer: answer.clone(),
            name: reading,
            hands: *hands,
            does: does.as_ref().map(|word| word.value.clone()),
            uncertainty,
            limit: answer_limit(prompt, answer, source.as_ref()),
        };
        Some(self.plain(ActKind::Ask(spec), span))
    }

    /// Nobody knows a value exactly.
    fn uncertainty_of_an_answer(&mut self, formula: &Formula, dimension: Dimension) -> Option<Quantity> {
        const WHAT: &str = "the uncertainty of an answer";
        let quantity = self.number(formula, dimension, WHAT)?;
        if quantity.si() > 0.0 {
            return Some(quantity);
        }
        self.refuse(
            Problem::new(code::NO_WIDTH, &formula.span, format!("{WHAT} is not above zero"))
                .expected("more than zero")
                .got(quantity.to_string())
                .mend("write how exact the answer is, or delete `uncertainty`: then half of the last digit counts"),
        );
        None
    }

    fn answer_dimension(&mut self, answer: &AnswerText) -> Option<(Dimension, String)> {
        let AnswerText::Quantity { unit } = answer else {
            return Some((Dimension::NONE, String::new()));
        };
        let found = Unit::find(&unit.value);
        if found.is_none() {
            self.problems.add(unknown_unit(unit));
        }
        found.map(|found| (found.dimension, unit.value.clone()))
    }

    /// Whether a point is known, may be read, and is in words with this one among them.
    pub(crate) fn word_of_point(&mut self, point: &Sp<String>, word: &Sp<String>) -> bool {
        let Some(shape) = self.point(point, Use::Read) else {
            return false;
        };
        match shape.holds {
            Holds::Words(words) if words.contains(&word.value.as_str()) => true,
            Holds::Words(words) => {
                self.problems.add(super::orders::unknown_word(point, word, words));
                false
            }
            Holds::Amount(_) => {
                self.problems
                    .add(super::orders::wrong_sort(point, shape, &word.span, &word.value));
                false
            }
        }
    }
}

fn no_place(at: &Sp<String>, table: &KindTable) -> Problem {
    let places: Vec<&str> = table.dead.iter().map(|place| place.at).collect();
    let quoted: Vec<String> = places.iter().map(|place| format!("`{place}`")).collect();
    Problem::new(
        code::DEAD_PLACE,
        &at.span,
        format!("`{}` is no place to prove dead", at.value),
    )
    .expected(quoted.join(" or "))
    .got(format!("`{}`", at.value))
    .mend(super::near::mend(&at.value, &places))
}

/// `the output` for `ac_output`.
pub(crate) fn place_words(at: &str) -> &str {
    match at {
        "ac_output" => "the output",
        "ac_input" => "the input",
        "dc_output" => "the DC output",
        other => other,
    }
}

fn fed_mend(table: &KindTable) -> String {
    let other = table.dead.iter().find(|place| !place.fed);
    other.map_or_else(
        || "switch the supply off first".to_owned(),
        |place| format!("switch the supply off first, or prove `{}` dead", place.at),
    )
}

/// An unknown unit, with the nearest that exist.
pub(crate) fn unknown_unit(unit: &Sp<String>) -> Problem {
    let near = Unit::near(&unit.value);
    let mend = if near.is_empty() {
        "write a unit such as V, A, Ω, ms".to_owned()
    } else {
        format!("did you mean `{}`?", near.join("` or `"))
    };
    Problem::new(code::DIMENSION, &unit.span, format!("`{}` is no unit", unit.value))
        .expected("a unit")
        .got(format!("`{}`", unit.value))
        .mend(mend)
}

/// A name that belongs to the nameplate or to a pass.
pub(crate) fn name_taken(name: &str, span: &Span) -> Problem {
    Problem::new(
        code::NAME_TAKEN,
        span,
        format!("`{name}` already means something else here"),
    )
    .expected("a name that neither the nameplate nor `for_each` or a sweep uses")
    .got(format!("`{name}`"))
    .mend("choose another name")
}

/// An energy state for people.
pub(crate) fn energy_words(state: EnergyState) -> &'static str {
    match state {
        EnergyState::Isolated => "isolated",
        EnergyState::OutputDead => "the supply may be on; only the output was proven dead",
        EnergyState::Live => "live",
        EnergyState::Unknown => "unknown: nothing was proven dead since it may have been live",
    }
}

/// Yes counts as 1 and no as 0; a word counts as its position among the choices, from 0.
fn answer_limit(prompt: &Sp<String>, answer: &AnswerText, source: Option<&InlineSource>) -> Option<LimitPlate> {
    let accepted: Vec<usize> = match answer {
        AnswerText::YesNo => vec![1],
        AnswerText::Word { choices, passes } => (0..choices.len())
            .filter(|index| passes.contains(&choices[*index]))
            .collect(),
        AnswerText::Done | AnswerText::Quantity { .. } => return None,
    };
    let accepted = accepted
        .into_iter()
        .filter_map(|n| Quantity::new(n as f64, Dimension::NONE).ok())
        .collect();
    let practice = InlineSource {
        status: SourceStatus::CommonPractice,
        standard: None,
        edition: None,
        clause: None,
        by: None,
    };
    let source = source.unwrap_or(&practice);
    let tolerance = Tolerance::AnyOf(accepted);
    Some(plate(prompt.value.clone(), tolerance, "", source, &prompt.span))
}
