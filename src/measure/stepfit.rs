//! Least squares of one to three parallel steps of one width on a profile, by Levenberg and Marquardt's method. The loop
//! is not that of `stats`: with its sums it is compiled as one piece for wide registers, in single precision.

use multiversion::multiversion;

use super::gaussian_edge::{self, LANES, Lanes};
use super::profile::{Bins, Chunk, Samples};

/// One to three steps blurred alike.
#[derive(Clone, Copy, Debug)]
pub(super) struct Steps {
    /// Level left of everything.
    pub low: f32,
    /// Gaussian-equivalent sigma, px.
    pub sigma: f32,
    /// Height and place of each step, the chosen one first.
    pub steps: [(f32, f32); 3],
    /// How many of them are there.
    pub count: usize,
}

/// What a fit leaves.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fitted {
    /// Weighted mean square misfit of the bins as the scatter of one sample, levels^2.
    pub misfit: f64,
    /// Standard deviation of the width for noise of one level a sample.
    pub unit_sd: f64,
}

/// Distance from a step, sigmas, beyond which nothing of it is left. Derived: the normal law ends there in single precision.
const FAR: f32 = 9.0;

/// How far a fit is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Care {
    /// Until the width is good enough to choose a window by.
    Rough,
    /// Until nothing changes any more.
    Full,
}

impl Care {
    /// Relative fall of the sum of squares from which a step is the last.
    const fn settled(self) -> f64 {
        match self {
            Self::Rough => 5e-2,
            Self::Full => 1e-3,
        }
    }
}

