//! From a place in the picture to the way its edge faces, and a coarse profile across it.

use crate::shot::Plane;

/// Farthest a profile reaches from its candidate, px, and samples of a profile. Chosen: farther off, other edges come into it.
const REACH: usize = 16;
const SIDE: usize = 2 * REACH + 1;
/// Strips of the coarse profile along the edge, one pixel apart. Chosen: three to either side tell a turn and a bend.
const STRIPS: usize = 7;

/// A step beside the chosen one, of the other sign.
#[derive(Clone, Copy, Debug)]
pub(super) struct Neighbour {
    /// Distance from the chosen step, px.
    pub place: f32,
    /// Height, always positive.
    pub step: f32,
    /// Where its own flank ends, distance from the chosen step, px.
    pub end: f32,
}

/// What the coarse profile says: where the steps lie and how wide the chosen one is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Coarse {
    /// Place of the step along the normal, px from the sample.
    pub place: f32,
    /// Level at its foot.
    pub low: f32,
    /// Its height.
    pub step: f32,
    /// First turning points left and right of the step, distance from `place`, px.
    pub flanks: [f32; 2],
    /// Neighbouring steps left and right, if any.
    pub neighbours: [Option<Neighbour>; 2],
    /// Rough width, px.
    pub sigma: f32,
}

/// Unit normal (towards brighter) and coherence of the gradients within 4 px of a sample, weighted towards it.
pub(super) fn normal(plane: &Plane, x: usize, y: usize) -> Option<((f32, f32), f32)> {
    const R: usize = 4;
    if x <= R || y <= R || x + R + 1 >= plane.width || y + R + 1 >= plane.height {
        return None;
    }
    let (mut xx, mut xy, mut yy, mut sx, mut sy) = (0.0_f32, 0.0_f32, 0.0_f32, 0.0_f32, 0.0_f32);
    // A cone of weights in whole numbers.
    const WEIGHTS: [f32; 2 * R + 1] = [1.0, 2.0, 3.0, 4.0, 4.0, 4.0, 3.0, 2.0, 1.0];
    for (j, &wy) in WEIGHTS.iter().enumerate() {
        let py = y + j - R;
        let span = x - R - 1..x + R + 2;
        let (above, here, below) =
            (&plane.row(py - 1)[span.clone()], &plane.row(py)[span.clone()], &plane.row(py + 1)[span]);
        for (i, &wx) in WEIGHTS.iter().enumerate() {
            let gx = f32::from(here[i + 2]) - f32::from(here[i]);
            let gy = f32::from(below[i + 1]) - f32::from(above[i + 1]);
            let w = wx * wy;
            xx += w * gx * gx;
            xy += w * gx * gy;
            yy += w * gy * gy;
            sx += w * gx;
            sy += w * gy;
        }
    }
    let trace = xx + yy;
    if trace <= 0.0 {
        return None;
    }
    let root = ((xx - yy) * (xx - yy) + 4.0 * xy * xy).sqrt();
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    let (mut nx, mut ny) = (angle.cos(), angle.sin());
    if nx * sx + ny * sy < 0.0 {
        (nx, ny) = (-nx, -ny);
    }
    Some(((nx, ny), root / trace))
}

/// Strips along the normal, one pixel apart in both directions, and their sum.
pub(super) struct Strips {
    values: [[f32; SIDE]; STRIPS],
    profile: [f32; SIDE],
    first: usize,
    last: usize,
}

