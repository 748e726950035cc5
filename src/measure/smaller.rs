//! A frame at a smaller size, as a sensor of larger pixels would have seen it.

use crate::shot::Plane;

/// The plane at a size no larger than its own: each pixel is the mean light over the area that it covers.
///
/// Blur in the answer is that of the larger pixels: the mean is their aperture, and what the frame's own pixels took comes on
/// top of it. A pixel with a clipped sample in it is clipped. Where a side is larger than the plane's it stays as it is.
#[must_use]
pub fn smaller(plane: &Plane, width: usize, height: usize) -> Plane {
    let (width, height) = (width.clamp(1, plane.width.max(1)), height.clamp(1, plane.height.max(1)));
    let (across, down) = (shares(plane.width, width), shares(plane.height, height));
    let mut data = Vec::with_capacity(width * height);
    let mut sums = vec![0.0_f64; width];
    let mut clipped = vec![false; width];
    for rows in &down {
        sums.fill(0.0);
        clipped.fill(false);
        for &(y, weight) in rows {
            let row = plane.row(y);
            for ((sum, clip), cell) in sums.iter_mut().zip(&mut clipped).zip(&across) {
                *sum += weight * cell.iter().map(|&(x, share)| share * f64::from(row[x])).sum::<f64>();
                *clip |= cell.iter().any(|&(x, _)| row[x] >= plane.saturation);
            }
        }
        let level = |(sum, clip): (&f64, &bool)| if *clip { plane.saturation } else { sum.round() as u16 };
        data.extend(sums.iter().zip(&clipped).map(level));
    }
    plane.resampled(width, height, data)
}

/// For each of `to` cells along `from` samples: the samples under it, and the share of the cell that each takes.
fn shares(from: usize, to: usize) -> Vec<Vec<(usize, f64)>> {
    let step = from as f64 / to as f64;
    let cell = |i: usize| {
        let (start, end) = (i as f64 * step, (i + 1) as f64 * step);
        let last = (end.ceil() as usize).min(from);
        let share = |j: usize| (end.min((j + 1) as f64) - start.max(j as f64)).max(0.0) / step;
        (start as usize..last).map(|j| (j, share(j))).filter(|s| s.1 > 1e-9).collect()
    };
    (0..to).map(cell).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn light_is_neither_lost_nor_moved() {
        // 9 samples to 6 and back to their mean: each larger pixel covers one and a half.
        let plane = Plane::of_test(9, (0..81).map(|i| 100 + 40 * (i % 9) as u16).collect());
        let small = smaller(&plane, 6, 6);
        let mean = |p: &Plane| p.data.iter().map(|&v| f64::from(v)).sum::<f64>() / p.data.len() as f64;
        assert!((mean(&small) - mean(&plane)).abs() < 0.5);
        // A ramp stays a ramp: the mean of 0 and half of 40 over one and a half samples, and so on in even steps.
        let row: Vec<u16> = small.row(2).to_vec();
        assert_eq!(row, [113, 167, 233, 287, 353, 407]);
        assert_eq!(smaller(&plane, 9, 9).data, plane.data);
    }

    #[test]
    fn a_pixel_with_a_clipped_sample_in_it_is_clipped() {
        let mut data = vec![500_u16; 64];
        data[9] = 60_000;
        let small = smaller(&Plane::of_test(8, data), 4, 4);
        assert_eq!(small.data.iter().filter(|&&v| v == 60_000).count(), 1);
        assert_eq!(small.data[0], 60_000);
    }
}
