//! Opening of files that somebody named: files alone, without ever waiting on a pipe or a device.

use std::fs::File;
use std::io::{BufReader, Read as _};
use std::path::Path;

use super::sniff::{self, Kind};
use super::{IntakeError, IntakeErrorKind};

/// Opens a file for reading.
///
/// # Errors
/// [`IntakeError`] where it can't be opened or is no file.
pub(crate) fn open_file(path: &Path) -> Result<File, IntakeError> {
    let io = |e: &std::io::Error| IntakeError::from_io(path, e);
    // Opening alone may set a device going, so what is there is looked at first, and once more when it is open.
    plain_file(path, &std::fs::metadata(path).map_err(|e| io(&e))?)?;
    let mut options = File::options();
    options.read(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt as _;
        options.custom_flags(libc::O_NONBLOCK);
    }
    let file = options.open(path).map_err(|e| io(&e))?;
    plain_file(path, &file.metadata().map_err(|e| io(&e))?)?;
    Ok(file)
}

fn plain_file(path: &Path, found: &std::fs::Metadata) -> Result<(), IntakeError> {
    if found.is_dir() {
        let advice = "Name the files in it, or give the folder itself to the audit.";
        return Err(IntakeError::new(path, IntakeErrorKind::Unreadable, "it is a folder", advice));
    }
    if found.is_file() { Ok(()) } else { Err(IntakeError::no_file(path)) }
}

/// Longest text that is read as one, bytes.
const MOST_TEXT: u64 = 16 << 20;

/// Reads a file of text.
///
/// # Errors
/// [`IntakeError`] where it can't be read or is no text.
pub(crate) fn read_text(path: &Path) -> Result<String, IntakeError> {
    let mut bytes = Vec::new();
    let file = open_file(path)?;
    file.take(MOST_TEXT + 1).read_to_end(&mut bytes).map_err(|e| IntakeError::from_io(path, &e))?;
    let text = if bytes.len() as u64 > MOST_TEXT { None } else { String::from_utf8(bytes).ok() };
    let advice = "Name a file that tussock wrote.";
    text.ok_or_else(|| IntakeError::new(path, IntakeErrorKind::Unsupported, "it is not a text file", advice))
}

/// Whether a file is a photograph or another picture by its content, or may be one, since it can't be looked at.
pub(crate) fn is_picture(path: &Path) -> bool {
    let Ok(file) = open_file(path) else { return path.is_file() };
    // The extension doesn't count here.
    match sniff::kind(&mut BufReader::new(file), Path::new("")) {
        Ok(Kind::Empty | Kind::Unknown | Kind::Document(_)) => false,
        Ok(_) | Err(_) => true,
    }
}
