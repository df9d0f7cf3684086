//! Heights, strengths, textures.

use scatter::brief::{Ground, GroundShape, HeightImage, Mask, MaskPlacement};
use scatter::kit::{Shelf, Texture, Wrap};
use scatter::raster::Raster;
use scatter::{Error, field, ground};

use super::Desk;

/// Side of a pixel on the plan, metres.
const PIXEL_M: f64 = 0.05;
/// Images of more pixels are read, and not made into ground: that takes a microsecond a pixel.
const MOST_PIXELS: usize = 1 << 16;

/// A grey image, as heights and as a mask.
pub(super) fn image(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    let raster = Raster::from_bytes(bytes)?;
    let [width, height] = raster.size();
    assert_eq!(raster.values().len(), width * height, "a value a pixel");
    if width * height > MOST_PIXELS {
        return Ok(());
    }
    drop(raster);
    let file = "read-image";
    desk.file(file, bytes);
    let extent = [width as f64 * PIXEL_M, height as f64 * PIXEL_M];
    let shape = GroundShape::Image(HeightImage {
        file: file.into(),
        at: [0.0; 2],
        extent,
        heights: Some([-0.1, 0.2]),
    });
    let asked = Ground {
        terrain: shape,
        ..Ground::default()
    };
    let ground = ground::Ground::read(&asked, &Shelf::of(desk.folder()))?;
    for at in [-1e4, -0.3, 0.0, 0.26, 1e4] {
        let height = ground.height(at, 0.5 * at);
        assert!(height.is_finite(), "the ground is {height} m high at {at}");
    }
    let mask = Mask {
        file: file.into(),
        placement: MaskPlacement::Plan {
            middle: [0.0; 2],
            extent,
        },
        black: 0.0,
        white: 1.0,
        outside: 0.5,
    };
    let mask = field::Mask::read(&mask, desk.folder(), &[], "mask")?;
    let value = mask.at(&ground, 0.1, -0.1);
    assert!((0.0..=1.0).contains(&value), "a strength of {value}");
    Ok(())
}

/// A texture: its head, and its pixels.
pub(super) fn texture(bytes: &[u8], _: &Desk) -> Result<(), Error> {
    let texture = Texture::new("read".into(), bytes.into(), [Wrap::Repeat; 2])?;
    let pixels = texture.decode()?;
    assert_eq!(pixels.len() as u64, texture.decoded_bytes());
    Ok(())
}
