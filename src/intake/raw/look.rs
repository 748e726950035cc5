//! Look: a raw file as a half-size colour picture for people; nothing is measured on it.
//!
//! Plain development: the camera's white balance and its colours, one brightness for the whole picture, the sRGB curve.

use image::RgbImage;

use super::sensor::Sensor;
use crate::intake::rendered::upright_rgb;
use crate::intake::turn::Turn;
use crate::quantity::srgb;

/// Steps of the table from linear light to sRGB codes.
const STEPS: usize = 4096;
/// Light that the middle of the picture is raised to: the reflectance of a grey card, 18 % (common practice, no published
/// source).
const MIDDLE: f32 = 0.18;
/// Share of the picture that may turn white for it.
const WHITE: f32 = 0.01;
/// Most that brightness is raised: six stops under-exposed is more noise than picture.
const MOST: f32 = 64.0;

/// White-balanced colour of a sensor's picture, upright: full size for full colour, half size for mosaics.
///
/// Each pixel averages the samples of each colour in the 2 x 2 (X-Trans: 4 x 4) sites around it. The camera's colours
/// become sRGB by its own matrix, where it has one. Brightness is raised until the median is that of a grey card or a
/// hundredth of the picture is white, whichever comes first.
pub(super) fn picture(sensor: &Sensor, turn: Turn) -> RgbImage {
    let step = if sensor.pattern.is_some() { 2 } else { 1 };
    let (width, height) = (sensor.width / step, sensor.height / step);
    let matrix = to_srgb(sensor);
    let scale = brightness(sensor, &matrix);
    let codes: Vec<u8> = (0..=STEPS).map(|i| srgb::f32::byte(i as f32 / STEPS as f32)).collect();
    let code = |v: f32| codes[((v * scale).clamp(0.0, 1.0) * STEPS as f32) as usize];
    let mut out = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            out.push(mixed(&matrix, light(sensor, x * step, y * step)).map(code));
        }
    }
    upright_rgb(out, width, height, turn)
}

/// From white-balanced camera colours to linear sRGB, neutral kept neutral; the identity where the camera's colours are not
/// known.
fn to_srgb(sensor: &Sensor) -> [[f32; 3]; 3] {
    const NONE: [[f32; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    // Scaling each row to 1 is the white balance: what is neutral has the same in all three.
    let balanced = sensor.from_srgb.map(|m| m.map(|row| row.map(|v| v / row.iter().sum::<f32>())));
    balanced.and_then(inverse).filter(|m| m.iter().flatten().all(|v| v.abs() < 6.0)).unwrap_or(NONE)
}

/// The inverse by cofactors; `None` where there is hardly one.
fn inverse(m: [[f32; 3]; 3]) -> Option<[[f32; 3]; 3]> {
    let minor = |r: usize, c: usize| {
        let (a, b, i, j) = ((r + 1) % 3, (r + 2) % 3, (c + 1) % 3, (c + 2) % 3);
        m[a][i] * m[b][j] - m[a][j] * m[b][i]
    };
    let determinant: f32 = (0..3).map(|c| m[0][c] * minor(0, c)).sum();
    let out = std::array::from_fn(|r| std::array::from_fn(|c| minor(c, r) / determinant));
    (determinant.abs() > 1e-3).then_some(out)
}

fn mixed(matrix: &[[f32; 3]; 3], light: [f32; 3]) -> [f32; 3] {
    // What is clipped in one channel alone would turn into a colour that was never there.
    let light = light.map(|v| v.min(1.0));
    matrix.map(|row| (0..3).map(|c| row[c] * light[c]).sum())
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

/// The factor that brings the median of a sparse sample to a grey card's light, or its brightest hundredth to white.
fn brightness(sensor: &Sensor, matrix: &[[f32; 3]; 3]) -> f32 {
    let mut greens = Vec::new();
    for y in (0..sensor.height.saturating_sub(4)).step_by((sensor.height / 128).max(2) & !1) {
        for x in (0..sensor.width.saturating_sub(4)).step_by((sensor.width / 128).max(2) & !1) {
            greens.push(mixed(matrix, light(sensor, x, y))[1]);
        }
    }
    if greens.is_empty() {
        return 1.0;
    }
    greens.sort_unstable_by(f32::total_cmp);
    let at = |share: f32| greens[((greens.len() - 1) as f32 * share) as usize].max(1e-6);
    (MIDDLE / at(0.5)).min(1.0 / at(1.0 - WHITE)).clamp(1.0, MOST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neutral_stays_neutral_and_colours_come_back() {
        // A camera whose channels overlap as real ones do.
        let camera = [[0.6, 0.3, 0.1], [0.2, 0.7, 0.1], [0.05, 0.25, 0.7]];
        let back = inverse(camera).unwrap();
        let orange = [0.5, 0.25, 0.05];
        let recorded = camera.map(|row| (0..3).map(|c| row[c] * orange[c]).sum());
        let shown = mixed(&back, recorded);
        assert!(shown.iter().zip(orange).all(|(a, b)| (a - b).abs() < 1e-5), "{shown:?}");
        assert!(mixed(&back, [0.4; 3]).iter().all(|v| (v - 0.4).abs() < 1e-5));
        assert!(inverse([[1.0, 1.0, 1.0]; 3]).is_none());
    }
}
