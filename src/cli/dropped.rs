//! Folders dropped on the program, or opened with it, as a command line.

use std::ffi::OsString;
use std::path::Path;

use clap::CommandFactory as _;

use crate::quantity::shown;

/// The line as meant: where it holds nothing but paths of what is there, as when a folder is dropped on the program's icon,
/// they are audited and the report is opened; any other line stays as it was typed.
pub(super) fn as_meant(line: Vec<OsString>) -> Vec<OsString> {
    let paths = line.get(1..).unwrap_or_default();
    let command = |word: &OsString| super::Line::command().get_subcommands().any(|c| *c.get_name() == **word);
    let dropped = paths.first().is_some_and(|first| !command(first)) && paths.iter().all(|p| Path::new(p).exists());
    if !dropped {
        return line;
    }
    let head = line.iter().take(1).cloned();
    head.chain(["audit", "--open", "--"].map(OsString::from)).chain(paths.iter().cloned()).collect()
}

/// What to say of a line that names no command but what looks like a path; `None` where it is a mistyped command, if anything.
pub(super) fn strayed(line: &[OsString]) -> Option<String> {
    let first = Path::new(line.get(1)?);
    let looks = first.components().count() > 1 || first.extension().is_some() || first.exists();
    if !looks || first.to_string_lossy().starts_with('-') {
        return None;
    }
    let paths = line[1..].iter().map(Path::new).filter(|p| !p.to_string_lossy().starts_with('-'));
    let missing = paths.clone().find(|p| !p.exists());
    let what = missing.map_or_else(
        || format!("{}: put a command before it, as in `tussock audit {0}`", shown(first)),
        |path| format!("{}: there is no such file or folder", shown(path)),
    );
    Some(format!("{what}; `tussock --help` lists the commands"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dropped_folder_is_audited_and_opened_and_commands_stay_commands() {
        let folder = tempfile::tempdir().unwrap();
        let words = |words: &[&str]| words.iter().map(OsString::from).collect::<Vec<_>>();
        let path = folder.path().to_str().unwrap();
        assert_eq!(as_meant(words(&["tussock", path])), words(&["tussock", "audit", "--open", "--", path]));
        for line in
            [&["tussock"][..], &["tussock", "audit", path], &["tussock", "no such place"], &["tussock", "--help"]]
        {
            assert_eq!(as_meant(words(line)), words(line));
        }
    }

    #[test]
    fn what_looks_like_a_path_is_no_mistyped_command() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().to_str().unwrap();
        let said = |line: &[&str]| strayed(&line.iter().map(OsString::from).collect::<Vec<_>>()).unwrap_or_default();
        for line in [
            &["tussock", "./nothere.jpg"][..],
            &["tussock", "nothere.jpg", "--open"],
            &["tussock", path, "nothere.jpg"],
        ] {
            assert!(said(line).contains("nothere.jpg: there is no such file or folder"), "{}", said(line));
        }
        assert!(said(&["tussock", path, "--open"]).contains(&format!("tussock audit {path}")));
        for line in [&["tussock"][..], &["tussock", "adit"], &["tussock", "--hepl"]] {
            assert_eq!(said(line), "");
        }
    }
}
