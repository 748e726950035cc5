//! All frames of a focus bracket at once: where each was focused, and where each tile lies between them.

mod data;
mod guess;
mod softened;

use nalgebra::{DMatrix, DVector, Matrix2};

use self::data::{Data, Point, Table, TileData};
use self::guess::first_guess;
use super::widths::{Depth, Widths, steadied};
use super::{Blurs, middle_mean};
use crate::quantity::Region;
use crate::stats::upper_median;

pub use softened::Softened;
pub(super) use softened::softened;

/// Share by which a width may depart from the model beyond its stated error. Chosen: the ratio of a tile's widths in
/// two frames is found to 2 or 3 % (docs/accuracy.md, aperture series).
const SCATTER: f64 = 0.03;
/// Frames and tiles below which nothing is fitted. Derived: fewer leave focus, place and softness open.
const FEWEST: (usize, usize) = (FEWEST_FRAMES, 12);
pub(super) const FEWEST_FRAMES: usize = 3;
/// Misfit, as a share of the width, beyond which the model does not explain the bracket, or a tile. Chosen: four times the scatter.
const WORST: f64 = 0.12;
/// What is left of [`SCATTER`] where neighbours steady a tile. Set on rendered brackets (docs/trials.md, two numbers of
/// the brackets' fit: half, of two and three values tried on seeds 21 and 31).
const STEADIED: f64 = 0.5 * SCATTER;
/// Standard error of a place, as a multiple of the usual one, beyond which a tile is not judged. Set on rendered brackets
/// (docs/trials.md, two numbers of the brackets' fit: three times, of two and three values tried on seeds 21 and 31).
const DOUBTFUL: f64 = 3.0;
/// Rounds of finding the tiles' places and improving what they share. Chosen: the fit settles in fewer.
const ROUNDS: usize = 12;

/// Widths of every compared tile in every compared frame as one model of the bracket gives them, and the tiles' places;
/// `None` where there are too few, or the model does not explain them (the scene moved, the aperture changed, the frames
/// differ in something else than focus).
///
/// The blur disc of a tile in a frame is the distance between the tile's place and the frame's focus, both in inverse
/// distance; to it come the pixel, diffraction (`lambda_n_px`, wavelength times f-number over the pixel pitch, where known)
/// and a softness of the lens that changes smoothly over the picture. What the single-frame widths of all tiles share by
/// way of error the model keeps. What was compared beside a tile's middle (at the rim) is taken at the place that lies
/// there, by the steps from tile to tile. Tiles whose place stays in doubt, as clouds' does, have no widths.
///
/// Squared widths of two frames differ linearly in the tile's place, so the table of them is the sum of a row, a
/// column and a product, which alternating regressions find; the squares of the frames' focus in the column fix the
/// scale. From there on least squares with the exact transfer functions (Gauss-Newton, places and each tile's common
/// error eliminated, weights of Student's t with four degrees of freedom). Least widths count where the model is narrower.
pub(super) fn focusing(blurs: &Blurs, tiles: &[Region], lambda_n_px: Option<f64>) -> Option<Widths> {
    let (data, table, state) = fitted(blurs, tiles, lambda_n_px)?;
    Some(state.widths(&data, &table, tiles))
}

/// The model, fitted; `None` where it does not explain the frames.
fn fitted(blurs: &Blurs, tiles: &[Region], lambda_n_px: Option<f64>) -> Option<(Data, Table, State)> {
    let data = Data::new(blurs, tiles)?;
    let table = Table::new(lambda_n_px);
    let mut state = first_guess(&data, &table)?;
    for round in 0..ROUNDS {
        state.find_places(&data, &table, round == 0);
        state.improve(&data, &table);
    }
    state.find_places(&data, &table, false);
    (state.misfit(&data, &table) <= WORST).then_some((data, table, state))
}

/// Degree of the softness of the lens as a polynomial of the place in the picture, and the number of its terms. Chosen:
/// softness that grows to the corners, differently to each; the number of terms follows.
const DEGREE: usize = 4;
const SHARED: usize = (DEGREE + 1) * (DEGREE + 2) / 2;

/// Products of Legendre's polynomials up to the degree: a lens may be decentred, so its softness is even about no point
/// that is known.
fn powers(at: (f64, f64)) -> [f64; SHARED] {
    let legendre = |x: f64| {
        let mut p = [1.0; DEGREE + 1];
        p[1] = x;
        for n in 1..DEGREE {
            let m = n as f64;
            p[n + 1] = ((2.0 * m + 1.0) * x * p[n] - m * p[n - 1]) / (m + 1.0);
        }
        p
    };
    let (px, py) = (legendre(at.0), legendre(at.1));
    let mut terms = [0.0; SHARED];
    let pairs = (0..=DEGREE).flat_map(|d| (0..=d).map(move |j| (d - j, j)));
    for (term, (i, j)) in terms.iter_mut().zip(pairs) {
        *term = px[i] * py[j];
    }
    terms
}

