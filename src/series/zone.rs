//! Parts of the frame that a series is answered for, and their blur in each frame.

use super::{Blurs, middle_mean};
use crate::quantity::{Estimate, ZoneName};
use crate::stats;

/// Blur that counts as no loss, as a ratio to the best. Chosen: within 5 % of the best.
pub const NO_LOSS: f64 = 1.05;

/// A zone and the tiles (indices, row-major) that lie in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Zone {
    /// Which zone.
    pub name: ZoneName,
    /// Its tiles.
    pub tiles: Vec<usize>,
}

/// Blur of a zone in one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Index of the frame.
    pub frame: usize,
    /// Gaussian-equivalent sigma, px, pixel aperture included.
    pub blur: Estimate,
    /// The part of its sd that frames do not share: what counts when they are compared, px.
    pub apart_sd: f64,
}

/// Blur of a zone in every frame where it could be measured.
#[derive(Clone, Debug, PartialEq)]
pub struct ZoneBlur {
    /// Which zone.
    pub name: ZoneName,
    /// By frame, in the order of the frames; frames without a number are left out.
    pub points: Vec<Point>,
    /// Tiles the numbers rest on: those that tell a loss from frame to frame.
    pub tiles: u32,
    /// Tiles of the zone, measured or not.
    pub of: u32,
}

/// Fewest tiles of a zone that anything is said by. Chosen: fewer follow what they happen to show.
const TILES: u32 = 3;

impl ZoneBlur {
    /// Whether it rests on so little that one odd tile, or what little a corner of sky or water shows, could decide.
    #[must_use]
    pub fn is_thin(&self) -> bool {
        self.tiles < TILES || (self.name.is_corner() && 2 * self.tiles < self.of)
    }
}

/// Blur of each zone in each frame.
///
/// One frame of the zone, that with most tiles, is taken as it is: the mean of the middle half of its tiles. Every other
/// follows by the ratio of that mean over the tiles that both have, so that what the tiles show cancels though not all have
/// a number in all frames. (Not by the mean of the tiles' ratios: those of a zone that reaches from sharp to blurred ground
/// average to more than the ratio of its means.)
#[must_use]
pub fn zone_blurs(zones: &[Zone], blurs: &Blurs) -> Vec<ZoneBlur> {
    let tells = telling(blurs);
    zones.iter().filter_map(|z| zone_blur(z, blurs, &tells)).collect()
}

/// Error of a tile between frames, as a multiple of the usual one, up to which it tells a loss whatever its error. Chosen:
/// twice, so that noise that all tiles share silences none.
const AS_USUAL: f64 = 2.0;

/// By tile: whether its width is known from frame to frame to within a loss that counts, by the middle of its errors in the frames.
///
/// Clouds and water have little contrast and none that is fine: their widths are read from what little of it lies above the noise, are
/// off by more than a tenth, and by more than the lens does to them.
fn telling(blurs: &Blurs) -> Vec<bool> {
    let of_tile = |t: usize| {
        let frames = blurs.sigma.iter().zip(&blurs.apart_sd);
        // The frame that the others are compared with has no error of its own.
        let errors = frames.filter_map(|(f, sd)| Some(sd[t] / f[t]?.value)).filter(|e| *e > 0.0);
        stats::median(&errors.collect::<Vec<f64>>())
    };
    let errors: Vec<Option<f64>> = (0..blurs.anchor_sd.len()).map(of_tile).collect();
    let usual = stats::median(&errors.iter().copied().flatten().collect::<Vec<f64>>()).unwrap_or(0.0);
    let most = (NO_LOSS - 1.0).max(AS_USUAL * usual);
    errors.into_iter().map(|e| e.is_none_or(|e| e <= most)).collect()
}

/// Standard error of the mean of the middle half, as a multiple of that of the mean of all, under a normal law. Published:
/// Stuart & Ord, Kendall's Advanced Theory of Statistics: efficiency 0.84 (the number from memory).
const MIDDLE_SD: f64 = 1.09;

fn zone_blur(zone: &Zone, blurs: &Blurs, tells: &[bool]) -> Option<ZoneBlur> {
    let frames = blurs.sigma.len();
    let has = |k: usize| zone.tiles.iter().copied().filter(move |&t| blurs.sigma[k][t].is_some());
    let base = (0..frames).max_by_key(|&k| (has(k).count(), std::cmp::Reverse(k)))?;
    let tiles: Vec<usize> = has(base).collect();
    if tiles.is_empty() {
        return None;
    }
    let width = |k: usize, t: usize| blurs.sigma[k][t].map(|e| e.value);
    let base_width = middle_mean(tiles.iter().filter_map(|&t| width(base, t)).collect());
    // Tiles share what biases single-frame widths, so their number does not shrink the anchor's error much.
    let anchor = middle_mean(tiles.iter().map(|&t| blurs.anchor_sd[t]).collect());
    let least = middle_mean(tiles.iter().map(|&t| blurs.least(t)).collect());
    let points: Vec<Point> = (0..frames)
        .filter_map(|k| {
            let both: Vec<usize> = tiles.iter().copied().filter(|&t| blurs.sigma[k][t].is_some()).collect();
            // One tile among many speaks for itself alone.
            if both.len() < 2.min(tiles.len()) {
                return None;
            }
            let mean = |frame: usize| middle_mean(both.iter().filter_map(|&t| width(frame, t)).collect());
            let value = base_width * mean(k) / mean(base);
            let n = both.len() as f64;
            // Errors of tiles are independent; the middle half of them keeps out the tiles that say little of themselves, and
            // costs a tenth more error than the mean of all. One per cent remains however many there are.
            let own = MIDDLE_SD * middle_mean(both.iter().map(|&t| blurs.apart_sd[k][t]).collect()) / n.sqrt();
            let apart_sd = own.hypot(0.01 * value);
            // An error of the anchor acts on the square, so it shrinks as the blur grows.
            let sd = apart_sd.hypot(anchor * least / value.max(0.1));
            Some(Point { frame: k, blur: Estimate::new(value, sd, both.len() as u32), apart_sd })
        })
        .collect();
    (points.len() > 1).then_some(ZoneBlur {
        name: zone.name,
        points,
        tiles: tiles.iter().filter(|&&t| tells[t]).count() as u32,
        of: zone.tiles.len() as u32,
    })
}
