//! Zones: which tiles are near, far, centre and corners, and how blurred each is by its sharpest credible tiles.

use super::evidence::{APART, Evidence, Sample};
use super::fit::{Mix, cost, costs_moved};
use super::model::Ready;
use super::parameters::Parameter::Horizon;
use super::parameters::Theta;
use super::surface::Surface;
use crate::measure::TileMap;
use crate::quantity::{CORNER_SHARE, Point, ZoneName};
use crate::stats::upper_median;

/// Height of the near band as a share of the picture's height. Chosen: an eighth, two of sixteen rows.
pub(super) const NEAR_BAND: f64 = 0.13;
/// v of the nearest ground, as a share of that of the lower edge. Derived: the middle of the lowest eighth.
pub(super) const NEAREST: f64 = 0.875;
/// How far up from the bottom, as a share of the ground's height, the near band may look for something to
/// judge. Derived: ground there lies half as far again as the nearest.
const NEAR_REACH: f64 = 0.34;
/// Reach of a mark, in tiles. Chosen: the tile of the mark and those that touch it.
const MARK_REACH: f64 = 1.3;
/// How far a zone usually departs from the frame's model (ln of the width). Chosen: ground is uneven and texture
/// misread by a few per cent; another thing is off by far more.
const NORMAL_DEPARTURE: f64 = 0.06;
/// The same of the far scene: whatever stands there is as good as infinitely far, as the model has it, but mostly of
/// one kind, which reads wide or narrow as a whole. Set on the rendered scenes used for building (docs/trials.md, how
/// closely the far zone is held to the model), where half of the far zones read within 0.05 of the truth.
const FAR_DEPARTURE: f64 = 0.08;
/// Departure (ln of the width) from which a zone is taken to hold something at another distance than the model has
/// there. Derived: two and a half standard deviations of the usual departure.
pub(super) const OFF_MODEL: f64 = 2.5 * NORMAL_DEPARTURE;
/// Relative error that the tiles of a zone share, since they mostly show one texture. Set on the rendered scenes used
/// for building.
const SHARED: f64 = 0.07;
/// Relative error of a zone that all widths like its own have, so that neither its many tiles nor a factor common to
/// the frame take it away. Set on the 14,253 measured tiles of 60 rendered scenes: by true width, from below 0.5 to
/// beyond 3 px, they err by +12, +6, +2, -5 and -4 % in the median, and that is 0.04 about its mean.
const BY_WIDTH: f64 = 0.04;
/// Step of the departures that are tried (ln of the width). Chosen: half of the narrowest peak.
const GRID: f64 = 0.03;
/// Numbers of steps below and above the model, and the most above it. Chosen: from 0.6 to 3.3 times the model's width
/// always, to twenty times where the tiles are so soft: a corner may hold something near that is out of focus.
const STEPS: (i32, i32, i32) = (18, 40, 100);
/// How far a zone that holds another thing may depart from the model (ln of the width). Chosen: up to double or half.
const OBJECT_DEPARTURE: f64 = 0.6;
/// Share of zones that hold an object off the model. Chosen: one zone in ten.
const OBJECT_SHARE: f64 = 0.1;

/// Probability of every tile being honest: neither soft content nor misread. Stricter on scatter than the fit,
/// since water's spread must not vouch for itself; `None` where there is no number, or sky.
pub(super) fn credible(tiles: usize, e: &Evidence, theta: &Theta, surface: &Surface, mix: &Mix) -> Vec<Option<f64>> {
    let strict = strict(mix);
    let ready = Ready::new(theta);
    let mut all = vec![None; tiles];
    for s in &e.samples {
        all[s.index] = Some(cost(s.y - ready.at(s, surface).y, s.sd, &strict, CONTENT).2);
    }
    all
}

/// Share of soft content reckoned with where tiles are asked whether they are credible, also the most for the
/// width of a zone, and the least for that: a larger share than there is draws the width down to the lowest of the
/// tiles. Chosen: strict where tiles are asked, as much as a frame may have; hardly any where a zone is clean.
const CONTENT: f64 = 0.3;
const LEAST_CONTENT: f64 = 0.06;

