//! Segments: strips and tiles, decoded side by side and put in their places.

use rayon::prelude::*;

use super::super::sensor::Refused;
use super::layout::{Compression, Layout};
use super::{head, jpeg, unpack, xl};

/// Samples as stored, row-major, channels side by side.
#[derive(Clone, Debug, PartialEq)]
pub enum Samples {
    /// Whole numbers of up to 16 bits.
    Whole(Vec<u16>),
    /// Floating-point numbers, and whole ones of more than 16 bits.
    Float(Vec<f32>),
}

/// Decodes all segments. `old` says that the file is of a DNG version before 1.1.
pub(super) fn samples(layout: &Layout, file: &[u8], old: bool) -> Result<Samples, Refused> {
    if layout.float || layout.bits > 16 {
        let samples = placed(layout, file, |bytes, rows| floats(layout, bytes, rows))?;
        return Ok(Samples::Float(sorted(layout, samples)));
    }
    let samples = placed(layout, file, |bytes, rows| words(layout, bytes, rows, old))?;
    Ok(Samples::Whole(sorted(layout, samples)))
}

fn words(layout: &Layout, bytes: &[u8], rows: usize, old: bool) -> Result<Vec<u16>, Refused> {
    match layout.compression {
        Compression::None => unpack::words(layout, bytes, rows),
        Compression::Deflate => unpack::words(layout, &unpack::inflate(layout, bytes, rows)?, rows),
        Compression::JpegXl => xl::words(layout, bytes, rows),
        Compression::Nikon | Compression::Sony => Err(of_the_maker()),
        Compression::Jpeg => {
            let mut decoded = jpeg::decode(bytes, old)?;
            if layout.quads && decoded.components == 4 && decoded.row == 2 * layout.segment.0 {
                decoded.data = of_quads(&decoded.data, layout.segment.0);
            }
            wrapped(decoded, layout.segment.0 * layout.segment_channels(), rows)
        }
    }
}

fn floats(layout: &Layout, bytes: &[u8], rows: usize) -> Result<Vec<f32>, Refused> {
    match layout.compression {
        Compression::None => unpack::floats(layout, bytes.to_vec(), rows),
        Compression::Deflate => unpack::floats(layout, unpack::inflate(layout, bytes, rows)?, rows),
        Compression::JpegXl => xl::floats(layout, bytes, rows),
        Compression::Nikon | Compression::Sony => Err(of_the_maker()),
        Compression::Jpeg => Err(Refused::Unknown("JPEG compression of samples of more than 16 bits".into())),
    }
}

/// Those compressions are read a whole picture at a time.
fn of_the_maker() -> Refused {
    Refused::Unknown("compressed data of a maker's in parts".into())
}

/// Two rows from each in which the four sites of a mosaic follow each other.
fn of_quads(data: &[u16], across: usize) -> Vec<u16> {
    let mut out = Vec::with_capacity(data.len());
    for pair in data.chunks_exact(2 * across) {
        for half in 0..2 {
            out.extend(pair.chunks_exact(4).flat_map(|quad| [quad[2 * half], quad[2 * half + 1]]));
        }
    }
    out
}

/// A JPEG's samples in rows of a segment: a JPEG may hold several of them in one of its own, or have rows of its own
/// length that reach beyond the segment's.
fn wrapped(decoded: head::Samples, across: usize, rows: usize) -> Result<Vec<u16>, Refused> {
    let head::Samples { row, mut data, .. } = decoded;
    let short = || Refused::Broken("its compressed data hold another size than it says".into());
    if row % across == 0 || across.is_multiple_of(row) {
        if data.len() < across * rows {
            return Err(short());
        }
        data.truncate(across * rows);
        return Ok(data);
    }
    if row < across || data.len() < row * rows {
        return Err(short());
    }
    Ok(data.chunks_exact(row).take(rows).flat_map(|r| &r[..across]).copied().collect())
}

