//! Quantities as photographers say them: distances, stops, times, focal lengths, sensors and uses.

use super::number::{digits, tenths};
use crate::optics::stops::THIRDS;
use crate::quantity::{Distance, Units};

/// A distance as people say it: `2.4 m`, `85 cm`, `7 ft 10 in`, `infinity`.
pub(in crate::report) fn distance(metres: f64, units: Units) -> String {
    if metres.is_infinite() {
        return "infinity".into();
    }
    match units {
        Units::Metric if metres < 1.0 => format!("{:.0} cm", metres * 100.0),
        Units::Metric if metres < 20.0 => format!("{metres:.1} m"),
        Units::Metric if metres < 1000.0 => format!("{metres:.0} m"),
        Units::Metric => format!("{:.1} km", metres / 1000.0),
        Units::Imperial => imperial(metres, 1),
    }
}

/// Feet and inches as people say them: inches below two feet, to whole ones or to so many digits where that is finer; feet and
/// whole inches below twenty feet; from there on feet.
fn imperial(metres: f64, figures: i32) -> String {
    let inches = metres / 0.0254;
    let whole = inches.round();
    if whole.abs() < 24.0 {
        let fine = if inches.abs() < 10f64.powi(figures - 1) { digits(inches, figures) } else { format!("{whole:.0}") };
        return format!("{fine} in");
    }
    let (feet, rest) = ((whole / 12.0).trunc(), (whole % 12.0).abs());
    if feet.abs() >= 20.0 {
        format!("{:.0} ft", metres / 0.3048)
    } else if rest == 0.0 {
        format!("{feet:.0} ft")
    } else {
        format!("{feet:.0} ft {rest:.0} in")
    }
}

/// A focus distance as the camera stated it.
pub(in crate::report) fn stated(distance_m: Distance, units: Units) -> String {
    bounds(distance_m, |m| distance(m, units))
}

/// The same to as many digits as a record is good for.
pub(in crate::report) fn stated_finely(distance_m: Distance, units: Units) -> String {
    bounds(distance_m, |m| length(m, units))
}

fn bounds(distance_m: Distance, say: impl Fn(f64) -> String) -> String {
    match distance_m {
        Distance::Finite(m) => say(m),
        Distance::Infinite => "infinity".into(),
        Distance::Interval { low, high } if low <= 0.0 => format!("nearer than {}", say(high)),
        Distance::Interval { low, high } => format!("{} to {}", say(low), say(high)),
    }
}

/// A length for people, finer in metres than [`distance`]: centimetres below one, feet and inches as there.
pub(in crate::report) fn length(metres: f64, units: Units) -> String {
    if metres.is_infinite() {
        return "infinity".into();
    }
    match units {
        Units::Metric if metres.abs() < 0.995 => format!("{} cm", digits(metres * 100.0, 2)),
        Units::Metric => format!("{} m", digits(metres, 3)),
        Units::Imperial => imperial(metres, 2),
    }
}

/// Lengths that lie close together, to one more digit.
pub(in crate::report) fn fine_length(metres: f64, units: Units) -> String {
    match units {
        Units::Metric if metres < 1.0 => format!("{} cm", digits(metres * 100.0, 3)),
        Units::Imperial => imperial(metres, 3),
        Units::Metric => length(metres, units),
    }
}

/// The side of a print, which is in inches however long it is.
pub(in crate::report) fn side(metres: f64, units: Units) -> String {
    match units {
        Units::Metric => length(metres, units),
        Units::Imperial => format!("{} in", digits(metres / 0.0254, 2)),
    }
}

/// `f/11`, `f/5.6`.
pub(crate) fn f_number(value: f64) -> String {
    format!("f/{}", tenths(value))
}

/// An f-number to set: the nearest that lenses mark in thirds of a stop, `f/11` for 10.6.
pub(in crate::report) fn stop_to_set(value: f64) -> String {
    let away = |n: f64| (n / value).ln().abs();
    let marked = THIRDS.into_iter().min_by(|&a, &b| away(a).total_cmp(&away(b)));
    // Half a step and a little: beyond the ends of the scale the number itself is said.
    f_number(marked.filter(|&n| away(n) < 0.1).unwrap_or(value))
}

/// A stop as marked.
pub(in crate::report) fn stop(f_number: f64) -> String {
    let decimals = usize::from(f_number < 9.95 && (f_number - f_number.round()).abs() > 0.02);
    format!("f/{f_number:.decimals$}")
}

/// A stop between the marks.
pub(in crate::report) fn exact_stop(f_number: f64) -> String {
    format!("f/{f_number:.1}")
}

