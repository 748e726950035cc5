//! Folder to report: each frame is read and measured by itself, then all are diagnosed and written together.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::baselines::{self, Shelf};
use super::frames::{failure, said};
use super::progress::Progress;
use super::remember::Memory;
use super::work::{self, Budget};
use super::{Outcome, album, groups, place};
use crate::diagnose::diagnose;
use crate::intake::{self, Candidate, IntakeError, Overrides, Prefer};
use crate::measure::register::Small;
use crate::measure::{self, TileMap, measure};
use crate::optics::WAVELENGTH_UM;
use crate::output;
use crate::output::store::Key;
use crate::quantity::{Flag, Intent, Place};
use crate::report::{self, Failure, Frame, Links, Run};
use crate::shot::{Capture, Shot};

/// The audit command as meant.
#[derive(Clone, Debug)]
pub struct Audit {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// Walk into folders within folders.
    pub recursive: bool,
    /// Which twin stands for a frame.
    pub prefer: Prefer,
    /// Where the report goes; `None` for the default place.
    pub out: Option<PathBuf>,
    /// How much of the machine to use.
    pub budget: Budget,
    /// Whether to use and keep remembered measurements.
    pub remember: bool,
    /// Whether to write the page and its pictures, or the machine-readable files alone.
    pub page: bool,
    /// Whether to write each frame at full size beside the page, for looking at any place of raw files.
    pub renditions: bool,
    /// How to measure.
    pub settings: measure::Settings,
    /// What the user wants of the pictures.
    pub intent: Intent,
    /// Facts the user gave.
    pub overrides: Overrides,
    /// Files of learned lens baselines the user gave.
    pub lenses: Vec<PathBuf>,
}

/// What is kept of a frame once its pixels are gone.
#[derive(Serialize, Deserialize)]
struct Measured {
    file: String,
    capture: Capture,
    flags: Vec<Flag>,
    map: TileMap,
    small: Small,
}

/// One frame's share of the report.
struct Done {
    /// The file that was read: the frame's own or its twin's.
    path: PathBuf,
    frame: Frame,
    /// Place on the shelf of the baseline it was diagnosed with.
    baseline: Option<usize>,
    links: Links,
    small: Small,
    key: Option<Key>,
}

/// What became of one candidate.
struct Seen {
    done: Option<Done>,
    /// What went wrong: with its file, and with the twin that was to stand in.
    failed: Vec<IntakeError>,
}

/// Runs the audit: reads, measures, diagnoses, writes the report and prints the table.
///
/// # Errors
/// Where the report can't be written; single files that fail are part of the report instead.
pub fn run(audit: &Audit) -> anyhow::Result<Outcome> {
    let found = intake::find(&audit.paths, audit.recursive, audit.prefer);
    let mut failures: Vec<Failure> = found.failures.iter().map(failure).collect();
    failures.iter().for_each(|f| output::say(&said(f)));
    if found.frames.is_empty() {
        if failures.is_empty() {
            output::say("tussock: no photograph in the places named; --recursive looks into folders within folders");
        }
        return Ok(Outcome::Nothing);
    }
    let out = match &audit.out {
        Some(out) => out.clone(),
        None => place::default_report_folder(&audit.paths[0])?,
    };

    // All that can change a measurement or the facts beside it.
    let recipe =
        format!("{} {} {:?} {:?}", env!("CARGO_PKG_VERSION"), measure::VERSION, audit.settings, audit.overrides);
    let memory = if audit.remember { Memory::open(recipe.as_bytes()) } else { Memory::none() };
    let shelf = Shelf::open(&audit.lenses)?;
    let mut done = Vec::new();
    for Seen { done: frame, failed } in measure_all(audit, &found.frames, &memory, &out, &shelf)? {
        done.extend(frame);
        failures.extend(failed.iter().map(failure));
    }
    let counts = (done.len(), failures.len());
    let mut frames = Vec::with_capacity(done.len());
    let (mut links, mut smalls, mut keys, mut used) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut paths = Vec::new();
    for d in done {
        paths.push(d.path);
        frames.push(d.frame);
        used.push(d.baseline);
        links.push(d.links);
        smalls.push(d.small);
        keys.push(d.key);
    }
    if frames.is_empty() {
        // There is no report on nothing; what went wrong with each file has been said.
        return Ok(Outcome::Nothing);
    }
    for file in shelf.idle(&used) {
        output::say(&format!("tussock: {file}: no frame here was taken with that lens at that focal length"));
    }
    for (option, place) in [("--near-at", audit.intent.near_at), ("--far-at", audit.intent.far_at)] {
        place.and_then(|p| missed_mark(option, p, &frames)).iter().for_each(|m| output::say(m));
    }
    let baselines = baselines::settle(&mut frames, &shelf, &used, &audit.intent);
    let mut groups = Vec::new();
    let audited = groups::Audited {
        paths: &paths,
        smalls: &smalls,
        keys: &keys,
        memory: &memory,
        overrides: &audit.overrides,
        intent: &audit.intent,
    };
    for (group, view) in work::on_threads(audit.budget.threads, || groups::groups(&frames, &audited)) {
        group.members.iter().for_each(|&m| frames[m].group = Some(groups.len()));
        groups.push(report::group(group.members, view));
    }
    write(audit, &Run { frames, failures, groups, baselines, intent: audit.intent }, &links, &out)?;
    Ok(Outcome::of(counts.0, counts.1))
}

