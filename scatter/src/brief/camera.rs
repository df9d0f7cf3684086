//! Cameras: still or moving, or in a file that is yet to be read.

use serde::{Serialize, Serializer};

use crate::error::Result;
use crate::optics::{self, Track};
use crate::shot::{self, Film};

/// A camera of a brief.
#[derive(Debug, Clone, PartialEq)]
pub enum Camera {
    /// Known, frame by frame.
    Known(Track),
    /// In a file that holds its lens and its motion; not read yet.
    InFile(Box<CameraInFile>),
}

/// A camera whose lens and motion are in a file, with what the document says of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CameraInFile {
    /// The file, relative to the shot's folder.
    pub file: String,
    /// Name of the camera in the file; None for its only one.
    pub camera: Option<String>,
    /// Name of the animation in the file; None for the only one that moves the camera.
    pub animation: Option<String>,
    document: shot::Camera,
}

impl CameraInFile {
    /// Its frames, once the file has been read.
    ///
    /// # Errors
    /// The document's frame differs in aspect from the file's camera, or there are too many frames.
    pub fn track(&self, film: &Film<'_>) -> Result<Track> {
        self.document.filmed(film)
    }
}

impl Camera {
    /// A camera that stands still.
    #[must_use]
    pub fn still(camera: optics::Camera) -> Self {
        Self::Known(Track::still(camera))
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Known(track) => &track.name,
            Self::InFile(camera) => &camera.document.name,
        }
    }

    /// The file that it is in, if it is in one.
    #[must_use]
    pub fn file(&self) -> Option<&str> {
        match self {
            Self::Known(_) => None,
            Self::InFile(camera) => Some(&camera.file),
        }
    }
}

/// A camera of a checked document.
impl From<&shot::Camera> for Camera {
    fn from(camera: &shot::Camera) -> Self {
        match &camera.file {
            None => Self::Known(camera.track()),
            Some(file) => Self::InFile(Box::new(CameraInFile {
                file: file.clone(),
                camera: camera.camera.clone(),
                animation: camera.animation.clone(),
                document: camera.clone(),
            })),
        }
    }
}

/// Everything that a digest of a camera depends on.
impl Serialize for Camera {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        match self {
            Self::InFile(camera) => camera.serialize(serializer),
            Self::Known(track) => {
                let frames: Vec<_> = track
                    .frames
                    .iter()
                    .map(|c| {
                        let pose = (c.position.to_array(), c.rotation.to_array());
                        (pose, (c.yfov, c.frame, c.near, c.far, c.focus, c.stop))
                    })
                    .collect();
                (&track.name, track.first, frames).serialize(serializer)
            }
        }
    }
}
