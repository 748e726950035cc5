//! A sketch of a frame: a hundred pixels across, enough to tell in a millisecond whether two frames may show one scene.

use std::f64::consts::PI;
use std::sync::LazyLock;

use rustfft::num_complex::Complex;

use super::Small;
use super::square::{Plans, plans, soft_band, two_dimensional};
use crate::stats::median;

/// Longest side of a sketch, px. Chosen: 6 by 4 blocks.
const LONG: usize = 96;
/// Side of the transform that finds the shift, px. Derived: the next power of two, with room around a sketch.
const FIELD: usize = 128;
/// Half the side of the square whose mean is taken out, px. Chosen: exposure and the fall-off of light over the picture go with it.
const LOCAL: usize = 6;
/// Side of the blocks that are looked for, px, and how far from the common shift they are looked for, px. Chosen: for
/// parallax and breathing of a few hundredths.
const BLOCK: usize = 16;
const REACH: i64 = 4;
/// Correlation from which a block counts as found. Chosen: blocks of unrelated scenes reach 0.3 at their best place.
const FOUND: f32 = 0.6;
/// Distance, px, from the median of its neighbours' offsets within which a found block agrees with them. Chosen: a
/// third of how far is looked.
const NEAR: f64 = 1.5;
/// Contrast, ln of the level, below which a block shows nothing. Chosen: below, compression draws what there is.
const FLAT: f32 = 0.01;

/// A frame a hundred pixels across: logarithms of the levels, their local mean taken out.
#[derive(Clone, Debug, PartialEq)]
pub struct Sketch {
    width: usize,
    height: usize,
    /// Full pixels to one of the sketch.
    factor: f64,
    data: Vec<f32>,
    /// Its transform on the square field, mean out and rim faded.
    spectrum: Vec<Complex<f32>>,
}

/// How alike two sketches are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Likeness {
    /// Blocks that show something.
    pub blocks: u32,
    /// Share of them that were found in the other, where those around them say.
    pub share: f64,
    /// Common shift, px of the full picture.
    pub shift: (f64, f64),
}

impl Sketch {
    /// Of a small picture.
    #[must_use]
    pub fn new(small: &Small) -> Self {
        let by = small.width.max(small.height).div_ceil(LONG).max(1);
        let (width, height) = ((small.width / by).max(1), (small.height / by).max(1));
        let cell = |x: usize, y: usize| {
            let rows = (y * by..(y + 1) * by).filter(|r| *r < small.height);
            let sum: f32 =
                rows.map(|r| small.data[r * small.width + x * by..][..by.min(small.width)].iter().sum::<f32>()).sum();
            (sum / (by * by) as f32).max(1.0).ln()
        };
        let logs: Vec<f32> = (0..width * height).map(|i| cell(i % width, i / width)).collect();
        let data = without_local_mean(&logs, width, height);
        let spectrum = spectrum(&data, width, height);
        Self { width, height, factor: (by * small.factor) as f64, data, spectrum }
    }

    /// Contrast of a block and its mean.
    fn block(&self, x: usize, y: usize) -> (f32, f32) {
        let (mut sum, mut squares) = (0.0, 0.0);
        for row in y..y + BLOCK {
            for v in &self.data[row * self.width + x..][..BLOCK] {
                sum += v;
                squares += v * v;
            }
        }
        let n = (BLOCK * BLOCK) as f32;
        ((squares / n - (sum / n).powi(2)).max(0.0).sqrt(), sum / n)
    }
}

fn without_local_mean(logs: &[f32], width: usize, height: usize) -> Vec<f32> {
    // Sums over rows and columns before each place.
    let mut sums = vec![0.0f64; (width + 1) * (height + 1)];
    for y in 0..height {
        for x in 0..width {
            let at = |x: usize, y: usize| sums[y * (width + 1) + x];
            let here = f64::from(logs[y * width + x]) + at(x, y + 1) + at(x + 1, y) - at(x, y);
            sums[(y + 1) * (width + 1) + x + 1] = here;
        }
    }
    let at = |x: usize, y: usize| sums[y * (width + 1) + x];
    (0..width * height)
        .map(|i| {
            let (x, y) = (i % width, i / width);
            let (x0, x1) = (x.saturating_sub(LOCAL), (x + LOCAL + 1).min(width));
            let (y0, y1) = (y.saturating_sub(LOCAL), (y + LOCAL + 1).min(height));
            let sum = at(x1, y1) - at(x0, y1) - at(x1, y0) + at(x0, y0);
            logs[i] - (sum / ((x1 - x0) * (y1 - y0)) as f64) as f32
        })
        .collect()
}

/// Weights of the shift's frequencies: rotation, scale and blur take the phase of the highest first.
static WEIGHTS: LazyLock<Vec<f32>> = LazyLock::new(|| soft_band(FIELD, 0.15));

fn transforms() -> Plans {
    static PLANS: LazyLock<Plans> = LazyLock::new(|| plans(FIELD));
    PLANS.clone()
}

