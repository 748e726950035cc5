//! From the spectra of two frames of one tile to the difference of their squared blur widths.

use super::rows::{Both, common};
use super::solve::{Fit, solve};
use super::{BLOCK, Block, Contrast, LEVELS, SECTORS, TileSpectra};
use crate::quantity::{Estimate, MTF50_SIGMA};

/// Relative blur of a tile between two frames.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Relative {
    /// -ln(MTF_b / MTF_a) / (2 pi^2 f^2) at `frequency`: the difference sigma_b^2 - sigma_a^2 of the squared
    /// Gaussian-equivalent widths there, px^2.
    pub squared: Estimate,
    /// Where it holds: the frequency of half contrast of the more blurred frame, cycles a pixel.
    pub frequency: f64,
    /// Middle of what was compared from that of the tile, px of the reference: at the rim it lies further in.
    pub from_middle: (f64, f64),
    /// Whether the more blurred frame is at least so blurred: its half contrast lies below what the blocks show, as at the rim of
    /// a picture, where coarse ones don't fit.
    pub at_least: bool,
    /// Logarithm of how much more contrast b shows than its mean level foretells, against a.
    pub gain: Estimate,
    /// Mean levels above black of a and b.
    pub levels: (f64, f64),
}

/// Least cycles a block at the frequency of half contrast. Chosen: below, the window's mixing of modes is no small correction.
const LEAST_CYCLES: f64 = 7.5;
/// Cycles a block at the frequency of half contrast below which a width is only a lower bound. Set on a hand-held
/// bracket of an own renderer (docs/trials.md, widths that small blocks cut short): what is found at more is within 5
/// %, at fewer 10 to 40 % too small, since only rings from the third on are looked at.
const CUT_SHORT: f64 = 3.75;

/// Rounds in which the frequency of half contrast is closed in on; how often it may be looked for lower, and by what
/// factor. Chosen: fewer rounds settle it; a third lower at a time reaches a twelfth of where it was expected.
const ROUNDS: usize = 12;
const DROWNED: usize = 6;
const LOWER: f64 = 1.5;

/// Compares frame `b` with frame `a` in one tile.
///
/// The ratio of the two noise-subtracted power spectra is free of the scene (Delbracio, Musé, Almansa & Morel, SIAM
/// J. Imaging Sci. 5(4), 2012, show that two frames of any textured scene give their relative blur). Its logarithm is fitted near the frequency of half
/// contrast of the more blurred frame with a gain, a Gaussian term and a slow, bent drift of that term with frequency,
/// so that the number means the same for any shape of point spread: with the transfer of one frame known, that of
/// the other at its half-contrast frequency follows without a model of it.
///
/// `sharper` is a guess of the width (px) of the sharper of the two (0.7 where nothing is known): it decides only
/// where in frequency to look. `scale` is the enlargement of `b` against `a`; the noise models are the frames' own.
///
/// `None` where too few frequencies stand above the noise in both.
#[must_use]
pub fn relative(a: &TileSpectra, b: &TileSpectra, sharper: f64, scale: f64, contrast: Contrast) -> Option<Relative> {
    let sharper = sharper.clamp(0.35, 12.0);
    let both = Both::new(a, b, sharper, scale);
    let mut blurred = sharper;
    let mut found: Option<(Fit, f64, usize)> = None;
    let (mut drowned, mut levels) = (0, (0.0, 0.0));
    for _ in 0..ROUNDS {
        let frequency = (MTF50_SIGMA / blurred).min(0.36);
        let cycles = frequency * BLOCK as f64;
        let level = (LEAST_CYCLES / cycles).log2().ceil().max(0.0) as usize;
        let at = |l: usize| Some((l, both.at(l)?.means));
        let (level, means) = (level.min(LEVELS - 1)..LEVELS).find_map(at).or_else(|| {
            // Small pictures have no coarse levels: the coarsest there is must do.
            (0..level.min(LEVELS)).rev().find_map(at)
        })?;
        let pixel = f64::from(1u32 << level);
        let mut rows = both.rows(level, 1.6 * frequency * pixel);
        let step = (means.1.max(1.0) / means.0.max(1.0)).ln();
        let high = rows.iter().filter(|r| r.frequency > 0.6 * frequency * pixel).count();
        let enough = rows.len() >= 4 * SECTORS && high >= 2 * SECTORS;
        rows.extend(both.coarser(level));
        let gain = contrast.expected(means.0, means.1);
        let expected = Estimate { value: gain.value + step, ..gain };
        let Some(fit) = enough.then(|| solve(&rows, frequency * pixel, expected)).flatten() else {
            // The softer frame drowns in noise here: its half contrast lies lower.
            drowned += 1;
            if found.is_some() || drowned > DROWNED {
                break;
            }
            blurred *= LOWER;
            continue;
        };
        let gain = Estimate { value: fit.gain.value - step, ..fit.gain };
        let fit = Fit { squared: fit.squared * pixel * pixel, sd: fit.sd * pixel * pixel, gain, ..fit };
        levels = means;
        let next = (sharper * sharper + fit.squared.abs()).sqrt().clamp(sharper, 30.0);
        found = Some((fit, frequency, level));
        if (next / blurred - 1.0).abs() < 0.01 {
            break;
        }
        blurred = next;
    }
    let (fit, frequency, level) = found?;
    let width = (sharper * sharper + fit.squared.abs()).sqrt();
    let at_least = MTF50_SIGMA / width * ((BLOCK << level) as f64) < CUT_SHORT;
    let from_middle = middle(common(&a.levels[level], &b.levels[level]));
    Some(Relative {
        squared: Estimate::new(fit.squared, fit.sd, fit.rings),
        frequency,
        from_middle,
        at_least,
        gain: fit.gain,
        levels,
    })
}

