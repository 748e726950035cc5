//! What can be said of a file before it is read: the memory it will need.

use std::path::Path;

use super::rendered::MAX_PIXELS;
use super::{IntakeError, Overrides, facts};

/// Bytes that reading and measuring a file will need at most, as far as its head tells.
///
/// The plane takes 2 bytes a pixel and a decoder's own buffers, the colour picture for the report among
/// them, up to 6 more; where no size is recorded, a pixel is taken to cost at least a tenth of a byte on disk.
pub(crate) fn memory_needed(path: &Path) -> u64 {
    let on_disk = path.metadata().map_or(0, |m| m.len());
    let pixels = match facts(path, &Overrides::default()).ok().and_then(|f| f.size) {
        Some((width, height)) => u64::from(width) * u64::from(height),
        None => on_disk.saturating_mul(10),
    };
    // A size that no sensor has is a damaged head, and must not stop the queue.
    on_disk + pixels.min(2_000_000_000) * 8
}

/// Bytes that a file needs at the least by its own account: its plane, and the colours that a decoder of another kind
/// than JPEG holds beside it. Never more than is surely needed, since a file beyond what is allowed is refused.
///
/// # Errors
/// Where it claims more pixels than a photograph may have.
pub(super) fn least_memory(path: &Path) -> Result<u64, IntakeError> {
    let on_disk = path.metadata().map_or(0, |m| m.len());
    let Some((width, height)) = facts(path, &Overrides::default()).ok().and_then(|f| f.size) else {
        return Ok(on_disk);
    };
    if u64::from(width) * u64::from(height) > MAX_PIXELS as u64 {
        return Err(IntakeError::too_much(path, format!("it claims {width} x {height} pixels")));
    }
    let a_pixel = if matches!(super::open(path), Ok((_, super::Kind::Jpeg | super::Kind::Raw(_)))) { 2 } else { 3 };
    Ok(on_disk + u64::from(width) * u64::from(height) * a_pixel)
}
