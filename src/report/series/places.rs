//! The zones' names in words.

use crate::series::ZoneName;

/// A zone's name in a sentence.
pub(super) fn zone(name: ZoneName) -> &'static str {
    match name {
        ZoneName::Near => "the near ground",
        ZoneName::Far => "the far scene",
        ZoneName::Centre => "the centre",
        ZoneName::MidFrame => "mid-frame",
        ZoneName::TopLeft => "the top left corner",
        ZoneName::TopRight => "the top right corner",
        ZoneName::BottomLeft => "the bottom left corner",
        ZoneName::BottomRight => "the bottom right corner",
        ZoneName::Subject => "the subject",
        ZoneName::Beside => "the scene next to the subject",
        ZoneName::Beyond => "the scene farthest from the subject",
        ZoneName::Still => "the part that no stop changes",
    }
}

/// A zone's name at the head of a row.
pub(super) fn bare(name: ZoneName) -> &'static str {
    zone(name).trim_start_matches("the ")
}

/// A zone's name where there is little room.
pub(super) fn short(name: ZoneName) -> &'static str {
    match name {
        ZoneName::Beside => "next to it",
        ZoneName::Beyond => "farthest from it",
        ZoneName::Still => "unchanging",
        name => bare(name).trim_end_matches(" ground").trim_end_matches(" scene"),
    }
}
