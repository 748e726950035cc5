//! Groups of frames of one scene as an audit shows them, from the widths it measured anyway.

use super::series::zone_name;
use crate::measure::register::{Registration, Small, register_small};
use crate::optics::blur::{Parts, sigma_px};
use crate::quantity::Region;
use crate::report::Frame;
use crate::report::series::{GroupAnswer, SeriesGroupView, group_view};
use crate::series::{
    Blurs, Group, Member, Point, Varied, ZoneBlur, ZoneName, aperture, bracket, group, on_reference, sharpest,
};

/// Finds the groups among audited frames and answers each from single-frame widths; `smalls` has one entry a frame.
///
/// The answers are `tussock series`'s with wider errors: what a tile shows does not cancel here.
#[must_use]
pub fn groups(frames: &[Frame], smalls: &[Small]) -> Vec<(Group, SeriesGroupView)> {
    let members: Vec<Member> = frames
        .iter()
        .zip(smalls)
        .map(|(f, small)| Member {
            file: &f.file,
            size: (f.map.width, f.map.height),
            capture: &f.capture,
            small,
            map: Some(&f.map),
        })
        .collect();
    group(&members)
        .into_iter()
        .map(|g| {
            let frames: Vec<&Frame> = g.members.iter().map(|&m| &frames[m]).collect();
            let smalls: Vec<&Small> = g.members.iter().map(|&m| &smalls[m]).collect();
            let view = group_view(&answer(&frames, &smalls, g.varied));
            (g, view)
        })
        .collect()
}

fn answer(frames: &[&Frame], smalls: &[&Small], varied: Varied) -> GroupAnswer {
    let tiles: Vec<Region> =
        frames[0].map.tiles.iter().map(|t| Region { x: t.x, y: t.y, width: t.width, height: t.height }).collect();
    let sigma: Vec<_> = frames
        .iter()
        .zip(smalls)
        .enumerate()
        .map(|(k, (f, small))| {
            let registration: Option<Registration> = if k == 0 { None } else { register_small(smalls[0], small) };
            on_reference(&f.map, registration.as_ref(), &tiles)
        })
        .collect();
    let sd = |e: &Option<crate::quantity::Estimate>| e.map_or(0.0, |e| e.sd);
    let blurs = Blurs {
        apart_sd: sigma.iter().map(|f| f.iter().map(sd).collect()).collect(),
        anchor_sd: vec![0.0; tiles.len()],
        moved: vec![0; frames.len()],
        sigma,
    };
    let f_numbers: Vec<Option<f64>> = frames.iter().map(|f| f.capture.f_number.as_ref().map(|n| n.value)).collect();
    let pitch_um = frames[0].capture.pixel_pitch_um.as_ref().map(|p| p.value);
    let zones = zones(frames);
    let permitted_px = sigma_px(&Parts { lens_px: frames[0].diagnosis.permitted_px, pixel: true, ..Parts::default() });
    GroupAnswer {
        files: frames.iter().map(|f| f.file.clone()).collect(),
        apertures: (varied == Varied::Aperture).then(|| aperture::answer(&zones, &f_numbers, pitch_um)),
        bracket: (varied == Varied::Focus).then(|| bracket::answer(&zones, &blurs, &tiles, permitted_px)),
        sharpest: if varied == Varied::Nothing { sharpest(&blurs.sigma) } else { None },
        f_numbers,
        pitch_um,
        varied,
        zones,
        size: (frames[0].map.width, frames[0].map.height),
        tiles,
        permitted_px,
        notes: Vec::new(),
        moved: vec![0.0; frames.len()],
    }
}

/// The zones of each frame's own diagnosis, side by side.
fn zones(frames: &[&Frame]) -> Vec<ZoneBlur> {
    ZoneName::ALL
        .into_iter()
        .filter_map(|name| {
            let points: Vec<Point> = frames
                .iter()
                .enumerate()
                .filter_map(|(k, f)| {
                    let zone = f.diagnosis.zones.iter().find(|z| zone_name(z.name) == name)?;
                    zone.blur_px.map(|blur| Point { frame: k, blur, apart_sd: blur.sd })
                })
                .collect();
            let tiles = points.iter().map(|p| p.blur.n).min()?;
            (points.len() > 1).then_some(ZoneBlur { name, points, tiles })
        })
        .collect()
}
