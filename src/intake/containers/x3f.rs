//! Sigma's X3F: the list of properties, and the Exif in the embedded JPEG of later files.

use super::{Allowance, Contents, Source, jpeg, le32};

const MOST_SECTIONS: usize = 256;
const MOST: usize = 1 << 20;

/// Reads the directory at the end of the file and the sections it lists.
pub(super) fn contents(source: &mut impl Source, allowance: &mut Allowance) -> Contents {
    let mut found = Contents::default();
    let head = source.piece(0, 40);
    found.size = le32(&head, 28).zip(le32(&head, 32)).filter(|&(w, h)| w > 0 && h > 0 && w < 1 << 20 && h < 1 << 20);
    found.orientation = match le32(&head, 36) {
        Some(0) => Some(1),
        Some(90) => Some(6),
        Some(180) => Some(3),
        Some(270) => Some(8),
        _ => None,
    };
    let length = source.length();
    let Some(at) = length.checked_sub(4).and_then(|end| le32(&source.piece(end, 4), 0)) else { return found };
    let directory = source.piece(at.into(), 12 + 12 * MOST_SECTIONS);
    if !directory.starts_with(b"SECd") {
        return found;
    }
    let count = le32(&directory, 8).map_or(0, |n| n as usize).min(MOST_SECTIONS);
    for entry in directory.get(12..).unwrap_or_default().chunks_exact(12).take(count) {
        let (Some(offset), Some(length)) = (le32(entry, 0), le32(entry, 4)) else { break };
        match &entry[8..12] {
            b"PROP" => {
                let section = allowance.piece(source, offset.into(), (length as usize).min(MOST));
                found.properties = properties(&section);
            }
            b"IMA2" | b"IMAG" if found.main.is_none() => {
                // A section header of 28 bytes; a JPEG preview follows in later files.
                let start = u64::from(offset) + 28;
                if source.piece(start, 2) == [0xff, 0xd8] {
                    let inner = jpeg::contents(source, start, allowance);
                    found.main = inner.main;
                    found.xmp = inner.xmp;
                }
            }
            _ => {}
        }
    }
    found
}

/// Names and values, UTF-16 little-endian, zero-ended, placed by a table of offsets in characters.
fn properties(section: &[u8]) -> Vec<(String, String)> {
    if !section.starts_with(b"SECp") {
        return Vec::new();
    }
    let count = le32(section, 8).map_or(0, |n| n as usize).min(1024);
    let text = |index: u32| -> Option<String> {
        let start = 24 + count * 8 + (index as usize).checked_mul(2)?;
        let units = section.get(start..)?.chunks_exact(2).map(|p| u16::from_le_bytes([p[0], p[1]]));
        let units: Vec<u16> = units.take_while(|u| *u != 0).take(256).collect();
        Some(String::from_utf16_lossy(&units).trim().to_owned())
    };
    (0..count).filter_map(|i| text(le32(section, 24 + 8 * i)?).zip(text(le32(section, 28 + 8 * i)?))).collect()
}
