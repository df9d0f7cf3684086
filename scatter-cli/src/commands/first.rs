//! The first picture of `strew look`: coarse, and there long before the full one.

use std::path::Path;

use scatter::cancel::Cancel;
use scatter::error::{Error, Result};
use scatter::optics::Camera;
use scatter::picture::{self, BLOCK, LookOptions, Subject, TracedKit};
use scatter::session::Session;

use super::scene::{Found, Print, write_picture};
use crate::output::Output;

/// Pixels from which a coarse picture comes first: smaller ones are there nearly as soon
/// themselves.
const FROM: u64 = 100_000;

/// Whether a coarse picture is to come before one of these options.
pub(super) fn wanted(camera: &Camera, options: &LookOptions) -> bool {
    let part = options.part(camera);
    u64::from(part.width) * u64::from(part.height) >= FROM
}

/// What a coarse picture is made of.
pub(super) struct First<'a> {
    pub(super) found: &'a Found,
    pub(super) kit: &'a TracedKit,
    pub(super) camera: &'a Camera,
    pub(super) options: &'a LookOptions,
}

impl First<'_> {
    /// Shows the shot in blocks, with the pieces alone that are as large as a block; how they lie
    /// is remembered by the session.
    pub(super) fn show(
        &self,
        session: &mut Session,
        (path, print): (&Path, Print),
        output: &Output,
    ) -> Result<()> {
        let mut brief = self.found.brief()?;
        let pixel = f64::from(self.camera.frame[0]) / f64::from(self.options.width);
        // Sizes too small to see never change where the larger ones are
        brief.resolve.pixels = brief.resolve.pixels.max(f64::from(BLOCK) * pixel);
        brief.sketch = true;
        let in_file = |e: Error| e.in_file(&self.found.file);
        let told = |stage: &str| output.progress(&format!("{stage}, coarse"));
        let dressed = session.dress(&brief, &told, &Cancel::new());
        let (layout, _) = dressed.map_err(in_file)?;
        let prepared = session.prepare(&brief).map_err(in_file)?;
        let subject = Subject::new(prepared.scene(), &layout);
        let picture = picture::coarse(self.kit, &subject, self.camera, self.options)?;
        write_picture(path, &picture, print)
    }
}
