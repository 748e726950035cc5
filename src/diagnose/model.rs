//! The frame's forward model: disc over ground and far scene, the lens's own field blur, motion.

use super::eight::{EIGHT, Lane, Tiles};
use super::evidence::Sample;
use super::parameters::Parameter::{
    Centre, Corner, Curve, Far, Growth, Horizon, Power, Rise, Scale, Shake, Shift, Tilt,
};
use super::parameters::{SIZE, Theta};
use super::surface::Surface;
use crate::stats;

/// Half width of the rounding of the ground's meeting with the far scene, in v. Chosen: half a row of tiles, finer than
/// the grid shows.
const ROUNDING: f64 = 0.03;
/// Half width of the rounding of |disc| at zero, px. Chosen: far below what can be seen.
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
    /// Whether the lens's field is centred in the picture.
    centred: bool,
}

impl Ready {
    /// Works out what all places share.
    pub(super) fn new(t: &Theta) -> Self {
        let centred = t[Shift] == 0.0 && t[Rise] == 0.0;
        Self { t: *t, growth: t[Growth].exp(), still: t[Centre] * t[Centre], centred }
    }

    /// The parameters themselves.
    pub(super) const fn theta(&self) -> &Theta {
        &self.t
    }

    /// Signed disc at a place, px.
    #[inline]
    pub(super) fn disc(&self, s: &Sample) -> f64 {
        self.disc_at(s.u, s.v, s.r)
    }

    #[inline(always)]
    fn disc_at(&self, u: f64, v: f64, r: f64) -> f64 {
        let hv = v - self.t[Horizon];
        self.t[Far] + self.growth * (0.5 * (hv + rounded(hv, ROUNDING))) + self.t[Tilt] * u + self.t[Curve] * r * r
    }

    /// ln of the distance from the centre of the lens's field.
    #[inline(always)]
    fn ln_r(&self, u: f64, v: f64, from_middle: f64) -> f64 {
        if self.centred { from_middle } else { 0.5 * stats::ln(self.square(u, v)) }
    }

    /// Square of that distance.
    #[inline(always)]
    fn square(&self, u: f64, v: f64) -> f64 {
        let (du, dv) = (u - self.t[Shift], v - self.t[Rise]);
        (du * du + dv * dv).max(1e-6)
    }

    /// How the square of the lens part that grows towards the corners does so.
    #[inline(always)]
    fn rise(&self, ln_r: f64) -> f64 {
        stats::exp(2.0 * self.t[Power] * ln_r)
    }

    /// Square of the lens part at a place, px^2.
    #[inline(always)]
    fn lens_square(&self, learned_square: f64, rise: f64) -> f64 {
        learned_square + self.still + self.t[Corner] * self.t[Corner] * rise
    }

    /// Lens part at a place, px.
    pub(super) fn lens(&self, s: &Sample) -> f64 {
        self.lens_square(s.learned_square, self.rise(self.ln_r(s.u, s.v, s.ln_r))).sqrt()
    }

    /// ln of the width that would be measured at a place if what lies there were in focus: the lens and the camera's motion soften it
    /// at any distance.
    pub(super) fn in_focus(&self, s: &Sample, surface: &Surface) -> f64 {
        surface.whole(0.0, self.lens(s).hypot(self.t[Shake])).ln + self.t[Scale]
    }

    /// What would be measured at a place.
    pub(super) fn at(&self, s: &Sample, surface: &Surface) -> Place {
        let (disc, lens) = (self.disc(s), self.lens(s));
        let gauss = (lens * lens + self.t[Shake] * self.t[Shake]).sqrt();
        Place { disc, lens, gauss, y: surface.whole(rounded(disc, CUSP), gauss).ln + self.t[Scale] }
    }

    /// ln of the widths that would be measured at eight tiles.
    #[inline(always)]
    pub(super) fn widths(&self, s: &Tiles, surface: &Surface) -> Lane {
        let (mut size, mut gauss) = (Lane::default(), Lane::default());
        for k in 0..EIGHT {
            size[k] = rounded(self.disc_at(s.u[k], s.v[k], s.r[k]), CUSP);
            let rise = self.rise(self.ln_r(s.u[k], s.v[k], s.ln_r[k]));
            gauss[k] = (self.lens_square(s.learned_square[k], rise) + self.t[Shake] * self.t[Shake]).sqrt();
        }
        surface.wholes(&size, &gauss).ln.map(|ln| ln + self.t[Scale])
    }

