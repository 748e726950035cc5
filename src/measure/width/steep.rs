//! How steep a patch's gradients are at one scale: how many are strong, how wide the steepest places are and what they look like.

use multiversion::multiversion;

use super::loops::{Gradients, SIDE};
use super::rings::{BORDERS, RINGS};

/// Scales at which gradients are looked at. Chosen: the patch as it is, smoothed by the binomial 1 4 6 4 1 (sigma 1
/// px), and twice more after halving (sigma 2.2 and 4.6 px).
pub(super) const SCALES: usize = 4;
/// Cells along a side at each scale. Chosen: cells (12, 12, 8 and 6 samples of the scale) larger than the edges that
/// are still narrow there.
pub(super) const CELLS: [usize; SCALES] = [8, 8, 6, 4];
/// Most cells at a scale. Derived: eight a side.
const MOST_CELLS: usize = 64;
/// Scales at which the profiles of steep places are told. Chosen: full size, and where wide spreads end.
pub(super) const PROFILES: [usize; 2] = [0, 2];
/// How far from a steep place its profile is followed, samples of the scale. Chosen: beyond, the next edge begins; the
/// network is trained on this.
pub(super) const REACH: usize = 6;
/// Samples of a profile. Derived: the reach to either side and the place itself.
pub(super) const PROFILE: usize = 2 * REACH + 1;
/// Range of brightness, in standard deviations of white noise, from which a cell holds something. Chosen: 144 samples
/// of noise span five or six.
const LIVELY: f64 = 6.0;

/// What is seen of the gradients at one scale, in relative luminance a sample.
#[derive(Clone, Debug, Default)]
pub(super) struct Steepness {
    /// Mean squares along x and y, and mean product.
    pub xx: f64,
    pub yy: f64,
    pub xy: f64,
    /// 90th and 99th percentile of the magnitude.
    pub p90: f64,
    pub p99: f64,
    /// Share of the cells that hold something.
    pub lively: f64,
    /// Width of the steepest place of a lively cell, samples: its range of brightness over the gradient there, which is how wide
    /// the steepest edge is at most; three quantiles of it over the cells ([`WIDTHS`]), `None` where no cell is lively.
    pub widths: Option<[f32; 3]>,
    /// Medians over the lively cells of the brightness along the gradient through the steepest place from dark to bright, less
    /// that in the middle, over the profile's own range; zeros where no cell is lively and at scales not among [`PROFILES`].
    pub profile: [f32; PROFILE],
    /// Means of the same over the quarter of the lively cells whose steepest places are narrowest: the crispest edges alone.
    pub crisp: [f32; PROFILE],
}

/// Quantiles of the widths. Chosen: the steepest, most and half; the network is trained on these.
const WIDTHS: [f64; 3] = [0.05, 0.25, 0.5];

/// Share of the lively cells whose edges count as crisp. Chosen: a quarter, of up to sixteen edges.
const CRISP: f64 = 0.25;

/// Buffers for one scale, whose pictures have sides of `N` samples.
pub(super) struct Scale<const N: usize> {
    gradients: Gradients<N>,
    across: usize,
    profiles: bool,
}

impl<const N: usize> Scale<N> {
    /// `scale`: its place among [`SCALES`].
    pub(super) fn new(scale: usize) -> Self {
        let across = CELLS[scale];
        Self { gradients: Gradients::new(across), across, profiles: PROFILES.contains(&scale) }
    }

