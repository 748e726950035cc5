//! Green: a sensor's samples to a plane of green luminance; measured sites are kept as they are, the others filled in.

use multiversion::multiversion;

use super::sensor::{Pattern, Sensor};
use crate::shot::{Mosaic, Plane};

/// Luminance of a sensor's picture, as stored (not yet upright).
///
/// Green sites of a mosaic keep their own values (in the sensor's units, black level included). The other
/// sites of a Bayer mosaic get green by bilinear interpolation corrected by the gradient of the site's own
/// colour after white balance (Malvar, He and Cutler, ICASSP 2004, with their gain alpha of 1/2). X-Trans
/// sites get the weighted mean of the greens around them. Full colour becomes Rec. 709-weighted luminance of
/// the white-balanced channels.
pub(super) fn plane(sensor: &Sensor) -> Plane {
    let green_black = match &sensor.pattern {
        Some(p) if p.side == 2 => {
            let greens = (0..4).filter(|i| p.colour(i % 2, i / 2) == 1).map(|i| sensor.black[i]);
            greens.fold(0.0, f32::max).round()
        }
        None if sensor.channels < 3 => sensor.black[0].round(),
        _ => sensor.black[1].round(),
    };
    let mut data = vec![0_u16; sensor.width * sensor.height];
    let mosaic = match &sensor.pattern {
        Some(p) if p.side == 2 => {
            bayer(sensor, p, green_black, &mut data);
            Mosaic::Checkerboard { even: p.colour(0, 0) == 1 }
        }
        Some(p) => {
            six(sensor, p, green_black, &mut data);
            Mosaic::Six((0..36).filter(|i| p.colours[*i] == 1).fold(0, |bits, i| bits | 1 << i))
        }
        None => {
            full(sensor, green_black, &mut data);
            Mosaic::None
        }
    };
    let white = sensor.white.min(65535.0) as u16;
    let mut plane =
        Plane { black: green_black as u16, mosaic, ..Plane::plain(sensor.width, sensor.height, data, white) };
    plane.saturation = saturation(&plane);
    plane
}

/// The level at which the sensor clips: the pile of measured samples at the top of their range, where there is one.
fn saturation(plane: &Plane) -> u16 {
    const BINS: usize = 256;
    /// After so many columns any mosaic repeats itself.
    const PERIOD: usize = 6;
    let (black, range) = (f32::from(plane.black), plane.range());
    let mut levels = vec![0_usize; 1 << 16];
    for y in (0..plane.height).step_by(3) {
        for first in (0..PERIOD).filter(|x| plane.mosaic.measured(*x, y)) {
            plane.row(y).iter().skip(first).step_by(PERIOD).for_each(|v| levels[usize::from(*v)] += 1);
        }
    }
    let mut counts = [0_usize; BINS];
    for (level, count) in levels.iter().enumerate() {
        let bin = (level as f32 - black) / range * BINS as f32;
        counts[(bin as usize).min(BINS - 1)] += count;
    }
    let total: usize = counts.iter().sum();
    // A few bright points are no clipping; a thousandth of the frame at one level is, if it stands out from
    // what lies below it. A pile may straddle two bins.
    let least = (total / 1000).max(1);
    let mut above = 0;
    let top = (BINS / 2..BINS).rev().find(|bin| {
        above += counts[*bin];
        above >= least
    });
    let Some(top) = top else { return plane.white };
    let pile = counts[top] + counts[top - 1];
    let below = counts[top - 2] + counts[top - 3];
    if pile < 4 * below + least {
        return plane.white;
    }
    let first = if counts[top - 1] > below { top - 1 } else { top };
    (black + range * first as f32 / BINS as f32).ceil() as u16
}

/// Rows of white-balanced samples above black, five at a time, each with two mirrored pixels at both ends.
struct Window<'a> {
    sensor: &'a Sensor,
    pattern: &'a Pattern,
    rows: [Vec<f32>; 5],
}

impl<'a> Window<'a> {
    fn new(sensor: &'a Sensor, pattern: &'a Pattern) -> Self {
        let mut window = Self { sensor, pattern, rows: std::array::from_fn(|_| vec![0.0; sensor.width + 4]) };
        for (slot, offset) in (-2_isize..3).enumerate() {
            window.fill(slot, offset);
        }
        window
    }

