//! Words in pictures: letters of an embedded font, with soft edges. `font/` says where it is from.

use ab_glyph::{Font, FontRef, PxScale, point};

/// The font.
const FONT: &[u8] = include_bytes!("font/JetBrainsMono-Latin.ttf");
/// Its family's name.
pub(super) const FAMILY: &str = "JetBrains Mono";
/// Height of the font's square, pixels: 15 makes a letter 9 pixels wide and a capital 10.95 high,
/// so that each begins on a whole pixel and its level strokes are sharp.
pub(super) const SIZE: u32 = 15;
/// From one letter to the next, pixels: 0.6 of the size for all letters.
pub(super) const STEP: u32 = 9;
/// Height of a capital, pixels.
pub(super) const CAPITAL: u32 = 11;

/// Gives column, row and share of each pixel that words cover. They begin at column 0 and stand on
/// row 0: rows of what is above it are negative.
pub(super) fn draw(words: &str, mut cover: impl FnMut(i64, i64, f32)) {
    // A test reads the font
    let Ok(font) = FontRef::try_from_slice(FONT) else {
        return;
    };
    // The crate scales by the height of a line
    let line = font.height_unscaled() / font.units_per_em().unwrap_or(font.height_unscaled());
    let scale = PxScale::from(SIZE as f32 * line);
    for (at, letter) in (0_u32..).zip(words.chars()) {
        let begin = point((at * STEP) as f32, 0.0);
        let glyph = font.glyph_id(letter);
        // A space has no outline
        let Some(outline) = font.outline_glyph(glyph.with_scale_and_position(scale, begin)) else {
            continue;
        };
        let corner = outline.px_bounds().min;
        outline.draw(|x, y, share| {
            cover(
                corner.x as i64 + i64::from(x),
                corner.y as i64 + i64::from(y),
                share,
            );
        });
    }
}

/// Lays a tone over a pixel, of which it covers a share.
pub(super) fn blend(pixel: &mut [u8], tone: [u8; 3], share: f32) {
    for (old, new) in pixel.iter_mut().zip(tone) {
        let from = f32::from(*old);
        *old = (from + (f32::from(new) - from) * share.clamp(0.0, 1.0)).round() as u8;
    }
}

/// As much of a text as goes into so many pixels; what is cut ends in dots.
pub(super) fn fitting(text: &str, width: u32) -> String {
    let most = (width / STEP) as usize;
    if text.chars().count() <= most {
        return text.into();
    }
    let begin = text.chars().take(most.saturating_sub(1));
    begin.chain(['…']).take(most).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows and columns from which to which words cover more than a tenth of a pixel.
    fn extent(words: &str) -> [i64; 4] {
        let mut e = [i64::MAX, i64::MAX, i64::MIN, i64::MIN];
        draw(words, |x, y, share| {
            if share > 0.1 {
                e = [e[0].min(x), e[1].min(y), e[2].max(x), e[3].max(y)];
            }
        });
        e
    }

    #[test]
    fn letters_are_there_and_stay_in_their_boxes() {
        let font = FontRef::try_from_slice(FONT).unwrap();
        for letter in (' '..='~').chain('¡'..='ÿ').chain(['–', '…']) {
            assert_ne!(font.glyph_id(letter).0, 0, "{letter} is not in the font");
            let step = font.h_advance_unscaled(font.glyph_id(letter));
            let size = font.units_per_em().unwrap();
            assert_eq!(step * SIZE as f32, STEP as f32 * size, "{letter}");
        }
        // Round letters reach a little over both lines
        let [left, top, right, bottom] = extent("HILT 1");
        assert!(left >= 0 && right < i64::from(6 * STEP));
        assert_eq!([top, bottom], [-i64::from(CAPITAL), -1]);
        // What is not in the font is a box
        assert!(extent("\u{4e00}")[0] >= 0);
    }

    #[test]
    fn what_is_too_long_ends_in_dots() {
        assert_eq!(fitting("take 12", 7 * STEP), "take 12");
        assert_eq!(fitting("take 12", 7 * STEP - 1), "take …");
        assert_eq!(fitting("take 12", STEP), "…");
        assert_eq!(fitting("take 12", STEP - 1), "");
    }
}
