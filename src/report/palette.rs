//! The colour of a blur: cividis, a map that reads the same with and without colour-deficient sight.

/// Cividis at 18 even steps (every 15th of the 256 entries published with J. R. Nunez, C. R. Anderton,
/// R. S. Renslow, "Optimizing colormaps with consideration for color vision deficiency", PLoS ONE 13(7)
/// e0199239, 2018, as distributed by matplotlib 3.11); between them the colours are interpolated.
pub(super) const CIVIDIS: [[u8; 3]; 18] = [
    [0, 34, 78],
    [0, 45, 104],
    [22, 55, 112],
    [46, 65, 109],
    [63, 76, 108],
    [78, 86, 108],
    [92, 97, 110],
    [105, 107, 113],
    [118, 118, 118],
    [131, 129, 121],
    [146, 140, 120],
    [160, 152, 117],
    [175, 164, 113],
    [191, 176, 107],
    [207, 189, 98],
    [223, 202, 87],
    [240, 216, 70],
    [254, 232, 56],
];

/// The colour at `t` from 0 to 1.
pub(super) fn cividis(t: f64) -> [u8; 3] {
    let at = t.clamp(0.0, 1.0) * (CIVIDIS.len() - 1) as f64;
    let low = (at as usize).min(CIVIDIS.len() - 2);
    let share = at - low as f64;
    let mix = |a: u8, b: u8| (f64::from(a) + share * (f64::from(b) - f64::from(a))).round() as u8;
    let (a, b) = (CIVIDIS[low], CIVIDIS[low + 1]);
    [mix(a[0], b[0]), mix(a[1], b[1]), mix(a[2], b[2])]
}

/// The colour of a blur against the permitted one: half of it is darkest, four times it palest, in even
/// steps of ratio, so that the permitted blur itself sits at one third.
pub(super) fn shade(blur: f64, permitted: f64) -> [u8; 3] {
    let ratio = (blur / permitted).max(1e-3);
    cividis((ratio.log2() + 1.0) / 3.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_map_grows_lighter_all_the_way() {
        // Relative luminance after ITU-R BT.709 weights, on linearised values.
        let light = |[r, g, b]: [u8; 3]| {
            let l = |v: u8| (f64::from(v) / 255.0).powf(2.2);
            0.2126 * l(r) + 0.7152 * l(g) + 0.0722 * l(b)
        };
        let steps: Vec<f64> = (0..=100).map(|i| light(cividis(f64::from(i) / 100.0))).collect();
        assert!(steps.windows(2).all(|w| w[1] >= w[0] - 1e-9));
        assert_eq!(cividis(f64::NAN.max(0.0)), CIVIDIS[0]);
    }
}
