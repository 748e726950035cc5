//! Widths of photographs that were blurred by a known amount: `cargo run --release --example photo_accuracy --
//! DIR [even|odd]` prints the table of docs/accuracy.md, photographs blurred by a known amount, for every second photograph
//! of a folder.
//!
//! Each photograph is reduced four times by averaging, which leaves it nearly sharp; what blur is left is read off
//! the reduced picture itself, by the code under test: an error of a tenth of 0.5 px in it moves the truth by 3 % at
//! 0.8 px and by less than 1 % from 1.5 px on. It is then convolved with a Gaussian or a disc, given noise, and measured. The truth is
//! the frequency of half contrast of both spreads together, found on the kernel itself.

use std::f64::consts::PI;
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use tussock::intake::{self, Overrides};
use tussock::measure::{Settings, measure};
use tussock::output;
use tussock::shot::{Mosaic, Plane};

/// How many times the photographs are reduced, and tiles across them.
const REDUCED: usize = 4;
const TILES: u32 = 8;
/// Widest blur that a reduced tile may have of its own, px.
const OWN: f64 = 0.8;

/// Relative luminance, row-major.
struct Picture {
    width: usize,
    height: usize,
    data: Vec<f32>,
}

fn reduced(plane: &Plane) -> Picture {
    let (width, height) = (plane.width / REDUCED, plane.height / REDUCED);
    let data = (0..width * height)
        .map(|i| {
            let (x, y) = (i % width * REDUCED, i / width * REDUCED);
            let cell = (0..REDUCED * REDUCED).map(|k| plane.luminance(x + k % REDUCED, y + k / REDUCED));
            cell.sum::<f32>() / (REDUCED * REDUCED) as f32
        })
        .collect();
    Picture { width, height, data }
}

/// A square kernel of unit sum.
struct Kernel {
    half: isize,
    weights: Vec<f64>,
}

impl Kernel {
    fn of(half: isize, density: impl Fn(f64, f64) -> f64) -> Self {
        const FINE: isize = 8;
        let side = 2 * half + 1;
        let mut weights: Vec<f64> = (0..side * side)
            .map(|i| {
                let (x, y) = ((i % side - half) as f64, (i / side - half) as f64);
                let at = |k: isize| (k as f64 + 0.5) / FINE as f64 - 0.5;
                (0..FINE * FINE).map(|k| density(x + at(k % FINE), y + at(k / FINE))).sum()
            })
            .collect();
        let sum: f64 = weights.iter().sum();
        weights.iter_mut().for_each(|w| *w /= sum);
        Self { half, weights }
    }

    fn gaussian(sigma: f64) -> Self {
        Self::of((4.0 * sigma).ceil() as isize, |x, y| (-0.5 * (x * x + y * y) / (sigma * sigma)).exp())
    }

    fn disc(diameter: f64) -> Self {
        let r = diameter / 2.0;
        Self::of(r.ceil() as isize, |x, y| f64::from(u8::from(x.hypot(y) <= r)))
    }

    /// Gaussian-equivalent sigma of this kernel and a Gaussian of `own` together, px.
    fn sigma(&self, own: f64) -> f64 {
        let side = 2 * self.half + 1;
        let contrast = |f: f64| {
            let wave = |i: usize| (2.0 * PI * f * (i as isize % side - self.half) as f64).cos();
            let kernel: f64 = self.weights.iter().enumerate().map(|(i, w)| w * wave(i)).sum();
            kernel * (-2.0 * (PI * own * f).powi(2)).exp()
        };
        // The first crossing of a half, by steps and then by halving.
        let mut f = 1e-4;
        while contrast(f) > 0.5 {
            f *= 1.02;
        }
        let (mut low, mut high) = (f / 1.02, f);
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if contrast(middle) > 0.5 { low = middle } else { high = middle }
        }
        0.187_391 / low
    }

    fn convolve(&self, picture: &Picture) -> Vec<f32> {
        let (w, h) = (picture.width as isize, picture.height as isize);
        let side = 2 * self.half + 1;
        let mut out = vec![0.0_f32; picture.data.len()];
        for (i, weight) in self.weights.iter().enumerate().filter(|(_, w)| **w > 1e-9) {
            let (dx, dy) = (i as isize % side - self.half, i as isize / side - self.half);
            for y in 0..h {
                let row = (y + dy).clamp(0, h - 1) * w;
                for x in 0..w {
                    let from = row + (x + dx).clamp(0, w - 1);
                    out[(y * w + x) as usize] += *weight as f32 * picture.data[from as usize];
                }
            }
        }
        out
    }
}

