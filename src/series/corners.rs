//! Which stop the corners of an aperture series need: all of them together, and those that stand apart.

use super::fit::IN_COMMON;
use super::odd::SURE;
use super::whole::run;
use super::zone::NO_LOSS;
use super::{ZoneBlur, ZoneName};

/// What the corners of a series need.
#[derive(Clone, Debug, PartialEq)]
pub struct Corners {
    /// Frames at which all of them have a width, by f-number.
    pub stops: Vec<usize>,
    /// The run of these at which those that go together lose nothing.
    pub within: Vec<usize>,
    /// Those that stand apart and do lose at the first of that run, and the run of frames at which such a one loses nothing.
    pub apart: Vec<(ZoneName, Vec<usize>)>,
}

/// Standard errors beyond which a loss is no chance. Chosen: chance stays below that nineteen times of twenty.
const BEYOND: f64 = 2.0;

/// Logarithms of the widths of one corner, and the squares of their errors that frames don't share, by stop.
struct Corner {
    name: ZoneName,
    logs: Vec<f64>,
    squares: Vec<f64>,
}

/// What corners need, by the widths of each at the same stops; `None` where fewer than two stops show all of them. Points are in the
/// order of the f-numbers.
///
/// Corners of one lens go together as far as their errors tell, so that their mean says what they need: the one that reads worst of
/// four is so by chance more often than not. One that at some stop loses more than the others do, by more than chance, speaks for
/// itself.
pub(super) fn corners(zones: &[&ZoneBlur]) -> Option<Corners> {
    let zones: Vec<&ZoneBlur> = zones.iter().copied().filter(|z| z.name.is_corner()).collect();
    let at = |z: &ZoneBlur, k: usize| z.points.iter().find(|p| p.frame == k).copied();
    let frames = zones.first()?.points.iter().map(|p| p.frame);
    let stops: Vec<usize> = frames.filter(|&k| zones.iter().all(|z| at(z, k).is_some())).collect();
    if stops.len() < 2 {
        return None;
    }
    let corner = |z: &&ZoneBlur| {
        let points = || stops.iter().filter_map(|&k| at(z, k));
        Corner {
            name: z.name,
            logs: points().map(|p| p.blur.value.ln()).collect(),
            squares: points().map(|p| (p.apart_sd / p.blur.value).powi(2)).collect(),
        }
    };
    let all: Vec<Corner> = zones.iter().map(corner).collect();
    let together = going_together(&all);
    let within = lossless(&together);
    let frames = |run: &[usize]| run.iter().map(|&i| stops[i]).collect::<Vec<usize>>();
    let first = *within.first()?;
    let alone = all.iter().filter(|c| together.iter().all(|o| o.name != c.name));
    let apart = alone.map(|c| (c.name, lossless(&[c]))).filter(|(_, run)| !run.contains(&first));
    let apart = apart.map(|(name, run)| (name, frames(&run))).collect();
    Some(Corners { within: frames(&within), apart, stops })
}

/// The corners of which none stands apart from the mean of the others at any stop: the one that does so the most is left out until
/// there is none.
fn going_together(all: &[Corner]) -> Vec<&Corner> {
    let mut kept: Vec<&Corner> = all.iter().collect();
    loop {
        let best = least(&kept);
        let apart = |c: &Corner| {
            let others: Vec<&Corner> = kept.iter().copied().filter(|o| o.name != c.name).collect();
            // What frames have in common moves all corners alike.
            let at = |i: usize| {
                let (own, theirs) = (loss(&[c], i, best), loss(&others, i, best));
                let (by, sd) = ((own.0 - theirs.0).abs(), own.1.hypot(theirs.1));
                if by > NO_LOSS.ln() { by / sd.max(1e-9) } else { 0.0 }
            };
            if others.is_empty() { 0.0 } else { (0..c.logs.len()).map(at).fold(0.0, f64::max) }
        };
        let by: Vec<f64> = kept.iter().map(|c| apart(c)).collect();
        match (0..by.len()).max_by(|&a, &b| by[a].total_cmp(&by[b])) {
            Some(most) if by[most] > SURE => drop(kept.remove(most)),
            _ => return kept,
        }
    }
}

