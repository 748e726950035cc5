//! PNG: the eXIf chunk, the older raw-profile text chunks, XMP text, size.

use super::{Contents, Source, be32};
use crate::intake::ifd::Block;

/// Longest chunk of metadata read, and longest it may grow when unpacked.
const MOST: usize = 1 << 24;
const MOST_CHUNKS: usize = 65_536;

/// Reads the chunks.
pub(super) fn contents(source: &mut impl Source) -> Contents {
    let mut found = Contents::default();
    let mut profile = None;
    let mut at = 8;
    for _ in 0..MOST_CHUNKS {
        let head = source.piece(at, 8);
        let (Some(length), Some(name)) = (be32(&head, 0), head.get(4..8)) else { break };
        let size = (length as usize).min(MOST);
        match name {
            b"IHDR" => {
                let bytes = source.piece(at + 8, size.min(13));
                found.size = be32(&bytes, 0).zip(be32(&bytes, 4)).filter(|&(w, h)| w > 0 && h > 0);
            }
            b"eXIf" => found.main = Block::parse(source.piece(at + 8, size)),
            b"tEXt" | b"zTXt" | b"iTXt" => {
                let bytes = source.piece(at + 8, size);
                if let Some((key, text)) = text(name, &bytes) {
                    match key.as_slice() {
                        b"XML:com.adobe.xmp" => found.xmp.push(text),
                        b"Raw profile type exif" | b"Raw profile type APP1" | b"Raw profile type xmp" => {
                            let raw = raw_profile(&text);
                            if let Some(rest) = raw.strip_prefix(b"Exif\0\0") {
                                profile = Some(rest.to_vec());
                            } else if raw.starts_with(b"II*\0") || raw.starts_with(b"MM\0*") {
                                profile = Some(raw);
                            } else if let Some(packet) = raw.strip_prefix(b"http://ns.adobe.com/xap/1.0/\0") {
                                found.xmp.push(packet.to_vec());
                            } else if key.ends_with(b"xmp") {
                                found.xmp.push(raw);
                            }
                        }
                        _ => {}
                    }
                }
            }
            b"IEND" => break,
            _ => {}
        }
        at += 12 + u64::from(length);
    }
    if found.main.is_none() {
        found.main = profile.and_then(Block::parse);
    }
    found
}

/// Keyword and text of a text chunk, unpacked.
fn text(name: &[u8], bytes: &[u8]) -> Option<(Vec<u8>, Vec<u8>)> {
    let end = bytes.iter().position(|b| *b == 0)?;
    let (key, rest) = (bytes[..end].to_vec(), &bytes[end + 1..]);
    let text = match name {
        b"tEXt" => rest.to_vec(),
        b"zTXt" => unpack(rest.get(1..)?)?,
        _ => {
            let packed = *rest.first()? == 1;
            // Language tag and translated keyword, each ended by a zero byte.
            let mut parts = rest.get(2..)?.splitn(3, |b| *b == 0);
            let body = parts.nth(2)?;
            if packed { unpack(body)? } else { body.to_vec() }
        }
    };
    Some((key, text))
}

fn unpack(bytes: &[u8]) -> Option<Vec<u8>> {
    miniz_oxide::inflate::decompress_to_vec_zlib_with_limit(bytes, MOST).ok()
}

/// The bytes of a raw profile: a name line, a length line, then hexadecimal digits.
fn raw_profile(text: &[u8]) -> Vec<u8> {
    let mut lines = text.split(|b| *b == b'\n').skip_while(|l| l.is_empty());
    let (_name, _length) = (lines.next(), lines.next());
    let digits: Vec<u8> =
        lines.flatten().filter_map(|b| char::from(*b).to_digit(16)).filter_map(|d| u8::try_from(d).ok()).collect();
    digits.chunks_exact(2).map(|p| p[0] << 4 | p[1]).collect()
}
