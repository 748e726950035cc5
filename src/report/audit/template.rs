//! The template of the page, and how much of a large shoot is in the page itself.

use minijinja::Environment;
use minijinja::syntax::SyntaxConfig;

use crate::report::say::engine::strict;

const TEMPLATES: [(&str, &str); 3] = [
    ("page.html", include_str!("page/page.html")),
    ("card.html", include_str!("page/card.html")),
    ("scene.html", include_str!("page/scene.html")),
];
/// Up to this many frames have their cards in the page, which then is whole without script; of more, the first few.
const WHOLE: usize = 300;
const FIRST: usize = 100;
/// Cards, or scenes, of one part beside the page.
pub(super) const PART: usize = 25;
/// Up to this many scenes are in the page; of more, the first few.
const WHOLE_SCENES: usize = 100;
const FIRST_SCENES: usize = 10;

/// Frames whose tiles and charts share a file. One looks from frame to frame, so that what comes along is soon wanted; and a
/// frame has no more than three files.
pub(super) const TOGETHER: usize = 4;

/// How many of so many frames have their cards in the page.
pub(super) const fn held(frames: usize) -> usize {
    if frames <= WHOLE { frames } else { FIRST }
}

/// How many of so many scenes are in the page.
pub(super) const fn held_scenes(scenes: usize) -> usize {
    if scenes <= WHOLE_SCENES { scenes } else { FIRST_SCENES }
}

/// The engine with the templates of the audit's page.
pub(super) fn environment() -> Environment<'static> {
    let mut environment = strict();
    if let Ok(syntax) = SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build() {
        environment.set_syntax(syntax);
    }
    for (name, text) in TEMPLATES {
        // Indentation is for whoever edits the template; a thousand times over it is a megabyte.
        let text: String = text.lines().flat_map(|line| [line.trim_start(), "\n"]).collect();
        // The templates are compiled in; the tests see that each is sound.
        let _ = environment.add_template_owned(name, text);
    }
    environment
}
