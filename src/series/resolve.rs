//! Blur of every tile in every frame: relative blur from pairs of frames, anchored by single-frame widths.

use rayon::prelude::*;

use super::middle_mean;
use crate::measure::TileMap;
use crate::measure::pair::{Contrast, FrameSpectra, Relative, ToneCurve, relative};
use crate::measure::register::Registration;
use crate::optics;
use crate::optics::blur::{Parts, lens_px_for, sigma_px, square_at};
use crate::quantity::{Estimate, Region};
use crate::stats::MAD_SD;

/// One frame of a group, as compared.
#[derive(Clone, Debug)]
pub struct Frame {
    /// f-number, where known.
    pub f_number: Option<f64>,
    /// Pixel pitch, um, where known.
    pub pitch_um: Option<f64>,
    /// Spectra on the reference frame's tiles.
    pub spectra: FrameSpectra,
    /// Widths measured in this frame alone, on the reference frame's tiles.
    pub absolute: Vec<Option<Estimate>>,
}

/// Blur of every tile in every frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Blurs {
    /// `[frame][tile]`: Gaussian-equivalent sigma, px; `None` where the tile could not be compared, or no frame alone shows a
    /// width in it.
    pub sigma: Vec<Vec<Option<Estimate>>>,
    /// `[frame][tile]`: the part of its sd that the frames of this tile do not share, px.
    pub apart_sd: Vec<Vec<f64>>,
    /// `[frame][tile]`: middle of what was compared from that of the tile, px: at the rim of the picture it lies further in.
    pub from_middle: Vec<Vec<(f64, f64)>>,
    /// `[frame][tile]`: whether the width is a least one, as at the rim of a small picture, where blocks are too small to show it.
    pub at_least: Vec<Vec<bool>>,
    /// `[tile]`: sd of the anchor of all its frames: the width of its sharpest frame, px.
    pub anchor_sd: Vec<f64>,
    /// Tiles left out because the scene moved there, by frame.
    pub moved: Vec<u32>,
}

impl Blurs {
    /// The same among `members` frames, of which these are the ones at `places`; the others have no widths.
    #[must_use]
    pub fn among(self, places: &[usize], members: usize) -> Self {
        let tiles = self.anchor_sd.len();
        let mut all = Self {
            sigma: vec![vec![None; tiles]; members],
            apart_sd: vec![vec![0.0; tiles]; members],
            from_middle: vec![vec![(0.0, 0.0); tiles]; members],
            at_least: vec![vec![false; tiles]; members],
            anchor_sd: self.anchor_sd,
            moved: vec![0; members],
        };
        let what = self.from_middle.into_iter().zip(self.at_least);
        let frames = self.sigma.into_iter().zip(self.apart_sd).zip(what).zip(self.moved);
        for (&k, (((sigma, apart_sd), (from_middle, at_least)), moved)) in places.iter().zip(frames) {
            (all.sigma[k], all.apart_sd[k], all.moved[k]) = (sigma, apart_sd, moved);
            (all.from_middle[k], all.at_least[k]) = (from_middle, at_least);
        }
        all
    }

    /// The same without the widths of these frames.
    #[must_use]
    pub fn without(&self, frames: &[usize]) -> Self {
        let mut left = self.clone();
        frames.iter().for_each(|&k| left.sigma[k].fill(None));
        left
    }

    /// How many tiles have a width in any frame.
    #[must_use]
    pub fn tiles(&self) -> usize {
        (0..self.anchor_sd.len()).filter(|&t| self.sigma.iter().any(|f| f[t].is_some())).count()
    }

    /// Smallest width of a tile over the frames, px; 0 where it has none.
    #[must_use]
    pub fn least(&self, tile: usize) -> f64 {
        self.sigma.iter().filter_map(|f| f[tile]).map(|e| e.value).reduce(f64::min).unwrap_or(0.0)
    }
}

/// Share of coarse detail that must lie where the reference has it. Chosen: wind and walkers fall below.
const IN_PLACE: f64 = 0.6;
/// Width to look around where nothing is known, px. Chosen: that of a sharp picture.
const USUAL: f64 = 0.6;
/// Tile-to-tile scatter of single-frame widths that their own sd may leave out (what a tile shows), as a share. Set on
/// the rendered frames used for building: 8 %.
const CONTENT: f64 = 0.08;

