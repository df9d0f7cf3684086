//! The shot's cameras, frame by frame, with those that come from files.

use std::path::Path;

use crate::brief::{Camera, CameraInFile, Film};
use crate::error::Result;
use crate::kit::Shelf;
use crate::optics::Track;

/// The tracks of a brief's cameras, and what was left out while reading them; files that they name
/// are looked for in `folder`.
///
/// # Errors
/// A file can't be read, holds no such camera, or frames another picture.
pub fn tracks(cameras: &[Camera], folder: &Path) -> Result<(Vec<Track>, Vec<String>)> {
    let mut tracks = Vec::with_capacity(cameras.len());
    let mut warnings = Vec::new();
    for (i, camera) in cameras.iter().enumerate() {
        tracks.push(match camera {
            Camera::Known(track) => track.clone(),
            Camera::InFile(camera) => {
                let (track, told) = from_file(camera, folder, &format!("cameras[{i}]"))?;
                warnings.extend(told.into_iter().map(|w| format!("{}: {w}", camera.file)));
                track
            }
        });
    }
    Ok((tracks, warnings))
}

fn from_file(camera: &CameraInFile, folder: &Path, place: &str) -> Result<(Track, Vec<String>)> {
    let names = [camera.camera.as_deref(), camera.animation.as_deref()];
    let found = Shelf::of(folder).camera(&camera.file, names, &format!("{place}.file"))?;
    let film = Film {
        yfov: found.yfov,
        aspect: found.aspect,
        near: found.near,
        far: found.far,
        span: found.span,
        pose: &|t| found.pose(t),
    };
    let track = camera.track(&film).map_err(|mut e| {
        for fault in &mut e.faults {
            fault.place = format!("{place}.{}", fault.place);
        }
        e
    })?;
    Ok((track, found.warnings))
}
