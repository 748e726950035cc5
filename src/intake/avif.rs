//! AVIF to a plane: luma through rav1d (dav1d in Rust), straight to linear light; 10 and 12 bits are kept.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use image::RgbImage;
use rayon::prelude::*;
use re_rav1d::dav1d::pixel::{MatrixCoefficients, TransferCharacteristic, YUVRange};
use re_rav1d::dav1d::{Decoder, Error, Picture, PixelLayout, PlanarImageComponent, Settings};

use super::containers::{Aperture, Primary, primary_item};
use super::luminance::Read;
use super::rendered::{self, MAX_PIXELS};
use super::tone::{Named, Tone, WHITE};
use super::turn::Turn;
use super::{IntakeError, IntakeErrorKind, guard};
use crate::quantity::Flag;
use crate::shot::Plane;

/// A decoded picture, of one or several pieces of one size, and its profile.
struct Decoded {
    pieces: Vec<Picture>,
    /// Pieces side by side.
    columns: usize,
    width: usize,
    height: usize,
    icc: Option<Vec<u8>>,
    /// The part that is the picture.
    shown: Aperture,
}

impl Decoded {
    /// What describes all pieces.
    fn first(&self) -> &Picture {
        &self.pieces[0]
    }

    /// The samples of a component that has one for so many columns and rows of pixels, row by row.
    fn samples(&self, component: PlanarImageComponent, (across, down): (usize, usize)) -> Vec<u16> {
        let (width, height) = (self.width.div_ceil(across), self.height.div_ceil(down));
        let size = ((self.first().width() as usize).div_ceil(across), (self.first().height() as usize).div_ceil(down));
        let mut out = vec![0; width * height];
        for (i, piece) in self.pieces.iter().enumerate() {
            let (left, top) = (i % self.columns * size.0, i / self.columns * size.1);
            let (stride, wide) = (piece.stride(component) as usize, piece.bit_depth() > 8);
            let plane = piece.plane(component);
            for (y, from) in plane.chunks(stride).take(size.1.min(height.saturating_sub(top))).enumerate() {
                let to = &mut out[(top + y) * width..][left.min(width)..width.min(left + size.0)];
                for (x, v) in to.iter_mut().enumerate() {
                    *v = if wide { u16::from_ne_bytes([from[2 * x], from[2 * x + 1]]) } else { u16::from(from[x]) };
                }
            }
        }
        out
    }
}

