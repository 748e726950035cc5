//! The frame's forward model: disc over ground and far scene, the lens's own field blur, motion, and their priors.

use super::evidence::{Evidence, Sample};
use super::surface::Surface;
use crate::quantity::Intent;

/// Number of parameters.
pub const SIZE: usize = 12;
/// A parameter vector.
pub type Theta = [f64; SIZE];

/// Signed disc of the far scene, px (positive: nearer than the plane of focus).
pub const FAR: usize = 0;
/// ln of the growth of the signed disc per unit v below the horizon, ln px.
pub const GROWTH: usize = 1;
/// v of the horizon.
pub const HORIZON: usize = 2;
/// Lens blur at the centre, px.
pub const CENTRE: usize = 3;
/// Lens blur added in quadrature at the corner, px.
pub const CORNER: usize = 4;
/// Exponent of its growth with distance from the centre.
pub const POWER: usize = 5;
/// ln of the common factor by which measured widths are off.
pub const SCALE: usize = 6;
/// Growth of the signed disc per unit u over the whole frame: a tilted lens or sensor, px.
pub const TILT: usize = 7;
/// Gaussian-equivalent sigma that motion adds to a tile's width averaged over directions, px.
pub const SHAKE: usize = 8;
/// u of the centre of the lens's field: off the middle for a decentred lens.
pub const SHIFT: usize = 9;

/// Disc that a curved field adds at the corner, growing with the square of the distance from the centre, px.
pub const CURVE: usize = 10;

/// v of the centre of the lens's field.
pub const RISE: usize = 11;

/// Half width of the rounding of the ground's meeting with the far scene, in v.
const ROUNDING: f64 = 0.03;
/// Half width of the rounding of |disc| at zero, px: far below what can be seen.
const CUSP: f64 = 0.1;

/// What a parameter vector says of one place.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// Signed disc, px.
    pub disc: f64,
    /// Lens part, px.
    pub lens: f64,
    /// Lens and motion parts together, px.
    pub gauss: f64,
    /// ln of the width that would be measured.
    pub y: f64,
}

/// A parameter vector made ready for many places.
#[derive(Clone, Copy, Debug)]
pub struct Ready {
    t: Theta,
    growth: f64,
    still: f64,
}

impl Ready {
    /// Works out what all places share.
    #[must_use]
    pub fn new(t: &Theta) -> Self {
        Self { t: *t, growth: t[GROWTH].exp(), still: t[CENTRE] * t[CENTRE] }
    }

    /// The parameters themselves.
    #[must_use]
    pub const fn theta(&self) -> &Theta {
        &self.t
    }

    /// Signed disc at a place, px.
    #[inline]
    #[must_use]
    pub fn disc(&self, s: &Sample) -> f64 {
        let hv = s.v - self.t[HORIZON];
        let ramp = 0.5 * (hv + (hv * hv + ROUNDING * ROUNDING).sqrt());
        self.t[FAR] + self.growth * ramp + self.t[TILT] * s.u + self.t[CURVE] * s.r * s.r
    }

    /// Square of the lens part that grows towards the corners, px^2.
    #[inline]
    fn corner(&self, s: &Sample) -> f64 {
        let ln_r = if self.t[SHIFT] == 0.0 && self.t[RISE] == 0.0 {
            s.ln_r
        } else {
            let (du, dv) = (s.u - self.t[SHIFT], s.v - self.t[RISE]);
            0.5 * (du * du + dv * dv).max(1e-6).ln()
        };
        self.t[CORNER] * self.t[CORNER] * (2.0 * self.t[POWER] * ln_r).exp()
    }

    /// Lens part at a place, px.
    #[must_use]
    pub fn lens(&self, s: &Sample) -> f64 {
        (s.learned_square + self.still + self.corner(s)).sqrt()
    }

    /// What would be measured at a place.
    #[inline]
    #[must_use]
    pub fn at(&self, s: &Sample, surface: &Surface) -> Place {
        let disc = self.disc(s);
        let square = s.learned_square + self.still + self.corner(s);
        let gauss = (square + self.t[SHAKE] * self.t[SHAKE]).sqrt();
        let y = surface.whole((disc * disc + CUSP * CUSP).sqrt(), gauss).ln + self.t[SCALE];
        Place { disc, lens: square.sqrt(), gauss, y }
    }

