//! Twelve-bit JPEG with one component, as cinema cameras compress mosaics: sequential DCT (ITU-T T.81, annex F).

use super::super::sensor::Refused;
use super::bits::{Bits, Codes, intervals};
use super::head::{Head, Part, Samples};
use crate::intake::markers::places;

/// Decodes the entropy-coded data behind a head.
pub(super) fn decode(head: &Head, data: &[u8]) -> Result<Samples, Refused> {
    let broken = |why: &str| Refused::Broken(why.into());
    let [Part { tables, steps, .. }] = head.parts[..] else {
        return Err(Refused::Unknown("12-bit JPEG compression in colour".into()));
    };
    let tables = head.huffman[0][tables.0].as_ref().zip(head.huffman[1][tables.1].as_ref());
    let (means, others) = tables.ok_or_else(|| broken("a code table is missing"))?;
    let steps = head.steps[steps].ok_or_else(|| broken("a table of steps is missing"))?;
    head.samples(data.len())?;
    let order = places();
    let basis = basis();
    let (across, down) = (head.width.div_ceil(8), head.height.div_ceil(8));
    let mut out = vec![0_u16; head.width * head.height];
    let top = ((1_u32 << head.precision) - 1) as f32;
    let mut parts = intervals(data).into_iter();
    let every = if head.restart > 0 { head.restart } else { across * down };
    let mut blocks = 0..across * down;
    while !blocks.is_empty() {
        let part = parts.next().ok_or_else(|| broken("its compressed data end early"))?;
        let mut bits = Bits::new(&part);
        let mut mean = 0;
        for index in blocks.by_ref().take(every) {
            let coefficients = block(&mut bits, &mut mean, means, others, &steps, &order)?;
            let values = inverse(&coefficients, &basis);
            let (x0, y0) = (index % across * 8, index / across * 8);
            for y in y0..(y0 + 8).min(head.height) {
                let row = &mut out[y * head.width..][..head.width];
                for (x, v) in row.iter_mut().enumerate().skip(x0).take(8) {
                    let level = values[(y - y0) * 8 + x - x0] + (top + 1.0) / 2.0;
                    *v = (level + 0.5).clamp(0.0, top) as u16;
                }
            }
        }
        if bits.overrun() {
            return Err(broken("its compressed data end early"));
        }
    }
    Ok(Samples { row: head.width, components: 1, data: out })
}

/// Dequantised coefficients of the next block, row-major.
fn block(
    bits: &mut Bits,
    mean: &mut i32,
    means: &Codes,
    others: &Codes,
    steps: &[u16; 64],
    order: &[u8; 64],
) -> Result<[f32; 64], Refused> {
    let mut out = [0.0; 64];
    let size = u32::from(bits.symbol(means)?).min(16);
    *mean = mean.wrapping_add(bits.signed(size));
    out[0] = *mean as f32 * f32::from(steps[0]);
    let mut at = 1;
    while at < 64 {
        let code = bits.symbol(others)?;
        let (run, size) = (usize::from(code >> 4), u32::from(code & 15));
        if size == 0 {
            if run < 15 {
                break;
            }
            at += 16;
            continue;
        }
        at += run;
        let value = bits.signed(size) as f32;
        if at < 64 {
            out[usize::from(order[at])] = value * f32::from(steps[at]);
        }
        at += 1;
    }
    Ok(out)
}

/// Values of the eight cosines at the eight places, with their weights: `basis[8 * frequency + place]`.
fn basis() -> [f32; 64] {
    std::array::from_fn(|i| {
        let (frequency, place) = ((i / 8) as f64, (i % 8) as f64);
        let weight = if frequency == 0.0 { 0.5 / std::f64::consts::SQRT_2 } else { 0.5 };
        (weight * ((2.0 * place + 1.0) * frequency * std::f64::consts::PI / 16.0).cos()) as f32
    })
}

/// The inverse cosine transform (T.81, A.3.3), rows and then columns.
fn inverse(coefficients: &[f32; 64], basis: &[f32; 64]) -> [f32; 64] {
    let mut rows = [0.0_f32; 64];
    for v in 0..8 {
        for u in 0..8 {
            let c = coefficients[v * 8 + u];
            if c != 0.0 {
                for x in 0..8 {
                    rows[v * 8 + x] += c * basis[u * 8 + x];
                }
            }
        }
    }
    let mut out = [0.0_f32; 64];
    for v in 0..8 {
        for y in 0..8 {
            let weight = basis[v * 8 + y];
            for x in 0..8 {
                out[y * 8 + x] += weight * rows[v * 8 + x];
            }
        }
    }
    out
}
