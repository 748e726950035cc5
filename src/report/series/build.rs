//! Answers to the view.

use super::view::{
    AloneView, BestView, BetweenView, FocusShiftView, InsteadView, LaidView, LeftOutView, NoteView, PointView,
    SeriesFailureView, SeriesGroupView, SeriesView, SeriesZoneView, SharpestView, SplitView, SplitZoneView, TileRef,
    VERSION,
};
use super::{Alone, notes, words};
use crate::measure::register::Similarity;
use crate::quantity::Region;
use crate::report::FailureView;
use crate::report::say::number::machine;
use crate::series::aperture::Shift;
use crate::series::fit::{Split, ZoneSplit};
use crate::series::{Answer, Between, NoteKind, Point, ZoneBlur, ZoneName};

/// The view of a whole run.
#[must_use]
pub fn series_view(groups: &[Answer], alone: &[Alone], failures: &[FailureView]) -> SeriesView {
    SeriesView {
        format: "tussock.series",
        version: VERSION,
        groups: groups.iter().map(group_view).collect(),
        alone: alone.iter().map(|a| AloneView { file: a.file.clone(), sentence: notes::alone(a) }).collect(),
        failures: failures
            .iter()
            .map(|f| SeriesFailureView {
                file: f.file.clone(),
                problem: f.problem.clone(),
                advice: f.advice.clone(),
                stand_in: f.stand_in.clone(),
            })
            .collect(),
    }
}

/// The view of one group.
pub(crate) fn group_view(group: &Answer) -> SeriesGroupView {
    let file = |k: usize| group.files[k].clone();
    let files = |of: &[usize]| of.iter().map(|&k| file(k)).collect::<Vec<_>>();
    let (apertures, bracket) = (group.apertures.as_ref(), group.bracket.as_ref());
    let (best_single, best_single_confidence) = best_single(group);
    SeriesGroupView {
        varied: group.varied,
        members: group.files.clone(),
        sentence: words::answer(group),
        zones: group.zones.iter().map(|z| zone(group, z)).collect(),
        best_whole_frame: apertures.and_then(|a| {
            let (k, confidence) = (a.whole?, machine(a.whole_confidence));
            Some(BestView { file: file(k), f_number: group.f_numbers[k], confidence })
        }),
        whole_frame_alike: apertures.map(|a| stops(group, &a.whole_alike)),
        whole_frame_within_5_percent: apertures.map(|a| stops(group, &a.whole_within)),
        whole_frame_leaves_out: apertures
            .map(|a| a.left_out.iter().map(|&(zone, why)| LeftOutView { zone, why }).collect()),
        best_single: best_single.map(file),
        best_single_confidence,
        best_single_as_good: bracket.map(|b| files(&b.as_good)),
        covering_set: bracket.map(|b| files(&b.covering_set)),
        covering_set_instead: bracket
            .map(|b| b.instead.iter().map(|(k, any)| InsteadView { of: file(*k), any: files(any) }).collect()),
        uncovered: bracket.map(|b| b.uncovered.iter().map(|&t| tile(group.tiles[t])).collect()),
        sharpest: group.sharpest.as_ref().map(|s| SharpestView {
            file: file(s.frame),
            margin_percent: machine(s.margin.value * 100.0),
            margin_percent_sd: machine(s.margin.sd * 100.0),
            real: s.real,
            confidence: machine(s.confidence),
        }),
        deepest_first: group.deepest_first.as_ref().map(|order| files(order)),
        between: (group.files.len() == 2).then(|| group.between.iter().map(|b| between(group, b)).collect()),
        split: apertures.and_then(|a| a.split.as_ref()).map(|s| split(s, group.pitch_um)),
        focus_shift: apertures.map(|a| a.focus_shift.iter().map(|s| focus_shift(group, s)).collect()),
        permitted_px: bracket.and_then(|_| machine(group.permitted_px)),
        notes: group.notes.iter().map(|&(k, kind)| note(group, k, kind)).collect(),
        laid: group
            .laid
            .iter()
            .enumerate()
            .filter_map(|(k, map)| Some(laid(file(k), map.as_ref()?, group.size)))
            .collect(),
    }
}