    /// Looks at a picture's gradients; `white`: standard deviation of white noise in the picture as it is.
    pub(super) fn of(&mut self, values: &[[f32; N]], white: f64) -> Steepness {
        self.gradients.of(values);
        let mut cells =
            Cells { lively: 0, steepest: 0.0, widths: [0.0; MOST_CELLS], profiles: [[0.0; MOST_CELLS]; PROFILE] };
        gather(self, values, (LIVELY * white) as f32, &mut cells);
        let Cells { lively, steepest, .. } = cells;
        let mut sorted = cells.widths;
        let sorted = &mut sorted[..lively];
        sorted.sort_unstable_by(f32::total_cmp);
        let quantile = |share: f64| sorted[((lively as f64 * share) as usize).min(lively - 1)];
        let (mut profile, mut crisp) = ([0.0; PROFILE], [0.0; PROFILE]);
        if lively > 0 && self.profiles {
            let widest = quantile(CRISP);
            let chosen = || (0..lively).filter(|&k| cells.widths[k] <= widest);
            let count = chosen().count() as f32;
            for (v, list) in crisp.iter_mut().zip(&cells.profiles) {
                *v = chosen().map(|k| list[k]).sum::<f32>() / count;
            }
            for (v, list) in profile.iter_mut().zip(&mut cells.profiles) {
                *v = *list[..lively].select_nth_unstable_by(lively / 2, f32::total_cmp).1;
            }
        }
        let n = ((N - 1) * (N - 1)) as f64;
        let [xx, yy, xy] = self.gradients.sums.map(|sum| sum / n);
        let [p90, p99] = percentiles(&self.gradients.squares, steepest, [0.9, 0.99]);
        Steepness {
            xx,
            yy,
            xy,
            p90,
            p99,
            lively: lively as f64 / (self.across * self.across) as f64,
            widths: (lively > 0).then(|| WIDTHS.map(quantile)),
            profile,
            crisp,
        }
    }

    /// Where a cell's greatest square is, the first of equals; its first place where all are zero.
    #[inline(always)]
    fn place(
        &self,
        most: &[f32; N],
        square: f32,
        columns: std::ops::Range<usize>,
        rows: std::ops::Range<usize>,
    ) -> (usize, usize) {
        let (squares, first) = (&self.gradients.squares, (columns.start, rows.start));
        let found = columns
            .filter(|&x| most[x] == square)
            .filter_map(|x| rows.clone().find(|&y| squares[y][x] == square).map(|y| (y, x)))
            .min();
        found.map_or(first, |(y, x)| (x, y))
    }
}

/// What is gathered from the cells: how many are lively, and of these the widths and the profiles.
struct Cells {
    lively: usize,
    /// Greatest square of all cells.
    steepest: f32,
    widths: [f32; MOST_CELLS],
    /// Sample by sample of a profile.
    profiles: [[f32; MOST_CELLS]; PROFILE],
}

/// Looks at each cell; `least`: the range of brightness beyond which it holds something.
#[multiversion(targets("x86_64+avx2"))]
fn gather<const N: usize>(scale: &Scale<N>, values: &[[f32; N]], least: f32, cells: &mut Cells) {
    let cell = N / scale.across;
    // Comparisons, unlike `min` and `max`, need no care for what is no number.
    let least_of = |v: &[f32]| v.iter().fold(f32::MAX, |a, &b| if b < a { b } else { a });
    let most_of = |v: &[f32]| v.iter().fold(f32::MIN, |a, &b| if b > a { b } else { a });
    for (band, [low, high, most]) in scale.gradients.bands.iter().enumerate() {
        for from in (0..N).step_by(cell) {
            // The last column has no step to the next.
            let (here, steps) = (from..from + cell, from..(from + cell).min(N - 1));
            let (low, high) = (least_of(&low[here.clone()]), most_of(&high[here]));
            let square = most_of(&most[steps.clone()]);
            cells.steepest = if square > cells.steepest { square } else { cells.steepest };
            if high - low <= least {
                continue;
            }
            if scale.profiles {
                let rows = band * cell..((band + 1) * cell).min(N - 1);
                let (x, y) = scale.place(most, square, steps, rows);
                for (list, v) in cells.profiles.iter_mut().zip(profile(values, x, y)) {
                    list[cells.lively] = v;
                }
            }
            cells.widths[cells.lively] = ((high - low) / (square.sqrt() + 1e-9)).max(0.05);
            cells.lively += 1;
        }
    }
}

