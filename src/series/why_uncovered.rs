//! Why places of a focus bracket are sharp in no frame.

use super::ends;
use super::widths::{Depth, Widths};
use crate::quantity::Region;

/// Why a place is sharp enough in no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Lack {
    /// It lies between what these two frames are focused on, and too far from either.
    Between(usize, usize),
    /// It lies nearer than this frame is focused, which is the nearest.
    Nearer(usize),
    /// It lies farther than this frame is focused, which is the farthest.
    Farther(usize),
    /// In focus it would still be softer: the lens, the air or what is there, which no other focus mends.
    Soft,
}

/// Why each of some tiles is shown within the permitted blur (px, pixel aperture included) by no frame; `None` where the
/// frames don't tell where it lies.
pub(super) fn lacks(of: &[usize], widths: &Widths, tiles: &[Region], permitted: f64) -> Vec<Option<Lack>> {
    let none = vec![None; of.len()];
    let Some(depth) = &widths.depth else { return none };
    let mut focus: Vec<(f64, usize)> = depth.focus.iter().enumerate().filter_map(|(k, f)| Some(((*f)?, k))).collect();
    focus.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some(near_is_high) = near_is_high(widths, depth, tiles) else { return none };
    let of_tile = |&t: &usize| {
        let (place, best) = (depth.place.get(t).copied()??, depth.in_focus.get(t).copied()??);
        if best > permitted {
            return Some(Lack::Soft);
        }
        let beyond = focus.partition_point(|f| f.0 <= place);
        match (beyond.checked_sub(1).map(|i| focus[i].1), focus.get(beyond).map(|f| f.1)) {
            (Some(a), Some(b)) => Some(Lack::Between(a, b)),
            (Some(a), None) => Some(if near_is_high { Lack::Nearer(a) } else { Lack::Farther(a) }),
            (None, Some(b)) => Some(if near_is_high { Lack::Farther(b) } else { Lack::Nearer(b) }),
            (None, None) => None,
        }
    };
    of.iter().map(of_tile).collect()
}

/// By frame, how near it is focused: the larger, the nearer; `None` where the frames don't tell.
pub(super) fn nearness(widths: &Widths, tiles: &[Region]) -> Option<Vec<Option<f64>>> {
    let depth = widths.depth.as_ref().filter(|d| d.focus.len() == widths.sigma.len())?;
    let sign = if near_is_high(widths, depth, tiles)? { 1.0 } else { -1.0 };
    Some(depth.focus.iter().map(|f| f.map(|f| sign * f)).collect())
}

/// Whether the nearer of two places has the higher number.
fn near_is_high(widths: &Widths, depth: &Depth, tiles: &[Region]) -> Option<bool> {
    let ends = ends(widths, tiles)?;
    let [near, far] = ends.map(|e| e.tiles.iter().filter_map(|&t| depth.place[t]).sum::<f64>() / e.tiles.len() as f64);
    Some(near > far)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_between_and_beyond_is_told_from_what_no_focus_mends() {
        // From the upper edge down nearer and nearer; three frames, the gap between the second and the third too wide.
        let tiles: Vec<Region> = (0..9).map(|t| Region { x: 0, y: 50 * t, width: 50, height: 50 }).collect();
        let depth = Depth {
            place: (0..9).map(|t| Some(-2.0 * f64::from(t))).collect(),
            focus: vec![Some(-14.0), Some(-4.0), Some(-2.0)],
            in_focus: (0..9).map(|t| Some(if t == 6 { 1.4 } else { 0.5 })).collect(),
        };
        let widths = Widths { sigma: vec![vec![Some(2.0); 9]; 3], low: None, depth: Some(depth), doubt: 0.0 };
        let found = lacks(&[0, 5, 6, 8], &widths, &tiles, 1.0);
        let all = [Lack::Farther(2), Lack::Between(0, 1), Lack::Soft, Lack::Nearer(0)];
        assert_eq!(found, all.map(Some));
        assert_eq!(nearness(&widths, &tiles), Some(vec![Some(14.0), Some(4.0), Some(2.0)]));
        assert_eq!(lacks(&[0], &Widths { depth: None, ..widths }, &tiles, 1.0), [None]);
    }
}
