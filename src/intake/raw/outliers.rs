//! Outliers: single sites of a mosaic that tell of the sensor and not of the light: hot ones, and dead ones.
//!
//! Cameras and raw converters take them out before anybody looks; left in, each is the sharpest thing in the picture.

use rayon::prelude::*;

use super::sensor::{Pattern, Sensor};

/// Multiple of the range of its neighbours of the same colour that a site must lie beyond them all. Chosen: far beyond
/// what grain or texture do.
const BEYOND: f32 = 4.0;
/// Share of the range from black to white that a site must lie beyond its neighbours at the least. Chosen: no lens and
/// grain show less.
const LEAST: f32 = 0.001;
/// Share of a site's excess up to which the four beside it, on average, count as having got none of it. Derived: half
/// of 0.053, which is what each of them gets of what the middle one gets where a Gaussian of 0.3 px draws a point over
/// squares of a pixel; no picture is sharper.
const ALONE: f32 = 0.026;

/// How far the sites lie that a site is compared with, in rows and columns: a 6 x 6 pattern has few of red and blue.
const fn reach(pattern: &Pattern) -> usize {
    if pattern.side == 2 { 2 } else { 3 }
}

/// Columns and rows from one site to another.
type Step = (isize, isize);

/// What a site of a pattern is compared with.
struct Around {
    /// Places of its own colour, nearest first.
    alike: Vec<Step>,
    /// For each of the four sites beside it: those of that one's colour which are no neighbours of the middle.
    beside: [(Step, Vec<Step>); 4],
}

impl Around {
    fn of(pattern: &Pattern, x: usize, y: usize) -> Self {
        let colour = |(dx, dy): Step| {
            let at = |v: usize, d: isize| (v as isize + 6 * pattern.side as isize + d) as usize;
            pattern.colour(at(x, dx), at(y, dy))
        };
        let far = |(dx, dy): &Step| dx * dx + dy * dy;
        let reach = reach(pattern) as isize;
        let places = || (-reach..=reach).flat_map(|dy| (-reach..=reach).map(move |dx| (dx, dy))).filter(|p| far(p) > 0);
        let mut alike: Vec<_> = places().filter(|p| colour(*p) == colour((0, 0))).collect();
        alike.sort_by_key(far);
        let beside = [(1, 0), (-1, 0), (0, 1), (0, -1)];
        let others = |p: Step| places().filter(|q| far(q) > 1 && colour(*q) == colour(p)).collect();
        Self { alike, beside: beside.map(|p| (p, others(p))) }
    }
}

/// Gives hot and dead sites of a mosaic the middle value of their neighbours of one colour; how many there were.
///
/// A site is one where it lies beyond all its neighbours by far more than these differ, and those beside it have no part in it,
/// as they have in any point of light that a lens draws. Faint ones stay, as do whole columns, and what lies at the edges.
pub(super) fn mend(sensor: &mut Sensor) -> usize {
    let Some(pattern) = sensor.pattern.filter(|_| sensor.channels == 1) else { return 0 };
    let side = pattern.side;
    let around: Vec<Around> = (0..side * side).map(|i| Around::of(&pattern, i % side, i / side)).collect();
    let seen: &Sensor = sensor;
    let edge = reach(&pattern);
    let rows = (edge..seen.height.saturating_sub(edge)).into_par_iter();
    let found: Vec<(usize, u16)> = rows
        .flat_map_iter(|y| {
            let around = &around[y % side * side..][..side];
            let places = if side == 2 { suspects(seen, y) } else { suspects_of_six(seen, y, around) };
            places.into_iter().filter_map(move |x| {
                let value = outlying(seen, &pattern, (x, y), &around[x % side])?;
                Some(((seen.top + y) * seen.stride + seen.left + x, value))
            })
        })
        .collect();
    found.iter().for_each(|(place, value)| sensor.samples[*place] = *value);
    found.len()
}

/// Least that a site lies beyond its neighbours, in the sensor's units.
fn least(sensor: &Sensor) -> u16 {
    (LEAST * (sensor.white - sensor.black[0])).max(1.0) as u16
}

/// Columns of a row of a 2 x 2 pattern whose sites lie beyond the four that are two away by far more than those differ: few are left
/// to be looked at more closely.
fn suspects(sensor: &Sensor, y: usize) -> Vec<usize> {
    let (above, here, below) = (sensor.row(y - 2), sensor.row(y), sensor.row(y + 2));
    let least = i32::from(least(sensor));
    let width = here.len().saturating_sub(4);
    let mut marked = vec![0_u8; width];
    for (x, mark) in marked.iter_mut().enumerate() {
        *mark = u8::from(stands_out(here[x + 2], [above[x + 2], below[x + 2], here[x], here[x + 4]], least));
    }
    memchr::memchr_iter(1, &marked).map(|x| x + 2).collect()
}

