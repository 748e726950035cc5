//! Readers of option values: lengths, f-numbers, places, intended uses.

use crate::plan::Sensor;
use crate::quantity::plausible::F_NUMBER;
use crate::quantity::{LengthError, Place, Point, Region, SharpFor, parse_length};
pub use crate::quantity::{parse_distance as distance, parse_length as length};

/// A length with its unit, such as `24mm`, in millimetres.
pub fn focal_mm(text: &str) -> Result<f64, String> {
    with_unit(text, "mm").map(|m| m * 1e3)
}

/// Pixel pitches that pictures have, scaled ones among them, um. Chosen: from half of what small chips have to that of a full frame
/// made 400 pixels wide.
const PITCH_UM: std::ops::RangeInclusive<f64> = 0.3..=100.0;

/// A length with its unit, such as `5.9um`, in micrometres.
pub fn pitch_um(text: &str) -> Result<f64, String> {
    let um = with_unit(text, "um")? * 1e6;
    if PITCH_UM.contains(&um) { Ok(um) } else { Err(format!("no camera has pixels {um} \u{b5}m apart; write 5.9um")) }
}

/// A whole number from `least` to `most`.
pub fn whole<T: TryFrom<u64>>(least: u64, most: u64) -> impl Fn(&str) -> Result<T, String> + Clone {
    move |text| {
        let number = text.trim().parse::<u64>().ok().filter(|n| (least..=most).contains(n));
        number
            .and_then(|n| T::try_from(n).ok())
            .ok_or_else(|| format!("'{text}' is no whole number from {least} to {most}"))
    }
}

/// A length in metres; where the unit is missing it is told which one is usual here, but none is guessed: what one option
/// takes for millimetres another would take for metres.
fn with_unit(text: &str, usual: &str) -> Result<f64, String> {
    parse_length(text).map_err(|e| match e {
        LengthError::NoUnit(bare) => format!("'{bare}' has no unit; write {bare}{usual}"),
        other => other.to_string(),
    })
}

/// Lengths typed in a row, metres: the unit of the last holds for those that have none of their own.
fn in_a_row(parts: &[&str], usual: &str) -> Result<Vec<f64>, String> {
    let last = parts.last().copied().unwrap_or("");
    let unit = last.rsplit(|c: char| c.is_ascii_digit() || c == '.').next().unwrap_or("");
    with_unit(last, usual)?;
    let one = |part: &&str| match parse_length(part) {
        Err(LengthError::NoUnit(bare)) => with_unit(&format!("{bare}{unit}"), usual),
        _ => with_unit(part, usual),
    };
    parts.iter().map(one).collect()
}

/// An f-number, `f/11`, `f11` or `11`.
pub fn f_number(text: &str) -> Result<f64, String> {
    let bare = text.trim().trim_start_matches(['f', 'F']).trim_start_matches('/');
    match bare.parse::<f64>() {
        Ok(n) if F_NUMBER.contains(&n) => Ok(n),
        Ok(n) => Err(format!("f/{n} is not an aperture a lens can have")),
        Err(_) => Err(format!("'{text}' is not an f-number; write f/11 or 11")),
    }
}

/// An amount of memory: `800MB`, `4GiB`.
pub fn bytes(text: &str) -> Result<u64, String> {
    let bad = || format!("'{text}' is not an amount of memory; write 800MB or 4GiB");
    let text = text.trim();
    let digits = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    let (number, unit) = text.split_at(digits);
    let number: f64 = number.parse().map_err(|_| bad())?;
    let factor = match unit.trim().to_ascii_lowercase().as_str() {
        "mb" => 1e6,
        "gb" => 1e9,
        "mib" => 1_048_576.0,
        "gib" => 1_073_741_824.0,
        _ => return Err(bad()),
    };
    if number > 0.0 { Ok((number * factor) as u64) } else { Err(bad()) }
}

/// An exposure time: `1/125`, `0.4`, `2s`.
pub fn exposure_s(text: &str) -> Result<f64, String> {
    let bare = text.trim().trim_end_matches('s').trim_end();
    let value = match bare.split_once('/') {
        Some((a, b)) => a.trim().parse::<f64>().and_then(|a| b.trim().parse::<f64>().map(|b| a / b)),
        None => bare.parse::<f64>(),
    };
    match value {
        Ok(v) if v > 0.0 && v.is_finite() => Ok(v),
        _ => Err(format!("'{text}' is not an exposure time; write 1/125 or 0.4s")),
    }
}

/// The intended use: `diagonal`, `1:1`, `print:60x40cm@50cm`.
pub fn sharp_for(text: &str) -> Result<SharpFor, String> {
    let bad = || format!("'{text}' is not a use; write diagonal, 1:1 or print:60x40cm@50cm");
    match text.trim() {
        "diagonal" => return Ok(SharpFor::Diagonal1500),
        "1:1" => return Ok(SharpFor::OneToOne),
        _ => {}
    }
    let (size, seen) = text.trim().strip_prefix("print:").and_then(|t| t.split_once('@')).ok_or_else(bad)?;
    let (a, b) = size.split_once('x').ok_or_else(bad)?;
    let sides = in_a_row(&[a.trim(), b.trim()], "cm")?;
    let (a_m, b_m) = (sides[0], sides[1]);
    let distance_m = parse_length(seen).map_err(|e| e.to_string())?;
    Ok(SharpFor::Print { long_m: a_m.max(b_m), short_m: a_m.min(b_m), distance_m })
}

