//! What the page's script needs of a view, packed small: one short record a frame, tiles as bytes.

use std::collections::BTreeMap;

use base64::Engine as _;
use serde::Serialize;

use super::number::{plain, significant};
use super::pictures::{self, Links};
use super::spots::Spot;
use super::tiles::BudgetView;
use super::view::{FrameView, View, ZoneView};
use super::{chart, keep, line, palette, phrase};
use crate::diagnose::{Cause, Standing, ZoneName};
use crate::judge::{BEYOND, FINEST_DISC_PX, Judgement, ROOM, WITHIN};
use crate::measure::TileState;
use crate::quantity::{DISC_SIGMA, Point, Region};

/// The page's data as JSON, not yet safe inside a script element.
#[must_use]
pub(super) fn data(view: &View, links: &[Links]) -> String {
    let none = Links::default();
    let inline = pictures::inline(view.frames.len());
    let folder = phrase::common_folder(view.frames.iter().map(|f| f.file.as_str()));
    let proposed = keep::proposals(view);
    let data = Data {
        id: view.id.clone(),
        sharp_for: &view.asked.sharp_for,
        disc_sigma: DISC_SIGMA,
        rule: Rule { finest_disc: FINEST_DISC_PX, room: ROOM, within: WITHIN, beyond: BEYOND },
        ramp: &palette::RAMP,
        ends: ends(),
        causes: Cause::ALL.iter().map(|c| (super::table::word(c), phrase::cause_name(*c))).collect(),
        groups: view.groups.iter().map(|g| &g.frames[..]).collect(),
        frames: view
            .frames
            .iter()
            .enumerate()
            .map(|(i, f)| Record {
                laid: laid(view, f),
                proposed: proposed.get(i).copied().flatten().map(|p| (p.keep, p.why)),
                ..record(f, folder, links.get(i).unwrap_or(&none), inline)
            })
            .collect(),
    };
    serde_json::to_string(&data).unwrap_or_else(|_| "{\"frames\":[]}".into())
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
    frames: Vec<Record<'a>>,
}

/// The numbers of the rule that judges a width, for uses chosen on the page.
#[derive(Serialize)]
struct Rule {
    finest_disc: f64,
    room: f64,
    within: f64,
    beyond: f64,
}

/// One frame. Short keys: there may be thousands.
#[derive(Serialize)]
struct Record<'a> {
    /// File as given, for commands.
    file: &'a str,
    /// File made plain, for showing.
    name: String,
    w: u32,
    h: u32,
    cols: u32,
    rows: u32,
    cause: Cause,
    lens: Option<String>,
    stop: Option<f64>,
    date: Option<&'a str>,
    group: Option<usize>,
    /// Where the scene of the group lies in this frame: shift right and down (px), enlargement, turn (degrees).
    #[serde(skip_serializing_if = "Option::is_none")]
    laid: Option<[f64; 4]>,
    /// Permitted optical blur, px, as audited.
    permit: Option<f64>,
    /// What its pixels show at best, px.
    finest: Option<f64>,
    /// Pixel aperture, px.
    pixel: Option<f64>,
    pitch: Option<f64>,
    /// In the order of `ZoneName::JUDGED`: optical blur, sd.
    zones: [[Option<f64>; 2]; 7],
    /// Likewise, whether each is sharp.
    sharp: [Judgement; 7],
    /// Whether it is sharp from near to far.
    throughout: Option<bool>,
    /// The cause as the line says it; null where the line names none.
    why: Option<&'a str>,
    /// Whether it is proposed to keep the frame, and why.
    #[serde(skip_serializing_if = "Option::is_none")]
    proposed: Option<(bool, &'static str)>,
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
    full: Option<&'a str>,
    crops: Vec<Crop>,
}

/// Name, rectangle in the picture, where it lies on the sheet, tile.
#[derive(Serialize)]
struct Crop(&'static str, u32, u32, u32, u32, u32, u32, Option<u32>);

fn record<'a>(f: &'a FrameView, folder: &str, links: &'a Links, inline: bool) -> Record<'a> {
    let laid = &links.laid;
    Record {
        file: &f.file,
        name: phrase::short_name(&f.file, folder),
        w: f.width,
        h: f.height,
        cols: f.grid.columns,
        rows: f.grid.rows,
        cause: f.verdict.cause,
        lens: f.capture.lens.as_ref().map(|l| plain(&l.value)),
        stop: f.capture.f_number.as_ref().map(|n| n.value),
        date: f.capture.date.as_ref().map(|d| d.value.as_str()),
        group: f.group,
        laid: None,
        permit: f.permitted.blur_px,
        finest: f.permitted.finest_px,
        pixel: significant(chart::pixel(f), 4),
        pitch: f.capture.pixel_pitch_um.as_ref().map(|p| p.value),
        zones: ZoneName::JUDGED.map(|name| zone(phrase::zone(f, name))),
        sharp: ZoneName::JUDGED.map(|name| phrase::zone(f, name).answer.judgement),
        throughout: f.sharp.throughout,
        why: cause(f),
        proposed: None,
        tiles: inline.then(|| packed(f)),
        line: f.model.as_ref().and_then(|m| m.focus_line),
        fitted: f.model.is_some(),
        point: f.capture.focus_point.as_ref().map(|p| p.value),
        near: f.marks.near_at,
        far: f.marks.far_at,
        sheet: links.sheet.as_deref(),
        laid_out: [laid.picture.width, laid.picture.height, laid.overview.0, laid.overview.1],
        full: links.full.as_deref(),
        crops: if links.sheet.is_some() { laid.patches.iter().map(crop).collect() } else { Vec::new() },
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

/// The cause in a line, which stands behind its colon or semicolon.
fn cause(f: &FrameView) -> Option<&str> {
    // What stands there of a frame that isn't known to be soft is why an end is unknown.
    let line = f.sharp.throughout.map(|_| f.verdict.words[0].line.as_str())?;
    line.split_once([':', ';']).map(|(_, cause)| cause.trim().trim_end_matches('.'))
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
#[must_use]
pub(super) fn frame_script(index: usize, f: &FrameView, charts: &[Option<String>]) -> String {
    let charts = serde_json::to_string(charts).unwrap_or_else(|_| "[]".into());
    format!("tussockFrame({index},\"{}\",{});\n", packed(f), script_safe(&charts))
}

/// JSON that can stand inside a script element: no `<` can open or close anything, and no line separator
/// can end a line of script.
pub(super) fn script_safe(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    for c in json.chars() {
        match c {
            '<' => out.push_str("\\u003c"),
            '>' => out.push_str("\\u003e"),
            '&' => out.push_str("\\u0026"),
            // Line separators end a line of script; direction marks turn what a reader of the source sees.
            c if crate::quantity::invisible(c) => {
                let mut units = [0; 2];
                for unit in c.encode_utf16(&mut units) {
                    out.push_str(&format!("\\u{unit:04x}"));
                }
            }
            _ => out.push(c),
        }
    }
    out
}

fn packed(f: &FrameView) -> String {
    base64::engine::general_purpose::STANDARD.encode(tiles(f))
}

/// Nine bytes a tile, row-major: optical blur in thousandths of a pixel (little-endian, 0 for none), its sd, state and
/// standing, the zones it lies in as bits, then diffraction, defocus, lens and motion.
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
        out.push(state(t.state) | standing(t.standing) << 3);
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
