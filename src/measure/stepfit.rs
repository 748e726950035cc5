//! Least squares of one to three parallel steps of one width on a profile, by Levenberg and Marquardt's method.

use super::family::EdgeSpread;

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
    /// Excess kurtosis of the line spread that the residuals ask for, to first order.
    pub kurtosis: f64,
    /// Its standard deviation for noise of one level a sample.
    pub kurtosis_unit_sd: f64,
    /// How much wider (px) the fit gets for an excess kurtosis of one.
    pub pull: f64,
}

/// Change of an edge spread for an excess kurtosis of one: Gram and Charlier's series (Abramowitz & Stegun 26.2.48).
fn fourth(u: f32) -> f32 {
    const DENSITY: f32 = 0.398_942_3;
    (3.0 * u - u * u * u) * (-0.5 * u * u).exp() * (DENSITY / 24.0)
}

/// Refines the steps on bins (place, value, samples); `None` where they don't tell.
pub(super) fn refine(bins: &[(f32, f32, f32)], steps: &mut Steps, family: &EdgeSpread) -> Option<Fitted> {
    match steps.count {
        1 => marquardt::<4>(bins, steps, family),
        2 => marquardt::<6>(bins, steps, family),
        _ => marquardt::<8>(bins, steps, family),
    }
}

fn marquardt<const N: usize>(bins: &[(f32, f32, f32)], steps: &mut Steps, family: &EdgeSpread) -> Option<Fitted> {
    let mut p = [0.0_f32; N];
    p[0] = steps.low;
    p[1] = steps.sigma;
    for k in 0..(N - 2) / 2 {
        (p[2 + 2 * k], p[3 + 2 * k]) = steps.steps[k];
    }
    let mut damping = 1e-3;
    let (mut normal, mut right, mut cost) = equations(bins, &p, family);
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
        let (n, r, c) = equations(bins, &trial, family);
        if c.is_finite() && c <= cost {
            let settled = cost - c <= 1e-3 * cost;
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
    // One more unknown, linear and after the fact: what the residuals share with a fourth cumulant once everything
    // that the fit could follow is taken out.
    let mut shared = [0.0_f64; N];
    let (mut own, mut seen) = (0.0_f64, 0.0_f64);
    for &(t, v, weight) in bins {
        let (row, residual) = row::<N>(t, v, &p, family);
        let change: f32 = (2..N).step_by(2).map(|k| p[k] * fourth((t - p[k + 1]) / p[1])).sum();
        for (s, r) in shared.iter_mut().zip(row) {
            *s += f64::from(weight * r * change);
        }
        own += f64::from(weight * change * change);
        seen += f64::from(weight * change * residual);
    }
    let follow = solve(normal, shared)?;
    let rest = own - follow.iter().zip(shared).map(|(a, b)| a * b).sum::<f64>();
    let freedom = bins.len().saturating_sub(N).max(1) as f64;
    steps.low = p[0];
    steps.sigma = p[1];
    for k in 0..(N - 2) / 2 {
        steps.steps[k] = (p[2 + 2 * k], p[3 + 2 * k]);
    }
    (variance > 0.0).then(|| Fitted {
        misfit: cost / freedom,
        unit_sd: variance.sqrt(),
        kurtosis: if rest > 1e-6 * own { seen / rest } else { 0.0 },
        kurtosis_unit_sd: if rest > 1e-6 * own { 1.0 / rest.sqrt() } else { f64::INFINITY },
        pull: -follow[1],
    })
}

type Equations<const N: usize> = ([[f64; N]; N], [f64; N], f64);

/// Normal equations and the weighted sum of squares.
fn equations<const N: usize>(bins: &[(f32, f32, f32)], p: &[f32; N], family: &EdgeSpread) -> Equations<N> {
    let mut normal = [[0.0_f32; N]; N];
    let mut right = [0.0_f32; N];
    let mut cost = 0.0_f32;
    for &(t, v, weight) in bins {
        let (row, residual) = row::<N>(t, v, p, family);
        for i in 0..N {
            let w = weight * row[i];
            for j in 0..N {
                normal[i][j] += w * row[j];
            }
            right[i] += w * residual;
        }
        cost += weight * residual * residual;
    }
    (normal.map(|r| r.map(f64::from)), right.map(f64::from), f64::from(cost))
}

/// Derivatives of the model at one bin, and what it leaves over.
#[inline(always)]
fn row<const N: usize>(t: f32, v: f32, p: &[f32; N], family: &EdgeSpread) -> ([f32; N], f32) {
    let per = 1.0 / p[1];
    let mut row = [0.0_f32; N];
    row[0] = 1.0;
    let mut residual = v - p[0];
    for k in (2..N).step_by(2) {
        let u = (t - p[k + 1]) * per;
        let (e, slope) = family.at(u);
        let steep = p[k] * slope * per;
        residual -= p[k] * e;
        row[1] -= steep * u;
        row[k] = e;
        row[k + 1] = -steep;
    }
    (row, residual)
}

/// Solves a symmetric positive system by Cholesky's method.
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
    use crate::measure::family;

    /// Edge of a disc of diameter 4 from the area of a circle's segment.
    fn disc(t: f64) -> f64 {
        let x = (t / 2.0).clamp(-1.0, 1.0);
        0.5 + (x * (1.0 - x * x).sqrt() + x.asin()) / std::f64::consts::PI
    }

    fn fitted(edge: impl Fn(f64) -> f64) -> (Steps, Fitted) {
        let bins: Vec<(f32, f32, f32)> = (-20..=20)
            .map(|i| {
                let t = 0.25 * f64::from(i);
                (t as f32, (100.0 + 1000.0 * edge(t)) as f32, 4.0)
            })
            .collect();
        let mut steps = Steps { low: 90.0, sigma: 1.3, steps: [(950.0, 0.1); 3], count: 1 };
        let fit = refine(&bins, &mut steps, family::gaussian()).expect("a fit");
        (steps, fit)
    }

    #[test]
    fn a_gaussian_has_no_excess_kurtosis() {
        let table = family::gaussian();
        let (steps, fit) = fitted(|t| f64::from(table.at(t as f32).0));
        assert!((steps.sigma - 1.0).abs() < 2e-3, "{}", steps.sigma);
        assert!(fit.kurtosis.abs() < 0.05, "{}", fit.kurtosis);
    }

    #[test]
    fn the_kurtosis_of_a_disc_leads_to_the_width_of_its_half_contrast() {
        let (steps, fit) = fitted(disc);
        // The line spread of a disc is a half ellipse, whose excess kurtosis is -1; the first term of the series
        // takes on what the later ones leave.
        assert!((-2.5..-0.8).contains(&fit.kurtosis), "{}", fit.kurtosis);
        // 2 J1(x) / x = 1/2 at x = 2.2149 (Abramowitz & Stegun, table 9.1): MTF50 = 0.70503 / diameter.
        let truth = 0.187_391 / (0.705_03 / 4.0);
        let sigma = f64::from(steps.sigma);
        let change = fit.pull / sigma - std::f64::consts::LN_2 / 12.0;
        let before = (sigma / truth - 1.0).abs();
        let after = (sigma * (1.0 + change * fit.kurtosis) / truth - 1.0).abs();
        assert!(after < 0.04 && after < before, "{before} before, {after} after");
    }
}
