//! One patch of a picture as the estimator looks at it: its spectrum by rings and directions, and how steep its gradients
//! are at four scales.

use super::loops::{SIDE, binomial, halve, mirrored, moments, relative};
use super::rings::{Seen, Spectrum};
use super::steep::{SCALES, Scale, Steepness};
use crate::shot::Plane;

/// Sides of a patch's reduced pictures, samples. Derived: halved once and twice.
const HALF: usize = SIDE / 2;
const QUARTER: usize = SIDE / 4;

/// What is seen of a patch before anything is known of the colour of the noise; relative luminance (white = 1).
#[derive(Clone, Debug, Default)]
pub(super) struct Sight {
    /// Mean.
    pub level: f64,
    /// Share of samples that are clipped.
    pub clipped: f64,
    /// Variance and power.
    pub seen: Seen,
    /// Gradients at each scale.
    pub steepness: [Steepness; SCALES],
}

/// Buffers for looking at patches; one a thread.
pub(super) struct Looker {
    patch: Vec<[f32; SIDE]>,
    spectrum: Spectrum,
    spare: Vec<[f32; SIDE]>,
    smooth: Vec<[f32; SIDE]>,
    half: [Vec<[f32; HALF]>; 3],
    quarter: [Vec<[f32; QUARTER]>; 3],
    whole: [Scale<SIDE>; 2],
    halved: Scale<HALF>,
    quartered: Scale<QUARTER>,
}

impl Looker {
    pub(super) fn new() -> Self {
        let whole = || vec![[0.0; SIDE]; SIDE];
        let half = || vec![[0.0; HALF]; HALF];
        let quarter = || vec![[0.0; QUARTER]; QUARTER];
        Self {
            patch: whole(),
            spectrum: Spectrum::new(),
            spare: whole(),
            smooth: whole(),
            half: [half(), half(), half()],
            quarter: [quarter(), quarter(), quarter()],
            whole: [Scale::new(0), Scale::new(1)],
            halved: Scale::new(2),
            quartered: Scale::new(3),
        }
    }

    /// Looks at the patch whose corner is at (x, y), which may lie outside the picture: what is missing is mirrored. `white`
    /// tells the standard deviation of white noise at a level.
    pub(super) fn look(&mut self, plane: &Plane, x: isize, y: isize, white: impl Fn(f64) -> f64) -> Sight {
        let clipped = self.gather(plane, x, y);
        let (level, slopes) = self.trend();
        let white = white(level);
        let seen = self.spectrum.of(&self.patch, level as f32, slopes);
        let fine = self.whole[0].of(&self.patch, white);
        binomial(&self.patch, &mut self.spare, &mut self.smooth);
        let smoothed = self.whole[1].of(&self.smooth, white);
        let [every_second, spare, half] = &mut self.half;
        halve(&self.smooth, every_second);
        binomial(every_second, spare, half);
        let halved = self.halved.of(half, white);
        let [every_second, spare, quarter] = &mut self.quarter;
        halve(half, every_second);
        binomial(every_second, spare, quarter);
        let quartered = self.quartered.of(quarter, white);
        Sight { level, clipped, seen, steepness: [fine, smoothed, halved, quartered] }
    }

    /// Fills the patch with relative luminance; the share of samples that are clipped.
    fn gather(&mut self, plane: &Plane, x: isize, y: isize) -> f64 {
        let (black, per) = (f32::from(plane.black), 1.0 / plane.range().max(1.0));
        let inside = x >= 0 && x as usize + SIDE <= plane.width;
        let mut clipped = 0_u32;
        for (j, row) in self.patch.iter_mut().enumerate() {
            let samples = plane.row(mirrored(y + j as isize, plane.height));
            if inside {
                let samples = &samples[x as usize..x as usize + SIDE];
                clipped += relative(samples, plane.saturation, black, per, row);
            } else {
                for (i, value) in row.iter_mut().enumerate() {
                    let sample = samples[mirrored(x + i as isize, plane.width)];
                    clipped += u32::from(sample >= plane.saturation);
                    *value = (f32::from(sample) - black) * per;
                }
            }
        }
        f64::from(clipped) / (SIDE * SIDE) as f64
    }

