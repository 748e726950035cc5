//! Cuts paired blocks from two frames and adds up their spectra by ring.

use std::f64::consts::{PI, TAU};
use std::sync::Arc;

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

use super::noise::Reading;
use super::power::Power;
use super::pyramid::Pyramid;
use super::window::{hann, is_high, signed};
use super::{BLOCK, Block, LEVELS, RINGS, SECTORS, TileSpectra};
use crate::measure::register::Registration;
use crate::measure::register::two_dimensional;
use crate::quantity::Region;
use crate::shot::Mosaic;

/// Rings over which frames are compared for being in place: coarse detail, 3 to 9 cycles a block. Chosen: below, the
/// window mixes rings; above, the blur that is asked for takes the power.
const COARSE: std::ops::RangeInclusive<usize> = 3..=9;

/// Margin at the rim that the other frame may not reach: px, and as a share of the picture's shorter side. Chosen: a
/// usual hand-held shift, and what a lens breathes as it is focused.
const RIM_PX: f64 = 6.0;
const RIM_SHARE: f64 = 0.01;

/// Cuts blocks for one pair of frames.
pub(super) struct Cutter<'a> {
    reference: &'a Pyramid<'a>,
    other: &'a Pyramid<'a>,
    registration: Option<&'a Registration>,
    fft: Arc<dyn Fft<f32>>,
    /// Ring and direction of each mode.
    ring: Vec<(usize, usize)>,
    /// Modes of each ring in each direction.
    counts: [[f64; RINGS]; SECTORS],
}

/// Sums over blocks, by ring, each block at its own mean level: power of the other frame, of the reference, and their
/// co-spectrum.
#[derive(Clone)]
struct Sums {
    other: [f64; RINGS],
    reference: [f64; RINGS],
    common: [f64; RINGS],
}

/// A block of both frames.
struct Cross {
    power: [[Power; RINGS]; SECTORS],
    sums: Sums,
    /// Mean level of the other frame's, and its power at the highest frequencies, where those hold noise only.
    mean: f64,
    high: Option<f64>,
    /// Its coarse modes: frequencies along both axes, cycles a pixel, and the cross-spectrum.
    modes: Vec<(f64, f64, Complex<f32>)>,
}

/// Share of a block's coarse detail, of what its noise leaves, that must lie where the reference has it. Chosen: where
/// less does, something moved, or something before it hides it.
const IN_PLACE: f64 = 0.5;
/// Share in place below which a block is looked for again about where it was expected, and the least distance, px, that
/// it is moved by. Chosen: above, most of it lies in place; the windows need not sit closer than a pixel.
const LOOK: f64 = 0.85;
const MOVE_PX: f64 = 1.0;
/// Least ratio of the frames' powers at coarse detail from which phases tell where a block lies. Chosen: a frame
/// blurred to less has its phases turned.
const TELLS: f64 = 0.1;

impl<'a> Cutter<'a> {
    pub(super) fn new(
        reference: &'a Pyramid<'a>,
        other: &'a Pyramid<'a>,
        registration: Option<&'a Registration>,
    ) -> Self {
        let of = |i: usize| {
            let (x, y) = (signed(i % BLOCK), signed(i / BLOCK));
            let turn = y.atan2(x).rem_euclid(PI) / PI;
            (x.hypot(y).round() as usize, (turn * SECTORS as f64).round() as usize % SECTORS)
        };
        let ring: Vec<(usize, usize)> = (0..BLOCK * BLOCK).map(of).collect();
        let mut counts = [[0.0; RINGS]; SECTORS];
        for &(ring, sector) in ring[..BLOCK * (BLOCK / 2 + 1)].iter().filter(|r| r.0 < RINGS) {
            counts[sector][ring] += 1.0;
        }
        Self { reference, other, registration, fft: FftPlanner::new().plan_fft_forward(BLOCK), ring, counts }
    }

