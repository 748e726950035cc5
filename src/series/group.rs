//! Which frames show one scene, what was varied between them, and which of near-duplicates is the sharpest.

use std::borrow::Cow;

use jiff::civil::DateTime;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::moved::{Twice, focus_moved};
use super::seen::{Known, Seen};
use crate::lens::set_alike;
use crate::measure::register::{self, Registration, Sketch, Small, likeness, register_small};
use crate::measure::{Tile, TileMap};
use crate::optics::stops;
use crate::shot::Capture;

/// What was varied between the frames of a group.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Varied {
    /// The f-number.
    Aperture,
    /// The plane of focus.
    Focus,
    /// Nothing: near-duplicates.
    Nothing,
}

/// Frames of one scene.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// Indices of the frames, in their order.
    pub members: Vec<usize>,
    /// What was varied.
    pub varied: Varied,
}

/// Longest pause between neighbouring frames of one scene in a whole shoot, s. Chosen: setting the next stop or focus takes
/// seconds, the next scene minutes; what was taken of one view later has another light, and neither picture stands for the other.
const PAUSE_S: f64 = 180.0;
/// Largest shift between frames of one scene, as a share of the longer side. Chosen: beyond, it is a pan.
const SHIFT: f64 = 0.15;
/// Frames each frame is compared with: its neighbours in time and order. Chosen: a series of any length hangs together
/// by fewer.
pub(super) const NEIGHBOURS: usize = 4;
/// Share of patches that must be found, and of those found that must lie where those around them say. Chosen: blur and
/// movement take patches, chance finds few that agree.
const FOUND: f64 = 0.3;
const AGREE: f64 = 0.6;
/// Largest typical distance of the agreeing patches from where their neighbours have them, in small pixels. Derived:
/// patches that agree by chance lie evenly within one and a half small pixels, half of them beyond 1.06.
const CLOSE: f64 = 0.6;
/// Share of a sketch's blocks found where those around them say from which two frames show one scene, and below which
/// they don't; between the two the small pictures decide. And in how many blocks a sketch must show something. Chosen:
/// most of them, and next to none; ten of 24 must show something.
const SAME: f64 = 0.8;
const OTHER: f64 = 0.2;
const BLOCKS: u32 = 10;

/// What a pause between two frames says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pauses {
    /// A long one parts two visits: of a folder that holds a whole shoot.
    Part,
    /// Nothing: the user named the frames as one series.
    Nothing,
}

/// Finds the groups among frames: same shape and like size, same body and focal length where known, and showing one scene with
/// little shift; time parts only what [`Pauses`] says. A frame joins by any member. Groups have two members or more and
/// come in the order of their first.
///
/// Each is compared with its neighbours in time; where dates are missing in the order given, so files of one scene must be
/// neighbours.
#[must_use]
pub fn group(frames: &[Seen], pauses: Pauses) -> Vec<Group> {
    group_knowing(frames, pauses, &())
}

/// As [`group`], with what is known from before: two frames of which it is known are not looked at.
#[must_use]
pub fn group_knowing(frames: &[Seen], pauses: Pauses, known: &dyn Known) -> Vec<Group> {
    let dates: Vec<Option<f64>> = frames.iter().map(|f| seconds(f.capture)).collect();
    let order = in_time(&dates);
    let mut leader: Vec<usize> = (0..frames.len()).collect();
    let may = |a: usize, b: usize| bar((&frames[a], dates[a]), (&frames[b], dates[b]), pauses).is_none();
    // What frames look like is held of a part of them at a time, and of those that its last are compared with.
    let mut held: Vec<Option<Option<Look>>> = Vec::new();
    for start in (0..order.len()).step_by(PART) {
        let part = &order[start..order.len().min(start + PART + NEIGHBOURS)];
        held.drain(..held.len().min(PART));
        held.resize_with(part.len(), || None);
        // Nearest neighbours first: frames that are in one group already need not be compared.
        for apart in 1..=NEIGHBOURS {
            let pairs: Vec<(usize, usize)> = (0..part.len().min(PART))
                .map(|i| (i, i + apart))
                .filter(|&(_, j)| j < part.len())
                .filter(|&(i, j)| find(&mut leader, part[i]) != find(&mut leader, part[j]) && may(part[i], part[j]))
                .collect();
            for (i, j) in one_scenes(frames, part, &mut held, pairs, known) {
                let (a, b) = (find(&mut leader, part[i]), find(&mut leader, part[j]));
                leader[a.max(b)] = a.min(b);
            }
        }
    }
    let mut groups: Vec<Vec<usize>> = vec![Vec::new(); frames.len()];
    for i in 0..frames.len() {
        groups[find(&mut leader, i)].push(i);
    }
    groups
        .into_iter()
        .filter(|g| g.len() > 1)
        .map(|members| Group { varied: varied(frames, &members), members })
        .collect()
}

fn find(leader: &mut [usize], mut i: usize) -> usize {
    while leader[i] != i {
        leader[i] = leader[leader[i]];
        i = leader[i];
    }
    i
}

