//! `set`: what a point is set to, whether the bench can, whether the nameplate allows it, and what it does to energy.

use super::fitter::Fitter;
use super::names::dimension_name;
use super::points::{self, Holds, PointShape};
use super::{code, names, near};
use crate::energy::{BenchState, Typed};
use crate::files::sequence::SetText;
use crate::kind::Bound;
use crate::problem::Problem;
use crate::program::{Act, ActKind, Order, Setting};
use crate::source::{Formula, Sp, Span};
use pilotage_core::{Dimension, Quantity, Unit};

/// Values worked out by a division may lie this much above a bound.
const ROUNDING: f64 = 1.0 + 1e-9;

/// How a sequence uses a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Use {
    /// `set`, `sweep`, `ramp`
    Set,
    /// `read` and conditions
    Read,
    /// `capture`
    Capture,
}

impl Use {
    fn allowed(self, shape: &PointShape) -> bool {
        match self {
            Self::Set => shape.set,
            Self::Read => shape.read,
            Self::Capture => shape.capture,
        }
    }

    fn verb(self) -> &'static str {
        match self {
            Self::Set => "set",
            Self::Read => "read",
            Self::Capture => "captured",
        }
    }
}

impl Fitter<'_> {
    /// The table's line for a point that may be used in this way. A conductor that this item lacks leaves the step out.
    pub(crate) fn point(&mut self, name: &Sp<String>, wanted: Use) -> Option<&'static PointShape> {
        let kind = self.request.sequence.item.value;
        match points::find_point(kind, &name.value) {
            Err(near) => {
                self.problems.add(unknown_point(name, near));
                None
            }
            Ok(point) if !wanted.allowed(point.shape) => {
                self.problems.add(wrong_use(kind, name, wanted));
                None
            }
            Ok(point) => {
                if let Some(bracket) = point.bracket.filter(|bracket| !self.plate.has(bracket)) {
                    self.step
                        .not_served(format!("`{}`: this item has no {bracket}", name.value));
                }
                Some(point.shape)
            }
        }
    }

    /// One entry of `set`.
    pub(crate) fn set(&mut self, point: &Sp<String>, to: &SetText, span: &Span) -> Option<Act> {
        let shape = self.point(point, Use::Set)?;
        let setting = match to {
            SetText::Word(word) => self.word_setting(point, shape, word)?,
            SetText::Amount(formula) => self.amount_setting(point, shape, formula)?,
        };
        self.order(point, setting, None, span)
    }

    fn word_setting(&mut self, point: &Sp<String>, shape: &PointShape, word: &Sp<String>) -> Option<Setting> {
        let Holds::Words(words) = shape.holds else {
            self.problems.add(wrong_sort(point, shape, &word.span, &word.value));
            return None;
        };
        if !words.contains(&word.value.as_str()) {
            self.problems.add(unknown_word(point, word, words));
            return None;
        }
        self.choice_served(&point.value, &word.value);
        Some(Setting::Word(word.value.clone()))
    }

    fn choice_served(&mut self, point: &str, word: &str) {
        match self.services.choices(point) {
            None => self.step.not_served(format!("this bench cannot set `{point}`")),
            Some(choices) if !choices.contains(&word) => {
                self.step
                    .not_served(format!("this bench cannot set `{point}` to `{word}`"));
            }
            Some(_) => {}
        }
    }

    fn amount_setting(&mut self, point: &Sp<String>, shape: &PointShape, formula: &Formula) -> Option<Setting> {
        let Holds::Amount(dimension) = shape.holds else {
            self.problems
                .add(wrong_sort(point, shape, &formula.span, formula.expr.text()));
            return None;
        };
        let what = format!("what `{}` is set to", point.value);
        let value = self.number(formula, dimension, &what)?;
        Some(self.amount(point, value))
    }

    /// A value as a setting in the unit of the driver; a value outside its bounds leaves the step out.
    pub(crate) fn amount(&mut self, point: &Sp<String>, value: Quantity) -> Setting {
        let Some((unit, between)) = self.services.amount(&point.value) else {
            self.step.not_served(format!("this bench cannot set `{}`", point.value));
            let unit = Unit::coherent(value.dimension()).map_or("", |unit| unit.symbol);
            return Setting::Amount(value, unit.to_owned());
        };
        for bound in [&between.0, &between.1] {
            if let Err(problem) = names::constant(bound) {
                self.problems.add(*problem);
            }
        }
        if let (Ok(low), Ok(high)) = (names::constant(&between.0), names::constant(&between.1))
            && !(low.si()..=high.si()).contains(&value.si())
        {
            let why = format!(
                "this bench sets `{}` only from {low} to {high}, not to {value}",
                point.value
            );
            self.step.not_served(why);
        }
        Setting::Amount(value, unit.value.clone())
    }

    /// An order, typed by the energy table.
    pub(crate) fn order(
        &mut self,
        point: &Sp<String>,
        to: Setting,
        becomes: Option<String>,
        span: &Span,
    ) -> Option<Act> {
        self.check_nameplate(point, &to)?;
        self.now.settings.note(&point.value, &to);
        let before = self.energy();
        let order = Order {
            point: point.value.clone(),
            to,
            becomes,
        };
        let (typed, after) = self.now.bench.order(self.request.sequence.item.value, order);
        self.check_meeting(point, after);
        self.now.bench = after;
        if !self.loaded_above_half() {
            self.now.loaded_s = 0.0;
        }
        let kind = match typed {
            Typed::Quiet(order) => ActKind::Quiet(order),
            Typed::Energising(order) => {
                self.energises_at.get_or_insert_with(|| span.clone());
                ActKind::Energise(order)
            }
        };
        let number = self.take_number();
        Some(self.finish(number, kind, before, span))
    }

    fn check_nameplate(&mut self, point: &Sp<String>, to: &Setting) -> Option<()> {
        if let Setting::Amount(value, _) = to
            && let Some(bound) = self.table.bounds.iter().find(|bound| bound.point == point.value)
        {
            if bound.supplied_only {
                self.now.told.insert(bound.point, *value);
            }
            if !bound.supplied_only || self.now.bench.supply_on {
                self.at_most(point, *value, bound)?;
            }
        }
        match (point.value.as_str(), to) {
            ("supply.voltage", Setting::Amount(..)) => self.now.voltage_set = true,
            ("supply", Setting::Word(word)) if word == "on" => {
                self.check_voltage_set(point);
                self.check_told(&point.span)?;
            }
            ("insulation", Setting::Word(word)) if word == "on" => self.check_insulation(point),
            _ => {}
        }
        Some(())
    }

    /// What was told without a supply is obeyed as soon as there is one.
    fn check_told(&mut self, span: &Span) -> Option<()> {
        for bound in self.table.bounds.iter().filter(|bound| bound.supplied_only) {
            if let Some(value) = self.now.told.get(bound.point).copied() {
                let point = Sp {
                    value: bound.point.to_owned(),
                    span: span.clone(),
                };
                self.at_most(&point, value, bound)?;
            }
        }
        Some(())
    }

    /// An insulation instrument stands on nothing but what is dead.
    fn check_insulation(&mut self, point: &Sp<String>) {
        let found = self.now.bench.forbids_insulation(self.table);
        if found.is_empty() {
            return;
        }
        self.refuse(
            Problem::new(
                code::INSULATION_LIVE,
                &point.span,
                "the insulation instrument is switched on where not everything was proven dead",
            )
            .expected("supply and low-voltage supply off, no offer, a load that is off or holds 0 V, and every place proven dead since anything was live")
            .got(found.join("; "))
            .mend("put `isolate: {}` before it"),
        );
    }

    /// Sources that would meet from this order on. What an insulation instrument must not meet when it comes on is refused by itself.
    fn check_meeting(&mut self, point: &Sp<String>, after: BenchState) {
        let before = self.now.bench.meeting(self.table);
        let mut met = after.meeting(self.table);
        met.retain(|words| !before.contains(words));
        if met.is_empty() || point.value == "insulation" {
            return;
        }
        let beside = if after.insulation_on && !self.table.load_drives {
            " while the insulation instrument is on"
        } else {
            ""
        };
        self.refuse(
            Problem::new(
                code::SOURCES_MEET,
                &point.span,
                format!("`{}` brings sources together that must not meet", point.value),
            )
            .expected("the one off before the other comes on")
            .got(format!("{}{beside}", met.join("; ")))
            .mend("switch the other one off before it, and prove its places dead or put `isolate: {}` between them"),
        );
    }

    /// Refuses a value above its bound, and any value where the nameplate says nothing.
    fn at_most(&mut self, point: &Sp<String>, value: Quantity, bound: &Bound) -> Option<()> {
        let allowed_si = match bound.plate {
            None => bound.above,
            Some(plate) => {
                let Some(amount) = self.plate.amount(plate, value.dimension()) else {
                    self.refuse(nameplate_lacks(point, plate));
                    return None;
                };
                amount.si() * bound.above
            }
        };
        if value.si().abs() <= allowed_si * ROUNDING {
            return Some(());
        }
        let allowed = Quantity::new(allowed_si, value.dimension())
            .map(|q| q.to_string())
            .unwrap_or_default();
        let (message, expected, mend) = match bound.plate {
            None => ("is set too high", format!("at most {allowed}"), "set a lower value"),
            Some(plate) => (
                "is set above what the nameplate allows",
                format!("at most {allowed}, from `{plate}`"),
                "set a lower value, or derive it from the nameplate",
            ),
        };
        self.refuse(
            Problem::new(bound.code, &point.span, format!("`{}` {message}", point.value))
                .expected(expected)
                .got(value.to_string())
                .mend(mend),
        );
        None
    }

    /// Where the bench can set the supply's voltage, nobody may rely on what an earlier run left there.
    fn check_voltage_set(&mut self, point: &Sp<String>) {
        if self.now.voltage_set || self.services.of("supply.voltage").is_empty() {
            return;
        }
        self.refuse(
            Problem::new(
                code::SUPPLY_UNSET,
                &point.span,
                "the supply is switched on before its voltage was set",
            )
            .expected("`set: {supply.voltage: $supply_voltage}` earlier in the sequence")
            .got("`supply: on`")
            .mend("set `supply.voltage` first"),
        );
    }

    /// Whether the load may draw more than half of the rated current now.
    pub(crate) fn loaded_above_half(&self) -> bool {
        let bench = self.now.bench;
        let dead = matches!(
            bench.energy,
            pilotage_evidence::EnergyState::Isolated | pilotage_evidence::EnergyState::OutputDead
        );
        let rated_a = self
            .plate
            .amount(self.table.rated_load, Dimension::CURRENT)
            .map_or(0.0, Quantity::si);
        !dead && bench.load_on && bench.load_current_a > 0.5 * rated_a
    }
}

