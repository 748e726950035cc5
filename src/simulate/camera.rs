//! Camera geometry: which distance a pixel sees, and what blurs it there.

use super::psf::{DAYLIGHT, Psf, Pupil};

/// A camera on a level ground plane, looking slightly down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// Width of the upright picture, px; less than the height for a portrait.
    pub width: usize,
    /// Height of the upright picture, px.
    pub height: usize,
    /// Pixel pitch, um.
    pub pitch_um: f64,
    /// Focal length, mm.
    pub focal_mm: f64,
    /// f-number.
    pub f_number: f64,
    /// Distance of sharpest focus along the optical axis, m; may be infinite.
    pub focus_m: f64,
    /// Height above the ground, m.
    pub height_m: f64,
    /// Optical axis below the horizontal, degrees.
    pub tilt_deg: f64,
    /// Scale of the image about its centre beyond what focusing does to it: 1, or a little off where a lens breathes.
    pub breathing: f64,
}

/// What the lens does besides diffraction and focus. Widths are Gaussian sigmas on the sensor, um.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lens {
    /// Width in the centre of its field.
    pub centre_um: f64,
    /// Width along the radius in the corner.
    pub corner_radial_um: f64,
    /// Width across the radius in the corner.
    pub corner_tangential_um: f64,
    /// Power of the distance from the centre with which the corner's excess grows.
    pub power: f64,
    /// Centre of the lens's field from the picture's centre, in half-diagonals.
    pub decentre: (f64, f64),
    /// Slope of the plane of focus: longitudinal shift of the image at the right and bottom rim, um.
    pub tilt_um: (f64, f64),
    /// Curvature of the field: longitudinal shift of the image in the corner, um.
    pub curvature_um: f64,
}

impl Default for Lens {
    /// A good lens: a little softness everywhere, somewhat more in the corners.
    fn default() -> Self {
        Self {
            centre_um: 1.2,
            corner_radial_um: 2.5,
            corner_tangential_um: 3.2,
            power: 2.5,
            decentre: (0.0, 0.0),
            tilt_um: (0.0, 0.0),
            curvature_um: 0.0,
        }
    }
}

impl Camera {
    /// Place on the sensor (mm from its centre, y downwards in the upright picture) of a picture point in px.
    #[must_use]
    pub fn on_sensor(&self, x: f64, y: f64) -> (f64, f64) {
        let pitch = self.pitch_um * 1e-3;
        ((x - self.width as f64 / 2.0) * pitch, (y - self.height as f64 / 2.0) * pitch)
    }

    /// Scale of the image, mm: a length over its distance times this is what it spans on the sensor. But for breathing it is
    /// the distance of the sensor behind the lens.
    #[must_use]
    pub fn image_mm(&self) -> f64 {
        self.sensor_mm() * self.breathing
    }

    /// Distance of the sensor behind the lens, mm: that of the image of a subject in focus.
    fn sensor_mm(&self) -> f64 {
        self.focal_mm / (1.0 - 1e-3 * self.focal_mm / self.focus_m)
    }

    /// Inverse distance along the optical axis (1/m) of the level ground seen at row y; 0 or less above the horizon.
    #[must_use]
    pub fn ground(&self, y: f64) -> f64 {
        let down = self.on_sensor(0.0, y).1;
        let tilt = self.tilt_deg.to_radians();
        let image = self.image_mm();
        (down * tilt.cos() + image * tilt.sin()) / (self.height_m * image)
    }

    /// Row of the horizon, px; may lie outside the picture.
    #[must_use]
    pub fn horizon(&self) -> f64 {
        self.height as f64 / 2.0 - self.image_mm() * self.tilt_deg.to_radians().tan() / (self.pitch_um * 1e-3)
    }

    /// Tilt (degrees) that puts the horizon at this share of the height from the top.
    #[must_use]
    pub fn tilt_for_horizon(&self, share: f64) -> f64 {
        ((0.5 - share) * self.height as f64 * self.pitch_um * 1e-3 / self.image_mm()).atan().to_degrees()
    }

    /// Distance (m) of the nearest ground in the picture.
    #[must_use]
    pub fn nearest_m(&self) -> f64 {
        1.0 / self.ground(self.height as f64).max(1e-9)
    }

    /// Picture px that a metre spans at inverse distance `inverse` (1/m).
    pub(crate) fn px_per_m(&self, inverse: f64) -> f64 {
        self.image_mm() * 1e3 / self.pitch_um * inverse
    }

    /// Where a point `across_m` right of the camera, `up_m` above the ground and at `inverse` distance is seen, px.
    pub(crate) fn seen(&self, across_m: f64, up_m: f64, inverse: f64) -> (f64, f64) {
        let scale = self.px_per_m(inverse);
        let foot = self.foot_row(inverse);
        (self.width as f64 / 2.0 + across_m * scale, foot - up_m * scale * self.tilt_deg.to_radians().cos())
    }

