//! The luminance profile across the line of an edge, several times finer than the pixels.

use super::gaussian_edge::{LANES, Lanes};
use crate::shot::Plane;

/// Most bins of a profile. Chosen: the store of a profile, which no window fills.
const BINS: usize = 160;

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

/// Most that a line is corrected by: turn, radians, and bend, 1/px. Chosen: a line that departs further is another edge.
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
