//! JPEG as raw files hold it: lossless (ITU-T T.81, process 14), and the 8- and 12-bit kinds that lose.

use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::super::sensor::Refused;
use super::bits::{Bits, Codes, intervals};
use super::dct;
use super::head::{Head, Samples, broken, unknown};

/// Decodes a segment. `old` says that codes of 16 bits carry them along, as in DNG before 1.1.
pub(super) fn decode(bytes: &[u8], old: bool) -> Result<Samples, Refused> {
    let head = Head::parse(bytes)?;
    match (head.frame, head.precision) {
        (0xC3, 2..=16) => lossless(&head, &bytes[head.start..], old),
        (0xC0 | 0xC1, 12) => dct::decode(&head, &bytes[head.start..]),
        (0xC0..=0xC2, 8) => eight(bytes, &head),
        _ => Err(unknown("a kind of JPEG compression that is not read here")),
    }
}

/// Bytes that may be left where all samples are decoded: more are left where some of the codes are not those that were
/// written. Chosen: writers fill up to words and to lines of memory.
const LEFT: usize = 64;

/// Lossless JPEG: each sample is foretold from its neighbours, and what that misses is coded (T.81, annex H).
fn lossless(head: &Head, data: &[u8], old: bool) -> Result<Samples, Refused> {
    if head.parts.iter().any(|p| p.sampling != (1, 1)) {
        return Err(unknown("lossless JPEG compression with colour at half size"));
    }
    if !(1..=7).contains(&head.predictor) || head.shift >= head.precision {
        return Err(unknown("a kind of lossless JPEG compression that is not in the standard"));
    }
    let tables: Option<Vec<&Codes>> = head.parts.iter().map(|p| head.huffman[0][p.tables.0].as_ref()).collect();
    let tables = tables.ok_or_else(|| broken("a code table is missing"))?;
    let row = head.width * tables.len();
    // Every code takes at least one bit.
    if head.width * head.height * tables.len() > data.len().saturating_mul(8) {
        return Err(broken("its compressed data end early"));
    }
    let mut out = vec![0_u16; row * head.height];
    let rows_apart = if head.restart > 0 { head.restart.div_ceil(head.width) } else { head.height };
    let mut parts = intervals(data).into_iter();
    for piece in out.chunks_mut(row * rows_apart) {
        let part = parts.next().ok_or_else(|| broken("its compressed data end early"))?;
        let mut bits = Bits::new(&part);
        predicted(head, &tables, old, &mut bits, piece)?;
        if bits.overrun() {
            return Err(broken("its compressed data end early"));
        }
        if bits.left() > LEFT {
            return Err(broken("its compressed data hold more than the picture"));
        }
    }
    if head.shift > 0 {
        out.iter_mut().for_each(|v| *v <<= head.shift);
    }
    Ok(Samples { row, components: tables.len(), data: out })
}

/// Decodes the rows of a restart interval.
fn predicted(head: &Head, tables: &[&Codes], old: bool, bits: &mut Bits, out: &mut [u16]) -> Result<(), Refused> {
    let count = tables.len();
    let row = head.width * count;
    let start = 1_u16 << (head.precision - head.shift - 1);
    let mut difference = |table: &Codes| -> Result<u16, Refused> {
        let size = u32::from(bits.symbol(table)?);
        Ok(match size {
            0..=15 => bits.signed(size) as u16,
            // Half the range, of which no bits follow.
            16 => {
                if old {
                    bits.signed(16);
                }
                0x8000
            }
            _ => return Err(broken("its compressed data hold a code that does not exist")),
        })
    };
    for y in 0..out.len() / row {
        let (above, here) = out[y.saturating_sub(1) * row..].split_at_mut(if y > 0 { row } else { 0 });
        let here = &mut here[..row];
        for (c, table) in tables.iter().enumerate() {
            let foretold = if y > 0 { above[c] } else { start };
            here[c] = foretold.wrapping_add(difference(table)?);
        }
        if y == 0 || head.predictor == 1 {
            for x in (count..row).step_by(count) {
                for (c, table) in tables.iter().enumerate() {
                    here[x + c] = here[x + c - count].wrapping_add(difference(table)?);
                }
            }
            continue;
        }
        for x in (count..row).step_by(count) {
            for (c, table) in tables.iter().enumerate() {
                let at = x + c;
                let (a, b, c) = (i32::from(here[at - count]), i32::from(above[at]), i32::from(above[at - count]));
                // T.81, table H.1.
                let foretold = match head.predictor {
                    2 => b,
                    3 => c,
                    4 => a + b - c,
                    5 => a + ((b - c) >> 1),
                    6 => b + ((a - c) >> 1),
                    _ => (a + b) >> 1,
                };
                here[at] = (foretold as u16).wrapping_add(difference(table)?);
            }
        }
    }
    Ok(())
}

/// Eight-bit JPEG, grey or colour, by zune-jpeg; its codes are not scaled.
fn eight(bytes: &[u8], head: &Head) -> Result<Samples, Refused> {
    let colour = match head.parts.len() {
        1 => ColorSpace::Luma,
        3 => ColorSpace::RGB,
        _ => return Err(unknown("lossy JPEG compression of neither one nor three colours")),
    };
    head.samples(bytes.len())?;
    let options = DecoderOptions::default().set_strict_mode(true).jpeg_set_out_colorspace(colour);
    let options = options.set_max_width(usize::from(u16::MAX)).set_max_height(usize::from(u16::MAX));
    let pixels = JpegDecoder::new_with_options(ZCursor::new(bytes), options).decode();
    let pixels = pixels.map_err(|_| broken("its compressed data are damaged"))?;
    let components = head.parts.len();
    Ok(Samples { row: head.width * components, components, data: pixels.into_iter().map(u16::from).collect() })
}
