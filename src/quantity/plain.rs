//! Names and words made plain, so that what is shown is what is there.

use std::borrow::Cow;
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

/// JSON in which control and invisible characters are spelt out as JSON spells them, `\uXXXX` for each unit of UTF-16: the
/// values stay what they are, and nothing in them steers a terminal. Line ends between values stay.
#[must_use]
pub fn plain_json(json: &str) -> Cow<'_, str> {
    // JSON has its own escapes for control characters below the blank, and as text holds them between values only.
    let spelt = |c: char| c >= '\u{7f}' && c.is_control() || invisible(c);
    if !json.contains(spelt) {
        return Cow::Borrowed(json);
    }
    let mut out = String::with_capacity(json.len() + 16);
    for c in json.chars() {
        if spelt(c) { out.push_str(&json_escape(c)) } else { out.push(c) }
    }
    Cow::Owned(out)
}

/// A character as JSON and scripts escape it.
fn json_escape(c: char) -> String {
    c.encode_utf16(&mut [0; 2]).iter().map(|unit| format!("\\u{unit:04x}")).collect()
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_json_holds_the_same_values() {
        let values =
            ["fam\u{200d}ily", "\u{e0041}\u{9b}31m\u{7f}", "\u{202e}gpj\u{2028}", "a\nb\t\u{1}", "Fjällsjö 風"];
        let json = serde_json::to_string_pretty(&values).unwrap();
        let safe = plain_json(&json);
        assert_eq!(serde_json::from_str::<Vec<String>>(&safe).unwrap(), values);
        assert!(
            safe.contains("fam\\u200dily") && safe.contains("\\udb40\\udc41") && safe.contains("Fjällsjö 風"),
            "{safe}"
        );
        assert!(!safe.contains(|c: char| c != '\n' && plain(&c.to_string()) != c.to_string()), "{safe}");
    }
}
