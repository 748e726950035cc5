//! Zones of an aperture series whose tiles lie at several depths: told apart by how their blur falls on stopping down.

use std::collections::BTreeMap;

use super::{Blurs, Zone};
use crate::quantity::{DISC_SIGMA, Region, ZoneName};
use crate::stats;

/// Ratio of f-numbers from which two stops tell a disc of defocus from what no stop changes. Derived: somewhat less
/// than two stops, over which a disc halves.
const STOPPED_DOWN: f64 = 1.8;
/// Disc, px, below which a place is in focus. Derived: what inspection at 1:1 asks.
const IN_FOCUS_PX: f64 = 2.0;
/// Scatter of the logarithm of the disc within one depth. Chosen: discs of tiles of one plane differ by about a
/// quarter, and by all of their size where the plane is seen from along it.
const ONE_DEPTH: f64 = 0.35;
/// Scatter of the same within rows below which depth goes with the height alone. Chosen: the quarter above; a row of
/// such ground is one depth, and no row of it is seen from along it. (Rendered landscapes have 0.05 to 0.20, close
/// subjects 0.38 to 0.53.)
const ALONG_ROWS: f64 = 0.25;
/// Most depths told apart. Chosen: what is in focus, what is beside it, and the rest.
const DEPTHS: usize = 3;
/// Share of a zone's tiles that must lie at other depths than most of it for it to mix them, and the least ratio of the
/// discs of two depths. Chosen: a quarter of a zone is no stray, a disc twice as large no scatter.
const MIXED: f64 = 0.25;
const APART: f64 = 2.0;
/// Fewest tiles that make a depth, or a zone that is looked at. Chosen: fewer follow what they happen to show.
const TILES: usize = 4;
/// Multiple of the usual width of the sharpest frames from which a tile is soft, and the change over the stops that
/// what is out of focus could not stay below. Chosen: beyond most lenses' corners; a stop changes a disc by 1.4.
const SOFT: f64 = 2.5;
const STILL: f64 = 1.15;
/// Reach of a mark, in tiles. Chosen: the tile of the mark and those that touch it.
const MARK_REACH: f64 = 1.3;

/// What was found of a tile.
#[derive(Clone, Copy, PartialEq)]
enum Kind {
    /// Logarithm of the disc, px, that defocus leaves at the widest stop.
    Depth(f64),
    /// Soft, and changed by no stop.
    Still,
}

/// The zones by depth: the subject, what lies beside it and farthest from it, what no stop changes, and of each corner
/// the tiles at the depth of most of it. `None` where the zones given hold one depth each, where depth goes with the
/// height in the picture alone, so that near and far are zones by place, or where too little is known.
///
/// What is out of focus is blurred by a disc that closes as the f-number rises, so squared widths at two stops tell its size;
/// of its sign they say nothing, so before and behind the subject are one. The logarithms of the discs fall into at most three
/// depths where the sum of squares about their means is least (Fisher, J. Am. Stat. Assoc. 53, 789, 1958). `subject` is
/// where the subject lies, px; without it the sharpest depth is the subject.
#[must_use]
pub fn by_depth(
    zones: &[Zone],
    blurs: &Blurs,
    tiles: &[Region],
    f_numbers: &[Option<f64>],
    subject: Option<(f64, f64)>,
) -> Option<Vec<Zone>> {
    let kinds = kinds(blurs, f_numbers);
    let depth = |t: usize| match kinds.get(t).copied().flatten() {
        Some(Kind::Depth(u)) => Some(u),
        _ => None,
    };
    let known: Vec<(usize, f64)> = (0..kinds.len()).filter_map(|t| Some((t, depth(t)?))).collect();
    if by_height(&known, tiles) {
        return None;
    }
    let bounds = breaks(&known.iter().map(|k| k.1).collect::<Vec<f64>>())?;
    let class = |t: usize| depth(t).map(|u| bounds.iter().filter(|b| u >= **b).count());
    let members = |c: usize| (0..kinds.len()).filter(move |&t| class(t) == Some(c)).collect::<Vec<usize>>();
    let classes: Vec<Vec<usize>> = (0..=bounds.len()).map(members).collect();
    let middle = |c: usize| stats::median(&classes[c].iter().filter_map(|&t| depth(t)).collect::<Vec<f64>>());
    let middles: Vec<f64> = (0..classes.len()).map(middle).collect::<Option<_>>()?;
    let main = |of: &[usize]| {
        let count = |c: usize| of.iter().filter(|&&t| class(t) == Some(c)).count();
        (0..classes.len()).max_by_key(|&c| count(c)).map(|c| (c, count(c)))
    };
    let mixes = |z: &Zone| {
        let known: Vec<usize> = z.tiles.iter().copied().filter(|&t| class(t).is_some()).collect();
        let Some((most, _)) = main(&known) else { return false };
        let other = |t: &&usize| class(**t).is_some_and(|c| (middles[c] - middles[most]).abs() > APART.ln());
        let others = known.iter().filter(other).count();
        known.len() >= TILES && others as f64 >= MIXED * known.len() as f64
    };
    let by_place = |z: &&Zone| matches!(z.name, ZoneName::Near | ZoneName::Far | ZoneName::Centre);
    if !zones.iter().filter(by_place).any(mixes) {
        return None;
    }
    let own = subject.and_then(|at| marked(tiles, at, &depth)).map_or(0, |u| nearest(&middles, u));
    // The others from the subject on.
    let mut order: Vec<usize> = (0..classes.len()).filter(|&c| c != own).collect();
    order.sort_by(|&a, &b| (middles[a] - middles[own]).abs().total_cmp(&(middles[b] - middles[own]).abs()));
    let mut found = vec![Zone { name: ZoneName::Subject, tiles: classes[own].clone() }];
    let (beyond, beside) = order.split_last()?;
    found.extend(beside.iter().map(|&c| Zone { name: ZoneName::Beside, tiles: classes[c].clone() }));
    found.push(Zone { name: ZoneName::Beyond, tiles: classes[*beyond].clone() });
    let still: Vec<usize> = (0..kinds.len()).filter(|&t| kinds[t] == Some(Kind::Still)).collect();
    if still.len() >= TILES {
        found.push(Zone { name: ZoneName::Still, tiles: still });
    }
    for corner in zones.iter().filter(|z| z.name.is_corner()) {
        let most = main(&corner.tiles).filter(|m| m.1 > 0).map(|m| m.0);
        let alike = |t: &usize| most.is_some_and(|m| class(*t) == Some(m));
        found.push(Zone { name: corner.name, tiles: corner.tiles.iter().copied().filter(alike).collect() });
    }
    found.retain(|z| !z.tiles.is_empty());
    Some(found)
}

