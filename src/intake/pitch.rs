//! Pixel pitch of this picture: sensor size over pixels, from whichever clues agree.

use super::bodies::{self, DIAGONAL_35MM};
use crate::shot::Source;

/// Two clues to one sensor size agree within this factor: equivalents are rounded to whole millimetres, and
/// makers state the sensor with or without its border.
const AGREE: f64 = 1.12;
/// The largest pitch that sensors have, um; beyond it a picture was scaled.
const LARGEST_UM: f64 = 13.0;
/// Pitches that a picture worth auditing can have, scaled or not, um: beyond them it is a crop of a scaled picture.
const PLAUSIBLE_UM: std::ops::RangeInclusive<f64> = 0.45..=60.0;

/// What a file says that bears on its pixel pitch. Sizes are as stored, before orientation.
#[derive(Clone, Debug, Default)]
pub struct Clues<'a> {
    /// Size of the picture itself, px.
    pub size: Option<(u32, u32)>,
    /// Size that Exif records, px.
    pub recorded: Option<(u32, u32)>,
    /// Focal-plane resolution across and down, px/mm.
    pub density: Option<(f64, f64)>,
    /// Other sizes the maker note speaks of, px: the resolution may refer to one of them.
    pub other_sizes: &'a [(u32, u32)],
    /// Sensor width and height stated by the maker, mm.
    pub sensor_mm: Option<(f64, f64)>,
    /// Maker and model, as in the capture facts.
    pub body: Option<&'a str>,
    /// Focal length, mm.
    pub focal_mm: Option<f64>,
    /// 35 mm equivalent focal length, mm.
    pub focal_35mm: Option<f64>,
    /// Whether the file is a raw one, whose pixels are never scaled.
    pub raw: bool,
}

/// A pixel pitch and how it was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// Distance between neighbouring pixels of this picture on the sensor, um.
    pub pitch_um: f64,
    /// Where it came from.
    pub source: Source,
    /// Whether the picture is smaller than the sensor recorded it.
    pub resized: bool,
    /// Whether it rests on the 35 mm equivalent alone.
    pub from_equivalent: bool,
}

/// The pixel pitch, where the clues allow one.
///
/// The focal-plane resolution counts only against the size it refers to, which is the recorded size by the
/// standard but another one in some files, so it must agree with a second clue where there is one. A picture
/// of another shape than recorded was cropped by an unknown scale: no pitch. After what the file says comes the
/// table of known bodies, unless the 35 mm equivalent speaks of a smaller part of the sensor (a crop mode, a digital
/// zoom); the equivalent alone is last. Where resolution and body agree on less of the sensor than the equivalent speaks of,
/// an editor cut the picture to another shape, and they are right. A cut that keeps the shape can't be told from a picture made
/// smaller whose size was written anew, and is taken for that.
pub(super) fn pitch(clues: &Clues<'_>) -> Option<Found> {
    let size = clues.size.or(clues.recorded)?;
    let diagonal_by_equivalent = clues
        .focal_mm
        .zip(clues.focal_35mm)
        .map(|(f, f35)| DIAGONAL_35MM * f / f35)
        .filter(|d| (1.0..=80.0).contains(d));
    let diagonal_by_maker = clues.sensor_mm.map(|(w, h)| w.hypot(h)).filter(|d| (1.0..=80.0).contains(d));
    let frame = clues.recorded.unwrap_or(size);
    // Asked only where needed: the table of bodies is read at the first question.
    let shape_of_body = || Some(used_diagonal(bodies::sensor_mm(clues.body?)?, frame));
    // Cut to another shape by an editor, a picture shows less of the sensor than its equivalent speaks of.
    let cut = || {
        let by_body = shape_of_body().filter(|d| diagonal_by_equivalent.is_some_and(|all| all > AGREE * d))?;
        by_density(clues, clues.density?, Some(by_body))
    };
    let diagonal_by_equivalent = if cut().is_some() { None } else { diagonal_by_equivalent };
    let diagonal_by_body = || shape_of_body().filter(|d| diagonal_by_equivalent.is_none_or(|other| agree(*d, other)));
    let check = diagonal_by_equivalent.or(diagonal_by_maker).or_else(diagonal_by_body);
    let (diagonal, source, from_equivalent) =
        if let Some(diagonal) = clues.density.and_then(|d| by_density(clues, d, check)) {
            (diagonal, Source::Exif, false)
        } else if let Some(diagonal) = diagonal_by_maker {
            (diagonal, Source::MakerNote, false)
        } else if let Some(diagonal) = diagonal_by_body() {
            (diagonal, Source::Derived, false)
        } else {
            (diagonal_by_equivalent?, Source::Derived, true)
        };
    let scale = scale(size, frame)?;
    let pitch_um = 1e3 * diagonal / diagonal_px(frame) * scale;
    let resized = scale > 1.0 || pitch_um > LARGEST_UM;
    if resized && clues.raw || !PLAUSIBLE_UM.contains(&pitch_um) {
        // Raw samples are never scaled, so such a file is a crop whose full size is unknown.
        return None;
    }
    let source = if scale > 1.0 { Source::Derived } else { source };
    Some(Found { pitch_um, source, resized, from_equivalent })
}

