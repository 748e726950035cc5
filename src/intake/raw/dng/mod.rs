//! DNG to samples after its specification (1.7), whatever camera or converter wrote it; other raw files that are built
//! like one (TIFF/EP, ISO 12234-2) too.

mod bits;
mod dct;
mod head;
mod jpeg;
mod layout;
mod levels;
mod makers;
mod nikon;
mod opcodes;
mod panasonic;
mod segments;
mod sony;
mod tags;
mod unpack;
mod xl;

use super::quad;
use super::sensor::{Pattern, Refused, Sensor, from_floats};
use crate::quantity::Flag;
use layout::{CFA, Compression, Layout};
use levels::{Area, Black};
use makers::{Note, Stated};
use opcodes::Opcodes;
pub use panasonic::panasonic;
pub use segments::Samples;
use tags::{Directory, tag};

/// A picture's samples as a file stores them, codes replaced by what its linearisation table says they stand for.
#[derive(Clone, Debug, PartialEq)]
pub struct Stored {
    /// Width of the whole stored picture, masked borders included, px.
    pub width: usize,
    /// Its height, px.
    pub height: usize,
    /// Samples a pixel.
    pub channels: usize,
    /// Row-major samples, channels side by side.
    pub samples: Samples,
}

/// A picture with what is needed to understand it.
struct Picture<'a, 'b> {
    root: &'b Directory<'a>,
    directory: &'b Directory<'a>,
    layout: Layout,
    samples: Samples,
    /// The highest value of the linearisation table.
    table: Option<f32>,
    /// Pictures of the same size and kind in the file.
    exposures: usize,
}

/// What a raw file built like a DNG is called by its compression, where it has a picture of a sensor.
pub(super) fn compression(file: &[u8]) -> Option<&'static str> {
    let all = tags::directories(file);
    let (directory, _) = layout::main(&all, true)?;
    let number = directory.whole(tag::COMPRESSION)?;
    let bits = directory.number(tag::BITS_PER_SAMPLE).unwrap_or(0.0);
    // Number 7 stands for both kinds of JPEG; only the lossless one has more than 8 bits in still cameras.
    if number == 7 && bits > 8.0 { Some("lossless JPEG compression") } else { layout::compression_name(number) }
}

/// Whether a file that begins as a TIFF has no directory, as one that was cut short before the place of its first.
pub(super) fn is_headless(file: &[u8]) -> bool {
    tags::directories(file).is_empty()
}

/// Whether a raw file holds Nikon's high-efficiency data.
pub(super) fn is_efficient(file: &[u8]) -> bool {
    tags::directories(file).first().and_then(Note::nikon).is_some_and(|note| nikon::is_efficient(&note))
}

/// Whether a raw file holds a picture with all colours at each pixel, as film scanners write it, and no sensor's mosaic.
pub(super) fn is_scan(file: &[u8]) -> bool {
    const RGB: usize = 2;
    let all = tags::directories(file);
    let wide = |d: &&Directory| d.number(tag::BITS_PER_SAMPLE).is_some_and(|bits| bits > 8.0);
    let scan = |d: &Directory| d.whole(tag::PHOTOMETRIC) == Some(RGB) && d.whole(tag::SAMPLES_PER_PIXEL) == Some(3);
    layout::main(&all, false).is_none() && all.iter().filter(wide).any(scan)
}

/// The samples of a file's picture before anything but the linearisation table is applied to them.
///
/// # Errors
/// [`Refused::Unknown`] names, in words for people, what kind of file it is that is not read here;
/// [`Refused::Broken`] what is wrong with it.
pub fn stored(file: &[u8]) -> Result<Stored, Refused> {
    let all = tags::directories(file);
    let Picture { layout, samples, .. } = picture(&all, file)?;
    Ok(Stored { width: layout.width, height: layout.height, channels: layout.channels, samples })
}