    /// ln of the width that would be measured, with its slopes along every parameter.
    #[inline]
    #[must_use]
    pub fn slopes(&self, s: &Sample, surface: &Surface) -> (f64, Theta) {
        let t = &self.t;
        let hv = s.v - t[HORIZON];
        let root = (hv * hv + ROUNDING * ROUNDING).sqrt();
        let ramp = 0.5 * (hv + root);
        let disc = t[FAR] + self.growth * ramp + t[TILT] * s.u + t[CURVE] * s.r * s.r;
        let size = (disc * disc + CUSP * CUSP).sqrt();
        let (du, dv) = (s.u - t[SHIFT], s.v - t[RISE]);
        let square = (du * du + dv * dv).max(1e-6);
        let ln_r = if t[SHIFT] == 0.0 && t[RISE] == 0.0 { s.ln_r } else { 0.5 * square.ln() };
        let rise = (2.0 * t[POWER] * ln_r).exp();
        let corner = t[CORNER] * t[CORNER] * rise;
        let gauss = (s.learned_square + self.still + corner + t[SHAKE] * t[SHAKE]).sqrt().max(1e-6);
        let slope = surface.whole(size, gauss);
        let along_disc = slope.disc * disc / size;
        let along_gauss = slope.gauss / gauss;
        let mut j = [0.0; SIZE];
        j[FAR] = along_disc;
        j[GROWTH] = along_disc * self.growth * ramp;
        j[HORIZON] = -along_disc * self.growth * 0.5 * (1.0 + hv / root);
        j[TILT] = along_disc * s.u;
        j[CURVE] = along_disc * s.r * s.r;
        j[CENTRE] = along_gauss * t[CENTRE];
        j[CORNER] = along_gauss * t[CORNER] * rise;
        j[POWER] = along_gauss * corner * ln_r;
        j[SHAKE] = along_gauss * t[SHAKE];
        j[SHIFT] = -along_gauss * corner * t[POWER] * du / square;
        j[RISE] = -along_gauss * corner * t[POWER] * dv / square;
        j[SCALE] = 1.0;
        (slope.ln + t[SCALE], j)
    }
}

/// The forward model at one place.
#[must_use]
pub fn predict(t: &Theta, s: &Sample, surface: &Surface) -> Place {
    Ready::new(t).at(s, surface)
}

/// A prior that may be wider on one side than on the other.
#[derive(Clone, Copy, Debug)]
pub struct Belief {
    /// Most probable value.
    pub mean: f64,
    /// Spread below it.
    pub below: f64,
    /// Spread above it.
    pub above: f64,
}

impl Belief {
    const fn even(mean: f64, sd: f64) -> Self {
        Self { mean, below: sd, above: sd }
    }

    /// Energy (minus ln of the density), its slope and curvature.
    #[inline]
    #[must_use]
    pub fn energy(&self, x: f64) -> (f64, f64, f64) {
        let d = x - self.mean;
        let sd = if d < 0.0 { self.below } else { self.above };
        // The two halves meet with equal density: the norm is the mean of the two spreads.
        let norm = (0.5 * (self.below + self.above) * (2.0 * std::f64::consts::PI).sqrt()).ln();
        (0.5 * d * d / (sd * sd) + norm, d / (sd * sd), 1.0 / (sd * sd))
    }
}

/// Priors of all parameters for a frame, and the knowledge that ties several of them.
#[derive(Clone, Debug)]
pub struct Priors {
    /// One a parameter.
    pub beliefs: [Belief; SIZE],
    /// Far disc that the recorded focus distance implies: value, spread, how far it is trusted.
    pub recorded: Option<(f64, f64, f64)>,
    /// Where the camera focused, as a place of the model.
    pub focused_at: Option<Sample>,
}

/// Spread of the disc at the recorded focus point, px, and how far the point is trusted: the camera may have
/// been swung round after focusing, or focused on something that stands off the ground.
const FOCUS_POINT: (f64, f64) = (1.5, 0.4);

/// Height a camera is taken to have over the ground before it, m: on a tripod between knee and eye height
/// (common practice, no published source). Only a wide prior rests on it.
const USUAL_HEIGHT: f64 = 1.0;

/// Spreads of the horizon, in v, above and below the sky's lower edge: hills and trees stand above the horizon,
/// often far; only haze that passes for sky ends below it.
const SKYLINE_SPREAD: (f64, f64) = (0.05, 0.15);
/// How far above the horizon, in v, the lower edge of the sky usually is.
const SKYLINE_RISE: f64 = 0.045;
/// Spread of a horizon found from how haze thins.
const VEILED_SPREAD: f64 = 0.06;

/// ln of the factor by which the widths of a frame's content are off: a little too small in the median, with a
/// spread from frame to frame (rendered landscapes of the seeds used for building).
const SCALE_USUAL: Belief = Belief { mean: -0.01, below: 0.07, above: 0.07 };

/// Least spread of that factor: no estimator of widths is calibrated more closely than this over all content.
const LEAST_SCALE: f64 = 0.04;

