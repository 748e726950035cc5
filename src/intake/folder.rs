//! Walks files and folders, filters by kind, sorts.

use std::cmp::Ordering;
use std::collections::{BTreeMap, HashMap, HashSet};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use walkdir::{DirEntry, WalkDir};

use super::IntakeError;
use super::shots::{Candidate, Prefer, looks_like_photograph, pair};

/// What was found under the paths the user named.
#[derive(Debug, Default)]
pub struct Found {
    /// Frames, in the order of the paths given and sorted by name within each folder.
    pub frames: Vec<Candidate>,
    /// Paths that could not be listed or do not exist.
    pub failures: Vec<IntakeError>,
    /// Folders that hold one of the tool's own reports and photographs beside it, and how many pictures of the report were
    /// passed over.
    pub reports: Vec<(PathBuf, usize)>,
}

/// The file that marks a folder as one of the tool's own reports.
pub(crate) const REPORT_MARK: &str = ".tussock-report";
/// First line of a mark. A line for each of the report's files follows: its digest and its path in the folder.
pub(crate) const MARK_HEAD: &str = "tussock report 1: the files listed here may be replaced or removed by tussock";

/// The digest and the path, `/` between names, of each file that a mark lists; `None` where the text is no mark.
pub(crate) fn listed(mark: &str) -> Option<impl Iterator<Item = (&str, &str)>> {
    let mut lines = mark.lines();
    (lines.next() == Some(MARK_HEAD)).then(|| lines.filter_map(|line| line.split_once(' ')))
}

/// Finds the frames under `paths`; a file named outright is always a candidate, whatever its extension.
///
/// Hidden files and folders and the pictures of the tool's own reports are passed over unless named outright. Files
/// are sorted as people count (`IMG_9` before `IMG_10`), a folder's own files before those of its folders.
/// A file reached twice is one frame, and a folder reached twice by links is walked once.
#[must_use]
pub fn find(paths: &[PathBuf], recursive: bool, prefer: Prefer) -> Found {
    let (files, mut found) = files(paths, recursive);
    found.frames = pair(files, prefer);
    found
}

/// The files under `paths` as [`find`] looks for them, and what it says of them beside; which are of one shot is not asked, so
/// that none is opened.
pub(crate) fn files(paths: &[PathBuf], recursive: bool) -> (Vec<PathBuf>, Found) {
    let mut found = Found::default();
    let mut files = Vec::new();
    let mut walked = HashSet::new();
    let mut reports = Reports::default();
    for path in paths {
        match std::fs::metadata(path) {
            Err(error) => found.failures.push(IntakeError::from_io(path, &error)),
            Ok(metadata) if metadata.is_dir() => {
                let mut below = walk(path, recursive, &mut walked, &mut found.failures);
                below.retain(|file| !reports.hold(path, file));
                below.sort_by(|a, b| in_order(a, b));
                files.extend(below);
            }
            Ok(metadata) if metadata.is_file() => files.push(path.clone()),
            Ok(_) => found.failures.push(IntakeError::no_file(path)),
        }
    }
    // A file goes before the links to it, whatever their names: sidecars belong beside the file.
    let named: HashSet<PathBuf> = files.iter().filter(|f| !f.is_symlink()).map(|f| identity(f)).collect();
    let mut seen = HashSet::new();
    files.retain(|file| {
        let own = identity(file);
        !(named.contains(&own) && file.is_symlink()) && seen.insert(own)
    });
    found.reports = reports.beside_photographs();
    (files, found)
}

/// The tool's own reports in the folders that were walked.
#[derive(Default)]
struct Reports {
    /// What the mark of a folder lists; `None` of a folder without one.
    listed: HashMap<PathBuf, Option<HashSet<String>>>,
    /// The pictures passed over, by the folder that has the mark.
    passed_over: BTreeMap<PathBuf, HashSet<PathBuf>>,
    /// Folders with a mark that other photographs lie in.
    others: HashSet<PathBuf>,
}

impl Reports {
    /// Whether a file found under a folder is part of a report, by the marks of the folders between the two.
    fn hold(&mut self, walked: &Path, file: &Path) -> bool {
        for folder in file.ancestors().skip(1).take_while(|f| f.starts_with(walked)) {
            let listed = self.listed.entry(folder.to_owned()).or_insert_with(|| {
                let mark = std::fs::read_to_string(folder.join(REPORT_MARK)).ok()?;
                Some(listed(&mark)?.map(|(_, file)| file.to_owned()).collect())
            });
            let Some(listed) = listed else { continue };
            let names = file.strip_prefix(folder).unwrap_or(file).components();
            let names: Vec<_> = names.map(|c| c.as_os_str().to_string_lossy()).collect();
            if listed.contains(&names.join("/")) {
                self.passed_over.entry(folder.to_owned()).or_default().insert(file.to_owned());
                return true;
            }
            self.others.insert(folder.to_owned());
        }
        false
    }

