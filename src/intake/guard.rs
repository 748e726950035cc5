//! Keeps a panic to the piece of work it came from.

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Runs `work`; a panic is an error with the panic's own words.
///
/// Whatever `work` was changing when it panicked must not be used afterwards.
///
/// # Errors
/// Where `work` panicked.
pub(crate) fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    catch_unwind(AssertUnwindSafe(work)).map_err(|payload| words(payload.as_ref()))
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

    #[test]
    fn a_panic_becomes_its_words() {
        assert_eq!(guarded(|| 7), Ok(7));
        let number = 3;
        assert_eq!(guarded(|| -> u8 { panic!("no {number}") }), Err("no 3".into()));
    }
}
