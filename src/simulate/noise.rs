//! Seeded chance, and smooth noise over the plane.

/// A seeded generator; the same seed gives the same draws on every machine.
pub(super) struct Dice(fastrand::Rng);

impl Dice {
    /// From a seed.
    pub(super) fn new(seed: u64) -> Self {
        Self(fastrand::Rng::with_seed(seed))
    }

    /// Evenly spread over 0 to 1.
    pub(super) fn even(&mut self) -> f64 {
        self.0.f64()
    }

    /// Evenly spread over a range.
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// Normal with mean 0 and standard deviation 1 (Box & Muller 1958).
    pub(super) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.even()).cos()
    }

    /// Radius from the power law r^-3 between two bounds, which fills a plane alike at every scale.
    pub(super) fn radius(&mut self, low: f64, high: f64) -> f64 {
        let (a, b) = (low.powi(-2), high.powi(-2));
        (a + (b - a) * self.even()).powf(-0.5)
    }
}

/// Repeatable value in -1..1 for a lattice point.
fn lattice(x: i64, y: i64, seed: u64) -> f64 {
    let mut h = (x as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (y as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F);
    h ^= seed.wrapping_mul(0x1656_67B1_9E37_79F9);
    h = (h ^ (h >> 31)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    h = (h ^ (h >> 29)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((h ^ (h >> 32)) >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// Smooth noise in -1..1 with detail about one unit across: lattice values joined by quintic steps, so that
/// neither it nor its slope nor its curvature jumps anywhere.
pub(super) fn smooth(x: f64, y: f64, seed: u64) -> f64 {
    let (ix, iy) = (x.floor(), y.floor());
    let step = |t: f64| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
    let (u, v) = (step(x - ix), step(y - iy));
    let (i, j) = (ix as i64, iy as i64);
    let line = |j: i64| {
        let (a, b) = (lattice(i, j, seed), lattice(i + 1, j, seed));
        a + (b - a) * u
    };
    let (a, b) = (line(j), line(j + 1));
    a + (b - a) * v
}

/// Octaves of smooth noise from `coarse` px to `finest` px, each `gain` times the strength of the one before;
/// standard deviation about 1 over a large field for `gain` near 1, less detail for smaller gains.
pub(super) fn fractal(x: f64, y: f64, coarse: f64, finest: f64, gain: f64, seed: u64) -> f64 {
    let (mut size, mut strength, mut sum, mut power) = (coarse, 1.0, 0.0, 0.0);
    let mut octave = 0;
    while size >= finest {
        sum += strength
            * smooth(
                x / size + 17.3 * f64::from(octave),
                y / size - 9.1 * f64::from(octave),
                seed + u64::from(octave as u32),
            );
        power += strength * strength;
        strength *= gain;
        size *= 0.5;
        octave += 1;
    }
    // One octave of `smooth` has a standard deviation of about 0.37.
    if power > 0.0 { sum / (0.37 * f64::sqrt(power)) } else { 0.0 }
}
