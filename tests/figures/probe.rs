//! The parts of the product put beside bare clients, for `tests/figures/run`: one line of JSON on the standard output.
//!
//! A sequence cannot be fitted to a bench of one meter (it could not be made dead), so the readings go through the parts that
//! a run goes through: the instrument's handle, the driver's table, judging, journal, record, document, reports.
//!
//! | command | measures |
//! | --- | --- |
//! | `sixty PORT FOLDER` | 60 readings with a journal synced at each, JUnit and PDF: the caller takes the time |
//! | `readings PORT COUNT` | readings a second: ask, parse, judge, journal without sync, errors asked for after each 60 |
//! | `stall PORT COUNT` | microseconds of set, set, measure |
//! | `block PORT COUNT` | milliseconds from the question to the samples of a block of 8 MB |
#![allow(clippy::print_stdout)]

use pilotage::failure::Failure;
use pilotage::times::Times;
use pilotage::wiring::clock::TokioClock;
use pilotage_bench::actor::{Handle, Message};
use pilotage_bench::link::{Link, TcpLink};
use pilotage_bench::scpi::Reply;
use pilotage_bench::{Orders, Tables, Wired};
use pilotage_core::{Quantity, RunTime, Tolerance, Unit};
use pilotage_evidence::event::{Event, Reading};
use pilotage_evidence::heading::{
    BenchPlate, Heading, InstrumentPlate, ItemPlate, JOURNAL_FORM, LimitPlate, LimitSetPlate, Mode, StepHead,
};
use pilotage_evidence::record::{Record, RecordWriter};
use pilotage_evidence::{DecisionRule, ItemKind, SourceStatus, Verdict, document, judge_reading};
use pilotage_plan::lower::read::{read_bench, read_driver};
use pilotage_plan::program::ReadSpec;
use pilotage_run::world::{Answer, Bench, Clock, Lane, Queues};
use serde_json::json;
use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// As the command has it.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

type Outcome<T> = Result<T, Box<dyn Error>>;

const DEADLINE: Duration = Duration::from_secs(5);
const STEPS: u32 = 60;

fn main() -> Outcome<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let local = tokio::task::LocalSet::new();
    let said = local.block_on(&runtime, async {
        match words[..] {
            ["sixty", port, folder] => sixty(port.parse()?, Path::new(folder)).await,
            ["readings", port, count] => readings(port.parse()?, count.parse()?).await,
            ["stall", port, count] => stall(port.parse()?, count.parse()?).await,
            ["block", port, count] => block(port.parse()?, count.parse()?).await,
            _ => Err("give sixty, readings, stall or block, the instrument's port, and a folder or a count".into()),
        }
    })?;
    println!("{said}");
    Ok(())
}

/// The link to the instrument that listens on this machine.
async fn link(port: u16) -> Outcome<TcpLink> {
    Ok(TcpLink::open("127.0.0.1", port, DEADLINE).await?)
}

/// The bench of one meter, over TCP.
async fn bench(port: u16, clock: TokioClock) -> Outcome<Wired<TokioClock>> {
    let refused = |problems: &dyn std::fmt::Debug| format!("{problems:?}");
    let bench = read_bench("one_meter.bench.yaml", include_str!("one_meter.bench.yaml")).map_err(|p| refused(&p))?;
    let driver =
        read_driver("one_meter.driver.yaml", include_str!("one_meter.driver.yaml")).map_err(|p| refused(&p))?;
    let tables = Tables::compile(&bench, [&driver]).map_err(|p| refused(&p))?;
    let link: Box<dyn Link> = Box::new(link(port).await?);
    Ok(Wired::from_tables(
        tables,
        Orders::default(),
        BTreeMap::from([("meter".to_owned(), link)]),
        Arc::new(clock),
    )
    .map_err(|p| refused(&p))?)
}

/// What is asked in turn, as the peer does: volts, amperes, volts …
struct Asked {
    spec: ReadSpec,
    limit: LimitPlate,
}

impl Asked {
    fn both() -> Outcome<[Self; 2]> {
        Ok([Self::of("volts", "V")?, Self::of("amperes", "A")?])
    }

