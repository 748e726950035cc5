//! Baseline JPEG (ITU-T T.81) in one pass: all of the luma, and of the colour the mean of each block.
//!
//! Only for files that are sound from the first block to the last, as nearly all are; whatever is unusual is left to the
//! decoder that knows all kinds, and to what tells how a file is damaged.

use multiversion::multiversion;

use super::blocks::inverse;
use super::entropy::{Bits, END, Kind, Table};
use super::markers::{
    CodeTable, Component, FrameHeader, Pick, Segment, code_tables, places, scan_header, segments, step_tables, word,
};

/// Colour differences (Cb, Cr) of blocks, row by row.
pub(super) struct Colours {
    /// Blocks across.
    pub columns: usize,
    /// Pixels of the picture a block, across and down.
    pub block: (usize, usize),
    /// Mean codes.
    pub codes: Vec<[u8; 2]>,
}

/// Decodes the luma of a picture of grey or of luma and colour differences, handing it over row by row; its colours are empty where
/// it is grey.
///
/// `None` where the file isn't of the plain kind, or not sound; the rows that were handed over are then worth nothing.
pub(super) fn decode(bytes: &[u8], size: (usize, usize), take: &mut dyn FnMut(&[u8])) -> Option<Colours> {
    let (plan, data) = Plan::of(bytes).filter(|(plan, _)| (plan.width, plan.height) == size)?;
    let mut codes = vec![[0; 2]; if plan.colours.is_empty() { 0 } else { plan.across * plan.down }];
    units(&plan, data, take, &mut codes)?;
    Some(Colours { columns: plan.across, block: (8 * plan.luma.h, 8 * plan.luma.v), codes })
}

/// What the headers say.
struct Plan {
    width: usize,
    height: usize,
    /// Units (interleaved groups of blocks) across and down.
    across: usize,
    down: usize,
    /// Units between restart markers; 0 for none.
    interval: usize,
    luma: Part,
    colours: Vec<Part>,
}

/// A component: its blocks a unit, its steps in zigzag order, its tables.
struct Part {
    h: usize,
    v: usize,
    steps: [i32; 64],
    dc: Table,
    ac: Table,
}

impl Plan {
    /// Walks the markers up to the scan, which must be the only one; with the bytes behind its header.
    fn of(bytes: &[u8]) -> Option<(Self, &[u8])> {
        let mut steps: [Option<[i32; 64]>; 4] = [None; 4];
        let mut tables: [[Option<Table>; 4]; 2] = Default::default();
        let (mut frame, mut interval) = (None, 0);
        for Segment { marker, body, end } in segments(bytes) {
            match marker {
                0xDB => {
                    for table in step_tables(body) {
                        let (number, table) = table?;
                        *steps.get_mut(number)? = Some(table.map(i32::from));
                    }
                }
                0xC4 => {
                    for table in code_tables(body) {
                        let CodeTable { class, number, counts, symbols } = table?;
                        let kind = if class == 0 { Kind::Means } else { Kind::Others };
                        *tables.get_mut(class)?.get_mut(number)? = Some(Table::new(counts, symbols, kind)?);
                    }
                }
                0xDD => interval = word(body)?,
                0xC0 | 0xC1 if frame.is_none() => frame = Some(FrameHeader::of(body).filter(|f| f.precision == 8)?),
                0xDA => {
                    let (frame, (picks, spectrum)) = (frame?, scan_header(body)?);
                    if frame.components.len() != picks.len() || spectrum != [0, 63, 0] {
                        return None;
                    }
                    let part = |(&Component { id, h, v, steps: number }, pick): (&Component, &Pick)| {
                        (id == pick.id).then_some(())?;
                        let (dc, ac) = (tables[0][pick.dc].clone()?, tables[1][pick.ac].clone()?);
                        Some(Part { h, v, steps: steps[number]?, dc, ac })
                    };
                    let parts = frame.components.iter().zip(&picks).map(part).collect::<Option<_>>()?;
                    return Some((Self::laid_out((frame.width, frame.height), parts, interval)?, bytes.get(end..)?));
                }
                // Frames of other kinds, an early end, and heights that are told later.
                0xC0..=0xCF | 0xD9 | 0xDC => return None,
                _ => {}
            }
        }
        None
    }

