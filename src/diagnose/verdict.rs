//! The verdict: what the weights of the causes and the answers for near and far support together.

use super::weigh::{Tally, put};
use super::{Cause, Unsettled, Verdict};
use crate::judge::Judgement;

/// Chosen: more than half, by what the draws themselves scatter. Share of the weight that the best cause must have.
pub(super) const MAJORITY: f64 = 0.55;
/// Set on the rendered scenes used for building: of the surest, one in ten was wrong. Share of verdicts that something
/// outside the model spoils, however sure the model is.
const UNFORESEEN: f64 = 0.1;
/// Chosen: three draws of four. Share of the weight in which a cause must be beyond the permitted blur to be named
/// though another may be stronger.
const STANDS: f64 = 0.75;
/// Chosen: likely, not firm. Confidence at most of a cause that is named though near or far is unknown: what lies there
/// may be worse, or better.
pub(super) const HALF_SEEN: f64 = 0.75;

/// What is known beside the weights.
#[derive(Clone, Copy, Debug)]
pub(super) struct Known {
    /// Answers for near and far.
    pub ends: [Judgement; 2],
    /// Whether edges were sharpened.
    pub sharpened: bool,
    /// Whether f-number and pitch are known.
    pub facts: bool,
}

/// The weights of a tally with the share of the unforeseen, most probable first.
fn weights(tally: &Tally) -> Vec<(Cause, f64)> {
    let mut weights = tally.main.clone();
    if tally.unnamed > 0.0 {
        put(&mut weights, Cause::CannotTell, tally.unnamed);
    }
    for entry in &mut weights {
        entry.1 *= 1.0 - UNFORESEEN;
    }
    put(&mut weights, Cause::CannotTell, UNFORESEEN);
    weights.sort_by(|a, b| b.1.total_cmp(&a.1));
    weights
}

fn share(weights: &[(Cause, f64)], cause: Cause) -> f64 {
    weights.iter().find(|w| w.0 == cause).map_or(0.0, |w| w.1)
}

/// The verdict. `strict` has the causes beyond the permitted blur, `roomy` those beyond it by more than the room its
/// definition leaves: where near and far pass, only these count.
pub(super) fn verdict(strict: &Tally, roomy: &Tally, known: &Known) -> Verdict {
    let passes = known.ends.iter().all(|e| e.passes());
    let tally = if passes { roomy } else { strict };
    let weights = weights(tally);
    // The best that the answers leave: a zone beyond the permitted is never sharp throughout, whoever is to blame.
    let best =
        weights.iter().find(|(c, _)| !matches!(c, Cause::CannotTell) && (passes || *c != Cause::SharpThroughout));
    let (best, share_of_best) = best.copied().unwrap_or((Cause::CannotTell, 0.0));
    let named = |cause: Cause, most: f64| Verdict {
        cause,
        confidence: share(&weights, cause).clamp(0.0, most),
        also: also(tally, cause),
        weights: weights.clone(),
        unsettled: None,
    };
    let open = |why: Unsettled, confidence: f64| Verdict {
        cause: Cause::CannotTell,
        confidence: confidence.clamp(0.0, 1.0),
        also: also(tally, Cause::CannotTell),
        weights: weights.clone(),
        unsettled: Some(why),
    };
    if matches!(best, Cause::Motion | Cause::Diffraction) && share_of_best > 0.8 {
        return named(best, 1.0);
    }
    let enough = share_of_best >= MAJORITY || share_of_best > 0.0 && stands(best, tally);
    match known.ends {
        _ if passes => {
            let other = best != Cause::SharpThroughout && enough;
            let cause = if other { best } else { Cause::SharpThroughout };
            named(cause, 1.0)
        }
        [Judgement::Unknown, Judgement::Unknown] => open(Unsettled::NearUnmeasured, 1.0 - UNFORESEEN),
        [near, far] if near == Judgement::Unknown || far == Judgement::Unknown => {
            if (near == Judgement::Beyond || far == Judgement::Beyond) && enough {
                return named(best, HALF_SEEN);
            }
            let why = if near == Judgement::Unknown { Unsettled::NearUnmeasured } else { Unsettled::FarUnmeasured };
            open(why, 1.0 - UNFORESEEN)
        }
        _ if enough => named(best, 1.0),
        _ => {
            let why = match (known.facts, known.sharpened) {
                (false, _) => Unsettled::FactsMissing,
                (true, true) if share(&weights, Cause::SharpThroughout) > share_of_best => Unsettled::Sharpened,
                _ => Unsettled::CausesAlike,
            };
            open(why, 1.0 - share_of_best)
        }
    }
}

/// The verdict on a frame of which nothing is known but that it moved.
pub(super) fn verdict_of_motion() -> Verdict {
    let weights = vec![(Cause::Motion, 1.0 - UNFORESEEN), (Cause::CannotTell, UNFORESEEN)];
    Verdict { cause: Cause::Motion, confidence: weights[0].1, also: Vec::new(), weights, unsettled: None }
}

/// Other causes that more likely than not go beyond the permitted.
fn also(tally: &Tally, cause: Cause) -> Vec<Cause> {
    tally.any.iter().filter(|(c, w)| *c != cause && *w > 0.5).map(|(c, _)| *c).collect()
}

/// Whether a cause is there in nearly all draws, so that the only question is which of several is the strongest.
fn stands(cause: Cause, tally: &Tally) -> bool {
    tally.any.iter().any(|(c, w)| *c == cause && *w > STANDS)
}

/// Chosen: one of the two witnesses is wrong, and which isn't known for certain. Confidence at most that is left to a
/// focus verdict against which something speaks: the recorded focus distance, or a step of the blur where the ground
/// begins.
const CONTRADICTED: f64 = 0.65;

/// Lowers the confidence of a focus verdict against which something speaks.
pub(super) fn doubt(v: &mut Verdict) {
    if matches!(v.cause, Cause::FocusTooFar | Cause::FocusTooNear) {
        cap(v, CONTRADICTED);
    }
}

/// Lowers the confidence of a verdict, so that it is not firm.
pub(super) fn cap(v: &mut Verdict, most: f64) {
    if v.cause != Cause::CannotTell && v.confidence > most {
        let kept = most / v.confidence;
        for entry in &mut v.weights {
            entry.1 *= kept;
        }
        put(&mut v.weights, Cause::CannotTell, 1.0 - kept);
        v.weights.sort_by(|a, b| b.1.total_cmp(&a.1));
        v.confidence = most;
    }
}

/// Leaves a verdict open after all, since what it rests on doesn't hold: the picture may lie on its side, so that near and far
/// can't be named, or the sides don't bear out what the model says of them.
pub(super) fn leave_open(v: &mut Verdict, why: Unsettled) {
    if matches!(v.cause, Cause::Motion | Cause::Diffraction) {
        return;
    }
    // What spoke for the cause speaks for none.
    let mut weights = std::mem::take(&mut v.weights);
    let spoke = share(&weights, v.cause);
    weights.retain(|w| w.0 != v.cause);
    put(&mut weights, Cause::CannotTell, spoke);
    weights.sort_by(|a, b| b.1.total_cmp(&a.1));
    *v = Verdict {
        cause: Cause::CannotTell,
        confidence: share(&weights, Cause::CannotTell).min(1.0),
        unsettled: Some(why),
        also: Vec::new(),
        weights,
    };
}
