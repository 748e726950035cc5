//! PNG, TIFF and WebP to linear luminance through `image`, in one buffer; and what JPEG shares with them.

use std::io::{BufRead, Seek};
use std::path::Path;

use ::exif::{In, Tag, Value};
use image::{ColorType, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};

use super::levels::{Floats, luminance_of_bytes, luminance_of_floats, luminance_of_words, widen};
use super::luminance::Read;
use super::roomy::zeros;
use super::tone::{Named, Tone, WHITE};
use super::turn::Turn;
use super::{IntakeError, IntakeErrorKind, guard};
use crate::quantity::{Flag, srgb};
use crate::shot::Plane;

/// Most pixels a picture may have; four times the largest single-shot sensors.
pub(super) const MAX_PIXELS: usize = 600_000_000;

/// Most bytes a decoder may hold for one picture: 200 megapixels of 16-bit RGB and working space.
const MAX_BYTES: u64 = 2 << 30;

/// What a decoder needs to know from Exif before the facts proper are read.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Hints {
    /// Orientation, 1 to 8; 0 where not recorded.
    pub orientation: u16,
    /// Colour space by name.
    pub named: Named,
}

impl Hints {
    /// From an Exif block (a TIFF structure); damaged blocks give what can be had.
    pub(super) fn of(block: Option<&[u8]>) -> Self {
        let parsed = block.and_then(|b| {
            let mut reader = ::exif::Reader::new();
            reader.continue_on_error(true);
            reader.read_raw(b.to_vec()).or_else(|e| e.distill_partial_result(|_| ())).ok()
        });
        let Some(parsed) = parsed else { return Self::default() };
        let number = |tag| parsed.get_field(tag, In::PRIMARY).and_then(|f| f.value.get_uint(0));
        let interoperability = parsed.get_field(Tag::InteroperabilityIndex, In::PRIMARY);
        let r03 = matches!(interoperability.map(|f| &f.value), Some(Value::Ascii(v)) if v.iter().any(|s| s == b"R03"));
        // Colour space 2 is not in the standard, but cameras write it for Adobe RGB; 65535 is uncalibrated.
        let named = match number(Tag::ColorSpace) {
            Some(2) => Named::AdobeRgb,
            Some(1) => Named::Srgb,
            _ if r03 => Named::AdobeRgb,
            _ => Named::Srgb,
        };
        Self { orientation: number(Tag::Orientation).unwrap_or(0) as u16, named }
    }

    /// How the picture is turned: by the orientation that its facts tell, else by what the decoder found.
    pub(super) fn turn(self, orientation: Option<u16>, quarter_turns: u8) -> Turn {
        Turn::from_exif(orientation.unwrap_or(self.orientation)).then_clockwise(quarter_turns)
    }
}

/// A picture opened but not yet decoded.
struct Opened<'a> {
    decoder: Box<dyn ImageDecoder + 'a>,
    width: usize,
    height: usize,
    colour: ColorType,
    tone: Tone,
    turn: Turn,
}

fn open<'a, R: BufRead + Seek + 'a>(
    reader: R,
    format: ImageFormat,
    (orientation, quarter_turns): (Option<u16>, u8),
    path: &Path,
) -> Result<Opened<'a>, IntakeError> {
    let mut opening = ImageReader::with_format(reader, format);
    let mut limits = Limits::default();
    limits.max_alloc = Some(MAX_BYTES);
    opening.limits(limits);
    let mut decoder = opening.into_decoder().map_err(|e| failure(path, format, &e))?;
    let (width, height) = decoder.dimensions();
    let (width, height) = (width as usize, height as usize);
    if width == 0 || height == 0 {
        return Err(IntakeError::damaged(path, "the picture has no pixels"));
    }
    let pixels = width.checked_mul(height).filter(|n| *n <= MAX_PIXELS);
    if pixels.is_none() || decoder.total_bytes() > MAX_BYTES {
        return Err(IntakeError::too_much(path, format!("it claims {width} x {height} pixels")));
    }
    let colour = decoder.color_type();
    let block = decoder.exif_metadata().ok().flatten();
    let mut hints = Hints::of(block.as_deref());
    if hints.orientation == 0 {
        hints.orientation = decoder.orientation().map_or(0, |o| u16::from(o.to_exif()));
    }
    if matches!(colour, ColorType::Rgb32F | ColorType::Rgba32F) {
        hints.named = Named::Linear;
    }
    let icc = decoder.icc_profile().ok().flatten();
    let tone = Tone::of(icc.as_deref(), hints.named);
    let turn = hints.turn(orientation, quarter_turns);
    Ok(Opened { decoder: Box::new(decoder), width, height, colour, tone, turn })
}

