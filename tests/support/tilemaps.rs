//! Tile maps written from a forward model, without pixels: ground and far scene through a thin lens, a lens's own
//! field blur, motion, and content that only adds blur. The geometry is worked out here from ray and thin lens,
//! not taken from the code under test; only the total of the parts comes from `optics::blur`, which has its own checks.
#![allow(dead_code, missing_docs)] // Shared by a test and an example, each of which uses a part of it.

use tussock::TileMap;
use tussock::diagnose::Cause;
use tussock::measure::{Streak, Tile, TileState};
use tussock::optics::WAVELENGTH_UM;
use tussock::optics::blur::{Parts, sigma_px};
use tussock::quantity::{Distance, Estimate};
use tussock::shot::{Capture, Fact, Source};

/// Numbers from a seed (SplitMix64).
#[derive(Clone, Debug)]
pub struct Rng(pub u64);

impl Rng {
    pub fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        (low.ln() + (high / low).ln() * self.unit()).exp()
    }
    pub fn normal(&mut self) -> f64 {
        let (a, b) = (self.unit().max(1e-15), self.unit());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }
    pub fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[(self.unit() * from.len() as f64) as usize % from.len()]
    }
}

/// One photograph in words and numbers.
#[derive(Clone, Debug)]
pub struct Scene {
    pub width: u32,
    pub height: u32,
    pub across: u32,
    pub pitch_um: f64,
    pub focal_mm: f64,
    pub f_number: f64,
    pub camera_height_m: f64,
    /// Down from the horizontal, radians.
    pub down: f64,
    pub focus_m: f64,
    /// Lens blur at the centre and added at the corner (quadrature), px, and its exponent.
    pub lens: (f64, f64, f64),
    /// Signed disc added per unit u, px.
    pub tilt_px: f64,
    /// Length (px) and direction of a motion track.
    pub motion: Option<(f64, f64)>,
    /// Relative scatter of a tile that its stated error tells, and that it doesn't.
    pub stated: f64,
    pub scatter: f64,
    /// Share of tiles that give no number.
    pub missing: f64,
    /// Share of sky tiles that show soft cloud; the rest of the sky shows nothing.
    pub cloud: f64,
    /// Water over this share of the ground's width, from the left, within its lowest `pool_depth` share.
    pub pool: f64,
    pub pool_depth: f64,
    /// A rock standing in the ground: u, v of its foot, half width, height (fractions of the half diagonal).
    pub rock: Option<[f64; 4]>,
    pub seed: u64,
}

impl Default for Scene {
    fn default() -> Self {
        Self {
            width: 6000,
            height: 4000,
            across: 24,
            pitch_um: 6.0,
            focal_mm: 24.0,
            f_number: 8.0,
            camera_height_m: 1.5,
            down: 0.16,
            focus_m: 4.0,
            lens: (0.2, 0.8, 2.0),
            tilt_px: 0.0,
            motion: None,
            stated: 0.04,
            scatter: 0.06,
            missing: 0.15,
            cloud: 0.0,
            pool: 0.0,
            pool_depth: 0.0,
            rock: None,
            seed: 1,
        }
    }
}

/// What is true of a place.
#[derive(Clone, Copy, Debug)]
pub struct Truth {
    pub inverse_m: f64,
    pub disc_px: f64,
    pub lens_px: f64,
    pub optical_px: f64,
    pub measured_px: f64,
}