    /// Spectra of the other frame in one tile of the reference, and noise readings of its finest blocks.
    pub(super) fn tile(&self, region: Region) -> (TileSpectra, Vec<Reading>) {
        let mut readings = Vec::new();
        let mut levels = Vec::with_capacity(LEVELS);
        let mut in_place = None;
        for level in 0..LEVELS {
            let mut sums = Sums::none();
            let blocks: Vec<Option<Block>> = self
                .centres(region, level)
                .into_iter()
                .map(|centre| {
                    let (x, y) = region.middle();
                    let from_middle = (centre.0 - x, centre.1 - y);
                    if !holds(region, level, from_middle) {
                        return None;
                    }
                    self.block(level, centre, &mut sums, &mut readings).map(|b| Block { from_middle, ..b })
                })
                .collect();
            // Blocks of two levels up see shifts below a pixel as nothing, and wind's as something; where one frame shows
            // nothing of that fineness, coarser ones tell.
            if level > 0 && in_place.is_none() {
                in_place = sums.in_place();
            }
            levels.push(blocks);
        }
        (TileSpectra { levels, in_place }, readings)
    }

    /// Centres of the blocks of a tile at a level, full pixels: half a block apart, one at least. Blocks that would
    /// hang over the rim of the picture are moved inwards, so that the outermost tiles are not without any.
    fn centres(&self, region: Region, level: usize) -> Vec<(f64, f64)> {
        let block = f64::from((BLOCK as u32) << level);
        let step = block / 2.0;
        let (w, h) = (self.reference.plane.width as f64, self.reference.plane.height as f64);
        let rim = step + RIM_PX.max(f64::from(1u32 << level)).max(RIM_SHARE * w.min(h));
        let along = |start: u32, length: u32, size: f64| {
            let count = (f64::from(length) / step).round().max(1.0);
            (0..count as usize)
                .map(|i| f64::from(start) + f64::from(length) * (i as f64 + 0.5) / count)
                .map(|c| if size > 2.0 * rim { c.clamp(rim, size - rim) } else { size / 2.0 })
                .collect::<Vec<f64>>()
        };
        let (xs, ys) = (along(region.x, region.width, w), along(region.y, region.height, h));
        ys.iter().flat_map(|&y| xs.iter().map(move |&x| (x, y))).collect()
    }

    /// The other frame's block of the pair centred at `centre` (full pixels of the reference), if it lies in both frames
    /// unclipped and shows the same in both.
    fn block(&self, level: usize, centre: (f64, f64), sums: &mut Sums, readings: &mut Vec<Reading>) -> Option<Block> {
        let there = self.registration.map_or(centre, |r| r.locate(centre.0, centre.1));
        let mut cross = self.cross(level, centre, there)?;
        let mut in_place = cross.in_place();
        if self.registration.is_some() && in_place.is_some_and(|p| p < LOOK) {
            let factor = f64::from(1u32 << level);
            let moved = cross.drift().filter(|d| d.0.hypot(d.1) > MOVE_PX);
            let again = moved.and_then(|d| self.cross(level, centre, (there.0 + factor * d.0, there.1 + factor * d.1)));
            if let Some(better) = again.filter(|c| c.in_place() > in_place) {
                in_place = better.in_place();
                cross = better;
            }
        }
        sums.add(&cross.sums);
        if let Some(high) = cross.high {
            readings.push((cross.mean, high));
        }
        // What stands in place of itself is there, however little its noise leaves of it.
        let stays = self.registration.is_none() || in_place.is_none_or(|p| p >= IN_PLACE);
        stays.then_some(Block { power: cross.power, noise: 0.0, level: cross.mean, from_middle: (0.0, 0.0) })
    }

