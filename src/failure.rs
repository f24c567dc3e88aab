//! What can go wrong before and after a run, with its exit code.

use crate::shipped::NotFound;
use pilotage_plan::problem::Problem;

/// Why a verb could not do its work. Verdicts of a run are not failures: they are answers.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// Something is wrong with files.
    #[error("{} problem(s) in the files", .0.problems.len())]
    Problems(Box<Problems>),
    /// A file was not found.
    #[error("{0}")]
    NotFound(#[from] NotFound),
    /// What was typed does not fit.
    #[error("{message}")]
    Usage {
        /// What was expected and what came.
        message: String,
        /// How to mend it.
        mend: String,
    },
    /// A person stopped it with Ctrl-C.
    #[error("{message}")]
    Stopped {
        /// What was stopped, and how far it had come.
        message: String,
    },
    /// The disk, a link or the program itself failed.
    #[error("{message}")]
    Broken {
        /// What failed, where.
        message: String,
        /// How to mend it.
        mend: String,
    },
}

/// Problems with the texts that they stand in.
#[derive(Debug)]
pub struct Problems {
    /// All of them, in the order of their places.
    pub problems: Vec<Problem>,
    /// Name and text of each file.
    pub texts: Vec<(String, String)>,
}

impl Failure {
    /// Wrong usage.
    pub fn usage(message: impl Into<String>, mend: impl Into<String>) -> Self {
        Self::Usage {
            message: message.into(),
            mend: mend.into(),
        }
    }

    /// The disk, a link or the program itself failed.
    pub fn broken(message: impl Into<String>, mend: impl Into<String>) -> Self {
        Self::Broken {
            message: message.into(),
            mend: mend.into(),
        }
    }

    /// An error of the file system, with the file that it concerns.
    pub fn disk(path: &std::path::Path, error: &std::io::Error) -> Self {
        Self::broken(
            format!("{}: {error}", path.display()),
            "check that the folder exists, may be written, and that the disk has room".to_owned(),
        )
    }

    /// By the table of exit codes.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Problems(_) | Self::NotFound(_) | Self::Usage { .. } => 2,
            Self::Stopped { .. } => 4,
            Self::Broken { .. } => 5,
        }
    }

    /// How to mend it, where that is not part of the message.
    pub fn mend(&self) -> Option<&str> {
        match self {
            Self::Problems(_) | Self::Stopped { .. } => None,
            Self::NotFound(not_found) => Some(&not_found.mend),
            Self::Usage { mend, .. } | Self::Broken { mend, .. } => Some(mend),
        }
    }
}