    /// Mean of the patch and its slopes along x and y (least squares).
    fn trend(&self) -> (f64, (f32, f32)) {
        let [sum, sx, sy] = moments(&self.patch);
        let n = (SIDE * SIDE) as f64;
        // Mean square of the distance from the middle of n samples a unit apart: (n^2 - 1) / 12.
        let spread = n * ((SIDE * SIDE - 1) as f64 / 12.0);
        (sum / n, ((sx / spread) as f32, (sy / spread) as f32))
    }
}

#[cfg(test)]
mod tests {
    use super::super::rings::RINGS;
    use super::super::steep::noise_gradients;
    use super::*;

    fn noise(side: usize, sd: f64) -> Plane {
        let mut dice = fastrand::Rng::with_seed(3);
        let mut normal = || (0..12).map(|_| dice.f64()).sum::<f64>() - 6.0;
        Plane::of_test(side, (0..side * side).map(|_| (20_000.0 + sd * normal()) as u16).collect())
    }

    #[test]
    fn white_noise_reads_its_variance_in_every_ring_and_gradient() {
        const ACROSS: usize = 5;
        let plane = noise(ACROSS * SIDE, 600.0);
        let mut looker = Looker::new();
        let sights: Vec<Sight> = (0..ACROSS * ACROSS)
            .map(|i| looker.look(&plane, (i % ACROSS * SIDE) as isize, (i / ACROSS * SIDE) as isize, |_| 0.0))
            .collect();
        let mean = |of: &dyn Fn(&Sight) -> f64| sights.iter().map(of).sum::<f64>() / sights.len() as f64;
        let variance = (600.0_f64 / 60_000.0).powi(2);
        // The narrowest ring holds some 16 frequencies of a patch, of which the window leaves a half independent: 7 % over all
        // patches.
        for k in 0..RINGS {
            let power = mean(&|s| s.seen.power[k]);
            assert!((power / variance - 1.0).abs() < 0.2, "ring {k}: {power}");
        }
        let expected = noise_gradients();
        for s in 0..SCALES {
            let square = mean(&|sight| sight.steepness[s].xx + sight.steepness[s].yy);
            let noise = variance * expected[s].iter().sum::<f64>();
            // Mirrored at its borders a patch is smoothed less there, the more the coarser the scale.
            assert!((square / noise - 1.0).abs() < 0.05 + 0.05 * s as f64, "scale {s}: {square} for {noise}");
        }
    }

    #[test]
    fn a_shaded_plane_has_neither_variance_nor_power() {
        let data = (0..SIDE * SIDE).map(|i| (10_000 + 40 * (i % SIDE) + 25 * (i / SIDE)) as u16).collect();
        let sight = Looker::new().look(&Plane::of_test(SIDE, data), 0, 0, |_| 0.0);
        assert!(sight.seen.variance < 1e-9 && sight.seen.power.iter().all(|p| *p < 1e-9), "{:?}", sight.seen.power);
    }

    #[test]
    fn stripes_say_which_way_they_face() {
        // 12 px from stripe to stripe along x: power at 1/12 cycles a pixel, direction 0.
        let wave = |i: usize| (std::f64::consts::TAU * (i % SIDE) as f64 / 12.0).sin();
        let data = (0..SIDE * SIDE).map(|i| (20_000.0 + 5000.0 * wave(i)) as u16).collect();
        let sight = Looker::new().look(&Plane::of_test(SIDE, data), 0, 0, |_| 0.0);
        assert!(sight.seen.sectors[2].0 > 0.9 && sight.seen.sectors[2].1.abs() < 0.05, "{:?}", sight.seen.sectors);
        assert!(sight.steepness[0].xx > 100.0 * sight.steepness[0].yy);
    }

    #[test]
    fn a_picture_smaller_than_a_patch_is_mirrored() {
        let small = noise(17, 600.0);
        let sight = Looker::new().look(&small, -30, -40, |_| 0.0);
        assert!(sight.seen.power.iter().all(|p| p.is_finite()));
        assert_eq!((mirrored(-1, 5), mirrored(5, 5), mirrored(-7, 3), mirrored(0, 1)), (0, 4, 0, 0));
    }
}
