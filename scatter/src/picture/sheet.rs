//! Sheets: several pictures of one size in one, each over its label.

use super::MOST_PIXELS;
use super::lettering::{self, CAPITAL};
use crate::error::{Error, ErrorKind, Fault, Result};

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
    ///
    /// # Errors
    /// It would have more pixels than a picture may have.
    pub fn new(count: u32, cell: [u32; 2]) -> Result<Self> {
        let count = count.max(1);
        let [w, h] = cell.map(f64::from).map(|side| side + f64::from(GAP));
        let wish = (f64::from(count) * (h + f64::from(STRIP)) / w).sqrt();
        Self::with_columns(count, cell, (wish.round() as u32).clamp(1, count))
    }

    /// The same in `columns` columns.
    ///
    /// # Errors
    /// It would have more pixels than a picture may have.
    pub fn with_columns(count: u32, cell: [u32; 2], columns: u32) -> Result<Self> {
        let columns = columns.max(1);
        let rows = count.max(1).div_ceil(columns);
        // In 64 bits: 32-bit sides and counts may pass 32 bits together
        let side = |count: u32, cell: u32, more: u32| {
            u64::from(count) * (u64::from(cell) + u64::from(more)) + u64::from(GAP)
        };
        let wide = side(columns, cell[0], GAP);
        let high = side(rows, cell[1], STRIP + GAP);
        let size = match [u32::try_from(wide), u32::try_from(high)] {
            [Ok(w), Ok(h)] if wide.saturating_mul(high) <= MOST_PIXELS => [w, h],
            _ => {
                let fault = Fault::new(
                    "sheet",
                    format!(
                        "{count} pictures of {} x {} pixels are too much",
                        cell[0], cell[1]
                    ),
                    format!(
                        "stay within {} megapixels together: fewer pictures, or smaller ones",
                        MOST_PIXELS / 1_000_000
                    ),
                );
                return Err(Error::new(ErrorKind::OverBudget, fault));
            }
        };
        Ok(Self {
            columns,
            cell,
            size,
            rgb: vec![BACKGROUND; size[0] as usize * size[1] as usize * 3],
        })
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
        let mut sheet = Sheet::new(12, [16, 9]).unwrap();
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
