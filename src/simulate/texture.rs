//! Single textures seen square on, as fine canvases: what a tile of a picture may hold.

use std::f64::consts::{PI, TAU};
use std::sync::OnceLock;

use super::canvas::{Canvas, Shape, View, facet};
use super::noise::{Dice, fractal, smooth};

/// What a patch shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Texture {
    /// Occluding discs with radii by a power law, 2 to 40 px (leaves, pebbles).
    Leaves,
    /// Tapered grass blades 0.8 to 4 px wide, lit from one side.
    Blades,
    /// Occluding rock facets with shading and a fine grain.
    Rock,
    /// A photograph of grass (see `fixtures/README.md`), shown at an eighth of its size.
    Grass,
    /// A photograph of gravel, likewise.
    Gravel,
    /// A photograph of a brick wall, likewise.
    Brick,
    /// A smooth clear sky.
    Sky,
    /// Detail at every scale without a single edge: octaves of smooth noise of equal strength.
    Fractal,
    /// Cumulus: soft billows whose own outline is 4 px or more wide.
    Cloud,
    /// Ripples and broken reflections on water, nothing in them narrower than about 4 px.
    Water,
    /// A straight edge through the middle, turned this many degrees from upright.
    Edge {
        /// Degrees from upright, towards clockwise.
        degrees: f64,
    },
    /// A checkerboard-free target: one bright point in the middle, for looking at the spread itself.
    Point,
}

/// Paints a texture over `width` x `height` px: reflectances from about 0.05 to 0.95.
pub(super) fn paint(texture: Texture, (width, height): (usize, usize), fine: usize, view: &View, seed: u64) -> Canvas {
    let mut canvas = Canvas::new(width, height, fine, 0.5);
    let mut dice = Dice::new(seed);
    let scene = Scene { view: *view, middle: (width as f64 / 2.0, height as f64 / 2.0) };
    match texture {
        Texture::Leaves => leaves(&mut canvas, &scene, &mut dice),
        Texture::Blades => blades(&mut canvas, &scene, &mut dice),
        Texture::Rock => rock(&mut canvas, &scene, &mut dice, seed),
        Texture::Grass => photograph(&mut canvas, &scene, 0, &mut dice),
        Texture::Gravel => photograph(&mut canvas, &scene, 1, &mut dice),
        Texture::Brick => photograph(&mut canvas, &scene, 2, &mut dice),
        Texture::Sky => {
            let (a, b) = (dice.between(0.4, 0.7), dice.between(-0.2, 0.2));
            canvas.each(|x, y| {
                let (sx, sy) = scene.origin(x, y);
                a + b * sy / height as f64 + 0.03 * smooth(sx / 400.0, sy / 400.0, seed)
            });
        }
        Texture::Fractal => canvas.each(|x, y| {
            let (sx, sy) = scene.origin(x, y);
            (0.5 + 0.16 * fractal(sx, sy, 256.0, 0.5, 1.0, seed)).clamp(0.02, 0.98)
        }),
        Texture::Cloud => canvas.each(|x, y| {
            let (sx, sy) = scene.origin(x, y);
            0.4 + 0.4 * billow(sx, sy, 120.0, 12.0, seed) + 0.08 * smooth(sx / 90.0, sy / 60.0, seed + 9)
        }),
        Texture::Water => {
            let phase = dice.between(0.0, TAU);
            canvas.each(|x, y| {
                let (sx, sy) = scene.origin(x, y);
                0.4 + 0.25 * ripples(sx, sy, 1.0, phase, seed)
            });
        }
        Texture::Edge { degrees } => {
            let t = degrees.to_radians();
            canvas.each(|x, y| {
                let (sx, sy) = scene.origin(x, y);
                let d = sx * t.cos() + sy * t.sin();
                0.2 + 0.6 * edge_cover(d, t + view.angle, fine as f64)
            });
        }
        Texture::Point => {
            canvas.data.fill(0.0);
            let (x, y) = scene.place(0.0, 0.0);
            // One fine sample, so bright that it fills a pixel's worth of light.
            let at = ((y * fine as f64) as usize).min(canvas.height - 1) * canvas.width + (x * fine as f64) as usize;
            canvas.data[at] = (fine * fine) as f32;
        }
    }
    canvas
}

