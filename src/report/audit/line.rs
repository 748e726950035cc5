//! The answer in one line of at most twelve words: whether a frame is sharp near and far, and the cause where it is not.

use super::corner;
use crate::diagnose::{Cause, Diagnosis, ZoneName};
use crate::judge::{Judgement, Reason};
use crate::quantity::Flag;
use crate::report::say::name::lower;
use crate::report::say::{camera, number};
use crate::shot::Capture;

/// The line and what it names as the cause.
pub(super) struct Line {
    /// With its full stop.
    pub text: String,
    /// The cause, or why an end is unknown.
    pub cause: Option<String>,
}

/// The answer in one line.
pub(super) fn line(d: &Diagnosis, capture: &Capture) -> Line {
    let answers = [ZoneName::Near, ZoneName::Far].map(|z| d.answer(z));
    let [near, far] = answers.map(|a| a.judgement);
    if near.passes() && far.passes() {
        // A cause that goes over the whole frame takes its corners with it.
        let whole = !matches!(d.verdict.cause, Cause::SharpThroughout | Cause::LensAsymmetry | Cause::CannotTell);
        let soft = corner::part(&corner::names(&d.soft_corners())).filter(|_| !whole);
        let ends = passing(near, far, soft);
        let cause = cause(d, capture);
        let text = match &cause {
            Some(cause) => format!("{ends}; {cause}."),
            None if probably_sharp(d) => format!("Probably {}.", lower(&ends)),
            None => format!("{ends}."),
        };
        return Line { text, cause };
    }
    let ends = ends(near, far);
    let unknown = || answers.iter().find(|a| a.judgement == Judgement::Unknown).and_then(|a| a.reason);
    let cause = cause(d, capture).or_else(|| unknown().map(|reason| short(reason).to_owned()));
    let text = cause.as_ref().map_or_else(|| format!("{ends}."), |cause| format!("{ends}: {cause}."));
    Line { text, cause }
}

/// What near and far come to where both pass, with the part of the frame that is soft all the same.
pub(super) fn passing(near: Judgement, far: Judgement, soft: Option<&str>) -> String {
    let sharp = if near == Judgement::Within && far == Judgement::Within { "Sharp" } else { "Just sharp" };
    soft.map_or_else(|| ends(near, far).into(), |part| format!("{sharp} near and far, {part}"))
}

/// Whether a frame is called sharp from near to far without that being firm.
pub(super) fn probably_sharp(d: &Diagnosis) -> bool {
    d.verdict.cause == Cause::SharpThroughout && !d.verdict.is_firm()
}

/// What near and far come to, without full stop.
pub(super) const fn ends(near: Judgement, far: Judgement) -> &'static str {
    use Judgement::{AtLimit, Beyond, Unknown, Within};
    match (near, far) {
        (Within, Within) => "Sharp from near to far",
        (Within | AtLimit, Within | AtLimit) => "Just sharp from near to far",
        (Beyond, Beyond) => "Soft near and far",
        (Beyond, Within | AtLimit) => "Soft near, sharp far",
        (Within | AtLimit, Beyond) => "Sharp near, soft far",
        (Within | AtLimit, Unknown) => "Sharp near, far unknown",
        (Unknown, Within | AtLimit) => "Sharp far, near unknown",
        (Beyond, Unknown) => "Soft near, far unknown",
        (Unknown, Beyond) => "Soft far, near unknown",
        (Unknown, Unknown) => "Near and far unknown",
    }
}

/// The cause in a few words, with its doubt; `None` where nothing is soft or the cause is open.
pub(super) fn cause(d: &Diagnosis, capture: &Capture) -> Option<String> {
    named(d.verdict.cause, capture.f_number.as_ref().map(|n| n.value), d.verdict.is_firm())
}

fn named(cause: Cause, f_number: Option<f64>, sure: bool) -> Option<String> {
    let stop = f_number.map_or_else(String::new, |n| format!(" at {}", camera::f_number(n)));
    let said = match cause {
        Cause::SharpThroughout | Cause::CannotTell => return None,
        Cause::FocusTooFar => "focus too far".into(),
        Cause::FocusTooNear => "focus too near".into(),
        Cause::TooLittleDepth => format!("too little depth{stop}"),
        Cause::Diffraction => format!("diffraction{stop}"),
        Cause::Motion => "camera or scene moved".into(),
        Cause::LensAsymmetry => "lens asymmetry".into(),
        Cause::LensSoftness => format!("soft lens{stop}"),
        Cause::Processing => "smoothed after the lens".into(),
    };
    Some(if sure { said } else { format!("probably {said}") })
}

/// The numbers of near and far against what is permitted, a sentence; a place without a number says why.
pub(super) fn numbers(d: &Diagnosis) -> String {
    let measured = |name| {
        let known = d.answer(name).judgement != Judgement::Unknown;
        d.zone(name).and_then(|z| z.optical_px).filter(|_| known).map(|e| e.value)
    };
    // As many decimals as it takes to tell each from the limit.
    let close = [ZoneName::Near, ZoneName::Far]
        .into_iter()
        .filter_map(measured)
        .find(|&v| number::width(v) == number::width(d.permitted_px));
    let permitted = close.map_or_else(|| number::width(d.permitted_px), |v| number::widths(v, d.permitted_px).1);
    let one = |name| match measured(name) {
        Some(v) => format!("{} px", number::widths(v, d.permitted_px).0),
        None if name == ZoneName::Near && d.flags.contains(&Flag::NearBeyondMeasure) => "too blurred to measure".into(),
        None => d.answer(name).reason.map_or_else(|| "unknown".into(), |r| format!("unknown ({})", r.words())),
    };
    format!("Near {}, far {}; permitted {permitted} px.", one(ZoneName::Near), one(ZoneName::Far))
}

/// Why a place can't be judged, in a word or two.
pub(super) const fn short(reason: Reason) -> &'static str {
    match reason {
        Reason::NoDetail => "no detail",
        Reason::Water => "water",
        Reason::Scatters => "uneven content",
        Reason::Hidden => "haze",
        Reason::NotInPicture => "not in the picture",
        Reason::Turned => "picture on its side?",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_longer_than_twelve_words() {
        const ALL: [Judgement; 4] = [Judgement::Within, Judgement::AtLimit, Judgement::Beyond, Judgement::Unknown];
        let words = |text: &str| text.split_whitespace().count();
        let longest = ALL.iter().flat_map(|&a| ALL.map(|b| words(ends(a, b)))).max().unwrap();
        let reasons =
            [Reason::NoDetail, Reason::Water, Reason::Scatters, Reason::Hidden, Reason::NotInPicture, Reason::Turned];
        for cause in Cause::ALL {
            let told = named(cause, Some(5.6), false).map_or(0, |c| words(&c));
            assert!(longest + told <= 12, "{cause:?}: {told}");
        }
        let set = |k: u32| ZoneName::CORNERS.into_iter().enumerate().filter(move |(i, _)| k >> i & 1 == 1).map(|z| z.1);
        for k in 1..16 {
            let part = corner::part(&set(k).collect::<Vec<_>>());
            let told = named(Cause::LensAsymmetry, Some(5.6), false).map_or(0, |c| words(&c));
            let said = words(&passing(Judgement::AtLimit, Judgement::AtLimit, part));
            assert!(part.is_some() && said + told.max(words("Probably")) <= 12, "{part:?}: {said} + {told}");
        }
        assert!(longest <= 6 && reasons.iter().all(|&r| words(short(r)) + 4 <= 12));
    }
}
