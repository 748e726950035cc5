//! Two frames of one scene: how much more blurred one is than the other, tile by tile, whatever the scene shows.

mod blocks;
mod contrast;
mod noise;
mod power;
mod pyramid;
mod ratio;
mod rows;
mod solve;
mod window;

pub use contrast::{Contrast, ToneCurve};
pub use ratio::{Relative, relative};

use rayon::prelude::*;

use super::register::Registration;
use crate::quantity::Region;
use crate::shot::Plane;
use blocks::Cutter;
use noise::Noise;
use power::Power;
use pyramid::Pyramid;

/// Side of a spectral block, in pixels of its pyramid level. Chosen: a power of two; smaller blocks mix rings, larger ones depths.
const BLOCK: usize = 64;
/// Rings of a block's spectrum. Derived: one a cycle per block, up to half the sampling frequency.
const RINGS: usize = BLOCK / 2;
/// Levels of the pyramid, each half the size of the one before. Chosen: for blurs up to about 1.5, 3, 6 and 12 px.
const LEVELS: usize = 4;

/// Directions of a block's spectrum, each an eighth of a turn wide, the first along the rows. Chosen: with three or more equal
/// ones the mean over them is free of what goes as the cosine of twice the angle, and four are symmetric about both axes.
const SECTORS: usize = 4;

/// Power spectrum of one block at one pyramid level.
#[derive(Clone, Debug, PartialEq)]
struct Block {
    /// Mean power of the modes at k cycles a block in each direction, k from 0; white noise of variance v reads v. Levels^2.
    power: [[Power; RINGS]; SECTORS],
    /// Noise power, same unit.
    noise: f64,
    /// Mean level above black.
    level: f64,
    /// Its middle from that of the tile, px of the reference.
    from_middle: (f64, f64),
}

/// The spectra of one tile of one frame.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TileSpectra {
    /// By pyramid level, blocks in the same order in every frame; `None` where one does not fit or is clipped.
    levels: Vec<Vec<Option<Block>>>,
    /// Share of the coarse detail common with the reference frame that lies where the reference has it, 0 to 1;
    /// `None` where there is no coarse detail.
    pub in_place: Option<f64>,
}

impl TileSpectra {
    /// Whether no block of the tile could be used: outside the other frame, or clipped.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.levels.iter().flatten().all(Option::is_none)
    }
}

/// The spectra of one frame on the reference frame's tiles.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameSpectra {
    /// Row-major, as the tiles of the grid.
    pub tiles: Vec<TileSpectra>,
    /// Enlargement against the reference frame.
    pub scale: f64,
    /// Whether levels are only roughly proportional to light (a rendered file).
    pub rendered: bool,
}

/// Spectra of the frame `other` on the tiles of `reference`.
///
/// For each tile, blocks of 64 pixels on four pyramid levels (each half the size of the one before) are cut from
/// both frames at the places that the registration pairs up, under a Hann window that sits on the same scene
/// content to a fraction of a pixel, so nothing is resampled. On a mosaic only measured samples are used at the
/// finest level. For the spectra of the reference itself pass it as `other` with no registration.
///
/// `in_place` compares the two frames: where wind moved the scene it is low.
#[must_use]
pub fn spectra(
    reference: &Plane,
    other: &Plane,
    registration: Option<&Registration>,
    tiles: &[Region],
) -> FrameSpectra {
    let (ref_pyramid, other_pyramid) = (Pyramid::new(reference), Pyramid::new(other));
    let cutter = Cutter::new(&ref_pyramid, &other_pyramid, registration);
    let mut tiles: Vec<(TileSpectra, Vec<noise::Reading>)> =
        tiles.par_iter().with_min_len(4).map(|region| cutter.tile(*region)).collect();
    let readings: Vec<noise::Reading> = tiles.iter().flat_map(|t| t.1.iter().copied()).collect();
    let noise = Noise::fit(&readings, noise::scatter(other.mosaic));
    for (tile, _) in &mut tiles {
        for (level, blocks) in tile.levels.iter_mut().enumerate() {
            for block in blocks.iter_mut().flatten() {
                block.noise = noise.variance(block.level) / 4f64.powi(level as i32);
            }
        }
    }
    FrameSpectra {
        tiles: tiles.into_iter().map(|t| t.0).collect(),
        scale: registration.map_or(1.0, |r| r.map.scale),
        rendered: other.rendered,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::Mosaic;
    use crate::stats::Dice;

    /// White noise of a known variance: what is fitted is that, though the quietest seventh of the blocks read less of it.
    #[test]
    fn the_quietest_blocks_of_noise_tell_all_of_it() {
        let (side, sd) = (1056, 300.0);
        for mosaic in [Mosaic::None, Mosaic::Checkerboard { even: true }] {
            let mut dice = Dice::new(7);
            let data = (0..side * side).map(|_| (20_000.0 + sd * dice.normal()) as u16).collect();
            let plane = Plane { mosaic, ..Plane::plain(side, side, data, 60_000) };
            let pyramid = Pyramid::new(&plane);
            let cutter = Cutter::new(&pyramid, &pyramid, None);
            let tile = |i: u32| Region { x: 48 + 64 * (i % 15), y: 48 + 64 * (i / 15), width: 64, height: 64 };
            let readings: Vec<noise::Reading> = (0..225).flat_map(|i| cutter.tile(tile(i)).1).collect();
            // Filled with zeros, half of the samples read twice their variance.
            let truth = sd * sd * if mosaic == Mosaic::None { 1.0 } else { 2.0 };
            let mean = readings.iter().map(|r| r.1).sum::<f64>() / readings.len() as f64;
            let found = Noise::fit(&readings, noise::scatter(mosaic)).variance(20_000.0);
            assert!((mean / truth - 1.0).abs() < 0.02, "{mosaic:?}: mean {mean}");
            assert!((found / truth - 1.0).abs() < 0.04, "{mosaic:?}: {found} for {truth}");
            // The scatter itself, by the readings: 900 of them tell it to a twentieth, half-overlapping ones to a little less.
            let squares = readings.iter().map(|r| (r.1 / mean - 1.0).powi(2)).sum::<f64>() / readings.len() as f64;
            assert!((squares.sqrt() / noise::scatter(mosaic) - 1.0).abs() < 0.1, "{mosaic:?}: {}", squares.sqrt());
        }
    }
}
