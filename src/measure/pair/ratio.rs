//! From the spectra of two frames of one tile to the difference of their squared blur widths.

use super::{BLOCK, Block, Contrast, LEVELS, RINGS, TileSpectra};
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
    /// Logarithm of how much more contrast b shows than its mean level foretells, against a.
    pub gain: Estimate,
    /// Mean levels above black of a and b.
    pub levels: (f64, f64),
}

/// Power spectrum of the blocks of a tile at one level that both frames have: means over them.
struct Rings {
    power: [f64; RINGS],
    noise: f64,
    level: f64,
    blocks: u32,
}

impl Rings {
    /// Of both frames at a level, over the blocks that both have.
    fn of(a: &TileSpectra, b: &TileSpectra, level: usize) -> Option<(Self, Self)> {
        let (a, b) = (a.levels.get(level)?, b.levels.get(level)?);
        Some((Self::common(a, b)?, Self::common(b, a)?))
    }

    /// Of the blocks of `own` that `other` has too; `None` where there are none.
    fn common(own: &[Option<Block>], other: &[Option<Block>]) -> Option<Self> {
        let both: Vec<&Block> = common(own, other).collect();
        let n = both.len() as f64;
        let mean = |of: &dyn Fn(&Block) -> f64| both.iter().map(|b| of(b)).sum::<f64>() / n;
        (!both.is_empty()).then(|| Self {
            power: std::array::from_fn(|k| mean(&|b| f64::from(b.power[k]))),
            noise: mean(&|b| b.noise),
            level: mean(&|b| b.level),
            blocks: both.len() as u32,
        })
    }
}

/// Blocks of `own` that `other` has too: what one frame shows beyond its rim, or clips, must not tell for the other.
fn common<'a>(own: &'a [Option<Block>], other: &'a [Option<Block>]) -> impl Iterator<Item = &'a Block> {
    own.iter().zip(other).filter(|(_, o)| o.is_some()).filter_map(|(b, _)| b.as_ref())
}

/// Derived: the squared window of Hann has a variance of a third of a mode along either axis. Widths of the squared
/// window of Hann in modes, along either axis: its spectrum mixes neighbouring modes, which raises a falling power P by
/// this times the Laplacian of P, halved.
const MIXING: f64 = 1.0 / 3.0;
/// Chosen: below, the mixing is no small correction. Least cycles a block at the frequency of half contrast.
const LEAST_CYCLES: f64 = 7.5;

/// Chosen: it settles in fewer; a third lower at a time reaches a twelfth of where it was expected. Rounds in which the
/// frequency of half contrast is closed in on; how often it may be looked for lower, and by how much.
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
    let mut blurred = sharper;
    let mut found: Option<(Fit, f64, usize)> = None;
    let (mut drowned, mut levels) = (0, (0.0, 0.0));
    for _ in 0..ROUNDS {
        let frequency = (MTF50_SIGMA / blurred).min(0.36);
        let cycles = frequency * BLOCK as f64;
        let level = (LEAST_CYCLES / cycles).log2().ceil().max(0.0) as usize;
        let level = (level.min(LEVELS - 1)..LEVELS).find(|&l| has(a, b, l)).or_else(|| {
            // Small pictures have no coarse levels: the coarsest there is must do.
            (0..level.min(LEVELS)).rev().find(|&l| has(a, b, l))
        })?;
        let pixel = f64::from(1u32 << level);
        let (ra, rb) = Rings::of(a, b, level)?;
        let mut rows = rows(&ra, &rb, sharper / pixel, scale, 3..RINGS - 3, 1.6 * frequency * pixel);
        let step = (rb.level.max(1.0) / ra.level.max(1.0)).ln();
        let enough = rows.len() >= 4 && rows.iter().filter(|r| r.frequency > 0.6 * frequency * pixel).count() >= 2;
        rows.extend(coarser(a, b, level, sharper / pixel, scale));
        let gain = contrast.expected(ra.level, rb.level);
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
        levels = (ra.level, rb.level);
        let next = (sharper * sharper + fit.squared.abs()).sqrt().clamp(sharper, 30.0);
        found = Some((fit, frequency, level));
        if (next / blurred - 1.0).abs() < 0.01 {
            break;
        }
        blurred = next;
    }
    let (fit, frequency, level) = found?;
    let from_middle = middle(common(&a.levels[level], &b.levels[level]));
    Some(Relative {
        squared: Estimate::new(fit.squared, fit.sd, fit.rings),
        frequency,
        from_middle,
        gain: fit.gain,
        levels,
    })
}

fn has(a: &TileSpectra, b: &TileSpectra, level: usize) -> bool {
    let blocks = a.levels.get(level).zip(b.levels.get(level));
    blocks.is_some_and(|(a, b)| common(a, b).next().is_some())
}