fn picture<'a, 'b>(all: &'b [Directory<'a>], file: &[u8]) -> Result<Picture<'a, 'b>, Refused> {
    let root = all.first().ok_or_else(|| Refused::Broken("it has no directory of its content".into()))?;
    let version = root.numbers(tag::DNG_VERSION);
    let found = layout::main(all, !version.is_empty());
    let (directory, exposures) = found.ok_or_else(|| Refused::Unknown("no picture of a sensor".into()))?;
    let mut layout = Layout::of(directory, file.len())?;
    let note = if version.is_empty() { Note::nikon(root) } else { None };
    if version.is_empty() {
        note.as_ref().map_or(Ok(()), |note| nikon::settle(&mut layout, note))?;
        layout.own(note.is_some());
    }
    let old = matches!(version[..], [1.0, 0.0, ..]);
    let mut samples = match layout.compression {
        Compression::Nikon => Samples::Whole(nikon::samples(&layout, note.as_ref(), file)?),
        Compression::Sony => Samples::Whole(sony::samples(&layout, directory, file)?),
        _ => segments::samples(&layout, file, old)?,
    };
    let table = levels::linearise(directory, &mut samples);
    if layout.compression == Compression::Sony {
        // The codes have 8 bits, what they stand for has 14.
        layout.precision = 14;
    }
    Ok(Picture { root, directory, layout, samples, table, exposures })
}

/// The samples of a file in a maker's own codes that are read exactly here: `None` for all others.
pub(super) fn coded(file: &[u8]) -> Option<Result<Stored, Refused>> {
    let all = tags::directories(file);
    let root = all.first().filter(|root| !root.has(tag::DNG_VERSION))?;
    let (directory, _) = layout::main(&all, false)?;
    let ours = match directory.whole(tag::COMPRESSION)? {
        34_713 => {
            let layout = Layout::of(directory, file.len());
            Note::nikon(root).is_some_and(|note| layout.is_ok_and(|layout| nikon::is_coded(&note, &layout)))
        }
        32_767 => sony::has_blocks(directory),
        _ => false,
    };
    ours.then(|| stored(file))
}

/// A file's picture as a sensor's.
///
/// # Errors
/// As [`stored`].
pub fn decode(file: &[u8]) -> Result<Sensor, Refused> {
    let all = tags::directories(file);
    let mut picture = picture(&all, file)?;
    let (directory, layout) = (picture.directory, &picture.layout);
    let dng = picture.root.has(tag::DNG_VERSION);
    let stated = if dng { Stated::default() } else { Stated::of(picture.root, file, layout.precision) };
    let active = Area::active(directory, layout);
    let crop = stated.area.and_then(|area| Area::inside(area, layout)).unwrap_or_else(|| active.cropped(directory));
    let offset = (crop.left - active.left, crop.top - active.top);
    let mosaic = filters(directory, layout, offset)?;
    let opcodes = Opcodes::of(directory);
    if let (Samples::Whole(samples), false) = (&mut picture.samples, opcodes.first.is_empty()) {
        let whole = Area { left: 0, top: 0, width: layout.width, height: layout.height };
        levels::bend(samples, layout, whole, &opcodes.first, |_, _, _| (0.0, 65535.0));
    }
    let black = Black::of(directory, layout, &picture.samples, active, stated.black);
    let mut white = stated.white.unwrap_or_else(|| levels::white(directory, layout, picture.table));
    let side = mosaic.map(|(pattern, quad)| if quad { 4 } else { pattern.side });
    let (grey, simple) = (layout.channels == 1 && side.is_none(), black.is_simple(side));
    let mut blacks = if simple {
        std::array::from_fn(|i| match side {
            Some(2) => black.at(offset.0 + i % 2, offset.1 + i / 2, 0),
            Some(_) => black.at(0, 0, 0),
            None => black.at(0, 0, i.min(layout.channels - 1)),
        })
    } else {
        [black.levelled(&mut picture.samples, layout, active); 4]
    };
    if let (Samples::Whole(samples), false) = (&mut picture.samples, opcodes.second.is_empty()) {
        let level = |x: usize, y: usize, c: usize| if simple { black.at(x, y, c) } else { blacks[0] };
        levels::bend(samples, layout, active, &opcodes.second, |x, y, c| (level(x, y, c), white));
        (blacks, white) = ([0.0; 4], 65535.0);
    }
    let (samples, black, white) = match picture.samples {
        Samples::Whole(samples) => (samples, blacks, white),
        Samples::Float(samples) => from_floats(&samples, blacks, white),
    };
    let sensor = Sensor {
        samples,
        stride: layout.width,
        left: crop.left,
        top: crop.top,
        width: crop.width,
        height: crop.height,
        channels: layout.channels,
        pattern: mosaic.map(|(pattern, _)| pattern),
        black,
        white,
        gains: if grey { [1.0; 3] } else { stated.gains.unwrap_or_else(|| levels::gains(picture.root)) },
        from_srgb: levels::colours(picture.root).and_then(super::sensor::of_xyz),
        orientation: picture.root.whole(tag::ORIENTATION).map_or(0, |o| o as u16),
        exposures: picture.exposures,
        coded: None,
        flags: if opcodes.moves { vec![Flag::LensCorrectionPending] } else { Vec::new() },
    };
    sensor.checked(layout.height).and_then(|sensor| match mosaic {
        Some((pattern, true)) => quad::binned(&sensor, (offset.0 % 2, offset.1 % 2), pattern),
        _ => Ok(sensor),
    })
}

