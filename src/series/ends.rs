//! The two ends of a bracket's depth: the tiles nearest and farthest by their fitted places.

use super::widths::Widths;
use super::{Point, Zone, ZoneBlur, ZoneName, middle_mean};
use crate::quantity::{Estimate, Region};

/// Share of the tiles at either end of the scene's depth that stand for near and far. Chosen: an eighth, as the judge
/// of brackets has it.
const END: f64 = 0.125;

/// One end of the depth.
#[derive(Clone, Debug, PartialEq)]
pub struct End {
    /// Near or far: what lies lower in the picture is taken for the nearer.
    pub name: ZoneName,
    /// Its tiles.
    pub tiles: Vec<usize>,
    /// By frame, mean width of the middle half of them, px.
    pub widths: Vec<Option<f64>>,
}

/// Both ends, near first; `None` where the tiles' places are not known.
#[must_use]
pub fn ends(widths: &Widths, tiles: &[Region]) -> Option<[End; 2]> {
    let mut order: Vec<(usize, f64)> =
        widths.depth.as_ref()?.place.iter().enumerate().filter_map(|(t, p)| Some((t, (*p)?))).collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let many = (END * order.len() as f64).ceil() as usize;
    let end = |of: &[(usize, f64)]| {
        let tiles: Vec<usize> = of.iter().map(|o| o.0).collect();
        let of_frame = |frame: &Vec<Option<f64>>| {
            let known: Vec<f64> = tiles.iter().filter_map(|&t| frame[t]).collect();
            (!known.is_empty()).then(|| middle_mean(known))
        };
        End { name: ZoneName::Near, widths: widths.sigma.iter().map(of_frame).collect(), tiles }
    };
    let height = |e: &End| {
        let rows: f64 = e.tiles.iter().filter_map(|&t| tiles.get(t)).map(|r| f64::from(r.y)).sum();
        rows / e.tiles.len().max(1) as f64
    };
    let (first, last) = (end(&order[..many]), end(&order[order.len() - many..]));
    let (near, far) = if height(&first) >= height(&last) { (first, last) } else { (last, first) };
    Some([near, End { name: ZoneName::Far, ..far }])
}

/// Zones with these ends in place of those that rows alone made near and far.
#[must_use]
pub fn with_ends(zones: &[Zone], ends: &[End; 2]) -> Vec<Zone> {
    let own = ends.iter().map(|e| Zone { name: e.name, tiles: e.tiles.clone() });
    let others = zones.iter().filter(|z| ends.iter().all(|e| e.name != z.name)).cloned();
    let mut all: Vec<Zone> = own.chain(others).collect();
    all.sort_by_key(|z| z.name);
    all
}

/// Share of a width of the fitted model that two frames may stand apart wrongly by, and that all may be off by
/// together. Set on rendered series (docs/accuracy.md, aperture series): zones' ratios err by 1.6 % in the median,
/// single frames' widths by 4 %.
const APART: f64 = 0.02;
const SHARED: f64 = 0.04;

/// Blur of zones with that of the ends as the answer rests on it; frames that have no part in that keep what was read.
#[must_use]
pub fn settled(read: Vec<ZoneBlur>, ends: &[End; 2]) -> Vec<ZoneBlur> {
    let of_end = |e: &End| {
        let n = e.tiles.len() as u32;
        let apart = read.iter().filter(|z| z.name == e.name).flat_map(|z| z.points.iter().copied());
        let apart = apart.filter(|p| e.widths.get(p.frame).is_some_and(Option::is_none));
        let point = |(frame, w): (usize, &Option<f64>)| {
            let w = (*w)?;
            let blur = Estimate::new(w, w * APART.hypot(SHARED), n);
            Some(Point { frame, blur, apart_sd: APART * w })
        };
        let mut points: Vec<Point> = e.widths.iter().enumerate().filter_map(point).chain(apart).collect();
        points.sort_by_key(|p| p.frame);
        ZoneBlur { name: e.name, points, tiles: n, of: n }
    };
    let of_ends: Vec<ZoneBlur> = ends.iter().map(of_end).filter(|z| z.points.len() > 1).collect();
    let others = read.iter().filter(|z| ends.iter().all(|e| e.name != z.name)).cloned();
    let mut all: Vec<ZoneBlur> = of_ends.into_iter().chain(others).collect();
    all.sort_by_key(|z| z.name);
    all
}
