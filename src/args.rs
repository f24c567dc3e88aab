//! What can be typed, and the help that a technician reads.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Qualifies AC charging equipment for electric vehicles on a test bench.
#[derive(Debug, Parser)]
#[command(name = "pilotage", version, about, max_term_width = 110, after_help = EXIT_CODES)]
pub struct Command {
    /// What to do.
    #[command(subcommand)]
    pub verb: Verb,
    /// Look for files in this folder first (may be given several times).
    #[arg(long = "files", value_name = "FOLDER", global = true)]
    pub files: Vec<PathBuf>,
    /// Print data as JSON on the standard output.
    #[arg(long, global = true)]
    pub json: bool,
    /// Log what the program does: error, warn, info, debug or trace (messages go to the standard error).
    #[arg(long, value_name = "LEVEL", global = true, value_parser = level)]
    pub log: Option<String>,
    /// Say at the end how long each part took, as JSON on the standard error.
    #[arg(long, global = true, hide = true)]
    pub times: bool,
}

/// A pace that clocks can follow.
fn pace(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(pace) if (0.1..=1000.0).contains(&pace) => Ok(pace),
        _ => Err("expected a number from 0.1 to 1000: how many seconds pass at the bench in one of ours".to_owned()),
    }
}

/// Columns that a text can be laid out in.
fn columns(text: &str) -> Result<usize, String> {
    match text.parse::<usize>() {
        Ok(columns) if (72..=200).contains(&columns) => Ok(columns),
        _ => Err("expected a number from 72 to 200: how many columns lines may have".to_owned()),
    }
}

/// A level of the log; directives such as `pilotage_run=debug` are taken too.
fn level(text: &str) -> Result<String, String> {
    match tracing_subscriber::EnvFilter::try_new(text) {
        Ok(_) if !text.trim().is_empty() => Ok(text.to_owned()),
        _ => Err("expected error, warn, info, debug or trace, or directives such as pilotage_run=debug".to_owned()),
    }
}

const EXIT_CODES: &str = "\
First steps:
  pilotage rehearse wall_unit/quick_check
  pilotage rehearse wall_unit/quick_check --defect W03
  pilotage check wall_unit/quick_check

Exit codes:
  0  yes: passes, verifies, unchanged
  1  no: the item fails, a record was altered, a verdict changed, a defect goes unnoticed
  2  wrong usage or a wrong file
  3  inconclusive: it cannot be said
  4  stopped by an interlock, a protection or a person
  5  the bench, or the program itself, failed
  6  not confirmed dead: do by hand what is printed first";

