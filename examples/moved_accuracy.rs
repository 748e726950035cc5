//! Whether motion is noticed: `cargo run --release --example moved_accuracy -- DIR...` moves the middles of a folder's JPEGs by
//! known kernels, judges them and prints the lines of docs/accuracy.md, frames that moved far.
#![allow(clippy::print_stdout, missing_docs)] // A program whose purpose is to print.

use std::path::PathBuf;

use anyhow::Context as _;
use rayon::prelude::*;
use tussock::diagnose::{Cause, diagnose};
use tussock::intake::{self, Overrides};
use tussock::judge;
use tussock::measure::{Settings, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::quantity::Intent;
use tussock::shot::Plane;

/// Largest side of the middle that is taken, px.
const MIDDLE: (usize, usize) = (1920, 1440);

/// Shifts (px) with their weights.
type Kernel = Vec<(f64, f64, f64)>;

/// A track of a length and direction, bent aside by a share of its length at its ends.
fn track(length: f64, angle: f64, bend: f64) -> Kernel {
    let steps = (2.0 * length) as usize;
    let at = |k: usize| {
        let t = k as f64 / steps as f64 - 0.5;
        let (along, aside) = (length * t, bend * length * t * t);
        (along * angle.cos() - aside * angle.sin(), along * angle.sin() + aside * angle.cos(), 1.0)
    };
    (0..steps).map(at).collect()
}

/// A track that slows down to a third and turns aside by a right angle over its last part, as a hand's does.
fn hook(length: f64, angle: f64) -> Kernel {
    let straight = track(0.7 * length, angle, 0.0);
    let (x, y, _) = straight[straight.len() - 1];
    let turned = track(0.3 * length, angle + std::f64::consts::FRAC_PI_2, 0.0);
    let (dx, dy, _) = turned[0];
    straight.into_iter().chain(turned.into_iter().map(|(u, v, w)| (x + u - dx, y + v - dy, 3.0 * w))).collect()
}

fn main() -> anyhow::Result<()> {
    let kernels: [(&str, Kernel); 10] = [
        ("still", vec![(0.0, 0.0, 1.0)]),
        ("track of 20 px", track(20.0, 0.5, 0.0)),
        ("track of 36 px", track(36.0, 0.05, 0.0)),
        ("track of 80 px", track(80.0, -0.3, 0.0)),
        ("bent track of 10 px", track(10.0, 0.8, 0.6)),
        ("bent track of 30 px", track(30.0, 1.2, 0.6)),
        ("bent track of 60 px", track(60.0, 0.2, 0.4)),
        ("track of 30 px as a hook", hook(30.0, 2.0)),
        ("double, 22 px apart", vec![(0.0, 0.0, 1.0), (19.0, 11.0, 0.8)]),
        ("double, 10 px apart", vec![(0.0, 0.0, 1.0), (-3.0, 9.5, 0.6)]),
    ];
    let mut counts = [(0, 0, 0); 10];
    let mut all = 0;
    for folder in std::env::args().skip(1).map(PathBuf::from) {
        let mut files: Vec<PathBuf> =
            std::fs::read_dir(&folder).context("a folder is missing")?.filter_map(|e| Some(e.ok()?.path())).collect();
        files.retain(|p| p.extension().is_some_and(|e| e == "jpg"));
        files.sort();
        for file in files {
            let shot = intake::read(&file, &Overrides::default())?;
            let still = middle(&shot.plane);
            all += 1;
            for ((name, kernel), count) in kernels.iter().zip(&mut counts) {
                let settings = Settings::default().under(shot.capture.lambda_n_px(WAVELENGTH_UM));
                let map = measure(&moved(&still, kernel), &settings);
                let verdict = diagnose(&map, &shot.capture, None, &Intent::default()).verdict;
                let firm = verdict.confidence >= judge::SURE && verdict.cause != Cause::CannotTell;
                count.0 += u32::from(map.streak.is_some());
                count.1 += u32::from(verdict.cause == Cause::Motion);
                count.2 += u32::from(firm && verdict.cause != Cause::Motion);
                let length = map.streak.map_or("none".into(), |s| format!("{:.1} px", s.length.value));
                println!("{} | {name} | {length} | {} {:.2}", shot.file, verdict.cause.word(), verdict.confidence);
            }
        }
    }
    for ((name, _), (streak, motion, firm)) in kernels.iter().zip(counts) {
        println!("{name}: of {all} a streak in {streak}, called motion {motion}, firmly something else {firm}");
    }
    Ok(())
}

/// The middle of a plane, on the JPEG's own grid of blocks.
fn middle(plane: &Plane) -> Plane {
    let (width, height) = (plane.width.min(MIDDLE.0), plane.height.min(MIDDLE.1));
    let (x, y) = ((plane.width - width) / 16 * 8, (plane.height - height) / 16 * 8);
    let data = (y..y + height).flat_map(|row| plane.row(row)[x..x + width].to_vec()).collect();
    Plane { width, height, data, ..plane.clone() }
}

/// A plane under a kernel, the shifts rounded to whole pixels.
fn moved(plane: &Plane, kernel: &Kernel) -> Plane {
    let whole: f64 = kernel.iter().map(|k| k.2).sum();
    let taps: Vec<(isize, isize, f32)> = kernel
        .iter()
        .map(|&(x, y, weight)| (x.round() as isize, y.round() as isize, (weight / whole) as f32))
        .collect();
    let clamped = |at: isize, size: usize| at.clamp(0, size as isize - 1) as usize;
    let at = |i: usize| {
        let (x, y) = ((i % plane.width) as isize, (i / plane.width) as isize);
        let light = |&(dx, dy, weight): &(isize, isize, f32)| {
            weight * f32::from(plane.row(clamped(y + dy, plane.height))[clamped(x + dx, plane.width)])
        };
        taps.iter().map(light).sum::<f32>().round() as u16
    };
    Plane { data: (0..plane.width * plane.height).into_par_iter().map(at).collect(), ..plane.clone() }
}