fn strict(mix: &Mix) -> Mix {
    Mix { inflate: mix.inflate.min(1.25), ..*mix }
}

/// Share of a band's measured tiles that must agree with the model for the band to be taken. Chosen: most of them.
const AGREEING: f64 = 0.5;
/// Share of the tiles of water that agree by chance, and ln of the odds against water that the foreground's best part
/// must have. Chosen: a little more than half of the tiles; the best of four parts is asked, so ln 4 of odds.
const WATER_AGREEING: f64 = 0.55;
const PARTS_ODDS: f64 = 1.4;
/// Share of the tiles of honest ground that agree. Chosen: what a fit calls soft or misread on plain ground is a tile in fourteen.
const USUAL_AGREEING: f64 = 0.93;

/// Sum of the credible, and number of the measured tiles.
fn agreeing(tiles: &[u32], credible: &[Option<f64>]) -> (f64, f64) {
    tiles.iter().filter_map(|&i| credible[i as usize]).fold((0.0, 0.0), |(sum, count), c| (sum + c, count + 1.0))
}

/// Whether the lowest third of the ground scatters as water does. Looked at in three parts from left to right, and along the
/// lower edge: where rock or grass fills one of them its tiles agree with each other, however much water lies beside or
/// behind. A width that is only bounded can't scatter, nor vouch for the others.
pub(super) fn foreground_scatters(map: &TileMap, e: &Evidence, credible: &[Option<f64>], horizon: f64) -> bool {
    let (w, h) = (f64::from(map.width), f64::from(map.height));
    let credible: Vec<Option<f64>> =
        credible.iter().zip(&map.tiles).map(|(c, t)| c.filter(|_| t.by_itself().is_some())).collect();
    let foot = (horizon.clamp(-e.bottom, e.bottom) * e.half_diagonal + h / 2.0).min(h);
    let edge = agreeing(&select(map, |_, y| y > h - NEAR_BAND * h), &credible);
    let part = |from: f64, to: f64| {
        let tiles = select(map, |x, y| y > h - NEAR_REACH * (h - foot) && x >= from * w && x < to * w);
        agreeing(&tiles, &credible)
    };
    let parts = [edge, part(0.0, 1.0 / 3.0), part(1.0 / 3.0, 2.0 / 3.0), part(2.0 / 3.0, 1.0)];
    let odds = |&(agree, measured): &(f64, f64)| {
        agree * (USUAL_AGREEING / WATER_AGREEING).ln()
            + (measured - agree) * ((1.0 - USUAL_AGREEING) / (1.0 - WATER_AGREEING)).ln()
    };
    let best = parts.iter().filter(|p| p.1 >= 5.0).map(odds).reduce(f64::max);
    best.is_some_and(|odds| odds < PARTS_ODDS)
}

/// Rise of the blur from one row to the next, or over the one between, by which what lies below may be another thing
/// than the ground above: least ratio of the rows' medians, and least difference in px. Chosen: a disc over ground
/// grows from row to row by far less once it can be seen.
const JUMP: (f64, f64) = (2.5, 1.0);
/// Rows below a jump that must show how the blur goes on; share of the growth that ground would have there, below which
/// it is no ground; share of a row's columns that must be measured. Chosen: fewer rows don't tell a slope; a quarter of
/// the growth is far from all of it.
const BELOW: usize = 3;
const GROWING: f64 = 0.25;
const FILLED: f64 = 0.4;

