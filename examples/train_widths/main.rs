//! The table that the estimator of widths is fitted to: `cargo run --release --example train_widths -- SCENES OUT DRAWS SEED`
//! writes what the estimator is told of every patch of real scenes blurred by known spreads, with the truth. With `judge` for
//! DRAWS every scene is seen once under each of ten fixed spreads, four ways. `fit.py` beside this file fits the network.
//!
//! OUT.bin holds rows of 32-bit floats, OUT.json what the columns are and the group (shoot) of each scene.

mod camera;
mod drawn;
mod kernel;
mod scene;

use std::path::{Path, PathBuf};

use anyhow::Context as _;
use fastrand::Rng;
use rayon::prelude::*;
use tussock::measure::{Settings, described};
use tussock::output;
use tussock::simulate::{Noise, Psf};

use camera::{Grain, Processing, Way};
use kernel::{Kernel, Truths, even, log_even};
use scene::{Mix, Picture, Scene};

/// Columns before what the estimator is told.
const COLUMNS: [&str; 13] = [
    "scene",
    "draw",
    "spread",
    "way",
    "reduced",
    "flat",
    "ln_width",
    "own",
    "visible",
    "amount",
    "smoothing",
    "over",
    "under",
];
/// Side of the tiles, px: one patch each.
const TILE: usize = 96;
/// Largest part of a scene that is seen under one spread, px: many spreads tell more than many places.
const PART: (usize, usize) = (480, 384);
/// Share of pictures of drawn scenes.
const DRAWN: f64 = 0.14;
/// Share of pictures that a second scene is laid over, and of these the share that get a third.
const MIXED: [f64; 2] = [0.65, 0.3];
/// Share of those of several pixels averaged to one whose light is first raised to a power. Then what is left of the scene's
/// own blur, which the power makes no Gaussian any more, hardly counts.
const RAISED: f64 = 0.5;
/// Share of pictures of which a part is filled with even light, as by a clear sky.
const SKIES: f64 = 0.35;
/// Fixed draws of a scene: ten spreads, four ways, as it is and reduced.
const FIXED: usize = 80;
/// Level at which signal to noise is stated: a mid tone.
const MID: f64 = 0.18;

/// One picture to be looked at.
struct Draw {
    index: usize,
    scene: usize,
    /// Others laid over it.
    over: Vec<(usize, Mix)>,
    /// Power that its light is raised to.
    power: f32,
    kernel: Kernel,
    /// Which fixed spread, where it is one.
    spread: usize,
    way: Way,
    /// How many pixels of the scene, along a side, are averaged to one.
    reduced: usize,
    turned: (bool, bool, bool),
    snr: f64,
    /// Rows filled with even light, as shares of the height.
    sky: Option<(f64, f64)>,
    exposure: f32,
    /// One of the fixed draws, of whole scenes.
    fixed: bool,
    seed: u64,
}

impl Draw {
    fn random(index: usize, (photographed, all): (usize, usize), seed: u64) -> Self {
        let mut dice = Rng::with_seed(seed.wrapping_mul(0x9E37_79B9).wrapping_add(index as u64));
        let sky = (dice.f64() < SKIES).then(|| {
            let from = if dice.bool() { 0.0 } else { even(&mut dice, 0.0, 0.5) };
            (from, from + even(&mut dice, 0.3, 0.6))
        });
        let reduced = [1, 1, 1, 2, 2, 3][dice.usize(0..6)];
        let count = if dice.f64() >= MIXED[0] { 0 } else { 1 + usize::from(dice.f64() < MIXED[1]) };
        let over = (0..count).map(|_| (dice.usize(0..photographed), Mix::random(&mut dice))).collect();
        let (raised, power) = (reduced > 1 && dice.f64() < RAISED, log_even(&mut dice, 0.5, 2.0) as f32);
        Self {
            index,
            scene: if dice.f64() < DRAWN { dice.usize(photographed..all) } else { dice.usize(0..photographed) },
            over,
            power: if raised { power } else { 1.0 },
            kernel: kernel::random(&mut dice),
            spread: 0,
            way: Way::random(&mut dice),
            reduced,
            turned: (dice.bool(), dice.bool(), dice.bool()),
            snr: log_even(&mut dice, 25.0, 250.0),
            sky,
            exposure: log_even(&mut dice, 0.4, 1.6) as f32,
            fixed: false,
            seed: dice.u64(..),
        }
    }