    /// Spectra of a block of both frames, centred at these places (full pixels).
    fn cross(&self, level: usize, centre: (f64, f64), there: (f64, f64)) -> Option<Cross> {
        let factor = f64::from(1u32 << level);
        let scaled = |p: (f64, f64)| (p.0 / factor, p.1 / factor);
        let (a, b) = (Cut::new(self.reference, level, scaled(centre))?, Cut::new(self.other, level, scaled(there))?);
        let mut work = vec![Complex::new(0.0f32, 0.0); BLOCK * BLOCK];
        let mean_a = a.window(&mut work, false)?;
        let mean = b.window(&mut work, true)?;
        two_dimensional(&*self.fft, BLOCK, &mut work);
        // Modes per ring vary; rings are averaged at the end of the block.
        let mut pb = [[0.0f64; RINGS]; SECTORS];
        let (mut pa, mut ab) = ([0.0f64; RINGS], [0.0f64; RINGS]);
        let (dx, dy) = (b.inner.0 - a.inner.0, b.inner.1 - a.inner.1);
        let turn = |k: usize, d: f64| Complex::from_polar(1.0f32, (TAU * signed(k) * d / BLOCK as f64) as f32);
        let turns: Vec<(Complex<f32>, Complex<f32>)> = (0..BLOCK).map(|k| (turn(k, dx), turn(k, dy))).collect();
        let (mut high, mut high_count) = (0.0, 0.0);
        let mut modes = Vec::new();
        for y in 0..=BLOCK / 2 {
            for x in 0..BLOCK {
                let i = y * BLOCK + x;
                let mirror = (BLOCK - y) % BLOCK * BLOCK + (BLOCK - x) % BLOCK;
                let other = work[mirror].conj();
                let first = (work[i] + other) * 0.5;
                let second = (work[i] - other) * Complex::new(0.0, -0.5);
                let (ring, sector) = self.ring[i];
                let power = f64::from(second.norm_sqr());
                if is_high(b.mosaic, x, y) {
                    high += power;
                    high_count += 1.0;
                }
                if ring < RINGS {
                    let common = first.conj() * second * turns[x].0 * turns[y].1;
                    pb[sector][ring] += power;
                    pa[ring] += f64::from(first.norm_sqr());
                    ab[ring] += f64::from(common.re);
                    if (1..=*COARSE.end()).contains(&ring) {
                        modes.push((signed(x) / BLOCK as f64, signed(y) / BLOCK as f64, common));
                    }
                }
            }
        }
        let mut sums = Sums::none();
        let power = std::array::from_fn(|s| {
            std::array::from_fn(|k| Power::new(pb[s][k] / self.counts[s][k].max(1.0) / b.weight))
        });
        let relative = |mean: f64| mean.max(1.0).recip();
        let over = |of: &[[f64; RINGS]; SECTORS], k: usize| of.iter().map(|s| s[k]).sum::<f64>();
        for k in 1..RINGS {
            let per_mode = 1.0 / over(&self.counts, k).max(1.0);
            sums.other[k] = over(&pb, k) * per_mode / b.weight * relative(mean).powi(2);
            sums.reference[k] = pa[k] * per_mode / a.weight * relative(mean_a).powi(2);
            sums.common[k] = ab[k] * per_mode / (a.weight * b.weight).sqrt() * relative(mean) * relative(mean_a);
        }
        // Coarser levels are full of detail up to their highest frequencies.
        let high = (level == 0 && high_count > 0.0).then(|| high / high_count / b.weight);
        Some(Cross { power, sums, mean, high, modes })
    }
}

/// Share of a block's half width within which something of a tile must lie for the block to speak of it. Derived: there
/// the window falls to half of its height.
const SPEAKS: f64 = 0.5;

/// Whether a block at a level, moved in from the rim by so many full pixels, still holds something of its tile: in a small picture coarse
/// blocks are many tiles wide, and what they show at the rim is the inside.
fn holds(region: Region, level: usize, moved: (f64, f64)) -> bool {
    let half = f64::from((BLOCK as u32) << level) / 2.0;
    let within = |by: f64, length: u32| by.abs() - f64::from(length) / 2.0 <= SPEAKS * half;
    within(moved.0, region.width) && within(moved.1, region.height)
}

