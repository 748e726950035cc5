//! Whether a rendered picture was enlarged after it was taken: interpolation makes the roughness of a picture vary with
//! the places of the old pixels among the new, row by row and column by column with one period (Gallagher, Detection of
//! linear and cubic interpolation in JPEG compressed images, Canadian Conference on Computer and Robot Vision 2005), and
//! leaves nothing near the new pixels' own limit.
//!
//! Enlarged by just two, all new pixels lie a quarter of an old one from an old one, and are alike rough. But two that lie on both
//! sides of an old one differ less than two with the middle between old ones between them (derived: by linear interpolation their
//! differences are a quarter of that between the old pixels before and behind, and half of that between two neighbours).

use multiversion::multiversion;
use realfft::RealFftPlanner;

use crate::shot::{Mosaic, Plane};

/// Greatest side, px, of the middle of the picture that is looked at, and the least that tells. Chosen: long enough for
/// a line to stand out, short enough to be quick.
const MOST: usize = 2048;
const LEAST: usize = 512;
/// How many times its surroundings a line of the spectrum must reach along both axes. Set on 31 photographs and their
/// copies enlarged 1.25 to 2 times: of untouched ones none has a line of 5 at one frequency along both.
const STANDS: f64 = 5.0;
/// Lowest frequency looked at, cycles a pixel. Chosen: below, content has periods of its own.
const LOWEST: f64 = 0.1;
/// How close the lines of both axes must lie, and how far from the multiples that a JPEG's blocks leave, cycles a
/// pixel; and how far a line must stand out at those of a sixteenth. Set on the same pictures: blocks leave multiples
/// of an eighth; those of a sixteenth are left by blocks of colour at half size, and stronger by blocks enlarged twice.
const SAME: f64 = 0.003;
const BLOCKS: f64 = 0.005;
const STANDS_ON_BLOCKS: f64 = 9.0;
/// How much less, as a part, neighbours on both sides of an old pixel must differ. Set on the same pictures and their copies
/// reduced, saved again, sharpened, smoothed and with noise, none of which is below -0.022 along both, and likewise on 53 others.
const DOUBLED: f64 = 0.03;
/// Least fall of the power, dB, from a twentieth of a cycle a pixel to the limit; that of a picture whose roughness
/// varies by so little, as a part, and by how much less it may fall for each doubling of this: interpolation leaves the
/// old pixels' place strongly, reduction, which averages over them, faintly. Set on the same pictures reduced to 0.4 to
/// 0.95 and enlarged 1.25 to 3 times.
const FALL: f64 = 20.0;
const FALL_OF_FAINT: f64 = 28.0;
const FAINT: f64 = 0.02;
const FALL_PER_DOUBLE: f64 = 2.0;

/// Whether a rendered picture shows the traces of an enlargement (by a linear, cubic or Lanczos filter; see the head of this file for
/// the sources).
///
/// Never of a plane from a sensor, nor of one with a side below 512 px. What misleads it: strong compression after the enlargement hides
/// its traces; a picture that was slightly reduced by a linear filter leaves some that are alike (docs/accuracy.md,
/// enlarged pictures).
#[must_use]
pub fn enlarged(plane: &Plane) -> bool {
    if !plane.rendered || plane.mosaic != Mosaic::None || plane.data.len() < plane.width * plane.height {
        return false;
    }
    let (w, h) = (plane.width.min(MOST), plane.height.min(MOST));
    if w < LEAST || h < LEAST {
        return false;
    }
    // A middle that begins with a block of a JPEG.
    let (x0, y0) = ((plane.width - w) / 16 * 8, (plane.height - h) / 16 * 8);
    let root = |y: usize, out: &mut [f32]| roots(&plane.row(y0 + y)[x0..x0 + w], plane.black, out);
    let (mut across, mut down) = (vec![0.0f64; w], vec![0.0f64; h]);
    let [mut apart_across, mut apart_down] = [Apart::default(); 2];
    let mut rows = [(); 4].map(|()| vec![0.0f32; w]);
    for y in 0..h {
        rows.rotate_left(1);
        root(y, &mut rows[3]);
        let [before, above, here, below] = &rows;
        bends(below, &mut across);
        apart_across.row(below);
        if y >= 2 {
            down[y - 1] = bend(above, here, below);
        }
        if y >= 3 {
            apart_down.rows([before, above, here, below], (y - 2) % BLOCK);
        }
    }
    if apart_across.alternates().iter().zip(apart_down.alternates()).any(|(a, d)| a.max(d) < -DOUBLED) {
        return true;
    }
    let (Some(across), Some(down)) = (lines(&across[1..w - 1]), lines(&down[1..h - 1])) else { return false };
    let both = across.iter().flat_map(|a| down.iter().map(move |d| (a, d)));
    let shared = both.filter(|(a, d)| (a.frequency - d.frequency).abs() < SAME).map(|(a, d)| a.varies.min(d.varies));
    let Some(varies) = shared.max_by(f64::total_cmp) else { return false };
    let every_eighth = || {
        (0..h).step_by(8).map(|y| {
            let mut row = vec![0.0; w];
            root(y, &mut row);
            row
        })
    };
    let least = FALL.max(FALL_OF_FAINT - FALL_PER_DOUBLE * (varies / FAINT).log2());
    fall(&every_eighth().collect::<Vec<_>>()).is_some_and(|fall| fall > least)
}

