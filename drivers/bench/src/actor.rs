//! One task for each instrument: it alone owns the link, so exchanges never mix.
//!
//! Two lanes wait for it: `Lane::Guard` before `Lane::Work`. Whoever waits may go away: an exchange that has begun is ended
//! by the task, one that has not begun is never sent. After a time-out, a damaged reply or bytes that nobody asked for, the
//! link is not trusted: it is connected again, or a marker is sent and everything before its unique answer is discarded; then
//! `*IDN?` must answer as before. So a late reply is never taken for another question's.
//!
//! The task is `Send` and started with `tokio::spawn`: it runs on a current-thread runtime (paused or not) without a
//! `LocalSet`, and on a multi-thread runtime. The runner's own futures need not be `Send`.

use crate::link::{Link, Now, Reopened};
use crate::scpi::{Framer, Names, Reply, text};
use crate::trouble::{About, after};
use pilotage_core::RunTime;
use pilotage_evidence::event::Exchange;
use pilotage_run::permit::Withheld;
use pilotage_run::world::{BenchError, Lane};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::sync::{mpsc, oneshot};
use tokio::time::Instant;

#[cfg(test)]
mod tests;

/// Checked by the task directly before the first byte.
pub type Permission = Box<dyn Fn(RunTime) -> Result<(), Withheld> + Send + Sync>;

/// How many replies may be discarded while looking for a marker's answer.
const MOST_DISCARDED: u32 = 64;

/// One message to an instrument.
pub struct Message {
    /// The text, without terminator; several commands may be joined by `;`.
    pub text: String,
    /// Whether it is answered.
    pub answered: bool,
    /// How long sending and answer may take.
    pub deadline: Duration,
    /// For a message that can energise.
    pub permission: Option<Permission>,
}

impl Message {
    /// A message that is answered.
    pub fn query(text: &str, deadline: Duration) -> Self {
        Self {
            text: text.to_owned(),
            answered: true,
            deadline,
            permission: None,
        }
    }

    /// A message that is not answered.
    pub fn write(text: &str, deadline: Duration) -> Self {
        Self {
            answered: false,
            ..Self::query(text, deadline)
        }
    }
}

/// A message that went through.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Done {
    /// The reply without its terminator; empty where none was expected.
    pub reply: Vec<u8>,
    /// First byte sent.
    pub began: RunTime,
    /// Last byte received, or sent where nothing is answered.
    pub ended: RunTime,
}

/// A message's outcome: the result, and what was exchanged for it (recovery before it included).
pub type Outcome = Result<(Done, Vec<Exchange>), BenchError>;

struct Job {
    message: Message,
    outcome: oneshot::Sender<Outcome>,
}

/// The way to an instrument's task. The task ends when the last handle is gone.
#[derive(Clone)]
pub struct Handle {
    instrument: Arc<str>,
    guard: mpsc::UnboundedSender<Job>,
    work: mpsc::UnboundedSender<Job>,
    distrusted: Arc<AtomicBool>,
}

impl Handle {
    /// Starts an instrument's task on the current tokio runtime. `recovery` bounds each phase of making the link usable again.
    pub fn start(instrument: &str, link: Box<dyn Link>, now: Now, recovery: Duration) -> Self {
        let (guard, guard_jobs) = mpsc::unbounded_channel();
        let (work, work_jobs) = mpsc::unbounded_channel();
        let distrusted = Arc::new(AtomicBool::new(false));
        let actor = Actor {
            instrument: instrument.into(),
            link,
            framer: Framer::default(),
            now,
            recovery,
            distrusted: Arc::clone(&distrusted),
            identity: None,
            cleared: false,
            marker: 0,
            exchanges: Vec::new(),
        };
        tokio::spawn(actor.serve(guard_jobs, work_jobs));
        Self {
            instrument: instrument.into(),
            guard,
            work,
            distrusted,
        }
    }

    /// The instrument's name within the bench.
    pub fn instrument(&self) -> &str {
        &self.instrument
    }

