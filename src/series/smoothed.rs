//! Noise reduction that goes with the ISO, which a series of apertures must not take for the lens.

use super::answer::NoteKind;
use super::aperture::Apertures;
use super::seen::Seen;

/// Ratio of a frame's ISO speed to another's from which a camera may smooth the first more. Published: ISO 12232: one
/// stop of exposure is twice the exposure index (from memory); a tenth of it is rounding.
const MORE_ISO: f64 = 1.8;

/// Takes focus shifts back that smoothing explains as well; a note where rendered frames that were compared differ in their ISO.
///
/// Cameras smooth the more the higher the ISO (common practice, no published source), in all places, and at the stops after as well, as a
/// shift of focus does. `rendered` is by frame; raw files aren't smoothed.
pub(super) fn without_smoothed(
    apertures: &mut Apertures,
    seen: &[Seen],
    rendered: &[bool],
) -> Option<(Option<usize>, NoteKind)> {
    let may = |from: usize, to: usize| smoothed((&seen[from], &seen[to]), rendered[to]);
    apertures.focus_shift.retain(|s| !may(s.from, s.to));
    let mut pairs = (0..seen.len()).flat_map(|from| (0..seen.len()).map(move |to| (from, to)));
    pairs.any(|(from, to)| may(from, to)).then_some((None, NoteKind::IsoDiffers))
}

/// Whether the second frame may be the softer for its noise reduction: it was rendered, and at a higher ISO.
fn smoothed((from, to): (&Seen, &Seen), rendered: bool) -> bool {
    let iso = |s: &Seen| s.capture.iso.as_ref().map(|i| i.value);
    rendered && iso(from).zip(iso(to)).is_some_and(|(from, to)| to > MORE_ISO * from)
}

#[cfg(test)]
mod tests {
    use super::super::aperture::{Shift, answer};
    use super::super::{Held, ZoneName};
    use super::*;
    use crate::shot::{Capture, Fact, Source};

    #[test]
    fn a_shift_is_named_in_raw_files_and_where_the_iso_stays() {
        let shift = Shift { zone: ZoneName::Near, from: 0, to: 1, by_sd: 5.0, confidence: 1.0 };
        let left = |iso: [f64; 2], rendered: bool| {
            let captures = iso.map(|v| Capture { iso: Some(Fact::new(v, Source::Exif)), ..Capture::default() });
            let frame = |capture| Seen { file: "a", size: (9, 9), capture, small: Held::Elsewhere(&(), 0), map: None };
            let seen: Vec<Seen> = captures.iter().map(frame).collect();
            let mut apertures = answer(&[], &[Some(5.6), Some(8.0)], None, 1.0);
            apertures.focus_shift = vec![shift];
            let note = without_smoothed(&mut apertures, &seen, &[rendered; 2]);
            (apertures.focus_shift.len(), note.is_some())
        };
        assert_eq!(left([400.0, 800.0], true), (0, true));
        assert_eq!(left([400.0, 800.0], false), (1, false));
        assert_eq!(left([400.0, 400.0], true), (1, false));
        assert_eq!(left([800.0, 400.0], true), (1, true));
    }
}
