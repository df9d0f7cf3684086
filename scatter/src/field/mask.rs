//! Strengths from an image: laid on the plan, or painted over a camera's frame.
//!
//! A frame image gives a place the value of its pixel: where the camera looks at the ground there,
//! whatever stands in front. It depends on the camera's pose, as the artist painted it.

use std::path::Path;

use glam::DVec3;

use crate::brief::{self, Brief, MaskPlacement};
use crate::error::{Error, Result};
use crate::ground::{Ground, check_square};
use crate::optics::Camera;
use crate::raster::Raster;

/// A mask of a pass.
#[derive(Debug, Clone)]
pub struct Mask {
    raster: Raster,
    projection: MaskProjection,
    black: f64,
    white: f64,
    outside: f64,
}

/// Where the image lies.
#[derive(Debug, Clone)]
enum MaskProjection {
    /// Corner at the top left, metres, and pixels per metre along x and z.
    Plan([f64; 2], [f64; 2]),
    Frame(Box<Camera>),
}

/// Tolerance of an image's aspect against the frame's: a row of pixels or so.
const ASPECT_WITHIN: f64 = 0.005;

/// The masks of each pass of a brief; files are looked for in `folder`. `cameras` are the brief's,
/// in its order, in their first frames.
///
/// # Errors
/// An image can't be read, or does not fit its extent or its camera's frame.
pub fn read_all(brief: &Brief, folder: &Path, cameras: &[Camera]) -> Result<Vec<Vec<Mask>>> {
    let of_pass = |(i, (_, pass)): (usize, (_, &brief::Pass))| {
        let masks = pass.masks().map(|(j, mask)| {
            let place = format!("passes[{i}].gather[{j}].mask");
            Mask::read(mask, folder, cameras, &place)
        });
        masks.collect()
    };
    brief.passes().enumerate().map(of_pass).collect()
}

impl Mask {
    /// Reads the mask that the document has at `place`.
    ///
    /// # Errors
    /// As [`read_all`].
    pub fn read(
        mask: &brief::Mask,
        folder: &Path,
        cameras: &[Camera],
        place: &str,
    ) -> Result<Self> {
        let path = folder.join(&mask.file);
        let raster = Raster::read(&path, &format!("{place}.file"))?;
        let projection = match &mask.placement {
            MaskPlacement::Frame(name) => {
                let found = cameras.iter().find(|c| c.name == *name);
                let camera = found.ok_or_else(|| {
                    let hint = "name one of the shot's cameras";
                    let problem = format!("there is no camera `{name}`");
                    Error::input(format!("{place}.camera"), problem, hint)
                })?;
                check_aspect(&raster, camera, place)?;
                MaskProjection::Frame(Box::new(camera.clone()))
            }
            MaskPlacement::Plan {
                middle: [x, z],
                extent,
            } => {
                check_square(&raster, *extent, &format!("{place}.extent"))?;
                let [width, rows] = raster.size().map(|n| n as f64);
                MaskProjection::Plan(
                    [x - 0.5 * extent[0], z - 0.5 * extent[1]],
                    [width / extent[0], rows / extent[1]],
                )
            }
        };
        Ok(Self {
            raster,
            projection,
            black: mask.black,
            white: mask.white,
            outside: mask.outside,
        })
    }

    /// The strength at a plan place in metres, 0..=1: linear between the pixels' middles.
    #[must_use]
    pub fn at(&self, ground: &Ground, x: f64, z: f64) -> f64 {
        let [width, rows] = self.raster.size().map(|n| n as f64);
        let [u, v] = match &self.projection {
            MaskProjection::Plan(corner, per_metre) => [
                (x - corner[0]) * per_metre[0],
                (z - corner[1]) * per_metre[1],
            ],
            MaskProjection::Frame(camera) => {
                let seen = camera.project(DVec3::new(x, ground.height(x, z), z));
                let Some(seen) = seen.filter(|s| s.depth >= camera.near && s.depth <= camera.far)
                else {
                    return self.outside;
                };
                let [w, h] = camera.frame.map(f64::from);
                [seen.pixel[0] * width / w, seen.pixel[1] * rows / h]
            }
        };
        if !(u >= 0.0 && u <= width && v >= 0.0 && v <= rows) {
            return self.outside;
        }
        let value = self.raster.linear(u, v).clamp(0.0, 1.0);
        self.black + (self.white - self.black) * value
    }
}

/// Refuses an image of another aspect than the frame that it is painted over.
fn check_aspect(raster: &Raster, camera: &Camera, place: &str) -> Result<()> {
    let [width, rows] = raster.size().map(|n| n as f64);
    if (width / rows / camera.aspect() - 1.0).abs() <= ASPECT_WITHIN {
        return Ok(());
    }
    let [w, h] = camera.frame;
    Err(Error::input(
        format!("{place}.file"),
        format!(
            "the image has {width} x {rows} pixels, the frame of camera {:?} has {w} x {h}: another aspect",
            camera.name
        ),
        format!("paint it over the frame: {w} x {h}, or as many times smaller"),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A plan image, 3 x 2 m about (1, 0), black but for its top left pixel.
    fn plan() -> Mask {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("corner.png");
        let file = std::fs::File::create(&path).unwrap();
        let mut encoder = png::Encoder::new(file, 3, 2);
        encoder.set_color(png::ColorType::Grayscale);
        encoder.set_depth(png::BitDepth::Eight);
        let mut writer = encoder.write_header().unwrap();
        writer.write_image_data(&[255, 0, 0, 0, 0, 0]).unwrap();
        writer.finish().unwrap();
        let json = r#"{"file":"corner.png","extent":[3,2],"at":[1,0],"black":0.25,"white":0.75,"outside":0.5}"#;
        Mask::read(
            &(&serde_json::from_str::<crate::shot::Mask>(json).unwrap()).into(),
            folder.path(),
            &[],
            "mask",
        )
        .unwrap()
    }

    #[test]
    fn a_plan_image_has_its_top_toward_minus_z_and_its_left_toward_minus_x() {
        let ground = Ground::level();
        let mask = plan();
        // The middle of the top left pixel, of its neighbour, halfway between them, and beyond the
        // border
        for (x, z, expected) in [
            (0.0, -0.5, 0.75),
            (1.0, -0.5, 0.25),
            (0.5, -0.5, 0.5),
            (2.0, 0.5, 0.25),
            (-0.51, 0.0, 0.5),
            (1.0, 1.01, 0.5),
        ] {
            let got = mask.at(&ground, x, z);
            assert!((got - expected).abs() < 1e-12, "{x} {z}: {got}");
        }
    }
}
