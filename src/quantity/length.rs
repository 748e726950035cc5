//! Lengths as people write them (`1.2m`, `4ft`, `35mm`, `6in`, `inf`) and distances as cameras record them.

use serde::{Deserialize, Serialize, Serializer};
use thiserror::Error;

/// Why a written length was not understood.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum LengthError {
    /// No number could be read.
    #[error("'{0}' is not a length; write a number with its unit, such as 1.2m, 4ft, 35mm or 6in")]
    NotANumber(String),
    /// A comma before three digits, which separates thousands or decimals.
    #[error("'{text}' may mean {whole} or {decimal}; write the one that is meant")]
    Thousands {
        /// As written.
        text: String,
        /// With the comma left out.
        whole: String,
        /// With a point for the comma.
        decimal: String,
    },
    /// A number without its unit.
    #[error("'{0}' has no unit; write {0}m, {0}ft, {0}mm or {0}in")]
    NoUnit(String),
    /// A unit that is not known.
    #[error("'{0}' has an unknown unit; m, cm, mm, um, km, ft, in and yd are known")]
    UnknownUnit(String),
    /// Zero or less.
    #[error("'{0}' is not more than zero")]
    NotPositive(String),
    /// Infinity where a finite length is needed.
    #[error("a finite length is needed here, not '{0}'")]
    Infinite(String),
}

/// Units of length and the metres in each. Published: the SI, and the international foot and inch of 1959.
const UNITS: &[(&str, f64)] = &[
    ("um", 1e-6),
    ("µm", 1e-6),
    ("mm", 1e-3),
    ("cm", 1e-2),
    ("km", 1e3),
    ("m", 1.0),
    ("ft", 0.3048),
    ("'", 0.3048),
    ("in", 0.0254),
    ("\"", 0.0254),
    ("yd", 0.9144),
];

/// Reads a positive, finite length with its unit; the answer is in metres.
///
/// # Errors
/// [`LengthError`] says what is wrong with `text`.
pub fn parse_length(text: &str) -> Result<f64, LengthError> {
    let metres = parse_distance(text)?;
    if metres.is_finite() { Ok(metres) } else { Err(LengthError::Infinite(text.trim().to_owned())) }
}

/// Reads a positive length with its unit, or `inf`; the answer is in metres.
///
/// # Errors
/// [`LengthError`] says what is wrong with `text`.
pub fn parse_distance(text: &str) -> Result<f64, LengthError> {
    let text = text.trim();
    if let Some(both) = feet_and_inches(text) {
        return both;
    }
    // A comma for the decimal point, where it can't be anything else.
    let pointed = text.replacen(',', ".", 1);
    if may_be_thousands(text) {
        return Err(LengthError::Thousands {
            text: text.to_owned(),
            whole: text.replacen(',', "", 1),
            decimal: pointed,
        });
    }
    let text = if text.contains('.') { text } else { pointed.as_str() };
    if ["inf", "infinity", "∞"].iter().any(|w| text.eq_ignore_ascii_case(w)) {
        return Ok(f64::INFINITY);
    }
    let end = text
        .char_indices()
        .take_while(|&(i, c)| {
            c.is_ascii_digit()
                || c == '.'
                || ((c == '-' || c == '+') && i == 0)
                // An exponent only where digits follow, so that the unit is not eaten.
                || (matches!(c, 'e' | 'E') && text[i + 1..].starts_with(|d: char| d.is_ascii_digit() || d == '-'))
                || ((c == '-' || c == '+') && text[..i].ends_with(['e', 'E']))
        })
        .map(|(i, c)| i + c.len_utf8())
        .last()
        .unwrap_or(0);
    let (number, unit) = text.split_at(end);
    let value: f64 = number.parse().map_err(|_| LengthError::NotANumber(text.to_owned()))?;
    if !value.is_finite() {
        return Err(LengthError::NotANumber(text.to_owned()));
    }
    let unit = unit.trim();
    if unit.is_empty() {
        return Err(LengthError::NoUnit(text.to_owned()));
    }
    let &(_, metres) = UNITS
        .iter()
        .find(|(name, _)| name.eq_ignore_ascii_case(unit))
        .ok_or_else(|| LengthError::UnknownUnit(text.to_owned()))?;
    let value = value * metres;
    if value > 0.0 && value.is_finite() { Ok(value) } else { Err(LengthError::NotPositive(text.to_owned())) }
}

/// Whether the one comma of a written number stands before exactly three digits, as that between thousands does, and
/// after more than a nought.
fn may_be_thousands(text: &str) -> bool {
    let Some((before, after)) = text.split_once(',') else { return false };
    let digits = after.chars().take_while(char::is_ascii_digit).count();
    digits == 3 && !after.contains([',', '.']) && before.contains(|c: char| ('1'..='9').contains(&c))
}

/// Feet with inches, `4'6"` or `4ft 6in`, in metres; `None` where it is no such pair.
fn feet_and_inches(text: &str) -> Option<Result<f64, LengthError>> {
    let (feet, inches) = text.split_once('\'').or_else(|| text.split_once("ft"))?;
    let inches = inches.trim();
    let inches = inches.strip_suffix('"').or_else(|| inches.strip_suffix("in"))?;
    let part = |text: &str| text.trim().parse::<f64>().ok().filter(|v| v.is_finite() && *v >= 0.0);
    let metres = part(feet).zip(part(inches)).map(|(feet, inches)| 0.3048 * feet + 0.0254 * inches);
    Some(match metres {
        None => Err(LengthError::NotANumber(text.to_owned())),
        Some(metres) if metres > 0.0 => Ok(metres),
        Some(_) => Err(LengthError::NotPositive(text.to_owned())),
    })
}

