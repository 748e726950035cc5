//! Which of near-duplicates is the sharpest, and whether focus moved between frames after all.

use super::moved::{Twice, focus_moved};
use super::rivals::unbeaten;
use super::zone::NO_LOSS;
use super::{Blurs, Zone, ZoneBlur};
use crate::quantity::{Estimate, ZoneName};
use crate::stats;

/// The sharpest of near-duplicates.
#[derive(Clone, Debug, PartialEq)]
pub struct Sharpest {
    /// Index among the frames given.
    pub frame: usize,
    /// How much wider the blur of the next best is, as a share (0.05 = 5 %).
    pub margin: Estimate,
    /// Whether the margin is beyond chance (more than two sd, and at least 5 %).
    pub real: bool,
    /// Indices of the frames whose blur is wider by more than chance.
    pub softer: Vec<usize>,
    /// The chance that none of the others is sharper, by the errors of all margins.
    pub confidence: f64,
}

/// One zone of two frames compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Between {
    /// Which zone.
    pub zone: ZoneName,
    /// The sharper frame; `None` where the two are the same within the error.
    pub sharper: Option<usize>,
    /// By how much the other is wider, as a share (0.05 = 5 %), with its sd; never below zero where one is sharper.
    pub margin: Estimate,
}

/// Finds the sharpest of frames from the widths of the same tiles in each: `[frame][tile]`.
///
/// The margin is the middle of the tiles' log ratios to the next best frame, its sd from their scatter.
#[must_use]
pub fn sharpest(sigma: &[Vec<Option<Estimate>>]) -> Option<Sharpest> {
    let all: Vec<usize> = (0..sigma.first()?.len()).collect();
    let ratio = |a: usize, b: usize| ratio(&sigma[a], &sigma[b], &all);
    // A frame of which too little is known is compared with none, and must not stand in the way of the others.
    let told: Vec<usize> = (0..sigma.len()).filter(|&k| sigma[k].iter().flatten().count() >= TILES).collect();
    let mut best = *told.first()?;
    for &k in &told {
        if ratio(best, k).is_some_and(|r| r.value < 0.0) {
            best = k;
        }
    }
    let margins: Vec<(usize, Estimate)> = (0..sigma.len())
        .filter(|&k| k != best)
        .filter_map(|k| Some((k, ratio(best, k)?)))
        .map(|(k, r)| (k, Estimate::new(r.value.exp_m1(), r.sd * r.value.exp(), r.n)))
        .collect();
    let &(_, margin) = margins.iter().min_by(|a, b| a.1.value.total_cmp(&b.1.value))?;
    let softer = margins.iter().filter(|&&(_, m)| real(m)).map(|&(k, _)| k).collect();
    let confidence = unbeaten(margins.iter().map(|(_, m)| m.value / m.sd.max(1e-9)));
    Some(Sharpest { frame: best, margin, real: real(margin), softer, confidence })
}

/// Whether a margin is beyond chance.
fn real(margin: Estimate) -> bool {
    margin.value > CHANCE * margin.sd && margin.value > LEAST
}

/// Standard errors beyond which a margin is no chance, and the least margin that matters. Chosen: chance stays below
/// the first nineteen times of twenty; as for apertures, less than a twentieth is no loss, and frames exposed two stops
/// apart stand apart by two in a hundred where nothing else differs, which the scatter of the tiles doesn't show.
const CHANCE: f64 = 2.0;
const LEAST: f64 = NO_LOSS - 1.0;
/// Fewest tiles that a margin rests on. Chosen: fewer follow what they happen to show.
const TILES: usize = 3;

/// Logarithm of the ratio of frame `b`'s widths to frame `a`'s over some tiles: the middle one, with the error that their
/// scatter leaves.
fn ratio(a: &[Option<Estimate>], b: &[Option<Estimate>], tiles: &[usize]) -> Option<Estimate> {
    let logs: Vec<f64> =
        tiles.iter().filter_map(|&t| Some((b[t]?.value / a[t]?.value).ln())).filter(|l| l.is_finite()).collect();
    if logs.len() < TILES {
        return None;
    }
    let (middle, scatter) = (stats::median(&logs)?, stats::scatter(&logs)?);
    Some(Estimate::new(middle, (stats::MEDIAN_SD * scatter / (logs.len() as f64).sqrt()).max(0.002), logs.len() as u32))
}

/// Which of two frames is sharper in each zone, and by how much, by the widths `read` there; zones of too few common tiles are
/// left out.
///
/// The error is that of the tiles' ratios, and by how much their middle lies from the ratio of the zone's widths: where a zone
/// holds several depths, one frame is sharper in more of its tiles and the other may be by more.
#[must_use]
pub fn between(zones: &[Zone], read: &[ZoneBlur], blurs: &Blurs) -> Vec<Between> {
    let [first, second] = blurs.sigma.as_slice() else { return Vec::new() };
    let of_zone = |z: &Zone| {
        let tiles = ratio(first, second, &z.tiles)?;
        let width = |k: usize| {
            let own = read.iter().find(|r| r.name == z.name)?;
            own.points.iter().find(|p| p.frame == k).map(|p| p.blur.value)
        };
        let log = (width(1)? / width(0)?).ln();
        let margin = log.abs().exp_m1();
        let margin = Estimate::new(margin, tiles.sd.hypot(log - tiles.value) * (1.0 + margin), tiles.n);
        Some(Between { zone: z.name, sharper: real(margin).then_some(usize::from(log < 0.0)), margin })
    };
    zones.iter().filter_map(of_zone).collect()
}

