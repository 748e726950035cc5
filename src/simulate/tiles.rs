//! What is true of the tiles of a rendered landscape: what they show, how far off it is, and how wide it is blurred.

use super::painter::Painter;
use super::psf::{Psf, Truth};
use super::scene::SceneSpec;
use super::scenery::{Backdrop, Surface};
use crate::quantity::Region;

/// What is true of one tile.
#[derive(Clone, Debug, PartialEq)]
pub struct TileTruth {
    /// Where it lies.
    pub region: Region,
    /// What covers most of it.
    pub surface: Surface,
    /// Share of it with detail of the scene's own (ridge, ground, objects seen through little haze), 0 to 1.
    pub detailed: f64,
    /// True widths there (pixel aperture included), at the mean inverse distance of what has detail.
    pub truth: Truth,
    /// Narrowest and widest sigma (px) among the distances in the tile that have detail.
    pub range: (f64, f64),
    /// Signed geometric blur disc, px: positive for subjects beyond the focus.
    pub disc_px: f64,
    /// Sigma of the lens's own softness alone, root mean square over directions, px.
    pub lens_px: f64,
    /// Length of the motion track, px.
    pub motion_px: f64,
    /// Distance along the optical axis, m.
    pub distance_m: f64,
}

/// Cuts a picture into near-square tiles that cover it exactly, `across` along the longer side.
pub(super) fn cut(width: usize, height: usize, across: u32) -> (u32, u32, Vec<Region>) {
    let side = (width.max(height) as f64 / f64::from(across)).max(16.0);
    let count = |n: usize| ((n as f64 / side).round() as u32).max(1);
    let (columns, rows) = (count(width), count(height));
    let edge = |i: u32, n: u32, size: usize| (u64::from(i) * size as u64 / u64::from(n)) as u32;
    let mut cells = Vec::new();
    for j in 0..rows {
        for i in 0..columns {
            let (x, y) = (edge(i, columns, width), edge(j, rows, height));
            cells.push(Region { x, y, width: edge(i + 1, columns, width) - x, height: edge(j + 1, rows, height) - y });
        }
    }
    (columns, rows, cells)
}

/// What a tile shows.
struct Shown {
    /// What covers most of it.
    surface: Surface,
    /// Where it has detail: place in the picture, px, and inverse distance, 1/m.
    detail: Vec<(f64, f64, f64)>,
}

/// Looks over a tile in a raster of [`RASTER`] points each way.
fn shown(spec: &SceneSpec, backdrop: &Backdrop, layers: &[(f64, Painter)], region: Region) -> Shown {
    // Haze that lets less than this share through leaves nothing to measure.
    const HAZED: f64 = 0.06;
    let mut counts = [0u32; 5];
    let mut detail: Vec<(f64, f64, f64)> = Vec::new();
    let place =
        |k: u32, start: u32, size: u32| f64::from(start) + (f64::from(k) + 0.5) * f64::from(size) / f64::from(RASTER);
    for j in 0..RASTER {
        for i in 0..RASTER {
            let (x, y) = (place(i, region.x, region.width), place(j, region.y, region.height));
            let front = layers.iter().rev().find(|(_, layer)| layer.covers(x, y));
            let (surface, inverse) = match front {
                Some((inverse, _)) => (Surface::Object, *inverse),
                None => (backdrop.surface(x, y), spec.backdrop(y)),
            };
            counts[surface as usize] += 1;
            let soft = matches!(surface, Surface::Sky | Surface::Water);
            if !soft && backdrop.clear(1.0 / inverse) > HAZED {
                detail.push((x, y, inverse));
            }
        }
    }
    let most = (0..5).max_by_key(|&k| (counts[k], std::cmp::Reverse(k))).unwrap_or(0);
    let surface = [Surface::Sky, Surface::Ridge, Surface::Ground, Surface::Water, Surface::Object][most];
    Shown { surface, detail }
}

/// Points of a tile's raster, each way.
const RASTER: u32 = 10;

/// What is true of a tile; `layers` are the things that stand up, far ones first, with their inverse distances, and `spread`
/// the point spread at a place and an inverse distance.
pub(super) fn tile_truth(
    spec: &SceneSpec,
    backdrop: &Backdrop,
    layers: &[(f64, Painter)],
    spread: &impl Fn(f64, f64, f64) -> Psf,
    region: Region,
) -> TileTruth {
    let Shown { surface, detail } = shown(spec, backdrop, layers, region);
    let centre =
        (f64::from(region.x) + f64::from(region.width) / 2.0, f64::from(region.y) + f64::from(region.height) / 2.0);
    let detailed = detail.len() as f64 / f64::from(RASTER * RASTER);
    let mean = |pick: fn(&(f64, f64, f64)) -> f64, otherwise: f64| {
        if detail.is_empty() { otherwise } else { detail.iter().map(pick).sum::<f64>() / detail.len() as f64 }
    };
    let (x, y) = (mean(|d| d.0, centre.0), mean(|d| d.1, centre.1));
    let inverse = mean(|d| d.2, spec.backdrop(centre.1));
    let psf = spread(x, y, inverse);
    let truth = psf.truth();
    let sigma = |inverse: f64| spread(x, y, inverse).truth().sigma;
    let low = detail.iter().map(|d| d.2).fold(inverse, f64::min);
    let high = detail.iter().map(|d| d.2).fold(inverse, f64::max);
    let mut range = (truth.sigma, truth.sigma);
    if high - low > 1e-4 * high {
        // The middle counts too: where the focus lies within, it is the sharpest.
        for step in 0..=2 {
            let s = sigma(low + (high - low) * f64::from(step) / 2.0);
            range = (range.0.min(s), range.1.max(s));
        }
    }
    let (along, across, _) = spec.camera.softness(&spec.lens, x, y);
    TileTruth {
        region,
        surface,
        detailed,
        truth,
        range,
        disc_px: spec.camera.disc_um(&spec.lens, x, y, inverse) / spec.camera.pitch_um,
        lens_px: (0.5 * (along * along + across * across)).sqrt(),
        motion_px: spec.shake.0,
        distance_m: 1.0 / inverse,
    }
}
