//! What is true of a rendered landscape, from its geometry and point spreads; the code under test has no part in it.

use serde::{Deserialize, Serialize};
use tussock::diagnose::Cause;
use tussock::simulate::{Lens, Psf, Rendered, SceneSpec, Surface};

/// Distance of the far ridges, m.
const RIDGE_M: f64 = 3000.0;

/// One place and its blur, Gaussian-equivalent sigma px without the pixel aperture.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
pub struct Spot {
    pub inverse_m: f64,
    /// Signed geometric disc, px: positive nearer than the plane of focus.
    pub disc_px: f64,
    pub optical_px: f64,
    /// The same with it.
    #[serde(default)]
    pub whole_px: f64,
    /// Without it and with the subject in focus.
    pub focused_px: f64,
    /// Defocus and diffraction alone.
    pub defocused_px: f64,
    /// The lens's own softness alone.
    pub lens_px: f64,
}

/// All that is true of a scene.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Truth {
    /// The nearest ground in the picture, at its lower edge; and at the middle of its lowest eighth.
    pub nearest: Spot,
    pub near: Spot,
    /// The ridges at the horizon.
    pub far: Spot,
    pub diffraction_px: f64,
    /// Motion alone, along its track.
    pub motion_px: f64,
    /// What tilt and decentring add at the softer side, where that side is beyond the permitted.
    pub askew_px: f64,
    pub permitted_px: f64,
    pub focus_m: f64,
    pub nearest_m: f64,
    pub f_number: f64,
    /// Share of the tiles of the lowest eighth that show ground, and whether the far scene shows at all.
    pub near_seen: f64,
    pub far_seen: bool,
    /// True whole width (pixel aperture included) of every tile and its range over the tile, and the share with detail.
    pub tiles: Vec<(f64, f64, f64, f64)>,
    pub note: String,
}

fn sigma(psf: &Psf) -> f64 {
    Psf { pixel: false, ..*psf }.truth().sigma
}

fn spot(spec: &SceneSpec, lens: &Lens, x: f64, y: f64, inverse_m: f64) -> Spot {
    let camera = &spec.camera;
    let (length, angle) = spec.shake;
    let psf = camera.psf(lens, (length * angle.cos(), length * angle.sin()), x, y, inverse_m);
    let pupil = psf.pupil.map(|p| tussock::simulate::Pupil { defocus_um: 0.0, ..p });
    let (along, across, _) = camera.softness(lens, x, y);
    Spot {
        inverse_m,
        disc_px: -camera.disc_um(lens, x, y, inverse_m) / camera.pitch_um,
        optical_px: sigma(&psf),
        whole_px: psf.truth().sigma,
        focused_px: sigma(&Psf { pupil, ..psf }),
        defocused_px: sigma(&Psf { pupil: psf.pupil, ..Psf::default() }),
        lens_px: (0.5 * (along * along + across * across)).sqrt(),
    }
}

/// What tilt and decentring alone do at the softer side, sigma px, for a subject in focus; zero where the sides of the
/// real frame stay within the permitted blur.
pub fn askew(spec: &SceneSpec, permitted_px: f64) -> f64 {
    let camera = &spec.camera;
    let (w, h) = (camera.width as f64, camera.height as f64);
    // A tilt up or down acts as defocus does, and may cancel half of what one to a side does.
    let sideways = Lens { tilt_um: (spec.lens.tilt_um.0, 0.0), ..spec.lens };
    let straight = Lens { decentre: (0.0, 0.0), tilt_um: (0.0, 0.0), ..spec.lens };
    let still = SceneSpec { shake: (0.0, 0.0), ..spec.clone() };
    let mut worst = 0.0f64;
    for (y, inverse) in [(camera.horizon().clamp(0.0, h), 1.0 / RIDGE_M), (0.9375 * h, camera.ground(0.9375 * h))] {
        for x in [0.08 * w, 0.92 * w] {
            if spot(spec, &spec.lens, x, y, inverse).optical_px > permitted_px {
                let real = spot(&still, &sideways, x, y, 1.0 / camera.focus_m);
                let ideal = spot(&still, &straight, x, y, 1.0 / camera.focus_m);
                worst = worst.max((real.optical_px.powi(2) - ideal.optical_px.powi(2)).max(0.0).sqrt());
            }
        }
    }
    worst
}

/// The nearest ground at the lower edge, the middle of the lowest eighth, and the ridges at the horizon.
pub fn spots(spec: &SceneSpec) -> [Spot; 3] {
    let camera = &spec.camera;
    let (w, h) = (camera.width as f64, camera.height as f64);
    let at = |y: f64, inverse_m: f64| spot(spec, &spec.lens, w / 2.0, y, inverse_m);
    let low = 0.9375 * h;
    [at(h, camera.ground(h)), at(low, camera.ground(low)), at(camera.horizon().clamp(0.0, h), 1.0 / RIDGE_M)]
}

