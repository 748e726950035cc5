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
    pub(crate) fn place(&self, x: f64, y: f64) -> (f64, f64) {
        let (c, s) = (self.angle.cos() * self.scale, self.angle.sin() * self.scale);
        (c * x - s * y + self.shift.0, s * x + c * y + self.shift.1)
    }

    /// The scene point that lands at (x, y).
    pub(crate) fn origin(&self, x: f64, y: f64) -> (f64, f64) {
        let (x, y) = (x - self.shift.0, y - self.shift.1);
        let (c, s) = (self.angle.cos() / self.scale, self.angle.sin() / self.scale);
        (c * x + s * y, c * y - s * x)
    }
}

/// A shape with a signed distance to its rim, px.
#[derive(Clone, Copy, Debug)]
pub(super) enum Shape {
    /// Centre, radius, and height over width.
    Disc((f64, f64), f64, f64),
    /// Sides of a convex polygon as (nx, ny, offset), positive inside; how many of them; top and bottom.
    Polygon([[f64; 3]; 8], usize, [f64; 2]),
}

impl Shape {
    /// A disc.
    pub(super) fn disc(centre: (f64, f64), radius: f64) -> Self {
        Self::Disc(centre, radius, 1.0)
    }

    /// A convex polygon of at most eight corners, clockwise as seen with y downwards.
    pub(super) fn polygon(corners: &[(f64, f64)]) -> Self {
        let mut sides = [[0.0, 0.0, f64::INFINITY]; 8];
        let mut reach = [f64::MAX, f64::MIN];
        let count = corners.len().min(8);
        for (i, side) in sides.iter_mut().enumerate().take(count) {
            let ((ax, ay), (bx, by)) = (corners[i], corners[(i + 1) % count]);
            let length = (bx - ax).hypot(by - ay).max(1e-9);
            let (nx, ny) = (-(by - ay) / length, (bx - ax) / length);
            *side = [nx, ny, -(nx * ax + ny * ay)];
            reach = [reach[0].min(ay), reach[1].max(ay)];
        }
        Self::Polygon(sides, count, reach)
    }

    /// The same shape moved by (dx, dy).
    pub(super) fn shifted(&self, dx: f64, dy: f64) -> Self {
        match *self {
            Self::Disc(c, r, flat) => Self::Disc((c.0 + dx, c.1 + dy), r, flat),
            Self::Polygon(mut sides, count, reach) => {
                for side in &mut sides[..count] {
                    side[2] -= side[0] * dx + side[1] * dy;
                }
                Self::Polygon(sides, count, [reach[0] + dy, reach[1] + dy])
            }
        }
    }

    /// The same shape enlarged by `k` about a centre.
    pub(super) fn scaled(&self, k: f64, centre: (f64, f64)) -> Self {
        let move_to = |p: (f64, f64)| (centre.0 + k * (p.0 - centre.0), centre.1 + k * (p.1 - centre.1));
        match *self {
            Self::Disc(c, r, flat) => Self::Disc(move_to(c), r * k, flat),
            Self::Polygon(mut sides, count, reach) => {
                for side in &mut sides[..count] {
                    side[2] = k * side[2] + (k - 1.0) * (side[0] * centre.0 + side[1] * centre.1);
                }
                Self::Polygon(sides, count, reach.map(|y| move_to((0.0, y)).1))
            }
        }
    }

    /// Top and bottom.
    fn rows(&self) -> (f64, f64) {
        match self {
            Self::Disc(c, r, flat) => (c.1 - r * flat, c.1 + r * flat),
            Self::Polygon(_, _, reach) => (reach[0], reach[1]),
        }
    }

    /// Left and right end of what lies within `margin` of the shape on the row y.
    fn span(&self, y: f64, margin: f64) -> (f64, f64) {
        match self {
            Self::Disc(c, r, flat) => {
                let v = (y - c.1) / (r * flat + margin);
                let half = (r + margin) * (1.0 - v * v).max(0.0).sqrt();
                (c.0 - half, c.0 + half)
            }
            Self::Polygon(sides, count, _) => {
                let (mut left, mut right) = (f64::MIN, f64::MAX);
                for [nx, ny, offset] in &sides[..*count] {
                    // nx x + ny y + offset >= -margin
                    let rest = -margin - ny * y - offset;
                    if *nx > 1e-9 {
                        left = left.max(rest / nx);
                    } else if *nx < -1e-9 {
                        right = right.min(rest / nx);
                    } else if rest > 0.0 {
                        return (0.0, -1.0);
                    }
                }
                (left, right)
            }
        }
    }

    /// Signed distance to the rim, positive inside (to first order for a flattened disc).
    fn inside(&self, x: f64, y: f64) -> f64 {
        match self {
            Self::Disc(c, r, flat) => {
                let (dx, dy) = (x - c.0, y - c.1);
                if *flat == 1.0 {
                    return r - (dx * dx + dy * dy).sqrt();
                }
                let (u, v) = (dx / r, dy / (r * flat));
                let share = (u * u + v * v).sqrt();
                // Level over slope of the ellipse's own function gives the distance.
                let (p, q) = (u / r, v / (r * flat));
                let slope = (p * p + q * q).sqrt() / share.max(1e-6);
                (1.0 - share) / slope.max(1e-9)
            }
            Self::Polygon(sides, count, _) => {
                sides[..*count].iter().map(|s| s[0] * x + s[1] * y + s[2]).fold(f64::INFINITY, f64::min)
            }
        }
    }
}

impl Canvas {
    /// An even canvas of `width` x `height` pixels, `fine` x `fine` samples in each.
    pub(super) fn new(width: usize, height: usize, fine: usize, level: f32) -> Self {
        Self { width: width * fine, height: height * fine, fine, data: vec![level; width * height * fine * fine] }
    }

    /// Fills a shape with `paint(x, y)` (canvas px in, luminance out), edges weighted by their coverage.
    pub(super) fn fill(&mut self, shape: &Shape, paint: impl Fn(f64, f64) -> f64) {
        let width = self.width;
        cover(shape, (0, width), self.height, self.fine, |i, j, share, x, y| {
            let at = &mut self.data[j * width + i];
            *at += ((paint(x, y) - f64::from(*at)) * share) as f32;
        });
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

/// Visits the fine samples that a shape covers: column, row, share covered, and place in px. Columns are kept
/// to `columns`, rows below `rows`.
pub(super) fn cover(
    shape: &Shape,
    columns: (usize, usize),
    rows: usize,
    fine: usize,
    mut visit: impl FnMut(usize, usize, f64, f64, f64),
) {
    let scale = fine as f64;
    let margin = 0.5 / scale;
    let (top, bottom) = shape.rows();
    let clip = |v: f64, low: usize, high: usize| ((v * scale).max(0.0) as usize).clamp(low, high);
    for j in clip(top - margin, 0, rows)..clip(bottom + margin + 1.0 / scale, 0, rows) {
        let y = (j as f64 + 0.5) / scale;
        let (left, right) = shape.span(y, margin);
        if right <= left {
            continue;
        }
        for i in clip(left, columns.0, columns.1)..clip(right + 1.0 / scale, columns.0, columns.1) {
            let x = (i as f64 + 0.5) / scale;
            let share = (shape.inside(x, y) * scale + 0.5).clamp(0.0, 1.0);
            if share > 0.0 {
                visit(i, j, share, x, y);
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
