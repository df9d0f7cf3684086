//! STUB for the branch `shot` only.
use std::path::Path;
use std::sync::Arc;

use crate::error::Result;
use crate::shot::Shot;

use super::{Layout, PassRecord, Tally};

/// Told how far a dressing is.
pub trait Progress: Sync {
    /// The work on `stage` begins.
    fn stage(&self, stage: &str);
}

/// Dresses `shot`, whose files are relative to `folder`.
///
/// # Errors
/// None yet.
pub fn dress(shot: &Shot, folder: &Path, progress: &dyn Progress) -> Result<Layout> {
    let _ = folder;
    for pass in &shot.passes {
        progress.stage(&pass.name);
    }
    Ok(Layout {
        shot: shot.name.clone(),
        take: shot.take,
        cameras: shot
            .cameras
            .iter()
            .map(crate::shot::Camera::optics)
            .collect(),
        pieces: Arc::default(),
        passes: shot
            .passes
            .iter()
            .map(|p| PassRecord {
                name: p.name.clone(),
                tally: Tally::default(),
            })
            .collect(),
        instances: Vec::new(),
    })
}
