//! Camera raw to luminance: DNG by its specification, other files by two libraries, the embedded preview where none can.

pub mod dng;
mod green;
mod look;
mod name;
mod outliers;
mod quad;
mod sensor;
mod sound;

use std::io::BufReader;
use std::path::Path;

use ::rawler::decoders::RawDecodeParams;
use ::rawler::rawsource::RawSource;
use image::RgbImage;

use super::luminance::Read;
use super::turn::Turn;
use super::{IntakeError, IntakeErrorKind, guard, open_file, preview, sniff};
use crate::quantity::Flag;
use crate::shot::Plane;
pub use sensor::{Pattern, Refused, Sensor};

/// Luminance of a raw file, upright. `orientation` is what the file's metadata say, where they do.
pub(super) fn plane(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Result<Read, IntakeError> {
    match decode(path) {
        Ok(mut sensor) => {
            outliers::mend(&mut sensor);
            let turn = Turn::from_exif(orientation.unwrap_or(sensor.orientation)).then_clockwise(quarter_turns);
            Ok(developed(&sensor, turn))
        }
        Err(refused) => {
            let damaged = (refused.kind == IntakeErrorKind::Damaged).then_some(Flag::RawDamaged);
            let mut read = preview::plane(path, orientation, quarter_turns).ok_or(refused)?;
            read.flags.extend(damaged);
            Ok(read)
        }
    }
}

/// A raw file as a picture to look at, upright; half size for mosaics.
pub(super) fn colour(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Result<RgbImage, IntakeError> {
    match decode(path) {
        Ok(mut sensor) => {
            outliers::mend(&mut sensor);
            let turn = Turn::from_exif(orientation.unwrap_or(sensor.orientation)).then_clockwise(quarter_turns);
            Ok(look::picture(&sensor, turn))
        }
        Err(refused) => preview::rgb(path, orientation, quarter_turns).ok_or(refused),
    }
}

fn developed(sensor: &Sensor, turn: Turn) -> Read {
    let mut flags = sensor.flags.clone();
    match (&sensor.pattern, sensor.channels) {
        (Some(_), _) => {}
        (None, 1 | 2) => flags.push(Flag::MonochromeSensor),
        (None, _) => flags.push(Flag::Demosaicked),
    }
    if sensor.exposures > 1 {
        flags.push(Flag::MultiShot);
    }
    let stored = green::plane(sensor);
    if turn.is_none() {
        return Read { plane: stored, flags, coded: sensor.coded, tint: None };
    }
    let (width, height) = turn.size(stored.width, stored.height);
    let data = turn.apply(&stored.data, stored.width, stored.height, |v| v);
    let mosaic = turn.mosaic(stored.mosaic, stored.width, stored.height);
    Read { plane: Plane { width, height, data, mosaic, ..stored }, flags, coded: sensor.coded, tint: None }
}

/// Luminance of a sensor's picture as stored, not turned upright: what [`crate::measure`] gets of a raw file.
#[must_use]
pub fn luminance(sensor: &Sensor) -> Plane {
    green::plane(sensor)
}

/// Decodes a raw file's samples.
///
/// A DNG is read after its specification, and by nothing else: the two libraries know a part of it, and take some of the
/// rest for what it is not. Nikon's codes and Sony's blocks are read here as well, since both libraries add noise to them;
/// their lists of bodies tell levels and borders. Panasonic's blocks are, since each library misreads some. Any other raw file is read by rawler, which takes levels and borders from the
/// file where that states them, or, where it does not know the body, by rawloader; what neither knows may still be built
/// like a DNG.
///
/// # Errors
/// One whose words say what kind of raw file it is.
pub fn decode(path: &Path) -> Result<Sensor, IntakeError> {
    let file = open_file(path)?;
    let found = sniff::directories(&mut BufReader::new(file)).unwrap_or_default();
    if found.vc5 {
        return Err(name::refusal(path, &[]));
    }
    if found.dng {
        return by_specification(path).map_err(|refused| name::refusal(path, &[refused]));
    }
    if found.panasonic
        && let Some(read) = panasonic(path)
    {
        return read.map_err(|refused| name::refusal(path, &[refused]));
    }
    if found.coded
        && let Some(read) = coded(path)
    {
        return read.map_err(|refused| name::refusal(path, &[refused]));
    }
    let mut refusals = Vec::new();
    for reader in [|path: &Path| by_rawler(path, false), |path: &Path| by_rawloader(path, false), by_specification] {
        match reader(path) {
            Ok(sensor) => return Ok(sensor),
            Err(refused) => refusals.push(refused),
        }
    }
    // That a file is not built like a DNG says nothing of one of another kind.
    refusals.truncate(2);
    Err(name::refusal(path, &refusals))
}

/// Decodes a DNG, or what is built like one, after its specification.
pub fn by_specification(path: &Path) -> Result<Sensor, Refused> {
    let file = std::fs::read(path).map_err(|e| Refused::Broken(e.to_string()))?;
    guarded(|| dng::decode(&file))
}

/// Decodes by rawloader. `dng` files state their filter pattern from the active area's corner on.
pub fn by_rawloader(path: &Path, dng: bool) -> Result<Sensor, Refused> {
    let decoded = guarded(|| {
        ::rawloader::decode_file(path).map_err(|error| {
            let text = error.to_string();
            let unknown = ["Couldn't find camera", "No decoder found", "Don't know", "not supported", "unsupported"];
            if unknown.iter().any(|u| text.contains(u)) { Refused::Unknown(text) } else { Refused::Broken(text) }
        })
    })?;
    guarded(|| Sensor::of_rawloader(decoded, dng))
}

/// Decodes by rawler.
pub fn by_rawler(path: &Path, dng: bool) -> Result<Sensor, Refused> {
    let (image, exposures) = rawler_image(path, false)?;
    guarded(|| Sensor::of_rawler(image, dng, exposures))
}

/// A file in a maker's codes that are read here, with what the libraries' lists know of the body; one that neither knows
/// has what its own tags state. `None` for all other files.
fn coded(path: &Path) -> Option<Result<Sensor, Refused>> {
    let file = std::fs::read(path).ok()?;
    let read = guarded(|| dng::coded(&file).transpose()).transpose()?;
    let (size, samples) = match read {
        Ok(dng::Stored { width, height, channels: 1, samples: dng::Samples::Whole(samples) }) => {
            ((width, height), samples)
        }
        Ok(_) => return None,
        Err(refused) => return Some(Err(refused)),
    };
    if let Ok((mut image, exposures)) = rawler_image(path, true)
        && (image.width, image.height, image.cpp) == (size.0, size.1, 1)
    {
        image.data = ::rawler::RawImageData::Integer(samples);
        return Some(guarded(|| Sensor::of_rawler(image, false, exposures)));
    }
    if let Ok(sensor) = by_rawloader(path, false)
        && (sensor.stride, sensor.samples.len()) == (size.0, samples.len())
    {
        return Some(Ok(Sensor { samples, ..sensor }));
    }
    Some(guarded(|| dng::decode(&file)))
}

/// A file in Panasonic's blocks, with all that it states itself; only colours to look at are of a list. `None` for all others.
fn panasonic(path: &Path) -> Option<Result<Sensor, Refused>> {
    let file = std::fs::read(path).ok()?;
    let read = guarded(|| dng::panasonic(&file).transpose()).transpose()?;
    let colours = || {
        let (image, _) = rawler_image(path, true).ok()?;
        sensor::of_xyz([0, 1, 2].map(|c| image.xyz_to_cam[c]))
    };
    Some(read.map(|sensor| Sensor { from_srgb: colours(), ..sensor }))
}

/// What rawler makes of a file; `bare` without its samples. The number is that of the exposures.
fn rawler_image(path: &Path, bare: bool) -> Result<(::rawler::RawImage, usize), Refused> {
    let refused = |error: ::rawler::RawlerError| match error {
        ::rawler::RawlerError::Unsupported { what, .. } => Refused::Unknown(what),
        ::rawler::RawlerError::DecoderFailed(text) => {
            let unknown = ["No decoder found", "Unsupported", "unsupported", "not supported", "Don't know"];
            if unknown.iter().any(|u| text.contains(u)) { Refused::Unknown(text) } else { Refused::Broken(text) }
        }
    };
    guarded(|| {
        let source = RawSource::new(path).map_err(|e| Refused::Broken(e.to_string()))?;
        let decoder = ::rawler::get_decoder(&source).map_err(refused)?;
        let image = decoder.raw_image(&source, &RawDecodeParams::default(), bare).map_err(refused)?;
        Ok((image, decoder.raw_image_count().unwrap_or(1)))
    })
}

/// A decoder's panic is damage to the file, not an end to the program.
fn guarded<T>(work: impl FnOnce() -> Result<T, Refused>) -> Result<T, Refused> {
    guard::guarded(work).unwrap_or_else(|_| Err(Refused::Broken("the decoder gave up".into())))
}
