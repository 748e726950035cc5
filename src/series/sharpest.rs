//! Which of near-duplicates is the sharpest, and whether focus moved between frames after all.

use super::Blurs;
use crate::quantity::Estimate;

/// The sharpest of near-duplicates.
#[derive(Clone, Debug, PartialEq)]
pub struct Sharpest {
    /// Index among the frames given.
    pub frame: usize,
    /// How much wider the blur of the next best is, as a share (0.05 = 5 %).
    pub margin: Estimate,
    /// Whether the margin is beyond chance (more than two sd, and at least 2 %).
    pub real: bool,
    /// Indices of the frames whose blur is wider by more than chance.
    pub softer: Vec<usize>,
}

/// Finds the sharpest of frames from the widths of the same tiles in each: `[frame][tile]`.
///
/// The margin is the middle of the tiles' log ratios to the next best frame, its sd from their scatter.
#[must_use]
pub fn sharpest(sigma: &[Vec<Option<Estimate>>]) -> Option<Sharpest> {
    let tiles = sigma.first()?.len();
    let ratio = |a: usize, b: usize| -> Option<Estimate> {
        let mut logs: Vec<f64> = (0..tiles)
            .filter_map(|t| Some((sigma[b][t]?.value / sigma[a][t]?.value).ln()))
            .filter(|l| l.is_finite())
            .collect();
        if logs.len() < 3 {
            return None;
        }
        logs.sort_by(f64::total_cmp);
        let middle = logs[logs.len() / 2];
        let mut away: Vec<f64> = logs.iter().map(|l| (l - middle).abs()).collect();
        away.sort_by(f64::total_cmp);
        // Sd of a median: 1.2533 of that of the mean.
        let sd = 1.2533 * 1.4826 * away[away.len() / 2] / (logs.len() as f64).sqrt();
        Some(Estimate::new(middle, sd.max(0.002), logs.len() as u32))
    };
    let mut best = 0;
    for k in 1..sigma.len() {
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
    let real = |margin: Estimate| margin.value > 2.0 * margin.sd && margin.value > 0.02;
    let softer = margins.iter().filter(|&&(_, m)| real(m)).map(|&(k, _)| k).collect();
    Some(Sharpest { frame: best, margin, real: real(margin), softer })
}

/// Whether some tiles are clearly sharper in one frame and others clearly sharper in another, so that the plane of
/// focus moved between them though nothing recorded says so.
#[must_use]
pub fn focus_varied(blurs: &Blurs) -> bool {
    let frames = blurs.sigma.len();
    let clear = |a: usize, b: usize| -> (usize, usize) {
        let (mut count, mut compared) = (0, 0);
        for t in 0..blurs.sigma[a].len() {
            if let Some((x, y)) = blurs.sigma[a][t].zip(blurs.sigma[b][t]) {
                compared += 1;
                let sd = blurs.apart_sd[a][t].hypot(blurs.apart_sd[b][t]);
                count += usize::from(y.value > 1.25 * x.value && y.value - x.value > 4.0 * sd);
            }
        }
        (count, compared)
    };
    (0..frames).any(|a| {
        (0..a).any(|b| {
            let ((first, compared), (second, _)) = (clear(a, b), clear(b, a));
            let enough = (compared / 20).max(3);
            first >= enough && second >= enough
        })
    })
}
