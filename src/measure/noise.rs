//! Noise against level: a gain and read model fitted over the frame, with a floor from quantisation.

use super::survey::Survey;
use crate::shot::Plane;

/// Noise variance as a function of level, levels^2, fitted over a frame.
///
/// var = read + gain * level, as EMVA 1288 has it for a linear sensor, never below what the file's own
/// quantisation leaves: a JPEG zeroes fine noise in smooth places, where it would otherwise seem far too quiet.
#[derive(Clone, Copy, Debug)]
pub(super) struct NoiseModel {
    read: f64,
    gain: f64,
    /// Quantisation error in 8-bit code values (sd), where the file was rendered.
    code_sd: f64,
    range: f64,
    /// Mean quantisation step (8-bit code values) of JPEG coefficients at about i half cycles a block; zero without.
    steps: [f64; 12],
    /// Mean step of its fine coefficients, code values; zero without.
    fine_step: f64,
    /// Side of a block, px.
    block: f64,
}

/// What stands between a picture's spectrum and its signal at one frequency, levels^2 a sample.
#[derive(Clone, Copy, Debug)]
pub(super) struct Drown {
    /// Power of noise.
    pub noise: f64,
    /// Power below which compression leaves mostly nothing.
    pub least: f64,
}

/// Groups of level in which the quietest tiles are sought. Chosen: they keep sky, haze and ground apart.
const GROUPS: usize = 8;

/// Relative luminance up to which the sRGB curve is a straight line. Published: IEC 61966-2-1.
const TOE: f64 = 0.003_130_8;

impl NoiseModel {
    /// Fits the model to the quiet cells of all tiles.
    pub(super) fn fit(plane: &Plane, surveys: &[Survey]) -> Self {
        let mut points: Vec<(f64, f64)> = surveys.iter().filter_map(|s| s.quiet).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        // Texture only ever adds to the reading, so the quietest tenth of each group speaks.
        let size = points.len().div_ceil(GROUPS).max(1);
        let quiet: Vec<(f64, f64)> = points
            .chunks(size)
            .map(|g| {
                let mut g = g.to_vec();
                g.sort_by(|a, b| a.1.total_cmp(&b.1));
                g[g.len() / 10]
            })
            .collect();
        let (read, gain) = line(&quiet, 1e-12, 1e-9);
        let block = plane.jpeg.as_ref().map_or(8.0, |j| j.size.max(1) as f64);
        Self {
            read,
            gain,
            code_sd: code_sd(plane),
            range: f64::from(plane.range()).max(1.0),
            steps: steps(plane),
            fine_step: fine_step(plane),
            block,
        }
    }

    /// Noise and the drowning level of compression at a level above black and a frequency (cycles/px).
    pub(super) fn at_frequency(&self, level: f64, frequency: f64) -> Drown {
        let step = self.square_step(frequency, self.code_slope(level));
        // A coefficient that scatters by less than about 0.7 steps is mostly rounded to zero.
        Drown { noise: self.variance(level).max(step / 12.0), least: 0.5 * step }
    }

    /// Noise that compression makes at a frequency (cycles/px) where a code value is so many levels, levels^2 a sample.
    pub(super) fn compression(&self, frequency: f64, code: f64) -> f64 {
        self.square_step(frequency, code) / 12.0
    }

    fn square_step(&self, frequency: f64, code: f64) -> f64 {
        let i = (2.0 * self.block * frequency).round().clamp(0.0, 11.0) as usize;
        (self.steps[i] * code).powi(2)
    }

    /// Noise variance at a level above black, levels^2.
    pub(super) fn variance(&self, level: f64) -> f64 {
        let level = level.max(0.0);
        let sensor = self.read + self.gain * level;
        // Samples are whole numbers: 1/12 always.
        sensor.max(self.floor(level)).max(1.0 / 12.0)
    }

    /// Squared width (px^2) by which coarse JPEG steps widen an edge: fine coefficients of less than half a step are
    /// rounded to nothing, so the weaker the edge the more of its sharpness goes.
    ///
    /// `step` is the height of the edge and `level` its middle, levels above black; `sigma` its width as read, px. From
    /// rendered discs of four contrasts, widths of 0.4 to 1.2 px and qualities of 80 to 98.
    pub(super) fn lost(&self, level: f64, step: f64, sigma: f64) -> f64 {
        let ratio = (self.fine_step * self.code_slope(level) / step - 0.06).max(0.0);
        let gone = ratio.powf(1.35);
        let of = |sigma: f64| 0.42 * gone / (gone + 0.78) / (1.0 + (sigma / 0.9).powi(2));
        // It depends on the true width, which is what is left.
        let square = sigma * sigma;
        of((square - of(sigma)).max(0.5 * square).sqrt()).min(0.5 * square)
    }

