//! How far the answers agree with photographs read by eye: `cargo run --release --example reading_accuracy -- DIR
//! [tiles]` judges the pictures of a folder that its `readings.csv` (file, near, far, corners, cause, notes) names, and
//! prints the lines of docs/accuracy.md, photographs read by eye.
//!
//! Near and far agree where `sharp` was read and the answer is within or at limit, where `soft` was read and it is beyond,
//! and where `unknown` was read and it is unknown. A cause agrees where the reading's is named, or one of several that
//! the reading leaves open ("sharp or near unknown").
#![allow(clippy::print_stdout, missing_docs)] // A program whose purpose is to print.

use std::path::{Path, PathBuf};
use std::time::Instant;

use anyhow::Context as _;
use tussock::diagnose::{Cause, Diagnosis, ZoneName, diagnose, doubted};
use tussock::intake::{self, Overrides};
use tussock::judge::{self, Judgement};
use tussock::measure::{Settings, TileMap, TileState, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::quantity::Intent;

/// One line of `readings.csv`.
struct Reading {
    file: String,
    ends: [String; 2],
    cause: String,
}

fn main() -> anyhow::Result<()> {
    let mut words = std::env::args().skip(1);
    let folder = PathBuf::from(words.next().context("a folder is missing")?);
    let tiles = words.next().is_some();
    let mut agree = [0usize; 3];
    let (mut ends_read, mut open, mut firm_wrong, mut time) = (0, 0, 0, 0.0);
    let readings = readings(&folder)?;
    println!("file | read near, far, cause | said near, far, cause (confidence)");
    for r in &readings {
        let shot = intake::read(&folder.join(&r.file), &Overrides::default())?;
        let map = measure(&shot.plane, &Settings::default().under(shot.capture.lambda_n_px(WAVELENGTH_UM)));
        let start = Instant::now();
        let mut d = diagnose(&map, &shot.capture, None, &Intent::default());
        doubted(&mut d, &shot.flags);
        time += start.elapsed().as_secs_f64();
        let said = [ZoneName::Near, ZoneName::Far].map(|z| d.answer(z).judgement);
        let ends: Vec<bool> = r.ends.iter().zip(said).map(|(read, said)| end_agrees(read, said)).collect();
        let cause = cause_agrees(&r.cause, d.verdict.cause);
        for k in 0..2 {
            agree[k] += usize::from(ends[k]);
            ends_read += 1;
        }
        agree[2] += usize::from(cause);
        let left_open = d.verdict.cause == Cause::CannotTell;
        open += usize::from(left_open);
        let wrong = !left_open && !cause && d.verdict.confidence >= judge::SURE;
        firm_wrong += usize::from(wrong);
        println!(
            "{} | {}, {}, {} | {}{}, {}{}, {}{} ({:.2}){}",
            r.file,
            r.ends[0],
            r.ends[1],
            r.cause,
            told(&d, 0),
            mark(ends[0]),
            told(&d, 1),
            mark(ends[1]),
            d.verdict.cause.word(),
            mark(cause),
            d.verdict.confidence,
            if wrong { " FIRM" } else { "" }
        );
        if tiles {
            print(&map, &d);
        }
    }
    let n = readings.len().max(1);
    let share = |k: usize, of: usize| 100.0 * k as f64 / of.max(1) as f64;
    println!("{} photographs, a diagnosis takes {:.1} ms", readings.len(), 1e3 * time / n as f64);
    println!(
        "near as read {} of {n}, far {}, together {:.0} %; cause {} of {n} ({:.0} %); cannot tell {open} ({:.0} %); firm and wrong {firm_wrong}",
        agree[0],
        agree[1],
        share(agree[0] + agree[1], ends_read),
        agree[2],
        share(agree[2], n),
        share(open, n)
    );
    Ok(())
}

fn mark(agrees: bool) -> &'static str {
    if agrees { "" } else { " !" }
}

/// An end's answer with its number against the permitted.
fn told(d: &Diagnosis, k: usize) -> String {
    let zone = &d.zones[k];
    match zone.optical_px {
        Some(e) => format!("{} {:.2}/{:.2}", zone.answer.judgement.word(), e.value, d.permitted_px),
        None => format!("{} {:?}", zone.answer.judgement.word(), zone.answer.reason),
    }
}

fn end_agrees(read: &str, said: Judgement) -> bool {
    match read {
        "sharp" => said.passes(),
        "soft" => said == Judgement::Beyond,
        _ => said == Judgement::Unknown,
    }
}

fn cause_agrees(read: &str, said: Cause) -> bool {
    read.split(" or ").any(|one| match one {
        "sharp" => said == Cause::SharpThroughout,
        one if one.contains("unknown") => said == Cause::CannotTell,
        one => said.word().replace(' ', "_") == one,
    })
}

fn readings(folder: &Path) -> anyhow::Result<Vec<Reading>> {
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_path(folder.join("readings.csv"))?;
    let mut all = Vec::new();
    for record in reader.records() {
        let record = record?;
        let cell = |k: usize| record.get(k).unwrap_or_default().trim().to_owned();
        all.push(Reading { file: cell(0), ends: [cell(1), cell(2)], cause: cell(4) });
    }
    Ok(all)
}

/// The tile map in hundredths of a pixel, optical; what a tile shows behind it: `s` soft content, `f` far.
fn print(map: &TileMap, d: &Diagnosis) {
    println!("  {:?} {:?} {:?}", d.flags, d.verdict.unsettled, &d.verdict.weights);
    println!("  {:?}", d.model);
    for (y, row) in map.tiles.chunks(map.columns.max(1) as usize).enumerate() {
        let cell = |(x, t): (usize, &tussock::measure::Tile)| {
            let zone = (0..2).find(|&k| d.zones[k].tiles.contains(&((y * map.columns as usize + x) as u32)));
            let mark = [" ", "n", "f"][zone.map_or(0, |k| k + 1)];
            let text = match (t.state, t.blur) {
                (_, Some(b)) => format!("{:.0}", 100.0 * judge::optical(b).value),
                (TileState::NoDetail, _) => "..".into(),
                (TileState::Clipped, _) => "cc".into(),
                (TileState::Noisy, _) => "~~".into(),
                (TileState::AtMost, _) => format!("<{:.0}", 100.0 * t.bound.unwrap_or(0.0)),
                (TileState::AtLeast, _) => format!(">{:.0}", 100.0 * t.bound.unwrap_or(0.0)),
                _ => "??".into(),
            };
            format!("{text:>4}{mark}")
        };
        let cells: Vec<String> = row.iter().enumerate().map(cell).collect();
        println!("  {}", cells.concat());
    }
}
