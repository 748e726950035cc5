//! Distances that the picture's own blur implies, and what would have been right.

use super::evidence::Evidence;
use super::{Implied, ImpliedDistance};
use crate::optics::cover::{Depth, Opening, USUAL_SMALLEST};
use crate::optics::depth;
use crate::quantity::{Distance, Intent};
use crate::shot::fixed_aperture;

/// Spread of an inverse distance, as a share of that of the nearest ground, beyond which the distance is not
/// known. Derived: one standard deviation would reach to twice the distance and more.
const VAGUE: f64 = 0.5;

/// Weighted mean and spread of a number over draws.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Moments {
    weight: f64,
    first: f64,
    second: f64,
}

impl Moments {
    /// Adds a value.
    pub(super) fn add(&mut self, value: f64, weight: f64) {
        self.weight += weight;
        self.first += weight * value;
        self.second += weight * value * value;
    }

    /// Mean and standard deviation; `None` where nothing was added.
    pub(super) fn get(&self) -> Option<(f64, f64)> {
        if self.weight <= 0.0 {
            return None;
        }
        let mean = self.first / self.weight;
        Some((mean, (self.second / self.weight - mean * mean).max(0.0).sqrt()))
    }
}

/// Inverse focus distance and inverse near distance (1/m) of signed discs (px) at the far and the near zone.
///
/// With K = f^2 / (N p) the thin lens gives c(Z) = K (s/Z - 1) / (s - f), in the sense that nearer is positive.
pub(super) fn inverse_distances(near: f64, far: f64, reach: f64, focal: f64, inverse_far: f64) -> (f64, f64) {
    let focus = (reach * inverse_far - far) / (reach - far * focal);
    // K s / (s - f) is the disc's growth per unit of inverse distance.
    let growth = reach / (1.0 - (focus * focal).min(0.9));
    (focus, (near - far) / growth + inverse_far)
}

/// What the blur says of distances.
#[derive(Clone, Copy, Debug)]
pub(super) struct Blur {
    /// Mean and spread of the inverse distance of the focus and of the nearest ground, 1/m.
    pub focus: Option<(f64, f64)>,
    pub near: Option<(f64, f64)>,
    /// Whether near and far are apart by more than content or file may make them.
    pub grows: bool,
    /// Permitted blur, px.
    pub permitted_px: f64,
}

/// Turns moments of inverse distances into distances and draws the conclusions. What the blur hardly tells (a small
/// aperture shows all distances about alike) is not given.
pub(super) fn conclude(
    e: &Evidence,
    intent: &Intent,
    recorded: Option<Distance>,
    f_number: Option<f64>,
    blur: &Blur,
) -> Implied {
    let near = blur.near.filter(|&(mean, sd)| mean > 0.0 && sd < VAGUE * mean);
    let nearest = intent.near_m.map(|m| 1.0 / m).or(near.map(|(mean, _)| mean));
    // How far a focus is off is told by how blur changes with distance. Where it doesn't, the disc rests on what is usual.
    let changes = blur.grows || near.is_some();
    let focus = blur.focus.filter(|&(mean, sd)| changes && sd < VAGUE * nearest.unwrap_or(mean));
    let mut implied = Implied {
        focus_m: focus.map(distance),
        near_m: near.map(distance),
        recorded_m: recorded,
        ..Implied::default()
    };
    let Some(near_m) = nearest.map(|inverse| 1.0 / inverse) else { return implied };
    let far_m = intent.far_m.filter(|&f| f > near_m).unwrap_or(f64::INFINITY);
    implied.right_focus_m = Some(depth::equal_blur_focus(near_m, far_m));
    let (Some(focal), Some(pitch), Some(f_number)) = (e.focal_m, e.pitch_um, f_number) else { return implied };
    let depth = Depth::new(focal * 1e3, near_m * 1e3, far_m * 1e3);
    if !(depth.spread_mm().is_finite() && depth.spread_mm() > 0.0) {
        return implied;
    }
    implied.right_blur_px = Some(depth.ends_um(f_number) / pitch);
    implied.best_f_number = Some(depth.best_f_number());
    implied.root_square_f_number = Some(depth.root_square_f_number());
    let back = depth.step_back_mm(blur.permitted_px * pitch, opening(focal * 1e3, f_number));
    implied.step_back_m = back.filter(|&mm| mm > 0.0).map(|mm| mm * 1e-3);
    implied
}