/// A plane with noise of a standard deviation `noise` (relative luminance), from a repeatable generator.
fn plane(width: usize, height: usize, data: &[f32], noise: f64, seed: u64) -> Plane {
    const RANGE: f64 = 60_000.0;
    let mut random = fastrand::Rng::with_seed(seed);
    let mut gauss = move || {
        let (a, b) = (1.0 - random.f64(), random.f64());
        (-2.0 * a.ln()).sqrt() * (2.0 * PI * b).cos()
    };
    let data = data
        .iter()
        .map(|v| (1024.0 + RANGE * (f64::from(*v) + noise * gauss())).round().clamp(0.0, 65_535.0) as u16)
        .collect();
    let white = 1024 + RANGE as u16;
    Plane {
        width,
        height,
        data,
        black: 1024,
        white,
        saturation: u16::MAX,
        mosaic: Mosaic::None,
        jpeg: None,
        rendered: false,
    }
}

#[derive(Default)]
struct Tally {
    tiles: usize,
    relative: Vec<f64>,
    in_sds: Vec<f64>,
}

fn main() -> anyhow::Result<()> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().context("usage: photo_accuracy DIR [even|odd]")?;
    let parity = usize::from(arguments.next().as_deref() == Some("odd"));
    let mut files: Vec<PathBuf> = std::fs::read_dir(&folder)?.filter_map(|e| Some(e.ok()?.path())).collect();
    files.retain(|f| f.extension().is_some_and(|e| e == "jpg"));
    files.sort();
    let pictures: Vec<Picture> =
        files.iter().skip(parity).step_by(2).filter_map(|f| read(f)).filter(|p| p.width > 400).collect();
    let kernels: Vec<(String, Kernel)> = [0.8, 1.5, 2.5, 4.0]
        .into_iter()
        .map(|s| (format!("Gaussian, sigma {s} px"), Kernel::gaussian(s)))
        .chain([4.0, 8.0, 14.0, 24.0, 40.0].into_iter().map(|d| (format!("disc, diameter {d} px"), Kernel::disc(d))))
        .collect();
    output::print(
        "| blur | true width | tiles measured | median error | 68 % of tiles | within 1 sd | within 2 sd |\n",
    );
    output::print("|---|---|---|---|---|---|---|\n");
    for (name, kernel) in &kernels {
        let mut tally = Tally::default();
        let typical = kernel.sigma(0.5);
        for (k, picture) in pictures.iter().enumerate() {
            add(&mut tally, picture, kernel, k as u64);
        }
        let n = tally.relative.len();
        tally.relative.sort_by(f64::total_cmp);
        let at = |share: f64| 100.0 * tally.relative.get((share * n as f64) as usize).copied().unwrap_or(f64::NAN);
        let within = |z: f64| 100.0 * tally.in_sds.iter().filter(|v| **v <= z).count() as f64 / n.max(1) as f64;
        output::print(&format!(
            "| {name} | {typical:.2} px | {:.0} % of {} | {:+.1} % | {:+.1} to {:+.1} % | {:.0} % | {:.0} % |\n",
            100.0 * n as f64 / tally.tiles.max(1) as f64,
            tally.tiles,
            at(0.5),
            at(0.16),
            at(0.84),
            within(1.0),
            within(2.0),
        ));
    }
    Ok(())
}

fn read(file: &Path) -> Option<Picture> {
    intake::read(file, &Overrides::default()).ok().map(|shot| reduced(&shot.plane))
}

fn add(tally: &mut Tally, picture: &Picture, kernel: &Kernel, seed: u64) {
    let settings = Settings { tiles: TILES, ..Settings::default() };
    let own = measure(&plane(picture.width, picture.height, &picture.data, 1e-3, seed), &settings);
    let mean = picture.data.iter().sum::<f32>() / picture.data.len() as f32;
    let noise = f64::from(mean) * if seed.is_multiple_of(2) { 0.01 } else { 0.03 };
    let blurred = plane(picture.width, picture.height, &kernel.convolve(picture), noise, seed + 100);
    let map = measure(&blurred, &settings);
    for (before, after) in own.tiles.iter().zip(&map.tiles) {
        let Some(own) = before.blur.filter(|b| b.value <= OWN) else { continue };
        tally.tiles += 1;
        let Some(found) = after.blur else { continue };
        let truth = kernel.sigma(own.value);
        tally.relative.push(found.value / truth - 1.0);
        tally.in_sds.push(((found.value - truth) / found.sd).abs());
    }
}
