//! What should be known of single frames beside the answer.

use std::collections::HashSet;

use super::answer::NoteKind;
use super::seen::Seen;
use super::{Varied, aperture, bracket};
use crate::shot::Source;

/// Most frames that are asked whether they were shaken. Chosen: no bracket is that long, and each takes a moment.
const ASKED: usize = 64;

/// The frames of a scene that were shaken, by what is known of each; none of more than are asked.
#[must_use]
pub fn shaken(frames: usize, moved: &dyn Fn(usize) -> bool) -> Vec<usize> {
    if frames > ASKED { Vec::new() } else { (0..frames).filter(|&k| moved(k)).collect() }
}

/// Frames that are firmly shaken and have a part in the answers all the same, for the others are too few without them.
pub(super) fn shaken_yet_used(
    varied: Varied,
    shaken: &[usize],
    said: &[(Option<usize>, NoteKind)],
) -> Vec<(Option<usize>, NoteKind)> {
    let used = shaken.iter().filter(|k| varied != Varied::Nothing && !is_out(said, **k));
    used.map(|&k| (Some(k), NoteKind::ShakenYetUsed)).collect()
}

/// Whether it has been said of a frame that it has no part in the answers.
fn is_out(notes: &[(Option<usize>, NoteKind)], frame: usize) -> bool {
    let out = |kind: &NoteKind| {
        matches!(
            kind,
            NoteKind::Shaken
                | NoteKind::Spoiled
                | NoteKind::Outdone(_)
                | NoteKind::CopyOf(_)
                | NoteKind::NotRegistered
                | NoteKind::NotCompared
        )
    };
    notes.iter().any(|n| n.0 == Some(frame) && out(&n.1))
}

/// Which frames have no part in the answers of a bracket, and why.
pub(super) fn bracket_notes(b: &bracket::Bracket) -> Vec<(Option<usize>, NoteKind)> {
    let outdone = b.outdone.iter().map(|o| (Some(o.frame), NoteKind::Outdone(o.by)));
    let softened = b.softened.iter().map(|s| (Some(s.frame), NoteKind::Spoiled));
    outdone.chain(softened).chain(b.shaken.iter().map(|&k| (Some(k), NoteKind::Shaken))).collect()
}

/// What should be known of the stops of an aperture series.
pub(super) fn stop_notes(
    seen: &[Seen],
    a: &aperture::Apertures,
    f_numbers: &[Option<f64>],
    said: &[(Option<usize>, NoteKind)],
) -> Vec<(Option<usize>, NoteKind)> {
    let mut notes: Vec<(Option<usize>, NoteKind)> = a.spoiled.iter().map(|&k| (Some(k), NoteKind::Spoiled)).collect();
    // A stop that was taken and left out for what it shows isn't missing; one that could not be compared is.
    let lost = |k: usize| {
        said.iter().any(|n| n.0 == Some(k) && matches!(n.1, NoteKind::NotRegistered | NoteKind::NotCompared))
    };
    let within = |g: &(f64, f64, Option<f64>), k: usize| f_numbers[k].is_some_and(|n| n > g.0 && n < g.1);
    let taken = |g: &(f64, f64, Option<f64>)| (0..seen.len()).any(|k| within(g, k) && !lost(k));
    notes.extend(a.gaps.iter().filter(|g| !taken(g)).map(|g| (None, NoteKind::MissingStop(g.0, g.1))));
    notes.extend((0..seen.len()).filter(|&k| f_numbers[k].is_none()).map(|k| (Some(k), NoteKind::NoFNumber)));
    let assumed = |k: &usize| seen[*k].capture.f_number.as_ref().is_some_and(|f| f.source == Source::Assumed);
    notes.extend((0..seen.len()).filter(assumed).map(|k| (Some(k), NoteKind::FNumberFromName)));
    let copies: HashSet<usize> =
        said.iter().filter(|n| matches!(n.1, NoteKind::CopyOf(_))).filter_map(|n| n.0).collect();
    let mut stops = HashSet::new();
    let mut same = |k: &usize| f_numbers[*k].is_some_and(|n| !copies.contains(k) && !stops.insert(n.to_bits()));
    notes.extend((0..seen.len()).filter(&mut same).map(|k| (Some(k), NoteKind::SameStop)));
    notes
}

#[cfg(test)]
mod tests {
    use super::super::Held;
    use super::*;
    use crate::shot::Capture;

    #[test]
    fn a_stop_that_could_not_be_compared_is_missing_and_a_shaken_one_is_not() {
        let capture = Capture::default();
        let frame = || Seen { file: "a", size: (9, 9), capture: &capture, small: Held::Elsewhere(&(), 0), map: None };
        let seen: Vec<Seen> = (0..3).map(|_| frame()).collect();
        let f_numbers = [5.6, 8.0, 11.0].map(Some);
        let gaps = vec![(5.6, 11.0, Some(8.0))];
        let apertures = aperture::Apertures { gaps, ..aperture::answer(&[], &f_numbers, None, 1.0) };
        let missing = |note: NoteKind| {
            let notes = stop_notes(&seen, &apertures, &f_numbers, &[(Some(1), note)]);
            notes.iter().any(|n| matches!(n.1, NoteKind::MissingStop(..)))
        };
        assert!(missing(NoteKind::NotCompared) && !missing(NoteKind::Shaken));
    }
}
