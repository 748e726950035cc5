//! Does a tile's spectrum bear out the width its edges claim, and is the blur a disc that they can't see?
//!
//! Defocus spreads light over a disc. A thin or small bright detail under it becomes a bar or a spot with crisp rims,
//! which pass for the edges of something sharp. Its spectrum gives it away: that of a disc falls to nothing at a
//! frequency of 1.22 over the diameter and rises again (2 J1(x) / x), which no scene and no other blur does.

use std::sync::LazyLock;

use super::scene::Rings;
use super::spectrum::{BINS, RINGS, SIDE};
use crate::optics::kernel;
use crate::quantity::{DISC_SIGMA, Estimate};

/// Widths that are weighed against each other, reduced pixels: from, how many, and the ratio of neighbours.
const SMALLEST: f64 = 0.1;
const STEPS: i32 = 46;
const RATIO: f64 = 1.1;
/// Blur of a sharp lens and a pixel on top of a disc's, reduced pixels.
const OWN: f64 = 0.25;
/// Factor within which a width bears out the claim, and beyond which it is another.
const NEAR: f64 = 1.12;
const WIDER: f64 = 1.25;
/// Difference of chi-square from which one explanation is preferred: three standard deviations; where nothing else
/// speaks for it far more, since patterns (bricks) have rings of their own.
const CONTRADICTION: f64 = 9.0;
const DISCOVERY: f64 = 40.0;
/// Chi-square a ring up to which an explanation is one.
const EXPLAINED: f64 = 2.5;
/// Relative error of a disc's width beyond the posterior's own: the rings are coarse, blades make no perfect disc.
const SYSTEMATIC: f64 = 0.07;
/// Largest relative error of the posterior that is worth giving.
const WIDEST: f64 = 0.15;
/// A disc so many times as wide as the edges claim is a misreading of either.
const FARTHEST: f64 = 4.0;

/// What a spectrum says to a claim.
#[derive(Clone, Copy, Debug)]
pub(super) enum Answer {
    /// It may be so.
    Fair,
    /// The blur is a disc, this wide.
    Disc(Estimate),
    /// It is a wider disc, by how much can't be said.
    Wider,
}

/// ln T^2 of a blur by ring, the ring's breadth and the window's smear averaged over.
struct Kind {
    /// Gaussian-equivalent sigma, reduced pixels.
    sigma: f64,
    disc: bool,
    log: [f64; BINS],
}

static KINDS: LazyLock<Vec<Kind>> = LazyLock::new(|| {
    let widths = || (0..STEPS).map(|i| SMALLEST * RATIO.powi(i));
    let gaussians = widths().map(|s| Kind::of(s, false, |f| kernel::gaussian(s, f)));
    let discs = widths().filter(|s| *s > 1.5 * OWN).map(|s| {
        let diameter = (s * s - OWN * OWN).sqrt() / DISC_SIGMA;
        Kind::of(s, true, |f| kernel::disc(diameter, f) * kernel::gaussian(OWN, f))
    });
    gaussians.chain(discs).collect()
});

impl Kind {
    fn of(sigma: f64, disc: bool, mtf: impl Fn(f64) -> f64) -> Self {
        const FINE: usize = 24;
        let log = std::array::from_fn(|k| {
            // The window smears each frequency over a cell and a half.
            let (low, high) = (f64::from(RINGS[k]) - 0.7, f64::from(RINGS[k + 1]) + 0.7);
            let at = |j: usize| (low + (high - low) * (j as f64 + 0.5) / FINE as f64) / SIDE as f64;
            let power = (0..FINE).map(|j| mtf(at(j)).powi(2)).sum::<f64>() / FINE as f64;
            power.max(1e-5).ln()
        });
        Self { sigma, disc, log }
    }
}

/// Weighs the rings of a reduced tile against a claimed width, px, where there is a claim.
pub(super) fn weigh(rings: &Rings, claim: Option<f64>) -> Answer {
    let shrink = rings.shrink as f64;
    let misfits: Vec<(&Kind, f64)> = KINDS.iter().map(|k| (k, rings.misfit(&k.log))).collect();
    let least = |of: &dyn Fn(&Kind) -> bool| {
        let among = misfits.iter().filter(|(k, _)| of(k));
        among.min_by(|a, b| a.1.total_cmp(&b.1)).map_or((f64::INFINITY, None), |(k, m)| (*m, Some(*k)))
    };
    let (rival, best, needed) = match claim {
        Some(sigma) => {
            let claimed = (sigma / shrink).max(SMALLEST);
            (least(&|k| k.sigma <= claimed * NEAR).0, least(&|k| k.sigma > claimed * WIDER), CONTRADICTION)
        }
        None => {
            let disc = least(&|k| k.disc);
            let width = disc.1.map_or(0.0, |k| k.sigma);
            (least(&|k| !k.disc || k.sigma < 0.6 * width).0, disc, DISCOVERY)
        }
    };
    let (misfit, Some(kind)) = best else { return Answer::Fair };
    if !(rival - misfit > needed) {
        return Answer::Fair;
    }
    // Smooth scenes with a few sharp edges fall as if blurred, but without a disc's zeros.
    if !kind.disc || claim.is_some_and(|sigma| shrink * kind.sigma > FARTHEST * sigma) {
        return Answer::Fair;
    }
    if misfit > EXPLAINED * BINS as f64 {
        return if claim.is_some() { Answer::Wider } else { Answer::Fair };
    }
    // Mean and spread of ln sigma among discs.
    let (mut weight, mut sum, mut square) = (0.0, 0.0, 0.0);
    for (k, m) in misfits.iter().filter(|(k, _)| k.disc) {
        let (w, l) = ((0.5 * (misfit - m)).exp(), k.sigma.ln());
        weight += w;
        sum += w * l;
        square += w * l * l;
    }
    let mean = sum / weight;
    // Between neighbouring widths the posterior can't be narrower than their distance lets it seem.
    let own = (square / weight - mean * mean).max(0.0).sqrt().max(0.3 * RATIO.ln());
    if own > WIDEST {
        return if claim.is_some() { Answer::Wider } else { Answer::Fair };
    }
    let value = shrink * mean.exp();
    Answer::Disc(Estimate::new(value, value * own.hypot(SYSTEMATIC), rings.patches))
}
