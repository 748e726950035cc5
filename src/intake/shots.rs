//! Which files are of one shot: a raw file, what the camera or a converter made of it, and copies, wherever they lie.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use jiff::civil::DateTime;
use rayon::prelude::*;

use super::exif;
use super::sniff::{RAW_EXTENSIONS, RENDERED_EXTENSIONS, extension};
use crate::quantity::Flag;
use crate::shot::Source;

/// Which of a raw file and its rendered twin stands for the frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Prefer {
    /// The raw file.
    #[default]
    Raw,
    /// The rendered file.
    Rendered,
}

/// One frame to read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// The file that stands for the frame.
    pub path: PathBuf,
    /// Its twins (other files of the same shot), not audited by themselves; the first that can be read stands in for it.
    pub twins: Vec<PathBuf>,
}

/// Whether a name looks like a photograph to the folder walk.
pub(crate) fn looks_like_photograph(path: &Path) -> bool {
    let extension = extension(path);
    RAW_EXTENSIONS.contains(&extension.as_str()) || RENDERED_EXTENSIONS.contains(&extension.as_str())
}

/// Whether a name is that of a camera raw file.
pub(crate) fn is_raw(path: &Path) -> bool {
    RAW_EXTENSIONS.contains(&extension(path).as_str())
}

/// A file's name without its ending, by which files of one folder belong together, whatever the case of its letters.
#[must_use]
pub fn stem(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().to_lowercase()
}

/// The name that a camera gave the shot: a file's without any of the endings of photographs (`q` of `q.dng.jpg`).
pub(crate) fn bare(path: &Path) -> String {
    let mut rest = path.file_stem().unwrap_or_default();
    while looks_like_photograph(Path::new(rest)) {
        rest = Path::new(rest).file_stem().unwrap_or_default();
    }
    rest.to_string_lossy().into_owned()
}

/// The same, whatever the case of its letters.
fn name(path: &Path) -> String {
    bare(path).to_lowercase()
}

/// Step of the time between time zones, and the longest time between two of them, s. Published: the time zone database
/// of IANA, from UTC-12 to UTC+14 in quarters of an hour.
const ZONES: i64 = 900;
const WIDEST: i64 = 26 * 3600;

/// When a file's picture was taken and by what, as far as the file tells.
#[derive(Clone, Debug, Default, PartialEq)]
struct Moment {
    /// Date and time to the second; `None` where they can't be trusted.
    date: Option<DateTime>,
    /// Decimals of the second.
    decimals: Option<String>,
    body: Option<String>,
    serial: Option<String>,
    /// Samples of the picture.
    samples: u64,
}

impl Moment {
    fn of(path: &Path) -> Self {
        let facts = exif::facts(path).unwrap_or_default();
        // Clocks that were never set give many shots one time, and so do dates without a time of day; what XMP tells may be the
        // time of an export.
        let doubted = facts.flags.contains(&Flag::DateImplausible);
        let date =
            facts.capture.date.filter(|d| !doubted && d.source != Source::Xmp && !d.value.ends_with("T00:00:00"));
        Self {
            date: date.and_then(|d| d.value.parse().ok()),
            decimals: facts.second_decimals,
            body: facts.capture.body.map(|b| b.value.to_lowercase()),
            serial: facts.body_serial,
            samples: facts.size.map_or(0, |(width, height)| u64::from(width) * u64::from(height)),
        }
    }

    /// Whether two files tell of one shot; `None` where one of them doesn't tell its time.
    ///
    /// The time must agree as finely as both record it, and so must the camera: numbers start again after 9999. `zones`: whether one
    /// may be told in another time zone, as some phones write the time of their raw files.
    fn agrees(&self, other: &Self, zones: bool) -> Option<bool> {
        fn alike(a: &Option<String>, b: &Option<String>, same: impl Fn(&str, &str) -> bool) -> bool {
            a.as_deref().zip(b.as_deref()).is_none_or(|(a, b)| same(a, b))
        }
        let (date, others) = self.date.zip(other.date)?;
        let apart = date.duration_since(others).as_secs().abs();
        let begins = |a: &str, b: &str| a.starts_with(b) || b.starts_with(a);
        let equal = |a: &str, b: &str| a == b;
        Some(
            (apart == 0 || zones && apart % ZONES == 0 && apart <= WIDEST)
                && alike(&self.decimals, &other.decimals, begins)
                && alike(&self.body, &other.body, equal)
                && alike(&self.serial, &other.serial, equal),
        )
    }
}

