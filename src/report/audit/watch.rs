//! A frame at a glance, for reading in the field: one line on it, one against the frame before, and a page of large words.

use schemars::JsonSchema;
use serde::Serialize;

use super::text::{doubtful, next};
use super::view::{FrameView, ZoneView};
use crate::diagnose::Cause;
use crate::judge::Judgement;
use crate::quantity::Units;
use crate::report::say::camera::distance;
use crate::report::say::number::plain;

/// One line of what `tussock watch --json` prints: a frame that came in.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct WatchView {
    /// Always `tussock.watch`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// The file.
    pub path: String,
    /// Whether it is sharp from near to far; null where that can't be told.
    pub sharp_throughout: Option<bool>,
    /// Why it is as it is.
    pub cause: Cause,
    /// The same in a few words.
    pub line: String,
    /// Against the last frame of the same scene; null where there is none.
    pub compared: Option<ComparedView>,
}

/// A frame against an earlier one of the same scene.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ComparedView {
    /// The earlier frame's file.
    pub with: String,
    /// Near, against that one.
    pub near: Change,
    /// Far, against that one.
    pub far: Change,
    /// The same in a few words.
    pub line: String,
}

impl ComparedView {
    /// The line, said of the frame before.
    #[must_use]
    pub(crate) fn than_before(&self) -> String {
        match (self.near, self.far) {
            (Change::Unknown, Change::Unknown) => format!("{} with the frame before", self.line),
            (Change::Same, Change::Same) => format!("{} as before", self.line),
            _ => format!("{} than before", self.line),
        }
    }
}

/// How an end of a frame stands against that of another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// Its blur is less, by more than the error of the two.
    Sharper,
    /// The two are the same within that error.
    Same,
    /// Its blur is more.
    Softer,
    /// One of the two has no number.
    Unknown,
}

impl Change {
    const fn word(self) -> &'static str {
        match self {
            Self::Sharper => "sharper",
            Self::Same => "same",
            Self::Softer => "softer",
            Self::Unknown => "unknown",
        }
    }
}

/// A frame at a glance.
pub(crate) fn glance(frame: &FrameView, units: Units, before: Option<&FrameView>) -> WatchView {
    WatchView {
        format: "tussock.watch",
        version: 1,
        path: frame.file.clone(),
        sharp_throughout: frame.sharp.throughout,
        cause: frame.verdict.cause,
        line: line(frame, units),
        compared: before.map(|b| compared(frame, b)),
    }
}

/// "near soft 1.4x: focus at 3.1 m": how far each soft end is beyond the permitted blur, then what to do.
fn line(f: &FrameView, units: Units) -> String {
    let soft = |name: &str, z: &ZoneView| {
        (z.answer.judgement == Judgement::Beyond).then(|| {
            let ratio = z.optical_px.zip(f.permitted.blur_px).map(|(blur, permitted)| blur / permitted);
            ratio.map_or_else(|| format!("{name} soft"), |r| format!("{name} soft {r:.1}x"))
        })
    };
    let ends: Vec<String> = [soft("near", &f.zones.near), soft("far", &f.zones.far)].into_iter().flatten().collect();
    match f.sharp.throughout {
        Some(true) => {
            let focus = f.implied.focus_m.as_ref().map(|d| format!(", focus {}", distance(d.value.middle(), units)));
            // As in sentence and table, what is not firm is called probable.
            let sharp = f.verdict.cause == Cause::SharpThroughout;
            let probably = if sharp && doubtful(f) { "probably " } else { "" };
            format!("{probably}sharp near and far{}", focus.unwrap_or_default())
        }
        Some(false) => {
            let todo = match f.verdict.cause {
                // What it says beside these two is the ends again.
                Cause::CannotTell => "cause unknown".into(),
                _ => next(f, units),
            };
            format!("{}: {todo}", ends.join(", "))
        }
        None => format!("can't tell, {}", next(f, units)),
    }
}

/// How many standard deviations of a difference make it one.
const SURE_SD: f64 = 2.0;

fn compared(now: &FrameView, before: &FrameView) -> ComparedView {
    let change = |now: &ZoneView, before: &ZoneView| {
        let width = |z: &ZoneView| z.optical_px.zip(z.optical_px_sd);
        match (width(now), width(before)) {
            (Some((a, a_sd)), Some((b, b_sd))) => {
                let room = SURE_SD * a_sd.hypot(b_sd);
                match a - b {
                    d if d < -room => Change::Sharper,
                    d if d > room => Change::Softer,
                    _ => Change::Same,
                }
            }
            _ => Change::Unknown,
        }
    };
    let near = change(&now.zones.near, &before.zones.near);
    let far = change(&now.zones.far, &before.zones.far);
    let line = match (near, far) {
        (Change::Unknown, Change::Unknown) => "not comparable".into(),
        (a, b) if a == b => format!("{} near and far", a.word()),
        (a, b) => format!("{} near, {} far", a.word(), b.word()),
    };
    ComparedView { with: before.file.clone(), near, far, line }
}

/// A page that looks for itself again every other second: the last frame in large words, those before it in small ones.
/// `last`: newest first; `seen`: how many frames came in all.
pub(crate) fn watch_page(last: &[WatchView], seen: usize, problem: Option<&str>) -> String {
    let mut body = String::new();
    match last.first() {
        None => body.push_str("<p class=big>waiting for the first frame</p>\n"),
        Some(frame) => {
            body.push_str(&format!(
                "<p class=name>{}</p>\n<p class=big>{}</p>\n",
                name(&frame.path),
                html(&frame.line)
            ));
            if let Some(c) = &frame.compared {
                body.push_str(&format!("<p class=mid>{}</p>\n<p>against {}</p>\n", html(&c.line), name(&c.with)));
            }
        }
    }
    if let Some(problem) = problem {
        body.push_str(&format!("<p class=mid>{}</p>\n", html(problem)));
    }
    if last.len() > 1 {
        body.push_str("<table>\n");
        for f in &last[1..] {
            body.push_str(&format!("<tr><td>{}</td><td>{}</td></tr>\n", name(&f.path), html(&f.line)));
        }
        body.push_str("</table>\n");
    }
    format!(
        "<!doctype html>\n<html lang=en>\n<meta charset=utf-8>\n<meta name=viewport content=\"width=device-width\">\n\
         <meta http-equiv=refresh content=2>\n<title>Frames as they come in</title>\n<style>\n\
         body {{ font: 1.2rem/1.3 sans-serif; margin: 1rem; background: #fff; color: #000 }}\n\
         p {{ margin: .3em 0 }} .name {{ font-size: 5vmin }} .big {{ font-size: 14vmin; font-weight: 700; line-height: 1.1 }}\n\
         .mid {{ font-size: 7vmin; font-weight: 700 }} td {{ padding: .2em 1.5em .2em 0; vertical-align: top }}\n\
         </style>\n{body}<p>{seen} frames so far</p>\n</html>\n"
    )
}

/// A page that leads to the report once it is there.
pub(crate) fn watch_over() -> String {
    "<!doctype html>\n<html lang=en>\n<meta charset=utf-8>\n<meta http-equiv=refresh content=\"0; url=index.html\">\n\
     <title>The report</title>\n<p><a href=\"index.html\">The report</a></p>\n</html>\n"
        .into()
}

fn name(path: &str) -> String {
    html(&plain(path.rsplit(['/', '\\']).next().unwrap_or(path)))
}

fn html(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
