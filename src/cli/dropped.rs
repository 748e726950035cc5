//! Folders dropped on the program, or opened with it, as a command line.

use std::ffi::OsString;
use std::path::Path;

use clap::CommandFactory as _;

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
}