    fn of(point: &str, unit: &str) -> Outcome<Self> {
        let bound =
            |text: &str| Quantity::of(text.parse()?, Unit::find(unit).ok_or("unit")?).map_err(Box::<dyn Error>::from);
        let spec = ReadSpec {
            name: point.to_owned(),
            point: point.to_owned(),
            unit: unit.to_owned(),
        };
        let limit = LimitPlate {
            key: "inline".to_owned(),
            title: format!("{point} of the supply"),
            place: "probe.rs".to_owned(),
            standard: String::new(),
            edition: String::new(),
            clause: String::new(),
            status: SourceStatus::CommonPractice,
            by: None,
            tolerance: Tolerance::Between(bound("11.9")?, bound("12.5")?),
            bounds: Vec::new(),
            unit: unit.to_owned(),
        };
        Ok(Self { spec, limit })
    }

    fn reading(&self, step: u32, answer: Answer) -> Reading {
        let (value, no_value) = match answer.datum {
            Ok(measured) => (Some(measured), None),
            Err(reason) => (None, Some(reason)),
        };
        Reading {
            name: self.spec.name.clone(),
            step,
            pass: None,
            point: self.spec.point.clone(),
            value,
            no_value,
            word: None,
            unit: self.spec.unit.clone(),
            taken: answer.taken,
            exchanges: answer.exchanges,
            formula: None,
            from: BTreeMap::new(),
            constants: BTreeMap::new(),
            variables: BTreeMap::new(),
            moments: Vec::new(),
        }
    }
}

/// Asks, journals the reading, judges it, journals the judgement.
async fn one(
    bench: &Wired<TokioClock>,
    asked: &Asked,
    step: u32,
    clock: &TokioClock,
    append: &mut impl FnMut(RunTime, Event) -> Outcome<u64>,
) -> Outcome<Verdict> {
    let answer = bench.read(&asked.spec, Lane::Work).await?;
    let mut reading = asked.reading(step, answer);
    let ruling = judge_reading(&reading, &asked.limit, DecisionRule::GuardBanded);
    let verdict = ruling.verdict;
    // As the runner does: what is kept for judging has no exchanges.
    let exchanges = std::mem::take(&mut reading.exchanges);
    let bare = reading.clone();
    reading.exchanges = exchanges;
    let seq = append(clock.now(), Event::Reading(Box::new(reading)))?;
    append(
        clock.now(),
        Event::Judged(Box::new(ruling.of(&bare, seq, &asked.limit))),
    )?;
    Ok(verdict)
}

async fn sixty(port: u16, folder: &Path) -> Outcome<serde_json::Value> {
    let mut times = Times::default();
    let clock = TokioClock::with_pace(1.0);
    let bench = bench(port, clock).await?;
    let mut record = RecordWriter::create(folder)?;
    record.append(clock.now(), Event::RunStarted(Box::new(heading())))?;
    let asked = Asked::both()?;
    times.lap("connect");
    let mut passed = 0;
    for step in 0..STEPS {
        record.append(clock.now(), Event::StepStarted { step })?;
        let verdict = one(&bench, &asked[step as usize % 2], step, &clock, &mut |at, event| {
            Ok(record.append(at, event)?.seq)
        })
        .await?;
        passed += u32::from(verdict == Verdict::Pass);
        record.append(
            clock.now(),
            Event::StepEnded {
                step,
                verdict,
                because: None,
                side: None,
            },
        )?;
        record.sync()?;
    }
    bench.drain(Queues::OfStep).await?;
    let verdict = if passed == STEPS { Verdict::Pass } else { Verdict::Fail };
    record.append(
        clock.now(),
        Event::RunEnded {
            verdict,
            exit_code: 0,
            codes: vec![0],
        },
    )?;
    times.lap("readings");
    record.seal()?;
    times.lap("seal");
    report(folder, &mut times).map_err(|failure| failure.to_string())?;
    Ok(json!({"passed": passed, "times": times.as_json()}))
}

fn report(folder: &Path, times: &mut Times) -> Result<(), Failure> {
    let record = Record::open(folder).map_err(|error| Failure::usage(error.to_string(), "report this"))?;
    let document = document::build(&record, &[]);
    times.lap("document");
    pilotage::folder::write_reports(&document, folder, &folder.join("reports"), true, times).map(drop)
}

