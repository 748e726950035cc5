//! Unpack: bytes of uncompressed or inflated segments to numbers, predictors undone (TIFF 6.0, DNG 1.7).

use super::super::sensor::Refused;
use super::layout::Layout;
use super::tags::unsigned;

fn broken() -> Refused {
    Refused::Broken("the file ends before the picture does".into())
}

/// Bytes of a row of `samples`; rows begin on whole bytes.
const fn row_bytes(samples: usize, bits: usize) -> usize {
    (samples * bits).div_ceil(8)
}

/// Inflates a segment of `rows` rows.
pub(super) fn inflate(layout: &Layout, bytes: &[u8], rows: usize) -> Result<Vec<u8>, Refused> {
    let size = rows * row_bytes(layout.segment.0 * layout.segment_channels(), layout.bits);
    let inflated = miniz_oxide::inflate::decompress_to_vec_zlib_with_limit(bytes, size)
        .or_else(|failure| if failure.output.len() >= size { Ok(failure.output) } else { Err(failure) });
    inflated.map_err(|_| Refused::Broken("its compressed data are damaged".into()))
}

/// Distance in samples between those that a horizontal predictor subtracts: DNG adds predictors for mosaics.
fn apart(layout: &Layout) -> Result<(bool, usize), Refused> {
    let channels = layout.segment_channels();
    Ok(match layout.predictor {
        1 => (false, 0),
        2 => (false, channels),
        34_892 => (false, 2 * channels),
        34_893 => (false, 4 * channels),
        3 => (true, channels),
        34_894 => (true, 2 * channels),
        34_895 => (true, 4 * channels),
        _ => return Err(Refused::Unknown("a predictor that is not in the standard".into())),
    })
}

/// Whole samples of up to 16 bits.
pub(super) fn words(layout: &Layout, bytes: &[u8], rows: usize) -> Result<Vec<u16>, Refused> {
    let across = layout.segment.0 * layout.segment_channels();
    let size = row_bytes(across, layout.bits);
    let little = layout.little;
    let bytes = bytes.get(..size * rows).ok_or_else(broken)?;
    let mut out = vec![0_u16; across * rows];
    for (to, from) in out.chunks_exact_mut(across).zip(bytes.chunks_exact(size)) {
        match layout.bits {
            8 => to.iter_mut().zip(from).for_each(|(v, b)| *v = u16::from(*b)),
            16 => to.iter_mut().zip(from.chunks_exact(2)).for_each(|(v, b)| {
                *v = if little { u16::from_le_bytes([b[0], b[1]]) } else { u16::from_be_bytes([b[0], b[1]]) };
            }),
            bits if layout.reversed => reversed(to, from, bits),
            bits => packed(to, from, bits),
        }
    }
    let (float, apart) = apart(layout)?;
    if float {
        return Err(Refused::Unknown("a floating-point predictor for whole numbers".into()));
    }
    if apart > 0 {
        // Differences wrap at the width that samples are stored in.
        let mask = ((1_u32 << layout.bits) - 1) as u16;
        for row in out.chunks_exact_mut(across) {
            for x in apart..across {
                row[x] = row[x].wrapping_add(row[x - apart]) & mask;
            }
        }
    }
    Ok(out)
}

/// Samples of any number of bits up to 16 one behind the other, most significant bit first.
fn packed(to: &mut [u16], from: &[u8], bits: usize) {
    let (mut held, mut count) = (0_u32, 0);
    let mut bytes = from.iter();
    for v in to {
        while count < bits {
            held = held << 8 | u32::from(bytes.next().copied().unwrap_or(0));
            count += 8;
        }
        count -= bits;
        *v = (held >> count & ((1 << bits) - 1)) as u16;
    }
}

/// The same, least significant bit first.
fn reversed(to: &mut [u16], from: &[u8], bits: usize) {
    let (mut held, mut count) = (0_u32, 0);
    let mut bytes = from.iter();
    for v in to {
        while count < bits {
            held |= u32::from(bytes.next().copied().unwrap_or(0)) << count;
            count += 8;
        }
        *v = (held & ((1 << bits) - 1)) as u16;
        held >>= bits;
        count -= bits;
    }
}