/// Files of one shot make one frame, which stands where the first of them stood.
///
/// One shot are files of one name whose capture times and cameras agree. Where one of two files tells no time, only a single raw
/// file beside a single rendered one is surely one frame.
pub(super) fn pair(files: Vec<PathBuf>, prefer: Prefer) -> Vec<Candidate> {
    let mut named: HashMap<String, Vec<usize>> = HashMap::new();
    for (i, file) in files.iter().enumerate() {
        named.entry(name(file)).or_default().push(i);
    }
    let several: Vec<Vec<usize>> = named.into_values().filter(|g| g.len() > 1).collect();
    // Only where names meet are files opened.
    let shots: Vec<Vec<usize>> = several.par_iter().flat_map_iter(|group| shots(&files, group, prefer)).collect();
    let of: HashMap<usize, &[usize]> =
        shots.iter().flat_map(|shot| shot.iter().map(|&i| (i, shot.as_slice()))).collect();
    let mut done = HashSet::new();
    let mut frames = Vec::new();
    for (i, file) in files.iter().enumerate() {
        match of.get(&i) {
            Some(shot) if done.insert(shot[0]) => frames.push(Candidate {
                path: files[shot[0]].clone(),
                twins: shot[1..].iter().map(|&j| files[j].clone()).collect(),
            }),
            Some(_) => {}
            None => frames.push(Candidate { path: file.clone(), twins: Vec::new() }),
        }
    }
    frames
}

/// The shots among files of one name, the file that stands for it first: of the kind preferred, then the camera's own raw file
/// before one that a converter made, then the largest picture, then the first.
fn shots(files: &[PathBuf], group: &[usize], prefer: Prefer) -> Vec<Vec<usize>> {
    let moments: Vec<Moment> = group.iter().map(|&i| Moment::of(&files[i])).collect();
    let places: Vec<&Path> = group.iter().map(|&i| files[i].as_path()).collect();
    let mut shots: Vec<Vec<usize>> = Vec::new();
    for k in 0..group.len() {
        let joins = |shot: &Vec<usize>| {
            let told = |&m: &usize| moments[m].agrees(&moments[k], lone_two(&places, m, k));
            shot.iter().all(|m| told(m) != Some(false))
                && shot.iter().any(|m| told(m) == Some(true) || told(m).is_none() && lone_two(&places, *m, k))
        };
        match shots.iter_mut().find(|shot| joins(shot)) {
            Some(shot) => shot.push(k),
            None => shots.push(vec![k]),
        }
    }
    for shot in &mut shots {
        shot.sort_by_key(|&k| {
            let kind = is_raw(places[k]) != (prefer == Prefer::Raw);
            let converted = places[k].extension().is_some_and(|e| e.eq_ignore_ascii_case("dng"));
            (kind, converted, std::cmp::Reverse(moments[k].samples), k)
        });
    }
    shots.into_iter().map(|shot| shot.into_iter().map(|k| group[k]).collect()).collect()
}

/// Whether two files of one name are the only raw and the only rendered one of that name in their folder.
fn lone_two(places: &[&Path], a: usize, b: usize) -> bool {
    let folder = places[a].parent();
    let only = |k: usize| places.iter().filter(|p| p.parent() == folder && is_raw(p) == is_raw(places[k])).count() == 1;
    folder == places[b].parent() && is_raw(places[a]) != is_raw(places[b]) && only(a) && only(b)
}

