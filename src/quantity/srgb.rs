//! The curve of sRGB (IEC 61966-2-1), once for either width of number.

macro_rules! curve {
    ($number:ident) => {
        /// The curve for numbers of this width.
        pub mod $number {
            /// Linear light of a code, both 0 to 1.
            #[must_use]
            pub fn light(code: $number) -> $number {
                if code <= 0.040_45 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
            }

            /// Code of linear light, both 0 to 1; what lies beyond is held to that.
            #[must_use]
            pub fn code(light: $number) -> $number {
                let light = light.clamp(0.0, 1.0);
                if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
            }

            /// The same in eight bits.
            #[must_use]
            pub fn byte(light: $number) -> u8 {
                (code(light) * 255.0).round() as u8
            }
        }
    };
}

curve!(f32);
curve!(f64);

#[cfg(test)]
mod tests {
    #[test]
    fn codes_come_back_and_middle_grey_is_the_standards() {
        // Code 119 is 18.4 % light, by hand from IEC 61966-2-1: ((119 / 255 + 0.055) / 1.055)^2.4.
        assert!((super::f64::light(119.0 / 255.0) - 0.184_47).abs() < 1e-4);
        for byte in 0..=255_u8 {
            assert_eq!(super::f64::byte(super::f64::light(f64::from(byte) / 255.0)), byte);
            assert_eq!(super::f32::byte(super::f32::light(f32::from(byte) / 255.0)), byte);
        }
        assert_eq!((super::f64::byte(-1.0), super::f64::byte(2.0)), (0, 255));
    }
}