/// Share of a fine sample on the bright side of a straight edge `d` px from its centre: its exact area.
fn edge_cover(d: f64, angle: f64, fine: f64) -> f64 {
    // The square's profile across the edge is a box of |cos| convolved with one of |sin|.
    let (a, b) = (angle.cos().abs().max(1e-9) / fine, angle.sin().abs().max(1e-9) / fine);
    let ramp2 = |v: f64| if v > 0.0 { v * v / 2.0 } else { 0.0 };
    let (p, q) = ((a + b) / 2.0, (a - b).abs() / 2.0);
    ((ramp2(d + p) - ramp2(d + q) - ramp2(d - q) + ramp2(d - p)) / (a * b)).clamp(0.0, 1.0)
}

/// Scene coordinates: px from the middle of the canvas, seen through a view.
struct Scene {
    view: View,
    middle: (f64, f64),
}

impl Scene {
    fn place(&self, x: f64, y: f64) -> (f64, f64) {
        let (px, py) = self.view.place(x, y);
        (px + self.middle.0, py + self.middle.1)
    }

    fn origin(&self, x: f64, y: f64) -> (f64, f64) {
        self.view.origin(x - self.middle.0, y - self.middle.1)
    }

    /// A random place with room to spare around the canvas, and the area drawn from, px^2.
    fn spread(&self) -> (f64, f64, f64) {
        // Room for the shifts and turns between two frames of one scene, the same whatever the view.
        let (w, h) = (2.0 * self.middle.0 + 60.0, 2.0 * self.middle.1 + 60.0);
        (w, h, w * h)
    }
}

fn leaves(canvas: &mut Canvas, scene: &Scene, dice: &mut Dice) {
    let (w, h, area) = scene.spread();
    let (low, high): (f64, f64) = (2.0, 40.0);
    let mean_square = 2.0 * (high / low).ln() / (low.powi(-2) - high.powi(-2));
    for _ in 0..(5.0 * area / (PI * mean_square)) as usize {
        let r = dice.radius(low, high);
        let at = (dice.between(-0.5, 0.5) * w, dice.between(-0.5, 0.5) * h);
        let level = dice.between(0.06, 0.94);
        canvas.fill(&Shape::disc(scene.place(at.0, at.1), r * scene.view.scale), |_, _| level);
    }
}

fn blades(canvas: &mut Canvas, scene: &Scene, dice: &mut Dice) {
    let (w, h, area) = scene.spread();
    let count = (2.2 * area / (1.6 * 40.0)) as usize;
    canvas.data.fill(0.08);
    for k in 0..count {
        let length = dice.between(20.0, 80.0);
        let half = dice.between(0.5, 2.6);
        let lean = PI / 2.0 + 0.35 * dice.normal();
        let foot = (dice.between(-0.5, 0.5) * w, dice.between(-0.5, 0.5) * h + 20.0);
        // Blades painted later stand in front and catch more light.
        let front = k as f64 / count as f64;
        let level = (0.1 + 0.75 * dice.even()) * (0.45 + 0.55 * front);
        let (ux, uy) = (lean.cos(), -lean.sin());
        let (nx, ny) = (-uy * half, ux * half);
        let bend = 0.12 * length * dice.normal();
        let middle = (foot.0 + 0.55 * length * ux, foot.1 + 0.55 * length * uy);
        let tip = (foot.0 + length * ux + bend * uy, foot.1 + length * uy - bend * ux);
        // Two convex parts: a stem and a tapering tip that may bend away.
        let stem = [
            (foot.0 - nx, foot.1 - ny),
            (middle.0 - nx * 0.8, middle.1 - ny * 0.8),
            (middle.0 + nx * 0.8, middle.1 + ny * 0.8),
            (foot.0 + nx, foot.1 + ny),
        ];
        let point = [(middle.0 - nx * 0.8, middle.1 - ny * 0.8), tip, (middle.0 + nx * 0.8, middle.1 + ny * 0.8)];
        for part in [&stem[..], &point[..]] {
            let corners: Vec<_> = part.iter().map(|&(x, y)| scene.place(x, y)).collect();
            canvas.fill(&Shape::polygon(&clockwise(corners)), |_, _| level);
        }
    }
}

