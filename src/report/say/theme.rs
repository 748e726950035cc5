//! Light or dark pages whatever the reader's system prefers.

/// Colours of a page.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Theme {
    /// As the reader's system prefers.
    #[default]
    Auto,
    /// Dark words on a light ground.
    Light,
    /// Light words on a dark ground.
    Dark,
}

/// A page, or a script with drawings in it, that asks the reader's system what it prefers, made to take one theme instead.
pub(crate) fn themed(page: String, theme: Theme) -> String {
    let (query, scheme) = match theme {
        Theme::Auto => return page,
        Theme::Light => ("not all", "light"),
        Theme::Dark => ("all", "dark"),
    };
    page.replace("@media (prefers-color-scheme: dark)", &format!("@media {query}"))
        .replace("@media(prefers-color-scheme:dark)", &format!("@media {query}"))
        .replace("color-scheme: light dark", &format!("color-scheme: {scheme}"))
        .replace("content=\"light dark\"", &format!("content=\"{scheme}\""))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{Run, html, view};

    #[test]
    fn a_themed_page_no_longer_asks_the_system() {
        let page = html(&view(&Run::default()), &[]);
        assert!(page.contains("prefers-color-scheme"), "the page knows two themes");
        for theme in [Theme::Light, Theme::Dark] {
            let made = themed(page.clone(), theme);
            let styles: Vec<&str> = made.split("<script").step_by(1).filter(|p| p.contains("@media")).collect();
            assert!(!styles.concat().contains("@media (prefers-color-scheme"), "{theme:?}");
            assert!(!made.contains("content=\"light dark\""));
        }
        assert_eq!(themed(page.clone(), Theme::Auto), page);
    }
}