fn nameplate_lacks(point: &Sp<String>, plate: &str) -> Problem {
    Problem::new(code::NAMEPLATE, &point.span, format!("the nameplate has no `{plate}`"))
        .expected(format!("`{plate}`, because `{}` is set", point.value))
        .got("nothing")
        .mend("write it into the item's nameplate")
}

/// An unknown point, with the nearest that exists.
fn unknown_point(name: &Sp<String>, near: Option<String>) -> Problem {
    let mend = near.map_or_else(
        || "see the table of points".to_owned(),
        |near| format!("did you mean `{near}`?"),
    );
    Problem::new(
        code::UNKNOWN_POINT,
        &name.span,
        format!("there is no point `{}`", name.value),
    )
    .expected("a point of this kind of item")
    .got(format!("`{}`", name.value))
    .mend(mend)
}

fn wrong_use(kind: pilotage_evidence::ItemKind, name: &Sp<String>, wanted: Use) -> Problem {
    let usable: Vec<String> = points::points_of(kind)
        .filter(|shape| wanted.allowed(shape))
        .flat_map(points::names_of)
        .collect();
    let mend = near::nearest(&name.value, &usable).map_or_else(
        || format!("use one of: {}", near::listed(&usable)),
        |near| format!("did you mean `{near}`?"),
    );
    Problem::new(
        code::POINT_USE,
        &name.span,
        format!("`{}` cannot be {}", name.value, wanted.verb()),
    )
    .expected(format!("a point that can be {}", wanted.verb()))
    .got(format!("`{}`", name.value))
    .mend(mend)
}

/// A word that the point does not know.
pub(crate) fn unknown_word(point: &Sp<String>, word: &Sp<String>, words: &[&str]) -> Problem {
    Problem::new(
        code::POINT_WORD,
        &word.span,
        format!("`{}` has no `{}`", point.value, word.value),
    )
    .expected(format!("one of: {}", words.join(", ")))
    .got(format!("`{}`", word.value))
    .mend(near::mend(&word.value, words))
}

/// A word where a quantity is wanted, or the other way round.
pub(crate) fn wrong_sort(point: &Sp<String>, shape: &PointShape, span: &Span, got: &str) -> Problem {
    let (expected, mend) = match shape.holds {
        Holds::Words(words) => (
            format!("one of: {}", words.join(", ")),
            "write one of its words".to_owned(),
        ),
        Holds::Amount(Dimension::NONE) => ("a ratio".to_owned(), "write a ratio, e.g. `50 %`".to_owned()),
        Holds::Amount(dimension) => (dimension_name(dimension), "write a number with its unit".to_owned()),
    };
    Problem::new(code::POINT_WORD, span, format!("`{}` does not take this", point.value))
        .expected(expected)
        .got(format!("`{got}`"))
        .mend(mend)
}
