//! Frames of a focus bracket softer than another and sharper nowhere: shaken, or focused beside the scene.

use super::Blurs;
use super::fit::IN_COMMON;
use super::odd::{SPOILED, SURE};
use super::zone::NO_LOSS;
use crate::quantity::Region;
use crate::stats;

/// A frame softer than another and sharper nowhere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outdone {
    /// The frame.
    pub frame: usize,
    /// The sharper one: of several that by which it is softest.
    pub by: usize,
    /// By how many standard deviations, in the middle tile.
    pub by_sd: f64,
}

/// Fewest tiles in common by which two frames are compared. Derived: of a dozen tiles a tenth is still one.
const TILES: usize = 12;
/// Largest share of tiles that may read sharper by more than is no loss. Chosen: in fifty tiles one, as chance leaves
/// when tiles are steadied by those around them; a strip of ground that only this frame shows sharp is more.
const SHARPER: f64 = 0.02;

/// Reach to either side, and above and below, of the tiles that steady one: a block, as things that stand up take, and
/// a stretch of one row, where level ground lies at one distance. Chosen: nine tiles either way.
const BLOCK: (usize, usize) = (1, 1);
const ROW: (usize, usize) = (4, 0);

/// Tiles a side of the least thing that a frame may be for. Chosen: one tile, or two beside each other, may follow their content.
const THING: usize = 2;

/// The frames softer than another one that are sharper than it in no part of the picture.
///
/// A frame that is focused elsewhere is the sharper where it is focused, so one that is so nowhere adds nothing to a blend.
/// Tiles are steadied by the middle of those around them and of those beside them, since single ones scatter: what stands up
/// is sharp in a block of tiles, level ground in a row, and at the lower edge in one row alone. A stone or a flower that stands
/// nearer than all else is smaller than what chance leaves of a picture, but all its tiles are sharper there, and by much: a
/// frame with a square of such tiles is what it is for.
#[must_use]
pub fn outdone(blurs: &Blurs, tiles: &[Region]) -> Vec<Outdone> {
    let frames = blurs.sigma.len();
    let rivals = |k: usize| (0..frames).filter(move |&j| j != k).filter_map(move |j| softer(blurs, tiles, (k, j)));
    let found = (0..frames).filter_map(|k| rivals(k).max_by(|a, b| a.by_sd.total_cmp(&b.by_sd)));
    let found: Vec<Outdone> = found.collect();
    // Middle ones of different tiles may go round in a circle.
    if found.len() == frames { Vec::new() } else { found }
}

/// Whether the first frame is softer than the second and nowhere sharper: a shake hardly shows where defocus blurs more.
fn softer(blurs: &Blurs, tiles: &[Region], (k, j): (usize, usize)) -> Option<Outdone> {
    let log = |t: usize| Some((blurs.sigma[k][t]?.value / blurs.sigma[j][t]?.value).ln()).filter(|l| l.is_finite());
    let logs: Vec<Option<f64>> = (0..tiles.len()).map(log).collect();
    let known: Vec<f64> = logs.iter().copied().flatten().collect();
    // A place that only this frame shows a width in may be what it is for.
    let own = blurs.sigma[k].iter().flatten().count();
    if known.len() < TILES || (known.len() as f64) < (1.0 - SHARPER) * own as f64 {
        return None;
    }
    let middle = stats::median(&known)?;
    let sharper_by = |reach: (usize, usize)| {
        let steadied = (0..tiles.len()).filter(|&t| logs[t].is_some()).filter_map(|t| around(&logs, tiles, t, reach));
        steadied.filter(|l| *l < -NO_LOSS.ln()).count()
    };
    let sharper = sharper_by(BLOCK).max(sharper_by(ROW)) as f64;
    let scatter = stats::MEDIAN_SD * stats::scatter(&known)? / (known.len() as f64).sqrt();
    let by_sd = middle / scatter.hypot(IN_COMMON);
    let softer = middle > NO_LOSS.ln() && by_sd > SURE && sharper <= SHARPER * known.len() as f64;
    (softer && !shows_a_thing(blurs, &logs, tiles, (k, j))).then_some(Outdone { frame: k, by: j, by_sd })
}

/// Whether somewhere all tiles of a small square are sharper in the first frame than in the second, each by more than whole frames
/// scatter and beyond its error.
fn shows_a_thing(blurs: &Blurs, logs: &[Option<f64>], tiles: &[Region], (k, j): (usize, usize)) -> bool {
    let columns = columns(tiles);
    let error = |f: usize, t: usize| blurs.sigma[f][t].map(|e| blurs.apart_sd[f][t] / e.value);
    let sharper = |t: usize| {
        let sd = error(k, t).zip(error(j, t)).map(|(a, b)| a.hypot(b));
        logs.get(t).copied().flatten().zip(sd).is_some_and(|(log, sd)| -log > SPOILED.ln().max(SURE * sd))
    };
    let square = |t: usize| (0..THING).all(|down| (0..THING).all(|across| sharper(t + down * columns + across)));
    (0..tiles.len()).any(|t| t % columns + THING <= columns && square(t))
}