    fn laid_out((width, height): (usize, usize), mut parts: Vec<Part>, interval: usize) -> Option<Self> {
        let alone = parts.len() == 1;
        if !matches!(parts.len(), 1 | 3) || width == 0 || height == 0 {
            return None;
        }
        let mut luma = parts.remove(0);
        if alone {
            // By itself a component's blocks come one by one, whatever its sampling.
            (luma.h, luma.v) = (1, 1);
        }
        let plain =
            (1..=4).contains(&luma.h) && (1..=4).contains(&luma.v) && parts.iter().all(|c| (c.h, c.v) == (1, 1));
        plain.then(|| Self {
            width,
            height,
            across: width.div_ceil(8 * luma.h),
            down: height.div_ceil(8 * luma.v),
            interval,
            luma,
            colours: parts,
        })
    }
}

/// Decodes all units.
#[multiversion(targets("x86_64+avx2+bmi1+bmi2"))]
fn units(plan: &Plan, data: &[u8], take: &mut dyn FnMut(&[u8]), codes: &mut [[u8; 2]]) -> Option<()> {
    let mut bits = Bits::new(data);
    let order = places();
    let Part { h, v, .. } = plan.luma;
    let stride = plan.across * 8 * h;
    let mut strip = vec![0_u8; stride * 8 * v];
    let mut before = [0_i32; 3];
    let mut coefficients = [0_i32; 64];
    for row in 0..plan.down {
        for column in 0..plan.across {
            let unit = row * plan.across + column;
            if plan.interval > 0 && unit > 0 && unit.is_multiple_of(plan.interval) {
                (bits.marker()? == 0xD0 + (unit / plan.interval - 1) as u8 % 8).then_some(())?;
                before = [0; 3];
            }
            for block in 0..h * v {
                let last = block_of(&mut bits, &plan.luma, &mut before[0], &order, &mut coefficients)?;
                let place = (block / h * 8) * stride + (column * h + block % h) * 8;
                inverse(&mut coefficients, last, &mut strip[place..], stride);
            }
            for (k, part) in plan.colours.iter().enumerate() {
                let mean = passed(&mut bits, part, &mut before[k + 1])?;
                codes[unit][k] = (mean.wrapping_add(1028) >> 3).clamp(0, 255) as u8;
            }
        }
        (bits.have >= 0).then_some(())?;
        strip.chunks_exact(stride).take(plan.height - row * 8 * v).for_each(|line| take(&line[..plan.width]));
    }
    (bits.marker()? == 0xD9).then_some(())
}

/// Reads a block's coefficients, dequantised and in their places; the zigzag position of the last that isn't zero.
#[inline(always)]
fn block_of(
    bits: &mut Bits<'_>,
    part: &Part,
    before: &mut i32,
    order: &[u8; 64],
    out: &mut [i32; 64],
) -> Option<usize> {
    let entry = bits.entry(&part.dc)?;
    *before = before.wrapping_add(bits.number(entry));
    out[0] = before.wrapping_mul(part.steps[0]);
    let (mut k, mut last) = (1, 0);
    while k < 64 {
        let entry = bits.entry(&part.ac)?;
        k += usize::from(entry.run());
        if k > 63 {
            if entry.run() == END {
                break;
            }
            return None;
        }
        let value = bits.number(entry);
        out[usize::from(order[k] & 63)] = value.wrapping_mul(part.steps[k]);
        last = k;
        k += 1;
    }
    Some(last)
}

