//! One edge: its normal, its profile, and a fitted width with an error.

use super::family::EdgeSpread;
use super::noise::NoiseModel;
use super::survey::Candidate;
use crate::shot::{JpegBlocks, Plane};

/// Half side of the patch read around a candidate, px.
const REACH: usize = 16;
const SIDE: usize = 2 * REACH + 1;
/// Parameters of the fit: level, step, place, turn, bend, width.
const PARAMETERS: usize = 6;

/// A fitted edge.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    /// Gaussian-equivalent sigma, px.
    pub sigma: f64,
    /// Its standard deviation from noise and misfit, px.
    pub sd: f64,
    /// Direction of the normal, radians from +x towards +y, modulo pi.
    pub angle: f64,
    /// Step over the noise.
    pub snr: f64,
}

/// Luminance around a candidate in levels above black.
struct Patch {
    values: [f32; SIDE * SIDE],
    measured: [bool; SIDE * SIDE],
    reach: usize,
}

impl Patch {
    fn read(plane: &Plane, x: usize, y: usize) -> Option<Self> {
        let room = x.min(y).min(plane.width - 1 - x).min(plane.height - 1 - y);
        let reach = room.min(REACH);
        if reach < 6 {
            return None;
        }
        let mut patch = Self { values: [0.0; SIDE * SIDE], measured: [true; SIDE * SIDE], reach };
        let black = f32::from(plane.black);
        let whole = plane.mosaic == crate::shot::Mosaic::None;
        for j in REACH - reach..=REACH + reach {
            let py = y + j - REACH;
            let row = &plane.row(py)[x - reach..=x + reach];
            let start = j * SIDE + REACH - reach;
            for (o, &v) in patch.values[start..].iter_mut().zip(row) {
                if v >= plane.saturation {
                    return None;
                }
                *o = f32::from(v) - black;
            }
            if !whole {
                for (i, o) in patch.measured[start..start + row.len()].iter_mut().enumerate() {
                    *o = plane.mosaic.measured(x - reach + i, py);
                }
            }
        }
        Some(patch)
    }

