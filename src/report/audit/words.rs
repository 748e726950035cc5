//! Sentences for verdicts, advice and corners: pure functions from a diagnosis to words.
//!
//! Each sentence carries the numbers it rests on. Advice that moves a person carries a caution.

use super::line::Line;
use super::terms::{fixed_aperture, px};
use super::view::Words;
use super::{besides, corner, line, open, sides};
use crate::diagnose::{Cause, CornerState, Diagnosis, ImpliedDistance, Unsettled, ZoneName};
use crate::judge::{Judgement, ROOM};
use crate::optics::WAVELENGTH_UM;
use crate::optics::blur::{Parts, sigma_px};
use crate::optics::cover::USUAL_SMALLEST;
use crate::quantity::{Flag, Units};
use crate::report::say::camera;
use crate::report::say::caution::IN_SHORT;
use crate::report::say::name::capital;
use crate::shot::{Capture, Source};

/// What is said of a frame: the line, what it rests on, and the advice; `flags` are all of the frame.
pub(super) fn of(d: &Diagnosis, capture: &Capture, flags: &[Flag], units: Units) -> Words {
    let Line { text, cause } = line::line(d, capture);
    Words { line: text, cause, detail: detail(d, capture, flags, units), advice: advised(d, capture, flags, units) }
}

/// Whether the frame is sharp and why not, in one short line; then the numbers and what else is known.
#[must_use]
pub fn sentence(d: &Diagnosis, capture: &Capture, units: Units) -> String {
    of(d, capture, &d.flags, units).sentence()
}

/// What follows the line: the numbers it rests on, why in more words, what else has a part, and what the blur implies.
fn detail(d: &Diagnosis, capture: &Capture, flags: &[Flag], units: Units) -> String {
    let mut text = line::numbers(d);
    let told = d.verdict.cause != Cause::CannotTell;
    let said = why(d, capture, flags);
    let unsure = !d.verdict.is_firm();
    // Where the line itself says so, it is not said again.
    if said.is_none() && d.sharp_throughout() == Some(true) && unsure && !line::probably_sharp(d) {
        text.push_str(" That is probable, not sure.");
    }
    if let Some(said) = said {
        text.push_str(&format!(" {}.", capital(&said)));
    }
    if d.flags.contains(&Flag::LittleLight) {
        text.push(' ');
        text.push_str(little_light(flags));
    }
    for more in [besides::sentence(d), implied(d, capture, units).filter(|_| told)].into_iter().flatten() {
        text.push(' ');
        text.push_str(&more);
    }
    if told && d.flags.contains(&Flag::Sharpened) {
        text.push_str(" Edges were sharpened, so widths read small and \"sharp\" is less sure.");
    }
    text
}

/// What may have smoothed texture that gathered little light: what was done to the picture afterwards comes before the camera.
fn little_light(flags: &[Flag]) -> &'static str {
    if flags.contains(&Flag::Enlarged) {
        "The picture was enlarged, which leaves nothing fine in it; the pixels gathered little light too, so look at the \
         original at 1:1."
    } else if flags.contains(&Flag::Resized) {
        "The picture is smaller than the sensor recorded it, so it shows no fine texture at full size; the pixels gathered \
         little light too, so look at the original at 1:1."
    } else if flags.contains(&Flag::Processed) {
        "The file was rendered and its pixels gathered little light, so the camera or the editor may have smoothed fine \
         texture: look at it at 1:1."
    } else {
        "The pixels gathered little light, so the camera may have smoothed fine texture: look at it at 1:1."
    }
}

/// What makes the frame soft in more words than the line's, or why that can't be told; `None` where the line has said it.
fn why(d: &Diagnosis, capture: &Capture, flags: &[Flag]) -> Option<String> {
    Some(match d.verdict.cause {
        Cause::SharpThroughout => return corner::aside(d, flags),
        Cause::FocusTooFar | Cause::FocusTooNear => return None,
        Cause::TooLittleDepth => depth(d, capture),
        Cause::Diffraction => diffraction(d, capture),
        Cause::Motion => motion(d),
        Cause::LensAsymmetry => {
            format!(
                "{}, and the lie of the ground can't explain it: the lens looks decentred or tilted",
                sides::sides(d)
            )
        }
        Cause::LensSoftness => {
            let of =
                capture.f_number.as_ref().map_or_else(String::new, |n| format!(" at {}", camera::f_number(n.value)));
            format!("focus and depth are right; the softness is the lens's own{of}, or of the camera's processing")
        }
        Cause::Processing => {
            "the softness came after the lens: the picture was smoothed, enlarged or heavily compressed".into()
        }
        Cause::CannotTell => return open::why(d),
    })
}

