//! What stands before the camera: ground, water, far ridges, sky, haze and things that stand up.

use super::camera::{Camera, Lens};
use super::noise::Dice;
use super::sensor::Noise;

/// A landscape and the camera before it.
#[derive(Clone, Debug, PartialEq)]
pub struct SceneSpec {
    /// The camera.
    pub camera: Camera,
    /// Its lens.
    pub lens: Lens,
    /// Track of the image during the exposure: length (px) and direction (radians from +x towards +y).
    pub shake: (f64, f64),
    /// Sensor noise.
    pub noise: Noise,
    /// What grows on the ground.
    pub ground: Ground,
    /// Still or rippled water.
    pub water: Option<Tarn>,
    /// The sky.
    pub sky: Sky,
    /// Distance (m) over which haze takes the contrast down to 1/e; infinite for clear air.
    pub visibility_m: f64,
    /// Things that stand up from the ground.
    pub objects: Vec<Object>,
    /// Seed of the scene.
    pub seed: u64,
    /// Seed of the noise.
    pub noise_seed: u64,
    /// Fine samples to a pixel, each way, that the scene is painted with: 3 for scenes to judge the measuring by; 2
    /// takes half the time and folds a little more of what is finer than the pixels into the picture.
    pub fine: usize,
}

/// What covers the ground.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ground {
    /// Heather with grass and stones.
    Moor,
    /// Grass.
    Meadow,
    /// Stones and slabs.
    Scree,
}

/// Water on the ground: an ellipse in plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tarn {
    /// Middle, m to the right of the camera.
    pub across_m: f64,
    /// Middle, m before the camera.
    pub ahead_m: f64,
    /// Half-width, m.
    pub half_width_m: f64,
    /// Half-depth, m.
    pub half_depth_m: f64,
}

/// The sky.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sky {
    /// Smooth.
    Clear,
    /// Cumulus with soft outlines.
    Cumulus,
    /// An even overcast.
    Overcast,
}

/// A thing that stands on the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Object {
    /// What it is.
    pub kind: Kind,
    /// Metres right of the camera.
    pub across_m: f64,
    /// Distance along the optical axis, m.
    pub ahead_m: f64,
    /// Height, m.
    pub height_m: f64,
}

/// Kinds of standing things.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A weathered wooden post.
    Post,
    /// A boulder, about as wide as high.
    Rock,
    /// A bare branch that reaches up and sideways.
    Branch,
}

impl SceneSpec {
    /// The inverse distance (1/m) of the level ground or, above its edge with the sky, of the far ridges.
    pub(crate) fn backdrop(&self, y: f64) -> f64 {
        self.camera.ground(y).max(1.0 / RIDGE_M)
    }

    /// Focus (m) that blurs the nearest ground in the picture and infinity alike.
    #[must_use]
    pub fn even_focus_m(&self) -> f64 {
        2.0 * self.camera.nearest_m()
    }

    /// A landscape drawn at random over what landscape photographers do: f/2.8 to f/22, 14 to 70 mm, pixels of
    /// 3.3 to 6 um, low to eye-height cameras, focus from half to eight times the even one, lenses from perfect
    /// to poor, sometimes tilted, shaken, noisy, upright; with or without near things, water and cloud.
    ///
    /// `long_px` is the longer side. Small pictures are crops: the pixels keep their size in um.
    #[must_use]
    pub fn random(seed: u64, long_px: usize) -> Self {
        let mut dice = Dice::new(seed ^ 0x00AB_5C15_5A00);
        let camera = Camera::random(&mut dice, long_px);
        let lens = Lens::random(&mut dice);
        let shake = if dice.even() < 0.2 { (dice.between(1.5, 7.0), dice.between(-1.57, 1.57)) } else { (0.0, 0.0) };
        let nearest = camera.nearest_m();
        let half_field = camera.on_sensor(camera.width as f64, 0.0).0 / camera.image_mm();
        let objects =
            (0..(dice.even() * 3.0) as usize).map(|_| Object::random(&mut dice, nearest, half_field)).collect();
        let water = (dice.even() < 0.3).then(|| Tarn::random(&mut dice, nearest, half_field));
        Self {
            camera,
            lens,
            shake,
            noise: Noise::at_snr(30.0 * 5.0f64.powf(dice.even()), 0.3),
            ground: [Ground::Moor, Ground::Meadow, Ground::Scree][(dice.even() * 3.0) as usize % 3],
            water,
            sky: [Sky::Clear, Sky::Cumulus, Sky::Overcast][(dice.even() * 3.0) as usize % 3],
            visibility_m: if dice.even() < 0.12 { dice.between(15.0, 60.0) * nearest } else { 20_000.0 },
            objects,
            seed,
            noise_seed: seed ^ 0x0401_5E00,
            fine: 3,
        }
    }
}

