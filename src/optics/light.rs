//! How much light a pixel gathers, and so how much noise its picture must have.

/// Signal-to-noise ratio of a mid-tone from which prints of a picture look excellent; below it the noise is seen. Published:
/// ISO 12232:2019 (from memory), which found it by asking people.
pub const EXCELLENT: f64 = 40.0;

/// Signal-to-noise ratio of a mid-tone below which prints of a picture are not acceptable for their noise. Published:
/// ISO 12232:2019 (from memory), found by asking people.
pub const ACCEPTABLE: f64 = 10.0;

/// Relative luminance of a mid-tone. Published: ISO 12232:2019 (from memory), whose mid-tone is the 18 % grey of exposure meters.
pub const GREY: f64 = 0.18;

/// Exposure of a mid-tone times the ISO speed, lux seconds. Published: ISO 12232:2019 (from memory), the exposure of a
/// mid-tone at ISO 1.
const MID_TONE: f64 = 10.0;

/// Photons in a square micrometre for each lux second of green light. Derived: 1/683 W per lumen at 555 nm (the
/// definition of the candela) over the energy of such a photon.
const PHOTONS: f64 = 4090.0;

/// Share of the photons of green light that are counted. Chosen: sensors behind colour filters count two to six of ten
/// (from memory).
const COUNTED: f64 = 0.5;

/// Signal to noise of a mid-tone in a pixel of `pitch_um` at `iso`, as far as light's own (shot) noise sets it.
///
/// The square root of the photons counted. The camera adds noise of its own, so this is a bound from above for what the sensor sees; what
/// share of the photons is counted is known to within a factor of two or so, thus the result to within 1.4. A picture may show less noise only
/// where it was smoothed after the sensor.
#[must_use]
pub fn signal_to_noise(iso: f64, pitch_um: f64) -> f64 {
    (COUNTED * PHOTONS * MID_TONE / iso * pitch_um * pitch_um).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From memory: data sheets of full-frame sensors with pixels of 6 um give 45,000 to 80,000 electrons at saturation at base ISO of 100,
    /// which lies 7.8 times above the mid-tone (78 over 10 in ISO 12232).
    #[test]
    fn a_full_pixel_holds_what_data_sheets_give() {
        let full = 7.8 * signal_to_noise(100.0, 6.0).powi(2);
        assert!((45e3..80e3).contains(&full), "{full}");
    }

    /// CODATA: the photons by the constants themselves.
    #[test]
    fn photons_of_a_lux_second() {
        let (planck, light, wave) = (6.626_070_15e-34, 2.997_924_58e8, 555e-9);
        let photons = 1.0 / 683.0 * 1e-12 / (planck * light / wave);
        assert!((PHOTONS / photons - 1.0).abs() < 1e-3, "{photons}");
    }
}
