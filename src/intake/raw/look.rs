//! Look: a raw file as a half-size colour picture for people; nothing is measured on it.

use image::RgbImage;

use super::sensor::Sensor;
use crate::intake::rendered::upright_rgb;
use crate::intake::tone::srgb_code;
use crate::intake::turn::Turn;

/// Steps of the table from linear light to sRGB codes.
const STEPS: usize = 4096;

/// White-balanced colour of a sensor's picture, upright: full size for full colour, half size for mosaics.
///
/// Each pixel averages the samples of each colour in the 2 x 2 (X-Trans: 4 x 4) sites around it. Brightness is
/// raised so that the brightest two-hundredth is white, at most fourfold. Camera colour is not matched.
pub(super) fn picture(sensor: &Sensor, turn: Turn) -> RgbImage {
    let step = if sensor.pattern.is_some() { 2 } else { 1 };
    let (width, height) = (sensor.width / step, sensor.height / step);
    let scale = brightness(sensor);
    let codes: Vec<u8> = (0..=STEPS).map(|i| srgb_code(i as f32 / STEPS as f32)).collect();
    let code = |v: f32| codes[((v * scale).clamp(0.0, 1.0) * STEPS as f32) as usize];
    let mut out = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            out.push(light(sensor, x * step, y * step).map(code));
        }
    }
    upright_rgb(out, width, height, turn)
}

/// White-balanced light at a place, 0 at black and 1 at white.
fn light(sensor: &Sensor, x: usize, y: usize) -> [f32; 3] {
    let Some(pattern) = &sensor.pattern else {
        let pixel = &sensor.row(y)[x * sensor.channels..][..sensor.channels];
        let at = |c: usize| (f32::from(pixel[c]) - sensor.black[c]) / (sensor.white - sensor.black[c]);
        return if sensor.channels >= 3 { std::array::from_fn(|c| at(c) * sensor.gains[c]) } else { [at(0); 3] };
    };
    let (reach, back) = if pattern.side == 2 { (2, 0) } else { (4, 1) };
    let (mut sums, mut counts) = ([0.0_f32; 3], [0.0_f32; 3]);
    let (x0, y0) = (x.saturating_sub(back), y.saturating_sub(back));
    for sy in y0..(y0 + reach).min(sensor.height) {
        let row = sensor.row(sy);
        for sx in x0..(x0 + reach).min(sensor.width) {
            let colour = pattern.colour(sx, sy);
            let black = if pattern.side == 2 { sensor.black[sy % 2 * 2 + sx % 2] } else { sensor.black[colour] };
            sums[colour] += (f32::from(row[sx]) - black) / (sensor.white - black);
            counts[colour] += 1.0;
        }
    }
    std::array::from_fn(|c| if counts[c] > 0.0 { sums[c] / counts[c] * sensor.gains[c] } else { 0.0 })
}

/// The factor that makes the brightest two-hundredth of a sparse sample white.
fn brightness(sensor: &Sensor) -> f32 {
    let mut greens = Vec::new();
    for y in (0..sensor.height.saturating_sub(4)).step_by((sensor.height / 128).max(2) & !1) {
        for x in (0..sensor.width.saturating_sub(4)).step_by((sensor.width / 128).max(2) & !1) {
            greens.push(light(sensor, x, y)[1]);
        }
    }
    let last = greens.len().saturating_sub(1);
    if greens.is_empty() {
        return 1.0;
    }
    let (_, bright, _) = greens.select_nth_unstable_by(last - last / 200, f32::total_cmp);
    (1.0 / bright.max(1e-6)).clamp(1.0, 4.0)
}