impl Sums {
    const fn none() -> Self {
        Self { other: [0.0; RINGS], reference: [0.0; RINGS], common: [0.0; RINGS] }
    }

    fn add(&mut self, more: &Self) {
        let add = |to: &mut [f64; RINGS], from: &[f64; RINGS]| to.iter_mut().zip(from).for_each(|(a, b)| *a += b);
        add(&mut self.other, &more.other);
        add(&mut self.reference, &more.reference);
        add(&mut self.common, &more.common);
    }

    /// Co-spectrum over the geometric mean of the powers at coarse detail; `None` where that is but noise, or one frame
    /// shows hardly anything of it.
    fn in_place(&self) -> Option<f64> {
        let sum = |of: &[f64]| of[COARSE].iter().sum::<f64>();
        let (a, b) = (sum(&self.reference), sum(&self.other));
        // Contrast below a ten-thousandth is quantisation.
        (a.min(b) > FAINT && a.min(b) > TELLS * a.max(b)).then(|| sum(&self.common) / (a * b).sqrt())
    }
}

/// Power, as a share of the squared mean level, below which a block shows nothing. Chosen: that of a contrast of a
/// thousandth, below which there is only quantisation.
const FAINT: f64 = 1e-6;

impl Cross {
    /// Share of coarse detail that lies where the reference has it, of what the block's noise leaves.
    fn in_place(&self) -> Option<f64> {
        let found = self.sums.in_place()?;
        // White noise has the same power at coarse detail as at the highest frequencies.
        let rings = COARSE.count() as f64;
        let noise = self.high.unwrap_or(0.0) / self.mean.max(1.0).powi(2) * rings;
        let of = |powers: &[f64; RINGS]| (1.0 - noise / powers[COARSE].iter().sum::<f64>()).max(0.1);
        Some((found / (of(&self.sums.other) * of(&self.sums.reference)).sqrt()).min(1.0))
    }

    /// How far the other frame's block lies from where it was cut, px of its level, by the slope of the phases
    /// (Gauss-Newton, from the coarsest modes to finer ones); `None` where they tell no direction.
    fn drift(&self) -> Option<(f64, f64)> {
        let (mut dx, mut dy) = (0.0f64, 0.0f64);
        for reach in [4.5, 4.5, 9.5, 9.5] {
            let (mut xx, mut xy, mut yy, mut bx, mut by) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for &(fx, fy, c) in self.modes.iter().filter(|m| m.0.hypot(m.1) * (BLOCK as f64) < reach) {
                let turned = Complex::new(f64::from(c.re), f64::from(c.im))
                    * Complex::from_polar(1.0, TAU * (fx * dx + fy * dy));
                let (w, phase) = (turned.norm().sqrt(), turned.arg());
                let (kx, ky) = (-TAU * fx, -TAU * fy);
                xx += w * kx * kx;
                xy += w * kx * ky;
                yy += w * ky * ky;
                bx += w * kx * phase;
                by += w * ky * phase;
            }
            let det = xx * yy - xy * xy;
            if det <= 1e-6 * xx * yy {
                return None;
            }
            dx += (bx * yy - by * xy) / det;
            dy += (by * xx - bx * xy) / det;
        }
        // Beyond that the windows held little of the same to begin with.
        (dx.hypot(dy) < BLOCK as f64 / 4.0).then_some((dx, dy))
    }
}

/// One block of one frame: its corner, and where in it the wanted centre lies.
struct Cut<'a> {
    pyramid: &'a Pyramid<'a>,
    level: usize,
    corner: (usize, usize),
    /// The centre, px from the corner.
    inner: (f64, f64),
    mosaic: Mosaic,
    /// Sum of the squared window, with the share of filled samples: power over this is that of a sample.
    weight: f64,
}

