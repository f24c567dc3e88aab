//! The stalls and wrong answers that users of other tools report, each provoked; on real sockets and on a paused clock.

#![allow(clippy::unwrap_used, clippy::float_cmp)]

mod answers;
mod faults;
mod turns;

use super::{Handle, Message};
use crate::link::{AtOnce, MemoryLink, Simple, Tape, TcpLink, Trace};
use crate::testing::{Served, TestClock};
use pilotage_run::world::{BenchError, Lane};
use std::sync::Arc;
use std::time::Duration;

const SECOND: Duration = Duration::from_secs(1);
const WORK: Lane = Lane::Work;

fn ms(count: u64) -> Duration {
    Duration::from_millis(count)
}

async fn over_tcp(served: &Served, clock: &Arc<TestClock>) -> Handle {
    let link = TcpLink::open("127.0.0.1", served.port, SECOND).await.unwrap();
    let handle = Handle::new("desk", Box::new(link), clock.reader(), SECOND);
    ask(&handle, "*IDN?", SECOND).await.unwrap();
    handle
}

fn in_memory(device: impl Simple + 'static, clock: &Arc<TestClock>) -> (Handle, Tape) {
    let link = MemoryLink::new(Box::new(AtOnce::new(device)), clock.reader());
    let (link, tape) = Trace::new(link, clock.reader());
    (Handle::new("desk", Box::new(link), clock.reader(), SECOND), tape)
}

async fn ask(handle: &Handle, text: &str, deadline: Duration) -> Result<String, BenchError> {
    let (done, _) = handle.exchange(WORK, Message::query(text, deadline)).await?;
    Ok(String::from_utf8(done.reply).unwrap())
}
