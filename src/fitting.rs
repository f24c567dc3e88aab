//! All files of a run, read and fitted: the sequence names the rest, the command line may name others.

use crate::args::{Fitting, Rule};
use crate::failure::{Failure, Problems};
use crate::folder::hexadecimal;
use crate::shipped::{Shelf, Shelves, Text, did_you_mean};
use pilotage_evidence::heading::InputFile;
use pilotage_evidence::{DecisionRule, ItemKind};
use pilotage_plan::files::bench::BenchFile;
use pilotage_plan::files::chapter::{ChapterFile, WrittenSequence};
use pilotage_plan::files::defect::DefectFile;
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::files::item::ItemFile;
use pilotage_plan::files::limits::LimitsFile;
use pilotage_plan::files::sequence::SequenceFile;
use pilotage_plan::files::sides::SidesFile;
use pilotage_plan::fit::{FitRequest, fit, take_in, unknown_driver, unknown_file, whole};
use pilotage_plan::frame_driver;
use pilotage_plan::lower::{self, AnyFile, read as reading};
use pilotage_plan::problem::Problem;
use pilotage_plan::program::Program;
use pilotage_plan::source::Sp;
use pilotage_plan::tree;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::path::Path;

/// One file that went in: its role and its bytes.
#[derive(Debug, Clone)]
pub struct Input {
    /// What it is: sequence, chapter, item, bench, driver, limits, defect, sides.
    pub role: &'static str,
    /// Name and bytes.
    pub text: Text,
}

impl Input {
    /// Its entry in a heading.
    pub fn entry(&self) -> InputFile {
        InputFile {
            role: self.role.to_owned(),
            name: self.text.name.clone(),
            sha256: hexadecimal(&Sha256::digest(&self.text.bytes)),
        }
    }
}

/// Everything that a run needs.
#[derive(Debug)]
pub struct Fitted {
    /// The sequence.
    pub sequence: SequenceFile,
    /// The item.
    pub item: ItemFile,
    /// The bench.
    pub bench: BenchFile,
    /// Drivers by name.
    pub drivers: BTreeMap<String, DriverFile>,
    /// Limits.
    pub limits: LimitsFile,
    /// Side rules.
    pub sides: SidesFile,
    /// The defect given to the virtual item.
    pub defect: Option<DefectFile>,
    /// The program.
    pub program: Program,
    /// The files as they went in.
    pub inputs: Vec<Input>,
}

/// Reads texts of all kinds and keeps them for messages and for the record.
pub struct Reader<'a> {
    shelves: &'a Shelves,
    texts: Vec<(String, String)>,
    /// The files as they were read.
    pub inputs: Vec<Input>,
}

impl<'a> Reader<'a> {
    /// Looks in these shelves.
    pub fn new(shelves: &'a Shelves) -> Self {
        Self {
            shelves,
            texts: Vec::new(),
            inputs: Vec::new(),
        }
    }

    /// Reads one file of a kind.
    pub fn read<T>(
        &mut self,
        shelf: Shelf,
        role: &'static str,
        name: &str,
        read: fn(&str, &str) -> Result<T, Vec<Problem>>,
    ) -> Result<T, Failure> {
        let text = self.shelves.find(shelf, name)?;
        self.read_text(role, text, read)
    }

    /// Reads a text that was found already.
    pub fn read_text<T>(
        &mut self,
        role: &'static str,
        text: Text,
        read: fn(&str, &str) -> Result<T, Vec<Problem>>,
    ) -> Result<T, Failure> {
        let source = tree::decode(&text.name, &text.bytes)
            .map_err(|problem| self.refuse(vec![*problem]))?
            .to_owned();
        self.texts.push((text.name.clone(), source.clone()));
        let file = read(&text.name, &source).map_err(|problems| self.refuse(problems))?;
        self.inputs.push(Input { role, text });
        Ok(file)
    }

    /// A sequence with its chapters.
    pub fn sequence(&mut self, name: &str) -> Result<SequenceFile, Failure> {
        let written = self.read(Shelf::Sequences, "sequence", name, reading::read_sequence)?;
        self.whole(written)
    }

    /// Takes the chapters of a sequence in.
    pub fn whole(&mut self, written: WrittenSequence) -> Result<SequenceFile, Failure> {
        whole(written, &mut |name| self.chapter(name)).map_err(|problems| self.refuse(problems))
    }

    fn chapter(&mut self, name: &Sp<String>) -> Result<ChapterFile, Vec<Problem>> {
        self.read_named(Shelf::Chapters, "chapter", name, reading::read_chapter)
    }

