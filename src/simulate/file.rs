//! Simulated pictures as files: Exif, JPEG as a camera develops it, and Bayer DNG as it records it.

use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Context, Field, In, Rational, SRational, Tag, Value};
use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder};

use super::noise::Dice;
use super::render::Rendered;
use super::scene::SceneSpec;
use super::sensor::{Noise, to_srgb};

/// Linear light as files are made from it.
#[derive(Clone, Copy, Debug)]
pub struct Light<'a> {
    /// Width, px.
    pub width: usize,
    /// Height, px.
    pub height: usize,
    /// Luminance, row-major, white = 1.
    pub luminance: &'a [f32],
    /// Red less luminance and blue less luminance; grey if `None`.
    pub chroma: Option<&'a [Vec<f32>; 2]>,
}

impl Light<'_> {
    /// Red, green and blue of a pixel (primaries of sRGB), not below zero.
    #[must_use]
    pub fn rgb(&self, index: usize) -> [f32; 3] {
        let y = self.luminance[index];
        let (r, b) = self.chroma.map_or((y, y), |c| (y + c[0][index], y + c[1][index]));
        // Luminance weights of the sRGB primaries, IEC 61966-2-1.
        let g = (y - 0.2126 * r - 0.0722 * b) / 0.7152;
        [r, g, b].map(|v| v.max(0.0))
    }
}

impl Rendered {
    /// The light of the picture.
    #[must_use]
    pub fn light(&self) -> Light<'_> {
        Light { width: self.width, height: self.height, luminance: &self.luminance, chroma: Some(&self.chroma) }
    }
}

/// What the file shall say of how it was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Facts {
    /// f-number.
    pub f_number: f64,
    /// Focal length, mm.
    pub focal_mm: f64,
    /// Pixel pitch, um.
    pub pitch_um: f64,
    /// Width on a 24 x 36 mm frame of the same field over the picture's own, for the 35 mm equivalent.
    pub crop: f64,
    /// Focus distance, m; infinite allowed; `None` leaves it out.
    pub focus_m: Option<f64>,
    /// Exposure time, s, as a fraction.
    pub exposure_s: (u32, u32),
    /// ISO speed.
    pub iso: u16,
    /// Date and time in Exif's form, `2026:03:14 07:12:00`.
    pub date: String,
}

impl Facts {
    /// The facts of a scene, dated and exposed as given.
    #[must_use]
    pub fn of(spec: &SceneSpec, exposure_s: (u32, u32), iso: u16, date: &str) -> Self {
        let camera = &spec.camera;
        let long_mm = camera.width.max(camera.height) as f64 * camera.pitch_um * 1e-3;
        Self {
            f_number: camera.f_number,
            focal_mm: camera.focal_mm,
            pitch_um: camera.pitch_um,
            crop: 36.0 / long_mm,
            focus_m: Some(camera.focus_m),
            exposure_s,
            iso,
            date: date.to_owned(),
        }
    }
}

/// Maker, model and lens of the invented camera.
const MAKE: &str = "Example";
const MODEL: &str = "Example C24";

fn field(tag: Tag, value: Value) -> Field {
    Field { tag, ifd_num: In::PRIMARY, value }
}

fn text(tag: Tag, words: &str) -> Field {
    field(tag, Value::Ascii(vec![words.as_bytes().to_vec()]))
}

fn ratio(tag: Tag, num: u32, denom: u32) -> Field {
    field(tag, Value::Rational(vec![Rational { num, denom }]))
}

fn exif_fields(facts: &Facts, width: usize, height: usize) -> Vec<Field> {
    let mut fields = vec![
        text(Tag::Make, MAKE),
        text(Tag::Model, MODEL),
        field(Tag::Orientation, Value::Short(vec![1])),
        text(Tag::DateTimeOriginal, &facts.date),
        field(Tag::ExifVersion, Value::Undefined(b"0232".to_vec(), 0)),
        ratio(Tag::ExposureTime, facts.exposure_s.0, facts.exposure_s.1),
        ratio(Tag::FNumber, (facts.f_number * 10.0).round() as u32, 10),
        ratio(Tag::FocalLength, (facts.focal_mm * 10.0).round() as u32, 10),
        field(Tag::FocalLengthIn35mmFilm, Value::Short(vec![(facts.focal_mm * facts.crop).round() as u16])),
        field(Tag::PhotographicSensitivity, Value::Short(vec![facts.iso])),
        text(Tag::LensModel, &format!("Example {:.0} mm", facts.focal_mm)),
        field(Tag::PixelXDimension, Value::Long(vec![width as u32])),
        field(Tag::PixelYDimension, Value::Long(vec![height as u32])),
        field(Tag::ColorSpace, Value::Short(vec![1])),
        // Pixels to the centimetre.
        ratio(Tag::FocalPlaneXResolution, (1e7 / facts.pitch_um).round() as u32, 1000),
        ratio(Tag::FocalPlaneYResolution, (1e7 / facts.pitch_um).round() as u32, 1000),
        field(Tag::FocalPlaneResolutionUnit, Value::Short(vec![3])),
    ];
    if let Some(metres) = facts.focus_m {
        // Exif 2.32: the numerator FFFFFFFF stands for infinity.
        fields.push(if metres.is_finite() {
            ratio(Tag::SubjectDistance, (metres * 1000.0).round() as u32, 1000)
        } else {
            ratio(Tag::SubjectDistance, u32::MAX, 1)
        });
    }
    fields
}