fn columns(tiles: &[Region]) -> usize {
    tiles.iter().take_while(|r| r.y == tiles[0].y).count().max(1)
}

/// Middle one of a tile and those within a reach to either side, and above and below.
fn around(logs: &[Option<f64>], tiles: &[Region], t: usize, reach: (usize, usize)) -> Option<f64> {
    let columns = columns(tiles);
    let rows = tiles.len().div_ceil(columns);
    let (row, column) = (t / columns, t % columns);
    let near = |at: usize, reach: usize, last: usize| at.saturating_sub(reach)..(at + reach + 1).min(last);
    let all = near(row, reach.1, rows).flat_map(|r| near(column, reach.0, columns).map(move |c| r * columns + c));
    stats::median(&all.filter_map(|o| logs.get(o).copied().flatten()).collect::<Vec<f64>>())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Estimate;

    /// Twelve columns and eight rows; widths by frame and row, with four per cent of scatter.
    fn of_rows(frames: &[[f64; 8]]) -> (Blurs, Vec<Region>) {
        let tiles: Vec<Region> =
            (0..96).map(|t| Region { x: 50 * (t % 12), y: 50 * (t / 12), width: 50, height: 50 }).collect();
        let width = |k: usize, t: usize| frames[k][t / 12] * (1.0 + 0.04 * (((7 * t + 5 * k) % 9) as f64 / 4.0 - 1.0));
        let sigma =
            (0..frames.len()).map(|k| (0..96).map(|t| Some(Estimate::new(width(k, t), 0.02, 9))).collect()).collect();
        let blurs = Blurs {
            sigma,
            apart_sd: vec![vec![0.02; 96]; frames.len()],
            from_middle: vec![vec![(0.0, 0.0); 96]; frames.len()],
            at_least: vec![vec![false; 96]; frames.len()],
            anchor_sd: vec![0.05; 96],
            moved: vec![0; frames.len()],
        };
        (blurs, tiles)
    }

    #[test]
    fn a_frame_softer_everywhere_is_outdone_and_one_sharper_in_a_row_is_not() {
        let far = [0.5, 0.5, 0.52, 0.55, 0.6, 0.7, 0.9, 1.2];
        let shaken = far.map(|w| f64::hypot(w, 0.4));
        let near = [1.0, 0.98, 0.95, 0.9, 0.85, 0.8, 0.92, 0.7];
        let (blurs, tiles) = of_rows(&[far, shaken, near]);
        let found = outdone(&blurs, &tiles);
        assert_eq!(found.iter().map(|o| (o.frame, o.by)).collect::<Vec<_>>(), [(1, 0)]);
        assert!(found[0].by_sd > 3.0, "{found:?}");
    }

    #[test]
    fn a_frame_that_alone_shows_the_lowest_row_sharp_is_not_outdone() {
        // Level ground, each frame focused farther than the last; the first is sharpest on the strip at the lower edge alone.
        let nearest = [5.0, 4.2, 3.4, 2.7, 2.0, 1.5, 1.0, 0.6];
        let next = [4.2, 3.4, 2.6, 1.9, 1.2, 0.7, 0.6, 1.1];
        let (blurs, tiles) = of_rows(&[nearest, next]);
        assert_eq!(outdone(&blurs, &tiles), []);
    }

    /// A rock of a square tile or two before ground whose nearest row the next frame shows as well, as optics have it: 20 mm at f/8
    /// with 5 um pixels, the rock at 1.5 m and focused on, the next frame at 1.8 m.
    #[test]
    fn a_frame_that_alone_shows_a_small_near_thing_sharp_is_not_outdone() {
        let nearest = [3.5, 3.0, 2.4, 1.8, 1.5, 1.2, 0.95, 0.75];
        let next = [2.9, 2.3, 1.8, 1.2, 0.97, 0.76, 0.64, 0.62];
        let with_thing = |tiles: &[usize]| {
            let (mut blurs, regions) = of_rows(&[nearest, next]);
            for &t in tiles {
                blurs.sigma[0][t] = Some(Estimate::new(0.59, 0.02, 9));
                blurs.sigma[1][t] = Some(Estimate::new(0.79, 0.02, 9));
            }
            outdone(&blurs, &regions).iter().map(|o| (o.frame, o.by)).collect::<Vec<_>>()
        };
        let at = |row: usize, column: usize| 12 * row + column;
        assert_eq!(with_thing(&[at(5, 4), at(5, 5), at(6, 4), at(6, 5)]), []);
        // Two tiles beside each other are no thing, nor are those at the ends of two rows.
        assert_eq!(with_thing(&[at(5, 4), at(5, 5)]), [(0, 1)]);
        assert_eq!(with_thing(&[at(5, 11), at(6, 11), at(6, 0), at(7, 0)]), [(0, 1)]);
    }

    #[test]
    fn frames_alike_within_the_error_outdo_no_one() {
        let (blurs, tiles) = of_rows(&[[0.5; 8], [0.51; 8], [0.52; 8]]);
        assert_eq!(outdone(&blurs, &tiles), []);
    }
}
