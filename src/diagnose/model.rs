//! The frame's forward model: disc over ground and far scene, the lens's own field blur, motion.

use super::evidence::Sample;
use super::parameters::Parameter::{
    Centre, Corner, Curve, Far, Growth, Horizon, Power, Rise, Scale, Shake, Shift, Tilt,
};
use super::parameters::Theta;
use super::surface::Surface;

/// Chosen: half a row of tiles, finer than the grid shows. Half width of the rounding of the ground's meeting with the
/// far scene, in v.
const ROUNDING: f64 = 0.03;
/// Chosen: far below what can be seen. Half width of the rounding of |disc| at zero, px.
const CUSP: f64 = 0.1;

/// What a parameter vector says of one place.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
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
pub(super) struct Ready {
    t: Theta,
    growth: f64,
    still: f64,
}

impl Ready {
    /// Works out what all places share.
    pub(super) fn new(t: &Theta) -> Self {
        Self { t: *t, growth: t[Growth].exp(), still: t[Centre] * t[Centre] }
    }

    /// The parameters themselves.
    pub(super) const fn theta(&self) -> &Theta {
        &self.t
    }

    /// Signed disc at a place, px.
    #[inline]
    pub(super) fn disc(&self, s: &Sample) -> f64 {
        let hv = s.v - self.t[Horizon];
        let ramp = 0.5 * (hv + (hv * hv + ROUNDING * ROUNDING).sqrt());
        self.t[Far] + self.growth * ramp + self.t[Tilt] * s.u + self.t[Curve] * s.r * s.r
    }

    /// Square of the lens part that grows towards the corners, px^2.
    #[inline]
    fn corner(&self, s: &Sample) -> f64 {
        let ln_r = if self.t[Shift] == 0.0 && self.t[Rise] == 0.0 {
            s.ln_r
        } else {
            let (du, dv) = (s.u - self.t[Shift], s.v - self.t[Rise]);
            0.5 * (du * du + dv * dv).max(1e-6).ln()
        };
        self.t[Corner] * self.t[Corner] * (2.0 * self.t[Power] * ln_r).exp()
    }

    /// Lens part at a place, px.
    pub(super) fn lens(&self, s: &Sample) -> f64 {
        (s.learned_square + self.still + self.corner(s)).sqrt()
    }

    /// ln of the width that would be measured at a place if what lies there were in focus: the lens and the camera's motion soften it
    /// at any distance.
    pub(super) fn in_focus(&self, s: &Sample, surface: &Surface) -> f64 {
        surface.whole(0.0, self.lens(s).hypot(self.t[Shake])).ln + self.t[Scale]
    }

    /// What would be measured at a place.
    #[inline]
    pub(super) fn at(&self, s: &Sample, surface: &Surface) -> Place {
        let disc = self.disc(s);
        let square = s.learned_square + self.still + self.corner(s);
        let gauss = (square + self.t[Shake] * self.t[Shake]).sqrt();
        let y = surface.whole((disc * disc + CUSP * CUSP).sqrt(), gauss).ln + self.t[Scale];
        Place { disc, lens: square.sqrt(), gauss, y }
    }

    /// ln of the width that would be measured, with its slopes along every parameter.
    #[inline]
    pub(super) fn slopes(&self, s: &Sample, surface: &Surface) -> (f64, Theta) {
        let t = &self.t;
        let hv = s.v - t[Horizon];
        let root = (hv * hv + ROUNDING * ROUNDING).sqrt();
        let ramp = 0.5 * (hv + root);
        let disc = t[Far] + self.growth * ramp + t[Tilt] * s.u + t[Curve] * s.r * s.r;
        let size = (disc * disc + CUSP * CUSP).sqrt();
        let (du, dv) = (s.u - t[Shift], s.v - t[Rise]);
        let square = (du * du + dv * dv).max(1e-6);
        let ln_r = if t[Shift] == 0.0 && t[Rise] == 0.0 { s.ln_r } else { 0.5 * square.ln() };
        let rise = (2.0 * t[Power] * ln_r).exp();
        let corner = t[Corner] * t[Corner] * rise;
        let gauss = (s.learned_square + self.still + corner + t[Shake] * t[Shake]).sqrt().max(1e-6);
        let slope = surface.whole(size, gauss);
        let along_disc = slope.disc * disc / size;
        let along_gauss = slope.gauss / gauss;
        let mut j = Theta::default();
        j[Far] = along_disc;
        j[Growth] = along_disc * self.growth * ramp;
        j[Horizon] = -along_disc * self.growth * 0.5 * (1.0 + hv / root);
        j[Tilt] = along_disc * s.u;
        j[Curve] = along_disc * s.r * s.r;
        j[Centre] = along_gauss * t[Centre];
        j[Corner] = along_gauss * t[Corner] * rise;
        j[Power] = along_gauss * corner * ln_r;
        j[Shake] = along_gauss * t[Shake];
        j[Shift] = -along_gauss * corner * t[Power] * du / square;
        j[Rise] = -along_gauss * corner * t[Power] * dv / square;
        j[Scale] = 1.0;
        (slope.ln + t[Scale], j)
    }
}