    /// The same, with its slopes along every parameter.
    #[inline(always)]
    pub(super) fn slopes(&self, s: &Tiles, surface: &Surface) -> (Lane, [Lane; SIZE]) {
        let t = &self.t;
        let (mut disc, mut size, mut gauss, mut ln_r, mut rise) =
            (Lane::default(), Lane::default(), Lane::default(), Lane::default(), Lane::default());
        for k in 0..EIGHT {
            disc[k] = self.disc_at(s.u[k], s.v[k], s.r[k]);
            size[k] = rounded(disc[k], CUSP);
            ln_r[k] = self.ln_r(s.u[k], s.v[k], s.ln_r[k]);
            rise[k] = self.rise(ln_r[k]);
            gauss[k] = (self.lens_square(s.learned_square[k], rise[k]) + t[Shake] * t[Shake]).sqrt().max(1e-6);
        }
        let slopes = surface.wholes(&size, &gauss);
        let mut j = [Lane::default(); SIZE];
        for k in 0..EIGHT {
            let hv = s.v[k] - t[Horizon];
            let root = rounded(hv, ROUNDING);
            let along_disc = slopes.disc[k] * disc[k] / size[k];
            let along_gauss = slopes.gauss[k] / gauss[k];
            let corner = t[Corner] * t[Corner] * rise[k];
            let inwards = -along_gauss * corner * t[Power] / self.square(s.u[k], s.v[k]);
            j[Far as usize][k] = along_disc;
            j[Growth as usize][k] = along_disc * self.growth * (0.5 * (hv + root));
            j[Horizon as usize][k] = -along_disc * self.growth * 0.5 * (1.0 + hv / root);
            j[Tilt as usize][k] = along_disc * s.u[k];
            j[Curve as usize][k] = along_disc * s.r[k] * s.r[k];
            j[Centre as usize][k] = along_gauss * t[Centre];
            j[Corner as usize][k] = along_gauss * t[Corner] * rise[k];
            j[Power as usize][k] = along_gauss * corner * ln_r[k];
            j[Shake as usize][k] = along_gauss * t[Shake];
            j[Shift as usize][k] = inwards * (s.u[k] - t[Shift]);
            j[Rise as usize][k] = inwards * (s.v[k] - t[Rise]);
            j[Scale as usize][k] = 1.0;
        }
        (slopes.ln.map(|ln| ln + t[Scale]), j)
    }
}

/// Size of a number, with a rounded edge at zero.
#[inline(always)]
fn rounded(x: f64, edge: f64) -> f64 {
    (x * x + edge * edge).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eight_tiles_at_a_time_are_as_one_by_one_and_slopes_are_what_a_step_makes() {
        let surface = Surface::at_scale(Some(0.9));
        let place = |k: u32| Sample::place(0.13 * f64::from(k) - 0.7, 0.11 * f64::from(k) - 0.5, Some((0.3, 0.1)));
        let samples: Vec<Sample> = (0..11).map(place).collect();
        let mut t = Theta([-3.3, 2.1, -0.12, 0.31, 1.3, 2.4, 0.03, 1.1, 0.4, 0.07, -0.6, -0.05]);
        for centred in [false, true] {
            if centred {
                (t[Shift], t[Rise]) = (0.0, 0.0);
            }
            for (k, s) in samples.iter().enumerate() {
                let tiles = &Tiles::of(&samples)[k / EIGHT];
                let (y, j) = Ready::new(&t).slopes(tiles, &surface);
                let one = Ready::new(&t).at(s, &surface).y;
                assert!((y[k % EIGHT] - one).abs() < 1e-12, "{k}: {} {one}", y[k % EIGHT]);
                assert_eq!(Ready::new(&t).widths(tiles, &surface)[k % EIGHT], y[k % EIGHT]);
                for p in (0..SIZE).filter(|p| !centred || ![Shift as usize, Rise as usize].contains(p)) {
                    let at = |step: f64| {
                        let mut moved = t;
                        moved.0[p] += step;
                        Ready::new(&moved).at(s, &surface).y
                    };
                    // Within a cell of the surface; at its edge the slope jumps.
                    let (up, down) = ((at(1e-7) - one) / 1e-7, (one - at(-1e-7)) / 1e-7);
                    let slope = j[p][k % EIGHT];
                    assert!((slope - up).abs().min((slope - down).abs()) < 1e-5 * (1.0 + slope.abs()), "{p} {k}");
                }
            }
        }
    }
}
