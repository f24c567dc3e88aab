//! Arming and fetching samples.

use super::open::{Talk, Wired, unserved};
use crate::actor::{Done, Message};
use crate::interpret::Problem;
use crate::interpret::tables::{Capture, Ends, Serves, Service};
use crate::interpret::texts::{joined, plain};
use crate::scpi::Line;
use crate::scpi::number::integer;
use crate::scpi::reply::samples;
use futures_util::future::join_all;
use pilotage_core::RunTime;
use pilotage_evidence::event::{CapturedChannel, Exchange};
use pilotage_plan::program::CaptureSpec;
use pilotage_run::world::{BenchError, Captured, Clock, Lane};
use std::collections::BTreeMap;
use std::time::Duration;

/// Pause between two looks whether a capture has ended.
const BETWEEN_LOOKS: Duration = Duration::from_millis(5);
/// Slowest transfer that is waited for, in bytes a second.
const SLOWEST: u64 = 500_000;

/// A capture that an instrument was armed for.
#[derive(Debug, Clone)]
pub(super) struct Armed {
    name: String,
    first_sample: RunTime,
    points: u64,
}

/// The channels of one instrument, with their place in the request.
type Channels<'a> = Vec<(usize, &'a Service, &'a Capture)>;

/// One channel, fetched.
type Fetched = (usize, CapturedChannel, Vec<i16>);

impl<C: Clock> Wired<C> {
    pub(super) async fn arm_all(&self, capture: &CaptureSpec) -> Result<Vec<Exchange>, BenchError> {
        let groups = self.groups(capture)?;
        let armed = join_all(
            groups
                .iter()
                .map(|(name, channels)| self.arm_one(name, channels, capture)),
        )
        .await;
        let exchanges: Vec<Vec<Exchange>> = armed.into_iter().collect::<Result<_, _>>()?;
        Ok(exchanges.concat())
    }

    pub(super) async fn fetch_all(&self, capture: &CaptureSpec) -> Result<Captured, BenchError> {
        let groups = self.groups(capture)?;
        let fetched = join_all(
            groups
                .iter()
                .map(|(name, channels)| self.fetch_one(name, channels, capture)),
        )
        .await;
        let mut all = Vec::new();
        let mut exchanges = Vec::new();
        for result in fetched {
            let (channels, mut own) = result?;
            all.extend(channels);
            exchanges.append(&mut own);
        }
        all.sort_by_key(|(place, _, _)| *place);
        let (channels, samples) = all.into_iter().map(|(_, channel, samples)| (channel, samples)).unzip();
        Ok(Captured {
            channels,
            samples,
            exchanges,
        })
    }