/// Decodes to linear luminance, upright. Transparent parts are seen over black.
pub(super) fn plane<R: BufRead + Seek>(
    reader: R,
    format: ImageFormat,
    (orientation, quarter_turns): (Option<u16>, u8),
    path: &Path,
) -> Result<Read, IntakeError> {
    let Opened { decoder, width, height, colour, tone, turn } =
        open(reader, format, (orientation, quarter_turns), path)?;
    let pixels = width * height;
    let size = decoder.total_bytes() as usize;
    // Luminance is written over the decoded samples front to back; where those are narrower than a level
    // (8-bit grey), they are decoded into the upper half.
    let start = if colour == ColorType::L8 { pixels } else { 0 };
    let mut data = zeros::<u16>((start + size).div_ceil(2).max(pixels), path)?;
    let target = &mut bytemuck::cast_slice_mut::<u16, u8>(&mut data)[start..start + size];
    decode(decoder, target, format, path)?;
    let mut flags = vec![Flag::Processed];
    match colour {
        ColorType::L8 => {
            data.truncate(pixels);
            widen(&mut data, &tone.bytes());
        }
        ColorType::La8 => luminance_of_bytes(&mut data, pixels, 2, &tone),
        ColorType::Rgb8 => luminance_of_bytes(&mut data, pixels, 3, &tone),
        ColorType::Rgba8 => luminance_of_bytes(&mut data, pixels, 4, &tone),
        ColorType::L16 => luminance_of_words(&mut data, pixels, 1, &tone),
        ColorType::La16 => luminance_of_words(&mut data, pixels, 2, &tone),
        ColorType::Rgb16 => luminance_of_words(&mut data, pixels, 3, &tone),
        ColorType::Rgba16 => luminance_of_words(&mut data, pixels, 4, &tone),
        ColorType::Rgb32F | ColorType::Rgba32F => {
            let channels = usize::from(colour.channel_count());
            if luminance_of_floats(&mut data, pixels, channels, &tone) {
                flags.push(Flag::FewLevels);
            }
        }
        _ => return Err(unsupported(path, name(format))),
    }
    let plane = finished(data, (width, height), &tone, turn);
    Ok(Read { plane, flags, coded: None, tint: None })
}

/// The plane of levels of that tone, turned upright.
pub(super) fn finished(levels: Vec<u16>, (width, height): (usize, usize), tone: &Tone, turn: Turn) -> Plane {
    let (upright_width, upright_height) = turn.size(width, height);
    Plane {
        saturation: (tone.linear(0.998) * f32::from(WHITE)) as u16,
        rendered: !tone.is_linear(),
        ..Plane::plain(upright_width, upright_height, upright(levels, width, height, turn), WHITE)
    }
}

