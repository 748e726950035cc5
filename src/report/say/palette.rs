//! The colour of a blur, the same on every page: pale where sharp, dark where soft.

/// The ramp, from half the permitted blur to four times it in even steps of ratio. Lightness falls all the way, so that it
/// reads in grey and with colour-deficient sight; from the permitted blur on, at one third, it is the hue that neither
/// grass nor rock nor snow has. The lightest steps are those of dry grass, which hardly show on any picture.
pub(in crate::report) const RAMP: [[u8; 3]; 7] =
    [[248, 243, 226], [243, 231, 214], [236, 204, 206], [219, 120, 178], [187, 40, 143], [132, 14, 112], [74, 6, 74]];

fn between(ramp: &[[u8; 3]], t: f64) -> [u8; 3] {
    let at = t.clamp(0.0, 1.0) * (ramp.len() - 1) as f64;
    let low = (at as usize).min(ramp.len() - 2);
    let share = at - low as f64;
    let mix = |a: u8, b: u8| (f64::from(a) + share * (f64::from(b) - f64::from(a))).round() as u8;
    let (a, b) = (ramp[low], ramp[low + 1]);
    [mix(a[0], b[0]), mix(a[1], b[1]), mix(a[2], b[2])]
}

/// Colours of frames in their order (by stop, or near to far), pale to dark. Neighbours of up to seven frames lie 15 units
/// of CIELAB apart or more, for eyes that lack the red or the green cones, too (tested below); the blur's own ramp
/// starts with steps too alike for that.
const STAGES: [[u8; 3]; 7] =
    [[255, 247, 196], [250, 205, 90], [240, 140, 62], [205, 72, 88], [140, 40, 120], [78, 30, 120], [24, 16, 66]];

/// A colour as a page has it.
pub(in crate::report) fn hex([r, g, b]: [u8; 3]) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// The colour at `t` from 0 to 1.
pub(in crate::report) fn ramp(t: f64) -> [u8; 3] {
    between(&RAMP, t)
}

/// The colour of one of so many frames in order.
pub(in crate::report) fn stage(place: usize, count: usize) -> [u8; 3] {
    between(&STAGES, place as f64 / (count.max(2) - 1) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ramp_grows_darker_all_the_way() {
        // Relative luminance after ITU-R BT.709 weights, on linearised values.
        let light = |[r, g, b]: [u8; 3]| {
            let l = |v: u8| (f64::from(v) / 255.0).powf(2.2);
            0.2126 * l(r) + 0.7152 * l(g) + 0.0722 * l(b)
        };
        let steps: Vec<f64> = (0..=100).map(|i| light(ramp(f64::from(i) / 100.0))).collect();
        // Rounding to bytes may leave two close steps alike; the ramp's own colours differ.
        assert!(steps.windows(2).all(|w| w[1] <= w[0] + 1e-9));
        assert!(RAMP.windows(2).all(|w| light(w[1]) < light(w[0])));
        assert_eq!(ramp(f64::NAN.max(0.0)), RAMP[0]);
    }

    fn linear(v: u8) -> f64 {
        let v = f64::from(v) / 255.0;
        if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    }

    fn times(m: &[[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
        m.map(|row| row.iter().zip(v).map(|(a, b)| a * b).sum())
    }

    /// CIELAB (CIE 15) of linear sRGB (IEC 61966-2-1) for D65.
    fn lab(linear: [f64; 3]) -> [f64; 3] {
        let [x, y, z] = times(&[[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], linear);
        let f = |t: f64| if t > 216.0 / 24389.0 { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 };
        let (x, y, z) = (f(x / 0.9505), f(y), f(z / 1.089));
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    }

    /// What an eye without its long (0) or middle (1) cones sees alike: Viénot, Brettel & Mollon (1999), from memory.
    fn without(cones: usize, linear: [f64; 3]) -> [f64; 3] {
        const TO: [[f64; 3]; 3] =
            [[17.8824, 43.5161, 4.119_35], [3.455_65, 27.1554, 3.867_14], [0.029_956_6, 0.184_309, 1.467_09]];
        let [long, middle, short] = times(&TO, linear);
        let seen = match cones {
            0 => [2.023_44 * middle - 2.525_81 * short, middle, short],
            _ => [long, 0.494_207 * long + 1.248_27 * short, short],
        };
        let back = nalgebra::Matrix3::from_fn(|i, j| TO[i][j]).try_inverse().expect("regular");
        let linear = back * nalgebra::Vector3::from(seen);
        [linear[0], linear[1], linear[2]].map(|v| v.clamp(0.0, 1.0))
    }

    #[test]
    fn neighbouring_frames_can_be_told_apart_by_every_eye() {
        for count in 2..=STAGES.len() {
            for place in 1..count {
                let colours = [stage(place - 1, count), stage(place, count)].map(|c| c.map(linear));
                let sights: [&dyn Fn([f64; 3]) -> [f64; 3]; 3] = [&|c| c, &|c| without(0, c), &|c| without(1, c)];
                for sight in sights {
                    let [a, b] = colours.map(|c| lab(sight(c)));
                    let apart = a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt();
                    assert!(apart >= 15.0, "{place} of {count}: {apart}");
                }
            }
        }
    }
}
