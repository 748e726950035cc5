//! view(&Run) -> View: rounds every number once and puts it under its published name.

use std::collections::BTreeMap;

use super::baselines::{LensBasis, baseline};
use super::keep::{proposal, report_id};
use super::lenses::lens;
use super::run::{Frame, Run};
use super::tiles::{BudgetView, TileView};
use super::view::{
    AskedView, CauseCount, CauseWeight, CornersView, FrameView, GridView, ImpliedDistanceView, ImpliedView, InFocus,
    MarksView, ModelView, PermittedView, SettingCount, SharpView, SummaryView, VERSION, VerdictView, View, ZoneView,
    ZonesView,
};
use super::{corner, words};
use crate::diagnose::{
    Basis, Budget, Cause, Diagnosis, FrameModel, Implied, ImpliedDistance, Standing, Zone, ZoneName,
};
use crate::judge;
use crate::lens::Baseline;
use crate::measure::TileMap;
use crate::quantity::{Distance, Estimate, Flag, Intent, Place, Point, Units};
use crate::report::say::number::machine;
use crate::shot::{Capture, Fact};

/// The view of a whole run.
#[must_use]
pub fn view(run: &Run) -> View {
    let bases = bases(&run.baselines, run.frames.len());
    let frames = run.frames.iter().zip(bases).enumerate().map(|(i, (f, base))| told(f, i, base, run)).collect();
    assembled(frames, run)
}

/// By frame, the place among the baselines of the one that it was judged by.
#[must_use]
pub fn bases(baselines: &[LensBasis], frames: usize) -> Vec<Option<usize>> {
    let mut of = vec![None; frames];
    for (i, lens) in baselines.iter().enumerate().filter(|(_, l)| l.baseline.is_some()) {
        for &k in &lens.frames {
            if let Some(base) = of.get_mut(k) {
                *base = Some(i);
            }
        }
    }
    of
}

/// The view of one frame of a run, whose frames may be elsewhere, by its place there; `base`: the place of its baseline.
#[must_use]
pub fn told(f: &Frame, index: usize, base: Option<usize>, run: &Run) -> FrameView {
    let baseline = base.and_then(|i| run.baselines.get(i)?.baseline.as_ref());
    let mut view = frame(f, baseline.is_some_and(|b| b.provisional), &run.intent);
    if let Some(baseline) = baseline {
        view.corners.baseline = base;
        view.corners.in_focus = in_focus(baseline, &view);
    }
    view.proposal = proposal(&run.groups, index, &view);
    view
}

/// The view of a run from those of its frames; whatever frames the run itself holds are passed over.
#[must_use]
pub fn assembled(frames: Vec<FrameView>, run: &Run) -> View {
    let summary = summary(&frames, run.failed(), run.unreached);
    View {
        format: "tussock.audit",
        version: VERSION,
        id: report_id(&frames),
        base: run.base.clone(),
        asked: asked(&run.intent),
        summary,
        frames,
        failures: run.failures.clone(),
        groups: run.groups.clone(),
        baselines: run.baselines.iter().map(baseline).collect(),
        lenses: run.lenses.iter().map(|l| lens(l, &run.baselines)).collect(),
    }
}

/// What a baseline expects of a frame's lens in focus, from the centre to the corner.
fn in_focus(baseline: &Baseline, f: &FrameView) -> Vec<InFocus> {
    const STEPS: u32 = 20;
    let (Some(n), Some(pitch)) = (&f.capture.f_number, &f.capture.pixel_pitch_um) else { return Vec::new() };
    let at = |distance: f64| {
        let e = baseline.in_focus_px(distance, n.value, pitch.value, (f.width, f.height))?;
        let o = judge::optical(e);
        Some(InFocus { distance, optical_px: ((o.value - o.sd).max(0.0), o.value + o.sd) })
    };
    (0..=STEPS).filter_map(|k| at(f64::from(k) / f64::from(STEPS))).collect()
}

