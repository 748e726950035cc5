//! The mark of a report's folder: what in it is ours. A line for each of the report's files, its BLAKE3 digest and its path;
//! what the mark doesn't list, or lists with another digest, is somebody else's.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::Path;

use anyhow::bail;

use crate::intake::{MARK_HEAD, is_picture, listed};
use crate::quantity::shown;

/// Digests of files by their path in the folder, `/` between names.
pub(super) type Ledger = BTreeMap<String, BTreeSet<String>>;

/// The ledger in a mark; `None` where it is no mark.
pub(super) fn parsed(mark: &str) -> Option<Ledger> {
    let mut ledger = Ledger::new();
    for (digest, file) in listed(mark)? {
        ledger.entry(file.to_owned()).or_default().insert(digest.to_owned());
    }
    Some(ledger)
}

/// The mark of a ledger.
pub(super) fn written(ledger: &Ledger) -> String {
    let mut text = format!("{MARK_HEAD}\n");
    for (file, digests) in ledger {
        digests.iter().for_each(|digest| text.push_str(&format!("{digest} {file}\n")));
    }
    text
}

/// A file whose digest is known once it is written.
pub(super) struct Digesting {
    file: BufWriter<File>,
    hasher: blake3::Hasher,
}

impl Digesting {
    pub(super) fn create(place: &Path) -> io::Result<Self> {
        Ok(Self { file: BufWriter::new(File::create(place)?), hasher: blake3::Hasher::new() })
    }

    /// The digest of the whole file, which is on its way to disk.
    pub(super) fn finish(mut self) -> io::Result<String> {
        self.file.flush()?;
        Ok(self.hasher.finalize().to_hex().to_string())
    }
}

impl Write for Digesting {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.hasher.update(&bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// Calls with every file below a place, links not followed, and with its path in the folder.
pub(super) fn each_file(place: &Path, name: &str, call: &mut dyn FnMut(&str, &Path)) {
    let Ok(found) = fs::symlink_metadata(place) else { return };
    if !found.is_dir() {
        return call(name, place);
    }
    for entry in fs::read_dir(place).into_iter().flatten().flatten() {
        each_file(&entry.path(), &format!("{name}/{}", entry.file_name().to_string_lossy()), call);
    }
}

/// Whether a file is one that the ledger lists, unchanged.
pub(super) fn is_ours(file: &str, path: &Path, ledger: &Ledger) -> bool {
    let plain = fs::symlink_metadata(path).is_ok_and(|m| m.is_file());
    let digest = || {
        let mut hasher = blake3::Hasher::new();
        hasher.update_reader(File::open(path).ok()?).ok()?;
        Some(hasher.finalize().to_hex().to_string())
    };
    plain && ledger.get(file).is_some_and(|known| digest().is_some_and(|d| known.contains(&d)))
}

/// What a system's file manager puts into folders it has shown; a report has no files of such names.
fn of_a_file_manager(file: &str) -> bool {
    let name = file.rsplit('/').next().unwrap_or(file);
    name.starts_with('.') || matches!(name, "Thumbs.db" | "desktop.ini")
}

/// Refuses a folder where something stands under a report's name that isn't ours and may not be replaced.
pub(super) fn refuse_foreign(folder: &Path, name: &str, ledger: &Ledger, overwrite: bool) -> anyhow::Result<()> {
    let mut refused = None;
    each_file(&folder.join(name), name, &mut |file, path| {
        if refused.is_some() || of_a_file_manager(file) || is_ours(file, path, ledger) {
            return;
        }
        let shown = shown(path);
        let kind = fs::symlink_metadata(path).map(|m| m.file_type());
        refused = if kind.as_ref().is_ok_and(fs::FileType::is_symlink) {
            Some(format!("{shown} is a link, which is neither followed nor replaced; name another folder"))
        } else if kind.is_ok_and(|k| k.is_file()) && is_picture(path) {
            Some(format!(
                "{shown} is a picture that tussock didn't write, and is never written over; name another folder"
            ))
        } else if !overwrite {
            Some(format!(
                "{shown} was put there or changed since the report was written, and is not written over; move it away, \
                 name another folder, or give --overwrite"
            ))
        } else {
            None
        };
    });
    match refused {
        Some(why) => bail!(why),
        None => Ok(()),
    }
}
