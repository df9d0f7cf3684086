//! CIE L*a*b* and linear sRGB.
//!
//! Sources: CIE 15, "Colorimetry", 2004 (L*a*b*, white D65); IEC 61966-2-1, 1999 (primaries of
//! sRGB). The matrices are those of W3C, "CSS Color Module Level 4", 2022, rounded.

/// White D65 as X, Y and Z, of luminance 1.
const WHITE: [f32; 3] = [0.950_46, 1.0, 1.089_06];
/// Where the cube root gives way to a line: (6 / 29)^3, and the line's slope and height.
const KNEE: f32 = 216.0 / 24_389.0;
const SLOPE: f32 = 24_389.0 / 27.0;

/// Linear red, green and blue of a colour in L*a*b*; not limited to 0..1.
#[must_use]
pub fn linear_of_lab([l, a, b]: [f32; 3]) -> [f32; 3] {
    let y = (l + 16.0) / 116.0;
    let whole = |f: f32| {
        let cube = f * f * f;
        if cube > KNEE {
            cube
        } else {
            (116.0 * f - 16.0) / SLOPE
        }
    };
    let [x, y, z] = [y + a / 500.0, y, y - b / 200.0].map(whole);
    let [x, y, z] = [x * WHITE[0], y * WHITE[1], z * WHITE[2]];
    [
        3.240_97 * x - 1.537_383 * y - 0.498_611 * z,
        -0.969_244 * x + 1.875_968 * y + 0.041_555 * z,
        0.055_63 * x - 0.203_977 * y + 1.056_972 * z,
    ]
}

/// The colour in L*a*b* of linear red, green and blue.
#[must_use]
pub fn lab_of_linear([r, g, b]: [f32; 3]) -> [f32; 3] {
    let xyz = [
        0.412_391 * r + 0.357_584 * g + 0.180_481 * b,
        0.212_639 * r + 0.715_169 * g + 0.072_192 * b,
        0.019_331 * r + 0.119_195 * g + 0.950_532 * b,
    ];
    let root = |value: f32| {
        if value > KNEE {
            libm::cbrtf(value)
        } else {
            (SLOPE * value + 16.0) / 116.0
        }
    };
    let [x, y, z] = [0, 1, 2].map(|k| root(xyz[k] / WHITE[k]));
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// L* of some luminances after the Munsell renotation (Newhall, Nickerson and Judd 1943: value
    /// 5 is Y 19.3 %, L* 51; value 7 is 42.0 %, 71), and red of sRGB (53.24, 80.09, 67.20: from
    /// memory).
    #[test]
    fn known_colours_come_out() {
        for (y, l) in [(0.193, 51.0), (0.42, 71.0), (1.0, 100.0)] {
            let [got, a, b] = lab_of_linear([y; 3]);
            assert!((got - l).abs() < 0.6, "{y}: {got}");
            assert!(a.abs() < 0.05 && b.abs() < 0.05, "{a} {b}");
        }
        let red = lab_of_linear([1.0, 0.0, 0.0]);
        for (got, known) in red.into_iter().zip([53.24, 80.09, 67.20]) {
            assert!((got - known).abs() < 0.1, "{red:?}");
        }
    }

    #[test]
    fn the_way_back_gives_the_same() {
        for lab in [[5.0, 1.0, -1.0], [40.0, 15.0, 20.0], [80.0, -3.0, 12.0]] {
            let back = lab_of_linear(linear_of_lab(lab));
            for k in 0..3 {
                assert!((back[k] - lab[k]).abs() < 0.01, "{lab:?}: {back:?}");
            }
        }
    }
}
