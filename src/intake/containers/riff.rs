//! WebP: the EXIF and XMP chunks, size.

use super::{Allowance, Contents, Source, le16, le32};
use crate::intake::ifd::Block;

const MOST_CHUNKS: usize = 4096;

/// Reads the chunks.
pub(super) fn contents(source: &mut impl Source, allowance: &mut Allowance) -> Contents {
    let mut found = Contents::default();
    let mut at = 12;
    for _ in 0..MOST_CHUNKS {
        let head = source.piece(at, 8);
        let (Some(name), Some(length)) = (head.get(..4), le32(&head, 4)) else { break };
        let size = length as usize;
        match name {
            b"EXIF" => {
                let bytes = allowance.piece(source, at + 8, size);
                // Some writers keep the JPEG segment's prefix.
                let block = bytes.strip_prefix(b"Exif\0\0").map(<[u8]>::to_vec);
                found.main = Block::parse(block.unwrap_or(bytes));
            }
            b"XMP " => {
                let packet = allowance.piece(source, at + 8, size);
                allowance.keep(packet, &mut found.xmp);
            }
            b"VP8X" => {
                let bytes = source.piece(at + 8, 10);
                let side = |i: usize| le32(&bytes, i).map(|v| (v & 0xff_ffff) + 1);
                // The height's three bytes are the last three of ten, so they are read from one byte earlier.
                found.size = side(4).zip(le32(&bytes, 6).map(|v| (v >> 8) + 1));
            }
            b"VP8 " if found.size.is_none() => {
                let bytes = source.piece(at + 8, 10);
                let side = |i: usize| le16(&bytes, i).map(|v| u32::from(v & 0x3fff));
                found.size = side(6).zip(side(8)).filter(|&(w, h)| w > 0 && h > 0);
            }
            b"VP8L" if found.size.is_none() => {
                let bytes = source.piece(at + 8, 5);
                found.size = le32(&bytes, 1).map(|v| ((v & 0x3fff) + 1, (v >> 14 & 0x3fff) + 1));
            }
            _ => {}
        }
        at += 8 + u64::from(length) + u64::from(length & 1);
    }
    found
}
