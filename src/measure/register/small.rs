//! A small picture of a frame: enough to see whether two frames show one scene, and how far apart they are.

use std::f64::consts::PI;
use std::sync::LazyLock;

use multiversion::multiversion;
use rustfft::num_complex::Complex;

use super::square::{Plans, plans, soft_band, two_dimensional};
use crate::shot::Plane;

/// A frame averaged down by a whole factor, luminance levels above black.
#[derive(Clone, Debug, PartialEq)]
pub struct Small {
    /// Width, small pixels.
    pub width: usize,
    /// Height, small pixels.
    pub height: usize,
    /// Full pixels to a small one, along either axis.
    pub factor: usize,
    /// Row-major levels above black, whole numbers.
    pub data: Vec<f32>,
}

/// Longest side of a small picture, px. Chosen: four times a sketch.
const LONG: usize = 384;
/// Side of the transform for the coarse shift. Derived: a small picture at half size with room around it.
const FIELD: usize = 256;

/// Adds a row's samples to the sums of their columns.
#[multiversion(targets("x86_64+avx2"))]
fn add_row(row: &[u16], sums: &mut [u32]) {
    sums.iter_mut().zip(row).for_each(|(sum, v)| *sum += u32::from(*v));
}

impl Small {
    /// How far below black a level may lie. Chosen: more than noise reaches; it keeps logarithms finite.
    pub(crate) const BELOW: f32 = 1024.0;

    /// Averages a frame down until its longer side is at most 384 px; remnants at the right and bottom are left off.
    #[must_use]
    pub fn new(plane: &Plane) -> Self {
        let factor = plane.width.max(plane.height).div_ceil(LONG).max(1);
        let (width, height) = (plane.width / factor, plane.height / factor);
        let mut data = Vec::with_capacity(width * height);
        let scale = 1.0 / (factor * factor) as f32;
        let black = f32::from(plane.black);
        let mut sums = vec![0u32; width * factor];
        for y in 0..height {
            sums.fill(0);
            for row in 0..factor {
                add_row(plane.row(y * factor + row), &mut sums);
            }
            let level =
                |s: u64| (s as f32 * scale - black).round().clamp(-Self::BELOW, f32::from(u16::MAX) - Self::BELOW);
            data.extend(sums.chunks_exact(factor).map(|cell| level(cell.iter().map(|&s| u64::from(s)).sum())));
        }
        Self { width, height, factor, data }
    }
}

impl Small {
    /// The picture on the grid of another of the same shape, so that frames of one scene at two sizes can be laid on each
    /// other: lengths in what is found are in full pixels of that other.
    pub(crate) fn on_grid_of(&self, other: &Self) -> Self {
        let (width, height) = (other.width, other.height);
        let (across, down) = (self.width as f64 / width.max(1) as f64, self.height as f64 / height.max(1) as f64);
        let at = |x: f64, y: f64| {
            let (x, y) = (x.clamp(0.0, (self.width - 1) as f64), y.clamp(0.0, (self.height - 1) as f64));
            let (i, j) =
                ((x as usize).min(self.width.saturating_sub(2)), (y as usize).min(self.height.saturating_sub(2)));
            let (fx, fy) = ((x - i as f64) as f32, (y - j as f64) as f32);
            let level = |i: usize, j: usize| self.data[j.min(self.height - 1) * self.width + i.min(self.width - 1)];
            let row = |j: usize| level(i, j) * (1.0 - fx) + level(i + 1, j) * fx;
            row(j) * (1.0 - fy) + row(j + 1) * fy
        };
        // The mean of three by three places in a pixel: the sizes differ by a factor of two at most.
        let places = |i: usize, step: f64| [1.0, 3.0, 5.0].map(|k| (i as f64 + k / 6.0) * step - 0.5);
        let pixel = |i: usize| {
            let (xs, ys) = (places(i % width, across), places(i / width, down));
            let sum: f32 = ys.iter().flat_map(|&y| xs.map(|x| at(x, y))).sum();
            (sum / 9.0).round()
        };
        let data = if self.data.is_empty() { Vec::new() } else { (0..width * height).map(pixel).collect() };
        Self { width, height, factor: other.factor, data }
    }