/// Writes fields as a TIFF block, with image data if there are strips.
fn tiff_block(fields: &[Field], strips: &[&[u8]]) -> Vec<u8> {
    let mut writer = Writer::new();
    for field in fields {
        writer.push_field(field);
    }
    if !strips.is_empty() {
        writer.set_strips(strips, In::PRIMARY);
    }
    let mut out = Cursor::new(Vec::new());
    // Writing to memory can fail only for a value the writer does not know, and all are of plain kinds.
    if writer.write(&mut out, true).is_err() {
        return Vec::new();
    }
    out.into_inner()
}

/// How a camera develops a JPEG.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Developing {
    /// JPEG quality, 1 to 100.
    pub quality: u8,
    /// Strength of unsharp masking (radius 1 px) in the camera, 0 for none.
    pub sharpening: f32,
    /// Noise of the sensor, applied to each colour.
    pub noise: Noise,
    /// Seed of the noise.
    pub seed: u64,
}

/// A JPEG with sRGB values and Exif, or why it could not be made.
///
/// # Errors
/// Where the picture is too large for the format.
pub fn jpeg(light: &Light, facts: Option<&Facts>, developing: &Developing) -> image::ImageResult<Vec<u8>> {
    let (w, h) = (light.width, light.height);
    let mut dice = Dice::new(developing.seed ^ 0x0DE7_E10B);
    let mut values: Vec<[f32; 3]> = (0..w * h)
        .map(|i| {
            light.rgb(i).map(|v| {
                let level = f64::from(v);
                let noisy = if developing.noise == Noise::NONE {
                    level
                } else {
                    level + developing.noise.sd(level) * dice.normal()
                };
                to_srgb(noisy as f32)
            })
        })
        .collect();
    if developing.sharpening > 0.0 {
        sharpen(&mut values, w, developing.sharpening);
    }
    let bytes: Vec<u8> = values.iter().flatten().map(|v| (255.0 * v).round().clamp(0.0, 255.0) as u8).collect();
    let mut out = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut out, developing.quality);
    if let Some(facts) = facts {
        // The encoder takes Exif; were it ever not to, the picture would simply carry no facts.
        let _ = encoder.set_exif_metadata(tiff_block(&exif_fields(facts, w, h), &[]));
    }
    encoder.write_image(&bytes, w as u32, h as u32, ExtendedColorType::Rgb8)?;
    Ok(out)
}

/// Unsharp masking of the luma by a 5-point binomial (sigma 1 px), in code values as cameras do.
fn sharpen(values: &mut [[f32; 3]], width: usize, strength: f32) {
    let height = values.len() / width;
    let luma: Vec<f32> = values.iter().map(|v| 0.299 * v[0] + 0.587 * v[1] + 0.114 * v[2]).collect();
    const TAPS: [f32; 5] = [1.0 / 16.0, 4.0 / 16.0, 6.0 / 16.0, 4.0 / 16.0, 1.0 / 16.0];
    let near = |i: usize, k: usize, last: usize| (i + k).saturating_sub(2).min(last);
    let across: Vec<f32> = (0..luma.len())
        .map(|at| {
            let (x, y) = (at % width, at / width);
            TAPS.iter().enumerate().map(|(k, t)| t * luma[y * width + near(x, k, width - 1)]).sum()
        })
        .collect();
    for (at, value) in values.iter_mut().enumerate() {
        let (x, y) = (at % width, at / width);
        let soft: f32 = TAPS.iter().enumerate().map(|(k, t)| t * across[near(y, k, height - 1) * width + x]).sum();
        let more = strength * (luma[at] - soft);
        value.iter_mut().for_each(|v| *v += more);
    }
}

