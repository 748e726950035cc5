//! Frames of one scene to a comparison: which aperture, which frames to blend, which duplicate to keep.

use std::borrow::Cow;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};

use anyhow::{Context as _, bail};
use rayon::prelude::*;

use super::Outcome;
use super::work::Budget;
use crate::diagnose::{self, diagnose};
use crate::intake::{self, IntakeError, Overrides, Prefer};
use crate::measure::pair::{self, spectra};
use crate::measure::register::{Registration, Similarity, Small, register};
use crate::measure::{self, TileMap, measure};
use crate::optics::WAVELENGTH_UM;
use crate::optics::blur::{Parts, sigma_px};
use crate::output;
use crate::quantity::{Estimate, Intent};
use crate::report::Failure;
use crate::report::series::{Alone, AloneWhy, GroupAnswer, NoteKind, series_html, series_text, series_view};
use crate::series::{
    Frame, Member, Varied, Zone, ZoneBlur, ZoneName, aperture, bracket, focus_varied, frame_zones, group, lone,
    on_reference, resolve, sharpest, without_soft_content, without_still_content, zone_blurs,
};
use crate::shot::{Capture, Fact, Plane, Source};

/// The series command as meant.
#[derive(Clone, Debug)]
pub struct Series {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// Walk into folders within folders.
    pub recursive: bool,
    /// Which twin stands for a frame.
    pub prefer: Prefer,
    /// Where the answers go.
    pub out: Option<PathBuf>,
    /// Threads; `None` for all.
    pub jobs: Option<usize>,
    /// How to measure.
    pub settings: measure::Settings,
    /// What the user wants of the pictures.
    pub intent: Intent,
    /// f-numbers of the frames in order, given by the user; empty to take the recorded ones.
    pub apertures: Vec<f64>,
    /// Facts the user gave.
    pub overrides: Overrides,
}

/// One frame as the first pass leaves it.
struct Read {
    /// Its pixels, where there was room to keep them; else they are read again when the frame is compared.
    plane: Option<Plane>,
    path: PathBuf,
    file: String,
    capture: Capture,
    small: Small,
    map: TileMap,
}

/// Runs the command.
///
/// # Errors
/// Where the f-numbers given do not match the frames found, or the answers can't be written.
pub fn run(series: &Series) -> anyhow::Result<Outcome> {
    match series.jobs {
        None => work(series),
        Some(n) => rayon::ThreadPoolBuilder::new()
            .num_threads(n)
            .build()
            .context("cannot start the threads asked for")?
            .install(|| work(series)),
    }
}

fn work(series: &Series) -> anyhow::Result<Outcome> {
    let found = intake::find(&series.paths, series.recursive, series.prefer);
    let mut failures: Vec<Failure> = found.failures.iter().map(failure).collect();
    let count = found.frames.len();
    if !series.apertures.is_empty() && series.apertures.len() != count {
        bail!("--apertures names {} f-numbers, but there are {count} frames", series.apertures.len());
    }
    // Small series stay in memory between measuring and comparing; a quarter of what is free is theirs.
    let room = Room(AtomicU64::new(Budget::new(series.jobs, None).bytes / 2));
    let read: Vec<Result<Read, IntakeError>> = found
        .frames
        .par_iter()
        .enumerate()
        .map(|(i, candidate)| {
            let mut overrides = series.overrides.clone();
            if let Some(&n) = series.apertures.get(i) {
                overrides.capture.f_number = Some(Fact::new(n, Source::Given));
            }
            let shot = intake::read(&candidate.path, &overrides)?;
            Ok(Read {
                path: candidate.path.clone(),
                file: shot.file,
                small: Small::new(&shot.plane),
                map: measure(&shot.plane, &series.settings.under(shot.capture.lambda_n_px(WAVELENGTH_UM))),
                capture: shot.capture,
                plane: room.take(2 * shot.plane.data.len() as u64).then_some(shot.plane),
            })
        })
        .collect();
    let mut frames = Vec::new();
    for result in read {
        match result {
            Ok(frame) => frames.push(frame),
            Err(error) => failures.push(failure(&error)),
        }
    }
    for f in &failures {
        output::say(&format!("tussock: {}: {}. {}", f.file, f.problem, f.advice));
    }
    match frames.len() {
        0 => bail!("no photograph could be read"),
        1 => bail!("{} alone is no series: give two frames of one scene or more", frames[0].file),
        _ => {}
    }
    let members: Vec<Member> = frames
        .iter()
        .map(|f| Member {
            file: &f.file,
            size: (f.map.width, f.map.height),
            capture: &f.capture,
            small: &f.small,
            map: Some(&f.map),
        })
        .collect();
    let groups = group(&members);
    let alone: Vec<Alone> = lone(&members, &groups)
        .into_iter()
        .map(|(k, why)| Alone {
            file: frames[k].file.clone(),
            why: match why {
                crate::series::Lone::OtherScene => AloneWhy::OtherScene,
                crate::series::Lone::OtherSize(own, group) => AloneWhy::OtherSize { own, group },
                crate::series::Lone::Turned(quarters) => AloneWhy::Turned { quarters },
            },
        })
        .collect();
    let mut answers = Vec::new();
    for g in &groups {
        let members: Vec<&Read> = g.members.iter().map(|&m| &frames[m]).collect();
        answers.push(answer(series, &members, g.varied)?);
    }
    let view = series_view(&answers, &alone, &failures);
    output::print(&series_text(&view));
    if let Some(folder) = &series.out {
        let json = serde_json::to_string_pretty(&view)? + "\n";
        output::write(&folder.join("series.json"), json.as_bytes())?;
        output::write(&folder.join("index.html"), series_html(&view).as_bytes())?;
        output::say(&format!("tussock: the series is in {}", folder.join("index.html").display()));
    }
    if answers.is_empty() {
        output::say("tussock: no two of these frames show one scene, so there is no series to compare");
        return Ok(Outcome::Nothing);
    }
    Ok(Outcome::of(answers.len(), failures.len() + alone.len()))
}