    /// Sends a message and waits for its outcome. May be cancelled at any time.
    pub async fn exchange(&self, lane: Lane, message: Message) -> Outcome {
        let (outcome, waiting) = oneshot::channel();
        let about_text = message.text.clone();
        let queue = match lane {
            Lane::Guard => &self.guard,
            Lane::Work => &self.work,
        };
        let sent = queue.send(Job { message, outcome });
        match (sent, waiting.await) {
            (Ok(()), Ok(outcome)) => outcome,
            _ => Err(About {
                instrument: &self.instrument,
                command: &about_text,
                elapsed: Duration::ZERO,
            }
            .error("the instrument's task", "it has ended", "start the run again")),
        }
    }

    /// Says that a reply made no sense: question and answer may be out of step, so the link is made sure before the next.
    pub fn distrust(&self) {
        self.distrusted.store(true, Ordering::SeqCst);
    }
}

struct Actor {
    instrument: Arc<str>,
    link: Box<dyn Link>,
    framer: Framer,
    now: Now,
    recovery: Duration,
    distrusted: Arc<AtomicBool>,
    /// The reply to the first `*IDN?`.
    identity: Option<Vec<u8>>,
    /// Whether `*CLS` took away the power-on bit of the event register.
    cleared: bool,
    /// Counts the markers, so that no two in a row are alike.
    marker: u32,
    /// Exchanges of the job in hand.
    exchanges: Vec<Exchange>,
}

impl Actor {
    async fn serve(mut self, mut guard: mpsc::UnboundedReceiver<Job>, mut work: mpsc::UnboundedReceiver<Job>) {
        loop {
            let job = tokio::select! {
                biased;
                Some(job) = guard.recv() => job,
                Some(job) = work.recv() => job,
                else => return,
            };
            if job.outcome.is_closed() {
                continue;
            }
            let result = self.perform(&job.message).await;
            let exchanges = std::mem::take(&mut self.exchanges);
            let outcome = match result {
                Ok(done) => Ok((done, exchanges)),
                Err(error) => Err(after(exchanges, error)),
            };
            // The waiter may be gone; the exchange was brought to its end all the same.
            let _ = job.outcome.send(outcome);
        }
    }

    async fn perform(&mut self, message: &Message) -> Result<Done, BenchError> {
        self.make_sure(&message.text).await?;
        if let Some(permission) = &message.permission
            && let Err(withheld) = permission((self.now)())
        {
            return Err(self.about(&message.text, (self.now)()).withheld(&withheld));
        }
        let done = self.exchange(message).await?;
        self.cleared |= message.text.starts_with("*CLS");
        if message.text == "*IDN?" && self.identity.is_none() {
            self.identity = Some(done.reply.clone());
        }
        Ok(done)
    }

