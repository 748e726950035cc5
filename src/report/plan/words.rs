//! Sentences of a plan.

use crate::optics::cover::{FARTHEST_BACK_MM, never_permitted};
use crate::optics::stops::THIRDS;
use crate::plan::{Plan, Question, Raise, StepBack, Stop, TiltUp, TiltedLens};
use crate::quantity::{Distance, SharpFor, Units};
use crate::report::say::camera::{exact_stop, fine_length, length, shutter, side, stop};
use crate::report::say::caution;
use crate::report::say::number::{digits, per_cent, tenths};
use crate::shot::Source;

/// The use the picture must be sharp for, and where its pixels don't show as much, that.
pub(super) fn sharp_for(question: &Question, units: Units) -> String {
    let mut text = match question.sharp_for {
        SharpFor::Diagonal1500 => "a disc of the sensor's diagonal / 1500".into(),
        SharpFor::OneToOne => "inspection at 1:1, two pixels".into(),
        SharpFor::Print { long_m, short_m, distance_m } => format!(
            "a print of {} by {} seen from {}",
            side(long_m, units),
            side(short_m, units),
            length(distance_m, units)
        ),
    };
    if question.set_by_pixels() {
        text += ", but no less than two pixels";
    }
    text
}

/// What was asked, and of which camera.
pub(super) fn asked(plan: &Plan, units: Units) -> [String; 2] {
    let asked = &plan.asked;
    let sensor = asked.sensor.value;
    let assumed = if asked.sensor.source == Source::Assumed { " (assumed)" } else { "" };
    [
        format!(
            "{} mm, sharp from {} to {}",
            digits(asked.focal_mm, 2),
            length(asked.near_m, units),
            length(asked.far_m, units)
        ),
        format!(
            "Sensor {} x {} mm{assumed}, pixels {:.1} \u{b5}m; permitted: {}, {:.1} \u{b5}m",
            tenths(sensor.width_mm),
            tenths(sensor.height_mm),
            asked.pitch_um.value,
            sharp_for(asked, units),
            plan.permitted_disc_um
        ),
    ]
}

/// Best f-number below which depth leaves the choice of the stop to the lens. Chosen: about where lenses are sharpest
/// (common practice, no published source).
pub(super) const SHALLOW: f64 = 5.6;

/// Whether depth and diffraction decide which stop is best, and not what the lens itself does.
pub(super) fn decides(plan: &Plan) -> bool {
    plan.best_f_number.is_some_and(|n| n >= SHALLOW) || !plan.enough
}

/// What is special about a stop.
pub(super) fn mark(plan: &Plan, s: &Stop) -> &'static str {
    match s.f_number {
        _ if plan.one_aperture => "",
        n if n == plan.best_stop && decides(plan) => "best",
        n if Some(n) == plan.asked.f_number => "asked",
        _ => "",
    }
}

/// The answer: where to focus, at which stop, and what that gives; then what it takes where that is not enough.
pub(super) fn answer(plan: &Plan, units: Units) -> Vec<String> {
    let at = |n: f64| plan.stops.iter().find(|s| s.f_number == n);
    let ends = |s: &Stop| {
        let permitted = plan.permitted_sigma_um;
        if s.acceptable {
            "near and far are both sharp enough".to_owned()
        } else {
            format!("near and far are {} times as soft as permitted", digits(s.worst_optical_um / permitted, 2))
        }
    };
    let mut all = vec![match (plan.best_f_number, at(plan.best_stop)) {
        (_, Some(only)) if plan.one_aperture => format!(
            "Focus at {}: at {}, the one aperture of this lens, {}.",
            length(plan.focus_distance_m, units),
            stop(only.f_number),
            ends(only)
        ),
        (None, _) | (_, None) => {
            format!("Focus at {}, at the stop where the lens is sharpest.", length(plan.focus_distance_m, units))
        }
        (Some(_), Some(best)) if best.acceptable && !decides(plan) => {
            let stops = || plan.stops.iter().filter(|s| s.acceptable).map(|s| s.f_number);
            let last = stops().fold(best.f_number, f64::max);
            let from = stops().fold(best.f_number, f64::min);
            let from = if from < last {
                format!("from {} to {}", stop(from), stop(last))
            } else {
                format!("at {}", stop(last))
            };
            format!(
                "Focus at {}: near and far are both sharp enough {from}, so set the stop at which the lens itself is sharpest.",
                length(plan.focus_distance_m, units)
            )
        }
        (Some(_), Some(best)) => {
            format!(
                "Focus at {} and set {}: {}.",
                length(plan.focus_distance_m, units),
                stop(plan.best_stop),
                ends(best)
            )
        }
    }];
    let open = |n: &f64| !plan.one_aperture && (*n != plan.best_stop || !decides(plan));
    if let Some(asked) = plan.asked.f_number.filter(open).and_then(at) {
        all.push(format!("At {}, the stop you have in mind, {}.", stop(asked.f_number), ends(asked)));
    }
    if !plan.enough {
        all.extend(remedies(plan, units));
    }
    all
}