    /// Fills a slot with the row at `y`, mirrored without repeating the edge so that colours stay in step.
    fn fill(&mut self, slot: usize, y: isize) {
        let last = self.sensor.height as isize - 1;
        let y = if y < 0 {
            -y
        } else if y > last {
            2 * last - y
        } else {
            y
        } as usize;
        let source = self.sensor.row(y);
        let row = &mut self.rows[slot];
        let black = [0, 1].map(|x| self.sensor.black[y % 2 * 2 + x]);
        balanced(source, black, [0, 1].map(|x| self.sensor.gains[self.pattern.colour(x, y)]), &mut row[2..]);
        let width = source.len();
        (row[0], row[1]) = (row[4], row[3]);
        (row[width + 2], row[width + 3]) = (row[width], row[width - 1]);
    }

    /// Moves on to the row whose lower neighbour's neighbour is `y`.
    fn advance(&mut self, y: isize) {
        self.rows.rotate_left(1);
        self.fill(4, y);
    }
}

/// Samples of a row less black, times their gain: those of even columns and of odd ones.
#[multiversion(targets("x86_64+avx2"))]
fn balanced(samples: &[u16], black: [f32; 2], gain: [f32; 2], out: &mut [f32]) {
    for (x, (out, sample)) in out.iter_mut().zip(samples).enumerate() {
        let (black, gain) = if x % 2 == 0 { (black[0], gain[0]) } else { (black[1], gain[1]) };
        *out = (f32::from(*sample) - black) * gain;
    }
}

fn bayer(sensor: &Sensor, pattern: &Pattern, green_black: f32, data: &mut [u16]) {
    let mut window = Window::new(sensor, pattern);
    let mut lifted = vec![0_u16; sensor.width];
    for (y, out) in data.chunks_exact_mut(sensor.width).enumerate() {
        if y > 0 {
            window.advance(y as isize + 2);
        }
        let first_green = usize::from(pattern.colour(0, y) != 1);
        // The two greens may differ in black level; the plane has one.
        let lift = green_black - sensor.black[y % 2 * 2 + first_green];
        let mut kept = sensor.row(y);
        if lift != 0.0 {
            lifted.iter_mut().zip(kept).for_each(|(d, v)| *d = (f32::from(*v) + lift).round() as u16);
            kept = &lifted;
        }
        interpolate(window.rows.each_ref().map(Vec::as_slice), green_black + 0.5, (kept, first_green), out);
    }
}

/// Green of a row: at every other site, from the first that is green, what is kept there, at those between what its neighbours say.
#[multiversion(targets("x86_64+avx2"))]
fn interpolate(rows: [&[f32]; 5], offset: f32, (kept, first_green): (&[u16], usize), out: &mut [u16]) {
    let w = out.len();
    let [nn, n, here, s, ss] = rows;
    let (nn, n, s, ss, kept) = (&nn[2..][..w], &n[2..][..w], &s[2..][..w], &ss[2..][..w], &kept[..w]);
    let (ww, west, centre, east, ee) = (&here[..w], &here[1..][..w], &here[2..][..w], &here[3..][..w], &here[4..][..w]);
    for x in 0..w {
        let near = n[x] + s[x] + west[x] + east[x];
        let far = nn[x] + ss[x] + ww[x] + ee[x];
        let green = 0.25 * near + 0.5 * centre[x] - 0.125 * far;
        // The cast from float saturates at both ends.
        out[x] = if x % 2 == first_green { kept[x] } else { (green + offset) as u16 };
    }
}