impl Camera {
    /// Drawn at random, with the horizon in the upper half of the picture.
    fn random(dice: &mut Dice, long_px: usize) -> Self {
        let short = long_px * 2 / 3;
        let portrait = dice.even() < 0.25;
        let (width, height) = if portrait { (short, long_px) } else { (long_px, short) };
        let stops = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];
        let mut camera = Self {
            width,
            height,
            pitch_um: dice.between(3.3, 6.0),
            focal_mm: 14.0 * 5.0f64.powf(dice.even()),
            f_number: stops[(dice.even() * 7.0) as usize % 7],
            focus_m: f64::INFINITY,
            height_m: dice.between(0.4, 1.8),
            tilt_deg: 0.0,
            breathing: 1.0,
        };
        camera.tilt_deg = camera.tilt_for_horizon(dice.between(0.08, 0.45));
        let even = 2.0 * camera.nearest_m();
        camera.focus_m = even * 0.5 * 16.0f64.powf(dice.even());
        // Focusing moves the sensor and so the field a little: keep the horizon where it was.
        let seed_horizon = dice.between(0.08, 0.45);
        camera.tilt_deg = camera.tilt_for_horizon(seed_horizon);
        camera
    }
}

impl Lens {
    /// Drawn at random, from perfect to poor.
    fn random(dice: &mut Dice) -> Self {
        let corner = dice.between(0.0, 9.0);
        Self {
            centre_um: dice.between(0.5, 2.0),
            corner_radial_um: corner.max(0.5) * dice.between(0.6, 1.0),
            corner_tangential_um: corner.max(0.5),
            power: dice.between(1.5, 4.0),
            decentre: if dice.even() < 0.15 { (0.35 * dice.normal(), 0.35 * dice.normal()) } else { (0.0, 0.0) },
            tilt_um: if dice.even() < 0.2 { (25.0 * dice.normal(), 8.0 * dice.normal()) } else { (0.0, 0.0) },
            curvature_um: if dice.even() < 0.3 { 30.0 * dice.normal() } else { 0.0 },
        }
    }
}

impl Object {
    /// Drawn at random, for a frame whose ground begins at `nearest` (m) and whose half width is `half_field` of the distance.
    fn random(dice: &mut Dice, nearest: f64, half_field: f64) -> Self {
        let ahead_m = nearest * dice.between(1.15, 5.0);
        let kind = [Kind::Post, Kind::Rock, Kind::Branch][(dice.even() * 3.0) as usize % 3];
        let height_m = dice.between(0.15, 0.5) * ahead_m * half_field;
        Self { kind, across_m: dice.between(-0.85, 0.85) * half_field * ahead_m, ahead_m, height_m }
    }
}

impl Tarn {
    /// Drawn at random, for a frame as that of [`Object::random`].
    fn random(dice: &mut Dice, nearest: f64, half_field: f64) -> Self {
        let ahead_m = nearest * dice.between(1.0, 6.0);
        Self {
            across_m: dice.between(-0.5, 0.5) * half_field * ahead_m,
            ahead_m,
            half_width_m: dice.between(0.4, 1.5) * half_field * ahead_m,
            half_depth_m: dice.between(0.15, 0.45) * ahead_m,
        }
    }
}

/// Distance at which the far ridges stand, m: far enough to be infinity for any lens here.
pub(super) const RIDGE_M: f64 = 3000.0;
