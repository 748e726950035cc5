//! Published closed forms and the exact diffraction-and-defocus integral; scalars in, scalars out; no image, no file.
//!
//! Units are named in every argument. The lens is thin, with the pupil's magnification taken as one; distances
//! are from the entrance pupil; the f-number is the marked one where it isn't called the working one, which is
//! 1 + magnification times larger; light is incoherent, of one wavelength, and the pupil is an evenly lit circle.

pub mod aperture;
pub mod blur;
pub(crate) mod cover;
pub mod depth;
pub mod diffraction;
pub mod ground;
pub mod hopkins;
pub mod kernel;
pub mod light;
pub mod motion;
pub(crate) mod stops;
pub mod thin_lens;

/// The wavelength that stands for daylight as a sensor's green channel and the eye see it, um. Published: photopic
/// vision peaks at 555 nm (CIE 1924), which handbooks round to 550.
pub const WAVELENGTH_UM: f64 = 0.55;

/// Wavelength times f-number over the pitch, px: the scale of diffraction in a picture whose pixels are `pitch_um` apart.
#[must_use]
pub fn lambda_n_px(f_number: f64, pitch_um: f64) -> f64 {
    WAVELENGTH_UM * f_number / pitch_um
}
