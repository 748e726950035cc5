//! What rows of tiles say by themselves, whatever the fitted model makes of them: a foreground that blurs steadily
//! towards the camera, ground that reads wider than the scene beside it, a soft band along the horizon, water.

use super::evidence::{APART, Evidence, Sample};
use super::zones::{NEAR_BAND, Reading};
use crate::measure::TileMap;
use crate::quantity::DISC_SIGMA;
use crate::stats::{ranked, scatter, upper_median};

/// A width told by rows or a band of tiles.
#[derive(Clone, Copy, Debug)]
pub(super) struct Told {
    /// Where.
    pub place: Sample,
    /// ln of the width, px.
    pub ln_width: f64,
    /// Its spread.
    pub sd: f64,
    /// Tiles it rests on.
    pub used: f64,
    /// See [`Reading::side`].
    pub side: f64,
}

impl Told {
    /// The reading it makes, its departure left to be set beside a mode.
    pub(super) const fn reading(&self) -> Reading {
        Reading { place: self.place, departure: 0.0, sd: self.sd, used: self.used, side: self.side }
    }
}

/// One row of measured tiles.
#[derive(Clone, Debug)]
struct Row {
    tiles: Vec<Sample>,
    v: f64,
    /// Median of ln width.
    y: f64,
}

impl Row {
    fn count(&self) -> f64 {
        self.tiles.len() as f64
    }
}

/// Rows of the ground from the horizon down, those with too few measured tiles left out.
fn ground(e: &Evidence, horizon: f64) -> Vec<Row> {
    let fewest = (FILLED * e.columns as f64).max(3.0) as usize;
    let row = |s: &Sample| s.index / e.columns.max(1);
    let measured: Vec<Sample> = e.samples.iter().filter(|s| !s.bounded).copied().collect();
    measured
        .chunk_by(|a, b| row(a) == row(b))
        .filter(|tiles| tiles[0].v > horizon && tiles.len() >= fewest)
        .map(|tiles| Row { v: tiles[0].v, y: median(tiles.iter().map(|s| s.y).collect()), tiles: tiles.to_vec() })
        .collect()
}

/// Share of the columns that a row must have measured. Chosen: a sixth, four of 24.
const FILLED: f64 = 1.0 / 6.0;

pub(super) fn median(all: Vec<f64>) -> f64 {
    upper_median(all).unwrap_or(f64::NAN)
}

/// How many times the permitted blur the lowest rows must reach, whole width; how much a row may fall short of the
/// one above it (ln); how many rows must take part in the rise; how many times the sharpest row the softest must
/// be. Chosen: three times the permitted is far beyond what water's ripple and grass read, and a blur of tens of
/// pixels passes it within the rows that still have a number.
const RISE: (f64, f64, usize, f64) = (3.0, 0.2, 3, 3.0);

/// Share of the rise that one row may bring. Derived: a disc that grows in proportion doubles from its first row to its
/// second, ln 2 of a rise of at least ln 3.
const LARGEST: f64 = 0.64;

/// The last of some rows of ground whose medians climb to it steadily and gradually from the sharpest on, with ln of how many times.
fn climb(rows: &[Row]) -> Option<(&Row, f64)> {
    let sharpest = rows.iter().enumerate().min_by(|a, b| a.1.y.total_cmp(&b.1.y))?.0;
    let (below, last) = (&rows[sharpest..], rows.last()?);
    let steady = below.windows(2).all(|w| w[1].y > w[0].y - RISE.1);
    let rise = last.y - below[0].y;
    // Water and a thing that stands near begin with a jump and stay as they are.
    let gradual = below.windows(2).all(|w| w[1].y - w[0].y < LARGEST * rise);
    (steady && gradual && below.len() > RISE.2).then_some((last, rise))
}

/// Whether rows of ground reach down far enough for what is true of them to be true of the foreground.
fn reach_down(rows: &[Row], e: &Evidence) -> bool {
    // What lies below the last row is farther yet from the focus, and has no number.
    rows.last().is_some_and(|last| last.v > 0.5 * e.bottom)
}

/// Whether the blur of the foreground grows from row to row as that of ground out of focus does, by more than content may make it.
/// Water that is soft by nature is about as soft in every row, or jumps where it begins: on six photographs its lowest row is at
/// most 1.1 times as wide as its sharpest.
pub(super) fn grows(e: &Evidence, horizon: f64) -> bool {
    let rows = ground(e, horizon);
    reach_down(&rows, e) && climb(&rows).is_some_and(|(_, rise)| rise > APART.ln())
}

