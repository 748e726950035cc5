//! Answers of a focus bracket: the best single frame, and the fewest frames that cover every place.

use super::cover::smallest_cover;
pub(super) use super::focusing::FEWEST_FRAMES;
pub use super::focusing::Softened;
use super::focusing::{self, focusing};
use super::rivals::unbeaten;
pub use super::why_uncovered::Lack;
use super::why_uncovered::{lacks, nearness};
use super::widths::steadied;
pub use super::widths::{Depth, Widths};
use super::{Blurs, Outdone, ZoneBlur, ZoneName, ends};
use crate::optics::blur::{Parts, sigma_px};
use crate::optics::{self, stops};
use crate::quantity::{Estimate, Region};

/// What a focus bracket answers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bracket {
    /// The frame whose worse one of the nearest and the farthest tiles is the least blurred.
    pub best_single: Option<usize>,
    /// Other frames that are no worse for that by more than the error of the widths.
    pub as_good: Vec<usize>,
    /// The fewest frames that show every coverable tile within the permitted blur, near to far.
    pub covering_set: Vec<usize>,
    /// Members of that set that others can stand in for, and these others: with any of them the set is no larger and leaves
    /// nothing out.
    pub instead: Vec<(usize, Vec<usize>)>,
    /// Tiles that were compared and that no frame shows within the permitted blur.
    pub uncovered: Vec<usize>,
    /// Why, for each of them; `None` where that is not known.
    pub lacks: Vec<Option<Lack>>,
    /// The chance that no other frame is better for near and far together, all of them taken together but for those that are as good.
    pub confidence: f64,
    /// Frames softer than another and sharper nowhere: they are neither in a set nor called as good.
    pub outdone: Vec<Outdone>,
    /// Nor are these, which the picture itself says were shaken.
    pub shaken: Vec<usize>,
    /// Nor these, which are softer where they are in focus than the others are where they are.
    pub softened: Vec<Softened>,
}

/// Standard deviations by which a width must be beyond the permitted one to rule a frame out. Chosen: so that one frame
/// in fifteen is ruled out wrongly.
const CHANCE: f64 = 1.5;

/// Share by which the widths of a tile may all be off. Set on rendered series (docs/accuracy.md, aperture series):
/// single-frame widths, which those of a tile rest on, err by 4 % in the middle and a neighbourhood steadies that by little.
const ANCHOR: f64 = 0.04;

/// Widths a bracket is answered from: those of the model of all frames at once where it holds (see `focusing`; it needs
/// frames of one aperture), else the measured ones, steadied by their neighbours'. These have the benefit of chance where it is asked
/// whether a place is sharp, but by no more than pixel and diffraction leave.
///
/// `f_numbers` are the frames', where known; `pitch_um` is the pixel pitch, um.
#[must_use]
pub fn widths(blurs: &Blurs, tiles: &[Region], f_numbers: &[Option<f64>], pitch_um: Option<f64>) -> Widths {
    let fitted = one_aperture(f_numbers, pitch_um).and_then(|lambda_n_px| focusing(blurs, tiles, lambda_n_px));
    if let Some(fitted) = fitted {
        return fitted;
    }
    let of_frame = |sigma: &Vec<Option<Estimate>>| -> Vec<Option<f64>> {
        let logs: Vec<Option<f64>> = sigma.iter().map(|e| e.map(|e| e.value.max(1e-3).ln())).collect();
        steadied(&logs, tiles).into_iter().map(|l| l.map(f64::exp)).collect()
    };
    let sigma: Vec<Vec<Option<f64>>> = blurs.sigma.iter().map(of_frame).collect();
    let low = |(k, (sigma, sd)): (usize, (&Vec<Option<f64>>, &Vec<f64>))| {
        let lambda_n_px = f_numbers.get(k).copied().flatten().zip(pitch_um).map(|(n, p)| optics::lambda_n_px(n, p));
        let bare = sigma_px(&Parts { lambda_n_px, pixel: true, ..Parts::default() });
        sigma.iter().zip(sd).map(|(w, sd)| w.map(|w| (w - CHANCE * sd).max(bare).min(w))).collect()
    };
    let low = sigma.iter().zip(&blurs.apart_sd).enumerate().map(low).collect();
    Widths { sigma, low: Some(low), depth: None, doubt: ANCHOR }
}

