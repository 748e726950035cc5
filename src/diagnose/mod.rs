//! diagnose(&TileMap, &Capture, Option<&Baseline>, &Intent) -> Diagnosis: why a frame is soft.
//!
//! This module never sees a pixel, so that it is tested from hand-written tile maps.

mod diagnosis;

pub use diagnosis::{
    Basis, Budget, Cause, CornerState, Corners, Diagnosis, FrameModel, Implied, ImpliedDistance, Standing, Undecided,
    Unsettled, Verdict, Zone, ZoneName,
};

use crate::lens::Baseline;
use crate::measure::TileMap;
use crate::quantity::Intent;
use crate::shot::Capture;

/// Finds the causes of a frame's blur.
#[must_use]
pub fn diagnose(map: &TileMap, _capture: &Capture, _lens: Option<&Baseline>, intent: &Intent) -> Diagnosis {
    Diagnosis {
        verdict: Verdict {
            cause: Cause::CannotTell,
            confidence: 1.0,
            also: Vec::new(),
            weights: vec![(Cause::CannotTell, 1.0)],
            unsettled: Some(Unsettled::NothingMeasured),
        },
        zones: ZoneName::ALL
            .iter()
            .map(|&name| Zone {
                name,
                tiles: Vec::new(),
                used: 0,
                blur_px: None,
                optical_px: None,
                soft: None,
                budget: None,
            })
            .collect(),
        corners: Corners {
            state: CornerState::NotMeasured,
            basis: Basis::Assumed,
            expected_px: None,
            excess_px: None,
            field_curvature: None,
        },
        permitted_px: intent.sharp_for.sigma_px(map.width, map.height),
        model: None,
        standing: vec![Standing::Unmeasured; map.tiles.len()],
        budgets: vec![None; map.tiles.len()],
        implied: Implied::default(),
        near_at: intent.near_at.and_then(|p| p.in_picture(map.width, map.height)),
        far_at: intent.far_at.and_then(|p| p.in_picture(map.width, map.height)),
        flags: Vec::new(),
    }
}
