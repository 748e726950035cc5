//! JPEG: Exif and XMP application segments, frame size.

use super::{Allowance, Contents, Source, be16};
use crate::intake::ifd::Block;

const EXIF: &[u8] = b"Exif\0";
const XMP: &[u8] = b"http://ns.adobe.com/xap/1.0/\0";
/// Segments before the picture data; a file with more is not a photograph.
const MOST_SEGMENTS: usize = 4096;

/// Reads the segments of the JPEG that starts at `start`.
pub(super) fn contents(source: &mut impl Source, start: u64, allowance: &mut Allowance) -> Contents {
    let mut found = Contents::default();
    let mut exif: Vec<u8> = Vec::new();
    let mut at = start.saturating_add(2);
    for _ in 0..MOST_SEGMENTS {
        let head = source.piece(at, 4);
        let (Some(0xff), Some(&code), length) = (head.first(), head.get(1), be16(&head, 2)) else { break };
        match code {
            // Fill bytes, and markers that stand alone.
            0xff => {
                at += 1;
                continue;
            }
            0x01 | 0xd0..=0xd8 => {
                at += 2;
                continue;
            }
            // Picture data or its end: nothing of interest follows.
            0xda | 0xd9 => break,
            _ => {}
        }
        let Some(body) = length.and_then(|l| l.checked_sub(2)).map(usize::from) else { break };
        match code {
            0xe1 => {
                // Of other kinds, such as continued XMP, there may be much.
                let name = source.piece(at + 4, body.min(XMP.len()));
                if !name.starts_with(EXIF) && name != XMP {
                    at += 4 + body as u64;
                    continue;
                }
                let bytes = allowance.piece(source, at + 4, body);
                if bytes.starts_with(EXIF) {
                    let rest = bytes.get(EXIF.len() + 1..).unwrap_or_default();
                    // A block larger than a segment goes on in the next one, without a TIFF header of its own.
                    let header = rest.starts_with(b"II") || rest.starts_with(b"MM");
                    if exif.is_empty() || !header {
                        exif.extend_from_slice(rest);
                    }
                } else if let Some(packet) = bytes.strip_prefix(XMP) {
                    allowance.keep(packet.to_vec(), &mut found.xmp);
                }
            }
            // Start of frame, of any coding; 0xc4, 0xc8 and 0xcc are tables.
            0xc0..=0xcf if !matches!(code, 0xc4 | 0xc8 | 0xcc) => {
                let frame = source.piece(at + 4, 5);
                if let (Some(height), Some(width)) = (be16(&frame, 1), be16(&frame, 3)) {
                    found.size = (width > 0 && height > 0).then(|| (width.into(), height.into()));
                }
            }
            _ => {}
        }
        at += 4 + body as u64;
    }
    found.main = Block::parse(exif);
    found
}