/// Wavelength times the f-number over the pixel pitch, px, where these are known; `None` where frames differ in their f-number.
fn one_aperture(f_numbers: &[Option<f64>], pitch_um: Option<f64>) -> Option<Option<f64>> {
    let known = || f_numbers.iter().copied().flatten();
    let lambda_n_px = || known().next().zip(pitch_um).map(|(n, p)| optics::lambda_n_px(n, p));
    (stops::distinct(known()).len() <= 1).then(lambda_n_px)
}

/// Frames blurred by more than their focus, as far as all frames together tell; what they are given is that of [`widths`].
#[must_use]
pub fn softened(blurs: &Blurs, tiles: &[Region], f_numbers: &[Option<f64>], pitch_um: Option<f64>) -> Vec<Softened> {
    one_aperture(f_numbers, pitch_um).map_or_else(Vec::new, |l| focusing::softened(blurs, tiles, l))
}

/// Answers a focus bracket from [`widths`]. `permitted` is the widest blur that counts as sharp, px, pixel aperture
/// included.
///
/// The set is the smallest there is (branch and bound over the frames' tile sets); of sets of one size that with the
/// least mean blur. A frame that shows a tile wider than permitted by no more than the standard error of a width shows it;
/// tiles that no frame shows better than permitted by more than that ask for no frame of their own, unless there are no
/// others.
#[must_use]
pub fn answer(zones: &[ZoneBlur], widths: &Widths, tiles: &[Region], permitted: f64) -> Bracket {
    answer_without(zones, widths, tiles, &vec![permitted; widths.sigma.len()], &[])
}

/// As [`answer`], of the frames that are not `left_out`, each by the widest blur that counts as sharp in it.
#[must_use]
pub fn answer_without(
    zones: &[ZoneBlur],
    widths: &Widths,
    tiles: &[Region],
    limits: &[f64],
    left_out: &[usize],
) -> Bracket {
    let widths = &widths.without(left_out);
    let of_others = |z: &ZoneBlur| ZoneBlur {
        points: z.points.iter().copied().filter(|p| !left_out.contains(&p.frame)).collect(),
        ..z.clone()
    };
    let zones: &[ZoneBlur] = &zones.iter().map(of_others).collect::<Vec<ZoneBlur>>();
    let frames = widths.sigma.len();
    let width = |k: usize, t: usize| widths.sigma[k][t].unwrap_or(f64::INFINITY);
    let least = |t: usize| (0..frames).map(|k| width(k, t)).fold(f64::INFINITY, f64::min);
    let judged: Vec<usize> = (0..tiles.len()).filter(|&t| least(t).is_finite()).collect();
    let may = |k: usize, t: usize, times: f64| widths.may_be(k, t).is_some_and(|w| w <= times * limits[k]);
    let shown = |t: usize, times: f64| (0..frames).any(|k| may(k, t, times));
    let (coverable, uncovered): (Vec<usize>, Vec<usize>) = judged.iter().partition(|&&t| shown(t, 1.0));
    let clear: Vec<usize> = coverable.iter().copied().filter(|&t| shown(t, 1.0 - widths.doubt)).collect();
    let asking = if clear.is_empty() { &coverable } else { &clear };
    let covers = |k: usize, t: usize| may(k, t, 1.0 + widths.doubt);
    let sets: Vec<Vec<bool>> = (0..frames).map(|k| asking.iter().map(|&t| covers(k, t)).collect()).collect();
    let cost = |set: &[usize]| -> f64 {
        coverable.iter().map(|&t| set.iter().map(|&k| width(k, t)).fold(f64::INFINITY, f64::min)).sum()
    };
    let mut set = smallest_cover(&sets, &cost);
    let nearness = nearness(widths, tiles);
    let place = |k: usize| {
        if let Some(nearness) = nearness.as_ref() {
            return nearness.get(k).copied().flatten().unwrap_or(f64::NEG_INFINITY);
        }
        // Near lies low in the picture: order by the mean height of what a frame shows best.
        let best = judged.iter().filter(|&&t| width(k, t) <= 1.05 * least(t));
        let rows: Vec<f64> = best.map(|&t| f64::from(tiles[t].y)).collect();
        rows.iter().sum::<f64>() / rows.len().max(1) as f64
    };
    set.sort_by(|&a, &b| place(b).total_cmp(&place(a)));
    let single = best_single(zones, widths, tiles);
    let (best_single, as_good) = single.as_ref().map_or((None, Vec::new()), |s| (Some(s.0), s.1.clone()));
    // Where one frame covers all by itself, it is the best one if that does so.
    if let Some(k) = best_single.filter(|&k| set.len() == 1 && sets[k].iter().all(|&covered| covered)) {
        set = vec![k];
    }
    let mut uncovered = uncovered;
    if let Some(k) = best_single.filter(|&k| spans(zones, widths, k, limits[k])) {
        (set, uncovered) = (vec![k], Vec::new());
    }
    let instead = instead(&set, &sets);
    let lacks = lacks(&uncovered, widths, tiles, limits.iter().copied().fold(0.0, f64::max));
    let confidence = single.map_or(0.0, |s| s.2);
    Bracket { best_single, as_good, covering_set: set, instead, uncovered, lacks, confidence, ..Bracket::default() }
}