/// A foreground whose row medians rise steadily towards the camera to several times the permitted blur: out of focus,
/// whether or not a plane of ground explains it. The width is that of its last row, at the near zone's place.
pub(super) fn rising(map: &TileMap, e: &Evidence, horizon: f64, permitted: f64) -> Option<Told> {
    let rows = ground(e, horizon);
    let (last, rise) = climb(&rows)?;
    let risen = last.y > (RISE.0 * permitted).ln() && rise > RISE.3.ln();
    // Focus can't miss by more than it does a hand's breadth before the lens: what is softer yet flows or moves.
    let possible = last.y.exp() <= DISC_SIGMA * e.largest_disc();
    if !(reach_down(&rows, e) && risen && possible) {
        return None;
    }
    let v = (1.0 - NEAR_BAND - 0.5) * f64::from(map.height) / e.half_diagonal;
    Some(Told {
        place: Sample::place(0.0, v.max(last.v), None),
        ln_width: last.y,
        sd: 0.3,
        used: last.count(),
        side: 0.0,
    })
}

/// Relative error of a step that is taken out of a foreground's width. Chosen: half of the step may be the ground's own.
pub(super) const STEP_DOUBT: f64 = 0.5;
/// Least step that counts (ln of the width). Chosen: the scatter of row medians on one texture is half of it.
const STEP: f64 = 0.25;
/// Share of the half width, from the middle, in which a step is asked for, and how many rows above and below must show
/// it. Chosen: beyond that share corners count.
const INNER: f64 = 0.6;
const SIDES: usize = 2;
/// Sum of squares that a step may leave of the rows, as a share of what the fitted model leaves. Chosen: to tell the
/// rows twice as well is no chance of few rows.
pub(super) const BETTER: f64 = 0.5;

/// By how much the lower part of the picture reads wider than what lies right above it, where the blur steps at some
/// height and does not grow below as defocus over ground does: sharpened edges beside smoothed texture, or water.
///
/// Blur of ground out of focus grows with the distance below the horizon, from that of the far scene on; a step from
/// one level to another, flat on both sides, is told from that by which of the two leaves less of the row medians.
/// `model`: ln of the width that the fitted model has at a tile.
pub(super) fn step(e: &Evidence, model: impl Fn(&Sample) -> f64) -> Option<f64> {
    // A lens that is soft at the edges makes a step of its own along the lower one, and a thing that stands on one side one
    // there: the step must show on either side of the middle.
    let [left, right] = halves(e);
    Some(step_of(&left, &model)?.min(step_of(&right, &model)?))
}

/// Whether what stands at the horizon reads wider than the ground right before it, flat on both sides, as [`step`] has it the other way
/// about. Blur of ground reaches that of the far scene at the horizon, wherever focus lies: what stands there moved, or lies beyond a
/// crest.
pub(super) fn breaks_off(e: &Evidence, model: impl Fn(&Sample) -> f64) -> bool {
    let falls = |half: &Evidence| {
        let rows = ground(half, e.skyline.unwrap_or(-e.bottom));
        let told = levels(&rows).filter(|l| l.step() < -STEP && flat(&rows[l.at..], l.step()));
        told.is_some_and(|l| better(&rows, &l, &model))
    };
    halves(e).iter().all(falls)
}

/// What lies left and right of the middle, corners left out.
fn halves(e: &Evidence) -> [Evidence; 2] {
    [-1.0, 1.0].map(|sign| {
        let inside = |s: &&Sample| (0.0..INNER * e.right).contains(&(sign * s.u));
        Evidence { samples: e.samples.iter().filter(inside).copied().collect(), ..e.clone() }
    })
}

/// Two levels that rows fall into: ln width above a row and from it on, and the sum of squares they leave.
struct Levels {
    at: usize,
    above: f64,
    below: f64,
    left: f64,
}

impl Levels {
    /// By how much what lies below is wider, ln.
    fn step(&self) -> f64 {
        self.below - self.above
    }
}

fn mean(rows: &[Row]) -> f64 {
    rows.iter().map(|r| r.y * r.count()).sum::<f64>() / rows.iter().map(Row::count).sum::<f64>()
}

