//! What should be known of single frames of a series, in words.

use super::Alone;
use super::words::{name, stop, sure_word};
use crate::report::say::camera::f_number;
use crate::report::say::number::percent;
use crate::series::{Answer, Lone, NoteKind, Varied};
use crate::stats::normal_beyond;

/// A note in words.
pub(super) fn note(group: &Answer, k: Option<usize>, kind: NoteKind) -> String {
    let file = k.map_or("a frame", |k| name(group, k));
    match kind {
        NoteKind::NoFNumber => {
            format!("{file} records no f-number, so it can't be placed in the series; give --apertures.")
        }
        NoteKind::FNumberFromName => {
            format!(
                "{file} records no f-number; the {} of its name is taken for it.",
                k.map_or_else(String::new, |k| stop(group, k))
            )
        }
        NoteKind::CopyOf(other) => format!("{file} is a copy of {} and was left out.", name(group, other)),
        NoteKind::SameStop => format!("{file} has the same f-number as another frame; the sharper one counts."),
        NoteKind::Spoiled | NoteKind::Outdone(_) => softer(group, k, kind, file),
        NoteKind::Shaken if group.varied == Varied::Aperture => {
            format!("{file} shows the streaks of a shaken frame and was left out of the answers; take it again.")
        }
        NoteKind::Shaken => format!("{file} shows the streaks of a shaken frame and has no part in a blend."),
        NoteKind::ShakenYetUsed => format!(
            "{file} shows the streaks of a shaken frame; too few of the others don't, so it was used as it is. Take the series again."
        ),
        NoteKind::MissingStop(from, to) => {
            format!("There is a gap between {} and {}; the best may lie in it.", f_number(from), f_number(to))
        }
        NoteKind::Moved => format!(
            "{} of {file} moved between the frames and was left out; a calmer day would tell more.",
            percent(k.map_or(0.0, |k| group.moved[k]))
        ),
        NoteKind::SoftContent(tiles) if group.varied == Varied::Focus => format!(
            "{} of the picture is equally soft wherever the focus lies, as clouds and smooth water are, and was left out.",
            percent(tiles as f64 / group.tiles.len().max(1) as f64)
        ),
        NoteKind::SoftContent(tiles) => format!(
            "{} of the picture stays soft at the smallest apertures, as clouds and rippled water do, and has no say in which \
             aperture is best.",
            percent(tiles as f64 / group.tiles.len().max(1) as f64)
        ),
        NoteKind::WidthsOnly => {
            "There are many frames, so they are compared by what each shows alone, which errs by a few per cent more."
                .into()
        }
        NoteKind::Reduced(by) => format!(
            "{file} is {by:.2} times as large as the smallest frame and was averaged down to that size; widths are in pixels of \
             that size, and how the smaller frames were made smaller is in them."
        ),
        NoteKind::IsoDiffers => {
            "The frames differ in their ISO, and cameras smooth noise the more the higher it is: part of what a stop loses here may be that. \
             Raw files, or one ISO throughout, tell."
                .into()
        }
        NoteKind::NotRegistered => format!("{file} could not be laid over the other frames and was left out."),
        NoteKind::NotCompared => format!(
            "{file} shows next to nothing that could be compared with the other frames, as where most of it is clipped or lost in noise, and was \
             left out."
        ),
    }
}

/// A frame softer than the others of its series let it be.
fn softer(group: &Answer, k: Option<usize>, kind: NoteKind, file: &str) -> String {
    let (sure, by) = (confidence(group, k, kind).map_or("", sure_word), by_sd(group, k, kind));
    let unknown = k.is_some_and(|k| group.f_numbers[k].is_none());
    match kind {
        // Of a series of apertures the widest and the narrowest are that without any fault.
        NoteKind::Outdone(other) if unknown => format!(
            "{file} is {sure}softer than {}{by} and sharper nowhere, as a shaken frame is, one focused beside the scene, or a sound one \
             at another aperture: which can't be told while its f-number is not known. It has no part in a blend.",
            name(group, other),
        ),
        NoteKind::Outdone(other) => format!(
            "{file} is {sure}softer than {}{by} and sharper nowhere: shaken, or focused beside the scene. It has no part in a blend.",
            name(group, other),
        ),
        _ if unknown => format!(
            "{file} is {sure}softer where it is in focus than the other frames are where they are{by}, as a shaken frame is, or a sound \
             one at another aperture: which can't be told while its f-number is not known. It has no part in a blend."
        ),
        _ if group.varied == Varied::Focus => format!(
            "{file} is {sure}softer where it is in focus than the other frames are where they are{by}: shaken. It has no part in a \
             blend nor in what is said of the others; take it again."
        ),
        _ => format!(
            "{file} is {sure}softer all over than the stops beside it allow{by}: shaken, or out of focus by accident. It was left \
             out of the answers; take it again."
        ),
    }
}

/// By how many standard deviations a frame is softer than it should be, where the note says that it is.
fn softer_by(group: &Answer, k: Option<usize>, kind: NoteKind) -> Option<f64> {
    match kind {
        NoteKind::Spoiled if group.varied == Varied::Focus => {
            group.bracket.as_ref()?.softened.iter().find(|s| Some(s.frame) == k).map(|s| s.by_sd)
        }
        NoteKind::Spoiled => {
            let a = group.apertures.as_ref()?;
            a.spoiled.iter().zip(&a.spoiled_by).find(|s| Some(*s.0) == k).map(|s| *s.1)
        }
        NoteKind::Outdone(_) => group.bracket.as_ref()?.outdone.iter().find(|o| Some(o.frame) == k).map(|o| o.by_sd),
        _ => None,
    }
}

/// The same in brackets.
fn by_sd(group: &Answer, k: Option<usize>, kind: NoteKind) -> String {
    softer_by(group, k, kind).map_or_else(String::new, |by| format!(" (by {by:.0} standard deviations)"))
}

/// The chance that what a note says of a frame's blur is no accident; `None` for other notes.
pub(super) fn confidence(group: &Answer, k: Option<usize>, kind: NoteKind) -> Option<f64> {
    softer_by(group, k, kind).map(|by| 1.0 - normal_beyond(by))
}

/// Why a frame stands alone, in words.
pub(super) fn alone(alone: &Alone) -> String {
    match alone.why {
        Lone::OtherScene => "No frame that it was compared with shows its scene.".into(),
        Lone::OtherCamera => {
            "It was compared with none: the frames beside it record another camera or focal length.".into()
        }
        Lone::OtherSize(own, group) => format!(
            "It is {} x {} px, the frames beside it {} x {}: only frames of one size, or less than twice it, and of one shape \
             can be compared. Export all at full size.",
            own.0, own.1, group.0, group.1
        ),
        Lone::Turned(quarters) => format!(
            "It shows the same scene turned: its orientation tag is missing or wrong. Turn it by {quarters} quarter turn{} clockwise.",
            if quarters == 1 { "" } else { "s" }
        ),
    }
}