    /// Row where the ground lies at this inverse distance.
    fn foot_row(&self, inverse: f64) -> f64 {
        let (sin, cos) = self.tilt_deg.to_radians().sin_cos();
        let down_mm = (inverse * self.height_m - sin) * self.image_mm() / cos;
        self.height as f64 / 2.0 + down_mm / (self.pitch_um * 1e-3)
    }

    /// Signed diameter (um) of the blur disc at picture point (x, y) for a subject at `inverse` distance (1/m):
    /// positive where the subject lies beyond the focus.
    ///
    /// From similar triangles behind a thin lens of aperture f/N: the cone of light that meets at v is
    /// intercepted by the sensor at v' and is there (f/N) |v' - v| / v wide.
    #[must_use]
    pub fn disc_um(&self, lens: &Lens, x: f64, y: f64, inverse: f64) -> f64 {
        // A lens may be turned past infinity; nothing lies there.
        let image = |inverse: f64| 1.0 / (1.0 / self.focal_mm - inverse * 1e-3);
        let subject = image(inverse.max(0.0));
        let (sx, sy) = self.on_sensor(x, y);
        let (half_w, half_h) = self.on_sensor(self.width as f64, self.height as f64);
        let r = sx.hypot(sy) / half_w.hypot(half_h);
        let shift_um = lens.tilt_um.0 * sx / half_w + lens.tilt_um.1 * sy / half_h + lens.curvature_um * r * r;
        let sensor = image(1.0 / self.focus_m) + shift_um * 1e-3;
        self.focal_mm / self.f_number * (sensor - subject) / subject * 1e3
    }

    /// Everything that blurs the picture point (x, y) for a subject at `inverse` distance; `shake` is the track
    /// of the image during the exposure, px along x and y.
    #[must_use]
    pub fn psf(&self, lens: &Lens, shake: (f64, f64), x: f64, y: f64, inverse: f64) -> Psf {
        // Remembered transfers are looked up by their value: steps of a hundredth of a pixel make them few.
        let step = 0.01 * self.pitch_um;
        let defocus_um = (self.disc_um(lens, x, y, inverse) / step).round() * step;
        let pupil = Pupil {
            // The cone that reaches the sensor is as wide as the image distance makes it.
            f_number: self.f_number * self.sensor_mm() / self.focal_mm,
            pitch_um: self.pitch_um,
            defocus_um,
            light: DAYLIGHT,
        };
        let (along, across, angle) = self.softness(lens, x, y);
        Psf { pupil: Some(pupil), track: shake, ..Psf::default() }.softened(along, across, angle)
    }

    /// The lens's own softness at (x, y): sigmas (px) along and across the radius, and the radius's direction.
    #[must_use]
    pub fn softness(&self, lens: &Lens, x: f64, y: f64) -> (f64, f64, f64) {
        let (sx, sy) = self.on_sensor(x, y);
        let (half_w, half_h) = self.on_sensor(self.width as f64, self.height as f64);
        let diagonal = half_w.hypot(half_h);
        let (dx, dy) = (sx / diagonal - lens.decentre.0, sy / diagonal - lens.decentre.1);
        let growth = dx.hypot(dy).powf(lens.power);
        let width = |corner: f64| (lens.centre_um + (corner - lens.centre_um) * growth).max(0.0) / self.pitch_um;
        (width(lens.corner_radial_um), width(lens.corner_tangential_um), dy.atan2(dx))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn camera() -> Camera {
        Camera {
            width: 6000,
            height: 4000,
            pitch_um: 6.0,
            focal_mm: 24.0,
            f_number: 8.0,
            focus_m: 4.0,
            height_m: 1.5,
            tilt_deg: 12.0,
            breathing: 1.0,
        }
    }

    #[test]
    fn ground_blur_is_a_straight_line_in_inverse_distance() {
        // Flat ground has blur affine in picture position (McCloskey & Langer, CVPR 2009). Figures for 24 mm,
        // f/8, focus 4 m, 1.5 m up, 12 degrees down, worked by a separate hand calculation (um).
        let camera = camera();
        for (row_mm, disc) in [(-4.0, 15.894), (0.0, 8.069), (4.0, 0.243), (8.0, -7.582), (12.0, -15.407)] {
            let y = 2000.0 + row_mm / 6e-3;
            let got = camera.disc_um(&Lens::default(), 3000.0, y, camera.ground(y));
            assert!((got - disc).abs() < 6e-4, "{row_mm}: {got} for {disc}");
        }
    }

    #[test]
    fn horizon_and_feet_fit_together() {
        let camera = camera();
        assert!(camera.ground(camera.horizon()).abs() < 1e-12);
        let inverse = 1.0 / 3.0;
        let foot = camera.seen(0.0, 0.0, inverse).1;
        assert!((camera.ground(foot) - inverse).abs() < 1e-12);
        let tilt = camera.tilt_for_horizon(0.3);
        assert!((Camera { tilt_deg: tilt, ..camera }.horizon() - 1200.0).abs() < 1e-6);
    }
}
