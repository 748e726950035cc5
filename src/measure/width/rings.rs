//! The power of a patch by rings of frequency, and how it lies between directions.

use std::sync::{Arc, LazyLock};

use multiversion::multiversion;
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

use super::loops::{SIDE, windowed};

/// Complex numbers that hold a row's samples. Derived: half a side, two samples each.
const HALF: usize = SIDE / 2;
/// Rings of frequency, and their borders in cycles a pixel. Chosen: fine steps where wide spreads end, even ones up to
/// Nyquist; the network is trained on these.
pub(super) const RINGS: usize = 20;
pub(super) const BORDERS: [f32; RINGS + 1] = [
    0.015, 0.03, 0.045, 0.06, 0.075, 0.09, 0.105, 0.12, 0.14, 0.17, 0.2, 0.23, 0.26, 0.29, 0.32, 0.35, 0.38, 0.41,
    0.44, 0.47, 0.5,
];
/// Groups of rings over which power is compared between directions: how many, first ring of each and the end. Chosen:
/// groups as wide as their centre's octave or so; the network is trained on these.
pub(super) const SECTORS: usize = 8;
const SECTOR_STARTS: [usize; SECTORS + 1] = [0, 2, 4, 7, 10, 12, 14, 17, RINGS];

/// Middle of a ring, cycles a pixel.
pub(super) fn middle(ring: usize) -> f64 {
    f64::from(BORDERS[ring] + BORDERS[ring + 1]) / 2.0
}

/// What is seen of a patch's spectrum.
#[derive(Clone, Debug, Default)]
pub(super) struct Seen {
    /// Variance about the best plane.
    pub variance: f64,
    /// Mean power of each ring, scaled so that white noise reads its variance.
    pub power: [f64; RINGS],
    /// Sums of power weighted by the cosine and sine of twice the direction, over those of power, for each group of rings.
    pub sectors: [(f64, f64); SECTORS],
}

/// The frequencies of a quarter of the plane that belong to a ring, [`ABREAST`] at a time, made up with such as have no weight.
#[derive(Default)]
struct Ring {
    /// Where they are, column by column.
    at: Vec<[u16; ABREAST]>,
    /// Their weights (how many frequencies of the plane each stands for, over two), and these times the cosine and sine of twice
    /// the direction.
    weights: Vec<[[f32; ABREAST]; 3]>,
    /// How many frequencies of the plane there are in it.
    total: f32,
}

/// Sums that run beside each other. Chosen: as many as there are in the narrowest of wide registers.
const ABREAST: usize = 4;

/// What is the same for all patches.
struct Tables {
    /// Transforms of a row, two samples a number, and of a column.
    rows: Arc<dyn Fft<f32>>,
    columns: Arc<dyn Fft<f32>>,
    /// The window, scaled so that white noise keeps its variance.
    window: [f32; SIDE],
    rings: Vec<Ring>,
    /// e^(-2 pi i k / SIDE).
    turns: [Complex32; HALF / 2 + 1],
}

static TABLES: LazyLock<Tables> = LazyLock::new(|| {
    let mut planner = FftPlanner::<f32>::new();
    let mut rings: Vec<Vec<(u16, [f32; 3])>> = vec![Vec::new(); RINGS];
    for kx in 0..HALF {
        for ky in 0..HALF {
            let (x, y) = (kx as f32 / SIDE as f32, ky as f32 / SIDE as f32);
            let ring = BORDERS.partition_point(|&border| border <= x.hypot(y));
            if (1..=RINGS).contains(&ring) {
                let twice = 2.0 * y.atan2(x);
                // A frequency of the axes is its own mirror image about one of them, and was added to itself.
                let weight = if kx == 0 { 1.0 } else { 2.0 } * if ky == 0 { 0.5 } else { 1.0 };
                let weights = [weight, weight * twice.cos(), weight * twice.sin()];
                rings[ring - 1].push(((kx * HALF + ky) as u16, weights));
            }
        }
    }
    Tables {
        rows: planner.plan_fft_forward(HALF),
        columns: planner.plan_fft_forward(SIDE),
        window: window(),
        rings: rings.iter().map(|frequencies| Ring::of(frequencies)).collect(),
        turns: std::array::from_fn(|k| {
            let angle = std::f64::consts::TAU * k as f64 / SIDE as f64;
            Complex32::new(angle.cos() as f32, -angle.sin() as f32)
        }),
    }
});

/// Share of a side over which the window rises, and over which it falls. Chosen: von Hann's window, whose ramps meet,
/// leaves hardly half as much of a patch to be seen; trained with either, this one tells more tiles.
const RAMP: f32 = 0.25;

