//! What the page's script needs of a view, packed small: one short record a frame, tiles as bytes.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::Range;

use base64::Engine as _;
use serde::Serialize;

use super::pictures::{self, Links};
use super::spots::Spot;
use super::template::{PART, TOGETHER, held_scenes};
use super::tiles::BudgetView;
use super::view::{FrameView, View, ZoneView};
use super::{chart, line, phrase};
use crate::diagnose::{Cause, Standing, ZoneName};
use crate::judge::{BEYOND, Judgement, ROOM, WITHIN};
use crate::measure::TileState;
use crate::quantity::{DISC_SIGMA, FINEST_DISC_PX, Point, Region, plain_json};
use crate::report::say::name::{short_name, word};
use crate::report::say::number::{plain, significant};
use crate::report::say::palette;

/// The page's data as JSON, not yet safe inside a script element: what is asked of every frame, and the records of those
/// `held` in the page.
pub(super) fn data(view: &View, links: &[Links], held: usize) -> String {
    let folder = view.folder();
    let causes: BTreeMap<String, String> = Cause::ALL.iter().map(|c| (word(c), phrase::cause_name(*c))).collect();
    let whys = view.frames.iter().filter_map(|f| f.proposal.as_ref()).map(|p| p.why.as_str());
    let reasons: Vec<&str> = whys.collect::<BTreeSet<_>>().into_iter().collect();
    let (kinds, all) = columns(view, folder, &causes, &reasons);
    let data = Data {
        id: view.id.clone(),
        sharp_for: &view.asked.sharp_for,
        disc_sigma: DISC_SIGMA,
        rule: Rule { finest_disc: FINEST_DISC_PX, room: ROOM, within: WITHIN, beyond: BEYOND },
        ramp: &palette::RAMP,
        ends: ends(),
        causes,
        groups: view.groups.iter().map(|g| &g.frames[..]).collect(),
        parts: (held < view.frames.len()).then(|| Parts { size: PART, scenes: held_scenes(view.groups.len()) }),
        together: TOGETHER,
        folder,
        kinds,
        reasons,
        all,
        held: (0..held).map(|i| record(view, i, links)).collect(),
    };
    serde_json::to_string(&data).unwrap_or_else(|_| "{}".into())
}

/// The records of some frames as JSON.
pub(super) fn records(view: &View, links: &[Links], which: Range<usize>) -> String {
    let records: Vec<Record> = which.map(|i| record(view, i, links)).collect();
    serde_json::to_string(&records).unwrap_or_else(|_| "[]".into())
}

/// What is asked of every frame, a column a quantity, and the kinds of frame it refers to.
fn columns<'a>(
    view: &'a View,
    folder: &str,
    causes: &BTreeMap<String, String>,
    reasons: &[&str],
) -> (Vec<Kind>, Columns<'a>) {
    let words: Vec<&String> = causes.keys().collect();
    let (mut kinds, mut known, mut all) = (Vec::new(), HashMap::new(), Columns::default());
    for (i, f) in view.frames.iter().enumerate() {
        let file = f.file.strip_prefix(folder).unwrap_or(&f.file);
        let name = short_name(&f.file, folder);
        if name != file {
            all.name.insert(i, name);
        }
        all.file.push(file);
        let kind = kind(f);
        let place = *known.entry(serde_json::to_string(&kind).unwrap_or_default()).or_insert(kinds.len());
        if place == kinds.len() {
            kinds.push(kind);
        }
        all.kind.push(place);
        all.date.push(f.capture.date.as_ref().map(|d| d.value.as_str()));
        let cause = word(&f.verdict.cause);
        all.cause.push(words.iter().position(|w| **w == cause).unwrap_or(0));
        all.throughout.push(f.sharp.throughout);
        let [near, far] = [ZoneName::Near, ZoneName::Far].map(|name| phrase::zone(f, name));
        all.near.push(zone(near));
        all.far.push(zone(far));
        all.ends.push(4 * code(near.answer.judgement) + code(far.answer.judgement));
        all.group.push(f.group);
        let reason = |why: &str| reasons.iter().position(|r| *r == why).map_or(0, |k| k as i32 + 1);
        let one = f.proposal.as_ref();
        all.proposed.push(one.map_or(0, |p| if p.keep { reason(&p.why) } else { -reason(&p.why) }));
    }
    (kinds, all)
}

