//! What the time goes into.

use std::time::Instant;

/// How long one stage of the work took.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// What was done, such as `place gravel`.
    pub name: String,
    /// Wall-clock seconds.
    pub seconds: f64,
}

/// Splits the time into stages.
#[derive(Debug)]
pub(super) struct Clock {
    last: Instant,
    pub(super) stages: Vec<Stage>,
}

impl Default for Clock {
    fn default() -> Self {
        Self {
            last: Instant::now(),
            stages: Vec::new(),
        }
    }
}

impl Clock {
    /// Ends a stage.
    pub(super) fn stage(&mut self, name: &str) {
        let now = Instant::now();
        self.stages.push(Stage {
            name: name.to_owned(),
            seconds: (now - self.last).as_secs_f64(),
        });
        self.last = now;
    }
}
