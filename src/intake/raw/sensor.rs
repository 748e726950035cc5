//! Sensor: what a raw decoder hands over, in one form for both of them, its levels checked.

use ::rawler::rawimage::RawPhotometricInterpretation;

use crate::quantity::Flag;

/// Samples of a sensor and what is needed to turn them into luminance.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensor {
    /// Samples, `channels` a pixel, `stride` pixels a row.
    pub samples: Vec<u16>,
    /// Pixels in a stored row.
    pub stride: usize,
    /// First column of the picture proper.
    pub left: usize,
    /// First row of the picture proper.
    pub top: usize,
    /// Width of the picture proper, pixels.
    pub width: usize,
    /// Height of the picture proper, pixels.
    pub height: usize,
    /// Samples a pixel: 1, or 3 and more where the file holds full colour.
    pub channels: usize,
    /// Colour of each site, from the picture's top-left pixel on; `None` for full colour and monochrome.
    pub pattern: Option<Pattern>,
    /// Black levels: of the four sites of a 2 x 2 pattern in row-major order, else of the channels.
    pub black: [f32; 4],
    /// White level, the same for all channels.
    pub white: f32,
    /// White-balance gains of red, green and blue, relative to green.
    pub gains: [f32; 3],
    /// From linear sRGB to the camera's own red, green and blue before white balance, each row to any scale; `None` where
    /// the camera's colours are not known. For looking only.
    pub from_srgb: Option<[[f32; 3]; 3]>,
    /// Exif orientation as the decoder knows it; 0 where it does not.
    pub orientation: u16,
    /// How many exposures the file holds.
    pub exposures: usize,
    /// Share of the picture that is there, from the top, where it is not all; the rest is white.
    pub coded: Option<f64>,
    /// What else its reader should know.
    pub flags: Vec<Flag>,
}

/// A repeating colour filter pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pattern {
    /// Side of the pattern: 2 or 6.
    pub side: usize,
    /// Row-major colours, 0 red, 1 green, 2 blue; the first `side * side` count.
    pub colours: [u8; 36],
}

impl Pattern {
    /// From a function that tells the colour at (x, y); `None` where it is neither Bayer nor 6 x 6 with greens.
    pub(super) fn new(side: usize, colour: impl Fn(usize, usize) -> usize) -> Option<Self> {
        if !matches!(side, 2 | 6) {
            return None;
        }
        let mut colours = [0; 36];
        for (i, c) in colours[..side * side].iter_mut().enumerate() {
            *c = u8::try_from(colour(i % side, i / side)).ok().filter(|c| *c < 3)?;
        }
        let pattern = Self { side, colours };
        let sound = if side == 2 {
            let [a, b, c, d] = [colours[0], colours[1], colours[2], colours[3]].map(|c| c == 1);
            a == d && b == c && a != b
        } else {
            (12..30).contains(&colours.iter().filter(|c| **c == 1).count())
        };
        sound.then_some(pattern)
    }

    /// Colour of the site at (x, y).
    #[must_use]
    pub const fn colour(&self, x: usize, y: usize) -> usize {
        self.colours[y % self.side * self.side + x % self.side] as usize
    }
}

/// Why a raw file could not be decoded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refused {
    /// The decoder knows no such camera or kind of file.
    Unknown(String),
    /// The file's content is broken, in the decoder's words.
    Broken(String),
    /// It decodes, but to no photograph: a clause for a photographer.
    Unsound(&'static str),
}

impl Refused {
    /// What the decoder said, in its own words.
    pub(super) fn words(&self) -> Option<&str> {
        match self {
            Self::Unknown(words) | Self::Broken(words) => Some(words),
            Self::Unsound(_) => None,
        }
    }
}

/// Gains relative to green; 1 where the file states none or nonsense.
fn relative(coefficients: [f32; 4]) -> [f32; 3] {
    let [red, green, blue, _] = coefficients;
    let green = if green.is_finite() && green > 0.0 { green } else { 1.0 };
    [red, green, blue].map(|v| Some(v / green).filter(|g| g.is_finite() && (0.05..20.0).contains(g)).unwrap_or(1.0))
}

/// From linear sRGB to the camera's colours, by its matrix from the XYZ of daylight (D65); `None` where that says nothing.
pub(super) fn of_xyz(camera: [[f32; 3]; 3]) -> Option<[[f32; 3]; 3]> {
    // Linear sRGB to XYZ, IEC 61966-2-1, clause 5.2.
    const XYZ: [[f32; 3]; 3] = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]];
    let product = camera.map(|row| std::array::from_fn(|c| (0..3).map(|k| row[k] * XYZ[k][c]).sum::<f32>()));
    // A camera answers neutral light in every channel.
    let sound =
        product.iter().all(|row: &[f32; 3]| row.iter().all(|v| v.is_finite()) && row.iter().sum::<f32>() > 0.01);
    sound.then_some(product)
}

