//! Plane: row-major linear luminance in 16 bits, its levels, and how it was sampled. No arithmetic on pictures here.

use serde::{Deserialize, Serialize};

/// Linear luminance of an upright picture.
///
/// Row-major, `width * height` samples, origin at the top-left pixel; pixel (x, y) covers the square
/// from (x, y) to (x + 1, y + 1), so its centre is at (x + 0.5, y + 0.5). A sample `v` stands for the
/// relative luminance `(v - black) / (white - black)`; noise may reach below `black`.
#[derive(Clone, Debug, PartialEq)]
pub struct Plane {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Samples.
    pub data: Vec<u16>,
    /// Level that stands for no light (a pedestal keeps noise below it).
    pub black: u16,
    /// Level that stands for relative luminance 1.
    pub white: u16,
    /// Samples at or above this level are clipped; `white` where nothing better is known.
    pub saturation: u16,
    /// Which samples the sensor itself recorded as luminance (green), where the plane comes from a mosaic.
    pub mosaic: Mosaic,
    /// The block structure left by JPEG compression, where there is one.
    pub jpeg: Option<JpegBlocks>,
    /// Whether the file's values went through a rendering tone curve (so noise and edges may have been processed).
    pub rendered: bool,
}

/// Which samples of a plane are the sensor's own, the rest being interpolated from them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Mosaic {
    /// All of them are as good as each other.
    #[default]
    None,
    /// A checkerboard: (x + y) even are measured if `even`, odd ones otherwise (Bayer green).
    Checkerboard {
        /// Parity of the measured sites.
        even: bool,
    },
    /// A 6 x 6 pattern (X-Trans): bit `6 * (y % 6) + (x % 6)` set where measured.
    Six(u64),
}

impl Mosaic {
    /// Whether the sample at (x, y) was measured by the sensor rather than interpolated.
    #[inline]
    #[must_use]
    pub const fn measured(self, x: usize, y: usize) -> bool {
        match self {
            Self::None => true,
            Self::Checkerboard { even } => ((x ^ y) & 1 == 0) == even,
            Self::Six(bits) => bits >> (6 * (y % 6) + x % 6) & 1 == 1,
        }
    }
}

/// The block grid and luma quantisation of a JPEG, in the upright plane's coordinates.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JpegBlocks {
    /// Block side in pixels along x and y (8 unless the picture was scaled while decoding).
    pub size: usize,
    /// x of one block's left edge, 0 to size - 1.
    pub x0: usize,
    /// y of one block's top edge, 0 to size - 1.
    pub y0: usize,
    /// Luma quantisation steps in row-major frequency order of the upright picture (row = vertical frequency).
    pub luma_steps: [u16; 64],
}

#[cfg(test)]
impl Plane {
    /// A square of samples up to 60,000 levels, for tests.
    pub(crate) const fn of_test(side: usize, data: Vec<u16>) -> Self {
        Self::plain(side, side, data, 60_000)
    }
}

impl Plane {
    /// Samples from no light at 0 to `white`, where they are clipped, all of them the sensor's own, with neither blocks nor a
    /// tone curve.
    #[must_use]
    pub const fn plain(width: usize, height: usize, data: Vec<u16>, white: u16) -> Self {
        let (black, saturation, mosaic, jpeg, rendered) = (0, white, Mosaic::None, None, false);
        Self { width, height, data, black, white, saturation, mosaic, jpeg, rendered }
    }

    /// Samples made of this plane's, on the same levels: as good as each other, and without blocks.
    pub(crate) fn resampled(&self, width: usize, height: usize, data: Vec<u16>) -> Self {
        let Self { black, saturation, rendered, .. } = *self;
        Self { black, saturation, rendered, ..Self::plain(width, height, data, self.white) }
    }

    /// Relative luminance of the sample at (x, y): 0 is black, 1 white.
    #[inline]
    #[must_use]
    pub fn luminance(&self, x: usize, y: usize) -> f32 {
        (f32::from(self.data[y * self.width + x]) - f32::from(self.black)) / self.range()
    }

    /// Levels between black and white.
    #[inline]
    #[must_use]
    pub fn range(&self) -> f32 {
        f32::from(self.white) - f32::from(self.black)
    }

    /// One row of samples.
    #[inline]
    #[must_use]
    pub fn row(&self, y: usize) -> &[u16] {
        &self.data[y * self.width..(y + 1) * self.width]
    }
}