/// The run of stops about the best at which some corners lose nothing in the mean: no twentieth, or nothing that is beyond the error.
fn lossless(of: &[&Corner]) -> Vec<usize> {
    let best = least(of);
    let loses = |i: usize| {
        let (by, sd) = loss(of, i, best);
        by > NO_LOSS.ln() && by > BEYOND * sd.hypot(IN_COMMON)
    };
    run(of[0].logs.len(), best, |i| !loses(i)).collect()
}

/// The stop with the least mean width.
fn least(of: &[&Corner]) -> usize {
    let sum = |i: usize| of.iter().map(|c| c.logs[i]).sum::<f64>();
    (0..of[0].logs.len()).min_by(|&a, &b| sum(a).total_cmp(&sum(b))).unwrap_or(0)
}

/// Mean logarithm by which some corners are wider at one stop than at another, and its standard deviation but for what frames
/// have in common.
fn loss(of: &[&Corner], at: usize, than: usize) -> (f64, f64) {
    let n = of.len().max(1) as f64;
    let by = of.iter().map(|c| c.logs[at] - c.logs[than]).sum::<f64>() / n;
    let square = of.iter().map(|c| c.squares[at] + c.squares[than]).sum::<f64>();
    (by, square.sqrt() / n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Estimate;
    use crate::series::Point;

    const NAMES: [ZoneName; 4] = [ZoneName::TopLeft, ZoneName::TopRight, ZoneName::BottomLeft, ZoneName::BottomRight];

    /// Corners of these widths at the stops of frames 0, 1, 2 ..., each with an error of its own of this share.
    fn of(widths: [[f64; 4]; 4], share: f64) -> Corners {
        let zone = |(name, widths): (ZoneName, [f64; 4])| {
            let point =
                |(frame, &w): (usize, &f64)| Point { frame, blur: Estimate::new(w, 0.05 * w, 9), apart_sd: share * w };
            ZoneBlur { name, points: widths.iter().enumerate().map(point).collect(), tiles: 9, of: 9 }
        };
        let zones: Vec<ZoneBlur> = NAMES.into_iter().zip(widths).map(zone).collect();
        corners(&zones.iter().collect::<Vec<_>>()).expect("stops that all have")
    }

    #[test]
    fn the_worst_reading_of_four_corners_is_no_need_of_all() {
        // All lose 4 % at the second stop, and read so with errors of 1.4 % of a ratio: -1, 0, +0.3 and +1.4 of these. The last
        // reads 6 % wide, beyond the twentieth that counts.
        let mut widths =
            [[1.3, 1.026, 1.0, 1.01], [1.3, 1.04, 1.0, 1.01], [1.3, 1.044, 1.0, 1.01], [1.3, 1.06, 1.0, 1.01]];
        let found = of(widths, 0.01);
        assert_eq!((&found.within[..], found.apart.len()), (&[1, 2, 3][..], 0), "{found:?}");
        // All lose 8 %, the mean of four is known to 0.7 %, and frames to 2.5 %: 7.7 % are beyond 2 x 2.6 %.
        for corner in &mut widths {
            corner[1] += 0.04;
        }
        assert_eq!(of(widths, 0.01).within, [2, 3]);
        // The mean of four that are known to 10 % of a ratio each is known to 5 %, so that 8 % are chance.
        assert_eq!(of(widths, 0.07).within, [1, 2, 3]);
    }

    #[test]
    fn a_corner_that_stands_out_speaks_for_itself() {
        let plain = [1.01, 1.0, 1.0, 1.02];
        let found = of([plain, plain, [1.6, 1.3, 1.0, 1.02], plain], 0.01);
        assert_eq!(found.within, [0, 1, 2, 3], "{found:?}");
        assert_eq!(found.apart, [(ZoneName::BottomLeft, vec![2, 3])]);
        // Two of a side do so too.
        let found = of([plain, [1.6, 1.3, 1.0, 1.02], plain, [1.5, 1.25, 1.0, 1.02]], 0.01);
        assert_eq!((found.within.len(), found.apart.len()), (4, 2), "{found:?}");
        // And one that is past its best where the others come to theirs.
        let later = [1.3, 1.0, 1.0, 1.02];
        let found = of([later, later, [1.0, 1.2, 1.3, 1.4], later], 0.01);
        assert_eq!((&found.within[..], &found.apart[..]), (&[1, 2, 3][..], &[(ZoneName::BottomLeft, vec![0])][..]));
    }
}