/// Reads the strips by bilinear interpolation; `None` too close to the border.
pub(super) fn strips(plane: &Plane, x: usize, y: usize, n: (f32, f32)) -> Option<Strips> {
    let black = f32::from(plane.black);
    let half = (STRIPS / 2) as f32;
    // How far the strips may go before they leave the picture.
    let room = |at: usize, size: usize, across: f32, along: f32| {
        let space = (at.min(size - 1 - at) as f32 - 1.0 - half * along.abs()).max(0.0);
        if across.abs() < 1e-3 { REACH as f32 } else { space / across.abs() }
    };
    let reach = room(x, plane.width, n.0, n.1).min(room(y, plane.height, n.1, n.0)).min(REACH as f32) as usize;
    if reach < 5 || x.min(y) < 4 || x + 5 > plane.width || y + 5 > plane.height {
        return None;
    }
    let mut out =
        Strips { values: [[0.0; SIDE]; STRIPS], profile: [0.0; SIDE], first: REACH - reach, last: REACH + reach };
    for (k, strip) in out.values.iter_mut().enumerate() {
        let s = k as f32 - half;
        let (x0, y0) = (x as f32 - n.1 * s, y as f32 + n.0 * s);
        for (i, value) in strip.iter_mut().enumerate().take(out.last + 1).skip(out.first) {
            let t = i as f32 - REACH as f32;
            let (px, py) = (x0 + n.0 * t, y0 + n.1 * t);
            let (ix, iy) = (px as usize, py as usize);
            let (fx, fy) = (px - ix as f32, py - iy as f32);
            let at = iy * plane.width + ix;
            let v = |o: usize| f32::from(plane.data[at + o]);
            let top = v(0) + fx * (v(1) - v(0));
            let low = v(plane.width) + fx * (v(plane.width + 1) - v(plane.width));
            *value = top + fy * (low - top) - black;
        }
    }
    for strip in &out.values {
        for (p, v) in out.profile.iter_mut().zip(strip) {
            *p += v / STRIPS as f32;
        }
    }
    Some(out)
}

impl Strips {
    /// Reads the coarse profile. `noise` is the noise of one sample, levels.
    pub(super) fn coarse(&self, noise: f32) -> Option<Coarse> {
        let (profile, first, last) = (&self.profile, self.first, self.last);
        let slope = |i: usize| profile[i + 1] - profile[i - 1];
        let centre = (REACH - 2..=REACH + 2).max_by(|&a, &b| slope(a).total_cmp(&slope(b)))?;
        let peak = slope(centre);
        if peak <= 0.0 {
            return None;
        }
        let near = &profile[centre - 2..=centre + 2];
        let range = near.iter().copied().fold(f32::MIN, f32::max) - near.iter().copied().fold(f32::MAX, f32::min);
        // A dip this deep is a turn: above the noise of the mean of the strips, and not a mere ripple.
        let tolerance = (3.0 * noise / (STRIPS as f32).sqrt()).max(0.08 * range);
        // Walks while the profile goes on rising (sign +1) or falling; gives the turning point and whether it
        // turned at all.
        let walk = |from: usize, forwards: bool, sign: f32| {
            let (mut turn, mut i) = (from, from);
            while i != if forwards { last } else { first } {
                i = if forwards { i + 1 } else { i - 1 };
                if sign * profile[i] > sign * profile[turn] {
                    turn = i;
                } else if sign * profile[i] < sign * profile[turn] - tolerance {
                    return (turn, true);
                }
            }
            (i, false)
        };
        let away = |i: usize| (i as f32 - centre as f32).abs();
        let side = |forwards: bool| {
            let sign = if forwards { 1.0 } else { -1.0 };
            let (turn, turned) = walk(centre, forwards, sign);
            let neighbour = turned.then(|| {
                let (end, _) = walk(turn, forwards, -sign);
                // The neighbour's place: where the profile crosses half-way between turn and end.
                let half = 0.5 * (profile[turn] + profile[end]);
                let mut i = turn;
                while i != end && sign * profile[i] > sign * half {
                    i = if forwards { i + 1 } else { i - 1 };
                }
                Neighbour { place: away(i) - 0.5, step: (profile[end] - profile[turn]).abs(), end: away(end) }
            });
            (turn, neighbour)
        };
        let (low_at, before) = side(false);
        let (high_at, after) = side(true);
        let step = profile[high_at] - profile[low_at];
        // Peak slope over two pixels of a step smoothed by interpolation and differences (variance about 0.5 px^2).
        let sigma = (2.0 * step / peak / (2.0 * std::f32::consts::PI).sqrt()).powi(2) - 0.5;
        Some(Coarse {
            place: centre as f32 - REACH as f32,
            low: profile[low_at],
            step,
            flanks: [away(low_at), away(high_at)],
            neighbours: [before, after],
            sigma: sigma.max(0.16).sqrt().min(8.0),
        })
    }