/// Refines the steps on bins; `None` where they don't tell.
pub(super) fn refine(bins: &Bins, steps: &mut Steps, care: Care) -> Option<Fitted> {
    match steps.count {
        1 => marquardt::<4>(bins, steps, care),
        2 => marquardt::<6>(bins, steps, care),
        _ => marquardt::<8>(bins, steps, care),
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn marquardt<const N: usize>(bins: &Bins, steps: &mut Steps, care: Care) -> Option<Fitted> {
    let mut p = [0.0_f32; N];
    p[0] = steps.low;
    p[1] = steps.sigma;
    for k in 0..(N - 2) / 2 {
        (p[2 + 2 * k], p[3 + 2 * k]) = steps.steps[k];
    }
    let mut damping = 1e-3;
    let (mut normal, mut right, mut cost) = equations(bins, &p);
    for _ in 0..12 {
        let mut damped = normal;
        for (i, row) in damped.iter_mut().enumerate() {
            row[i] *= 1.0 + damping;
        }
        let change = solve(damped, right)?;
        let mut trial = p;
        for (t, c) in trial.iter_mut().zip(change) {
            *t += c as f32;
        }
        trial[1] = trial[1].clamp(0.15, 10.0);
        let (n, r, c) = equations(bins, &trial);
        if c.is_finite() && c <= cost {
            let settled = cost - c <= care.settled() * cost;
            p = trial;
            (normal, right, cost) = (n, r, c);
            damping *= 0.2;
            if settled {
                break;
            }
        } else {
            damping *= 8.0;
            if damping > 1e5 {
                break;
            }
        }
    }
    let mut unit = [0.0; N];
    unit[1] = 1.0;
    let variance = solve(normal, unit)?[1];
    steps.low = p[0];
    steps.sigma = p[1];
    for k in 0..(N - 2) / 2 {
        steps.steps[k] = (p[2 + 2 * k], p[3 + 2 * k]);
    }
    let freedom = bins.len().saturating_sub(N).max(1) as f64;
    (variance > 0.0).then(|| Fitted { misfit: cost / freedom, unit_sd: variance.sqrt() })
}

/// Turn (radians) and bend (1/px) by which the chosen step departs from the line that samples were gathered about; `None`
/// where they don't tell.
///
/// One step of Gauss and Newton's from no departure: the step at t = place + shift + turn s + bend s^2 / 2 changes the
/// luminance by minus its slope times that.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn departure(samples: &Samples, steps: &Steps) -> Option<(f32, f32)> {
    const CHANGES: usize = 3;
    let per = 1.0 / steps.sigma;
    let mut normal = [[[0.0_f32; LANES]; CHANGES]; CHANGES];
    let mut right = [[0.0_f32; LANES]; CHANGES];
    let (along, _) = samples.along.as_chunks::<LANES>();
    let (across, _) = samples.across.as_chunks::<LANES>();
    let (values, _) = samples.value.as_chunks::<LANES>();
    for ((s, t), v) in along.iter().zip(across).zip(values) {
        let mut residual = [0.0_f32; LANES];
        let mut slope = [0.0_f32; LANES];
        for l in 0..LANES {
            residual[l] = v[l] - steps.low;
        }
        for (k, &(height, place)) in steps.steps[..steps.count.min(3)].iter().enumerate() {
            for l in 0..LANES {
                let u = ((t[l] - place) * per).clamp(-FAR, FAR);
                let (edge, density) = gaussian_edge::gaussian(u);
                residual[l] -= height * edge;
                // Beyond two sigmas a neighbour's slope or the ground's own shading would speak.
                let steep = if k == 0 && u.abs() < 2.0 { height * density * per } else { 0.0 };
                slope[l] += steep;
            }
        }
        for l in 0..LANES {
            let change = [slope[l], slope[l] * s[l], slope[l] * 0.5 * s[l] * s[l]];
            for i in 0..CHANGES {
                right[i][l] -= change[i] * residual[l];
                for j in 0..=i {
                    normal[i][j][l] += change[i] * change[j];
                }
            }
        }
    }
    let mut sums = ([[0.0; CHANGES]; CHANGES], [0.0; CHANGES]);
    for i in 0..CHANGES {
        for j in 0..=i {
            sums.0[i][j] = total(&normal[i][j]);
        }
        sums.1[i] = total(&right[i]);
    }
    let [_, turn, bend] = solve(sums.0, sums.1)?;
    Some((turn as f32, bend as f32))
}

type Equations<const N: usize> = ([[f64; N]; N], [f64; N], f64);

/// Normal equations and the weighted sum of squares.
#[inline(always)]
fn equations<const N: usize>(bins: &Bins, p: &[f32; N]) -> Equations<N> {
    let mut normal = [[[0.0_f32; LANES]; N]; N];
    let mut right = [[0.0_f32; LANES]; N];
    let mut cost = [0.0_f32; LANES];
    for chunk in bins.chunks() {
        let row = row(&chunk, p);
        for i in 0..N {
            let mut weighed = [0.0_f32; LANES];
            for l in 0..LANES {
                weighed[l] = chunk.samples[l] * row.slopes[i][l];
                right[i][l] += weighed[l] * row.residual[l];
            }
            for j in 0..=i {
                for l in 0..LANES {
                    normal[i][j][l] += weighed[l] * row.slopes[j][l];
                }
            }
        }
        for l in 0..LANES {
            cost[l] += chunk.samples[l] * row.residual[l] * row.residual[l];
        }
    }
    // The lower half is all that `solve` looks at.
    let mut sums = ([[0.0; N]; N], [0.0; N], total(&cost));
    for i in 0..N {
        for j in 0..=i {
            sums.0[i][j] = total(&normal[i][j]);
        }
        sums.1[i] = total(&right[i]);
    }
    sums
}

#[inline(always)]
fn total(lanes: &Lanes) -> f64 {
    // By pairs, as vector registers are halved.
    let mut half = [0.0_f32; LANES / 2];
    for l in 0..LANES / 2 {
        half[l] = lanes[l] + lanes[l + LANES / 2];
    }
    f64::from((half[0] + half[2]) + (half[1] + half[3]))
}

/// The model at several bins.
struct Row<const N: usize> {
    /// Its derivatives by the parameters.
    slopes: [Lanes; N],
    /// What it leaves over.
    residual: Lanes,
}

#[inline(always)]
fn row<const N: usize>(bins: &Chunk, p: &[f32; N]) -> Row<N> {
    let per = 1.0 / p[1];
    let mut row = Row { slopes: [[0.0; LANES]; N], residual: [0.0; LANES] };
    for l in 0..LANES {
        row.slopes[0][l] = 1.0;
        row.residual[l] = bins.value[l] - p[0];
    }
    for k in (2..N).step_by(2) {
        for l in 0..LANES {
            // A neighbour may run away to where its cube would overflow.
            let u = ((bins.place[l] - p[k + 1]) * per).clamp(-FAR, FAR);
            let (edge, slope) = gaussian_edge::gaussian(u);
            let steep = p[k] * slope;
            row.residual[l] -= p[k] * edge;
            row.slopes[1][l] -= steep * per * u;
            row.slopes[k][l] = edge;
            row.slopes[k + 1][l] = -steep * per;
        }
    }
    row
}

/// Solves a symmetric positive system, given by its lower half, by Cholesky's method.
#[inline(always)]
fn solve<const N: usize>(mut a: [[f64; N]; N], mut b: [f64; N]) -> Option<[f64; N]> {
    for i in 0..N {
        for j in 0..=i {
            let mut sum = a[i][j];
            for k in 0..j {
                sum -= a[i][k] * a[j][k];
            }
            if i == j {
                // A parameter that nothing tells makes the matrix singular.
                if !(sum > 1e-9 * a[i][i].abs()) || !sum.is_finite() {
                    return None;
                }
                a[i][i] = sum.sqrt();
            } else {
                a[i][j] = sum / a[j][j];
            }
        }
    }
    for i in 0..N {
        for k in 0..i {
            b[i] -= a[i][k] * b[k];
        }
        b[i] /= a[i][i];
    }
    for i in (0..N).rev() {
        for k in i + 1..N {
            b[i] -= a[k][i] * b[k];
        }
        b[i] /= a[i][i];
    }
    Some(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fitted(edge: impl Fn(f64) -> f64) -> (Steps, Fitted) {
        let mut bins = Bins::default();
        for t in (-20..=20).map(|i| 0.25 * f64::from(i)) {
            bins.push(t as f32, (100.0 + 1000.0 * edge(t)) as f32, 4.0);
        }
        bins.close();
        let mut steps = Steps { low: 90.0, sigma: 1.3, steps: [(950.0, 0.1); 3], count: 1 };
        let fit = refine(&bins, &mut steps, Care::Full).expect("a fit");
        (steps, fit)
    }

    #[test]
    fn a_gaussian_edge_gives_its_width_back() {
        let (steps, _) = fitted(|t| f64::from(gaussian_edge::gaussian(t as f32).0));
        assert!((steps.sigma - 1.0).abs() < 2e-3, "{}", steps.sigma);
    }

    #[test]
    fn a_neighbour_that_is_nowhere_leaves_finite_numbers() {
        let mut bins = Bins::default();
        for t in (-20..=20).map(|i| 0.25 * i as f32) {
            bins.push(t, 100.0 + 1000.0 * gaussian_edge::gaussian(t).0, 4.0);
        }
        bins.close();
        let mut steps = Steps { low: 90.0, sigma: 1.3, steps: [(950.0, 0.1), (-5.0, 1e20), (-5.0, -1e20)], count: 3 };
        if let Some(fit) = refine(&bins, &mut steps, Care::Full) {
            assert!(fit.unit_sd.is_finite() && fit.misfit.is_finite(), "{fit:?}");
        }
    }

    #[test]
    fn a_line_that_is_off_is_set_right() {
        // An edge that runs 0.03 radians off the line and bends by 0.01 / px.
        let mut samples = Samples::default();
        for (s, t) in (-8..8).flat_map(|i| (-8..8).map(move |j| (0.4 * i as f32, 0.5 * j as f32))) {
            samples.along.push(s);
            samples.across.push(t);
            samples.value.push(100.0 + 900.0 * gaussian_edge::gaussian(t - 0.03 * s - 0.005 * s * s).0);
        }
        let steps = Steps { low: 100.0, sigma: 1.0, steps: [(900.0, 0.0); 3], count: 1 };
        let (turn, bend) = departure(&samples, &steps).expect("a departure");
        assert!((turn - 0.03).abs() < 0.003 && (bend - 0.01).abs() < 0.002, "{turn} {bend}");
    }
}