fn six(sensor: &Sensor, pattern: &Pattern, green_black: f32, data: &mut [u16]) {
    // Greens around each of the 36 sites, with twice the weight beside it as across the corner.
    let around: Vec<Vec<(isize, isize, f32)>> = (0..36_usize)
        .map(|site| {
            let mut list = Vec::new();
            for (dx, dy) in (-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (dx, dy))) {
                let at = |v: usize, d: isize| (v as isize + 6 + d) as usize % 6;
                if (dx, dy) != (0, 0) && pattern.colour(at(site % 6, dx), at(site / 6, dy)) == 1 {
                    list.push((dx, dy, if dx == 0 || dy == 0 { 2.0 } else { 1.0 }));
                }
            }
            list
        })
        .collect();
    let (width, height) = (sensor.width as isize, sensor.height as isize);
    let lift = (green_black - sensor.black[1]).round() as i32;
    for (y, out) in data.chunks_exact_mut(sensor.width).enumerate() {
        let row = sensor.row(y);
        out.iter_mut().zip(row).for_each(|(d, v)| *d = (i32::from(*v) + lift).clamp(0, 65535) as u16);
        for phase in (0..6).filter(|x| pattern.colour(*x, y) != 1) {
            let around = &around[y % 6 * 6 + phase];
            for x in (phase..sensor.width).step_by(6) {
                let (mut sum, mut weights) = (0.0, 0.0);
                for &(dx, dy, weight) in around {
                    let (nx, ny) = (x as isize + dx, y as isize + dy);
                    if (0..width).contains(&nx) && (0..height).contains(&ny) {
                        sum += weight * f32::from(sensor.row(ny as usize)[nx as usize]);
                        weights += weight;
                    }
                }
                out[x] = if weights > 0.0 { (sum / weights + lift as f32).round() as u16 } else { row[x] };
            }
        }
    }
}