/// Those of other files that are of one shot with this one.
pub(crate) fn twins(path: &Path, others: &[PathBuf]) -> Vec<PathBuf> {
    let mut files = vec![path.to_owned()];
    files.extend(others.iter().filter(|o| o.as_path() != path && name(o) == name(path)).cloned());
    if files.len() < 2 {
        return Vec::new();
    }
    let frames = pair(files, Prefer::Raw);
    let own = frames.into_iter().find(|f| f.path == path || f.twins.iter().any(|t| t == path));
    let all = own.into_iter().flat_map(|f| std::iter::once(f.path).chain(f.twins));
    all.filter(|f| f != path).collect()
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    /// A little-endian TIFF of a model, a time, decimals of its second and a size (Exif 2.32, CIPA DC-008-2019; no pixels).
    fn tiff(model: &str, time: &str, decimals: &str, width: u32) -> Vec<u8> {
        let mut out = b"II*\0\x08\0\0\0".to_vec();
        let (first, exif) = (8, 8 + 2 + 4 * 12 + 4);
        let mut beyond = exif + 2 + 4 * 12 + 4;
        let mut text: Vec<u8> = Vec::new();
        let mut entry = |tag: u16, kind: u16, value: &[u8]| {
            let count = if kind == 2 { value.len() as u32 } else { 1 };
            let mut e = [&tag.to_le_bytes()[..], &kind.to_le_bytes(), &count.to_le_bytes()].concat();
            if value.len() <= 4 {
                e.extend(value);
                e.resize(12, 0);
            } else {
                e.extend((beyond as u32).to_le_bytes());
                text.extend(value);
                beyond += value.len();
            }
            e
        };
        let ascii = |t: &str| [t.as_bytes(), b"\0"].concat();
        let long = |v: u32| v.to_le_bytes();
        let main = [
            entry(0x100, 4, &long(width)),
            entry(0x101, 4, &long(width)),
            entry(0x110, 2, &ascii(model)),
            entry(0x8769, 4, &long(exif as u32)),
        ];
        let below = [
            entry(0x9003, 2, &ascii(time)),
            entry(0x9291, 2, &ascii(decimals)),
            entry(0xa002, 4, &long(width)),
            entry(0xa003, 4, &long(width)),
        ];
        assert_eq!(first, out.len());
        for directory in [&main[..], &below] {
            out.extend((directory.len() as u16).to_le_bytes());
            out.extend(directory.concat());
            out.extend([0; 4]);
        }
        out.extend(text);
        out
    }

    /// A JPEG that holds no more than the same facts.
    fn jpeg(tiff: &[u8]) -> Vec<u8> {
        let length = (2 + 6 + tiff.len() as u16).to_be_bytes();
        [b"\xff\xd8\xff\xe1", &length[..], b"Exif\0\0", tiff, b"\xff\xd9"].concat()
    }

    const NOON: &str = "2026:05:01 12:34:56";

    /// Frames of a folder with these files, as `path+twin+twin`.
    fn found(files: &[(&str, &str, &str, &str)], prefer: Prefer) -> Vec<String> {
        let root = tempfile::tempdir().unwrap();
        for (i, (file, model, time, decimals)) in files.iter().enumerate() {
            let path = root.path().join(file);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            let facts = tiff(model, time, decimals, 100 + i as u32);
            fs::write(&path, if is_raw(&path) { facts } else { jpeg(&facts) }).unwrap();
        }
        let frames = super::super::find(&[root.path().to_owned()], true, prefer).frames;
        let name = |p: &PathBuf| p.strip_prefix(root.path()).unwrap().to_string_lossy().replace('\\', "/");
        let all =
            frames.iter().map(|f| std::iter::once(&f.path).chain(&f.twins).map(name).collect::<Vec<_>>().join("+"));
        all.collect()
    }

    #[test]
    fn files_of_one_shot_are_one_frame_wherever_they_lie() {
        let one = |file| (file, "Tarn One", NOON, "");
        assert_eq!(found(&[one("RAW/a.nef"), one("JPG/A.JPG")], Prefer::Raw), ["RAW/a.nef+JPG/A.JPG"]);
        assert_eq!(found(&[one("RAW/a.nef"), one("JPG/A.JPG")], Prefer::Rendered), ["JPG/A.JPG+RAW/a.nef"]);
        assert_eq!(found(&[one("p.nef"), one("p.dng")], Prefer::Raw), ["p.nef+p.dng"]);
        assert_eq!(found(&[one("q.dng"), one("q.dng.jpg")], Prefer::Raw), ["q.dng+q.dng.jpg"]);
        // The largest of several renderings; the frame stands where the first of its files stood.
        let small = [one("a.jpg"), one("b.jpg"), one("large/a.jpg"), one("raw/b.arw"), one("web/b.jpg")];
        assert_eq!(found(&small, Prefer::Raw), ["large/a.jpg+a.jpg", "raw/b.arw+web/b.jpg+b.jpg"]);
    }

    #[test]
    fn shots_that_share_a_number_stay_apart() {
        let other = "2026:05:01 12:34:57";
        let apart = |a: (&str, &str, &str), b: (&str, &str, &str)| {
            let file = |name, (model, time, decimals)| (name, model, time, decimals);
            for (first, second) in [("100/i.jpg", "101/i.jpg"), ("r/i.cr3", "j/i.jpg"), ("i.cr3", "i.jpg")] {
                let said = found(&[file(first, a), file(second, b)], Prefer::Raw);
                assert_eq!(said.len(), 2, "{said:?}: {a:?} {b:?}");
            }
        };
        apart(("Tarn One", NOON, ""), ("Tarn One", other, ""));
        apart(("Tarn One", NOON, "12"), ("Tarn One", NOON, "57"));
        apart(("Tarn One", NOON, ""), ("Tarn Two", NOON, ""));
        // Cards of two cameras in one folder; but a phone's raw file may be told in universal time, some hours off.
        let raw = |time| found(&[("i.dng", "T", time, ""), ("i.jpg", "T", NOON, "")], Prefer::Raw).len();
        assert_eq!((raw("2026:05:01 10:34:56"), raw("2026:05:01 10:34:58"), raw("2026:05:04 12:34:56")), (1, 2, 2));
        // Decimals agree as far as both have them.
        assert_eq!(found(&[("r/i.cr3", "T", NOON, "1"), ("j/i.jpg", "T", NOON, "12")], Prefer::Raw).len(), 1);
    }

    #[test]
    fn without_a_time_only_one_folder_counts() {
        // None at all, one that clocks start from, and a day without a time.
        for time in ["", "2000:01:01 00:03:00", "2026:05:01 00:00:00"] {
            let said = |files: &[&str]| {
                let files: Vec<_> = files.iter().map(|f| (*f, "Tarn One", time, "")).collect();
                found(&files, Prefer::Raw).len()
            };
            assert_eq!(
                (said(&["r/i.cr3", "j/i.jpg"]), said(&["i.cr3", "i.jpg"]), said(&["i.tif", "i.jpg"])),
                (2, 1, 2)
            );
            assert_eq!((said(&["q.dng", "q.dng.jpg"]), said(&["i.cr3", "i.jpg", "i.tif"])), (1, 3));
        }
    }
}
