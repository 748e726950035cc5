//! One frame as the page's card shows it: words, ribbon, numbers, facts; every value already text.

use std::ops::Range;

use serde::Serialize;

use super::phrase;
use super::pictures::{self, Links};
use super::template::TOGETHER;
use super::view::{FrameView, View, Words, ZoneView};
use super::{chart, data};
use crate::diagnose::{Basis, ZoneName};
use crate::judge::Judgement;
use crate::quantity::{Estimate, Flag, Units};
use crate::report::say::number::plain;
use crate::report::say::{camera, name, number, paper};
use crate::shot::{Capture, Fact};

/// What the template shows of one frame.
#[derive(Serialize)]
pub(super) struct Card {
    n: usize,
    /// Facts and corners as running text: a table a frame, a thousand times over, takes a second to read in.
    compact: bool,
    name: String,
    /// Whether the words differ between the two systems of units; if not, `metric` serves both.
    other_units: bool,
    metric: Words,
    imperial: Words,
    facts_line: String,
    thumb: Option<String>,
    thumb_width: u32,
    thumb_height: u32,
    /// How near and far are judged, as classes of the glyph on the picture.
    ends: [&'static str; 2],
    ribbon: Ribbon,
    zones: Vec<ZoneRow>,
    corner_zones: Vec<ZoneRow>,
    corners: &'static str,
    corners_basis: &'static str,
    charts: Vec<Chart>,
    facts: Vec<FactRow>,
    flags: Vec<FlagRow>,
}

#[derive(Serialize)]
struct ZoneRow {
    name: &'static str,
    index: usize,
    px: String,
    word: &'static str,
}

#[derive(Serialize)]
struct FactRow {
    name: &'static str,
    value: String,
    imperial: Option<String>,
    source: &'static str,
}

#[derive(Serialize)]
struct FlagRow {
    meaning: &'static str,
    advice: &'static str,
}

/// A chart in the page, or room for one that lies beside it.
#[derive(Serialize)]
struct Chart {
    caption: &'static str,
    svg: Option<String>,
    /// Which of the charts beside the page belongs here.
    place: usize,
}

/// The blur from near to far as one drawn stroke.
#[derive(Serialize)]
struct Ribbon {
    path: String,
    gaps: String,
    label: String,
}

/// The two charts of a frame: caption, drawing.
type Draw = fn(&FrameView) -> Option<String>;
const CHARTS: [(&str, Draw); 2] =
    [("Blur against height in the frame", chart::height), ("Blur against distance from the centre", chart::radius)];

/// Frames from which on a doubt that they share is said once for all of them.
const SHARED: usize = 3;

/// The doubts that are said once for many frames, with how many have each.
pub(super) fn doubts(view: &View) -> Vec<(Flag, usize)> {
    let frames = |flag: Flag| view.frames.iter().filter(|f| f.flags.contains(&flag)).count();
    let shared = |n: usize| n >= SHARED || (n > 1 && n == view.frames.len());
    Flag::ALL.iter().map(|&flag| (flag, frames(flag))).filter(|&(_, n)| shared(n)).collect()
}

/// What the cards of a shoot share.
pub(super) struct Shared<'a> {
    folder: &'a str,
    inline: bool,
    said: Vec<Flag>,
}

impl<'a> Shared<'a> {
    pub(super) fn of(view: &'a View) -> Self {
        Self {
            folder: view.folder(),
            inline: pictures::inline(view.frames.len()),
            said: doubts(view).into_iter().map(|d| d.0).collect(),
        }
    }
}

/// The cards of some frames. `links` has one entry a frame of the view; a missing one leaves that frame without pictures.
pub(super) fn cards(view: &View, links: &[Links], shared: &Shared<'_>, which: Range<usize>) -> Vec<Card> {
    let none = Links::default();
    which.map(|i| card(i, &view.frames[i], links.get(i).unwrap_or(&none), shared)).collect()
}