/// A subject distance as a camera can state it, in metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Distance {
    /// One finite value.
    Finite(f64),
    /// The far scene.
    Infinite,
    /// Between two bounds; `high` may be infinite.
    Interval {
        /// Nearest possible.
        low: f64,
        /// Farthest possible, perhaps `f64::INFINITY`.
        high: f64,
    },
}

impl Distance {
    /// From a value in metres that may be infinite.
    #[must_use]
    pub fn from_metres(metres: f64) -> Self {
        if metres.is_finite() { Self::Finite(metres) } else { Self::Infinite }
    }

    /// The bounds, in metres; equal for a single value.
    #[must_use]
    pub fn bounds(self) -> (f64, f64) {
        match self {
            Self::Finite(v) => (v, v),
            Self::Infinite => (f64::INFINITY, f64::INFINITY),
            Self::Interval { low, high } => (low, high),
        }
    }

    /// One stand-in value in metres: an interval's harmonic mean, since focus errors act in inverse distance.
    #[must_use]
    pub fn middle(self) -> f64 {
        let (low, high) = self.bounds();
        2.0 / (1.0 / low + 1.0 / high)
    }
}

/// A length for JSON: a number, or the text `"inf"`.
#[derive(Serialize, Deserialize, schemars::JsonSchema)]
#[serde(untagged)]
enum Written {
    Number(f64),
    Word(String),
    Range { low: Box<Written>, high: Box<Written> },
}

impl Written {
    fn of(metres: f64) -> Self {
        if metres.is_finite() { Self::Number(metres) } else { Self::Word("inf".into()) }
    }
    fn metres(&self) -> Option<f64> {
        match self {
            Self::Number(v) => Some(*v),
            Self::Word(w) if w == "inf" => Some(f64::INFINITY),
            _ => None,
        }
    }
}

impl Serialize for Distance {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match *self {
            Self::Finite(v) => Written::of(v),
            Self::Infinite => Written::of(f64::INFINITY),
            Self::Interval { low, high } => {
                Written::Range { low: Box::new(Written::of(low)), high: Box::new(Written::of(high)) }
            }
        }
        .serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Distance {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let bad = || serde::de::Error::custom("not a distance");
        let written = Written::deserialize(deserializer)?;
        if let Written::Range { low, high } = &written {
            return Ok(Self::Interval { low: low.metres().ok_or_else(bad)?, high: high.metres().ok_or_else(bad)? });
        }
        written.metres().map(Self::from_metres).ok_or_else(bad)
    }
}

impl schemars::JsonSchema for Distance {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Distance".into()
    }
    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        Written::json_schema(generator)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_read_in_every_unit() {
        for (text, metres) in [
            ("1.2m", 1.2),
            ("4ft", 1.2192),
            ("35mm", 0.035),
            ("6in", 0.1524),
            (" 2 yd ", 1.8288),
            ("1e3 mm", 1.0),
            ("80cm", 0.8),
            ("5.9um", 5.9e-6),
            ("1,2 m", 1.2),
            ("0,125m", 0.125),
            ("1,25m", 1.25),
            ("1,2345 m", 1.2345),
            ("4'6\"", 1.3716),
            ("4ft 6.5in", 1.3843),
            ("4'", 1.2192),
        ] {
            let read = parse_length(text).unwrap();
            assert!((read - metres).abs() < 1e-12, "{text}: {read}");
        }
        assert_eq!(parse_distance("inf"), Ok(f64::INFINITY));
    }

    #[test]
    fn nonsense_is_told_apart() {
        assert!(matches!(parse_length("1.2"), Err(LengthError::NoUnit(_))));
        assert!(matches!(parse_length("-3m"), Err(LengthError::NotPositive(_))));
        assert!(matches!(parse_length("0m"), Err(LengthError::NotPositive(_))));
        assert!(matches!(parse_length("1e999m"), Err(LengthError::NotANumber(_))));
        assert!(matches!(parse_length("3 miles"), Err(LengthError::UnknownUnit(_))));
        assert!(matches!(parse_length("1,2,3m"), Err(LengthError::UnknownUnit(_))));
        assert!(matches!(parse_length("1.000,5m"), Err(LengthError::UnknownUnit(_))));
        assert!(matches!(parse_length("four'6\""), Err(LengthError::NotANumber(_))));
        assert!(matches!(parse_length("0'0\""), Err(LengthError::NotPositive(_))));
        assert!(matches!(parse_length("near"), Err(LengthError::NotANumber(_))));
        assert!(matches!(parse_length("inf"), Err(LengthError::Infinite(_))));
    }

    #[test]
    fn a_comma_that_may_separate_thousands_is_refused() {
        for (text, whole, decimal) in
            [("1,000m", "1000m", "1.000m"), (" 1,500 mm", "1500 mm", "1.500 mm"), ("10,125m", "10125m", "10.125m")]
        {
            let error = parse_distance(text).unwrap_err().to_string();
            assert!(error.contains(&format!("may mean {whole} or {decimal};")), "{text}: {error}");
        }
        assert!(matches!(parse_length("1,000,5m"), Err(LengthError::UnknownUnit(_))));
    }

    #[test]
    fn a_distance_survives_json() {
        for d in [Distance::Finite(2.5), Distance::Infinite, Distance::Interval { low: 1.19, high: f64::INFINITY }] {
            let text = serde_json::to_string(&d).unwrap();
            assert_eq!(serde_json::from_str::<Distance>(&text).unwrap(), d, "{text}");
        }
        assert_eq!(serde_json::to_string(&Distance::Infinite).unwrap(), "\"inf\"");
    }
}