/// Brightness along the gradient through the middle of the four samples at (x, y), from dark to bright.
#[inline(always)]
fn profile<const N: usize>(values: &[[f32; N]], x: usize, y: usize) -> [f32; PROFILE] {
    // Some more samples than are wanted, so that they fill registers.
    const ROOM: usize = 16;
    let at = |x: usize, y: usize| values[y][x];
    let (x1, y1) = (x + 1, y + 1);
    let gx = at(x1, y) - at(x, y) + at(x1, y1) - at(x, y1);
    let gy = at(x, y1) - at(x, y) + at(x1, y1) - at(x1, y);
    let length = (gx * gx + gy * gy).sqrt().max(1e-12);
    let (dx, dy) = (gx / length, gy / length);
    let (x, y, last) = (x as f32 + 0.5, y as f32 + 0.5, N as f32 - 1.001);
    let inside = |v: f32| {
        let v = if v > 0.0 { v } else { 0.0 };
        if v < last { v } else { last }
    };
    // Where in the picture, and how far between its samples.
    let (mut u, mut v, mut places) = ([0.0_f32; ROOM], [0.0_f32; ROOM], [0_i32; ROOM]);
    for k in 0..ROOM {
        let t = k as f32 - REACH as f32;
        let (px, py) = (inside(x + t * dx), inside(y + t * dy));
        let (i, j) = (px as i32, py as i32);
        (u[k], v[k], places[k]) = (px - i as f32, py - j as f32, j * N as i32 + i);
    }
    let flat = values.as_flattened();
    let mut corners = [[0.0_f32; ROOM]; 4];
    for k in 0..PROFILE {
        let Some(four) = flat.get(places[k] as usize..).and_then(|v| v.get(..N + 2)) else { break };
        (corners[0][k], corners[1][k], corners[2][k], corners[3][k]) = (four[0], four[1], four[N], four[N + 1]);
    }
    let mut out = [0.0_f32; ROOM];
    for k in 0..ROOM {
        let above = corners[0][k] + u[k] * (corners[1][k] - corners[0][k]);
        let below = corners[2][k] + u[k] * (corners[3][k] - corners[2][k]);
        out[k] = above + v[k] * (below - above);
    }
    let mut profile = [0.0; PROFILE];
    profile.copy_from_slice(&out[..PROFILE]);
    let (mut low, mut high) = (f32::MAX, f32::MIN);
    for v in profile {
        (low, high) = (if v < low { v } else { low }, if v > high { v } else { high });
    }
    let (middle, per) = (profile[REACH], 1.0 / (high - low).max(1e-9));
    profile.map(|v| (v - middle) * per)
}

/// Trailing bits of a positive float that a bin leaves out. Chosen: its exponent and five bits of its fraction remain,
/// 3 % of a square a bin.
const SHIFT: u32 = 18;
/// Bins counted at a time. Chosen: 32 octaves of squares, in which both percentiles of nearly every patch lie.
const BINS: usize = 1 << 10;
/// How far below the highest bin of interest the first one is. Derived: the last is left to what lies above.
const ROOM: u32 = BINS as u32 - 2;

/// How many squares lie in each of the bins from one on (to be added up), the zeros of the last column among them; those below
/// are counted in the first, those above in the last.
#[multiversion(targets("x86_64+avx2"))]
fn counts<const N: usize>(squares: &[[f32; N]], first: u32) -> [[u16; BINS]; 2] {
    // Two tables, since adding to a count waits for what was added to it before.
    let mut counts = [[0_u16; BINS]; 2];
    for row in &squares[..N - 1] {
        let mut bins = [0_u16; N];
        for i in 0..N {
            bins[i] = ((row[i].to_bits() >> SHIFT).saturating_sub(first)).min(BINS as u32 - 1) as u16;
        }
        for four in bins.as_chunks::<4>().0 {
            for (k, bin) in four.iter().enumerate() {
                counts[k % 2][usize::from(*bin) % BINS] += 1;
            }
        }
    }
    counts
}