/// The card of one frame.
fn card(index: usize, f: &FrameView, links: &Links, &Shared { folder, inline, ref said }: &Shared<'_>) -> Card {
    let (thumb_width, thumb_height) = if f.width >= f.height {
        (240, (240 * u64::from(f.height) / u64::from(f.width.max(1))).max(1) as u32)
    } else {
        ((240 * u64::from(f.width) / u64::from(f.height.max(1))).max(1) as u32, 240)
    };
    let row = |name: ZoneName| zone_row(name, phrase::zone(f, name));
    let [metric, imperial] = f.verdict.words.each_ref().map(|w| Words {
        line: plain(&w.line),
        cause: w.cause.as_deref().map(plain),
        detail: plain(&w.detail),
        advice: plain(&w.advice),
    });
    Card {
        n: index + 1,
        compact: !inline,
        name: name::short_name(&f.file, folder),
        other_units: metric != imperial,
        metric,
        imperial,
        facts_line: facts_line(&f.capture),
        thumb: links.thumb.as_deref().and_then(own_link),
        thumb_width,
        thumb_height,
        ends: [f.sharp.near, f.sharp.far].map(class),
        ribbon: ribbon(f),
        zones: [ZoneName::Near, ZoneName::Far, ZoneName::Centre].map(row).into(),
        corner_zones: ZoneName::CORNERS.map(row).into(),
        corners: phrase::corners(&f.corners),
        corners_basis: match f.corners.basis {
            Basis::Learned => "judged against this lens's own baseline",
            Basis::Assumed => "judged against a general assumption, for want of a baseline of this lens",
        },
        charts: CHARTS
            .iter()
            .enumerate()
            .filter_map(|(place, &(caption, draw))| {
                let svg = if inline { Some(paper::labelled(&draw(f)?, caption)) } else { None };
                (svg.is_some() || f.charted).then_some(Chart { caption, svg, place })
            })
            .collect(),
        facts: facts(&f.capture).into_iter().chain(other_files(&f.twins)).collect(),
        flags: f
            .flags
            .iter()
            .filter(|g| !said.contains(g))
            .map(|g| FlagRow { meaning: g.meaning(), advice: g.advice() })
            .collect(),
    }
}

/// What one frame of a large shoot adds to a file, which holds what all frames of that name add.
pub fn companion(index: usize, f: &FrameView) -> (String, Vec<u8>) {
    let charts = CHARTS.map(|(_, draw)| draw(f).map(|svg| paper::standalone(&svg)));
    (format!("pictures/frames-{:04}.js", index / TOGETHER + 1), data::frame_script(index, f, &charts).into_bytes())
}

/// A link of the report's own making, which the template may write as it stands; anything else is left out.
/// Escaping would be as safe, but it writes a data URI's every `/` as six characters.
fn own_link(link: &str) -> Option<String> {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~/%:;,+=".contains(&b);
    link.bytes().all(plain).then(|| link.to_owned())
}

fn zone_row(name: ZoneName, z: &ZoneView) -> ZoneRow {
    let px = match (z.optical_px, z.optical_px_sd) {
        (Some(v), Some(sd)) => format!("{} px", number::with_sd(Estimate::new(v, sd, z.tiles))),
        _ => "\u{2013}".into(),
    };
    let index = ZoneName::JUDGED.iter().position(|&n| n == name).unwrap_or(0);
    ZoneRow { name: phrase::zone_name(name), index, px, word: z.answer.judgement.word() }
}

fn facts_line(c: &Capture) -> String {
    let mut parts = Vec::new();
    if let Some(l) = &c.lens {
        parts.push(plain(&l.value));
    }
    if let Some(f) = &c.focal_length_mm {
        parts.push(camera::focal(f.value));
    }
    if let Some(n) = &c.f_number {
        parts.push(camera::f_number(n.value));
    }
    if let Some(t) = &c.exposure_s {
        parts.push(camera::exposure(t.value));
    }
    if let Some(i) = &c.iso {
        parts.push(format!("ISO {}", i.value));
    }
    if parts.is_empty() { "No capture facts.".into() } else { parts.join(", ") }
}

