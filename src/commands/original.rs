//! What a photograph is known again by, so that nothing else under its name is taken for it.

use std::io::{Read as _, Seek as _, SeekFrom};
use std::path::Path;

use crate::intake;
use crate::report::OriginalView;

/// Bytes at either end of a file that its digest is of. Chosen: the first hold date, settings and a preview, no two of which
/// are alike; and so few are read in no time beside the picture, however long the file is.
const END: u64 = 1 << 16;

/// What a file is known again by; `None` where it can't be read.
pub(super) fn of(path: &Path) -> Option<OriginalView> {
    let mut file = intake::open_file(path).ok()?;
    let bytes = file.metadata().ok()?.len();
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader((&mut file).take(END)).ok()?;
    if bytes > END {
        file.seek(SeekFrom::Start(END.max(bytes - END))).ok()?;
        hasher.update_reader(file.take(END)).ok()?;
    }
    Some(OriginalView { bytes, digest: hasher.finalize().to_hex().to_string(), whole: None })
}

/// Digest of all of a file; `None` where it can't be read.
pub(super) fn whole(path: &Path) -> Option<blake3::Hash> {
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(intake::open_file(path).ok()?).ok()?;
    Some(hasher.finalize())
}

/// Whether a file is the one that this was noted of, to its last byte: what is carried away is read once more, so that a change in
/// the middle of a long file isn't carried with it.
pub(super) fn is_wholly(path: &Path, noted: &OriginalView) -> bool {
    let same = || noted.whole.as_ref().is_none_or(|of| whole(path).is_some_and(|w| w.to_hex().as_str() == of));
    is(path, noted) && same()
}

/// Whether a file is the one that this was noted of, as its length and both ends tell.
pub(super) fn is(path: &Path, noted: &OriginalView) -> bool {
    // Of most others the length alone tells.
    std::fs::metadata(path).is_ok_and(|m| m.len() == noted.bytes) && of(path).is_some_and(|o| o.digest == noted.digest)
}

/// The folder that relative names are seen from; `None` where it isn't known or is no text.
pub(super) fn base() -> Option<String> {
    std::env::current_dir().ok()?.into_os_string().into_string().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_at_either_end_or_of_the_length_is_seen_whatever_the_length() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jpg");
        for length in [0, 1, 1000, 65_536, 65_537, 100_000, 131_072, 131_073, 1_000_000] {
            let bytes: Vec<u8> = (0..length).map(|i: u32| (i.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
            std::fs::write(&path, &bytes).unwrap();
            let noted = of(&path).unwrap();
            assert!(is(&path, &noted) && noted.bytes == u64::from(length));
            let ends = 65_536.min(bytes.len());
            for at in (0..ends).chain(bytes.len() - ends..bytes.len()).step_by(997).chain(bytes.len().checked_sub(1)) {
                let mut other = bytes.clone();
                other[at] ^= 1;
                std::fs::write(&path, &other).unwrap();
                assert!(!is(&path, &noted), "{length}: byte {at}");
            }
            std::fs::write(&path, [&bytes[..], &[0]].concat()).unwrap();
            assert!(!is(&path, &noted), "{length}");
        }
        // Whole files no longer than both ends have the digest of all their bytes.
        std::fs::write(&path, vec![7; 100_000]).unwrap();
        assert_eq!(of(&path).unwrap().digest, blake3::hash(&[7; 100_000]).to_hex().as_str());
        assert_eq!(of(folder.path()), None);
    }
}
