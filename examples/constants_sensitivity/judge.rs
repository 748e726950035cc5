//! Judges the sets with one number varied after another: random tile maps of known cause, the four kinds of hard cases of
//! `verdict_accuracy`, photographs read by eye, lenses learned from tile maps, rendered patches of known blur.

#[path = "../../tests/support/tilemaps.rs"]
mod tilemaps;

use std::path::PathBuf;

use rayon::prelude::*;
use tilemaps::Scene;
use tussock::diagnose::{Cause, Diagnosis, diagnose};
use tussock::intake::{self, Overrides};
use tussock::judge::Judgement;
use tussock::lens;
use tussock::measure::{Settings, TileMap, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::quantity::Intent;
use tussock::shot::Capture;
use tussock::simulate::{PatchSpec, Psf, Texture, render_patch};

/// How far each number is moved.
const FIFTH: f64 = 0.2;

/// One case of the diagnosis.
struct Case {
    map: TileMap,
    capture: Capture,
    /// The cause, where it is clear.
    truth: Option<Cause>,
}

/// What a judging set came to.
#[derive(Clone, Default, PartialEq)]
struct Outcome {
    /// Words a case: cause, near, far.
    words: Vec<(Cause, Judgement, Judgement)>,
    /// Numbers a case, of which the logarithm counts: widths, or a lens's blur.
    numbers: Vec<Option<f64>>,
    /// Confidences a case.
    sure: Vec<f64>,
    /// Cases that agree with what is true.
    right: usize,
}

/// How an outcome differs from that of the constants as they are.
struct Moved {
    words: usize,
    number: f64,
    right: [i64; 2],
    any: bool,
}

#[allow(clippy::print_stderr)] // How far it has come; what is printed stays a table.
/// Runs the table: `names` of the numbers a line, `set` moves one of them by a factor.
pub fn run(names: &str, set: &dyn Fn(usize, f64), words: &[String]) -> anyhow::Result<()> {
    let read = words.iter().position(|w| w == "--read").and_then(|k| words.get(k + 1)).map(PathBuf::from);
    let count = words.iter().position(|w| w == "--scenes").and_then(|k| words.get(k + 1)?.parse().ok()).unwrap_or(100);
    let only = words.iter().position(|w| w == "--only").and_then(|k| words.get(k + 1));
    let has = |room: &str| words.iter().any(|w| w == room);
    set(usize::MAX, 1.0);
    let cases = if has("diagnose") || has("judge") { cases(read, count)? } else { Vec::new() };
    let learned = if has("lens") { lens_frames() } else { Vec::new() };
    let patches = if has("measure") { patches() } else { Vec::new() };
    let judge = || {
        let mut all = diagnosed(&cases);
        for part in [lenses(&learned), measured(&patches)] {
            all.numbers.extend(part.numbers);
            all.right += part.right;
        }
        all
    };
    let plain = judge();
    println!(
        "{} cases of the diagnosis, {} lenses, {} patches; {} right",
        cases.len(),
        learned.len(),
        patches.len(),
        plain.right
    );
    std::panic::set_hook(Box::new(|_| {}));
    let mut table: Vec<(&str, Moved)> = Vec::new();
    for (k, name) in names.lines().enumerate().filter(|(_, name)| only.is_none_or(|only| name.contains(only.as_str())))
    {
        let moved = [1.0 - FIFTH, 1.0 + FIFTH].map(|factor| {
            set(k, factor);
            // Two bounds may cross when one of them is moved alone: that move is none.
            std::panic::catch_unwind(std::panic::AssertUnwindSafe(&judge)).unwrap_or_else(|_| plain.clone())
        });
        set(usize::MAX, 1.0);
        let moved = compared(&plain, &moved);
        eprintln!(
            "{} | {:.2} | {:+} {:+} | {name} {}",
            moved.words, moved.number, moved.right[0], moved.right[1], moved.any
        );
        table.push((name, moved));
    }
    table.sort_by(|a, b| (b.1.words, b.1.number).partial_cmp(&(a.1.words, a.1.number)).expect("no number is NaN"));
    println!("words changed | widths moved by (median, %) | right, a fifth less and more | constant");
    for (name, m) in &table {
        println!(
            "{} | {:.2} | {:+} {:+} | {name}{}",
            m.words,
            m.number,
            m.right[0],
            m.right[1],
            if m.any { "" } else { " | nothing moved" }
        );
    }
    Ok(())
}

fn compared(plain: &Outcome, moved: &[Outcome; 2]) -> Moved {
    let words = |o: &Outcome| plain.words.iter().zip(&o.words).filter(|(a, b)| a != b).count();
    let number = |o: &Outcome| {
        let pairs = plain.numbers.iter().zip(&o.numbers);
        let mut all: Vec<f64> =
            pairs.filter_map(|(a, b)| Some(((*a)? / (*b)?).ln().abs())).filter(|d| *d > 0.0).collect();
        all.sort_by(f64::total_cmp);
        // The median of those that moved, as far as half of all did; else nought.
        if 2 * all.len() > plain.numbers.len() { 100.0 * all[all.len() / 2] } else { 0.0 }
    };
    Moved {
        words: moved.iter().map(words).max().unwrap_or(0),
        number: moved.iter().map(number).fold(0.0, f64::max),
        right: [0, 1].map(|k| moved[k].right as i64 - plain.right as i64),
        any: moved.iter().any(|o| o != plain),
    }
}

fn diagnosed(cases: &[Case]) -> Outcome {
    let mut out = Outcome::default();
    let found: Vec<Diagnosis> =
        cases.par_iter().map(|c| diagnose(&c.map, &c.capture, None, &Intent::default())).collect();
    for (case, d) in cases.iter().zip(found) {
        let word = |k: usize| d.zones[k].answer.judgement;
        out.words.push((d.verdict.cause, word(0), word(1)));
        out.numbers.extend([0, 1].map(|k: usize| optical(&d, k)));
        out.sure.push(d.verdict.confidence);
        out.right += usize::from(case.truth == Some(d.verdict.cause));
    }
    out
}

fn optical(d: &Diagnosis, zone: usize) -> Option<f64> {
    d.zones[zone].optical_px.map(|e| e.value).filter(|v| *v > 0.0)
}

/// Random scenes, hard cases (half as many in all), and photographs read by eye.
fn cases(read: Option<PathBuf>, count: u64) -> anyhow::Result<Vec<Case>> {
    let case = |scene: &Scene| Case {
        map: scene.map(),
        capture: scene.capture(),
        truth: scene.is_clear().then(|| scene.cause()),
    };
    let mut all: Vec<Case> = (0..count).map(|seed| case(&Scene::random(seed))).collect();
    for seed in 10_000..10_000 + count.div_ceil(8) {
        let plain = Scene { motion: None, tilt_px: 0.0, rock: None, pool: 0.0, pool_depth: 0.0, ..Scene::random(seed) };
        let near = 1.0 / plain.ground(plain.bottom());
        let scene = Scene { lens: (0.2, 0.6, 2.5), ..plain };
        let corners = scene.permitted() * (1.0 + (seed % 7) as f64 / 3.0);
        let well = (21.9 * (scene.focal_mm * scene.focal_mm * 1e-3 / near).sqrt()).clamp(4.0, 16.0);
        let focused = Scene { focus_m: 2.0 * near, f_number: well, ..scene.clone() };
        all.push(case(&Scene { lens: (0.2, corners, 2.5), ..focused.clone() }));
        all.push(case(&Scene { lens: (0.2, corners, 2.5), ..scene.clone() }));
        all.push(case(&Scene { cloud: 0.9, pool: 0.2 + 0.3 * (seed % 4) as f64 / 3.0, pool_depth: 0.8, ..scene }));
        all.push(Case { truth: Some(Cause::CannotTell), ..case(&Scene { pool: 1.0, pool_depth: 0.85, ..focused }) });
    }
    let Some(folder) = read else { return Ok(all) };
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_path(folder.join("readings.csv"))?;
    for record in reader.records() {
        let record = record?;
        let file = folder.join(record.get(0).unwrap_or_default().trim());
        let shot = intake::read(&file, &Overrides::default())?;
        let map = measure(&shot.plane, &Settings::default().under(shot.capture.lambda_n_px(WAVELENGTH_UM)));
        all.push(Case { map, capture: shot.capture, truth: None });
    }
    Ok(all)
}

/// Aperture series of flat far subjects as tile maps, a lens each, with its true blur at the corner at f/8, px.
fn lens_frames() -> Vec<(Vec<(TileMap, Capture)>, f64)> {
    (0..6_u64)
        .map(|seed| {
            let lens = (0.2 + 0.05 * seed as f64, 0.8 + 0.3 * seed as f64, 2.0);
            let frame = |(k, n): (u64, f64)| {
                // The far scene fills the picture: the camera looks level from a height, at nothing near.
                let scene = Scene {
                    seed: 10 * seed + k,
                    f_number: n,
                    focus_m: 1e6,
                    camera_height_m: 1e5,
                    lens,
                    missing: 0.1,
                    ..Scene::default()
                };
                (scene.map(), scene.capture())
            };
            let frames = [4.0, 5.6, 8.0, 11.0].into_iter().enumerate().map(|(k, n)| frame((k as u64, n)));
            (frames.collect(), lens.0.hypot(lens.1))
        })
        .collect()
}

/// Lens blur learned at the corner, um; right where it is within a tenth of the truth (pitch 6 um).
fn lenses(all: &[(Vec<(TileMap, Capture)>, f64)]) -> Outcome {
    let mut out = Outcome::default();
    for (frames, truth) in all {
        let frames: Vec<(&TileMap, &Capture)> = frames.iter().map(|(m, c)| (m, c)).collect();
        let learned = lens::learn_aperture_series(&frames).ok();
        let corner = learned.and_then(|b| b.expected_um(0.04, 0.06, 8.0)).map(|e| e.value);
        out.right += usize::from(corner.is_some_and(|c| (c / 6.0 / truth - 1.0).abs() < 0.1));
        out.numbers.push(corner);
    }
    out
}

/// Rendered patches of known blur, with their true width, px.
fn patches() -> Vec<(tussock::shot::Plane, f64)> {
    let spreads =
        [Psf::gaussian(0.45), Psf::gaussian(0.9), Psf::gaussian(1.8), Psf::disc(5.0), Psf::lens(8.0, 4.35, 0.0)];
    let scenes = [Texture::Leaves, Texture::Rock, Texture::Blades];
    let patch = |(k, (texture, psf))| {
        let (seed, snr) = (9401 + k as u64, if k % 2 == 0 { 100.0 } else { 25.0 });
        let spec =
            PatchSpec { texture, psf, width: 256, height: 256, snr, seed, noise_seed: seed, ..PatchSpec::default() };
        let (plane, truth) = render_patch(&spec);
        (plane, truth.sigma)
    };
    scenes.into_iter().flat_map(|t| spreads.map(|s| (t, s))).enumerate().map(patch).collect()
}

/// Widths of the patches' tiles; right within a tenth.
fn measured(all: &[(tussock::shot::Plane, f64)]) -> Outcome {
    let mut out = Outcome::default();
    for (plane, truth) in all {
        for tile in measure(plane, &Settings { tiles: 2, ..Settings::default() }).tiles {
            let width = tile.blur.map(|b| b.value);
            out.right += usize::from(width.is_some_and(|w| (w / truth - 1.0).abs() < 0.1));
            out.numbers.push(width);
        }
    }
    out
}
