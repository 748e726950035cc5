//! Keeps a panic to the piece of work it came from.

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use super::IntakeError;

/// Runs `work`; a panic is an error with the panic's own words.
///
/// Whatever `work` was changing when it panicked must not be used afterwards.
///
/// # Errors
/// Where `work` panicked.
pub(crate) fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    catch_unwind(AssertUnwindSafe(work)).map_err(|payload| words(payload.as_ref()))
}

/// What is done where the facts of a file are read, as [`IntakeError::fault`] says it.
pub(super) const FACTS: &str = "reading its facts";

/// Runs what is done with a file (`doing`: "reading it"); a panic is a failure of that file.
///
/// # Errors
/// Those of `work`, and [`IntakeError::fault`] where it panicked.
pub(super) fn file<T>(
    path: &Path,
    doing: &str,
    work: impl FnOnce() -> Result<T, IntakeError>,
) -> Result<T, IntakeError> {
    guarded(work).unwrap_or_else(|words| Err(IntakeError::fault(path, doing, &words)))
}

fn words(payload: &(dyn Any + Send)) -> String {
    let text = payload.downcast_ref::<&str>().map(|s| (*s).to_owned());
    text.or_else(|| payload.downcast_ref::<String>().cloned()).unwrap_or_else(|| "no words".into())
}

/// Keeps panics from writing to the terminal, since they are caught and told in words where they matter; whoever asks for
/// backtraces still gets them.
pub(crate) fn quiet() {
    if std::env::var_os("RUST_BACKTRACE").is_none() {
        std::panic::set_hook(Box::new(|_| {}));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::IntakeErrorKind;

    #[test]
    fn a_panic_becomes_its_words() {
        assert_eq!(guarded(|| 7), Ok(7));
        let number = 3;
        assert_eq!(guarded(|| -> u8 { panic!("no {number}") }), Err("no 3".into()));
        let failed = file(Path::new("moor.jpg"), FACTS, || -> Result<u8, IntakeError> { panic!("no {number}") });
        let failed = failed.unwrap_err();
        assert_eq!((failed.kind, failed.detail.as_deref()), (IntakeErrorKind::Fault, Some("no 3")));
        assert!(failed.problem.contains("reading its facts failed by a fault of this program"), "{failed}");
    }
}
