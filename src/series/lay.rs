//! How the frames of one scene lie on one of them, from their small pictures: straight, or by way of frames between.

use rayon::prelude::*;

use super::group::{Seen, shows};
use crate::measure::register::{Registration, register_small};

/// Chosen: nearer ones look most alike. Members to either side by way of which a frame may be laid.
const WAYS: usize = 3;

/// Lays every frame on the reference; `None` where there is no way. Frames focused far from it may show nothing that the
/// reference shows sharp too, while each lies well on the next.
#[must_use]
pub fn lay_all(seen: &[Seen], reference: usize) -> Vec<Option<Registration>> {
    let lay =
        |from: usize, to: usize| register_small(seen[from].small, seen[to].small).filter(|r| shows(r, &seen[from]));
    let mut laid: Vec<Option<Registration>> = (0..seen.len())
        .into_par_iter()
        .map(|k| if k == reference { Some(Registration::still()) } else { lay(reference, k) })
        .collect();
    loop {
        let missing: Vec<usize> = (0..laid.len()).filter(|&k| laid[k].is_none()).collect();
        let found: Vec<(usize, Registration)> = missing
            .into_par_iter()
            .filter_map(|k| {
                let mut ways: Vec<usize> = (0..laid.len()).filter(|&j| laid[j].is_some()).collect();
                ways.sort_by_key(|&j| j.abs_diff(k));
                ways.into_iter().take(WAYS).find_map(|j| Some((k, laid[j].as_ref()?.then(&lay(j, k)?))))
            })
            .collect();
        if found.is_empty() {
            return laid;
        }
        for (k, way) in found {
            laid[k] = Some(way);
        }
    }
}
