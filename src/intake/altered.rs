//! What a file says was done to its picture after the exposure: stitched, several exposures combined, enlarged.

use super::ifd::Ifd;
use super::xmp;
use crate::quantity::Flag;

/// Exif 2.32 (CIPA DC-008-2019): the program that wrote the file, how the picture was rendered, how far it was zoomed after
/// the lens, and whether it was made of several.
const SOFTWARE: u16 = 0x131;
const DESCRIPTION: u16 = 0x10e;
const CUSTOM_RENDERED: u16 = 0xa401;
const DIGITAL_ZOOM: u16 = 0xa404;
const COMPOSITE: u16 = 0xa460;

/// Values of `CustomRendered` beyond the standard's 0 and 1 that phones write: several exposures, and a panorama. From memory.
const SEVERAL: [u32; 3] = [2, 3, 7];
const SWEPT: u32 = 6;

/// Words in the name of a program, or in a title that it gives, that tell what it makes. Common practice, no published source.
const STITCHING: [&str; 6] = ["panorama", "stitch", "hugin", "ptgui", "autopano", "image composite editor"];
const BLENDING: [&str; 4] = ["enfuse", "photomatix", "focus stack", "image stack"];

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
    let texts = [SOFTWARE, DESCRIPTION].into_iter().filter_map(|tag| directories.iter().find_map(|d| d.text(tag)));
    let said = ["xmp:CreatorTool", "GPano:StitchingSoftware", "dc:title"];
    let texts: Vec<String> =
        texts.chain(said.into_iter().filter_map(|k| properties.text(k).map(str::to_owned))).collect();
    let names = |words: &[&str]| texts.iter().any(|t| words.iter().any(|w| t.to_lowercase().contains(w)));
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
