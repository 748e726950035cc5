//! Folder to report: each frame is read and measured by itself, then all are diagnosed and written together.

use std::collections::HashSet;
use std::path::PathBuf;

use anyhow::Context as _;

pub(crate) use super::asked::{Audit, Renditions};
use super::baselines::{self, Shelf};
use super::frame::{self, Bench, Seen};
use super::frame_store::{Held, Shoot};
use super::frames::failure;
use super::pictures::Album;
use super::progress::Progress;
use super::remember::Memory;
use super::{Outcome, groups, original, place, raw_worker, sidecars, stop, work, write};
use crate::diagnose::{self, Reading, Together};
use crate::intake::{self, Candidate, Found, IntakeError};
use crate::measure;
use crate::output;
use crate::output::folder::{Folder, REPORT};
use crate::output::guard::guarded;
use crate::output::scratch::Scratch;
use crate::quantity::{Place, plain, shown};
use crate::report::series::SeriesGroupView;
use crate::report::{self, FailureView, Run, View};
use crate::series::Group;

/// Runs the audit: reads, measures, diagnoses, writes the report and prints the table.
///
/// # Errors
/// Where the report can't be written; single files that fail are part of the report instead.
pub(crate) fn run(audit: &Audit) -> anyhow::Result<Outcome> {
    let found = audit.wanted.find();
    let Some(first) = found.frames.first() else {
        found.failures.iter().for_each(|e| output::say(&output::failed(e)));
        if found.failures.is_empty() {
            output::say("tussock: no photograph in the places named");
        }
        return Ok(Outcome::Nothing);
    };
    let folder = match &audit.out {
        Some(out) => Folder::claim(out, audit.overwrite)?,
        None => place::default_report_folder(audit.wanted.paths.iter().find(|p| p.exists()).unwrap_or(&first.path))?,
    };
    if let Some(words) = walked(&found.frames) {
        output::note(&words);
    }
    into(audit, &found, folder)
}

/// What the user may not expect of the frames found: several folders, and twins that count once.
fn walked(frames: &[Candidate]) -> Option<String> {
    let folders = frames.iter().map(|c| c.path.parent()).collect::<HashSet<_>>().len();
    let twinned: Vec<&Candidate> = frames.iter().filter(|c| !c.twins.is_empty()).collect();
    let both = |c: &&Candidate| c.twins.len() == 1 && intake::is_raw(&c.path) != intake::is_raw(&c.twins[0]);
    let how = if twinned.iter().all(both) { "both raw and rendered" } else { "in several files" };
    let twins = match twinned.len() {
        0 => String::new(),
        1 => format!("; one is there {how} and counts once"),
        n => format!("; {n} are there {how} and count once"),
    };
    let within = if folders > 1 { format!(" in {folders} folders") } else { String::new() };
    let unexpected = folders > 1 || !twins.is_empty();
    unexpected.then(|| report::counted(frames.len(), "frame") + &within + &twins)
}

