//! Names and words made plain, so that what is shown is what is there.

use std::path::Path;

/// A name made plain for a page or a terminal: control characters, direction marks and other invisible
/// characters are spelt out, so that what is shown is what is there.
#[must_use]
pub fn plain(name: &str) -> String {
    let mut out = String::with_capacity(name.len());
    for c in name.chars() {
        if c.is_control() || invisible(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push(c);
        }
    }
    out
}

/// Characters that change how others are shown, or are not shown themselves (Unicode general categories
/// Cf, Zl and Zp as far as they occur in names).
#[must_use]
pub const fn invisible(c: char) -> bool {
    matches!(
        c as u32,
        0xAD | 0x61C
            | 0x180E
            | 0x200B..=0x200F
            | 0x2028..=0x202E
            | 0x2060..=0x206F
            | 0xFEFF
            | 0xFFF9..=0xFFFB
            | 0xE0000..=0xE007F
    )
}

/// A path made plain.
#[must_use]
pub fn shown(path: &Path) -> String {
    plain(&path.to_string_lossy())
}