/// The two levels that tell some rows best, with several rows on either side.
fn levels(rows: &[Row]) -> Option<Levels> {
    let n = rows.len();
    if n < 2 * SIDES + 1 {
        return None;
    }
    let left = |rows: &[Row], of: f64| -> f64 { rows.iter().map(|r| r.count() * (r.y - of).powi(2)).sum() };
    (SIDES..=n - SIDES)
        .map(|at| {
            let (above, below) = (mean(&rows[..at]), mean(&rows[at..]));
            Levels { at, above, below, left: left(&rows[..at], above) + left(&rows[at..], below) }
        })
        .min_by(|a, b| a.left.total_cmp(&b.left))
}

/// Whether the nearest half of what lies below a step reads no wider than the half above it, and, since a pool has sharp ground before
/// it, no narrower.
fn flat(below: &[Row], step: f64) -> bool {
    let half = below.len() / 2;
    (mean(&below[half..]) - mean(&below[..half])).abs() < 0.5 * step.abs()
}

/// Whether two levels tell rows better than the fitted model does.
fn better(rows: &[Row], levels: &Levels, model: &impl Fn(&Sample) -> f64) -> bool {
    let off = |r: &Row| r.y - median(r.tiles.iter().map(model).collect());
    levels.left < BETTER * rows.iter().map(|r| r.count() * off(r).powi(2)).sum::<f64>()
}

/// The step of one part of the picture.
fn step_of(e: &Evidence, model: &impl Fn(&Sample) -> f64) -> Option<f64> {
    let rows = ground(e, e.skyline.unwrap_or(-e.bottom));
    let levels = levels(&rows)?;
    let told = levels.step() > STEP && flat(&rows[levels.at..], levels.step()) && better(&rows, &levels, model);
    told.then(|| levels.step().exp())
}

/// Spread (ln) within which a band's tiles are equally soft: half of them lie this close to the median; fewest of them,
/// as a share of the columns. Chosen: the scatter of one texture; a third of a row.
const EQUAL: f64 = 0.2;
const BAND: f64 = 0.35;

/// A band of equally soft tiles along the horizon, below the sky: far ground out of focus. With the tiles that make it.
pub(super) fn soft_band(map: &TileMap, e: &Evidence, horizon: f64, permitted: f64) -> Option<(Told, Vec<u32>)> {
    let row = f64::from(map.height) / f64::from(map.rows.max(1)) / e.half_diagonal;
    // A band lies on the horizon only where the sky shows it.
    let edge = e.skyline?;
    let inside = |s: &&Sample| !s.bounded && s.v > edge && s.v < edge.max(horizon) + 2.0 * row;
    let tiles: Vec<&Sample> = e.samples.iter().filter(inside).collect();
    if (tiles.len() as f64) < BAND * e.columns as f64 {
        return None;
    }
    let y = median(tiles.iter().map(|s| s.y).collect());
    let off = median(tiles.iter().map(|s| (s.y - y).abs()).collect());
    let contrast = |i: usize| map.tiles[i].contrast;
    let seen = median(tiles.iter().map(|s| contrast(s.index)).collect());
    // Haze softens too, but it takes the contrast first.
    if !(off < EQUAL && y > (1.5 * permitted).ln() && seen > 0.08) {
        return None;
    }
    let n = tiles.len() as f64;
    let (u, v) = (tiles.iter().map(|s| s.u).sum::<f64>() / n, tiles.iter().map(|s| s.v).sum::<f64>() / n);
    let told = Told { place: Sample::place(u, v, None), ln_width: y, sd: 0.1, used: n, side: 0.0 };
    Some((told, tiles.iter().map(|s| s.index as u32).collect()))
}

/// log2 of the energy of gradients up and down over that of gradients across, in the median over its tiles, from which
/// a foreground is drawn in layers as water is. Set on eighteen photographs with ground in the lowest fifth (at most
/// 1.2) and six with water (1.3 to 3.5 in five of them).
const LAYERED: f64 = 1.3;
/// Share of the picture's height that is the foreground, and fewest tiles that tell. Chosen: a row or two, as the near zone has.
pub(super) const LOWEST: f64 = 0.2;
const TILES: usize = 6;

/// Larger over smaller width of the foreground and of what lies above it up to which they are alike. Set on 36 pictures
/// of ground drawn in layers that a lens, a small aperture or a movement softens all over: 0.9 to 1.15 in 33 of them.
const ALIKE: f64 = 1.2;
/// Quantile of the widths above the foreground that the foreground's width is compared with. Chosen: what is soft by
/// nature or far out of focus does not count.
const SHARPEST: f64 = 0.25;

