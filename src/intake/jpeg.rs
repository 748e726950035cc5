//! JPEG to a plane: luma through zune-jpeg, straight to linear light, with the block grid and luma steps.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::rendered::{self, MAX_PIXELS};
use super::tone::{Named, Tone, WHITE};
use super::turn::Turn;
use super::{IntakeError, roomy};
use crate::shot::{Mosaic, Plane};

/// What the headers of a JPEG say.
#[derive(Debug, Default)]
pub(super) struct Headers {
    width: usize,
    height: usize,
    precision: u8,
    /// The last byte of the start-of-frame marker: 0xC0 baseline, 0xC2 progressive, others not read here.
    frame: u8,
    /// Table number of the first component, which is luma.
    luma_table: usize,
    /// Quantisation tables in zigzag order.
    tables: [Option<[u16; 64]>; 4],
    /// The Exif block: a TIFF structure.
    exif: Option<std::ops::Range<usize>>,
    /// Where the picture ends, behind its end-of-image marker; `None` where that is missing.
    end: Option<usize>,
}

/// Zigzag position of each coefficient in row-major order (ITU-T T.81, figure A.6).
pub(super) fn zigzag() -> [usize; 64] {
    let mut order = [0; 64];
    let (mut x, mut y) = (0_usize, 0_usize);
    for position in 0..64 {
        order[y * 8 + x] = position;
        let up = (x + y) % 2 == 0;
        match (up, x, y) {
            (true, 7, _) => y += 1,
            (true, _, 0) => x += 1,
            (true, ..) => (x, y) = (x + 1, y - 1),
            (false, _, 7) => x += 1,
            (false, 0, _) => y += 1,
            (false, ..) => (x, y) = (x - 1, y + 1),
        }
    }
    order
}

impl Headers {
    /// Walks the markers of the first picture in `bytes` (ITU-T T.81, annex B); stops where they stop making sense.
    pub(super) fn scan(bytes: &[u8]) -> Self {
        let mut headers = Self::default();
        let mut at = 2;
        while let Some(marker) = next_marker(bytes, &mut at) {
            match marker {
                0xD9 => {
                    headers.end = Some(at);
                    break;
                }
                0x01 | 0xD0..=0xD7 => continue,
                // A second picture begins before the first has ended.
                0xD8 => break,
                _ => {}
            }
            let Some(length) = bytes.get(at..at + 2).map(|b| usize::from(u16::from_be_bytes([b[0], b[1]]))) else {
                break;
            };
            let Some(body) = bytes.get(at + 2..at + length.max(2)) else { break };
            match marker {
                0xDB => headers.quantisation(body),
                0xC0..=0xCF if !matches!(marker, 0xC4 | 0xC8 | 0xCC) && body.len() >= 9 && headers.width == 0 => {
                    headers.frame = marker;
                    headers.precision = body[0];
                    headers.height = usize::from(u16::from_be_bytes([body[1], body[2]]));
                    headers.width = usize::from(u16::from_be_bytes([body[3], body[4]]));
                    headers.luma_table = usize::from(body[8] & 3);
                }
                0xE1 if body.starts_with(b"Exif\0\0") && headers.exif.is_none() => {
                    headers.exif = Some(at + 8..at + length);
                }
                _ => {}
            }
            at += length.max(2);
        }
        headers
    }

    fn quantisation(&mut self, mut body: &[u8]) {
        while let Some((&first, rest)) = body.split_first() {
            let (wide, table) = (usize::from(first >> 4 & 1), usize::from(first & 3));
            let size = 64 << wide;
            let Some(values) = rest.get(..size) else { return };
            self.tables[table] = Some(std::array::from_fn(|i| {
                if wide == 1 { u16::from_be_bytes([values[2 * i], values[2 * i + 1]]) } else { u16::from(values[i]) }
            }));
            body = &rest[size..];
        }
    }

    /// Luma quantisation steps in row-major order of the stored picture.
    fn luma_steps(&self) -> Option<[u16; 64]> {
        let table = self.tables[self.luma_table]?;
        Some(zigzag().map(|position| table[position]))
    }

    /// Width and height of the stored picture.
    pub(super) const fn size(&self) -> (usize, usize) {
        (self.width, self.height)
    }

    /// Length of the picture from its first marker on.
    pub(super) fn end(&self) -> usize {
        self.end.unwrap_or(0)
    }

