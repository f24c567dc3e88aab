//! The virtual bench over TCP on this machine's loopback address: lines of SCPI in, replies out, on a real clock that a pace
//! scales. The virtual person answers on a port of its own, one JSON object a line.

use crate::failure::Failure;
use crate::wiring::clock::TokioClock;
use crate::wiring::frames;
use crate::wiring::interrupt;
use pilotage_core::RunTime;
use pilotage_run::world::Clock;
use pilotage_virtual::instruments::{Outcome, Responder, bench};
use pilotage_virtual::person::{Person, Wanted};
use pilotage_virtual::physics::{Setup, SharedWorld};
use serde::{Deserialize, Serialize};
use std::rc::Rc;
use std::sync::{Arc, PoisonError};
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Mutex as Turn;

/// The longest line that is taken; a longer one ends the connection.
const LONGEST_LINE: usize = 1 << 20;

/// One port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Served {
    /// Name of the instrument, or `person`.
    pub name: String,
    /// Its port.
    pub port: u16,
    /// Whether it is the virtual person.
    pub person: bool,
}

/// A question to the virtual person, as it goes over the socket.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asked {
    /// What the person is asked to do: `lock_isolator`, `press_release` …; nothing for a plain question.
    pub does: Option<String>,
    /// The prompt.
    pub prompt: String,
    /// Words that may be answered, where words are wanted.
    pub choices: Vec<String>,
    /// Those that pass.
    pub passes: Vec<String>,
    /// Whether a quantity is wanted.
    pub quantity: bool,
}

/// The virtual person's answer; `None` is a refusal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answered {
    /// The answer.
    pub answer: Option<String>,
}

/// A bench that listens.
pub struct Server {
    /// What is served where.
    pub served: Vec<Served>,
    instruments: Vec<(TcpListener, Box<dyn Responder + Send>)>,
    person: (TcpListener, Person, SharedWorld),
    clock: TokioClock,
}

impl Server {
    /// Takes the ports: one an instrument from `first` on, in the order of the bench file, then one for the person.
    pub async fn bind(setup: &Setup, seed: u64, pace: f64, first: u16) -> Result<Self, Failure> {
        let interface = frames::OfBench::shipped(setup.item)?;
        let world = frames::world(setup, interface.as_ref(), None)?;
        let mut all = bench(&world, seed);
        if let Some(interface) = &interface {
            all.push((interface.name().to_owned(), Box::new(frames::interface(&world))));
        }
        let mut served = Vec::new();
        let mut instruments = Vec::new();
        for (offset, (name, instrument)) in all.into_iter().enumerate() {
            let (listener, port) = listen(first, offset).await?;
            served.push(Served {
                name,
                port,
                person: false,
            });
            instruments.push((listener, instrument));
        }
        let (listener, port) = listen(first, instruments.len()).await?;
        served.push(Served {
            name: "person".to_owned(),
            port,
            person: true,
        });
        let person = (listener, Person::new(setup), world);
        Ok(Self {
            served,
            instruments,
            person,
            clock: TokioClock::with_pace(pace),
        })
    }

    /// Serves until interrupted.
    pub async fn run(self) {
        let clock = self.clock;
        for (listener, instrument) in self.instruments {
            let instrument = Rc::new(Turn::new(instrument));
            tokio::task::spawn_local(async move {
                while let Ok((stream, _)) = listener.accept().await {
                    tokio::task::spawn_local(talk(stream, Rc::clone(&instrument), clock));
                }
            });
        }
        let (listener, person, world) = self.person;
        let person = Rc::new(Turn::new(person));
        tokio::task::spawn_local(async move {
            while let Ok((stream, _)) = listener.accept().await {
                tokio::task::spawn_local(answer(stream, Rc::clone(&person), Arc::clone(&world), clock));
            }
        });
        interrupt::pressed_in_real_time().await;
    }
}