/// Mean of the middles of blocks, px.
fn middle<'a>(blocks: impl Iterator<Item = &'a Block>) -> (f64, f64) {
    let (x, y, n) = blocks.fold((0.0, 0.0, 0.0), |s, b| (s.0 + b.from_middle.0, s.1 + b.from_middle.1, s.2 + 1.0));
    (x / f64::max(n, 1.0), y / f64::max(n, 1.0))
}

struct Fit {
    squared: f64,
    sd: f64,
    gain: Estimate,
    rings: u32,
}

/// The log ratio of two ring spectra at one frequency.
struct Row {
    /// Cycles a pixel of the level compared at.
    frequency: f64,
    ratio: f64,
    variance: f64,
}

/// Rows of two ring spectra, up to a frequency in cycles a pixel of their level.
fn rows(a: &Rings, b: &Rings, sharper: f64, scale: f64, rings: std::ops::Range<usize>, highest: f64) -> Vec<Row> {
    let (sa, sb) = (Signal::new(a), Signal::new(b));
    let blocks = f64::from(a.blocks.min(b.blocks));
    let row = |k: usize| {
        let f = k as f64 / BLOCK as f64;
        let (pa, pb) = (sa.at(k)?, sb.at(k)?);
        // A frame enlarged by s shows the scene's power at s times the frequency, times s squared. The slope is
        // the scene's own: that of the blur stays where it is.
        let scene_slope = pa.slope + 8.0 * (std::f64::consts::PI * sharper * f).powi(2);
        let ratio = 0.5 * ((pb.power / pa.power).ln() - (2.0 + scene_slope) * scale.ln());
        // Half-overlapping Hann blocks count for about two thirds of their number; a ring holds pi k modes.
        let modes = (std::f64::consts::PI * k as f64 * blocks * 0.65).max(1.0);
        // Noise of the log ratio: noise against signal in both frames, and what the windows don't share.
        let own = |s: &Mode| (2.0 * s.noise_share + s.noise_share.powi(2)) / modes;
        let variance = 0.25 * (own(&pa) + own(&pb)) + 2e-4 / modes.min(400.0) + 0.006f64.powi(2);
        Some(Row { frequency: f, ratio, variance })
    };
    rings.take_while(|&k| k as f64 / (BLOCK as f64) <= highest).filter_map(row).collect()
}

/// Chosen: an octave a level, above what the window mixes. Rings of a coarser level that say how contrast goes where blur
/// takes little; how many such levels; and how much more the wider surroundings they show differ between the frames.
const FROM: usize = 3;
const COARSER: usize = 1;
const AROUND: f64 = 0.008;

/// Rows of the coarser levels, below what the compared one has: frequencies in cycles a pixel of that one.
fn coarser(a: &TileSpectra, b: &TileSpectra, level: usize, sharper: f64, scale: f64) -> Vec<Row> {
    let mut found = Vec::new();
    for by in (1..=COARSER).filter(|by| level + by < LEVELS && has(a, b, level + by)) {
        let Some((ra, rb)) = Rings::of(a, b, level + by) else { continue };
        let pixel = f64::from(1u32 << by);
        let own = rows(&ra, &rb, sharper / pixel, scale, FROM..2 * FROM, 1.0);
        let at_level =
            |r: Row| Row { frequency: r.frequency / pixel, variance: r.variance + (AROUND * by as f64).powi(2), ..r };
        found.extend(own.into_iter().map(at_level));
    }
    found
}

/// Chosen: a quarter; a shape that bends more is none of the spreads that optics makes. How far the bend of the
/// Gaussian term may lie from what its drift foretells, as a share of the term.
const BEND: f64 = 0.25;
/// Derived: a parabola leaves a sixth of 1/f and two thirds of the half of a disc's term that rises as f^2, and what is
/// left beyond the third power of the logarithm is as much again. What the fit leaves of a shape, as a share of the wider frame's
/// loss, times the third power of the frequency's logarithm.
const LEFT: f64 = 0.7;

