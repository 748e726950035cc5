//! Surface: ln of the exact blur width of one frame against disc and Gaussian part, tabulated so that a fit is fast.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::eight::{EIGHT, Lane};
use crate::optics::blur::{Parts, sigma_px};
use crate::stats;

/// Step of the diffraction scales, in ln, for which surfaces are made. Derived: surfaces are right to within a
/// hundredth of the scale, which no width tells so closely.
const SCALE_STEP: f64 = 0.02;
/// How many surfaces are kept, 32 kB each. Chosen: 8 MB; a shoot has some ten stops and focal lengths.
const KEEP: usize = 256;

/// Number of nodes along the disc axis: d = `DISC_KNEE` (e^x - 1), x from 0 in steps of `STEP`. Chosen: the axis reaches 120 px.
const DISC_NODES: usize = 56;
/// Number of nodes along the Gaussian axis, likewise. Chosen: the axis reaches 8 px; steps and knees make nodes dense
/// where either part is small.
const GAUSS_NODES: usize = 36;
const STEP: f64 = 0.1;
const DISC_KNEE: f64 = 0.5;
const GAUSS_KNEE: f64 = 0.25;

/// ln of the Gaussian-equivalent sigma (px) of pixel, diffraction, disc and a Gaussian together, at one
/// diffraction scale, bilinear between nodes; with and without the pixel aperture.
#[derive(Clone, Debug)]
pub(super) struct Surface {
    whole: Vec<f64>,
    optical: Vec<f64>,
}

/// A value with its slopes along disc and Gaussian part.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slope {
    /// ln of the width, px.
    pub ln: f64,
    /// d ln / d disc, 1/px.
    pub disc: f64,
    /// d ln / d Gaussian, 1/px.
    pub gauss: f64,
}

/// Eight values with their slopes.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Slopes {
    pub ln: Lane,
    pub disc: Lane,
    pub gauss: Lane,
}

impl Surface {
    /// The surface at a diffraction scale lambda N over the pitch (px), to within one per cent of it; `None` leaves
    /// diffraction out. Surfaces are kept, since the frames of a shoot share a few scales.
    pub(super) fn at_scale(lambda_n_px: Option<f64>) -> Arc<Self> {
        static KEPT: OnceLock<Mutex<HashMap<Option<i32>, Arc<Surface>>>> = OnceLock::new();
        let step = lambda_n_px.map(|x| (x.clamp(1e-3, 1e3).ln() / SCALE_STEP).round() as i32);
        let kept = KEPT.get_or_init(Mutex::default);
        if let Some(surface) = kept.lock().unwrap_or_else(PoisonError::into_inner).get(&step) {
            return Arc::clone(surface);
        }
        let made = Arc::new(Self::new(step.map(|k| (f64::from(k) * SCALE_STEP).exp())));
        let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= KEEP {
            kept.clear();
        }
        kept.insert(step, Arc::clone(&made));
        made
    }

    fn new(lambda_n_px: Option<f64>) -> Self {
        let fill = |pixel: bool| {
            (0..DISC_NODES * GAUSS_NODES)
                .map(|k| {
                    let disc_px = DISC_KNEE * (STEP * (k / GAUSS_NODES) as f64).exp_m1();
                    let lens_px = GAUSS_KNEE * (STEP * (k % GAUSS_NODES) as f64).exp_m1();
                    let parts = Parts { lambda_n_px, disc_px, lens_px, motion_px: 0.0, pixel };
                    // Without any part the width is zero; the floor keeps the logarithm finite.
                    sigma_px(&parts).max(0.02).ln()
                })
                .collect()
        };
        Self { whole: fill(true), optical: fill(false) }
    }

    /// ln of the whole width (pixel aperture included) and its slopes.
    #[inline]
    pub(super) fn whole(&self, disc: f64, gauss: f64) -> Slope {
        at(&self.whole, disc, gauss)
    }

    /// The same at eight places.
    #[inline(always)]
    pub(super) fn wholes(&self, disc: &Lane, gauss: &Lane) -> Slopes {
        let (mut i, mut s, mut di) = ([0; EIGHT], Lane::default(), Lane::default());
        let (mut j, mut t, mut dj) = ([0; EIGHT], Lane::default(), Lane::default());
        for k in 0..EIGHT {
            (i[k], s[k], di[k]) = node(disc[k], DISC_KNEE, DISC_NODES);
            (j[k], t[k], dj[k]) = node(gauss[k], GAUSS_KNEE, GAUSS_NODES);
        }
        let cells: [[f64; 4]; EIGHT] = std::array::from_fn(|k| cell(&self.whole, i[k], j[k]));
        let mut slopes = Slopes::default();
        for k in 0..EIGHT {
            let slope = between(cells[k], [s[k], di[k]], [t[k], dj[k]]);
            (slopes.ln[k], slopes.disc[k], slopes.gauss[k]) = (slope.ln, slope.disc, slope.gauss);
        }
        slopes
    }

