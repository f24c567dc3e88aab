//! Setting a point and reading it back. A command that was sent is not yet a command that was done.

use super::open::{Talk, Wired, unserved};
use crate::actor::Permission;
use crate::interpret::Problem;
use crate::interpret::tables::{Amount, Serves, Service};
use crate::interpret::texts::decimal;
use crate::interpret::values::answers;
use crate::scpi::reply::one_number;
use crate::scpi::{Number, text};
use pilotage_core::Quantity;
use pilotage_evidence::event::Exchange;
use pilotage_plan::program::{Order, Setting};
use pilotage_run::world::{BenchError, Lane};

/// An order as messages.
struct Compiled<'a> {
    instrument: &'a str,
    message: String,
    ask: &'a str,
    confirm: Confirm<'a>,
}

/// What the read-back must be.
enum Confirm<'a> {
    Answer(&'a str),
    Value(&'a Amount, f64),
}

impl<C> Wired<C> {
    pub(super) fn messages_of(&self, order: &Order) -> Vec<(String, String)> {
        match self
            .tables
            .service(&order.point)
            .and_then(|service| compiled(service, &order.to))
        {
            Ok(made) => {
                vec![
                    (made.instrument.to_owned(), made.message),
                    (made.instrument.to_owned(), made.ask.to_owned()),
                ]
            }
            Err(_) => Vec::new(),
        }
    }

    /// Sets and reads back. `permission` is checked directly before the bytes of the command; the read-back needs none.
    pub(super) async fn set(
        &self,
        order: &Order,
        lane: Lane,
        permission: Option<Permission>,
    ) -> Result<Vec<Exchange>, BenchError> {
        let service = self.service(&order.point)?;
        let made = compiled(service, &order.to).map_err(|problem| unserved(&problem))?;
        let mut talk = self.talk(made.instrument, lane)?;
        let done = match talk.ask_permitted(&made.message, permission).await {
            Ok(done) => done,
            Err(error) => return Err(talk.explained(&made.message, error).await),
        };
        talk.no_error(&made.message, &done)?;
        talk.confirm(&made).await?;
        Ok(talk.exchanges)
    }
}

impl Talk<'_> {
    /// A command that an instrument does not understand may cost the whole message, the error query included (IEEE 488.2,
    /// 6.1.6.1.1): then no reply comes, and the queue knows why. Make safe does not wait for that.
    async fn explained(&mut self, message: &str, error: BenchError) -> BenchError {
        let unanswered =
            |exchange: &Exchange| exchange.sent == text::escaped(message.as_bytes()) && exchange.received.is_none();
        if self.lane == Lane::Guard || !error.exchanges.last().is_some_and(unanswered) {
            return error;
        }
        self.exchanges.clone_from(&error.exchanges);
        let query = &self.table.errors;
        let Ok(done) = self.ask(query).await else {
            return error;
        };
        match self.entry(query, &done) {
            Ok(entry) if !entry.is_none() => self.fail(message, &done, |about| about.entries(&[entry])),
            Ok(_) => crate::trouble::after(
                std::mem::take(&mut self.exchanges),
                BenchError {
                    exchanges: Vec::new(),
                    ..error
                },
            ),
            Err(_) => error,
        }
    }

    async fn confirm(&mut self, made: &Compiled<'_>) -> Result<(), BenchError> {
        let done = self.ask(made.ask).await?;
        match made.confirm {
            Confirm::Answer(answer) => {
                if self.read(made.ask, &done, |reply| Ok(answers(reply, answer)))? {
                    return Ok(());
                }
                Err(self.mismatch(made, &done, answer))
            }
            Confirm::Value(amount, wanted_si) => {
                let number = self.read(made.ask, &done, one_number)?;
                // Half a part in 10^12 for decimals that do not come back as the same binary number.
                let near = |si: f64| (si - wanted_si).abs() <= amount.within_si + 0.5e-12 * wanted_si.abs();
                match number {
                    Number::Value(value) if near(amount.unit.to_si(value)) => Ok(()),
                    _ => Err(self.mismatch(made, &done, &wanted(amount, wanted_si))),
                }
            }
        }
    }

    fn mismatch(&mut self, made: &Compiled<'_>, done: &crate::actor::Done, wanted: &str) -> BenchError {
        let expected = format!("{wanted} (after \"{}\")", made.message);
        let got = text::shortened(&done.reply);
        self.fail(made.ask, done, |about| {
            about.error(
                &expected,
                &got,
                "the instrument did not take the setting: check its front panel, its limits and the driver's `send` and `answer`",
            )
        })
    }
}

fn wanted(amount: &Amount, si: f64) -> String {
    let unit = amount.unit.symbol;
    let scale = amount.unit.to_si(1.0) - amount.unit.to_si(0.0);
    format!(
        "{} {unit} ± {} {unit}",
        decimal(si, amount.unit),
        crate::interpret::texts::plain(amount.within_si / scale)
    )
}

fn compiled<'a>(service: &'a Service, to: &Setting) -> Result<Compiled<'a>, Problem> {
    match (&service.serves, to) {
        (Serves::Choose(choices), Setting::Word(word)) => {
            let choice = choices
                .iter()
                .find(|choice| choice.word == *word)
                .ok_or_else(|| not_settable(service, to))?;
            Ok(Compiled {
                instrument: &service.instrument,
                message: choice.message.clone(),
                ask: &choice.ask,
                confirm: Confirm::Answer(&choice.answer),
            })
        }
        (Serves::Amount(amount), Setting::Amount(value, _)) => compiled_amount(service, amount, *value),
        _ => Err(not_settable(service, to)),
    }
}

fn compiled_amount<'a>(service: &'a Service, amount: &'a Amount, value: Quantity) -> Result<Compiled<'a>, Problem> {
    let si = amount.at_instrument_si(service, value)?;
    Ok(Compiled {
        instrument: &service.instrument,
        message: amount.message.replace("{value}", &decimal(si, amount.unit)),
        ask: &amount.ask,
        confirm: Confirm::Value(amount, si),
    })
}

fn not_settable(service: &Service, to: &Setting) -> Problem {
    Problem::new(
        &service.point,
        format!(
            "function `{}` of {} cannot be set to {to:?}",
            service.function, service.instrument
        ),
        "serve the point by a `choose` or `amount` function that has this position",
    )
}