    /// The picture turned by quarter turns clockwise.
    #[must_use]
    pub fn turned(&self, quarters: u8) -> Self {
        let (w, h) = (self.width, self.height);
        let (width, height) = if quarters % 2 == 1 { (h, w) } else { (w, h) };
        let source = |x: usize, y: usize| match quarters % 4 {
            0 => (x, y),
            1 => (y, h - 1 - x),
            2 => (w - 1 - x, h - 1 - y),
            _ => (w - 1 - y, x),
        };
        let data = (0..width * height)
            .map(|i| {
                let (x, y) = source(i % width, i / width);
                self.data[y * w + x]
            })
            .collect();
        Self { width, height, factor: self.factor, data }
    }
}

/// Weights of the coarse shift's frequencies: the highest lose their phase to rotation and scale first; blur takes the rest.
static WEIGHTS: LazyLock<Vec<f32>> = LazyLock::new(|| soft_band(FIELD, 0.12));

fn transforms() -> Plans {
    static PLANS: LazyLock<Plans> = LazyLock::new(|| plans(FIELD));
    PLANS.clone()
}

/// Whole-frame shift from `a` to `b` in small pixels, by phase correlation at half size; `None` for blank pictures.
pub(super) fn coarse_shift(a: &Small, b: &Small) -> Option<(f64, f64)> {
    let mut pair = vec![Complex::new(0.0f32, 0.0); FIELD * FIELD];
    let (pa, pb) = (prepare(a)?, prepare(b)?);
    for (to, (x, y)) in pair.iter_mut().zip(pa.into_iter().zip(pb)) {
        *to = Complex::new(x, y);
    }
    let (forward, inverse) = transforms();
    two_dimensional(&*forward, FIELD, &mut pair);
    let mut cross: Vec<Complex<f32>> = (0..FIELD * FIELD)
        .map(|i| {
            let (x, y) = (i % FIELD, i / FIELD);
            let other = pair[(FIELD - y) % FIELD * FIELD + (FIELD - x) % FIELD].conj();
            let (first, second) = ((pair[i] + other) * 0.5, (pair[i] - other) * Complex::new(0.0, -0.5));
            let c = first.conj() * second;
            c / c.norm().max(1e-9) * WEIGHTS[i]
        })
        .collect();
    cross[0] = Complex::new(0.0, 0.0);
    two_dimensional(&*inverse, FIELD, &mut cross);
    let best = (0..cross.len()).max_by(|&i, &j| cross[i].re.total_cmp(&cross[j].re))?;
    let signed = |i: usize| if i > FIELD / 2 { i as f64 - FIELD as f64 } else { i as f64 };
    Some((2.0 * signed(best % FIELD), 2.0 * signed(best / FIELD)))
}

/// Half size, local mean taken out, cosine-tapered, on the square field.
fn prepare(small: &Small) -> Option<Vec<f32>> {
    let (w, h) = (small.width / 2, small.height / 2);
    if w < 8 || h < 8 || w > FIELD || h > FIELD {
        return None;
    }
    let at = |x: usize, y: usize| small.data[y * small.width + x];
    let half: Vec<f32> = (0..w * h)
        .map(|i| {
            let (x, y) = (2 * (i % w), 2 * (i / w));
            let mean = (at(x, y) + at(x + 1, y) + at(x, y + 1) + at(x + 1, y + 1)) / 4.0;
            // Logarithm: an exposure step becomes a constant, and shadows count like lights.
            mean.max(1.0).ln()
        })
        .collect();
    let mean = half.iter().sum::<f32>() / half.len() as f32;
    let taper = |i: usize, n: usize| {
        let edge = (i as f64 + 0.5).min(n as f64 - i as f64 - 0.5) / (0.15 * n as f64);
        if edge < 1.0 { (0.5 - 0.5 * (PI * edge).cos()) as f32 } else { 1.0 }
    };
    let mut field = vec![0.0; FIELD * FIELD];
    for y in 0..h {
        for x in 0..w {
            field[y * FIELD + x] = (half[y * w + x] - mean) * taper(x, w) * taper(y, h);
        }
    }
    Some(field)
}
