//! Folder to report: each frame is read and measured by itself, then all are diagnosed and written together.

use std::collections::HashSet;
use std::path::Path;

use super::album::Album;
pub use super::asked::Audit;
use super::baselines::{self, Shelf};
use super::frame::{self, Bench, Seen};
use super::frames::failure;
use super::progress::Progress;
use super::remember::Memory;
use super::{Outcome, groups, place, raw_worker, sidecars, stop, work};
use crate::intake::{self, Candidate, Found, IntakeError};
use crate::measure;
use crate::output;
use crate::output::folder::{Folder, REPORT};
use crate::output::guard::guarded;
use crate::quantity::{Place, plain, shown};
use crate::report::series::SeriesGroupView;
use crate::report::{self, Failure, Frame, Links, Run};
use crate::series::Group;

/// Runs the audit: reads, measures, diagnoses, writes the report and prints the table.
///
/// # Errors
/// Where the report can't be written; single files that fail are part of the report instead.
pub fn run(audit: &Audit) -> anyhow::Result<Outcome> {
    let found = intake::find(&audit.paths, audit.recursive, audit.prefer);
    let Some(first) = found.frames.first() else {
        found.failures.iter().for_each(|e| output::say(&output::failed(e)));
        if found.failures.is_empty() {
            output::say("tussock: no photograph in the places named");
        }
        return Ok(Outcome::Nothing);
    };
    let folder = match &audit.out {
        Some(out) => Folder::claim(out, audit.overwrite)?,
        None => place::default_report_folder(audit.paths.iter().find(|p| p.exists()).unwrap_or(&first.path))?,
    };
    if let Some(words) = walked(&found.frames) {
        output::note(&words);
    }
    into(audit, &found, folder)
}

/// What the user may not expect of the frames found: several folders, and twins that count once.
fn walked(frames: &[Candidate]) -> Option<String> {
    let folders = frames.iter().map(|c| c.path.parent()).collect::<HashSet<_>>().len();
    let twins = match frames.iter().filter(|c| c.twin.is_some()).count() {
        0 => String::new(),
        1 => "; one is there both raw and rendered and counts once".to_owned(),
        n => format!("; {n} are there both raw and rendered and count once"),
    };
    let within = if folders > 1 { format!(" in {folders} folders") } else { String::new() };
    let unexpected = folders > 1 || !twins.is_empty();
    unexpected.then(|| report::counted(frames.len(), "frame") + &within + &twins)
}

/// Runs the audit of frames that were found, into a folder that was claimed.
///
/// # Errors
/// As [`run`].
pub fn into(audit: &Audit, found: &Found, mut folder: Folder) -> anyhow::Result<Outcome> {
    stop::listen();
    raw_worker::set_up(audit.budget);
    let memory = memory(audit);
    let shelf = if audit.no_lens { Shelf::none() } else { Shelf::open(&audit.lenses)? };
    let mut failures: Vec<Failure> = found.failures.iter().map(failure).collect();
    let mut done = Vec::new();
    let seen = output::timed("reading and measuring", || measure_all(audit, &found.frames, &memory, &folder, &shelf))?;
    let unreached = found.frames.len() - seen.len();
    for Seen { done: frame, failed } in seen {
        // Of a file that was measured as far as it goes it is said, too, but nothing stands in for it.
        let stands =
            |error: &IntakeError| frame.as_ref().filter(|done| done.path != error.path).map(|d| shown(&d.path));
        failures.extend(failed.iter().map(|e| Failure { stand_in: stands(e), ..failure(e) }));
        done.extend(frame);
    }
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
        // There is no report on nothing.
        failures.iter().for_each(|f| output::say(&output::failure(f)));
        return Ok(Outcome::Nothing);
    }
    for file in shelf.idle(&used) {
        output::say(&format!("tussock: {}: no frame here was taken with that lens at that focal length", plain(file)));
    }
    for (option, place) in [("--near-at", audit.intent.near_at), ("--far-at", audit.intent.far_at)] {
        place.and_then(|p| missed_mark(option, p, &frames)).iter().for_each(|m| output::say(m));
    }
    let baselines = guarded(|| baselines::settle(&mut frames, &shelf, &used, &audit.intent)).unwrap_or_else(|words| {
        output::say(&output::broke_down("learning the lens from these frames", &words));
        Vec::new()
    });
    let audited = groups::Audited {
        paths: &paths,
        smalls: &smalls,
        keys: &keys,
        memory: &memory,
        overrides: &audit.overrides,
        intent: &audit.intent,
    };
    let mut groups = Vec::new();
    for (group, view) in output::timed("comparing frames of one scene", || found_groups(audit, &frames, &audited)) {
        group.members.iter().for_each(|&m| frames[m].group = Some(groups.len()));
        groups.push(report::group(group.members, view));
    }
    // The small pictures are the most that is held of a frame, and have served their purpose.
    drop(smalls);
    let mut run = Run { frames, failures, groups, baselines, intent: audit.intent, unreached };
    match guarded(|| output::timed("writing the report", || write(audit, &run, &links, &folder))) {
        Ok(written) => written?,
        Err(words) => {
            leave_out_what_breaks(&mut run, &mut links, &words);
            guarded(|| write(audit, &run, &links, &folder)).map_err(anyhow::Error::msg)??;
        }
    }
    folder.swap(REPORT)?;
    let view = report::view(&run);
    if audit.json {
        output::print_file(&folder.path().join("audit.json"))?;
    } else {
        output::tell(&report::text(&view, output::columns()));
    }
    // Once, below the table, where they are seen however long it is.
    run.failures.iter().for_each(|f| output::say(&output::failure(f)));
    let tell: fn(&str) = if audit.json { output::note } else { |text| output::tell(&format!("{text}\n")) };
    let left_alone = audit
        .sidecars
        .map_or(0, |asked| output::timed("writing sidecars", || sidecars::write(asked, &paths, &view, tell)));
    let read = folder.path().join(if audit.page { "index.html" } else { "audit.json" });
    tell(&format!("{}Report: {}", if audit.json { "" } else { "\n" }, shown(&read)));
    if audit.open && audit.page && !output::open(&read) {
        output::say("tussock: nothing here opens a page by itself; open the report by hand");
    }
    Ok(Outcome::of(run.frames.len(), run.failed() + unreached + left_alone))
}