fn asked(intent: &Intent) -> AskedView {
    let place = |p: Place| {
        let (x, y) = match p {
            Place::Fractions(p) => (p.x, p.y),
            Place::Pixels { x, y } => (x, y),
        };
        Some(format!("{},{}", machine(x)?, machine(y)?))
    };
    AskedView {
        sharp_for: intent.sharp_for.to_string(),
        near_at: intent.near_at.and_then(place),
        far_at: intent.far_at.and_then(place),
        near_m: intent.near_m.and_then(metres),
        far_m: intent.far_m.and_then(metres),
        camera_height_m: intent.camera_height_m.and_then(machine),
        units: match intent.units {
            Units::Metric => "metric",
            Units::Imperial => "imperial",
        },
    }
}

/// One frame; never fails, whatever the numbers: what is not finite becomes null. `provisional`: whether its lens was learned
/// from the very shoot.
fn frame(frame: &Frame, provisional: bool, intent: &Intent) -> FrameView {
    let (map, found) = (&frame.map, &frame.diagnosis);
    let capture = capture(&frame.capture);
    let pitch = capture.pixel_pitch_um.as_ref().map(|p| p.value);
    let mut flags: Vec<_> = frame.flags.iter().chain(&found.flags).copied().collect();
    if provisional && found.corners.basis == Basis::Learned {
        flags.push(Flag::LensBaselineProvisional);
    }
    flags.sort_unstable();
    flags.dedup();
    let words = [Units::Metric, Units::Imperial].map(|units| words::of(found, &frame.capture, &flags, units));
    let asked = usize::from(intent.units == Units::Imperial);
    FrameView {
        file: frame.file.clone(),
        original: None,
        twins: Vec::new(),
        width: map.width,
        height: map.height,
        grid: GridView { columns: map.columns, rows: map.rows },
        charted: map.tiles.iter().any(|t| t.blur.is_some_and(|b| machine(b.value).is_some())),
        tiles: (0..map.tiles.len()).map(|i| tile(map, found, i)).collect(),
        sharp: sharp(found),
        zones: zones(found, pitch),
        verdict: VerdictView {
            cause: found.verdict.cause,
            confidence: machine(found.verdict.confidence).unwrap_or(0.0),
            also: found.verdict.also.clone(),
            sentence: words[asked].sentence(),
            advice: words[asked].advice.clone(),
            weights: found
                .verdict
                .weights
                .iter()
                .filter_map(|&(cause, p)| Some(CauseWeight { cause, probability: machine(p)? }))
                .collect(),
            unsettled: found.verdict.unsettled,
            words,
        },
        corners: corners(found),
        permitted: PermittedView {
            blur_px: machine(found.permitted_px),
            blur_um: pitch.and_then(|p| machine(found.permitted_px * p)),
            disc_px: machine(found.permitted_px / crate::quantity::DISC_SIGMA),
            finest_px: machine(found.finest_px),
            set_by: judge::set_by(found.permitted_px),
        },
        model: found.model.as_ref().map(model),
        implied: implied(&found.implied),
        marks: MarksView { near_at: found.near_at.and_then(point), far_at: found.far_at.and_then(point) },
        capture,
        flags,
        group: frame.group,
        proposal: None,
    }
}

/// A tile by its place in the map.
fn tile(map: &TileMap, found: &Diagnosis, i: usize) -> TileView {
    let t = &map.tiles[i];
    let optical = t.blur.map(judge::optical);
    TileView {
        x: t.x,
        y: t.y,
        width: t.width,
        height: t.height,
        state: t.state,
        contrast: machine(t.contrast),
        blur_px: value(t.blur),
        blur_px_sd: sd(t.blur),
        with_neighbours: t.alone.is_some(),
        bound_px: t.bound.and_then(machine),
        optical_px: value(optical),
        optical_px_sd: sd(optical),
        mtf50: t.mtf50().and_then(machine),
        standing: found.standing.get(i).copied().unwrap_or(Standing::Unmeasured),
        budget: found.budgets.get(i).and_then(Option::as_ref).map(budget),
    }
}

