//! Name: what kind of raw file a refused one is, and what to do with it, in a photographer's words.

use std::path::Path;

use super::dng;
use super::sensor::Refused;
use crate::intake::{IntakeError, IntakeErrorKind, exif, sniff};

/// Makers of raw files that are built like TIFF, by extension.
const MAKERS: &[(&str, &str)] = &[
    ("3fr", "Hasselblad"),
    ("arw", "Sony"),
    ("dcr", "Kodak"),
    ("dcs", "Kodak"),
    ("erf", "Epson"),
    ("fff", "Hasselblad"),
    ("k25", "Kodak"),
    ("kdc", "Kodak"),
    ("mef", "Mamiya"),
    ("mos", "Leaf"),
    ("nef", "Nikon"),
    ("nrw", "Nikon"),
    ("pef", "Pentax"),
    ("rwl", "Leica"),
    ("sr2", "Sony"),
    ("srf", "Sony"),
    ("srw", "Samsung"),
];

/// Extensions of raw files that begin like a TIFF or with a signature of their own, whatever body wrote them.
const MARKED: &[&str] = &[
    "3fr", "arw", "cr2", "cr3", "dng", "erf", "gpr", "mrw", "nef", "nrw", "orf", "ori", "pef", "raf", "rw2", "rwl",
    "sr2", "srw", "x3f",
];

/// What is wrong with a file that is not even the beginning of a raw file, or nothing but that.
fn headless(path: &Path) -> Option<&'static str> {
    let file = std::fs::read(path).unwrap_or_default();
    match sniff::begins(&file) {
        sniff::Kind::Unknown if MARKED.contains(&sniff::extension(path).as_str()) => {
            Some("its content is not that of any kind of photograph known here")
        }
        sniff::Kind::Tiff if dng::is_headless(&file) => {
            Some("it was cut short: what tells how its picture is stored is missing")
        }
        _ => None,
    }
}

/// What kind of raw file it is, with its article.
fn kind(path: &Path) -> String {
    let file = std::fs::read(path).unwrap_or_default();
    let found = sniff::directories(&mut std::io::Cursor::new(&file)).unwrap_or_default();
    if found.vc5 {
        return "a raw file with VC-5 compression (GPR)".into();
    }
    if found.dng {
        return dng::compression(&file).map_or_else(|| "a DNG".into(), |how| format!("a DNG with {how}"));
    }
    if let sniff::Kind::Raw(build) = sniff::begins(&file)
        && let Some(name) = build.name()
    {
        return name.into();
    }
    if dng::is_efficient(&file) {
        return "a Nikon raw file (NEF) with high-efficiency compression".into();
    }
    let extension = sniff::extension(path);
    let maker = MAKERS.iter().find(|(e, _)| *e == extension).map(|(_, maker)| *maker);
    match maker {
        Some(maker) => format!("a {maker} raw file ({})", extension.to_uppercase()),
        None => "a raw file".into(),
    }
}

/// The camera that the file names, in brackets behind its kind.
fn camera(path: &Path) -> String {
    let body = exif::facts(path).ok().and_then(|facts| facts.capture.body);
    body.map_or_else(String::new, |body| format!(" of the camera \u{201c}{}\u{201d}", body.value))
}

/// A file that its readers refuse. What they say of a DNG is in words for people; of the others' refusals only their
/// kind counts.
pub(super) fn refusal(path: &Path, said: &[Refused]) -> IntakeError {
    if let Some(why) = headless(path) {
        return IntakeError::damaged(path, why);
    }
    let kind = kind(path);
    let dng = kind.starts_with("a DNG");
    let scan = !dng && std::fs::read(path).is_ok_and(|file| dng::is_scan(&file));
    let told = |error: IntakeError| match said.iter().find_map(Refused::words) {
        Some(words) => error.with_detail(words),
        None => error,
    };
    if let Some(why) = said.iter().find_map(|r| if let Refused::Unsound(why) = r { Some(*why) } else { None }) {
        return told(IntakeError::damaged(path, format!("it is {kind}, but {why}")));
    }
    let problem = match said.first() {
        Some(Refused::Broken(why)) if dng => return IntakeError::damaged(path, format!("it is {kind}, and {why}")),
        Some(Refused::Unknown(what)) if dng => format!("it is {kind} that holds {what}, which is not read here"),
        Some(_) if said.iter().all(|r| matches!(r, Refused::Broken(_))) => {
            return told(IntakeError::damaged(path, format!("it is {kind}, whose data are damaged or cut off")));
        }
        _ if scan => format!("it is {kind} of a film scanner, whose pixels are not read here"),
        _ => format!("it is {kind}{}, whose pixels are not read here", camera(path)),
    };
    let advice = if scan {
        "Save it from the scanner's program as TIFF with 16 bits a colour, and audit that."
    } else if dng {
        "Develop it in a raw converter, save that as TIFF at full size, and audit it."
    } else {
        "Convert it to DNG or TIFF at full size with the maker's own or another converter, or audit the JPEG that the \
         camera saved beside it."
    };
    told(IntakeError::new(path, IntakeErrorKind::Unsupported, problem, advice))
}