/// The same polygon with its corners clockwise as seen with y downwards.
pub(super) fn clockwise(mut corners: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let twice: f64 = corners.iter().zip(corners.iter().cycle().skip(1)).map(|(a, b)| a.0 * b.1 - b.0 * a.1).sum();
    if twice < 0.0 {
        corners.reverse();
    }
    corners
}

fn rock(canvas: &mut Canvas, scene: &Scene, dice: &mut Dice, seed: u64) {
    let (w, h, area) = scene.spread();
    let (low, high): (f64, f64) = (3.0, 50.0);
    let mean_square = 2.0 * (high / low).ln() / (low.powi(-2) - high.powi(-2));
    for _ in 0..(5.0 * area / (2.2 * mean_square)) as usize {
        let r = dice.radius(low, high);
        let at = (dice.between(-0.5, 0.5) * w, dice.between(-0.5, 0.5) * h);
        let corners: Vec<_> = facet(dice, at, r).into_iter().map(|(x, y)| scene.place(x, y)).collect();
        let level = dice.between(0.12, 0.8);
        let slope = (dice.normal() * 0.12 / r, dice.normal() * 0.12 / r);
        canvas.fill(&Shape::polygon(&corners), |x, y| {
            let (sx, sy) = scene.origin(x, y);
            let grain = 0.035 * fractal(sx, sy, 8.0, 0.5, 0.9, seed);
            (level + slope.0 * (sx - at.0) + slope.1 * (sy - at.1) + grain).clamp(0.03, 0.97)
        });
    }
}