    /// Every scene under ten fixed spreads, four ways each, at a signal to noise.
    fn fixed(index: usize, scenes: usize, snr: f64) -> Self {
        let (scene, spread, way) = (index / FIXED % scenes, index / 8 % 10, index / 2 % 4);
        let gaussian = |s| (Psf::gaussian(s), None);
        let disc = |d| (kernel::disc(d), None);
        let (psf, lambda_n_px) = match spread {
            0 => gaussian(0.5),
            1 => gaussian(0.8),
            2 => gaussian(1.5),
            3 => gaussian(2.5),
            4 => disc(3.0),
            5 => disc(6.0),
            6 => disc(10.0),
            8 => disc(16.0),
            9 => disc(24.0),
            _ => (kernel::pupil(2.0, 0.0), Some(2.0)),
        };
        let way = match way {
            0 => Way::Plain { rendered: true },
            1 => Way::Jpeg(88 + (scene % 9) as u8),
            2 => Way::Bayer((scene % 4) as u8),
            _ => Way::Developed(Some(88 + (scene % 9) as u8), Processing::random(&mut Rng::with_seed(index as u64))),
        };
        Self {
            index,
            scene,
            over: Vec::new(),
            power: 1.0,
            kernel: Kernel { psf, lambda_n_px },
            spread,
            way,
            reduced: 1 + index % 2,
            turned: (false, false, false),
            snr,
            sky: None,
            exposure: 1.0,
            fixed: true,
            seed: index as u64,
        }
    }

    /// Rows of the table.
    fn rows(&self, scenes: &[Scene], scratch: &Path) -> anyhow::Result<Vec<Vec<f32>>> {
        let mut dice = Rng::with_seed(self.seed);
        let scene = &scenes[self.scene];
        let scene = scene.turned(self.turned.0, self.turned.1, self.turned.2);
        let most = if self.fixed { (usize::MAX, usize::MAX) } else { (PART.0 * self.reduced, PART.1 * self.reduced) };
        let mut layers = vec![scene.part(most, (dice.f64(), dice.f64()))];
        let mut sharp = layers[0].picture.clone();
        for &(other, how) in &self.over {
            let layer = scenes[other].part(most, (dice.f64(), dice.f64()));
            sharp = sharp.over(&layer.picture, how);
            layers.push(layer);
        }
        if self.power != 1.0 {
            sharp.raised(self.power);
        }
        let sharp = if self.reduced > 1 { sharp.reduced(self.reduced) } else { sharp };
        // Own blur of what lies there, of all layers alike.
        let own = |x: usize, y: usize| {
            let scenes = std::iter::once(&scene).chain(self.over.iter().map(|o| &scenes[o.0]));
            let square = scenes.zip(&layers).map(|(scene, part)| {
                let at = |v: usize, from: usize| (v * self.reduced + from) as f64;
                Some((scene.own(at(x, part.x), at(y, part.y))? / self.reduced as f64).powi(2))
            });
            Some((square.sum::<Option<f64>>()? / layers.len() as f64).sqrt())
        };
        let mut picture = kernel::blurred(&sharp, &self.kernel.psf);
        picture.data.iter_mut().for_each(|v| *v = (*v * self.exposure).min(1.0));
        let sky = self.sky.map(|(from, to)| {
            let rows =
                (from * picture.height as f64) as usize..((to * picture.height as f64) as usize).min(picture.height);
            fill(&mut picture, rows.clone(), &mut dice);
            rows
        });
        let sensor = Noise::at_snr(self.snr, MID);
        let corners = if self.fixed || dice.bool() { 0.0 } else { even(&mut dice, 0.0, 1.2) };
        let plane = camera::plane(&picture, self.way, Grain { sensor, corners }, scratch, &mut dice)?;
        let long = plane.width.max(plane.height);
        let tiles = (long as f64 / TILE as f64).round().max(1.0) as u32;
        let settings = Settings { tiles, lambda_n_px: self.kernel.lambda_n_px };
        let mut truths = Truths::of(&self.kernel.psf);
        let (amount, smoothing) = match self.way {
            Way::Developed(_, p) => (p.amount, p.smoothing),
            _ => (0.0, 0.0),
        };
        let mut out = Vec::new();
        for (region, patches) in described(&plane, &settings) {
            let (x, y) =
                (region.x as usize + region.width as usize / 2, region.y as usize + region.height as usize / 2);
            let covered = |row: usize| sky.as_ref().is_some_and(|s| s.contains(&row));
            let (top, bottom) = (covered(y.saturating_sub(TILE / 2)), covered((y + TILE / 2).min(plane.height - 1)));
            if top != bottom || region.width.min(region.height) < TILE as u32 / 2 {
                continue;
            }
            let Some(own) = own(x, y) else { continue };
            let width = if top {
                // Nothing to see: any width may be the truth.
                log_even(&mut dice, 0.25, 7.0).ln()
            } else {
                truths.at(own)
            };
            let visible = visible(&sharp, x, y) * f64::from(self.exposure);
            for features in patches {
                let over = |k: usize| self.over.get(k).map_or(-1.0, |o| o.0 as f32);
                let flag = |is: bool| if is { 1.0 } else { 0.0 };
                let mut row = vec![
                    self.scene as f32,
                    self.index as f32,
                    self.spread as f32,
                    self.way.number(),
                    self.reduced as f32,
                    flag(top),
                    width as f32,
                    own as f32,
                    visible as f32,
                    amount,
                    smoothing,
                    over(0),
                    over(1),
                ];
                row.extend(features);
                out.push(row);
            }
        }
        Ok(out)
    }
}

