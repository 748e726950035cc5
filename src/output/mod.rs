//! Bytes to a path, never over what is not ours, and words to the terminal.

pub(crate) mod beside;
pub(crate) mod folder;
mod ledger;
mod open;
mod record;
pub mod scratch;
pub mod store;
mod tables;

use std::borrow::Cow;
use std::io::{self, IsTerminal as _, Read as _, Write as _};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant, SystemTime};

use anyhow::{Context as _, bail};
use serde::Serialize;

pub(crate) use crate::intake::guard;
use crate::intake::{IntakeError, is_picture};
use crate::quantity::{plain, plain_json, shown};
use crate::report::FailureView;
use folder::UNFINISHED;
pub(crate) use open::open;

/// Writes `bytes` to a file that the user named, whole or not at all.
///
/// What is there already stays unless `overwrite` says otherwise, and a picture stays whatever is said.
///
/// # Errors
/// Where the folder can't be made or written, or something stands in the way.
pub(crate) fn write(path: &Path, bytes: &[u8], overwrite: bool) -> anyhow::Result<()> {
    if let Ok(found) = path.symlink_metadata() {
        let shown = shown(path);
        if !found.is_file() {
            bail!("{shown} is not a file of its own and is not written over; name another");
        }
        if is_picture(path) {
            bail!("{shown} is a picture and is never written over; name another file");
        }
        if !overwrite {
            bail!("{shown} is there already; name another file, or give --overwrite");
        }
    }
    replace(path, bytes)
}

/// Writes a file of our own, replacing an earlier one.
///
/// # Errors
/// Where the folder can't be made or written.
pub fn replace(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder).with_context(|| format!("cannot make the folder {}", shown(folder)))?;
    sweep(folder);
    let mut file = tempfile::Builder::new()
        .prefix(UNFINISHED)
        .tempfile_in(folder)
        .with_context(|| format!("cannot write into {}", shown(folder)))?;
    file.write_all(bytes).with_context(|| format!("cannot write {}", shown(path)))?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // Temporary files are private by default; the report is for reading.
        file.as_file().set_permissions(std::fs::Permissions::from_mode(0o644))?;
    }
    file.persist(path).map_err(|e| e.error).with_context(|| format!("cannot put {} in place", shown(path)))?;
    Ok(())
}

/// How old a temporary file must be to be taken for one that a killed process left.
const STALE: Duration = Duration::from_secs(600);

/// Removes temporary files that a killed process left in a folder. What can't be removed is no harm.
fn sweep(folder: &Path) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name();
        let left = name.to_str().is_some_and(|n| n.starts_with(UNFINISHED));
        let facts = if left { entry.metadata().ok() } else { None };
        let old = |m: &std::fs::Metadata| SystemTime::now().duration_since(m.modified().ok()?).ok();
        if facts.is_some_and(|m| m.is_file() && old(&m).is_some_and(|age| age > STALE)) {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Text made harmless for a terminal: what would steer it is spelt out, line by line.
fn harmless(text: &str) -> Cow<'_, str> {
    let kept = |c: char| matches!(c, '\n' | '\t');
    if !text.chars().any(|c| !kept(c) && plain(c.encode_utf8(&mut [0; 4])).len() > c.len_utf8()) {
        return Cow::Borrowed(text);
    }
    Cow::Owned(
        text.split_inclusive(kept)
            .map(|part| {
                let end = part.trim_end_matches(kept).len();
                plain(&part[..end]) + &part[end..]
            })
            .collect(),
    )
}

/// Whether standard output takes no more, and whether that lost what somebody wanted to read.
static CLOSED: AtomicBool = AtomicBool::new(false);
static LOST: AtomicBool = AtomicBool::new(false);

/// Takes down that standard output refused what was printed: once, since nothing is printed from then on. A closed pipe is what a
/// reader such as `head` leaves when it has read enough, and no failure; anything else is said.
pub(crate) fn unprinted(error: &io::Error) {
    if !CLOSED.swap(true, Ordering::Relaxed) && error.kind() != io::ErrorKind::BrokenPipe {
        LOST.store(true, Ordering::Relaxed);
        say(&format!("tussock: cannot print: {}", reason(error)));
    }
}

/// Whether anything printed was lost for another reason than that nobody wanted to read on.
pub(crate) fn lost() -> bool {
    LOST.load(Ordering::Relaxed)
}

/// Prints to standard output; what becomes of it never ends the work that goes on beside it (see `unprinted`).
pub fn print(text: &str) {
    print_bytes(harmless(text).as_bytes());
}

/// Prints bytes for another program to read, as they are.
pub(crate) fn print_bytes(bytes: &[u8]) {
    if CLOSED.load(Ordering::Relaxed) {
        return;
    }
    let mut out = io::stdout().lock();
    if let Err(error) = out.write_all(bytes).and_then(|()| out.flush()) {
        unprinted(&error);
    }
}

/// Prints JSON: what would steer a terminal is spelt out as JSON does it, so that every value stays what it is.
pub(crate) fn print_json(json: &str) {
    print_bytes(plain_json(json).as_bytes());
}

/// Whether standard output is a terminal.
pub(crate) fn at_terminal() -> bool {
    io::stdout().is_terminal()
}

/// Prints lines of names: as they are for another program, made harmless for a terminal.
pub(crate) fn print_names(lines: &str) {
    if at_terminal() { print(lines) } else { print_bytes(lines.as_bytes()) }
}

/// Says something to the person on standard error.
pub(crate) fn say(text: &str) {
    // Nothing can be done about a closed standard error.
    let _ = writeln!(io::stderr().lock(), "{}", harmless(text));
}

