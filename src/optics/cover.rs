//! A depth to be covered: the stop, focus and distance with the least worst blur from near to far.

use super::blur::{self, Parts};
use super::stops::THIRDS;
use super::{WAVELENGTH_UM, aperture, depth, diffraction, lambda_n_px, thin_lens};
use crate::quantity::MTF50_SIGMA;

/// f-number of the smallest aperture that a lens is taken to have where nothing is said of it. Chosen: lenses for the
/// 24 x 36 mm frame close to f/16 to f/32 (common practice, no published source).
pub(crate) const USUAL_SMALLEST: f64 = 22.0;

/// Which f-numbers a depth may be covered with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Opening {
    /// This one.
    Set(f64),
    /// Whichever third-stop does best of those up to this one.
    UpTo(f64),
}

/// Longest step back that is looked at, mm. Chosen: farther back it is another picture.
pub(crate) const FARTHEST_BACK_MM: f64 = 1e5;

/// Whether diffraction alone is wider than `permitted_um` at every stop, so that no distance makes anything sharp.
pub(crate) fn never_permitted(permitted_um: f64) -> bool {
    diffraction_limit(permitted_um) < THIRDS[0]
}

/// The last third-stop of a lens that closes this far.
pub(crate) fn last_stop(smallest: f64) -> f64 {
    THIRDS.into_iter().rfind(|&n| n <= smallest).unwrap_or(THIRDS[0])
}

/// The third-stops, with one more f-number in its place.
pub(crate) fn stops_with(also: Option<f64>) -> impl Iterator<Item = f64> {
    let mut stops = THIRDS.to_vec();
    stops.extend(also.filter(|n| !THIRDS.contains(n)));
    stops.sort_by(f64::total_cmp);
    stops.into_iter()
}

/// A depth to be covered by one lens, focused so that both ends are blurred alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Depth {
    /// Focal length, mm.
    pub focal_mm: f64,
    /// Near end, mm, beyond the focal length.
    pub near_mm: f64,
    /// Far end, mm, perhaps infinite.
    pub far_mm: f64,
    /// Focus, mm.
    pub focus_mm: f64,
}

impl Depth {
    /// From the ends, mm.
    pub(crate) fn new(focal_mm: f64, near_mm: f64, far_mm: f64) -> Self {
        Self { focal_mm, near_mm, far_mm, focus_mm: depth::equal_blur_focus(near_mm, far_mm) }
    }

    /// The same scene from `back_mm` farther away.
    pub(crate) fn stepped_back(&self, back_mm: f64) -> Self {
        Self::new(self.focal_mm, self.near_mm + back_mm, self.far_mm + back_mm)
    }

    /// How far apart near and far come to focus, mm.
    pub(crate) fn spread_mm(&self) -> f64 {
        thin_lens::focus_spread_mm(self.focal_mm, self.near_mm, self.far_mm)
    }

    /// Diameter of the geometric disc at either end, mm.
    pub(crate) fn end_disc_mm(&self, f_number: f64) -> f64 {
        let [near, far] = self.discs_um(f_number);
        near.max(far) * 1e-3
    }

    /// Diameters of the geometric discs at near and far, um.
    pub(crate) fn discs_um(&self, f_number: f64) -> [f64; 2] {
        [self.near_mm, self.far_mm]
            .map(|end| thin_lens::disc_mm(self.focal_mm, f_number, self.focus_mm, end).abs() * 1e3)
    }

    /// Working f-number at the focus.
    pub(crate) fn working(&self, f_number: f64) -> f64 {
        thin_lens::working_f_number(self.focal_mm, f_number, self.focus_mm)
    }

    /// Marked f-number for a working one that was worked out from the focus spread.
    ///
    /// The disc at the ends is dv f / (N (v + v')), with the images of the ends at v and v' and that of the focus at their
    /// harmonic mean; where it is 8 w lambda times the working f-number, that N is that for dv / (2 N) times
    /// f / sqrt(v v'). For a shallow depth that is 1 / (1 + m), as close-up rules have it (N = 20 sqrt(dv) / (1 + m): Luong,
    /// How to select the f-stop, after Hansma; from memory).
    fn marked(&self, working: f64) -> f64 {
        let [near, far] = [self.near_mm, self.far_mm].map(|end| thin_lens::image_mm(self.focal_mm, end));
        working * self.focal_mm / (near * far).sqrt()
    }

    /// f-number, as marked, with the highest MTF50 at both ends.
    pub(crate) fn best_f_number(&self) -> f64 {
        self.marked(aperture::best_f_number(self.spread_mm()))
    }

    /// The classical answer, as marked.
    pub(crate) fn root_square_f_number(&self) -> f64 {
        self.marked(aperture::root_square_f_number(self.spread_mm()))
    }

    /// Blur at the softer end, diffraction and defocus together, Gaussian-equivalent sigma, um on the sensor.
    pub(crate) fn ends_um(&self, f_number: f64) -> f64 {
        optical_um(self.working(f_number), self.end_disc_mm(f_number) * 1e3)
    }