/// Where focus lies if depth does not reach.
fn depth(d: &Diagnosis, capture: &Capture) -> String {
    if [ZoneName::Near, ZoneName::Far].iter().all(|&z| d.answer(z).judgement == Judgement::Beyond) {
        return "focus lies between near and far, and reaches neither".into();
    }
    let at = capture
        .f_number
        .as_ref()
        .map_or_else(|| "at this aperture".into(), |n| format!("at {}", camera::f_number(n.value)));
    format!("focus lies between near and far, and {at} no focus reaches both")
}

/// What to do next time, in one to three sentences.
#[must_use]
pub fn advice(d: &Diagnosis, capture: &Capture, units: Units) -> String {
    advised(d, capture, &d.flags, units)
}

fn advised(d: &Diagnosis, capture: &Capture, flags: &[Flag], units: Units) -> String {
    let corners_beyond = d.corners.state == CornerState::SofterThanExpected && !d.soft_corners().is_empty();
    let mut parts: Vec<String> = match d.verdict.cause {
        Cause::SharpThroughout if corners_beyond => vec![corner::sentence(d, flags)],
        Cause::SharpThroughout => vec!["Nothing to change.".into()],
        Cause::FocusTooFar | Cause::FocusTooNear => refocus(d, capture, units),
        Cause::TooLittleDepth => deepen(d, capture, units),
        Cause::Diffraction => vec![open_up(d, capture)],
        Cause::Motion => vec![steady(d, capture)],
        Cause::LensAsymmetry => vec![
            "Check the lens with a flat far subject square on, once upright and once with the camera turned over: \
             what goes over to the other side of the subject is the lens."
                .into(),
        ],
        Cause::LensSoftness => vec![softness(capture)],
        Cause::Processing => vec!["Judge the camera's own full-size file, the raw one where there is one.".into()],
        Cause::CannotTell => vec![open::settle(d, capture).into()],
    };
    parts.extend(besides::advice(d, units));
    // An open verdict whose reason it is has said so.
    if d.flags.contains(&Flag::OrientationLost) && d.verdict.unsettled != Some(Unsettled::Turned) {
        parts.push("The picture looks turned on its side: give --turn.".into());
    }
    parts.join(" ")
}

/// The f-number that was used, where it is known.
fn stop_used(capture: &Capture) -> Option<f64> {
    capture.f_number.as_ref().map(|n| n.value)
}

/// The f-number to set for the depth, and whether the depth asks for a smaller aperture than lenses have.
#[derive(Clone, Copy)]
struct Advised {
    stop: f64,
    capped: bool,
}

/// The best f-number for the depth that the lens can be set to, where it is one.
fn best_stop(d: &Diagnosis, capture: &Capture) -> Option<Advised> {
    // Phones have one aperture: there is no other to advise. A lens closes as far as it did here at least.
    let best = d.implied.best_f_number.filter(|n| *n >= 2.0 && !fixed_aperture(capture))?;
    let smallest = stop_used(capture).map_or(USUAL_SMALLEST, |used| used.max(USUAL_SMALLEST));
    Some(Advised { stop: best.min(smallest), capped: best > (1.0 + NEARLY) * smallest })
}

/// Share by which f-numbers may differ and still be as good as one. Chosen: less than half a stop.
const NEARLY: f64 = 0.15;

/// Where to focus instead.
fn refocus(d: &Diagnosis, capture: &Capture, units: Units) -> Vec<String> {
    let way = if d.verdict.cause == Cause::FocusTooFar { "nearer" } else { "farther" };
    let mut parts = vec![d.implied.right_focus_m.map_or_else(
        || format!("Focus {way}: at about twice the distance of the nearest thing that must be sharp."),
        |m| format!("Focus {way}, at about {}: {}.", camera::distance(m, units), alike(d, m)),
    )];
    if fixed_aperture(capture) {
        let times = d.implied.right_blur_px.map(|blur| blur / d.permitted_px).filter(|times| *times > ROOM);
        parts.extend(times.map(|times| {
            format!("Both are then still {times:.1} times as soft as permitted, and this camera can't stop down: take several frames at focus distances from the nearest thing on.")
        }));
        parts.extend(times.and(d.implied.step_back_m).filter(|back| *back < FAR_BACK_M).map(|b| step_back(b, units)));
    } else if d.verdict.also.contains(&Cause::TooLittleDepth) || at_right_focus_soft(d, stop_used(capture)) {
        let best = best_stop(d, capture).filter(|best| stop_used(capture).is_none_or(|used| best.stop > used));
        parts.extend(best.map(|best| match (camera::stop_to_set(best.stop), best.capped) {
            (stop, true) => format!("Stop down too, to {stop}, as far as most lenses close."),
            (stop, false) => format!("Stop down too: {stop} is best for this depth."),
        }));
    }
    parts
}