/// Weighted least squares of y = gain - 2 pi^2 f^2 (d0 + d1 u + d2 u^2), u = ln(f / middle), with priors on gain, d1 and d2.
///
/// Diffraction's term falls with frequency about as 1/f, which bends it by half of its drift, upwards; a disc's rises
/// about as 1 + a f^2, which bends it by all of its drift, upwards too. Without the bend both would be drawn to
/// a straight line, and the differences of the test below come out 9 and 15 % small.
///
/// A disc of one frame against diffraction of the other may differ by nothing at the middle and by much elsewhere, so the
/// drift may be any share of the whole width, which at half contrast is known. What such a shape leaves falls with the square of the
/// frequency as all of it does, so that low frequencies, where blur takes little, tell the gain.
fn solve(rows: &[Row], middle: f64, gain: Estimate) -> Option<Fit> {
    let basis = |f: f64| {
        let (g, u) = (-2.0 * std::f64::consts::PI.powi(2) * f * f, (f / middle).ln());
        nalgebra::Vector4::new(1.0, g, g * u, g * u * u)
    };
    let weight = |r: &Row| {
        let (f, u) = (r.frequency / middle, (r.frequency / middle).ln());
        (r.variance + (LEFT * std::f64::consts::LN_2 * f * f * u.abs().powi(3)).powi(2)).recip()
    };
    let whole = (MTF50_SIGMA / middle).powi(2);
    // Of [gain, d0, d1, d2]; none on d0.
    let mut expected = nalgebra::Vector4::new(gain.value, 0.0, 0.0, 0.0);
    let prior = nalgebra::Vector4::new(gain.sd.powi(-2), 0.0, whole.powi(-2), (BEND * whole).powi(-2));
    let mut answer = None;
    for _ in 0..4 {
        let mut normal = nalgebra::Matrix4::from_diagonal(&prior);
        let mut right = prior.component_mul(&expected);
        for r in rows {
            let (x, w) = (basis(r.frequency), weight(r));
            normal += w * x * x.transpose();
            right += w * x * r.ratio;
        }
        let inverse = normal.cholesky()?.inverse();
        let solved = inverse * right;
        let chi: f64 = rows.iter().map(|r| weight(r) * (r.ratio - basis(r.frequency).dot(&solved)).powi(2)).sum();
        let inflate = (chi / f64::max(rows.len() as f64 - 2.0, 1.0)).max(1.0);
        let sd = |i: usize| (inverse[(i, i)] * inflate).sqrt();
        let rings = rows.len() as u32;
        answer = Some(Fit { squared: solved[1], sd: sd(1), gain: Estimate::new(solved[0], sd(0), rings), rings });
        let drift = solved[2] * solved[1].signum();
        let bend = if drift < 0.0 { -0.5 * drift } else { drift };
        expected[3] = bend * solved[1].signum();
    }
    answer
}

/// Noise-free ring powers and their slopes.
struct Signal<'a> {
    rings: &'a Rings,
    logs: Vec<f64>,
}

struct Mode {
    power: f64,
    /// d ln P / d ln k.
    slope: f64,
    /// Noise power over signal power.
    noise_share: f64,
}

impl<'a> Signal<'a> {
    fn new(rings: &'a Rings) -> Self {
        let logs = rings.power.iter().map(|p| (p - rings.noise).max(0.05 * rings.noise).max(1e-6).ln()).collect();
        Self { rings, logs }
    }

    /// Signal at ring `k`, the window's mixing of modes taken out; `None` where noise is as strong.
    fn at(&self, k: usize) -> Option<Mode> {
        let signal = self.rings.power[k] - self.rings.noise;
        if signal < self.rings.noise.max(1e-6) {
            return None;
        }
        // Slope and curvature of ln P over ln k from a parabola through five to seven rings.
        let reach = if k < 6 { 2 } else { 3 };
        let (mut normal, mut right) = (nalgebra::Matrix3::<f64>::zeros(), nalgebra::Vector3::<f64>::zeros());
        for j in k - reach.min(k - 1)..=(k + reach).min(RINGS - 1) {
            let x = (j as f64 / k as f64).ln();
            let row = nalgebra::Vector3::new(1.0, x, x * x);
            normal += row * row.transpose();
            right += row * self.logs[j];
        }
        let solved = normal.cholesky()?.solve(&right);
        let (slope, bend) = (solved[1], 2.0 * solved[2]);
        // Laplacian of P over P, in two dimensions: (slope^2 + bend) / k^2.
        let raised = (slope * slope + bend) * MIXING / 2.0 / (k * k) as f64;
        let power = signal / (1.0 + raised.clamp(-0.3, 1.0));
        Some(Mode { power, slope, noise_share: self.rings.noise / signal })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Spectra of a scene with power k^-2 under a Gaussian blur and white noise.
    fn spectra(sigma: f64, noise: f64) -> TileSpectra {
        through(&|f| (-2.0 * (std::f64::consts::PI * sigma * f).powi(2)).exp(), noise)
    }

    /// The same through any transfer function of the frequency in cycles a pixel.
    fn through(transfer: &dyn Fn(f64) -> f64, noise: f64) -> TileSpectra {
        let level = |l: usize| {
            let pixel = f64::from(1u32 << l);
            let white = noise / (pixel * pixel);
            let power = |k: usize| {
                let f = k as f64 / BLOCK as f64 / pixel;
                1e6 / (f * f) / (pixel * pixel) * transfer(f).powi(2) + white
            };
            let power = std::array::from_fn(|k| power(k.max(1)) as f32);
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

    #[test]
    fn only_blocks_that_both_frames_have_are_compared() {
        // The lower half of the tile shows a scene a hundred times as strong, and lies beyond the other frame's rim.
        let (mut sharp, mut soft) = (spectra(0.6, 1.0), spectra(1.2, 1.0));
        for level in &mut sharp.levels {
            for (i, block) in level.iter_mut().flatten().enumerate() {
                block.from_middle.1 = if i < 15 { -20.0 } else { 20.0 };
                if i >= 15 {
                    block.power = block.power.map(|p| 100.0 * p);
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