impl Sensor {
    /// From rawloader. `relative_pattern` says that the pattern counts from the crop's corner (as in DNG).
    pub(super) fn of_rawloader(image: ::rawloader::RawImage, relative_pattern: bool) -> Result<Self, Refused> {
        let [top, right, bottom, left] = image.crops;
        let (stride, full_height, channels) = (image.width, image.height, image.cpp);
        let width = stride.saturating_sub(left + right);
        let height = full_height.saturating_sub(top + bottom);
        let cfa = if relative_pattern { image.cfa.clone() } else { image.cropped_cfa() };
        let pattern =
            if channels == 1 && cfa.is_valid() {
                let found = Pattern::new(cfa.width.max(cfa.height), |x, y| cfa.color_at(y, x));
                Some(found.ok_or_else(|| {
                    Refused::Unknown(format!("the colour filter pattern {} is not handled", cfa.name))
                })?)
            } else {
                None
            };
        let black = image.blacklevels.map(f32::from);
        let black = match pattern {
            Some(p) if p.side == 2 => std::array::from_fn(|i| black[p.colour(i % 2, i / 2)]),
            _ => black,
        };
        let white = image.whitelevels[1].max(image.whitelevels[0]);
        let white_of_floats = f32::from(if white == 0 { 1 } else { white });
        let (samples, black, white) = match image.data {
            ::rawloader::RawImageData::Integer(samples) => (samples, black, f32::from(white)),
            ::rawloader::RawImageData::Float(samples) => from_floats(&samples, black, white_of_floats),
        };
        let neutral = |v: [f32; 4]| v[..3].iter().all(|c| c.is_finite() && *c > 0.0);
        let gains = relative(if neutral(image.wb_coeffs) { image.wb_coeffs } else { [f32::NAN; 4] });
        let sensor = Self {
            samples,
            stride,
            left,
            top,
            width,
            height,
            channels,
            pattern,
            black,
            white,
            gains,
            from_srgb: of_xyz([0, 1, 2].map(|c| image.xyz_to_cam[c])),
            orientation: image.orientation.to_u16(),
            exposures: 1,
            coded: None,
            flags: Vec::new(),
        };
        sensor.checked(full_height)
    }

    /// From rawler. `relative_pattern` says that the file states the pattern from the active area's corner on.
    pub(super) fn of_rawler(
        image: ::rawler::RawImage,
        relative_pattern: bool,
        exposures: usize,
    ) -> Result<Self, Refused> {
        if image.fuji_rotation_width.is_some() {
            return Err(Refused::Unknown("sensors with diagonal rows are not handled".into()));
        }
        let (stride, full_height, channels) = (image.width, image.height, image.cpp);
        let corner = |r: &::rawler::imgop::Rect| (r.p.x, r.p.y);
        let whole = (0, 0, stride, full_height);
        let area = image.crop_area.or(image.active_area).filter(|r| r.d.w > 0 && r.d.h > 0);
        let (left, top, width, height) = area.map_or(whole, |r| (r.p.x, r.p.y, r.d.w, r.d.h));
        let active = image.active_area.as_ref().map_or((0, 0), corner);
        // For patterns stated from the active area on, rawler shifts forward where back is meant; the difference vanishes
        // for 2 x 2 but not for 6 x 6.
        let back = if relative_pattern { (2 * (active.0 % 48), 2 * (active.1 % 48)) } else { (0, 0) };
        let pattern = pattern_of_rawler(&image, (left + 96 - back.0, top + 96 - back.1))?;
        let levels = image.blacklevel.as_vec();
        let level = &image.blacklevel;
        let black = match pattern {
            Some(p) if p.side == 2 && level.cpp == 1 && level.width > 0 && level.height > 0 => {
                // Levels repeat from the active area's corner on.
                let (dx, dy) = (left.saturating_sub(active.0), top.saturating_sub(active.1));
                std::array::from_fn(|i| {
                    let (x, y) = ((i % 2 + dx) % level.width, (i / 2 + dy) % level.height);
                    levels.get(y * level.width + x).copied().unwrap_or(0.0)
                })
            }
            _ => std::array::from_fn(|i| levels.get(i).or(levels.first()).copied().unwrap_or(0.0)),
        };
        let whites = image.whitelevel.as_vec();
        let white = whites.get(1).or(whites.first()).copied().unwrap_or(65535.0);
        let (samples, black, white) = match image.data {
            ::rawler::RawImageData::Integer(samples) => (samples, black, white),
            ::rawler::RawImageData::Float(samples) => from_floats(&samples, black, white),
        };
        let sensor = Self {
            samples,
            stride,
            left,
            top,
            width,
            height,
            channels,
            pattern,
            black,
            white,
            gains: relative(image.wb_coeffs),
            from_srgb: of_xyz([0, 1, 2].map(|c| image.xyz_to_cam[c])),
            orientation: image.orientation.to_u16(),
            exposures,
            coded: None,
            flags: Vec::new(),
        };
        sensor.checked(full_height)
    }