    /// f-numbers either side of `best` between which the blur at the ends is within `factor` of that at `best`.
    pub(crate) fn range_within(&self, best: f64, factor: f64) -> [f64; 2] {
        let limit = factor * self.ends_um(best);
        // Blur rises on either side of the best; a quarter and four times it lie far outside.
        let edge = |mut inside: f64, mut outside: f64| {
            for _ in 0..60 {
                let middle = 0.5 * (inside + outside);
                *if self.ends_um(middle) <= limit { &mut inside } else { &mut outside } = middle;
            }
            inside
        };
        [edge(best, 0.25 * best), edge(best, 4.0 * best)]
    }

    /// Focus distances, mm, between which both ends stay within `permitted_um` at a stop; `None` if none do.
    pub(crate) fn focus_range_mm(&self, f_number: f64, permitted_um: f64) -> Option<[f64; 2]> {
        // |f^2/N (1/s - 1/Z)| <= c (1 - f/s), solved for 1/s at both ends. The disc c that diffraction leaves room for
        // changes a little with the focus: a few rounds settle it.
        let power = self.focal_mm * self.focal_mm / f_number;
        let (mut far_side, mut near_side) = (1.0 / self.focus_mm, 1.0 / self.focus_mm);
        for _ in 0..8 {
            let room = |side: f64| {
                let working = thin_lens::working_f_number(self.focal_mm, f_number, 1.0 / side.max(0.0));
                disc_um_for(working, permitted_um).map(|um| um * 1e-3)
            };
            let (c, d) = (room(far_side)?, room(near_side)?);
            far_side = (power / self.near_mm - c) / (power - c * self.focal_mm);
            near_side = (power / self.far_mm + d) / (power + d * self.focal_mm);
        }
        (far_side <= near_side).then(|| [1.0 / near_side, if far_side > 0.0 { 1.0 / far_side } else { f64::INFINITY }])
    }

    /// How far to step back, mm, for both ends to stay within `permitted_um`: at a stop, or at the best one for
    /// each distance. Zero where they do already; `None` where 100 m would not do.
    pub(crate) fn step_back_mm(&self, permitted_um: f64, opening: Opening) -> Option<f64> {
        let fits = |back: f64| self.stepped_back(back).least_um(opening) <= permitted_um;
        if fits(0.0) {
            return Some(0.0);
        }
        let (mut short, mut enough) = (0.0, FARTHEST_BACK_MM);
        if !fits(enough) {
            return None;
        }
        for _ in 0..60 {
            let middle = 0.5 * (short + enough);
            *if fits(middle) { &mut enough } else { &mut short } = middle;
        }
        Some(enough)
    }

    /// Blur at the softer end, um, at a stop or at the best of those there are.
    pub(crate) fn least_um(&self, opening: Opening) -> f64 {
        self.ends_um(self.stop_of(opening))
    }

    /// The one stop there is, or the third-stop that does best of those there are.
    pub(crate) fn stop_of(&self, opening: Opening) -> f64 {
        match opening {
            Opening::Set(f_number) => f_number,
            Opening::UpTo(smallest) => self.best_stop(smallest),
        }
    }

    /// The third-stop with the least blur at the softer end, of a lens that closes to `smallest`.
    pub(crate) fn best_stop(&self, smallest: f64) -> f64 {
        // The optimum is flat and single: its neighbours on the scale are all that can win.
        let after = THIRDS.partition_point(|&n| n < self.best_f_number());
        let (low, high) = (after.saturating_sub(2).min(THIRDS.len() - 2), (after + 2).min(THIRDS.len()));
        let best = THIRDS[low..high].iter().copied().min_by(|&a, &b| self.ends_um(a).total_cmp(&self.ends_um(b)));
        // The blur falls to that one and rises from there, so that short of it the smallest aperture does best.
        best.unwrap_or(THIRDS[0]).min(last_stop(smallest))
    }
}

/// Blur of diffraction at a working f-number and a defocus disc together, Gaussian-equivalent sigma, um.
fn optical_um(f_number: f64, disc_um: f64) -> f64 {
    blur::sigma_px(&Parts { lambda_n_px: Some(WAVELENGTH_UM * f_number), disc_px: disc_um, ..Parts::default() })
}

/// The same with the aperture of pixels of `pitch_um`, in pixels.
pub(crate) fn blur_px(f_number: f64, disc_um: f64, pitch_um: f64) -> f64 {
    blur::sigma_px(&Parts {
        lambda_n_px: Some(lambda_n_px(f_number, pitch_um)),
        disc_px: disc_um / pitch_um,
        pixel: true,
        ..Parts::default()
    })
}

/// Defocus disc, um, that with diffraction at a working f-number makes a blur of `sigma_um`; `None` where diffraction
/// alone is wider.
pub(crate) fn disc_um_for(f_number: f64, sigma_um: f64) -> Option<f64> {
    blur::disc_px_for(sigma_um, &Parts { lambda_n_px: Some(WAVELENGTH_UM * f_number), ..Parts::default() })
}

/// Working f-number at which diffraction alone makes a blur of `sigma_um`.
pub(crate) fn diffraction_limit(sigma_um: f64) -> f64 {
    sigma_um * diffraction::MTF50 / (MTF50_SIGMA * WAVELENGTH_UM)
}
