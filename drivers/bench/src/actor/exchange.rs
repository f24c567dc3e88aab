//! One exchange with an instrument.

use super::message::{Done, Message, Outcome};
use crate::link::{Link, Now};
use crate::scpi::{Framer, Line, text};
use crate::trouble::{About, after};
use pilotage_core::RunTime;
use pilotage_evidence::event::Exchange;
use pilotage_run::world::{BenchError, Lane};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::time::Instant;

/// An instrument: its link, and what is known of it.
pub(super) struct Actor {
    pub(super) instrument: Arc<str>,
    pub(super) link: Box<dyn Link>,
    pub(super) framer: Framer,
    pub(super) now: Now,
    pub(super) recovery: Duration,
    pub(super) distrusted: Arc<AtomicBool>,
    /// The reply to the first `*IDN?`.
    pub(super) identity: Option<Vec<u8>>,
    /// Whether `*CLS` took away the power-on bit of the event register.
    pub(super) cleared: bool,
    /// The event register that told of a loss of power.
    pub(super) power_lost: Option<String>,
    /// Counts the markers, so that no two in a row are alike.
    pub(super) marker: u32,
    /// Exchanges of the job in hand.
    pub(super) exchanges: Vec<Exchange>,
}

impl Actor {
    pub(super) fn new(
        instrument: Arc<str>,
        link: Box<dyn Link>,
        now: Now,
        recovery: Duration,
        distrusted: Arc<AtomicBool>,
    ) -> Self {
        Self {
            instrument,
            link,
            framer: Framer::default(),
            now,
            recovery,
            distrusted,
            identity: None,
            cleared: false,
            power_lost: None,
            marker: 0,
            exchanges: Vec::new(),
        }
    }

    pub(super) fn recycle(&mut self, reply: Vec<u8>) {
        self.framer.recycle(reply);
    }

    /// Brings one message to its outcome. `wanted` says whether anybody still waits for it.
    pub(super) async fn perform(
        &mut self,
        lane: Lane,
        message: &Message,
        wanted: &(dyn Fn() -> bool + Sync),
    ) -> Outcome {
        let result = self.permitted(lane, message, wanted).await;
        let exchanges = std::mem::take(&mut self.exchanges);
        match result {
            Ok(done) => Ok((done, exchanges)),
            Err(error) => Err(after(exchanges, error)),
        }
    }

    async fn permitted(
        &mut self,
        lane: Lane,
        message: &Message,
        wanted: &(dyn Fn() -> bool + Sync),
    ) -> Result<Done, BenchError> {
        let text = message.line.text();
        self.make_sure(text).await?;
        self.still_on(lane, text)?;
        if !wanted() {
            // Whoever wanted it went away while the link was made sure.
            return Err(self.gone(text));
        }
        if let Some(permission) = &message.permission
            && let Err(withheld) = permission((self.now)())
        {
            return Err(self.about(text, (self.now)()).withheld(&withheld));
        }
        let done = self.exchange(message).await?;
        self.cleared |= text.starts_with("*CLS");
        if text == "*IDN?" && self.identity.is_none() {
            self.identity = Some(done.reply.clone());
        }
        Ok(done)
    }

    /// Sends and waits for the answer. Any failure leaves the link distrusted.
    pub(super) async fn exchange(&mut self, message: &Message) -> Result<Done, BenchError> {
        let result = self.exchange_trusting(message).await;
        if result.is_err() {
            self.distrusted.store(true, Ordering::SeqCst);
        }
        result
    }

    async fn exchange_trusting(&mut self, message: &Message) -> Result<Done, BenchError> {
        let began = (self.now)();
        let deadline = Instant::now() + message.deadline;
        let text = message.line.text();
        self.send(&message.line, began, deadline).await?;
        if !message.answered {
            let ended = (self.now)();
            self.note(text, None, began, ended);
            return Ok(Done {
                reply: Vec::new(),
                began,
                ended,
            });
        }
        let reply = self.answer(message, began, deadline).await?;
        let ended = (self.now)();
        self.note(text, Some(&reply), began, ended);
        self.nothing_more(text, began)?;
        Ok(Done { reply, began, ended })
    }

    pub(super) async fn send(&mut self, line: &Line, began: RunTime, deadline: Instant) -> Result<(), BenchError> {
        let sent = self.link.send(line.bytes(), deadline).await;
        sent.map_err(|error| {
            self.note(line.text(), None, began, (self.now)());
            self.about(line.text(), began).not_sent(&error)
        })
    }

    pub(super) async fn answer(
        &mut self,
        message: &Message,
        began: RunTime,
        deadline: Instant,
    ) -> Result<Vec<u8>, BenchError> {
        let text = message.line.text();
        loop {
            let failed = match self.framer.message() {
                Ok(Some(reply)) => return Ok(reply),
                Ok(None) => match self.link.receive(&mut self.framer, deadline).await {
                    Ok(()) => continue,
                    Err(error) => {
                        let partial = self.framer.partial();
                        self.about(text, began)
                            .no_reply(&error, partial, self.framer.block_missing(), message.deadline)
                    }
                },
                Err(error) => self.about(text, began).frame(error),
            };
            let partial = self.framer.partial().to_vec();
            self.framer.reset();
            let came = (!partial.is_empty()).then_some(partial.as_slice());
            self.note(text, came, began, (self.now)());
            return Err(failed);
        }
    }

    /// More bytes than one reply: which of them is the answer cannot be said, so none is.
    fn nothing_more(&mut self, text: &str, began: RunTime) -> Result<(), BenchError> {
        if self.framer.partial().is_empty() {
            return Ok(());
        }
        let more = text::hex_and_text(self.framer.partial());
        self.framer.reset();
        Err(self.about(text, began).error(
            "one reply",
            &format!("more than one reply came at once; after the first: {more}"),
            "no value is taken; check that no other program uses the link and that the driver's query asks one thing",
        ))
    }

    /// After a loss of power no work goes on; make safe does, and is read back as ever.
    fn still_on(&self, lane: Lane, next: &str) -> Result<(), BenchError> {
        match &self.power_lost {
            Some(register) if lane == Lane::Work => Err(self.about("*ESR?", (self.now)()).error(
                &format!("an event register without its power-on bit (128) (before \"{next}\" could be sent)"),
                register,
                "the instrument was switched off and on and lost its settings: start the run again",
            )),
            _ => Ok(()),
        }
    }

    fn gone(&self, text: &str) -> BenchError {
        self.about(text, (self.now)()).error(
            "someone who waits for the outcome",
            "nobody; nothing was sent",
            "nothing is to be mended",
        )
    }

    pub(super) fn about<'a>(&'a self, command: &'a str, began: RunTime) -> About<'a> {
        About {
            instrument: &self.instrument,
            command,
            elapsed: (self.now)().since(began),
        }
    }

    pub(super) fn note(&mut self, sent: &str, received: Option<&[u8]>, began: RunTime, ended: RunTime) {
        self.exchanges.push(Exchange {
            instrument: self.instrument.to_string(),
            sent: text::escaped(sent.as_bytes()),
            received: received.map(|reply| text::recorded(reply, self.framer.block_hashes())),
            began,
            ended,
        });
    }
}
