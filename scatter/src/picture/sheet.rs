//! Sheets: several pictures of one size in one, each over its label.

use super::lettering::{self, CAPITAL};

/// Pixels between pictures and round them.
const GAP: u32 = 6;
/// Height of the strip that holds a label, pixels: room above capitals, and below for tails.
const STRIP: u32 = CAPITAL + 11;
/// A dark grey between the pictures, so that they keep their own contrast.
const BACKGROUND: u8 = 34;
/// The labels' light grey.
const INK: u8 = 214;

/// A sheet in 8-bit sRGB.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    columns: u32,
    cell: [u32; 2],
    /// Width and height of the whole, pixels.
    size: [u32; 2],
    rgb: Vec<u8>,
}

impl Sheet {
    /// An empty sheet for `count` pictures of `cell` pixels, in as many columns as make it about as
    /// wide as it is high.
    #[must_use]
    pub fn new(count: u32, cell: [u32; 2]) -> Self {
        let count = count.max(1);
        let [w, h] = cell.map(|side| side + GAP);
        let wish = (f64::from(count) * f64::from(h + STRIP) / f64::from(w)).sqrt();
        Self::with_columns(count, cell, (wish.round() as u32).clamp(1, count))
    }

    /// The same in `columns` columns.
    #[must_use]
    pub fn with_columns(count: u32, cell: [u32; 2], columns: u32) -> Self {
        let columns = columns.max(1);
        let rows = count.max(1).div_ceil(columns);
        let size = [
            columns * (cell[0] + GAP) + GAP,
            rows * (cell[1] + STRIP + GAP) + GAP,
        ];
        Self {
            columns,
            cell,
            size,
            rgb: vec![BACKGROUND; size[0] as usize * size[1] as usize * 3],
        }
    }

    /// Puts a picture of the cell's size (three bytes a pixel, rows from the top) into place
    /// `index`, row by row from the top, over its label. What does not fit is left out.
    pub fn place(&mut self, index: u32, rgb: &[u8], label: &str) {
        let x0 = GAP + index % self.columns * (self.cell[0] + GAP);
        let y0 = GAP + index / self.columns * (self.cell[1] + STRIP + GAP);
        let wide = self.cell[0] as usize * 3;
        for (y, row) in rgb
            .chunks_exact(wide)
            .take(self.cell[1] as usize)
            .enumerate()
        {
            let at = ((y0 as usize + y) * self.size[0] as usize + x0 as usize) * 3;
            if let Some(to) = self.rgb.get_mut(at..at + wide) {
                to.copy_from_slice(row);
            }
        }
        let line = y0 + self.cell[1] + (STRIP + CAPITAL) / 2;
        let label = lettering::fitting(label, self.cell[0]);
        lettering::draw(&label, |x, y, share| {
            let (x, y) = (i64::from(x0) + x, i64::from(line) + y);
            let at = (y * i64::from(self.size[0]) + x) as usize * 3;
            if let Some(pixel) = self.rgb.get_mut(at..at + 3) {
                lettering::blend(pixel, [INK; 3], share);
            }
        });
    }

    /// Width and height, pixels.
    #[must_use]
    pub fn size(&self) -> [u32; 2] {
        self.size
    }

    /// The pixels: three bytes each, rows from the top.
    #[must_use]
    pub fn rgb(&self) -> &[u8] {
        &self.rgb
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_stand_where_they_belong() {
        let mut sheet = Sheet::new(12, [16, 9]);
        let [width, height] = sheet.size();
        assert_eq!(sheet.rgb().len() as u32, 3 * width * height);
        let white = vec![255; 16 * 9 * 3];
        for i in 0..12 {
            let before = sheet.rgb().iter().filter(|v| **v == 255).count();
            sheet.place(i, &white, "7");
            let after = sheet.rgb().iter().filter(|v| **v == 255).count();
            assert_eq!(after - before, 16 * 9 * 3, "{i} covers another");
        }
        // A thirteenth has no place
        let full = sheet.clone();
        sheet.place(99, &white, "99");
        assert_eq!(full, sheet);
    }
}
