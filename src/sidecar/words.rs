//! A frame of a report to what its sidecar should say.

use super::Wanted;
use crate::diagnose::Cause;
use crate::quantity::Distance;
use crate::report::{FrameView, ZoneView, word};

/// What the sidecar of a frame should say, apart from a rating. `sharp_for`: the use it was judged for, as asked;
/// `best`: whether it is the one to keep of its scene.
///
/// Keywords are `sharp-throughout`, `not-sharp-throughout` or `sharpness-unknown`, then the cause by its word with hyphens
/// (`focus-too-far`), `cause-not-sure` where that is not firm, `corners-soft`, and `best-of-scene`.
#[must_use]
pub fn wanted(frame: &FrameView, sharp_for: &str, best: bool) -> Wanted {
    Wanted { keywords: keywords(frame, best), properties: properties(frame, sharp_for, best), rating: None }
}

fn keywords(frame: &FrameView, best: bool) -> Vec<String> {
    let answer = match frame.sharp.throughout {
        Some(true) => "sharp-throughout",
        Some(false) => "not-sharp-throughout",
        None => "sharpness-unknown",
    };
    let mut out = vec![answer.to_owned()];
    let verdict = &frame.verdict;
    if verdict.cause != Cause::SharpThroughout {
        out.push(verdict.cause.word().replace(' ', "-"));
        if verdict.cause != Cause::CannotTell && !verdict.is_firm() {
            out.push("cause-not-sure".into());
        }
    }
    if !frame.corners.soft.is_empty() {
        out.push("corners-soft".into());
    }
    if best {
        out.push("best-of-scene".into());
    }
    out
}

fn properties(frame: &FrameView, sharp_for: &str, best: bool) -> Vec<(&'static str, String)> {
    let mut out: Vec<(&'static str, String)> = Vec::new();
    let mut put = |name, value: Option<String>| out.extend(value.filter(|v| !v.is_empty()).map(|v| (name, v)));
    let number = |value: Option<f64>| value.map(|v| v.to_string());
    let metres = |value: Option<Distance>| {
        value.map(|d| match d {
            Distance::Finite(m) => m.to_string(),
            Distance::Infinite => "inf".to_owned(),
            Distance::Interval { .. } => format!("{:.3}", d.middle()),
        })
    };
    let (sharp, zones, implied) = (&frame.sharp, &frame.zones, &frame.implied);
    put("program", Some(concat!("tussock ", env!("CARGO_PKG_VERSION")).into()));
    put("sharpFor", Some(sharp_for.to_owned()));
    put("sharpThroughout", sharp.throughout.map(|t| if t { "True" } else { "False" }.to_owned()));
    let measured: [(_, _, _, _, &ZoneView); 7] = [
        ("near", "nearOpticalPx", "nearOpticalPxSd", word(&sharp.near), &zones.near),
        ("far", "farOpticalPx", "farOpticalPxSd", word(&sharp.far), &zones.far),
        ("centre", "centreOpticalPx", "centreOpticalPxSd", word(&sharp.centre), &zones.centre),
        ("topLeft", "topLeftOpticalPx", "topLeftOpticalPxSd", word(&sharp.top_left), &zones.top_left),
        ("topRight", "topRightOpticalPx", "topRightOpticalPxSd", word(&sharp.top_right), &zones.top_right),
        ("bottomLeft", "bottomLeftOpticalPx", "bottomLeftOpticalPxSd", word(&sharp.bottom_left), &zones.bottom_left),
        (
            "bottomRight",
            "bottomRightOpticalPx",
            "bottomRightOpticalPxSd",
            word(&sharp.bottom_right),
            &zones.bottom_right,
        ),
    ];
    for (name, value, sd, answer, zone) in measured {
        put(name, Some(answer));
        put(value, number(zone.optical_px));
        put(sd, number(zone.optical_px_sd));
    }
    put("permittedOpticalPx", number(frame.permitted.blur_px));
    put("cause", Some(word(&frame.verdict.cause)));
    put("confidence", number(Some(frame.verdict.confidence)));
    put("sentence", Some(frame.verdict.sentence.clone()));
    put("advice", Some(frame.verdict.advice.clone()));
    put("corners", Some(word(&frame.corners.state)));
    if let Some(focus) = &implied.focus_m {
        put("impliedFocusM", metres(Some(focus.value)));
        put("impliedFocusLowM", metres(Some(focus.low)));
        put("impliedFocusHighM", metres(Some(focus.high)));
    }
    put("rightFocusM", metres(implied.right_focus_m));
    put("bestFNumber", number(implied.best_f_number));
    put("flags", Some(frame.flags.iter().map(word).collect::<Vec<_>>().join(" ")));
    put("bestOfScene", best.then(|| "True".to_owned()));
    out
}