fn zones(found: &Diagnosis, pitch: Option<f64>) -> ZonesView {
    let zone = |name: ZoneName| found.zone(name).map_or_else(ZoneView::default, |z| zone(z, pitch));
    ZonesView {
        near: zone(ZoneName::Near),
        far: zone(ZoneName::Far),
        centre: zone(ZoneName::Centre),
        top_left: zone(ZoneName::TopLeft),
        top_right: zone(ZoneName::TopRight),
        bottom_left: zone(ZoneName::BottomLeft),
        bottom_right: zone(ZoneName::BottomRight),
    }
}

fn corners(diagnosis: &Diagnosis) -> CornersView {
    let found = &diagnosis.corners;
    CornersView {
        soft: corner::names(&diagnosis.soft_corners()),
        state: found.state,
        basis: found.basis,
        baseline: None,
        in_focus: Vec::new(),
        expected_px: value(found.expected_px),
        expected_px_sd: sd(found.expected_px),
        excess_px: value(found.excess_px),
        excess_px_sd: sd(found.excess_px),
        field_curvature: found.field_curvature,
    }
}

fn value(estimate: Option<Estimate>) -> Option<f64> {
    estimate.and_then(|e| machine(e.value))
}

fn sd(estimate: Option<Estimate>) -> Option<f64> {
    estimate.and_then(|e| machine(e.sd))
}

fn point(p: Point) -> Option<Point> {
    Some(Point { x: machine(p.x)?, y: machine(p.y)? })
}

fn metres(value: f64) -> Option<Distance> {
    if value == f64::INFINITY { Some(Distance::Infinite) } else { machine(value).map(Distance::Finite) }
}

fn distance(value: Distance) -> Option<Distance> {
    match value {
        Distance::Finite(m) => metres(m),
        Distance::Infinite => Some(Distance::Infinite),
        Distance::Interval { low, high } => Some(Distance::Interval {
            low: machine(low)?,
            high: if high == f64::INFINITY { high } else { machine(high)? },
        }),
    }
}

/// Capture facts with every number rounded; a fact that is no number is no fact.
#[must_use]
pub fn capture(facts: &Capture) -> Capture {
    fn map<T: Copy>(fact: &Option<Fact<T>>, with: impl Fn(T) -> Option<T>) -> Option<Fact<T>> {
        fact.as_ref().and_then(|f| Some(Fact::new(with(f.value)?, f.source)))
    }
    let number = |fact| map(fact, machine);
    Capture {
        f_number: number(&facts.f_number),
        focal_length_mm: number(&facts.focal_length_mm),
        focal_length_35mm: number(&facts.focal_length_35mm),
        exposure_s: number(&facts.exposure_s),
        iso: number(&facts.iso),
        focus_distance_m: map(&facts.focus_distance_m, distance),
        focus_point: map(&facts.focus_point, point),
        pixel_pitch_um: number(&facts.pixel_pitch_um),
        ..facts.clone()
    }
}

fn zone(zone: &Zone, pitch: Option<f64>) -> ZoneView {
    let um = pitch.and_then(|p| zone.blur_px.map(|b| b.scaled(p)));
    ZoneView {
        blur_px: value(zone.blur_px),
        blur_px_sd: sd(zone.blur_px),
        blur_um: value(um),
        blur_um_sd: sd(um),
        tiles: zone.used,
        optical_px: value(zone.optical_px),
        optical_px_sd: sd(zone.optical_px),
        soft: zone.soft.and_then(machine),
        answer: zone.answer,
        budget: zone.budget.as_ref().map(budget),
        members: zone.tiles.clone(),
    }
}

fn sharp(found: &Diagnosis) -> SharpView {
    let of = |name| found.answer(name).judgement;
    let reasons = ZoneName::JUDGED.into_iter().filter_map(|name| Some((name.key(), found.answer(name).reason?)));
    SharpView {
        throughout: found.sharp_throughout(),
        near: of(ZoneName::Near),
        far: of(ZoneName::Far),
        centre: of(ZoneName::Centre),
        top_left: of(ZoneName::TopLeft),
        top_right: of(ZoneName::TopRight),
        bottom_left: of(ZoneName::BottomLeft),
        bottom_right: of(ZoneName::BottomRight),
        reasons: reasons.collect(),
    }
}