/// Whether two clues speak of one size.
fn agree(one: f64, other: f64) -> bool {
    (1.0 / AGREE..AGREE).contains(&(one / other))
}

/// Diagonal of the largest part of a sensor that has the shape of the picture, mm.
fn used_diagonal((long, short): (f64, f64), (w, h): (u32, u32)) -> f64 {
    let aspect = f64::from(w.max(h)) / f64::from(w.min(h));
    let height = short.min(long / aspect);
    height * aspect.hypot(1.0)
}

fn diagonal_px((w, h): (u32, u32)) -> f64 {
    f64::from(w).hypot(f64::from(h))
}

/// Pixels of the recorded frame to one of the picture; `None` where the shapes differ or the picture is the larger.
fn scale(size: (u32, u32), frame: (u32, u32)) -> Option<f64> {
    let sorted = |(a, b): (u32, u32)| (f64::from(a.max(b)), f64::from(a.min(b)));
    let ((long, short), (frame_long, frame_short)) = (sorted(size), sorted(frame));
    let (by_long, by_short) = (frame_long / long, frame_short / short);
    if (by_long - 1.0).abs() < 0.03 && (by_short - 1.0).abs() < 0.03 {
        // A raw border more or less: the same pixels.
        return Some(1.0);
    }
    ((by_long / by_short - 1.0).abs() < 0.01 && by_long > 0.1).then_some(by_long)
}

