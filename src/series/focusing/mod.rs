//! All frames of a focus bracket at once: where each was focused, and where each tile lies between them.

mod data;

use nalgebra::{DMatrix, DVector, Matrix2, SymmetricEigen};

use self::data::{Data, Table, TileData};
use super::Blurs;
use super::bracket::{Widths, steadied};
use crate::quantity::{DISC_SIGMA, Region};

/// Share by which a width may depart from the model beyond its stated error.
const SCATTER: f64 = 0.03;
/// Frames and tiles below which nothing is fitted.
const FEWEST: (usize, usize) = (3, 12);
/// Misfit beyond which the model does not explain the bracket.
const WORST: f64 = 0.12;
/// Rounds of finding the tiles' places and improving what they share.
const ROUNDS: usize = 12;

/// Widths of every compared tile in every compared frame as one model of the bracket gives them, and the tiles' places;
/// `None` where there are too few, or the model does not explain them (the scene moved, the aperture changed, the frames
/// differ in something else than focus).
///
/// The blur disc of a tile in a frame is the distance between the tile's place and the frame's focus, both in inverse
/// distance; to it come the pixel, diffraction (`lambda_n_px`, wavelength times f-number over the pixel pitch, where known)
/// and a softness of the lens that changes smoothly over the picture. What the single-frame widths of all tiles share by
/// way of error the model keeps.
///
/// Squared widths of two frames differ linearly in the tile's place, so the table of them is the sum of a row, a
/// column and a product, which alternating regressions find; the squares of the frames' focus in the column fix the
/// scale. From there on least squares with the exact transfer functions (Gauss-Newton, places and each tile's common
/// error eliminated, weights of Student's t with four degrees of freedom).
pub(super) fn focusing(blurs: &Blurs, tiles: &[Region], lambda_n_px: Option<f64>) -> Option<Widths> {
    let data = Data::new(blurs, tiles)?;
    let table = Table::new(lambda_n_px);
    let mut state = first_guess(&data, &table)?;
    for round in 0..ROUNDS {
        state.find_places(&data, &table, round == 0);
        state.improve(&data, &table);
    }
    state.find_places(&data, &table, false);
    (state.misfit(&data, &table) <= WORST).then(|| state.widths(&data, &table, tiles))
}

/// Terms of the softness of the lens.
const SHARED: usize = 5;

/// Even from the middle outwards by its square and fourth power, and how a decentred lens departs from that.
fn powers(at: (f64, f64)) -> [f64; SHARED] {
    let square = at.0 * at.0 + at.1 * at.1;
    [1.0, square, square * square, at.0 * square, at.1 * square]
}

/// What all tiles share, and the tiles' places.
#[derive(Clone)]
struct State {
    /// Focus of the compared frames, px of disc; the first is zero.
    focus: Vec<f64>,
    /// Squared softness of the lens by its `powers`, px^2.
    lens: [f64; SHARED],
    place: Vec<f64>,
}