/// Bytes of memory that are still to be had.
struct Room(AtomicU64);

impl Room {
    /// Takes so many bytes if they are there.
    fn take(&self, bytes: u64) -> bool {
        self.0.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| left.checked_sub(bytes)).is_ok()
    }
}

/// The pixels of a frame, read again if they were not kept.
fn pixels<'a>(frame: &'a Read, overrides: &Overrides) -> anyhow::Result<Cow<'a, Plane>> {
    match &frame.plane {
        Some(plane) => Ok(Cow::Borrowed(plane)),
        // It was read before: if it can't be now, the folder is changing under us.
        None => match intake::read(&frame.path, overrides) {
            Ok(shot) => Ok(Cow::Owned(shot.plane)),
            Err(e) => bail!("{e}"),
        },
    }
}

fn failure(error: &IntakeError) -> Failure {
    Failure { file: error.path.display().to_string(), problem: error.problem.clone(), advice: error.advice.clone() }
}

/// Compares the frames of one group and answers.
fn answer(series: &Series, members: &[&Read], varied: Varied) -> anyhow::Result<GroupAnswer> {
    let mut notes = Vec::new();
    let reference = reference(members);
    let overrides = &series.overrides;
    let ground = pixels(members[reference], overrides)?;
    let tiles = pair::tiles(&ground, series.settings.tiles);
    let mut compared = Vec::new();
    let mut frames = Vec::new();
    let mut laid = vec![None; members.len()];
    let f_number = |m: &Read| m.capture.f_number.as_ref().map(|f| f.value);
    for (k, member) in members.iter().enumerate() {
        if let Some(first) =
            (0..k).find(|&j| members[j].small == member.small && f_number(members[j]) == f_number(member))
        {
            notes.push((Some(k), NoteKind::CopyOf(first)));
            continue;
        }
        let (registration, spectra) = if k == reference {
            (None, spectra(&ground, &ground, None, &tiles))
        } else {
            let plane = pixels(member, overrides)?;
            let Some(r) = register(&ground, &plane, &members[reference].small, &member.small) else {
                notes.push((Some(k), NoteKind::NotRegistered));
                continue;
            };
            let s = spectra(&ground, &plane, Some(&r), &tiles);
            (Some(r), s)
        };
        compared.push(k);
        laid[k] = Some(registration.as_ref().map_or_else(Similarity::still, |r| r.map));
        frames.push(frame(member, registration.as_ref(), spectra, &tiles));
    }
    let blurs = resolve(&frames, &tiles).among(&compared, members.len());
    let zones = zones(members[reference], &tiles, &series.intent);
    let varied = if varied == Varied::Nothing && focus_varied(&blurs) { Varied::Focus } else { varied };
    let f_numbers: Vec<Option<f64>> = members.iter().map(|m| f_number(m)).collect();
    let pitch_um = members[reference].capture.pixel_pitch_um.as_ref().map(|p| p.value);
    let all = blurs.tiles();
    let blurs = match varied {
        Varied::Aperture => without_soft_content(&blurs, &f_numbers, pitch_um),
        Varied::Focus => without_still_content(&blurs),
        Varied::Nothing => blurs,
    };
    let soft = all - blurs.tiles();
    if soft > 0 {
        notes.push((None, NoteKind::SoftContent(soft)));
    }
    let zone_list = zone_blurs(&zones, &blurs);
    let (width, height) = (members[reference].map.width, members[reference].map.height);
    // The intent limits the optical blur; what is compared has the pixel in it.
    let permitted = sigma_px(&Parts {
        lens_px: crate::judge::permitted_px(series.intent.sharp_for, width, height),
        pixel: true,
        ..Parts::default()
    });
    let apertures = (varied == Varied::Aperture).then(|| aperture::answer(&zone_list, &f_numbers, pitch_um));
    // Spoiled frames keep their own reading; the rest is as settled.
    let zone_list = apertures.as_ref().map_or(zone_list.clone(), |a| with_settled(&zone_list, &a.blurs));
    if let Some(a) = &apertures {
        notes.extend(a.spoiled.iter().map(|&k| (Some(k), NoteKind::Spoiled)));
        notes.extend(a.gaps.iter().map(|g| (None, NoteKind::MissingStop(g.0, g.1))));
        notes.extend((0..members.len()).filter(|&k| f_numbers[k].is_none()).map(|k| (Some(k), NoteKind::NoFNumber)));
        let copy = |k: usize| notes.iter().any(|n| n.0 == Some(k) && matches!(n.1, NoteKind::CopyOf(_)));
        let same: Vec<usize> = (1..members.len())
            .filter(|&k| f_numbers[k].is_some() && !copy(k) && (0..k).any(|j| !copy(j) && f_numbers[j] == f_numbers[k]))
            .collect();
        notes.extend(same.into_iter().map(|k| (Some(k), NoteKind::SameStop)));
    }
    let moved: Vec<f64> = blurs.moved.iter().map(|&m| f64::from(m) / tiles.len().max(1) as f64).collect();
    notes.extend((0..members.len()).filter(|&k| moved[k] > 0.34).map(|k| (Some(k), NoteKind::Moved)));
    Ok(GroupAnswer {
        files: members.iter().map(|m| m.file.clone()).collect(),
        pitch_um,
        varied,
        apertures,
        bracket: (varied == Varied::Focus).then(|| {
            bracket::answer(&zone_list, &bracket::widths(&blurs, &tiles, &f_numbers, pitch_um), &tiles, permitted)
        }),
        f_numbers,
        sharpest: if varied == Varied::Nothing { sharpest(&blurs.sigma) } else { None },
        zones: zone_list,
        tiles,
        size: (width, height),
        permitted_px: permitted,
        notes,
        moved,
        laid,
    })
}