    /// Overshoot beside a lone step with level ground on both sides, as a share of the step, mean of both sides;
    /// `None` where the ground is not level or the noise too strong to tell.
    ///
    /// What lies just beyond the edge's own reach is set against the ground farther out. Taken at fixed places and not
    /// where it is highest, so that noise and uneven ground cancel over many edges; a Gaussian edge reads 0 to -1 %.
    pub(super) fn overshoot(&self, coarse: &Coarse, noise: f32) -> Option<f32> {
        const CREST: usize = 1;
        const FLAT: usize = 4;
        let centre = (coarse.place as isize + REACH as isize) as usize;
        let crest = (2.2 * coarse.sigma).ceil() as usize;
        let near = crest + CREST + 1;
        if centre < self.first + near + FLAT || centre + near + FLAT > self.last {
            return None;
        }
        let stats = |v: &[f32]| {
            let mean = v.iter().sum::<f32>() / v.len() as f32;
            let (low, high) = v.iter().fold((f32::MAX, f32::MIN), |(a, b), &x| (a.min(x), b.max(x)));
            (mean, low, high)
        };
        let (low, a, b) = stats(&self.profile[centre - near - FLAT + 1..=centre - near]);
        let (high, c, d) = stats(&self.profile[centre + near..centre + near + FLAT]);
        let step = high - low;
        if step < 30.0 * noise || b - a > 0.06 * step || d - c > 0.06 * step {
            return None;
        }
        let (under, ..) = stats(&self.profile[centre - crest - CREST + 1..=centre - crest]);
        let (over, ..) = stats(&self.profile[centre + crest..centre + crest + CREST]);
        Some(((over - high) + (low - under)) / (2.0 * step))
    }

    /// Turn (radians) and bend (1/px) of the edge from where each strip crosses it, and the root mean square of
    /// what a parabola leaves over, px.
    pub(super) fn course(&self, coarse: &Coarse) -> (f32, f32, f32) {
        let half = (1.2 * coarse.sigma + 1.0).min(5.0) as isize;
        let centre = coarse.place as isize + REACH as isize;
        let (a, b) = ((centre - half).max(self.first as isize + 1), (centre + half).min(self.last as isize - 1));
        let mut place = [0.0_f32; STRIPS];
        for (p, strip) in place.iter_mut().zip(&self.values) {
            let (mut sum, mut moment) = (0.0, 0.0);
            for i in a..=b {
                let i = i as usize;
                let slope = strip[i + 1] - strip[i - 1];
                sum += slope;
                moment += slope * (i as f32 - centre as f32);
            }
            *p = if sum > 0.0 { (moment / sum).clamp(-4.0, 4.0) } else { 0.0 };
        }
        // Least squares of a parabola over s = -3 .. 3 by orthogonal polynomials: sums 28 and 84.
        let s = |k: usize| k as f32 - (STRIPS / 2) as f32;
        let mean = place.iter().sum::<f32>() / STRIPS as f32;
        let turn = place.iter().enumerate().map(|(k, p)| s(k) * p).sum::<f32>() / 28.0;
        let bow = place.iter().enumerate().map(|(k, p)| (s(k) * s(k) - 4.0) * p).sum::<f32>() / 84.0;
        let rest = place
            .iter()
            .enumerate()
            .map(|(k, p)| (p - mean - turn * s(k) - bow * (s(k) * s(k) - 4.0)).powi(2))
            .sum::<f32>();
        (turn, 2.0 * bow, (rest / 4.0).sqrt())
    }
}
