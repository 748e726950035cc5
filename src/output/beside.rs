//! Files beside the user's own: written whole next to their place, then renamed, and never over what changed meanwhile.

use std::fs::{self, Permissions};
use std::io::{self, Write as _};
use std::path::Path;

use anyhow::{Context as _, bail};

use super::folder::UNFINISHED;
use crate::quantity::shown;

/// Puts a file in place beside a photograph: over the file that held `was`, or where there was none. It gets the
/// permissions of the old file, else may be read by whoever may read the photograph.
///
/// # Errors
/// In words, where another file is there by now, or the folder can't be written.
pub(crate) fn put(path: &Path, was: Option<&[u8]>, bytes: &[u8], photograph: &Path) -> anyhow::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    super::sweep(folder);
    let cannot = || format!("cannot write beside {}", shown(photograph));
    let mut file = tempfile::Builder::new().prefix(UNFINISHED).tempfile_in(folder).with_context(cannot)?;
    file.write_all(bytes).with_context(cannot)?;
    let like = if was.is_some() { path } else { photograph };
    if let Ok(facts) = fs::metadata(like) {
        // What a system refuses here, such as a card without permissions, is no harm.
        let _ = file.as_file().set_permissions(permissions(&facts, was.is_some()));
        #[cfg(unix)]
        {
            use std::os::unix::fs::MetadataExt as _;
            let _ = std::os::unix::fs::fchown(file.as_file(), None, Some(facts.gid()));
        }
    }
    file.as_file().sync_all().with_context(cannot)?;
    match was {
        Some(was) => {
            let now = fs::symlink_metadata(path).ok().filter(fs::Metadata::is_file).and_then(|_| fs::read(path).ok());
            if now.as_deref() != Some(was) {
                bail!("{} was changed by another program meanwhile, and is left alone", shown(path));
            }
            file.persist(path).map_err(|e| e.error).with_context(cannot)?;
        }
        None => match file.persist_noclobber(path) {
            Ok(_) => {}
            Err(e) if e.error.kind() == io::ErrorKind::AlreadyExists => {
                bail!("{} has come into being meanwhile, and is left alone", shown(path))
            }
            Err(e) if fs::symlink_metadata(path).is_err() => {
                // A file system that can't refuse to replace, such as a camera's card, where nothing is to be replaced.
                e.file.persist(path).map_err(|e| e.error).with_context(cannot)?;
            }
            Err(e) => return Err(e.error).with_context(cannot),
        },
    }
    Ok(())
}

#[cfg(unix)]
fn permissions(like: &fs::Metadata, same: bool) -> Permissions {
    use std::os::unix::fs::PermissionsExt as _;
    let mode = like.permissions().mode();
    Permissions::from_mode(if same { mode } else { mode & 0o666 | 0o600 })
}

#[cfg(not(unix))]
fn permissions(like: &fs::Metadata, _same: bool) -> Permissions {
    like.permissions()
}
