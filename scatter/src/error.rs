//! What went wrong, sorted by who must act, with the place and what would be right.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

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
pub enum ErrorKind {
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
    pub kind: ErrorKind,
    /// The file that the faults are in, where there is one.
    pub file: Option<PathBuf>,
    /// At least one fault.
    pub faults: Vec<Fault>,
    /// What the system said, where that is behind it.
    pub cause: Option<Cause>,
}

/// An error of the system that is behind one of the library's.
#[derive(Debug, Clone)]
pub struct Cause(Arc<io::Error>);

impl Cause {
    /// A copy of an error: its code, where it has one, else its kind and its text.
    fn of(source: &io::Error) -> Self {
        let copy = match source.raw_os_error() {
            Some(code) => io::Error::from_raw_os_error(code),
            None => io::Error::new(source.kind(), source.to_string()),
        };
        Self(Arc::new(copy))
    }

    /// What kind of error it is.
    #[must_use]
    pub fn kind(&self) -> io::ErrorKind {
        self.0.kind()
    }
}

impl PartialEq for Cause {
    fn eq(&self, other: &Self) -> bool {
        self.kind() == other.kind() && self.0.to_string() == other.0.to_string()
    }
}

impl Eq for Cause {}

/// The library's result.
pub type Result<T> = std::result::Result<T, Error>;

impl Fault {
    /// A fault at `place`. Of texts that are longer than a person reads, such as a key of a
    /// megabyte, the beginning and the end are kept.
    pub fn new(
        place: impl Into<String>,
        problem: impl Into<String>,
        hint: impl Into<String>,
    ) -> Self {
        Self {
            place: clipped(place.into()),
            problem: clipped(problem.into()),
            hint: clipped(hint.into()),
        }
    }
}

/// Longest text of a fault, characters: room for the longest list of names that may be meant.
const MAX_TEXT: usize = 1000;

/// A text of at most [`MAX_TEXT`] characters, with its middle left out if it is longer.
fn clipped(text: String) -> String {
    // Bytes are at least as many as characters, and counting those of a long text takes time
    if text.len() <= MAX_TEXT {
        return text;
    }
    let half = MAX_TEXT / 2 - 2;
    let cut = |mut ends: std::str::CharIndices<'_>| ends.nth(half).map_or(text.len(), |(i, _)| i);
    let head = cut(text.char_indices());
    let tail = text.char_indices().rev().nth(half).map_or(0, |(i, _)| i);
    if tail <= head {
        return text;
    }
    format!("{} ... {}", &text[..head], &text[tail..])
}

impl Error {
    /// An error with one fault and no file yet.
    pub fn new(kind: ErrorKind, fault: Fault) -> Self {
        Self {
            kind,
            file: None,
            faults: vec![fault],
            cause: None,
        }
    }

    /// Bad input with one fault.
    pub fn input(
        place: impl Into<String>,
        problem: impl Into<String>,
        hint: impl Into<String>,
    ) -> Self {
        Self::new(ErrorKind::Input, Fault::new(place, problem, hint))
    }

    /// The disk or the system refused to do `what` with `file`.
    pub fn io(file: &Path, what: &str, source: &io::Error, hint: impl Into<String>) -> Self {
        let fault = Fault::new("", format!("{what}: {source}"), hint);
        Self {
            cause: Some(Cause::of(source)),
            ..Self::new(ErrorKind::Failed, fault).in_file(file)
        }
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

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        let cause = self.cause.as_ref();
        cause.map(|c| &*c.0 as &(dyn std::error::Error + 'static))
    }
}