/// The frame to keep if only one is kept, and the chance that no other is better where that is known.
fn best_single(group: &Answer) -> (Option<usize>, Option<f64>) {
    match (&group.bracket, &group.sharpest) {
        (Some(b), _) => (b.best_single, b.best_single.and(machine(b.confidence))),
        (None, Some(s)) => (Some(s.frame), machine(s.confidence)),
        (None, None) => (group.apertures.as_ref().and_then(|a| a.whole), None),
    }
}

fn note(group: &Answer, k: Option<usize>, kind: NoteKind) -> NoteView {
    NoteView {
        file: k.map(|k| group.files[k].clone()),
        note: kind,
        sentence: notes::note(group, k, kind),
        confidence: notes::confidence(group, k, kind).and_then(machine),
    }
}

/// The f-numbers of some of a group's frames, as far as they are known.
fn stops(group: &Answer, of: &[usize]) -> Vec<f64> {
    of.iter().filter_map(|&k| group.f_numbers[k]).collect()
}

fn zone(group: &Answer, z: &ZoneBlur) -> SeriesZoneView {
    let answer = group.apertures.as_ref().and_then(|a| a.zones.iter().find(|q| q.name == z.name));
    let point = |p: &Point| PointView {
        file: group.files[p.frame].clone(),
        f_number: group.f_numbers[p.frame],
        blur_px: machine(p.blur.value),
        blur_px_sd: machine(p.blur.sd),
        blur_px_sd_apart: machine(p.apart_sd),
    };
    SeriesZoneView {
        zone: z.name,
        points: z.points.iter().map(point).collect(),
        best_f_number: answer.and_then(|a| group.f_numbers[a.best]),
        within_5_percent: answer.map(|a| stops(group, &a.within)),
        tiles: z.tiles,
    }
}

fn split(s: &Split, pitch_um: Option<f64>) -> SplitView {
    let zone = |(name, z): &(ZoneName, ZoneSplit)| SplitZoneView {
        zone: *name,
        defocus_px: machine(z.defocus),
        aberration_px: machine(z.aberration),
        constant_px: machine(z.constant),
        best_f_number: machine(z.best_f_number),
    };
    SplitView {
        growth_px: machine(s.growth.value),
        growth_px_sd: machine(s.growth.sd),
        expected_px: s.expected.and_then(machine),
        wavelength_um: pitch_um.and_then(|p| machine(s.growth.value * p)),
        zones: s.zones.iter().map(zone).collect(),
    }
}

fn focus_shift(group: &Answer, s: &Shift) -> FocusShiftView {
    FocusShiftView {
        zone: s.zone,
        from_f_number: group.f_numbers[s.from],
        to_f_number: group.f_numbers[s.to],
        by_sd: machine(s.by_sd),
        confidence: machine(s.confidence),
    }
}

const fn tile(r: Region) -> TileRef {
    TileRef { x: r.x, y: r.y, width: r.width, height: r.height }
}

fn between(group: &Answer, b: &Between) -> BetweenView {
    BetweenView {
        zone: b.zone,
        sharper: b.sharper.map(|k| group.files[k].clone()),
        margin_percent: machine(b.margin.value * 100.0),
        margin_percent_sd: machine(b.margin.sd * 100.0),
    }
}

fn laid(file: String, map: &Similarity, (width, height): (u32, u32)) -> LaidView {
    let middle = (0.5 * f64::from(width), 0.5 * f64::from(height));
    let (x, y) = map.apply(middle.0, middle.1);
    LaidView {
        file,
        shift_x_px: machine(x - middle.0),
        shift_y_px: machine(y - middle.1),
        scale: machine(map.scale),
        turned_degrees: machine(map.angle.to_degrees()),
    }
}