impl<'a> Cut<'a> {
    fn new(pyramid: &'a Pyramid<'a>, level: usize, centre: (f64, f64)) -> Option<Self> {
        let (w, h) = pyramid.size(level)?;
        let half = BLOCK as f64 / 2.0;
        let place = |c: f64, length: usize| {
            let corner = (c - half).round();
            // A block may hang over the rim by a hair, not more.
            (corner >= 0.0 && corner as usize + BLOCK <= length).then_some(corner as usize)
        };
        let corner = (place(centre.0, w)?, place(centre.1, h)?);
        let inner = (centre.0 - corner.0 as f64, centre.1 - corner.1 as f64);
        let mosaic = pyramid.mosaic(level);
        let weight =
            hann(inner.0).iter().map(|w| w * w).sum::<f64>() * hann(inner.1).iter().map(|w| w * w).sum::<f64>();
        Some(Self { pyramid, level, corner, inner, mosaic, weight })
    }

    /// Writes the windowed block into the real or imaginary parts; the mean level, or `None` where it is clipped.
    fn window(&self, work: &mut [Complex<f32>], imaginary: bool) -> Option<f64> {
        let (wx, wy) = (hann(self.inner.0), hann(self.inner.1));
        let mut row = [0.0f32; BLOCK];
        let (mut sum, mut total, mut clipped) = (0.0, 0.0, 0);
        for y in 0..BLOCK {
            self.pyramid.row(self.level, self.corner.0, self.corner.1 + y, &mut row);
            for (x, &v) in row.iter().enumerate() {
                let at = &mut work[y * BLOCK + x];
                if imaginary {
                    at.im = v
                } else {
                    at.re = v
                }
                if v.is_nan() {
                    clipped += 1;
                } else if self.measured(x, y) {
                    let w = wx[x] * wy[y];
                    sum += w * f64::from(v);
                    total += w;
                }
            }
        }
        if clipped > BLOCK * BLOCK / 500 || total <= 0.0 {
            return None;
        }
        let mean = sum / total;
        // Filling the gaps of a mosaic with zeros leaves the share of its samples; scaling by the inverse keeps the
        // picture's own spectrum, and repeats it at high frequencies where the lens left little.
        let fill = match self.mosaic {
            Mosaic::None => 1.0,
            Mosaic::Checkerboard { .. } => 2.0,
            Mosaic::Six(bits) => 36.0 / f64::from(bits.count_ones().max(1)),
        };
        for y in 0..BLOCK {
            for x in 0..BLOCK {
                let at = &mut work[y * BLOCK + x];
                let v = if imaginary { &mut at.im } else { &mut at.re };
                let kept = !v.is_nan() && self.measured(x, y);
                *v = if kept { ((f64::from(*v) - mean) * wx[x] * wy[y] * fill) as f32 } else { 0.0 };
            }
        }
        Some(mean)
    }

    fn measured(&self, x: usize, y: usize) -> bool {
        self.mosaic.measured(self.corner.0 + x, self.corner.1 + y)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::Plane;

    #[test]
    fn a_block_that_lies_beside_its_tile_does_not_speak_of_it() {
        // Dots all over, so that every block shows something.
        let (width, height) = (840, 1260);
        let dot = |i: usize| 20_000 + (i.wrapping_mul(2_654_435_761) >> 7) as u16 % 20_000;
        let data = (0..width * height).map(dot).collect();
        let plane = Plane::plain(width, height, data, 60_000);
        let pyramid = Pyramid::new(&plane);
        let cutter = Cutter::new(&pyramid, &pyramid, None);
        let speak = |x: u32, y: u32, side: u32| -> Vec<bool> {
            let (tile, _) = cutter.tile(Region { x, y, width: side, height: side });
            tile.levels.iter().map(|blocks| blocks.iter().any(Option::is_some)).collect()
        };
        // Blocks are 64, 128, 256 and 512 px wide; in the corner of the picture the last lie some 240 px from the tile's middle.
        assert_eq!(speak(0, 0, 53), [true, true, false, false]);
        assert_eq!(speak(393, 603, 53), [true; 4]);
        // Tiles of a picture of full size hold them all.
        assert_eq!(speak(0, 0, 250), [true; 4]);
    }
}