/// A mosaic's pattern, and whether each of its sites stands for two by two of the sensor's.
type Mosaic = (Pattern, bool);

/// The pattern of a mosaic from a place of the active area on; `None` for full colour and grey.
fn filters(directory: &Directory, layout: &Layout, offset: (usize, usize)) -> Result<Option<Mosaic>, Refused> {
    if layout.channels == 4 {
        let what = "four samples at each pixel (four colours, or several shots put together)";
        return Err(Refused::Unknown(what.into()));
    }
    let mosaic = directory.whole(tag::PHOTOMETRIC) == Some(CFA) && layout.channels == 1;
    if mosaic { pattern(directory, offset).map(Some) } else { Ok(None) }
}

/// The colour filter pattern from a place of the active area on.
fn pattern(directory: &Directory, (left, top): (usize, usize)) -> Result<Mosaic, Refused> {
    let unknown = |why: &str| Err(Refused::Unknown(why.into()));
    if directory.whole(tag::CFA_LAYOUT).is_some_and(|layout| layout > 1) {
        return unknown("a mosaic whose rows or columns are staggered");
    }
    let colours: Vec<usize> = directory.numbers(tag::CFA_PATTERN).into_iter().map(|c| c as usize).collect();
    let (rows, columns) = match directory.numbers(tag::CFA_REPEAT_PATTERN_DIM)[..] {
        [rows, columns] => (rows as usize, columns as usize),
        _ => (2, 2),
    };
    if rows == 0 || columns == 0 || rows.checked_mul(columns) != Some(colours.len()) {
        return Err(Refused::Broken("its colour filter pattern contradicts itself".into()));
    }
    let at = |x: usize, y: usize| colours[y % rows * columns + x % columns];
    if colours.iter().any(|c| *c > 2) {
        return unknown("a mosaic of other colours than red, green and blue");
    }
    // A pattern may be written out larger than it is.
    let repeats =
        |side: usize| (0..rows * side).all(|y| (0..columns * side).all(|x| at(x, y) == at(x % side, y % side)));
    let found = match [2, 6].into_iter().find(|side| repeats(*side)) {
        Some(side) => Pattern::new(side, |x, y| at(x + left, y + top)).map(|pattern| (pattern, false)),
        None if repeats(4) && (0..16).all(|i| at(i % 4, i / 4) == at((i % 4) & !1, (i / 4) & !1)) => {
            // Of the fours that lie wholly in the picture.
            let from = (left.next_multiple_of(2), top.next_multiple_of(2));
            Pattern::new(2, |x, y| at(2 * x + from.0, 2 * y + from.1)).map(|pattern| (pattern, true))
        }
        None => return unknown("an unusual mosaic"),
    };
    found.map_or_else(|| unknown("a mosaic whose greens form no checkerboard"), Ok)
}
