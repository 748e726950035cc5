//! One frame of an audit: read, measured and diagnosed, or recalled, with its pictures put in place.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::asked::Audit;
use super::baselines::Shelf;
use super::frame_store::Done;
use super::judging::diagnosed;
use super::pictures::Album;
use super::remember::Memory;
use super::{original, pack};
use crate::intake::{self, Candidate, IntakeError};
use crate::measure::register::Small;
use crate::measure::{TileMap, measure};
use crate::optics::WAVELENGTH_UM;
use crate::output::guard::guarded;
use crate::output::store::Key;
use crate::quantity::Flag;
use crate::report::{Frame, Links, OriginalView};
use crate::shot::{Capture, Shot};

/// What frames are audited with.
pub(super) struct Bench<'a> {
    /// What was asked.
    pub audit: &'a Audit,
    /// What is remembered.
    pub memory: &'a Memory,
    /// Where pictures go.
    pub album: Album<'a>,
    /// Baselines of lenses.
    pub shelf: &'a Shelf,
}

/// What is kept of a frame once its pixels are gone.
struct Measured {
    facts: Facts,
    map: TileMap,
}

/// The small part of it.
#[derive(Serialize, Deserialize)]
struct Facts {
    file: String,
    capture: Capture,
    flags: Vec<Flag>,
    /// What the file is known again by.
    original: Option<OriginalView>,
    /// Share of the picture that was there, where it was not all.
    coded: Option<f64>,
}

impl Measured {
    /// The length of the facts, the facts, the map.
    fn pack(&self) -> Option<Vec<u8>> {
        let mut facts = Vec::new();
        ciborium::into_writer(&self.facts, &mut facts).ok()?;
        let length = u32::try_from(facts.len()).ok()?.to_le_bytes();
        Some([&length[..], &facts, &pack::map(&self.map)?].concat())
    }

    fn unpack(bytes: &[u8]) -> Option<Self> {
        let (length, rest) = bytes.split_first_chunk::<4>()?;
        let (facts, map) = rest.split_at_checked(u32::from_le_bytes(*length) as usize)?;
        Some(Self { facts: ciborium::from_reader(facts).ok()?, map: pack::map_from(map)? })
    }
}

/// What became of one candidate.
#[derive(Default)]
pub(super) struct Seen {
    /// The frame, where there is one.
    pub done: Option<Done>,
    /// What went wrong: with its file, and with the twin that was to stand in.
    pub failed: Vec<IntakeError>,
}

/// One frame; where its file fails, its twin stands in, and the failure is named all the same.
///
/// # Errors
/// Where the report can't be written.
pub(super) fn one(candidate: &Candidate, bench: &Bench<'_>) -> anyhow::Result<Seen> {
    let mut seen = Seen::default();
    let files = std::iter::once((candidate.path.as_path(), None))
        .chain(candidate.twins.iter().map(|twin| (twin.as_path(), Some(Flag::TwinFailed))));
    for (path, flag) in files {
        match survived(path, || one_file(path, bench, flag))? {
            Ok((done, partly)) => {
                let others = std::iter::once(&candidate.path).chain(&candidate.twins).filter(|p| **p != done.path);
                let twins = others.map(|p| p.to_string_lossy().into_owned()).collect();
                seen.done = Some(Done { twins, ..done });
                seen.failed.extend(partly);
                break;
            }
            Err(failed) => seen.failed.push(failed),
        }
    }
    Ok(seen)
}

/// Runs the work on a file; where it panics, the file has failed.
fn survived<T>(
    path: &Path,
    work: impl FnOnce() -> anyhow::Result<Result<T, IntakeError>>,
) -> anyhow::Result<Result<T, IntakeError>> {
    guarded(work).unwrap_or_else(|words| Ok(Err(IntakeError::fault(path, "auditing it", &words))))
}

fn cut_short(path: &Path, share: f64) -> IntakeError {
    let problem =
        format!("it was cut short: only {:.0} % of the picture is in the file, and that was measured", 100.0 * share);
    IntakeError::damaged(path, problem)
}

fn by_preview(path: &Path) -> IntakeError {
    IntakeError::damaged(path, "its raw data are damaged, and only the preview in it was measured")
}