/// What all tiles share, and the tiles' places.
#[derive(Clone)]
struct State {
    /// Focus of the compared frames, px of disc; the first is zero.
    focus: Vec<f64>,
    /// Squared softness of the lens by its `powers`, px^2.
    lens: [f64; SHARED],
    place: Vec<f64>,
    /// How the places change about each tile, by a tile to the right and by one down.
    slope: Vec<(f64, f64)>,
}

fn median(values: Vec<f64>) -> f64 {
    upper_median(values).unwrap_or(f64::NAN)
}

/// Weight of Student's t with four degrees of freedom for a scaled residual.
fn trust(residual: f64) -> f64 {
    5.0 / (4.0 + residual * residual)
}

impl State {
    fn softness(&self, at: (f64, f64)) -> f64 {
        powers(at).iter().zip(self.lens).map(|(p, l)| p * l).sum::<f64>().max(0.0)
    }

    /// Squared width, px^2, that a tile at a place is measured to have in a frame: what lies beside the tile's middle has
    /// another place, and was compared with the sharpest frame's there.
    fn square(&self, table: &Table, (t, i): (&TileData, usize), o: &Point, place: f64, soft: f64) -> f64 {
        let there = place + self.slope[i].0 * o.off.0 + self.slope[i].1 * o.off.1;
        let at = |place: f64, frame: usize| table.square(place - self.focus[frame], soft);
        let moved = t.sharpest.filter(|_| there != place).map_or(0.0, |m| at(place, m) - at(there, m));
        (at(there, o.frame) + moved).max(0.05)
    }

    /// Cost of a tile at a place, the best common error of its frames taken out.
    fn cost(&self, (t, i): (&TileData, usize), table: &Table, place: f64) -> f64 {
        let soft = self.softness(t.at);
        let rest = |o: &Point| {
            let model = self.square(table, (t, i), o, place, soft);
            o.beyond(model).map_or((0.0, 0.0), |log| (log / o.sd, 0.5 / (model * o.sd)))
        };
        // What the common error adds to each square, as the logarithm of the width has it.
        let sums = |(sum, weights): (f64, f64), (r, a): (f64, f64)| (sum + a * r, weights + a * a);
        let (sum, weights) = t.points.iter().map(rest).fold((0.0, 1.0 / (t.shared * t.shared)), sums);
        let common = sum / weights;
        let cost = |(r, a): (f64, f64)| 2.5 * (1.0 + (r - a * common).powi(2) / 4.0).ln();
        t.points.iter().map(rest).map(cost).sum::<f64>() + 0.5 * (common / t.shared).powi(2)
    }

    /// Standard error of a tile's place, px of disc: from the bend of its cost, widened by what the model leaves unexplained.
    fn place_sd(&self, (t, i): (&TileData, usize), table: &Table) -> f64 {
        let step = 0.25;
        let cost = |by: f64| self.cost((t, i), table, self.place[i] + by);
        let bend = (cost(step) - 2.0 * cost(0.0) + cost(-step)) / (step * step);
        let unexplained = (2.0 * cost(0.0) / t.points.len() as f64).max(1.0);
        (unexplained / bend.max(1e-6)).sqrt()
    }

    /// Finds each tile's place, over the whole range or near where it was.
    fn find_places(&mut self, data: &Data, table: &Table, anywhere: bool) {
        let (low, high) = self.focus.iter().fold((0.0f64, 0.0f64), |m, &f| (m.0.min(f), m.1.max(f)));
        let places: Vec<f64> = data
            .tiles
            .iter()
            .zip(&self.place)
            .enumerate()
            .map(|(i, (t, &was))| {
                let (from, to, step) =
                    if anywhere { (low - 8.0, high + 8.0, 0.5) } else { (was - 1.5, was + 1.5, 0.25) };
                let steps = ((to - from) / step).ceil() as usize;
                let at = |i: usize| from + step * i as f64;
                let costs: Vec<f64> = (0..=steps).map(|s| self.cost((t, i), table, at(s))).collect();
                let best = (0..=steps).min_by(|&i, &j| costs[i].total_cmp(&costs[j])).unwrap_or(0);
                if best == 0 || best == steps {
                    return at(best);
                }
                let (l, m, r) = (costs[best - 1], costs[best], costs[best + 1]);
                at(best) + 0.5 * step * (l - r) / (l - 2.0 * m + r).max(1e-9)
            })
            .collect();
        self.place = places;
        self.slope = slopes(data, &self.place);
    }

    /// Slopes of the logarithms of a tile's widths: frame, residual, weight, and by place, by softness and by the common
    /// error of its squares.
    fn slopes(&self, (t, i): (&TileData, usize), table: &Table) -> Vec<(usize, f64, f64, [f64; 3])> {
        let soft = self.softness(t.at);
        t.points
            .iter()
            .filter_map(|o| {
                let at = |step: f64, soft: f64| self.square(table, (t, i), o, self.place[i] + step, soft);
                let here = at(0.0, soft);
                let by_place = (at(0.1, soft) - at(-0.1, soft)) / 0.2;
                let by_soft = (at(0.0, soft + 0.02) - here) / 0.02;
                let (rest, per) = (o.beyond(here)?, 0.5 / here);
                let weight = trust(rest / o.sd.hypot(per * t.shared)) / (o.sd * o.sd);
                Some((o.frame, rest, weight, [per * by_place, per * by_soft, per]))
            })
            .collect()
    }

