//! A way to stop long work from another thread.
//!
//! Work asks now and then: between steps with [`Cancel::check`], inside loops over threads with
//! [`Cancel::is_cancelled`], where a cancelled step gives anything that is quick, and the next check
//! drops it.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::error::{Error, ErrorKind, Fault, Result};

/// Stops work that it was given to. Clones stop the same work.
#[derive(Debug, Clone, Default)]
pub struct Cancel(Arc<AtomicBool>);

impl Cancel {
    /// One that nobody has used yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Stops the work: it returns an error of [`ErrorKind::Cancelled`] soon.
    pub fn cancel(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// Whether the work is to stop.
    #[must_use]
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }

    /// An error if the work is to stop.
    ///
    /// # Errors
    /// [`ErrorKind::Cancelled`] after [`Cancel::cancel`].
    pub fn check(&self) -> Result<()> {
        if self.is_cancelled() {
            let fault = Fault::new("", "cancelled", "");
            return Err(Error::new(ErrorKind::Cancelled, fault));
        }
        Ok(())
    }
}