    /// Reads a file that another one names; where it is not found, the problem has that place.
    fn read_named<T>(
        &mut self,
        shelf: Shelf,
        role: &'static str,
        name: &Sp<String>,
        read: fn(&str, &str) -> Result<T, Vec<Problem>>,
    ) -> Result<T, Vec<Problem>> {
        let found = self.read(shelf, role, &name.value, read);
        found.map_err(|failure| match failure {
            Failure::Problems(problems) => problems.problems,
            other => {
                let mend = other.mend().unwrap_or("give another one").to_owned();
                vec![match shelf {
                    Shelf::Drivers => unknown_driver(name, other.to_string(), mend),
                    _ => unknown_file(shelf.word(), name, other.to_string(), mend),
                }]
            }
        })
    }

    /// Reads the file that was given, else the one that the sequence names.
    fn read_chosen<T>(
        &mut self,
        shelf: Shelf,
        role: &'static str,
        chosen: &Chosen,
        read: fn(&str, &str) -> Result<T, Vec<Problem>>,
    ) -> Result<T, Failure> {
        match chosen {
            Chosen::Given(name) => self.read(shelf, role, name, read),
            Chosen::InSequence(name) => {
                let found = self.read_named(shelf, role, name, read);
                found.map_err(|problems| self.refuse(problems))
            }
        }
    }

    /// Problems with the texts that they stand in.
    pub fn refuse(&self, problems: Vec<Problem>) -> Failure {
        Failure::Problems(Box::new(Problems {
            problems,
            texts: self.texts.clone(),
        }))
    }
}

/// What a run is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Request<'a> {
    /// Path or shipped name of the sequence.
    pub sequence: &'a str,
    /// Other files.
    pub fitting: &'a Fitting,
    /// The defect given to the virtual item.
    pub defect: Option<&'a str>,
}

/// Reads all files and fits them.
pub fn load(request: Request<'_>, shelves: &Shelves) -> Result<Fitted, Failure> {
    let shelves = beside(request.sequence, shelves);
    let mut reader = Reader::new(&shelves);
    let sequence = reader.sequence(request.sequence)?;
    let given = request.fitting;
    let item = Chosen::of(given.item.as_ref(), sequence.default_item.as_ref(), "item")?;
    let bench = Chosen::of(given.bench.as_ref(), sequence.default_bench.as_ref(), "bench")?;
    let limits = Chosen::of(given.limits.as_ref(), Some(&sequence.limits), "limits")?;
    let item = reader.read_chosen(Shelf::Items, "item", &item, reading::read_item)?;
    let bench = reader.read_chosen(Shelf::Benches, "bench", &bench, reading::read_bench)?;
    let limits = limit_sets(&limits, &sequence, &mut reader)?;
    let drivers = drivers(&bench, &mut reader)?;
    // Problems of the files come first: a kind of item without side rules cannot be fitted anyway.
    let sides = reader.read(Shelf::Sides, "sides", item.kind.value.word(), reading::read_sides);
    let defect = request
        .defect
        .map(|id| defect(id, item.kind.value, &mut reader))
        .transpose()?;
    let entries: Vec<InputFile> = reader.inputs.iter().map(Input::entry).collect();
    let program = fit(FitRequest {
        sequence: &sequence,
        item: &item,
        bench: &bench,
        drivers: &drivers,
        limits: &limits,
        decision_rule: rule(request.fitting.rule),
        inputs: &entries,
    })
    .map_err(|problems| reader.refuse(problems))?;
    let sides = sides?;
    Ok(Fitted {
        sequence,
        item,
        bench,
        drivers,
        limits,
        sides,
        defect,
        program,
        inputs: reader.inputs,
    })
}

/// The chosen set, and the further ones of the sequence.
fn limit_sets(chosen: &Chosen, sequence: &SequenceFile, reader: &mut Reader<'_>) -> Result<LimitsFile, Failure> {
    let mut limits = reader.read_chosen(Shelf::Limits, "limits", chosen, reading::read_limits)?;
    let first = limits.name.value.clone();
    for further in sequence.more_limits.iter().filter(|further| further.value != first) {
        let further = Chosen::InSequence(further.clone());
        let further = reader.read_chosen(Shelf::Limits, "limits", &further, reading::read_limits)?;
        take_in(&mut limits, further).map_err(|problems| reader.refuse(problems))?;
    }
    Ok(limits)
}

/// The folder of a sequence given by its path comes before the shipped files.
pub fn beside(sequence: &str, shelves: &Shelves) -> Shelves {
    let mut shelves = shelves.clone();
    let path = Path::new(sequence);
    if let (true, Some(folder)) = (path.is_file(), path.parent()) {
        shelves.folders.push(folder.to_owned());
    }
    shelves
}