/// Whether a frame shows the nearest and the farthest ground sharp, and so everything between: the disc of defocus grows from
/// the plane of focus both ways. What is softer there than the limit is so by another cause, which no other focus mends.
/// Where the tiles' places are known they say more than two zones do.
fn spans(zones: &[ZoneBlur], widths: &Widths, frame: usize, permitted: f64) -> bool {
    let within = |name: ZoneName| {
        let zone = zones.iter().find(|z| z.name == name)?;
        let point = zone.points.iter().find(|p| p.frame == frame)?;
        Some(point.blur.value <= (1.0 + widths.doubt) * permitted)
    };
    widths.depth.is_none() && [ZoneName::Near, ZoneName::Far].into_iter().all(|z| within(z) == Some(true))
}

/// For each member of a cover the other rows that may stand in for it.
fn instead(set: &[usize], sets: &[Vec<bool>]) -> Vec<(usize, Vec<usize>)> {
    let others = |k: usize| {
        let left: Vec<usize> = (0..sets[k].len()).filter(|&c| set.iter().all(|&o| o == k || !sets[o][c])).collect();
        let able = |o: &usize| {
            !set.contains(o) && sets[*o].contains(&true) && left.iter().all(|&c| sets[*o][c] || !sets[k][c])
        };
        (0..sets.len()).filter(able).collect::<Vec<usize>>()
    };
    set.iter().map(|&k| (k, others(k))).filter(|(_, o)| !o.is_empty()).collect()
}

/// Share by which the widths of one place in two frames may stand apart wrongly, and those of two places. Set on
/// rendered series (docs/accuracy.md, aperture series): the scale of either place comes from single frames, which err
/// by 4 %.
const ALIKE: (f64, f64) = (0.02, 0.06);

