//! Sharp scenes that are drawn, beside those of photographs: what free edges and regular patterns look like
//! under every spread.

use fastrand::Rng;
use rayon::prelude::*;
use tussock::simulate::{PatchSpec, Psf, Texture, patch_luminance};

use crate::kernel::{even, log_even, normal};
use crate::scene::{Picture, Scene};

const SIZE: (usize, usize) = (640, 480);
/// Scenes of each kind.
const EACH: u64 = 14;

/// What scenes of a kind are drawn by.
#[derive(Clone, Copy)]
enum Kind {
    /// A texture of the simulator.
    Simulated(Texture),
    /// A drawing of this file.
    Own(fn(&mut Rng) -> Vec<f32>),
}

const KINDS: [(&str, Kind); 6] = [
    ("leaves", Kind::Simulated(Texture::Leaves)),
    ("rock", Kind::Simulated(Texture::Rock)),
    ("blades", Kind::Simulated(Texture::Blades)),
    ("bars", Kind::Own(bars)),
    ("courses", Kind::Own(courses)),
    ("pebbles", Kind::Own(pebbles)),
];

/// Drawn scenes, none of which has a blur of its own beside the pixel's, with a name each.
pub fn all() -> Vec<(String, Scene)> {
    let wanted: Vec<(&str, Kind, u64)> =
        KINDS.iter().flat_map(|&(name, kind)| (0..EACH).map(move |k| (name, kind, k))).collect();
    wanted
        .into_par_iter()
        .map(|(name, kind, k)| {
            let seed = 90_000 + k;
            let (width, height) = SIZE;
            let data = match kind {
                Kind::Simulated(texture) => {
                    let psf = Psf::default();
                    patch_luminance(&PatchSpec { texture, psf, width, height, seed, ..PatchSpec::default() })
                }
                Kind::Own(draw) => binned(&draw(&mut Rng::with_seed(seed))),
            };
            (format!("drawn/{name}/{k}"), Scene::sharp(Picture { width, height, data }))
        })
        .collect()
}

/// Points a pixel along each side.
const FINE: usize = 4;
/// Points of a drawing.
const POINTS: (usize, usize) = (SIZE.0 * FINE, SIZE.1 * FINE);

/// Means over pixels of 4 x 4 points.
fn binned(fine: &[f32]) -> Vec<f32> {
    (0..SIZE.0 * SIZE.1)
        .map(|i| {
            let at = i / SIZE.0 * FINE * POINTS.0 + i % SIZE.0 * FINE;
            let rows = (0..FINE).map(|k| fine[at + k * POINTS.0..at + k * POINTS.0 + FINE].iter().sum::<f32>());
            rows.sum::<f32>() / (FINE * FINE) as f32
        })
        .collect()
}

/// Courses of stones or bricks, turned a little: each of its own light, with joints between.
fn courses(dice: &mut Rng) -> Vec<f32> {
    let angle = 0.15 * normal(dice);
    let (c, s) = (angle.cos(), angle.sin());
    let fine = FINE as f64;
    let height = fine * log_even(dice, 4.0, 40.0);
    let length = height * even(dice, 1.0, 3.5);
    let joint = (height * log_even(dice, 0.04, 0.2)).max(1.0);
    let (mortar, stone, varied) = (even(dice, 0.03, 0.8), even(dice, 0.05, 0.7), log_even(dice, 0.02, 0.3));
    let key = dice.u64(..);
    (0..POINTS.0 * POINTS.1)
        .map(|i| {
            let (x, y) = ((i % POINTS.0) as f64, (i / POINTS.0) as f64);
            let (u, v) = (x * c + y * s + 1e5, y * c - x * s + 1e5);
            let row = (v / height).floor();
            let mut own = Rng::with_seed(key ^ (row as u64).wrapping_mul(0x9E37_79B9));
            let shifted = u + length * (0.5 * (row % 2.0) + 0.1 * own.f64());
            let column = (shifted / length).floor();
            if v - row * height < joint || shifted - column * length < joint {
                return mortar as f32;
            }
            let mut own = Rng::with_seed(key ^ (row as u64).wrapping_mul(7919) ^ (column as u64).wrapping_mul(104_729));
            (stone * (varied * normal(&mut own)).exp()).min(1.0) as f32
        })
        .collect()
}

/// Round stones that cover each other, lit from one side.
fn pebbles(dice: &mut Rng) -> Vec<f32> {
    let mut fine = vec![even(dice, 0.02, 0.3) as f32; POINTS.0 * POINTS.1];
    let usual = FINE as f64 * log_even(dice, 2.0, 25.0);
    let side = std::f64::consts::TAU * dice.f64();
    let (lx, ly, shade) = (side.cos(), side.sin(), even(dice, 0.0, 0.8));
    let (light, varied) = (even(dice, 0.1, 0.6), even(dice, 0.1, 0.5));
    let count = 2.5 * (POINTS.0 * POINTS.1) as f64 / (usual * usual);
    for _ in 0..count.min(200_000.0) as usize {
        let (x, y) = (dice.f64() * POINTS.0 as f64, dice.f64() * POINTS.1 as f64);
        let (a, b) = (0.5 * usual * log_even(dice, 0.5, 2.0), 0.5 * usual * log_even(dice, 0.5, 2.0));
        let turn = std::f64::consts::PI * dice.f64();
        let (c, s) = (turn.cos(), turn.sin());
        let own = light * (varied * normal(dice)).exp();
        let reach = a.max(b);
        for row in (y - reach).max(0.0) as usize..((y + reach) as usize).min(POINTS.1) {
            for column in (x - reach).max(0.0) as usize..((x + reach) as usize).min(POINTS.0) {
                let (dx, dy) = (column as f64 + 0.5 - x, row as f64 + 0.5 - y);
                let (u, v) = ((dx * c + dy * s) / a, (dy * c - dx * s) / b);
                if u * u + v * v < 1.0 {
                    let facing = (dx * lx + dy * ly) / reach;
                    fine[row * POINTS.0 + column] = (own * (1.0 + shade * facing)).clamp(0.0, 1.0) as f32;
                }
            }
        }
    }
    fine
}

/// Straight bars of all widths and directions that cover each other.
fn bars(dice: &mut Rng) -> Vec<f32> {
    let (w, h) = POINTS;
    let mut fine = vec![even(dice, 0.1, 0.7) as f32; w * h];
    // A scene has its own typical width and, in half of them, one direction.
    let usual = log_even(dice, 3.0, 60.0);
    let common = dice.bool().then(|| std::f64::consts::PI * dice.f64());
    for _ in 0..(60_000.0 / usual / usual).clamp(60.0, 900.0) as usize {
        let angle = common.unwrap_or_else(|| std::f64::consts::PI * dice.f64());
        let (c, s) = (angle.cos(), angle.sin());
        let (x, y) = (dice.f64() * w as f64, dice.f64() * h as f64);
        let across = 0.5 * FINE as f64 * usual * log_even(dice, 0.3, 3.0);
        let along = across * log_even(dice, 1.0, 20.0);
        let light = even(dice, 0.03, 0.9) as f32;
        let reach = across.hypot(along);
        for row in (y - reach).max(0.0) as usize..((y + reach) as usize).min(h) {
            for column in (x - reach).max(0.0) as usize..((x + reach) as usize).min(w) {
                let (dx, dy) = (column as f64 + 0.5 - x, row as f64 + 0.5 - y);
                if (dx * c + dy * s).abs() < across && (dy * c - dx * s).abs() < along {
                    fine[row * w + column] = light;
                }
            }
        }
    }
    fine
}
