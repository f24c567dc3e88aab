//! A temporary folder to run the binary in, what came of it, and one redactor for everything that differs from run to run.
#![allow(dead_code, reason = "shared by two test targets")]

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use tempfile::TempDir;

/// A folder of its own for one test.
pub(crate) struct Place(TempDir);

/// What a call of the binary brought.
#[derive(Debug)]
pub(crate) struct Ran {
    /// Exit code.
    pub(crate) code: i32,
    /// Standard output.
    pub(crate) out: String,
    /// Standard error.
    pub(crate) err: String,
}

impl Place {
    pub(crate) fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    /// Writes a file and gives its name.
    pub(crate) fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> String {
        std::fs::write(self.path().join(name), bytes).unwrap();
        name.to_owned()
    }

    /// Runs the binary here, without a terminal.
    pub(crate) fn run(&self, arguments: &[&str]) -> Ran {
        self.run_with(arguments, &[], "")
    }

    pub(crate) fn run_with(&self, arguments: &[&str], variables: &[(&str, &str)], input: &str) -> Ran {
        let mut command = assert_cmd::Command::new(binary());
        command
            .current_dir(self.path())
            .args(arguments)
            .envs(variables.iter().copied())
            .write_stdin(input);
        let output = command.output().unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("what is printed is UTF-8");
        let code = output.status.code().expect("the binary ends by itself");
        Ran {
            code,
            out: text(output.stdout),
            err: text(output.stderr),
        }
    }
}

impl Ran {
    #[track_caller]
    pub(crate) fn exits(self, code: i32) -> Self {
        assert_eq!(self.code, code, "{self:#?}");
        self
    }

    /// The standard output as one JSON value.
    #[track_caller]
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {self:#?}"))
    }

    /// The standard output as JSON lines.
    #[track_caller]
    pub(crate) fn json_lines(&self) -> Vec<Value> {
        let lines = self.out.lines().map(serde_json::from_str);
        lines
            .collect::<Result<_, _>>()
            .unwrap_or_else(|error| panic!("{error}: {self:#?}"))
    }

    /// Wrong usage: exit code 2, nothing on the standard output, a message that holds these words, and a mend.
    #[track_caller]
    pub(crate) fn refused(&self, words: &[&str]) {
        assert_eq!((self.code, self.out.as_str()), (2, ""), "{self:#?}");
        assert!(self.err.contains("mend: "), "{self:#?}");
        for word in words {
            assert!(self.err.contains(word), "no {word:?}: {self:#?}");
        }
    }
}

pub(crate) fn binary() -> &'static str {
    env!("CARGO_BIN_EXE_pilotage")
}

/// A file or folder of the repository.
pub(crate) fn repository(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Every YAML file below a folder of the repository, in order.
pub(crate) fn yaml_below(folder: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![repository(folder)];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "yaml") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// The record of a healthy rehearsal without a PDF. Tests read it; who changes one makes a copy.
pub(crate) fn healthy() -> &'static Path {
    static RECORD: OnceLock<PathBuf> = OnceLock::new();
    RECORD.get_or_init(|| {
        let place = Place::new();
        place
            .run(&["rehearse", "wall_unit/quick_check", "--no-pdf", "--out", "healthy"])
            .exits(0);
        let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("healthy-{}", std::process::id()));
        copy(&place.path().join("healthy"), &kept);
        kept
    })
}

/// Copies a folder.
pub(crate) fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy(&path, &target);
        } else {
            std::fs::copy(&path, &target).unwrap();
        }
    }
}

/// A copy of the healthy record in a folder of its own.
pub(crate) fn copied() -> (Place, PathBuf) {
    let place = Place::new();
    let record = place.path().join("record");
    copy(healthy(), &record);
    (place, record)
}

/// Every file below a folder with its bytes, by its path within it.
pub(crate) fn files(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut all = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(below) = folders.pop() {
        for entry in std::fs::read_dir(&below).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let bytes = std::fs::read(&path).unwrap();
                all.push((path.strip_prefix(folder).unwrap().to_owned(), bytes));
            }
        }
    }
    all.sort();
    all
}

/// Snapshots with one redactor: paths of this machine and hashes.
pub(crate) fn snapshot(name: &str, text: &str) {
    let mut settings = insta::Settings::clone_current();
    settings.set_omit_expression(true);
    settings.set_prepend_module_to_snapshot(false);
    settings.set_snapshot_path("snapshots");
    settings.add_filter(r"(/[\w.-]+)+/\.tmp\w+", "[folder]");
    settings.add_filter(r"\b[0-9a-f]{64}\b", "[hash]");
    settings.add_filter(r"\b0\.\d+\.\d+\b", "[version]");
    settings.add_filter(r"\b\d\.\d+e-1\d\b", "[rounding]");
    // Readings of the virtual bench, which change whenever its noise or its physics do.
    settings.add_filter(r"-?\d[\d.]* (V|mV|s|ms|%|mΩ) \(", "[reading] (");
    settings.add_filter(r"\b08:\d\d:\d\d\b", "[time]");
    settings.bind(|| insta::assert_snapshot!(name, text));
}