/// A judgement by its place among `within`, `at_limit`, `beyond`, `unknown`.
const fn code(judgement: Judgement) -> u8 {
    match judgement {
        Judgement::Within => 0,
        Judgement::AtLimit => 1,
        Judgement::Beyond => 2,
        Judgement::Unknown => 3,
    }
}

#[derive(Serialize)]
struct Data<'a> {
    /// Names the report, for what the page remembers of it.
    id: String,
    sharp_for: &'a str,
    disc_sigma: f64,
    rule: Rule,
    ramp: &'a [[u8; 3]],
    /// What near and far come to, by their words joined by a comma.
    ends: BTreeMap<String, &'static str>,
    /// Names of the causes.
    causes: BTreeMap<String, String>,
    /// Frames of each scene.
    groups: Vec<&'a [usize]>,
    /// Frames whose tiles and charts share a file, where they lie beside the page.
    together: usize,
    /// Where cards lie beside the page: how.
    #[serde(skip_serializing_if = "Option::is_none")]
    parts: Option<Parts>,
    /// The folder that all files lie in.
    folder: &'a str,
    /// Frames of one kind have these in common.
    kinds: Vec<Kind>,
    /// Why frames are proposed to be kept or left out.
    reasons: Vec<&'a str>,
    all: Columns<'a>,
    /// The records of the first frames.
    held: Vec<Record<'a>>,
}

/// Cards and scenes of one part, and how many scenes the page itself has.
#[derive(Serialize)]
struct Parts {
    size: usize,
    scenes: usize,
}

/// Width, height, columns and rows of tiles, permitted optical blur as audited, what the pixels show at best, pixel aperture
/// (px), pitch (um), lens, f-number.
#[derive(Serialize)]
struct Kind(u32, u32, u32, u32, Option<f64>, Option<f64>, Option<f64>, Option<f64>, Option<String>, Option<f64>);

fn kind(f: &FrameView) -> Kind {
    Kind(
        f.width,
        f.height,
        f.grid.columns,
        f.grid.rows,
        f.permitted.blur_px,
        f.permitted.finest_px,
        significant(chart::pixel(f), 4),
        f.capture.pixel_pitch_um.as_ref().map(|p| p.value),
        f.capture.lens.as_ref().map(|l| plain(&l.value)),
        f.capture.f_number.as_ref().map(|n| n.value),
    )
}

/// One entry a frame each.
#[derive(Default, Serialize)]
struct Columns<'a> {
    /// File as given, for commands, behind the folder.
    file: Vec<&'a str>,
    /// File made plain, for showing, where that is another.
    name: BTreeMap<usize, String>,
    kind: Vec<usize>,
    date: Vec<Option<&'a str>>,
    /// By its place among the causes.
    cause: Vec<usize>,
    /// Whether it is sharp from near to far.
    throughout: Vec<Option<bool>>,
    /// Optical blur and sd, px.
    near: Vec<[Option<f64>; 2]>,
    far: Vec<[Option<f64>; 2]>,
    /// How near and far are judged: four times the code of the one and that of the other.
    ends: Vec<u8>,
    group: Vec<Option<usize>>,
    /// The place of the reason, from 1, below nought to leave it out; nought for no proposal.
    proposed: Vec<i32>,
}

/// The numbers of the rule that judges a width, for uses chosen on the page.
#[derive(Serialize)]
struct Rule {
    finest_disc: f64,
    room: f64,
    within: f64,
    beyond: f64,
}