/// Whether the blur jumps at some height and hardly grows below: smooth water before sharp ground, or a thing that
/// stands near. Ground runs on, so a disc that has grown by so much in a row grows by as much in each of the next. A pool
/// has ground before it that is sharper again.
pub(super) fn foreground_jumps(map: &TileMap) -> bool {
    let columns = map.columns as usize;
    if columns == 0 {
        return false;
    }
    let median = |row: &[crate::measure::Tile]| {
        let widths: Vec<f64> = row.iter().filter_map(|t| Some(t.blur?.value)).collect();
        if widths.len() as f64 >= FILLED * columns as f64 { upper_median(widths) } else { None }
    };
    let rows: Vec<Option<f64>> = map.tiles.chunks(columns).map(median).collect();
    (0..rows.len()).any(|above| {
        [1, 2].into_iter().any(|over| {
            let Some(below) = rows.get(above + over..).filter(|r| r.len() > BELOW) else { return false };
            let (Some(sharp), Some(soft)) = (rows[above], below[0]) else { return false };
            let jump = soft - sharp;
            if soft < JUMP.0 * sharp || jump < JUMP.1 {
                return false;
            }
            let rest: Vec<(usize, f64)> =
                below.iter().enumerate().skip(1).filter_map(|(k, w)| Some((k, (*w)?))).collect();
            let expected = |k: usize| GROWING * jump / over as f64 * k as f64;
            let level = |&(k, w): &(usize, f64)| w - soft < expected(k) && w * APART > soft;
            rest.len() >= BELOW && rest.iter().all(level)
        })
    })
}

/// Which tiles a zone takes, for zones that don't depend on the fit or have a mark.
pub(super) fn corner_tiles(map: &TileMap, name: ZoneName) -> Vec<u32> {
    let size = (f64::from(map.width), f64::from(map.height));
    select(map, |x, y| name.holds((x, y), size))
}

/// Tiles around a mark.
pub(super) fn marked_tiles(map: &TileMap, at: Point) -> Vec<u32> {
    let (px, py) = (at.x * f64::from(map.width), at.y * f64::from(map.height));
    let side = f64::from(map.width) / f64::from(map.columns.max(1));
    select(map, |x, y| (x - px).abs() < MARK_REACH * side && (y - py).abs() < MARK_REACH * side)
}

/// The band of the near zone: the lowest band of tiles most of which agree with the model.
pub(super) fn near_tiles(map: &TileMap, e: &Evidence, credible: &[Option<f64>], horizon: f64) -> Vec<u32> {
    let (w, h) = (f64::from(map.width), f64::from(map.height));
    let row = h / f64::from(map.rows.max(1));
    let band = (NEAR_BAND * h).max(1.5 * row);
    let side = CORNER_SHARE * w.max(h);
    let foot = (horizon.clamp(-e.bottom, e.bottom) * e.half_diagonal + h / 2.0).min(h);
    let limit = (h - NEAR_REACH * (h - foot)).min(h - band);
    let bands = |margin: f64| {
        let steps = (0..).map(|k| h - f64::from(k) * row).take_while(|lower| lower - band >= limit - row);
        let inner = |x: f64| x > margin && x < w - margin;
        first_agreeing(credible, steps.map(|low| select(map, |x, y| y > low - band && y <= low && inner(x))))
    };
    // The bottom corners are corners, unless nothing else of the foreground is fit to judge.
    let (tiles, agrees) = bands(side);
    if agrees {
        return tiles;
    }
    let (whole, agrees) = bands(0.0);
    if agrees { whole } else { tiles }
}

/// How far below the fitted horizon, as a share of the ground's height, the far band may look for something to judge.
/// What lies nearer says nothing of the far scene. Derived: ground there is nearly three times as far as the nearest.
const FAR_REACH: f64 = 0.35;

/// The far zone: a band about the horizon, corners left out, or the highest band below it whose measured tiles
/// agree with the model. Cloud above the horizon scatters, so a band most of whose tiles disagree is passed over.
pub(super) fn far_tiles(map: &TileMap, e: &Evidence, credible: &[Option<f64>], horizon: f64) -> Vec<u32> {
    let (w, h) = (f64::from(map.width), f64::from(map.height));
    let row = h / f64::from(map.rows.max(1));
    let side = CORNER_SHARE * w.max(h);
    // A map of one row has no room above its foot; the picture then ends the band.
    let foot = (horizon * e.half_diagonal + h / 2.0).max(1.6 * row).min(h);
    let limit = foot + FAR_REACH * (h - foot);
    let inner = |x: f64, y: f64| (x > side && x < w - side) || (y > side && y < h - side);
    let steps = (1..).map(|k| foot + f64::from(k) * row).take_while(|lower| *lower < limit.max(foot + 1.5 * row));
    first_agreeing(credible, steps.map(|lower| select(map, |x, y| y < lower && y > lower - 2.6 * row && inner(x, y)))).0
}

