//! Groups of frames of one scene, found and compared: one way for the series command and for an audit.

use std::borrow::Cow;

use super::frame_store::Shoot;
use super::frames::{f_numbers_in_names, take_name};
use super::judging::trusted;
use super::remember::Memory;
use crate::diagnose::{self, Cause, Diagnosis};
use crate::intake;
use crate::judge;
use crate::measure::register::Small;
use crate::measure::{Settings, Tile, TileMap, measure, smaller};
use crate::optics::WAVELENGTH_UM;
use crate::output;
use crate::output::store::Key;
use crate::quantity::Intent;
use crate::report::series::{SeriesGroupView, group_view};
use crate::series::{self, Answer, Ask, Group, Held, Known, NoteKind, Pauses, Recall as _, Seen, Varied, Zone};
use crate::shot::{Capture, Plane};

/// Compares the frames of one scene; `diagnosis` gives that of a frame by its index, `pixels` its pixels.
pub(crate) fn compare<'p>(
    seen: &[Seen],
    varied: Varied,
    intent: &Intent,
    diagnosis: &dyn Fn(usize) -> Option<Diagnosis>,
    pixels: &dyn Fn(usize) -> Option<Cow<'p, Plane>>,
) -> Answer {
    let least = seen.iter().map(|s| s.size).min_by_key(|s| u64::from(s.0) * u64::from(s.1)).unwrap_or_default();
    let reduced: Vec<Option<Reduced>> = (0..seen.len())
        .map(|k| if series::one_size(seen[k].size, least) { None } else { Reduced::new(&seen[k], &*pixels(k)?, least) })
        .collect();
    let of_one_size: Vec<Seen> = seen.iter().zip(&reduced).map(|(s, r)| r.as_ref().map_or(*s, |r| r.seen(s))).collect();
    let at_least = |k: usize| Some(at_size(pixels(k)?, least));
    let reference = series::reference(&of_one_size);
    let zones = diagnosis(reference).map_or_else(Vec::new, |found| zones(&of_one_size[reference], &found));
    let moved = |k| diagnosis(k).is_some_and(|d| d.verdict.cause == Cause::Motion && d.verdict.is_firm());
    let shaken = series::shaken(seen.len(), &moved);
    let finest = |s: &Seen| s.map().map_or(judge::finest_px(None), |map| diagnose::finest_px(&map, s.capture));
    let finest: Vec<f64> = of_one_size.iter().map(finest).collect();
    let limits = series::limits_px(intent, of_one_size[reference].size, &finest);
    let ask = Ask::new(intent, varied, &shaken, &limits);
    let mut answer = series::compare(&of_one_size, &zones, &ask, &at_least);
    let larger = (0..seen.len()).filter(|&k| reduced[k].is_some());
    let by = |k: usize| f64::from(seen[k].size.0) / f64::from(least.0.max(1));
    answer.notes.extend(larger.map(|k| (Some(k), NoteKind::Reduced(by(k)))));
    answer
}

