//! What the network is told of a patch: numbers without a unit, noise taken out, from spectrum, gradients and circumstances.

use super::Known;
use super::patch::Sight;
use super::rings::{RINGS, SECTORS, middle};
use super::steep::{PROFILE, PROFILES, REACH, SCALES};
use crate::quantity::MTF50_SIGMA;
use crate::shot::{Mosaic, Plane};

/// How many numbers describe a patch. Derived: the sum of the kinds.
pub(super) const COUNT: usize = 3 * RINGS + 9 * SCALES + 2 * PROFILES.len() * (PROFILE - 1) + 2 * SECTORS + 11;
/// Least share of the noise that counts as signal. Chosen: it keeps logarithms finite.
const LEAST: f64 = 0.15;
/// Power over that of the noise from which a ring holds detail. Chosen: three times, beyond what a ring's mean scatters by.
const DETAIL: f64 = 3.0;

/// Standard deviation of a patch over that of rounding to code values below which nothing is told of it: dithered
/// gradients, and skies and shadows that a camera smoothed to within a code value, vary no more, and what is left of
/// their noise is as coarse as a blurred scene. Chosen: three times, as nothing less than thrice the noise is detail.
const ROUNDED: f64 = 3.0;

/// Rings that count as the finest. Chosen: a third of an octave below the limit of the samples, where blur leaves next
/// to nothing of a scene.
const FINEST: usize = 4;

/// Circumstances alike for all patches of a frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    bayer: f64,
    six: f64,
    rendered: f64,
    /// Mean quantisation step of fine JPEG coefficients, 8-bit code values, and what a code value is at full level.
    step: Option<f64>,
    /// Typical overshoot of edges, as a share of their step: what sharpening leaves.
    overshoot: Option<f64>,
    pupil: Option<f64>,
}

/// Wavelength times f-number over pitch that the networks know; a smaller one hides behind the pixel. Derived: the
/// pupils of the fit (`examples/train_widths/kernel.rs`).
const PUPILS: std::ops::RangeInclusive<f64> = 0.08..=3.5;

impl Frame {
    pub(super) fn of(plane: &Plane, step: f64, known: &Known) -> Self {
        let flag = |is: bool| if is { 1.0 } else { 0.0 };
        Self {
            bayer: flag(matches!(plane.mosaic, Mosaic::Checkerboard { .. })),
            six: flag(matches!(plane.mosaic, Mosaic::Six(_))),
            rendered: flag(plane.rendered),
            step: plane.jpeg.is_some().then_some(step),
            overshoot: known.overshoot.filter(|v| v.is_finite()),
            pupil: known.lambda_n_px.filter(|v| PUPILS.contains(v)),
        }
    }

    /// Wavelength times f-number over pitch, where the networks are told it.
    pub(super) const fn pupil(&self) -> Option<f64> {
        self.pupil
    }
}

/// Power of noise in a patch over what its level lets expect beyond which it is detail, however even its spectrum. Derived:
/// light that was lifted by three stops, as in the corners of a wide lens and in shadows, and with it the noise.
const LIFTED: f64 = 64.0;

/// How much more noise a patch has than its level lets expect, at the least one: noise has the same spectrum wherever there is
/// more of it, while detail of most scenes falls towards the finest scale; that of grass in focus hardly does.
fn excess(sight: &Sight, noise: &[f64; RINGS]) -> f64 {
    let ratio = (RINGS - FINEST..RINGS).map(|k| sight.seen.power[k] / noise[k]).sum::<f64>() / FINEST as f64;
    ratio.clamp(1.0, LIFTED)
}

/// Whether a patch holds anything above its noise: two neighbouring rings do, and it varies by more than `rounding`, a standard
/// deviation, may leave.
pub(super) fn has_detail(sight: &Sight, noise: &[f64; RINGS], rounding: f64) -> bool {
    let excess = excess(sight, noise);
    let stands = |k: usize| sight.seen.power[k] > DETAIL * excess * noise[k];
    (0..RINGS - 1).any(|k| stands(k) && stands(k + 1)) && sight.seen.variance > (ROUNDED * rounding).powi(2)
}

/// Whether detail goes on to the finest scale: power near the limit of the samples stands above the noise.
pub(super) fn alive(sight: &Sight, noise: &[f64; RINGS]) -> bool {
    (RINGS - 8..RINGS - 3).all(|k| sight.seen.power[k] > DETAIL * noise[k])
}

/// How many times the noise, or the more of it that the finest rings show, power must reach where a width shows. Chosen:
/// a third more, some four times what the mean of a few rings scatters by against another.
const RISE: f64 = 1.35;
/// Frequencies at which a width shows, over that of half contrast. Chosen: an octave, where a blur of this width takes
/// a quarter to two thirds of the contrast.
const SHOWN: std::ops::RangeInclusive<f64> = 0.6..=1.2;

/// 99th percentile of the gradient over the root mean square of noise from which edges stand free of it. Chosen: twice
/// what noise reaches, whose 99th percentile is 2.15 times its root mean square (Rayleigh).
const FREE: f64 = 4.3;