/// Side of a block of a JPEG, px. Published: ITU-T T.81 (1992), A.1.3.
const BLOCK: usize = 8;

/// Squared first and third differences between neighbours along one axis, by where in a block the first of the two lies. Third
/// ones are left by fine detail alone.
#[derive(Clone, Copy, Default)]
struct Apart {
    first: [f64; BLOCK],
    third: [f64; BLOCK],
}

impl Apart {
    /// Adds what lies side by side in a row.
    fn row(&mut self, row: &[f32]) {
        let (mut first, mut third) = ([0.0f32; BLOCK], [0.0f32; BLOCK]);
        apart_in_row(row, &mut first, &mut third);
        self.first.iter_mut().zip(first).for_each(|(sum, v)| *sum += f64::from(v));
        self.third.iter_mut().zip(third).for_each(|(sum, v)| *sum += f64::from(v));
    }

    /// Adds the second and third of four rows, one below the other.
    fn rows(&mut self, rows: [&[f32]; 4], place: usize) {
        let (mut first, mut third) = ([0.0f32; 8], [0.0f32; 8]);
        apart_of_rows(rows, &mut first, &mut third);
        self.first[place] += f64::from(first.iter().sum::<f32>());
        self.third[place] += f64::from(third.iter().sum::<f32>());
    }

