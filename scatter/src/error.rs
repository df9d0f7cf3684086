//! What went wrong, sorted by who must act, with the place and what would be right.

use std::fmt;
use std::path::{Path, PathBuf};

/// One fault in one place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Where in the file: a JSON path such as `passes[2].sizes.from`, or `line 3, column 7`; empty
    /// for the file as a whole.
    pub place: String,
    /// What is wrong: what was found.
    pub problem: String,
    /// What would be right.
    pub hint: String,
}

/// Who must act on an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Kind {
    /// The input is wrong: a document, a mesh file, an option.
    Input,
    /// The shot asks for more than its budget.
    OverBudget,
    /// The disk or the system refused.
    Failed,
    /// The work was stopped by who asked for it.
    Cancelled,
}

/// An error of the library: one or more faults in one file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    /// Who must act.
    pub kind: Kind,
    /// The file that the faults are in, where there is one.
    pub file: Option<PathBuf>,
    /// At least one fault.
    pub faults: Vec<Fault>,
}

/// The library's result.
pub type Result<T> = std::result::Result<T, Error>;

impl Fault {
    /// A fault at `place`.
    pub fn new(
        place: impl Into<String>,
        problem: impl Into<String>,
        hint: impl Into<String>,
    ) -> Self {
        Self {
            place: place.into(),
            problem: problem.into(),
            hint: hint.into(),
        }
    }
}

impl Error {
    /// An error with one fault and no file yet.
    pub fn new(kind: Kind, fault: Fault) -> Self {
        Self {
            kind,
            file: None,
            faults: vec![fault],
        }
    }

    /// Bad input with one fault.
    pub fn input(
        place: impl Into<String>,
        problem: impl Into<String>,
        hint: impl Into<String>,
    ) -> Self {
        Self::new(Kind::Input, Fault::new(place, problem, hint))
    }

    /// The disk or the system refused to do `what` with `file`.
    pub fn io(file: &Path, what: &str, source: &std::io::Error, hint: impl Into<String>) -> Self {
        Self::new(
            Kind::Failed,
            Fault::new("", format!("{what}: {source}"), hint),
        )
        .in_file(file)
    }

    /// The same error, said of `file` unless it names one already.
    #[must_use]
    pub fn in_file(mut self, file: &Path) -> Self {
        self.file.get_or_insert_with(|| file.to_path_buf());
        self
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fault) in self.faults.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            if let Some(file) = &self.file {
                write!(f, "{}: ", file.display())?;
            }
            if !fault.place.is_empty() {
                write!(f, "{}: ", fault.place)?;
            }
            write!(f, "{}", fault.problem)?;
            if !fault.hint.is_empty() {
                write!(f, "\n  hint: {}", fault.hint)?;
            }
        }
        Ok(())
    }
}

impl std::error::Error for Error {}