fn facts(c: &Capture) -> Vec<FactRow> {
    fn row<T>(out: &mut Vec<FactRow>, name: &'static str, fact: &Option<Fact<T>>, say: impl Fn(&T) -> String) {
        if let Some(f) = fact {
            out.push(FactRow { name, value: plain(&say(&f.value)), imperial: None, source: f.source.word() });
        }
    }
    let mut out = Vec::new();
    row(&mut out, "Body", &c.body, Clone::clone);
    row(&mut out, "Lens", &c.lens, Clone::clone);
    row(&mut out, "Focal length", &c.focal_length_mm, |v| camera::focal(*v));
    row(&mut out, "35 mm equivalent", &c.focal_length_35mm, |v| camera::focal(*v));
    row(&mut out, "Aperture", &c.f_number, |v| camera::f_number(*v));
    row(&mut out, "Exposure", &c.exposure_s, |v| camera::exposure(*v));
    row(&mut out, "ISO", &c.iso, f64::to_string);
    row(&mut out, "Date", &c.date, Clone::clone);
    if let Some(d) = &c.focus_distance_m {
        out.push(FactRow {
            name: "Focus distance",
            value: camera::stated(d.value, Units::Metric),
            imperial: Some(camera::stated(d.value, Units::Imperial)),
            source: d.source.word(),
        });
    }
    row(&mut out, "Focus point", &c.focus_point, |p| {
        format!("{} across, {} down", number::percent(p.x), number::percent(p.y))
    });
    row(&mut out, "Focus mode", &c.focus_mode, Clone::clone);
    row(&mut out, "Pixel pitch", &c.pixel_pitch_um, |v| format!("{} \u{b5}m", (v * 100.0).round() / 100.0));
    out
}

/// The other files of the shot, which count with this one.
fn other_files(twins: &[String]) -> Option<FactRow> {
    let value = plain(&twins.join(", "));
    (!twins.is_empty()).then_some(FactRow { name: "Other files", value, imperial: None, source: "same shot" })
}

/// Half the ribbon's thickness at the permitted blur; the template's dotted lines lie there.
const LIMIT: f64 = 5.0;

fn ribbon(f: &FrameView) -> Ribbon {
    let half = |z: &ZoneView| {
        let (blur, permitted) = (z.optical_px?, f.permitted.blur_px.filter(|p| *p > 0.0)?);
        Some((LIMIT * blur / permitted).clamp(0.8, 15.0))
    };
    let stops = [(&f.zones.near, 4.0), (&f.zones.centre, 60.0), (&f.zones.far, 116.0)];
    let known: Vec<(f64, f64)> = stops.iter().filter_map(|&(z, x)| Some((x, half(z)?))).collect();
    let mut path = String::new();
    for pair in known.windows(2) {
        let ((x0, h0), (x1, h1)) = (pair[0], pair[1]);
        let mid = f64::midpoint(x0, x1);
        path.push_str(&format!(
            "M{x0} {:.1}C{mid} {:.1} {mid} {:.1} {x1} {:.1}V{:.1}C{mid} {:.1} {mid} {:.1} {x0} {:.1}Z",
            16.0 - h0,
            16.0 - h0,
            16.0 - h1,
            16.0 - h1,
            16.0 + h1,
            16.0 + h1,
            16.0 + h0,
            16.0 + h0,
        ));
    }
    let mut gaps = String::new();
    let first = known.first().map_or(116.0, |k| k.0);
    let last = known.last().map_or(116.0, |k| k.0);
    if first > 4.0 {
        gaps.push_str(&format!("M4 16H{first}"));
    }
    if last < 116.0 {
        gaps.push_str(&format!("M{last} 16H116"));
    }
    let say = |name, z: &ZoneView| format!("{name} {}", z.answer.judgement.word());
    Ribbon {
        path,
        gaps,
        label: format!(
            "Blur from near to far: {}, {}, {}",
            say("near", &f.zones.near),
            say("centre", &f.zones.centre),
            say("far", &f.zones.far)
        ),
    }
}

/// A judgement as a class of the page's style.
const fn class(judgement: Judgement) -> &'static str {
    match judgement {
        Judgement::Within => "within",
        Judgement::AtLimit => "at-limit",
        Judgement::Beyond => "beyond",
        Judgement::Unknown => "unknown",
    }
}
