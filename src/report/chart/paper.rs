//! What all charts are drawn on and with: one size, colours that the page's style settles, letters.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// Size of every chart, px: small, so that its letters stay legible on a phone.
const SIZE: (u32, u32) = (440, 340);
/// Colours while drawing and what the page makes of them: the style's variable and a fallback.
pub(super) const INK: RGBColor = RGBColor(1, 1, 1);
pub(super) const FAINT: RGBColor = RGBColor(2, 2, 2);
pub(super) const BLUR: RGBColor = RGBColor(3, 3, 3);
pub(super) const PARTS: [(&str, RGBColor); 4] = [
    ("diffraction", RGBColor(5, 5, 5)),
    ("lens", RGBColor(6, 6, 6)),
    ("motion", RGBColor(7, 7, 7)),
    ("defocus", RGBColor(8, 8, 8)),
];
/// The band of what the model expects.
pub(super) const BAND: RGBColor = RGBColor(4, 4, 4);
const THEME: [(&str, &str); 8] = [
    ("#010101", "var(--ink,#232b27)"),
    ("#020202", "var(--faint,#5b655f)"),
    ("#030303", "var(--heather,#6a3f69)"),
    ("#040404", "var(--part1,#cfd3c6)"),
    ("#050505", "var(--part2,#b3bdb4)"),
    ("#060606", "var(--part3,#c9b083)"),
    ("#070707", "var(--part4,#a58a8f)"),
    ("#080808", "var(--part5,#8fa59a)"),
];

type Area<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;
pub(super) type Failed<'b> = DrawingAreaErrorKind<<SVGBackend<'b> as DrawingBackend>::ErrorType>;

/// Draws and hands the colours over to the page's style.
pub(super) fn drawn(draw: impl for<'b> Fn(&Area<'b>) -> Result<(), Failed<'b>>) -> Option<String> {
    let mut svg = String::new();
    {
        let area = SVGBackend::with_string(&mut svg, SIZE).into_drawing_area();
        draw(&area).ok()?;
        area.present().ok()?;
    }
    for (colour, theme) in THEME {
        svg = svg.replace(colour, theme);
    }
    // Plotters states opacity and stroke on every element; what is the default only makes the page heavier.
    for (long, short) in [(" opacity=\"1\"", ""), (" stroke=\"none\"", ""), ("\n", "")] {
        svg = svg.replace(long, short);
    }
    Some(svg)
}

/// Puts a word at a place, of which it stands to the side that `across` and `down` say.
pub(super) fn word<'b, X: Ranged<ValueType = f64>, Y: Ranged<ValueType = f64>>(
    chart: &mut ChartContext<'_, SVGBackend<'b>, Cartesian2d<X, Y>>,
    text: &str,
    place: (f64, f64),
    (across, down): (HPos, VPos),
) -> Result<(), Failed<'b>> {
    let style = ("sans-serif", 15).into_font().color(&INK).pos(Pos::new(across, down));
    chart.draw_series(std::iter::once(Text::new(text.to_owned(), place, style)))?;
    Ok(())
}

/// A drawing as a file of its own, which brings its light and dark colours with it.
#[must_use]
pub(crate) fn standalone(svg: &str) -> String {
    const STYLE: &str = "<style>@media(prefers-color-scheme:dark){:root{--ink:#e2e5db;--faint:#a2aca4;\
        --heather:#cfa3cd;--part1:#39423d;--part2:#4b574f;--part3:#6d5a35;--part4:#6a4d55;--part5:#41604d}}</style>";
    match svg.find('>') {
        Some(end) => format!("{}{STYLE}{}", &svg[..=end], &svg[end + 1..]),
        None => svg.to_owned(),
    }
}
