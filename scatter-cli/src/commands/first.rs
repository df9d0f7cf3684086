//! The first picture of `scatter look`: coarse, and there long before the full one.

use std::path::Path;

use scatter::error::{Error, Result};
use scatter::layout::{Dresser, Earlier};
use scatter::optics::Camera;
use scatter::picture::{self, BLOCK, LookOptions, Setting, Tone, TracedKit};

use super::scene::{Found, write_picture};
use crate::output::Output;

/// Pixels from which a coarse picture comes first: smaller ones are there nearly as soon
/// themselves.
const FROM: u64 = 100_000;

/// Whether a coarse picture is to come before one of these options.
pub(super) fn wanted(camera: &Camera, options: &LookOptions) -> bool {
    u64::from(options.width) * u64::from(options.height(camera)) >= FROM
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
    /// is left in `earlier`.
    pub(super) fn show(
        &self,
        earlier: &mut Earlier,
        (path, tone): (&Path, Tone),
        output: &Output,
    ) -> Result<()> {
        let mut shot = self.found.shot.clone();
        let pixel = f64::from(self.camera.frame[0]) / f64::from(self.options.width);
        // Sizes too small to see never change where the larger ones are
        shot.resolve.pixels = shot.resolve.pixels.max(f64::from(BLOCK) * pixel);
        let in_file = |e: Error| e.in_file(&self.found.file);
        let dresser = Dresser::after(&shot, self.found.folder(), earlier).map_err(in_file)?;
        let dresser = dresser.sketching();
        let told = |stage: &str| output.progress(&format!("{stage}, coarse"));
        let dressed = dresser
            .dress_after(shot.take, earlier, &told)
            .map_err(in_file)?;
        let setting = Setting::new(&shot, &dresser);
        let scene = setting.scene(&dressed.layout);
        let picture = picture::coarse(self.kit, &scene, self.camera, self.options)?;
        write_picture(path, &picture, tone)
    }
}