/// What each tile is; `None` where it is not known at two stops far enough apart.
fn kinds(blurs: &Blurs, f_numbers: &[Option<f64>]) -> Vec<Option<Kind>> {
    let mut stops: Vec<(usize, f64)> = f_numbers.iter().enumerate().filter_map(|(k, n)| Some((k, (*n)?))).collect();
    stops.sort_by(|a, b| a.1.total_cmp(&b.1));
    let Some(&(_, widest)) = stops.first() else { return Vec::new() };
    let least: Vec<f64> = (0..blurs.anchor_sd.len()).map(|t| blurs.least(t)).filter(|w| *w > 0.0).collect();
    let usual = stats::quantile(&least, 0.25).unwrap_or(1.0);
    let of_tile = |t: usize| {
        let mut points = stops.iter().filter_map(|&(k, n)| Some((n, blurs.sigma[k][t]?.value)));
        let (n, wide) = points.next()?;
        let (stopped, least) = points.filter(|p| p.0 >= STOPPED_DOWN * n).min_by(|a, b| a.1.total_cmp(&b.1))?;
        if least > SOFT * usual && wide < STILL * least {
            return Some(Kind::Still);
        }
        // Diffraction adds to the stopped-down width, so this errs to the small side where it rules.
        let falls = (wide * wide - least * least).max(0.0) / (n.powi(-2) - stopped.powi(-2));
        let disc = falls.sqrt() / DISC_SIGMA / widest;
        Some(Kind::Depth(disc.hypot(IN_FOCUS_PX).ln()))
    };
    (0..blurs.anchor_sd.len()).map(of_tile).collect()
}

/// Whether depth goes with the height in the picture alone, as on ground that recedes from a level camera: about
/// the rows' means no more scatter is left than tiles at one depth have.
fn by_height(known: &[(usize, f64)], tiles: &[Region]) -> bool {
    let mut rows: BTreeMap<u32, Vec<f64>> = BTreeMap::new();
    known.iter().for_each(|&(t, u)| rows.entry(tiles[t].y).or_default().push(u));
    let about_mean = |row: &Vec<f64>| {
        let mean = row.iter().sum::<f64>() / row.len() as f64;
        row.iter().map(|u| (u - mean).powi(2)).sum::<f64>()
    };
    (rows.values().map(about_mean).sum::<f64>() / known.len().max(1) as f64).sqrt() < ALONG_ROWS
}

/// The depth about a mark.
fn marked(tiles: &[Region], (x, y): (f64, f64), depth: &dyn Fn(usize) -> Option<f64>) -> Option<f64> {
    let near = |r: &Region| {
        let (mx, my) = r.middle();
        (mx - x).abs() < MARK_REACH * f64::from(r.width) && (my - y).abs() < MARK_REACH * f64::from(r.height)
    };
    let about: Vec<f64> = (0..tiles.len()).filter(|&t| near(&tiles[t])).filter_map(depth).collect();
    stats::median(&about)
}

fn nearest(middles: &[f64], value: f64) -> usize {
    let away = |c: &usize| (middles[*c] - value).abs();
    (0..middles.len()).min_by(|a, b| away(a).total_cmp(&away(b))).unwrap_or(0)
}

/// Bounds between the depths of values: as few as leave each no wider than one depth, two at most; `None` where all lie at
/// one.
fn breaks(values: &[f64]) -> Option<Vec<f64>> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    if n < DEPTHS * TILES {
        return None;
    }
    let mut sums = vec![(0.0, 0.0)];
    sums.extend(sorted.iter().scan((0.0, 0.0), |s, v| {
        *s = (s.0 + v, s.1 + v * v);
        Some(*s)
    }));
    // Sum of squares about the mean of the values from one place to another.
    let about = |from: usize, to: usize| {
        let (sum, squares) = (sums[to].0 - sums[from].0, sums[to].1 - sums[from].1);
        (squares - sum * sum / (to - from).max(1) as f64).max(0.0)
    };
    let one = |inner: f64| (inner / n as f64).sqrt() < ONE_DEPTH;
    if one(about(0, n)) {
        return None;
    }
    let two =
        (TILES..=n - TILES).min_by(|&a, &b| (about(0, a) + about(a, n)).total_cmp(&(about(0, b) + about(b, n))))?;
    if one(about(0, two) + about(two, n)) {
        return Some(vec![sorted[two]]);
    }
    let inner = |(a, b): (usize, usize)| about(0, a) + about(a, b) + about(b, n);
    let pairs = (TILES..=n - 2 * TILES).flat_map(|a| (a + TILES..=n - TILES).map(move |b| (a, b)));
    let (a, b) = pairs.min_by(|&x, &y| inner(x).total_cmp(&inner(y)))?;
    Some(vec![sorted[a], sorted[b]])
}
