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

impl Tint {
    /// Cb and Cr less 128 of `out.len()` places of a row at y px: the first at x px, `step` px apart.
    pub fn row(&self, y: f32, x: f32, step: f32, out: &mut [[f32; 2]]) {
        let whole = self.columns > 0 && self.rows > 0 && self.codes.len() >= self.columns * self.rows;
        if !whole {
            return out.fill([0.0; 2]);
        }
        let (above, below, share) = between((y - self.origin.1) / self.cell.1, self.rows);
        let code = |row: usize, column: usize, k: usize| f32::from(self.codes[row * self.columns + column][k]) - 128.0;
        let line: Vec<[f32; 2]> = (0..self.columns)
            .map(|c| [0, 1].map(|k| code(above, c, k) + share * (code(below, c, k) - code(above, c, k))))
            .collect();
        for (i, out) in out.iter_mut().enumerate() {
            let (left, right, share) = between((x + i as f32 * step - self.origin.0) / self.cell.0, self.columns);
            *out = [0, 1].map(|k| line[left][k] + share * (line[right][k] - line[left][k]));
        }
    }
}

/// The cells whose middles lie on both sides of a place, counted in cells from the first one's beginning, and how far it is from
/// the one to the other.
fn between(at: f32, count: usize) -> (usize, usize, f32) {
    let at = (at - 0.5).clamp(0.0, (count - 1) as f32);
    let first = (at as usize).min(count - 1);
    (first, (first + 1).min(count - 1), at - first as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_run_evenly_from_cell_to_cell_and_stay_at_the_borders() {
        let codes = vec![[128, 148], [168, 148], [128, 108], [168, 108]];
        let tint = Tint { columns: 2, rows: 2, cell: (16.0, 8.0), origin: (-4.0, 0.0), codes };
        let mut row = [[0.0; 2]; 3];
        tint.row(8.0, 4.0, 8.0, &mut row);
        // The middles of the cells are at x = 4 and 20, y = 4 and 12.
        assert_eq!(row, [[0.0, 0.0], [20.0, 0.0], [40.0, 0.0]]);
        tint.row(-50.0, 500.0, 8.0, &mut row);
        assert_eq!(row, [[40.0, 20.0]; 3]);
        let empty = Tint { columns: 0, rows: 0, codes: Vec::new(), ..tint };
        empty.row(0.0, 0.0, 1.0, &mut row);
        assert_eq!(row, [[0.0; 2]; 3]);
    }
}
