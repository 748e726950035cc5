//! Pictures from run to run: those of a small shoot are remembered themselves, of a large one where its report has them, which
//! is also all that is remembered of a whole picture in tiles.
//!
//! The pictures of a frame take ten times the room of all else that is remembered of it, and lie in its report anyhow. What is
//! found there counts only if it is the very file; else the pictures are made anew.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::remember::Memory;
use crate::output::store::Key;
use crate::report::{Full, Picture, Pictures, Sheet, Spot};

/// What stands before the bytes of the pictures, or in their place.
#[derive(Serialize, Deserialize)]
struct Contents {
    thumb: Entry,
    sheet: Entry,
    /// Length and digest of the whole picture in tiles.
    full: Option<(usize, Key)>,
    overview: (u32, u32),
    patches: Vec<(Spot, (u32, u32))>,
    at: Beside,
}

/// Width, height, length in bytes, digest.
type Entry = (u32, u32, usize, Key);

/// Where a report has the pictures of a frame that are not in its page.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Beside {
    /// The report's folder.
    pub folder: PathBuf,
    /// What the names of the frame's files begin with.
    pub stem: String,
    /// Whether the small ones are in the page, and so in no file of their own.
    pub inline: bool,
}

/// The pictures remembered for a frame under the key of what decided where they are cropped. `own`: where the report that is
/// made will have them; `left`: folders of reports that were never finished.
pub(super) fn recall(memory: &Memory, key: Option<&Key>, own: &Beside, left: &[PathBuf]) -> Option<Pictures> {
    let bytes = memory.recall_bytes(key)?;
    let (contents, rest) = contents(&bytes)?;
    let pictures = unpack(&contents, rest, left)?;
    // The report that is there now will be replaced, or may be gone by the next time.
    if contents.at != *own {
        remember(memory, key.copied(), &pictures, own);
    }
    Some(pictures)
}

/// Remembers a frame's pictures, or where they will be.
pub(super) fn remember(memory: &Memory, key: Option<Key>, pictures: &Pictures, own: &Beside) {
    memory.remember_bytes(key, || pack(pictures, own));
}

/// The length of the contents, the contents as JSON, and the JPEG bytes one picture after the other if they are nowhere else.
fn pack(pictures: &Pictures, at: &Beside) -> Option<Vec<u8>> {
    let entry = |p: &Picture| (p.width, p.height, p.jpeg.len(), *blake3::hash(&p.jpeg).as_bytes());
    let contents = serde_json::to_vec(&Contents {
        thumb: entry(&pictures.thumb),
        sheet: entry(&pictures.sheet.picture),
        full: pictures.full.as_ref().map(|f| (f.script.len(), *blake3::hash(&f.script).as_bytes())),
        overview: pictures.sheet.overview,
        patches: pictures.sheet.patches.clone(),
        at: at.clone(),
    })
    .ok()?;
    let mut bytes = u32::try_from(contents.len()).ok()?.to_le_bytes().to_vec();
    bytes.extend(contents);
    if at.inline {
        for picture in [&pictures.thumb, &pictures.sheet.picture] {
            bytes.extend_from_slice(&picture.jpeg);
        }
    }
    Some(bytes)
}

fn contents(bytes: &[u8]) -> Option<(Contents, &[u8])> {
    let (length, rest) = bytes.split_first_chunk::<4>()?;
    let (contents, rest) = rest.split_at_checked(u32::from_le_bytes(*length) as usize)?;
    Some((serde_json::from_slice(contents).ok()?, rest))
}

fn unpack(contents: &Contents, mut rest: &[u8], left: &[PathBuf]) -> Option<Pictures> {
    let Beside { folder, stem, inline } = &contents.at;
    let found = |kind: &str, digest: Key| {
        let name = Path::new("pictures").join(format!("{stem}-{kind}"));
        let there = |folder: &PathBuf| std::fs::read(folder.join(&name)).ok();
        let same = |bytes: &Vec<u8>| *blake3::hash(bytes).as_bytes() == digest;
        std::iter::once(folder).chain(left).filter_map(there).find(same)
    };
    let mut next = |(width, height, length, digest): Entry, kind: &str| {
        let jpeg = if *inline {
            let (jpeg, after) = rest.split_at_checked(length)?;
            rest = after;
            jpeg.to_vec()
        } else if length == 0 {
            Vec::new()
        } else {
            found(kind, digest)?
        };
        Some(Picture { width, height, jpeg })
    };
    Some(Pictures {
        thumb: next(contents.thumb, "thumb.jpg")?,
        sheet: Sheet {
            picture: next(contents.sheet, "sheet.jpg")?,
            overview: contents.overview,
            patches: contents.patches.clone(),
        },
        full: match contents.full {
            Some((_, digest)) => Some(Full { script: found("full.js", digest)? }),
            None => None,
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_survive_packing_and_damage_is_told() {
        let picture = |n: u8| Picture { width: u32::from(n), height: 2, jpeg: vec![n; usize::from(n)] };
        let sheet = Sheet { picture: picture(9), overview: (4, 3), patches: Vec::new() };
        let small = Pictures { thumb: picture(3), sheet, full: None };
        let back = |bytes: &[u8], left: &[PathBuf]| {
            let (contents, rest) = contents(bytes)?;
            unpack(&contents, rest, left)
        };
        let report = tempfile::tempdir().unwrap();
        let at = |inline| Beside { folder: report.path().to_owned(), stem: "0007".into(), inline };
        let bytes = pack(&small, &at(true)).unwrap();
        assert_eq!(back(&bytes, &[]).as_ref(), Some(&small));
        assert!((0..bytes.len()).all(|cut| back(&bytes[..cut], &[]).is_none()));
        // Where the report has them.
        let pictures = Pictures { full: Some(Full { script: b"tiles".repeat(9000) }), ..small };
        let put = |folder: &Path| {
            std::fs::create_dir_all(folder.join("pictures")).unwrap();
            for (name, bytes) in pictures.files("0007").chain(pictures.full_file("0007")) {
                std::fs::write(folder.join(name), bytes).unwrap();
            }
        };
        let (bytes, inline) = (pack(&pictures, &at(false)).unwrap(), pack(&pictures, &at(true)).unwrap());
        assert!(bytes.len() < 1500 && back(&bytes, &[]).is_none());
        assert!(inline.len() < 1500 && back(&inline, &[]).is_none(), "no tiles are kept in the store");
        put(report.path());
        assert_eq!(back(&bytes, &[]).as_ref(), Some(&pictures));
        assert_eq!(back(&inline, &[]).as_ref(), Some(&pictures));
        std::fs::write(report.path().join("pictures/0007-sheet.jpg"), "another").unwrap();
        assert_eq!(back(&bytes, &[]), None, "a file that was changed is none of ours");
        let left = report.path().join("unfinished");
        put(&left);
        assert_eq!(back(&bytes, &[left]).as_ref(), Some(&pictures));
    }
}