/// The table of squared widths as row + column + product; see [`focusing`].
fn first_guess(data: &Data, table: &Table) -> Option<State> {
    let n = data.frames.len();
    let weight = |sd: f64| 1.0 / (sd * sd);
    // The product's frame part from the scatter of doubly centred squares of tiles known in all frames.
    let whole: Vec<&TileData> = data.tiles.iter().filter(|t| t.points.len() == n).collect();
    if whole.len() < FEWEST.1 {
        return None;
    }
    let centred: Vec<Vec<f64>> = whole
        .iter()
        .map(|t| {
            let mean = t.points.iter().map(|p| p.1).sum::<f64>() / n as f64;
            t.points.iter().map(|p| p.1 - mean).collect()
        })
        .collect();
    let column: Vec<f64> = (0..n).map(|k| centred.iter().map(|c| c[k]).sum::<f64>() / centred.len() as f64).collect();
    let scatter = DMatrix::from_fn(n, n, |i, j| {
        centred.iter().map(|c| (c[i] - column[i]) * (c[j] - column[j])).sum::<f64>() / centred.len() as f64
    });
    let eigen = SymmetricEigen::new(scatter);
    let first = eigen.eigenvalues.imax();
    let mut u: Vec<f64> = eigen.eigenvectors.column(first).iter().copied().collect();
    let mut p = column;
    let mut of_tile: Vec<(f64, f64)> = vec![(0.0, 0.0); data.tiles.len()];
    for _ in 0..30 {
        for (t, own) in data.tiles.iter().zip(&mut of_tile) {
            *own = line(t.points.iter().map(|&(k, q, sd)| (u[k], q - p[k], weight(sd)))).unwrap_or(*own);
        }
        for k in 0..n {
            let of_frame = data.tiles.iter().zip(&of_tile).flat_map(|(t, &(c, b))| {
                t.points.iter().filter(|q| q.0 == k).map(move |&(_, q, sd)| (b, q - c, weight(sd)))
            });
            (p[k], u[k]) = line(of_frame).unwrap_or((p[k], u[k]));
        }
    }
    // The column is a parabola of the product's frame part; its bend is the square of the scale.
    let normal = DMatrix::from_fn(n, 3, |k, i| u[k].powi(i as i32));
    let fit = normal.svd(true, true).solve(&DVector::from_vec(p), 1e-9).ok()?;
    if fit[2] <= 0.0 {
        return None;
    }
    let scale = fit[2].sqrt() / DISC_SIGMA;
    let focus: Vec<f64> = u.iter().map(|v| scale * (v - u[0])).collect();
    let place = of_tile.iter().map(|&(_, b)| -scale * ((b + fit[1]) / (2.0 * fit[2]) + u[0])).collect();
    let mut least: Vec<f64> =
        data.tiles.iter().map(|t| t.points.iter().map(|p| p.1).fold(f64::INFINITY, f64::min)).collect();
    least.sort_by(f64::total_cmp);
    let low = least[least.len() / 4];
    Some(State { focus, lens: [(low - table.square(0.0, 0.0)).max(0.01), 0.0, 0.0, 0.0, 0.0], place })
}

