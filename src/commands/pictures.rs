//! The pictures of an audit: made while a frame is in memory, put into the page or beside it.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use super::asked::Audit;
use super::picture_cache::{self, Beside};
use super::remember::Memory;
use crate::intake::{self, Candidate};
use crate::output::folder::Folder;
use crate::output::store::Key;
use crate::report::{self, Frame, Links, Pictures, Pixels};
use crate::shot::Shot;

/// Kinds of file a browser shows by itself, so that the page can look at any place of the original.
const SHOWN: &[&str] = &["jpg", "jpeg", "png", "webp"];

/// Where the pictures of one audit go.
pub(super) struct Album<'a> {
    audit: &'a Audit,
    folder: &'a Folder,
    inline: bool,
    stems: HashMap<&'a Path, String>,
}

impl<'a> Album<'a> {
    /// The album of an audit of these frames, for a report in a folder.
    pub(super) fn new(audit: &'a Audit, frames: &'a [Candidate], folder: &'a Folder) -> Self {
        let files = |c: &'a Candidate| std::iter::once(c.path.as_path()).chain(c.twins.iter().map(PathBuf::as_path));
        let stems = frames
            .iter()
            .enumerate()
            .flat_map(|(i, c)| files(c).map(move |path| (path, format!("{:04}", i + 1))))
            .collect();
        Self { audit, folder, inline: report::inline(frames.len()), stems }
    }

    /// Whether any pictures are to be made.
    pub(super) const fn wanted(&self) -> bool {
        self.audit.page
    }

    /// Makes a frame's pictures from its pixels; in colour where the file gives any.
    pub(super) fn make(&self, frame: &Frame, shot: &Shot, path: &Path) -> Pictures {
        // Colours take more memory than anything else; a frame beyond the budget is shown in grey.
        let room = intake::memory_needed(path) <= self.audit.wanted.budget.bytes;
        let tint = shot.tint.as_ref();
        let colour =
            if room && tint.is_none() { intake::colour(path, &self.audit.wanted.overrides).ok() } else { None };
        let pixels = Pixels { plane: &shot.plane, colour: colour.as_ref(), tint };
        report::pictures(frame, &pixels, self.audit.renditions.of(path))
    }

    /// The pictures remembered for a frame under a key.
    pub(super) fn recall(&self, memory: &Memory, key: Option<&Key>, path: &Path) -> Option<Pictures> {
        picture_cache::recall(memory, key, &self.beside(path)?, self.folder.leftovers())
    }

    /// Remembers a frame's pictures.
    pub(super) fn remember(&self, memory: &Memory, key: Option<Key>, path: &Path, pictures: &Pictures) {
        if let Some(own) = self.beside(path) {
            picture_cache::remember(memory, key, pictures, &own);
        }
    }

    /// Where the report will have a frame's pictures.
    fn beside(&self, path: &Path) -> Option<Beside> {
        let stem = self.stems.get(path)?.clone();
        Some(Beside { folder: self.folder.path().to_owned(), stem, inline: self.inline })
    }

    /// Puts a frame's pictures in place and says where the page finds them.
    ///
    /// # Errors
    /// Where the report's folder can't be written.
    pub(super) fn place(&self, path: &Path, pictures: &Pictures) -> anyhow::Result<Links> {
        let stem = self.stems.get(path).map_or("0000", String::as_str);
        let links = if self.inline {
            pictures.inline()
        } else {
            for (file, bytes) in pictures.files(stem) {
                self.folder.put(&file, bytes)?;
            }
            pictures.beside(stem)
        };
        let whole = shown(path) && self.audit.wanted.overrides.turn.is_none();
        let original = if whole { relative(self.folder.path(), path) } else { None };
        let links = links.with_full(original.as_deref());
        Ok(match pictures.full_file(stem) {
            Some((file, bytes)) => {
                self.folder.put(&file, bytes)?;
                links.with_tiles(&file)
            }
            None => links,
        })
    }
}

fn shown(path: &Path) -> bool {
    path.extension().is_some_and(|e| SHOWN.iter().any(|s| e.eq_ignore_ascii_case(s)))
}

/// The way from a folder to a file with `/` between folders; `None` where there is none, or it isn't text.
fn relative(from: &Path, to: &Path) -> Option<String> {
    let from = absolute(from)?;
    let to = absolute(to)?;
    let shared = from.components().zip(to.components()).take_while(|(a, b)| a == b).count();
    let up = from.components().skip(shared).map(|_| "..");
    let down: Option<Vec<&str>> = to.components().skip(shared).map(|c| c.as_os_str().to_str()).collect();
    (shared > 0).then_some(())?;
    Some(up.chain(down?).collect::<Vec<_>>().join("/"))
}

/// The path with symbolic links resolved as far as it exists (the report's folder may not exist yet).
fn absolute(path: &Path) -> Option<PathBuf> {
    let full = std::path::absolute(path).ok()?;
    full.ancestors().find_map(|a| {
        let known = a.canonicalize().ok()?;
        Some(known.join(full.strip_prefix(a).ok()?))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_to_an_original_goes_up_and_down() {
        let root = tempfile::tempdir().unwrap();
        let shoot = root.path().join("shoot");
        std::fs::create_dir(&shoot).unwrap();
        let photo = shoot.join("a b.jpg");
        std::fs::write(&photo, b"").unwrap();
        assert_eq!(relative(&root.path().join("report"), &photo).as_deref(), Some("../shoot/a b.jpg"));
        assert_eq!(relative(&shoot.join("deep/report"), &photo).as_deref(), Some("../../a b.jpg"));
        assert_eq!(relative(&shoot, &photo).as_deref(), Some("a b.jpg"));
    }
}