    /// Folders that hold both, and how many pictures were passed over there.
    fn beside_photographs(self) -> Vec<(PathBuf, usize)> {
        let both = self.passed_over.into_iter().filter(|(folder, _)| self.others.contains(folder));
        both.map(|(folder, pictures)| (folder, pictures.len())).collect()
    }
}

/// Files below a folder that look like photographs; links are followed, loops and unreadable folders are failures.
///
/// `walked` holds the folders walked before: links that fan out would otherwise multiply what is below them.
fn walk(
    folder: &Path,
    recursive: bool,
    walked: &mut HashSet<FolderId>,
    failures: &mut Vec<IntakeError>,
) -> Vec<PathBuf> {
    let depth = if recursive { usize::MAX } else { 1 };
    let wanted = |entry: &DirEntry| entry.depth() == 0 || !entry.file_name().to_string_lossy().starts_with('.');
    // A folder that is named outright and was walked before, perhaps without what is below it, is walked again.
    let mut here = HashSet::new();
    let mut new = |entry: &DirEntry| {
        let descends = entry.file_type().is_dir() && entry.depth() < depth;
        !descends || folder_id(entry.path()).is_none_or(|id| !walked.contains(&id) && here.insert(id))
    };
    let mut files = Vec::new();
    let entries = WalkDir::new(folder).max_depth(depth).follow_links(true).sort_by(links_last).into_iter();
    for entry in entries.filter_entry(|e| wanted(e) && (e.depth() == 0 || new(e))) {
        match entry {
            Ok(entry) if entry.file_type().is_file() => {
                if looks_like_photograph(entry.path()) {
                    files.push(entry.into_path());
                }
            }
            Ok(_) => {}
            Err(error) => {
                let path = error.path().unwrap_or(folder).to_owned();
                if error.loop_ancestor().is_some() {
                    // What the loop leads back to is walked already.
                    continue;
                }
                // A link to nowhere matters only if it stands for a photograph.
                let not_found = error.io_error().is_some_and(|e| e.kind() == std::io::ErrorKind::NotFound);
                if not_found && !looks_like_photograph(&path) {
                    continue;
                }
                failures.push(match error.io_error() {
                    Some(why) => IntakeError::from_io(&path, why),
                    None => IntakeError::from_io(&path, &std::io::Error::other(error.to_string())),
                });
            }
        }
    }
    if recursive {
        walked.extend(here);
    }
    files
}

/// What makes two folders the same: device and inode, where the system has them.
type FolderId = (u64, u64, PathBuf);

#[cfg(unix)]
fn folder_id(path: &Path) -> Option<FolderId> {
    use std::os::unix::fs::MetadataExt as _;
    let found = std::fs::metadata(path).ok()?;
    Some((found.dev(), found.ino(), PathBuf::new()))
}

#[cfg(not(unix))]
fn folder_id(path: &Path) -> Option<FolderId> {
    Some((0, 0, std::fs::canonicalize(path).ok()?))
}

/// Folders themselves before links to them, so that frames are named by where they lie.
fn links_last(a: &DirEntry, b: &DirEntry) -> Ordering {
    let key = |e: &DirEntry| (e.path_is_symlink(), e.file_name().to_owned());
    key(a).cmp(&key(b))
}

/// What makes two paths the same file.
fn identity(path: &Path) -> PathBuf {
    std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned())
}

/// Folder by folder, a folder's own files first, names as people count.
fn in_order(a: &Path, b: &Path) -> Ordering {
    let (folders_a, folders_b) = (a.parent().unwrap_or(Path::new("")), b.parent().unwrap_or(Path::new("")));
    let mut pairs = folders_a.components().zip(folders_b.components());
    pairs
        .find_map(|(x, y)| Some(natural(x.as_os_str(), y.as_os_str())).filter(|o| o.is_ne()))
        .unwrap_or_else(|| folders_a.components().count().cmp(&folders_b.components().count()))
        .then_with(|| natural(a.file_name().unwrap_or_default(), b.file_name().unwrap_or_default()))
}