/// What lies behind the answer.
pub(super) fn reasons(plan: &Plan, units: Units) -> Vec<String> {
    let mut all = vec![focus(plan, units), aperture(plan)];
    all.extend(differences(plan));
    all.extend(caveats(plan));
    all
}

fn focus(plan: &Plan, units: Units) -> String {
    let mut text = "Distances are measured from the entrance pupil (inside the lens, near its front)".to_owned();
    if let Some([near, far]) = plan.focus_range_m {
        let far = match far {
            Distance::Infinite => "infinity".into(),
            other => length(other.middle(), units),
        };
        text += &format!(
            "; at {} anything from {} to {far} keeps both ends permitted",
            stop(plan.best_stop),
            length(near.middle(), units)
        );
    }
    // Distance scales count from the sensor mark; the gap of about 0.1 m is common practice, no published source.
    let off = 0.1 / plan.focus_distance_m;
    text += &format!(
        ". A lens scale and the camera's record count from the sensor mark, about {} farther back ({} here), and move \
         in coarse steps: trust them to a tenth or two, and check with the magnified view.",
        length(0.1, units),
        per_cent(off)
    );
    text
}

fn aperture(plan: &Plan) -> String {
    let (Some(best), Some([low, high])) = (plan.best_f_number, plan.within_5_percent) else {
        let at = "Near and far are at one distance, so there is no depth to cover";
        return if plan.one_aperture {
            format!("{at}.")
        } else {
            format!("{at}: use the stop at which the lens itself is sharpest.")
        };
    };
    if plan.one_aperture {
        return format!(
            "This lens has one aperture, {}, so that only the focus, the place or more frames change what is sharp.",
            stop(plan.best_stop)
        );
    }
    let mut text = if best < THIRDS[0] {
        "Depth and diffraction alone would have it opened wider than lenses are".to_owned()
    } else {
        format!(
            "The exact optimum is {}, and from {} to {} both ends stay within 5 % of it",
            exact_stop(best),
            exact_stop(low),
            exact_stop(high)
        )
    };
    text += if plan.enough { "." } else { ", but no stop makes both ends sharp enough for this use." };
    if best < SHALLOW {
        text += " With so little depth the lens's own faults, which are not reckoned here, may ask for a smaller \
                 aperture than that.";
    }
    if best > 1.06 * plan.asked.smallest {
        text += &format!(" The lens closes to {} (--smallest says otherwise).", stop(plan.asked.smallest));
    }
    text
}

/// f-numbers between which what a rule says is worth telling. Chosen: no lens opens wider or closes further.
const RULES: std::ops::RangeInclusive<f64> = 1.0..=128.0;

