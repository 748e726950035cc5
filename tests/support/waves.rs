//! The exact OTF by the waves that a lens is out of focus, as the tables have it.

use tussock::optics::hopkins;

/// OTF at `s` (frequency over the diffraction cut-off) of a lens out of focus by `waves` (W020 / lambda).
pub fn otf(waves: f64, s: f64) -> f64 {
    hopkins::otf_by_disc(8.0 * waves * s, s)
}

/// First frequency over the cut-off at which the OTF falls to `level` (0 to 1), by bisection.
pub fn frequency_at(level: f64, waves: f64) -> f64 {
    // The first crossing lies below both parts' own, with a little room: step out from zero, then halve.
    let step = 0.02 / (1.0 + 8.0 * waves.abs());
    let mut low = 0.0;
    while low + step < 1.0 && otf(waves, low + step) > level {
        low += step;
    }
    let mut high = (low + step).min(1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        *if otf(waves, middle) > level { &mut low } else { &mut high } = middle;
    }
    0.5 * (low + high)
}
