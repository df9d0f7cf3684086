//! The one place that prints: data on standard output, everything else on standard error.

use std::fmt::Write as _;
use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;
use std::sync::Mutex;

use anstyle::{AnsiColor, Style};
use scatter::error::{Error, ErrorKind, Fault, Result};

/// Exit status of a command that failed: the disk or the system refused.
const FAILED: u8 = 1;
/// Exit status of bad input.
const BAD_INPUT: u8 = 2;
/// Exit status of a shot over its budget.
const OVER_BUDGET: u8 = 3;
/// The word that an error begins with.
const ALARM: Style = AnsiColor::Red.on_default().bold();

/// Where a command says things.
#[derive(Debug)]
pub(crate) struct Output {
    quiet: bool,
    terminal: bool,
    /// A progress line stands on the terminal.
    line: Mutex<bool>,
}

impl Output {
    /// For standard output and error as they are.
    pub(crate) fn new(quiet: bool) -> Self {
        Self {
            quiet,
            terminal: io::stderr().is_terminal(),
            line: Mutex::new(false),
        }
    }

    /// Writes data to standard output. A reader that has gone away is no error.
    pub(crate) fn data(&self, text: &str) -> Result<()> {
        let mut out = io::stdout().lock();
        match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            Err(e) if e.kind() != io::ErrorKind::BrokenPipe => Err(Error::new(
                ErrorKind::Failed,
                Fault::new(
                    "standard output",
                    format!("can't write: {e}"),
                    "check where the output goes",
                ),
            )),
            _ => Ok(()),
        }
    }

    /// Writes figures about what was made to standard output, unless the person asked for quiet.
    pub(crate) fn detail(&self, text: &str) -> Result<()> {
        if self.quiet { Ok(()) } else { self.data(text) }
    }

    /// Says what must not go unseen, asked for quiet or not.
    pub(crate) fn alert(&self, text: &str) {
        self.end_line();
        to_stderr(&format!("warning: {text}\n"));
    }

    /// Says something to the person, unless they asked for quiet.
    pub(crate) fn say(&self, text: &str) {
        if !self.quiet {
            self.end_line();
            to_stderr(&format!("{text}\n"));
        }
    }

    /// Says what is done otherwise than may be meant by a file, unless the person asked for quiet.
    pub(crate) fn warn(&self, file: &Path, text: &str) {
        self.say(&format!("warning: {}: {text}", file.display()));
    }

    /// Says on a terminal what is being done.
    pub(crate) fn progress(&self, stage: &str) {
        if self.terminal
            && !self.quiet
            && let Ok(mut standing) = self.line.lock()
        {
            to_stderr(&format!("\r\x1b[K{stage} .."));
            *standing = true;
        }
    }

    /// Says what went wrong with a command whose status 1 means something else; gives the exit
    /// status of trouble.
    pub(crate) fn trouble(&self, error: &Error) -> ExitCode {
        self.failed(error);
        ExitCode::from(BAD_INPUT)
    }

    /// Says what went wrong; gives the exit status.
    pub(crate) fn failed(&self, error: &Error) -> ExitCode {
        self.end_line();
        let text = format!("{ALARM}error:{ALARM:#} {error}\n");
        // Colour for a terminal that shows it, unless the person wants none (`NO_COLOR`)
        let _ = anstream::stderr().lock().write_all(text.as_bytes());
        ExitCode::from(match error.kind {
            ErrorKind::Input => BAD_INPUT,
            ErrorKind::OverBudget => OVER_BUDGET,
            _ => FAILED,
        })
    }

    /// Clears a standing progress line.
    fn end_line(&self) {
        if let Ok(mut standing) = self.line.lock()
            && std::mem::take(&mut *standing)
        {
            to_stderr("\r\x1b[K");
        }
    }
}

/// A message that can't be shown is lost: there is nowhere left to say so.
fn to_stderr(text: &str) {
    let _ = io::stderr().lock().write_all(text.as_bytes());
}

/// Prints what the argument reader has to say: help and version as data, mistakes on standard
/// error.
pub(crate) fn usage(told: &clap::Error) -> ExitCode {
    match told.print() {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => ExitCode::from(FAILED),
        _ => ExitCode::from(u8::try_from(told.exit_code()).unwrap_or(BAD_INPUT)),
    }
}

/// Rows in columns: the first to the left, the others to the right, two spaces between.
pub(crate) fn table(rows: &[Vec<String>]) -> String {
    table_from(rows, 1)
}

/// The same with the columns before the one of number `right` to the left.
pub(crate) fn table_from(rows: &[Vec<String>], right: usize) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| {
        rows.iter()
            .filter_map(|row| row.get(column))
            .map(|cell| cell.chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let mut text = String::new();
    for row in rows {
        let mut line = String::new();
        for (column, (cell, width)) in row.iter().zip(&widths).enumerate() {
            // Writing to a String can't fail.
            let gap = if column == 0 { "" } else { "  " };
            let _ = if column < right {
                write!(line, "{gap}{cell:<width$}")
            } else {
                write!(line, "{gap}{cell:>width$}")
            };
        }
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

/// A count with its thousands apart: 1234567 is `1 234 567`.
pub(crate) fn grouped(count: u64) -> String {
    let digits = count.to_string();
    let mut text = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_stand_apart() {
        assert_eq!(grouped(0), "0");
        assert_eq!(grouped(999), "999");
        assert_eq!(grouped(1000), "1 000");
        assert_eq!(grouped(1_234_567), "1 234 567");
    }

    #[test]
    fn columns_line_up() {
        let rows = [["a", "10"], ["long", "5"]].map(|row| row.map(str::to_owned).to_vec());
        assert_eq!(table(&rows), "a     10\nlong   5\n");
    }
}
