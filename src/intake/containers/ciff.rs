//! CRW: Canon's heap of records, nested heaps at the end of the file.

use super::{Allowance, Contents, Source, le16, le32};

/// Records and nested heaps read at most, and the longest record of interest.
const MOST_RECORDS: usize = 4096;
const MOST_BYTES: usize = 1 << 16;
const DEEPEST: usize = 8;

/// The records of a heap by tag (type bits cleared of their storage class).
#[derive(Default)]
pub(in crate::intake) struct Heap {
    records: Vec<(u16, Vec<u8>)>,
}

impl Heap {
    /// The bytes of a record.
    pub(in crate::intake) fn record(&self, tag: u16) -> Option<&[u8]> {
        self.records.iter().find(|(t, _)| *t == tag).map(|(_, b)| b.as_slice())
    }

    /// A record as signed words.
    pub(in crate::intake) fn words(&self, tag: u16) -> Option<Vec<i16>> {
        Some(self.record(tag)?.chunks_exact(2).map(|p| i16::from_le_bytes([p[0], p[1]])).collect())
    }

    /// Zero-ended texts of a record.
    pub(in crate::intake) fn texts(&self, tag: u16) -> Vec<String> {
        let bytes = self.record(tag).unwrap_or_default();
        bytes.split(|b| *b == 0).take(8).map(|t| String::from_utf8_lossy(t).trim().to_owned()).collect()
    }
}

/// Reads the heaps.
pub(super) fn contents(source: &mut impl Source, allowance: &mut Allowance) -> Contents {
    let head = source.piece(0, 14);
    let length = source.length();
    let mut heap = Heap::default();
    if let Some(start) = le32(&head, 2) {
        read(source, (start.into(), length), 0, &mut heap, allowance);
    }
    let info = heap.record(0x1810).unwrap_or_default();
    let size = le32(info, 0).zip(le32(info, 4)).filter(|&(w, h)| w > 0 && h > 0);
    let orientation = match le32(info, 12) {
        Some(0) => Some(1),
        Some(90) => Some(6),
        Some(180) => Some(3),
        Some(270) => Some(8),
        _ => None,
    };
    Contents { size, orientation, ciff: Some(heap), ..Contents::default() }
}

/// Reads the heap in the bytes `start` to `end`: its directory's offset stands in its last four bytes.
fn read(source: &mut impl Source, (start, end): (u64, u64), depth: usize, heap: &mut Heap, allowance: &mut Allowance) {
    if depth > DEEPEST || end <= start || end - start < 6 {
        return;
    }
    let Some(directory) = le32(&source.piece(end - 4, 4), 0) else { return };
    let at = start + u64::from(directory);
    let Some(count) = le16(&source.piece(at, 2), 0) else { return };
    let entries = allowance.piece(source, at + 2, usize::from(count) * 10);
    for entry in entries.chunks_exact(10) {
        if heap.records.len() >= MOST_RECORDS || allowance.left() == 0 {
            return;
        }
        let (Some(kind), Some(length), Some(offset)) = (le16(entry, 0), le32(entry, 2), le32(entry, 6)) else { return };
        let tag = kind & 0x3fff;
        if kind & 0xc000 == 0x4000 {
            // Short values stand in the entry itself.
            heap.records.push((tag, entry[2..].to_vec()));
            continue;
        }
        let from = start + u64::from(offset);
        if matches!(kind & 0x3800, 0x2800 | 0x3000) {
            let to = from + u64::from(length);
            // A heap inside itself would never end; a nested one is always smaller.
            if to <= end && to - from < end - start {
                read(source, (from, to), depth + 1, heap, allowance);
            }
        } else if (length as usize) <= MOST_BYTES {
            heap.records.push((tag, allowance.piece(source, from, length as usize)));
        }
    }
}