/// Cumulus brightness, 0 to 1: billows with soft outlines, nothing in them finer than `finest` px.
pub(super) fn billow(x: f64, y: f64, coarse: f64, finest: f64, seed: u64) -> f64 {
    let n = fractal(x, 1.5 * y, coarse, finest, 0.55, seed);
    let t = ((n + 0.6) / 1.8).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Height of a rippled surface, about -1 to 1: wave trains `size` times 14 px and longer, broken up by smooth noise.
pub(super) fn ripples(x: f64, y: f64, size: f64, phase: f64, seed: u64) -> f64 {
    let (x, y) = (x / size, y / size);
    let bend = 6.0 * smooth(x / 70.0, y / 25.0, seed);
    let broken = 0.5 + 0.5 * smooth(x / 90.0, y / 16.0, seed + 1);
    broken
        * ((TAU * (y / 14.0) + 0.6 * (x / 40.0) + bend + phase).sin()
            + 0.5 * (TAU * y / 23.0 - x / 60.0 + 0.7 * bend).sin())
        / 1.5
}

/// Side of the stored photographs, px.
const PHOTO: usize = 512;
/// Photograph pixels to a pixel of the patch.
const SHRINK: f64 = 8.0;

/// A photograph shrunk eight times, so that its own softness (about 0.8 of its pixels) is a tenth of ours.
fn photograph(canvas: &mut Canvas, scene: &Scene, which: usize, dice: &mut Dice) {
    let photo = photo(which);
    let (dx, dy) = (dice.between(0.0, 4.0 * PHOTO as f64), dice.between(0.0, 4.0 * PHOTO as f64));
    // Each fine sample averages a raster of points about one photograph pixel apart.
    let points = (SHRINK / canvas.fine as f64).round().max(1.0) as usize;
    let pitch = 1.0 / (canvas.fine * points) as f64;
    canvas.each(|x, y| {
        let mut sum = 0.0;
        for j in 0..points {
            for i in 0..points {
                let offset = |k: usize| (k as f64 + 0.5 - points as f64 / 2.0) * pitch;
                let (sx, sy) = scene.origin(x + offset(i), y + offset(j));
                sum += sample(photo, sx * SHRINK + dx, sy * SHRINK + dy);
            }
        }
        sum / (points * points) as f64
    });
}

/// Linear interpolation in a photograph continued by mirror images.
fn sample(photo: &[f32], x: f64, y: f64) -> f64 {
    let (x, y) = (x - 0.5, y - 0.5);
    let (ix, iy) = (x.floor(), y.floor());
    let (u, v) = (x - ix, y - iy);
    let fold = |i: i64| {
        let i = i.rem_euclid(2 * PHOTO as i64) as usize;
        if i < PHOTO { i } else { 2 * PHOTO - 1 - i }
    };
    let (i, j) = (ix as i64, iy as i64);
    let at = |i: i64, j: i64| f64::from(photo[fold(j) * PHOTO + fold(i)]);
    let line = |j: i64| at(i, j) * (1.0 - u) + at(i + 1, j) * u;
    line(j) * (1.0 - v) + line(j + 1) * v
}

/// The stored photographs as linear luminance stretched to 0.05-0.95 between their 1st and 99th percentile.
fn photo(which: usize) -> &'static [f32] {
    static PHOTOS: [OnceLock<Vec<f32>>; 3] = [const { OnceLock::new() }; 3];
    const FILES: [&[u8]; 3] = [
        include_bytes!("../../fixtures/textures/grass.png"),
        include_bytes!("../../fixtures/textures/gravel.png"),
        include_bytes!("../../fixtures/textures/brick.png"),
    ];
    PHOTOS[which].get_or_init(|| {
        // The files are compiled in and read by a test, so that failing here is out of reach.
        let grey = image::load_from_memory(FILES[which]).map(|i| i.into_luma8().into_raw()).unwrap_or_default();
        let linear: Vec<f32> = grey.iter().map(|&v| super::sensor::from_srgb(f32::from(v) / 255.0)).collect();
        let mut sorted = linear.clone();
        sorted.sort_by(f32::total_cmp);
        let (low, high) = (sorted[sorted.len() / 100], sorted[sorted.len() - 1 - sorted.len() / 100]);
        linear.iter().map(|v| (0.05 + 0.9 * (v - low) / (high - low)).clamp(0.02, 0.98)).collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_texture_paints_within_its_range_and_repeats_by_seed() {
        use Texture::{Blades, Brick, Cloud, Fractal, Grass, Gravel, Leaves, Rock, Sky, Water};
        for texture in [Leaves, Rock, Blades, Grass, Gravel, Brick, Sky, Fractal, Cloud, Water] {
            let a = paint(texture, (40, 30), 4, &View::default(), 7);
            let b = paint(texture, (40, 30), 4, &View::default(), 7);
            assert!(a.data == b.data, "{texture:?}");
            assert!(a.data.iter().all(|v| (0.0..=1.0).contains(v)), "{texture:?}");
            let other = paint(texture, (40, 30), 4, &View::default(), 8);
            assert!(a.data != other.data, "{texture:?}");
        }
    }

    #[test]
    fn a_straight_edge_covers_by_exact_area() {
        // Half a sample right of centre, upright edge: fully bright; at centre: half.
        assert!((edge_cover(0.0, 0.3, 4.0) - 0.5).abs() < 1e-12);
        assert!((edge_cover(0.125, 0.0, 4.0) - 1.0).abs() < 1e-6);
        // A diagonal edge through a corner cuts off half of half: area 1/8 at a quarter diagonal.
        let d = -(2.0f64.sqrt() / 4.0) / 4.0;
        assert!((edge_cover(d, PI / 4.0, 4.0) - 0.125).abs() < 1e-9);
    }
}