/// What else the page needs of a frame once its card is there. Short keys: there may be thousands.
#[derive(Serialize)]
struct Record<'a> {
    /// Where the scene of the group lies in this frame: shift right and down (px), enlargement, turn (degrees).
    #[serde(skip_serializing_if = "Option::is_none")]
    laid: Option<[f64; 4]>,
    /// In the order of `ZoneName::JUDGED`: optical blur, sd.
    zones: [[Option<f64>; 2]; 7],
    /// Likewise, whether each is sharp.
    sharp: [Judgement; 7],
    /// The cause as the line says it; null where the line names none.
    why: Option<&'a str>,
    /// Tiles, nine bytes each (see `tiles`); `None` where they lie beside the page.
    #[serde(skip_serializing_if = "Option::is_none")]
    tiles: Option<String>,
    line: Option<[Point; 2]>,
    /// Whether a model was fitted, so that a missing line means that it lies outside the picture.
    fitted: bool,
    point: Option<Point>,
    near: Option<Point>,
    far: Option<Point>,
    /// The sheet of pictures, its width and height, and those of the overview at its top left, px.
    sheet: Option<&'a str>,
    laid_out: [u32; 4],
    /// The original, and the whole picture in tiles.
    full: Option<&'a str>,
    tiled: Option<&'a str>,
    crops: Vec<Crop>,
}

/// Name, rectangle in the picture, where it lies on the sheet, tile.
#[derive(Serialize)]
struct Crop(&'static str, u32, u32, u32, u32, u32, u32, Option<u32>);

fn record<'a>(view: &'a View, index: usize, links: &'a [Links]) -> Record<'a> {
    let f = &view.frames[index];
    let links = links.get(index);
    let drawn = links.map(|l| &l.laid);
    let sheet = links.and_then(|l| l.sheet.as_deref());
    Record {
        laid: laid(view, f),
        zones: ZoneName::JUDGED.map(|name| zone(phrase::zone(f, name))),
        sharp: ZoneName::JUDGED.map(|name| phrase::zone(f, name).answer.judgement),
        why: cause(f),
        tiles: pictures::inline(view.frames.len()).then(|| packed(f)),
        line: f.model.as_ref().and_then(|m| m.focus_line),
        fitted: f.model.is_some(),
        point: f.capture.focus_point.as_ref().map(|p| p.value),
        near: f.marks.near_at,
        far: f.marks.far_at,
        sheet,
        laid_out: drawn.map_or([0; 4], |d| [d.picture.width, d.picture.height, d.overview.0, d.overview.1]),
        full: links.and_then(|l| l.full.as_deref()),
        tiled: links.and_then(|l| l.tiled.as_deref()),
        crops: drawn.filter(|_| sheet.is_some()).map_or_else(Vec::new, |d| d.patches.iter().map(crop).collect()),
    }
}

fn crop((spot, at): &(Spot, (u32, u32))) -> Crop {
    let Region { x, y, width, height } = spot.region;
    Crop(spot.name.word(), x, y, width, height, at.0, at.1, spot.tile)
}

/// What near and far come to, for every pair of judgements, so that the page says it in the report's own words.
fn ends() -> BTreeMap<String, &'static str> {
    use Judgement::{AtLimit, Beyond, Unknown, Within};
    let all = [Within, AtLimit, Beyond, Unknown];
    let pair = |near: Judgement, far: Judgement| (format!("{},{}", near.word(), far.word()), line::ends(near, far));
    all.iter().flat_map(|&near| all.map(|far| pair(near, far))).collect()
}

/// The cause in a few words.
fn cause(f: &FrameView) -> Option<&str> {
    // Of a frame that isn't known to be soft it is why an end is unknown.
    f.sharp.throughout.and(f.verdict.words[0].cause.as_deref())
}

fn laid(view: &View, f: &FrameView) -> Option<[f64; 4]> {
    let of = view.groups.get(f.group?)?.answer.laid.iter().find(|l| l.file == f.file)?;
    Some([of.shift_x_px?, of.shift_y_px?, of.scale?, of.turned_degrees?])
}

fn zone(z: &ZoneView) -> [Option<f64>; 2] {
    [z.optical_px, z.optical_px_sd].map(|v| v.and_then(|v| significant(v, 4)))
}