/// The verbs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Read files and say everything that is wrong with them.
    #[command(
        after_help = "Examples:\n  pilotage check wall_unit/quick_check\n  pilotage check --short wall_unit/quick_check --item wall_unit_16a_socket\n\nA sequence is also fitted to item and bench: what the bench cannot decide is said, and how long it takes."
    )]
    Check(Check),
    /// Say before plugging in what a bench can do with an item, and draw what hangs on what.
    #[command(
        after_help = "Examples:\n  pilotage fit wall_unit/quick_check\n  pilotage fit wall_unit/quick_check --item wall_unit_16a_socket --bench mid_bench --out out/fit\n  pilotage fit wall_unit/quick_check --hook-up-only --width 80\n  pilotage fit wall_unit/quick_check --json\n\nFor each limit: the bench's expanded uncertainty (k = 2) at the bound, what guard bands leave of the window, why, and what would do better.\nThen what is left out, how long it takes, when hands are needed, what make safe does, and the hook-up page.\n\nExit code 0 where every limit of the steps that run can be decided, 3 where one cannot."
    )]
    Fit(Fit),
    /// Run a sequence on the virtual bench. No item is tested.
    #[command(
        after_help = "Examples:\n  pilotage rehearse wall_unit/quick_check\n  pilotage rehearse wall_unit/quick_check --defect W03 --severity edge\n  pilotage rehearse wall_unit/quick_check --trace quick.trace --out once\n  pilotage rehearse wall_unit/quick_check --playback quick.trace --out again\n  pilotage rehearse wall_unit/quick_check --link-faults 2 --out disturbed"
    )]
    Rehearse(Rehearse),
    /// Run a sequence on a bench that is linked over TCP; today only on this machine.
    #[command(
        after_help = "Example, in two terminals:\n  pilotage bench serve\n  pilotage run wall_unit/quick_check --bench mid_bench_tcp --virtual-person 5034\n\nWithout --virtual-person the questions are asked here, at the terminal. Ctrl-C stops the run and makes safe."
    )]
    Run(Run),
    /// Offer the virtual bench to `run` and to other programs.
    #[command(after_help = "Example: pilotage bench serve --port 5025")]
    Bench {
        /// What about the bench.
        #[command(subcommand)]
        what: BenchVerb,
    },
    /// List the defects of virtual items, and the steps that should notice them.
    #[command(after_help = "Examples:\n  pilotage defects\n  pilotage defects wall_unit/quick_check")]
    Defects(Defects),
    /// Rehearse once for each defect, severity and seed: does a step notice?
    #[command(
        after_help = "Examples:\n  pilotage challenge wall_unit/quick_check --seeds 1\n  pilotage challenge wall_unit/quick_check --defects W03,W17 --out out/challenge"
    )]
    Challenge(Challenge),
    /// Show a limit: its source, how it is known, and which steps use it.
    #[command(after_help = "Examples:\n  pilotage explain\n  pilotage explain contactor.close_delay")]
    Explain(Explain),
    /// Work out an expression with units.
    #[command(after_help = "Example: pilotage calc \"(12 V - 0.7 V) * 882 Ω / (1 kΩ + 882 Ω)\"")]
    Calc(Calc),
    /// Analyse anybody's capture of a pilot, or of mains voltage and current, as CSV.
    #[command(after_help = "Example: pilotage inspect docs/examples/pilot.csv --current \"32 A\"")]
    Inspect(Inspect),
    /// Judge a record again, from the record alone.
    #[command(
        after_help = "Example, after `pilotage rehearse wall_unit/quick_check`:\n  pilotage judge out/wall_unit/quick_check-seed1"
    )]
    Judge(RecordOnly),
    /// Find any changed, removed or added byte of a sealed record.
    #[command(
        after_help = "Example, after `pilotage rehearse wall_unit/quick_check`:\n  pilotage verify out/wall_unit/quick_check-seed1"
    )]
    Verify(RecordOnly),
    /// Make the reports of a record again.
    #[command(
        after_help = "Example, after `pilotage rehearse wall_unit/quick_check`:\n  pilotage report out/wall_unit/quick_check-seed1 --out reports_again"
    )]
    Report(Report),
    /// Print the JSON Schema of a kind of file, for editors.
    #[command(after_help = "Example: pilotage schema sequence > sequence.schema.json")]
    Schema(Schema),
    /// Print a completion script for a shell.
    #[command(after_help = "Example: pilotage completions bash > ~/.local/share/bash-completion/completions/pilotage")]
    Completions(Completions),
}

/// Files that a sequence is fitted to.
#[derive(Debug, Clone, Args)]
pub struct Fitting {
    /// Item file: what is tested, e.g. `wall_unit_16a_socket` (default: the one that the sequence names).
    #[arg(long, value_name = "ITEM")]
    pub item: Option<String>,
    /// Bench file: the instruments and what they are connected to (default: the one that the sequence names).
    #[arg(long, value_name = "BENCH")]
    pub bench: Option<String>,
    /// Set of limits, e.g. `sae_j1772_2017` (default: the one that the sequence names).
    #[arg(long, value_name = "SET")]
    pub limits: Option<String>,
    /// How uncertainty enters verdicts.
    #[arg(long, value_enum, default_value_t = Rule::GuardBanded)]
    pub rule: Rule,
}

/// Decision rules.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Rule {
    /// Inside the limit passes, outside fails (simple acceptance, ILAC-G8 4.2.1).
    Simple,
    /// Nearer to a bound than the expanded uncertainty (k = 2) is inconclusive.
    GuardBanded,
}

/// Severities of a defect.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, ValueEnum)]
pub enum SeverityWord {
    /// Just outside the tolerance.
    Edge,
    /// As it is met in practice.
    Plain,
    /// Far outside.
    Gross,
}

/// `check`
#[derive(Debug, Args)]
pub struct Check {
    /// Files of any kind (sequence, chapter, item, bench, limits, driver, frames, defect, sides): paths, or names of shipped ones.
    #[arg(required = true, value_name = "FILE")]
    pub paths: Vec<String>,
    /// One line for each problem, with file, line and column, for editors and CI.
    #[arg(long)]
    pub short: bool,
    /// Files that sequences are fitted to.
    #[command(flatten)]
    pub fitting: Fitting,
}

