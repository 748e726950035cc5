//! How numbers are rounded: for machines, and blur widths, shares and counts for people.

use crate::quantity::Estimate;
pub(in crate::report) use crate::quantity::plain;

/// A number for machines: rounded to `digits` significant figures, or `None` where it is not finite,
/// so that neither NaN nor infinity can reach a file.
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
pub(in crate::report) fn machine(value: f64) -> Option<f64> {
    significant(value, 6)
}

/// A text in which no line breaks between a figure and its unit.
pub(in crate::report) fn bound(text: &str) -> String {
    const UNITS: [&str; 11] = ["%", "px", "\u{b5}m", "mm", "cm", "m", "in", "ft", "s", "cm/s", "in/s"];
    let mut out = String::with_capacity(text.len());
    for word in text.split(' ') {
        let unit = UNITS.contains(&word.trim_end_matches([',', '.', ';', ':', ')']));
        if !out.is_empty() {
            out.push(if unit && out.ends_with(|c: char| c.is_ascii_digit()) { '\u{a0}' } else { ' ' });
        }
        out.push_str(word);
    }
    out
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

/// To the tenth, without idle decimals: `11`, `5.6`.
pub(in crate::report) fn tenths(value: f64) -> String {
    format!("{}", (value * 10.0).round() / 10.0)
}

/// A number with this many significant digits, never fewer than its whole part has.
pub(in crate::report) fn digits(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let decimals = (digits - 1 - value.abs().log10().floor() as i32).max(0) as usize;
    format!("{value:.decimals$}")
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
pub(in crate::report) fn with_sd(estimate: Estimate) -> String {
    let places = decimals(estimate.sd);
    // A spread below what is shown would read as certainty; say the least that can be shown.
    let sd = estimate.sd.max(if places == 2 { 0.01 } else { 0.0 });
    format!("{} \u{b1} {}", fixed(estimate.value, places), fixed(sd, places))
}

/// A width, as finely as it can be compared with a limit: `0.53`, `2.71`, `14`.
pub(in crate::report) fn width(px: f64) -> String {
    fixed(px, if px >= 10.0 { 0 } else { 2 })
}

/// Two widths that are compared with each other, with as many decimals as it takes to tell them apart, to three.
pub(in crate::report) fn widths(a: f64, b: f64) -> (String, String) {
    let (x, y) = (width(a), width(b));
    if x == y && a < 10.0 { (fixed(a, 3), fixed(b, 3)) } else { (x, y) }
}

/// A share as whole per cent.
pub(in crate::report) fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// A per-cent figure without its sign.
pub(in crate::report) fn per_cent(share: f64) -> String {
    let value = share.abs() * 100.0;
    if value < 1.0 { format!("{value:.1} %") } else { format!("{value:.0} %") }
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
    fn a_figure_and_its_unit_stay_together() {
        assert_eq!(
            bound("at 1.60 m, 1/2000 s (5 %) in 3 frames"),
            "at 1.60\u{a0}m, 1/2000\u{a0}s (5\u{a0}%) in 3 frames"
        );
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
    fn hidden_characters_are_spelt_out() {
        assert_eq!(plain("a\u{202e}gpj.b\n"), "a\\u{202e}gpj.b\\u{a}");
        assert_eq!(plain("moor é 日"), "moor é 日");
    }
}