    fn groups(&self, capture: &CaptureSpec) -> Result<BTreeMap<&str, Channels<'_>>, BenchError> {
        let mut groups: BTreeMap<&str, Channels<'_>> = BTreeMap::new();
        for (place, point) in capture.of.iter().enumerate() {
            let service = self.service(point)?;
            let Serves::Capture(table) = &service.serves else {
                let problem = Problem::new(
                    point,
                    "this point cannot be captured",
                    "serve it by a `capture` function",
                );
                return Err(unserved(&problem));
            };
            groups
                .entry(&service.instrument)
                .or_default()
                .push((place, service, table));
        }
        Ok(groups)
    }

    /// All channels of one instrument are armed by one message, so that they begin at one time.
    async fn arm_one(
        &self,
        name: &str,
        channels: &Channels<'_>,
        capture: &CaptureSpec,
    ) -> Result<Vec<Exchange>, BenchError> {
        let mut talk = self.talk(name, Lane::Work)?;
        let mut commands: Vec<String> = Vec::new();
        let mut points = 0;
        for (_, service, table) in channels {
            points = table
                .points(&service.point, capture)
                .map_err(|problem| unserved(&problem))?;
            for line in &table.arm {
                let line = line
                    .replace("{rate}", &plain(capture.rate))
                    .replace("{points}", &points.to_string());
                if !commands.contains(&line) {
                    commands.push(line);
                }
            }
        }
        let text = joined(commands.iter().map(String::as_str).chain([talk.table.errors.text()]));
        let line = Line::from(text.as_str());
        let done = talk.send(Message::query(&line, talk.table.deadline)).await?;
        talk.no_error(&line, &done)?;
        let armed = Armed {
            name: capture.name.clone(),
            first_sample: done.began,
            points,
        };
        self.armed.borrow_mut().insert(name.to_owned(), armed);
        Ok(talk.exchanges)
    }

    async fn fetch_one(
        &self,
        name: &str,
        channels: &Channels<'_>,
        capture: &CaptureSpec,
    ) -> Result<(Vec<Fetched>, Vec<Exchange>), BenchError> {
        let armed = self
            .armed
            .borrow_mut()
            .remove(name)
            .filter(|armed| armed.name == capture.name)
            .ok_or_else(|| {
                unserved(&Problem::new(
                    &capture.name,
                    format!("{name} was not armed for this capture"),
                    "arm it first",
                ))
            })?;
        let mut talk = self.talk(name, Lane::Work)?;
        let end = armed.first_sample.plus(capture.length);
        self.clock.sleep(end.since(self.clock.now())).await;
        self.wait_for_end(&mut talk, channels[0].2, end).await?;
        let mut fetched = Vec::new();
        for (place, service, table) in channels {
            let (channel, samples) = talk.channel(service, table, &armed, capture).await?;
            fetched.push((*place, channel, samples));
        }
        Ok((fetched, talk.exchanges))
    }

    async fn wait_for_end(&self, talk: &mut Talk<'_>, table: &Capture, end: RunTime) -> Result<(), BenchError> {
        let latest = end.plus(talk.table.deadline);
        loop {
            let done = talk.ask(&table.finished, None).await?;
            if talk.ended(table, &done)? {
                return Ok(());
            }
            if self.clock.now() > latest {
                let got = crate::scpi::text::shortened(&done.reply);
                return Err(talk.fail(&table.finished, &done, |about| {
                    about.error(
                        "the end of the capture",
                        &format!("still {got} long after it"),
                        "check that the instrument was triggered, and the driver's `arm` and `finished`",
                    )
                }));
            }
            self.clock.sleep(BETWEEN_LOOKS).await;
        }
    }
}

impl Talk<'_> {
    fn ended(&mut self, table: &Capture, done: &Done) -> Result<bool, BenchError> {
        self.read(&table.finished, done, |reply| {
            let expected = match table.ends {
                Ends::AtOne => "0 or 1",
                Ends::AtQuietRegister => "the operation condition register (0 to 65535)",
            };
            let refused = || reply.refuse(expected, "check the driver's `finished`");
            table.ends.ended(integer(reply.word()?)?).ok_or_else(refused)
        })
    }

    async fn channel(
        &mut self,
        service: &Service,
        table: &Capture,
        armed: &Armed,
        capture: &CaptureSpec,
    ) -> Result<(CapturedChannel, Vec<i16>), BenchError> {
        let done = self.ask(&table.scaling, None).await?;
        let scaling = self.read(&table.scaling, &done, |reply| reply.numbers(2))?;
        let deadline = self.table.deadline + Duration::from_secs(2 * armed.points / SLOWEST);
        let done = self.ask(&table.fetch, Some(deadline)).await?;
        let samples = self.read(&table.fetch, &done, |reply| {
            let block = reply.block()?;
            if block.len() as u64 == 2 * armed.points {
                return Ok(samples(block));
            }
            let wanted = format!(
                "a block of {} bytes ({} samples of 16 bits)",
                2 * armed.points,
                armed.points
            );
            let mut refused = reply.refuse(&wanted, "check the driver's `arm` and `fetch`");
            refused.got = format!("a block of {} bytes", block.len());
            Err(refused)
        })?;
        self.recycle(done);
        Ok((described(service, table, armed, capture, &scaling), samples))
    }
}

fn described(
    service: &Service,
    table: &Capture,
    armed: &Armed,
    capture: &CaptureSpec,
    scaling: &[f64],
) -> CapturedChannel {
    let ratio = service.ratio;
    let relative = service.ratio_standard.unwrap_or(0.0);
    CapturedChannel {
        point: service.point.clone(),
        unit: table.unit.symbol.to_owned(),
        first_sample: armed.first_sample,
        interval_s: 1.0 / capture.rate,
        samples: armed.points,
        offset: scaling[0] * ratio,
        scale: scaling[1] * ratio,
        gain_standard: Some(root_sum_square(table.gain_standard, relative)),
        offset_standard: Some(table.offset_standard * ratio.abs()),
        time_standard: Some(table.time_standard),
        delay_standard_s: Some(table.delay_standard_s),
    }
}

/// Square root of the sum of squares; `sqrt` is exactly rounded on every platform, `hypot` is not.
fn root_sum_square(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}