/// Decodes to 8-bit sRGB, upright, for looking at.
pub(super) fn rgb<R: BufRead + Seek>(
    reader: R,
    format: ImageFormat,
    (orientation, quarter_turns): (Option<u16>, u8),
    path: &Path,
) -> Result<image::RgbImage, IntakeError> {
    let Opened { decoder, width, height, colour, tone, turn } =
        open(reader, format, (orientation, quarter_turns), path)?;
    let mut bytes = zeros::<u8>(decoder.total_bytes() as usize, path)?;
    decode(decoder, &mut bytes, format, path)?;
    let (channels, sample) = (usize::from(colour.channel_count()), bytes.len() / (width * height));
    let width_of_sample = sample / channels;
    let light = width_of_sample == 4 && tone.is_linear();
    let white = if light { Floats::new(channels, &tone).white(&bytes, width * height) } else { 1.0 };
    let code = |b: &[u8]| match width_of_sample {
        1 => b[0],
        2 => (u32::from(u16::from_ne_bytes([b[0], b[1]])) / 257) as u8,
        _ => srgb::f32::byte(tone.linear(f32::from_ne_bytes([b[0], b[1], b[2], b[3]]) / white)),
    };
    let (has_colour, alpha) = (colour.has_color(), colour.has_alpha());
    for i in 0..width * height {
        let pixel = &bytes[i * sample..][..sample];
        let at = |channel: usize| code(&pixel[channel * width_of_sample..]);
        let mut rgb = if has_colour { [at(0), at(1), at(2)] } else { [at(0); 3] };
        if alpha {
            let a = u16::from(at(channels - 1));
            rgb = rgb.map(|v| (u16::from(v) * a / 255) as u8);
        }
        // Grey pixels are narrower than colour ones; they are widened below.
        if sample >= 3 {
            bytes[i * 3..][..3].copy_from_slice(&rgb);
        } else {
            bytes[i * sample] = rgb[0];
        }
    }
    let stored: Vec<[u8; 3]> = if sample >= 3 {
        bytes.truncate(width * height * 3);
        bytes.chunks_exact(3).map(|p| [p[0], p[1], p[2]]).collect()
    } else {
        bytes.chunks_exact(sample).map(|p| [p[0]; 3]).collect()
    };
    drop(bytes);
    Ok(upright_rgb(stored, width, height, turn))
}

/// The upright picture of stored RGB pixels.
pub(super) fn upright_rgb(stored: Vec<[u8; 3]>, width: usize, height: usize, turn: Turn) -> image::RgbImage {
    let (w, h) = turn.size(width, height);
    let pixels = if turn.is_none() { stored } else { turn.apply(&stored, width, height, |p| p) };
    let flat = bytemuck::allocation::cast_vec(pixels);
    image::RgbImage::from_raw(w as u32, h as u32, flat).unwrap_or_default()
}

/// The upright plane of stored samples.
pub(super) fn upright(data: Vec<u16>, width: usize, height: usize, turn: Turn) -> Vec<u16> {
    if turn.is_none() { data } else { turn.apply(&data, width, height, |v| v) }
}

fn decode(
    decoder: Box<dyn ImageDecoder + '_>,
    target: &mut [u8],
    format: ImageFormat,
    path: &Path,
) -> Result<(), IntakeError> {
    match guard::guarded(|| decoder.read_image_boxed(target)) {
        Ok(done) => done.map_err(|e| failure(path, format, &e)),
        Err(_) => Err(IntakeError::damaged(path, format!("the {} picture in it is damaged", name(format)))),
    }
}

const fn name(format: ImageFormat) -> &'static str {
    match format {
        ImageFormat::Png => "PNG",
        ImageFormat::Tiff => "TIFF",
        ImageFormat::WebP => "WebP",
        _ => "picture",
    }
}

fn failure(path: &Path, format: ImageFormat, error: &ImageError) -> IntakeError {
    let name = name(format);
    let words = error.to_string();
    let failure = match error {
        ImageError::Unsupported(_) => unsupported(path, name),
        ImageError::Limits(_) => IntakeError::too_much(path, format!("the {name} file asks for too much memory")),
        ImageError::IoError(why) => match why.kind() {
            std::io::ErrorKind::UnexpectedEof => IntakeError::from_io(path, why),
            std::io::ErrorKind::InvalidData | std::io::ErrorKind::InvalidInput | std::io::ErrorKind::Other => {
                IntakeError::damaged(path, format!("the {name} picture in it is damaged"))
            }
            _ => IntakeError::from_io(path, why),
        },
        // The decoders sort some of what they can't do under damage.
        _ if UNSUPPORTED.iter().any(|word| words.to_ascii_lowercase().contains(word)) => unsupported(path, name),
        _ if ENDS.iter().any(|word| words.to_ascii_lowercase().contains(word)) => {
            IntakeError::damaged(path, "the file ends before the picture does")
        }
        _ => IntakeError::damaged(path, format!("the {name} picture in it is damaged")),
    };
    failure.with_detail(words)
}

/// Words by which the decoders tell that they can't do something, and that a file ends early.
const UNSUPPORTED: &[&str] =
    &["unsupported", "not supported", "not implemented", "unimplemented", "unknown compression"];
const ENDS: &[&str] = &["unexpected eof", "end of file", "unexpected end"];