impl Scene {
    pub fn half(&self) -> f64 {
        f64::from(self.width).hypot(f64::from(self.height)) / 2.0
    }
    /// Permitted sigma: 0.266 of a disc of diagonal / 1500.
    pub fn permitted(&self) -> f64 {
        0.265_77 * (2.0 * self.half() / 1500.0).max(2.0)
    }
    /// v of the horizon.
    pub fn horizon(&self) -> f64 {
        -self.down.tan() * self.focal_mm * 1e3 / self.pitch_um / self.half()
    }
    pub fn bottom(&self) -> f64 {
        f64::from(self.height) / 2.0 / self.half()
    }
    /// Inverse depth (1/m) of the ground at a height in the picture.
    pub fn ground(&self, v: f64) -> f64 {
        let y = v * self.half() * self.pitch_um * 1e-3;
        ((self.down.sin() + y / self.focal_mm * self.down.cos()) / self.camera_height_m).max(0.0)
    }
    pub fn at(&self, u: f64, v: f64) -> Truth {
        let mut inverse = self.ground(v);
        if let Some([ru, foot, half, tall]) = self.rock
            && (u - ru).abs() < half
            && v < foot
            && v > foot - tall
        {
            inverse = self.ground(foot);
        }
        self.of(inverse, u, v)
    }
    pub fn of(&self, inverse_m: f64, u: f64, v: f64) -> Truth {
        let (f, s) = (self.focal_mm * 1e-3, self.focus_m);
        // c = f^2 (Z - s) / (N Z (s - f)), turned round so that nearer is positive.
        let metres = f * f / self.f_number * (inverse_m - 1.0 / s) / (1.0 - f / s);
        let disc = metres / (self.pitch_um * 1e-6) + self.tilt_px * u;
        let lens = self.lens.0.hypot(self.lens.1 * u.hypot(v).powf(self.lens.2));
        let parts = Parts {
            lambda_n_px: Some(WAVELENGTH_UM * self.f_number / self.pitch_um),
            disc_px: disc,
            lens_px: lens,
            motion_px: self.motion.map_or(0.0, |m| m.0),
            pixel: false,
        };
        Truth {
            inverse_m,
            disc_px: disc,
            lens_px: lens,
            optical_px: sigma_px(&parts),
            measured_px: sigma_px(&Parts { pixel: true, ..parts }),
        }
    }
    /// Truth of the near zone: the ground at the middle of the lowest band of tiles.
    pub fn near(&self) -> Truth {
        self.at(0.0, self.bottom() * (1.0 - 0.125))
    }
    pub fn far(&self) -> Truth {
        self.of(0.0, 0.0, self.horizon())
    }
    pub fn diffraction(&self) -> f64 {
        0.46387 * WAVELENGTH_UM * self.f_number / self.pitch_um
    }
    /// The verdict that the truth calls for.
    pub fn cause(&self) -> Cause {
        let p = self.permitted();
        let (near, far) = (self.near(), self.far());
        let own = |t: &Truth| 0.265_77 * t.disc_px.abs();
        let motion = self.motion.map_or(0.0, |m| 0.310_58 * m.0);
        let (soft_near, soft_far) =
            (near.optical_px > p && own(&near) > near.lens_px, far.optical_px > p && own(&far) > far.lens_px);
        let others = motion.max(self.diffraction());
        if others > p && others > own(&near).max(own(&far)) {
            return if motion > self.diffraction() { Cause::Motion } else { Cause::Diffraction };
        }
        if 0.265_77 * self.tilt_px.abs() * 0.8 > p.max(own(&self.near()).max(own(&self.far()))) {
            return Cause::LensAsymmetry;
        }
        match (soft_near, soft_far) {
            (true, true) if near.disc_px > 0.0 && far.disc_px < 0.0 => Cause::TooLittleDepth,
            (_, true) => Cause::FocusTooNear,
            (true, false) => Cause::FocusTooFar,
            // What is soft by neither is so by the lens.
            (false, false) if near.optical_px.max(far.optical_px) > p => Cause::LensSoftness,
            (false, false) => Cause::SharpThroughout,
        }
    }
    /// Whether every decisive blur is clear of the limit: beyond 1.3 or within 0.7 times the permitted.
    pub fn is_clear(&self) -> bool {
        let p = self.permitted();
        let motion = self.motion.map_or(0.0, |m| 0.310_58 * m.0);
        let tilt = 0.265_77 * self.tilt_px.abs() * 0.8;
        let all = [self.near().optical_px, self.far().optical_px, self.diffraction(), motion, tilt];
        all.into_iter().all(|x| !(0.7..=1.3).contains(&(x / p)))
    }

    /// The tile map that an honest measurement of this scene would give.
    pub fn map(&self) -> TileMap {
        let mut rng = Rng(self.seed);
        let side = f64::from(self.width.max(self.height)) / f64::from(self.across);
        let columns = (f64::from(self.width) / side).round() as u32;
        let rows = (f64::from(self.height) / side).round() as u32;
        let half = self.half();
        let mut tiles = Vec::new();
        for row in 0..rows {
            for column in 0..columns {
                let edge = |i: u32, n: u32, size: u32| i * size / n;
                let (x, y) = (edge(column, columns, self.width), edge(row, rows, self.height));
                let mut tile = Tile {
                    x,
                    y,
                    width: edge(column + 1, columns, self.width) - x,
                    height: edge(row + 1, rows, self.height) - y,
                    state: TileState::Measured,
                    contrast: 0.2,
                    noise: 0.003,
                    level: 0.3,
                    blur: None,
                    alone: None,
                    bound: None,
                    spread: None,
                };
                let (cx, cy) = tile.centre();
                let u = (cx - f64::from(self.width) / 2.0) / half;
                let v = (cy - f64::from(self.height) / 2.0) / half;
                let mut width = self.at(u, v).measured_px;
                let mut gone = rng.chance(self.missing);
                // Hills stand a row and a half above the horizon; above them lies the sky.
                if v < self.horizon() - 1.5 * side / half {
                    if rng.chance(self.cloud) {
                        width = width.hypot(rng.log_between(1.5, 8.0));
                    } else {
                        gone = true;
                    }
                }
                let depth = (self.bottom() - v) / (self.bottom() - self.horizon().max(-self.bottom()));
                let across = (cx / f64::from(self.width)).clamp(0.0, 1.0);
                if depth < self.pool_depth && across < self.pool {
                    width = width.hypot(rng.log_between(1.0, 3.0));
                    gone |= rng.chance(0.4);
                }
                let error = self.stated * rng.between(0.6, 1.6);
                let value = width * (rng.normal() * error.hypot(self.scatter)).exp();
                if gone {
                    tile.state = TileState::NoDetail;
                } else {
                    tile.blur = Some(Estimate::new(value, value * error, 20));
                }
                tiles.push(tile);
            }
        }
        let streak = self.motion.map(|(length, angle)| Streak {
            length: Estimate::new(length * (1.0 + 0.1 * rng.normal()), 0.1 * length, 60),
            angle: Estimate::new(angle, 0.1, 60),
            doubled: None,
        });
        TileMap {
            width: self.width,
            height: self.height,
            columns,
            rows,
            tiles,
            common: None,
            overshoot: Some(Estimate::new(0.005, 0.01, 100)),
            streak,
            clipped_share: 0.0,
            layers: Vec::new(),
            enlarged: false,
            mosaic: false,
        }
    }