/// The first band that has something measured most of which agrees with the model; failing that, the band that
/// agrees best, and whether one was found.
fn first_agreeing(credible: &[Option<f64>], bands: impl Iterator<Item = Vec<u32>>) -> (Vec<u32>, bool) {
    let mut best: Option<(f64, Vec<u32>)> = None;
    for tiles in bands {
        let (agree, measured) = agreeing(&tiles, credible);
        if agree >= 2.5 && agree >= AGREEING * measured {
            return (tiles, true);
        }
        let merit = if agree >= 1.5 { agree / measured } else { 0.0 };
        if best.as_ref().is_none_or(|(other, _)| merit > *other) {
            best = Some((merit, tiles));
        }
    }
    (best.map_or_else(Vec::new, |(_, tiles)| tiles), false)
}

fn select(map: &TileMap, keep: impl Fn(f64, f64) -> bool) -> Vec<u32> {
    let kept = map.tiles.iter().enumerate().filter(|(_, t)| {
        let (x, y) = t.centre();
        keep(x, y)
    });
    kept.map(|(i, _)| i as u32).collect()
}

/// What the tiles of a zone say beside the frame's model.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reading {
    /// A stand-in tile at the middle of the credible ones.
    pub place: Sample,
    /// ln of the zone's width less the model's.
    pub departure: f64,
    /// Its standard deviation.
    pub sd: f64,
    /// Effective number of credible tiles.
    pub used: f64,
    /// Side of the plane of focus it lies on, whatever the model says: 1 nearer, -1 farther, 0 as the model says.
    pub side: f64,
}

/// How far a zone usually departs from the model, ln of the width; a marked far subject may be nearer.
pub(super) fn usual_departure(name: ZoneName, marked: bool) -> f64 {
    if name == ZoneName::Far && !marked { FAR_DEPARTURE } else { NORMAL_DEPARTURE }
}

