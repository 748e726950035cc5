//! Paints the backdrop of a landscape: sky, far ridges, ground and water, in the camera's perspective.

use std::f64::consts::PI;

use super::camera::Camera;
use super::canvas::{Shape, facet};
use super::noise::{Dice, fractal, smooth};
use super::painter::{Painter, Tint, mix};
use super::scene::{Ground, SceneSpec, Sky};
use super::texture::{billow, clockwise, ripples};

const SKY_HIGH: Tint = [58, 196];
const SKY_LOW: Tint = [104, 106];
const CLOUD: Tint = [101, 103];
const HEATHER: [Tint; 3] = [[118, 80], [112, 62], [122, 92]];
const GRASS: [Tint; 3] = [[104, 40], [122, 44], [92, 42]];
const STONE: [Tint; 3] = [[102, 96], [106, 88], [99, 104]];
const PEAT: Tint = [126, 66];

/// What the backdrop shows at a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Surface {
    /// Sky or cloud.
    Sky,
    /// Far ridges.
    Ridge,
    /// The ground.
    Ground,
    /// Water.
    Water,
    /// A thing that stands before the backdrop.
    Object,
}

/// The far ridges and the water's edge, for painting and for asking what is where.
pub(super) struct Backdrop<'a> {
    spec: &'a SceneSpec,
    /// The camera with its lens set to infinity: the frame in which the scene is laid out, whatever the focus.
    camera: Camera,
    /// What focusing and breathing enlarge that frame by.
    zoom: f64,
    horizon: f64,
    /// Unit of length for heights above the horizon, px: a fraction of the picture.
    unit: f64,
}

/// Nominal distance (m, for haze only), height (units) and breadth of features (units) of the ridges, far to near.
const RIDGES: [(f64, f64, f64); 3] = [(9000.0, 1.25, 4.0), (4000.0, 0.85, 2.8), (1200.0, 0.45, 1.6)];

impl<'a> Backdrop<'a> {
    pub(super) fn new(spec: &'a SceneSpec) -> Self {
        let camera = Camera { focus_m: f64::INFINITY, breathing: 1.0, ..spec.camera };
        let unit = 0.14 * camera.height.min(camera.width) as f64;
        let zoom = spec.camera.image_mm() / camera.image_mm();
        Self { spec, camera, zoom, horizon: camera.horizon(), unit }
    }

    /// Row of a ridge's outline at column x.
    fn outline(&self, ridge: usize, x: f64) -> f64 {
        let (_, high, broad) = RIDGES[ridge];
        let x = x - self.camera.width as f64 / 2.0;
        let seed = self.spec.seed.wrapping_add(31 * ridge as u64);
        let rise = 0.5 + 0.28 * fractal(x, 3.7, broad * 3.0 * self.unit, 1.5, 0.42, seed);
        self.horizon - self.unit * high * rise.max(0.04)
    }

    /// Left and right end of the water on a row.
    fn water(&self, y: f64) -> Option<(f64, f64)> {
        let tarn = self.spec.water?;
        let inverse = self.camera.ground(y);
        if inverse <= 1e-4 {
            return None;
        }
        let depth = (1.0 / inverse - tarn.ahead_m) / tarn.half_depth_m;
        if depth.abs() >= 1.0 {
            return None;
        }
        let scale = self.camera.px_per_m(inverse);
        let middle = self.camera.width as f64 / 2.0 + tarn.across_m * scale;
        let half = tarn.half_width_m * scale * (1.0 - depth * depth).sqrt();
        let wander = |k: u64| 1.0 + 0.25 * smooth(3.0 * depth, 0.5, self.spec.seed + k);
        Some((middle - half * wander(1), middle + half * wander(2)))
    }

    /// What the backdrop shows at (x, y) of the picture.
    pub(super) fn surface(&self, x: f64, y: f64) -> Surface {
        let centre = (self.camera.width as f64 / 2.0, self.camera.height as f64 / 2.0);
        let (x, y) = (centre.0 + (x - centre.0) / self.zoom, centre.1 + (y - centre.1) / self.zoom);
        if y >= self.horizon {
            match self.water(y) {
                Some((left, right)) if x >= left && x < right => Surface::Water,
                _ => Surface::Ground,
            }
        } else if (0..RIDGES.len()).any(|k| y >= self.outline(k, x)) {
            Surface::Ridge
        } else {
            Surface::Sky
        }
    }

    /// Share of a subject's own light that comes through the haze from `metres` away.
    pub(super) fn clear(&self, metres: f64) -> f64 {
        (-metres / self.spec.visibility_m).exp()
    }

    /// Luminance of the haze and of the sky at the horizon.
    pub(super) fn air(&self) -> f64 {
        match self.spec.sky {
            Sky::Overcast => 0.6,
            _ => 0.66,
        }
    }

