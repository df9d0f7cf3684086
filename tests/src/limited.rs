//! the `strew` command under limits of computing and memory, in words or not at all.

use std::fmt;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::shots::command;

/// What a run may take.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Seconds of computing, all threads together.
    pub cpu_s: u64,
    /// Bytes of addresses, in which all of its memory has to be.
    pub memory: u64,
}

/// The limits that random shots are held to.
pub const LIMITS: Limits = Limits {
    cpu_s: 20,
    memory: 2_000_000_000,
};

/// How a run ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum End {
    /// It delivered.
    Dressed,
    /// It refused the shot: exit status 2, and an error in words.
    Refused(String),
    /// It refused the shot as more than its budget: exit status 3, and an error in words.
    OverBudget(String),
    /// Neither, and what it said.
    Broke(Break, String),
}

/// How a run broke.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Break {
    /// It panicked.
    Panic,
    /// It took more than its seconds of computing, or waited for something.
    Time,
    /// It took more than its memory.
    Memory,
    /// It was killed for another reason.
    Killed,
    /// It failed without words, or with a status that tells of no fault of the shot.
    Wordless,
}

impl Break {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Panic,
        Self::Time,
        Self::Memory,
        Self::Killed,
        Self::Wordless,
    ];

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Panic => "panicked",
            Self::Time => "over time",
            Self::Memory => "over memory",
            Self::Killed => "killed",
            Self::Wordless => "without words",
        }
    }
}

/// A run.
#[derive(Debug, Clone)]
pub struct Run {
    /// How it ended.
    pub end: End,
    /// Seconds of computing, all threads together.
    pub cpu_s: f64,
    /// Most memory that was resident, bytes, as the system told it every few milliseconds.
    pub memory: u64,
    /// Seconds on the clock.
    pub wall_s: f64,
}

impl fmt::Display for Run {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (what, why) = match &self.end {
            End::Dressed => ("dressed", ""),
            End::Refused(why) | End::OverBudget(why) => ("refused", why.as_str()),
            End::Broke(_, why) => ("BROKE", why.as_str()),
        };
        write!(
            f,
            "{what:8} {:7.2} s computing {:7.2} s {:5} MB  {}",
            self.cpu_s,
            self.wall_s,
            self.memory / 1_000_000,
            why.lines().next().unwrap_or_default()
        )
    }
}

/// Between two looks at the process: short beside what a shot takes.
const LOOK: Duration = Duration::from_millis(5);
/// Clock ticks a second in `/proc`, on every Linux that Rust runs on.
const TICKS: f64 = 100.0;
/// A run that computes nothing for this long waits for something, and is ended. On a busy machine a
/// run takes many times its seconds of computing.
const IDLE: Duration = Duration::from_secs(60);

/// Dresses `shot.json` in a folder into its folder `out`, with two threads of the workspace's own
/// command.
///
/// # Panics
/// The command can't be started.
#[must_use]
pub fn dress(folder: &Path, limits: Limits) -> Run {
    dress_by(command(), folder, limits)
}

/// As [`dress`], with a command of one's own.
///
/// # Panics
/// The command can't be started.
#[must_use]
pub fn dress_by(command: &Path, folder: &Path, limits: Limits) -> Run {
    let errors = folder.join("stderr.txt");
    let file = fs::File::create(&errors).unwrap_or_else(|e| panic!("{}: {e}", errors.display()));
    let script = format!(
        "ulimit -t {}; ulimit -v {}; exec \"$0\" \"$@\"",
        limits.cpu_s,
        limits.memory / 1024
    );
    let begun = Instant::now();
    let mut child = Command::new("sh")
        .args(["-c", &script])
        .arg(command)
        .args(["dress", "shot.json", "--out", "out"])
        .current_dir(folder)
        // The same work and the same memory on any machine
        .env("RAYON_NUM_THREADS", "2")
        .env("RUST_BACKTRACE", "0")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(file)
        .spawn()
        .unwrap_or_else(|e| panic!("sh: {e}"));
    let (cpu_s, memory, idle) = watch(&mut child);
    let status = child.wait().unwrap_or_else(|e| panic!("{e}"));
    let words = fs::read_to_string(&errors).unwrap_or_default();
    let said = words.find("error:").map(|at| words[at..].to_owned());
    let panicked = words.contains("panicked");
    let end = match (status.code(), said) {
        (Some(0), _) if !panicked => End::Dressed,
        (Some(2), Some(said)) if !panicked => End::Refused(said),
        (Some(3), Some(said)) if !panicked => End::OverBudget(said),
        (code, _) => {
            // The system ends what passes its seconds. On a busy machine the last look was long before
            let over = cpu_s > 0.8 * limits.cpu_s as f64 || idle;
            let how = match code {
                _ if panicked => Break::Panic,
                _ if words.contains("memory allocation") => Break::Memory,
                None if over => Break::Time,
                None => Break::Killed,
                Some(_) => Break::Wordless,
            };
            End::Broke(how, format!("{}, {status}: {}", how.words(), words.trim()))
        }
    };
    Run {
        end,
        cpu_s,
        memory,
        wall_s: begun.elapsed().as_secs_f64(),
    }
}

/// Looks at a process until it has ended: its seconds of computing, most resident memory, and whether
/// it was ended because it did nothing.
fn watch(child: &mut Child) -> (f64, u64, bool) {
    let proc = Path::new("/proc").join(child.id().to_string());
    let (mut cpu_s, mut memory, mut idle) = (0.0, 0, false);
    let mut computed = Instant::now();
    while let Some((state, seconds)) = times(&proc) {
        if seconds > cpu_s {
            computed = Instant::now();
        }
        cpu_s = seconds;
        memory = memory.max(told_by_system(&proc, "VmHWM:"));
        // Ended, and not yet waited for
        if state == 'Z' {
            break;
        }
        if computed.elapsed() > IDLE {
            // It may have ended by itself in between
            idle = child.kill().is_ok();
        }
        std::thread::sleep(LOOK);
    }
    (cpu_s, memory, idle)
}

/// State and seconds of computing of a process.
fn times(proc: &Path) -> Option<(char, f64)> {
    let text = fs::read_to_string(proc.join("stat")).ok()?;
    // The name in brackets may hold anything
    let fields: Vec<&str> = text.rsplit(')').next()?.split_whitespace().collect();
    let ticks = |i: usize| fields.get(i).and_then(|f| f.parse::<f64>().ok());
    let state = fields.first()?.chars().next()?;
    Some((state, (ticks(11)? + ticks(12)?) / TICKS))
}

/// Memory of a process, bytes: what it has resident (`VmRSS:`) or had at most (`VmHWM:`).
pub(crate) fn told_by_system(proc: &Path, what: &str) -> u64 {
    let text = fs::read_to_string(proc.join("status")).unwrap_or_default();
    let line = text.lines().find_map(|l| l.strip_prefix(what));
    let kib = line.and_then(|l| l.split_whitespace().next()?.parse::<u64>().ok());
    kib.unwrap_or(0) * 1024
}
