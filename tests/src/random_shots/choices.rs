//! What the choices of a random shot are made by: a seed, or bytes and then a fixed seed.

use scatter::random::{Stream, join, stream};

/// Tells the choices from other uses of a seed.
const KEY: u64 = 0x0005_0715;

pub(super) struct Choices {
    /// What is left of the bytes, the next ones last.
    bytes: Vec<u8>,
    stream: Stream,
}

impl Choices {
    /// Those of a seed.
    pub(super) fn of(seed: u64) -> Self {
        Self {
            bytes: Vec::new(),
            stream: stream(join(seed, KEY)),
        }
    }

    /// Two bytes a choice, so that a changed byte changes one; what follows is the same for all.
    pub(super) fn from_bytes(bytes: &[u8]) -> Self {
        Self {
            bytes: bytes.iter().rev().copied().collect(),
            stream: stream(KEY),
        }
    }

    /// Uniform in [0, 1).
    pub(super) fn unit(&mut self) -> f64 {
        match self.next() {
            Some(next) => f64::from(next) / 65_536.0,
            None => self.stream.unit(),
        }
    }

    /// Uniform in [low, high).
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// 64 bits.
    pub(super) fn bits(&mut self) -> u64 {
        match self.next() {
            Some(next) => u64::from(next),
            None => self.stream.bits(),
        }
    }

    /// The next two bytes.
    fn next(&mut self) -> Option<u16> {
        let first = self.bytes.pop()?;
        Some(u16::from_le_bytes([first, self.bytes.pop().unwrap_or(0)]))
    }
}
