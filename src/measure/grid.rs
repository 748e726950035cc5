//! Cuts a plane into tiles and says which pixels belong to which.

use crate::quantity::Region;

/// A grid of near-square tiles that covers the picture exactly: sides differ by at most one pixel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Grid {
    /// Picture width, px.
    pub width: usize,
    /// Picture height, px.
    pub height: usize,
    /// Tiles across.
    pub columns: u32,
    /// Tiles down.
    pub rows: u32,
}

impl Grid {
    /// A grid with `across` tiles along the longer side (fewer on pictures too small for tiles of 16 px).
    pub(super) fn new(width: usize, height: usize, across: u32) -> Self {
        let long = width.max(height).max(1);
        let side = (long as f64 / f64::from(across.max(1))).max(16.0);
        let count = |n: usize| ((n as f64 / side).round() as u32).max(1);
        Self { width, height, columns: count(width), rows: count(height) }
    }

    /// The tile in a column and row.
    pub(super) fn cell(&self, column: u32, row: u32) -> Region {
        let edge = |i: u32, n: u32, size: usize| (u64::from(i) * size as u64 / u64::from(n)) as u32;
        let (x, y) = (edge(column, self.columns, self.width), edge(row, self.rows, self.height));
        Region {
            x,
            y,
            width: edge(column + 1, self.columns, self.width) - x,
            height: edge(row + 1, self.rows, self.height) - y,
        }
    }

    /// All tiles, row-major.
    pub(super) fn cells(self) -> impl Iterator<Item = Region> {
        (0..self.rows).flat_map(move |row| (0..self.columns).map(move |column| self.cell(column, row)))
    }
}
