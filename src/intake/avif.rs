//! AVIF to a plane: luma through rav1d (dav1d in Rust), straight to linear light; 10 and 12 bits are kept.

use std::fs::File;
use std::io::BufReader;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use image::RgbImage;
use re_rav1d::dav1d::pixel::{MatrixCoefficients, TransferCharacteristic, YUVRange};
use re_rav1d::dav1d::{Decoder, Error, Picture, PixelLayout, PlanarImageComponent, Settings};

use super::containers::{Primary, primary_item};
use super::luminance::Read;
use super::rendered::{self, MAX_PIXELS};
use super::tone::{Named, Tone, WHITE};
use super::turn::Turn;
use super::{IntakeError, IntakeErrorKind};
use crate::quantity::Flag;
use crate::shot::{Mosaic, Plane};

/// A decoded picture and its profile.
struct Decoded {
    picture: Picture,
    icc: Option<Vec<u8>>,
}

/// Luminance, upright. `orientation` is what the container prescribes.
pub(super) fn plane(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Result<Read, IntakeError> {
    let decoded = decode(path)?;
    let tone = tone(path, &decoded)?;
    let (black, white) = range(&decoded.picture);
    let top = (1_usize << decoded.picture.bit_depth()) - 1;
    let lut: Vec<u16> = (0..=top)
        .map(|v| (tone.linear((v as f32 - black) / (white - black)) * f32::from(WHITE)).round() as u16)
        .collect();
    let (stored_width, stored_height) = (decoded.picture.width() as usize, decoded.picture.height() as usize);
    let luma = samples(&decoded.picture, PlanarImageComponent::Y, stored_width, stored_height);
    let turn = Turn::from_exif(orientation.unwrap_or(1)).then_clockwise(quarter_turns);
    let data = turn.apply(&luma, stored_width, stored_height, |v| lut[usize::from(v).min(top)]);
    let (width, height) = turn.size(stored_width, stored_height);
    let plane = Plane {
        width,
        height,
        data,
        black: 0,
        white: WHITE,
        saturation: lut[(white as usize).saturating_sub((top + 1) / 256)],
        mosaic: Mosaic::None,
        jpeg: None,
        rendered: !tone.is_linear(),
    };
    Ok(Read { plane, flags: vec![Flag::Processed], coded: None, tint: None })
}

/// A picture to look at, upright.
pub(super) fn rgb(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Result<RgbImage, IntakeError> {
    let picture = decode(path)?.picture;
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let (black, white) = range(&picture);
    let luma = samples(&picture, PlanarImageComponent::Y, width, height);
    let (across, down) = match picture.pixel_layout() {
        PixelLayout::I420 => (2, 2),
        PixelLayout::I422 => (2, 1),
        _ => (1, 1),
    };
    let (chroma_width, chroma_height) = (width.div_ceil(across), height.div_ceil(down));
    let grey = picture.pixel_layout() == PixelLayout::I400;
    let chroma = |component| {
        if grey { Vec::new() } else { samples(&picture, component, chroma_width, chroma_height) }
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
    Ok(rendered::upright_rgb((0..width * height).map(colour).collect(), width, height, turn))
}

/// The curve of a picture: its profile's, else sRGB's, which photographs have under several names.
fn tone(path: &Path, decoded: &Decoded) -> Result<Tone, IntakeError> {
    match decoded.picture.transfer_characteristic() {
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

/// The samples of a component, row by row.
fn samples(picture: &Picture, component: PlanarImageComponent, width: usize, height: usize) -> Vec<u16> {
    let (stride, wide) = (picture.stride(component) as usize, picture.bit_depth() > 8);
    let plane = picture.plane(component);
    let rows = plane.chunks(stride).take(height);
    rows.flat_map(|row| {
        (0..width).map(move |x| if wide { u16::from_ne_bytes([row[2 * x], row[2 * x + 1]]) } else { u16::from(row[x]) })
    })
    .collect()
}

fn unsupported(path: &Path, problem: &str) -> IntakeError {
    let advice = "Export it as JPEG or TIFF at full size and audit that.";
    IntakeError::new(path, IntakeErrorKind::Unsupported, problem, advice)
}

fn decode(path: &Path) -> Result<Decoded, IntakeError> {
    let file = File::open(path).map_err(|e| IntakeError::from_io(path, &e))?;
    let damaged = || IntakeError::damaged(path, "the AVIF data are damaged or cut off");
    let Primary { kind, bytes, icc } = primary_item(&mut BufReader::new(file)).ok_or_else(damaged)?;
    if &kind != b"av01" {
        return Err(unsupported(path, "it is an AVIF picture that is put together of several, which is not read here"));
    }
    let decoded = catch_unwind(AssertUnwindSafe(|| first_picture(bytes))).unwrap_or(Err(Error::InvalidArgument));
    match decoded {
        Ok(picture) if picture.width() > 0 && picture.height() > 0 => Ok(Decoded { picture, icc }),
        Err(Error::NotEnoughMemory) => {
            Err(IntakeError::too_much(path, "it asks for more memory than a photograph may"))
        }
        Err(Error::UnsupportedBitstream) => {
            Err(unsupported(path, "it is an AVIF picture of a kind that is not read here"))
        }
        _ => Err(damaged()),
    }
}

fn first_picture(bytes: Vec<u8>) -> Result<Picture, Error> {
    let mut settings = Settings::new();
    settings.set_n_threads(rayon::current_num_threads().clamp(1, 16) as u32);
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
