//! Lossless JPEG (ITU-T T.81, process 14) written for test raws, with codes of every length.

use super::bits::Bits;

/// How samples are coded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lossless {
    /// Components that a row's samples are dealt out to, 1 to 4.
    pub components: usize,
    /// Predictor, 1 to 7.
    pub predictor: u8,
    /// Rows between restart markers; 0 for none.
    pub restart_rows: usize,
}

/// Sizes of differences, the commonest of noisy pictures first.
const SIZES: [u8; 17] = [7, 8, 6, 9, 5, 10, 4, 11, 3, 12, 2, 13, 1, 14, 0, 15, 16];

/// Lengths of their codes: one each of 2 to 15 bits, three of 16.
fn length(rank: usize) -> u32 {
    (rank as u32 + 2).min(16)
}

/// A JPEG of rows of `row` samples of `precision` bits; `row` must be a multiple of the components.
#[must_use]
pub fn encode(samples: &[u16], row: usize, precision: u32, how: Lossless) -> Vec<u8> {
    let (count, height) = (how.components, samples.len() / row);
    let width = row / count;
    let mut out = vec![0xFF, 0xD8];
    segment(&mut out, 0xC3, &{
        let mut body = vec![precision as u8];
        body.extend((height as u16).to_be_bytes());
        body.extend((width as u16).to_be_bytes());
        body.push(count as u8);
        (0..count).for_each(|c| body.extend([c as u8 + 1, 0x11, 0]));
        body
    });
    let mut table = vec![0_u8; 17];
    (0..17).for_each(|rank| table[length(rank) as usize] += 1);
    table.extend(SIZES);
    segment(&mut out, 0xC4, &table);
    if how.restart_rows > 0 {
        segment(&mut out, 0xDD, &((how.restart_rows * width) as u16).to_be_bytes());
    }
    let mut scan = vec![count as u8];
    (0..count).for_each(|c| scan.extend([c as u8 + 1, 0]));
    scan.extend([how.predictor, 0, 0]);
    segment(&mut out, 0xDA, &scan);
    let rows_apart = if how.restart_rows > 0 { how.restart_rows } else { height };
    for (number, part) in samples.chunks(row * rows_apart).enumerate() {
        if number > 0 {
            out.extend([0xFF, 0xD0 + (number as u8 - 1) % 8]);
        }
        let mut bits = Bits::stuffed();
        for i in 0..part.len() {
            difference(&mut bits, part[i].wrapping_sub(foretold(part, i, row, precision, how)));
        }
        out.extend(bits.close());
    }
    out.extend([0xFF, 0xD9]);
    out
}

fn segment(out: &mut Vec<u8>, marker: u8, body: &[u8]) {
    out.extend([0xFF, marker]);
    out.extend((body.len() as u16 + 2).to_be_bytes());
    out.extend(body);
}

/// What the samples before foretell of one (T.81, H.1.2.1 and table H.1).
fn foretold(part: &[u16], i: usize, row: usize, precision: u32, how: Lossless) -> u16 {
    let (x, y, step) = (i % row, i / row, how.components);
    let at = |back: usize| i32::from(part[i - back]);
    let value = match (x < step, y) {
        (true, 0) => 1 << (precision - 1),
        (true, _) => at(row),
        (false, 0) => at(step),
        _ => match how.predictor {
            1 => at(step),
            2 => at(row),
            3 => at(row + step),
            4 => at(step) + at(row) - at(row + step),
            5 => at(step) + ((at(row) - at(row + step)) >> 1),
            6 => at(row) + ((at(step) - at(row + step)) >> 1),
            _ => (at(step) + at(row)) >> 1,
        },
    };
    value as u16
}

/// Codes a difference: the size of its number of bits, then the bits (T.81, H.1.2.2).
fn difference(bits: &mut Bits, difference: u16) {
    let value = i32::from(difference.cast_signed());
    let size = 32 - value.unsigned_abs().leading_zeros();
    let rank = SIZES.iter().position(|s| u32::from(*s) == size).unwrap_or(0);
    // Canonical codes (T.81, annex C): shorter ones first, each the last one's successor.
    let code = (0..rank).fold(0_u32, |code, r| (code + 1) << (length(r + 1) - length(r)));
    bits.put(code, length(rank));
    if (1..16).contains(&size) {
        bits.put(if value < 0 { value - 1 } else { value } as u32, size);
    }
}
