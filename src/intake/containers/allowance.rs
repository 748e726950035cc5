//! How much metadata is read of one file: one allowance for all that is collected or unpacked.
//!
//! Metadata are read by the program itself, not by a worker, and a small file may hold much: texts that unpack to a thousand
//! times their length, and items that share their bytes.

use std::io::Read as _;

use super::Source;

/// Most bytes of metadata that are read and unpacked of one file, together. Chosen: cameras and editors write some
/// hundred thousand.
const MOST_BYTES: usize = 1 << 24;

/// Most XMP packets that are read of one file. Chosen: what writes them puts in one, rarely two.
const MOST_PACKETS: usize = 8;

/// What may still be read of a file's metadata. Where it is used up, nothing more is found.
pub(super) struct Allowance {
    bytes: usize,
    packets: usize,
}

impl Default for Allowance {
    fn default() -> Self {
        Self { bytes: MOST_BYTES, packets: MOST_PACKETS }
    }
}

impl Allowance {
    /// Bytes that may still be read.
    pub(super) const fn left(&self) -> usize {
        self.bytes
    }

    /// Counts bytes that were read.
    pub(super) const fn spend(&mut self, bytes: usize) {
        self.bytes = self.bytes.saturating_sub(bytes);
    }

    /// Up to `length` bytes at `offset`.
    pub(super) fn piece(&mut self, source: &mut impl Source, offset: u64, length: usize) -> Vec<u8> {
        let bytes = source.piece(offset, length.min(self.bytes));
        self.spend(bytes.len());
        bytes
    }

    /// What deflated bytes with a header unpack to (RFC 1950); `None` where they are damaged or come to more than is allowed.
    pub(super) fn inflated(&mut self, packed: &[u8]) -> Option<Vec<u8>> {
        let plain = miniz_oxide::inflate::decompress_to_vec_zlib_with_limit(packed, self.bytes);
        self.spend(plain.as_ref().map_or_else(|failed| failed.output.len(), Vec::len));
        plain.ok()
    }

    /// What bytes in Brotli's code unpack to, up to damage or to what is allowed.
    pub(super) fn expanded(&mut self, packed: &[u8]) -> Vec<u8> {
        let mut plain = Vec::new();
        // What could be expanded before damage is as good as a cut box.
        let _ = brotli_decompressor::Decompressor::new(packed, 4096).take(self.bytes as u64).read_to_end(&mut plain);
        self.spend(plain.len());
        plain
    }