/// A frame, and what is to be said of a file that is there in part only.
type Whole = (Done, Option<IntakeError>);

/// Reads and measures one file, or recalls it, and puts its pictures in place.
fn one_file(path: &Path, bench: &Bench<'_>, flag: Option<Flag>) -> anyhow::Result<Result<Whole, IntakeError>> {
    let Bench { audit, memory, album, shelf } = bench;
    let key = memory.key(path);
    let mut shot: Option<Shot> = None;
    let mut small = None;
    let measured = match memory.recall_bytes(key.as_ref()).and_then(|bytes| Measured::unpack(&bytes)) {
        Some(known) => known,
        None => {
            let read = match intake::read(path, &audit.wanted.overrides) {
                Ok(read) => read,
                Err(e) => return Ok(Err(e)),
            };
            let mut map = measure(&read.plane, &audit.wanted.settings.under(read.capture.lambda_n_px(WAVELENGTH_UM)));
            if let Some(there) = read.coded {
                // What is missing is white in the plane, but was never clipped.
                map.clipped_share = ((map.clipped_share - (1.0 - there)) / there).clamp(0.0, 1.0);
            }
            let facts = Facts {
                file: read.file.clone(),
                capture: read.capture.clone(),
                flags: read.flags.clone(),
                original: original::of(path),
                coded: read.coded,
            };
            let measured = Measured { facts, map };
            memory.remember_bytes(key, || measured.pack());
            small = Some(Small::new(&read.plane));
            shot = Some(read);
            measured
        }
    };
    let Measured { facts: Facts { file, capture, mut flags, mut original, coded }, map } = measured;
    if let Some(original) = &mut original {
        original.whole = memory.digest(path).or_else(|| original::whole(path)).map(|w| w.to_hex().to_string());
    }
    let damaged = || flags.contains(&Flag::RawDamaged).then(|| by_preview(path));
    let partly = coded.map(|share| cut_short(path, share)).or_else(damaged);
    flags.extend(flag);
    let baseline = shelf.find(&capture);
    let known = baseline.map(|place| shelf.baseline(place));
    let diagnosis = diagnosed(memory, key, (&map, &capture, &flags), known, &audit.intent);
    let frame = Frame { file, capture, flags, map, diagnosis, group: None };
    let links = if album.wanted() {
        // The diagnosis decides where the crops are taken.
        let asked = format!("pictures {:?} {known:?} {}", audit.intent, audit.renditions.of(path));
        match pictured(path, bench, &frame, shot, memory.build_key(key.as_slice(), &asked))? {
            Ok(links) => links,
            Err(e) => return Ok(Err(e)),
        }
    } else {
        Links::default()
    };
    Ok(Ok((Done { path: path.to_owned(), frame, baseline, links, original, twins: Vec::new(), small, key }, partly)))
}

/// Puts a frame's pictures in place, those remembered under a key or new ones, and says where the page finds them. `shot`: its
/// pixels, where they are there already.
fn pictured(
    path: &Path,
    Bench { audit, memory, album, .. }: &Bench<'_>,
    frame: &Frame,
    shot: Option<Shot>,
    key: Option<Key>,
) -> anyhow::Result<Result<Links, IntakeError>> {
    let pictures = match album.recall(memory, key.as_ref(), path) {
        Some(known) => known,
        None => {
            let shot = match shot.map_or_else(|| intake::read(path, &audit.wanted.overrides), Ok) {
                Ok(shot) => shot,
                Err(e) => return Ok(Err(e)),
            };
            let pictures = album.make(frame, &shot, path);
            album.remember(memory, key, path, &pictures);
            pictures
        }
    };
    album.place(path, &pictures).map(Ok)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::IntakeErrorKind;

    #[test]
    fn a_panic_costs_its_own_file() {
        let path = Path::new("moor.jpg");
        let failed = survived::<()>(path, || panic!("out of range")).unwrap().unwrap_err();
        assert_eq!((failed.kind, failed.detail.as_deref()), (IntakeErrorKind::Fault, Some("out of range")));
        assert!(failed.problem.contains("fault of this program"), "{failed}");
        assert_eq!(survived(path, || Ok(Ok(1))).unwrap().unwrap(), 1);
    }
}