    /// The capture facts; the focus distance left out, as most files do.
    pub fn capture(&self) -> Capture {
        Capture {
            f_number: Some(Fact::new(self.f_number, Source::Exif)),
            focal_length_mm: Some(Fact::new(self.focal_mm, Source::Exif)),
            pixel_pitch_um: Some(Fact::new(self.pitch_um, Source::Exif)),
            ..Capture::default()
        }
    }

    /// The capture facts with the focus distance as the camera recorded it.
    pub fn capture_with_focus(&self, metres: f64) -> Capture {
        Capture {
            focus_distance_m: Some(Fact::new(Distance::from_metres(metres), Source::MakerNote)),
            ..self.capture()
        }
    }

    /// A scene drawn at random, as wide as landscape work is.
    pub fn random(seed: u64) -> Self {
        let mut rng = Rng(seed.wrapping_mul(0x2545_f491_4f6c_dd1d) ^ 0x1234_5678);
        let portrait = rng.chance(0.25);
        let (long, short) = rng.pick(&[(6000, 4000), (4608, 3456), (8256, 5504), (4000, 3000)]);
        let (width, height) = if portrait { (short, long) } else { (long, short) };
        let pitch_um = rng.between(3.3, 6.0);
        let focal_mm = rng.log_between(14.0, 70.0);
        let f_number = rng.pick(&[2.8, 4.0, 5.6, 8.0, 8.0, 11.0, 11.0, 16.0, 22.0]);
        let mut scene = Self {
            width,
            height,
            pitch_um,
            focal_mm,
            f_number,
            camera_height_m: rng.log_between(0.5, 2.0),
            down: 0.0,
            lens: (rng.between(0.0, 0.4), rng.log_between(0.2, 3.0), rng.between(1.5, 3.5)),
            scatter: rng.between(0.03, 0.09),
            stated: rng.between(0.02, 0.08),
            missing: rng.between(0.05, 0.4),
            cloud: if rng.chance(0.5) { rng.unit() } else { 0.0 },
            seed: seed ^ 0xabc,
            ..Self::default()
        };
        // The horizon in the upper half, or just above the picture.
        let place = rng.between(-0.95, -0.05) * scene.bottom();
        scene.down = (-place * scene.half() * pitch_um * 1e-3 / focal_mm).atan();
        let near = 1.0 / scene.ground(scene.bottom());
        scene.focus_m = (2.0 * near * rng.log_between(0.5, 8.0)).max(focal_mm * 4e-3);
        match (rng.unit() * 10.0) as u32 {
            0 => scene.motion = Some((rng.log_between(1.0, 20.0), rng.between(-1.5, 1.5))),
            1 => scene.tilt_px = rng.log_between(2.0, 12.0) * if rng.chance(0.5) { 1.0 } else { -1.0 },
            2 => {
                scene.pool = rng.between(0.2, 0.5);
                scene.pool_depth = rng.between(0.3, 1.0);
            }
            3 => {
                let foot = rng.between(0.1, 1.0) * scene.bottom();
                scene.rock = Some([rng.between(-0.5, 0.5), foot, rng.between(0.08, 0.25), rng.between(0.1, 0.4)]);
            }
            _ => {}
        }
        scene
    }
}

/// The scene focused at twice the distance of its nearest ground.
pub fn right(scene: Scene) -> Scene {
    let near = 1.0 / scene.ground(scene.bottom());
    Scene { focus_m: 2.0 * near, ..scene }
}

/// Height of a tile as the model counts: down, fractions of the half diagonal from the middle.
pub fn v(scene: &Scene, tile: &Tile) -> f64 {
    (tile.centre().1 - f64::from(scene.height) / 2.0) / scene.half()
}

/// The tile with its width, if any, times a factor.
pub fn scaled(tile: &mut Tile, factor: f64) {
    if let Some(b) = tile.blur.as_mut() {
        *b = Estimate::new(b.value * factor, b.sd * factor, b.n);
    }
}

/// Sky of even light above the horizon, without a number, and darker land below it.
pub fn lit(scene: &Scene, map: &mut TileMap) {
    for tile in &mut map.tiles {
        let above = v(scene, tile) < scene.horizon() - 0.03;
        (tile.level, tile.contrast) = if above { (0.7, 0.02) } else { (0.15, 0.35) };
        if above {
            (tile.blur, tile.state) = (None, TileState::NoDetail);
        }
    }
}