    /// Keeps an XMP packet, if there may be one more.
    pub(super) fn keep(&mut self, packet: Vec<u8>, packets: &mut Vec<Vec<u8>>) {
        if self.packets > 0 && !packet.is_empty() {
            self.packets -= 1;
            packets.push(packet);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Cursor, Read, Seek, SeekFrom};

    use super::super::{Contents, contents};
    use super::*;
    use crate::intake::sniff::{Build, Kind};

    fn found(kind: Kind, bytes: &[u8]) -> Contents {
        contents(&mut Cursor::new(bytes), kind).unwrap()
    }

    /// What a file of one packet is found to hold, and one of many is not.
    fn is_bounded(kind: Kind, file: impl Fn(usize) -> Vec<u8>) {
        let lengths = |n| found(kind, &file(n)).xmp.iter().map(Vec::len).collect::<Vec<_>>();
        let (one, many) = (lengths(1), lengths(60));
        assert_eq!(one.len(), 1, "{kind:?}: {one:?}");
        assert!(!many.is_empty() && many.len() <= MOST_PACKETS, "{kind:?}: {many:?}");
        assert!(many.iter().sum::<usize>() <= MOST_BYTES, "{kind:?}: {many:?}");
    }

    fn boxed(name: &[u8], body: &[u8]) -> Vec<u8> {
        [&(body.len() as u32 + 8).to_be_bytes()[..], name, body].concat()
    }

    #[test]
    fn packed_texts_of_a_png_are_bounded_together() {
        for length in [1000, 5 << 20] {
            let packed = miniz_oxide::deflate::compress_to_vec_zlib(&vec![b' '; length], 6);
            let text = [b"XML:com.adobe.xmp\0\x01\0\0\0", &packed[..]].concat();
            let chunk = [&(text.len() as u32).to_be_bytes()[..], b"iTXt", &text, &[0; 4]].concat();
            is_bounded(Kind::Png, |n| [b"\x89PNG\r\n\x1a\n", &chunk.repeat(n)[..]].concat());
        }
    }

    /// All items have the same bytes.
    #[test]
    fn items_that_share_their_bytes_are_bounded_together() {
        for length in [1000, 5 << 20] {
            let mut packet = b"<x:xmpmeta".to_vec();
            packet.resize(length, b' ');
            let file = |n: usize| {
                let item =
                    |i: usize| boxed(b"infe", &[&[2, 0, 0, 0, 0, i as u8 + 1, 0, 0][..], b"mime", &[0]].concat());
                let iinf = [&[0, 0, 0, 0, 0, n as u8][..], &(0..n).flat_map(item).collect::<Vec<u8>>()].concat();
                let media = boxed(b"mdat", &packet);
                let place =
                    |i: usize| [&[0, i as u8 + 1, 0, 0, 0, 1, 0, 0, 0, 8][..], &(length as u32).to_be_bytes()].concat();
                let iloc =
                    [&[0, 0, 0, 0, 0x44, 0, 0, n as u8][..], &(0..n).flat_map(place).collect::<Vec<u8>>()].concat();
                let meta = [&[0; 4][..], &boxed(b"iinf", &iinf), &boxed(b"iloc", &iloc)].concat();
                [media, boxed(b"meta", &meta)].concat()
            };
            is_bounded(Kind::Heic, file);
        }
    }

    #[test]
    fn packed_boxes_of_a_jpeg_xl_are_bounded_together() {
        // Brotli (RFC 7932, 9.2): one block that is not compressed, its length in six digits, then an empty last one.
        let length = (1_u32 << 20) + 1;
        let head = 2 << 2 | (length - 1) << 4 | 1 << 28;
        let packed = [&head.to_le_bytes()[..], &vec![b' '; length as usize], &[3]].concat();
        let one = boxed(b"brob", &[b"xml ", &packed[..]].concat());
        is_bounded(Kind::JpegXl, |n| one.repeat(n));
    }

    /// Counts what is read of it.
    struct Counted<'a>(Cursor<&'a [u8]>, usize);

    impl Read for Counted<'_> {
        fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
            let n = self.0.read(out)?;
            self.1 += n;
            Ok(n)
        }
    }

    impl Seek for Counted<'_> {
        fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
            self.0.seek(to)
        }
    }

    /// Heaps in heaps in heaps, each listed many times over: of 300^8 all but a few are left unread.
    #[test]
    fn heaps_in_heaps_come_to_an_end() {
        let mut bytes = b"II\x1a\0\0\0HEAPCCDR".to_vec();
        bytes.resize(1 << 16, 0);
        let end = bytes.len();
        for depth in 0..8_usize {
            // Of each heap the last four bytes tell where its directory is, from its start on.
            let (start, last) = (26 + depth, end - 16 * depth);
            let directory = 0x1000 * (depth + 1);
            let inner = (last - 16 - start - 1) as u32;
            bytes[last - 4..last].copy_from_slice(&((directory - start) as u32).to_le_bytes());
            bytes[directory..directory + 2].copy_from_slice(&300_u16.to_le_bytes());
            let entry = [&0x2800_u16.to_le_bytes()[..], &inner.to_le_bytes(), &1_u32.to_le_bytes()].concat();
            bytes[directory + 2..directory + 2 + 3000].copy_from_slice(&entry.repeat(300));
        }
        let mut file = Counted(Cursor::new(&bytes), 0);
        contents(&mut file, Kind::Raw(Build::Crw)).unwrap();
        assert!(file.1 > 8 * 3000 && file.1 <= 2 * MOST_BYTES, "{}", file.1);
    }
}