/// A place in the picture, `x,y`: fractions if both are at most 1, else pixels.
pub fn place(text: &str) -> Result<Place, String> {
    let bad = || format!("'{text}' is not a place; write x,y as fractions (0.5,0.9) or pixels (3000,3600)");
    let (x, y) = text.split_once(',').ok_or_else(bad)?;
    let (x, y): (f64, f64) = (x.trim().parse().map_err(|_| bad())?, y.trim().parse().map_err(|_| bad())?);
    if !(x >= 0.0 && y >= 0.0 && x.is_finite() && y.is_finite()) {
        return Err(bad());
    }
    Ok(if x <= 1.0 && y <= 1.0 { Place::Fractions(Point { x, y }) } else { Place::Pixels { x, y } })
}

/// A rectangle in whole pixels, `x,y,w,h`.
pub fn region(text: &str) -> Result<Region, String> {
    let bad = || format!("'{text}' is not a region; write left,top,width,height in pixels, such as 1200,800,96,160");
    let parts: Result<Vec<u32>, _> = text.split(',').map(|p| p.trim().parse()).collect();
    match parts.as_deref() {
        Ok(&[x, y, width, height]) if width > 0 && height > 0 => Ok(Region { x, y, width, height }),
        _ => Err(bad()),
    }
}

/// A list of values typed with commas between them.
#[derive(Clone, Debug)]
pub struct List(pub Vec<f64>);

/// Focal lengths, mm: `16,24,35,70mm`, where the last unit holds for all.
pub fn focals_mm(text: &str) -> Result<List, String> {
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    in_a_row(&parts, "mm").map(|all| List(all.into_iter().map(|m| m * 1e3).collect()))
}

/// Lengths with their units, metres: `0.5m,1m`, or `0.5,1,2m` where the last unit holds for all.
pub fn lengths(text: &str) -> Result<List, String> {
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    in_a_row(&parts, "m").map(List)
}

/// Sensor sides, width x height: `36x24mm`, the last unit for both.
pub fn sensor(text: &str) -> Result<Sensor, String> {
    let bad = || format!("'{text}' is not a sensor size; write width x height, such as 36x24mm");
    let (width, height) = text.split_once(['x', 'X', '\u{d7}']).ok_or_else(bad)?;
    let sides = in_a_row(&[width.trim(), height.trim()], "mm")?;
    Ok(Sensor { width_mm: sides[0] * 1e3, height_mm: sides[1] * 1e3 })
}

/// A camera's name and its sensor, `Tarn One=23.5x15.6mm`: width and height in mm.
pub(crate) fn sensor_of(text: &str) -> Result<(String, [f64; 2]), String> {
    let bad = || format!("'{text}' is not a camera and its sensor; write Tarn One=23.5x15.6mm");
    let (body, size) = text.split_once('=').filter(|(body, _)| !body.trim().is_empty()).ok_or_else(bad)?;
    let Sensor { width_mm, height_mm } = sensor(size)?;
    Ok((body.trim().to_owned(), [width_mm, height_mm]))
}

/// A crop factor, such as `1.5`.
pub fn crop(text: &str) -> Result<f64, String> {
    match text.trim().trim_end_matches(['x', 'X']).parse::<f64>() {
        Ok(factor) if (0.1..=20.0).contains(&factor) => Ok(factor),
        _ => Err(format!("'{text}' is not a crop factor; write 1.5 or 2")),
    }
}

/// An angle in degrees, `8deg` or `8`, within a right angle either way; in radians.
pub fn angle_rad(text: &str) -> Result<f64, String> {
    let bare = text.trim().trim_end_matches("deg").trim_end_matches('\u{b0}').trim_end();
    match bare.parse::<f64>() {
        Ok(degrees) if degrees.abs() < 90.0 => Ok(degrees.to_radians()),
        Ok(_) => Err(format!("'{text}' must lie between -90 and 90 degrees")),
        Err(_) => Err(format!("'{text}' is not an angle; write 8deg")),
    }
}

/// A speed, `0.1m/s`, `4in/s`, in metres a second.
pub fn speed_m_s(text: &str) -> Result<f64, String> {
    let length =
        text.trim().strip_suffix("/s").ok_or_else(|| format!("'{text}' is not a speed; write 0.1m/s or 4in/s"))?;
    parse_length(length).map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_out_of_range_is_told_the_range() {
        let tiles = whole::<u32>(4, 96);
        assert_eq!((tiles("4"), tiles("96")), (Ok(4), Ok(96)));
        assert_eq!(tiles("0"), Err("'0' is no whole number from 4 to 96".into()));
        assert!(tiles("2.5").is_err() && tiles("-1").is_err());
    }

    #[test]
    fn no_pixels_lie_millimetres_apart() {
        assert!(pitch_um("5.9um").is_ok_and(|um| (um - 5.9).abs() < 1e-9));
        assert!(pitch_um("6mm").is_err_and(|e| e.contains("6000")) && pitch_um("1nm").is_err());
    }
}
