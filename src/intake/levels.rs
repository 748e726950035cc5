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

/// Floating-point samples, three or four channels side by side.
pub(super) struct Floats<'a> {
    channels: usize,
    tone: &'a Tone,
    linear: bool,
}

impl<'a> Floats<'a> {
    pub(super) fn new(channels: usize, tone: &'a Tone) -> Self {
        Self { channels, tone, linear: tone.is_linear() }
    }

    /// A sample of a pixel; what is no number is black.
    fn sample(&self, bytes: &[u8], pixel: usize, channel: usize) -> f32 {
        let b = &bytes[(pixel * self.channels + channel) * 4..][..4];
        let v = f32::from_ne_bytes([b[0], b[1], b[2], b[3]]);
        if v.is_finite() { v.max(0.0) } else { 0.0 }
    }

    fn luminance(&self, bytes: &[u8], pixel: usize) -> f32 {
        let weights = self.tone.weights();
        let light = |c: usize| {
            let v = self.sample(bytes, pixel, c);
            if self.linear { v } else { self.tone.linear(v) }
        };
        let sum = light(0) * weights[0] + light(1) * weights[1] + light(2) * weights[2];
        if self.channels == 4 { sum * self.sample(bytes, pixel, 3).min(1.0) } else { sum }
    }

    /// The luminance that becomes white: 1, as is usual, where the brightest pixels but for [`OUTLYING`] come to that or a
    /// little less; else what they come to, so that neither a glint nor the unit decides how many levels are left.
    pub(super) fn white(&self, bytes: &[u8], pixels: usize) -> f32 {
        // By the first bits of a positive number, which grow with it: 128 bins from a power of two to the next.
        let bin = |v: f32| (v.to_bits() >> 16) as usize;
        let mut counts = vec![0_usize; 1 << 15];
        (0..pixels).for_each(|i| counts[bin(self.luminance(bytes, i))] += 1);
        let mut above = (pixels as f64 * OUTLYING) as usize;
        let highest = counts.iter().enumerate().rev().find(|(_, count)| {
            let here = above < **count;
            above = above.saturating_sub(**count);
            here
        });
        let highest = highest.map_or(0, |(bin, _)| bin);
        let within = (0..pixels).map(|i| self.luminance(bytes, i)).filter(|v| bin(*v) <= highest);
        let white = within.fold(0.0_f32, f32::max);
        if white > 0.0 && (white > 1.0 || white <= USUAL) { white } else { 1.0 }
    }
}

/// Share of a picture's pixels that may be brighter than its white. Chosen: the sun's disc takes up less at 100 mm.
const OUTLYING: f64 = 0.001;

/// Luminance of the brightest pixels from which on a picture is in the usual unit, white being 1. Chosen: so that at
/// least 14 bits are left.
const USUAL: f32 = 0.25;

/// Level below which a pixel is dark, of 65535. Chosen: below it a step is more than a hundredth of the level.
const FEW: u16 = 100;

/// Luminance of floating-point samples held in `data`'s bytes, written over them; what is brighter than white is clipped. Says
/// whether most of the picture is so dark beside its white that few levels are left for it.
pub(super) fn luminance_of_floats(data: &mut Vec<u16>, pixels: usize, channels: usize, tone: &Tone) -> bool {
    let bytes: &mut [u8] = bytemuck::cast_slice_mut(data);
    let floats = Floats::new(channels, tone);
    let scale = f32::from(WHITE) / floats.white(bytes, pixels);
    let mut dark = 0;
    for i in 0..pixels {
        let level = (floats.luminance(bytes, i) * scale).round() as u16;
        dark += usize::from(level < FEW);
        bytes[2 * i..][..2].copy_from_slice(&level.to_ne_bytes());
    }
    data.truncate(pixels);
    data.shrink_to_fit();
    2 * dark > pixels
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
