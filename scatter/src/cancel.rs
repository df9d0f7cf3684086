//! A way to stop long work from another thread.
//!
//! Long work polls it: between steps with [`Cancel::check`], inside parallel loops with
//! [`Cancel::is_cancelled`]. A cancelled loop returns anything quick; the next check discards it.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::error::{Error, ErrorKind, Fault, Result};

/// A flag that stops the work it is passed to. Clones share the flag.
#[derive(Debug, Clone, Default)]
pub struct Cancel(Arc<AtomicBool>);

impl Cancel {
    /// A flag that is not set.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Sets the flag: the work soon returns an error of [`ErrorKind::Cancelled`].
    pub fn cancel(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// Whether the flag is set.
    #[must_use]
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }

    /// Fails once the flag is set.
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