/// How far to step back for one frame to hold all of it, with the caution that goes with it.
fn step_back(back_m: f64, units: Units) -> String {
    format!("For one frame to hold all of it, step back about {}. {IN_SHORT}", camera::distance(back_m, units))
}

/// Why a focus is right: twice the nearest distance, where the depth is known to end at infinity.
fn alike(d: &Diagnosis, right_m: f64) -> &'static str {
    // Without a far distance given, that is twice the one that the blur implies.
    match &d.implied.near_m {
        Some(near) if (right_m / (2.0 * near.value) - 1.0).abs() < 1e-9 => {
            "twice the nearest distance blurs near and far alike"
        }
        _ => "there near and far are blurred alike",
    }
}

/// How to hold near and far where focus lies well between them.
fn deepen(d: &Diagnosis, capture: &Capture, units: Units) -> Vec<String> {
    let best = best_stop(d, capture).zip(stop_used(capture));
    let fixed = fixed_aperture(capture);
    let mut parts = vec![match best {
        Some((best, used)) => stop_down(d, best, used),
        _ if fixed => "Take two frames at two focus distances: this camera can't stop down.".into(),
        _ => "Stop down, or take two frames at two focus distances.".into(),
    }];
    parts.extend(d.implied.right_focus_m.map(|m| format!("Focus at about {}.", camera::distance(m, units))));
    // Where no f-number is named, nothing is said of what it would take at it.
    let back = d.implied.step_back_m.filter(|_| fixed || best.is_some());
    parts.extend(back.and_then(|back| {
        let step = camera::distance(back, units);
        match (fixed, back < FAR_BACK_M) {
            (true, true) => Some(step_back(back, units)),
            (true, false) => None,
            (false, true) => Some(format!(
                "For all of it to fit, step back about {step} and set the f-number that is best from there, or take two \
                 frames at two focus distances. {IN_SHORT}"
            )),
            (false, false) => Some("One frame can't hold this depth: take two at two focus distances.".into()),
        }
    }));
    parts
}

/// Step back, m, from which none is advised. Chosen: farther back it is another picture.
const FAR_BACK_M: f64 = 30.0;

/// How far to stop down for a depth.
fn stop_down(d: &Diagnosis, best: Advised, used: f64) -> String {
    let set = camera::stop_to_set(best.stop);
    match (best.stop > (1.0 + NEARLY) * used, best.capped) {
        (true, true) => format!("Stop down to {set}, as far as most lenses close."),
        (true, false) => {
            let rule = d.implied.root_square_f_number;
            let rule =
                rule.map_or_else(String::new, |r| format!(" (the root-square rule says {})", camera::stop_to_set(r)));
            format!("Stop down to {set}, where defocus and diffraction balance for this depth{rule}.")
        }
        (false, true) => format!("Stopping down beyond {set} would help, but few lenses close further."),
        (false, false) => format!("Stopping down beyond {set} would not help."),
    }
}

/// What to do about diffraction.
fn open_up(d: &Diagnosis, capture: &Capture) -> String {
    if fixed_aperture(capture) {
        return "Nothing to change: this camera has one aperture only.".into();
    }
    let best = best_stop(d, capture).map(|best| best.stop);
    best.filter(|&n| stop_used(capture).is_none_or(|used| n < 0.9 * used)).map_or_else(
        || "Open up a stop or two.".into(),
        |n| format!("Open up: {} is best for this depth.", camera::stop_to_set(n)),
    )
}

/// What to do about a camera that moved.
fn steady(d: &Diagnosis, capture: &Capture) -> String {
    if d.model.as_ref().is_some_and(|m| m.doubled_px.is_some()) {
        return "Steady the camera: it rested twice and jumped in between, or two exposures were laid over each other."
            .into();
    }
    // By less, the next shutter time that cameras have may be the one that was used.
    let ratio = streak_ratio(d).filter(|ratio| *ratio > ROOM);
    capture.exposure_s.as_ref().zip(ratio).map_or_else(
        || "Steady the camera, or use a shorter exposure.".into(),
        |(t, ratio)| {
            format!(
                "Steady the camera, or expose no longer than {} ({} was used).",
                camera::shutter(t.value / ratio),
                camera::exposure(t.value)
            )
        },
    )
}

/// What to do about a lens that is soft of itself.
fn softness(capture: &Capture) -> String {
    match capture.f_number.as_ref().map(|n| n.value) {
        // A lens is usually at its best two or three stops down (common practice, no published source).
        Some(n) if n < 5.0 && !fixed_aperture(capture) => {
            "Stop down a stop or two: most lenses are softer wide open.".into()
        }
        _ => "Nothing to change in the focus; a raw file would show how much of it is the lens's.".into(),
    }
}

