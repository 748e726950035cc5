//! Sensor sizes of known bodies, for files that do not state their own.
//!
//! The table is the camera list of the lens-correction database that comes with the `lensfun` crate (CC BY-SA 3.0):
//! it gives the crop factor, 43.27 mm over the sensor's diagonal, as its contributors measured or looked it up.

use std::collections::HashMap;
use std::sync::LazyLock;

/// Diagonal of the 24 x 36 mm frame that crop factors and equivalent focal lengths refer to, mm.
pub(super) const DIAGONAL_35MM: f64 = 43.266_615;
/// Crop factors from here on belong to sensors of 4:3 where the table does not say, like those of medium format.
const FOUR_THIRDS: f64 = 1.75;
const MEDIUM_FORMAT: f64 = 0.9;
/// Two entries of one name that differ by more are two bodies.
const SAME: f64 = 1.03;

/// Width and height of the sensor of a body, mm, the longer side first. `body` is as in the capture facts.
///
/// `None` for a body that the table does not have, or has twice with different sensors.
pub(super) fn sensor_mm(body: &str) -> Option<(f64, f64)> {
    *BODIES.get(&key(body))?
}

/// Letters and digits alone: makers write the same name with blanks, dashes and capitals of several kinds.
fn key(body: &str) -> String {
    body.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// Maker, model, crop factor and aspect ratio or nothing, with tabs between them: written by `build.rs`.
static TABLE: &str = include_str!(concat!(env!("OUT_DIR"), "/bodies.tsv"));

static BODIES: LazyLock<HashMap<String, Option<(f64, f64)>>> = LazyLock::new(|| {
    let mut bodies: HashMap<String, Option<(f64, f64)>> = HashMap::new();
    for line in TABLE.lines() {
        let mut cells = line.split('\t');
        let mut text = || cells.next().map(str::to_string);
        let (maker, model) = (text(), text());
        let mut number = || text().and_then(|t| t.parse::<f64>().ok());
        let (Some(crop), aspect) = (number().filter(|c| (0.4..20.0).contains(c)), number()) else { continue };
        let four_thirds = !(MEDIUM_FORMAT..FOUR_THIRDS).contains(&crop);
        let aspect = aspect.unwrap_or(if four_thirds { 4.0 / 3.0 } else { 1.5 });
        let height = DIAGONAL_35MM / crop / aspect.hypot(1.0);
        let size = (height * aspect, height);
        let Some(name) = body(maker, model) else { continue };
        bodies
            .entry(key(&name))
            .and_modify(|known| *known = known.filter(|k| (1.0 / SAME..SAME).contains(&(k.0 / size.0))))
            .or_insert(Some(size));
    }
    bodies
});

/// Maker and model as one name, without the maker's legal form and without naming the maker twice.
pub(super) fn body(make: Option<String>, model: Option<String>) -> Option<String> {
    let Some(model) = model else { return make };
    let Some(make) = make else { return Some(model) };
    let legal =
        ["CORPORATION", "CORP", "COMPANY", "COMPUTER", "IMAGING", "OPTICAL", "DIGITAL", "CO", "CO.,LTD", "LTD", "INC"];
    let is_legal = |word: &str| legal.contains(&word.to_uppercase().trim_matches(['.', ',']));
    let kept: Vec<&str> = make.split_whitespace().take_while(|w| !is_legal(w)).collect();
    let maker = if kept.is_empty() { make.clone() } else { kept.join(" ") };
    let named = kept.first().is_some_and(|w| model.to_lowercase().contains(&w.to_lowercase()));
    Some(if named { model } else { format!("{maker} {model}") })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sensor widths of the makers' own data sheets, mm, from memory; the table may round them by 2 %.
    #[test]
    fn known_bodies_have_the_widths_of_their_data_sheets() {
        for (name, width) in [
            ("Canon EOS 5D Mark IV", 36.0),
            ("NIKON D7100", 23.5),
            ("SONY ILCE-7RM3", 35.9),
            ("FUJIFILM X-T2", 23.5),
            ("OLYMPUS E-M1MarkII", 17.3),
            ("Panasonic DMC-G7", 17.3),
        ] {
            let found = sensor_mm(name).unwrap_or_else(|| panic!("{name} is not in the table"));
            assert!((found.0 / width - 1.0).abs() < 0.02, "{name}: {found:?}");
        }
        assert_eq!(sensor_mm("a body that nobody made"), None);
        assert_eq!(sensor_mm(""), None);
    }
}