impl Priors {
    /// The priors that the capture facts and the user's words give.
    #[must_use]
    pub fn new(e: &Evidence, intent: &Intent, f_number: Option<f64>, recorded: Option<(f64, f64, bool)>) -> Self {
        let deep = (e.bottom + 0.15).max(0.3);
        // Ground seen from height h has inverse depth (v - horizon) D p / (f h), hence a disc that grows by
        // f D / (N h) a unit of v (McCloskey and Langer, CVPR 2009; D: half diagonal).
        let usual = match (e.focal_m, f_number) {
            (Some(f), Some(n)) => Some(f * e.half_diagonal / n),
            _ => None,
        };
        let growth = match (usual, intent.camera_height_m, e.reach.zip(intent.near_m)) {
            (Some(scale), Some(height), _) => Belief { mean: (scale / height).ln(), below: 0.3, above: 0.3 },
            (_, _, Some((reach, near))) => Belief { mean: (reach / near / deep).ln(), below: 0.35, above: 0.35 },
            // A lower camera or rising ground is rarer than ground that falls away or lies far off.
            (Some(scale), None, None) => Belief { mean: (scale / USUAL_HEIGHT).ln(), below: 1.3, above: 0.7 },
            (None, _, None) => Belief { mean: 8.0_f64.ln(), below: 1.6, above: 1.0 },
        };
        let span = growth.mean.exp() * deep;
        let px = |um: f64| e.pitch_um.map_or(um / 4.5, |p| um / p);
        let learned = e.samples.iter().filter(|s| s.learned.is_some()).count() * 2 > e.samples.len();
        let (centre, corner) = if learned { (px(0.7), px(2.0)) } else { (px(1.6), px(7.0)) };
        let horizon = match (e.veiled, e.skyline) {
            (Some(v), _) => Belief::even(v, VEILED_SPREAD),
            (None, Some(v)) => Belief { mean: v + SKYLINE_RISE, below: SKYLINE_SPREAD.0, above: SKYLINE_SPREAD.1 },
            (None, None) => Belief::even(-0.12, 0.3),
        };
        // What the measuring says its widths have in common, or what they were found to have.
        let scale = e.common.map_or(SCALE_USUAL, |sd| Belief::even(0.0, sd.max(LEAST_SCALE)));
        Self {
            beliefs: [
                // Focus beyond infinity happens, by a little.
                Belief { mean: 0.0, below: 1.2 * span.max(3.0), above: 0.8 },
                growth,
                horizon,
                Belief::even(0.0, centre),
                Belief::even(0.0, corner),
                Belief::even(2.5, 0.8),
                scale,
                Belief::even(0.0, 6.0),
                Belief::even(0.0, 2.0),
                Belief::even(0.0, 0.35),
                Belief::even(0.0, 6.0),
                Belief::even(0.0, 0.35),
            ],
            recorded: e.reach.zip(recorded).map(|(reach, (low, high, given))| {
                let (near, far) = (-reach / low, -reach / high);
                let middle = 0.5 * (near + far);
                (middle, (0.5 * (far - near)).hypot(0.2 * middle.abs()).hypot(0.5), if given { 0.9 } else { 0.5 })
            }),
            focused_at: None,
        }
    }

    /// Energy of the separate beliefs that are switched on.
    #[must_use]
    pub fn energy(&self, t: &Theta, on: u32) -> f64 {
        (0..SIZE).filter(|&k| on >> k & 1 == 1).map(|k| self.beliefs[k].energy(t[k]).0).sum()
    }

    /// Energy of what the camera recorded of its focus, distance and point. Both are trusted only so far: a wrong
    /// record costs a fixed price, so that it can break a tie but not outvote the picture.
    #[must_use]
    pub fn recorded_energy(&self, t: &Theta) -> f64 {
        let trusted = |z: f64, trust: f64| -(trust * (-0.5 * z * z).exp() + (1.0 - trust) * 0.3).ln();
        let distance = self.recorded.map_or(0.0, |(mean, sd, trust)| trusted((t[FAR] - mean) / sd, trust));
        let point = self.focused_at.map_or(0.0, |s| trusted(Ready::new(t).disc(&s) / FOCUS_POINT.0, FOCUS_POINT.1));
        distance + point
    }
}

impl Priors {
    /// How many times faster than usual the ground's blur grows downwards in a parameter vector.
    #[must_use]
    pub fn haste(&self, t: &Theta) -> f64 {
        (t[GROWTH] - self.beliefs[GROWTH].mean).exp()
    }

    /// Expects the shake of a measured streak: what its length adds to a width averaged over directions.
    pub fn expect_shake(&mut self, length: crate::quantity::Estimate) {
        let sigma = |b: f64| {
            let parts = crate::optics::blur::Parts { motion_px: b, ..Default::default() };
            crate::optics::blur::sigma_px(&parts)
        };
        let sd = (sigma(length.value + length.sd) - sigma(length.value)).max(0.1 * sigma(length.value)) + 0.05;
        self.beliefs[SHAKE] = Belief::even(sigma(length.value), sd);
    }
}
