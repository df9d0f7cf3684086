//! Many broken files through a reader, on several threads, each watched: what panics, takes too
//! long or too much memory is kept.

use std::fs;
use std::panic::{self, AssertUnwindSafe};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, Once};
use std::time::{Duration, Instant};

use crate::limited::told_by_system;
use crate::readers::{Desk, Reader};

/// Longest time that a reader may take over a small file, on the clock: a thousand times what it
/// takes, so that a busy machine is no find.
pub const LONGEST: Duration = Duration::from_secs(5);
/// A file that is still read after this long is given up, with all of the run.
const ENDLESS: Duration = Duration::from_secs(120);
/// Most memory that a reader may take over a small file, bytes: that of the largest picture.
pub const MOST_MEMORY: u64 = 2_000_000_000;
/// With this much memory the run is given up as well, before the system ends more than that.
const FAR_TOO_MUCH: u64 = 2 * MOST_MEMORY;
/// Between two looks at the readers: memory is filled at a few gigabytes a second.
const LOOK: Duration = Duration::from_millis(20);
/// A rise of the process's most memory that makes a file be read again by itself, bytes.
const RISE: u64 = 200_000_000;

/// A file that a reader could not cope with.
#[derive(Debug, Clone)]
pub struct Fault {
    /// Which one of the run.
    pub number: u64,
    /// The file.
    pub bytes: Vec<u8>,
    /// What came of it.
    pub why: String,
}

/// What came of a run.
#[derive(Debug, Default)]
pub struct Outcome {
    /// Files that were read.
    pub cases: u64,
    /// Those that were taken.
    pub taken: u64,
    /// Those that the reader could not cope with, in order.
    pub faults: Vec<Fault>,
}

/// Reads the files of some numbers. `file` makes each.
///
/// # Panics
/// A file is read for minutes: its desk is named, where it lies.
pub fn run(
    reader: &Reader,
    numbers: std::ops::Range<u64>,
    threads: usize,
    file: impl Fn(u64) -> Vec<u8> + Sync,
) -> Outcome {
    quiet();
    let next = AtomicU64::new(numbers.start);
    let outcome = Mutex::new(Outcome::default());
    let begun: Vec<Mutex<Option<Instant>>> =
        (0..threads.max(1)).map(|_| Mutex::default()).collect();
    let desks: Vec<Desk> = begun.iter().map(|_| Desk::new()).collect();
    let working = AtomicU64::new(begun.len() as u64);
    std::thread::scope(|scope| {
        for (begun, desk) in begun.iter().zip(&desks) {
            scope.spawn(|| {
                work(reader, desk, begun, &outcome, || {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    (number < numbers.end).then(|| (number, file(number)))
                });
                working.fetch_sub(1, Ordering::Relaxed);
            });
        }
        while working.load(Ordering::Relaxed) > 0 {
            std::thread::sleep(LOOK);
            let full = resident() > FAR_TOO_MUCH;
            let is_endless = |begun: &Mutex<Option<Instant>>| {
                let begun = *begun.lock().unwrap_or_else(|e| e.into_inner());
                begun.is_some_and(|b| b.elapsed() > ENDLESS)
            };
            if full || begun.iter().any(is_endless) {
                give_up(reader, &desks, if full { "memory" } else { "time" });
            }
        }
    });
    let mut outcome = outcome.into_inner().unwrap_or_else(|e| e.into_inner());
    outcome.faults.sort_by_key(|f| f.number);
    // On a thread without a name, whose panics are not told
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let desk = Desk::new();
            let faults = &mut outcome.faults;
            faults.retain_mut(|fault| judged(reader, fault, &desk));
        });
    });
    outcome
}