/// The corners, said plainly as corners.
#[must_use]
pub fn corners(d: &Diagnosis) -> String {
    corner::sentence(d, &d.flags)
}

fn diffraction(d: &Diagnosis, capture: &Capture) -> String {
    // Of the recorded f-number, whole, though the fit takes only as much as the widths show.
    let alone = capture
        .lambda_n_px(WAVELENGTH_UM)
        .map(|lambda_n_px| sigma_px(&Parts { lambda_n_px: Some(lambda_n_px), ..Parts::default() }));
    format!(
        "{} itself softens the whole frame: diffraction alone is {}, {} permitted",
        capture.f_number.as_ref().map_or_else(|| "the f-number".into(), |n| camera::f_number(n.value)),
        alone.map_or_else(|| "wide".into(), px),
        px(d.permitted_px)
    )
}

fn motion(d: &Diagnosis) -> String {
    match &d.model {
        Some(m) if m.motion_px.value > 0.0 => {
            let way = m.motion_angle.map_or("", |a| {
                let a = a.abs();
                if a < std::f64::consts::FRAC_PI_8 {
                    " from side to side"
                } else if a > 3.0 * std::f64::consts::FRAC_PI_8 {
                    " up and down"
                } else {
                    " at a slant"
                }
            });
            match m.doubled_px {
                Some(apart) => format!(
                    "the picture lies twice over itself: every detail is doubled, {} apart{way}",
                    px(apart.value)
                ),
                None => format!(
                    "the camera or the scene moved: every detail is drawn out by {}{way}",
                    px(m.motion_px.value)
                ),
            }
        }
        _ => "the camera or the scene moved during the exposure".into(),
    }
}

/// Length of the streak over the longest that is permitted, if beyond.
fn streak_ratio(d: &Diagnosis) -> Option<f64> {
    let worst = d.zones.iter().filter_map(|z| z.budget).map(|b| b.motion.value).fold(0.0, f64::max);
    let ratio = worst / d.permitted_px;
    (ratio.is_finite() && ratio > 1.0).then_some(ratio)
}

/// Whether even the right focus would leave this depth soft at the f-number used.
fn at_right_focus_soft(d: &Diagnosis, stop_used: Option<f64>) -> bool {
    let other = stop_used.zip(d.implied.best_f_number).is_some_and(|(used, best)| best > 1.3 * used);
    other && d.implied.right_blur_px.is_some_and(|blur| blur > d.permitted_px)
}

/// The distances that the picture itself implies, as a sentence; `None` where it implies none.
fn implied(d: &Diagnosis, capture: &Capture, units: Units) -> Option<String> {
    let focus = d.implied.focus_m?;
    let mut text = format!("The blur puts the focus at {}", range(&focus, units));
    if let Some(n) = d.implied.near_m {
        text.push_str(&format!(" and the nearest ground at {}", range(&n, units)));
    }
    if let Some(recorded) = d.implied.recorded_m {
        let given = capture.focus_distance_m.as_ref().is_some_and(|f| f.source == Source::Given);
        let who = if given { "you gave" } else { "the camera recorded" };
        text.push_str(&format!("; {who} {}", camera::stated(recorded, units)));
    }
    text.push('.');
    Some(text)
}

/// Multiple of the least distance beyond which the most probable one is as good as infinite, where no largest one is
/// known. Chosen: as an inverse, the most probable distance is then a tenth of what is left open.
const AS_GOOD_AS_INFINITE: f64 = 10.0;

fn range(i: &ImpliedDistance, units: Units) -> String {
    if i.low.is_infinite() {
        return "infinity".into();
    }
    if i.high.is_infinite() && i.value > AS_GOOD_AS_INFINITE * i.low {
        return format!("{} or beyond", camera::distance(i.low, units));
    }
    if i.high.is_infinite() {
        return format!("about {} ({} or more)", camera::distance(i.value, units), camera::distance(i.low, units));
    }
    format!(
        "about {} ({} to {})",
        camera::distance(i.value, units),
        camera::distance(i.low, units),
        camera::distance(i.high, units)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_distance_that_is_not_told_from_infinity_is_given_from_its_least() {
        let said = |value, low, high| range(&ImpliedDistance { value, low, high }, Units::Metric);
        assert_eq!(said(1500.0, 10.6, f64::INFINITY), "10.6 m or beyond");
        assert_eq!(said(f64::INFINITY, 10.6, f64::INFINITY), "10.6 m or beyond");
        assert_eq!(said(f64::INFINITY, f64::INFINITY, f64::INFINITY), "infinity");
        assert_eq!(said(5.0, 2.3, f64::INFINITY), "about 5.0 m (2.3 m or more)");
        assert_eq!(said(1.4, 1.2, 1.7), "about 1.4 m (1.2 m to 1.7 m)");
    }
}
