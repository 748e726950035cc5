//! Bytes to a path: to a temporary name in the same folder first, then renamed; never over a photograph.

pub mod store;

use std::io::Write as _;
use std::path::Path;

use anyhow::{Context as _, bail};

use crate::intake::looks_like_photograph;

/// Writes `bytes` to `path` whole or not at all.
///
/// Pictures may be written only with an explicit promise (`picture`) that the path is the tool's own, so
/// that no original is ever replaced.
///
/// # Errors
/// Where the folder can't be made or written, or the path is that of a photograph.
pub fn write(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    if looks_like_photograph(path) && path.exists() {
        bail!("{} looks like a photograph and is not written over", path.display());
    }
    replace(path, bytes)
}

/// Writes one of the report's own pictures, replacing an earlier one.
///
/// # Errors
/// Where the folder can't be made or written.
pub fn replace(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder).with_context(|| format!("cannot make the folder {}", folder.display()))?;
    let mut file = tempfile::Builder::new()
        .prefix(".tussock-")
        .tempfile_in(folder)
        .with_context(|| format!("cannot write into {}", folder.display()))?;
    file.write_all(bytes).with_context(|| format!("cannot write {}", path.display()))?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // Temporary files are private by default; the report is for reading.
        file.as_file().set_permissions(std::fs::Permissions::from_mode(0o644))?;
    }
    file.persist(path).with_context(|| format!("cannot put {} in place", path.display()))?;
    Ok(())
}

/// Prints to standard output; a closed pipe ends the program quietly, as a reader such as `head` expects.
pub fn print(text: &str) {
    let mut out = std::io::stdout().lock();
    if out.write_all(text.as_bytes()).and_then(|()| out.flush()).is_err() {
        std::process::exit(0);
    }
}

/// Says something to the person on standard error.
pub fn say(text: &str) {
    // Nothing can be done about a closed standard error.
    let _ = writeln!(std::io::stderr().lock(), "{text}");
}

/// Columns of the terminal; 100 where standard output is none.
#[must_use]
pub fn columns() -> usize {
    terminal_size::terminal_size().map_or(100, |(width, _)| usize::from(width.0))
}
