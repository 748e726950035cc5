//! Tone: from a file's coded values back to linear light, by its ICC profile or Exif colour space.
//!
//! The curves are those of IEC 61966-2-1 (sRGB; Display P3 uses the same), Adobe RGB (1998) section 4.3.4.2
//! (gamma 563/256), and whatever an embedded ICC matrix or grey profile states.

use moxcms::{ColorProfile, DataColorSpace, ToneCurveEvaluator};

use crate::quantity::srgb;

/// The level of a plane that stands for relative luminance 1 in rendered files.
pub(super) const WHITE: u16 = u16::MAX;

/// How coded values become linear light.
pub(super) struct Tone {
    curve: Curve,
    /// Share of red, green and blue in luminance; they add up to 1.
    weights: [f32; 3],
}

enum Curve {
    Srgb,
    AdobeRgb,
    Linear,
    Profile(Box<dyn ToneCurveEvaluator + Send + Sync>),
}

/// The colour space that Exif names, for files without a profile.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Named {
    /// sRGB, or nothing said.
    #[default]
    Srgb,
    /// Adobe RGB, by the DCF option file name or interoperability index `R03`.
    AdobeRgb,
    /// Light itself (floating-point files).
    Linear,
}

/// Luminance weights of the Rec. 709 primaries (ITU-R BT.709), which sRGB shares.
const REC709: [f32; 3] = [0.2126, 0.7152, 0.0722];
/// Luminance weights of the Adobe RGB (1998) primaries (Adobe RGB (1998) specification, annex).
const ADOBE: [f32; 3] = [0.297_34, 0.627_36, 0.075_29];

impl Tone {
    /// The tone of a file: its embedded profile where that can be understood, else the named space.
    pub(super) fn of(icc: Option<&[u8]>, named: Named) -> Self {
        icc.and_then(Self::of_profile).unwrap_or_else(|| Self::named(named))
    }

    pub(super) fn named(named: Named) -> Self {
        match named {
            Named::Srgb => Self { curve: Curve::Srgb, weights: REC709 },
            Named::AdobeRgb => Self { curve: Curve::AdobeRgb, weights: ADOBE },
            Named::Linear => Self { curve: Curve::Linear, weights: REC709 },
        }
    }

    /// Curve and weights of a matrix or grey profile; `None` for table profiles and nonsense.
    fn of_profile(icc: &[u8]) -> Option<Self> {
        let profile = ColorProfile::new_from_slice(icc).ok()?;
        let (curve, weights) = match profile.color_space {
            DataColorSpace::Rgb => {
                let y = [profile.red_colorant.y, profile.green_colorant.y, profile.blue_colorant.y];
                let sum: f64 = y.iter().sum();
                let sound = y.iter().all(|v| (0.0..=1.0).contains(v)) && (0.8..1.2).contains(&sum);
                let weights = if sound { y.map(|v| (v / sum) as f32) } else { REC709 };
                (profile.green_trc.as_ref()?, weights)
            }
            DataColorSpace::Gray => (profile.gray_trc.as_ref()?, REC709),
            _ => return None,
        };
        let evaluator = curve.make_linear_evaluator().ok()?;
        // A curve that does not run from dark to light is no tone curve.
        let [low, middle, high] = [0.0, 0.5, 1.0].map(|v| evaluator.evaluate_value(v));
        let sound = low.is_finite() && middle.is_finite() && high.is_finite() && low <= middle && middle < high;
        sound.then_some(Self { curve: Curve::Profile(evaluator), weights })
    }

    /// Whether coded values are already proportional to light.
    pub(super) fn is_linear(&self) -> bool {
        match &self.curve {
            Curve::Linear => true,
            Curve::Srgb | Curve::AdobeRgb => false,
            Curve::Profile(_) => (1..8).all(|i| {
                let v = i as f32 / 8.0;
                (self.linear(v) - v).abs() < 0.01
            }),
        }
    }

    pub(super) const fn weights(&self) -> [f32; 3] {
        self.weights
    }

    /// Linear light, 0 to 1, of a coded value, 0 to 1.
    pub(super) fn linear(&self, v: f32) -> f32 {
        let light = match &self.curve {
            Curve::Srgb => srgb::f32::light(v),
            Curve::AdobeRgb => v.powf(563.0 / 256.0),
            Curve::Linear => v,
            Curve::Profile(evaluator) => evaluator.evaluate_value(v),
        };
        // A profile may hold what is no number.
        if light.is_nan() { 0.0 } else { light.clamp(0.0, 1.0) }
    }

    /// Linear light of each of `levels` evenly spaced coded values.
    pub(super) fn table(&self, levels: usize) -> Vec<f32> {
        let top = (levels - 1) as f32;
        (0..levels).map(|i| self.linear(i as f32 / top)).collect()
    }

    /// Plane levels of the 256 values of an 8-bit luminance.
    pub(super) fn bytes(&self) -> [u16; 256] {
        std::array::from_fn(|i| (self.linear(i as f32 / 255.0) * f32::from(WHITE)).round() as u16)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Middle grey of sRGB: code 119 is 18.4 % light (IEC 61966-2-1 evaluated by hand: ((119/255+0.055)/1.055)^2.4).
    #[test]
    fn srgb_middle_grey() {
        let lut = Tone::named(Named::Srgb).bytes();
        let expected = ((119.0_f64 / 255.0 + 0.055) / 1.055).powf(2.4) * 65535.0;
        assert!((f64::from(lut[119]) - expected).abs() <= 1.0);
        assert_eq!((lut[0], lut[255]), (0, 65535));
        assert!(lut.windows(2).all(|w| w[0] < w[1]));
    }

    #[test]
    fn codes_come_back() {
        let tone = Tone::named(Named::Srgb);
        for code in 0..=255_u8 {
            assert_eq!(srgb::f32::byte(tone.linear(f32::from(code) / 255.0)), code);
        }
    }

    #[test]
    fn profiles_state_their_own_curve() {
        let p3 = ColorProfile::new_display_p3().encode().unwrap();
        let tone = Tone::of(Some(&p3), Named::AdobeRgb);
        let srgb = Tone::named(Named::Srgb);
        for i in 0..=16 {
            let v = i as f32 / 16.0;
            assert!((tone.linear(v) - srgb.linear(v)).abs() < 2e-3, "Display P3 has the sRGB curve, at {v}");
        }
        // Display P3's luminance weights, SMPTE EG 432-1 primaries adapted to D50.
        assert!((tone.weights()[1] - 0.692).abs() < 0.01);
        let adobe = ColorProfile::new_adobe_rgb().encode().unwrap();
        let tone = Tone::of(Some(&adobe), Named::Srgb);
        assert!((tone.linear(0.5) - 0.5_f32.powf(563.0 / 256.0)).abs() < 1e-3);
        assert!(!tone.is_linear());
        assert!(Tone::named(Named::Linear).is_linear());
    }

    #[test]
    fn nonsense_profiles_fall_back() {
        let tone = Tone::of(Some(b"not a profile"), Named::Srgb);
        assert!((tone.linear(0.5) - 0.214).abs() < 1e-3);
    }
}
