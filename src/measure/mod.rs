//! measure(&Plane, &Settings) -> TileMap: how blurred each tile of a picture is, and how surely.
//!
//! This module never sees the capture facts, so that evidence can't be coloured by expectation; of the f-number it knows
//! what shape a spread has under its pupil, and that only where the picture by itself is as wide as such a pupil leaves it.

pub mod esfr;
pub mod pair;
pub mod register;
pub mod sharpened;

mod direction;
mod edge;
mod edges;
mod gaussian_edge;
mod grid;
mod neighbours;
mod noise;
mod profile;
mod reduced;
mod resampled;
mod smaller;
mod spectrum;
mod stepfit;
mod strips;
mod survey;
mod tile;
mod tilemap;
mod track;
mod water;
mod width;

pub(crate) use direction::HELD;
pub use resampled::enlarged;
pub use smaller::smaller;
pub(crate) use tile::{ALIKE, BOUND, TILE_SCATTER};
pub use tilemap::{Spread, Streak, Tile, TileMap, TileState};
pub(crate) use width::LOW;

use rayon::prelude::*;

use crate::quantity::Region;
use crate::shot::{Mosaic, Plane};
use grid::Grid;
use noise::NoiseModel;
use survey::Survey;
use width::Known;

/// Version of the measuring: raise it whenever a change may alter a number, so that remembered measurements are made
/// anew. Chosen: counted up with each such change.
pub const VERSION: u32 = 30;

/// How to measure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Tiles across the picture's longer side.
    pub tiles: u32,
    /// Wavelength times f-number over the pixel pitch, where known: what shape the spread has under the pupil.
    pub lambda_n_px: Option<f64>,
}

impl Settings {
    /// The same for a picture taken under a pupil of this wavelength times f-number over pixel pitch, px.
    #[must_use]
    pub const fn under(&self, lambda_n_px: Option<f64>) -> Self {
        Self { lambda_n_px, ..*self }
    }
}

impl Default for Settings {
    fn default() -> Self {
        Self { tiles: 24, lambda_n_px: None }
    }
}

/// Measures every tile of a plane.
///
/// The result does not depend on the number of threads: tiles are measured one by one from the plane and a
/// noise model of the whole frame.
#[must_use]
pub fn measure(plane: &Plane, settings: &Settings) -> TileMap {
    let grid = Grid::new(plane.width, plane.height, settings.tiles);
    let sound = plane.data.len() >= plane.width * plane.height && plane.white > plane.black;
    let surveys: Vec<Survey> = if sound && plane.width >= 2 && plane.height >= 2 {
        let rows: Vec<Vec<Survey>> =
            (0..grid.rows).into_par_iter().map(|row| survey::survey_row(plane, &grid, row)).collect();
        rows.into_iter().flatten().collect()
    } else {
        vec![Survey::default(); (grid.columns * grid.rows) as usize]
    };
    let noise = NoiseModel::fit(plane, &surveys);
    let regions: Vec<Region> = grid.cells().collect();
    let edges = edges::find(plane, &regions, &surveys, &noise);
    let overshoot = edges::overshoot(&edges);
    let told = Known { overshoot: overshoot.map(|o| o.value), lambda_n_px: settings.lambda_n_px, belief: None };
    let (readings, belief) = if sound { width::read(plane, &regions, &noise, &told) } else { (Vec::new(), 1.0) };
    let known = Known { belief: Some(belief), ..told };
    let blank = width::Reading::default();
    let mut tiles: Vec<Tile> = regions
        .iter()
        .zip(&surveys)
        .zip(&edges)
        .enumerate()
        .map(|(i, ((region, survey), edges))| {
            tile::conclude(plane, *region, survey, &noise, readings.get(i).unwrap_or(&blank), edges)
        })
        .collect();
    if sound {
        reduced::settle(plane, settings.tiles, grid.columns as usize, &known, &mut tiles);
    }
    let faced = direction::streak(&tiles, plane.width as f64, plane.height as f64);
    let streak = track::together(faced, track::search(plane, &regions, &surveys, &noise, track::may_be_long(&tiles)));
    let (clipped, count) = surveys.iter().fold((0, 0), |(a, b), s| (a + s.clipped, b + s.count));
    let common = width::common(tiles.iter().filter_map(|t| t.blur.map(|b| b.sd / b.value)));
    // Last, for edges, tracks and the common error go by what tiles say alone.
    neighbours::complete(grid.columns as usize, &readings, &mut tiles);
    TileMap {
        width: plane.width as u32,
        height: plane.height as u32,
        columns: grid.columns,
        rows: grid.rows,
        tiles,
        common,
        overshoot,
        streak,
        layers: water::layers(plane, &grid),
        enlarged: resampled::enlarged(plane),
        mosaic: plane.mosaic != Mosaic::None,
        clipped_share: if count == 0 { 0.0 } else { clipped as f64 / count as f64 },
    }
}

/// What the estimator of widths is told of every tile of a plane, patch by patch: numbers without a unit, for training it.
#[must_use]
pub fn described(plane: &Plane, settings: &Settings) -> Vec<(Region, Vec<Vec<f32>>)> {
    let grid = Grid::new(plane.width, plane.height, settings.tiles);
    let surveys: Vec<Survey> = (0..grid.rows).flat_map(|row| survey::survey_row(plane, &grid, row)).collect();
    let noise = NoiseModel::fit(plane, &surveys);
    let regions: Vec<Region> = grid.cells().collect();
    let overshoot = edges::overshoot(&edges::find(plane, &regions, &surveys, &noise)).map(|o| o.value);
    let known = Known { overshoot, lambda_n_px: settings.lambda_n_px, belief: None };
    let patches = width::described(plane, &regions, &noise, &known);
    regions.into_iter().zip(patches).collect()
}
