//! measure(&Plane, &Settings) -> TileMap: how blurred each tile of a picture is, and how surely.
//!
//! This module never sees the capture facts, so that evidence can't be coloured by expectation.

pub mod esfr;
mod grid;
mod tilemap;

pub use tilemap::{Spread, Streak, Tile, TileMap, TileState};

use crate::shot::Plane;

/// Version of the measuring: raise it whenever a change may alter a number, so that remembered
/// measurements are made anew.
pub const VERSION: u32 = 1;

/// How to measure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Tiles across the picture's longer side.
    pub tiles: u32,
}

impl Default for Settings {
    fn default() -> Self {
        Self { tiles: 24 }
    }
}

/// Measures every tile of a plane.
#[must_use]
pub fn measure(plane: &Plane, settings: &Settings) -> TileMap {
    let grid = grid::Grid::new(plane.width, plane.height, settings.tiles);
    let tiles = grid
        .cells()
        .map(|r| Tile {
            x: r.x,
            y: r.y,
            width: r.width,
            height: r.height,
            state: TileState::NoDetail,
            contrast: 0.0,
            noise: 0.0,
            level: 0.0,
            blur: None,
            spread: None,
        })
        .collect();
    TileMap {
        width: plane.width as u32,
        height: plane.height as u32,
        columns: grid.columns,
        rows: grid.rows,
        tiles,
        overshoot: None,
        streak: None,
        clipped_share: 0.0,
    }
}
