//! How the frames of one scene lie on one of them, from their small pictures: straight, or by way of frames between.

use std::collections::BTreeSet;

use rayon::prelude::*;

use super::group::{Look, lay, still};
use super::seen::Seen;
use crate::measure::register::Registration;

/// Most members, of both sides together, by way of which a frame may be laid. Chosen: nearer ones look most alike.
const WAYS: usize = 3;
/// How far off in the group's order these members are looked for. Chosen: farther off hardly anything is shared, and a
/// search stays in proportion.
const REACH: usize = 32;

/// Lays every frame on the reference; `None` where there is no way. Frames focused far from it may show nothing that the
/// reference shows sharp too, while each lies well on the next.
///
/// `coarse`: whether it is enough to know to an eighth of a tile how a frame lies that hardly moved.
pub(super) fn lay_all(seen: &[Seen], reference: usize, coarse: bool) -> Vec<Option<Registration>> {
    let Some(ground) = Look::at(&seen[reference]) else { return vec![None; seen.len()] };
    let on_ground = |k: usize| {
        let own = Look::at(&seen[k])?;
        if coarse && still(&ground, &own) { Some(Registration::still()) } else { lay(&ground, &own) }
    };
    let mut laid: Vec<Option<Registration>> = (0..seen.len())
        .into_par_iter()
        .map(|k| if k == reference { Some(Registration::still()) } else { on_ground(k) })
        .collect();
    let mut tried: Vec<Vec<usize>> = vec![vec![reference]; seen.len()];
    // A way opens only where a frame near by was laid since.
    let mut fresh: Vec<usize> = (0..seen.len()).filter(|&k| laid[k].is_some()).collect();
    while !fresh.is_empty() {
        let about = |&j: &usize| j.saturating_sub(REACH)..(j + REACH + 1).min(seen.len());
        let missing: BTreeSet<usize> = fresh.iter().flat_map(about).filter(|&k| laid[k].is_none()).collect();
        let mut ways: Vec<(usize, Vec<usize>)> = missing.into_iter().map(|k| (k, nearest(&laid, k))).collect();
        // What was in vain once is so again.
        ways.iter_mut().for_each(|(k, ways)| ways.retain(|j| !tried[*k].contains(j)));
        let found: Vec<(usize, Registration)> = ways
            .par_iter()
            .filter(|w| !w.1.is_empty())
            .filter_map(|(k, ways)| {
                let own = Look::at(&seen[*k])?;
                let by_way = |j: &usize| Some(laid[*j].as_ref()?.then(&lay(&Look::at(&seen[*j])?, &own)?));
                ways.iter().find_map(by_way).map(|way| (*k, way))
            })
            .collect();
        ways.into_iter().for_each(|(k, ways)| tried[k].extend(ways));
        fresh = found.iter().map(|f| f.0).collect();
        found.into_iter().for_each(|(k, way)| laid[k] = Some(way));
    }
    laid
}

/// The laid frames nearest to one in order, the earlier of equals first.
fn nearest(laid: &[Option<Registration>], k: usize) -> Vec<usize> {
    let there = |j: &usize| laid[*j].is_some();
    let before = (k.saturating_sub(REACH)..k).rev().filter(there).take(WAYS);
    let after = (k + 1..laid.len().min(k + REACH + 1)).filter(there).take(WAYS);
    let mut ways: Vec<usize> = before.chain(after).collect();
    ways.sort_by_key(|&j| (j.abs_diff(k), j));
    ways.truncate(WAYS);
    ways
}
