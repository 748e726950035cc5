//! A tile's spectrum at full size and reduced, for the search for tracks.

use std::sync::Arc;

use multiversion::multiversion;
use realfft::{RealFftPlanner, RealToComplex};
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

use crate::quantity::Region;
use crate::shot::{Mosaic, Plane};

/// Side of a patch, samples. Chosen: a power of two that fits a tile.
pub(super) const SIDE: usize = 64;
/// Frequencies that are kept of a row. Derived: as many as a real transform has.
const HALF: usize = SIDE / 2 + 1;
/// Number of clipped samples from which a patch is left out. Chosen: half a per cent.
const CLIPPED: usize = SIDE * SIDE / 200;

/// Plans and buffers for patches; one a thread.
pub(super) struct Spectrometer {
    rows: Arc<dyn RealToComplex<f32>>,
    columns: Arc<dyn Fft<f32>>,
    window: [f32; SIDE],
    patch: Vec<f32>,
    line: Vec<Complex32>,
    plane: Vec<Complex32>,
    scratch: Vec<Complex32>,
}

/// Adds a row's cells of `SHRINK` samples to `sums`; how many samples are clipped.
#[multiversion(targets("x86_64+avx2"))]
fn add_cells<const SHRINK: usize>(sums: &mut [f32], samples: &[u16], limit: u16) -> usize {
    let (cells, _) = samples.as_chunks::<SHRINK>();
    let mut clipped = 0_u32;
    for (sum, cell) in sums.iter_mut().zip(cells) {
        *sum += cell.iter().map(|&sample| u32::from(sample)).sum::<u32>() as f32;
        clipped += cell.iter().map(|&sample| u32::from(sample >= limit)).sum::<u32>();
    }
    clipped as usize
}

impl Spectrometer {
    pub(super) fn new() -> Self {
        let rows = RealFftPlanner::<f32>::new().plan_fft_forward(SIDE);
        let columns = FftPlanner::<f32>::new().plan_fft_forward(SIDE);
        // Von Hann's window, scaled so that white noise keeps its variance.
        let window = std::array::from_fn(|i| {
            let s = (std::f32::consts::PI * (i as f32 + 0.5) / SIDE as f32).sin();
            s * s / 0.375_f32.sqrt()
        });
        let scratch = rows.get_scratch_len().max(columns.get_inplace_scratch_len());
        Self {
            rows,
            columns,
            window,
            patch: vec![0.0; SIDE * SIDE],
            line: vec![Complex32::default(); HALF],
            plane: vec![Complex32::default(); HALF * SIDE],
            scratch: vec![Complex32::default(); scratch],
        }
    }

    /// Transforms the patch with its corner at (x, y), scaled so that white noise reads its variance (levels^2 a sample);
    /// `false` where too much is clipped.
    fn plain(&mut self, plane: &Plane, x: usize, y: usize) -> bool {
        let mut clipped = 0;
        let limit = plane.saturation;
        let quincunx = matches!(plane.mosaic, Mosaic::Checkerboard { .. });
        for (j, row) in self.patch.chunks_exact_mut(SIDE).enumerate() {
            if quincunx {
                // The green sites are a square lattice turned by 45 degrees, sqrt(2) px wide.
                let at = (y + j) * plane.width + x + SIDE - 1 - j;
                for (i, v) in row.iter_mut().enumerate() {
                    let sample = plane.data[at + i * (plane.width + 1)];
                    clipped += usize::from(sample >= limit);
                    *v = f32::from(sample);
                }
            } else {
                let at = (y + j) * plane.width + x;
                for (v, &sample) in row.iter_mut().zip(&plane.data[at..at + SIDE]) {
                    clipped += usize::from(sample >= limit);
                    *v = f32::from(sample);
                }
            }
        }
        clipped <= CLIPPED && self.transform()
    }

    /// Transforms the patch in the buffer; `false` where that fails.
    fn transform(&mut self) -> bool {
        let mean = self.patch.iter().sum::<f32>() / (SIDE * SIDE) as f32;
        for (j, row) in self.patch.chunks_exact_mut(SIDE).enumerate() {
            let scale = self.window[j] / SIDE as f32;
            for (v, w) in row.iter_mut().zip(&self.window) {
                *v = (*v - mean) * w * scale;
            }
            if self.rows.process_with_scratch(row, &mut self.line, &mut self.scratch).is_err() {
                return false;
            }
            for (k, v) in self.line.iter().enumerate() {
                self.plane[k * SIDE + j] = *v;
            }
        }
        self.columns.process_with_scratch(&mut self.plane, &mut self.scratch);
        true
    }

    /// The same of a patch of means over squares of `SHRINK` px; `false` where too much is clipped. Of a checkerboard only the measured samples are averaged.
    fn shrunk<const SHRINK: usize>(&mut self, plane: &Plane, x: usize, y: usize) -> bool {
        let checkered = matches!(plane.mosaic, Mosaic::Checkerboard { .. });
        let count = if checkered { SHRINK * SHRINK / 2 } else { SHRINK * SHRINK };
        let per = 1.0 / count as f32;
        let limit = plane.saturation;
        let mut clipped = 0;
        for (j, row) in self.patch.chunks_exact_mut(SIDE).enumerate() {
            row.fill(0.0);
            for y in y + SHRINK * j..y + SHRINK * (j + 1) {
                let skipped = usize::from(checkered && !plane.mosaic.measured(x, y));
                let samples = &plane.data[y * plane.width + x..][..SHRINK * SIDE];
                clipped += if checkered {
                    let every = samples.iter().enumerate().filter(|(i, _)| i % 2 == skipped);
                    for (i, &sample) in every.clone() {
                        row[i / SHRINK] += f32::from(sample);
                    }
                    every.filter(|(_, sample)| **sample >= limit).count()
                } else {
                    add_cells::<SHRINK>(row, samples, limit)
                };
            }
            row.iter_mut().for_each(|v| *v *= per);
        }
        clipped <= CLIPPED * count && self.transform()
    }

    /// Half spectrum, column by column, of a patch about a tile's middle reduced by a whole factor; `None` where the picture
    /// is too small or the patch too clipped. Not reduced, the green sites of a Bayer sensor are a lattice turned by 45
    /// degrees, so that the spectrum's axes point right-down and left-down.
    pub(super) fn middle<const SHRINK: usize>(&mut self, plane: &Plane, region: Region) -> Option<&[Complex32]> {
        let lattice = SHRINK == 1 && matches!(plane.mosaic, Mosaic::Checkerboard { .. });
        let reach = if lattice { 2 * SIDE } else { SHRINK * SIDE };
        if plane.width < reach || plane.height < reach {
            return None;
        }
        let place = |from: u32, side: u32, size: usize| {
            (from as usize + side as usize / 2).saturating_sub(reach / 2).min(size - reach)
        };
        let (x, mut y) = (place(region.x, region.width, plane.width), place(region.y, region.height, plane.height));
        let done = if lattice {
            // One row up or down brings the lattice onto the measured sites; the reach has a row to spare.
            y += usize::from(!plane.mosaic.measured(x + SIDE - 1, y));
            self.plain(plane, x, y)
        } else {
            self.shrunk::<SHRINK>(plane, x, y)
        };
        done.then_some(&self.plane)
    }
}