    /// Left, top, right and bottom (px) of what is laid out: wider than the picture by a fixed margin, so that
    /// the same seed gives the same scene whatever the blur and the focus.
    fn layout(&self) -> [f64; 4] {
        const MARGIN: f64 = 100.0;
        [-MARGIN, -MARGIN, self.camera.width as f64 + MARGIN, self.camera.height as f64 + MARGIN]
    }

    /// Colour of the haze before far ridges: blue in clear air.
    fn far_haze(&self) -> Tint {
        mix(self.veil(), [92, 132], self.clear(3000.0))
    }

    /// Colour of the haze close by.
    pub(super) fn veil(&self) -> Tint {
        if self.spec.sky == Sky::Overcast { CLOUD } else { SKY_LOW }
    }

    /// Paints it all, far to near.
    pub(super) fn paint(&self, painter: &mut Painter) {
        painter.zoom = (self.zoom, (self.camera.width as f64 / 2.0, self.camera.height as f64 / 2.0));
        let mut dice = Dice::new(self.spec.seed);
        self.paint_sky(painter);
        for (ridge, &(metres, _, _)) in RIDGES.iter().enumerate() {
            // In fog there is nothing to be seen of it, not even a step in brightness.
            if self.clear(metres) > 0.004 {
                self.paint_ridge(painter, ridge, &mut dice);
            }
        }
        self.paint_ground(painter, &mut dice);
    }

    /// Luminance of the sky at (x, y).
    fn sky(&self, x: f64, y: f64) -> f64 {
        let up = ((self.horizon - y) / (7.0 * self.unit)).clamp(0.0, 1.0);
        let clear = self.air() + (0.34 - self.air()) * up.powf(0.7);
        match self.spec.sky {
            Sky::Clear => clear,
            Sky::Overcast => 0.62 + 0.05 * smooth(x / (3.0 * self.unit), y / self.unit, self.spec.seed + 5),
            Sky::Cumulus => {
                let cloud =
                    billow(x, y * (1.0 + 0.8 * (1.0 - up)), 3.0 * self.unit, 0.12 * self.unit, self.spec.seed + 7);
                let cloud = ((cloud - 0.25) / 0.75).max(0.0);
                clear + (0.92 - clear) * cloud
            }
        }
    }

    fn paint_sky(&self, painter: &mut Painter) {
        let step = (0.03 * self.unit).max(1.0);
        let limit = self.horizon + 2.0;
        let [left, _, right, _] = painter.bounds();
        let seen = self.clear(3000.0);
        painter.soft(
            step,
            |y| (y < limit).then_some((left, right)),
            |_, y| {
                let up = ((self.horizon - y) / (7.0 * self.unit)).clamp(0.0, 1.0);
                let base = mix(SKY_LOW, SKY_HIGH, up.powf(0.6));
                let own = match self.spec.sky {
                    Sky::Clear => base,
                    Sky::Overcast => CLOUD,
                    // The blue is thin where billows are common; told by height alone, which is smooth.
                    Sky::Cumulus => mix(base, CLOUD, 0.25),
                };
                mix(self.veil(), own, seen)
            },
            |x, y| self.air() + (self.sky(x, y) - self.air()) * seen,
        );
    }

    fn paint_ridge(&self, painter: &mut Painter, ridge: usize, dice: &mut Dice) {
        let (metres, high, _) = RIDGES[ridge];
        let clear = self.clear(metres) * (-metres / 7000.0f64).exp();
        let [left, _, right, _] = painter.bounds();
        let own = [0.12, 0.1, 0.075][ridge];
        let level = self.air() * (1.0 - clear) + own * clear;
        let tint = mix(self.far_haze(), [104, 60], clear);
        // The body: one upright strip at a time, its top where the outline is. Each is a column of the canvas, however much
        // that is enlarged: two strips that share one would let the sky through where they meet.
        let step = 1.0 / painter.canvas.fine as f64 / painter.zoom.0;
        let mut x = left;
        while x < right {
            let top = self.outline(ridge, x + step / 2.0);
            let (a, b) = (x, x + step);
            painter.fill(
                &Shape::polygon(&[(a, top), (b, top), (b, self.horizon + 3.0), (a, self.horizon + 3.0)]),
                tint,
                |_, _| level,
            );
            x += step;
        }
        let [left, _, right, _] = self.layout();
        // Rocks, hollows and woods on it, small in the picture.
        let (low, big): (f64, f64) = (1.2, 0.16 * self.unit);
        let big = big.max(2.0 * low);
        let mean_square = 2.0 * (big / low).ln() / (low.powi(-2) - big.powi(-2));
        let area = (right - left) * self.unit * high;
        let count = (1.3 * area / (PI * 0.6 * mean_square)) as usize;
        for _ in 0..count {
            let r = dice.radius(low, big);
            let x = dice.between(left, right);
            let y = dice.between(self.horizon - 1.1 * self.unit * high, self.horizon + 1.0);
            let draw = dice.even();
            let (stone, hue) = (dice.even() < 0.3, dice.even());
            if y < self.outline(ridge, x) + 0.5 * r {
                continue;
            }
            let own = own * if stone { 1.4 + 2.2 * draw } else { 0.35 + 1.5 * draw };
            let tint = mix(self.far_haze(), if stone { STONE[0] } else { pick(&HEATHER, hue) }, clear);
            painter.fill(&Shape::Disc((x, y), r, 0.55), tint, |_, _| self.air() * (1.0 - clear) + own * clear);
        }
        if ridge + 1 == RIDGES.len() {
            self.paint_trees(painter, dice, clear);
        }
    }