fn differences(plan: &Plan) -> Vec<String> {
    let mut all = Vec::new();
    // What rules say of other stops is no use to a lens that has none.
    let told = |n: &f64| RULES.contains(n) && !plan.one_aperture;
    if let (Some(rule), Some(excess)) = (plan.root_square_f_number.filter(told), plan.root_square_excess) {
        all.push(format!(
            "The root-square rule says {}: it adds diffraction and defocus by their squares as though both were \
             Gaussian. Taken together exactly they ask for a slightly smaller opening; the rule's ends are {} softer.",
            exact_stop(rule),
            per_cent(excess)
        ));
    }
    if let Some(table) = plan.hyperfocal.as_ref().filter(|table| told(&table.f_number)) {
        let name = if plan.asked.far_m.is_infinite() { "hyperfocal table" } else { "depth-of-field table" };
        let change = table.over_best.unwrap_or(1.0) - 1.0;
        let best = plan.best_f_number.unwrap_or(plan.best_stop);
        all.push(if table.f_number < best {
            format!(
                "A {name} for this disc says {}: it stops as soon as geometry alone reaches the permitted disc, and \
                 leaves the ends {} softer than they could be.",
                exact_stop(table.f_number),
                per_cent(change)
            )
        } else {
            format!(
                "A {name} for this disc says {}: it does not know diffraction, which by then makes the ends {} softer \
                 than the best stop does.",
                exact_stop(table.f_number),
                per_cent(change)
            )
        });
    }
    all
}

/// How stepping back, raising, pointing, tilting or bracketing would help, each with its cost.
fn remedies(plan: &Plan, units: Units) -> Vec<String> {
    if never_permitted(plan.permitted_sigma_um) {
        return vec![
            "The permitted blur is less than diffraction leaves at any stop, so that neither another place nor more \
             frames would do: permit more with --sharp-for."
                .into(),
        ];
    }
    let mut all = vec![step_back(&plan.step_back, units)];
    let asked = plan.asked.f_number.filter(|_| !plan.one_aperture);
    if let (Some(f_number), Some(back)) = (asked, plan.step_back.needed_at_asked_stop_m) {
        all.push(format!("At {} it takes {}.", stop(f_number), length(back, units)));
    }
    all.extend(plan.raise.as_ref().map(|raise| raised(raise, units)));
    all.extend(plan.tilt_up.as_ref().map(pointed));
    if plan.step_back.needed_m.is_some() || plan.raise.is_some() {
        all.push(caution::IN_FULL.into());
    }
    all.extend(plan.tilted_lens.as_ref().map(|tilted| hinged(tilted, units)));
    all.push(bracket(plan, units));
    all
}

fn step_back(step: &StepBack, units: Units) -> String {
    match (step.needed_m, step.near_size) {
        (Some(back), Some(size)) if size < 0.05 => format!(
            "Both ends would fit only from {} farther back, where little is left of the near subject: another picture.",
            length(back, units)
        ),
        (Some(back), Some(size)) if size < 0.5 => format!(
            "Both ends would fit only from {} farther back, where the near subject is drawn {} smaller: another picture.",
            length(back, units),
            per_cent(1.0 - size)
        ),
        (Some(back), Some(size)) => format!(
            "Step back {} and both ends fit; the near subject is drawn {} smaller and more of the ground comes in.",
            length(back, units),
            per_cent(1.0 - size)
        ),
        _ => format!("Stepping back would take more than {}.", length(FARTHEST_BACK_MM * 1e-3, units)),
    }
}

fn raised(raise: &Raise, units: Units) -> String {
    let out = if raise.horizon < 0.0 { ", which puts the horizon out of the frame" } else { "" };
    format!(
        "Or raise the camera: to {} pointing as it does, which loses the nearest strip of ground; or to {} pointing \
         {:.0} degrees down to keep that ground{out}. The nearest ground is then {} away.",
        length(raise.height_same_direction_m, units),
        length(raise.height_same_ground_m, units),
        raise.down_deg,
        length(raise.needed_near_m, units)
    )
}

