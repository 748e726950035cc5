//! The colours of a picture, coarsely: for looking at it, not for measuring.

/// Colour differences of cells of a picture, between which they are interpolated.
#[derive(Clone, Debug, PartialEq)]
pub struct Tint {
    /// Cells across.
    pub columns: usize,
    /// Cells down.
    pub rows: usize,
    /// Pixels of the upright picture a cell, across and down.
    pub cell: (f32, f32),
    /// Where the first cell begins, px; cells may begin before the picture and end behind it.
    pub origin: (f32, f32),
    /// Cb and Cr (ITU-T T.871: 128 is no colour) of each cell, row by row.
    pub codes: Vec<[u8; 2]>,
}

/// Between which cells a place lies, and how far it is from the one to the other.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Between {
    first: u32,
    second: u32,
    share: f32,
}

impl Tint {
    /// Where `count` places along a row lie, the first at x px, `step` px apart: the same for all rows of a picture.
    #[must_use]
    pub fn across(&self, x: f32, step: f32, count: usize) -> Vec<Between> {
        if !self.whole() {
            return vec![Between::default(); count];
        }
        let place = |i: usize| between((x + i as f32 * step - self.origin.0) / self.cell.0, self.columns);
        (0..count).map(place).collect()
    }

    /// Cb and Cr less 128 of such places of a row at y px.
    pub fn row(&self, y: f32, across: &[Between], out: &mut [[f32; 2]]) {
        if !self.whole() {
            return out.fill([0.0; 2]);
        }
        let Between { first, second, share } = between((y - self.origin.1) / self.cell.1, self.rows);
        let codes = |row: u32| &self.codes[row as usize * self.columns..][..self.columns];
        let towards =
            |a: [f32; 2], b: [f32; 2], share: f32| [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])];
        let level = |code: &[u8; 2]| code.map(|c| f32::from(c) - 128.0);
        let line: Vec<[f32; 2]> =
            codes(first).iter().zip(codes(second)).map(|(a, b)| towards(level(a), level(b), share)).collect();
        for (out, at) in out.iter_mut().zip(across) {
            *out = towards(line[at.first as usize], line[at.second as usize], at.share);
        }
    }

    fn whole(&self) -> bool {
        self.columns > 0 && self.rows > 0 && self.codes.len() >= self.columns * self.rows
    }
}

/// The cells whose middles lie on both sides of a place, counted in cells from the first one's beginning, and how far it is from
/// the one to the other.
fn between(at: f32, count: usize) -> Between {
    let at = (at - 0.5).clamp(0.0, (count - 1) as f32);
    let first = (at as usize).min(count - 1);
    Between { first: first as u32, second: (first + 1).min(count - 1) as u32, share: at - first as f32 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_run_evenly_from_cell_to_cell_and_stay_at_the_borders() {
        let codes = vec![[128, 148], [168, 148], [128, 108], [168, 108]];
        let tint = Tint { columns: 2, rows: 2, cell: (16.0, 8.0), origin: (-4.0, 0.0), codes };
        let mut row = [[0.0; 2]; 3];
        tint.row(8.0, &tint.across(4.0, 8.0, 3), &mut row);
        // The middles of the cells are at x = 4 and 20, y = 4 and 12.
        assert_eq!(row, [[0.0, 0.0], [20.0, 0.0], [40.0, 0.0]]);
        tint.row(-50.0, &tint.across(500.0, 8.0, 3), &mut row);
        assert_eq!(row, [[40.0, 20.0]; 3]);
        let empty = Tint { columns: 0, rows: 0, codes: Vec::new(), ..tint };
        empty.row(0.0, &empty.across(0.0, 1.0, 3), &mut row);
        assert_eq!(row, [[0.0; 2]; 3]);
    }
}