/// Reads a zone beside a mode of the model; `None` if nothing in it is credible.
///
/// The departure is looked for by likelihood: most zones lie on the model within a few per cent, some hold an
/// object that stands off it, and content only adds blur. `usual`: see [`usual_departure`].
pub(super) fn read(
    tiles: &[u32],
    usual: f64,
    e: &Evidence,
    theta: &Theta,
    surface: &Surface,
    mix: &Mix,
) -> Option<Reading> {
    let mix = &strict(mix);
    let inside: Vec<&Sample> = e.samples.iter().filter(|s| tiles.binary_search(&(s.index as u32)).is_ok()).collect();
    if inside.is_empty() {
        return None;
    }
    let ready = Ready::new(theta);
    let residuals: Vec<(f64, f64)> = inside.iter().map(|s| (s.y - ready.at(s, surface).y, s.sd)).collect();
    // The share of soft content is the frame's own at that height, within reason.
    let soft = inside.iter().map(|s| mix.soft_at(s.v, theta[Horizon])).sum::<f64>() / inside.len() as f64;
    let soft = soft.clamp(LEAST_CONTENT, CONTENT);
    let prior = |d: f64| {
        let on = (1.0 - OBJECT_SHARE) / usual * (-0.5 * (d / usual).powi(2)).exp();
        let object = OBJECT_SHARE / OBJECT_DEPARTURE * (-0.5 * (d / OBJECT_DEPARTURE).powi(2)).exp();
        on + object
    };
    let softest = residuals.iter().map(|r| r.0).fold(0.0, f64::max);
    let above = ((softest / GRID) as i32).clamp(STEPS.1, STEPS.2);
    let departures: Vec<f64> = (-STEPS.0..=above).map(|k| GRID * f64::from(k)).collect();
    let logs: Vec<f64> = costs_moved(&residuals, &departures, mix, soft).into_iter().map(|cost| -cost).collect();
    let height = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let likelihood: Vec<f64> = logs.iter().map(|l| (l - height).exp()).collect();
    // The error that the tiles share may have moved all of them alike.
    let moved: Vec<f64> = (0..logs.len()).map(|k| (-0.5 * (GRID * k as f64 / SHARED).powi(2)).exp()).collect();
    let shared = |i: usize| likelihood.iter().enumerate().map(|(j, l)| l * moved[i.abs_diff(j)]).sum::<f64>();
    let posterior: Vec<(f64, f64)> = departures.iter().enumerate().map(|(i, &d)| (d, shared(i) * prior(d))).collect();
    let departure = posterior.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0.0, |p| p.0);
    // Mean and spread of the peak that the best value stands in.
    let peak = || posterior.iter().filter(|p| (p.0 - departure).abs() < 0.2);
    let sum: f64 = peak().map(|p| p.1).sum();
    let of = |f: &dyn Fn(f64) -> f64| peak().map(|p| p.1 * f(p.0)).sum::<f64>() / sum.max(f64::MIN_POSITIVE);
    let mean = of(&|d| d);
    let variance = of(&|d| (d - mean).powi(2));
    let weights: Vec<f64> = residuals.iter().map(|&(r, sd)| cost(r - mean, sd, mix, soft).2).collect();
    let used: f64 = weights.iter().sum();
    // On the model, a few of many will do: the rest of the frame vouches for them. Off it, an object is believed
    // only if the zone's tiles agree among themselves; water and cloud scatter.
    let share = if mean.abs() < OFF_MODEL { 0.35 } else { 0.55 };
    let least = if mean.abs() < OFF_MODEL { 1.5 } else { 3.0 };
    if used < (share * inside.len() as f64).max(least) {
        return None;
    }
    let middle = |f: &dyn Fn(&Sample) -> f64| inside.iter().zip(&weights).map(|(s, w)| f(s) * w).sum::<f64>() / used;
    let (u, v) = (middle(&|s| s.u), middle(&|s| s.v));
    let nearest = inside
        .iter()
        .min_by(|a, b| ((a.u - u).hypot(a.v - v)).total_cmp(&(b.u - u).hypot(b.v - v)))
        .map_or(*inside[0], |s| **s);
    let place = Sample { index: nearest.index, say: nearest.say, ..Sample::place(u, v, nearest.learned) };
    Some(Reading { place, departure: mean, sd: variance.sqrt().hypot(BY_WIDTH), used, side: 0.0 })
}

/// Disc, px, up to which most tiles of ground are still measured; share of the tiles below that may be nonetheless;
/// rows that must show how the disc grows, from which share of the largest on, and the share of a row's columns that
/// must agree. Chosen: beyond that disc, tiles without fine detail are often given no number.
const MEASURABLE: f64 = 7.0;
const STRAYS: f64 = 0.15;
const GROWN: usize = 3;
const GROWING_FROM: f64 = 0.15;
const ROW_AGREEING: f64 = 0.2;
/// Relative error of a blur that is told by how it grows above. Chosen: the blur foretold may be a third off.
const TOLD_BY_GROWTH: f64 = 0.3;

