//! Sony: focus location, focus mode, lens range, and the focus position in the enciphered records.

use super::{Note, Notes, lens_name, named, point};
use crate::intake::ifd::Ifd;
use crate::quantity::Distance;

/// Reads a Sony note: a directory after twelve bytes of name, or bare, with offsets from the start of the block.
pub(super) fn read(note: &Note<'_>) -> Option<Notes> {
    let named = [&b"SONY DSC"[..], b"SONY CAM", b"SONY MOB", b"\0\0SONY P", b"VHAB   "];
    let skip = if named.iter().any(|name| note.bytes.starts_with(name)) { 12 } else { 0 };
    let block = note.in_block(skip)?;
    let ifd = block.first();
    let mut notes = Notes {
        lens_range: ifd.bytes(0xb02a).and_then(lens_range),
        focus_mode: focus_mode(ifd),
        // HDR and multi-frame noise reduction.
        multi_shot: ifd.numbers(0x200a).first().is_some_and(|v| *v > 0.0 && *v < 256.0)
            || matches!(ifd.whole(0x200b), Some(1 | 16)),
        ..Notes::default()
    };
    for tag in [0x2027, 0x204a] {
        if let [width, height, x, y] = ifd.numbers(tag)[..]
            && notes.point.is_none()
            && x > 0.0
            && y > 0.0
        {
            notes.point = point(x, y, width, height);
        }
    }
    distance(ifd, note, &mut notes);
    Some(notes)
}

fn focus_mode(ifd: Ifd<'_>) -> Option<String> {
    let modern =
        named(ifd.whole(0x201b), &[(0, "manual"), (2, "AF-S"), (3, "AF-C"), (4, "AF-A"), (6, "DMF"), (7, "AF-D")]);
    modern.or_else(|| {
        let compact = [(1, "AF-S"), (2, "AF-C"), (4, "permanent AF"), (5, "manual"), (6, "DMF")];
        named(ifd.whole(0xb04e).or_else(|| ifd.whole(0xb042)), &compact)
    })
}

/// The lens's range in binary-coded decimals: feature byte, two bytes each of shortest and longest focal
/// length, a byte each for the largest apertures, feature byte.
fn lens_range(bytes: &[u8]) -> Option<String> {
    let &[_, a, b, c, d, fast, slow, _] = bytes.first_chunk::<8>()?;
    let decimal = |v: u8| f64::from(v >> 4) * 10.0 + f64::from(v & 0xf);
    lens_name(&[
        decimal(a) * 100.0 + decimal(b),
        decimal(c) * 100.0 + decimal(d),
        decimal(fast) / 10.0,
        decimal(slow) / 10.0,
    ])
}

/// Undoes the substitution of Sony's 0x94xx records: a byte b below 249 was written as b^3 modulo 249.
fn decipher(byte: u8) -> u8 {
    if byte >= 249 {
        return byte;
    }
    (0..249_u32).find(|b| b * b * b % 249 == u32::from(byte)).map_or(byte, |b| b as u8)
}

/// The distance for a focus position of the newer bodies: (2^(v/16 - 5) + 1) times the equivalent focal
/// length, a relation fitted to measurements by others, good to some 20 %; 255 is infinity.
fn newer(position: u8, focal_35mm: f64) -> Option<Distance> {
    match position {
        0 => None,
        255 => Some(Distance::Infinite),
        v => Some(Distance::Finite(((f64::from(v) / 16.0 - 5.0).exp2() + 1.0) * focal_35mm / 1e3)),
    }
}

fn distance(ifd: Ifd<'_>, note: &Note<'_>, notes: &mut Notes) {
    let model = note.model;
    let a_mount = ["SLT-", "HV", "ILCA-"].iter().any(|m| model.starts_with(m));
    let compact = model.starts_with("DSC-") || model.starts_with("Stellar");
    let old = ["A200", "A230", "A290", "A300", "A330", "A350", "A380", "A390", "A700", "A850", "A900"];
    if let (Some(bytes), Some(focal)) = (ifd.bytes(0x20), note.focal_mm)
        && model.strip_prefix("DSLR-").is_some_and(|m| old.contains(&m))
        && matches!(bytes.len(), 19_148 | 19_154)
    {
        // Distance in focal lengths; 128 and more is infinity.
        notes.distance = match bytes[0x9bb] {
            0 => None,
            128.. => Some(Distance::Infinite),
            v => Some(Distance::Finite(f64::from(v) * focal / 1e3)),
        };
        return;
    }
    let Some(focal_35mm) = note.focal_35mm else { return };
    let byte = |bytes: &[u8], at: usize| bytes.get(at).map(|b| decipher(*b));
    let position = if a_mount {
        // The record's version and kind bytes tell whether it is the one that holds the position.
        ifd.bytes(0x9404)
            .filter(|r| matches!(byte(r, 0), Some(9 | 12 | 13 | 15 | 16)) && byte(r, 3) == Some(2))
            .and_then(|r| byte(r, 0x20))
    } else if !compact {
        // Records that begin with (enciphered) 5 or 255 are of another kind.
        let record = ifd.bytes(0x9402).filter(|r| !matches!(r.first(), None | Some(0x05 | 0xff)));
        record.and_then(|r| byte(r, 0x2d)).or_else(|| more(ifd, model))
    } else {
        None
    };
    notes.distance = position.and_then(|p| newer(p, focal_35mm));
    notes.distance_ignored = position == Some(0);
}

/// Bodies of 2010: the position in a block of settings within a record of its own small directory.
fn more(ifd: Ifd<'_>, model: &str) -> Option<u8> {
    let at = if ["A450", "A500", "A550"].iter().any(|m| model.strip_prefix("DSLR-") == Some(m)) {
        0x29
    } else if ["NEX-3", "NEX-5", "NEX-5C"].contains(&model) {
        0x2b
    } else if ["DSLR-A560", "DSLR-A580", "SLT-A33", "SLT-A35", "SLT-A55V", "NEX-C3", "NEX-VG10", "NEX-VG10E"]
        .contains(&model)
    {
        0x2f
    } else {
        return None;
    };
    let bytes = ifd.bytes(0x20)?;
    let le16 = |i: usize| bytes.get(i..i + 2).map(|b| usize::from(u16::from_le_bytes([b[0], b[1]])));
    // Count and total length, then tag and offset for each part.
    let count = le16(0)?.min(64);
    let start = (0..count).find(|i| le16(4 + 4 * i) == Some(1)).and_then(|i| le16(6 + 4 * i))?;
    bytes.get(start + at).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_substitution_is_undone() {
        for b in (2_u32..248).filter(|b| !matches!(b, 82..=84 | 165..=167)) {
            assert_eq!(u32::from(decipher((b * b * b % 249) as u8)), b);
        }
    }
}