fn full(sensor: &Sensor, black: f32, data: &mut [u16]) {
    let channels = sensor.channels;
    for (y, out) in data.chunks_exact_mut(sensor.width).enumerate() {
        let row = sensor.row(y);
        if channels < 3 {
            // Monochrome, perhaps with a second sample that is not luminance.
            out.iter_mut().zip(row.chunks_exact(channels)).for_each(|(d, p)| *d = p[0]);
            continue;
        }
        let weights: [f32; 3] = std::array::from_fn(|c| [0.2126, 0.7152, 0.0722][c] * sensor.gains[c]);
        let offset = black + 0.5 - (0..3).map(|c| weights[c] * sensor.black[c]).sum::<f32>();
        // Green makes up most of luminance, and reaches white before the others do.
        let white = sensor.white.min(65535.0) as u16;
        out.iter_mut().zip(row.chunks_exact(channels)).for_each(|(d, p)| {
            if p[1] >= white {
                *d = p[1];
                return;
            }
            *d = (f32::from(p[0]) * weights[0] + f32::from(p[1]) * weights[1] + f32::from(p[2]) * weights[2] + offset)
                as u16;
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BLACK: f32 = 512.0;

    /// A sensor that sees grey light of a given level at each place through filters that pass 1/gain of it.
    fn seeing(width: usize, height: usize, pattern: Pattern, light: impl Fn(usize, usize) -> f32) -> Sensor {
        let gains = [2.0, 1.0, 1.6];
        let sample = |i: usize| {
            let (x, y) = (i % width, i / width);
            (light(x, y) / gains[pattern.colour(x, y)] + BLACK).round() as u16
        };
        Sensor {
            samples: (0..width * height).map(sample).collect(),
            stride: width,
            left: 0,
            top: 0,
            width,
            height,
            channels: 1,
            pattern: Some(pattern),
            black: [BLACK; 4],
            white: 16383.0,
            gains,
            from_srgb: None,
            orientation: 1,
            exposures: 1,
            coded: None,
            flags: Vec::new(),
        }
    }

    fn rggb() -> Pattern {
        let mut colours = [0; 36];
        colours[..4].copy_from_slice(&[0, 1, 1, 2]);
        Pattern { side: 2, colours }
    }

    /// The common X-Trans pattern (as DNG files state it).
    fn x_trans() -> Pattern {
        let rows = ["GBGGRG", "RGRBGB", "GBGGRG", "GRGGBG", "BGBRGR", "GRGGBG"];
        let colours: Vec<u8> = rows.concat().chars().map(|c| "RGB".find(c).unwrap() as u8).collect();
        Pattern { side: 6, colours: colours.try_into().unwrap() }
    }

    #[test]
    fn measured_greens_are_kept_and_gradients_of_grey_light_are_filled_exactly() {
        for (width, height) in [(40, 30), (41, 31)] {
            let sensor = seeing(width, height, rggb(), |x, y| 1000.0 + 40.0 * x as f32 + 80.0 * y as f32);
            let plane = plane(&sensor);
            assert_eq!(plane.mosaic, Mosaic::Checkerboard { even: false });
            assert_eq!((plane.black, plane.white), (512, 16383));
            for y in 0..height {
                for x in 0..width {
                    let got = plane.row(y)[x];
                    if plane.mosaic.measured(x, y) {
                        assert_eq!(got, sensor.row(y)[x]);
                    } else if (2..width - 2).contains(&x) && (2..height - 2).contains(&y) {
                        let want = 1512.0 + 40.0 * x as f32 + 80.0 * y as f32;
                        assert!((f32::from(got) - want).abs() <= 1.5, "{x} {y}: {got} {want}");
                    }
                }
            }
        }
    }

    /// The filter's response along x at half the sampling frequency's half, by its own formula, is 1.
    #[test]
    fn fine_grey_detail_survives_interpolation() {
        let wave = |x: usize, _: usize| 4000.0 + 2000.0 * (std::f32::consts::FRAC_PI_2 * x as f32).cos();
        let sensor = seeing(64, 32, rggb(), wave);
        let plane = plane(&sensor);
        for x in 4..60 {
            let want = wave(x, 16) + BLACK;
            assert!((f32::from(plane.row(16)[x]) - want).abs() < 3.0, "{x}");
        }
    }

    #[test]
    fn uneven_blacks_of_the_two_greens_are_levelled() {
        let mut sensor = seeing(40, 30, rggb(), |_, _| 1000.0);
        sensor.black = [512.0, 512.0, 500.0, 512.0];
        for y in (1..30).step_by(2) {
            for x in (0..40).step_by(2) {
                sensor.samples[y * 40 + x] -= 12;
            }
        }
        assert!(plane(&sensor).data.iter().all(|v| (1511..=1513).contains(v)));
    }

    #[test]
    fn noise_below_black_survives() {
        let mut sensor = seeing(40, 30, rggb(), |_, _| 0.0);
        sensor.samples[1] = 500;
        assert_eq!(plane(&sensor).data[1], 500);
    }

    #[test]
    fn x_trans_is_filled_from_its_neighbours() {
        let sensor = seeing(36, 30, x_trans(), |x, _| 1000.0 + 10.0 * x as f32);
        let plane = plane(&sensor);
        let Mosaic::Six(bits) = plane.mosaic else { panic!("{:?}", plane.mosaic) };
        assert_eq!(bits.count_ones(), 20);
        for (i, v) in plane.data.iter().enumerate() {
            let (x, y) = (i % 36, i / 36);
            if plane.mosaic.measured(x, y) {
                assert_eq!(*v, sensor.row(y)[x]);
            } else if (1..35).contains(&x) {
                assert!((f32::from(*v) - (1512.0 + 10.0 * x as f32)).abs() <= 6.0, "{x} {y} {v}");
            }
        }
    }

    #[test]
    fn full_colour_becomes_white_balanced_luminance() {
        let mut sensor = seeing(20, 20, rggb(), |_, _| 0.0);
        sensor.channels = 3;
        sensor.pattern = None;
        sensor.samples = (0..400).flat_map(|_| [512 + 1000, 512 + 2000, 512 + 1250]).collect();
        let plane = plane(&sensor);
        assert!(plane.data.iter().all(|v| *v == 2512), "{}", plane.data[0]);
    }

    #[test]
    fn clipping_below_the_stated_white_is_found() {
        let sensor = seeing(200, 100, rggb(), |x, _| (x as f32 * 150.0).min(15_000.0));
        let level = plane(&sensor).saturation;
        assert!((15_350..=15_512).contains(&level), "{level}");
        let sensor = seeing(200, 100, rggb(), |x, y| x as f32 * 20.0 + y as f32);
        assert_eq!(plane(&sensor).saturation, 16383);
    }
}