/// Mean of the middles of blocks, px.
fn middle<'a>(blocks: impl Iterator<Item = &'a Block>) -> (f64, f64) {
    let (x, y, n) = blocks.fold((0.0, 0.0, 0.0), |s, b| (s.0 + b.from_middle.0, s.1 + b.from_middle.1, s.2 + 1.0));
    (x / f64::max(n, 1.0), y / f64::max(n, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::pair::power::Power;

    /// Spectra of a scene with power k^-2 under a Gaussian blur and white noise.
    fn spectra(sigma: f64, noise: f64) -> TileSpectra {
        through(&|f| (-2.0 * (std::f64::consts::PI * sigma * f).powi(2)).exp(), noise)
    }

    /// The same through any transfer function of the frequency in cycles a pixel.
    fn through(transfer: &dyn Fn(f64) -> f64, noise: f64) -> TileSpectra {
        directed(&|f, _| 1e6 * transfer(f).powi(2) / (f * f), noise)
    }

    /// Spectra of a power of the frequency in cycles a pixel and the angle, and white noise.
    fn directed(power: &dyn Fn(f64, f64) -> f64, noise: f64) -> TileSpectra {
        let level = |l: usize| {
            let pixel = f64::from(1u32 << l);
            let white = noise / (pixel * pixel);
            let at = |sector: usize, k: usize| {
                let angle = std::f64::consts::PI * sector as f64 / SECTORS as f64;
                Power::new(power(k as f64 / BLOCK as f64 / pixel, angle) / (pixel * pixel) + white)
            };
            let power = std::array::from_fn(|s| std::array::from_fn(|k| at(s, k.max(1))));
            vec![Some(Block { power, noise: white, level: 1e4, from_middle: (0.0, 0.0) }); 30]
        };
        TileSpectra { levels: (0..LEVELS).map(level).collect(), in_place: Some(1.0) }
    }

    #[test]
    fn a_frame_that_drowns_where_the_sharper_one_is_looked_for_is_compared_lower() {
        let (sharp, soft) = (spectra(0.6, 1e5), spectra(3.0, 1e5));
        for (a, b, sign) in [(&sharp, &soft, 1.0), (&soft, &sharp, -1.0)] {
            let found = relative(a, b, 0.6, 1.0, Contrast::Linear).expect("a comparison");
            let exact = sign * (9.0 - 0.36);
            assert!((found.squared.value / exact - 1.0).abs() < 0.04, "{found:?}");
        }
    }

    /// Transfer of a perfect lens of a cut-off in cycles a pixel (Goodman, Introduction to Fourier Optics, section 6.3).
    fn perfect(cut_off: f64) -> impl Fn(f64) -> f64 {
        move |f| {
            let s = (f / cut_off).min(1.0);
            2.0 / std::f64::consts::PI * (s.acos() - s * (1.0 - s * s).sqrt())
        }
    }

    /// Transfer of a uniform disc of a diameter in px: 2 J1(x) / x at x = pi d f, J1 by its integral (Abramowitz & Stegun
    /// 9.1.20 for order one).
    fn disc(diameter: f64) -> impl Fn(f64) -> f64 {
        move |f| {
            let x = std::f64::consts::PI * diameter * f;
            let half = std::f64::consts::PI / 2.0;
            let at = |i: usize| half * (i as f64 + 0.5) / 200.0;
            4.0 / std::f64::consts::PI
                * (0..200).map(|i| (x * at(i).cos()).cos() * at(i).sin().powi(2)).sum::<f64>()
                * half
                / 200.0
        }
    }

    #[test]
    fn no_shape_of_spread_biases_the_difference() {
        let lens = perfect(1.2);
        let small_stop = perfect(0.38);
        let (out_of_focus, far_out) = (disc(4.0), disc(7.0));
        let shapes: [&dyn Fn(f64) -> f64; 3] =
            [&|f| small_stop(f), &|f| lens(f) * out_of_focus(f), &|f| lens(f) * far_out(f)];
        let sharp = through(&lens, 1e-3);
        for (i, shape) in shapes.into_iter().enumerate() {
            let found = relative(&sharp, &through(shape, 1e-3), 0.5, 1.0, Contrast::Linear).expect("a comparison");
            let f = found.frequency;
            let exact = (lens(f) / shape(f).abs()).ln() / (2.0 * (std::f64::consts::PI * f).powi(2));
            assert!((found.squared.value / exact - 1.0).abs() < 0.02, "{i}: {found:?}, exact {exact}");
        }
    }

    /// Reduced frames of a close subject at f/8 and f/16: what is out of focus is blurred about as much by the disc of the
    /// one as by the small aperture of the other, and more by the one at low frequencies, by the other at high ones.
    #[test]
    fn a_disc_against_a_small_aperture_is_told_without_bias() {
        let (wide, small) = (perfect(1.09), perfect(0.545));
        for larger in [2.4, 2.8, 3.2, 3.6, 4.4] {
            let (out, less) = (disc(larger), disc(0.5 * larger));
            let (a, b) = (|f: f64| wide(f) * out(f), |f: f64| small(f) * less(f));
            let (first, second) = (through(&a, 1e-3), through(&b, 1e-3));
            for contrast in [Contrast::Linear, Contrast::Rendered] {
                let found = relative(&first, &second, 0.8, 1.0, contrast).expect("a comparison");
                let f = found.frequency;
                let exact = (a(f).abs() / b(f).abs()).ln() / (2.0 * (std::f64::consts::PI * f).powi(2));
                // A third of what a difference may be off by to be of use (0.1 px^2); the largest here is 0.021.
                assert!((found.squared.value - exact).abs() < 0.03, "{larger}: {found:?}, exact {exact}");
            }
        }
    }

    /// A wall of bricks has nearly all of its power across its courses; a lens off its axis blurs less along than across them.
    #[test]
    fn the_width_is_the_mean_over_directions_wherever_the_power_lies() {
        let scene = |f: f64, t: f64| 1e6 / (f * f) * (1.0 + 100.0 * t.sin().powi(8));
        let gaussian = |square: f64, f: f64| (-4.0 * std::f64::consts::PI.powi(2) * f * f * square).exp();
        let sharp = directed(&|f, t| scene(f, t) * gaussian(0.3, f), 1e-3);
        for turned in [0.0, 0.4, std::f64::consts::FRAC_PI_2] {
            let square = |t: f64| 1.0 + 0.2 * (2.0 * (t - turned)).cos();
            let soft = directed(&|f, t| scene(f, t) * gaussian(square(t), f), 1e-3);
            let found = relative(&sharp, &soft, 0.55, 1.0, Contrast::Linear).expect("a comparison").squared;
            assert!((found.value - 0.7).abs() < 0.01, "{turned}: {found:?}");
        }
    }

    #[test]
    fn a_width_beyond_what_the_blocks_show_is_a_least_one() {
        // As at the rim of a picture: 64 px wide blocks alone.
        let alone = |tile: TileSpectra| TileSpectra { levels: tile.levels.into_iter().take(1).collect(), ..tile };
        let found = |lens: f64| {
            let (sharp, soft) = (spectra(0.6, 1e-3), through(&disc(lens), 1e-3));
            let relative = |a: &TileSpectra, b: &TileSpectra| relative(a, b, 0.6, 1.0, Contrast::Linear);
            (
                relative(&sharp, &soft).expect("a comparison"),
                relative(&alone(sharp), &alone(soft)).expect("one by small blocks"),
            )
        };
        // Discs of 10 and 24 px: widths of 2.7 and 6.4 px.
        let ((all, small), (wide, cut)) = (found(10.0), found(24.0));
        assert!(!all.at_least && !small.at_least && !wide.at_least && cut.at_least, "{small:?} {wide:?} {cut:?}");
        assert!(cut.squared.value < wide.squared.value, "{cut:?} for {wide:?}");
    }

    #[test]
    fn only_blocks_that_both_frames_have_are_compared() {
        // The lower half of the tile shows a scene a hundred times as strong, and lies beyond the other frame's rim.
        let (mut sharp, mut soft) = (spectra(0.6, 1.0), spectra(1.2, 1.0));
        for level in &mut sharp.levels {
            for (i, block) in level.iter_mut().flatten().enumerate() {
                block.from_middle.1 = if i < 15 { -20.0 } else { 20.0 };
                if i >= 15 {
                    block.power = block.power.map(|s| s.map(|p| Power::new(100.0 * p.get())));
                }
            }
        }
        for level in &mut soft.levels {
            level[15..].fill(None);
        }
        let found = relative(&sharp, &soft, 0.6, 1.0, Contrast::Linear).expect("a comparison");
        assert!((found.squared.value / (1.44 - 0.36) - 1.0).abs() < 0.04, "{found:?}");
        assert_eq!(found.from_middle, (0.0, -20.0));
    }

    #[test]
    fn frames_of_nothing_but_noise_are_not_compared() {
        assert!(relative(&spectra(0.6, 1e5), &spectra(60.0, 1e12), 0.6, 1.0, Contrast::Linear).is_none());
    }
}