/// The same of a 6 x 6 pattern, by the four nearest sites of one colour.
fn suspects_of_six(sensor: &Sensor, y: usize, around: &[Around]) -> Vec<usize> {
    const SIDE: usize = 6;
    const EDGE: usize = SIDE / 2;
    let least = i32::from(least(sensor));
    let start = (sensor.top + y) * sensor.stride + sensor.left;
    let mut found = Vec::new();
    for (phase, around) in around.iter().enumerate().filter(|(_, around)| !around.alike.is_empty()) {
        let steps: [isize; 4] = std::array::from_fn(|k| {
            let (dx, dy) = around.alike[k % around.alike.len()];
            dy * sensor.stride as isize + dx
        });
        let first = if phase < EDGE { phase + SIDE } else { phase };
        found.extend((first..sensor.width.saturating_sub(EDGE)).step_by(SIDE).filter(|x| {
            let near = steps.map(|step| sensor.samples[(start + x).wrapping_add_signed(step)]);
            stands_out(sensor.samples[start + x], near, least)
        }));
    }
    found
}

/// Whether a site lies beyond four others by far more than these differ.
#[inline(always)]
fn stands_out(own: u16, others: [u16; 4], least: i32) -> bool {
    let (v, [a, b, c, d]) = (i32::from(own), others.map(i32::from));
    let (low, high) = (a.min(b).min(c.min(d)), a.max(b).max(c.max(d)));
    (v - high).max(low - v) > BEYOND as i32 * (high - low) + least
}