/// One thread's share of a run.
fn work(
    reader: &Reader,
    desk: &Desk,
    begun: &Mutex<Option<Instant>>,
    outcome: &Mutex<Outcome>,
    file: impl Fn() -> Option<(u64, Vec<u8>)>,
) {
    let set = |at| *begun.lock().unwrap_or_else(|e| e.into_inner()) = at;
    let (mut cases, mut taken) = (0, 0);
    while let Some((number, bytes)) = file() {
        let (before, start) = (most_memory(), Instant::now());
        set(Some(start));
        let read = one(reader, &bytes, desk);
        set(None);
        cases += 1;
        let why = match read {
            Err(why) => why,
            Ok(_) if start.elapsed() > LONGEST => format!("{:.1} s", start.elapsed().as_secs_f64()),
            Ok(_) if most_memory() > before + RISE => String::new(),
            Ok(was) => {
                taken += u64::from(was);
                continue;
            }
        };
        let fault = Fault { number, bytes, why };
        outcome
            .lock()
            .unwrap_or_else(|e| e.into_inner())
            .faults
            .push(fault);
    }
    let mut outcome = outcome.lock().unwrap_or_else(|e| e.into_inner());
    outcome.cases += cases;
    outcome.taken += taken;
}

/// Whether a fault is one when its file is read by itself; says what it is.
fn judged(reader: &Reader, fault: &mut Fault, desk: &Desk) -> bool {
    forget_most_memory();
    let (before, start) = (most_memory(), Instant::now());
    let read = one(reader, &fault.bytes, desk);
    let (took, memory) = (start.elapsed(), most_memory().saturating_sub(before));
    match read {
        Err(why) => fault.why = why,
        Ok(_) if took > LONGEST => fault.why = format!("{:.1} s", took.as_secs_f64()),
        Ok(_) if memory > MOST_MEMORY => fault.why = format!("{} MB", memory / 1_000_000),
        // Only in company: with a busy machine, or another's memory
        Ok(_) => return false,
    }
    true
}

/// Reads one file: whether it was taken, or how the reader panicked.
///
/// # Errors
/// The panic's words and place.
pub fn one(reader: &Reader, bytes: &[u8], desk: &Desk) -> Result<bool, String> {
    quiet();
    let read = panic::catch_unwind(AssertUnwindSafe(|| reader.read(bytes, desk)));
    read.map_err(|_| LAST.lock().unwrap_or_else(|e| e.into_inner()).clone())
}

/// The words of the last panic of any thread: a reader's work may be done by others.
static LAST: Mutex<String> = Mutex::new(String::new());

/// Panics of threads without a name are kept instead of told: those of a run and of a pool.
fn quiet() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let told = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if std::thread::current().name().is_some() {
                told(info);
            }
            *LAST.lock().unwrap_or_else(|e| e.into_inner()) = info.to_string();
        }));
    });
}

/// Ends the process, since a thread can't be ended, and keeps what is read.
#[expect(clippy::print_stderr, reason = "nobody is left to tell it")]
fn give_up(reader: &Reader, desks: &[Desk], what: &str) -> ! {
    let kept = std::env::temp_dir().join(format!("strew-given-up-{}", reader.name));
    for (i, desk) in desks.iter().enumerate() {
        let of_desk = kept.join(i.to_string());
        let _ = fs::create_dir_all(&of_desk);
        for entry in fs::read_dir(desk.folder()).into_iter().flatten().flatten() {
            let _ = fs::copy(entry.path(), of_desk.join(entry.file_name()));
        }
    }
    eprintln!(
        "{}: no end of {what} over a file in {}",
        reader.name,
        kept.display()
    );
    std::process::abort();
}

/// Memory that this process has resident, bytes; 0 where the system does not tell.
fn resident() -> u64 {
    told_by_system("/proc/self".as_ref(), "VmRSS:")
}

/// Most memory that this process had resident, bytes; 0 where the system does not tell.
fn most_memory() -> u64 {
    told_by_system("/proc/self".as_ref(), "VmHWM:")
}

/// What was most is no longer remembered, where the system can forget.
fn forget_most_memory() {
    let _ = fs::write("/proc/self/clear_refs", "5");
}