/// Percentiles of the gradients' magnitude, the square of the largest being `most`, from a histogram over the leading bits of
/// their squares.
fn percentiles<const N: usize>(squares: &[[f32; N]], most: f32, shares: [f64; 2]) -> [f64; 2] {
    let total = ((N - 1) * (N - 1)) as f64;
    let highest = most.to_bits() >> SHIFT;
    let mut first = highest.saturating_sub(ROOM);
    let mut out = [0.0; 2];
    let mut found = [false; 2];
    // From above, where both lie: the lowest bin that still has less than the wanted number below it.
    let mut above = 0.0;
    let mut from = highest;
    loop {
        let counts = counts(squares, first);
        let lowest = if first == 0 { 0 } else { first + 1 };
        for bin in (lowest..=from).rev() {
            let at = (bin - first) as usize;
            let mut count = f64::from(counts[0][at] + counts[1][at]);
            if bin == 0 {
                // The last column's zeros.
                count -= (N - 1) as f64;
            }
            if count <= 0.0 {
                continue;
            }
            above += count;
            let below = total - above;
            for k in 0..2 {
                let wanted = shares[k] * total;
                if !found[k] && below < wanted {
                    let low = f64::from(f32::from_bits(bin << SHIFT));
                    let high = f64::from(f32::from_bits((bin + 1) << SHIFT));
                    (out[k], found[k]) = ((low + (high - low) * (wanted - below) / count).sqrt(), true);
                }
            }
            if found == [true; 2] {
                return out;
            }
        }
        if first == 0 {
            return out;
        }
        (from, first) = (first, first.saturating_sub(ROOM));
    }
}

/// Mean squared gradient that noise of unit power in a ring makes at each scale; what lies beyond the last ring goes with it,
/// what lies below the first with that.
pub(super) fn noise_gradients() -> [[f64; RINGS]; SCALES] {
    const FINE: usize = 2 * SIDE;
    let tau = std::f64::consts::TAU;
    let frequency = |k: usize| (if k > FINE / 2 { k as f64 - FINE as f64 } else { k as f64 }) / FINE as f64;
    // Along one axis: what the binomials before a scale leave of a frequency, squared, and the power of a difference there.
    let axis: Vec<[(f64, f64); SCALES]> = (0..FINE)
        .map(|k| {
            let (mut smooth, mut step) = (1.0, 1.0);
            std::array::from_fn(|scale| {
                if scale > 1 {
                    step *= 2.0;
                }
                if scale > 0 {
                    smooth *= (0.5 + 0.5 * (tau * frequency(k) * step).cos()).powi(4);
                }
                (smooth, 4.0 * (tau / 2.0 * frequency(k) * step).sin().powi(2))
            })
        })
        .collect();
    let mut out = [[0.0; RINGS]; SCALES];
    for (i, along) in axis.iter().enumerate() {
        for (j, down) in axis.iter().enumerate() {
            let away = frequency(i).hypot(frequency(j));
            let ring = BORDERS.partition_point(|&border| f64::from(border) <= away).clamp(1, RINGS) - 1;
            for (out, (x, y)) in out.iter_mut().zip(along.iter().zip(down)) {
                out[ring] += x.0 * y.0 * (x.1 + y.1) / (FINE * FINE) as f64;
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the values sorted: a bin is 3 % of a square wide, of a magnitude half of that.
    #[test]
    fn percentiles_are_those_of_the_sorted_values() {
        let mut dice = fastrand::Rng::with_seed(7);
        for spread in [1.0_f32, 60.0] {
            let mut squares = vec![[0.0_f32; 48]; 48];
            squares[..47].iter_mut().flat_map(|row| &mut row[..47]).for_each(|v| *v = (-spread * dice.f32()).exp());
            let mut sorted: Vec<f32> = squares[..47].iter().flat_map(|row| &row[..47]).copied().collect();
            sorted.sort_by(f32::total_cmp);
            let most = sorted[sorted.len() - 1];
            for (k, found) in percentiles(&squares, most, [0.9, 0.99]).into_iter().enumerate() {
                let expected = f64::from(sorted[(sorted.len() as f64 * [0.9, 0.99][k]) as usize]).sqrt();
                assert!((found / expected - 1.0).abs() < 0.03, "{found} for {expected}");
            }
            // Where a single value towers over the others, they are found all the same.
            squares[3][3] = 1e12;
            let found = percentiles(&squares, 1e12, [0.5, 0.9]);
            for (found, share) in found.into_iter().zip([0.5, 0.9]) {
                let expected = f64::from(sorted[(sorted.len() as f64 * share) as usize]).sqrt();
                assert!((found / expected - 1.0).abs() < 0.05, "{found} for {expected}");
            }
        }
        assert_eq!(percentiles(&[[0.0; 24]; 24], 0.0, [0.9, 0.99]).map(|v| v < 1e-18), [true; 2]);
    }
}