/// What is remembered for an audit.
pub(super) fn memory(audit: &Audit) -> Memory {
    // All that can change a measurement or the facts beside it.
    let recipe =
        format!("{} {} {:?} {:?}", env!("CARGO_PKG_VERSION"), measure::VERSION, audit.settings, audit.overrides);
    if audit.remember { Memory::open(recipe.as_bytes()) } else { Memory::none() }
}

/// Measures frame by frame; frames that were not begun when somebody asked to stop are missing at the end.
fn measure_all(
    audit: &Audit,
    frames: &[Candidate],
    memory: &Memory,
    folder: &Folder,
    shelf: &Shelf,
) -> anyhow::Result<Vec<Seen>> {
    let bench = Bench { audit, memory, album: Album::new(audit, frames, folder), shelf };
    let progress = Progress::new("measuring", frames.len());
    let results = work::run(
        frames,
        audit.budget,
        |c| intake::memory_needed(&c.path),
        |c| frame::one(c, &bench),
        |_, result| {
            progress.failed(result.as_ref().map_or(0, |seen| seen.failed.len()));
            progress.step();
        },
        stop::asked,
    );
    results.into_iter().collect()
}

/// Groups of frames of one scene; none where somebody asked to stop.
fn found_groups(audit: &Audit, frames: &[Frame], audited: &groups::Audited<'_>) -> Vec<(Group, SeriesGroupView)> {
    if stop::asked() {
        return Vec::new();
    }
    guarded(|| work::on_threads(audit.budget.threads, || groups::groups(frames, audited))).unwrap_or_else(|words| {
        output::say(&output::broke_down("comparing frames of one scene", &words));
        Vec::new()
    })
}

/// Makes failures of the frames that can't be written; what refers to frames by their number is given up.
fn leave_out_what_breaks(run: &mut Run, links: &mut Vec<Links>, words: &str) {
    run.groups.clear();
    run.baselines.clear();
    let (frames, all) = (std::mem::take(&mut run.frames), std::mem::take(links));
    for (mut frame, link) in frames.into_iter().zip(all) {
        frame.group = None;
        let alone = Run { frames: vec![frame.clone()], intent: run.intent, ..Run::default() };
        let written = guarded(|| {
            let view = report::view(&alone);
            let page = report::html(&view, std::slice::from_ref(&link));
            (report::json(&view), report::csv(&view), page, report::companions(&view).count())
        });
        if written.is_ok() {
            run.frames.push(frame);
            links.push(link);
        } else {
            let error = IntakeError::fault(Path::new(&frame.file), "writing the report on it", words);
            run.failures.push(failure(&error));
        }
    }
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
    let (file, width, height) = (plain(&first.file), first.map.width, first.map.height);
    Some(format!(
        "tussock: {option} lies outside {file} ({width} x {height} pixels){others}; judged there as if it were not given"
    ))
}

fn write(audit: &Audit, run: &Run, links: &[Links], folder: &Folder) -> anyhow::Result<()> {
    let view = report::view(run);
    folder.put_with("audit.json", &mut |out| report::write_json(&view, out))?;
    folder.put("audit.csv", &report::csv(&view))?;
    if audit.page {
        for (file, bytes) in report::companions(&view) {
            folder.put(&file, &bytes)?;
        }
        let page = report::themed(report::html(&view, links), audit.theme);
        folder.put("index.html", page.as_bytes())?;
    }
    Ok(())
}
