//! How each quantity is rounded, scaled and given its unit, for machines and for people.

use crate::optics::cover::THIRD_STOPS;
pub(in crate::report) use crate::quantity::plain;
use crate::quantity::{Distance, Estimate, SharpFor, Units};

/// A number for machines: rounded to `digits` significant figures, or `None` where it is not finite,
/// so that neither NaN nor infinity can reach a file.
#[must_use]
pub(in crate::report) fn significant(value: f64, digits: u32) -> Option<f64> {
    if !value.is_finite() {
        return None;
    }
    if value == 0.0 {
        return Some(0.0);
    }
    let magnitude = value.abs().log10().floor() as i32;
    let places = digits as i32 - 1 - magnitude;
    // A power of ten beyond the range of f64 would turn a finite number into NaN.
    if !(-290..=290).contains(&places) {
        return Some(value);
    }
    // Dividing by a whole power of ten rounds better than multiplying by its inverse.
    let scale = 10f64.powi(places.abs());
    Some(if places >= 0 { (value * scale).round() / scale } else { (value / scale).round() * scale })
}

/// Six significant figures, the precision of every machine-readable number.
#[must_use]
pub(in crate::report) fn machine(value: f64) -> Option<f64> {
    significant(value, 6)
}

/// Fixed decimals with a true minus sign kept as a plain hyphen, so that it can be read aloud and searched.
fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    // "-0.00" says nothing that "0.00" does not.
    if text.starts_with('-') && !text.contains(['1', '2', '3', '4', '5', '6', '7', '8', '9']) {
        text[1..].to_owned()
    } else {
        text
    }
}

/// Decimals that show a blur width as finely as its uncertainty deserves.
fn decimals(sd: f64) -> usize {
    if sd >= 1.0 {
        0
    } else if sd >= 0.2 {
        1
    } else {
        2
    }
}

/// A width with its uncertainty, `1.52 ± 0.06`, without its unit.
#[must_use]
pub(in crate::report) fn with_sd(estimate: Estimate) -> String {
    let places = decimals(estimate.sd);
    // A spread below what is shown would read as certainty; say the least that can be shown.
    let sd = estimate.sd.max(if places == 2 { 0.01 } else { 0.0 });
    format!("{} \u{b1} {}", fixed(estimate.value, places), fixed(sd, places))
}

/// A width, as finely as it can be compared with a limit: `0.53`, `2.71`, `14`.
#[must_use]
pub(in crate::report) fn width(px: f64) -> String {
    fixed(px, if px >= 10.0 { 0 } else { 2 })
}

/// Two widths that are compared with each other, with as many decimals as it takes to tell them apart, to three.
#[must_use]
pub(in crate::report) fn widths(a: f64, b: f64) -> (String, String) {
    let (x, y) = (width(a), width(b));
    if x == y && a < 10.0 { (fixed(a, 3), fixed(b, 3)) } else { (x, y) }
}

/// A distance as people say it: `2.4 m`, `85 cm`, `7 ft 10 in`, `infinity`.
#[must_use]
pub(in crate::report) fn distance(metres: f64, units: Units) -> String {
    if metres.is_infinite() {
        return "infinity".into();
    }
    match units {
        Units::Metric if metres < 1.0 => format!("{:.0} cm", metres * 100.0),
        Units::Metric if metres < 20.0 => format!("{metres:.1} m"),
        Units::Metric if metres < 1000.0 => format!("{metres:.0} m"),
        Units::Metric => format!("{:.1} km", metres / 1000.0),
        Units::Imperial => {
            let inches = (metres / 0.0254).round();
            let (feet, rest) = ((inches / 12.0).floor(), inches % 12.0);
            if feet < 1.0 {
                format!("{inches:.0} in")
            } else if feet >= 20.0 {
                format!("{:.0} ft", metres / 0.3048)
            } else if rest == 0.0 {
                format!("{feet:.0} ft")
            } else {
                format!("{feet:.0} ft {rest:.0} in")
            }
        }
    }
}

/// A focus distance as the camera stated it.
#[must_use]
pub(in crate::report) fn stated(distance_m: Distance, units: Units) -> String {
    match distance_m {
        Distance::Finite(m) => distance(m, units),
        Distance::Infinite => "infinity".into(),
        Distance::Interval { low, high } => format!("{} to {}", distance(low, units), distance(high, units)),
    }
}

/// `f/11`, `f/5.6`.
#[must_use]
pub(in crate::report) fn f_number(value: f64) -> String {
    let rounded = (value * 10.0).round() / 10.0;
    format!("f/{rounded}")
}