    /// Width without the pixel aperture, px.
    pub(super) fn optical(&self, disc: f64, gauss: f64) -> f64 {
        at(&self.optical, disc, gauss).ln.exp()
    }

    /// Diameter of the disc that, with this Gaussian part, gives a whole width of `width` px; zero where even
    /// no disc is narrower, the table's last where none is wider.
    pub(super) fn disc_for(&self, width: f64, gauss: f64) -> f64 {
        let (j, t, _) = node(gauss, GAUSS_KNEE, GAUSS_NODES);
        let at = |i: usize| {
            let k = i * GAUSS_NODES + j as usize;
            self.whole[k] + t * (self.whole[k + 1] - self.whole[k])
        };
        DISC_KNEE * (STEP * reached(width.max(1e-3).ln(), at, DISC_NODES)).exp_m1()
    }

    /// Gaussian part that, with this disc, gives a whole width of `width` px; zero where none is needed, the table's last
    /// where none is wider.
    pub(super) fn gauss_for(&self, width: f64, disc: f64) -> f64 {
        let (i, s, _) = node(disc, DISC_KNEE, DISC_NODES);
        let at = |j: usize| {
            let k = i as usize * GAUSS_NODES + j;
            self.whole[k] + s * (self.whole[k + GAUSS_NODES] - self.whole[k])
        };
        GAUSS_KNEE * (STEP * reached(width.max(1e-3).ln(), at, GAUSS_NODES)).exp_m1()
    }
}

/// Where along rising nodes a value is reached, in nodes: between the first and the last.
fn reached(value: f64, at: impl Fn(usize) -> f64, nodes: usize) -> f64 {
    let (mut low, mut high) = (0, nodes - 1);
    while high - low > 1 {
        let middle = (low + high) / 2;
        *if at(middle) < value { &mut low } else { &mut high } = middle;
    }
    let (below, above) = (at(low), at(high));
    low as f64 + if above > below { ((value - below) / (above - below)).clamp(0.0, 1.0) } else { 0.0 }
}

/// Cell, place within it and d(place)/d(value) along one axis.
#[inline(always)]
fn node(value: f64, knee: f64, nodes: usize) -> (i32, f64, f64) {
    let value = if value > 0.0 { value } else { 0.0 };
    let x = stats::ln(1.0 + value / knee) / STEP;
    // Beyond the table the width has long become proportional, so the last cell's slope carries on.
    let cell = x.min((nodes - 2) as f64) as i32;
    (cell, x - f64::from(cell), 1.0 / (STEP * (knee + value)))
}

fn at(table: &[f64], disc: f64, gauss: f64) -> Slope {
    let (i, s, di) = node(disc, DISC_KNEE, DISC_NODES);
    let (j, t, dj) = node(gauss, GAUSS_KNEE, GAUSS_NODES);
    between(cell(table, i, j), [s, di], [t, dj])
}

/// The values at the corners of a cell.
#[inline(always)]
fn cell(table: &[f64], i: i32, j: i32) -> [f64; 4] {
    let k = i as usize * GAUSS_NODES + j as usize;
    let from = &table[k..k + GAUSS_NODES + 2];
    [from[0], from[1], from[GAUSS_NODES], from[GAUSS_NODES + 1]]
}

/// A value and its slopes within a cell, from the place and d(place)/d(value) along either axis.
#[inline(always)]
fn between([a, b, c, d]: [f64; 4], [s, di]: [f64; 2], [t, dj]: [f64; 2]) -> Slope {
    let (lower, upper) = (a + t * (b - a), c + t * (d - c));
    Slope {
        ln: lower + s * (upper - lower),
        disc: (upper - lower) * di,
        gauss: ((b - a) + s * ((d - c) - (b - a))) * dj,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_is_found_from_the_width_that_it_makes() {
        let surface = Surface::at_scale(Some(0.7));
        for (disc, gauss) in [(0.4, 0.2), (3.0, 0.7), (17.0, 5.0), (1.0, 7.9)] {
            let width = surface.whole(disc, gauss).ln.exp();
            assert!((surface.disc_for(width, gauss) - disc).abs() < 1e-9, "{disc} {gauss}");
            assert!((surface.gauss_for(width, disc) - gauss).abs() < 1e-9, "{disc} {gauss}");
        }
        // No wider than without it, and wider than the table has it.
        assert_eq!((surface.disc_for(0.1, 0.5), surface.gauss_for(0.1, 2.0)), (0.0, 0.0));
        assert!((surface.disc_for(1e3, 0.5) - 121.8).abs() < 0.1 && (surface.gauss_for(1e3, 2.0) - 8.03).abs() < 0.01);
    }
}
