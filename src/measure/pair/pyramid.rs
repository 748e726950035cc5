//! A frame at full size and halved again and again, clipped places marked.

use super::LEVELS;
use crate::shot::{Mosaic, Plane};

/// A frame and its halves.
pub(super) struct Pyramid<'a> {
    pub(super) plane: &'a Plane,
    halves: Vec<Half>,
}

/// One halved picture: levels above black, NaN where half of the samples were clipped.
struct Half {
    width: usize,
    height: usize,
    data: Vec<f32>,
}

impl<'a> Pyramid<'a> {
    pub(super) fn new(plane: &'a Plane) -> Self {
        let mut halves: Vec<Half> = Vec::new();
        for _ in 1..LEVELS {
            let next = match halves.last() {
                None => first(plane),
                Some(half) => half.halved(),
            };
            if next.width < 16 || next.height < 16 {
                break;
            }
            halves.push(next);
        }
        Self { plane, halves }
    }

    /// Width and height at a level; `None` beyond the last.
    pub(super) fn size(&self, level: usize) -> Option<(usize, usize)> {
        if level == 0 {
            return Some((self.plane.width, self.plane.height));
        }
        self.halves.get(level - 1).map(|h| (h.width, h.height))
    }

    /// Copies a row; NaN marks clipped samples, and zero weight (see `measured`) those that are interpolated.
    pub(super) fn row(&self, level: usize, x: usize, y: usize, into: &mut [f32]) {
        if level > 0 {
            let half = &self.halves[level - 1];
            into.copy_from_slice(&half.data[y * half.width + x..][..into.len()]);
            return;
        }
        let (black, saturation) = (f32::from(self.plane.black), self.plane.saturation);
        let row = &self.plane.row(y)[x..x + into.len()];
        for (to, &v) in into.iter_mut().zip(row) {
            *to = if v >= saturation { f32::NAN } else { f32::from(v) - black };
        }
    }

    /// Which samples of the level are the sensor's own.
    pub(super) fn mosaic(&self, level: usize) -> Mosaic {
        if level == 0 { self.plane.mosaic } else { Mosaic::None }
    }
}

/// Halves the plane itself; of a mosaic only measured samples are averaged (two of each four on a Bayer sensor).
fn first(plane: &Plane) -> Half {
    let (width, height) = (plane.width / 2, plane.height / 2);
    let black = f32::from(plane.black);
    let mut data = Vec::with_capacity(width * height);
    for y in 0..height {
        let rows = [plane.row(2 * y), plane.row(2 * y + 1)];
        for x in 0..width {
            let (mut sum, mut count, mut clipped) = (0u32, 0u32, 0u32);
            for (dy, row) in rows.iter().enumerate() {
                for dx in 0..2 {
                    if plane.mosaic.measured(2 * x + dx, 2 * y + dy) {
                        let v = row[2 * x + dx];
                        sum += u32::from(v);
                        count += 1;
                        clipped += u32::from(v >= plane.saturation);
                    }
                }
            }
            data.push(match count {
                // An X-Trans cell of four may hold no measured sample: its interpolated ones stand in.
                0 => {
                    let all = rows.iter().flat_map(|r| &r[2 * x..2 * x + 2]).map(|&v| f32::from(v)).sum::<f32>();
                    all / 4.0 - black
                }
                _ if 2 * clipped >= count => f32::NAN,
                _ => sum as f32 / count as f32 - black,
            });
        }
    }
    Half { width, height, data }
}

impl Half {
    fn halved(&self) -> Self {
        let (width, height) = (self.width / 2, self.height / 2);
        let mut data = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let cell =
                    [(0, 0), (1, 0), (0, 1), (1, 1)].map(|(dx, dy)| self.data[(2 * y + dy) * self.width + 2 * x + dx]);
                let sound = cell.iter().filter(|v| !v.is_nan());
                let (sum, count) = sound.fold((0.0, 0), |s, v| (s.0 + v, s.1 + 1));
                data.push(if count > 2 { sum / count as f32 } else { f32::NAN });
            }
        }
        Self { width, height, data }
    }
}