    /// Variance that quantisation of the rendered code values leaves at a level, levels^2.
    fn floor(&self, level: f64) -> f64 {
        (self.code_sd * self.code_slope(level)).powi(2)
    }

    /// Standard deviation, levels, that rounding to code values leaves at a level: a uniform error. Rendered files are taken to have
    /// 8 bits, so faint detail of finer ones is given away; zero where there was no rendering.
    pub(super) fn rounding(&self, level: f64) -> f64 {
        if self.code_sd > 0.0 { self.code_slope(level) / 12.0_f64.sqrt() } else { 0.0 }
    }

    /// Mean quantisation step of fine JPEG coefficients, 8-bit code values; zero without.
    pub(super) const fn fine_step(&self) -> f64 {
        self.fine_step
    }

    /// Levels to an 8-bit code value at a level: slope of the sRGB curve (IEC 61966-2-1), whose toe is
    /// straight; other rendering curves are close enough for a floor.
    pub(super) fn code_slope(&self, level: f64) -> f64 {
        let l = (level / self.range).clamp(TOE, 1.0);
        2.4 / 1.055 * l.powf(1.0 - 1.0 / 2.4) / 255.0 * self.range
    }
}

/// Mean quantisation steps over rings of frequency.
fn steps(plane: &Plane) -> [f64; 12] {
    let mut out = [0.0; 12];
    if let Some(j) = &plane.jpeg {
        for (i, out) in out.iter_mut().enumerate() {
            let (mut sum, mut count) = (0.0, 0.0);
            for (k, &q) in j.luma_steps.iter().enumerate() {
                if (((k % 8) as f64).hypot((k / 8) as f64) - i as f64).abs() <= 1.0 {
                    sum += f64::from(q);
                    count += 1.0;
                }
            }
            *out = if count > 0.0 { sum / count } else { 0.0 };
        }
    }
    out
}

/// Mean quantisation step of coefficients of more than 2.5 cycles a block, 8-bit code values; zero where there is none
/// or the picture was reduced while decoding.
fn fine_step(plane: &Plane) -> f64 {
    let Some(j) = plane.jpeg.as_ref().filter(|j| j.size == 8) else { return 0.0 };
    let fine = || j.luma_steps.iter().enumerate().filter(|(k, _)| (k % 8).pow(2) + (k / 8).pow(2) >= 25);
    fine().map(|(_, &q)| f64::from(q)).sum::<f64>() / fine().count() as f64
}

/// Standard deviation in 8-bit code values left by quantisation.
fn code_sd(plane: &Plane) -> f64 {
    match &plane.jpeg {
        // A uniform error of one step a coefficient; the transform is orthonormal, so the pixels' variance is the
        // mean over the coefficients. Steps so coarse that a coefficient is always zero leave no such error, only
        // the loss of detail, so each is counted up to the variance that 2-code noise would have left in it.
        Some(j) => {
            let mean = j.luma_steps.iter().map(|&q| (f64::from(q).powi(2) / 12.0).min(4.0)).sum::<f64>() / 64.0;
            (mean + 1.0 / 12.0).sqrt()
        }
        None if plane.rendered => (1.0_f64 / 12.0).sqrt(),
        None => 0.0,
    }
}

/// Least squares of var = read + gain * level, (level, var) being the points, with relative weights and neither below zero.
/// `least` is the square that a variance is taken to have at least, `apart` how far apart the levels must be, as the share of
/// their squares that is scatter.
pub(super) fn line(points: &[(f64, f64)], least: f64, apart: f64) -> (f64, f64) {
    let (mut w, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for &(level, var) in points {
        let weight = 1.0 / (var * var).max(least);
        w += weight;
        x += weight * level;
        y += weight * var;
        xx += weight * level * level;
        xy += weight * level * var;
    }
    if w == 0.0 {
        return (0.0, 0.0);
    }
    let det = w * xx - x * x;
    if det > apart * w * xx {
        let (read, gain) = ((y * xx - x * xy) / det, (w * xy - x * y) / det);
        if read >= 0.0 && gain >= 0.0 {
            return (read, gain);
        }
        if read < 0.0 && gain > 0.0 && xx > 0.0 {
            return (0.0, xy / xx);
        }
    }
    (y / w, 0.0)
}
