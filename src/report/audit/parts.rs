//! What a page of many frames does not hold itself, in parts beside it, each a script that the page asks for when it comes into
//! sight; a page opened from disk may load a script but not read a file.

use serde::Serialize;

use super::cards::{Card, Shared, cards};
use super::data;
use super::pictures::Links;
use super::scenes::{Scene, scenes};
use super::template::{PART, environment, held, held_scenes};
use super::view::View;
use crate::report::say::engine::rendered;

/// Values of the template of one card, and of one scene.
#[derive(Serialize)]
struct OfCard {
    f: Card,
}

#[derive(Serialize)]
struct OfScene {
    g: Scene,
}

/// The files of the parts: paths relative to the page, and bytes. None where the page holds everything.
pub fn parts<'a>(view: &'a View, links: &'a [Links]) -> impl Iterator<Item = (String, Vec<u8>)> + 'a {
    let (frames, groups) = (view.frames.len(), view.groups.len());
    let frames = if held(frames) < frames { frames } else { 0 };
    let groups = if frames > 0 && held_scenes(groups) < groups { groups } else { 0 };
    let environment = environment();
    let scenery = environment.clone();
    let shared = Shared::of(view);
    let folder = view.folder();
    let range = |part: usize, all: usize| part * PART..all.min((part + 1) * PART);
    let of_frames = (0..frames.div_ceil(PART)).map(move |part| {
        let which = range(part, frames);
        let made = cards(view, links, &shared, which.clone()).into_iter();
        let made: Vec<String> = made.map(|f| rendered(&environment, "card.html", &OfCard { f })).collect();
        file("cards", part, &format!("{},{}", data::records(view, links, which), json(&made)))
    });
    let of_scenes = (0..groups.div_ceil(PART)).map(move |part| {
        let made = scenes(view, folder, range(part, groups)).into_iter();
        let made: Vec<String> = made.map(|g| rendered(&scenery, "scene.html", &OfScene { g })).collect();
        file("scenes", part, &json(&made))
    });
    of_frames.chain(of_scenes)
}

fn json(made: &[String]) -> String {
    serde_json::to_string(made).unwrap_or_else(|_| "[]".into())
}

/// Calls `tussockCards` or `tussockScenes` with the number of the part and what it holds.
fn file(kind: &str, part: usize, values: &str) -> (String, Vec<u8>) {
    let call = format!("tussock{}{}({part},", kind[..1].to_uppercase(), &kind[1..]);
    (format!("pictures/{kind}-{:04}.js", part + 1), (call + &data::script_safe(values) + ");\n").into_bytes())
}