/// The tiles and charts of one frame as a script of their own, which the page asks for when the frame is opened; a page
/// opened from disk may load a script but not read a file.
pub(super) fn frame_script(index: usize, f: &FrameView, charts: &[Option<String>]) -> String {
    let charts = serde_json::to_string(charts).unwrap_or_else(|_| "[]".into());
    format!("tussockFrame({index},\"{}\",{});\n", packed(f), script_safe(&charts))
}

/// JSON that can stand inside a script element: no `<` can open or close anything, no line separator can end a line of
/// script, and no direction mark turns what a reader of the source sees.
pub(super) fn script_safe(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    for c in plain_json(json).chars() {
        match c {
            '<' => out.push_str("\\u003c"),
            '>' => out.push_str("\\u003e"),
            '&' => out.push_str("\\u0026"),
            _ => out.push(c),
        }
    }
    out
}

fn packed(f: &FrameView) -> String {
    base64::engine::general_purpose::STANDARD.encode(tiles(f))
}

/// Nine bytes a tile, row-major: optical blur in thousandths of a pixel (little-endian, 0 for none), its sd, state,
/// standing and whether neighbours helped, the zones it lies in as bits, then diffraction, defocus, lens and motion.
fn tiles(f: &FrameView) -> Vec<u8> {
    let mut zones = vec![0u8; f.tiles.len()];
    for (bit, name) in ZoneName::JUDGED.into_iter().enumerate() {
        for &i in &phrase::zone(f, name).members {
            if let Some(mask) = zones.get_mut(i as usize) {
                *mask |= 1 << bit;
            }
        }
    }
    let mut out = Vec::with_capacity(9 * f.tiles.len());
    for (t, mask) in f.tiles.iter().zip(zones) {
        // `as` saturates, so that a monstrous blur stays the largest that can be shown.
        let blur = t.optical_px.map_or(0, |b| ((b * 1000.0).round() as u16).max(1));
        out.extend_from_slice(&blur.to_le_bytes());
        out.push(coded(t.optical_px_sd, 0.002, 1.04));
        out.push(state(t.state) | standing(t.standing) << 3 | u8::from(t.with_neighbours) << 6);
        out.push(mask);
        let part = |of: fn(&BudgetView) -> Option<f64>| coded(t.budget.as_ref().and_then(of), 0.02, 1.025);
        out.extend([part(|b| b.diffraction), part(|b| b.defocus), part(|b| b.lens), part(|b| b.motion)]);
    }
    out
}

/// A width as one byte in even steps of ratio: 0 for none, 1 for less than `least`.
fn coded(value: Option<f64>, least: f64, step: f64) -> u8 {
    match value {
        None => 0,
        Some(v) if v < least => 1,
        Some(v) => (2.0 + ((v / least).ln() / step.ln()).round()).min(255.0) as u8,
    }
}

const fn state(state: TileState) -> u8 {
    match state {
        TileState::Measured => 0,
        TileState::NoDetail => 1,
        TileState::Clipped => 2,
        TileState::Noisy => 3,
        TileState::AtMost => 4,
        TileState::AtLeast => 5,
    }
}

const fn standing(standing: Standing) -> u8 {
    match standing {
        Standing::Ground => 0,
        Standing::Far => 1,
        Standing::Nearer => 2,
        Standing::Farther => 3,
        Standing::SoftContent => 4,
        Standing::Unmeasured => 5,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_coded_width_comes_back_within_half_a_step() {
        for v in [0.02, 0.31, 1.0, 4.2, 9.9] {
            let back = 0.02 * 1.025f64.powi(i32::from(coded(Some(v), 0.02, 1.025)) - 2);
            assert!((back / v - 1.0).abs() < 0.0125, "{v} {back}");
        }
        assert_eq!(
            (coded(None, 0.02, 1.025), coded(Some(0.0), 0.02, 1.025), coded(Some(1e9), 0.02, 1.025)),
            (0, 1, 255)
        );
    }
}