/// Tukey's window (cosine ramps, level between them), scaled so that the mean of its squares is one.
fn window() -> [f32; SIDE] {
    let raw: [f32; SIDE] = std::array::from_fn(|i| {
        let at = (i as f32 + 0.5) / SIDE as f32;
        let from_border = at.min(1.0 - at) / RAMP;
        (std::f32::consts::FRAC_PI_2 * from_border.min(1.0)).sin().powi(2)
    });
    let square = raw.iter().map(|v| v * v).sum::<f32>() / SIDE as f32;
    raw.map(|v| v / square.sqrt())
}

/// Sums and differences of the powers of frequencies that mirror each other about the x axis, column by column.
struct Folded {
    sums: Vec<[f32; HALF]>,
    differences: Vec<[f32; HALF]>,
}

/// Buffers for the spectra of patches; one a thread.
pub(super) struct Spectrum {
    packed: Vec<[Complex32; HALF]>,
    columns: Vec<[Complex32; SIDE]>,
    scratch: Vec<Complex32>,
    folded: Folded,
}

impl Spectrum {
    pub(super) fn new() -> Self {
        let scratch = TABLES.rows.get_inplace_scratch_len().max(TABLES.columns.get_inplace_scratch_len());
        // One column more than frequencies below the limit: the limit's own goes into it.
        let none = || vec![[0.0; HALF]; HALF + 1];
        Self {
            packed: vec![[Complex32::default(); HALF]; SIDE],
            columns: vec![[Complex32::default(); SIDE]; HALF],
            scratch: vec![Complex32::default(); scratch],
            folded: Folded { sums: none(), differences: none() },
        }
    }

    /// Variance of a patch about the plane given, power by rings and by directions.
    pub(super) fn of(&mut self, patch: &[[f32; SIDE]], level: f32, slopes: (f32, f32)) -> Seen {
        let tables = &*TABLES;
        let variance = windowed(patch, level, slopes, &tables.window, &mut self.packed);
        tables.rows.process_with_scratch(self.packed.as_flattened_mut(), &mut self.scratch);
        transpose(&self.packed, &mut self.columns);
        tables.columns.process_with_scratch(self.columns.as_flattened_mut(), &mut self.scratch);
        fold(&self.columns, &tables.turns, &mut self.folded);
        let mut seen = Seen { variance, ..Seen::default() };
        let mut sums = [(0.0_f64, 0.0_f64, 0.0_f64); RINGS];
        for ((ring, power), sums) in tables.rings.iter().zip(&mut seen.power).zip(&mut sums) {
            let [sum, cos, sin] = ring.sums(&self.folded);
            *power = f64::from(sum / ring.total);
            // Rings count alike in a group, or the lowest would say it all.
            *sums = (f64::from(cos / ring.total), f64::from(sin / ring.total), *power);
        }
        for (k, sector) in seen.sectors.iter_mut().enumerate() {
            let group = SECTOR_STARTS[k]..SECTOR_STARTS[k + 1];
            let n = group.len() as f64;
            let over = |part: &dyn Fn(&(f64, f64, f64)) -> f64| {
                sums[group.clone()].iter().map(|s| part(s) / s.2.max(1e-20)).sum::<f64>() / n
            };
            *sector = (over(&|s| s.0), over(&|s| s.1));
        }
        seen
    }
}

impl Ring {
    /// From places and weights.
    fn of(frequencies: &[(u16, [f32; 3])]) -> Self {
        let mut ring = Self::default();
        for some in frequencies.chunks(ABREAST) {
            let one = |lane: usize| some.get(lane).copied().unwrap_or_default();
            ring.at.push(std::array::from_fn(|lane| one(lane).0));
            ring.weights.push(std::array::from_fn(|k| std::array::from_fn(|lane| one(lane).1[k])));
            some.iter().for_each(|(_, [weight, ..])| ring.total += 2.0 * weight);
        }
        ring
    }

    /// Power of its frequencies times their weights, all together.
    fn sums(&self, folded: &Folded) -> [f32; 3] {
        let (sums, differences) = (folded.sums.as_flattened(), folded.differences.as_flattened());
        let mut totals = [[0.0_f32; ABREAST]; 3];
        for (at, weights) in self.at.iter().zip(&self.weights) {
            let (sum, difference) = (at.map(|at| sums[usize::from(at)]), at.map(|at| differences[usize::from(at)]));
            for (k, power) in [sum, sum, difference].iter().enumerate() {
                for lane in 0..ABREAST {
                    totals[k][lane] += power[lane] * weights[k][lane];
                }
            }
        }
        totals.map(|t| (t[0] + t[1]) + (t[2] + t[3]))
    }
}