/// Fills rows with light that hardly changes, as a clear sky's.
fn fill(picture: &mut Picture, rows: std::ops::Range<usize>, dice: &mut Rng) {
    let level = log_even(dice, 0.02, 0.8);
    let (across, down, bend) = (even(dice, -0.3, 0.3), even(dice, -0.5, 0.5), even(dice, -0.2, 0.2));
    for y in rows {
        for x in 0..picture.width {
            let (u, v) = (x as f64 / picture.width as f64 - 0.5, y as f64 / picture.height as f64 - 0.5);
            picture.data[y * picture.width + x] =
                (level * (1.0 + across * u + down * v + bend * (u * u + v * v))) as f32;
        }
    }
}

/// Standard deviation of what is finer than some three pixels in the sharp scene about a place: whether anything is there to see.
fn visible(picture: &Picture, x: usize, y: usize) -> f64 {
    const REACH: isize = 2;
    let at = |x: isize, y: isize| {
        let (x, y) = (x.clamp(0, picture.width as isize - 1), y.clamp(0, picture.height as isize - 1));
        f64::from(picture.data[y as usize * picture.width + x as usize])
    };
    let half = TILE as isize / 2;
    let (mut sum, mut square, mut count) = (0.0, 0.0, 0.0);
    for j in (-half..half).step_by(2) {
        for i in (-half..half).step_by(2) {
            let (x, y) = (x as isize + i, y as isize + j);
            let around = (-REACH..=REACH).flat_map(|b| (-REACH..=REACH).map(move |a| (a, b)));
            let mean = around.map(|(a, b)| at(x + a, y + b)).sum::<f64>()
                / f64::from(((2 * REACH + 1) * (2 * REACH + 1)) as i32);
            let d = at(x, y) - mean;
            (sum, square, count) = (sum + d, square + d * d, count + 1.0);
        }
    }
    (square / count - (sum / count).powi(2)).max(0.0).sqrt()
}

fn main() -> anyhow::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, out, draws, seed] = arguments.as_slice() else {
        anyhow::bail!("usage: train_widths SCENES OUT DRAWS SEED, or train_widths SCENES OUT judge SIGNAL_TO_NOISE")
    };
    let seed: u64 = seed.parse().context("the seed, or the signal to noise, is a whole number")?;
    let (entries, mut scenes): (Vec<scene::Entry>, Vec<Scene>) = scene::load(Path::new(folder))?.into_iter().unzip();
    let mut groups: Vec<String> = entries.into_iter().map(|e| e.group).collect();
    let count = scenes.len();
    let judged = draws == "judge";
    let draws: usize = if judged { FIXED * count } else { draws.parse().context("draws are a whole number")? };
    if !judged {
        for (name, scene) in drawn::all() {
            groups.push(name);
            scenes.push(scene);
        }
    }
    let scratch = tempfile::tempdir()?;
    let done: Vec<Vec<Vec<f32>>> = (0..draws)
        .into_par_iter()
        .map(|i| {
            let draw =
                if judged { Draw::fixed(i, count, seed as f64) } else { Draw::random(i, (count, scenes.len()), seed) };
            let file: PathBuf = scratch.path().join(format!("{i}.jpg"));
            let rows = draw.rows(&scenes, &file);
            let _ = std::fs::remove_file(file);
            rows
        })
        .collect::<anyhow::Result<_>>()?;
    let rows: Vec<&Vec<f32>> = done.iter().flatten().collect();
    let width = rows.first().context("no rows")?.len();
    let bytes: Vec<u8> = rows.iter().flat_map(|row| row.iter().flat_map(|v| v.to_le_bytes())).collect();
    std::fs::write(format!("{out}.bin"), bytes)?;
    let about = serde_json::json!({ "columns": COLUMNS, "width": width, "rows": rows.len(), "groups": groups });
    std::fs::write(format!("{out}.json"), serde_json::to_string(&about)?)?;
    output::print(&format!("{} rows of {width} numbers from {draws} pictures of {count} scenes\n", rows.len()));
    Ok(())
}
