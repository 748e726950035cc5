//! A finely sampled scene: area-averaged luminance on a grid several times finer than the pixels.

use super::noise::Dice;

/// Fine samples of a scene, row-major, relative luminance.
#[derive(Clone, Debug)]
pub(super) struct Canvas {
    /// Fine samples across.
    pub(super) width: usize,
    /// Fine samples down.
    pub(super) height: usize,
    /// Fine samples to a pixel.
    pub(super) fine: usize,
    /// Samples.
    pub(super) data: Vec<f32>,
}

/// How scene coordinates (px) land on the canvas: turned about and scaled from its middle, then shifted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// Shift in px along x and y.
    pub shift: (f64, f64),
    /// Turn, radians from +x towards +y.
    pub angle: f64,
    /// Enlargement.
    pub scale: f64,
}

impl Default for View {
    fn default() -> Self {
        Self { shift: (0.0, 0.0), angle: 0.0, scale: 1.0 }
    }
}

impl View {
    /// Where the scene point (x, y), px from the middle, lands: px from the middle.
    #[must_use]
    pub fn place(&self, x: f64, y: f64) -> (f64, f64) {
        let (c, s) = (self.angle.cos() * self.scale, self.angle.sin() * self.scale);
        (c * x - s * y + self.shift.0, s * x + c * y + self.shift.1)
    }

    /// The scene point that lands at (x, y).
    #[must_use]
    pub fn origin(&self, x: f64, y: f64) -> (f64, f64) {
        let (x, y) = (x - self.shift.0, y - self.shift.1);
        let (c, s) = (self.angle.cos() / self.scale, self.angle.sin() / self.scale);
        (c * x + s * y, c * y - s * x)
    }
}

impl Canvas {
    /// An even canvas of `width` x `height` pixels, `fine` x `fine` samples in each.
    pub(super) fn new(width: usize, height: usize, fine: usize, level: f32) -> Self {
        Self { width: width * fine, height: height * fine, fine, data: vec![level; width * height * fine * fine] }
    }

    /// Fills a convex shape with `paint(x, y)` (canvas px in, luminance out), edges weighted by their coverage.
    ///
    /// `inside(x, y)` is the signed distance to the rim in px, positive within; `bounds` is left, top, right,
    /// bottom in px.
    pub(super) fn fill(&mut self, bounds: [f64; 4], inside: impl Fn(f64, f64) -> f64, paint: impl Fn(f64, f64) -> f64) {
        let fine = self.fine as f64;
        let clip = |v: f64, last: usize| ((v * fine).max(0.0) as usize).min(last);
        let (x0, y0) = (clip(bounds[0] - 0.5, self.width), clip(bounds[1] - 0.5, self.height));
        let (x1, y1) = (clip(bounds[2] + 1.0, self.width), clip(bounds[3] + 1.0, self.height));
        for j in y0..y1 {
            let y = (j as f64 + 0.5) / fine;
            for i in x0..x1 {
                let x = (i as f64 + 0.5) / fine;
                let cover = (inside(x, y) * fine + 0.5).clamp(0.0, 1.0);
                if cover > 0.0 {
                    let at = &mut self.data[j * self.width + i];
                    *at += ((paint(x, y) - f64::from(*at)) * cover) as f32;
                }
            }
        }
    }

    /// A disc.
    pub(super) fn disc(&mut self, (cx, cy): (f64, f64), r: f64, paint: impl Fn(f64, f64) -> f64) {
        self.fill([cx - r, cy - r, cx + r, cy + r], |x, y| r - (x - cx).hypot(y - cy), paint);
    }

    /// A convex polygon with its corners in clockwise order as seen with y downwards.
    pub(super) fn polygon(&mut self, corners: &[(f64, f64)], paint: impl Fn(f64, f64) -> f64) {
        let mut bounds = [f64::MAX, f64::MAX, f64::MIN, f64::MIN];
        for &(x, y) in corners {
            bounds = [bounds[0].min(x), bounds[1].min(y), bounds[2].max(x), bounds[3].max(y)];
        }
        let sides: Vec<[f64; 3]> = corners
            .iter()
            .zip(corners.iter().cycle().skip(1))
            .map(|(&(ax, ay), &(bx, by))| {
                let length = (bx - ax).hypot(by - ay).max(1e-9);
                let (nx, ny) = (-(by - ay) / length, (bx - ax) / length);
                [nx, ny, -(nx * ax + ny * ay)]
            })
            .collect();
        self.fill(bounds, |x, y| sides.iter().map(|s| s[0] * x + s[1] * y + s[2]).fold(f64::INFINITY, f64::min), paint);
    }

    /// Sets every sample from its place (canvas px).
    pub(super) fn each(&mut self, value: impl Fn(f64, f64) -> f64) {
        let fine = self.fine as f64;
        for (j, row) in self.data.chunks_exact_mut(self.width).enumerate() {
            for (i, v) in row.iter_mut().enumerate() {
                *v = value((i as f64 + 0.5) / fine, (j as f64 + 0.5) / fine) as f32;
            }
        }
    }
}

/// Corners of an irregular convex polygon about a centre, clockwise as seen with y downwards.
pub(super) fn facet(dice: &mut Dice, centre: (f64, f64), radius: f64) -> Vec<(f64, f64)> {
    let count = 4 + (dice.even() * 4.0) as usize;
    let start = dice.even() * std::f64::consts::TAU;
    // Points on a circle are convex whatever their spacing.
    (0..count)
        .map(|i| {
            let t = start + std::f64::consts::TAU * (i as f64 + 0.7 * dice.even()) / count as f64;
            (centre.0 + radius * t.cos(), centre.1 + radius * t.sin())
        })
        .collect()
}