/// An f-number to set: the nearest that lenses mark in thirds of a stop, `f/11` for 10.6.
#[must_use]
pub(in crate::report) fn stop_to_set(value: f64) -> String {
    let away = |n: f64| (n / value).ln().abs();
    let marked = THIRD_STOPS.into_iter().min_by(|&a, &b| away(a).total_cmp(&away(b)));
    // Half a step and a little: beyond the ends of the scale the number itself is said.
    f_number(marked.filter(|&n| away(n) < 0.1).unwrap_or(value))
}

/// `1/125 s`, `0.4 s`, `2 s`.
#[must_use]
pub(in crate::report) fn exposure(seconds: f64) -> String {
    if seconds < 0.3 && seconds > 0.0 {
        format!("1/{:.0} s", 1.0 / seconds)
    } else {
        format!("{} s", (seconds * 10.0).round() / 10.0)
    }
}

/// `24 mm`.
#[must_use]
pub(in crate::report) fn focal(mm: f64) -> String {
    format!("{} mm", (mm * 10.0).round() / 10.0)
}

/// A share as whole per cent.
#[must_use]
pub(in crate::report) fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// The intended use as it is typed after `--sharp-for`.
#[must_use]
pub(in crate::report) fn sharp_for(intent: SharpFor) -> String {
    match intent {
        SharpFor::Diagonal1500 => "diagonal".into(),
        SharpFor::OneToOne => "1:1".into(),
        SharpFor::Print { long_m, short_m, distance_m } => {
            let cm = |m: f64| significant(m * 100.0, 6).unwrap_or_default();
            format!("print:{}x{}cm@{}cm", cm(long_m), cm(short_m), cm(distance_m))
        }
    }
}

/// A number of things, "1 frame" or "12 frames".
#[must_use]
pub fn counted(number: usize, of: &str) -> String {
    if number == 1 { format!("1 {of}") } else { format!("{number} {of}s") }
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
    fn machine_numbers_are_finite_and_short() {
        assert_eq!(machine(f64::NAN), None);
        assert_eq!(machine(f64::INFINITY), None);
        assert_eq!(machine(0.0), Some(0.0));
        assert_eq!(machine(1.234_567_89), Some(1.234_57));
        assert_eq!(machine(-123_456_789.0), Some(-123_457_000.0));
        assert_eq!(machine(0.000_012_345_678), Some(0.000_012_345_7));
        assert!(machine(f64::MIN_POSITIVE).unwrap().is_finite());
        assert!(machine(f64::MAX).unwrap().is_finite());
    }

    #[test]
    fn widths_show_no_more_than_they_know() {
        assert_eq!(with_sd(Estimate::new(1.523, 0.062, 3)), "1.52 ± 0.06");
        assert_eq!(with_sd(Estimate::new(4.26, 0.31, 3)), "4.3 ± 0.3");
        assert_eq!(with_sd(Estimate::new(12.3, 2.2, 3)), "12 ± 2");
        assert_eq!(with_sd(Estimate::new(0.61, 0.001, 3)), "0.61 ± 0.01");
        assert_eq!(with_sd(Estimate::new(-0.001, 0.05, 3)), "0.00 ± 0.05");
    }

    #[test]
    fn distances_are_said_as_people_say_them() {
        assert_eq!(distance(0.892, Units::Metric), "89 cm");
        assert_eq!(distance(2.44, Units::Metric), "2.4 m");
        assert_eq!(distance(2.4384, Units::Imperial), "8 ft");
        assert_eq!(distance(2.39, Units::Imperial), "7 ft 10 in");
        assert_eq!(distance(0.2, Units::Imperial), "8 in");
        assert_eq!(distance(f64::INFINITY, Units::Metric), "infinity");
        assert_eq!(distance(0.304, Units::Imperial), "1 ft");
    }

    #[test]
    fn facts_are_written_as_on_the_camera() {
        assert_eq!(f_number(11.0), "f/11");
        assert_eq!(f_number(5.6), "f/5.6");
        assert_eq!(exposure(0.008), "1/125 s");
        assert_eq!(exposure(0.4), "0.4 s");
        assert_eq!(exposure(2.0), "2 s");
        assert_eq!(sharp_for(SharpFor::Print { long_m: 0.6, short_m: 0.4, distance_m: 0.5 }), "print:60x40cm@50cm");
    }

    #[test]
    fn hidden_characters_are_spelt_out() {
        assert_eq!(plain("a\u{202e}gpj.b\n"), "a\\u{202e}gpj.b\\u{a}");
        assert_eq!(plain("moor é 日"), "moor é 日");
    }
}