/// Carries single-frame widths over to the tiles of the reference frame.
#[must_use]
pub fn on_reference(map: &TileMap, registration: Option<&Registration>, tiles: &[Region]) -> Vec<Option<Estimate>> {
    tiles
        .iter()
        .map(|r| {
            let (x, y) = r.middle();
            let (x, y) = registration.map_or((x, y), |reg| reg.map.apply(x, y));
            map.tile_at(x, y).and_then(crate::measure::Tile::by_itself)
        })
        .collect()
}

/// Compares all frames tile by tile.
///
/// In each tile the sharpest frame is found and every other frame is compared with it. Its own width comes from
/// the single-frame widths of all frames of the tile, each carried back by its relative blur, drawn towards the
/// middle of its neighbourhood's where they are few; it is never less than diffraction and the pixel allow where
/// f-number and pitch are known. Its transfer function is taken as pixel, diffraction and a Gaussian rest, so that
/// the width of another frame at that frame's own half-contrast frequency follows from the ratio measured there.
///
/// `tiles` are the places of the tiles that the spectra are of; `curve` is that of rendered frames, where known.
#[must_use]
pub fn resolve(frames: &[Frame], tiles: &[Region], curve: Option<&ToneCurve>) -> Blurs {
    let count = frames.first().map_or(0, |f| f.spectra.tiles.len());
    let rough: Vec<Option<Tile>> = (0..count).into_par_iter().map(|t| Tile::new(frames, t, None, curve)).collect();
    let own: Vec<Option<f64>> = rough.iter().map(|t| Some(t.as_ref()?.own?.value)).collect();
    let usual = usual(&own, tiles);
    let tiles: Vec<Option<(Tile, Estimate)>> = rough
        .into_par_iter()
        .enumerate()
        .map(|(t, rough)| {
            let anchor = rough?.anchor(frames, usual[t])?;
            let fine = Tile::new(frames, t, Some(anchor.value), curve)?;
            let anchor = fine.anchor(frames, usual[t])?;
            Some((fine, anchor))
        })
        .collect();
    let mut blurs = Blurs {
        sigma: vec![vec![None; count]; frames.len()],
        apart_sd: vec![vec![0.0; count]; frames.len()],
        from_middle: vec![vec![(0.0, 0.0); count]; frames.len()],
        at_least: vec![vec![false; count]; frames.len()],
        anchor_sd: vec![0.0; count],
        moved: frames.iter().map(|f| f.spectra.tiles.iter().filter(|t| moved(t)).count() as u32).collect(),
    };
    for (t, found) in tiles.iter().enumerate() {
        let Some((tile, anchor)) = found else { continue };
        blurs.anchor_sd[t] = anchor.sd;
        let parts = shape(&frames[tile.sharpest], anchor.value);
        for (k, relative) in tile.relative.iter().enumerate() {
            let Some(r) = relative else { continue };
            // The square of the sharpest frame's width as it acts at the frequency compared at.
            let base = square_at(&parts, r.frequency);
            let (square, apart) = if k == tile.sharpest {
                (anchor.value.powi(2), 0.0)
            } else {
                let there = at_half_contrast(&frames[k], base + r.squared.value, r.frequency);
                (there.max(0.5 * anchor.value.powi(2)), r.squared.sd)
            };
            let value = square.sqrt();
            let apart_sd = apart / (2.0 * value);
            let sd = apart_sd.hypot(anchor.sd * anchor.value / value);
            blurs.sigma[k][t] = Some(Estimate::new(value, sd, r.squared.n));
            blurs.apart_sd[k][t] = apart_sd;
            blurs.from_middle[k][t] = r.from_middle;
            blurs.at_least[k][t] = r.at_least;
        }
    }
    blurs
}

/// Reach of a tile's neighbourhood, in tiles, and how many known widths make one. Chosen: a seventh of a row, of which
/// a sixth must be known.
const NEIGHBOURHOOD: f64 = 3.5;
const KNOWN: usize = 6;
/// How far the tiles of a neighbourhood, and of a whole picture, resemble each other, as a share of the width. Chosen:
/// of one neighbourhood closely, of a picture within a third.
const ALIKE: (f64, f64) = (0.12, 0.3);

