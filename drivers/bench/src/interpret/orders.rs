//! Orders as bytes: compiled before anything is sent, looked up when they are sent.

use super::tables::{Amount, Choice, Serves, Service, Tables};
use super::texts::{decimal, plain};
use super::{Problem, demands};
use crate::scpi::Line;
use pilotage_core::{Quantity, Unit};
use pilotage_plan::program::{Order, Program, Setting};
use std::collections::BTreeMap;

/// An order as it goes on the wire.
#[derive(Debug, Clone, PartialEq)]
pub struct Compiled {
    /// The instrument.
    pub instrument: String,
    /// What sets the point, the error query at its end.
    pub message: Line,
    /// What reads it back.
    pub ask: Line,
    /// What the read-back must be.
    pub confirm: Confirm,
}

/// What a read-back must be.
#[derive(Debug, Clone, PartialEq)]
pub enum Confirm {
    /// This reply.
    Answer(String),
    /// A value at the instrument.
    Value {
        /// The value, coherent SI.
        wanted_si: f64,
        /// Largest difference, coherent SI.
        within_si: f64,
        /// Unit of the reply.
        unit: Unit,
    },
}

/// Compiled orders, by point and setting.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Orders(BTreeMap<String, Settings>);

/// The orders of one point. Amounts are found by the bits of their value in coherent SI; a point has one dimension.
#[derive(Debug, Clone, Default, PartialEq)]
struct Settings {
    words: BTreeMap<String, Compiled>,
    amounts: BTreeMap<u64, (Quantity, Compiled)>,
}

impl Orders {
    /// The bytes of an order, where it was compiled.
    pub fn get(&self, order: &Order) -> Option<&Compiled> {
        let settings = self.0.get(&order.point)?;
        match &order.to {
            Setting::Word(word) => settings.words.get(word),
            Setting::Amount(value, _) => {
                let (known, compiled) = settings.amounts.get(&value.si().to_bits())?;
                (known.dimension() == value.dimension()).then_some(compiled)
            }
        }
    }

    fn put(&mut self, order: &Order, compiled: Compiled) {
        let settings = self.0.entry(order.point.clone()).or_default();
        match &order.to {
            Setting::Word(word) => drop(settings.words.insert(word.clone(), compiled)),
            Setting::Amount(value, _) => drop(settings.amounts.insert(value.si().to_bits(), (*value, compiled))),
        }
    }
}

impl Tables {
    /// Every order that a program can send, as bytes; else every problem that the program would meet on this bench.
    pub fn prepare(&self, program: &Program) -> Result<Orders, Vec<Problem>> {
        let (problems, orders) = demands::of(self, program);
        self.orders(orders, problems)
    }

    /// These orders as bytes.
    pub fn compile_orders<'o>(&self, orders: impl IntoIterator<Item = &'o Order>) -> Result<Orders, Vec<Problem>> {
        self.orders(orders, BTreeMap::new())
    }

    fn orders<'o>(
        &self,
        wanted: impl IntoIterator<Item = &'o Order>,
        mut problems: demands::Problems,
    ) -> Result<Orders, Vec<Problem>> {
        let mut orders = Orders::default();
        for order in wanted {
            if orders.get(order).is_some() {
                continue;
            }
            match self
                .service(&order.point)
                .and_then(|service| compiled(service, &order.to))
            {
                Ok(made) => orders.put(order, made),
                Err(problem) => demands::add(&mut problems, problem),
            }
        }
        if problems.is_empty() {
            Ok(orders)
        } else {
            Err(problems.into_values().collect())
        }
    }
}

