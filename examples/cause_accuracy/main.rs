//! Photographs made soft as a known cause would: `cargo run --release --example cause_accuracy -- make SHARED OUT` makes them from
//! sharp pictures of SHARED (../shared) in the folder OUT and measures them (of one family, where its name follows); `judge OUT`
//! judges what was measured, and prints the figures of docs/accuracy.md, real pictures made soft by a known cause, and what was
//! judged otherwise than it is.
//!
//! Each picture is reduced until it is sharp and brought to linear light (a power of 2.2). Of the ground, every row is convolved
//! with a disc of its own: one size from the horizon up, changing evenly from there to the lower edge, as a plane of ground seen by
//! a level camera has it. What stands up from the ground is so blurred by its rows and not by its distance, and nothing hides what
//! lies behind it; but of the things, and before the backdrops, each is cut out, blurred alike all over, and laid over the rest by
//! how much of a place it covers. Of the crests, what lies above the ledge or the wall has the far scene's disc. Of the others, the
//! whole picture is convolved with what a lens or a movement does. Then it is saved as JPEG, as it is or with noise and sharpening
//! before and without Exif, and as Bayer DNG with noise and the facts of a camera that draws so.
#![allow(clippy::print_stdout, missing_docs)] // A program whose purpose is to print.

mod blur;
mod cases;
mod files;
mod pictures;