fn measure_all(
    audit: &Audit,
    frames: &[Candidate],
    memory: &Memory,
    out: &Path,
    shelf: &Shelf,
) -> anyhow::Result<Vec<Seen>> {
    let album = album::Album::new(audit, frames, out);
    let progress = Progress::new("measuring", frames.len());
    let results = work::run(
        frames,
        audit.budget,
        |c| intake::memory_needed(&c.path),
        |c| one(c, audit, memory, &album, shelf),
        |_, result| {
            for e in result.iter().flat_map(|seen| &seen.failed) {
                progress.say(&said(&failure(e)));
            }
            progress.step();
        },
    );
    results.into_iter().collect()
}

/// One frame; where its file fails, its twin stands in, and the failure is named all the same.
fn one(
    candidate: &Candidate,
    audit: &Audit,
    memory: &Memory,
    album: &album::Album,
    shelf: &Shelf,
) -> anyhow::Result<Seen> {
    let failed = match one_file(&candidate.path, audit, memory, album, shelf, None)? {
        Ok(done) => return Ok(Seen { done: Some(done), failed: Vec::new() }),
        Err(failed) => failed,
    };
    let Some(twin) = &candidate.twin else { return Ok(Seen { done: None, failed: vec![failed] }) };
    Ok(match one_file(twin, audit, memory, album, shelf, Some(Flag::TwinFailed))? {
        Ok(done) => Seen { done: Some(done), failed: vec![failed] },
        Err(twin) => Seen { done: None, failed: vec![failed, twin] },
    })
}

/// Reads and measures one file, or recalls it, and puts its pictures in place.
fn one_file(
    path: &Path,
    audit: &Audit,
    memory: &Memory,
    album: &album::Album,
    shelf: &Shelf,
    flag: Option<Flag>,
) -> anyhow::Result<Result<Done, IntakeError>> {
    let key = memory.key(path);
    let mut shot: Option<Shot> = None;
    let measured = match memory.recall::<Measured>(key.as_ref()) {
        Some(known) => known,
        None => {
            let read = match intake::read(path, &audit.overrides) {
                Ok(read) => read,
                Err(e) => return Ok(Err(e)),
            };
            let map = measure(&read.plane, &audit.settings.under(read.capture.lambda_n_px(WAVELENGTH_UM)));
            let measured = Measured {
                file: read.file.clone(),
                capture: read.capture.clone(),
                flags: read.flags.clone(),
                small: Small::new(&read.plane),
                map,
            };
            memory.remember(key, &measured);
            shot = Some(read);
            measured
        }
    };
    let Measured { file, capture, mut flags, map, small } = measured;
    flags.extend(flag);
    let baseline = shelf.find(&capture);
    let known = baseline.map(|place| shelf.baseline(place));
    // A diagnosis rests on what was asked and on the baseline of the lens.
    let asked = memory.build_key(key.as_slice(), &format!("diagnosis {:?} {known:?}", audit.intent));
    let diagnosis = memory.recall(asked.as_ref()).unwrap_or_else(|| {
        let made = diagnose(&map, &trusted(&capture, &flags), known, &audit.intent);
        memory.remember(asked, &made);
        made
    });
    let frame = Frame { file, capture, flags, map, diagnosis, group: None };
    if !album.wanted() {
        return Ok(Ok(Done { path: path.to_owned(), frame, baseline, links: Links::default(), small, key }));
    }
    // The diagnosis decides where the crops are taken.
    let crops = memory.build_key(key.as_slice(), &format!("pictures {:?} {known:?}", audit.intent));
    let pictures = match memory.recall_pictures(crops.as_ref()) {
        Some(known) => known,
        None => {
            let shot = match shot.map_or_else(|| intake::read(path, &audit.overrides), Ok) {
                Ok(shot) => shot,
                Err(e) => return Ok(Err(e)),
            };
            let pictures = album.make(&frame, &shot, path);
            memory.remember_pictures(crops, &pictures);
            pictures
        }
    };
    let links = album.place(path, &pictures)?;
    Ok(Ok(Done { path: path.to_owned(), frame, baseline, links, small, key }))
}

/// What to say where a mark lies outside some frames, which are then judged as if it had not been given.
fn missed_mark(option: &str, place: Place, frames: &[Frame]) -> Option<String> {
    let missed: Vec<&Frame> = frames.iter().filter(|f| place.in_picture(f.map.width, f.map.height).is_none()).collect();
    let first = missed.first()?;
    let others = match missed.len() - 1 {
        0 => String::new(),
        1 => " and one more frame".into(),
        more => format!(" and {more} more frames"),
    };
    let (file, width, height) = (first.file.escape_debug(), first.map.width, first.map.height);
    Some(format!(
        "tussock: {option} lies outside {file} ({width} x {height} pixels){others}; judged there as if it were not given"
    ))
}

fn write(audit: &Audit, run: &Run, links: &[Links], out: &Path) -> anyhow::Result<()> {
    let view = report::view(run);
    output::write(&out.join("audit.json"), &report::json(&view))?;
    output::write(&out.join("audit.csv"), &report::csv(&view))?;
    let mut read = out.join("audit.json");
    if audit.page {
        read = out.join("index.html");
        for (file, bytes) in report::companions(&view) {
            output::replace(&out.join(file), &bytes)?;
        }
        output::write(&read, report::html(&view, links).as_bytes())?;
    }
    output::print(&report::text(&view, output::columns()));
    output::print(&format!("\nReport: {}\n", read.display()));
    Ok(())
}

/// The facts that the diagnosis may lean on: a focus distance that can't be is shown, but not believed.
pub(super) fn trusted(capture: &Capture, flags: &[Flag]) -> Capture {
    let mut capture = capture.clone();
    if flags.contains(&Flag::FocusDistanceImpossible) {
        capture.focus_distance_m = None;
    }
    capture
}