fn budget(b: &Budget) -> BudgetView {
    BudgetView {
        pixel: machine(b.pixel),
        diffraction: b.diffraction.and_then(machine),
        defocus: machine(b.defocus.value),
        lens: machine(b.lens.value),
        motion: machine(b.motion.value),
        total: machine(b.total),
    }
}

fn model(m: &FrameModel) -> ModelView {
    ModelView {
        disc_px: machine(m.disc_px.value),
        disc_down_px: machine(m.disc_down_px.value),
        disc_right_px: machine(m.disc_right_px.value),
        disc_far_px: machine(m.disc_far_px.value),
        horizon: machine(m.horizon),
        lens_centre_px: machine(m.lens_centre_px.value),
        lens_corner_px: machine(m.lens_corner_px.value),
        lens_corner_px_sd: machine(m.lens_corner_px.sd),
        motion_px: machine(m.motion_px.value),
        doubled_px: m.doubled_px.and_then(|apart| machine(apart.value)),
        motion_angle: m.motion_angle.and_then(machine),
        lambda_n_px: m.lambda_n_px.and_then(machine),
        focus_line: m.focus_line.and_then(|[a, b]| Some([point(a)?, point(b)?])),
        chi_square: machine(m.chi_square),
    }
}

fn implied(i: &Implied) -> ImpliedView {
    let interval = |d: Option<ImpliedDistance>| {
        d.and_then(|d| {
            Some(ImpliedDistanceView { value: metres(d.value)?, low: metres(d.low)?, high: metres(d.high)? })
        })
    };
    ImpliedView {
        focus_m: interval(i.focus_m),
        near_m: interval(i.near_m),
        recorded_m: i.recorded_m.and_then(distance),
        right_focus_m: i.right_focus_m.and_then(metres),
        best_f_number: i.best_f_number.and_then(machine),
        root_square_f_number: i.root_square_f_number.and_then(machine),
        step_back_m: i.step_back_m.and_then(machine),
    }
}

fn summary(frames: &[FrameView], failures: usize, unreached: usize) -> SummaryView {
    let count = |cause: Cause| frames.iter().filter(|f| f.verdict.cause == cause).count();
    let answered = |answer: Option<bool>| frames.iter().filter(|f| f.sharp.throughout == answer).count();
    SummaryView {
        frames: frames.len(),
        failures,
        unreached,
        sharp_throughout: answered(Some(true)),
        not_sharp: answered(Some(false)),
        unknown: answered(None),
        causes: Cause::ALL.iter().map(|&cause| CauseCount { cause, frames: count(cause) }).collect(),
        settings: settings(frames),
    }
}

fn settings(frames: &[FrameView]) -> Vec<SettingCount> {
    // f-numbers are keyed in tenths, as they are written on the lens.
    type Setting<'a> = (Option<&'a str>, Option<i64>);
    let mut by: BTreeMap<Setting<'_>, Vec<(Cause, Option<bool>)>> = BTreeMap::new();
    for f in frames {
        let lens = f.capture.lens.as_ref().map(|l| l.value.as_str());
        let tenths = f.capture.f_number.as_ref().map(|n| (n.value * 10.0).round() as i64);
        by.entry((lens, tenths)).or_default().push((f.verdict.cause, f.sharp.throughout));
    }
    let mut out: Vec<SettingCount> = by
        .into_iter()
        .map(|((lens, tenths), causes)| {
            // Of the frames that are not sharp from near to far: a sharp one may have a cause too, such as one soft side.
            let times = |cause: Cause| causes.iter().filter(|c| c.0 == cause && c.1 != Some(true)).count();
            SettingCount {
                lens: lens.map(str::to_owned),
                f_number: tenths.map(|t| t as f64 / 10.0),
                frames: causes.len(),
                sharp_throughout: causes.iter().filter(|c| c.1 == Some(true)).count(),
                commonest: Cause::ALL
                    .iter()
                    .copied()
                    .filter(|&c| c != Cause::SharpThroughout && times(c) > 0)
                    // The first of equals, in the order of the table, so that the answer is stable.
                    .rev()
                    .max_by_key(|&c| times(c)),
            }
        })
        .collect();
    out.sort_by_key(|s| std::cmp::Reverse(s.frames));
    out
}