/// What is usual for a tile's width and how far it may be off: the middle of its neighbours', for a lens is softer in the
/// corners; where few of them are known, that of all.
fn usual(own: &[Option<f64>], tiles: &[Region]) -> Vec<Option<Estimate>> {
    let known: Vec<f64> = own.iter().copied().flatten().collect();
    let all = (!known.is_empty()).then(|| middle_mean(known));
    let of_all = all.map(|value| Estimate::new(value, ALIKE.1 * value, 1));
    let apart = |a: u32, b: u32, side: u32| (f64::from(b) - f64::from(a)) / f64::from(side.max(1));
    let of_tile = |tile: &Region| {
        let around: Vec<(f64, f64, f64)> = tiles
            .iter()
            .zip(own)
            .filter_map(|(t, w)| Some((apart(tile.x, t.x, tile.width), apart(tile.y, t.y, tile.height), (*w)?)))
            .filter(|(x, y, _)| x.abs().max(y.abs()) < NEIGHBOURHOOD)
            .collect();
        level(&around).map(|value| Estimate::new(value, ALIKE.0 * value, 1)).or(of_all)
    };
    tiles.iter().map(of_tile).collect()
}

/// Value at the origin of a plane through (x, y, value), robust against single tiles: at the rim all neighbours lie to one
/// side, and a lens changes towards it. `None` where there are few; their middle where they lie in too few directions.
fn level(around: &[(f64, f64, f64)]) -> Option<f64> {
    if around.len() < KNOWN {
        return None;
    }
    let middle = middle_mean(around.iter().map(|a| a.2).collect());
    let mut plane = nalgebra::Vector3::new(middle, 0.0, 0.0);
    for _ in 0..5 {
        let rest = |a: &(f64, f64, f64)| a.2 - plane[0] - plane[1] * a.0 - plane[2] * a.1;
        let scale = MAD_SD * middle_mean(around.iter().map(|a| rest(a).abs()).collect()) + 1e-6;
        // Slopes are held by a width that changes by a sixth from tile to tile at most.
        let hold = (2.0 * scale / middle).powi(2);
        let (mut normal, mut right) = (nalgebra::Matrix3::from_diagonal(&[0.0, hold, hold].into()), plane * 0.0);
        for a in around {
            let row = nalgebra::Vector3::new(1.0, a.0, a.1);
            let weight = 5.0 / (4.0 + (rest(a) / scale).powi(2));
            normal += weight * row * row.transpose();
            right += weight * a.2 * row;
        }
        plane = normal.cholesky()?.solve(&right);
    }
    Some(plane[0])
}

fn moved(tile: &crate::measure::pair::TileSpectra) -> bool {
    tile.in_place.is_some_and(|p| p < IN_PLACE)
}

/// A squared width that holds at one frequency, carried to that of half contrast, where widths are defined: a
/// diffraction pattern's falls by half from one octave to the next. What the known f-number does not explain is
/// taken as Gaussian, whose width is the same at all.
fn at_half_contrast(frame: &Frame, square: f64, frequency: f64) -> f64 {
    let bare = shape(frame, 0.0);
    let rest = square - square_at(&bare, frequency);
    if rest >= 0.0 {
        sigma_px(&Parts { lens_px: rest.sqrt(), ..bare }).powi(2)
    } else {
        // Sharper than pixel and diffraction allow: noise, which must not be cut off on one side.
        sigma_px(&bare).powi(2) + rest
    }
}

/// The sharpest frame's transfer as parts that add up to `sigma`.
fn shape(frame: &Frame, sigma: f64) -> Parts {
    let lambda_n_px = frame.f_number.zip(frame.pitch_um).map(|(n, p)| optics::lambda_n_px(n, p));
    let bare = Parts { lambda_n_px, pixel: true, ..Parts::default() };
    Parts { lens_px: lens_px_for(sigma, &bare).unwrap_or(0.0), ..bare }
}

/// What is known of the contrast of two frames.
fn contrast(a: &Frame, b: &Frame, curve: Option<&ToneCurve>) -> Contrast {
    match (a.spectra.rendered, b.spectra.rendered) {
        (false, false) => Contrast::Linear,
        (true, true) => curve.map_or(Contrast::Rendered, |c| Contrast::Curve(*c)),
        _ => Contrast::Rendered,
    }
}

/// One tile in all frames.
pub(super) struct Tile {
    /// The frame that the others are compared with.
    pub(super) sharpest: usize,
    /// Against the sharpest frame, which has zero against itself.
    pub(super) relative: Vec<Option<Relative>>,
    /// Width of the sharpest frame from single-frame widths, where there are any.
    own: Option<Estimate>,
}

