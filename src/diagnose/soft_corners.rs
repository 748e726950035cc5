//! Which corners of a judged frame are softer than what lies beside them, and what a learned lens leaves there: the one rule that sentence,
//! table, page and what is proposed go by.

use super::{Basis, CornerState, Diagnosis, ZoneName};
use crate::judge::{self, Judgement, ROOM};
use crate::optics::blur::{Parts, sigma_px};
use crate::quantity::Estimate;

impl Diagnosis {
    /// Corners that are softer than what lies beside them, the one that is spoken of and then the widest first, with their optical blur, px: beyond the permitted blur, and
    /// wider than the sharper of the zones beside them by more than their errors and by more than the conventions for the permitted blur
    /// differ. What is as soft as the frame is the frame's blur.
    #[must_use]
    pub fn soft_corners(&self) -> Vec<(ZoneName, Estimate)> {
        if self.corners.state == CornerState::NotMeasured {
            return Vec::new();
        }
        let mut soft: Vec<(ZoneName, Estimate)> = ZoneName::CORNERS
            .into_iter()
            .filter(|&name| self.answer(name).judgement == Judgement::Beyond)
            .filter_map(|name| Some((name, self.judged_width(name)?)))
            .filter(|&(name, corner)| self.beside(name).is_some_and(|b| wider(corner, b)))
            .collect();
        soft.sort_by(|a, b| b.1.value.total_cmp(&a.1.value));
        // What is said of the corners is said of the first.
        soft.sort_by_key(|s| self.corners.corner.is_some_and(|spoken| spoken != s.0));
        soft
    }

    /// The sharper of the zones beside a corner: the middle, and near or far as the corner lies low or high. Where that one is
    /// itself out of focus it alone tells what the depth there does.
    fn beside(&self, corner: ZoneName) -> Option<Estimate> {
        let low = matches!(corner, ZoneName::BottomLeft | ZoneName::BottomRight);
        let end = if low { ZoneName::Near } else { ZoneName::Far };
        if self.answer(end).judgement == Judgement::Beyond {
            return self.judged_width(end);
        }
        let both = [end, ZoneName::Centre].into_iter().filter_map(|name| self.judged_width(name));
        both.min_by(|a, b| a.value.total_cmp(&b.value))
    }

    /// The optical blur of a zone that could be judged, px.
    pub(super) fn judged_width(&self, name: ZoneName) -> Option<Estimate> {
        let known = self.answer(name).judgement != Judgement::Unknown;
        self.zone(name).and_then(|z| z.optical_px).filter(|_| known)
    }

    /// What the corner that is spoken of should read in focus, px, as a zone's number has it: the lens's own blur that is expected there with the
    /// diffraction that the frame shows, the pixel taken out; `None` where nothing is expected of the lens.
    #[must_use]
    pub fn corners_in_focus_px(&self) -> Option<Estimate> {
        let lens = self.corners.expected_px?;
        let lambda_n_px = self.model.as_ref().and_then(|m| m.lambda_n_px);
        let read = |lens_px: f64| {
            let parts = Parts { lambda_n_px, lens_px: lens_px.max(0.0), pixel: true, ..Parts::default() };
            judge::optical(Estimate::new(sigma_px(&parts), 0.0, 1)).value
        };
        let sd = 0.5 * (read(lens.value + lens.sd) - read(lens.value - lens.sd));
        Some(Estimate::new(read(lens.value), sd, lens.n))
    }

    /// Whether a lens that was learned is itself beyond the permitted blur in the corner that is spoken of, or softer there than across
    /// from it: then it is to blame for it.
    #[must_use]
    pub fn lens_explains_corners(&self) -> bool {
        let beyond = |e| judge::Answer::by(e, self.permitted_px, self.finest_px).judgement == Judgement::Beyond;
        let known = self.corners.learned_one_sided || self.corners_in_focus_px().is_some_and(beyond);
        self.corners.basis == Basis::Learned && known
    }
}

fn wider(corner: Estimate, beside: Estimate) -> bool {
    corner.value > ROOM * beside.value && corner.value - beside.value > corner.sd.hypot(beside.sd)
}