/// What a refusal by the system means, as a clause.
pub(crate) fn reason(error: &io::Error) -> &'static str {
    match error.kind() {
        io::ErrorKind::NotFound => "there is no such file or folder",
        io::ErrorKind::PermissionDenied => "you are not allowed to",
        io::ErrorKind::AlreadyExists => "something of that name is there already",
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => "the disk is full",
        io::ErrorKind::ReadOnlyFilesystem => "it can only be read, not written",
        io::ErrorKind::NotADirectory => "a part of the path is no folder",
        io::ErrorKind::IsADirectory => "it is a folder",
        io::ErrorKind::InvalidData => "it is no text",
        io::ErrorKind::InvalidFilename => "the name is too long or has characters that can't be in a name",
        io::ErrorKind::OutOfMemory => "there is not enough memory",
        _ => "the disk or the system refused",
    }
}

/// An error as a person reads it: each part once, the system's in words.
pub(crate) fn in_words(error: &anyhow::Error) -> String {
    let mut parts: Vec<String> = Vec::new();
    for cause in error.chain() {
        let part = cause.downcast_ref::<io::Error>().map_or_else(|| cause.to_string(), |e| reason(e).to_owned());
        if parts.last().is_none_or(|last| !last.contains(&part)) {
            parts.push(part);
        }
    }
    parts.join(": ")
}

/// Whether what decoders and the system say in their own words is wanted.
static VERBOSE: AtomicBool = AtomicBool::new(false);

/// Whether notes and tables are unwanted.
static QUIET: AtomicBool = AtomicBool::new(false);

/// Leaves out notes, tables and progress from now on.
pub(crate) fn speak_little() {
    QUIET.store(true, Ordering::Relaxed);
}

/// Whether notes, tables and progress are unwanted.
pub(crate) fn is_quiet() -> bool {
    QUIET.load(Ordering::Relaxed)
}

/// Says something that isn't a failure on standard error, where notes are wanted.
pub(crate) fn note(text: &str) {
    if !is_quiet() {
        say(text);
    }
}

/// What is printed or written for scripts: indented JSON, with a line's end.
///
/// # Errors
/// None in practice: every view can be written.
pub(crate) fn json<T: Serialize + ?Sized>(view: &T) -> anyhow::Result<String> {
    Ok(serde_json::to_string_pretty(view).context("cannot write JSON")? + "\n")
}

/// Prints what a person reads beside the files that were asked for, where that is wanted.
pub(crate) fn tell(text: &str) {
    if !is_quiet() {
        print(text);
    }
}

/// Prints a file that was just written.
///
/// # Errors
/// Where it can't be read again.
pub(crate) fn print_file(path: &Path) -> anyhow::Result<()> {
    let cannot = || format!("cannot read {}", shown(path));
    let mut file = std::fs::File::open(path).with_context(cannot)?;
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece) {
            Ok(0) => return Ok(()),
            Ok(read) => print_bytes(&piece[..read]),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error).with_context(cannot),
        }
    }
}

/// Prints a line that is to be read from afar: set off by weight where a person watches and wants it.
pub(crate) fn print_large(text: &str) {
    let plain = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty()) || !at_terminal();
    if plain {
        return print(&format!("{text}\n"));
    }
    print_bytes(format!("\u{1b}[1m{}\u{1b}[0m\n", harmless(text)).as_bytes());
}

/// Rings the terminal's bell.
pub(crate) fn ring() {
    // Nothing can be done about a closed standard error.
    let _ = io::stderr().lock().write_all(b"\x07");
}

/// Does a piece of work, and says how long it took where that is wanted.
pub(crate) fn timed<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let start = Instant::now();
    let done = work();
    if VERBOSE.load(Ordering::Relaxed) {
        say(&format!("tussock: {what} took {:.2} s", start.elapsed().as_secs_f64()));
    }
    done
}

/// Adds to every failure, from now on, what a decoder or the system said of it.
pub(crate) fn speak_fully() {
    VERBOSE.store(true, Ordering::Relaxed);
}

/// What is said of a file that failed.
pub(crate) fn failed(error: &IntakeError) -> String {
    format!("tussock: {}", sentences(error))
}

/// The same of a failure as reports have it, with what stands in for the file.
pub(crate) fn failure(failed: &FailureView) -> String {
    let detail = in_its_own_words(failed.detail.as_deref());
    let stands =
        failed.stand_in.as_ref().map_or_else(String::new, |other| format!("; {} stands in for it", plain(other)));
    format!("tussock: {}: {}{stands}. {}{detail}", plain(&failed.file), plain(&failed.problem), failed.advice)
}

/// A file that failed as the end of a command that is about this file.
pub(crate) fn refused(error: IntakeError) -> anyhow::Error {
    anyhow::Error::msg(sentences(&error))
}

fn sentences(error: &IntakeError) -> String {
    format!("{error}. {}{}", error.advice, in_its_own_words(error.detail.as_deref()))
}

/// What a decoder or the system said of a failure, where that is wanted: to stand behind what is said of it here.
fn in_its_own_words(detail: Option<&str>) -> String {
    let wanted = detail.filter(|_| VERBOSE.load(Ordering::Relaxed));
    wanted.map_or_else(String::new, |words| format!(" [{}]", plain(words)))
}

/// What is said where `what` ("comparing frames") was given up by a fault of the program.
pub(crate) fn broke_down(what: &str, words: &str) -> String {
    let words = in_its_own_words(Some(words));
    format!("tussock: {what} failed by a fault of this program and is left out; please report it{words}")
}

/// Columns of the terminal; 100 where standard output is none.
pub(crate) fn columns() -> usize {
    terminal_size::terminal_size().map_or(100, |(width, _)| usize::from(width.0))
}
