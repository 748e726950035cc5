//! The one table of quality flags: name, meaning, what to do about it.

use serde::{Deserialize, Serialize};

/// Defines the flags once; the enum, the words and the documents all come from this table.
macro_rules! flags {
    ($($name:ident: $meaning:literal, $advice:literal;)*) => {
        /// Something about a frame that a reader of its numbers should know.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, schemars::JsonSchema)]
        #[serde(rename_all = "snake_case")]
        pub enum Flag { $(#[doc = $meaning] $name,)* }

        impl Flag {
            /// Every flag, in the order of the table.
            pub const ALL: &'static [Flag] = &[$(Flag::$name,)*];

            /// What the flag means, a sentence.
            #[must_use]
            pub const fn meaning(self) -> &'static str {
                match self { $(Flag::$name => $meaning,)* }
            }

            /// What the photographer can do about it, a sentence.
            #[must_use]
            pub const fn advice(self) -> &'static str {
                match self { $(Flag::$name => $advice,)* }
            }
        }
    };
}

flags! {
    Processed: "Measured on a rendered file, not on raw samples.", "Audit the raw file when exact widths matter.";
    Preview: "The raw pixels could not be decoded; the embedded preview was measured instead.", "Convert the raw to DNG, or judge the preview with care.";
    RawDamaged: "The raw data in the file are damaged; only the preview in it could be judged.", "Copy it again from the card or a backup.";
    Sharpened: "Edges overshoot as in-camera or editor sharpening makes them; widths read too small.", "Audit the raw file, or turn sharpening off for a test frame.";
    Resized: "The picture is smaller than the sensor recorded it.", "Audit the file at full size to judge the lens or the focus.";
    Demosaicked: "Measured on interpolated samples, not on the sensor's own green ones.", "No action needed; widths may read slightly large.";
    MonochromeSensor: "The raw file has no colour filter pattern; every sample counts as luminance.", "No action needed.";
    FewTiles: "Few tiles could be measured.", "Include detail at near, far and corners in a test frame.";
    NoCaptureFacts: "The file carries no capture facts.", "Give --aperture, --focal and --pitch, or audit the original.";
    PitchUnknown: "The pixel pitch is unknown, so blur can't be stated in micrometres.", "Give --pitch.";
    PitchAssumed: "The pixel pitch was derived from the 35 mm equivalent focal length.", "Give --pitch if it is known.";
    ApertureUnknown: "The f-number is unknown, so diffraction can't be told from other blur.", "Give --aperture.";
    NearBeyondMeasure: "The nearest ground is too blurred to measure; that above it shows how its blur grows.", "Look at the foreground at 1:1: the verdict takes it for out of focus.";
    ApertureContradicted: "The picture is sharper than the recorded f-number allows, so it was not judged by it.", "Give --aperture if it is known.";
    LensContradicted: "The picture is sharper than what was learned of its lens allows, so it was not judged by that.", "Learn the lens from a wall or a distant ridge, focused with care.";
    Enlarged: "The picture was enlarged, by its file's account or since nothing in it is finer than that leaves.", "Audit the original file.";
    Panorama: "The picture was stitched, or is far wider than a sensor; near and far can't be named from one horizon.", "Audit the single frames.";
    Fisheye: "The lens is a fisheye, which bends ground and horizon.", "Mark near and far with --near-at and --far-at.";
    FocusDistanceContradicted: "The recorded focus distance does not fit what the picture shows.", "Trust neither alone; check with a test frame.";
    FocusPointContradicted: "The recorded focus point is not the sharpest place at its distance.", "Check the camera for front or back focus.";
    FocusDistanceIgnored: "A recorded focus distance was a filler value and was ignored.", "No action needed.";
    FocusDistanceImpossible: "The recorded focus distance is nearer than the lens can focus.", "Give --focus-distance if it is known.";
    TwinFailed: "The other file of this frame could not be read; this one stands in for it.", "See the failures for what is wrong with the other.";
    Truncated: "The file was cut short or has a hole: part of the picture is missing and was left out.", "Copy it again from the card or a backup.";
    DateImplausible: "The recorded date is in the future or before digital cameras.", "Check the camera's clock.";
    OrientationLost: "The picture looks turned although it says it is upright.", "Give --turn, or restore the orientation tag.";
    ClippedHighlights: "Much of the frame is clipped: there is nothing to measure in what is white.", "Expose a test frame lower.";
    HeavyNoise: "The picture is very noisy: fine texture drowns in it.", "Use a lower ISO for a test frame.";
    LittleLight: "Its pixels gathered so little light that fine texture will have been smoothed, in the camera or after.", "Look at fine texture at 1:1; use a lower ISO, or audit the raw file.";
    StrongCompression: "JPEG compression is strong enough to hide fine detail.", "Save at higher quality or audit the raw file.";
    MultiShot: "The picture is made of several exposures.", "Movement between the exposures can look like blur.";
    LensCorrectionPending: "The file asks for a lens correction that moves pixels; the picture was measured before it.", "No action needed; the corrected picture is stretched by place, its corners most.";
    LensBaselineProvisional: "The lens's own softness was learned from this very shoot.", "Learn it from a test series to be sure.";
    Binned: "The sensor has two by two sites of each colour; each such four were measured as one pixel of twice the pitch.", "No action needed.";
    FewLevels: "Most of the picture is so dark beside its brightest parts that few levels are left to measure it in.", "Export it with its exposure raised, or without the brightest parts' full range.";
}