    /// How much more every other pair of neighbours differs than those between, as a part: of first and third differences.
    fn alternates(&self) -> [f64; 2] {
        /// Weights by place in a block. What changes smoothly within it, as a JPEG's errors do, does not enter, nor do the
        /// neighbours across its border (the last of eight). Derived: the sixth difference, over the sum of its weights' sizes.
        const ALTERNATING: [f64; 7] = [1.0, -6.0, 15.0, -20.0, 15.0, -6.0, 1.0];
        [self.first, self.third].map(|energy| {
            let logs = ALTERNATING.iter().zip(energy).map(|(weight, e)| weight * (e + f64::MIN_POSITIVE).ln() / 2.0);
            logs.sum::<f64>() / 64.0
        })
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn apart_in_row(row: &[f32], first: &mut [f32; BLOCK], third: &mut [f32; BLOCK]) {
    // From the second block on, so that there is one before; the last ends two pixels before the row does.
    for here in (BLOCK..row.len().saturating_sub(BLOCK + 1)).step_by(BLOCK) {
        let about = &row[here - 1..here + BLOCK + 2];
        for k in 0..BLOCK {
            let near = about[k + 2] - about[k + 1];
            let far = about[k + 3] - about[k];
            first[k] += near * near;
            third[k] += (far - 3.0 * near) * (far - 3.0 * near);
        }
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn apart_of_rows([before, above, here, below]: [&[f32]; 4], first: &mut [f32; 8], third: &mut [f32; 8]) {
    let (before, above) = (before.as_chunks::<8>().0, above.as_chunks::<8>().0);
    let (here, below) = (here.as_chunks::<8>().0, below.as_chunks::<8>().0);
    for ((a, b), (c, d)) in before.iter().zip(above).zip(here.iter().zip(below)) {
        for k in 0..8 {
            let near = c[k] - b[k];
            let far = d[k] - a[k];
            first[k] += near * near;
            third[k] += (far - 3.0 * near) * (far - 3.0 * near);
        }
    }
}

/// Square roots of levels above black, which even out the tones as the file's own coding does.
#[multiversion(targets("x86_64+avx2"))]
fn roots(row: &[u16], black: u16, out: &mut [f32]) {
    for (o, &v) in out.iter_mut().zip(row) {
        *o = f32::from(v.saturating_sub(black)).sqrt();
    }
}

/// Adds to each column how far its sample departs from the middle of its neighbours in the row, twice over.
#[multiversion(targets("x86_64+avx2"))]
fn bends(row: &[f32], across: &mut [f64]) {
    for ((sum, v), (a, b)) in across[1..].iter_mut().zip(&row[1..]).zip(row.iter().zip(&row[2..])) {
        *sum += f64::from((2.0 * v - a - b).abs());
    }
}

/// The same of a whole row among its neighbours.
#[multiversion(targets("x86_64+avx2"))]
fn bend(above: &[f32], here: &[f32], below: &[f32]) -> f64 {
    let (above, here, below) = (above.as_chunks::<8>(), here.as_chunks::<8>(), below.as_chunks::<8>());
    let mut sums = [0.0_f64; 8];
    for ((v, a), b) in here.0.iter().zip(above.0).zip(below.0) {
        for k in 0..8 {
            sums[k] += f64::from((2.0 * v[k] - a[k] - b[k]).abs());
        }
    }
    let rest = here.1.iter().zip(above.1).zip(below.1);
    sums.iter().sum::<f64>() + rest.map(|((v, a), b)| f64::from((2.0 * v - a - b).abs())).sum::<f64>()
}

/// A frequency, cycles a pixel, at which roughness varies far more than at those beside it, and how much, as a part.
struct Line {
    frequency: f64,
    varies: f64,
}

/// The lines of a roughness along one axis.
fn lines(roughness: &[f64]) -> Option<Vec<Line>> {
    const BESIDE: usize = 16;
    let n = roughness.len();
    let logs: Vec<f64> = roughness.iter().map(|v| (v + 1e-3).ln()).collect();
    // A running mean of 33 takes out the content.
    let smooth = |i: usize| {
        let part = &logs[i.saturating_sub(BESIDE)..(i + BESIDE + 1).min(n)];
        part.iter().sum::<f64>() / part.len() as f64
    };
    let window = |i: usize| 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n as f64).cos();
    let mut signal: Vec<f64> = (0..n).map(|i| (logs[i] - smooth(i)) * window(i)).collect();
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(n);
    let mut spectrum = fft.make_output_vec();
    fft.process(&mut signal, &mut spectrum).ok()?;
    let power: Vec<f64> = spectrum.iter().map(|c| c.norm()).collect();
    // Whether it is more than so many times the median of those about it: more than half of them are less than a part of it.
    let above = |i: usize, times: f64| {
        let about = &power[i.saturating_sub(60)..(i + 60).min(power.len())];
        about.iter().filter(|&&v| times * v < power[i]).count() > about.len() / 2
    };
    let frequency = |i: usize| i as f64 / n as f64;
    let on = |f: f64, parts: f64| (parts * f - (parts * f).round()).abs() / parts < BLOCKS;
    let stands = |f: f64| if on(f, 16.0) { STANDS_ON_BLOCKS } else { STANDS };
    let found = (0..power.len())
        .filter(|&i| frequency(i) > LOWEST && !on(frequency(i), 8.0))
        .filter(|&i| above(i, stands(frequency(i))))
        // The window's mean is a half.
        .map(|i| Line { frequency: frequency(i), varies: 4.0 * power[i] / n as f64 });
    Some(found.collect())
}

/// Fall of the power, dB, from a twentieth of a cycle a pixel to the limit, over the roughest stretches of some rows.
fn fall(rows: &[Vec<f32>]) -> Option<f64> {
    const N: usize = 64;
    let stretches = rows.iter().flat_map(|row| row.chunks_exact(N));
    let mut rough: Vec<(f32, &[f32])> =
        stretches.map(|s| (s.windows(2).map(|v| (v[1] - v[0]).abs()).sum::<f32>(), s)).collect();
    rough.sort_by(|a, b| b.0.total_cmp(&a.0));
    rough.truncate((rough.len() / 8).max(1));
    let fft = RealFftPlanner::<f32>::new().plan_fft_forward(N);
    let (mut input, mut output) = (fft.make_input_vec(), fft.make_output_vec());
    let mut power = [0.0f64; N / 2 + 1];
    for (_, stretch) in rough {
        let mean = stretch.iter().sum::<f32>() / N as f32;
        for (i, (o, v)) in input.iter_mut().zip(stretch).enumerate() {
            *o = (v - mean) * (0.5 - 0.5 * (std::f32::consts::TAU * i as f32 / N as f32).cos());
        }
        fft.process(&mut input, &mut output).ok()?;
        power.iter_mut().zip(&output).for_each(|(p, c)| *p += f64::from(c.norm_sqr()));
    }
    let mean = |from: usize, to: usize| power[from..to].iter().sum::<f64>() / (to - from) as f64;
    let (low, end) = (mean(3, 6), mean(N / 2 - 3, N / 2 + 1));
    (low > 0.0 && end > 0.0).then(|| 10.0 * (low / end).log10())
}