/// A frame's pixels at the size at which its group is compared.
pub(crate) fn at_size(plane: Cow<'_, Plane>, (width, height): (u32, u32)) -> Cow<'_, Plane> {
    if series::one_size((plane.width as u32, plane.height as u32), (width, height)) {
        return plane;
    }
    Cow::Owned(smaller(&plane, width as usize, height as usize))
}

/// What is known of a frame at a smaller size.
struct Reduced {
    size: (u32, u32),
    capture: Capture,
    small: Small,
    map: TileMap,
}

impl Reduced {
    fn new(seen: &Seen, plane: &Plane, (width, height): (u32, u32)) -> Option<Self> {
        let plane = smaller(plane, width as usize, height as usize);
        let mut capture = seen.capture.clone();
        if let Some(pitch) = &mut capture.pixel_pitch_um {
            pitch.value *= f64::from(seen.size.0) / f64::from(width.max(1));
        }
        let map = seen.map()?;
        let settings = Settings { tiles: map.columns.max(map.rows), ..Settings::default() };
        let map = measure(&plane, &settings.under(capture.lambda_n_px(WAVELENGTH_UM)));
        Some(Self { size: (width, height), capture, small: Small::new(&plane), map })
    }

    fn seen<'a>(&'a self, full: &Seen<'a>) -> Seen<'a> {
        Seen {
            file: full.file,
            size: self.size,
            capture: &self.capture,
            small: (&self.small).into(),
            map: Some((&self.map).into()),
        }
    }
}

/// Near, far, centre and corners as the diagnosis of the reference frame has them, and mid-frame.
#[must_use]
pub fn zones(reference: &Seen, found: &Diagnosis) -> Vec<Zone> {
    let Some(map) = reference.map() else { return Vec::new() };
    let regions: Vec<_> = map.tiles.iter().map(Tile::region).collect();
    let zones = found.zones.iter().map(|z| (z.name, z.tiles.iter().map(|&t| t as usize).collect()));
    series::zones(zones, &regions, reference.size)
}

/// Finds the groups among audited frames and answers each as the series command does. Their pixels are read again, one
/// frame at a time beside the one all are laid on, unless the answer is remembered.
pub(crate) fn groups(shoot: &Shoot<'_>, memory: &Memory, intent: &Intent) -> Vec<(Group, SeriesGroupView)> {
    let frames = &shoot.frames;
    let mut captures: Vec<Capture> = frames.iter().map(|f| f.capture.clone()).collect();
    let names = f_numbers_in_names(frames.iter().map(|f| f.path.as_path()));
    captures.iter_mut().zip(names).for_each(|(c, said)| take_name(c, said));
    let seen: Vec<Seen> = frames
        .iter()
        .zip(&captures)
        .enumerate()
        .map(|(k, (f, capture))| Seen {
            file: &f.file,
            size: f.size,
            capture,
            small: Held::Elsewhere(shoot, k),
            map: Some(Held::Elsewhere(shoot, k)),
        })
        .collect();
    let known = Remembered { shoot, memory };
    let groups = output::timed("finding frames of one scene", || series::group_knowing(&seen, Pauses::Part, &known));
    let of = |group: Group| {
        let view = answered(shoot, memory, intent, (&seen, &group));
        (group, view)
    };
    groups.into_iter().map(of).collect()
}

/// Which frames show one scene, as far as that is remembered.
struct Remembered<'a> {
    shoot: &'a Shoot<'a>,
    memory: &'a Memory,
}

impl Remembered<'_> {
    fn key(&self, a: usize, b: usize) -> Option<Key> {
        let frames = &self.shoot.frames;
        self.memory.build_key(&[frames[a].key?, frames[b].key?], "one scene")
    }
}

impl Known for Remembered<'_> {
    fn known(&self, a: usize, b: usize) -> Option<bool> {
        self.memory.recall(self.key(a, b).as_ref())
    }

    fn learn(&self, a: usize, b: usize, one: bool) {
        self.memory.remember(self.key(a, b), &one);
    }
}

fn answered(shoot: &Shoot<'_>, memory: &Memory, intent: &Intent, (seen, group): (&[Seen], &Group)) -> SeriesGroupView {
    let keys: Option<Vec<Key>> = group.members.iter().map(|&m| shoot.frames[m].key).collect();
    let key = keys.and_then(|keys| memory.build_key(&keys, &format!("series {:?} {intent:?}", group.varied)));
    memory.recall(key.as_ref()).unwrap_or_else(|| {
        let of: Vec<Seen> = group.members.iter().map(|&m| seen[m]).collect();
        let pixels = |k: usize| {
            let path = &shoot.frames[group.members[k]].path;
            intake::read(path, shoot.overrides).ok().map(|shot| Cow::Owned(shot.plane))
        };
        // The series command knows no baselines, and the two must say the same.
        let diagnosis = |k: usize| {
            let m = group.members[k];
            let map: TileMap = shoot.recall(m)?;
            Some(diagnose::diagnose(&map, &trusted(seen[m].capture, &shoot.frames[m].flags), None, intent))
        };
        let view = group_view(&compare(&of, group.varied, intent, &diagnosis, &pixels));
        memory.remember(key, &view);
        view
    })
}
