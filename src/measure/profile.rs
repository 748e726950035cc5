//! From a place in the picture to the luminance profile across the edge there.

use super::family::{LANES, Lanes};
use crate::shot::Plane;

/// Farthest a profile reaches from its candidate, px.
pub(super) const REACH: usize = 16;
const SIDE: usize = 2 * REACH + 1;
/// Strips of the coarse profile along the edge, one pixel apart.
const STRIPS: usize = 7;
/// Bins of the fine profile at most.
pub(super) const BINS: usize = 160;

/// The line of an edge near a place: where it is, which way it faces, how it bends.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    /// Sample nearest the edge.
    pub x: usize,
    /// See `x`.
    pub y: usize,
    /// Unit normal, towards the brighter side.
    pub normal: (f32, f32),
    /// Curvature, 1/px; the edge lies at t = place + bend s^2 / 2, s along it.
    pub bend: f32,
}

/// Most that a line is set right by: turn, radians, and bend, 1/px.
const DEPARTED: (f32, f32) = (0.2, 0.1);

impl Line {
    /// The line about which the edge lies that was found to depart from this one by a turn and a bend.
    pub(super) fn departed(&self, turn: f32, bend: f32) -> Self {
        let turn = turn.clamp(-DEPARTED.0, DEPARTED.0);
        let (n, c, s) = (self.normal, turn.cos(), turn.sin());
        let bend = self.bend + bend.clamp(-DEPARTED.1, DEPARTED.1);
        Self { normal: (c * n.0 + s * n.1, c * n.1 - s * n.0), bend, ..*self }
    }
}

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

/// Bins of a profile, by their places, values and numbers of samples in arrays of their own.
pub(super) struct Bins {
    place: [f32; BINS],
    value: [f32; BINS],
    samples: [f32; BINS],
    count: usize,
}

/// Several bins side by side; those beyond the last have no samples.
pub(super) struct Chunk {
    /// Mean distance across the edge, px.
    pub place: Lanes,
    /// Mean value, levels above black.
    pub value: Lanes,
    /// How many samples.
    pub samples: Lanes,
}

impl Default for Bins {
    fn default() -> Self {
        Self { place: [0.0; BINS], value: [0.0; BINS], samples: [0.0; BINS], count: 0 }
    }
}

impl Bins {
    /// How many there are.
    pub(super) const fn len(&self) -> usize {
        self.count
    }

    /// Appends one; there must be room.
    pub(super) fn push(&mut self, place: f32, value: f32, samples: f32) {
        (self.place[self.count], self.value[self.count], self.samples[self.count]) = (place, value, samples);
        self.count += 1;
    }

    /// Fills up the last chunk with repetitions of the last bin that have no samples.
    pub(super) fn close(&mut self) {
        let Some(last) = self.count.checked_sub(1) else { return };
        for i in self.count..self.count.next_multiple_of(LANES) {
            (self.place[i], self.value[i], self.samples[i]) = (self.place[last], self.value[last], 0.0);
        }
    }

    /// All bins in order, several at a time.
    #[inline(always)]
    pub(super) fn chunks(&self) -> impl Iterator<Item = Chunk> {
        (0..self.count.div_ceil(LANES)).map(|k| {
            let at = |v: &[f32; BINS]| std::array::from_fn(|l| v[k * LANES + l]);
            Chunk { place: at(&self.place), value: at(&self.value), samples: at(&self.samples) }
        })
    }
}

/// The samples of a profile one by one, filled up to whole chunks with ones that lie nowhere near.
#[derive(Default)]
pub(super) struct Samples {
    /// Distance along the edge, px.
    pub along: Vec<f32>,
    /// Distance across it, px.
    pub across: Vec<f32>,
    /// Levels above black.
    pub value: Vec<f32>,
}

impl Samples {
    fn clear(&mut self) {
        for list in [&mut self.along, &mut self.across, &mut self.value] {
            list.clear();
        }
    }

    fn push(&mut self, along: f32, across: f32, value: f32) {
        self.along.push(along);
        self.across.push(across);
        self.value.push(value);
    }

    fn close(&mut self) {
        while !self.along.len().is_multiple_of(LANES) {
            self.push(0.0, f32::MAX, 0.0);
        }
    }
}

/// A profile gathered from measured samples: its bins, and the scatter of samples within them.
#[derive(Default)]
pub(super) struct Profile {
    /// The samples that the bins hold.
    pub samples: Samples,
    /// Mean place and value of each bin that has samples.
    pub bins: Bins,
    /// Variance within the bins beyond what the slope across a bin explains, levels^2.
    pub scatter: f32,
}