/// Whether a foreground of a width (ln) is as soft as what lies above it, and that beyond a whole width (px): what softens all of the
/// picture softens water and ground alike. Where the rest is sharp, water no softer than that says nothing of focus.
pub(super) fn soft_as_the_rest(e: &Evidence, ln_width: f64, beyond: f64) -> bool {
    let above = e.samples.iter().filter(|s| !s.bounded && s.v < (1.0 - 2.0 * LOWEST) * e.bottom);
    let rest = ranked(above.map(|s| s.y).collect(), SHARPEST);
    rest.is_some_and(|y| y > beyond.ln() && (ln_width - y).abs() < ALIKE.ln())
}

/// The tiles of the foreground.
fn lowest(map: &TileMap) -> Vec<u32> {
    let from = (1.0 - LOWEST) * f64::from(map.height);
    (0..).zip(&map.tiles).filter(|(_, t)| t.centre().1 > from).map(|(i, _)| i).collect()
}

/// How many times the permitted blur a tile must read to be out of focus by far, and its contrast: clouds, mist and
/// smooth water have less. Set on 37 photographs read by eye: of what is out of focus by far, three quarters of the tiles
/// and more are so, at contrasts of 0.3 and more (half and more of a far scene behind something sharp); a stream drawn
/// out by a long exposure has a contrast of 0.07, and of no other foreground or far scene are two fifths of the tiles so.
pub(super) const FAR_OUT: (f64, f64) = (3.0, 0.2);
/// Of the tiles that tell, the share that must be out of focus by far. Chosen: half of them, since something sharp may
/// stand before the scene, or the softness before what is sharp.
pub(super) const MOST: f64 = 0.5;

/// Scatter of ln width about the medians of their rows up to which tiles show one blur, and the stated error (ln) up to
/// which they show its shape. Set on photographs and scenes made soft by discs, whose lowest fifth scatters by 0.01 to
/// 0.05 and is known to 4 to 10 %, and on 60 pictures of water drawn from random waves, smooth below 2 to 12 cm, which is
/// known to 16 to 22 % where it reads soft and scatters by 0.09 to 0.26 except where few tiles are told (docs/trials.md).
pub(super) const ONE_BLUR: (f64, f64) = (0.06, 0.08);

/// Whether one blur lies over all of the foreground: a spread of light is the same whatever it lies over, so that tiles agree, row by
/// row, and its shape shows in each; what is soft of itself, as smooth water is, differs from tile to tile, or has lost its contrast.
pub(super) fn one_blur(map: &TileMap) -> bool {
    let tiles = lowest(map);
    let row = |i: u32| i / map.columns.max(1);
    let told: Vec<(u32, f64, f64)> = tiles
        .iter()
        .filter_map(|&i| map.tiles[i as usize].by_itself().map(|b| (row(i), b.value.ln(), b.sd / b.value)))
        .collect();
    let fewest = (FILLED * f64::from(map.columns)).max(3.0) as usize;
    let off: Vec<f64> = told
        .chunk_by(|a, b| a.0 == b.0)
        .filter(|row| row.len() >= fewest)
        .flat_map(|row| {
            let middle = median(row.iter().map(|t| t.1).collect());
            row.iter().map(move |t| t.1 - middle)
        })
        .collect();
    off.len() as f64 > MOST * tiles.len() as f64
        && scatter(&off).is_some_and(|s| s < ONE_BLUR.0)
        && median(told.iter().map(|t| t.2).collect()) < ONE_BLUR.1
        && median(tiles.iter().map(|&i| map.tiles[i as usize].contrast).collect()) > FAR_OUT.1
}

/// Contrast of a foreground from which it is hardly water. Set on made pictures of dry ground drawn in layers, which have 0.38 to 0.80,
/// and two photographs of water, 0.15 and 0.24.
const DRY: f64 = 0.3;

/// Whether the foreground has the contrast of what is dry.
pub(super) fn dry(map: &TileMap) -> bool {
    median(lowest(map).iter().map(|&i| map.tiles[i as usize].contrast).collect()) > DRY
}

/// Whether the foreground is water: drawn in layers, row upon row.
pub(super) fn is_water(map: &TileMap) -> bool {
    layered(map, &lowest(map))
}

/// Whether some tiles are drawn in layers as water is.
pub(super) fn layered(map: &TileMap, tiles: &[u32]) -> bool {
    let layers: Vec<f64> = tiles.iter().filter_map(|&i| map.layers.get(i as usize)?.map(f64::from)).collect();
    layers.len() >= TILES && median(layers) > LAYERED
}