    /// Whether these are the headers of a picture that is there to its end and can be decoded here.
    pub(super) fn is_whole_picture(&self) -> bool {
        self.width > 0 && self.precision == 8 && matches!(self.frame, 0xC0..=0xC2) && self.end.is_some()
    }

    /// The Exif block of the file these headers come from.
    pub(super) fn exif_block<'a>(&self, bytes: &'a [u8]) -> Option<&'a [u8]> {
        bytes.get(self.exif.clone()?)
    }
}

/// The next marker at or after `at`, which is moved behind it; entropy-coded data and fill bytes are skipped.
fn next_marker(bytes: &[u8], at: &mut usize) -> Option<u8> {
    loop {
        let rest = bytes.get(*at..)?;
        let found = memchr::memchr(0xFF, rest)?;
        let code = *rest.get(found + 1)?;
        // A fill byte may be followed by the marker's own 0xFF; a stuffed zero is data.
        *at += found + if code == 0xFF { 1 } else { 2 };
        if !matches!(code, 0x00 | 0xFF) {
            return Some(code);
        }
    }
}

/// Decodes a JPEG file's main picture to linear luminance.
///
/// The luma Y' is linearised as if it were a grey of that value, which is exact for neutral colours and
/// reads saturated ones slightly dark.
pub(super) fn plane(
    bytes: &[u8],
    headers: &Headers,
    named: Named,
    turn: Turn,
    path: &Path,
) -> Result<Plane, IntakeError> {
    check(headers, bytes.len(), path)?;
    let (width, height) = (headers.width, headers.height);
    let mut decoder = open(bytes, ColorSpace::Luma, path)?;
    let icc = decoder.icc_profile();
    let tone = Tone::of(icc.as_deref(), named);
    let grey = matches!(decoder.input_colorspace(), Some(ColorSpace::YCbCr | ColorSpace::Luma));
    let data = if grey {
        let lut = tone.bytes();
        if turn.is_none() {
            // The bytes are decoded into the upper half of the plane's own memory and widened in place.
            let mut data = vec![0_u16; width * height];
            roomy::in_large_pages(&mut data);
            let bytes_of: &mut [u8] = bytemuck::cast_slice_mut(&mut data);
            run(&mut decoder, &mut bytes_of[width * height..], path)?;
            widen(&mut data, &lut);
            data
        } else {
            let mut luma = vec![0_u8; width * height];
            run(&mut decoder, &mut luma, path)?;
            drop(decoder);
            turn.apply(&luma, width, height, |v| lut[usize::from(v)])
        }
    } else {
        let mut decoder = open(bytes, ColorSpace::RGB, path)?;
        let mut data = vec![0_u16; (width * height * 3).div_ceil(2)];
        run(&mut decoder, &mut bytemuck::cast_slice_mut(&mut data)[..width * height * 3], path)?;
        rendered::luminance_of_bytes(&mut data, width * height, 3, &tone);
        rendered::upright(data, width, height, turn)
    };
    let (upright_width, upright_height) = turn.size(width, height);
    Ok(Plane {
        width: upright_width,
        height: upright_height,
        data,
        black: 0,
        white: WHITE,
        // Compression moves clipped areas about by a step.
        saturation: tone.bytes()[254],
        mosaic: Mosaic::None,
        jpeg: headers.luma_steps().map(|steps| turn.blocks(&steps, width, height)),
        rendered: !tone.is_linear(),
    })
}

/// Decodes a JPEG file's main picture to 8-bit RGB, upright, its colours as coded.
pub(super) fn rgb(bytes: &[u8], headers: &Headers, turn: Turn, path: &Path) -> Result<image::RgbImage, IntakeError> {
    check(headers, bytes.len(), path)?;
    let mut decoder = open(bytes, ColorSpace::RGB, path)?;
    let mut out = vec![[0_u8; 3]; headers.width * headers.height];
    run(&mut decoder, bytemuck::cast_slice_mut(&mut out), path)?;
    drop(decoder);
    Ok(rendered::upright_rgb(out, headers.width, headers.height, turn))
}