    /// Unit normal (towards brighter) and coherence of the gradients within 4 px.
    fn normal(&self) -> (f32, f32, f32) {
        let (mut xx, mut xy, mut yy, mut sx, mut sy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for j in REACH - 4..=REACH + 4 {
            for i in REACH - 4..=REACH + 4 {
                let at = j * SIDE + i;
                let gx = self.values[at + 1] - self.values[at - 1];
                let gy = self.values[at + SIDE] - self.values[at - SIDE];
                xx += gx * gx;
                xy += gx * gy;
                yy += gy * gy;
                sx += gx;
                sy += gy;
            }
        }
        let root = ((xx - yy) * (xx - yy) + 4.0 * xy * xy).sqrt();
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        let (mut nx, mut ny) = (angle.cos(), angle.sin());
        if nx * sx + ny * sy < 0.0 {
            (nx, ny) = (-nx, -ny);
        }
        (nx, ny, root / (xx + yy).max(1e-9))
    }

    /// Measured samples with their distance across and along the edge, within the given limits.
    fn samples(&self, n: (f32, f32), across: (f32, f32), along: f32, out: &mut Vec<(f32, f32, f32)>) {
        out.clear();
        let r = self.reach as isize;
        for j in -r..=r {
            for i in -r..=r {
                let (dx, dy) = (i as f32, j as f32);
                let (t, s) = (n.0 * dx + n.1 * dy, n.0 * dy - n.1 * dx);
                if s.abs() <= along && t >= across.0 && t <= across.1 {
                    let at = ((j + REACH as isize) as usize) * SIDE + (i + REACH as isize) as usize;
                    if self.measured[at] {
                        out.push((t, s, self.values[at]));
                    }
                }
            }
        }
    }
}

/// What the coarse profile says: where the step lies, how far its flanks reach, how wide it is.
struct Rough {
    place: f32,
    low: f32,
    step: f32,
    left: f32,
    right: f32,
    sigma: f32,
}

/// One-pixel profile across the edge and its reading.
fn rough(patch: &Patch, n: (f32, f32), noise: f32, scratch: &mut Vec<(f32, f32, f32)>) -> Option<Rough> {
    let reach = patch.reach as f32;
    patch.samples(n, (-reach, reach), 3.5, scratch);
    let mut bins = [(0.0_f32, 0.0_f32); SIDE];
    for &(t, _, v) in scratch.iter() {
        let bin = &mut bins[(t.round() as isize + REACH as isize) as usize];
        bin.0 += v;
        bin.1 += 1.0;
    }
    let mut profile = [f32::NAN; SIDE];
    for (p, b) in profile.iter_mut().zip(&bins) {
        if b.1 >= 2.0 {
            *p = b.0 / b.1;
        }
    }
    let slope = |i: usize| profile[i + 1] - profile[i - 1];
    let centre = (REACH - 2..=REACH + 2).max_by(|&a, &b| {
        let key = |i: usize| if slope(i).is_nan() { f32::MIN } else { slope(i) };
        key(a).total_cmp(&key(b))
    })?;
    let peak = slope(centre);
    if peak.is_nan() || peak <= 0.0 {
        return None;
    }
    let tolerance = (2.0 * noise / 2.5).max(0.25 * peak).min(2.0 * peak);
    let (mut high, mut right) = (profile[centre], centre);
    for i in centre + 1..=REACH + patch.reach {
        if profile[i].is_nan() || profile[i] < high - tolerance {
            break;
        }
        right = i;
        high = high.max(profile[i]);
    }
    let (mut low, mut left) = (profile[centre], centre);
    for i in (REACH - patch.reach..centre).rev() {
        if profile[i].is_nan() || profile[i] > low + tolerance {
            break;
        }
        left = i;
        low = low.min(profile[i]);
    }
    let step = high - low;
    // Peak slope over two pixels of a step smoothed by bins and differences (variance about 0.4 px^2).
    let sigma = (2.0 * step / peak / (2.0 * std::f32::consts::PI).sqrt()).powi(2) - 0.4;
    Some(Rough {
        place: centre as f32 - REACH as f32,
        low,
        step,
        left: centre as f32 - left as f32,
        right: right as f32 - centre as f32,
        sigma: sigma.max(0.16).sqrt().min(8.0),
    })
}

/// Fits one candidate; `None` where no lone, straight, well-lit edge is there.
pub(super) fn fit(
    plane: &Plane,
    candidate: &Candidate,
    noise: &NoiseModel,
    family: &EdgeSpread,
    scratch: &mut Vec<(f32, f32, f32)>,
) -> Option<Edge> {
    let patch = Patch::read(plane, candidate.x as usize, candidate.y as usize)?;
    let (nx, ny, coherence) = patch.normal();
    if coherence < 0.6 {
        return None;
    }
    let level = f64::from(patch.values[REACH * SIDE + REACH]);
    let noise_sd = noise.variance(level).sqrt() as f32;
    let rough = rough(&patch, (nx, ny), noise_sd, scratch)?;
    if rough.step < 5.0 * noise_sd {
        return None;
    }
    let mut p = [rough.low, rough.step, rough.place, 0.0, 0.0, rough.sigma];
    let mut result = None;
    // The window follows the width: once from the rough width, once from the fitted one.
    for _ in 0..2 {
        let want = 3.0 * p[5] + 1.5;
        let (left, right) = (rough.left.min(want), rough.right.min(want));
        let need = 1.6 * p[5] + 0.7;
        if left < need || right < need {
            return None;
        }
        let along = (1.5 * p[5]).clamp(4.0, 8.0);
        patch.samples((nx, ny), (rough.place - left, rough.place + right), along, scratch);
        if scratch.len() < 24 {
            return None;
        }
        result = Some(refine(scratch, &mut p, family)?);
    }
    let fitted = result?;
    let sigma = f64::from(p[5]);
    let step = f64::from(p[1]);
    if !(0.2..=8.0).contains(&sigma) || step < 5.0 * f64::from(noise_sd) || (p[2] - rough.place).abs() > 2.5 {
        return None;
    }
    // Bent edges and misfits are no lone straight edges.
    if p[4].abs() > 0.12 || fitted.rms > (0.05 * step).hypot(1.5 * f64::from(noise_sd)) {
        return None;
    }
    let scale = fitted.rms.max(f64::from(noise_sd));
    let sd = fitted.unit_sd * scale;
    if sd > 0.4 * sigma {
        return None;
    }
    if let Some(blocks) = &plane.jpeg
        && on_block_line(blocks, candidate, (nx, ny), p[2])
    {
        return None;
    }
    let angle = f64::from(ny.atan2(nx) + p[3]).rem_euclid(std::f64::consts::PI);
    Some(Edge { sigma, sd, angle, snr: step / f64::from(noise_sd) })
}

/// Whether an edge lies along a line between JPEG blocks.
fn on_block_line(blocks: &JpegBlocks, c: &Candidate, n: (f32, f32), place: f32) -> bool {
    let near = |position: f32, first: usize| {
        let size = blocks.size.max(1) as f32;
        let offset = (position - first as f32).rem_euclid(size);
        offset.min(size - offset) < 0.75
    };
    // Sample centres lie half a pixel inside their squares.
    (n.1.abs() < 0.12 && near(c.x as f32 + 0.5 + place * n.0, blocks.x0))
        || (n.0.abs() < 0.12 && near(c.y as f32 + 0.5 + place * n.1, blocks.y0))
}

/// What a refinement leaves.
struct Refined {
    /// Root mean square residual, levels.
    rms: f64,
    /// Standard deviation of the width for noise of one level.
    unit_sd: f64,
}

/// Levenberg-Marquardt on the samples (across, along, value).
fn refine(samples: &[(f32, f32, f32)], p: &mut [f32; PARAMETERS], family: &EdgeSpread) -> Option<Refined> {
    let mut damping = 1e-3;
    let (mut normal, mut right, mut cost) = equations(samples, p, family);
    for _ in 0..12 {
        let mut damped = normal;
        for (i, row) in damped.iter_mut().enumerate() {
            row[i] *= 1.0 + damping;
        }
        let Some(step) = solve(damped, right) else { return None };
        let mut trial = *p;
        for (t, s) in trial.iter_mut().zip(step) {
            *t += s as f32;
        }
        trial[5] = trial[5].clamp(0.15, 10.0);
        let (n, r, c) = equations(samples, &trial, family);
        if c.is_finite() && c <= cost {
            let settled = cost - c <= 1e-4 * cost;
            *p = trial;
            (normal, right, cost) = (n, r, c);
            damping *= 0.2;
            if settled {
                break;
            }
        } else {
            damping *= 8.0;
            if damping > 1e6 {
                break;
            }
        }
    }
    let mut unit = [0.0; PARAMETERS];
    unit[5] = 1.0;
    let variance = solve(normal, unit)?[5];
    let freedom = samples.len().saturating_sub(PARAMETERS).max(1) as f64;
    (variance > 0.0).then(|| Refined { rms: (cost / freedom).sqrt(), unit_sd: variance.sqrt() })
}

type Matrix = [[f64; PARAMETERS]; PARAMETERS];

/// Normal equations of the fit and its sum of squares.
fn equations(
    samples: &[(f32, f32, f32)],
    p: &[f32; PARAMETERS],
    family: &EdgeSpread,
) -> (Matrix, [f64; PARAMETERS], f64) {
    let mut normal = [[0.0_f32; PARAMETERS]; PARAMETERS];
    let mut right = [0.0_f32; PARAMETERS];
    let mut cost = 0.0_f32;
    let [low, step, place, turn, bend, sigma] = *p;
    let per = 1.0 / sigma;
    for &(t, s, v) in samples {
        let u = (t - place + turn * s + 0.5 * bend * s * s) * per;
        let (e, slope) = family.at(u);
        let residual = v - low - step * e;
        let k = step * slope * per;
        let row = [1.0, e, -k, k * s, 0.5 * k * s * s, -k * u];
        for i in 0..PARAMETERS {
            for j in 0..=i {
                normal[i][j] += row[i] * row[j];
            }
            right[i] += row[i] * residual;
        }
        cost += residual * residual;
    }
    let mut full = [[0.0; PARAMETERS]; PARAMETERS];
    for i in 0..PARAMETERS {
        for j in 0..=i {
            full[i][j] = f64::from(normal[i][j]);
            full[j][i] = full[i][j];
        }
    }
    (full, right.map(f64::from), f64::from(cost))
}

/// Solves a symmetric positive system by Cholesky's method.
fn solve(mut a: Matrix, mut b: [f64; PARAMETERS]) -> Option<[f64; PARAMETERS]> {
    for i in 0..PARAMETERS {
        for j in 0..=i {
            let mut sum = a[i][j];
            for k in 0..j {
                sum -= a[i][k] * a[j][k];
            }
            if i == j {
                // A parameter that nothing tells (the bend of a dot) makes the matrix singular.
                if !(sum > 1e-12 * a[i][i].abs()) || !sum.is_finite() {
                    return None;
                }
                a[i][i] = sum.sqrt();
            } else {
                a[i][j] = sum / a[j][j];
            }
        }
    }
    for i in 0..PARAMETERS {
        for k in 0..i {
            b[i] -= a[i][k] * b[k];
        }
        b[i] /= a[i][i];
    }
    for i in (0..PARAMETERS).rev() {
        for k in i + 1..PARAMETERS {
            b[i] -= a[k][i] * b[k];
        }
        b[i] /= a[i][i];
    }
    Some(b)
}
