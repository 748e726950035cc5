//! Noise of a frame from the corners of its block spectra, where the optics leave nothing of the scene.

use crate::measure::noise::line;

/// One block: its mean level and the mean power at the highest frequencies, levels and levels^2.
pub(super) type Reading = (f64, f64);

/// Noise variance of a sample against level: read + gain * level (EMVA 1288's form for a linear sensor).
pub(super) struct Noise {
    read: f64,
    gain: f64,
}

/// Chosen: as in one frame. Groups of level that the noise is fitted over.
const GROUPS: usize = 8;

impl Noise {
    /// Fits the quietest of the blocks at each level: what fine detail the lens passes only adds to a reading.
    pub(super) fn fit(readings: &[Reading]) -> Self {
        let mut readings = readings.to_vec();
        readings.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let size = readings.len().div_ceil(GROUPS).max(1);
        let quiet: Vec<Reading> = readings
            .chunks(size)
            .map(|group| {
                let mut group = group.to_vec();
                let at = group.len() / 7;
                *group.select_nth_unstable_by(at, |a, b| a.1.total_cmp(&b.1)).1
            })
            .collect();
        let (read, gain) = line(&quiet, 1e-6, 1e-6);
        Self { read, gain }
    }

    pub(super) fn variance(&self, level: f64) -> f64 {
        // Whole-number samples leave 1/12 at least.
        (self.read + self.gain * level.max(0.0)).max(1.0 / 12.0)
    }
}