/// Turns 8-bit luma held in the upper half of `data`'s bytes into plane levels, front to back.
///
/// Sample i is written to bytes 2i and 2i + 1 and read from byte n + i, which is never behind the writing.
pub(super) fn widen(data: &mut [u16], lut: &[u16; 256]) {
    const CHUNK: usize = 4096;
    let n = data.len();
    let mut luma = [0_u8; CHUNK];
    for start in (0..n).step_by(CHUNK) {
        let luma = &mut luma[..CHUNK.min(n - start)];
        luma.copy_from_slice(&bytemuck::cast_slice::<u16, u8>(data)[n + start..][..luma.len()]);
        data[start..][..luma.len()].iter_mut().zip(luma).for_each(|(d, v)| *d = lut[usize::from(*v)]);
    }
}

/// Refuses what the headers alone show to be unreadable.
fn check(headers: &Headers, size: usize, path: &Path) -> Result<(), IntakeError> {
    let pixels = headers.width * headers.height;
    if pixels == 0 {
        return Err(IntakeError::damaged(path, "the JPEG file has no picture in it"));
    }
    if headers.precision != 8 {
        let problem = format!("it is a {}-bit JPEG, which is not read here", headers.precision);
        return Err(IntakeError::unsupported(path, problem));
    }
    if !matches!(headers.frame, 0xC0..=0xC2) {
        return Err(IntakeError::unsupported(
            path,
            "it is a lossless or arithmetic-coded JPEG, which is not read here",
        ));
    }
    // A block of 64 pixels takes at least two bits per scan; anything emptier is a wrong size field.
    if pixels / 1024 > size {
        let problem =
            format!("it claims {} x {} pixels but holds far too little data for them", headers.width, headers.height);
        return Err(IntakeError::damaged(path, problem));
    }
    if pixels > MAX_PIXELS {
        return Err(IntakeError::too_much(path, format!("it claims {} x {} pixels", headers.width, headers.height)));
    }
    if headers.end.is_none() {
        return Err(IntakeError::damaged(path, "the file ends before the picture does"));
    }
    Ok(())
}

type Decoder<'a> = JpegDecoder<ZCursor<&'a [u8]>>;

fn open<'a>(bytes: &'a [u8], colour: ColorSpace, path: &Path) -> Result<Decoder<'a>, IntakeError> {
    let attempt = |strict| {
        let options = DecoderOptions::default()
            .set_strict_mode(strict)
            .set_max_width(usize::from(u16::MAX))
            .set_max_height(usize::from(u16::MAX))
            .jpeg_set_out_colorspace(colour);
        let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
        guarded(|| decoder.decode_headers())?;
        // Strict from here on: a damaged picture must not pass as one with grey areas.
        let options = decoder.options().set_strict_mode(true);
        decoder.set_options(options);
        Ok::<_, String>(decoder)
    };
    // Strictness about headers refuses sound files with a few stray bytes between segments.
    attempt(true).or_else(|_| attempt(false)).map_err(|why| damaged(path, &why))
}

fn run(decoder: &mut Decoder<'_>, out: &mut [u8], path: &Path) -> Result<(), IntakeError> {
    guarded(|| decoder.decode_into(out)).map_err(|why| damaged(path, &why))
}

fn damaged(path: &Path, why: &str) -> IntakeError {
    IntakeError::damaged(path, format!("the JPEG data is damaged ({})", why.trim_end_matches(['.', '\n'])))
}

/// A decoder's panic is damage to the file, not an end to the program.
fn guarded<T, E: std::fmt::Debug>(work: impl FnOnce() -> Result<T, E>) -> Result<T, String> {
    match catch_unwind(AssertUnwindSafe(work)) {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(error)) => Err(format!("{error:?}").trim_matches('"').to_owned()),
        Err(_) => Err("the decoder gave up".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zigzag_runs_as_in_the_standard() {
        // ITU-T T.81 figure A.6, first and last rows.
        let order = zigzag();
        assert_eq!(order[..8], [0, 1, 5, 6, 14, 15, 27, 28]);
        assert_eq!(order[56..], [35, 36, 48, 49, 57, 58, 62, 63]);
    }

    #[test]
    fn widening_in_place_loses_nothing() {
        let lut = std::array::from_fn(|i| i as u16 * 257);
        for n in [1, 2, 3, 4095, 4096, 4097, 20_000] {
            let mut data = vec![0_u16; n];
            let expected: Vec<u16> = (0..n).map(|i| lut[i * 31 % 256]).collect();
            let bytes: &mut [u8] = bytemuck::cast_slice_mut(&mut data);
            bytes[n..].iter_mut().enumerate().for_each(|(i, b)| *b = (i * 31 % 256) as u8);
            widen(&mut data, &lut);
            assert_eq!(data, expected);
        }
    }
}