use std::fs::File;
use std::io::{BufReader, BufWriter};
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use tussock::diagnose::{Cause, Diagnosis, ZoneName, diagnose};
use tussock::intake::{self, Overrides};
use tussock::judge::{self, Judgement};
use tussock::measure::{Settings, TileMap, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::quantity::Intent;
use tussock::shot::Capture;

use cases::{BACKDROPS, CRESTS, Case, GROUND, OTHERS, THINGS};
use pictures::{PHOTOGRAPHS, Picture, SCENES, SMALL, photograph, scene};

/// What was counted over the pictures of a case.
#[derive(Clone, Copy, Default)]
struct Tally {
    pictures: u32,
    asked: u32,
    ends: u32,
    causes: u32,
    open: u32,
    firm_wrong: u32,
}

impl Tally {
    fn and(self, o: Self) -> Self {
        Self {
            pictures: self.pictures + o.pictures,
            asked: self.asked + o.asked,
            ends: self.ends + o.ends,
            causes: self.causes + o.causes,
            open: self.open + o.open,
            firm_wrong: self.firm_wrong + o.firm_wrong,
        }
    }

    fn print(&self, name: &str) {
        let share = |k: u32, of: u32| match of {
            0 => "-".to_owned(),
            of => format!("{:.0} %", 100.0 * f64::from(k) / f64::from(of)),
        };
        println!(
            "| {name} | {} | {} | {} | {} | {} |",
            self.pictures,
            share(self.ends, self.asked),
            share(self.causes, self.pictures),
            self.open,
            self.firm_wrong
        );
    }
}

/// What is kept of a picture: all that judging it takes.
#[derive(Serialize, Deserialize)]
struct Kept {
    capture: Capture,
    map: TileMap,
}

fn measured(file: &Path) -> anyhow::Result<Kept> {
    let shot = intake::read(file, &Overrides::default())?;
    let settings = Settings::default().under(shot.capture.lambda_n_px(WAVELENGTH_UM));
    Ok(Kept { map: measure(&shot.plane, &settings), capture: shot.capture })
}

fn judged(name: &str, kept: &Kept, case: &Case) -> Tally {
    let d = diagnose(&kept.map, &kept.capture, None, &Intent::default());
    let said = [ZoneName::Near, ZoneName::Far].map(|z| d.answer(z).judgement);
    let ends = case.soft.iter().zip(said).filter_map(|(soft, said)| Some(((*soft)?, said)));
    let corners = [ZoneName::BottomLeft, ZoneName::BottomRight].into_iter().filter(|_| case.corners);
    // A corner that shows nothing is not asked.
    let corners = corners.map(|z| (true, d.answer(z).judgement)).filter(|(_, said)| *said != Judgement::Unknown);
    let asked: Vec<(bool, Judgement)> = ends.chain(corners).collect();
    let right =
        asked.iter().filter(|(soft, said)| if *soft { *said == Judgement::Beyond } else { said.passes() }).count();
    let (cause, open) = (case.causes.contains(&d.verdict.cause), d.verdict.cause == Cause::CannotTell);
    let firm_wrong = !cause && !open && d.verdict.confidence >= judge::SURE;
    if !cause || right < asked.len() {
        println!("{name}: {}", answer(&d, firm_wrong));
    }
    Tally {
        pictures: 1,
        asked: asked.len() as u32,
        ends: right as u32,
        causes: u32::from(cause),
        open: u32::from(open),
        firm_wrong: u32::from(firm_wrong),
    }
}

fn answer(d: &Diagnosis, firm_wrong: bool) -> String {
    let end = |z: ZoneName| {
        let answer = d.answer(z);
        answer.reason.map_or_else(|| answer.judgement.word().to_owned(), |why| format!("unknown ({why:?})"))
    };
    let firm = if firm_wrong { " FIRM" } else { "" };
    let (cause, sure) = (d.verdict.cause.word(), d.verdict.confidence);
    format!("near {}, far {}: {cause} ({sure:.2}){firm}", end(ZoneName::Near), end(ZoneName::Far))
}

const WAYS: [&str; 3] = ["as rendered", "developed", "raw"];
const FAMILIES: [(&str, &[Case]); 5] =
    [("ground", &GROUND), ("things", &THINGS), ("others", &OTHERS), ("crests", &CRESTS), ("backdrops", &BACKDROPS)];
const SETS: [&str; 3] = ["photographs", "scenes", "small scenes"];

/// Cases of a family that can be told from files saved in a way.
fn told(cases: &'static [Case], way: &str) -> impl Iterator<Item = &'static Case> {
    cases.iter().filter(move |c| way == "raw" || !c.needs_f_number())
}

/// Makes and measures the pictures of a family of cases, saved in one way; each draws by itself, so that they can be made
/// beside each other.
fn make(pictures: &[Picture], cases: &'static [Case], way: &str, folder: &Path) -> anyhow::Result<()> {
    pictures.par_iter().enumerate().try_for_each(|(number, picture)| {
        let mut random = fastrand::Rng::with_seed(number as u64);
        let from = &pictures[(number + 1) % pictures.len()];
        for case in told(cases, way) {
            let to = folder.join(case.folder());
            std::fs::create_dir_all(&to)?;
            let file = to.join(&picture.name).with_extension(if way == "raw" { "dng" } else { "jpg" });
            let light = case.taken(number, picture, from);
            match way {
                "raw" => std::fs::write(&file, files::recorded(&light, case.camera(), random.u64(..)))?,
                "developed" => files::save(&files::developed(&light, &mut random), &file, random.u8(88..=96))?,
                _ => files::save(&files::rendered(light), &file, random.u8(88..=96))?,
            }
            serde_json::to_writer(BufWriter::new(File::create(file.with_extension("json"))?), &measured(&file)?)?;
        }
        Ok(())
    })
}

fn make_all(shared: &Path, out: &Path, only: Option<&Path>) -> anyhow::Result<()> {
    let photographs = PHOTOGRAPHS.iter().map(|(file, horizon)| photograph(shared, file, *horizon));
    let scenes = |list: &[(&str, f64)]| -> anyhow::Result<Vec<Picture>> {
        list.iter().map(|(number, horizon)| scene(shared, number, *horizon)).collect()
    };
    let sets = [photographs.collect::<Result<_, _>>()?, scenes(&SCENES)?, scenes(&SMALL)?];
    for (family, cases) in FAMILIES.into_iter().filter(|(family, _)| only.is_none_or(|only| only == Path::new(family)))
    {
        for (set, pictures) in SETS.iter().zip(&sets) {
            for way in WAYS {
                make(pictures, cases, way, &out.join(family).join(set).join(way))?;
            }
        }
    }
    Ok(())
}

/// Judges what was measured of the pictures of one case.
fn judge_case(folder: &Path, case: &Case) -> anyhow::Result<Tally> {
    let listed = std::fs::read_dir(folder).with_context(|| folder.display().to_string())?;
    let mut kept: Vec<PathBuf> = listed.filter_map(|entry| Some(entry.ok()?.path())).collect();
    kept.retain(|path| path.extension().is_some_and(|e| e == "json"));
    kept.sort();
    let mut sum = Tally::default();
    for path in kept {
        let picture = serde_json::from_reader(BufReader::new(File::open(&path)?))?;
        sum = sum.and(judged(&path.with_extension("").display().to_string(), &picture, case));
    }
    Ok(sum)
}

fn judge_all(out: &Path) -> anyhow::Result<()> {
    for (family, cases) in FAMILIES {
        for (set, way) in SETS.iter().flat_map(|s| WAYS.map(|w| (s, w))) {
            let folder = out.join(family).join(set).join(way);
            let tallies: Vec<(&Case, Tally)> = told(cases, way)
                .map(|case| Ok((case, judge_case(&folder.join(case.folder()), case)?)))
                .collect::<anyhow::Result<_>>()?;
            println!(
                "\n| {family}: {set}, {way} | pictures | places right | cause right | left open | firm and wrong |"
            );
            println!("|---|---|---|---|---|---|");
            tallies.iter().for_each(|(case, tally)| tally.print(case.name));
            tallies.iter().fold(Tally::default(), |sum, (_, t)| sum.and(*t)).print("all");
            println!();
        }
    }
    Ok(())
}

fn main() -> anyhow::Result<()> {
    let words: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    match words.as_slice() {
        [word, shared, out] if word == Path::new("make") => make_all(shared, out, None),
        [word, shared, out, family] if word == Path::new("make") => make_all(shared, out, Some(family)),
        [word, out] if word == Path::new("judge") => judge_all(out),
        _ => anyhow::bail!("usage: cause_accuracy make SHARED OUT [FAMILY] | judge OUT"),
    }
}
