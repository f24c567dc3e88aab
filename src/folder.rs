//! The folder of a run: the live journal as the runner wants it, and the reports made from the sealed record.

use crate::failure::Failure;
use crate::forecast::Forecast;
use crate::screen::Screen;
use crate::times::Times;
use pilotage_core::RunTime;
use pilotage_evidence::document::Document;
use pilotage_evidence::event::{Event, Stamped};
use pilotage_evidence::record::{JOURNAL, REPORTS, RecordWriter, WriteError};
use pilotage_reports::manifest::{Entry, Manifest};
use pilotage_run::world::{Journal, JournalError};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Shows events while they are written.
pub trait Viewer {
    /// One event that was just written.
    fn see(&mut self, stamped: &Stamped);
}

/// Nobody looks.
pub struct Nobody;

impl Viewer for Nobody {
    fn see(&mut self, _: &Stamped) {}
}

/// Lines on a person's terminal or in a log.
pub struct Lines<'a> {
    screen: Screen,
    output: &'a mut crate::output::Output,
    live: Option<Live>,
}

impl<'a> Lines<'a> {
    /// Shows on `output`, `opening` below the heading; on a terminal with a last line that says what is going on, how long it
    /// still takes, and when a person is needed next. At a pace that line goes on by itself while nothing happens; in virtual
    /// time no second of ours tells how far a hold is.
    pub fn new(
        output: &'a mut crate::output::Output,
        forecast: Forecast,
        opening: Vec<String>,
        pace: Option<f64>,
    ) -> Self {
        let live = output.live.then(|| Live::new(forecast, pace));
        Self {
            screen: Screen::with_opening(opening),
            output,
            live,
        }
    }

    fn print(&mut self, line: &str) {
        match &self.live {
            Some(live) => live.bar.suspend(|| self.output.message(line)),
            None => self.output.message(line),
        }
    }
}

impl Viewer for Lines<'_> {
    fn see(&mut self, stamped: &Stamped) {
        for line in self.screen.lines(stamped) {
            self.print(&line);
        }
        if let Some(live) = &self.live {
            live.see(stamped, self.screen.now(stamped));
        }
    }
}

/// How often the last line is drawn again while nothing happens.
const REDRAWN: Duration = Duration::from_millis(500);

/// The last line of a terminal.
struct Live {
    bar: indicatif::ProgressBar,
    forecast: Arc<Mutex<Timed>>,
}

/// A forecast, and when its last event came by our own clock.
struct Timed {
    forecast: Forecast,
    seen: Instant,
    pace: Option<f64>,
}

impl Timed {
    fn words(&self) -> String {
        let since = self.pace.map(|pace| self.seen.elapsed().mul_f64(pace));
        self.forecast.words(since.unwrap_or_default())
    }
}

impl Live {
    fn new(forecast: Forecast, pace: Option<f64>) -> Self {
        let forecast = Arc::new(Mutex::new(Timed {
            forecast,
            seen: Instant::now(),
            pace,
        }));
        let bar = indicatif::ProgressBar::new_spinner();
        let shown = Arc::clone(&forecast);
        let left = move |_: &indicatif::ProgressState, out: &mut dyn std::fmt::Write| {
            let words = shown.lock().unwrap_or_else(PoisonError::into_inner).words();
            let _infallible = write!(out, "{words}");
        };
        if let Ok(style) = indicatif::ProgressStyle::with_template("{spinner} {msg}  ({left})") {
            bar.set_style(style.with_key("left", left));
        }
        bar.enable_steady_tick(REDRAWN);
        Self { bar, forecast }
    }

    fn see(&self, stamped: &Stamped, now: Option<String>) {
        {
            let mut timed = self.forecast.lock().unwrap_or_else(PoisonError::into_inner);
            timed.forecast.note(stamped);
            timed.seen = Instant::now();
        }
        if let Some(now) = now {
            self.bar.set_message(crate::text::harmless(&now));
        }
        if matches!(stamped.event, Event::RunEnded { .. }) {
            self.bar.finish_and_clear();
        }
    }
}

