//! measure(&Plane, &Settings) -> TileMap: how blurred each tile of a picture is, and how surely.
//!
//! This module never sees the capture facts, so that evidence can't be coloured by expectation.

pub mod esfr;
pub mod pair;
pub mod register;

mod direction;
mod edge;
mod family;
mod grid;
mod noise;
mod pool;
mod profile;
mod stepfit;
mod survey;
mod tilemap;

pub use tilemap::{Spread, Streak, Tile, TileMap, TileState};

use rayon::prelude::*;

use crate::quantity::{Estimate, Region};
use crate::shot::Plane;
use edge::Edge;
use grid::Grid;
use noise::NoiseModel;
use survey::Survey;

/// Version of the measuring: raise it whenever a change may alter a number, so that remembered
/// measurements are made anew.
pub const VERSION: u32 = 3;

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

/// Edges fitted a tile at most, and candidates tried.
const EDGES: usize = 16;
const TRIES: usize = 48;
/// Share of the tried candidates that must be good edges.
const YIELD: f64 = 0.25;
/// Share of clipped samples from which a tile counts as clipped when it yields no number.
const CLIPPED: f64 = 0.2;
/// Contrast below which there is nothing to measure.
const CONTRAST: f64 = 0.01;

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
    let measured: Vec<(Tile, Vec<Edge>)> = regions
        .par_iter()
        .zip(&surveys)
        .with_min_len(grid.columns as usize)
        .map(|(region, survey)| measure_tile(plane, *region, survey, &noise))
        .collect();
    let (clipped, count) = surveys.iter().fold((0, 0), |(a, b), s| (a + s.clipped, b + s.count));
    let (mut tiles, edges): (Vec<Tile>, Vec<Vec<Edge>>) = measured.into_iter().unzip();
    let streak = direction::streak(&tiles, plane.width as f64, plane.height as f64);
    if let Some(streak) = &streak {
        for (tile, edges) in tiles.iter_mut().zip(&edges) {
            if let Some(rest) = pool::pool(&direction::without(streak, edges)) {
                tile.blur = Some(direction::with(streak, rest));
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

/// Measures one tile.
fn measure_tile(plane: &Plane, region: Region, survey: &Survey, noise: &NoiseModel) -> (Tile, Vec<Edge>) {
    let range = f64::from(plane.range()).max(1.0);
    let variance = noise.variance(survey.mean);
    // Four samples average in a bin.
    let detail = (survey.variance - variance / 4.0).max(0.0).sqrt();
    let contrast = if survey.mean > 0.0 { detail / survey.mean } else { 0.0 };
    let mut edges = Vec::new();
    let mut loud = false;
    let mut profile = profile::Profile::new();
    if survey.count > 0 && survey.mean > 0.0 {
        // A difference of two 2 x 2 means has half the variance of a sample.
        let threshold = (5.0 * (variance / 2.0).sqrt()) as f32;
        let mut tried = 0;
        for candidate in survey.candidates.iter().take(TRIES).take_while(|c| c.strength > threshold) {
            loud = true;
            tried += 1;
            edges.extend(edge::fit(plane, candidate, noise, family::gaussian(), &mut profile));
            let hopeless = tried >= 12 && (edges.len() as f64) < 0.5 * YIELD * f64::from(tried);
            if edges.len() == EDGES || hopeless {
                break;
            }
        }
        // Where few of the strongest gradients turn out to be edges, the few that pass are chance likenesses.
        if (edges.len() as f64) < YIELD * f64::from(tried) {
            edges.clear();
        }
    }
    let spread = direction::spread(&edges);
    let blur = pool::pool(&edges).map(|b| spread.as_ref().and_then(direction::averaged).unwrap_or(b));
    let clipped = survey.count > 0 && survey.clipped as f64 > CLIPPED * survey.count as f64;
    let state = if blur.is_some() {
        TileState::Measured
    } else if clipped {
        TileState::Clipped
    } else if !loud && contrast > CONTRAST && detail < 2.0 * variance.sqrt() {
        TileState::Noisy
    } else {
        TileState::NoDetail
    };
    let tile = Tile {
        x: region.x,
        y: region.y,
        width: region.width,
        height: region.height,
        state,
        contrast,
        noise: variance.sqrt() / range,
        level: survey.mean / range,
        blur,
        spread,
    };
    (tile, edges)
}
