//! HEIC to a plane: luma through heic-decoder, straight to linear light. With the `heic` feature, which is a default.

use std::path::Path;

use heic_decoder::{DecodedImage, HeifError};

use super::luminance::Read;
use super::rendered::{self, Hints, MAX_PIXELS};
use super::tone::{Tone, WHITE};
use super::turn::Turn;
use super::{IntakeError, guard};
use crate::quantity::Flag;
use crate::shot::Plane;

/// Luminance, upright: the container's own rotation counts, not the Exif tag (ISO/IEC 23008-12).
pub(super) fn plane(path: &Path, quarter_turns: u8) -> Result<Read, IntakeError> {
    let image = decode(path)?;
    let hints = Hints::of(image.metadata.exif.as_deref());
    let tone = Tone::of(image.metadata.icc_profile.as_deref(), hints.named);
    let top = (1_i32 << image.bit_depth_luma.clamp(8, 16)) - 1;
    // Limited range leaves 16/255 of the codes below black and 20/255 above white (ITU-T H.273).
    let full = image.color_info.unwrap_or_default().full_range;
    let (black, white) = if full { (0, top) } else { (16 * (top + 1) / 256, 235 * (top + 1) / 256) };
    let lut: Vec<u16> = (0..=top)
        .map(|v| (tone.linear((v - black) as f32 / (white - black) as f32) * f32::from(WHITE)).round() as u16)
        .collect();
    let turn = Turn::default().then_clockwise(quarter_turns);
    let (stored_width, stored_height) = (image.width, image.height);
    let data = turn.apply(&image.y, stored_width, stored_height, |v| lut[v.clamp(0, top) as usize]);
    let (width, height) = turn.size(stored_width, stored_height);
    let saturation = lut[(white - (top + 1) / 256).max(0) as usize];
    let plane = Plane { saturation, rendered: true, ..Plane::plain(width, height, data, WHITE) };
    Ok(Read { plane, flags: vec![Flag::Processed], coded: None, tint: None })
}

/// A picture to look at, upright.
pub(super) fn rgb(path: &Path, quarter_turns: u8) -> Result<image::RgbImage, IntakeError> {
    let image = decode(path)?;
    let colours = guarded(path, || image.to_rgb8())?;
    let pixels = colours.data.chunks_exact(3).map(|p| [p[0], p[1], p[2]]).collect();
    let turn = Turn::default().then_clockwise(quarter_turns);
    Ok(rendered::upright_rgb(pixels, image.width, image.height, turn))
}

fn decode(path: &Path) -> Result<DecodedImage, IntakeError> {
    let bytes = std::fs::read(path).map_err(|e| IntakeError::from_io(path, &e))?;
    let info = guarded(path, || heic_decoder::probe(&bytes))?;
    let pixels = info.coded_width.max(info.width).checked_mul(info.coded_height.max(info.height));
    if pixels.is_none_or(|n| n > MAX_PIXELS) {
        return Err(IntakeError::too_much(path, format!("it claims {} x {} pixels", info.width, info.height)));
    }
    let image = guarded(path, || heic_decoder::decode(&bytes))?;
    if image.width == 0 || image.height == 0 || image.y.len() != image.width * image.height {
        return Err(IntakeError::damaged(path, "the HEIC file's size contradicts its data"));
    }
    Ok(image)
}

fn guarded<T>(path: &Path, work: impl FnOnce() -> Result<T, HeifError>) -> Result<T, IntakeError> {
    match guard::guarded(work) {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(HeifError::Unsupported(why))) => {
            let error = IntakeError::unsupported(path, "it is a kind of HEIC picture that is not read here");
            Err(error.with_detail(why.to_string()))
        }
        Ok(Err(HeifError::LimitExceeded(why))) => {
            Err(IntakeError::too_much(path, "the HEIC picture is too large").with_detail(why.to_string()))
        }
        Ok(Err(why)) => {
            Err(IntakeError::damaged(path, "the HEIC picture in it is damaged").with_detail(why.to_string()))
        }
        Err(_) => Err(IntakeError::damaged(path, "the HEIC picture in it is damaged")),
    }
}