fn compiled(service: &Service, to: &Setting) -> Result<Compiled, Problem> {
    match (&service.serves, to) {
        (Serves::Choose(choices), Setting::Word(word)) => {
            let choice = choices.iter().find(|choice| choice.word == *word);
            choice
                .map(|choice| chosen(service, choice))
                .ok_or_else(|| no_position(service, choices, to))
        }
        (Serves::Choose(choices), Setting::Amount(..)) => Err(no_position(service, choices, to)),
        (Serves::Amount(amount), Setting::Amount(value, _)) => amounting(service, amount, *value),
        _ => Err(refused(
            service,
            to,
            "which is neither a selector nor a set point of this kind",
            "serve the point by a `choose` or `amount` function that takes it",
        )),
    }
}

fn chosen(service: &Service, choice: &Choice) -> Compiled {
    Compiled {
        instrument: service.instrument.clone(),
        message: choice.message.clone(),
        ask: choice.ask.alone.clone(),
        confirm: Confirm::Answer(choice.answer.clone()),
    }
}

fn amounting(service: &Service, amount: &Amount, value: Quantity) -> Result<Compiled, Problem> {
    let wanted_si = amount.at_instrument_si(service, value)?;
    let text = amount.message.replace("{value}", &decimal(wanted_si, amount.unit));
    Ok(Compiled {
        instrument: service.instrument.clone(),
        message: text.as_str().into(),
        ask: amount.ask.alone.clone(),
        confirm: Confirm::Value {
            wanted_si,
            within_si: amount.within_si,
            unit: amount.unit,
        },
    })
}

fn no_position(service: &Service, choices: &[Choice], to: &Setting) -> Problem {
    let words: Vec<&str> = choices.iter().map(|choice| choice.word.as_str()).collect();
    refused(
        service,
        to,
        "which has no such position",
        &format!("its positions: {}", words.join(", ")),
    )
}

/// An order that cannot be compiled: point, setting, instrument, function and where that stands in the driver's file.
fn refused(service: &Service, to: &Setting, why: &str, mend: &str) -> Problem {
    let to = match to {
        Setting::Word(word) => word.clone(),
        Setting::Amount(value, unit) => Unit::find(unit).map_or_else(|| unit.clone(), |unit| value.display_in(unit)),
    };
    let what = format!(
        "it cannot be set to {to}: {} serves it by function `{}` ({}), {why}",
        service.instrument, service.function, service.driver
    );
    Problem::new(&service.point, what, mend)
}

impl Amount {
    /// The value at the instrument for a value at the point, coherent SI.
    fn at_instrument_si(&self, service: &Service, value: Quantity) -> Result<f64, Problem> {
        let si = value.si() / service.ratio;
        let (low, high) = self.between_si;
        // A value worked out from percentages may differ from its bound in the last digits.
        let slack = 1e-9 * low.abs().max(high.abs());
        let place = || {
            format!(
                "{}, function `{}` ({})",
                service.instrument, service.function, service.driver
            )
        };
        if value.dimension() != self.unit.dimension {
            return Err(Problem::new(
                &service.point,
                format!(
                    "a value of another dimension than {} takes, {}",
                    place(),
                    self.unit.symbol
                ),
                "check the unit",
            ));
        }
        if si < low - slack || si > high + slack {
            let show = |si: f64| format!("{} {}", decimal(si, self.unit), self.unit.symbol);
            let what = format!(
                "{} is outside what {} can do ({} to {})",
                show(si),
                place(),
                show(low),
                show(high)
            );
            return Err(Problem::new(
                &service.point,
                what,
                "choose another value or another instrument",
            ));
        }
        Ok(si.clamp(low, high))
    }
}

impl Confirm {
    /// What is wanted, in words.
    pub(crate) fn words(&self) -> String {
        match self {
            Self::Answer(answer) => answer.clone(),
            Self::Value {
                wanted_si,
                within_si,
                unit,
            } => {
                let symbol = unit.symbol;
                let scale = unit.to_si(1.0) - unit.to_si(0.0);
                let within = plain(within_si / scale);
                format!("{} {symbol} ± {within} {symbol}", decimal(*wanted_si, *unit))
            }
        }
    }
}