/// Floating-point samples, or whole ones of more than 16 bits.
pub(super) fn floats(layout: &Layout, mut bytes: Vec<u8>, rows: usize) -> Result<Vec<f32>, Refused> {
    let across = layout.segment.0 * layout.segment_channels();
    let size = row_bytes(across, layout.bits);
    bytes.truncate(size * rows);
    if bytes.len() < size * rows {
        return Err(broken());
    }
    let width = layout.bits / 8;
    if !layout.bits.is_multiple_of(8) {
        return Err(Refused::Unknown(format!("samples of {} bits", layout.bits)));
    }
    let (float, apart) = apart(layout)?;
    let mut out = Vec::with_capacity(across * rows);
    for row in bytes.chunks_exact_mut(size) {
        if float {
            // All first bytes, then all second ones and so on, as differences to what lies `apart` before.
            for x in apart..size {
                row[x] = row[x].wrapping_add(row[x - apart]);
            }
            out.extend((0..across).map(|x| {
                let joined = (0..width).fold(0_u32, |sum, b| sum << 8 | u32::from(row[b * across + x]));
                value(joined, layout)
            }));
            continue;
        }
        let mut numbers: Vec<u32> = row.chunks_exact(width).map(|b| unsigned(b, layout.little) as u32).collect();
        if apart > 0 {
            let mask = u32::MAX >> (32 - layout.bits);
            for x in apart..across {
                numbers[x] = numbers[x].wrapping_add(numbers[x - apart]) & mask;
            }
        }
        out.extend(numbers.into_iter().map(|v| value(v, layout)));
    }
    Ok(out)
}

fn value(bits: u32, layout: &Layout) -> f32 {
    match (layout.float, layout.bits) {
        (false, _) => bits as f32,
        (true, 16) => small_float(bits, 5, 10),
        (true, 24) => small_float(bits, 7, 16),
        (true, _) => f32::from_bits(bits),
    }
}

/// A floating-point number of one sign bit, some of exponent and some of mantissa (IEEE 754's binary16, and the 24
/// bits of the DNG specification).
fn small_float(bits: u32, exponent_bits: u32, mantissa_bits: u32) -> f32 {
    let sign = if bits >> (exponent_bits + mantissa_bits) & 1 == 1 { -1.0 } else { 1.0 };
    let top = (1 << exponent_bits) - 1;
    let (exponent, mantissa) = (bits >> mantissa_bits & top, bits & ((1 << mantissa_bits) - 1));
    let bias = (top >> 1) as i32;
    let fraction = mantissa as f32 / (1_u32 << mantissa_bits) as f32;
    match exponent {
        0 => sign * fraction * 2.0_f32.powi(1 - bias),
        e if e == top && mantissa != 0 => f32::NAN,
        e if e == top => sign * f32::INFINITY,
        e => sign * (1.0 + fraction) * 2.0_f32.powi(e as i32 - bias),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEEE 754-2019, binary16: one, the largest number, the smallest one, and two thirds' neighbour.
    #[test]
    fn half_floats_follow_the_standard() {
        for (bits, value) in
            [(0x3C00, 1.0), (0x7BFF, 65504.0), (0x0001, 5.960_464_5e-8), (0xC000, -2.0), (0x3955, 0.666_503_9)]
        {
            assert_eq!(small_float(bits, 5, 10), value, "{bits:x}");
        }
        assert!(small_float(0x7C01, 5, 10).is_nan() && small_float(0x7C00, 5, 10).is_infinite());
        // DNG 1.7, 24 bits: 7 of exponent with a bias of 63, 16 of mantissa.
        assert_eq!(small_float(0x3F_0000, 7, 16), 1.0);
        assert_eq!(small_float(0xC0_8000, 7, 16), -3.0);
    }

    #[test]
    fn packed_bits_are_taken_in_order() {
        let mut out = [0; 4];
        packed(&mut out, &[0x12, 0x3A, 0xBC, 0x45, 0x6D, 0xEF], 12);
        assert_eq!(out, [0x123, 0xABC, 0x456, 0xDEF]);
        packed(&mut out, &[0b1010_0000, 0b0011_1111, 0b1110_0000, 0b0000_0101, 0b0101_0101], 10);
        assert_eq!(out, [0b10_1000_0000, 0b11_1111_1110, 0b00_0000_0001, 0b01_0101_0101]);
        reversed(&mut out, &[0x23, 0xC1, 0xAB, 0x56, 0xF4, 0xDE], 12);
        assert_eq!(out, [0x123, 0xABC, 0x456, 0xDEF]);
    }
}
