//! Sharp scenes that are drawn, beside those of photographs: what free edges look like under every spread.

use fastrand::Rng;
use tussock::simulate::{PatchSpec, Psf, Texture, patch_luminance};

use crate::kernel::{even, log_even};
use crate::scene::{Picture, Scene};

const SIZE: (usize, usize) = (640, 480);
/// Scenes of each kind.
const EACH: u64 = 14;

/// Drawn scenes, none of which has a blur of its own beside the pixel's, with a name each.
pub fn all() -> Vec<(String, Scene)> {
    let textures =
        [("leaves", Some(Texture::Leaves)), ("rock", Some(Texture::Rock)), ("blades", Some(Texture::Blades))];
    let kinds = textures.into_iter().chain([("bars", None)]);
    kinds
        .flat_map(|(name, texture)| (0..EACH).map(move |k| (name, texture, k)))
        .map(|(name, texture, k)| {
            let seed = 90_000 + k;
            let data = match texture {
                Some(texture) => patch_luminance(&PatchSpec {
                    texture,
                    psf: Psf::default(),
                    width: SIZE.0,
                    height: SIZE.1,
                    seed,
                    ..PatchSpec::default()
                }),
                None => bars(seed),
            };
            (format!("drawn/{name}/{k}"), Scene::sharp(Picture { width: SIZE.0, height: SIZE.1, data }))
        })
        .collect()
}

/// Straight bars of all widths and directions that cover each other, averaged over pixels of 4 x 4 points.
fn bars(seed: u64) -> Vec<f32> {
    const FINE: usize = 4;
    let mut dice = Rng::with_seed(seed);
    let (w, h) = (SIZE.0 * FINE, SIZE.1 * FINE);
    let mut fine = vec![even(&mut dice, 0.1, 0.7) as f32; w * h];
    // A scene has its own typical width and, in half of them, one direction.
    let usual = log_even(&mut dice, 3.0, 60.0);
    let common = dice.bool().then(|| std::f64::consts::PI * dice.f64());
    for _ in 0..(60_000.0 / usual / usual).clamp(60.0, 900.0) as usize {
        let angle = common.unwrap_or_else(|| std::f64::consts::PI * dice.f64());
        let (c, s) = (angle.cos(), angle.sin());
        let (x, y) = (dice.f64() * w as f64, dice.f64() * h as f64);
        let across = 0.5 * FINE as f64 * usual * log_even(&mut dice, 0.3, 3.0);
        let along = across * log_even(&mut dice, 1.0, 20.0);
        let light = even(&mut dice, 0.03, 0.9) as f32;
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
    (0..SIZE.0 * SIZE.1)
        .map(|i| {
            let at = i / SIZE.0 * FINE * w + i % SIZE.0 * FINE;
            let rows = (0..FINE).map(|k| fine[at + k * w..at + k * w + FINE].iter().sum::<f32>());
            rows.sum::<f32>() / (FINE * FINE) as f32
        })
        .collect()
}
