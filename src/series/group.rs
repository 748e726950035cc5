//! Which frames show one scene, what was varied between them, and which of near-duplicates is the sharpest.

use jiff::civil::DateTime;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::measure::TileMap;
use crate::measure::register::{Registration, Small, register_small};
use crate::shot::Capture;

/// A frame as grouping sees it.
#[derive(Clone, Copy, Debug)]
pub struct Member<'a> {
    /// The file as named.
    pub file: &'a str,
    /// Size of the upright picture, px.
    pub size: (u32, u32),
    /// Capture facts.
    pub capture: &'a Capture,
    /// Small picture.
    pub small: &'a Small,
    /// What was measured, where it was.
    pub map: Option<&'a TileMap>,
}

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

/// Longest pause between neighbouring frames of one series, s.
const PAUSE_S: f64 = 180.0;
/// Largest shift between frames of one scene, as a share of the longer side: beyond, it is a pan.
const SHIFT: f64 = 0.15;
/// Frames each frame is compared with: its neighbours in time and order.
const NEIGHBOURS: usize = 4;
/// Share of patches that must be found, and of those found that must agree.
const FOUND: f64 = 0.3;
const AGREE: f64 = 0.6;
/// Largest typical distance of the agreeing patches from the map, as a share of the distance within which they count
/// as agreeing. Patches that agree by chance lie evenly within that distance, half of them beyond 0.7 of it.
const CLOSE: f64 = 0.4;

/// Finds the groups among frames: same size, same body and focal length where known, taken within three minutes of
/// each other where dates are known, and registering on each other with little shift. Groups have two members or
/// more and come in the order of their first.
///
/// Where dates are missing frames are compared in the order given, so files of one scene must be neighbours.
#[must_use]
pub fn group(frames: &[Member]) -> Vec<Group> {
    group_by(frames, &|a, b| register_small(frames[a].small, frames[b].small))
}