/// `fit`
#[derive(Debug, Args)]
pub struct Fit {
    /// Sequence: a path or a shipped name such as `wall_unit/quick_check`.
    #[arg(value_name = "SEQUENCE")]
    pub sequence: String,
    /// Files that it is fitted to.
    #[command(flatten)]
    pub fitting: Fitting,
    /// Folder for the hook-up page (PDF and text) and for everything as JSON.
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Only the hook-up page.
    #[arg(long)]
    pub hook_up_only: bool,
    /// How many columns lines may have (default: COLUMNS of the shell, else 100).
    #[arg(long, value_name = "COLUMNS", value_parser = columns)]
    pub width: Option<usize>,
}

/// What a virtual item is given.
#[derive(Debug, Clone, Args)]
pub struct VirtualItem {
    /// Give the virtual item this defect (see `pilotage defects`).
    #[arg(long, value_name = "ID")]
    pub defect: Option<String>,
    /// How far the defect stands outside its tolerance.
    #[arg(long, value_enum, default_value_t = SeverityWord::Plain, requires = "defect")]
    pub severity: SeverityWord,
    /// Number from which all noise is drawn; the same number gives the same bytes.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

/// What is done to the bytes of a rehearsal.
#[derive(Debug, Clone, Args)]
pub struct LinkArguments {
    /// Write every byte that goes over any link, with its time, into this file.
    #[arg(long, value_name = "FILE")]
    pub trace: Option<PathBuf>,
    /// Play a trace of a rehearsal in place of the virtual instruments. Seed and defect are the trace's. Refused, with the
    /// line, as soon as anything else is asked than the trace has.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["defect", "severity", "seed", "link_faults"])]
    pub playback: Option<PathBuf>,
    /// Disturb the links: replies come late, twice, cut short, with a wrong byte or not at all, or the connection closes. The
    /// same seed disturbs the same replies.
    #[arg(long, value_name = "SEED")]
    pub link_faults: Option<u64>,
    /// How many replies there are for each disturbed one.
    #[arg(long, value_name = "REPLIES", default_value_t = 1000, requires = "link_faults", value_parser = clap::value_parser!(u64).range(1..))]
    pub one_fault_in: u64,
}

/// `rehearse`
#[derive(Debug, Args)]
pub struct Rehearse {
    /// Sequence: a path or a shipped name such as `wall_unit/quick_check`.
    #[arg(value_name = "SEQUENCE")]
    pub sequence: String,
    /// Files that it is fitted to.
    #[command(flatten)]
    pub fitting: Fitting,
    /// The virtual item.
    #[command(flatten)]
    pub virtual_item: VirtualItem,
    /// What is done to the bytes.
    #[command(flatten)]
    pub links: LinkArguments,
    /// Folder for record and reports (default: `out/`, the item's kind, and a name made from sequence, defect and seed).
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Make no PDF; that is faster.
    #[arg(long)]
    pub no_pdf: bool,
}

/// `run`
#[derive(Debug, Args)]
pub struct Run {
    /// Sequence: a path or a shipped name.
    #[arg(value_name = "SEQUENCE")]
    pub sequence: String,
    /// Files that it is fitted to.
    #[command(flatten)]
    pub fitting: Fitting,
    /// Folder for record and reports (default: `out/run-` and the time).
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Make no PDF; that is faster.
    #[arg(long)]
    pub no_pdf: bool,
    /// Let the virtual person of the served virtual bench answer all questions (port of its answering service).
    #[arg(long, value_name = "PORT")]
    pub virtual_person: Option<u16>,
    /// Write every byte that goes over any link, with its time, into this file.
    #[arg(long, value_name = "FILE")]
    pub trace: Option<PathBuf>,
    /// Pace of the served virtual bench, as given to `bench serve`.
    #[arg(long, default_value_t = 1.0, value_parser = pace)]
    pub pace: f64,
}

/// `bench …`
#[derive(Debug, Subcommand)]
pub enum BenchVerb {
    /// Serve the virtual bench over TCP, one port an instrument, until interrupted.
    #[command(
        after_help = "Examples:\n  pilotage bench serve\n  pilotage bench serve --port 0 --pace 10 --defect W17 --json"
    )]
    Serve(Serve),
}

