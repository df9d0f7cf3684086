//! What the targets of the readers share.

use std::path::Path;
use std::sync::OnceLock;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

use scatter::{Cancel, Session, Shot};
use scatter_tests::mutate::{self, Chance};
use scatter_tests::random_shots;
use scatter_tests::readers::{Desk, Reader};

/// Longest that a shot is dressed: most take a second.
const LONGEST: Duration = Duration::from_secs(10);

/// Reads bytes with a reader, on a desk that lasts as long as the process.
pub fn read(reader: &Reader, bytes: &[u8]) {
    static DESK: OnceLock<Desk> = OnceLock::new();
    let _ = reader.read(bytes, DESK.get_or_init(Desk::new));
}

/// Changes the first `size` of some bytes; the new size. Every second time as the form has it.
pub fn change(reader: &Reader, bytes: &mut [u8], size: usize, most: usize, seed: u32) -> usize {
    if seed & 1 == 0 {
        return libfuzzer_sys::fuzzer_mutate(bytes, size, most);
    }
    let file = bytes[..size].to_vec();
    let made = mutate::from(&file, &file, reader.form, &mut Chance::of(seed.into()));
    let size = made.len().min(most).min(bytes.len());
    bytes[..size].copy_from_slice(&made[..size]);
    size
}

/// A target of the reader of a name.
#[macro_export]
macro_rules! target {
    ($name:literal) => {
        use libfuzzer_sys::{fuzz_mutator, fuzz_target};
        use scatter_tests::readers::Reader;

        fuzz_target!(|bytes: &[u8]| strew_fuzz::read(&Reader::of($name), bytes));

        fuzz_mutator!(|bytes: &mut [u8], size: usize, most: usize, seed: u32| {
            strew_fuzz::change(&Reader::of($name), bytes, size, most, seed)
        });
    };
}

/// Dresses the shot whose choices some bytes are, within ten seconds: it is dressed, or refused in
/// words.
pub fn dress(bytes: &[u8]) {
    static DESK: OnceLock<Desk> = OnceLock::new();
    let text = random_shots::chosen(bytes).to_string();
    let shot = Shot::parse(&text, Path::new("shot.json"));
    let shot = shot.unwrap_or_else(|e| panic!("not as a shot should be: {e}\n{text}"));
    let brief = shot.brief().unwrap_or_else(|e| panic!("{e}\n{text}"));
    let (cancel, (done, waits)) = (Cancel::new(), mpsc::channel::<()>());
    let late = cancel.clone();
    let watch = std::thread::spawn(move || {
        if waits.recv_timeout(LONGEST) == Err(RecvTimeoutError::Timeout) {
            late.cancel();
        }
    });
    let folder = DESK.get_or_init(Desk::new).folder();
    let dressed = Session::forgetful(folder).dress(&brief, &|_| (), &cancel);
    drop(done);
    watch.join().unwrap_or_else(|_| panic!("the watch fails"));
    match dressed {
        Ok((layout, _)) => layout.validate().unwrap_or_else(|e| panic!("{e}\n{text}")),
        Err(e) => assert!(!e.faults.is_empty(), "no words: {text}"),
    }
}