/// Compares names with runs of digits as numbers and letters whatever their case; ties by bytes.
fn natural(a: &OsStr, b: &OsStr) -> Ordering {
    let (left, right) = (a.to_string_lossy().to_lowercase(), b.to_string_lossy().to_lowercase());
    let (mut x, mut y) = (left.as_str(), right.as_str());
    loop {
        let (Some(p), Some(q)) = (x.chars().next(), y.chars().next()) else {
            return x.len().cmp(&y.len()).then_with(|| a.cmp(b));
        };
        if p.is_ascii_digit() && q.is_ascii_digit() {
            let digits = |s: &str| s.find(|c: char| !c.is_ascii_digit()).unwrap_or(s.len());
            let (number_x, rest_x) = x.split_at(digits(x));
            let (number_y, rest_y) = y.split_at(digits(y));
            let (short_x, short_y) = (number_x.trim_start_matches('0'), number_y.trim_start_matches('0'));
            let order = short_x.len().cmp(&short_y.len()).then_with(|| short_x.cmp(short_y));
            if order.is_ne() {
                return order;
            }
            (x, y) = (rest_x, rest_y);
        } else if p == q {
            (x, y) = (&x[p.len_utf8()..], &y[q.len_utf8()..]);
        } else {
            return p.cmp(&q);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::IntakeErrorKind;
    use super::*;

    fn names(found: &Found, root: &Path) -> Vec<String> {
        let name = |p: &PathBuf| p.strip_prefix(root).unwrap_or(p).to_string_lossy().replace('\\', "/");
        found
            .frames
            .iter()
            .map(|f| std::iter::once(&f.path).chain(&f.twins).map(name).collect::<Vec<_>>().join("+"))
            .collect()
    }

    fn folder(files: &[&str]) -> tempfile::TempDir {
        let root = tempfile::tempdir().unwrap();
        for file in files {
            let path = root.path().join(file);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, b"x").unwrap();
        }
        root
    }

    #[test]
    fn a_folder_is_sorted_filtered_and_paired() {
        let root = folder(&[
            "IMG_10.jpg",
            "IMG_9.JPG",
            "IMG_9.cr2",
            "b.tif",
            "A.png",
            ".hidden.jpg",
            "notes.txt",
            "sub/c.jpg",
            ".trash/d.jpg",
            "two.nef",
            "two.jpg",
            "two.tif",
        ]);
        let found = find(&[root.path().to_owned()], false, Prefer::Raw);
        assert_eq!(
            names(&found, root.path()),
            ["A.png", "b.tif", "IMG_9.cr2+IMG_9.JPG", "IMG_10.jpg", "two.jpg", "two.nef", "two.tif"]
        );
        assert!(found.failures.is_empty());
        let found = find(&[root.path().to_owned()], true, Prefer::Rendered);
        assert_eq!(
            names(&found, root.path())[2..],
            ["IMG_9.JPG+IMG_9.cr2", "IMG_10.jpg", "two.jpg", "two.nef", "two.tif", "sub/c.jpg"]
        );
    }

    #[test]
    fn files_named_outright_come_first_and_once() {
        let root = folder(&["a.jpg", "b.jpg", "odd.name"]);
        let path = |n: &str| root.path().join(n);
        let found =
            find(&[path("b.jpg"), path("odd.name"), path("missing.jpg"), root.path().to_owned()], false, Prefer::Raw);
        assert_eq!(names(&found, root.path()), ["b.jpg", "odd.name", "a.jpg"]);
        assert_eq!(found.failures.len(), 1);
        assert_eq!(found.failures[0].kind, IntakeErrorKind::Unreadable);
    }

    #[test]
    fn a_folder_named_like_a_photograph_is_a_folder() {
        let root = folder(&["x.jpg/inner.jpg"]);
        assert_eq!(names(&find(&[root.path().to_owned()], false, Prefer::Raw), root.path()), [""; 0]);
        assert_eq!(names(&find(&[root.path().to_owned()], true, Prefer::Raw), root.path()), ["x.jpg/inner.jpg"]);
    }

    #[cfg(unix)]
    #[test]
    fn loops_dead_links_and_odd_names_are_survived() {
        use std::os::unix::ffi::OsStrExt as _;
        let root = folder(&["a/one.jpg"]);
        std::os::unix::fs::symlink(root.path(), root.path().join("a/loop")).unwrap();
        std::os::unix::fs::symlink("nowhere.jpg", root.path().join("a/dead.jpg")).unwrap();
        std::fs::write(root.path().join("a").join(OsStr::from_bytes(b"\xff\xfe.jpg")), b"x").unwrap();
        let found = find(&[root.path().to_owned()], true, Prefer::Raw);
        assert_eq!(found.frames.len(), 2);
        assert_eq!(found.failures.len(), 1, "{:?}", found.failures);
        assert!(found.failures[0].path.ends_with("dead.jpg"));
    }

    #[cfg(unix)]
    #[test]
    fn a_file_goes_before_links_to_it() {
        let root = folder(&["m.jpg"]);
        for link in ["a.jpg", "z.jpg"] {
            std::os::unix::fs::symlink("m.jpg", root.path().join(link)).unwrap();
        }
        let found = find(&[root.path().to_owned()], true, Prefer::Raw);
        let files: Vec<_> = found.frames.iter().map(|f| f.path.clone()).collect();
        assert_eq!(files, [root.path().join("m.jpg")]);
        // A link by itself is taken.
        let found = find(&[root.path().join("z.jpg")], true, Prefer::Raw);
        assert_eq!(found.frames.len(), 1);
    }

    /// Three folders in a row, each with four links to the next: 64 ways to the last, but four folders.
    #[cfg(unix)]
    #[test]
    fn links_that_fan_out_are_walked_once() {
        let root = folder(&["d3/last.jpg", "d0/first.jpg"]);
        for level in 0..3 {
            let here = root.path().join(format!("d{level}"));
            std::fs::create_dir_all(&here).unwrap();
            for link in 0..4 {
                let to = root.path().join(format!("d{}", level + 1));
                std::os::unix::fs::symlink(to, here.join(format!("link{link}"))).unwrap();
            }
        }
        // Before copies are sorted out: each file came up once.
        let (mut walked, mut failures) = (HashSet::new(), Vec::new());
        let files = walk(&root.path().join("d0"), true, &mut walked, &mut failures);
        assert_eq!(files.len(), 2, "{files:?}");
        let found = find(&[root.path().join("d0"), root.path().to_owned()], true, Prefer::Raw);
        assert_eq!(found.frames.len(), 2, "{found:?}");
        assert!(failures.is_empty() && found.failures.is_empty(), "{failures:?} {found:?}");
    }

    #[test]
    fn of_a_marked_folder_what_its_mark_lists_is_passed_over_and_nothing_else() {
        let thumb = "mine/pictures/0001-thumb.jpg";
        let root = folder(&["a.jpg", thumb]);
        let mark = |text: &str| std::fs::write(root.path().join("mine").join(REPORT_MARK), text).unwrap();
        let found = || find(&[root.path().to_owned()], true, Prefer::Raw);
        let listed = format!("{MARK_HEAD}\n0a1b index.html\n0c2d pictures/0001-thumb.jpg\n");
        mark(&listed);
        assert_eq!(names(&found(), root.path()), ["a.jpg"]);
        assert!(found().reports.is_empty(), "there is nothing beside the report");
        // Photographs beside a report are photographs, and what is passed over there is told.
        std::fs::write(root.path().join("mine/b.jpg"), b"x").unwrap();
        std::fs::write(root.path().join("mine/pictures/c.jpg"), b"x").unwrap();
        assert_eq!(names(&found(), root.path()), ["a.jpg", "mine/b.jpg", "mine/pictures/c.jpg"]);
        assert_eq!(found().reports, [(root.path().join("mine"), 1)]);
        let mine = find(&[root.path().join("mine")], true, Prefer::Raw);
        assert_eq!(names(&mine, root.path()), ["mine/b.jpg", "mine/pictures/c.jpg"]);
        // Named outright.
        let outright = find(&[root.path().join(thumb)], true, Prefer::Raw);
        assert_eq!(names(&outright, root.path()), [thumb]);
        // What is no mark hides nothing.
        mark("0c2d pictures/0001-thumb.jpg\n");
        assert!(names(&found(), root.path()).contains(&thumb.to_owned()));
    }

    #[test]
    fn a_name_alone_makes_no_report() {
        let root = folder(&["tussock-report-2026-05-01/e.png"]);
        assert_eq!(names(&find(&[root.path().to_owned()], true, Prefer::Raw), root.path()).len(), 1);
    }

    #[test]
    fn names_count_as_people_do() {
        let mut list = ["img_10", "IMG_2", "img_002b", "a", "img_1", "b1c10", "b1c9", ""].map(OsStr::new);
        list.sort_by(|a, b| natural(a, b));
        assert_eq!(list, ["", "a", "b1c9", "b1c10", "img_1", "IMG_2", "img_002b", "img_10"].map(OsStr::new));
    }
}