/// Those of the pairs, by their places in a part of the order, that show one scene.
fn one_scenes<'a>(
    frames: &[Seen<'a>],
    part: &[usize],
    held: &mut [Option<Option<Look<'a>>>],
    pairs: Vec<(usize, usize)>,
    known: &dyn Known,
) -> Vec<(usize, usize)> {
    let told: Vec<((usize, usize), Option<bool>)> =
        pairs.into_iter().map(|(i, j)| ((i, j), known.known(part[i], part[j]))).collect();
    let mut links: Vec<(usize, usize)> = told.iter().filter(|t| t.1 == Some(true)).map(|t| t.0).collect();
    let open: Vec<(usize, usize)> = told.into_iter().filter(|t| t.1.is_none()).map(|t| t.0).collect();
    let mut wanted: Vec<usize> = open.iter().flat_map(|&(i, j)| [i, j]).filter(|&i| held[i].is_none()).collect();
    wanted.sort_unstable();
    wanted.dedup();
    let looks: Vec<Option<Look>> = wanted.par_iter().map(|&i| Look::at(&frames[part[i]])).collect();
    wanted.into_iter().zip(looks).for_each(|(i, look)| held[i] = Some(look));
    let held = &*held;
    let look = |i: usize| held[i].as_ref()?.as_ref();
    let of = |&(i, j): &(usize, usize)| Some(((i, j), one_scene(look(i)?, look(j)?)));
    for ((i, j), one) in open.par_iter().filter_map(of).collect::<Vec<_>>() {
        known.learn(part[i], part[j], one);
        if one {
            links.push((i, j));
        }
    }
    links
}

/// How many frames' looks are held at once. Chosen: some thirty megabytes.
const PART: usize = 64;

/// What a frame looks like.
pub(super) struct Look<'a> {
    pub(super) size: (u32, u32),
    small: Cow<'a, Small>,
    sketch: Sketch,
}

impl<'a> Look<'a> {
    /// Of a frame whose small picture can be had.
    pub(super) fn at(frame: &Seen<'a>) -> Option<Self> {
        let small = frame.small.get()?;
        Some(Self { size: frame.size, sketch: Sketch::new(&small), small })
    }

    pub(super) fn turned(&self, quarters: u8) -> Self {
        let small = self.small.turned(quarters);
        let size = if quarters.is_multiple_of(2) { self.size } else { (self.size.1, self.size.0) };
        Self { size, sketch: Sketch::new(&small), small: Cow::Owned(small) }
    }
}

/// Dated frames by date, the others where the order given has them: after the dated one before.
pub(super) fn in_time(dates: &[Option<f64>]) -> Vec<usize> {
    let mut last = f64::NEG_INFINITY;
    let keys: Vec<f64> = dates
        .iter()
        .map(|d| {
            last = d.unwrap_or(last);
            last
        })
        .collect();
    let mut order: Vec<usize> = (0..dates.len()).collect();
    order.sort_by(|&a, &b| keys[a].total_cmp(&keys[b]).then(a.cmp(&b)));
    order
}

/// Whether two frames show one scene with little shift: by their sketches where these are plain, else by the small pictures.
/// The larger of two sizes is looked at on the grid of the smaller.
pub(super) fn one_scene(a: &Look, b: &Look) -> bool {
    if one_size(a.size, b.size) {
        return at_one_size(a, b);
    }
    let (less, more) = if a.size.0 < b.size.0 { (a, b) } else { (b, a) };
    let small = more.small.on_grid_of(&less.small);
    at_one_size(less, &Look { size: less.size, sketch: Sketch::new(&small), small: Cow::Owned(small) })
}

fn at_one_size(a: &Look, b: &Look) -> bool {
    let Some(alike) = likeness(&a.sketch, &b.sketch) else { return registers(a, b) };
    if alike.blocks < BLOCKS {
        return registers(a, b);
    }
    match alike.share {
        share if share < OTHER => false,
        share if share >= SAME => little(alike.shift, a.size),
        _ => registers(a, b),
    }
}

fn registers(a: &Look, b: &Look) -> bool {
    lay(a, b).is_some_and(|r| little(r.map.shift, a.size))
}

fn little(shift: (f64, f64), size: (u32, u32)) -> bool {
    shift.0.hypot(shift.1) < SHIFT * f64::from(size.0.max(size.1))
}

/// Registers a frame on another by their small pictures; `None` where they don't show one scene.
pub(super) fn lay(from: &Look, to: &Look) -> Option<Registration> {
    register_small(&from.small, &to.small).filter(|r| shows(r, from))
}

/// Whether a frame lies on another as it is, to the precision of a sketch: an eighth of a tile.
pub(super) fn still(a: &Look, b: &Look) -> bool {
    likeness(&a.sketch, &b.sketch).is_some_and(|l| l.blocks >= BLOCKS && l.share >= SAME && l.shift == (0.0, 0.0))
}

/// Whether another frame shows the scene of `frame`, by its registration on it.
fn shows(found: &Registration, frame: &Look) -> bool {
    let (long, short) = (f64::from(frame.size.0.max(frame.size.1)), f64::from(frame.size.0.min(frame.size.1)));
    // Patches are laid out ten along the longer side.
    let laid = 100.0 * short / long;
    let enough = f64::from(found.compared) >= FOUND * laid && found.compared >= 6;
    enough && found.residual_px <= CLOSE * frame.small.factor as f64 && found.agreement >= AGREE
}