fn heading() -> Heading {
    let head = |number: u32| StepHead {
        number,
        id: format!("S-{number:02}"),
        title: format!("reading {number}"),
        place: "probe.rs".to_owned(),
        fail_means: None,
        look_next: Vec::new(),
        pictures: Vec::new(),
    };
    Heading {
        form: JOURNAL_FORM,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        run: "sixty".to_owned(),
        mode: Mode::VirtualBench {
            seed: Some(0),
            defect: None,
            over_tcp: true,
            links: None,
        },
        started: pilotage::rehearsal::STARTED.to_owned(),
        title: "Sixty readings".to_owned(),
        inputs: Vec::new(),
        item: ItemPlate {
            kind: ItemKind::Bench,
            title: "a supply".to_owned(),
            serial: "1".to_owned(),
            nameplate: Vec::new(),
        },
        bench: BenchPlate {
            title: "One meter".to_owned(),
            instruments: vec![InstrumentPlate {
                name: "meter".to_owned(),
                driver: "Meter with two questions".to_owned(),
                link: "tcp".to_owned(),
                serial: "0001".to_owned(),
                calibrated_until: None,
            }],
            notes: Vec::new(),
        },
        limits: LimitSetPlate {
            name: "inline".to_owned(),
            title: "inline".to_owned(),
        },
        decision_rule: DecisionRule::GuardBanded,
        basis: Vec::new(),
        cautions: Vec::new(),
        steps: (0..STEPS).map(head).collect(),
        closings: Vec::new(),
        not_tested: Vec::new(),
    }
}

async fn readings(port: u16, count: u32) -> Outcome<serde_json::Value> {
    let clock = TokioClock::with_pace(1.0);
    let bench = bench(port, clock).await?;
    let folder = tempfile::tempdir()?;
    let mut record = RecordWriter::create(folder.path())?;
    let asked = Asked::of("volts", "V")?;
    let mut began = Instant::now();
    let warm = count / 10;
    for number in 0..warm + count {
        if number == warm {
            began = Instant::now();
        }
        let append = &mut |at, event| Ok(record.append(at, event)?.seq);
        one(&bench, &asked, number / STEPS, &clock, append).await?;
        if number % STEPS == STEPS - 1 {
            bench.drain(Queues::OfStep).await?;
        }
    }
    Ok(json!({"rts": f64::from(count) / began.elapsed().as_secs_f64(), "lines": record.lines()}))
}

async fn stall(port: u16, count: usize) -> Outcome<serde_json::Value> {
    let meter = meter(port).await?;
    let mut spans = Vec::with_capacity(count);
    for _ in 0..count + 50 {
        let began = Instant::now();
        meter
            .exchange(Lane::Work, Message::write("CONF:VOLT:DC 10", DEADLINE))
            .await?;
        meter
            .exchange(Lane::Work, Message::write("SENS:NPLC 1", DEADLINE))
            .await?;
        meter
            .exchange(Lane::Work, Message::query("MEAS:VOLT:DC?", DEADLINE))
            .await?;
        spans.push(began.elapsed().as_secs_f64() * 1e6);
    }
    Ok(said(spans.split_off(50), "us"))
}

/// From the question to samples as numbers, the hash that the record keeps of the block included.
async fn block(port: u16, count: usize) -> Outcome<serde_json::Value> {
    let meter = meter(port).await?;
    let mut spans = Vec::with_capacity(count);
    for _ in 0..=count {
        let began = Instant::now();
        let (done, _) = meter
            .exchange(Lane::Work, Message::query("WAV:DATA?", DEADLINE))
            .await?;
        let samples = samples(&done.reply)?;
        meter.recycle(done.reply);
        spans.push(began.elapsed().as_secs_f64() * 1e3);
        assert_eq!(samples.len(), 4_000_000, "half of 8 000 000 bytes");
    }
    Ok(said(spans.split_off(1), "ms"))
}

fn samples(reply: &[u8]) -> Outcome<Vec<i16>> {
    let reply = Reply::parse(reply).map_err(|refused| format!("{refused:?}"))?;
    let block = reply.block().map_err(|refused| format!("{refused:?}"))?;
    Ok(pilotage_bench::scpi::samples(block))
}

async fn meter(port: u16) -> Outcome<Handle> {
    let clock = TokioClock::with_pace(1.0);
    Ok(Handle::new(
        "meter",
        Box::new(link(port).await?),
        Arc::new(move || clock.now()),
        DEADLINE,
    ))
}

fn said(mut spans: Vec<f64>, unit: &str) -> serde_json::Value {
    spans.sort_by(f64::total_cmp);
    let at = |part: usize| spans[(spans.len() - 1) * part / 1000];
    json!({"unit": unit, "p50": at(500), "p99": at(990), "max": at(1000), "count": spans.len()})
}
