//! Groups of frames of one scene as an audit shows them, from the widths it measured anyway.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use serde::{Deserialize, Serialize};

use super::remember::Memory;
use super::series::zone_name;
use crate::measure::register::{Registration, Similarity, Small, register_small};
use crate::optics::blur::{Parts, sigma_px};
use crate::output::store::Key;
use crate::quantity::Region;
use crate::report::Frame;
use crate::report::series::{GroupAnswer, NoteKind, SeriesGroupView, group_view};
use crate::series::{
    Blurs, Group, Member, Point, Varied, ZoneBlur, ZoneName, aperture, bracket, group_by, on_reference, sharpest,
    without_still_content,
};

/// Finds the groups among audited frames and answers each from single-frame widths; `registered` knows the same frames.
///
/// The answers are `tussock series`'s with wider errors: what a tile shows does not cancel here.
#[must_use]
pub fn groups(frames: &[Frame], registered: &Registered) -> Vec<(Group, SeriesGroupView)> {
    let members: Vec<Member> = frames
        .iter()
        .zip(registered.smalls)
        .map(|(f, small)| Member {
            file: &f.file,
            size: (f.map.width, f.map.height),
            capture: &f.capture,
            small,
            map: Some(&f.map),
        })
        .collect();
    group_by(&members, &|a, b| registered.find(a, b))
        .into_iter()
        .map(|g| {
            let frames: Vec<&Frame> = g.members.iter().map(|&m| &frames[m]).collect();
            let view = group_view(&answer(&frames, &g.members, registered, g.varied));
            (g, view)
        })
        .collect()
}

/// How frames lie on each other, found when asked for and remembered, since that is most of the work here.
pub struct Registered<'a> {
    smalls: &'a [Small],
    keys: &'a [Option<Key>],
    memory: &'a Memory,
    known: Mutex<HashMap<(usize, usize), Option<Registration>>>,
}

/// A registration as remembered: the common map alone.
#[derive(Clone, Copy, Serialize, Deserialize)]
struct Lay {
    centre: (f64, f64),
    shift: (f64, f64),
    scale: f64,
    angle: f64,
    residual_px: f64,
    compared: u32,
    agreement: f64,
}

impl<'a> Registered<'a> {
    /// Small pictures of some frames and the keys of what is remembered of them.
    #[must_use]
    pub fn new(smalls: &'a [Small], keys: &'a [Option<Key>], memory: &'a Memory) -> Self {
        Self { smalls, keys, memory, known: Mutex::default() }
    }

    /// As [`register_small`] for two frames by their indices, less the offsets of single patches.
    fn find(&self, a: usize, b: usize) -> Option<Registration> {
        let known = || self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = known().get(&(a, b)) {
            return found.clone();
        }
        let pair: Option<[Key; 2]> = self.keys[a].zip(self.keys[b]).map(Into::into);
        let key = pair.and_then(|pair| self.memory.build_key(&pair, "registration"));
        let lay = self.memory.recall::<Option<Lay>>(key.as_ref()).unwrap_or_else(|| {
            let lay = register_small(&self.smalls[a], &self.smalls[b]).map(|r| Lay::of(&r));
            self.memory.remember(key, &lay);
            lay
        });
        let found = lay.map(Lay::registration);
        known().insert((a, b), found.clone());
        found
    }
}

impl Lay {
    const fn of(r: &Registration) -> Self {
        let Similarity { centre, shift, scale, angle } = r.map;
        let (residual_px, compared, agreement) = (r.residual_px, r.compared, r.agreement);
        Self { centre, shift, scale, angle, residual_px, compared, agreement }
    }

    const fn registration(self) -> Registration {
        let Self { centre, shift, scale, angle, residual_px, compared, agreement } = self;
        let map = Similarity { centre, shift, scale, angle };
        Registration { map, residual_px, compared, agreement, offsets: Vec::new() }
    }
}

fn answer(frames: &[&Frame], members: &[usize], registered: &Registered, varied: Varied) -> GroupAnswer {
    let tiles: Vec<Region> =
        frames[0].map.tiles.iter().map(|t| Region { x: t.x, y: t.y, width: t.width, height: t.height }).collect();
    let sigma: Vec<_> = frames
        .iter()
        .zip(members)
        .enumerate()
        .map(|(k, (f, &m))| {
            let registration = if k == 0 { None } else { registered.find(members[0], m) };
            on_reference(&f.map, registration.as_ref(), &tiles)
        })
        .collect();
    let sd = |e: &Option<crate::quantity::Estimate>| e.map_or(0.0, |e| e.sd);
    let blurs = Blurs {
        apart_sd: sigma.iter().map(|f| f.iter().map(sd).collect()).collect(),
        from_middle: vec![vec![(0.0, 0.0); tiles.len()]; frames.len()],
        anchor_sd: vec![0.0; tiles.len()],
        moved: vec![0; frames.len()],
        sigma,
    };
    let all = blurs.tiles();
    let blurs = if varied == Varied::Focus { without_still_content(&blurs) } else { blurs };
    let soft = all - blurs.tiles();
    let f_numbers: Vec<Option<f64>> = frames.iter().map(|f| f.capture.f_number.as_ref().map(|n| n.value)).collect();
    let pitch_um = frames[0].capture.pixel_pitch_um.as_ref().map(|p| p.value);
    let zones = zones(frames);
    let permitted_px = sigma_px(&Parts { lens_px: frames[0].diagnosis.permitted_px, pixel: true, ..Parts::default() });
    GroupAnswer {
        files: frames.iter().map(|f| f.file.clone()).collect(),
        apertures: (varied == Varied::Aperture).then(|| aperture::answer(&zones, &f_numbers, pitch_um)),
        bracket: (varied == Varied::Focus).then(|| {
            bracket::answer(&zones, &bracket::widths(&blurs, &tiles, &f_numbers, pitch_um), &tiles, permitted_px)
        }),
        f_numbers,
        sharpest: if varied == Varied::Nothing { sharpest(&blurs.sigma) } else { None },
        pitch_um,
        varied,
        zones,
        size: (frames[0].map.width, frames[0].map.height),
        tiles,
        permitted_px,
        notes: (soft > 0).then_some((None, NoteKind::SoftContent(soft))).into_iter().collect(),
        moved: vec![0.0; frames.len()],
        laid: members
            .iter()
            .enumerate()
            .map(|(k, &m)| if k == 0 { Some(Similarity::still()) } else { Some(registered.find(members[0], m)?.map) })
            .collect(),
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
            let own = |f: &&Frame| f.diagnosis.zones.iter().find(|z| zone_name(z.name) == name).map(|z| z.tiles.len());
            let of = frames.iter().filter_map(own).max()? as u32;
            (points.len() > 1).then_some(ZoneBlur { name, points, tiles, of })
        })
        .collect()
}