/// Whether two sizes are those of one picture, but for a row or column lost in developing: within a hundredth.
#[must_use]
pub fn one_size(a: (u32, u32), b: (u32, u32)) -> bool {
    let sides = |(width, height): (u32, u32)| (width as usize, height as usize);
    register::one_size(sides(a), sides(b))
}

/// Whether frames of two sizes can be compared: of one shape within a hundredth, one less than twice the other. Beyond that
/// little of what the larger shows is left at the size of the smaller, and a thumbnail among originals would decide for all.
pub(super) fn comparable(a: (u32, u32), b: (u32, u32)) -> bool {
    let by = |a: u32, b: u32| f64::from(a.max(1)) / f64::from(b.max(1));
    let (across, down) = (by(a.0, b.0), by(a.1, b.1));
    (across / down - 1.0).abs() <= 0.01 && (0.5..2.0).contains(&across) && across > 0.5
}

/// What keeps two frames from being compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Bar {
    /// Another shape or size.
    Size,
    /// Another body, or another focal length.
    Camera,
    /// A long pause between them.
    Pause,
}

/// What keeps two frames, each with its time, from being compared; `None` where nothing does.
pub(super) fn bar((a, at): (&Seen, Option<f64>), (b, bt): (&Seen, Option<f64>), pauses: Pauses) -> Option<Bar> {
    let focal = a.capture.focal_length_mm.as_ref().zip(b.capture.focal_length_mm.as_ref());
    let other_focal = focal.is_some_and(|(x, y)| !set_alike(x.value, y.value));
    let other_body = a.capture.body.as_ref().zip(b.capture.body.as_ref()).is_some_and(|(x, y)| x.value != y.value);
    let pause = at.zip(bt).map(|(x, y)| (x - y).abs()).filter(|p| *p > PAUSE_S);
    if !comparable(a.size, b.size) {
        Some(Bar::Size)
    } else if other_focal || other_body {
        Some(Bar::Camera)
    } else {
        pause.filter(|_| pauses == Pauses::Part).map(|_| Bar::Pause)
    }
}

/// Capture time in seconds, from any fixed origin.
pub(super) fn seconds(capture: &Capture) -> Option<f64> {
    let text = &capture.date.as_ref()?.value;
    let date: DateTime = text.parse().ok()?;
    let origin = DateTime::constant(1970, 1, 1, 0, 0, 0, 0);
    Some(date.duration_since(origin).as_secs_f64())
}

/// Most members among which a moved focus is looked for. Chosen: a bracket moves its focus long before.
const FOCUS_OF: usize = 24;

/// What was varied: the recorded f-numbers first, then the recorded focus distances, then where the frames are sharp.
/// Frames focused at plainly different distances are no aperture series, whatever their f-numbers.
fn varied(frames: &[Seen], members: &[usize]) -> Varied {
    let facts = |of: fn(&Capture) -> Option<f64>| members.iter().filter_map(move |&m| of(frames[m].capture));
    // Distances act by their inverse; two that differ by a tenth of the nearer one's are a different focus.
    let inverses: Vec<f64> = facts(|c| Some(1.0 / c.focus_distance_m.as_ref()?.value.middle())).collect();
    let spread = inverses.iter().fold((f64::INFINITY, 0.0f64), |m, &v| (m.0.min(v), m.1.max(v)));
    if stops::distinct(facts(|c| Some(c.f_number.as_ref()?.value))).len() > 1 {
        // A camera's record may waver by a coarse step in a series focused once.
        let refocused = inverses.len() > 1 && spread.1 > 2.0 * spread.0 && spread.1 > 0.05;
        return if refocused { Varied::Focus } else { Varied::Aperture };
    }
    if inverses.len() > 1 && spread.1 - spread.0 > 0.1 * spread.1 && spread.1 > 0.02 {
        return Varied::Focus;
    }
    // Of many members some, evenly spread: in a run of thousands each with each would take for ever.
    let some: Vec<usize> = members.iter().copied().step_by(members.len().div_ceil(FOCUS_OF)).collect();
    let maps: Vec<Cow<TileMap>> = some.into_iter().filter_map(|k| frames[k].map()).collect();
    if maps.iter().enumerate().any(|(i, a)| maps[..i].iter().any(|b| focus_differs(a, b))) {
        return Varied::Focus;
    }
    Varied::Nothing
}

/// Whether the plane of focus moved between two frames, by what each shows by itself.
fn focus_differs(a: &TileMap, b: &TileMap) -> bool {
    // Widths in pixels of two sizes can't be compared.
    if !one_size((a.width, a.height), (b.width, b.height)) {
        return false;
    }
    let both = |(a, b): (&Tile, &Tile)| {
        let (x, y) = a.by_itself().zip(b.by_itself())?;
        Some(Twice { widths: [x.value, y.value], sd: x.sd.hypot(y.sd) })
    };
    focus_moved(a.tiles.iter().zip(&b.tiles).filter_map(both))
}