    /// Small dark conifers along the nearest ridge.
    fn paint_trees(&self, painter: &mut Painter, dice: &mut Dice, clear: f64) {
        let [left, _, right, _] = self.layout();
        for _ in 0..((right - left) / 7.0) as usize {
            let x = dice.between(left, right);
            let grown = smooth(x / (1.2 * self.unit), 0.0, self.spec.seed + 77);
            let high = self.unit * dice.between(0.05, 0.13);
            let draw = dice.between(0.02, 0.05);
            if grown < 0.15 {
                continue;
            }
            let y = self.outline(RIDGES.len() - 1, x) + 0.6 * high + dice.between(0.0, 0.15) * self.unit;
            let half = 0.2 * high;
            let corners = [(x, y - high), (x + half, y), (x - half, y)];
            let level = self.air() * (1.0 - clear) + draw * clear;
            painter.fill(&Shape::polygon(&corners), mix(self.far_haze(), [80, 55], clear), |_, _| level);
        }
    }

    fn paint_ground(&self, painter: &mut Painter, dice: &mut Dice) {
        let camera = &self.camera;
        let [left, top, right, bottom] = self.layout();
        // Bare earth first, then all that grows or lies on it, far to near.
        let first = self.horizon.max(top);
        if first >= bottom {
            return;
        }
        let earth = |y: f64| {
            let clear = self.clear(1.0 / camera.ground(y).max(1e-5));
            (self.air() * (1.0 - clear) + 0.07 * clear, mix(self.veil(), PEAT, clear))
        };
        painter.soft(
            1.0,
            |y| (y >= first).then_some((left, right)),
            |_, y| earth(y).1,
            |_, y| earth(y.max(self.horizon + 0.01)).0,
        );
        let mut y = self.horizon + 0.5;
        let mut shore_done = self.spec.water.is_none();
        let far_shore =
            self.spec.water.map_or(0.0, |t| self.camera.seen(0.0, 0.0, 1.0 / (t.ahead_m + t.half_depth_m)).1);
        while y < bottom + 60.0 {
            if !shore_done && y > far_shore {
                self.paint_water(painter);
                shore_done = true;
            }
            let band = (0.015 * (y - self.horizon)).clamp(0.7, 4.0);
            if y > top - 60.0 {
                self.paint_band(painter, dice, y, band, (left, right));
            }
            y += band;
        }
    }

