//! The shot's cameras, frame by frame, with those that come from files.

use std::path::Path;

use crate::brief::{Camera, CameraInFile, Film};
use crate::error::{Error, Result};
use crate::kit::gltf;
use crate::optics::Track;

/// The tracks of a brief's cameras; files that they name are looked for in `folder`.
///
/// # Errors
/// A file can't be read, holds no such camera, or frames another picture.
pub fn tracks(cameras: &[Camera], folder: &Path) -> Result<Vec<Track>> {
    cameras
        .iter()
        .enumerate()
        .map(|(i, camera)| match camera {
            Camera::Known(track) => Ok(track.clone()),
            Camera::InFile(camera) => from_file(camera, folder, &format!("cameras[{i}]")),
        })
        .collect()
}

fn from_file(camera: &CameraInFile, folder: &Path, place: &str) -> Result<Track> {
    let path = folder.join(&camera.file);
    if !path.is_file() {
        return Err(Error::input(
            format!("{place}.file"),
            format!("there is no file {}", path.display()),
            "name a .glb or .gltf file, relative to the shot's folder",
        ));
    }
    let found = gltf::read_camera(&path, camera.camera.as_deref(), camera.animation.as_deref())?;
    let film = Film {
        yfov: found.yfov,
        aspect: found.aspect,
        near: found.near,
        far: found.far,
        span: found.span,
        pose: &|t| found.pose(t),
    };
    camera.track(&film).map_err(|mut e| {
        for fault in &mut e.faults {
            fault.place = format!("{place}.{}", fault.place);
        }
        e
    })
}