impl Truth {
    pub fn of(picture: &Rendered, permitted_px: f64) -> Self {
        let spec = &picture.spec;
        let camera = &spec.camera;
        let (w, h) = (picture.width as f64, picture.height as f64);
        let horizon = camera.horizon().clamp(0.0, h);
        let [nearest, near, far] = spots(spec);
        let pupil = spot(spec, &spec.lens, w / 2.0, h / 2.0, 1.0 / camera.focus_m);
        let askew_px = askew(spec, permitted_px);
        let row = |t: &tussock::simulate::TileTruth| f64::from(t.region.y) + f64::from(t.region.height) / 2.0;
        let lowest: Vec<_> = picture.tiles.iter().filter(|t| row(t) > 0.875 * h).collect();
        let ground = lowest.iter().filter(|t| t.surface == Surface::Ground && t.detailed > 0.5).count();
        let far_seen =
            picture.tiles.iter().filter(|t| t.distance_m > 30.0 * camera.nearest_m() && t.detailed > 0.3).count() >= 4;
        Self {
            nearest,
            near,
            far,
            diffraction_px: sigma(&Psf {
                pupil: camera
                    .psf(&spec.lens, (0.0, 0.0), w / 2.0, h / 2.0, 0.0)
                    .pupil
                    .map(|p| tussock::simulate::Pupil { defocus_um: 0.0, ..p }),
                ..Psf::default()
            }),
            motion_px: 0.310_58 * spec.shake.0,
            askew_px,
            permitted_px,
            focus_m: camera.focus_m,
            nearest_m: camera.nearest_m(),
            f_number: camera.f_number,
            near_seen: ground as f64 / lowest.len().max(1) as f64,
            far_seen,
            tiles: picture.tiles.iter().map(|t| (t.truth.sigma, t.range.0, t.range.1, t.detailed)).collect(),
            note: format!(
                "f{:.0} N{} p{:.1} {:?} water {} haze {:.0} tilt {:.0?} dec {:.2?} curv {:.0} shake {:.1?} corner {:.2} centre {:.2} hor {:.2} obj {} inv {:.2?}",
                camera.focal_mm,
                camera.f_number,
                camera.pitch_um,
                spec.ground,
                spec.water.is_some(),
                spec.visibility_m / camera.nearest_m(),
                spec.lens.tilt_um,
                spec.lens.decentre,
                spec.lens.curvature_um,
                spec.shake,
                spec.lens.corner_tangential_um / camera.pitch_um,
                spec.lens.centre_um / camera.pitch_um,
                horizon / h,
                spec.objects.len(),
                pupil.focused_px
            ),
        }
    }

    /// The far and the near zone as defocus makes them soft: beyond the permitted, and not so without the defocus,
    /// or beyond it by the defocus alone.
    fn out_of_focus(&self, s: &Spot) -> bool {
        let own = 0.265_77 * s.disc_px.abs();
        s.optical_px > self.permitted_px && (s.focused_px <= self.permitted_px || own > self.permitted_px)
    }

    /// The causes that put blur beyond the permitted with how much each does, sigma px, the strongest first; empty where the
    /// frame is sharp from near to far. `None` where a zone is soft by several parts of which none alone is beyond the permitted.
    pub fn causes(&self) -> Option<Vec<(Cause, f64)>> {
        let p = self.permitted_px;
        let own = |s: &Spot| 0.265_77 * s.disc_px.abs();
        let (near, far) = (self.out_of_focus(&self.near), self.out_of_focus(&self.far));
        let mut all = Vec::new();
        match (near, far) {
            (true, true) => all.push((
                match (self.near.disc_px > 0.0, self.far.disc_px < 0.0) {
                    (true, true) => Cause::TooLittleDepth,
                    (true, false) => Cause::FocusTooFar,
                    _ => Cause::FocusTooNear,
                },
                own(&self.near).max(own(&self.far)),
            )),
            (true, false) => all.push((Cause::FocusTooFar, own(&self.near))),
            (false, true) => all.push((Cause::FocusTooNear, own(&self.far))),
            (false, false) => {}
        }
        for (cause, px) in [
            (Cause::Diffraction, self.diffraction_px),
            (Cause::Motion, self.motion_px),
            (Cause::LensAsymmetry, self.askew_px),
        ] {
            if px > p {
                all.push((cause, px));
            }
        }
        all.sort_by(|a, b| b.1.total_cmp(&a.1));
        let lens_alone = |s: &Spot| s.lens_px > 0.7 * s.focused_px;
        let unnamed = |s: &Spot| s.optical_px > p && !lens_alone(s);
        if all.is_empty() && (unnamed(&self.near) || unnamed(&self.far)) {
            return None;
        }
        let worst = self.near.optical_px.max(self.far.optical_px);
        if all.is_empty() && worst > p {
            all.push((Cause::LensSoftness, worst));
        }
        Some(all)
    }

    /// Whether every decisive blur is beyond 1.3 or within 0.7 times the permitted. Where a zone is soft without defocus too,
    /// that of the defocus alone decides whether focus is a cause.
    pub fn is_clear(&self) -> bool {
        let own = |s: &Spot| (s.focused_px > self.permitted_px).then_some(0.265_77 * s.disc_px.abs());
        let zones = [&self.near, &self.far];
        let all = [self.diffraction_px, self.motion_px, self.askew_px];
        let all = all.into_iter().chain(zones.map(|s| s.optical_px)).chain(zones.into_iter().filter_map(own));
        all.into_iter().all(|x| !(0.7..=1.3).contains(&(x / self.permitted_px)))
    }
}