/// `1/125 s`, `0.4 s`, `2 s`.
pub(in crate::report) fn exposure(seconds: f64) -> String {
    if seconds < 0.3 && seconds > 0.0 { format!("1/{:.0} s", 1.0 / seconds) } else { format!("{} s", tenths(seconds)) }
}

/// Shutter times as cameras show them, in thirds of a stop, s or fractions of one: common practice, no published source.
const SECONDS: [f64; 21] =
    [30.0, 25.0, 20.0, 15.0, 13.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.2, 2.5, 2.0, 1.6, 1.3, 1.0, 0.8, 0.6, 0.5, 0.4, 0.3];
const FRACTIONS: [u32; 46] = [
    4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250,
    1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000, 10_000, 12_800, 16_000, 20_000, 25_600, 32_000, 40_000, 51_200,
    64_000, 80_000, 102_400, 128_000,
];

/// The longest shutter time of a camera that is not longer than this.
pub(in crate::report) fn shutter(longest_s: f64) -> String {
    // What a camera shows is rounded itself.
    let most = 1.03 * longest_s;
    if let Some(s) = SECONDS.iter().find(|s| **s <= most) {
        return format!("{s} s");
    }
    let fraction = FRACTIONS.iter().find(|n| 1.0 / f64::from(**n) <= most);
    fraction.map_or_else(|| "shorter than any camera's".into(), |n| format!("1/{n} s"))
}

/// `24 mm`.
pub(in crate::report) fn focal(mm: f64) -> String {
    format!("{} mm", tenths(mm))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stop_to_set_is_one_that_lenses_mark() {
        // Marked stops in thirds: common practice, no published source.
        for (value, said) in
            [(9.4, "f/9"), (10.4, "f/10"), (10.6, "f/11"), (15.3, "f/16"), (4.4, "f/4.5"), (60.0, "f/60")]
        {
            assert_eq!(stop_to_set(value), said, "{value}");
        }
    }

    #[test]
    fn distances_are_said_as_people_say_them() {
        assert_eq!(distance(0.892, Units::Metric), "89 cm");
        assert_eq!(distance(2.44, Units::Metric), "2.4 m");
        assert_eq!(distance(2.4384, Units::Imperial), "8 ft");
        assert_eq!(distance(2.39, Units::Imperial), "7 ft 10 in");
        assert_eq!(distance(0.2, Units::Imperial), "8 in");
        assert_eq!(distance(f64::INFINITY, Units::Metric), "infinity");
        assert_eq!(distance(0.304, Units::Imperial), "12 in");
        assert_eq!(distance(5.0, Units::Imperial), "16 ft 5 in");
        assert_eq!(distance(30.0, Units::Imperial), "98 ft");
    }

    /// An inch is 25.4 mm, a foot twelve of them (the international yard of 1959).
    #[test]
    fn feet_and_inches_have_one_style_however_fine() {
        for (inches, coarse, plain, fine) in [
            (5.94, "6 in", "5.9 in", "5.94 in"),
            (18.26, "18 in", "18 in", "18.3 in"),
            (51.4, "4 ft 3 in", "4 ft 3 in", "4 ft 3 in"),
            (23.7, "2 ft", "2 ft", "2 ft"),
            (143.6, "12 ft", "12 ft", "12 ft"),
            (239.8, "20 ft", "20 ft", "20 ft"),
            (1200.0, "100 ft", "100 ft", "100 ft"),
        ] {
            let metres = 0.0254 * inches;
            let said = [distance, length, fine_length].map(|say| say(metres, Units::Imperial));
            assert_eq!(said, [coarse, plain, fine]);
        }
        assert_eq!((side(0.9144, Units::Imperial), side(0.6, Units::Metric)), ("36 in".into(), "60 cm".into()));
    }

    #[test]
    fn facts_are_written_as_on_the_camera() {
        assert_eq!(f_number(11.0), "f/11");
        assert_eq!(f_number(5.6), "f/5.6");
        assert_eq!(exposure(0.008), "1/125 s");
        assert_eq!(exposure(0.4), "0.4 s");
        assert_eq!(exposure(2.0), "2 s");
        assert_eq!(stated(Distance::Interval { low: 1.19, high: f64::INFINITY }, Units::Metric), "1.2 m to infinity");
        assert_eq!(stated_finely(Distance::Finite(2.85), Units::Metric), "2.85 m");
        assert_eq!(stated(Distance::Interval { low: 0.0, high: 1.2 }, Units::Metric), "nearer than 1.2 m");
    }
}