/// Passes a block; its mean, dequantised.
#[inline(always)]
fn passed(bits: &mut Bits<'_>, part: &Part, before: &mut i32) -> Option<i32> {
    let entry = bits.entry(&part.dc)?;
    *before = before.wrapping_add(bits.number(entry));
    let mut k = 1;
    while k < 64 {
        let entry = bits.entry(&part.ac)?;
        if entry.run() == END {
            break;
        }
        k += usize::from(entry.run()) + 1;
        bits.skip(entry.size());
    }
    (k <= 64).then(|| before.wrapping_mul(part.steps[0]))
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use image::codecs::jpeg::JpegEncoder;
    use zune_core::bytestream::ZCursor;
    use zune_core::colorspace::ColorSpace;
    use zune_core::options::DecoderOptions;
    use zune_jpeg::JpegDecoder;

    use super::*;

    /// What the general decoder, an independent library, makes of the luma.
    fn reference(bytes: &[u8]) -> (usize, usize, Vec<u8>) {
        let options = DecoderOptions::default().jpeg_set_out_colorspace(ColorSpace::Luma);
        let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
        let luma = decoder.decode().unwrap();
        let info = decoder.info().unwrap();
        (usize::from(info.width), usize::from(info.height), luma)
    }

    fn decoded(bytes: &[u8], size: (usize, usize)) -> Option<(Colours, Vec<u8>)> {
        let mut luma = Vec::new();
        let colours = decode(bytes, size, &mut |line| luma.extend_from_slice(line))?;
        Some((colours, luma))
    }

    fn fixture(name: &str) -> Vec<u8> {
        std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/jpeg").join(name)).unwrap()
    }

    fn noisy(width: u32, height: u32, quality: u8) -> Vec<u8> {
        let mut dice = fastrand::Rng::with_seed(u64::from(width * height) + u64::from(quality));
        let picture = image::RgbImage::from_fn(width, height, |x, y| {
            let base = 120.0 + 90.0 * (f64::from(x) / 17.0).sin() * (f64::from(y) / 9.0).cos();
            image::Rgb([0, 1, 2].map(|_| (base + 120.0 * (dice.f64() - 0.5)) as u8))
        });
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, quality).encode_image(&picture).unwrap();
        bytes
    }

    #[test]
    fn luma_is_that_of_the_general_decoder_to_the_bit() {
        let mut files: Vec<Vec<u8>> = ["baseline.jpg", "grey.jpg", "restart.jpg"].map(fixture).into();
        for (width, height) in [(1, 1), (8, 8), (17, 33), (64, 64), (131, 77)] {
            files.extend([1, 30, 75, 93, 100].map(|quality| noisy(width, height, quality)));
        }
        for bytes in files {
            let (width, height, expected) = reference(&bytes);
            let luma = decoded(&bytes, (width, height)).map(|d| d.1);
            assert!(luma == Some(expected), "{width} x {height}");
        }
    }

    #[test]
    fn what_is_cut_damaged_or_of_another_kind_is_left_to_others() {
        for name in ["progressive.jpg", "cmyk.jpg"] {
            let bytes = fixture(name);
            let size = super::super::headers::Headers::scan(&bytes).size();
            assert!(decoded(&bytes, size).is_none(), "{name}");
        }
        let bytes = fixture("baseline.jpg");
        let size = super::super::headers::Headers::scan(&bytes).size();
        for cut in (0..bytes.len() - 2).step_by(bytes.len() / 60 + 1) {
            assert!(decoded(&bytes[..cut], size).is_none(), "{cut}");
            let mut ended = bytes[..cut].to_vec();
            ended.extend([0xFF, 0xD9]);
            assert!(decoded(&ended, size).is_none(), "{cut}");
        }
        assert!(decoded(&bytes, size).is_some());
    }

    #[test]
    fn colours_are_the_means_of_blocks() {
        let picture = image::RgbImage::from_fn(40, 24, |x, y| {
            if x < 16 && y < 16 { image::Rgb([200, 60, 40]) } else { image::Rgb([90, 90, 90]) }
        });
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, 100).encode_image(&picture).unwrap();
        let (colours, _) = decoded(&bytes, (40, 24)).unwrap();
        // JFIF 1.02: Cb = 128 - 0.1687 R - 0.3313 G + 0.5 B, Cr = 128 + 0.5 R - 0.4187 G - 0.0813 B.
        let near =
            |found: [u8; 2], expected: [f64; 2]| (0..2).all(|k| (f64::from(found[k]) - expected[k]).abs() <= 2.0);
        assert!(near(colours.codes[0], [94.4, 199.6]), "{:?}", colours.codes[0]);
        assert!(near(colours.codes[colours.codes.len() - 1], [128.0, 128.0]));
    }
}
