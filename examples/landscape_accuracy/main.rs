//! How often verdicts are right on rendered photographs: scenes drawn at random, saved as files, measured, diagnosed.
//!
//! `cargo run --release --example landscape_accuracy -- render FIRST COUNT FOLDER [cut|whole]` draws and saves pictures
//! and what is true of them, of all seeds from FIRST on or of those alone that show a cut, with pixels as small as
//! cameras have, or a whole sensor; `measure FOLDER` reads and measures the files; `judge FOLDER [verbose]` prints the
//! tables of docs/accuracy.md, rendered photographs.
#![allow(clippy::print_stdout, missing_docs)] // A program whose purpose is to print.

mod judge;
mod scene;
#[path = "../../tests/support/tilemaps.rs"]
mod tilemaps;
mod truth;

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use truth::Truth;
use tussock::intake::{Overrides, read};
use tussock::measure::{Settings, TileMap, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::shot::Capture;
use tussock::simulate::file::{Developing, Facts, Recording, dng, jpeg};
use tussock::simulate::landscape;

/// A measured picture.
#[derive(Serialize, Deserialize)]
pub struct Measured {
    pub capture: Capture,
    pub map: TileMap,
}

/// What is kept beside a picture.
#[derive(Serialize, Deserialize)]
pub struct Kept {
    pub seed: u64,
    pub disc_px: f64,
    pub truth: Truth,
}

fn main() -> anyhow::Result<()> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let folder = |k: usize| words.get(k).map(PathBuf::from).context("a folder is missing");
    match words.first().map(String::as_str) {
        Some("render") => {
            let only = words.get(4).map(String::as_str);
            let wanted = |cut: bool| only.is_none_or(|o| (o == "cut") == cut);
            render(words[1].parse()?, words[2].parse()?, &folder(3)?, wanted)
        }
        Some("measure") => measure_all(&folder(1)?),
        Some("judge") => judge::judge(&load(&folder(1)?)?, words.len() > 2),
        _ => anyhow::bail!("render FIRST COUNT FOLDER [cut|whole], measure FOLDER or judge FOLDER"),
    }
}

fn render(first: u64, count: usize, folder: &Path, wanted: impl Fn(bool) -> bool) -> anyhow::Result<()> {
    fs::create_dir_all(folder)?;
    let seeds: Vec<u64> = (first..).filter(|&seed| wanted(scene::random(seed).cut)).take(count).collect();
    seeds.into_par_iter().try_for_each(|seed| render_one(seed, &folder.join(format!("{seed:06}"))))
}

/// Draws one scene and saves it and what is true of it, unless that was done before.
fn render_one(seed: u64, base: &Path) -> anyhow::Result<()> {
    if base.with_extension("truth").exists() {
        return Ok(());
    }
    let drawn = scene::random(seed);
    let picture = landscape(&drawn.spec);
    let facts = Facts { focus_m: None, ..Facts::of(&drawn.spec, (1, 125), 200, "2026:03:14 06:52:10") };
    let (noise, seed_of_noise) = (drawn.spec.noise, drawn.spec.noise_seed);
    if drawn.dng {
        let recording = Recording { bits: 14, red_blue: (0.52, 0.61), noise, seed: seed_of_noise };
        fs::write(base.with_extension("dng"), dng(&picture.light(), &facts, &recording))?;
    } else {
        let developing = Developing { quality: drawn.quality, sharpening: 0.0, noise, seed: seed_of_noise };
        fs::write(base.with_extension("jpg"), jpeg(&picture.light(), Some(&facts), &developing)?)?;
    }
    let truth = Truth::of(&picture, 0.265_77 * drawn.disc_px);
    let kept = Kept { seed, disc_px: drawn.disc_px, truth };
    Ok(fs::write(base.with_extension("truth"), serde_json::to_vec(&kept)?)?)
}

/// The pictures of a folder, by name without extension.
fn bases(folder: &Path) -> anyhow::Result<Vec<PathBuf>> {
    let mut all: Vec<PathBuf> = fs::read_dir(folder)?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "truth"))
        .map(|path| path.with_extension(""))
        .collect();
    all.sort();
    Ok(all)
}

fn measure_all(folder: &Path) -> anyhow::Result<()> {
    for base in bases(folder)? {
        let file = ["dng", "jpg"].map(|e| base.with_extension(e)).into_iter().find(|f| f.exists());
        let shot = read(&file.context("no picture beside a truth")?, &Overrides::default())?;
        let map = measure(&shot.plane, &Settings::default().under(shot.capture.lambda_n_px(WAVELENGTH_UM)));
        fs::write(base.with_extension("map"), serde_json::to_vec(&Measured { capture: shot.capture, map })?)?;
    }
    Ok(())
}

fn load(folder: &Path) -> anyhow::Result<Vec<(Kept, Measured)>> {
    let mut all = Vec::new();
    for base in bases(folder)? {
        let Ok(map) = fs::read(base.with_extension("map")) else { continue };
        let mut kept: Kept = serde_json::from_slice(&fs::read(base.with_extension("truth"))?)?;
        kept.truth.permitted_px = kept.truth.permitted_px.max(0.265_77 * tussock::quantity::FINEST_DISC_PX);
        // Set down anew, so that pictures rendered before outlast a change of what is asked of them.
        let spec = scene::random(kept.seed).spec;
        kept.truth.askew_px = truth::askew(&spec, kept.truth.permitted_px);
        [kept.truth.nearest, kept.truth.near, kept.truth.far] = truth::spots(&spec);
        all.push((kept, serde_json::from_slice(&map)?));
    }
    Ok(all)
}