/// Whether the plane of focus moved between any two of the frames though nothing recorded says so, by the widths as compared.
#[must_use]
pub fn focus_varied(blurs: &Blurs) -> bool {
    let frames = blurs.sigma.len();
    let moved = |a: usize, b: usize| {
        focus_moved((0..blurs.sigma[a].len()).filter_map(|t| {
            let (x, y) = blurs.sigma[a][t].zip(blurs.sigma[b][t])?;
            let sd = blurs.apart_sd[a][t].hypot(blurs.apart_sd[b][t]);
            Some(Twice { widths: [x.value, y.value], sd })
        }))
    };
    (0..frames).any(|a| (0..a).any(|b| moved(a, b)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::series::zone_blurs;
    use proptest::prelude::*;

    fn blurs(widths: &[Vec<f64>; 2]) -> Blurs {
        let tiles = widths[0].len();
        Blurs {
            sigma: widths.iter().map(|f| f.iter().map(|&w| Some(Estimate::new(w, 0.02, 9))).collect()).collect(),
            apart_sd: vec![vec![0.02; tiles]; 2],
            from_middle: vec![vec![(0.0, 0.0); tiles]; 2],
            at_least: vec![vec![false; tiles]; 2],
            anchor_sd: vec![0.03; tiles],
            moved: vec![0; 2],
        }
    }

    fn compared(widths: &[Vec<f64>; 2]) -> (Vec<ZoneBlur>, Vec<Between>) {
        let zones = [Zone { name: ZoneName::Centre, tiles: (0..widths[0].len()).collect() }];
        let blurs = blurs(widths);
        let read = zone_blurs(&zones, &blurs);
        let told = between(&zones, &read, &blurs);
        (read, told)
    }

    #[test]
    fn a_zone_sharper_all_over_is_told_and_one_of_two_depths_is_not() {
        let sharp: Vec<f64> = (0..12).map(|i| 0.6 + 0.01 * f64::from(i)).collect();
        let soft: Vec<f64> = sharp.iter().map(|w| 1.2 * w).collect();
        let told = compared(&[sharp.clone(), soft]).1;
        assert!(told[0].sharper == Some(0) && (told[0].margin.value - 0.2).abs() < 1e-6, "{told:?}");
        // Most of it is sharper in the second by a third, the rest in the first by as much as that is worth.
        let mixed: Vec<f64> =
            sharp.iter().enumerate().map(|(i, w)| if i % 3 == 0 { 1.9 * w } else { 0.7 * w }).collect();
        assert_eq!(compared(&[sharp, mixed]).1[0].sharper, None);
    }

    /// A blank frame, or one that couldn't be laid over the others, wherever it stands among them.
    #[test]
    fn a_frame_of_which_nothing_is_known_hides_no_sharpest() {
        let row = |width: f64| -> Vec<Option<Estimate>> {
            (0..12).map(|i| Some(Estimate::new(width * (1.0 + 0.01 * f64::from(i)), 0.02, 9))).collect()
        };
        for blank in 0..3 {
            let mut rows = vec![row(1.3), row(0.8)];
            rows.insert(blank, vec![None; 12]);
            let found = sharpest(&rows).expect("two frames are known");
            let place = |k: usize| k + usize::from(k >= blank);
            assert!(found.real && found.frame == place(1) && found.softer == [place(0)], "{blank}: {found:?}");
            assert!((found.margin.value - (1.3 / 0.8 - 1.0)).abs() < 1e-9, "{found:?}");
        }
        assert_eq!(sharpest(&[vec![None; 12], vec![None; 12]]), None);
        assert_eq!(sharpest(&[vec![None; 12], row(1.0)]), None);
    }

    proptest! {
        /// Whatever the tiles show, the frame called sharper has the smaller width in the table, by what is said.
        #[test]
        fn what_is_called_sharper_is_so_in_the_table(
            first in prop::collection::vec(0.4..3.0f64, 4..30),
            by in prop::collection::vec(0.5..2.0f64, 30),
        ) {
            let second = first.iter().zip(&by).map(|(w, b)| w * b).collect();
            let (read, told) = compared(&[first, second]);
            if let Some(k) = told[0].sharper {
                let width = |k: usize| read[0].points.iter().find(|p| p.frame == k).map(|p| p.blur.value);
                let share = width(1 - k).zip(width(k)).map(|(wider, own)| wider / own - 1.0);
                prop_assert!((share.unwrap_or(-1.0) - told[0].margin.value).abs() < 1e-9, "{read:?} {told:?}");
            }
        }
    }
}