/// How a sensor with colour filters records.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Recording {
    /// Bits a sample, 10 to 16.
    pub bits: u32,
    /// Share of red and blue light that its filters let through, green being 1.
    pub red_blue: (f32, f32),
    /// Noise of the sensor in units of its full scale.
    pub noise: Noise,
    /// Seed of the noise.
    pub seed: u64,
}

impl Recording {
    /// Level that stands for no light.
    #[must_use]
    pub fn black(&self) -> u16 {
        1 << (self.bits - 5)
    }

    /// Highest level.
    #[must_use]
    pub fn white(&self) -> u16 {
        ((1u32 << self.bits) - 1) as u16
    }
}

/// Samples of a Bayer sensor, red at the top-left, row-major.
#[must_use]
pub fn bayer(light: &Light, recording: &Recording) -> Vec<u16> {
    let mut dice = Dice::new(recording.seed ^ 0xBA7E_4000);
    let (black, white) = (f64::from(recording.black()), f64::from(recording.white()));
    (0..light.width * light.height)
        .map(|i| {
            let rgb = light.rgb(i);
            let level = f64::from(match ((i % light.width) & 1, (i / light.width) & 1) {
                (0, 0) => rgb[0] * recording.red_blue.0,
                (1, 1) => rgb[2] * recording.red_blue.1,
                _ => rgb[1],
            });
            let noisy =
                if recording.noise == Noise::NONE { level } else { level + recording.noise.sd(level) * dice.normal() };
            (black + (white - black) * noisy).round().clamp(0.0, white) as u16
        })
        .collect()
}

/// An uncompressed Bayer DNG with Exif, after Adobe's DNG specification 1.4.
#[must_use]
pub fn dng(light: &Light, facts: &Facts, recording: &Recording) -> Vec<u8> {
    let samples: Vec<u8> = bayer(light, recording).into_iter().flat_map(u16::to_le_bytes).collect();
    let (w, h) = (light.width as u32, light.height as u32);
    let custom = |number: u16, value: Value| field(Tag(Context::Tiff, number), value);
    let share = |v: f32| Rational { num: (f64::from(v) * 1e4).round() as u32, denom: 10_000 };
    // XYZ (D65) to linear sRGB, IEC 61966-2-1, rows scaled by the filters: the camera's own colours.
    let scale = [recording.red_blue.0, 1.0, recording.red_blue.1];
    let matrix = [3.2406, -1.5372, -0.4986, -0.9689, 1.8758, 0.0415, 0.0557, -0.2040, 1.0570f32];
    let matrix = matrix
        .iter()
        .enumerate()
        .map(|(i, v)| SRational { num: (f64::from(v * scale[i / 3]) * 1e4).round() as i32, denom: 10_000 })
        .collect();
    let mut fields = exif_fields(facts, light.width, light.height);
    fields.extend([
        custom(254, Value::Long(vec![0])),
        custom(256, Value::Long(vec![w])),
        custom(257, Value::Long(vec![h])),
        custom(258, Value::Short(vec![16])),
        custom(259, Value::Short(vec![1])),
        // Photometric interpretation: colour filter array.
        custom(262, Value::Short(vec![32_803])),
        custom(277, Value::Short(vec![1])),
        custom(278, Value::Long(vec![h])),
        custom(284, Value::Short(vec![1])),
        // CFARepeatPatternDim and CFAPattern: red green / green blue.
        custom(33_421, Value::Short(vec![2, 2])),
        custom(33_422, Value::Byte(vec![0, 1, 1, 2])),
        // DNGVersion, DNGBackwardVersion, UniqueCameraModel.
        custom(50_706, Value::Byte(vec![1, 4, 0, 0])),
        custom(50_707, Value::Byte(vec![1, 1, 0, 0])),
        custom(50_708, Value::Ascii(vec![MODEL.as_bytes().to_vec()])),
        // BlackLevel, WhiteLevel.
        custom(50_714, Value::Short(vec![recording.black()])),
        custom(50_717, Value::Long(vec![u32::from(recording.white())])),
        // ColorMatrix1, AsShotNeutral, CalibrationIlluminant1 (D65).
        custom(50_721, Value::SRational(matrix)),
        custom(50_728, Value::Rational(scale.iter().map(|&v| share(v)).collect())),
        custom(50_778, Value::Short(vec![21])),
    ]);
    tiff_block(&fields, &[&samples])
}