/// Whether a width (px) can be seen in a patch: detail goes on to the finest scale, edges stand free of the noise, or power stands
/// out at the frequencies at which such a blur takes contrast away. Where it does so no more than in the finest rings there is only
/// more noise than expected, which has no width: clouds, snow and haze hold detail, but none that fine.
/// `expected` is [`super::steep::noise_gradients`].
pub(super) fn shows(sight: &Sight, noise: &[f64; RINGS], expected: &[[f64; RINGS]; SCALES], width: f64) -> bool {
    let above = |rings: &mut dyn Iterator<Item = usize>| {
        let (mut sum, mut n) = (0.0, 0.0);
        for k in rings {
            sum += (sight.seen.power[k] / noise[k]).max(LEAST).ln();
            n += 1.0;
        }
        (n > 0.0).then(|| sum / n)
    };
    let half = MTF50_SIGMA / width;
    let there = above(&mut (0..RINGS).filter(|&k| SHOWN.contains(&(middle(k) / half))));
    let finest = above(&mut (RINGS - FINEST..RINGS));
    let noisy = excess(sight, noise) * expected[0].iter().zip(noise).map(|(e, n)| e * n).sum::<f64>();
    alive(sight, noise)
        || sight.steepness[0].p99.powi(2) > FREE * FREE * noisy
        || there.zip(finest).is_none_or(|(there, finest)| there - finest.max(0.0) > RISE.ln())
}

/// The numbers of a patch, one after the other.
struct Numbers {
    values: [f32; COUNT],
    filled: usize,
}

impl Numbers {
    fn push(&mut self, value: f64) {
        self.values[self.filled] = if value.is_finite() { value as f32 } else { 0.0 };
        self.filled += 1;
    }

    /// Of a profile all but its middle, which is always zero.
    fn profile(&mut self, profile: &[f32; PROFILE]) {
        (0..PROFILE).filter(|k| *k != REACH).for_each(|k| self.push(f64::from(profile[k])));
    }
}

/// The numbers of one patch. `noise` is its noise in each ring, `white` the standard deviation of white noise at its level, `expected`
/// [`super::steep::noise_gradients`], `code` relative luminance a code value.
pub(super) fn of(
    sight: &Sight,
    frame: &Frame,
    (noise, white): (&[f64; RINGS], f64),
    expected: &[[f64; RINGS]; SCALES],
    code: f64,
) -> [f32; COUNT] {
    let sd = sight.seen.variance.sqrt().max(1e-5);
    let mut numbers = Numbers { values: [0.0; COUNT], filled: 0 };
    let mean = noise.iter().sum::<f64>() / RINGS as f64;
    for k in 0..RINGS {
        numbers.push(((sight.seen.power[k] - noise[k]).max(LEAST * noise[k]) + 1e-12).log10() - 2.0 * sd.log10());
        numbers.push((sight.seen.power[k] / noise[k]).max(1e-3).log10().clamp(-0.5, 4.0));
        numbers.push((noise[k] / mean).log10());
    }
    gradients(&mut numbers, sight, noise, expected, sd);
    for (cos, sin) in sight.seen.sectors {
        numbers.push(cos);
        numbers.push(sin);
    }
    numbers.push((sd / white.max(1e-6)).log10());
    numbers.push(sight.level.max(1e-4).log10());
    numbers.push(sight.clipped.min(0.1));
    numbers.push(frame.bayer);
    numbers.push(frame.six);
    numbers.push(frame.rendered);
    // Coefficients of less than half a step are rounded to nothing.
    numbers.push(frame.step.map_or(-2.0, |step| (step * code / sd).max(1e-2).log10()));
    numbers.push(frame.overshoot.map_or(0.0, |o| o.clamp(-0.1, 0.4)));
    numbers.push(if frame.overshoot.is_some() { 1.0 } else { 0.0 });
    numbers.push(frame.pupil.map_or(0.0, |p| p.min(6.0)));
    numbers.push(if frame.pupil.is_some() { 1.0 } else { 0.0 });
    numbers.values
}

/// What is told of the gradients at each scale; `sd`: the patch's standard deviation.
fn gradients(numbers: &mut Numbers, sight: &Sight, noise: &[f64; RINGS], expected: &[[f64; RINGS]; SCALES], sd: f64) {
    for (scale, seen) in sight.steepness.iter().enumerate() {
        let noisy: f64 = expected[scale].iter().zip(noise).map(|(e, n)| e * n).sum();
        let square = seen.xx + seen.yy;
        let rms = (square - noisy).max(0.03 * square).max(1e-12).sqrt();
        numbers.push((rms / sd).log10());
        numbers.push((seen.p99 / rms + 1e-3).log10());
        numbers.push((seen.p90 / rms + 1e-3).log10());
        let spread = noisy.max(1e-12);
        numbers.push((seen.xx - seen.yy) / (square + spread));
        numbers.push(2.0 * seen.xy / (square + spread));
        match seen.widths {
            Some(widths) => widths.into_iter().for_each(|width| numbers.push(f64::from(width).ln())),
            None => (0..3).for_each(|_| numbers.push(3.0)),
        }
        numbers.push(seen.lively);
        if PROFILES.contains(&scale) {
            numbers.profile(&seen.profile);
        }
    }
    for scale in PROFILES {
        numbers.profile(&sight.steepness[scale].crisp);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::width::rings::Seen;

    /// Power as even as that of noise is more noise up to what lifted light makes of it, and grass in focus beyond.
    #[test]
    fn even_power_is_noise_up_to_what_lifted_light_explains() {
        let even = |power: f64| Sight {
            seen: Seen { variance: power, power: [power; RINGS], ..Seen::default() },
            ..Sight::default()
        };
        let detail = |power: f64| has_detail(&even(power), &[1.0; RINGS], 0.0);
        assert!(!detail(2.0) && !detail(0.9 * LIFTED) && detail(1.1 * DETAIL * LIFTED));
    }
}