/// `bench serve`
#[derive(Debug, Args)]
pub struct Serve {
    /// Item file: what hangs on the bench.
    #[arg(long, value_name = "ITEM", default_value = "wall_unit_32a")]
    pub item: String,
    /// The virtual item.
    #[command(flatten)]
    pub virtual_item: VirtualItem,
    /// First port; the instruments take the following ones in the order of the bench file, then the person. 0 takes any.
    #[arg(long, default_value_t = 5025)]
    pub port: u16,
    /// How much faster than real time the bench lives.
    #[arg(long, default_value_t = 1.0, value_parser = pace)]
    pub pace: f64,
}

/// `defects`
#[derive(Debug, Args)]
pub struct Defects {
    /// Only those that this sequence should notice.
    #[arg(value_name = "SEQUENCE")]
    pub sequence: Option<String>,
}

/// `challenge`
#[derive(Debug, Args)]
pub struct Challenge {
    /// Sequence: a path or a shipped name.
    #[arg(value_name = "SEQUENCE")]
    pub sequence: String,
    /// Files that it is fitted to.
    #[command(flatten)]
    pub fitting: Fitting,
    /// How many rehearsals for each defect and severity, each with noise of its own.
    #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u64).range(1..))]
    pub seeds: u64,
    /// How far the defects go; several are joined by commas.
    #[arg(long, value_enum, value_delimiter = ',', default_values_t = [SeverityWord::Edge, SeverityWord::Plain, SeverityWord::Gross])]
    pub severities: Vec<SeverityWord>,
    /// Only these defects, e.g. W03,W17 (default: those that a step of the sequence must notice).
    #[arg(long, value_delimiter = ',', value_name = "ID")]
    pub defects: Vec<String>,
    /// All defects of this kind of item, also those that no step of the sequence must notice.
    #[arg(long, conflicts_with = "defects")]
    pub all: bool,
    /// How many healthy items at the ends of their tolerances; none of them may fail.
    #[arg(long, default_value_t = 20)]
    pub healthy: u64,
    /// How many rehearsals at a time (default: all cores).
    #[arg(long)]
    pub jobs: Option<usize>,
    /// Folder for the table as JSON and as a picture.
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
}

/// `explain`
#[derive(Debug, Args)]
pub struct Explain {
    /// Key of a limit, e.g. `contactor.close_delay`. Without it, all limits are listed.
    #[arg(value_name = "LIMIT")]
    pub key: Option<String>,
    /// Set of limits (default: all shipped ones).
    #[arg(long, value_name = "SET")]
    pub limits: Option<String>,
}

/// `calc`
#[derive(Debug, Args)]
pub struct Calc {
    /// The expression; with `-`, one for each line of the standard input.
    #[arg(value_name = "EXPRESSION", allow_hyphen_values = true)]
    pub expression: String,
    /// Unit to print in.
    #[arg(long, value_name = "UNIT")]
    pub unit: Option<String>,
}

/// `inspect`
#[derive(Debug, Args)]
pub struct Inspect {
    /// CSV file: time in seconds, volts of a pilot; or time, volts and amps of the mains. A heading line is skipped.
    #[arg(value_name = "FILE")]
    pub path: PathBuf,
    /// Set of limits; where none is named `iec_61851_1_2017` for a pilot, `iec_61000_3_2_class_a` for volts and amps.
    #[arg(long, value_name = "SET")]
    pub limits: Option<String>,
    /// The current that the unit is set to, e.g. `32 A`: judges the duty cycle.
    #[arg(long, value_name = "AMPS")]
    pub current: Option<String>,
    /// Leave the drawing out.
    #[arg(long)]
    pub no_drawing: bool,
}

/// Verbs that need a record only.
#[derive(Debug, Args)]
pub struct RecordOnly {
    /// Folder of the record.
    #[arg(value_name = "RECORD")]
    pub record: PathBuf,
}

/// `report`
#[derive(Debug, Args)]
pub struct Report {
    /// Folder of the record.
    #[arg(value_name = "RECORD")]
    pub record: PathBuf,
    /// Folder for the reports (default: `reports` beside the record).
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Make no PDF; that is faster.
    #[arg(long)]
    pub no_pdf: bool,
}

/// `schema`
#[derive(Debug, Args)]
pub struct Schema {
    /// Kind of file: sequence, chapter, limits, item, bench, driver, frames, defect or sides.
    #[arg(value_name = "KIND")]
    pub kind: String,
}

/// `completions`
#[derive(Debug, Args)]
pub struct Completions {
    /// The shell.
    #[arg(value_enum)]
    pub shell: clap_complete::Shell,
}
