//! Sony's blocks: sixteen samples of one colour in sixteen bytes, as codes of a curve that the file states.

use rayon::prelude::*;

use super::super::sensor::Refused;
use super::layout::Layout;
use super::tags::{Directory, tag};

/// Where the curve changes its slope.
const KNEES: u16 = 0x7010;
/// Samples in two blocks, of neighbouring columns.
const PAIR: usize = 32;

/// The levels that codes of 12 bits stand for: slope 1 up to the first knee, and twice as steep behind each.
fn curve(directory: &Directory) -> Result<Vec<u16>, Refused> {
    let knees: Vec<usize> = directory.numbers(KNEES).into_iter().map(|k| k as usize >> 2 & 0xFFF).collect();
    if knees.len() != 4 {
        return Err(Refused::Broken("the curve that its codes refer to is missing".into()));
    }
    let mut levels = vec![0_u16; 4096];
    for code in 1..levels.len() {
        let steep = knees.iter().filter(|k| code > **k).count();
        levels[code] = levels[code - 1].saturating_add(1 << steep);
    }
    Ok(levels)
}

/// The codes of one block: the highest and the lowest in 11 bits each, their places in 4 each, then 7 bits for each of the
/// others, by which they lie above the lowest, in steps as coarse as the range needs.
#[inline]
fn block(bytes: [u8; 16]) -> [u16; 16] {
    let bits = u128::from_le_bytes(bytes);
    let part = |at: u32, n: u32| (bits >> at) as u32 & ((1 << n) - 1);
    let (high, low) = (part(0, 11), part(11, 11));
    let (high_at, low_at) = (part(22, 4) as usize, part(26, 4) as usize);
    let range = high.saturating_sub(low);
    let step = (0..4).find(|s| range < 0x80 << s).unwrap_or(4);
    let mut at = 30;
    std::array::from_fn(|i| {
        let code = if i == high_at {
            high
        } else if i == low_at {
            low
        } else {
            // Damaged blocks may have the two in one place, and so one more of the others.
            let above = if at < 128 { part(at, 7) } else { 0 };
            at += 7;
            ((above << step) + low).min(0x7FF)
        };
        code as u16
    })
}

/// Whether the data are as long as blocks are: eight bits a sample. Other data of the same number are of an older kind.
pub(super) fn has_blocks(directory: &Directory) -> bool {
    let whole = |t| directory.whole(t).unwrap_or(0);
    let samples = whole(tag::IMAGE_WIDTH).saturating_mul(whole(tag::IMAGE_LENGTH));
    whole(tag::STRIP_BYTE_COUNTS) == samples && whole(tag::BITS_PER_SAMPLE) == 8
}

/// Samples of a picture in blocks.
pub(super) fn samples(layout: &Layout, directory: &Directory, file: &[u8]) -> Result<Vec<u16>, Refused> {
    let curve = curve(directory)?;
    if !layout.width.is_multiple_of(PAIR) || layout.bits != 8 {
        return Err(Refused::Unknown("compressed data of the maker's that are not in blocks".into()));
    }
    let start = layout.places.first().map_or(0, |(at, _)| *at);
    let data = start.checked_add(layout.width * layout.height).and_then(|end| file.get(start..end));
    let data = data.ok_or_else(|| Refused::Broken("the file ends before the picture does".into()))?;
    let mut out = vec![0_u16; layout.width * layout.height];
    out.par_chunks_exact_mut(layout.width).zip(data.par_chunks_exact(layout.width)).for_each(|(row, bytes)| {
        for (pair, bytes) in row.chunks_exact_mut(PAIR).zip(bytes.chunks_exact(PAIR)) {
            for (first, bytes) in bytes.chunks_exact(PAIR / 2).enumerate() {
                let codes = block(bytes.try_into().unwrap_or_default());
                for (v, code) in pair[first..].iter_mut().step_by(2).zip(codes) {
                    *v = curve[2 * usize::from(code)];
                }
            }
        }
    });
    Ok(out)
}
