//! Edges of a frame's tiles: which way blur is drawn out, and how far edges overshoot. How wide the blur is, `width` says.

use rayon::prelude::*;

use super::direction;
use super::edge::{self, Edge};
use super::noise::NoiseModel;
use super::profile::Profile;
use super::survey::Survey;
use crate::quantity::{Estimate, Region};
use crate::shot::Plane;
use crate::stats::{MAD_SD, MEDIAN_SD, upper_median};

/// Tiles, evenly chosen, whose edges are enough for what is common to a frame. Chosen: as many as the search for tracks takes.
const ENOUGH: usize = 160;
/// Most edges fitted in a tile, and most candidates tried. Chosen: a median of more is hardly better known.
const EDGES: usize = 16;
const TRIES: usize = 48;
/// Candidates tried besides that face another way, where all edges face one way. Chosen: a fifth of the others.
const ACROSS_TRIES: usize = 10;
/// Fewest edges of a tile that count. Chosen: a median of fewer follows one edge.
const FEWEST: usize = 4;
/// Gathering of the gradients (see [`Survey::gathering`]; 2 for a Gaussian field) up to which phases are random and nothing
/// is an edge, and up to which edges crowd, so that much that only resembles one passes for an edge. Set on rendered patches.
const RANDOM: f64 = 2.2;
const CROWDED: f64 = 2.7;
/// Share of the tried candidates that must be good edges: where edges stand free, and where they crowd. Set on rendered patches.
const FREE_YIELD: f64 = 0.25;
const CROWDED_YIELD: f64 = 0.45;
/// Fewest edges of a frame that tell how far edges overshoot. Chosen: of a median of fewer no error can be stated.
const OVERSHOOTS: usize = 8;

/// Edges of some tiles evenly chosen, an empty list for the others.
pub(super) fn find(plane: &Plane, regions: &[Region], surveys: &[Survey], noise: &NoiseModel) -> Vec<Vec<Edge>> {
    let every = regions.len().div_ceil(ENOUGH).max(1);
    // Every second of an even number of columns would only ever be the same columns.
    let chosen = |i: usize| (i as f64 / every as f64 * 1.618_033_988_75).fract() < 1.0 / every as f64 || every == 1;
    surveys
        .par_iter()
        .enumerate()
        .with_min_len(8)
        .map_init(
            Profile::default,
            |profile, (i, survey)| {
                if chosen(i) { of_tile(plane, survey, noise, profile) } else { Vec::new() }
            },
        )
        .collect()
}

/// Fits edges at the strongest gradients of a tile until there are enough, or no hope.
fn of_tile(plane: &Plane, survey: &Survey, noise: &NoiseModel, profile: &mut Profile) -> Vec<Edge> {
    let variance = noise.variance(survey.mean);
    let gathering = if survey.count > 0 && survey.mean > 0.0 { survey.gathering(variance) } else { None };
    let Some(gathering) = gathering.filter(|g| *g >= RANDOM) else { return Vec::new() };
    let least = if gathering < CROWDED { CROWDED_YIELD } else { FREE_YIELD };
    // A difference of two 2 x 2 means has half the variance of a sample.
    let threshold = (5.0 * (variance / 2.0).sqrt()) as f32;
    let mut edges = Vec::new();
    let mut tried = 0;
    for candidate in survey.candidates.iter().take(TRIES).take_while(|c| c.strength > threshold) {
        tried += 1;
        edges.extend(edge::fit(plane, candidate, noise, profile));
        let hopeless = tried >= 12 && (edges.len() as f64) < 0.5 * least * f64::from(tried);
        if edges.len() == EDGES || hopeless {
            break;
        }
    }
    if edges.len() < FEWEST || (edges.len() as f64) < least * f64::from(tried) {
        return Vec::new();
    }
    if let Some(facing) = direction::one_way(&edges) {
        // A streak leaves only the edges along it strong; what it does to the others is told by weaker ones.
        let rest = survey.candidates.iter().skip(tried as usize).take_while(|c| c.strength > threshold);
        let across = rest.filter(|c| edge::faces_away(plane, c, facing));
        edges.extend(across.take(ACROSS_TRIES).filter_map(|c| edge::fit(plane, c, noise, profile)));
    }
    edges
}

/// Typical overshoot of a frame's edges with its error.
pub(super) fn overshoot(edges: &[Vec<Edge>]) -> Option<Estimate> {
    let values: Vec<f64> = edges.iter().flatten().filter_map(|e| e.overshoot).map(f64::from).collect();
    if values.len() < OVERSHOOTS {
        return None;
    }
    let n = values.len();
    let value = upper_median(values.clone())?;
    let away = upper_median(values.into_iter().map(|v| (v - value).abs()).collect())?;
    Some(Estimate::new(value, MEDIAN_SD * MAD_SD * away / (n as f64).sqrt(), n as u32))
}
