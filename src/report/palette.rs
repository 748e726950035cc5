//! The colour of a blur, the same on every page: pale where sharp, dark where soft.

/// The ramp, from half the permitted blur to four times it in even steps of ratio. Lightness falls all the way, so that it
/// reads in grey and with colour-deficient sight; from the permitted blur on, at one third, it is the hue that neither
/// grass nor rock nor snow has. The lightest steps are those of dry grass, which hardly show on any picture.
pub(super) const RAMP: [[u8; 3]; 7] =
    [[248, 243, 226], [243, 231, 214], [236, 204, 206], [219, 120, 178], [187, 40, 143], [132, 14, 112], [74, 6, 74]];

/// The colour at `t` from 0 to 1.
pub(super) fn ramp(t: f64) -> [u8; 3] {
    let at = t.clamp(0.0, 1.0) * (RAMP.len() - 1) as f64;
    let low = (at as usize).min(RAMP.len() - 2);
    let share = at - low as f64;
    let mix = |a: u8, b: u8| (f64::from(a) + share * (f64::from(b) - f64::from(a))).round() as u8;
    let (a, b) = (RAMP[low], RAMP[low + 1]);
    [mix(a[0], b[0]), mix(a[1], b[1]), mix(a[2], b[2])]
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
}
