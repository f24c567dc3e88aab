//! `run`: a sequence on a bench that is linked over TCP. Only benches on this machine are energised.

use super::Context;
use super::rehearse::{close, finish, keep_trace, must_be_free, start_record};
use crate::args::Run;
use crate::failure::Failure;
use crate::fitting::{Fitted, Request, load};
use crate::folder::{Lines, Recorder};
use crate::forecast::Forecast;
use crate::needs::Needs;
use crate::people::{AtTerminal, OverTcp};
use crate::rehearsal::wired;
use crate::wiring::clock::TokioClock;
use crate::wiring::tracefile::{self, Head};
use crate::wiring::traffic::{Links, Tapes, Wishes, now_of};
use pilotage_bench::frames::{Interface, socket};
use pilotage_bench::link::{MemoryLink, Now, TcpLink};
use pilotage_core::frames::Life;
use pilotage_evidence::heading::Mode;
use pilotage_plan::files::bench::LinkText;
use pilotage_plan::source::Sp;
use pilotage_run::options::{Options, Outcome, StopProof};
use pilotage_run::world::{Journal, People};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

/// The interface of the virtual bench.
const IN_MEMORY: &str = "virtual";

const NOT_YET: &str = "until a watchdog process can switch a bench off when this program dies, only benches on this machine \
                       (127.0.0.1, ::1) are energised; serve a virtual one with `pilotage bench serve`";

/// Runs, seals, reports. The exit code is the run's.
pub(super) fn perform(arguments: &Run, context: &mut Context<'_>) -> Result<u8, Failure> {
    let request = Request {
        sequence: &arguments.sequence,
        fitting: &arguments.fitting,
        defect: None,
    };
    let fitted = load(request, &context.shelves)?;
    context.times.lap("load");
    let addresses = addresses(&fitted)?;
    let mode = mode(&addresses, arguments.virtual_person.is_some())?;
    item_exists(&mode, &fitted)?;
    if let Some(port) = arguments.virtual_person {
        TcpStream::connect(("127.0.0.1", port)).map_err(|error| no_person(port, &error))?;
    }
    let started = now()?;
    let name = format!("run-{}", started.replace([':', '-'], ""));
    let out = arguments
        .out
        .clone()
        .unwrap_or_else(|| PathBuf::from("out").join(&name));
    must_be_free(&out)?;
    if let Some(path) = &arguments.trace {
        tracefile::may_be_written(path)?;
    }
    let record = start_record(&fitted, &out)?;
    if !fitted.program.hand_held {
        context.output.message(&format!("  {NOT_YET}.\n"));
    }
    let options = Options {
        mode,
        run: name,
        started,
        stop_proof: StopProof::Wanted,
    };
    let opening = Needs::of(&fitted).lines();
    let lines = Lines::new(
        context.output,
        Forecast::of(&fitted.program),
        opening,
        Some(arguments.pace),
    );
    let mut journal = Recorder::new(record, lines);
    let wishes = Wishes {
        trace: arguments.trace.as_ref().map(|_| Tapes::default()),
        ..Wishes::default()
    };
    let outcome = on_runtime(arguments, &fitted, (&addresses, &wishes), &options, &mut journal);
    context.times.lap("run");
    let closed = close(outcome, journal.record, context);
    if let (Some(path), Some(tapes)) = (&arguments.trace, &wishes.trace) {
        let head = Head {
            of: options.run.clone(),
            seed: None,
            defect: None,
        };
        keep_trace(path, tapes, &head, context);
    }
    let exit_code = closed?;
    context.times.lap("seal");
    finish(&out, !arguments.no_pdf, context)?;
    Ok(exit_code)
}

fn no_person(port: u16, error: &std::io::Error) -> Failure {
    Failure::broken(
        format!("the virtual person at port {port}: {error}"),
        "take the port that `bench serve` prints for `person`",
    )
}

/// Host and port of every instrument. A bench with virtual links belongs to `rehearse`.
fn addresses(fitted: &Fitted) -> Result<BTreeMap<String, Address>, Failure> {
    let mut addresses = BTreeMap::new();
    for instrument in &fitted.bench.instruments {
        let (host, port) = match &instrument.link {
            LinkText::Tcp { host, port } => (host, port),
            LinkText::Can { interface } if interface.value != IN_MEMORY => {
                on_this_machine(interface)?;
                continue;
            }
            _ => {
                return Err(Failure::usage(
                    format!("{} is linked in memory", instrument.name.span.place()),
                    "use `pilotage rehearse` for a virtual bench, or give a bench file with `tcp:` links by --bench mid_bench_tcp",
                ));
            }
        };
        let address = Address {
            host: host.value.clone(),
            port: *port,
        };
        if !address.is_loopback() {
            return Err(Failure::usage(
                format!("{}: {address} is not on this machine", host.span.place()),
                NOT_YET,
            ));
        }
        addresses.insert(instrument.name.value.clone(), address);
    }
    Ok(addresses)
}

/// Interfaces to a bus that has hardware behind it wait for the same as instruments elsewhere.
fn on_this_machine(interface: &Sp<String>) -> Result<(), Failure> {
    if socket::stays_on_this_machine(&interface.value) {
        return Ok(());
    }
    Err(Failure::usage(
        format!(
            "{}: the interface {} does not exist, or has a bus behind it that leaves this machine",
            interface.span.place(),
            interface.value
        ),
        NOT_YET,
    ))
}

