//! Opening a report with the program that the system opens such files with.

use std::path::Path;
use std::process::{Command, Stdio};

/// Opens a file as a double click on it would; false where the system has no program for that, or none that starts.
pub(crate) fn open(file: &Path) -> bool {
    // A relative name could be taken for an option.
    let Ok(file) = std::path::absolute(file) else { return false };
    let opener = if cfg!(target_os = "macos") {
        "open"
    } else if cfg!(windows) {
        "explorer"
    } else {
        "xdg-open"
    };
    let quiet = Stdio::null;
    Command::new(opener).arg(file).stdin(quiet()).stdout(quiet()).stderr(quiet()).spawn().is_ok()
}
