//! Pixels of a texture as surfaces sample them: made linear, interpolated, repeated past the edges.

use std::sync::LazyLock;

use glam::Vec4;

use crate::error::Result;
use crate::kit::{Texture, Wrap};

/// A decoded texture.
pub(super) struct Texels {
    width: u32,
    height: u32,
    wrap: [Wrap; 2],
    /// Red, green, blue (sRGB) and opacity (linear), rows from the top.
    rgba: Vec<[u8; 4]>,
}

/// sRGB bytes as linear light (IEC 61966-2-1).
static LINEAR: LazyLock<[f32; 256]> = LazyLock::new(|| {
    std::array::from_fn(|i| {
        let v = i as f32 / 255.0;
        if v <= 0.040_45 {
            v / 12.92
        } else {
            libm::powf((v + 0.055) / 1.055, 2.4)
        }
    })
});

impl Texels {
    /// Decodes a texture.
    pub(super) fn of(texture: &Texture) -> Result<Self> {
        let rgba = texture.decode()?;
        let (rgba, _) = rgba.as_chunks::<4>();
        Ok(Self {
            width: texture.width,
            height: texture.height,
            wrap: texture.wrap,
            rgba: rgba.to_vec(),
        })
    }

    /// Linear colour and opacity at u (to the right) and v (down from the top), blended between
    /// four pixels.
    pub(super) fn at(&self, uv: [f32; 2]) -> Vec4 {
        self.blended(uv, |[r, g, b, a]| {
            let [r, g, b] = [r, g, b].map(|v| LINEAR[usize::from(v)]);
            Vec4::new(r, g, b, f32::from(a) / 255.0)
        })
    }

    /// The values as they stand in the file, 0 to 1: of roughness, metalness and normals.
    pub(super) fn plain(&self, uv: [f32; 2]) -> Vec4 {
        self.blended(uv, |rgba| Vec4::from_array(rgba.map(f32::from)) / 255.0)
    }

    fn blended(&self, uv: [f32; 2], of: impl Fn([u8; 4]) -> Vec4) -> Vec4 {
        let place = |c: f32, count: u32| {
            let x = if c.is_finite() { c } else { 0.0 } * count as f32 - 0.5;
            // Far out f32 holds no pixel anyhow; a cast beyond i64 stays within it
            (x.floor() as i64, x - x.floor())
        };
        let ((x, fx), (y, fy)) = (place(uv[0], self.width), place(uv[1], self.height));
        let pixel = |dx: i64, dy: i64| {
            let i = wrapped(x.saturating_add(dx), self.width, self.wrap[0]);
            let j = wrapped(y.saturating_add(dy), self.height, self.wrap[1]);
            let rgba = self.rgba.get(j * self.width as usize + i);
            of(rgba.copied().unwrap_or([u8::MAX; 4]))
        };
        let above = pixel(0, 0).lerp(pixel(1, 0), fx);
        let below = pixel(0, 1).lerp(pixel(1, 1), fx);
        above.lerp(below, fy)
    }

    /// Bytes held.
    pub(super) fn bytes(&self) -> usize {
        size_of_val(self.rgba.as_slice())
    }
}

/// The pixel that stands for pixel `i` of a row of `count`; `i` may lie beyond the row's ends.
fn wrapped(i: i64, count: u32, wrap: Wrap) -> usize {
    let n = i64::from(count.max(1));
    let k = match wrap {
        Wrap::Repeat => i.rem_euclid(n),
        Wrap::Mirror => {
            let k = i.rem_euclid(2 * n);
            k.min(2 * n - 1 - k)
        }
        Wrap::Clamp => i.clamp(0, n - 1),
    };
    k as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two by two: black, white, half grey, half grey seen through.
    fn small(wrap: Wrap) -> Texels {
        Texels {
            width: 2,
            height: 2,
            wrap: [wrap; 2],
            rgba: vec![
                [0, 0, 0, 255],
                [255, 255, 255, 255],
                [188, 188, 188, 255],
                [188, 188, 188, 0],
            ],
        }
    }

    #[test]
    fn pixels_are_linear_and_blended_between() {
        let t = small(Wrap::Clamp);
        // Middles of pixels
        assert_eq!(t.at([0.25, 0.25]), Vec4::new(0.0, 0.0, 0.0, 1.0));
        assert_eq!(t.at([0.75, 0.25]), Vec4::ONE);
        // sRGB 188 is linear 0.5029 (IEC 61966-2-1: ((188/255 + 0.055) / 1.055)^2.4)
        let grey = t.at([0.75, 0.75]);
        assert!((grey.x - 0.5029).abs() < 1e-4 && grey.w == 0.0, "{grey}");
        // Half way between black and white light is half, not sRGB's middle
        assert!((t.at([0.5, 0.25]).x - 0.5).abs() < 1e-6);
    }

    #[test]
    fn edges_wrap_as_they_are_told() {
        // One texture's width to the right of the first pixel
        for (wrap, expect) in [(Wrap::Repeat, 0.0), (Wrap::Mirror, 1.0), (Wrap::Clamp, 1.0)] {
            assert_eq!(small(wrap).at([1.25, 0.25]).x, expect, "{wrap:?}");
        }
        for (wrap, expect) in [(Wrap::Repeat, 1.0), (Wrap::Mirror, 0.0), (Wrap::Clamp, 0.0)] {
            assert_eq!(small(wrap).at([-0.25, 0.25]).x, expect, "{wrap:?}");
        }
        // Far out and nowhere
        for uv in [[1e30, 0.0], [f32::NAN, f32::INFINITY], [-1e30, 4.0]] {
            assert!(small(Wrap::Repeat).at(uv).is_finite());
        }
    }
}