/// The name of a file.
enum Chosen {
    /// As an option of the command.
    Given(String),
    /// As it stands in the sequence.
    InSequence(Sp<String>),
}

impl Chosen {
    fn of(given: Option<&String>, default: Option<&Sp<String>>, what: &str) -> Result<Self, Failure> {
        let given = given.cloned().map(Self::Given);
        given.or_else(|| default.cloned().map(Self::InSequence)).ok_or_else(|| {
            Failure::usage(
                format!("the sequence names no {what}, and none was given"),
                format!("give one with --{what}, or write default_{what} into the sequence"),
            )
        })
    }
}

/// A driver file; or the one that is made from a file of frames.
pub fn driver_or_frames(name: &str, text: &str) -> Result<DriverFile, Vec<Problem>> {
    match lower::read(name, text) {
        Ok(AnyFile::Frames(frames)) => Ok(frame_driver::driver_of(&frames)),
        Ok(AnyFile::Driver(driver)) => Ok(driver),
        Ok(_) => reading::read_driver(name, text),
        Err(problems) => Err(problems),
    }
}

/// The drivers that a bench names.
pub fn drivers(bench: &BenchFile, reader: &mut Reader<'_>) -> Result<BTreeMap<String, DriverFile>, Failure> {
    let mut drivers = BTreeMap::new();
    for instrument in &bench.instruments {
        let name = &instrument.driver.value;
        if !drivers.contains_key(name) {
            let read = reader.read_named(Shelf::Drivers, "driver", &instrument.driver, driver_or_frames);
            let driver = read.map_err(|problems| reader.refuse(problems))?;
            drivers.insert(name.clone(), driver);
        }
    }
    Ok(drivers)
}

/// A defect by its id, that of the kind of item before those of others, or by its file.
fn defect(id: &str, kind: ItemKind, reader: &mut Reader<'_>) -> Result<DefectFile, Failure> {
    let all = all_defects(reader.shelves)?;
    let known: Vec<String> = all
        .iter()
        .filter(|(_, file)| file.item.value == kind)
        .map(|(_, file)| file.id.value.clone())
        .collect();
    let (of_kind, of_others) = all
        .into_iter()
        .filter(|(_, file)| file.id.value.eq_ignore_ascii_case(id))
        .partition::<Vec<_>, _>(|(_, file)| file.item.value == kind);
    let found = of_kind.into_iter().chain(of_others).next().map(|(text, _)| text);
    let Ok(text) = found.map_or_else(|| reader.shelves.find(Shelf::Defects, id), Ok) else {
        return Err(Failure::usage(
            format!("no defect is called `{id}`, and there is no such file"),
            did_you_mean(id, &known, "`pilotage defects` lists all"),
        ));
    };
    reader.read_text("defect", text, reading::read_defect)
}

/// Every defect with its text: those in the folders `defects` of the given ones, then the shipped ones that no own one of that id and kind
/// replaces, each in the order of the files.
pub fn all_defects(shelves: &Shelves) -> Result<Vec<(Text, DefectFile)>, Failure> {
    let mut all: Vec<(Text, DefectFile)> = Vec::new();
    for text in shelves
        .own(Shelf::Defects)?
        .into_iter()
        .chain(Shelves::all(Shelf::Defects))
    {
        let file = Reader::new(shelves).read_text("defect", text.clone(), reading::read_defect)?;
        let same = |known: &DefectFile| {
            known.id.value.eq_ignore_ascii_case(&file.id.value) && known.item.value == file.item.value
        };
        if !all.iter().any(|(_, known)| same(known)) {
            all.push((text, file));
        }
    }
    Ok(all)
}

fn rule(rule: Rule) -> DecisionRule {
    match rule {
        Rule::Simple => DecisionRule::Simple,
        Rule::GuardBanded => DecisionRule::GuardBanded,
    }
}

/// The bench's drivers and all shipped ones.
pub fn bench_drivers_and_shipped(fitted: &Fitted) -> BTreeMap<String, DriverFile> {
    let shelves = Shelves::default();
    let shipped = Shelves::all(Shelf::Drivers)
        .into_iter()
        .filter_map(|text| Reader::new(&shelves).read_text("driver", text, driver_or_frames).ok());
    let mut all: BTreeMap<String, DriverFile> = shipped.map(|driver| (driver.name.value.clone(), driver)).collect();
    all.extend(fitted.drivers.clone());
    all
}
