//! What all charts are drawn on and with: one size, colours that the page's style settles, letters.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// Size of a frame's charts, px: small, so that their letters stay legible on a phone.
pub(in crate::report) const SIZE: (u32, u32) = (440, 340);
/// Colours while drawing and what the page makes of them: the style's variable and a fallback.
pub(in crate::report) const INK: RGBColor = RGBColor(1, 1, 1);
pub(in crate::report) const FAINT: RGBColor = RGBColor(2, 2, 2);
pub(in crate::report) const BLUR: RGBColor = RGBColor(3, 3, 3);
pub(in crate::report) const PARTS: [(&str, RGBColor); 4] = [
    ("diffraction", RGBColor(5, 5, 5)),
    ("lens", RGBColor(6, 6, 6)),
    ("motion", RGBColor(7, 7, 7)),
    ("defocus", RGBColor(8, 8, 8)),
];
/// A band that lines are read against.
pub(in crate::report) const BAND: RGBColor = RGBColor(4, 4, 4);
/// Zones of a scene: colours that stay apart for colour-deficient sight (Okabe & Ito 2008's set, darkened for thin lines).
pub(in crate::report) const ZONES: [RGBColor; 8] = [
    RGBColor(17, 17, 17),
    RGBColor(18, 18, 18),
    RGBColor(19, 19, 19),
    RGBColor(20, 20, 20),
    RGBColor(21, 21, 21),
    RGBColor(22, 22, 22),
    RGBColor(23, 23, 23),
    RGBColor(24, 24, 24),
];
const THEME: [(&str, &str); 16] = [
    ("#010101", "var(--ink,#232b27)"),
    ("#020202", "var(--faint,#5b655f)"),
    ("#030303", "var(--heather,#6a3f69)"),
    ("#040404", "var(--part1,#cfd3c6)"),
    ("#050505", "var(--part2,#b3bdb4)"),
    ("#060606", "var(--part3,#c9b083)"),
    ("#070707", "var(--part4,#a58a8f)"),
    ("#080808", "var(--part5,#8fa59a)"),
    ("#111111", "var(--zone1,#7a4a22)"),
    ("#121212", "var(--zone2,#0064a0)"),
    ("#131313", "var(--zone3,#6a3f69)"),
    ("#141414", "var(--zone4,#6e6e6e)"),
    ("#151515", "var(--zone5,#008262)"),
    ("#161616", "var(--zone6,#be5500)"),
    ("#171717", "var(--zone7,#3c96c8)"),
    ("#181818", "var(--zone8,#be5a8c)"),
];

pub(in crate::report) type Area<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;
pub(in crate::report) type Failed<'b> = DrawingAreaErrorKind<<SVGBackend<'b> as DrawingBackend>::ErrorType>;

/// Draws and hands the colours over to the page's style.
pub(in crate::report) fn drawn(
    size: (u32, u32),
    draw: impl for<'b> Fn(&Area<'b>) -> Result<(), Failed<'b>>,
) -> Option<String> {
    let mut svg = String::new();
    {
        let area = SVGBackend::with_string(&mut svg, size).into_drawing_area();
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
pub(in crate::report) fn word<'b, X: Ranged<ValueType = f64>, Y: Ranged<ValueType = f64>>(
    chart: &mut ChartContext<'_, SVGBackend<'b>, Cartesian2d<X, Y>>,
    text: &str,
    place: (f64, f64),
    (across, down): (HPos, VPos),
) -> Result<(), Failed<'b>> {
    let style = ("sans-serif", 15).into_font().color(&INK).pos(Pos::new(across, down));
    chart.draw_series(std::iter::once(Text::new(text.to_owned(), place, style)))?;
    Ok(())
}

/// A drawing for those who hear the page: `label` is a constant free of quotes and angle brackets.
pub(in crate::report) fn labelled(svg: &str, label: &str) -> String {
    svg.replacen("<svg ", &format!("<svg role=\"img\" aria-label=\"{label}\" "), 1)
}

/// A drawing as a file of its own, which brings its light and dark colours with it.
pub(crate) fn standalone(svg: &str) -> String {
    const STYLE: &str = "<style>text{paint-order:stroke;stroke:var(--paper,#f0f1ea);stroke-width:3px}\
        @media(prefers-color-scheme:dark){:root{--paper:#161b19;--ink:#e2e5db;--faint:#a2aca4;\
        --heather:#cfa3cd;--part1:#39423d;--part2:#4b574f;--part3:#6d5a35;--part4:#6a4d55;--part5:#41604d}}</style>";
    match svg.find('>') {
        Some(end) => format!("{}{STYLE}{}", &svg[..=end], &svg[end + 1..]),
        None => svg.to_owned(),
    }
}