/// As [`group`], with a registration of its own: told the indices of two frames, it must answer as
/// [`register_small`] does for their small pictures (from memory, say); only the common map and the counts matter.
#[must_use]
pub fn group_by(
    frames: &[Member],
    register: &(impl Fn(usize, usize) -> Option<Registration> + Sync + ?Sized),
) -> Vec<Group> {
    let dates: Vec<Option<f64>> = frames.iter().map(|f| seconds(f.capture)).collect();
    let mut order: Vec<usize> = (0..frames.len()).collect();
    // Dated frames by date, the others where the order given has them: after the dated one before.
    let mut last = f64::NEG_INFINITY;
    let keys: Vec<f64> = dates
        .iter()
        .map(|d| {
            last = d.unwrap_or(last);
            last
        })
        .collect();
    order.sort_by(|&a, &b| keys[a].total_cmp(&keys[b]).then(a.cmp(&b)));
    let mut leader: Vec<usize> = (0..frames.len()).collect();
    fn find(leader: &mut [usize], mut i: usize) -> usize {
        while leader[i] != i {
            leader[i] = leader[leader[i]];
            i = leader[i];
        }
        i
    }
    // Nearest neighbours first: frames that are in one group already need not be compared.
    for apart in 1..=NEIGHBOURS {
        let pairs: Vec<(usize, usize)> = order
            .iter()
            .zip(order.iter().skip(apart))
            .map(|(&a, &b)| (a, b))
            .filter(|&(a, b)| find(&mut leader, a) != find(&mut leader, b))
            .filter(|&(a, b)| compatible(&frames[a], &frames[b], dates[a], dates[b]))
            .collect();
        let links: Vec<(usize, usize)> =
            pairs.into_par_iter().filter(|&(a, b)| one_scene(register(a, b), &frames[a])).collect();
        for (a, b) in links {
            let (a, b) = (find(&mut leader, a), find(&mut leader, b));
            leader[a.max(b)] = a.min(b);
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

/// Whether another frame shows the scene of `frame`, by its registration on it.
fn one_scene(found: Option<Registration>, frame: &Member) -> bool {
    let Some(found) = found else { return false };
    let size = frame.size;
    let long = f64::from(size.0.max(size.1));
    let small = found.map.shift.0.hypot(found.map.shift.1) < SHIFT * long;
    // Patches are laid out ten along the longer side.
    let laid = 100.0 * f64::from(size.0.min(size.1)) / long;
    let enough = f64::from(found.compared) >= FOUND * laid && found.compared >= 6;
    let close = found.residual_px <= CLOSE * frame.small.agree_px();
    small && enough && close && found.agreement >= AGREE
}

fn compatible(a: &Member, b: &Member, at: Option<f64>, bt: Option<f64>) -> bool {
    let differ = |x: &Option<crate::shot::Fact<f64>>, y: &Option<crate::shot::Fact<f64>>, by: f64| {
        x.as_ref().zip(y.as_ref()).is_some_and(|(x, y)| (x.value / y.value).ln().abs() > by)
    };
    let other_body = a.capture.body.as_ref().zip(b.capture.body.as_ref()).is_some_and(|(x, y)| x.value != y.value);
    let apart = at.zip(bt).is_some_and(|(x, y)| (x - y).abs() > PAUSE_S);
    a.size == b.size && !other_body && !apart && !differ(&a.capture.focal_length_mm, &b.capture.focal_length_mm, 0.03)
}

/// Capture time in seconds, from any fixed origin.
fn seconds(capture: &Capture) -> Option<f64> {
    let text = &capture.date.as_ref()?.value;
    let date: DateTime = text.parse().ok()?;
    let origin = DateTime::constant(1970, 1, 1, 0, 0, 0, 0);
    Some(date.duration_since(origin).as_secs_f64())
}

/// What was varied: the recorded f-numbers first, then the recorded focus distances, then where the frames are sharp.
/// Frames focused at plainly different distances are no aperture series, whatever their f-numbers.
fn varied(frames: &[Member], members: &[usize]) -> Varied {
    let differ = |values: Vec<f64>, by: f64| {
        let (low, high) = values.iter().fold((f64::INFINITY, 0.0f64), |m, &v| (m.0.min(v), m.1.max(v)));
        values.len() > 1 && high > by * low
    };
    let facts = |of: &dyn Fn(&Capture) -> Option<f64>| members.iter().filter_map(|&m| of(frames[m].capture)).collect();
    // Distances act by their inverse; two that differ by a tenth of the nearer one's are a different focus.
    let inverse = |c: &Capture| Some(1.0 / c.focus_distance_m.as_ref()?.value.middle());
    let inverses: Vec<f64> = facts(&inverse);
    let spread = inverses.iter().fold((f64::INFINITY, 0.0f64), |m, &v| (m.0.min(v), m.1.max(v)));
    if differ(facts(&|c| Some(c.f_number.as_ref()?.value)), 1.1) {
        // A camera's record may waver by a coarse step in a series focused once.
        let refocused = inverses.len() > 1 && spread.1 > 2.0 * spread.0 && spread.1 > 0.05;
        return if refocused { Varied::Focus } else { Varied::Aperture };
    }
    if inverses.len() > 1 && spread.1 - spread.0 > 0.1 * spread.1 && spread.1 > 0.02 {
        return Varied::Focus;
    }
    if members.iter().enumerate().any(|(i, &a)| members[..i].iter().any(|&b| focus_differs(&frames[a], &frames[b]))) {
        return Varied::Focus;
    }
    Varied::Nothing
}

/// Whether some tiles are clearly sharper in one frame and others clearly sharper in the other.
fn focus_differs(a: &Member, b: &Member) -> bool {
    let (Some(ma), Some(mb)) = (a.map, b.map) else { return false };
    let (mut first, mut second, mut compared) = (0, 0, 0);
    for (ta, tb) in ma.tiles.iter().zip(&mb.tiles) {
        if let Some((x, y)) = ta.blur.zip(tb.blur) {
            compared += 1;
            let clear = (x.value / y.value).ln().abs() > 0.25 && (x.value - y.value).abs() > 3.0 * x.sd.hypot(y.sd);
            first += u32::from(clear && x.value < y.value);
            second += u32::from(clear && x.value > y.value);
        }
    }
    let enough = (compared / 20).max(3);
    first >= enough && second >= enough
}

/// Why a frame belongs to no group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lone {
    /// No other frame of its size shows its scene.
    OtherScene,
    /// The groups beside it are of frames of another size: its own and theirs, px.
    OtherSize((u32, u32), (u32, u32)),
    /// A group shows its scene after this many quarter turns clockwise.
    Turned(u8),
}

/// The frames that belong to no group, and why as far as can be said.
#[must_use]
pub fn lone(frames: &[Member], groups: &[Group]) -> Vec<(usize, Lone)> {
    let grouped = |k: usize| groups.iter().any(|g| g.members.contains(&k));
    (0..frames.len()).filter(|&k| !grouped(k)).map(|k| (k, why_lone(frames, groups, k))).collect()
}

fn why_lone(frames: &[Member], groups: &[Group], k: usize) -> Lone {
    // The groups nearest in order are the likeliest to be its own.
    let mut near: Vec<usize> =
        groups.iter().filter_map(|g| g.members.iter().copied().min_by_key(|&m| m.abs_diff(k))).collect();
    near.sort_by_key(|&m| m.abs_diff(k));
    near.truncate(3);
    for &m in &near {
        for quarters in [1, 2, 3] {
            let turned = frames[k].small.turned(quarters);
            let size = if quarters == 2 { frames[k].size } else { (frames[k].size.1, frames[k].size.0) };
            let upright = Member { small: &turned, size, ..frames[k] };
            if size == frames[m].size && one_scene(register_small(frames[m].small, upright.small), &frames[m]) {
                return Lone::Turned(quarters);
            }
        }
    }
    // Where frames of its own size, upright or not, are grouped beside it, size is not what keeps it out.
    let sides = |m: usize| (frames[m].size.0.max(frames[m].size.1), frames[m].size.0.min(frames[m].size.1));
    near.retain(|m| m.abs_diff(k) <= 2 * NEIGHBOURS);
    match near.first() {
        Some(&m) if near.iter().all(|&m| sides(m) != sides(k)) => Lone::OtherSize(frames[k].size, frames[m].size),
        _ => Lone::OtherScene,
    }
}
