//! Setting a point and reading it back. A command that was sent is not yet a command that was done.

use super::open::{Talk, Wired, unserved};
use crate::actor::{Done, Message, Permission};
use crate::interpret::Problem;
use crate::interpret::orders::{Compiled, Confirm};
use crate::interpret::values::answers;
use crate::scpi::reply::one_number;
use crate::scpi::{Line, Number, text};
use pilotage_evidence::event::Exchange;
use pilotage_plan::program::Order;
use pilotage_run::world::{BenchError, Lane};

impl<C> Wired<C> {
    /// The texts of an order as they will be sent. None where it is no order of the program: then nothing will be.
    pub(super) fn messages_of(&self, order: &Order) -> Vec<(String, String)> {
        let lines = self
            .orders
            .get(order)
            .map(|made| [&made.message, &made.ask].map(|line| (made, line)));
        let text = |(made, line): (&Compiled, &Line)| (made.instrument.clone(), line.text().to_owned());
        lines.into_iter().flatten().map(text).collect()
    }

    /// Sets and reads back: the bytes were made before the run, here they are looked up. `permission` is checked directly
    /// before the bytes of the command; the read-back needs none.
    pub(super) async fn set(
        &self,
        order: &Order,
        lane: Lane,
        permission: Option<Permission>,
    ) -> Result<Vec<Exchange>, BenchError> {
        let made = self.orders.get(order).ok_or_else(|| not_of_the_program(order))?;
        let mut talk = self.talk(&made.instrument, lane)?;
        let message = Message::query(&made.message, talk.table.deadline);
        let done = match talk.send(Message { permission, ..message }).await {
            Ok(done) => done,
            Err(error) => return Err(talk.explained(&made.message, error).await),
        };
        talk.no_error(&made.message, &done)?;
        talk.confirm(made).await?;
        Ok(talk.exchanges)
    }
}

fn not_of_the_program(order: &Order) -> BenchError {
    unserved(&Problem::new(
        &order.point,
        format!("an order that was not compiled before the run: {:?}", order.to),
        "only orders of the program are sent; report this",
    ))
}

impl Talk<'_> {
    /// A command that an instrument does not understand may cost the whole message, the error query included
    /// (IEEE 488.2, 6.1.6): then no reply comes, and the queue knows why. Make safe does not wait for that.
    async fn explained(&mut self, message: &Line, error: BenchError) -> BenchError {
        let sent = text::escaped(message.text().as_bytes());
        let unanswered = |exchange: &Exchange| exchange.sent == sent && exchange.received.is_none();
        if self.lane == Lane::Guard || !error.exchanges.last().is_some_and(unanswered) {
            return error;
        }
        self.exchanges.clone_from(&error.exchanges);
        let query = &self.table.errors;
        let Ok(done) = self.send(Message::query(query, self.table.deadline)).await else {
            return error;
        };
        match self.entry(query, &done) {
            Ok(entry) if !entry.is_none() => {
                let mut sent = self.asked.borrow_mut().looked();
                sent.retain(|line| line != query);
                self.found(message, &done, &sent, &[entry])
            }
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

    /// A read-back that answers as ordered tells that its query left no error; the step's end looks all the same.
    async fn confirm(&mut self, made: &Compiled) -> Result<(), BenchError> {
        let done = self.send(Message::query(&made.ask, self.table.deadline)).await?;
        let confirmed = match &made.confirm {
            Confirm::Answer(answer) => self.read(&made.ask, &done, |reply| Ok(answers(reply, answer)))?,
            Confirm::Value {
                wanted_si,
                within_si,
                unit,
            } => {
                let number = self.read(&made.ask, &done, one_number)?;
                // Half a part in 10^12 for decimals that do not come back as the same binary number.
                let near = |si: f64| (si - wanted_si).abs() <= within_si + 0.5e-12 * wanted_si.abs();
                matches!(number, Number::Value(value) if near(unit.to_si(value)))
            }
        };
        if confirmed {
            return Ok(());
        }
        Err(self.mismatch(made, &done))
    }

    fn mismatch(&mut self, made: &Compiled, done: &Done) -> BenchError {
        let expected = format!("{} (after \"{}\")", made.confirm.words(), made.message.text());
        let got = text::shortened(&done.reply);
        self.fail(&made.ask, done, |about| {
            about.error(
                &expected,
                &got,
                "the instrument did not take the setting: check its front panel, its limits and the driver's `send` and `answer`",
            )
        })
    }
}
