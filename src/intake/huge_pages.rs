//! Memory for whole pictures, asked for in large pages: a picture touches every one of thousands of small ones once, and
//! the system clears and maps each by itself.

use std::path::Path;

use super::IntakeError;

/// Memory for a picture, all zeros; an error where there is none.
pub(super) fn zeros<T: Clone + Default>(count: usize, path: &Path) -> Result<Vec<T>, IntakeError> {
    let mut memory = room(count).ok_or_else(|| too_little(path))?;
    memory.resize(count, T::default());
    Ok(memory)
}

/// Room for a picture that is filled from its beginning on, so that nothing need be written there before; `None` where there is none.
pub(super) fn room<T>(count: usize) -> Option<Vec<T>> {
    let mut memory = Vec::new();
    memory.try_reserve_exact(count).ok()?;
    in_large_pages(&mut memory);
    Some(memory)
}

/// That there is not enough memory for a file.
pub(super) fn too_little(path: &Path) -> IntakeError {
    IntakeError::too_much(path, "there is not enough memory for it")
}

/// Asks for large pages under a vector's memory; a refusal changes nothing. Best called before the memory is written.
#[cfg(target_os = "linux")]
#[allow(unsafe_code)] // No safe binding exists; the advice can't change what is in the memory.
pub(super) fn in_large_pages<T>(memory: &mut Vec<T>) {
    const LARGE: usize = 2 << 20;
    let start = memory.as_mut_ptr().addr();
    let end = start + memory.capacity() * size_of::<T>();
    let (from, to) = (start.next_multiple_of(LARGE), end / LARGE * LARGE);
    if from < to {
        let address = memory.as_mut_ptr().cast::<libc::c_void>().with_addr(from);
        // SAFETY: whole pages inside one allocation of ours; the advice leaves what is in them as it is.
        unsafe { libc::madvise(address, to - from, libc::MADV_HUGEPAGE) };
    }
}

#[cfg(not(target_os = "linux"))]
pub(super) const fn in_large_pages<T>(_memory: &mut Vec<T>) {}
