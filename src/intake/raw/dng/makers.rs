//! What raw files that are built like a DNG, but are none, say in tags of their maker's own: levels, white balance and which
//! part of the sensor is the picture. After the public tag lists.

use super::tags::{Directory, at, directories, tag, unsigned};

/// Nikon's tags: red and blue gains, black levels on the scale of 14 bits, and the picture's place and size.
mod nikon {
    pub(super) const GAINS: u16 = 0x0c;
    pub(super) const BLACK: u16 = 0x3d;
    pub(super) const AREA: u16 = 0x45;
}

/// Sony's: the directory that says where the enciphered one is, how long it is, and its key; then what stands in that.
mod sony {
    pub(super) const PRIVATE: u16 = 0xc634;
    pub(super) const OFFSET: u16 = 0x7200;
    pub(super) const LENGTH: u16 = 0x7201;
    pub(super) const KEY: u16 = 0x7221;
    pub(super) const BLACK: u16 = 0x7310;
    pub(super) const GAINS: u16 = 0x7313;
    pub(super) const WHITE: u16 = 0x787f;
}

/// Enciphered directories stand in the first megabytes.
const FARTHEST: usize = 1 << 24;

/// A maker note that is a TIFF of its own.
pub(super) struct Note<'a>(Directory<'a>);

impl<'a> Note<'a> {
    /// Nikon's, from the Exif directory below the first one.
    pub(super) fn nikon(root: &Directory<'a>) -> Option<Self> {
        let bytes = root.below(tag::EXIF)?.raw(tag::MAKER_NOTE)?;
        let own = bytes.starts_with(b"Nikon\0\x02").then(|| bytes.get(10..))??;
        directories(own).into_iter().next().map(Self)
    }

    pub(super) const fn directory(&self) -> &Directory<'a> {
        &self.0
    }
}

/// Levels that a maker states, on the scale of the stored samples.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Stated {
    /// Of the four sites, row by row.
    pub black: Option<[f32; 4]>,
    pub white: Option<f32>,
    /// Of red, green and blue, relative to green.
    pub gains: Option<[f32; 3]>,
    /// Left, top, width and height of the picture, px.
    pub area: Option<[usize; 4]>,
}

impl Stated {
    /// What the file says whose first directory is `root`; `bits` are those of a sample.
    pub(super) fn of(root: &Directory, file: &[u8], bits: usize) -> Self {
        if let Some(note) = Note::nikon(root) {
            return Self::nikon(note.directory(), bits);
        }
        plain(root, file).and_then(|bytes| at(&bytes.0, bytes.1, true).map(|d| Self::sony(&d))).unwrap_or_default()
    }

    fn nikon(note: &Directory, bits: usize) -> Self {
        let scale = if bits < 14 { (1 << (14 - bits)) as f64 } else { 1.0 };
        let gains = note.numbers(nikon::GAINS);
        Self {
            black: note.numbers(nikon::BLACK).try_into().ok().map(|v: [f64; 4]| v.map(|n| (n / scale) as f32)),
            white: None,
            gains: if let [red, blue, ..] = gains[..] { sound([red, 1.0, blue]) } else { None },
            area: note.numbers(nikon::AREA).try_into().ok().map(|v: [f64; 4]| v.map(|n| n as usize)),
        }
    }

    fn sony(private: &Directory) -> Self {
        let gains = private.numbers(sony::GAINS);
        let black = private.numbers(sony::BLACK);
        Self {
            black: match black[..] {
                [a, b, c, d] => Some([a, b, c, d].map(|n| n as f32)),
                [one, ..] => Some([one as f32; 4]),
                [] => None,
            },
            white: private.number(sony::WHITE).map(|n| n as f32),
            gains: if let [red, green, _, blue] = gains[..] { sound([red / green, 1.0, blue / green]) } else { None },
            area: None,
        }
    }
}

fn sound(gains: [f64; 3]) -> Option<[f32; 3]> {
    gains.iter().all(|g| (0.05..20.0).contains(g)).then(|| gains.map(|g| g as f32))
}

/// A copy of the file up to the end of Sony's enciphered directory, which is plain in it, and where that stands.
fn plain(root: &Directory, file: &[u8]) -> Option<(Vec<u8>, usize)> {
    let place = root.raw(sony::PRIVATE).filter(|bytes| bytes.len() == 4)?;
    let private = at(file, unsigned(place, true) as usize, true)?;
    let (start, length) = (private.whole(sony::OFFSET)?, private.whole(sony::LENGTH)?);
    let key = unsigned(private.raw(sony::KEY)?.get(..4)?, true) as u32;
    let bytes = file.get(start..start.checked_add(length)?).filter(|_| start + length < FARTHEST)?;
    let mut copy = vec![0; start];
    copy.extend(deciphered(bytes, key));
    Some((copy, start))
}

/// Combines each word with one of a row of words, each of which follows from two before it; the first four come of the key.
fn deciphered(bytes: &[u8], key: u32) -> Vec<u8> {
    let mut row = [0_u32; 128];
    let mut state = key;
    for word in &mut row[..4] {
        state = state.wrapping_mul(48_828_125).wrapping_add(1);
        *word = state;
    }
    row[3] = row[3] << 1 | (row[0] ^ row[2]) >> 31;
    for i in 4..127 {
        row[i] = (row[i - 4] ^ row[i - 2]) << 1 | (row[i - 3] ^ row[i - 1]) >> 31;
    }
    let mut out = Vec::with_capacity(bytes.len());
    for (i, word) in bytes.chunks_exact(4).enumerate() {
        let next = row[i % 128] ^ row[(i + 64) % 128];
        row[(i + 127) % 128] = next;
        out.extend(std::iter::zip(word, next.to_be_bytes()).map(|(a, b)| a ^ b));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Deciphering twice gives back what was there: each word is only ever combined with the row.
    #[test]
    fn the_cipher_is_its_own_inverse() {
        let bytes: Vec<u8> = (0..2000).map(|i| (i * 37 % 251) as u8).collect();
        let once = deciphered(&bytes, 0x1234_5679);
        assert_ne!(once, bytes);
        assert_eq!(deciphered(&once, 0x1234_5679), bytes);
    }
}