fn pointed(tilt: &TiltUp) -> String {
    let way = if tilt.down_deg < 0.0 { "above" } else { "below" };
    let horizon = |share: f64| match share {
        s if s < 0.0 => "out of the frame above".to_owned(),
        s if s > 1.0 => "out of the frame below".to_owned(),
        s => format!("{:.0} % down the picture", 100.0 * s),
    };
    format!(
        "Or point it {:.0} degrees {way} the horizon: the nearest strip of ground drops out, and the horizon, {} \
         now, comes to lie {}.",
        tilt.down_deg.abs(),
        horizon(tilt.horizon_before),
        horizon(tilt.horizon)
    )
}

fn hinged(tilted: &TiltedLens, units: Units) -> String {
    format!(
        "Or a tilting lens: {:.1} degrees lay the plane of focus along the ground (hinge rule, hinge line {} below \
         the lens); at {} things may stand {} tall at the near end and {} ten times as far out. It is set before \
         framing, and tall near things are what it costs.",
        tilted.tilt_deg,
        length(tilted.hinge_m, units),
        stop(tilted.f_number),
        length(tilted.wedge_near_m, units),
        length(tilted.wedge_at_ten_times_m, units)
    )
}

/// Frames up to which a focus bracket is practical in the field; common practice, no published source.
const PRACTICAL: u64 = 15;

/// Frames of a bracket beyond which their number is not told. Chosen: nobody takes as many.
pub(super) const COUNTED: u64 = 999;

fn bracket(plan: &Plan, units: Units) -> String {
    let bracket = &plan.bracket;
    if bracket.count > PRACTICAL {
        let instead = match plan.step_back.needed_m {
            Some(_) => {
                "change something else first, stand farther back, higher or tilt the camera up, or take a shorter lens"
            }
            None => "take a shorter lens, or permit more blur with --sharp-for",
        };
        let count = match bracket.count {
            count if count > COUNTED => format!("more than {COUNTED}"),
            count => count.to_string(),
        };
        return format!(
            "A focus bracket would take {count} frames at {}, which is not practical: {instead}.",
            stop(bracket.f_number)
        );
    }
    let list: Vec<String> = bracket.frames.iter().map(|f| fine_length(f.focus_distance_m, units)).collect();
    let frames = if bracket.count == 1 { "one frame" } else { "frames" };
    format!(
        "Or bracket the focus: {} {frames} at {}, focused at {} (equal steps of inverse distance), to be joined \
         elsewhere. Focusing nearer narrows the field by up to {} on a lens that moves as a whole, and whatever moves \
         between the frames won't match.",
        bracket.count,
        stop(bracket.f_number),
        list.join(", "),
        per_cent(bracket.field_change)
    )
    .replace("1 one frame", "one frame")
}

/// What the numbers do not know.
fn caveats(plan: &Plan) -> Vec<String> {
    let mut all = Vec::new();
    if plan.asked.pitch_um.source == Source::Assumed {
        all.push(format!(
            "The pixel pitch is assumed to be {:.1} \u{b5}m; give --pitch for exact widths in pixels.",
            plan.asked.pitch_um.value
        ));
    }
    if plan.magnification >= 0.05 {
        all.push(format!(
            "The f-numbers are those marked; so close, a camera that shows the working one says {:.2} times as much.",
            1.0 + plan.magnification
        ));
    }
    all
}

/// Longest exposures as a sentence each.
pub(super) fn motion(plan: &Plan, units: Units) -> Vec<String> {
    use crate::plan::Movement;
    plan.motion
        .iter()
        .map(|m| {
            let at = |speed: f64| match units {
                Units::Metric => format!("{} cm/s", digits(speed * 100.0, 2)),
                Units::Imperial => format!("{} in/s", digits(speed / 0.0254, 2)),
            };
            let what = match m.kind {
                Movement::StillGrass => "grass hardly stirring",
                Movement::Breeze => "grass in a breeze",
                Movement::Wind => "grass in wind",
                Movement::Given => "a subject at the speed given",
                Movement::HandHeld => "held by hand, without stabilising",
            };
            match m.speed_m_s {
                Some(speed) => format!("{what} ({} at the near distance): {}", at(speed), shutter(m.longest_s)),
                None => format!("{what}: {}", shutter(m.longest_s)),
            }
        })
        .collect()
}