/// Sums of one bin: samples, places, values and the squares of both.
type Sums = [f32; 5];

impl Profile {
    /// Gathers the measured samples within `across` (px from the line's sample along the normal) and `along` (px
    /// each way) into bins of `width` px; `false` if one of them is clipped or too few are there.
    pub(super) fn gather(&mut self, plane: &Plane, line: &Line, across: (f32, f32), along: f32, width: f32) -> bool {
        let n = line.normal;
        let count = (((across.1 - across.0) / width).ceil() as usize).clamp(1, BINS);
        let mut sums = [[0.0_f32; 5]; BINS];
        self.samples.clear();
        // How far a bent edge moves the window at its ends.
        let sag = 0.5 * line.bend.abs() * along * along;
        let wide = (across.0 - sag, across.1 + sag);
        // The window's corners bound the rows that can lie in it.
        let ends = [wide.0 * n.1, wide.1 * n.1];
        let (low, high) = (ends[0].min(ends[1]) - along * n.0.abs(), ends[0].max(ends[1]) + along * n.0.abs());
        let clip = |v: f32, at: usize, size: usize| (at as f32 + v).clamp(0.0, size as f32 - 1.0) as usize;
        let (y0, y1) = (clip(low.ceil(), line.y, plane.height), clip(high.floor(), line.y, plane.height));
        let black = f32::from(plane.black);
        let per = 1.0 / width;
        for y in y0..=y1 {
            let dy = y as f32 - line.y as f32;
            // Within a row both distances are linear: |n.0 dy - n.1 dx| <= along and t within the window.
            let of = |slope: f32, from: f32, to: f32| {
                if slope.abs() < 1e-4 {
                    (f32::MIN, f32::MAX)
                } else {
                    ((from / slope).min(to / slope), (from / slope).max(to / slope))
                }
            };
            let (a, b) = of(n.1, n.0 * dy - along, n.0 * dy + along);
            let (c, d) = of(n.0, wide.0 - n.1 * dy, wide.1 - n.1 * dy);
            let (from, to) = (a.max(c) - 0.01, b.min(d) + 0.01);
            if from > to {
                continue;
            }
            let (x0, x1) = (clip(from.ceil(), line.x, plane.width), clip(to.floor(), line.x, plane.width));
            for (x, &v) in plane.row(y).iter().enumerate().take(x1 + 1).skip(x0) {
                let dx = x as f32 - line.x as f32;
                let s = n.0 * dy - n.1 * dx;
                let t = n.0 * dx + n.1 * dy - 0.5 * line.bend * s * s;
                if s.abs() > along || t < across.0 || t >= across.1 || !plane.mosaic.measured(x, y) {
                    continue;
                }
                if v >= plane.saturation {
                    return false;
                }
                let bin = &mut sums[(((t - across.0) * per) as usize).min(count - 1)];
                let v = f32::from(v) - black;
                self.samples.push(s, t, v);
                for (sum, value) in bin.iter_mut().zip([1.0, t, v, t * t, v * v]) {
                    *sum += value;
                }
            }
        }
        self.samples.close();
        self.settle(&sums[..count])
    }

    /// Means and scatter of the bins; `false` where too little is there.
    fn settle(&mut self, sums: &[Sums]) -> bool {
        let filled = || sums.iter().filter(|b| b[0] > 0.0);
        self.bins.count = 0;
        let mut samples = 0.0;
        for b in filled() {
            self.bins.push(b[1] / b[0], b[2] / b[0], b[0]);
            samples += b[0];
        }
        self.bins.close();
        let last = self.bins.len().saturating_sub(1);
        // Scatter within bins, less what the local slope makes of the spread of places within the bin.
        let (mut scatter, mut freedom) = (0.0, 0.0);
        for (k, b) in filled().enumerate() {
            let (i, j) = (k.max(1) - 1, (k + 1).min(last));
            let run = self.bins.place[j] - self.bins.place[i];
            let slope = if run > 0.0 { (self.bins.value[j] - self.bins.value[i]) / run } else { 0.0 };
            let (t, v) = (self.bins.place[k], self.bins.value[k]);
            scatter += (b[4] - b[0] * v * v) - slope * slope * (b[3] - b[0] * t * t).max(0.0);
            freedom += b[0] - 1.0;
        }
        self.scatter = if freedom > 0.0 { (scatter / freedom).max(0.0) } else { 0.0 };
        samples >= 20.0 && self.bins.len() >= 8
    }
}