/// The interfaces of the system to a bus that the bench names, opened.
fn interfaces(fitted: &Fitted, life: &Life, now: &Now) -> Result<Links, Failure> {
    let mut links = Links::new();
    for instrument in &fitted.bench.instruments {
        let (LinkText::Can { interface }, Some(driver)) =
            (&instrument.link, fitted.drivers.get(&instrument.driver.value))
        else {
            continue;
        };
        let Some(map) = &driver.frames else { continue };
        let name = &instrument.name.value;
        let node = socket::open(&interface.value, map.clone(), life, now)
            .map_err(|error| Failure::broken(format!("{name}: {error}"), error.mend()))?;
        let device = Interface::new(node, "SOCKETCAN", &interface.value);
        links.insert(
            name.clone(),
            Box::new(MemoryLink::new(Box::new(device), Arc::clone(now))),
        );
    }
    Ok(links)
}

/// Host and port of an instrument.
struct Address {
    host: String,
    port: u16,
}

impl Address {
    fn is_loopback(&self) -> bool {
        let found = (self.host.as_str(), self.port).to_socket_addrs();
        found.is_ok_and(|mut found| found.len() > 0 && found.all(|one| one.ip().is_loopback()))
    }
}

impl std::fmt::Display for Address {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}:{}", self.host, self.port)
    }
}

/// The shipped items exist nowhere: what a person measures by hand is another one, and its record must bear its own serial number.
fn item_exists(mode: &Mode, fitted: &Fitted) -> Result<(), Failure> {
    let file = &fitted.item.title.span.file;
    if *mode != Mode::RealBench || !file.starts_with("shipped:") {
        return Ok(());
    }
    Err(Failure::usage(
        format!("{file} is an example of an item, which exists nowhere; what is measured here is another one"),
        "write an item file with the plate and the serial number of what lies before you, and give it with --item",
    ))
}

/// Virtual where every instrument says so itself; a bench without links is as virtual as its person.
fn mode(addresses: &BTreeMap<String, Address>, virtual_person: bool) -> Result<Mode, Failure> {
    let mut all_virtual = virtual_person || !addresses.is_empty();
    for (name, address) in addresses {
        let reply = identity(address).map_err(|error| {
            Failure::broken(
                format!("{name} at {address}: {error}"),
                "switch it on, or start `pilotage bench serve`",
            )
        })?;
        all_virtual &= reply.contains("VIRTUAL");
    }
    Ok(if all_virtual {
        Mode::VirtualBench {
            seed: None,
            defect: None,
            over_tcp: true,
            links: None,
        }
    } else {
        Mode::RealBench
    })
}

fn identity(address: &Address) -> std::io::Result<String> {
    let mut stream = TcpStream::connect((address.host.as_str(), address.port))?;
    stream.set_read_timeout(Some(Duration::from_secs(2)))?;
    stream.write_all(b"*IDN?\n")?;
    let mut reply = String::new();
    BufReader::new(stream).read_line(&mut reply)?;
    Ok(reply)
}

fn now() -> Result<String, Failure> {
    let now = time::OffsetDateTime::now_utc()
        .replace_nanosecond(0)
        .unwrap_or(time::OffsetDateTime::UNIX_EPOCH);
    now.format(&time::format_description::well_known::Rfc3339)
        .map_err(|error| Failure::broken(format!("the clock: {error}"), "set the clock of this machine"))
}

fn on_runtime<J: Journal>(
    arguments: &Run,
    fitted: &Fitted,
    links: (&BTreeMap<String, Address>, &Wishes),
    options: &Options,
    journal: &mut J,
) -> Result<Outcome, Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::broken(format!("no runtime: {error}"), "report this"))?;
    let outcome = tokio::task::LocalSet::new().block_on(&runtime, async {
        match arguments.virtual_person {
            Some(port) => {
                let person = OverTcp::connect(port).await.map_err(|error| no_person(port, &error))?;
                with_people(arguments, fitted, links, options, journal, &person).await
            }
            None => with_people(arguments, fitted, links, options, journal, &AtTerminal::new()).await,
        }
    });
    // A prompt that nobody answered still reads the standard input: a stopped run must not wait for it.
    runtime.shutdown_background();
    outcome
}

async fn with_people<J: Journal, P: People>(
    arguments: &Run,
    fitted: &Fitted,
    (addresses, wishes): (&BTreeMap<String, Address>, &Wishes),
    options: &Options,
    journal: &mut J,
    people: &P,
) -> Result<Outcome, Failure> {
    let clock = TokioClock::with_pace(arguments.pace);
    let now = now_of(clock);
    let life = Life::default();
    let mut links = interfaces(fitted, &life, &now)?;
    for (name, address) in addresses {
        let link = TcpLink::open(&address.host, address.port, Duration::from_secs(5))
            .await
            .map_err(|error| Failure::broken(format!("{name}: {error}"), error.mend()))?;
        links.insert(name.clone(), Box::new(link));
    }
    let links = wishes.before(links, &now);
    let bench = wired(fitted, links, clock)?.living(life);
    Ok(pilotage_run::run(&fitted.program, &bench, &clock, journal, people, options).await)
}
