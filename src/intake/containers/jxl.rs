//! JPEG XL: Exif and XMP boxes, compressed ones too, and the head of the codestream (ISO/IEC 18181-1 and -2).

use super::boxes::top_level;
use super::{Allowance, Contents, Source, be32};
use crate::intake::ifd::Block;

/// Bytes of a codestream that hold its size and orientation.
const HEAD: usize = 64;

/// Reads the boxes of a file, or the head of a bare codestream.
pub(super) fn contents(source: &mut impl Source, allowance: &mut Allowance) -> Contents {
    let mut found = Contents::default();
    if source.piece(0, 2) == [0xFF, 0x0A] {
        head(&source.piece(2, 32), &mut found);
        return found;
    }
    let wanted = |name: &[u8]| match name {
        b"Exif" | b"xml " | b"brob" => Some(usize::MAX),
        b"jxlc" | b"jxlp" => Some(HEAD),
        _ => None,
    };
    top_level(source, allowance, wanted, |name, body, allowance| {
        match name {
            b"brob" => {
                let Some((inner, rest)) = body.split_at_checked(4) else { return };
                if matches!(inner, b"Exif" | b"xml ") {
                    let plain = allowance.expanded(rest);
                    metadata(inner, plain, &mut found, allowance);
                }
            }
            b"jxlc" if body.starts_with(&[0xFF, 0x0A]) => head(&body[2..body.len().min(34)], &mut found),
            // A part of a codestream: its number comes first.
            b"jxlp" if body.get(4..6) == Some(&[0xFF, 0x0A]) => head(&body[6..body.len().min(38)], &mut found),
            _ => metadata(name, body, &mut found, allowance),
        }
    });
    found
}

fn metadata(name: &[u8], body: Vec<u8>, found: &mut Contents, allowance: &mut Allowance) {
    match name {
        // The payload opens with the distance to the TIFF header.
        b"Exif" if found.main.is_none() => {
            let skip = be32(&body, 0).map_or(usize::MAX, |n| (n as usize).saturating_add(4));
            found.main = body.get(skip..).and_then(|block| Block::parse(block.to_vec()));
        }
        b"xml " => allowance.keep(body, &mut found.xmp),
        _ => {}
    }
}

/// Bits, the least significant first.
struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Bits<'_> {
    fn take(&mut self, n: usize) -> Option<u32> {
        let mut value = 0;
        for i in 0..n {
            let bit = self.bytes.get(self.at / 8)? >> (self.at % 8) & 1;
            value |= u32::from(bit) << i;
            self.at += 1;
        }
        Some(value)
    }

    /// One less than a side of the picture, in 9, 13, 18 or 30 bits.
    fn side(&mut self) -> Option<u32> {
        let n = [9, 13, 18, 30][self.take(2)? as usize];
        self.take(n)
    }
}

/// Stored size and orientation.
fn head(bytes: &[u8], found: &mut Contents) {
    let mut bits = Bits { bytes, at: 0 };
    let Some((width, height)) = size(&mut bits) else { return };
    found.size = Some((width, height));
    // Without either mark all is as usual: upright.
    let plain = bits.take(1) == Some(1);
    let extra = !plain && bits.take(1) == Some(1);
    let orientation = if extra { bits.take(3) } else { Some(0) };
    found.orientation = orientation.map(|o| o as u16 + 1);
}

/// Sides in steps of eight up to 256, or in one of four lengths; the width may be a ratio of the height.
fn size(bits: &mut Bits) -> Option<(u32, u32)> {
    let small = bits.take(1)? == 1;
    let side = |bits: &mut Bits| if small { bits.take(5).map(|v| (v + 1) * 8) } else { bits.side().map(|v| v + 1) };
    let height = side(bits)?;
    let ratio = bits.take(3)?;
    let width = match ratio {
        0 => side(bits)?,
        n => {
            let (across, down) = [(1, 1), (12, 10), (4, 3), (3, 2), (16, 9), (5, 4), (2, 1)][n as usize - 1];
            u32::try_from(u64::from(height) * across / down).ok()?
        }
    };
    Some((width, height))
}