impl Tile {
    pub(super) fn new(frames: &[Frame], tile: usize, sharper: Option<f64>, curve: Option<&ToneCurve>) -> Option<Self> {
        let usable: Vec<usize> = (0..frames.len())
            .filter(|&k| {
                let spectra = &frames[k].spectra.tiles[tile];
                !moved(spectra) && !spectra.is_empty()
            })
            .collect();
        if usable.len() < 2 {
            return None;
        }
        let guess = sharper.unwrap_or(USUAL);
        let against = |m: usize, k: usize| {
            let scale = frames[k].spectra.scale / frames[m].spectra.scale;
            let contrast = contrast(&frames[m], &frames[k], curve);
            relative(&frames[m].spectra.tiles[tile], &frames[k].spectra.tiles[tile], guess, scale, contrast)
        };
        // The champion of a round of comparisons: every frame once against the best so far.
        let mut sharpest = usable[0];
        for &k in &usable[1..] {
            if against(sharpest, k).is_some_and(|r| r.squared.value < 0.0) {
                sharpest = k;
            }
        }
        let itself = Relative {
            squared: Estimate::new(0.0, 0.0, 1),
            frequency: crate::quantity::MTF50_SIGMA / guess,
            from_middle: (0.0, 0.0),
            at_least: false,
            gain: Estimate::new(0.0, 0.0, 1),
            levels: (0.0, 0.0),
        };
        let relative: Vec<Option<Relative>> = (0..frames.len())
            .map(|k| {
                if k == sharpest {
                    Some(itself)
                } else if usable.contains(&k) {
                    against(sharpest, k)
                } else {
                    None
                }
            })
            .collect();
        if relative.iter().flatten().count() < 2 {
            return None;
        }
        let own = own_width(frames, tile, sharpest, &relative);
        Some(Self { sharpest, relative, own })
    }

    /// Width of the sharpest frame, px, with the sd that is left; `None` where no frame alone shows one: clouds and water drift
    /// from frame to frame, and how they change tells nothing of the blur.
    fn anchor(&self, frames: &[Frame], usual: Option<Estimate>) -> Option<Estimate> {
        let own = self.own?;
        let floor = sigma_px(&Parts { lens_px: 0.0, ..shape(&frames[self.sharpest], 0.0) });
        let (value, sd) = usual.map_or((own.value, own.sd), |usual| {
            let (w, v) = (own.sd.powi(-2), usual.sd.powi(-2));
            ((own.value * w + usual.value * v) / (w + v), (w + v).sqrt().recip())
        });
        Some(Estimate::new(value.max(floor), sd, own.n))
    }
}

/// Width of the sharpest frame from the single-frame widths of all of them: each squared width less its relative
/// blur; weighted by error. Their common dependence on what the tile shows stays in the sd.
fn own_width(frames: &[Frame], tile: usize, sharpest: usize, relative: &[Option<Relative>]) -> Option<Estimate> {
    let (mut sum, mut weights, mut n) = (0.0, 0.0, 0);
    for (frame, r) in frames.iter().zip(relative) {
        let (Some(width), Some(r)) = (frame.absolute[tile], r) else { continue };
        // The difference holds at the frequency compared at.
        let square = at_half_contrast(&frames[sharpest], width.value * width.value - r.squared.value, r.frequency);
        let sd = (2.0 * width.value * width.sd.max(0.05 * width.value)).hypot(r.squared.sd);
        sum += square / (sd * sd);
        weights += 1.0 / (sd * sd);
        n += 1;
    }
    if n == 0 {
        return None;
    }
    let value = (sum / weights).max(0.09).sqrt();
    let sd = (weights.sqrt().recip() / (2.0 * value)).hypot(CONTENT * value);
    Some(Estimate::new(value, sd, n))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_usual_in_a_corner_is_not_what_is_usual_further_in() {
        let tiles: Vec<Region> =
            (0..64).map(|i| Region { x: 50 * (i % 8), y: 50 * (i / 8), width: 50, height: 50 }).collect();
        let width = |t: &Region| 0.6 + 0.04 * f64::from(t.x + t.y) / 50.0;
        let mut own: Vec<Option<f64>> = tiles.iter().map(|t| Some(width(t))).collect();
        own[54] = Some(3.0);
        let found = usual(&own, &tiles);
        assert!((found[63].unwrap().value / width(&tiles[63]) - 1.0).abs() < 0.02, "{:?} in the corner", found[63]);
        assert!((found[27].unwrap().value / width(&tiles[27]) - 1.0).abs() < 0.02, "{:?} in the middle", found[27]);
    }
}