    /// One step for what all tiles share, their places and common errors eliminated.
    fn improve(&mut self, data: &Data, table: &Table) {
        let n = self.focus.len();
        let size = n - 1 + SHARED;
        let mut normal = DMatrix::<f64>::zeros(size, size);
        let mut right = DVector::<f64>::zeros(size);
        for (i, t) in data.tiles.iter().enumerate() {
            let powers = powers(t.at);
            let mut own = Matrix2::new(1e-6, 0.0, 0.0, 1.0 / (t.shared * t.shared));
            let mut cross = DMatrix::<f64>::zeros(size, 2);
            let mut own_right = [0.0; 2];
            for (k, rest, weight, [by_place, by_soft, by_common]) in self.slopes((t, i), table) {
                // By place and by the common error, and by each thing shared.
                let of_tile = [by_place, by_common];
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

    /// Departures of a tile's measured widths from the model's, as shares.
    fn departures(&self, (t, i): (&TileData, usize), table: &Table) -> Vec<f64> {
        let soft = self.softness(t.at);
        let of = |o: &Point| o.beyond(self.square(table, (t, i), o, self.place[i], soft));
        t.points.iter().filter_map(of).map(f64::abs).collect()
    }

    /// Median departure of all measured widths from the model's, as a share.
    fn misfit(&self, data: &Data, table: &Table) -> f64 {
        median(data.tiles.iter().enumerate().flat_map(|(i, t)| self.departures((t, i), table)).collect())
    }

    /// The model's widths, the tiles' places steadied by their neighbours'.
    fn widths(&self, data: &Data, table: &Table, tiles: &[Region]) -> Widths {
        let mut place = vec![None; data.count];
        let sds: Vec<f64> = data.tiles.iter().enumerate().map(|(i, t)| self.place_sd((t, i), table)).collect();
        let usual = median(sds.clone());
        for (i, t) in data.tiles.iter().enumerate() {
            // Clouds and what moves have no place at which to be in focus.
            if sds[i] <= DOUBTFUL * usual && median(self.departures((t, i), table)) <= WORST {
                place[t.tile] = Some(self.place[i]);
            }
        }
        let place = steadied(&place, tiles);
        let mut sigma = vec![vec![None; data.count]; data.all];
        let mut depth = Depth { focus: vec![None; data.all], in_focus: vec![None; data.count], ..Depth::default() };
        for t in data.tiles.iter().filter(|t| place[t.tile].is_some()) {
            depth.in_focus[t.tile] = Some(table.square(0.0, self.softness(t.at)).sqrt());
        }
        for (&k, focus) in data.frames.iter().zip(&self.focus) {
            depth.focus[k] = Some(*focus);
            for t in &data.tiles {
                sigma[k][t.tile] = place[t.tile].map(|at| table.square(at - focus, self.softness(t.at)).sqrt());
            }
        }
        Widths { sigma, low: None, depth: Some(Depth { place, ..depth }), doubt: STEADIED }
    }
}

/// Tiles to each side, and rows above and below, that tell how the places change about a tile. Chosen: a third of a
/// row, less across rows, where depth changes.
const REACH: (usize, usize) = (4, 3);

/// How the places change about each tile, by a tile to the right and by one down: the middle of the steps between
/// neighbours, which things that stand out do not move; none where there are few.
fn slopes(data: &Data, places: &[f64]) -> Vec<(f64, f64)> {
    let columns = data.columns;
    let mut all = vec![None; data.count];
    for (t, &at) in data.tiles.iter().zip(places) {
        all[t.tile] = Some(at);
    }
    let step = |a: usize, b: usize| Some(all.get(b).copied().flatten()? - all[a]?);
    let middle = |steps: Vec<f64>| if steps.len() < FEWEST.1 { 0.0 } else { middle_mean(steps) };
    let of_tile = |tile: usize| {
        let (row, column) = (tile / columns, tile % columns);
        let rows = row.saturating_sub(REACH.1)..=row + REACH.1;
        let around: Vec<usize> = rows
            .flat_map(|r| (column.saturating_sub(REACH.0)..=(column + REACH.0).min(columns - 1)).map(move |c| (r, c)))
            .map(|(r, c)| r * columns + c)
            .filter(|&t| t < all.len())
            .collect();
        let right = around.iter().filter(|&&t| t % columns + 1 < columns).filter_map(|&t| step(t, t + 1)).collect();
        let down = around.iter().filter_map(|&t| step(t, t + columns)).collect();
        (middle(right), middle(down))
    };
    data.tiles.iter().map(|t| of_tile(t.tile)).collect()
}

#[cfg(test)]
mod tests;