/// Runs the audit of frames that were found, into a folder that was claimed.
///
/// # Errors
/// As [`run`].
pub(crate) fn into(audit: &Audit, found: &Found, mut folder: Folder) -> anyhow::Result<Outcome> {
    stop::listen();
    raw_worker::set_up(audit.wanted.budget);
    let memory = memory(audit);
    let shelf = shelf(audit)?;
    let mut failures: Vec<FailureView> = found.failures.iter().map(failure).collect();
    let scratch =
        Scratch::new(folder.scratch().with_context(|| format!("cannot write into {}", shown(folder.path())))?);
    let mut shoot = Shoot { frames: Vec::new(), scratch: &scratch, overrides: &audit.wanted.overrides };
    let seen = output::timed("reading and measuring", || {
        let album = Album::new(audit, &found.frames, &folder);
        measure_all(&Bench { audit, memory: &memory, album, shelf: &shelf }, &found.frames, &scratch)
    })?;
    let unreached = found.frames.len() - seen.len();
    for (held, failed) in seen {
        // Of a file that was measured as far as it goes it is said, too, but nothing stands in for it.
        let stands = |error: &IntakeError| {
            held.as_ref().filter(|h| h.path != error.path).map(|h| h.path.to_string_lossy().into())
        };
        failures.extend(failed.iter().map(|e| FailureView { stand_in: stands(e), ..failure(e) }));
        shoot.frames.extend(held);
    }
    if shoot.frames.is_empty() {
        // There is no report on nothing.
        failures.iter().for_each(|f| output::say(&output::failure(f)));
        return Ok(Outcome::Nothing);
    }
    say_unmet(audit, &shelf, &shoot.frames);
    let baselines = learned(audit, &shelf, &memory, &mut shoot)?;
    let mut groups = Vec::new();
    for (group, view) in output::timed("comparing frames of one scene", || found_groups(audit, &shoot, &memory)) {
        group.members.iter().for_each(|&m| shoot.frames[m].group = Some(groups.len()));
        let sharp = |m: &usize| shoot.frame(*m).is_some_and(|f| f.diagnosis.sharp_throughout() == Some(true));
        let sharp = group.members.iter().copied().filter(sharp).collect();
        groups.push(report::group(group.members, sharp, view));
    }
    let lenses = guarded(|| together(&shoot)).unwrap_or_else(|words| {
        output::say(&output::broke_down("setting the lenses' corners against each other", &words));
        Vec::new()
    });
    let (intent, base) = (audit.intent, original::base());
    let mut run = Run { frames: Vec::new(), failures, groups, baselines, lenses, intent, unreached, base };
    let view = output::timed("writing the report", || written(audit, &mut run, &mut shoot, &folder))?;
    folder.swap(REPORT)?;
    let left_alone = conclude(audit, &folder, &view, &run.failures, &shoot.frames)?;
    Ok(Outcome::of(shoot.frames.len(), run.failed() + unreached + left_alone))
}

/// Says what was given for the frames and fits none, or not all.
fn say_unmet(audit: &Audit, shelf: &Shelf, frames: &[Held]) {
    let used: Vec<Option<usize>> = frames.iter().map(|f| f.baseline).collect();
    for file in shelf.idle(&used) {
        output::say(&format!("tussock: {}: no frame here was taken with that lens at that focal length", plain(file)));
    }
    for (option, place) in [("--near-at", audit.intent.near_at), ("--far-at", audit.intent.far_at)] {
        place.and_then(|p| missed_mark(option, p, frames)).iter().for_each(|m| output::say(m));
    }
}

/// What the lenses' corners were judged against; none of it where learning a lens broke down, which is said.
fn learned(
    audit: &Audit,
    shelf: &Shelf,
    memory: &Memory,
    shoot: &mut Shoot<'_>,
) -> anyhow::Result<Vec<report::LensBasis>> {
    let settle =
        || work::on_threads(audit.wanted.budget.threads, || baselines::settle(shoot, shelf, &audit.intent, memory));
    guarded(|| output::timed("learning lenses", settle)).unwrap_or_else(|words| {
        output::say(&output::broke_down("learning the lens from these frames", &words));
        Ok(Vec::new())
    })
}

/// Tells of a report that lies in its place: the table, what failed, the sidecars, where to look. Gives the number of
/// sidecars that were asked for and not written.
fn conclude(
    audit: &Audit,
    folder: &Folder,
    view: &View,
    failures: &[FailureView],
    frames: &[Held],
) -> anyhow::Result<usize> {
    if audit.json {
        output::print_file(&folder.path().join("audit.json"))?;
    } else {
        output::tell(&report::text(view, output::columns()));
    }
    // Once, below the table, where they are seen however long it is.
    failures.iter().for_each(|f| output::say(&output::failure(f)));
    let tell: fn(&str) = if audit.json { output::note } else { |text| output::tell(&format!("{text}\n")) };
    let paths: Vec<PathBuf> = frames.iter().map(|f| f.path.clone()).collect();
    let left_alone = audit
        .sidecars
        .map_or(0, |asked| output::timed("writing sidecars", || sidecars::write(asked, &paths, view, tell)));
    let read = folder.path().join(if audit.page { "index.html" } else { "audit.json" });
    tell(&format!("{}Report: {}", if audit.json { "" } else { "\n" }, shown(&read)));
    if audit.open && audit.page && !output::open(&read) {
        output::say("tussock: nothing here opens a page by itself; open the report by hand");
    }
    Ok(left_alone)
}