/// What should stand at a place, where what stands there tells of the sensor alone.
#[inline]
fn outlying(sensor: &Sensor, pattern: &Pattern, (x, y): (usize, usize), around: &Around) -> Option<u16> {
    let row = sensor.stride as isize;
    let middle = ((sensor.top + y) * sensor.stride + sensor.left + x) as isize;
    let at = |(dx, dy): Step| sensor.samples[(middle + dy * row + dx) as usize];
    let own = at((0, 0));
    // Nearly every site lies between its first neighbours.
    let least = least(sensor);
    let (mut low, mut high) = (u16::MAX, 0);
    for place in &around.alike {
        let v = at(*place);
        (low, high) = (low.min(v), high.max(v));
        if own <= high.saturating_add(least) && low <= own.saturating_add(least) {
            return None;
        }
    }
    let beyond = if own > high { f32::from(own - high) } else { f32::from(low - own) };
    if beyond <= BEYOND * f32::from(high - low) + f32::from(least) {
        return None;
    }
    let middle_of = |places: &[Step]| {
        let mut list: Vec<u16> = places.iter().map(|p| at(*p)).collect();
        let half = list.len() / 2;
        *list.select_nth_unstable(half).1
    };
    let usual = middle_of(&around.alike);
    let gain =
        |dx: isize, dy: isize| sensor.gains[pattern.colour((x as isize + dx) as usize, (y as isize + dy) as usize)];
    let excess = (f32::from(own) - f32::from(usual)) * gain(0, 0);
    let share = around.beside.iter().map(|(place, others)| {
        (f32::from(at(*place)) - f32::from(middle_of(others))) * gain(place.0, place.1) / excess
    });
    (share.sum::<f32>() < 4.0 * ALONE).then_some(usual)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: (usize, usize) = (90, 72);

    fn bayer() -> Pattern {
        Pattern::new(2, |x, y| x + y).unwrap()
    }

    fn six() -> Pattern {
        let rows = ["GBGGRG", "RGRBGB", "GBGGRG", "GRGGBG", "BGBRGR", "GRGGBG"];
        Pattern::new(6, |x, y| "RGB".find(&rows[y][x..=x]).unwrap()).unwrap()
    }

    /// Light of some places recorded with shot noise through filters that pass 1/gain of it.
    fn recorded(pattern: Pattern, light: impl Fn(f64, f64) -> f64) -> Sensor {
        let mut dice = fastrand::Rng::with_seed(5);
        let gains = [2.0, 1.0, 1.6];
        let samples = (0..SIZE.0 * SIZE.1).map(|i| {
            let (x, y) = (i % SIZE.0, i / SIZE.0);
            let mean = light(x as f64, y as f64) / f64::from(gains[pattern.colour(x, y)]);
            let normal: f64 = (0..12).map(|_| dice.f64()).sum::<f64>() - 6.0;
            (512.0 + mean + normal * (mean + 9.0).sqrt()).round().clamp(0.0, 16383.0) as u16
        });
        Sensor {
            samples: samples.collect(),
            stride: SIZE.0,
            left: 0,
            top: 0,
            width: SIZE.0,
            height: SIZE.1,
            channels: 1,
            pattern: Some(pattern),
            black: [512.0; 4],
            white: 16383.0,
            gains,
            from_srgb: None,
            orientation: 1,
            exposures: 1,
            coded: None,
            flags: Vec::new(),
        }
    }

    /// What a square pixel gets along one side of a Gaussian whose middle lies some pixels away.
    fn share(away: f64, sigma: f64) -> f64 {
        // Abramowitz and Stegun, 7.1.26.
        let erf = |x: f64| {
            let t = 1.0 / (1.0 + 0.327_591_1 * x.abs());
            let terms = [1.061_405_429, -1.453_152_027, 1.421_413_741, -0.284_496_736, 0.254_829_592];
            let sum = terms.into_iter().fold(0.0, |sum, k| (sum + k) * t);
            (1.0 - sum * (-x * x).exp()).copysign(x)
        };
        let edge = |at: f64| erf(at / sigma / 2_f64.sqrt());
        (edge(away + 0.5) - edge(away - 0.5)) / 2.0
    }

    #[test]
    fn hot_and_dead_sites_of_every_colour_are_mended() {
        for pattern in [bayer(), six()] {
            let mut sensor = recorded(pattern, |x, y| 3000.0 + 20.0 * x + 10.0 * y);
            let whole = sensor.clone();
            let mut count = 0;
            for (x, y) in (0..12).flat_map(|i| (0..9).map(move |j| (3 + 7 * i, 3 + 7 * j))) {
                sensor.samples[y * SIZE.0 + x] = [16383, 9000, 0][(x + y) % 3];
                count += 1;
            }
            let mended = mend(&mut sensor);
            assert!(mended <= count && mended * 20 >= count * 19, "{mended} of {count}");
            // What is put there lies within the slope over three sites and five deviations of the noise of two.
            let far = |(got, want): &(&u16, &u16)| f64::from(got.abs_diff(**want)) > 90.0 + 7.0 * 70.0;
            assert_eq!(sensor.samples.iter().zip(&whole.samples).filter(far).count(), count - mended);
        }
    }

    /// No lens is sharper than a spread of 0.3 px (a Gaussian over square pixels, in closed form), and cameras see stars.
    #[test]
    fn points_that_a_lens_draws_stay() {
        for (pattern, sigma) in [(bayer(), 0.3), (bayer(), 0.6), (six(), 0.3), (six(), 0.6)] {
            let star = |x: f64, y: f64| share(x.rem_euclid(9.0) - 4.0, sigma) * share(y.rem_euclid(9.0) - 4.0, sigma);
            let sensor = recorded(pattern, |x, y| 200.0 + 9000.0 * star(x, y));
            let mended = mend(&mut sensor.clone());
            assert!(mended * 10 <= SIZE.0 * SIZE.1 / 81, "{mended} of {} stars at {sigma}", SIZE.0 * SIZE.1 / 81);
        }
    }

    /// Texture as fine as a sharp lens draws it, edges, lines and noise alone.
    #[test]
    fn what_is_no_outlier_stays() {
        let mut dice = fastrand::Rng::with_seed(7);
        let random: Vec<f64> = (0..SIZE.0 * SIZE.1).map(|_| dice.f64()).collect();
        // Points of light of every strength all over, drawn with a spread of 0.4 px.
        let at = |x: f64, y: f64| -> f64 {
            let places = (-2..3).flat_map(|j| (-2..3).map(move |i| (i, j)));
            let one = |(i, j): (i32, i32)| {
                let (px, py) = ((x as i32 + i).rem_euclid(SIZE.0 as i32), (y as i32 + j).rem_euclid(SIZE.1 as i32));
                random[py as usize * SIZE.0 + px as usize].powi(4) * share(i.into(), 0.4) * share(j.into(), 0.4)
            };
            places.map(one).sum()
        };
        let scenes: [&dyn Fn(f64, f64) -> f64; 5] = [
            &|_, _| 1000.0,
            &|_, _| 0.0,
            &|x, y| 9000.0 * at(x, y),
            &|x, y| if x + 0.3 * y > 50.0 { 9000.0 } else { 300.0 },
            &|x, _| if x == 30.0 { 9000.0 } else { 300.0 },
        ];
        for (i, scene) in scenes.into_iter().enumerate() {
            for pattern in [bayer(), six()] {
                let sensor = recorded(pattern, scene);
                let mut mended = sensor.clone();
                assert_eq!((mend(&mut mended), i), (0, i));
                assert!(mended == sensor);
            }
        }
    }
}