/// Columns of what has rows, a block at a time.
fn transpose(rows: &[[Complex32; HALF]], columns: &mut [[Complex32; SIDE]]) {
    const BLOCK: usize = 8;
    for (b, rows) in rows.chunks_exact(BLOCK).enumerate() {
        for (k, column) in columns.iter_mut().enumerate() {
            for (j, row) in rows.iter().enumerate() {
                column[b * BLOCK + j] = row[k];
            }
        }
    }
}

/// Real and imaginary parts of a column, apart.
#[inline(always)]
fn parts(column: &[Complex32; SIDE]) -> [[f32; SIDE]; 2] {
    let mut out = [[0.0; SIDE]; 2];
    for (i, v) in column.iter().enumerate() {
        out[0][i] = v.re;
        out[1][i] = v.im;
    }
    out
}

/// The values of the opposite frequencies of a column.
#[inline(always)]
fn opposite(values: &[f32; SIDE]) -> [f32; SIDE] {
    let mut out = *values;
    for i in 1..SIDE {
        out[i] = values[SIDE - i];
    }
    out
}

/// Powers of a real picture's frequencies from the transform of its samples taken two by two as complex numbers.
///
/// With Z that transform, E = (Z(k) + Z*(-k)) / 2 and O = (Z(k) - Z*(-k)) / 2i belong to the even and the odd samples of the rows;
/// the spectrum is E + t O at kx and E - t O at kx + SIDE / 2, the conjugate of what is at the opposite of SIDE / 2 - kx.
#[multiversion(targets("x86_64+avx2"))]
fn fold(columns: &[[Complex32; SIDE]], turns: &[Complex32; HALF / 2 + 1], out: &mut Folded) {
    for (kx, turn) in turns.iter().enumerate() {
        let [ar, ai] = parts(&columns[kx]);
        let [br, bi] = parts(&columns[(HALF - kx) % HALF]).map(|v| opposite(&v));
        let (mut near, mut far) = ([0.0_f32; SIDE], [0.0_f32; SIDE]);
        for i in 0..SIDE {
            let (er, ei) = (0.5 * (ar[i] + br[i]), 0.5 * (ai[i] - bi[i]));
            let (or, oi) = (0.5 * (ai[i] + bi[i]), 0.5 * (br[i] - ar[i]));
            let (tr, ti) = (turn.re * or - turn.im * oi, turn.re * oi + turn.im * or);
            near[i] = (er + tr) * (er + tr) + (ei + ti) * (ei + ti);
            far[i] = (er - tr) * (er - tr) + (ei - ti) * (ei - ti);
        }
        for (k, power, other) in [(kx, near, opposite(&near)), (HALF - kx, opposite(&far), far)] {
            let (sums, differences) = (&mut out.sums[k], &mut out.differences[k]);
            for i in 0..HALF {
                sums[i] = power[i] + other[i];
                differences[i] = power[i] - other[i];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The discrete Fourier transform as it is defined, in double precision.
    #[test]
    fn powers_are_those_of_the_transform_as_defined() {
        let mut dice = fastrand::Rng::with_seed(5);
        let patch: Vec<[f32; SIDE]> = (0..SIDE).map(|_| std::array::from_fn(|_| dice.f32() - 0.5)).collect();
        let mut spectrum = Spectrum::new();
        spectrum.of(&patch, 0.0, (0.0, 0.0));
        let window = &TABLES.window;
        let power = |kx: usize, ky: i32| {
            let (mut re, mut im) = (0.0_f64, 0.0_f64);
            for (y, row) in patch.iter().enumerate() {
                for (x, v) in row.iter().enumerate() {
                    let turns = (kx * x) as f64 / SIDE as f64 + f64::from(ky) * y as f64 / SIDE as f64;
                    let v = f64::from(*v) * f64::from(window[x]) * f64::from(window[y]) / SIDE as f64;
                    let (sin, cos) = (std::f64::consts::TAU * turns).sin_cos();
                    (re, im) = (re + v * cos, im - v * sin);
                }
            }
            re * re + im * im
        };
        for (kx, ky) in [(0, 0), (0, 7), (1, 0), (3, 5), (11, 40), (24, 24), (24, 3), (25, 9), (40, 2), (47, 47)] {
            let (one, other) = (power(kx, ky), power(kx, -ky));
            let found = (spectrum.folded.sums[kx][ky as usize], spectrum.folded.differences[kx][ky as usize]);
            assert!((f64::from(found.0) - (one + other)).abs() < 1e-5, "({kx}, {ky}): {found:?} for {one}, {other}");
            assert!((f64::from(found.1) - (one - other)).abs() < 1e-5, "({kx}, {ky}): {found:?} for {one}, {other}");
        }
    }
}