    /// Returns when nothing of an earlier exchange can be taken for the next answer.
    async fn make_sure(&mut self, next: &str) -> Result<(), BenchError> {
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

    /// Sends and waits for the answer. Any failure leaves the link distrusted.
    async fn exchange(&mut self, message: &Message) -> Result<Done, BenchError> {
        let result = self.exchange_trusting(message).await;
        if result.is_err() {
            self.distrusted.store(true, Ordering::SeqCst);
        }
        result
    }

    async fn exchange_trusting(&mut self, message: &Message) -> Result<Done, BenchError> {
        let began = (self.now)();
        let deadline = Instant::now() + message.deadline;
        self.send(&message.text, began, deadline).await?;
        if !message.answered {
            let ended = (self.now)();
            self.note(&message.text, None, began, ended);
            return Ok(Done {
                reply: Vec::new(),
                began,
                ended,
            });
        }
        let reply = self.answer(message, began, deadline).await?;
        let ended = (self.now)();
        self.note(&message.text, Some(&reply), began, ended);
        self.nothing_more(&message.text, began)?;
        Ok(Done { reply, began, ended })
    }

    async fn send(&mut self, text: &str, began: RunTime, deadline: Instant) -> Result<(), BenchError> {
        let mut bytes = Vec::with_capacity(text.len() + 1);
        bytes.extend_from_slice(text.as_bytes());
        bytes.push(b'\n');
        let sent = self.link.send(&bytes, deadline).await;
        sent.map_err(|error| {
            self.note(text, None, began, (self.now)());
            self.about(text, began).not_sent(&error)
        })
    }

    async fn answer(&mut self, message: &Message, began: RunTime, deadline: Instant) -> Result<Vec<u8>, BenchError> {
        loop {
            let failed = match self.framer.message() {
                Ok(Some(reply)) => return Ok(reply),
                Ok(None) => match self.link.receive(&mut self.framer, deadline).await {
                    Ok(()) => continue,
                    Err(error) => {
                        let partial = self.framer.partial();
                        self.about(&message.text, began).no_reply(
                            &error,
                            partial,
                            self.framer.block_missing(),
                            message.deadline,
                        )
                    }
                },
                Err(error) => self.about(&message.text, began).frame(error),
            };
            let partial = self.framer.partial().to_vec();
            self.framer.reset();
            let came = (!partial.is_empty()).then_some(partial.as_slice());
            self.note(&message.text, came, began, (self.now)());
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
        self.still_on().await
    }

    fn reopened_text(&self) -> String {
        format!("a connection to {} made again", self.link.address())
    }

    /// Sends a marker that only itself can answer: two numbers written to and read from the event enable register (IEEE
    /// 488.2, 10.10 and 10.11). Everything before its answer belongs to earlier questions and is discarded.
    async fn resynchronise(&mut self) -> Result<(), BenchError> {
        self.marker += 1;
        let (first, second) = (self.marker % 127 + 1, (self.marker * 53) % 127 + 1);
        let marker = Message::query(&format!("*ESE {first};*ESE?;*ESE {second};*ESE?;*ESE 0"), self.recovery);
        let began = (self.now)();
        let deadline = Instant::now() + self.recovery;
        self.send(&marker.text, began, deadline).await?;
        for _ in 0..MOST_DISCARDED {
            let reply = self.answer(&marker, began, deadline).await?;
            self.note(&marker.text, Some(&reply), began, (self.now)());
            if answers_marker(&reply, first, second) && self.framer.partial().is_empty() {
                return Ok(());
            }
        }
        Err(self.about(&marker.text, began).error(
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

    /// The power-on bit (IEEE 488.2, 11.5.1.1.2: bit 7 of the event register) says that all settings were lost.
    async fn still_on(&mut self) -> Result<(), BenchError> {
        if !self.cleared {
            return Ok(());
        }
        let began = (self.now)();
        let done = self.exchange(&Message::query("*ESR?", self.recovery)).await?;
        let register = Reply::parse(&done.reply).and_then(|reply| reply.number());
        match register.map(crate::scpi::Number::value) {
            Ok(Some(bits)) if bits >= 0.0 && (bits as u32) & 128 == 0 => Ok(()),
            _ => Err(self.about("*ESR?", began).error(
                "an event register without its power-on bit (128)",
                &text::shortened(&done.reply),
                "the instrument was switched off and on and lost its settings: start the run again",
            )),
        }
    }

    fn about<'a>(&'a self, command: &'a str, began: RunTime) -> About<'a> {
        About {
            instrument: &self.instrument,
            command,
            elapsed: (self.now)().since(began),
        }
    }

    fn note(&mut self, sent: &str, received: Option<&[u8]>, began: RunTime, ended: RunTime) {
        self.exchanges.push(Exchange {
            instrument: self.instrument.to_string(),
            sent: text::escaped(sent.as_bytes()),
            received: received.map(text::recorded),
            began,
            ended,
        });
    }
}

/// Whether a reply is the two numbers of a marker, as two response units.
fn answers_marker(reply: &[u8], first: u32, second: u32) -> bool {
    let Ok(reply) = Reply::parse(reply) else {
        return false;
    };
    let number = |unit: &Vec<crate::scpi::Element<'_>>| match unit.as_slice() {
        [element] => element.number().ok()?.value(),
        _ => None,
    };
    match reply.units() {
        [a, b] => number(a) == Some(f64::from(first)) && number(b) == Some(f64::from(second)),
        _ => false,
    }
}
