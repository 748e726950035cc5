//! The folder of a report: claimed before anything is measured, built out of sight, put in place as a whole.
//!
//! A folder of ours carries a mark ([`super::ledger`]); what it doesn't list is somebody else's and stays as it is.

use std::fs::{self, File, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use anyhow::{Context as _, bail};
use tempfile::TempDir;

use super::ledger::{Digesting, Ledger, each_file, is_ours, parsed, refuse_foreign, written};
use crate::intake::{REPORT_MARK, looks_like_photograph};
use crate::quantity::shown;

/// What a report consists of, as names in its folder; the page comes first, since it is what ties the rest together.
pub(crate) const REPORT: &[&str] = &["index.html", "audit.json", "audit.csv", "series.json", "pictures"];
/// What the demo puts beside its report.
pub(crate) const DEMO: &[&str] = &["shoot", "built-in-faults.csv"];

/// Beginning of the names of what is not finished yet.
pub(super) const UNFINISHED: &str = ".tussock-unfinished-";

/// A report's folder, ours alone until it is dropped.
pub(crate) struct Folder {
    path: PathBuf,
    /// What is written, until it is put in place.
    staging: TempDir,
    /// What lies in place and is ours.
    placed: Ledger,
    /// What was written and waits.
    written: Mutex<Ledger>,
    /// What killed processes left here unfinished.
    leftovers: Vec<PathBuf>,
    overwrite: bool,
    /// Whether the folder, and whether its mark, were there before.
    was_there: (bool, bool),
    /// Keeps others out.
    _lock: Option<File>,
}

impl Folder {
    /// Claims the folder that the user named, and makes it if need be.
    ///
    /// `overwrite`: whether what stands in the way and isn't ours may be replaced; photographs never are.
    ///
    /// # Errors
    /// In words, where it holds what isn't ours, another process has it, or it can't be written.
    pub(crate) fn claim(path: &Path, overwrite: bool) -> anyhow::Result<Self> {
        match fs::metadata(path) {
            Ok(found) if !found.is_dir() => {
                bail!("{} is not a folder; name a folder for the report", shown(path))
            }
            Ok(_) => Self::take(path, overwrite, true),
            Err(_) => {
                fs::create_dir_all(path).with_context(|| format!("cannot make the folder {}", shown(path)))?;
                Self::take(path, overwrite, false)
            }
        }
    }

    /// Claims a folder `name`, or `name-2` and so on, in the folder `beside`: a new one, or one that was claimed but never
    /// got its report.
    ///
    /// # Errors
    /// Where no folder can be made there.
    pub(crate) fn claim_new(beside: &Path, name: &str) -> anyhow::Result<Self> {
        let mut number = 1;
        loop {
            let path = beside.join(if number == 1 { name.to_owned() } else { format!("{name}-{number}") });
            match fs::create_dir(&path) {
                Ok(()) => {
                    // Another process may have seen the empty folder first, in which case it is theirs.
                    if let Ok(folder) = Self::take(&path, false, false) {
                        return Ok(folder);
                    }
                    anyhow::ensure!(number < 10_000, "cannot write into {}", shown(&path));
                }
                Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {
                    if abandoned(&path)
                        && let Ok(folder) = Self::take(&path, false, true)
                        && folder.placed.is_empty()
                    {
                        return Ok(folder);
                    }
                }
                Err(e) => {
                    return Err(e)
                        .with_context(|| format!("cannot make the folder {}; name another with --out", shown(&path)));
                }
            }
            number += 1;
        }
    }

    fn take(path: &Path, overwrite: bool, was_there: bool) -> anyhow::Result<Self> {
        let path = path.canonicalize().with_context(|| format!("cannot find {}", shown(path)))?;
        let lock = match lock(&path) {
            Ok(lock) => lock,
            Err(()) => bail!(
                "another tussock is writing its report into {}; wait for it, or name another folder",
                shown(&path)
            ),
        };
        let mark = fs::read_to_string(path.join(REPORT_MARK)).ok().and_then(|text| parsed(&text));
        let marked = mark.is_some();
        let placed = mark.unwrap_or_default();
        if let Some(photograph) = photograph_in(&path, &placed) {
            bail!(
                "{} holds photographs ({} is one), and a report goes into a folder of its own; name another folder",
                shown(&path),
                shown(Path::new(&photograph))
            );
        }
        let mut leftovers = Vec::new();
        if marked {
            leftovers = unfinished(&path);
        } else if !overwrite && fs::read_dir(&path).with_context(|| cannot_write(&path))?.next().is_some() {
            bail!(
                "{} holds files that are not a report of tussock's, so nothing is written there; name another folder \
                 (--overwrite would replace files of a report's names, photographs never)",
                shown(&path)
            );
        }
        for name in REPORT.iter().chain(DEMO) {
            refuse_foreign(&path, name, &placed, overwrite)?;
        }
        let staging =
            tempfile::Builder::new().prefix(UNFINISHED).tempdir_in(&path).with_context(|| cannot_write(&path))?;
        let was_there = (was_there, marked);
        let folder =
            Self { path, staging, placed, written: Mutex::default(), leftovers, overwrite, was_there, _lock: lock };
        folder.mark(&folder.placed)?;
        Ok(folder)
    }

    /// Where the report will be.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// Writes a file of the report, out of sight until [`Folder::swap`].
    ///
    /// # Errors
    /// Where it can't be written.
    pub(crate) fn put(&self, name: &str, bytes: &[u8]) -> anyhow::Result<()> {
        self.put_with(name, &mut |out| out.write_all(bytes))
    }

    /// Writes a file of the report as it is made, out of sight until [`Folder::swap`].
    ///
    /// # Errors
    /// Where it can't be written.
    pub(crate) fn put_with(
        &self,
        name: &str,
        write: &mut dyn FnMut(&mut dyn Write) -> io::Result<()>,
    ) -> anyhow::Result<()> {
        let place = self.staging.path().join(name);
        let mut made = || {
            if let Some(folder) = place.parent() {
                fs::create_dir_all(folder)?;
            }
            let mut out = Digesting::create(&place)?;
            write(&mut out)?;
            out.finish()
        };
        let digest = made().with_context(|| format!("cannot write {}", shown(&self.path.join(name))))?;
        self.written.lock().unwrap_or_else(PoisonError::into_inner).insert(name.to_owned(), [digest].into());
        Ok(())
    }

    /// Folders with what processes that were killed had written of their reports; they go when this one is in place.
    pub(crate) fn leftovers(&self) -> &[PathBuf] {
        &self.leftovers
    }

    /// A file without a name for what is in between, beside what is written.
    ///
    /// # Errors
    /// Where none can be made.
    pub(crate) fn scratch(&self) -> io::Result<File> {
        tempfile::tempfile_in(self.staging.path())
    }

    /// Puts what was written in place of our files of these names (entries of the folder itself), all of which go.
    ///
    /// The old goes entirely before anything of the new comes, and the page, named first, goes first and comes last: even a
    /// kill in between leaves nothing that mixes the two.
    ///
    /// # Errors
    /// Where something of somebody else's has come into the way, or the folder can't be written.
    pub(crate) fn swap(&mut self, names: &[&str]) -> anyhow::Result<()> {
        let written = std::mem::take(&mut *self.written.lock().unwrap_or_else(PoisonError::into_inner));
        let mut both = self.placed.clone();
        written
            .iter()
            .for_each(|(name, digests)| both.entry(name.clone()).or_default().extend(digests.iter().cloned()));
        self.mark(&both)?;
        let old = tempfile::tempdir_in(self.staging.path()).with_context(|| cannot_write(&self.path))?;
        for name in names {
            self.take_out(name, old.path())?;
        }
        for name in names.iter().rev() {
            self.put_in(name)?;
        }
        let within = |file: &str| names.iter().any(|n| file.split('/').next() == Some(n));
        self.placed.retain(|file, _| !within(file));
        self.placed.extend(written);
        self.mark(&self.placed)?;
        // Nothing can be done about what stays.
        self.leftovers.drain(..).for_each(|old| drop(fs::remove_dir_all(old)));
        Ok(())
    }

    /// Moves our files of a name out of the way; what isn't ours stays.
    fn take_out(&self, name: &str, to: &Path) -> anyhow::Result<()> {
        let place = self.path.join(name);
        let mut files = Vec::new();
        let mut all_ours = true;
        each_file(&place, name, &mut |file, path| {
            if is_ours(file, path, &self.placed) { files.push(file.to_owned()) } else { all_ours = false }
        });
        let cannot = || format!("cannot replace {}", shown(&place));
        if all_ours && !files.is_empty() {
            return fs::rename(&place, to.join(name)).with_context(cannot);
        }
        for file in files {
            fs::remove_file(self.path.join(file)).with_context(cannot)?;
        }
        Ok(())
    }

    /// Moves what was written under a name into place.
    fn put_in(&self, name: &str) -> anyhow::Result<()> {
        let (from, place) = (self.staging.path().join(name), self.path.join(name));
        let Ok(new) = fs::symlink_metadata(&from) else { return Ok(()) };
        match fs::symlink_metadata(&place) {
            Err(_) => {}
            Ok(old) if old.is_dir() && new.is_dir() => {
                let entries = fs::read_dir(&from).with_context(|| cannot_write(&self.path))?;
                for entry in entries.flatten() {
                    self.put_in(&format!("{name}/{}", entry.file_name().to_string_lossy()))?;
                }
                return Ok(());
            }
            Ok(_) => refuse_foreign(&self.path, name, &self.placed, self.overwrite)?,
        }
        fs::rename(&from, &place).with_context(|| format!("cannot put {} in place", shown(&place)))
    }

    fn mark(&self, ledger: &Ledger) -> anyhow::Result<()> {
        super::replace(&self.path.join(REPORT_MARK), written(ledger).as_bytes())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // A claim that came to nothing leaves nothing behind. What can't be removed is no harm: it is taken up again.
        if self.placed.is_empty() && !self.was_there.1 {
            let _ = fs::remove_dir_all(self.staging.path());
            let _ = fs::remove_file(self.path.join(REPORT_MARK));
            if !self.was_there.0 {
                let _ = fs::remove_dir(&self.path);
            }
        }
    }
}

fn cannot_write(path: &Path) -> String {
    format!("cannot write into {}", shown(path))
}

/// A lock on a folder; `Err` where another has it, `Ok(None)` where the system has no such locks.
fn lock(folder: &Path) -> Result<Option<File>, ()> {
    let Ok(file) = File::open(folder) else { return Ok(None) };
    match file.try_lock() {
        Ok(()) => Ok(Some(file)),
        Err(TryLockError::WouldBlock) => Err(()),
        Err(TryLockError::Error(_)) => Ok(None),
    }
}

/// The name of a photograph that lies in a folder and is none of the report's files; the first by name.
fn photograph_in(folder: &Path, ledger: &Ledger) -> Option<String> {
    let names = fs::read_dir(folder).ok()?.flatten().map(|e| e.file_name().to_string_lossy().into_owned());
    let theirs = |name: &String| {
        let path = folder.join(name);
        !name.starts_with('.') && !ledger.contains_key(name) && looks_like_photograph(&path) && path.is_file()
    };
    names.filter(theirs).min()
}

/// Whether a folder was claimed but holds no report: nothing but a mark without entries and what was not finished.
fn abandoned(folder: &Path) -> bool {
    let marked = fs::read_to_string(folder.join(REPORT_MARK)).ok().and_then(|text| parsed(&text));
    let Ok(entries) = fs::read_dir(folder) else { return false };
    let ours = |name: &str| name == REPORT_MARK || name.starts_with(UNFINISHED);
    marked.is_some_and(|ledger| ledger.is_empty())
        && entries.flatten().all(|e| e.file_name().to_str().is_some_and(ours))
}

/// What killed processes left unfinished in a folder of ours: its folders; single files are removed.
fn unfinished(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let ours = entries.flatten().filter(|e| e.file_name().to_string_lossy().starts_with(UNFINISHED));
    let (folders, files): (Vec<_>, Vec<_>) = ours.partition(|e| e.file_type().is_ok_and(|kind| kind.is_dir()));
    // Nothing can be done about what stays.
    files.into_iter().for_each(|file| drop(fs::remove_file(file.path())));
    folders.into_iter().map(|e| e.path()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::MARK_HEAD;

    fn names(folder: &Path) -> Vec<String> {
        let mut found = Vec::new();
        each_file(folder, "", &mut |file, _| found.push(file.trim_start_matches('/').to_owned()));
        found.retain(|f| f != REPORT_MARK);
        found.sort();
        found
    }

    fn report(folder: &Path, files: &[&str]) -> anyhow::Result<()> {
        let mut claimed = Folder::claim(folder, false)?;
        for file in files {
            claimed.put(file, file.as_bytes())?;
        }
        claimed.swap(REPORT)
    }

    #[test]
    fn the_new_report_replaces_the_old_as_a_whole() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("deep/report");
        report(&out, &["index.html", "audit.json", "pictures/0001-thumb.jpg", "pictures/0002-thumb.jpg"]).unwrap();
        fs::write(out.join("notes.txt"), "mine").unwrap();
        report(&out, &["index.html", "series.json", "pictures/0001-thumb.jpg"]).unwrap();
        assert_eq!(names(&out), ["index.html", "notes.txt", "pictures/0001-thumb.jpg", "series.json"]);
        // Whoever claims and writes nothing changes nothing.
        drop(Folder::claim(&out, false).unwrap());
        assert_eq!(names(&out).len(), 4);
        report(&out, &["audit.json"]).unwrap();
        assert_eq!(names(&out), ["audit.json", "notes.txt"]);
    }

    #[test]
    fn what_is_not_ours_is_refused_and_stays() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("out");
        fs::create_dir(&out).unwrap();
        fs::write(out.join("index.html"), "mine").unwrap();
        assert!(Folder::claim(&out, false).is_err());
        let mut claimed = Folder::claim(&out, true).unwrap();
        claimed.put("index.html", b"new").unwrap();
        claimed.swap(REPORT).unwrap();
        drop(claimed);
        assert_eq!(fs::read(out.join("index.html")).unwrap(), b"new");
        // Changed since it was written.
        fs::write(out.join("index.html"), "edited").unwrap();
        assert!(report(&out, &["index.html"]).unwrap_err().to_string().contains("changed"));
        assert_eq!(fs::read(out.join("index.html")).unwrap(), b"edited");
        // A photograph, whatever was allowed.
        fs::create_dir(out.join("pictures")).unwrap();
        fs::write(out.join("pictures/0001-thumb.jpg"), b"\xff\xd8\xff\xe0 a photograph").unwrap();
        assert!(Folder::claim(&out, true).err().unwrap().to_string().contains("never written over"));
    }

    #[test]
    fn a_folder_of_photographs_is_no_place_for_a_report() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("out");
        report(&out, &["index.html", "pictures/0001-thumb.jpg"]).unwrap();
        fs::create_dir(out.join("more.jpg")).unwrap();
        fs::write(out.join(".a.jpg"), "what a file manager keeps").unwrap();
        assert!(report(&out, &["index.html"]).is_ok());
        fs::write(out.join("b.jpg"), "a photograph").unwrap();
        fs::write(out.join("a.JPG"), "another").unwrap();
        for overwrite in [false, true] {
            let said = Folder::claim(&out, overwrite).err().unwrap().to_string();
            assert!(said.contains("holds photographs (a.JPG is one)"), "{said}");
        }
        assert!(out.join("index.html").is_file());
    }

    #[cfg(unix)]
    #[test]
    fn links_are_not_followed() {
        let root = tempfile::tempdir().unwrap();
        let (out, photos) = (root.path().join("out"), root.path().join("photos"));
        fs::create_dir(&photos).unwrap();
        report(&out, &["index.html"]).unwrap();
        std::os::unix::fs::symlink(&photos, out.join("pictures")).unwrap();
        for overwrite in [false, true] {
            assert!(Folder::claim(&out, overwrite).err().unwrap().to_string().contains("link"));
        }
        fs::remove_file(out.join("pictures")).unwrap();
        // One that comes in between is no way out either.
        let mut claimed = Folder::claim(&out, true).unwrap();
        claimed.put("pictures/0001-thumb.jpg", b"x").unwrap();
        std::os::unix::fs::symlink(&photos, out.join("pictures")).unwrap();
        assert!(claimed.swap(REPORT).is_err());
        assert_eq!(fs::read_dir(&photos).unwrap().count(), 0);
    }

    #[test]
    fn two_get_two_and_a_claim_that_came_to_nothing_is_taken_up() {
        let root = tempfile::tempdir().unwrap();
        let first = Folder::claim_new(root.path(), "report").unwrap();
        let second = Folder::claim_new(root.path(), "report").unwrap();
        assert_ne!(first.path(), second.path());
        assert!(Folder::claim(first.path(), false).err().unwrap().to_string().contains("another tussock"));
        drop((first, second));
        assert_eq!(fs::read_dir(root.path()).unwrap().count(), 0);
        // As a kill leaves it.
        let killed = root.path().join("report");
        fs::create_dir_all(killed.join(format!("{UNFINISHED}x/pictures"))).unwrap();
        fs::write(killed.join(REPORT_MARK), format!("{MARK_HEAD}\n")).unwrap();
        let again = Folder::claim_new(root.path(), "report").unwrap();
        assert_eq!(again.path(), killed.canonicalize().unwrap());
        assert_eq!(names(&killed), [""; 0]);
    }
}
