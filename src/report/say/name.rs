//! Names in sentences and lists: with a capital at the beginning, and without the folder that all share.

use super::number::plain;

/// A sentence with a capital at its beginning.
pub(in crate::report) fn capital(text: &str) -> String {
    if text.starts_with("f/") {
        // An f-number keeps its small letter.
        return text.to_owned();
    }
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// A text that stood at the head of a sentence as it stands within one.
pub(in crate::report) fn lower(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_lowercase().chain(chars).collect())
}

/// "a, b and c"; `None` of nothing.
pub(in crate::report) fn listed(names: &[&str]) -> Option<String> {
    let (last, rest) = names.split_last()?;
    Some(if rest.is_empty() { (*last).to_owned() } else { format!("{} and {last}", rest.join(", ")) })
}

/// The folder that all files lie in, with its closing separator, or nothing: what a list of names need not repeat.
pub(in crate::report) fn common_folder<'a>(files: impl Iterator<Item = &'a str>) -> &'a str {
    let separators = ['/', '\\'];
    files
        .map(|f| &f[..f.rfind(separators).map_or(0, |at| at + 1)])
        .reduce(|shared, folder| {
            let same = shared.bytes().zip(folder.bytes()).take_while(|(a, b)| a == b).count();
            // Back to a whole folder: half a name in common is nothing in common. Separators are single bytes,
            // so the cut never falls into a letter.
            let end = shared.as_bytes()[..same].iter().rposition(|b| separators.contains(&char::from(*b)));
            &shared[..end.map_or(0, |at| at + 1)]
        })
        .unwrap_or("")
}

/// A file's name without the folder that all share.
pub(in crate::report) fn short_name(file: &str, folder: &str) -> String {
    plain(file.strip_prefix(folder).filter(|rest| !rest.is_empty()).unwrap_or(file))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_common_folder_is_a_whole_folder() {
        let of = |files: &[&'static str]| common_folder(files.iter().copied());
        assert_eq!(of(&["moor/a.jpg", "moor/b.jpg"]), "moor/");
        assert_eq!(of(&["moor/east/a.jpg", "moor/eastern/b.jpg"]), "moor/");
        assert_eq!(of(&["/x/heide-\u{e4}/a.jpg", "/x/heide-\u{f6}/a.jpg"]), "/x/");
        assert_eq!(of(&["a.jpg", "moor/b.jpg"]), "");
        assert_eq!(of(&["moor/a.jpg"]), "moor/");
        assert_eq!(of(&[]), "");
    }
}