impl Drop for Live {
    /// A run that never began, or a playback that ended early, leaves no line behind.
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

/// The journal on disk, shown while it is written.
pub struct Recorder<V> {
    /// The record's folder.
    pub record: RecordWriter,
    viewer: V,
}

impl<V: Viewer> Recorder<V> {
    /// Around a record that was just created.
    pub fn new(record: RecordWriter, viewer: V) -> Self {
        Self { record, viewer }
    }
}

impl<V: Viewer> Journal for Recorder<V> {
    fn append(&mut self, at: RunTime, event: Event) -> Result<u64, JournalError> {
        let stamped = self.record.append(at, event).map_err(journal_error)?;
        self.viewer.see(&stamped);
        Ok(stamped.seq)
    }

    fn sync(&mut self) -> Result<(), JournalError> {
        self.record.sync().map_err(journal_error)
    }

    fn store(&mut self, name: &str, samples: &[Vec<i16>]) -> Result<(String, String), JournalError> {
        self.record.store(name, samples).map_err(journal_error)
    }
}

fn journal_error(error: WriteError) -> JournalError {
    JournalError {
        file: error.file,
        what: error.what,
        mend: error.mend,
    }
}

/// Events in memory, for campaigns.
#[derive(Debug, Default)]
pub struct Events(pub Vec<Stamped>);

impl Journal for Events {
    fn append(&mut self, at: RunTime, event: Event) -> Result<u64, JournalError> {
        let seq = self.0.len() as u64;
        self.0.push(Stamped { seq, at, event });
        Ok(seq)
    }

    fn sync(&mut self) -> Result<(), JournalError> {
        Ok(())
    }

    fn store(&mut self, name: &str, _: &[Vec<i16>]) -> Result<(String, String), JournalError> {
        Ok((name.to_owned(), String::new()))
    }
}

/// Makes every report of a document into `folder`, with a manifest. Gives the paths.
pub fn write_reports(
    document: &Document,
    record: &Path,
    folder: &Path,
    pdf: bool,
    times: &mut Times,
) -> Result<Vec<PathBuf>, Failure> {
    std::fs::create_dir_all(folder).map_err(|error| Failure::disk(folder, &error))?;
    let mut files = vec![
        (format!("TEST-{}.xml", document.run), junit(document)?),
        (
            format!("{}.csv", document.run),
            pilotage_reports::csv::csv(document).into_bytes(),
        ),
    ];
    times.lap("junit_and_csv");
    if pdf {
        let path = record.join(JOURNAL);
        let journal = std::fs::read(&path).map_err(|error| Failure::disk(&path, &error))?;
        files.push((format!("{}.pdf", document.run), pdf_bytes(document, &journal)?));
        times.lap("pdf");
    }
    let manifest = manifest(document, &files);
    files.push(("manifest.json".to_owned(), manifest));
    let paths = files
        .into_iter()
        .map(|(name, bytes)| put(folder, &name, &bytes))
        .collect();
    times.lap("write_reports");
    paths
}

/// Where the reports of a record lie unless another folder is given.
pub fn reports_folder(record: &Path) -> PathBuf {
    record.join(REPORTS)
}

fn junit(document: &Document) -> Result<Vec<u8>, Failure> {
    pilotage_reports::junit::junit(document)
        .map_err(|error| Failure::broken(format!("JUnit: {error}"), "the record is whole: report this"))
}

fn pdf_bytes(document: &Document, journal: &[u8]) -> Result<Vec<u8>, Failure> {
    pilotage_pdf::render(document, journal).map_err(|error| {
        Failure::broken(
            format!("PDF: {error}"),
            "the record is whole: make the reports with --no-pdf, and report this",
        )
    })
}

fn manifest(document: &Document, files: &[(String, Vec<u8>)]) -> Vec<u8> {
    let reports = files.iter().map(|(file, bytes)| Entry {
        file: file.clone(),
        sha256: hexadecimal(&Sha256::digest(bytes)),
        bytes: bytes.len() as u64,
    });
    let manifest = Manifest {
        run: document.run.clone(),
        head: document.evidence.head.clone(),
        virtual_note: document.virtual_note.clone(),
        reports: reports.collect(),
    };
    serde_json::to_vec_pretty(&manifest).unwrap_or_default()
}

fn put(folder: &Path, name: &str, bytes: &[u8]) -> Result<PathBuf, Failure> {
    let path = folder.join(name);
    std::fs::write(&path, bytes).map_err(|error| Failure::disk(&path, &error))?;
    Ok(path)
}

/// Lower-case hexadecimal digits.
pub fn hexadecimal(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    bytes
        .iter()
        .flat_map(|byte| [byte >> 4, byte & 15])
        .map(|half| char::from(DIGITS[usize::from(half)]))
        .collect()
}
