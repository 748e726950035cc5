//! PNG: the eXIf chunk, the older raw-profile text chunks, XMP text, size.

use super::{Allowance, Contents, Source, be32};
use crate::intake::ifd::Block;

/// Longest keyword of a text, and the zero byte behind it (ISO 15948, 11.3.4).
const KEYWORD: usize = 80;
/// Keywords of texts that hold facts.
const KEYWORDS: [&[u8]; 4] =
    [b"XML:com.adobe.xmp", b"Raw profile type exif", b"Raw profile type APP1", b"Raw profile type xmp"];
const MOST_CHUNKS: usize = 65_536;

/// Reads the chunks.
pub(super) fn contents(source: &mut impl Source, allowance: &mut Allowance) -> Contents {
    let mut found = Contents::default();
    let mut profile = None;
    let mut at = 8;
    for _ in 0..MOST_CHUNKS {
        let head = source.piece(at, 8);
        let (Some(length), Some(name)) = (be32(&head, 0), head.get(4..8)) else { break };
        let size = length as usize;
        match name {
            b"IHDR" => {
                let bytes = source.piece(at + 8, size.min(13));
                found.size = be32(&bytes, 0).zip(be32(&bytes, 4)).filter(|&(w, h)| w > 0 && h > 0);
            }
            b"eXIf" => found.main = Block::parse(allowance.piece(source, at + 8, size)),
            b"tEXt" | b"zTXt" | b"iTXt" => {
                let start = source.piece(at + 8, size.min(KEYWORD));
                let key = start.split(|b| *b == 0).next().unwrap_or_default();
                if KEYWORDS.contains(&key) {
                    let bytes = allowance.piece(source, at + 8, size);
                    let text = bytes.get(key.len() + 1..).and_then(|rest| text(name, rest, allowance));
                    told(key, text.unwrap_or_default(), &mut found, &mut profile, allowance);
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

/// Takes what a text says.
fn told(key: &[u8], text: Vec<u8>, found: &mut Contents, profile: &mut Option<Vec<u8>>, allowance: &mut Allowance) {
    if key == KEYWORDS[0] {
        allowance.keep(text, &mut found.xmp);
        return;
    }
    let raw = raw_profile(&text);
    if let Some(rest) = raw.strip_prefix(b"Exif\0\0") {
        *profile = Some(rest.to_vec());
    } else if raw.starts_with(b"II*\0") || raw.starts_with(b"MM\0*") {
        *profile = Some(raw);
    } else if let Some(packet) = raw.strip_prefix(b"http://ns.adobe.com/xap/1.0/\0") {
        allowance.keep(packet.to_vec(), &mut found.xmp);
    } else if key.ends_with(b"xmp") {
        allowance.keep(raw, &mut found.xmp);
    }
}

/// Text of a text chunk, behind its keyword, unpacked.
fn text(name: &[u8], rest: &[u8], allowance: &mut Allowance) -> Option<Vec<u8>> {
    match name {
        b"tEXt" => Some(rest.to_vec()),
        b"zTXt" => allowance.inflated(rest.get(1..)?),
        _ => {
            let packed = *rest.first()? == 1;
            // Language tag and translated keyword, each ended by a zero byte.
            let mut parts = rest.get(2..)?.splitn(3, |b| *b == 0);
            let body = parts.nth(2)?;
            if packed { allowance.inflated(body) } else { Some(body.to_vec()) }
        }
    }
}

/// The bytes of a raw profile: a name line, a length line, then hexadecimal digits.
fn raw_profile(text: &[u8]) -> Vec<u8> {
    let mut lines = text.split(|b| *b == b'\n').skip_while(|l| l.is_empty());
    let (_name, _length) = (lines.next(), lines.next());
    let digits: Vec<u8> =
        lines.flatten().filter_map(|b| char::from(*b).to_digit(16)).filter_map(|d| u8::try_from(d).ok()).collect();
    digits.chunks_exact(2).map(|p| p[0] << 4 | p[1]).collect()
}