/// Luminance, upright. `orientation` is what the container prescribes.
pub(super) fn plane(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Result<Read, IntakeError> {
    let decoded = decode(path)?;
    let tone = tone(path, &decoded)?;
    let (black, white) = range(decoded.first());
    let top = (1_usize << decoded.first().bit_depth()) - 1;
    let lut: Vec<u16> = (0..=top)
        .map(|v| (tone.linear((v as f32 - black) / (white - black)) * f32::from(WHITE)).round() as u16)
        .collect();
    let Aperture { left, top: above, width: stored_width, height: stored_height } = decoded.shown;
    let mut luma = decoded.samples(PlanarImageComponent::Y, (1, 1));
    if stored_width * stored_height < luma.len() {
        let rows = luma.chunks_exact(decoded.width).skip(above).take(stored_height);
        luma = rows.flat_map(|row| &row[left..left + stored_width]).copied().collect();
    }
    let turn = Turn::from_exif(orientation.unwrap_or(1)).then_clockwise(quarter_turns);
    let data = turn.apply(&luma, stored_width, stored_height, |v| lut[usize::from(v).min(top)]);
    let (width, height) = turn.size(stored_width, stored_height);
    let plane = Plane {
        saturation: lut[(white as usize).saturating_sub((top + 1) / 256)],
        rendered: !tone.is_linear(),
        ..Plane::plain(width, height, data, WHITE)
    };
    Ok(Read { plane, flags: vec![Flag::Processed], coded: None, tint: None })
}

/// A picture to look at, upright.
pub(super) fn rgb(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Result<RgbImage, IntakeError> {
    let decoded = decode(path)?;
    let (picture, width) = (decoded.first(), decoded.width);
    let (black, white) = range(picture);
    let luma = decoded.samples(PlanarImageComponent::Y, (1, 1));
    let (across, down) = match picture.pixel_layout() {
        PixelLayout::I420 => (2, 2),
        PixelLayout::I422 => (2, 1),
        _ => (1, 1),
    };
    let chroma_width = width.div_ceil(across);
    let grey = picture.pixel_layout() == PixelLayout::I400;
    let chroma = |component| {
        if grey { Vec::new() } else { decoded.samples(component, (across, down)) }
    };
    let (blue, red) = (chroma(PlanarImageComponent::U), chroma(PlanarImageComponent::V));
    let same = picture.matrix_coefficients() == MatrixCoefficients::Identity;
    // Shares of red and blue in luma (ITU-T H.273, table 4).
    let (kr, kb) = match picture.matrix_coefficients() {
        MatrixCoefficients::BT709 => (0.2126, 0.0722),
        MatrixCoefficients::BT2020NonConstantLuminance => (0.2627, 0.0593),
        _ => (0.299, 0.114),
    };
    let middle = (1_u32 << (picture.bit_depth() - 1)) as f32;
    let code = |v: f32| (v * 255.0 + 0.5) as u8;
    let colour = |i: usize| {
        let y = (f32::from(luma[i]) - black) / (white - black);
        if grey {
            return [code(y); 3];
        }
        let at = i / width / down * chroma_width + i % width / across;
        if same {
            // Green, blue and red as they are.
            let share = |v: u16| code((f32::from(v) - black) / (white - black));
            return [share(red[at]), code(y), share(blue[at])];
        }
        // Colour differences span 224 codes of 256 where luma spans 219.
        let wide = if black > 0.0 { (white - black) * 224.0 / 219.0 } else { white };
        let (b, r) = ((f32::from(blue[at]) - middle) / wide, (f32::from(red[at]) - middle) / wide);
        let (r, b) = (y + 2.0 * (1.0 - kr) * r, y + 2.0 * (1.0 - kb) * b);
        [code(r), code((y - kr * r - kb * b) / (1.0 - kr - kb)), code(b)]
    };
    let turn = Turn::from_exif(orientation.unwrap_or(1)).then_clockwise(quarter_turns);
    let shown = decoded.shown;
    let place = |i: usize| (shown.top + i / shown.width) * width + shown.left + i % shown.width;
    let pixels = (0..shown.width * shown.height).map(|i| colour(place(i))).collect();
    Ok(rendered::upright_rgb(pixels, shown.width, shown.height, turn))
}

/// The curve of a picture: its profile's, else sRGB's, which photographs have under several names.
fn tone(path: &Path, decoded: &Decoded) -> Result<Tone, IntakeError> {
    match decoded.first().transfer_characteristic() {
        _ if decoded.icc.is_some() => Ok(Tone::of(decoded.icc.as_deref(), Named::Srgb)),
        TransferCharacteristic::PerceptualQuantizer | TransferCharacteristic::HybridLogGamma => {
            Err(unsupported(path, "it is an AVIF picture of high dynamic range, which is not read here"))
        }
        TransferCharacteristic::Linear => Ok(Tone::named(Named::Linear)),
        _ => Ok(Tone::named(Named::Srgb)),
    }
}

/// Codes of black and white: limited range leaves some free at both ends (ITU-T H.273).
fn range(picture: &Picture) -> (f32, f32) {
    let codes = (1_u32 << picture.bit_depth()) as f32;
    let full = picture.color_range() == YUVRange::Full;
    if full { (0.0, codes - 1.0) } else { (16.0 / 256.0 * codes, 235.0 / 256.0 * codes) }
}

fn unsupported(path: &Path, problem: &str) -> IntakeError {
    let advice = "Export it as JPEG or TIFF at full size and audit that.";
    IntakeError::new(path, IntakeErrorKind::Unsupported, problem, advice)
}

fn decode(path: &Path) -> Result<Decoded, IntakeError> {
    let file = File::open(path).map_err(|e| IntakeError::from_io(path, &e))?;
    let damaged = || IntakeError::damaged(path, "the AVIF data are damaged or cut off");
    let Primary { kind, pieces, grid, icc, aperture } = primary_item(&mut BufReader::new(file)).ok_or_else(damaged)?;
    if &kind != b"av01" {
        return Err(unsupported(path, "it is an AVIF picture that is laid one over another, which is not read here"));
    }
    if grid.is_some_and(|(_, (width, height))| width.saturating_mul(height) > MAX_PIXELS) {
        return Err(IntakeError::too_much(path, "it claims more pixels than a photograph may have"));
    }
    // Pieces are decoded side by side; a lone one uses all threads itself.
    let threads = if pieces.len() > 1 { 1 } else { rayon::current_num_threads().clamp(1, 16) };
    let guarded = |bytes| guard::guarded(|| first_picture(bytes, threads)).unwrap_or(Err(Error::InvalidArgument));
    let decoded = pieces.into_par_iter().map(guarded).collect::<Result<Vec<_>, Error>>();
    let pieces = decoded.map_err(|error| match error {
        Error::NotEnoughMemory => IntakeError::too_much(path, "it asks for more memory than a photograph may"),
        Error::UnsupportedBitstream => unsupported(path, "it is an AVIF picture of a kind that is not read here"),
        _ => damaged(),
    })?;
    let shape = |p: &Picture| (p.width() as usize, p.height() as usize, p.bit_depth(), p.pixel_layout() as u32);
    let piece =
        pieces.first().map(shape).filter(|(width, height, ..)| *width > 0 && *height > 0).ok_or_else(damaged)?;
    let (columns, (width, height)) = grid.unwrap_or((1, (piece.0, piece.1)));
    // All pieces are of one size, and together reach at least to the picture's edges.
    let covered = columns * piece.0 >= width && pieces.len() / columns * piece.1 >= height && width * height > 0;
    if !covered || pieces.iter().any(|p| shape(p) != piece) {
        return Err(damaged());
    }
    let all = Aperture { left: 0, top: 0, width, height };
    let shown = aperture.filter(|a| a.left + a.width <= width && a.top + a.height <= height).unwrap_or(all);
    Ok(Decoded { pieces, columns, width, height, icc, shown })
}

fn first_picture(bytes: Vec<u8>, threads: usize) -> Result<Picture, Error> {
    let mut settings = Settings::new();
    settings.set_n_threads(threads as u32);
    settings.set_max_frame_delay(1);
    settings.set_frame_size_limit(MAX_PIXELS as u32);
    // Grain is put on afterwards, and no part of the picture.
    settings.set_apply_grain(false);
    let mut decoder = Decoder::with_settings(&settings)?;
    let mut waiting = match decoder.send_data(bytes, None, None, None) {
        Ok(()) => false,
        Err(Error::Again) => true,
        Err(error) => return Err(error),
    };
    // A still picture is there after few turns, or it is not there at all.
    for _ in 0..64 {
        match decoder.get_picture() {
            Err(Error::Again) if waiting => waiting = matches!(decoder.send_pending_data(), Err(Error::Again)),
            other => return other,
        }
    }
    Err(Error::InvalidArgument)
}