/// What can be set for the same picture taken anew: the one aperture there is, or as far as lenses usually close, or as
/// this one did.
fn opening(focal_mm: f64, f_number: f64) -> Opening {
    if fixed_aperture(focal_mm, f_number) {
        Opening::Set(f_number)
    } else {
        Opening::UpTo(USUAL_SMALLEST.max(f_number))
    }
}

fn distance((inverse, sd): (f64, f64)) -> ImpliedDistance {
    let invert = |x: f64| if x > 1e-6 { 1.0 / x } else { f64::INFINITY };
    ImpliedDistance { value: invert(inverse), low: invert(inverse + sd), high: invert(inverse - sd) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::DISC_SIGMA;

    #[test]
    fn what_the_right_focus_leaves_is_half_the_difference_of_the_ends_whichever_side_they_lie() {
        use crate::measure::TileMap;
        use crate::shot::{Capture, Fact, Source};
        let of = |value: f64| Some(Fact::new(value, Source::Exif));
        let facts =
            Capture { focal_length_mm: of(50.0), f_number: of(4.0), pixel_pitch_um: of(5.0), ..Capture::default() };
        let e = Evidence::new(&TileMap::default(), &facts, None);
        // 50 mm at f/4 on 5 um: f^2 / (N p) = 125 px m. Focus at 1 / 0.088 m, near at 1 / 0.080 m and far at 1 / 0.048 m: discs of
        // -1 and -5 px. At the right focus, in the middle, each end has half of their difference, 2 px, which is 0.532 px and with
        // diffraction, 0.57 of a wave (2 px over 8 times 0.44 px), hardly another (`optics::blur`). Half of their sum would be 3 px,
        // 0.797 px.
        let blur = Blur { focus: Some((0.088, 0.001)), near: Some((0.080, 0.001)), grows: true, permitted_px: 0.6 };
        let intent = Intent { far_m: Some(1.0 / 0.048), ..Intent::default() };
        let left = conclude(&e, &intent, None, Some(4.0), &blur).right_blur_px.expect("a depth");
        assert!((left / 0.532 - 1.0).abs() < 0.04, "{left}");
    }

    #[test]
    fn a_step_back_is_for_apertures_that_there_are() {
        // 5.7 mm at f/1.8, pixels of 1.9 um, 4000 by 3000: a disc of 5000 / 1500 * 1.9 um is permitted. The thin lens
        // has the disc of the ends at f^2 / (N (2n - f)), so by geometry alone the nearest n is 1.428 m. At
        // eight tenths of a wave (6.33 um over 8 * 0.55 um * 1.8) a diffracted disc differs from the plain one by two per
        // cent at most (`optics::blur`).
        let back = |opening| Depth::new(5.7, 300.0, f64::INFINITY).step_back_mm(DISC_SIGMA * 6.3333, opening).unwrap();
        let phone = back(opening(5.7, 1.8));
        assert!(((300.0 + phone) / 1428.0 - 1.0).abs() < 0.02, "{phone}");
        // With a diaphragm a third of that would do.
        assert!(back(opening(5.7, 2.8)) < 400.0);
        // 100 mm from 2 m: best at f/50, which few lenses have; one that was closed to f/32 has that.
        let least = |opening| Depth::new(100.0, 2000.0, f64::INFINITY).least_um(opening);
        assert_eq!(least(opening(100.0, 8.0)), least(Opening::Set(22.0)));
        assert_eq!(least(opening(100.0, 32.0)), least(Opening::Set(32.0)));
    }
}