/// The near zone where it is too blurred to measure: ground whose disc grows downwards row by row, agreeing with the
/// model, until it is `least` px and larger than can be measured, and hardly a measured tile below.
pub(super) fn buried(
    map: &TileMap,
    e: &Evidence,
    credible: &[Option<f64>],
    theta: &Theta,
    least: f64,
) -> Option<Reading> {
    let h = f64::from(map.height);
    let columns = f64::from(map.columns);
    let ready = Ready::new(theta);
    let row_v = |row: u32| ((f64::from(row) + 0.5) / f64::from(map.rows) - 0.5) * h / e.half_diagonal;
    let disc = |row: u32| ready.disc(&Sample::place(0.0, row_v(row), None));
    let tiles = |row: u32| -> Vec<u32> { (row * map.columns..(row + 1) * map.columns).collect() };
    let agrees = |row: u32| {
        let (agree, measured) = agreeing(&tiles(row), credible);
        agree >= (ROW_AGREEING * columns).max(3.0) && agree >= AGREEING * measured
    };
    let ground: Vec<u32> = (0..map.rows).filter(|&r| row_v(r) > theta[Horizon] && agrees(r)).collect();
    let &lowest = ground.last()?;
    let below = map.tiles.iter().skip(((lowest + 1) * map.columns) as usize);
    let measured = below.clone().filter(|t| t.blur.is_some()).count() as f64;
    let grown = ground.iter().filter(|&&r| r != lowest && disc(r) > GROWING_FROM * disc(lowest)).count();
    let found = lowest + 1 < map.rows
        && measured <= STRAYS * below.count() as f64
        && disc(lowest) >= least.max(MEASURABLE)
        && grown >= GROWN;
    let v = (1.0 - 0.5 * NEAR_BAND - 0.5) * h / e.half_diagonal;
    let used = agreeing(&tiles(lowest), credible).0;
    found.then(|| Reading { place: Sample::place(0.0, v, None), departure: 0.0, sd: TOLD_BY_GROWTH, used, side: 0.0 })
}

/// v of the horizon as the zones take it: within the picture.
pub(super) fn horizon(theta: &Theta, e: &Evidence) -> f64 {
    theta[Horizon].clamp(-e.bottom, e.bottom)
}

#[cfg(test)]
mod tests {
    use super::super::parameters::Parameter;
    use super::*;
    use crate::shot::Capture;

    /// Departure and its sd of 30 tiles that all lie `off` (ln of the width) from the model.
    fn departure(off: f64, usual: f64) -> (f64, f64) {
        let map = TileMap { width: 6000, height: 4000, ..TileMap::default() };
        let mut e = Evidence::new(&map, &Capture::default(), None);
        let (mut theta, surface) = (Theta::default(), Surface::at_scale(None));
        (theta[Horizon], theta[Parameter::Centre]) = (-0.2, 0.6);
        let tile = |index: usize| {
            let place = Sample::place(0.02 * index as f64 - 0.3, 0.3, None);
            Sample { index, y: Ready::new(&theta).at(&place, &surface).y + off, sd: 0.1, ..place }
        };
        e.samples = (0..30).map(tile).collect();
        let mix = Mix { soft: 0.1, far: 0.2, sky: 0.5, odd: 0.02, inflate: 1.0, skyline: None };
        let tiles: Vec<u32> = (0..30).collect();
        let found = read(&tiles, usual, &e, &theta, &surface, &mix).expect("a reading");
        (found.departure, found.sd)
    }

    #[test]
    fn what_the_tiles_share_may_be_the_textures() {
        // Two normal laws multiplied: the tiles' common error and the zone's own departure, both about zero.
        for usual in [NORMAL_DEPARTURE, FAR_DEPARTURE] {
            let share = usual * usual / (usual * usual + SHARED * SHARED);
            let (found, sd) = departure(0.08, usual);
            assert!((found - 0.08 * share).abs() < 0.01, "{found} of 0.08 at {usual}");
            let honest = BY_WIDTH.hypot(usual * (1.0 - share).sqrt());
            assert!((sd / honest - 1.0).abs() < 0.1, "{sd} at {usual}, for {honest}");
        }
    }

    #[test]
    fn what_stands_far_off_the_model_is_another_thing() {
        for off in [0.6, 1.7, 2.5] {
            let (found, _) = departure(off, NORMAL_DEPARTURE);
            assert!((found - off).abs() < 0.06_f64.max(0.05 * off), "{found} of {off}");
        }
    }
}
