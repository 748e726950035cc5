//! Landscapes drawn at random over what landscape photographers do.

use tussock::quantity::{Intent, SharpFor};
use tussock::simulate::{Camera, Ground, Kind, Lens, Noise, Object, SceneSpec, Sky, Tarn};

use crate::tilemaps::Rng;

/// Longer side of the pictures, px.
pub const LONG: usize = 1800;

/// One scene, the file it is saved as, and the use it must be sharp for.
pub struct Drawn {
    pub spec: SceneSpec,
    /// Saved as a Bayer DNG, else as a JPEG of this quality.
    pub dng: bool,
    pub quality: u8,
    /// Permitted blur disc, px.
    pub disc_px: f64,
    /// Cut from a picture whose pixels are 3.3 to 6 um large; else a whole sensor, reduced.
    pub cut: bool,
}

/// What the diagnosis is asked: a print whose permitted disc is `disc_px` in a picture of `LONG` px.
pub fn intent(disc_px: f64) -> Intent {
    let arc_minute = std::f64::consts::PI / 10_800.0;
    let long_m = arc_minute * LONG as f64 / disc_px;
    Intent { sharp_for: SharpFor::Print { long_m, short_m: long_m / 1.5, distance_m: 1.0 }, ..Intent::default() }
}

/// A scene from a seed. Six of ten show the whole of a sensor 17 to 36 mm wide, with pixels as large as that makes
/// them; four are cut from a picture with pixels of 3.3 to 6 um and are judged for a larger disc, as such pictures are.
pub fn random(seed: u64) -> Drawn {
    let mut rng = Rng(seed.wrapping_mul(0x2545_f491_4f6c_dd1d) ^ 0x5eed_1a4d);
    let portrait = rng.chance(0.25);
    let (width, height) = if portrait { (LONG * 2 / 3, LONG) } else { (LONG, LONG * 2 / 3) };
    let cut = rng.chance(0.4);
    let pitch_um = if cut { rng.between(3.3, 6.0) } else { rng.between(17.3, 36.0) * 1e3 / LONG as f64 };
    let disc_px = if cut { rng.log_between(2.0, 5.0) } else { (width as f64).hypot(height as f64) / 1500.0 };
    let permitted = 0.265_77 * disc_px;
    let mut camera = Camera {
        width,
        height,
        pitch_um,
        focal_mm: rng.log_between(14.0, 70.0),
        f_number: rng.pick(&[2.8, 4.0, 5.6, 8.0, 8.0, 11.0, 11.0, 16.0, 22.0]),
        focus_m: f64::INFINITY,
        height_m: rng.log_between(0.4, 1.8),
        tilt_deg: 0.0,
        breathing: 1.0,
    };
    let horizon = rng.between(0.06, 0.45);
    camera.tilt_deg = camera.tilt_for_horizon(horizon);
    camera.focus_m = (2.0 * camera.nearest_m() * 0.5 * 16.0f64.powf(rng.unit())).max(camera.focal_mm * 4e-3);
    camera.tilt_deg = camera.tilt_for_horizon(horizon);
    let px_of_disc = camera.f_number * pitch_um;
    let corner = permitted * pitch_um * rng.log_between(0.2, 4.0);
    let lens = Lens {
        centre_um: permitted * pitch_um * rng.between(0.05, 0.5),
        corner_radial_um: corner * rng.between(0.6, 1.0),
        corner_tangential_um: corner,
        power: rng.between(1.5, 4.0),
        decentre: if rng.chance(0.1) { (0.3 * rng.normal(), 0.3 * rng.normal()) } else { (0.0, 0.0) },
        tilt_um: if rng.chance(0.12) {
            (3.0 * disc_px * rng.normal() * px_of_disc, disc_px * rng.normal() * px_of_disc)
        } else {
            (0.0, 0.0)
        },
        curvature_um: if rng.chance(0.2) { 1.5 * disc_px * rng.normal() * px_of_disc } else { 0.0 },
    };
    let shake =
        if rng.chance(0.15) { (disc_px * rng.log_between(0.5, 6.0), rng.between(-1.57, 1.57)) } else { (0.0, 0.0) };
    let nearest = camera.nearest_m();
    let half_field = camera.on_sensor(width as f64, 0.0).0 / camera.image_mm();
    let objects = (0..(rng.unit() * 3.0) as usize)
        .map(|_| {
            let ahead_m = nearest * rng.between(1.15, 5.0);
            Object {
                kind: rng.pick(&[Kind::Post, Kind::Rock, Kind::Branch]),
                across_m: rng.between(-0.85, 0.85) * half_field * ahead_m,
                ahead_m,
                height_m: rng.between(0.15, 0.5) * ahead_m * half_field,
            }
        })
        .collect();
    let water = rng.chance(0.3).then(|| {
        let ahead_m = nearest * rng.between(1.0, 6.0);
        Tarn {
            across_m: rng.between(-0.5, 0.5) * half_field * ahead_m,
            ahead_m,
            half_width_m: rng.between(0.4, 1.5) * half_field * ahead_m,
            half_depth_m: rng.between(0.15, 0.45) * ahead_m,
        }
    });
    let spec = SceneSpec {
        camera,
        lens,
        shake,
        noise: Noise::at_snr(rng.log_between(30.0, 150.0), 0.3),
        ground: rng.pick(&[Ground::Moor, Ground::Meadow, Ground::Scree]),
        water,
        sky: rng.pick(&[Sky::Clear, Sky::Cumulus, Sky::Overcast]),
        visibility_m: if rng.chance(0.08) { rng.between(15.0, 60.0) * nearest } else { 20_000.0 },
        objects,
        seed,
        noise_seed: seed ^ 0x0401_5e00,
        fine: 2,
    };
    Drawn { spec, dng: rng.chance(0.4), quality: rng.between(85.0, 98.0) as u8, disc_px, cut }
}
