//! measure(&Plane, &Settings) -> TileMap: how blurred each tile of a picture is, and how surely.
//!
//! This module never sees the capture facts, so that evidence can't be coloured by expectation; of the f-number it knows
//! what the tails of an edge look like, never how wide it should be.

pub mod esfr;
pub mod pair;
pub mod register;

mod claim;
mod direction;
mod edge;
mod family;
mod grid;
mod noise;
mod pool;
mod profile;
mod pupil;
mod scene;
mod shape;
mod spectrum;
mod stepfit;
mod strips;
mod survey;
mod tile;
mod tilemap;
mod track;

pub use tilemap::{Spread, Streak, Tile, TileMap, TileState};

use rayon::prelude::*;

use crate::quantity::{Estimate, Region};
use crate::shot::Plane;
use edge::Edge;
use grid::Grid;
use noise::NoiseModel;
use pupil::Pupil;
use shape::Shape;
use spectrum::Spectrometer;
use survey::Survey;

/// Version of the measuring: raise it whenever a change may alter a number, so that remembered
/// measurements are made anew.
pub const VERSION: u32 = 9;

/// How to measure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Tiles across the picture's longer side.
    pub tiles: u32,
    /// Wavelength times f-number over the pixel pitch, where known: what shape edges take on under the pupil. Without it
    /// widths under diffraction of 1 px and more read 3 to 15 % too small.
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
    let pupil = Pupil::new(settings.lambda_n_px);
    let regions: Vec<Region> = grid.cells().collect();
    let readings: Vec<tile::Reading> = regions
        .par_iter()
        .zip(&surveys)
        .with_min_len(grid.columns as usize)
        .map_init(Spectrometer::new, |spectrometer, (region, survey)| {
            tile::read(plane, *region, survey, &noise, &pupil, spectrometer)
        })
        .collect();
    let shape = Shape::of(readings.iter().flat_map(tile::Reading::free), pupil);
    let measured: Vec<(Tile, Vec<Edge>)> = readings.par_iter().map(|r| tile::conclude(r, &shape)).collect();
    let (clipped, count) = surveys.iter().fold((0, 0), |(a, b), s| (a + s.clipped, b + s.count));
    let (mut tiles, edges): (Vec<Tile>, Vec<Vec<Edge>>) = measured.into_iter().unzip();
    let faced = direction::streak(&tiles, plane.width as f64, plane.height as f64);
    let streak = track::together(faced, track::search(plane, &regions, &surveys, &noise));
    if let Some(streak) = &streak {
        for (tile, edges) in tiles.iter_mut().zip(&edges) {
            if let Some(rest) = pool::pool(&direction::without(streak, edges)) {
                tile.blur = Some(direction::with(streak, rest));
            } else if tile.blur.take().is_some() {
                // A spectrum over all directions speaks for the sharpest of them.
                tile.state = TileState::Disagreeing;
            }
        }
    }
    let overshoots = edges.iter().flatten().filter_map(|e| e.overshoot).map(f64::from).collect();
    TileMap {
        width: plane.width as u32,
        height: plane.height as u32,
        columns: grid.columns,
        rows: grid.rows,
        tiles,
        overshoot: typical(overshoots),
        streak,
        clipped_share: if count == 0 { 0.0 } else { clipped as f64 / count as f64 },
    }
}

/// Fewest edges that tell how far edges overshoot.
const OVERSHOOTS: usize = 8;

/// Median of the overshoots with its error.
fn typical(mut values: Vec<f64>) -> Option<Estimate> {
    if values.len() < OVERSHOOTS {
        return None;
    }
    let median = |v: &mut Vec<f64>| {
        v.sort_by(f64::total_cmp);
        v[v.len() / 2]
    };
    let value = median(&mut values);
    let mut away: Vec<f64> = values.iter().map(|v| (v - value).abs()).collect();
    // 1.4826 makes a median deviation a standard deviation; the median's own error is 1.25 times the mean's.
    let sd = 1.25 * 1.4826 * median(&mut away) / (values.len() as f64).sqrt();
    Some(Estimate::new(value, sd, values.len() as u32))
}
