//! Answers to the view.

use super::view::{
    AloneView, BestView, BetweenView, FocusShiftView, InsteadView, LaidView, LeftOutView, NoteView, PointView,
    SeriesFailureView, SeriesGroupView, SeriesView, SeriesZoneView, SharpestView, SplitView, SplitZoneView, TileRef,
    VERSION,
};
use super::{Alone, wording};
use crate::measure::register::Similarity;
use crate::report::Failure;
use crate::report::number::machine;
use crate::series::{Answer, Between};

/// The view of a whole run.
#[must_use]
pub fn series_view(groups: &[Answer], alone: &[Alone], failures: &[Failure]) -> SeriesView {
    SeriesView {
        format: "tussock.series",
        version: VERSION,
        groups: groups.iter().map(group_view).collect(),
        alone: alone.iter().map(|a| AloneView { file: a.file.clone(), sentence: wording::alone(a) }).collect(),
        failures: failures
            .iter()
            .map(|f| SeriesFailureView { file: f.file.clone(), problem: f.problem.clone(), advice: f.advice.clone() })
            .collect(),
    }
}

/// The view of one group.
#[must_use]
pub fn group_view(group: &Answer) -> SeriesGroupView {
    let file = |k: usize| group.files[k].clone();
    let stops = |of: &[usize]| of.iter().filter_map(|&k| group.f_numbers[k]).collect::<Vec<f64>>();
    let apertures = group.apertures.as_ref();
    let zones = group
        .zones
        .iter()
        .map(|z| {
            let answer = apertures.and_then(|a| a.zones.iter().find(|q| q.name == z.name));
            SeriesZoneView {
                zone: z.name,
                points: z
                    .points
                    .iter()
                    .map(|p| PointView {
                        file: file(p.frame),
                        f_number: group.f_numbers[p.frame],
                        blur_px: machine(p.blur.value),
                        blur_px_sd: machine(p.blur.sd),
                        blur_px_sd_apart: machine(p.apart_sd),
                    })
                    .collect(),
                best_f_number: answer.and_then(|a| group.f_numbers[a.best]),
                within_5_percent: answer.map(|a| stops(&a.within)),
                tiles: z.tiles,
            }
        })
        .collect();
    let split = apertures.and_then(|a| {
        let s = a.split.as_ref()?;
        Some(SplitView {
            growth_px: machine(s.growth.value),
            growth_px_sd: machine(s.growth.sd),
            expected_px: s.expected.and_then(machine),
            wavelength_um: group.pitch_um.and_then(|p| machine(s.growth.value * p)),
            zones: s
                .zones
                .iter()
                .map(|(name, z)| SplitZoneView {
                    zone: *name,
                    defocus_px: machine(z.defocus),
                    aberration_px: machine(z.aberration),
                    constant_px: machine(z.constant),
                    best_f_number: machine(z.best_f_number),
                })
                .collect(),
        })
    });
    let bracket = group.bracket.as_ref();
    let best_single = match (bracket, &group.sharpest) {
        (Some(b), _) => b.best_single.map(file),
        (None, Some(s)) => Some(file(s.frame)),
        (None, None) => apertures.and_then(|a| a.whole).map(file),
    };
    SeriesGroupView {
        varied: group.varied,
        members: group.files.clone(),
        sentence: wording::answer(group),
        zones,
        best_whole_frame: apertures
            .and_then(|a| a.whole)
            .map(|k| BestView { file: file(k), f_number: group.f_numbers[k] }),
        whole_frame_within_5_percent: apertures.map(|a| stops(&a.whole_within)),
        whole_frame_leaves_out: apertures
            .map(|a| a.left_out.iter().map(|&(zone, why)| LeftOutView { zone, why }).collect()),
        best_single,
        best_single_as_good: bracket.map(|b| b.as_good.iter().map(|&k| file(k)).collect()),
        covering_set: bracket.map(|b| b.covering_set.iter().map(|&k| file(k)).collect()),
        covering_set_instead: bracket.map(|b| {
            let named = |(k, any): &(usize, Vec<usize>)| InsteadView {
                of: file(*k),
                any: any.iter().map(|&k| file(k)).collect(),
            };
            b.instead.iter().map(named).collect()
        }),
        uncovered: bracket.map(|b| {
            let tile = |&t: &usize| {
                let r = group.tiles[t];
                TileRef { x: r.x, y: r.y, width: r.width, height: r.height }
            };
            b.uncovered.iter().map(tile).collect()
        }),
        sharpest: group.sharpest.as_ref().map(|s| SharpestView {
            file: file(s.frame),
            margin_percent: machine(s.margin.value * 100.0),
            margin_percent_sd: machine(s.margin.sd * 100.0),
            real: s.real,
        }),
        deepest_first: group.deepest_first.as_ref().map(|order| order.iter().map(|&k| file(k)).collect()),
        between: (group.files.len() == 2).then(|| group.between.iter().map(|b| between(group, b)).collect()),
        split,
        focus_shift: apertures.map(|a| {
            a.focus_shift
                .iter()
                .map(|s| FocusShiftView {
                    zone: s.zone,
                    from_f_number: group.f_numbers[s.from],
                    to_f_number: group.f_numbers[s.to],
                })
                .collect()
        }),
        permitted_px: bracket.and_then(|_| machine(group.permitted_px)),
        notes: group
            .notes
            .iter()
            .map(|&(k, note)| NoteView { file: k.map(file), note, sentence: wording::note(group, k, note) })
            .collect(),
        laid: group
            .laid
            .iter()
            .enumerate()
            .filter_map(|(k, map)| Some(laid(file(k), map.as_ref()?, group.size)))
            .collect(),
    }
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