    /// One row of the picture proper.
    #[must_use]
    pub fn row(&self, y: usize) -> &[u16] {
        &self.samples[((self.top + y) * self.stride + self.left) * self.channels..][..self.width * self.channels]
    }
}

/// The colour filter pattern of a picture with one sample a pixel from `corner` on; `None` for full colour and monochrome.
fn pattern_of_rawler(image: &::rawler::RawImage, corner: (usize, usize)) -> Result<Option<Pattern>, Refused> {
    let RawPhotometricInterpretation::Cfa(config) = &image.photometric else { return Ok(None) };
    if image.cpp != 1 {
        return Ok(None);
    }
    let cfa = &config.cfa;
    let at = |x: usize, y: usize| cfa.color_at((y + corner.1) % 48, (x + corner.0) % 48);
    let unknown = || Refused::Unknown(format!("the colour filter pattern {} is not handled", cfa.name));
    Pattern::new(cfa.width.max(cfa.height), at).map(Some).ok_or_else(unknown)
}

/// Integer samples, black and white of floating-point ones, with room below black for noise.
pub(super) fn from_floats(samples: &[f32], black: [f32; 4], white: f32) -> (Vec<u16>, [f32; 4], f32) {
    const PEDESTAL: f32 = 2048.0;
    let white = bright(samples, white);
    let scale = (60_000.0 - PEDESTAL) / white.max(f32::MIN_POSITIVE);
    let level = |v: f32| v * scale + PEDESTAL;
    let samples = samples.iter().map(|v| if v.is_finite() { level(*v).round() as u16 } else { 0 }).collect();
    (samples, black.map(level), 60_000.0)
}

/// The white of floating-point samples: what is stated, unless more than a twentieth of them is well beyond it (the unit has no
/// end of its own); then what all but a thousandth come to.
fn bright(samples: &[f32], white: f32) -> f32 {
    let mut some: Vec<f32> = samples.iter().step_by(7).copied().filter(|v| v.is_finite()).collect();
    let over = some.iter().filter(|v| **v > 1.05 * white).count();
    if over * 20 <= some.len() {
        return white;
    }
    let place = some.len() - 1 - some.len() / 1000;
    *some.select_nth_unstable_by(place, f32::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn floats_without_a_white_of_their_own_are_not_clipped() {
        let bright: Vec<f32> = (0..10_000).map(|i| i as f32 * 0.0037).collect();
        let (samples, black, white) = from_floats(&bright, [0.0; 4], 1.0);
        assert_eq!((black[0], white), (2048.0, 60_000.0));
        let light = |v: f32| (v - black[0]) / (white - black[0]) * 36.9593;
        assert!(samples.iter().zip(&bright).all(|(s, v)| (light(f32::from(*s)) - v).abs() < 0.05));
        // A few glints are left to clip.
        let mut few = vec![0.5; 10_000];
        few[..100].fill(9.0);
        assert_eq!(from_floats(&few, [0.0; 4], 1.0).0[5000], 31_024);
    }

    #[test]
    fn patterns_without_a_green_checkerboard_are_refused() {
        assert!(Pattern::new(2, |x, y| [0, 1, 1, 2][y * 2 + x]).is_some());
        assert!(Pattern::new(2, |x, y| [1, 1, 0, 2][y * 2 + x]).is_none());
        assert!(Pattern::new(2, |x, y| [0, 1, 3, 2][y * 2 + x]).is_none());
        assert!(Pattern::new(12, |_, _| 1).is_none());
    }

    #[test]
    fn gains_are_relative_to_green_and_sound() {
        assert_eq!(relative([2.0, 1.0, 1.5, f32::NAN]), [2.0, 1.0, 1.5]);
        assert_eq!(relative([1024.0, 512.0, 768.0, 0.0]), [2.0, 1.0, 1.5]);
        assert_eq!(relative([f32::NAN, f32::NAN, f32::NAN, f32::NAN]), [1.0; 3]);
        assert_eq!(relative([0.0, 1.0, 1e9, 0.0]), [1.0; 3]);
    }
}