/// Sensor diagonal, mm, by the focal-plane resolution, for the size it plausibly refers to.
fn by_density(clues: &Clues<'_>, (x, y): (f64, f64), check: Option<f64>) -> Option<f64> {
    let per_mm = (x * y).sqrt();
    // Pixels are square to a few percent; 72 or 300 dpi are fillers, of pitches no sensor has.
    if !(0.9..1.1).contains(&(x / y)) || !(1e3 / 60.0..1e3 / 0.4).contains(&per_mm) {
        return None;
    }
    let fits = |size: (u32, u32)| {
        let diagonal = diagonal_px(size) / per_mm;
        match check {
            Some(other) => agree(diagonal, other).then_some(diagonal),
            None => (3.0..=70.0).contains(&diagonal).then_some(diagonal),
        }
    };
    // The resolution is that of the file's own image where no other size is recorded.
    let recorded = clues.recorded.or(clues.size).and_then(fits);
    if recorded.is_some() || check.is_none() {
        return recorded;
    }
    clues.size.into_iter().chain(clues.other_sizes.iter().copied()).find_map(fits)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clues() -> Clues<'static> {
        Clues { size: Some((6000, 4000)), recorded: Some((6000, 4000)), ..Clues::default() }
    }

    #[test]
    fn the_equivalent_focal_length_gives_a_full_frame_its_pitch() {
        // 36 mm over 6000 pixels.
        let found = pitch(&Clues { focal_mm: Some(50.0), focal_35mm: Some(50.0), ..clues() }).unwrap();
        assert!((found.pitch_um - 6.0).abs() < 0.01, "{found:?}");
        assert_eq!((found.source, found.resized, found.from_equivalent), (Source::Derived, false, true));
    }

    #[test]
    fn the_focal_plane_resolution_counts_where_another_clue_agrees() {
        let density = Some((1000.0 / 3.9, 1000.0 / 3.9));
        let apsc = Clues { density, focal_mm: Some(50.0), focal_35mm: Some(75.0), ..clues() };
        let found = pitch(&apsc).unwrap();
        assert!((found.pitch_um - 3.9).abs() < 1e-9 && found.source == Source::Exif, "{found:?}");
        // The same resolution on what the equivalent says is a full frame belongs to another picture size.
        let full = pitch(&Clues { focal_35mm: Some(50.0), ..apsc }).unwrap();
        assert_eq!(full.source, Source::Derived);
    }

    #[test]
    fn a_resolution_alone_speaks_of_the_file_that_holds_it() {
        // Exif 2.32, FocalPlaneXResolution: pixels in the image width direction per unit on the focal plane.
        let density = Some((1000.0 / 6.0, 1000.0 / 6.0));
        let found = pitch(&Clues { size: Some((3000, 2000)), recorded: None, density, ..clues() }).unwrap();
        assert!((found.pitch_um - 6.0).abs() < 1e-9 && found.source == Source::Exif && !found.resized, "{found:?}");
    }

    #[test]
    fn a_resolution_for_a_smaller_picture_is_carried_over() {
        // A sensor of 7.42 mm, its resolution written for 1600 pixels across although 3648 are recorded.
        let per_mm = 1600.0 / 7.42;
        let found = pitch(&Clues {
            size: Some((3648, 2736)),
            recorded: Some((3648, 2736)),
            density: Some((per_mm, per_mm)),
            other_sizes: &[(1600, 1200)],
            sensor_mm: Some((7.59, 5.69)),
            ..Clues::default()
        })
        .unwrap();
        assert!((found.pitch_um - 1e3 * 7.42 / 3648.0).abs() < 1e-6, "{found:?}");
        assert_eq!(found.source, Source::Exif);
    }

    #[test]
    fn a_known_body_says_what_its_files_do_not() {
        // 36 mm over 6720 pixels (the maker's data sheet, from memory).
        let body = Clues { body: Some("Canon EOS 5D Mark IV"), size: Some((6720, 4480)), ..Clues::default() };
        let found = pitch(&body).unwrap();
        assert!((found.pitch_um - 5.36).abs() < 0.02, "{found:?}");
        assert_eq!((found.source, found.from_equivalent), (Source::Derived, false));
        // A picture of 16:9 is as wide as the sensor.
        let wide = pitch(&Clues { size: Some((6720, 3780)), ..body.clone() }).unwrap();
        assert!((wide.pitch_um - found.pitch_um).abs() < 1e-9, "{wide:?}");
        // An equivalent that speaks of a crop is believed.
        let crop = pitch(&Clues { focal_mm: Some(50.0), focal_35mm: Some(80.0), ..body }).unwrap();
        assert!(crop.from_equivalent && crop.pitch_um < 0.7 * found.pitch_um, "{crop:?}");
    }

    #[test]
    fn a_picture_cut_to_another_shape_keeps_the_pitch_that_resolution_and_body_agree_on() {
        // 36 mm over 6720 pixels (the maker's data sheet, from memory), cut to a square by an editor that wrote the size anew: the
        // equivalent still speaks of the whole frame, whose diagonal over that of the square would be 6.83 um.
        let side = Some((4480, 4480));
        let per_mm = 6720.0 / 36.0;
        let square = Clues {
            body: Some("Canon EOS 5D Mark IV"),
            size: side,
            recorded: side,
            density: Some((per_mm, per_mm)),
            focal_mm: Some(50.0),
            focal_35mm: Some(50.0),
            ..Clues::default()
        };
        let found = pitch(&square).unwrap();
        assert!((found.pitch_um - 5.357).abs() < 0.01 && found.source == Source::Exif, "{found:?}");
        // Without the resolution nothing speaks against the equivalent.
        assert!(pitch(&Clues { density: None, ..square.clone() }).unwrap().pitch_um > 6.5);
        // A digital zoom shows less of the sensor than the body has: the equivalent is right.
        let zoomed = pitch(&Clues { focal_35mm: Some(100.0), size: Some((6720, 4480)), recorded: None, ..square });
        assert!((zoomed.unwrap().pitch_um - 2.68).abs() < 0.02, "{zoomed:?}");
    }

    #[test]
    fn fillers_and_uneven_resolutions_are_refused() {
        for density in [(72.0 / 25.4, 72.0 / 25.4), (300.0 / 25.4, 300.0 / 25.4), (256.0, 170.0)] {
            assert_eq!(pitch(&Clues { density: Some(density), ..clues() }), None, "{density:?}");
        }
    }

    #[test]
    fn a_resized_picture_has_larger_pixels_and_a_crop_unknown_ones() {
        let base = Clues { focal_mm: Some(50.0), focal_35mm: Some(50.0), ..clues() };
        let half = pitch(&Clues { size: Some((3000, 2000)), ..base.clone() }).unwrap();
        assert!((half.pitch_um - 12.0).abs() < 0.02 && half.resized, "{half:?}");
        assert_eq!(pitch(&Clues { size: Some((3000, 3000)), ..base.clone() }), None);
        // A raw file of few pixels is a crop.
        let small = Clues { size: Some((600, 400)), recorded: None, ..base };
        assert!(pitch(&small).is_none_or(|f| f.resized));
        assert_eq!(pitch(&Clues { raw: true, ..small }), None);
    }
}