async fn listen(first: u16, offset: usize) -> Result<(TcpListener, u16), Failure> {
    let port = if first == 0 {
        0
    } else {
        first.saturating_add(u16::try_from(offset).unwrap_or(u16::MAX))
    };
    let wrong = |error: std::io::Error| {
        Failure::broken(
            format!("port {port} of 127.0.0.1: {error}"),
            "give another first port with --port, or 0 for any",
        )
    };
    let listener = TcpListener::bind(("127.0.0.1", port)).await.map_err(wrong)?;
    let port = listener.local_addr().map_err(wrong)?.port();
    Ok((listener, port))
}

/// One client of one instrument. Several may be connected; their lines take turns.
async fn talk(stream: TcpStream, instrument: Rc<Turn<Box<dyn Responder + Send>>>, clock: TokioClock) {
    // Without this a reply waits up to 40 ms for the acknowledgement of the one before.
    if stream.set_nodelay(true).is_err() {
        return;
    }
    let (read, mut write) = stream.into_split();
    let mut lines = BufReader::new(read);
    let mut line = Vec::new();
    while let Ok(true) = next_line(&mut lines, &mut line).await {
        let reply = execute(&instrument, &line, clock).await;
        if !reply.is_empty() && write.write_all(&reply).await.is_err() {
            return;
        }
    }
}

/// The next line without its end; false at the end of the stream.
async fn next_line(lines: &mut BufReader<tokio::net::tcp::OwnedReadHalf>, line: &mut Vec<u8>) -> std::io::Result<bool> {
    line.clear();
    let taken = lines.read_until(b'\n', line).await?;
    if taken == 0 || line.len() > LONGEST_LINE || line.pop() != Some(b'\n') {
        // A half line at the end of a stream is never executed: it could be a valid wrong command.
        return Ok(false);
    }
    if line.last() == Some(&b'\r') {
        line.pop();
    }
    Ok(true)
}

async fn execute(instrument: &Turn<Box<dyn Responder + Send>>, line: &[u8], clock: TokioClock) -> Vec<u8> {
    let mut instrument = instrument.lock().await;
    let mut ready: RunTime = instrument.respond(line, clock.now()).ready;
    loop {
        clock.sleep_until(ready).await;
        // A long order comes in parts that are due at once: between them the other instruments get their turn.
        tokio::task::yield_now().await;
        match instrument.finish(clock.now()) {
            Outcome::Pending(pending) => ready = pending.ready,
            Outcome::Done(bytes) => return bytes,
        }
    }
}

async fn answer(stream: TcpStream, person: Rc<Turn<Person>>, world: SharedWorld, clock: TokioClock) {
    let (read, mut write) = stream.into_split();
    let mut lines = BufReader::new(read);
    let mut line = Vec::new();
    while let Ok(true) = next_line(&mut lines, &mut line).await {
        let Ok(asked) = serde_json::from_slice::<Asked>(&line) else {
            return;
        };
        let answered = deed(&asked, &person, &world, clock).await;
        let Ok(mut reply) = serde_json::to_vec(&answered) else {
            return;
        };
        reply.push(b'\n');
        if write.write_all(&reply).await.is_err() {
            return;
        }
    }
}

async fn deed(asked: &Asked, person: &Turn<Person>, world: &SharedWorld, clock: TokioClock) -> Answered {
    let mut person = person.lock().await;
    let wanted = match (asked.choices.is_empty(), asked.quantity) {
        (false, _) => Wanted::Word {
            choices: &asked.choices,
            passes: &asked.passes,
        },
        (true, true) => Wanted::Quantity,
        (true, false) => Wanted::YesNo,
    };
    let deed = person.answer(asked.does.as_deref(), &asked.prompt, wanted);
    clock.sleep(deed.after).await;
    let mut world = world.lock().unwrap_or_else(PoisonError::into_inner);
    Answered {
        answer: deed.done(&mut world, clock.now()),
    }
}
