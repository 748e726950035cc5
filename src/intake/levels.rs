//! Levels: decoded samples to a plane's levels, written over them, so that no picture is held twice.

use super::tone::{Tone, WHITE};

/// Luminance of 8-bit samples held in `data`'s bytes, written over them: 2 (grey and alpha), 3 or 4 channels.
pub(super) fn luminance_of_bytes(data: &mut Vec<u16>, pixels: usize, channels: usize, tone: &Tone) {
    // Weighted linear light in 1/16384 of a level, so that three lookups add up in integers.
    let linear = tone.table(256);
    let weights = if channels == 2 { [1.0, 0.0, 0.0] } else { tone.weights() };
    let tables = weights.map(|weight| -> [u32; 256] {
        std::array::from_fn(|i| (linear[i] * weight * f32::from(WHITE) * 16384.0).round() as u32)
    });
    let bytes: &mut [u8] = bytemuck::cast_slice_mut(data);
    for i in 0..pixels {
        let pixel = &bytes[i * channels..][..channels];
        let mut sum = tables[0][usize::from(pixel[0])];
        if channels >= 3 {
            sum += tables[1][usize::from(pixel[1])] + tables[2][usize::from(pixel[2])];
        }
        let mut level = (sum.min(u32::from(WHITE) << 14) + 8192) >> 14;
        if channels.is_multiple_of(2) {
            level = level * u32::from(pixel[channels - 1]) / 255;
        }
        bytes[2 * i..][..2].copy_from_slice(&(level as u16).to_ne_bytes());
    }
    data.truncate(pixels);
    data.shrink_to_fit();
}

/// Turns 8-bit luma held in the upper half of `data`'s bytes into plane levels, front to back.
///
/// Sample i is written to bytes 2i and 2i + 1 and read from byte n + i, which is never behind the writing.
pub(super) fn widen(data: &mut [u16], lut: &[u16; 256]) {
    const CHUNK: usize = 4096;
    let n = data.len();
    let mut luma = [0_u8; CHUNK];
    for start in (0..n).step_by(CHUNK) {
        let luma = &mut luma[..CHUNK.min(n - start)];
        luma.copy_from_slice(&bytemuck::cast_slice::<u16, u8>(data)[n + start..][..luma.len()]);
        data[start..][..luma.len()].iter_mut().zip(luma).for_each(|(d, v)| *d = lut[usize::from(*v)]);
    }
}

/// Luminance of 16-bit samples held in `data`, written over them.
pub(super) fn luminance_of_words(data: &mut Vec<u16>, pixels: usize, channels: usize, tone: &Tone) {
    let levels: Vec<f32> = tone.table(65536).into_iter().map(|v| v * f32::from(WHITE)).collect();
    let weights = tone.weights();
    for i in 0..pixels {
        let pixel = &data[i * channels..][..channels];
        let light = |c: usize| levels[usize::from(pixel[c])];
        let mut level = if channels >= 3 {
            light(0) * weights[0] + light(1) * weights[1] + light(2) * weights[2]
        } else {
            light(0)
        };
        if channels.is_multiple_of(2) {
            level *= f32::from(pixel[channels - 1]) / 65535.0;
        }
        data[i] = level.round() as u16;
    }
    data.truncate(pixels);
    data.shrink_to_fit();
}

/// Luminance of floating-point samples held in `data`'s bytes, written over them. The brightest value, or 1
/// if none is brighter, becomes white; what is no number becomes black.
pub(super) fn luminance_of_floats(data: &mut Vec<u16>, pixels: usize, channels: usize, tone: &Tone) {
    let bytes: &mut [u8] = bytemuck::cast_slice_mut(data);
    let linear = tone.is_linear();
    let weights = tone.weights();
    let luminance = |bytes: &[u8], i: usize| {
        let sample = |c: usize| {
            let b = &bytes[(i * channels + c) * 4..][..4];
            let v = f32::from_ne_bytes([b[0], b[1], b[2], b[3]]);
            if v.is_finite() { v.max(0.0) } else { 0.0 }
        };
        let light = |c: usize| if linear { sample(c) } else { tone.linear(sample(c)) };
        let sum = light(0) * weights[0] + light(1) * weights[1] + light(2) * weights[2];
        if channels == 4 { sum * sample(3).min(1.0) } else { sum }
    };
    let brightest = (0..pixels).map(|i| luminance(bytes, i)).fold(1.0_f32, f32::max);
    let scale = f32::from(WHITE) / brightest;
    for i in 0..pixels {
        let level = (luminance(bytes, i) * scale).round() as u16;
        bytes[2 * i..][..2].copy_from_slice(&level.to_ne_bytes());
    }
    data.truncate(pixels);
    data.shrink_to_fit();
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widening_in_place_loses_nothing() {
        let lut = std::array::from_fn(|i| i as u16 * 257);
        for n in [1, 2, 3, 4095, 4096, 4097, 20_000] {
            let mut data = vec![0_u16; n];
            let expected: Vec<u16> = (0..n).map(|i| lut[i * 31 % 256]).collect();
            let bytes: &mut [u8] = bytemuck::cast_slice_mut(&mut data);
            bytes[n..].iter_mut().enumerate().for_each(|(i, b)| *b = (i * 31 % 256) as u8);
            widen(&mut data, &lut);
            assert_eq!(data, expected);
        }
    }
}
