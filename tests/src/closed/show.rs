//! Pictures of a label image.

use super::LabelImage;

/// 8-bit colours, three a pixel: each label one of its own hue, outlined in black; the ground
/// black.
#[must_use]
pub fn colored(image: &LabelImage) -> Vec<u8> {
    let (width, height) = (image.width, image.height());
    let is_edge = |k: usize| {
        let (column, row) = (k % width, k / width);
        let differs = |other: usize| image.labels[other] != image.labels[k];
        (column + 1 < width && differs(k + 1)) || (row + 1 < height && differs(k + width))
    };
    let color = |k: usize| match image.labels[k] {
        0 => [24, 22, 20],
        _ if is_edge(k) => [0, 0, 0],
        label => {
            // Fibonacci hashing spreads neighbouring numbers
            let hash = label.wrapping_mul(0x9e37_79b9);
            [hash >> 24, hash >> 16, hash >> 8].map(|h| 80 + (h as u8) / 2)
        }
    };
    (0..image.labels.len()).flat_map(color).collect()
}

/// 8-bit greys, three a pixel: stones black, bare ground the lighter the farther from a stone,
/// white at `white` pixels.
#[must_use]
pub fn bare_distance(bare: &[f64], white: f64) -> Vec<u8> {
    bare.iter()
        .flat_map(|d| [(255.0 * (d / white).min(1.0)) as u8; 3])
        .collect()
}