/// Frame with the least worst of the nearest and the farthest tiles, where the tiles' places are known: zones found in one
/// frame may hold clouds, or lie elsewhere. Without places that of the zones near and far; without these, of all zones.
/// With it the frames that can't be told from it, and the chance that none of the others is better.
fn best_single(zones: &[ZoneBlur], widths: &Widths, tiles: &[Region]) -> Option<(usize, Vec<usize>, f64)> {
    let of_zone = |z: &ZoneBlur| -> Vec<Option<f64>> {
        let at = |k: usize| z.points.iter().find(|p| p.frame == k).map(|p| p.blur.value);
        (0..widths.sigma.len()).map(at).collect()
    };
    let named: Vec<&ZoneBlur> = zones.iter().filter(|z| matches!(z.name, ZoneName::Near | ZoneName::Far)).collect();
    let judged: Vec<Vec<Option<f64>>> = match (ends(widths, tiles), named.len()) {
        (Some(ends), _) => ends.map(|e| e.widths).into(),
        (None, 2) => named.into_iter().map(of_zone).collect(),
        _ => zones.iter().map(of_zone).collect(),
    };
    // By frame: which end is the worse, and how wide.
    let worst: Vec<(usize, usize, f64)> = (0..widths.sigma.len())
        .filter_map(|k| {
            let at: Option<Vec<f64>> = judged.iter().map(|z| z[k]).collect();
            let (end, width) = at?.into_iter().enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
            Some((k, end, width))
        })
        .collect();
    let &(best, end, least) = worst.iter().min_by(|a, b| a.2.total_cmp(&b.2))?;
    let sd = |other: usize| if other == end { ALIKE.0 } else { ALIKE.1 };
    let (alike, told): (Vec<&(usize, usize, f64)>, Vec<_>) =
        worst.iter().filter(|w| w.0 != best).partition(|w| w.2 <= (1.0 + sd(w.1)) * least);
    let confidence = unbeaten(told.iter().map(|w| (w.2 / least - 1.0) / sd(w.1)));
    Some((best, alike.iter().map(|w| w.0).collect(), confidence))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::series::Point;
    use proptest::prelude::*;

    fn zone(name: ZoneName, widths: &[f64]) -> ZoneBlur {
        let point = |(frame, &width)| Point { frame, blur: Estimate::new(width, 0.02, 9), apart_sd: 0.01 };
        ZoneBlur { name, points: widths.iter().enumerate().map(point).collect(), tiles: 9, of: 9 }
    }

    #[test]
    fn a_tile_within_its_error_of_the_limit_asks_for_no_frame() {
        let tiles: Vec<Region> = (0..3).map(|t| Region { x: 0, y: 50 * t, width: 50, height: 50 }).collect();
        let of = |widths: [f64; 3]| widths.map(Some).to_vec();
        let sigma = vec![of([0.7, 0.8, 1.02]), of([1.5, 1.3, 0.99])];
        let set = |doubt: f64| {
            answer(&[], &Widths { sigma: sigma.clone(), low: None, depth: None, doubt }, &tiles, 1.0).covering_set
        };
        assert_eq!(set(0.0).len(), 2);
        assert_eq!(set(0.03), [0]);
    }

    #[test]
    fn each_frame_is_held_to_the_limit_of_its_own_audit() {
        // A frame whose audit passes all of 0.85 px for 0.87, beside one that is sharper far off and held to 0.78 px.
        let tiles: Vec<Region> = (0..4).map(|t| Region { x: 0, y: 50 * t, width: 50, height: 50 }).collect();
        let of = |widths: [f64; 4]| widths.map(Some).to_vec();
        let sigma = vec![of([0.85, 0.80, 0.78, 0.85]), of([0.70, 0.70, 0.82, 0.99])];
        let widths = Widths { sigma, low: None, depth: None, doubt: 0.0 };
        let set = |limits: [f64; 2]| {
            let found = answer_without(&[], &widths, &tiles, &limits, &[]);
            (found.covering_set, found.uncovered)
        };
        assert_eq!(set([0.87, 0.78]), (vec![0], vec![]));
        assert_eq!(set([0.78, 0.78]), (vec![0, 1], vec![3]));
        // Nor does the first one's limit pass what the second shows.
        assert_eq!(set([0.79, 0.87]), (vec![1], vec![3]));
    }

    #[test]
    fn chance_helps_a_place_to_count_and_ranks_no_frame() {
        let tiles: Vec<Region> = (0..6).map(|t| Region { x: 0, y: 50 * t, width: 50, height: 50 }).collect();
        let blurs = |frames: [(f64, f64); 2]| Blurs {
            sigma: frames.map(|(w, sd)| vec![Some(Estimate::new(w, sd, 9)); 6]).into(),
            apart_sd: frames.map(|(_, sd)| vec![sd; 6]).into(),
            from_middle: vec![vec![(0.0, 0.0); 6]; 2],
            at_least: vec![vec![false; 6]; 2],
            anchor_sd: vec![0.03; 6],
            moved: vec![0; 2],
        };
        let set = |frames, permitted| {
            let widths = widths(&blurs(frames), &tiles, &[Some(4.0), Some(8.0)], None);
            answer(&[], &widths, &tiles, permitted).covering_set
        };
        // 1.10 +- 0.15 px may be 0.875 and 1.00 +- 0.02 px 0.97: both may be within 1 px, and the second is the sharper.
        assert_eq!(set([(1.10, 0.15), (1.00, 0.02)], 1.0), [1]);
        // Within 0.9 px only the first may be.
        assert_eq!(set([(1.10, 0.15), (1.00, 0.02)], 0.9), [0]);
        // 0.6 +- 0.5 px may be anything down to a pixel's own 0.31 px, and no less.
        assert_eq!(set([(0.6, 0.5), (1.0, 0.02)], 0.4), [0]);
        assert!(set([(0.6, 0.5), (1.0, 0.02)], 0.29).is_empty());
    }

    #[test]
    fn a_frame_sharp_near_and_far_needs_no_other() {
        // The last row is cloud: softer than the limit in that frame, and within it by chance in another.
        let tiles: Vec<Region> = (0..4).map(|t| Region { x: 0, y: 50 * t, width: 50, height: 50 }).collect();
        let of = |widths: [f64; 4]| widths.map(Some).to_vec();
        let sigma = vec![of([1.3, 0.7, 0.8, 0.9]), of([0.8, 0.7, 1.2, 1.6]), of([2.0, 1.7, 1.1, 0.6])];
        let zones = [zone(ZoneName::Near, &[0.9, 1.6, 0.6]), zone(ZoneName::Far, &[0.7, 0.7, 1.7])];
        let of_place = |depth: Option<Depth>| {
            let widths = Widths { sigma: sigma.clone(), low: None, depth, doubt: 0.0 };
            answer(&zones, &widths, &tiles, 1.0)
        };
        let found = of_place(None);
        assert_eq!((found.covering_set, found.uncovered, found.best_single), (vec![0], Vec::new(), Some(0)));
        // Tiles whose places are known speak for themselves.
        assert_eq!(of_place(Some(Depth { place: vec![None; 4], ..Depth::default() })).covering_set.len(), 2);
    }

    #[test]
    fn frames_whose_worse_ends_lie_within_their_error_are_as_good() {
        // The third is better than the others: than the second by 4 % at the same end, than the fourth by 4 % at the other.
        let zones = [zone(ZoneName::Near, &[0.6, 0.7, 0.8, 1.04]), zone(ZoneName::Far, &[1.3, 1.04, 1.0, 0.7])];
        let none = Widths { sigma: vec![Vec::new(); 4], low: None, depth: None, doubt: 0.0 };
        let answer = answer(&zones, &none, &[], 1.0);
        assert_eq!((answer.best_single, answer.as_good), (Some(2), vec![3]));
    }

    proptest! {
        /// Evenly spread ground seen at recorded distances asks for no more frames than the intervals of sharp depth
        /// about those distances: on squared widths, base^2 + (0.2658 d)^2 for a disc of d px.
        #[test]
        fn a_set_asks_for_no_more_than_a_count_of_depths(
            frames in 2usize..16,
            span in 2.0..20.0f64,
            off in prop::collection::vec(-0.3..0.3f64, 16),
            noise in prop::collection::vec(-0.03..0.03f64, 16 * 40),
        ) {
            const TILES: usize = 40;
            let (base, permitted) = (0.5, 1.0);
            let place = |t: usize| span * t as f64 / (TILES - 1) as f64;
            let focus: Vec<f64> = (0..frames).map(|k| span * (k as f64 + off[k]) / (frames - 1) as f64).collect();
            let width = |k: usize, t: usize| {
                f64::hypot(base, crate::quantity::DISC_SIGMA * (place(t) - focus[k])) * (1.0 + noise[k * TILES + t])
            };
            let sigma: Vec<Vec<Option<f64>>> =
                (0..frames).map(|k| (0..TILES).map(|t| Some(width(k, t))).collect()).collect();
            let tiles: Vec<Region> =
                (0..TILES).map(|t| Region { x: 0, y: 50 * t as u32, width: 50, height: 50 }).collect();
            let found = answer(&[], &Widths { sigma, low: None, depth: None, doubt: 0.04 }, &tiles, permitted);
            // From one end on, the frame that reaches farthest among those that show the place; reach by geometry alone.
            let reach = (permitted * permitted - base * base).sqrt() / crate::quantity::DISC_SIGMA;
            let reached = |t: usize| focus.iter().any(|f| (place(t) - *f).abs() <= reach);
            // What lies beyond every frame's reach may be read as just within it.
            prop_assume!((0..TILES).all(reached));
            let (mut count, mut t) = (0, 0);
            while t < TILES {
                let farthest = focus.iter().filter(|f| (place(t) - **f).abs() <= reach).copied().reduce(f64::max);
                match farthest {
                    Some(f) => {
                        count += 1;
                        t = (t..TILES).find(|&t| place(t) > f + reach).unwrap_or(TILES);
                    }
                    None => t += 1,
                }
            }
            prop_assert!(found.covering_set.len() <= count, "{:?} for {count}", found.covering_set);
        }

        /// Whatever stands in leaves nothing out.
        #[test]
        fn a_stand_in_covers_what_it_stands_for(
            sets in prop::collection::vec(prop::collection::vec(any::<bool>(), 9), 2..8),
        ) {
            let all: Vec<usize> = (0..9).filter(|&c| sets.iter().any(|s| s[c])).collect();
            let sets: Vec<Vec<bool>> = sets.iter().map(|s| all.iter().map(|&c| s[c]).collect()).collect();
            let found = smallest_cover(&sets, &|_| 0.0);
            for (k, others) in instead(&found, &sets) {
                for o in others {
                    let mut with = found.clone();
                    with.iter_mut().filter(|m| **m == k).for_each(|m| *m = o);
                    prop_assert!((0..all.len()).all(|c| with.iter().any(|&m| sets[m][c])));
                }
            }
        }

        /// Against trying every subset.
        #[test]
        fn the_cover_is_smallest(sets in prop::collection::vec(prop::collection::vec(any::<bool>(), 9), 1..8)) {
            let all: Vec<bool> = (0..9).map(|c| sets.iter().any(|s| s[c])).collect();
            let covers = |chosen: &[usize]| (0..9).all(|c| !all[c] || chosen.iter().any(|&k| sets[k][c]));
            let coverable: Vec<Vec<bool>> =
                sets.iter().map(|s| (0..9).filter(|&c| all[c]).map(|c| s[c]).collect()).collect();
            let found = smallest_cover(&coverable, &|_| 0.0);
            prop_assert!(covers(&found));
            let fewest = (0u32..1 << sets.len())
                .filter(|mask| covers(&(0..sets.len()).filter(|k| mask >> k & 1 == 1).collect::<Vec<_>>()))
                .map(u32::count_ones)
                .min()
                .unwrap();
            prop_assert_eq!(found.len() as u32, fewest);
        }
    }
}
