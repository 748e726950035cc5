//! What a file says was done to its picture after the exposure: stitched, several exposures combined, enlarged.

use super::ifd::Ifd;
use super::xmp;
use crate::quantity::Flag;

/// Exif 2.32 (CIPA DC-008-2019): the program that wrote the file, how the picture was rendered, how far it was zoomed after
/// the lens, and whether it was made of several.
const SOFTWARE: u16 = 0x131;
const CUSTOM_RENDERED: u16 = 0xa401;
const DIGITAL_ZOOM: u16 = 0xa404;
const COMPOSITE: u16 = 0xa460;

/// Values of `CustomRendered` beyond the standard's 0 and 1 that phones write: several exposures, and a panorama. From memory.
const SEVERAL: [u32; 3] = [2, 3, 7];
const SWEPT: u32 = 6;

/// Words in the name of a program that tell what it makes. Titles and captions are not looked at: there the same words name
/// places and times of day. Common practice, no published source.
const STITCHING: [&str; 6] = ["panorama", "panoramic", "stitch", "stitcher", "stitching", "stitched"];
const BLENDING: [&str; 8] = [
    "focus stack",
    "focus stacker",
    "focus stacking",
    "image stack",
    "image stacker",
    "image stacking",
    "exposure fusion",
    "exposure blending",
];

/// Digital zoom, and excess of a picture's long side over the recorded one, from which it counts as enlarged. Chosen: a
/// twentieth, more than borders that one reader keeps and another cuts.
const LARGER: f64 = 1.05;

/// The flags of all that.
pub(super) fn flags(
    directories: &[Ifd<'_>],
    properties: &xmp::Properties,
    recorded: Option<(u32, u32)>,
    stored: Option<(u32, u32)>,
    raw: bool,
) -> Vec<Flag> {
    let whole = |tag| directories.iter().find_map(|d| d.whole(tag));
    let software = directories.iter().find_map(|d| d.text(SOFTWARE));
    let said = ["xmp:CreatorTool", "GPano:StitchingSoftware"].into_iter().filter_map(|k| properties.text(k));
    let programs: Vec<String> = software.as_deref().into_iter().chain(said).map(words).collect();
    let names = |wanted: &[&str]| programs.iter().any(|p| wanted.iter().any(|w| p.contains(&format!(" {w} "))));
    // The GPano schema is written into stitched and spherical pictures only (Photo Sphere XMP Metadata, Google 2013).
    let sphere = ["GPano:ProjectionType", "GPano:UsePanoramaViewer", "GPano:StitchingSoftware"];
    let rendered = whole(CUSTOM_RENDERED);
    let zoomed = directories.iter().find_map(|d| d.positive(DIGITAL_ZOOM)).is_some_and(|z| z > LARGER && z < 100.0);
    let long = |size: (u32, u32)| f64::from(size.0.max(size.1));
    let larger = !raw && recorded.zip(stored).is_some_and(|(was, is)| long(is) > LARGER * long(was));
    let found = [
        (
            Flag::Panorama,
            rendered == Some(SWEPT) || names(&STITCHING) || sphere.iter().any(|k| properties.text(k).is_some()),
        ),
        (
            Flag::MultiShot,
            whole(COMPOSITE).is_some_and(|c| c == 2 || c == 3)
                || rendered.is_some_and(|r| SEVERAL.contains(&r))
                || names(&BLENDING),
        ),
        (Flag::Enlarged, zoomed || larger),
    ];
    found.into_iter().filter(|f| f.1).map(|f| f.0).collect()
}

/// The words of a program's name in small letters, each between blanks. A capital behind a small letter begins a word, too.
fn words(name: &str) -> String {
    let mut out = String::from(" ");
    let mut before = ' ';
    for c in name.chars() {
        let within = c.is_alphanumeric() && before.is_alphanumeric() && !(c.is_uppercase() && before.is_lowercase());
        if !within && !out.ends_with(' ') {
            out.push(' ');
        }
        if c.is_alphanumeric() {
            out.extend(c.to_lowercase());
        }
        before = c;
    }
    out + " "
}

#[cfg(test)]
mod tests {
    use super::words;

    #[test]
    fn a_name_falls_into_words() {
        assert_eq!(words("FieldPanorama 3.1"), " field panorama 3 1 ");
        assert_eq!(words("Stitches of Time, v2"), " stitches of time v2 ");
        assert_eq!(words("focus-stack"), " focus stack ");
        assert_eq!(words(" "), "  ");
    }
}