fn unsupported(path: &Path, name: &str) -> IntakeError {
    let advice = "Save it anew from an editor as an ordinary TIFF (8 or 16 bits, RGB or grey) or as JPEG.";
    let problem = format!("it is a kind of {name} file that is not read here");
    IntakeError::new(path, IntakeErrorKind::Unsupported, problem, advice)
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    fn encoded(image: image::DynamicImage, format: ImageFormat) -> Vec<u8> {
        let mut out = Cursor::new(Vec::new());
        image.write_to(&mut out, format).unwrap();
        out.into_inner()
    }

    fn read(bytes: &[u8], format: ImageFormat) -> Plane {
        plane(Cursor::new(bytes), format, (None, 0), Path::new("test")).unwrap().plane
    }

    /// Rec. 709 luminance of linearised sRGB (IEC 61966-2-1), in double precision.
    fn expected(rgb: [f64; 3]) -> f64 {
        let linear = rgb.map(|v| if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055_f64).powf(2.4) });
        65535.0 * (0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2])
    }

    #[test]
    fn eight_and_sixteen_bit_colour_become_luminance() {
        let rgb8 = image::RgbImage::from_fn(37, 23, |x, y| image::Rgb([(x * 6) as u8, (y * 11) as u8, (x + y) as u8]));
        for format in [ImageFormat::Png, ImageFormat::Tiff, ImageFormat::WebP] {
            let plane = read(&encoded(rgb8.clone().into(), format), format);
            assert_eq!((plane.width, plane.height, plane.data.len()), (37, 23, 37 * 23));
            for (x, y, p) in rgb8.enumerate_pixels() {
                let want = expected(p.0.map(|v| f64::from(v) / 255.0));
                let got = f64::from(plane.row(y as usize)[x as usize]);
                assert!((got - want).abs() <= 1.5, "{format:?} {x} {y}: {got} {want}");
            }
        }
        let rgb16: image::ImageBuffer<image::Rgb<u16>, Vec<u16>> =
            image::ImageBuffer::from_fn(37, 23, |x, y| image::Rgb([(x * 1700) as u16, (y * 2800) as u16, 40_000]));
        for format in [ImageFormat::Png, ImageFormat::Tiff] {
            let plane = read(&encoded(rgb16.clone().into(), format), format);
            for (x, y, p) in rgb16.enumerate_pixels() {
                let want = expected(p.0.map(|v| f64::from(v) / 65535.0));
                let got = f64::from(plane.row(y as usize)[x as usize]);
                assert!((got - want).abs() <= 1.5, "{format:?} {x} {y}: {got} {want}");
            }
        }
    }

    #[test]
    fn grey_alpha_and_float_become_luminance() {
        let grey = image::GrayImage::from_fn(31, 9, |x, y| image::Luma([(x * 8 + y) as u8]));
        let plane = read(&encoded(grey.clone().into(), ImageFormat::Png), ImageFormat::Png);
        for (x, y, p) in grey.enumerate_pixels() {
            let want = expected([f64::from(p.0[0]) / 255.0; 3]);
            assert!((f64::from(plane.row(y as usize)[x as usize]) - want).abs() <= 1.0);
        }
        let clear = image::RgbaImage::from_pixel(3, 2, image::Rgba([255, 255, 255, 0]));
        assert_eq!(read(&encoded(clear.into(), ImageFormat::Png), ImageFormat::Png).data, [0; 6]);
        let half = image::ImageBuffer::<image::LumaA<u8>, _>::from_pixel(3, 2, image::LumaA([255, 51]));
        assert_eq!(read(&encoded(half.into(), ImageFormat::Png), ImageFormat::Png).data, [13107; 6]);
        // Floating point is light itself; 4.0 is the brightest and becomes white.
        let values = [0.0, 1.0, 4.0, f32::NAN, -1.0, 2.0];
        let float = image::Rgb32FImage::from_fn(6, 1, |x, _| image::Rgb([values[x as usize]; 3]));
        let plane = read(&encoded(float.into(), ImageFormat::Tiff), ImageFormat::Tiff);
        assert_eq!(plane.data, [0, 16384, 65535, 0, 0, 32768]);
        assert!(!plane.rendered);
    }
}
