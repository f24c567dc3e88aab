//! A link that is not trusted any more is made sure: nothing of an earlier exchange may be taken for the next answer.

use super::exchange::Actor;
use super::message::Message;
use crate::link::Reopened;
use crate::scpi::{Element, Names, Number, Reply, text};
use pilotage_run::world::BenchError;
use std::sync::atomic::Ordering;
use tokio::time::Instant;

/// How many replies may be discarded while looking for a marker's answer.
const MOST_DISCARDED: u32 = 64;

impl Actor {
    /// Returns when nothing of an earlier exchange can be taken for the next answer.
    pub(super) async fn make_sure(&mut self, next: &str) -> Result<(), BenchError> {
        self.notice_unasked();
        if !self.distrusted.load(Ordering::SeqCst) {
            return Ok(());
        }
        let began = (self.now)();
        match self.recover().await {
            Ok(()) => {
                self.distrusted.store(false, Ordering::SeqCst);
                Ok(())
            }
            Err(mut error) => {
                error.trouble.expected = format!("{} (before \"{next}\" could be sent)", error.trouble.expected);
                error.trouble.elapsed_s = (self.now)().since(began).as_secs_f64();
                Err(error)
            }
        }
    }

    /// Bytes that nobody asked for, or a closed connection, are noticed before the next question is sent.
    fn notice_unasked(&mut self) {
        let result = self.link.arrived(&mut self.framer);
        if result.is_err() || !self.framer.partial().is_empty() {
            self.distrusted.store(true, Ordering::SeqCst);
        }
        if !self.framer.partial().is_empty() {
            let came = self.framer.partial().to_vec();
            let at = (self.now)();
            self.note("", Some(&came), at, at);
            self.framer.reset();
        }
    }

    async fn recover(&mut self) -> Result<(), BenchError> {
        let began = (self.now)();
        self.framer.reset();
        let reopened = self.link.reopen(Instant::now() + self.recovery).await;
        match reopened {
            Ok(Reopened::Fresh) => {}
            Ok(Reopened::Same) => self.resynchronise().await?,
            Err(error) => {
                return Err(self
                    .about("", began)
                    .error(&self.reopened_text(), &error.to_string(), error.mend()));
            }
        }
        self.same_instrument().await?;
        self.notice_power_on().await
    }

    fn reopened_text(&self) -> String {
        format!("a connection to {} made again", self.link.address())
    }

    /// Sends a marker that only itself can answer: two numbers written to and read from the event enable register (IEEE
    /// 488.2, 10.10 and 10.11). Everything before its answer belongs to earlier questions and is discarded.
    async fn resynchronise(&mut self) -> Result<(), BenchError> {
        self.marker += 1;
        let (first, second) = (self.marker % 127 + 1, (self.marker * 53) % 127 + 1);
        let marker = Message::query(
            format!("*ESE {first};*ESE?;*ESE {second};*ESE?;*ESE 0").as_str(),
            self.recovery,
        );
        let began = (self.now)();
        let deadline = Instant::now() + self.recovery;
        self.send(&marker.line, began, deadline).await?;
        for _ in 0..MOST_DISCARDED {
            let reply = self.answer(&marker, began, deadline).await?;
            self.note(marker.line.text(), Some(&reply), began, (self.now)());
            if answers_marker(&reply, first, second) && self.framer.partial().is_empty() {
                return Ok(());
            }
        }
        Err(self.about(marker.line.text(), began).error(
            &format!("{first};{second}"),
            "only other replies",
            "switch the instrument off and on; its replies are out of step",
        ))
    }

    async fn same_instrument(&mut self) -> Result<(), BenchError> {
        let began = (self.now)();
        let done = self.exchange(&Message::query("*IDN?", self.recovery)).await?;
        let wrong = match &self.identity {
            Some(known) => *known != done.reply,
            None => Names::parse(&done.reply).is_err(),
        };
        if !wrong {
            return Ok(());
        }
        let known = self
            .identity
            .as_deref()
            .map_or_else(|| "four fields".to_owned(), text::shortened);
        Err(self.about("*IDN?", began).error(
            &known,
            &text::shortened(&done.reply),
            "another instrument answers than before: check address and cabling",
        ))
    }

    /// The power-on bit (IEEE 488.2, 11.5.1.1: bit 7 of the event register) says that all settings were lost.
    async fn notice_power_on(&mut self) -> Result<(), BenchError> {
        if !self.cleared {
            return Ok(());
        }
        let done = self.exchange(&Message::query("*ESR?", self.recovery)).await?;
        let register = Reply::parse(&done.reply).and_then(|reply| reply.number());
        match register.map(Number::value) {
            Ok(Some(bits)) if bits >= 0.0 && (bits as u32) & 128 == 0 => {}
            _ => self.power_lost = Some(text::shortened(&done.reply)),
        }
        Ok(())
    }
}

/// Whether a reply is the two numbers of a marker, as two response units.
fn answers_marker(reply: &[u8], first: u32, second: u32) -> bool {
    let Ok(reply) = Reply::parse(reply) else {
        return false;
    };
    let number = |unit: &Vec<Element<'_>>| match unit.as_slice() {
        [element] => element.number().ok()?.value(),
        _ => None,
    };
    match reply.units() {
        [a, b] => number(a) == Some(f64::from(first)) && number(b) == Some(f64::from(second)),
        _ => false,
    }
}