/// Zones with the points that the answer settled in place of the first readings.
fn with_settled(zones: &[ZoneBlur], settled: &[ZoneBlur]) -> Vec<ZoneBlur> {
    let mut zones = zones.to_vec();
    for zone in &mut zones {
        let Some(better) = settled.iter().find(|z| z.name == zone.name) else { continue };
        for point in &mut zone.points {
            if let Some(p) = better.points.iter().find(|p| p.frame == point.frame) {
                *point = *p;
            }
        }
    }
    zones
}

/// The frame to lay the others over: the one with the most measured tiles, the sharper of equals.
fn reference(members: &[&Read]) -> usize {
    let rank = |m: &Read| {
        let mut widths: Vec<f64> = m.map.measured().map(|(_, e)| e.value).collect();
        widths.sort_by(f64::total_cmp);
        widths.len() as f64 / (0.3 + widths.get(widths.len() / 2).copied().unwrap_or(10.0))
    };
    (0..members.len()).max_by(|&a, &b| rank(members[a]).total_cmp(&rank(members[b]))).unwrap_or(0)
}

fn frame(
    member: &Read,
    registration: Option<&Registration>,
    spectra: pair::FrameSpectra,
    tiles: &[crate::quantity::Region],
) -> Frame {
    let absolute: Vec<Option<Estimate>> = on_reference(&member.map, registration, tiles);
    Frame {
        f_number: member.capture.f_number.as_ref().map(|f| f.value),
        pitch_um: member.capture.pixel_pitch_um.as_ref().map(|p| p.value),
        spectra,
        absolute,
    }
}

/// Near, far, centre and corners as the audit of the reference frame has them, and mid-frame.
fn zones(reference: &Read, tiles: &[crate::quantity::Region], intent: &Intent) -> Vec<Zone> {
    let diagnosis = diagnose(&reference.map, &reference.capture, None, intent);
    let mut zones: Vec<Zone> = diagnosis
        .zones
        .iter()
        .map(|z| Zone {
            name: zone_name(z.name),
            tiles: z.tiles.iter().map(|&t| t as usize).filter(|&t| t < tiles.len()).collect(),
        })
        .collect();
    for own in frame_zones(tiles, reference.map.width, reference.map.height) {
        match zones.iter_mut().find(|z| z.name == own.name) {
            Some(z) if z.tiles.is_empty() => *z = own,
            Some(_) => {}
            None => zones.push(own),
        }
    }
    zones.sort_by_key(|z| z.name);
    zones
}

/// An audit's zone among a series's.
pub(super) const fn zone_name(name: diagnose::ZoneName) -> ZoneName {
    match name {
        diagnose::ZoneName::Near => ZoneName::Near,
        diagnose::ZoneName::Far => ZoneName::Far,
        diagnose::ZoneName::Centre => ZoneName::Centre,
        diagnose::ZoneName::TopLeft => ZoneName::TopLeft,
        diagnose::ZoneName::TopRight => ZoneName::TopRight,
        diagnose::ZoneName::BottomLeft => ZoneName::BottomLeft,
        diagnose::ZoneName::BottomRight => ZoneName::BottomRight,
    }
}