fn spectrum(data: &[f32], width: usize, height: usize) -> Vec<Complex<f32>> {
    let fade = |i: usize, n: usize| {
        let edge = (i as f64 + 0.5).min(n as f64 - i as f64 - 0.5) / (0.15 * n as f64);
        if edge < 1.0 { (0.5 - 0.5 * (PI * edge).cos()) as f32 } else { 1.0 }
    };
    let mut field = vec![Complex::new(0.0, 0.0); FIELD * FIELD];
    for y in 0..height.min(FIELD) {
        for x in 0..width.min(FIELD) {
            field[y * FIELD + x].re = data[y * width + x] * fade(x, width) * fade(y, height);
        }
    }
    two_dimensional(&*transforms().0, FIELD, &mut field);
    field
}

/// Compares two sketches; `None` where their sizes differ.
///
/// The common shift comes from phase correlation (Kuglin & Hines 1975); around it each block of the first is looked for
/// in the second by normalised correlation. At this size the blur of all but the wildest defocus is below a pixel.
pub(crate) fn likeness(a: &Sketch, b: &Sketch) -> Option<Likeness> {
    if !super::one_size((a.width, a.height), (b.width, b.height)) || a.width < 2 * BLOCK || a.height < 2 * BLOCK {
        return None;
    }
    let shift = shift(a, b);
    let mut blocks = 0;
    let mut found: Vec<Find> = Vec::new();
    let along = |n: usize| {
        let count = n / BLOCK;
        (0..count).map(move |i| (n - BLOCK) * i / (count - 1).max(1))
    };
    for y in along(a.height) {
        for x in along(a.width) {
            if a.block(x, y).0 > FLAT {
                blocks += 1;
                found.push(((x as f64, y as f64), look(a, b, (x, y), shift)));
            }
        }
    }
    let agreeing = found.iter().filter(|f| agrees(f, &found)).count();
    let share = agreeing as f64 / f64::from(blocks.max(1));
    let full = (shift.0 as f64 * a.factor, shift.1 as f64 * a.factor);
    Some(Likeness { blocks, share, shift: full })
}

/// A block's place, and its offset from the common shift where it was found.
type Find = ((f64, f64), Option<(f64, f64)>);

/// Whether a block was found where the middle of the found ones about it was.
fn agrees(own: &Find, found: &[Find]) -> bool {
    let Some(by) = own.1 else { return false };
    let reach = 1.6 * BLOCK as f64;
    let about = |f: &&Find| f.0 != own.0 && (f.0.0 - own.0.0).abs() < reach && (f.0.1 - own.0.1).abs() < reach;
    let near: Vec<(f64, f64)> = found.iter().filter(about).filter_map(|f| f.1).collect();
    let middle = |part: fn(&(f64, f64)) -> f64| median(&near.iter().map(part).collect::<Vec<f64>>());
    let (Some(x), Some(y)) = (middle(|o| o.0), middle(|o| o.1)) else { return false };
    near.len() >= 2 && (by.0 - x).hypot(by.1 - y) <= NEAR
}

fn shift(a: &Sketch, b: &Sketch) -> (i64, i64) {
    let signed = |k: usize| if k > FIELD / 2 { k as i64 - FIELD as i64 } else { k as i64 };
    let mut cross: Vec<Complex<f32>> = a
        .spectrum
        .iter()
        .zip(&b.spectrum)
        .zip(WEIGHTS.iter())
        .map(|((a, b), weight)| {
            let c = a.conj() * b;
            c / c.norm().max(1e-9) * *weight
        })
        .collect();
    two_dimensional(&*transforms().1, FIELD, &mut cross);
    let best = (0..cross.len()).max_by(|&i, &j| cross[i].re.total_cmp(&cross[j].re)).unwrap_or(0);
    (signed(best % FIELD), signed(best / FIELD))
}

/// Where a block of `a` lies in `b`: its offset from the common shift, px, or `None` where it is not found.
fn look(a: &Sketch, b: &Sketch, (x, y): (usize, usize), shift: (i64, i64)) -> Option<(f64, f64)> {
    let (sd_a, mean_a) = a.block(x, y);
    let mut best = (FOUND, None);
    for dy in -REACH..=REACH {
        for dx in -REACH..=REACH {
            let (bx, by) = (x as i64 + shift.0 + dx, y as i64 + shift.1 + dy);
            let inside = bx >= 0 && by >= 0 && bx as usize + BLOCK <= b.width && by as usize + BLOCK <= b.height;
            if !inside {
                continue;
            }
            let (bx, by) = (bx as usize, by as usize);
            let (mut product, mut sum, mut squares) = (0.0f32, 0.0f32, 0.0f32);
            for row in 0..BLOCK {
                let ra = &a.data[(y + row) * a.width + x..][..BLOCK];
                let rb = &b.data[(by + row) * b.width + bx..][..BLOCK];
                for (u, v) in ra.iter().zip(rb) {
                    product += u * v;
                    sum += v;
                    squares += v * v;
                }
            }
            let n = (BLOCK * BLOCK) as f32;
            let mean = sum / n;
            let sd = (squares / n - mean * mean).max(1e-8).sqrt();
            let r = (product / n - mean * mean_a) / (sd * sd_a);
            if r > best.0 {
                best = (r, Some((dx as f64, dy as f64)));
            }
        }
    }
    best.1
}
