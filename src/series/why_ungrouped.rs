//! Why a frame belongs to no group.

use std::collections::HashSet;

use rayon::prelude::*;

use super::group::{Bar, Group, Look, NEIGHBOURS, Pauses, bar, comparable, in_time, one_scene, seconds};
use super::seen::Seen;

/// Why a frame belongs to no group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lone {
    /// No other frame that it was compared with shows its scene.
    OtherScene,
    /// The frames beside it are of another shape or size: its own and theirs, px.
    OtherSize((u32, u32), (u32, u32)),
    /// A group shows its scene after this many quarter turns clockwise.
    Turned(u8),
    /// It was compared with none: those beside it are of another body or focal length.
    OtherCamera,
}

/// The frames of a series that belong to no group, and why as far as can be said.
#[must_use]
pub fn lone(frames: &[Seen], groups: &[Group]) -> Vec<(usize, Lone)> {
    let dates: Vec<Option<f64>> = frames.iter().map(|f| seconds(f.capture)).collect();
    let order = in_time(&dates);
    let mut grouped = vec![None; frames.len()];
    for (g, group) in groups.iter().enumerate() {
        group.members.iter().for_each(|&m| grouped[m] = Some(g));
    }
    (0..frames.len())
        .into_par_iter()
        .filter(|&k| grouped[k].is_none())
        .map(|k| (k, seen_beside(frames, &grouped, k).unwrap_or_else(|| uncompared(frames, (&dates, &order), k))))
        .collect()
}

/// Why a frame that no group beside it shows turned or in another size was compared with none, if so.
fn uncompared(frames: &[Seen], (dates, order): (&[Option<f64>], &[usize]), k: usize) -> Lone {
    let at = order.iter().position(|&m| m == k).unwrap_or(0);
    let near = &order[at.saturating_sub(NEIGHBOURS)..(at + NEIGHBOURS + 1).min(order.len())];
    let others: Vec<usize> = near.iter().copied().filter(|&m| m != k).collect();
    let bars: Option<Vec<Bar>> =
        others.iter().map(|&m| bar((&frames[k], dates[k]), (&frames[m], dates[m]), Pauses::Nothing)).collect();
    // Some neighbour was looked at.
    let Some(bars) = bars else { return Lone::OtherScene };
    if bars.contains(&Bar::Camera) {
        return Lone::OtherCamera;
    }
    let nearest = others.iter().copied().min_by_key(|&m| order.iter().position(|&o| o == m).unwrap_or(0).abs_diff(at));
    match nearest {
        Some(m) if others.iter().all(|&m| !comparable(sides(frames, m), sides(frames, k))) => {
            Lone::OtherSize(frames[k].size, frames[m].size)
        }
        _ => Lone::OtherScene,
    }
}

/// A frame's longer and shorter side, px.
fn sides(frames: &[Seen], m: usize) -> (u32, u32) {
    (frames[m].size.0.max(frames[m].size.1), frames[m].size.0.min(frames[m].size.1))
}

/// What the groups beside a frame say of why it is in none of them.
fn seen_beside(frames: &[Seen], grouped: &[Option<usize>], k: usize) -> Option<Lone> {
    // The groups nearest in order are the likeliest to show its scene; of each the nearest member.
    let reach = 2 * NEIGHBOURS;
    let mut near: Vec<usize> = (k.saturating_sub(reach)..(k + reach + 1).min(frames.len())).collect();
    near.retain(|&m| grouped[m].is_some());
    near.sort_by_key(|&m| m.abs_diff(k));
    let mut groups = HashSet::new();
    near.retain(|&m| groups.insert(grouped[m]));
    let turned: Vec<(u8, Look)> =
        Look::at(&frames[k]).map_or_else(Vec::new, |own| [1, 2, 3].map(|q| (q, own.turned(q))).into());
    for &m in near.iter().take(3) {
        let Some(other) = Look::at(&frames[m]) else { continue };
        for (quarters, upright) in &turned {
            if comparable(upright.size, other.size) && one_scene(&other, upright) {
                return Some(Lone::Turned(*quarters));
            }
        }
    }
    // Where frames of about its own size, upright or not, are grouped beside it, size is not what keeps it out.
    let &m = near.first()?;
    near.iter()
        .all(|&m| !comparable(sides(frames, m), sides(frames, k)))
        .then_some(Lone::OtherSize(frames[k].size, frames[m].size))
}