/// The report, without the frames that can't be written where there are any.
fn written(audit: &Audit, run: &mut Run, shoot: &mut Shoot<'_>, folder: &Folder) -> anyhow::Result<View> {
    let once = |run: &Run, shoot: &Shoot<'_>| {
        guarded(|| work::on_threads(audit.wanted.budget.threads, || write::write(audit, run, shoot, folder)))
    };
    once(run, shoot).unwrap_or_else(|words| {
        write::leave_out_what_breaks(run, shoot, &words);
        once(run, shoot).map_err(anyhow::Error::msg)?
    })
}

/// Version of what is remembered of a frame.
const RECORDS: u32 = 5;

/// What is remembered for an audit.
pub(super) fn memory(audit: &Audit) -> Memory {
    // All that can change a measurement or the facts beside it.
    let recipe = format!(
        "{} {} {} {RECORDS} {:?} {:?}",
        env!("CARGO_PKG_VERSION"),
        intake::VERSION,
        measure::VERSION,
        audit.wanted.settings,
        audit.wanted.overrides
    );
    if audit.remember { Memory::open(recipe.as_bytes()) } else { Memory::none() }
}

/// The baselines that an audit judges corners by.
///
/// # Errors
/// Where a given file can't be read or is no baseline.
pub(super) fn shelf(audit: &Audit) -> anyhow::Result<Shelf> {
    if audit.no_lens { Ok(Shelf::none()) } else { Shelf::open(&audit.lenses, &audit.known_lenses) }
}

/// What is held of a frame, where it is one, and what went wrong.
type Measured = (Option<Held>, Vec<IntakeError>);

/// Measures frame by frame; frames that were not begun when somebody asked to stop are missing at the end.
fn measure_all(bench: &Bench<'_>, frames: &[Candidate], scratch: &Scratch) -> anyhow::Result<Vec<Measured>> {
    let progress = Progress::new("measuring", frames.len());
    let results = work::run(
        frames,
        bench.audit.wanted.budget,
        |c| intake::memory_needed(&c.path),
        |c| -> anyhow::Result<Measured> {
            let Seen { done, failed } = frame::one(c, bench)?;
            Ok((done.map(|done| Held::new(done, scratch)).transpose()?, failed))
        },
        |_, result| {
            progress.failed(result.as_ref().map_or(0, |seen| seen.1.len()));
            progress.step();
        },
        stop::asked,
    );
    results.into_iter().collect()
}

/// What the frames of each lens show together; a frame that can't be had back has no say.
fn together(shoot: &Shoot<'_>) -> Vec<Together> {
    let reading = |k: usize| {
        let held = &shoot.frames[k];
        Reading::of(&held.capture, &held.flags, held.size, held.group, &shoot.diagnosis(k)?)
    };
    let readings: Vec<Option<Reading>> = (0..shoot.frames.len()).map(reading).collect();
    diagnose::together(&readings)
}

/// Groups of frames of one scene; none where somebody asked to stop.
fn found_groups(audit: &Audit, shoot: &Shoot<'_>, memory: &Memory) -> Vec<(Group, SeriesGroupView)> {
    if stop::asked() {
        return Vec::new();
    }
    let find = || work::on_threads(audit.wanted.budget.threads, || groups::groups(shoot, memory, &audit.intent));
    guarded(find).unwrap_or_else(|words| {
        output::say(&output::broke_down("comparing frames of one scene", &words));
        Vec::new()
    })
}

/// What to say where a mark lies outside some frames, which are then judged as if it had not been given.
fn missed_mark(option: &str, place: Place, frames: &[Held]) -> Option<String> {
    let missed: Vec<&Held> = frames.iter().filter(|f| place.in_picture(f.size.0, f.size.1).is_none()).collect();
    let first = missed.first()?;
    let others = match missed.len() - 1 {
        0 => String::new(),
        1 => " and one more frame".into(),
        more => format!(" and {more} more frames"),
    };
    let (file, width, height) = (plain(&first.file), first.size.0, first.size.1);
    Some(format!(
        "tussock: {option} lies outside {file} ({width} x {height} pixels){others}; judged there as if it were not given"
    ))
}