/// Decodes each segment and copies what lies inside the picture to its place.
fn placed<T: Copy + Default + Send + Sync>(
    layout: &Layout,
    file: &[u8],
    decode: impl Fn(&[u8], usize) -> Result<Vec<T>, Refused> + Sync,
) -> Result<Vec<T>, Refused> {
    let row = layout.width * layout.channels;
    let mut out = vec![T::default(); row * layout.height];
    let (across, channels) = (layout.across(), layout.segment_channels());
    let a_plane = across * layout.height.div_ceil(layout.segment.1);
    let one = |index: usize, segment_row: usize| -> Result<Vec<T>, Refused> {
        let (offset, length) = layout.places[index];
        let early = || Refused::Broken("the file ends before the picture does".into());
        let bytes = offset.checked_add(length).and_then(|end| file.get(offset..end)).ok_or_else(early)?;
        Ok(reordered(layout, decode(bytes, layout.rows(segment_row))?))
    };
    let put = |column: usize, plane: usize, decoded: &[T], band: &mut [T]| {
        let left = column * layout.segment.0;
        let width = layout.segment.0.min(layout.width - left);
        for (to, from) in band.chunks_exact_mut(row).zip(decoded.chunks_exact(layout.segment.0 * channels)) {
            if layout.planar {
                let places = to[left * layout.channels + plane..].iter_mut().step_by(layout.channels);
                places.zip(&from[..width]).for_each(|(t, f)| *t = *f);
            } else {
                to[left * channels..][..width * channels].copy_from_slice(&from[..width * channels]);
            }
        }
    };
    out.par_chunks_mut(row * layout.segment.1).enumerate().try_for_each(|(segment_row, band)| {
        for plane in 0..if layout.planar { layout.channels } else { 1 } {
            let first = plane * a_plane + segment_row * across;
            let decoded: Result<Vec<Vec<T>>, Refused> =
                (0..across).into_par_iter().map(|column| one(first + column, segment_row)).collect();
            decoded?.iter().enumerate().for_each(|(column, samples)| put(column, plane, samples, band));
        }
        Ok::<(), Refused>(())
    })?;
    Ok(out)
}

/// Pixels of a tile whose blocks are stored one behind the other (SubTileBlockSize).
fn reordered<T: Copy + Default>(layout: &Layout, samples: Vec<T>) -> Vec<T> {
    let (rows, columns) = layout.block;
    let channels = layout.segment_channels();
    let (width, height) = (layout.segment.0, samples.len() / (layout.segment.0 * channels));
    if (rows, columns) == (1, 1) || width % columns != 0 || height % rows != 0 {
        return samples;
    }
    let mut out = vec![T::default(); samples.len()];
    let a_block = rows * columns;
    for (i, pixel) in samples.chunks_exact(channels).enumerate() {
        let (block, inside) = (i / a_block, i % a_block);
        let blocks_across = width / columns;
        let x = block % blocks_across * columns + inside % columns;
        let y = block / blocks_across * rows + inside / columns;
        out[(y * width + x) * channels..][..channels].copy_from_slice(pixel);
    }
    out
}

/// Rows and columns back in order where a picture is stored in fields (RowInterleaveFactor, ColumnInterleaveFactor):
/// first each n-th from the first on, then each n-th from the second on.
fn sorted<T: Copy + Default>(layout: &Layout, samples: Vec<T>) -> Vec<T> {
    if layout.fields == (1, 1) {
        return samples;
    }
    let order = |count: usize, fields: usize| -> Vec<usize> {
        (0..fields.min(count)).flat_map(|field| (field..count).step_by(fields)).collect()
    };
    let (rows, columns) = (order(layout.height, layout.fields.0), order(layout.width, layout.fields.1));
    let channels = layout.channels;
    let row = layout.width * channels;
    let mut out = vec![T::default(); samples.len()];
    for (from, y) in samples.chunks_exact(row).zip(rows) {
        let to = &mut out[y * row..][..row];
        for (pixel, x) in from.chunks_exact(channels).zip(&columns) {
            to[x * channels..][..channels].copy_from_slice(pixel);
        }
    }
    out
}