/// Weighted straight line (level, slope) through (x, y, weight); `None` where x does not vary.
fn line(points: impl Iterator<Item = (f64, f64, f64)>) -> Option<(f64, f64)> {
    let (mut w, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (a, b, weight) in points {
        w += weight;
        x += weight * a;
        y += weight * b;
        xx += weight * a * a;
        xy += weight * a * b;
    }
    let det = w * xx - x * x;
    (det > 1e-12 * w * xx).then(|| ((y * xx - x * xy) / det, (w * xy - x * y) / det))
}

/// Weight of Student's t with four degrees of freedom for a scaled residual.
fn trust(residual: f64) -> f64 {
    5.0 / (4.0 + residual * residual)
}

impl State {
    fn softness(&self, at: (f64, f64)) -> f64 {
        powers(at).iter().zip(self.lens).map(|(p, l)| p * l).sum::<f64>().max(0.0)
    }

    /// Cost of a tile at a place, the best common error of its frames taken out.
    fn cost(&self, t: &TileData, table: &Table, place: f64) -> f64 {
        let soft = self.softness(t.at);
        let rest = |&(k, q, sd): &(usize, f64, f64)| (q - table.square(place - self.focus[k], soft), sd);
        let sums = |(sum, weights): (f64, f64), (r, sd): (f64, f64)| (sum + r / (sd * sd), weights + 1.0 / (sd * sd));
        let (sum, weights) = t.points.iter().map(rest).fold((0.0, 1.0 / (t.shared * t.shared)), sums);
        let common = sum / weights;
        let cost = |(r, sd): (f64, f64)| 2.5 * (1.0 + ((r - common) / sd).powi(2) / 4.0).ln();
        t.points.iter().map(rest).map(cost).sum::<f64>() + 0.5 * (common / t.shared).powi(2)
    }

    /// Finds each tile's place, over the whole range or near where it was.
    fn find_places(&mut self, data: &Data, table: &Table, anywhere: bool) {
        let (low, high) = self.focus.iter().fold((0.0f64, 0.0f64), |m, &f| (m.0.min(f), m.1.max(f)));
        let places: Vec<f64> = data
            .tiles
            .iter()
            .zip(&self.place)
            .map(|(t, &was)| {
                let (from, to, step) =
                    if anywhere { (low - 8.0, high + 8.0, 0.5) } else { (was - 1.5, was + 1.5, 0.25) };
                let steps = ((to - from) / step).ceil() as usize;
                let at = |i: usize| from + step * i as f64;
                let costs: Vec<f64> = (0..=steps).map(|i| self.cost(t, table, at(i))).collect();
                let best = (0..=steps).min_by(|&i, &j| costs[i].total_cmp(&costs[j])).unwrap_or(0);
                if best == 0 || best == steps {
                    return at(best);
                }
                let (l, m, r) = (costs[best - 1], costs[best], costs[best + 1]);
                at(best) + 0.5 * step * (l - r) / (l - 2.0 * m + r).max(1e-9)
            })
            .collect();
        self.place = places;
    }

    /// Slopes of a tile's squared widths by place, focus and lens, with residual and weight: (frame, residual, weight,
    /// by place, by softness).
    fn slopes(&self, t: &TileData, table: &Table, place: f64) -> Vec<(usize, f64, f64, f64, f64)> {
        let soft = self.softness(t.at);
        t.points
            .iter()
            .map(|&(k, q, sd)| {
                let disc = place - self.focus[k];
                let here = table.square(disc, soft);
                let by_place = (table.square(disc + 0.1, soft) - table.square(disc - 0.1, soft)) / 0.2;
                let by_soft = (table.square(disc, soft + 0.02) - here) / 0.02;
                (k, q - here, trust((q - here) / sd.hypot(t.shared)) / (sd * sd), by_place, by_soft)
            })
            .collect()
    }

    /// One step for what all tiles share, their places and common errors eliminated.
    fn improve(&mut self, data: &Data, table: &Table) {
        let n = self.focus.len();
        let size = n - 1 + SHARED;
        let mut normal = DMatrix::<f64>::zeros(size, size);
        let mut right = DVector::<f64>::zeros(size);
        for (t, &place) in data.tiles.iter().zip(&self.place) {
            let powers = powers(t.at);
            let mut own = Matrix2::new(1e-6, 0.0, 0.0, 1.0 / (t.shared * t.shared));
            let mut cross = DMatrix::<f64>::zeros(size, 2);
            let mut own_right = [0.0; 2];
            for (k, rest, weight, by_place, by_soft) in self.slopes(t, table, place) {
                // By place and by the common error, and by each thing shared.
                let of_tile = [by_place, 1.0];
                let mut shared: Vec<(usize, f64)> =
                    powers.iter().enumerate().map(|(i, p)| (n - 1 + i, p * by_soft)).collect();
                if k > 0 {
                    shared.push((k - 1, -by_place));
                }
                for i in 0..2 {
                    for j in 0..2 {
                        own[(i, j)] += weight * of_tile[i] * of_tile[j];
                    }
                    own_right[i] += weight * of_tile[i] * rest;
                }
                for &(i, a) in &shared {
                    right[i] += weight * a * rest;
                    for &(j, b) in &shared {
                        normal[(i, j)] += weight * a * b;
                    }
                    for (j, b) in of_tile.iter().enumerate() {
                        cross[(i, j)] += weight * a * b;
                    }
                }
            }
            let Some(inverse) = own.try_inverse() else { continue };
            let inverse = DMatrix::from_fn(2, 2, |i, j| inverse[(i, j)]);
            let through = &cross * inverse;
            normal -= &through * cross.transpose();
            right -= &through * DVector::from_row_slice(&own_right);
        }
        // Weak priors: a step of the focus is damped a little, the softness changes by about 0.3 px^2 over the picture.
        for i in 0..size {
            normal[(i, i)] += match i.checked_sub(n - 1) {
                None => 1e-3,
                Some(0) => 1.0,
                Some(_) => 10.0,
            };
        }
        for i in 1..SHARED {
            right[n - 1 + i] -= 10.0 * self.lens[i];
        }
        let Some(step) = normal.cholesky().map(|c| c.solve(&right)) else { return };
        for k in 1..n {
            self.focus[k] += step[k - 1].clamp(-1.0, 1.0);
        }
        for i in 0..SHARED {
            self.lens[i] += step[n - 1 + i].clamp(-0.3, 0.3);
        }
    }

    /// Median departure of the measured widths from the model's, as a share.
    fn misfit(&self, data: &Data, table: &Table) -> f64 {
        let mut away: Vec<f64> = Vec::new();
        for (t, &at) in data.tiles.iter().zip(&self.place) {
            let soft = self.softness(t.at);
            let of = |&(k, q, _): &(usize, f64, f64)| (0.5 * (table.square(at - self.focus[k], soft) / q).ln()).abs();
            away.extend(t.points.iter().map(of));
        }
        away.sort_by(f64::total_cmp);
        away[away.len() / 2]
    }

    /// The model's widths, the tiles' places steadied by their neighbours'.
    fn widths(&self, data: &Data, table: &Table, tiles: &[Region]) -> Widths {
        let mut place = vec![None; data.count];
        for (t, &at) in data.tiles.iter().zip(&self.place) {
            place[t.tile] = Some(at);
        }
        let place = steadied(&place, tiles);
        let mut sigma = vec![vec![None; data.count]; data.all];
        for (&k, focus) in data.frames.iter().zip(&self.focus) {
            for t in &data.tiles {
                sigma[k][t.tile] = place[t.tile].map(|at| table.square(at - focus, self.softness(t.at)).sqrt());
            }
        }
        Widths { sigma, place: Some(place) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Estimate;

    const COLUMNS: u32 = 12;
    const ROWS: u32 = 8;

    fn tiles() -> Vec<Region> {
        (0..COLUMNS * ROWS)
            .map(|i| Region { x: 50 * (i % COLUMNS), y: 50 * (i / COLUMNS), width: 50, height: 50 })
            .collect()
    }

    /// Blurs of five frames, from the disc (px) at tile i of frame k, by the root of the sum of squares, each off by up
    /// to a twentieth; and the widths before that.
    fn blurs(disc: impl Fn(u32, usize) -> f64) -> (Blurs, Vec<Vec<f64>>) {
        let mut dice = fastrand::Rng::with_seed(3);
        let width = |i: u32, k: usize| 0.6_f64.hypot(DISC_SIGMA * disc(i, k));
        let truth: Vec<Vec<f64>> = (0..5).map(|k| (0..COLUMNS * ROWS).map(|i| width(i, k)).collect()).collect();
        let mut seen = |w: &f64| Some(Estimate::new(w * (0.95 + 0.1 * dice.f64()), 0.03 * w, 9));
        let sigma = truth.iter().map(|f| f.iter().map(&mut seen).collect()).collect();
        let count = (COLUMNS * ROWS) as usize;
        let apart_sd = truth.iter().map(|f| f.iter().map(|w| 0.03 * w).collect()).collect();
        (Blurs { sigma, apart_sd, anchor_sd: vec![0.05; count], moved: vec![0; 5] }, truth)
    }

    #[test]
    fn one_model_of_all_frames_is_nearer_the_truth_than_each_width() {
        // Level ground whose far end is in focus in the first frame and whose near end in the last.
        let row = |i: u32| f64::from(i / COLUMNS) / f64::from(ROWS - 1);
        let (blurs, truth) = blurs(|i, k| 8.0 * row(i) - 2.0 * k as f64);
        let found = focusing(&blurs, &tiles(), None).expect("a bracket");
        let error = |width: &dyn Fn(usize, usize) -> f64| {
            let all = (0..5).flat_map(|k| (0..tiles().len()).map(move |t| (k, t)));
            let squares: Vec<f64> = all.map(|(k, t)| (width(k, t) / truth[k][t]).ln().powi(2)).collect();
            (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
        };
        let before = error(&|k, t| blurs.sigma[k][t].map_or(f64::NAN, |e| e.value));
        let after = error(&|k, t| found.sigma[k][t].unwrap_or(f64::NAN));
        assert!(after < 0.7 * before, "{after} after, {before} before");
    }

    #[test]
    fn frames_that_differ_in_something_else_are_no_bracket() {
        // Movement here and there, no focus.
        let (blurs, _) = blurs(|i, k| 9.0 * f64::from((i * 7 + 13 * k as u32 * (i + 3)) % 11) / 11.0);
        assert!(focusing(&blurs, &tiles(), None).is_none());
    }

    #[test]
    fn two_frames_are_too_few() {
        let (mut blurs, _) = blurs(|i, k| f64::from(i / COLUMNS) - 2.0 * k as f64);
        blurs.sigma.truncate(2);
        assert!(focusing(&blurs, &tiles(), None).is_none());
    }
}
