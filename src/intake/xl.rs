//! JPEG XL to a plane: jxl-oxide, its colours brought to linear light; what was a JPEG before is read as that JPEG.

use std::path::Path;

use image::RgbImage;
use jxl_oxide::{AllocTracker, EnumColourEncoding, JpegReconstructionStatus, JxlImage, Render, RenderingIntent};

use super::headers::Headers;
use super::jpeg;
use super::luminance::Read;
use super::rendered::{self, Hints, MAX_PIXELS};
use super::tone::{Named, Tone, WHITE};
use super::turn::Turn;
use super::{IntakeError, IntakeErrorKind, guard};
use crate::quantity::Flag;
use crate::shot::Plane;

/// Most bytes the decoder may hold for one picture.
const MAX_BYTES: usize = 2 << 30;

/// Luminance, upright: the picture's own orientation counts, not the Exif tag (ISO/IEC 18181-1).
pub(super) fn plane(path: &Path, quarter_turns: u8) -> Result<Read, IntakeError> {
    let image = open(path)?;
    let plane = match as_jpeg(&image) {
        Some(bytes) => {
            let headers = Headers::scan(&bytes);
            let hints = Hints::of(headers.exif_block(&bytes));
            let turn = Turn::from_exif(hints.orientation).then_clockwise(quarter_turns);
            return jpeg::plane(&bytes, &headers, hints.named, turn, path);
        }
        None => guarded(path, || luminance(&image, Turn::default().then_clockwise(quarter_turns)))?,
    };
    Ok(Read { plane, flags: vec![Flag::Processed], coded: None, tint: None })
}

/// A picture to look at, upright.
pub(super) fn rgb(path: &Path, quarter_turns: u8) -> Result<RgbImage, IntakeError> {
    let mut image = open(path)?;
    // Without a colour manager of its own, the decoder leaves colours of an embedded profile as they are, which will do.
    image.request_color_encoding(EnumColourEncoding::srgb(RenderingIntent::Relative));
    guarded(path, || {
        let (render, width, height, channels) = rendered(&image)?;
        let mut codes = vec![0_u8; width * height * channels];
        render.stream_no_alpha().write_to_buffer(&mut codes);
        let pixels = codes.chunks_exact(channels).map(|p| if channels == 1 { [p[0]; 3] } else { [p[0], p[1], p[2]] });
        Ok(rendered::upright_rgb(pixels.collect(), width, height, Turn::default().then_clockwise(quarter_turns)))
    })
}

/// Why a picture is not read.
enum Fault {
    Damaged,
    TooMuch(String),
    Unknown(&'static str),
}

impl From<Box<dyn std::error::Error + Send + Sync>> for Fault {
    fn from(error: Box<dyn std::error::Error + Send + Sync>) -> Self {
        // The decoder says so in words alone where it may not have more memory.
        let scarce = std::iter::successors(Some(&*error as &dyn std::error::Error), |e| e.source())
            .any(|e| e.to_string().contains("memory"));
        if scarce { Self::TooMuch("it asks for more memory than a photograph may".into()) } else { Self::Damaged }
    }
}

fn guarded<T>(path: &Path, work: impl FnOnce() -> Result<T, Fault>) -> Result<T, IntakeError> {
    match guard::guarded(work).unwrap_or(Err(Fault::Damaged)) {
        Ok(value) => Ok(value),
        Err(Fault::Damaged) => Err(IntakeError::damaged(path, "the JPEG XL data are damaged or cut off")),
        Err(Fault::TooMuch(why)) => Err(IntakeError::too_much(path, why)),
        Err(Fault::Unknown(what)) => {
            let advice = "Export it as TIFF, PNG or JPEG at full size and audit that.";
            Err(IntakeError::new(path, IntakeErrorKind::Unsupported, what, advice))
        }
    }
}

fn open(path: &Path) -> Result<JxlImage, IntakeError> {
    let bytes = std::fs::read(path).map_err(|e| IntakeError::from_io(path, &e))?;
    guarded(path, || {
        let image = JxlImage::builder().alloc_tracker(AllocTracker::with_limit(MAX_BYTES)).read(&bytes[..])?;
        let (width, height) = (image.width() as usize, image.height() as usize);
        if width.checked_mul(height).is_none_or(|n| n > MAX_PIXELS) {
            return Err(Fault::TooMuch(format!("it claims {width} x {height} pixels")));
        }
        if image.is_loading_done() { Ok(image) } else { Err(Fault::Damaged) }
    })
}

/// The JPEG that a picture was made from without loss, where it was.
fn as_jpeg(image: &JxlImage) -> Option<Vec<u8>> {
    if !matches!(image.jpeg_reconstruction_status(), JpegReconstructionStatus::Available) {
        return None;
    }
    let mut bytes = Vec::new();
    let made = guard::guarded(|| image.reconstruct_jpeg(&mut bytes).is_ok()).unwrap_or(false);
    made.then_some(bytes)
}

/// The first frame, its size and its channels without transparency.
fn rendered(image: &JxlImage) -> Result<(Render, usize, usize, usize), Fault> {
    let render = image.render_frame(0)?;
    let stream = render.stream_no_alpha();
    let (width, height, channels) = (stream.width() as usize, stream.height() as usize, stream.channels() as usize);
    if !matches!(channels, 1 | 3) {
        return Err(Fault::Unknown("it is a JPEG XL picture in printing inks, which is not read here"));
    }
    Ok((render, width, height, channels))
}

fn luminance(image: &JxlImage, turn: Turn) -> Result<Plane, Fault> {
    // Primaries and curve by number (ITU-T H.273): those of Rec. 709 with sRGB's curve, or none.
    let tone = match image.rendered_cicp() {
        Some([1, 13, ..]) => Tone::named(Named::Srgb),
        Some([1, 8, ..]) => Tone::named(Named::Linear),
        _ => Tone::of(Some(&image.rendered_icc()), Named::Srgb),
    };
    let (render, width, height, channels) = rendered(image)?;
    let light: Vec<f32> = (0..=WHITE).map(|code| tone.linear(f32::from(code) / f32::from(WHITE))).collect();
    let at = |v: f32| light[(v * f32::from(WHITE) + 0.5).min(f32::from(WHITE)) as usize];
    let weights = tone.weights();
    let mut stream = render.stream_no_alpha();
    let mut row = vec![0.0_f32; width * channels];
    let mut data = Vec::with_capacity(width * height);
    for _ in 0..height {
        if stream.write_to_buffer(&mut row) != row.len() {
            return Err(Fault::Damaged);
        }
        data.extend(row.chunks_exact(channels).map(|p| {
            let sum = if channels == 1 { at(p[0]) } else { (0..3).map(|c| weights[c] * at(p[c])).sum() };
            (sum * f32::from(WHITE)).round() as u16
        }));
    }
    Ok(rendered::finished(data, (width, height), &tone, turn))
}