    /// What grows and lies on one band of rows.
    fn paint_band(&self, painter: &mut Painter, dice: &mut Dice, y: f64, band: f64, (left, right): (f64, f64)) {
        let camera = &self.camera;
        let inverse = camera.ground(y);
        let metres = 1.0 / inverse.max(1e-5);
        let scale = camera.px_per_m(inverse);
        let big = (0.22 * scale).clamp(2.2, 0.05 * camera.height as f64 + 6.0);
        let low = (0.006 * scale).clamp(1.1, 0.5 * big);
        let mean_square = 2.0 * (big / low).ln() / (low.powi(-2) - big.powi(-2));
        let clear = self.clear(metres);
        let air = self.air() * (1.0 - clear);
        let count = 2.6 * (right - left) * band / (PI * 0.7 * mean_square);
        let count = count.floor() as usize + usize::from(dice.even() < count.fract());
        for _ in 0..count {
            let r = dice.radius(low, big);
            let x = dice.between(left - r, right + r);
            let at = (x, y + dice.between(-0.5, 0.5) * band);
            let (draw, hue, which) = (dice.even(), dice.even(), dice.even());
            if self.water(at.1 + 0.5 * r).is_some_and(|(a, b)| x > a && x < b) {
                continue;
            }
            let across = (x - camera.width as f64 / 2.0) / scale;
            let patch = smooth(across / 1.7, metres / 1.7, self.spec.seed + 40)
                + 0.4 * smooth(across / 0.5, metres / 0.5, self.spec.seed + 41);
            let (heath, grass) = match self.spec.ground {
                Ground::Moor => (0.4 + 0.6 * patch, 0.95),
                Ground::Meadow => (0.12, 0.94),
                Ground::Scree => (0.12 + 0.15 * patch, 0.25 + 0.2 * patch),
            };
            let veil = |own: f64| air + own * clear;
            if which < heath {
                // A tuft: lit from above left, darker below.
                let own = 0.025 + 0.2 * draw * draw;
                let tint = mix(self.veil(), pick(&HEATHER, hue), clear);
                // Large cushions are rare: most heather is a crowd of small tufts.
                let r = if hue < 0.92 { r.min(0.3 * big).max(low) } else { r };
                painter.fill(&Shape::Disc(at, r, 0.75), tint, |px, py| {
                    veil(own * (1.0 - 0.35 * ((px - at.0) * 0.4 + (py - at.1)) / r))
                });
            } else if which < grass {
                self.paint_blades(painter, dice, at, r, (draw, hue), clear, air);
            } else {
                let own = 0.09 + 0.36 * draw * draw;
                let flat = dice.between(0.5, 0.85);
                let corners: Vec<_> =
                    facet(dice, (0.0, 0.0), r).into_iter().map(|(dx, dy)| (at.0 + dx, at.1 + dy * flat)).collect();
                let tint = mix(self.veil(), pick(&STONE, hue), clear);
                let lean = dice.between(-0.3, 0.3);
                painter.fill(&Shape::polygon(&clockwise(corners)), tint, |px, py| {
                    veil(own * (1.0 - 0.25 * (py - at.1) / r + lean * (px - at.0) / r))
                });
            }
        }
    }

    /// A few blades of grass from one root.
    #[expect(
        clippy::too_many_arguments,
        reason = "drawn values are passed in so that what is skipped keeps the dice in step"
    )]
    fn paint_blades(
        &self,
        painter: &mut Painter,
        dice: &mut Dice,
        at: (f64, f64),
        r: f64,
        (draw, hue): (f64, f64),
        clear: f64,
        air: f64,
    ) {
        for k in 0..3 {
            let length = r * dice.between(1.6, 3.4);
            let half = (0.13 * r).max(0.35);
            let lean = PI / 2.0 + 0.4 * dice.normal();
            let foot = (at.0 + dice.between(-0.8, 0.8) * r, at.1 + 0.6 * r);
            let tip = (foot.0 + length * lean.cos(), foot.1 - length * lean.sin());
            let (nx, ny) = (half * lean.sin(), half * lean.cos());
            let own = 0.05 + 0.4 * draw * dice.even() + 0.03 * f64::from(k);
            let tint = mix(self.veil(), pick(&GRASS, (hue + 0.2 * f64::from(k)).fract()), clear);
            let corners = [(foot.0 - nx, foot.1 - ny), tip, (foot.0 + nx, foot.1 + ny)];
            painter.fill(&Shape::polygon(&clockwise(corners.to_vec())), tint, |_, _| air + own * clear);
        }
    }

    fn paint_water(&self, painter: &mut Painter) {
        let camera = &self.camera;
        let phase = (self.spec.seed % 628) as f64 / 100.0;
        painter.soft(
            1.0,
            |y| self.water(y),
            |_, y| mix(SKY_LOW, [78, 148], ((y - self.horizon) / (5.0 * self.unit)).clamp(0.0, 1.0)),
            |x, y| {
                let inverse = camera.ground(y).max(1e-5);
                let clear = self.clear(1.0 / inverse);
                let mirrored = 2.0 * self.horizon - y;
                // Ripples look closer together the farther they are, but never so close as to make edges.
                let size = (camera.px_per_m(inverse) / 260.0).clamp(0.6, 3.0);
                let wave = ripples(x, y, size, phase, self.spec.seed + 60);
                let sky = self.sky(x, mirrored - 12.0 * wave);
                // The ridges' reflection: darker near the far shore, with a soft edge.
                let ridge = 1.0
                    / (1.0
                        + ((self.outline(2, x) - 0.15 * self.unit - mirrored - 6.0 * wave) / (0.05 * self.unit)).exp());
                let own = (sky * (1.0 - 0.72 * ridge) * 0.72 + 0.05 * wave).max(0.02);
                self.air() * (1.0 - clear) + own * clear
            },
        );
    }
}

fn pick(tints: &[Tint; 3], hue: f64) -> Tint {
    tints[((hue * 3.0) as usize).min(2)]
}
