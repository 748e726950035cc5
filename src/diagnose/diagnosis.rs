//! Diagnosis: the causes, zones, budgets and implications of one frame; the contract between diagnosing and reporting.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::judge::{self, Answer, Judgement};
use crate::quantity::{Distance, Estimate, Flag, Point, ZoneName};

/// The verdict on a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// Near and far are within the permitted blur.
    SharpThroughout,
    /// The plane of focus lies too far: near is soft, far is sharp.
    FocusTooFar,
    /// The plane of focus lies too near: far is soft.
    FocusTooNear,
    /// Near and far are both soft though focus lies between them: the depth is too great for this f-number.
    TooLittleDepth,
    /// The f-number itself softens everything.
    Diffraction,
    /// Shake or a moving subject.
    Motion,
    /// One side or corner is softer than its mirror image.
    LensAsymmetry,
    /// The lens's own softness at this aperture, all over or towards the corners.
    LensSoftness,
    /// Smoothed, enlarged or heavily compressed after the lens.
    Processing,
    /// Two causes explain the frame about equally, or too little could be measured.
    CannotTell,
}

impl Cause {
    /// Every cause, in the order of the table in README.
    pub const ALL: [Self; 10] = [
        Self::SharpThroughout,
        Self::FocusTooFar,
        Self::FocusTooNear,
        Self::TooLittleDepth,
        Self::Diffraction,
        Self::Motion,
        Self::LensAsymmetry,
        Self::LensSoftness,
        Self::Processing,
        Self::CannotTell,
    ];

    /// The one name of a cause in the terminal, on the page and in sentences: its word in JSON, written with spaces.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::SharpThroughout => "sharp throughout",
            Self::FocusTooFar => "focus too far",
            Self::FocusTooNear => "focus too near",
            Self::TooLittleDepth => "too little depth",
            Self::Diffraction => "diffraction",
            Self::Motion => "motion",
            Self::LensAsymmetry => "lens asymmetry",
            Self::LensSoftness => "lens softness",
            Self::Processing => "processing",
            Self::CannotTell => "cannot tell",
        }
    }

    /// Whether it is a matter of where the focus lay and how deep it reached.
    #[must_use]
    pub const fn is_focus(self) -> bool {
        matches!(self, Self::FocusTooFar | Self::FocusTooNear | Self::TooLittleDepth)
    }
}

/// Blur of one place by cause, each as the Gaussian-equivalent sigma it would have alone, px.
/// The parts do not add in quadrature exactly; `total` comes from the exact integral of all of them.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Budget {
    /// Pixel aperture.
    pub pixel: f64,
    /// Diffraction, as much of it as the widths show; `None` where the f-number or the pitch is unknown.
    pub diffraction: Option<f64>,
    /// Defocus.
    pub defocus: Estimate,
    /// The lens's own softness here.
    pub lens: Estimate,
    /// Motion.
    pub motion: Estimate,
    /// All together.
    pub total: f64,
}

/// What a tile shows, as far as the frame's model can tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Lies on the fitted ground.
    Ground,
    /// Belongs to the far scene.
    Far,
    /// Stands nearer than the ground behind it.
    Nearer,
    /// Lies farther than the ground there.
    Farther,
    /// Softer than any optical cause explains: cloud, water, haze, movement of the subject.
    SoftContent,
    /// Not measured.
    Unmeasured,
}

/// One zone of the frame, judged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Zone {
    /// Which zone.
    pub name: ZoneName,
    /// Indices (row-major) of the grid tiles that lie in it, measured or not.
    pub tiles: Vec<u32>,
    /// How many of them the number rests on.
    pub used: u32,
    /// Blur by its sharpest credible tiles, px, pixel aperture included, with what the frame's widths are off by taken
    /// out; near as it is at the lowest eighth, wherever its tiles lie, far towards the horizon, but no more than half a band
    /// beyond its tiles. `None`: nothing here to judge.
    pub blur_px: Option<Estimate>,
    /// The same with the pixel aperture taken out: what is compared with the permitted blur.
    pub optical_px: Option<Estimate>,
    /// Probability that the zone is softer than permitted; `None` where it has no number.
    pub soft: Option<f64>,
    /// Whether it is sharp.
    pub answer: Answer,
    /// The blur by cause; `None` where no model could be fitted.
    pub budget: Option<Budget>,
}

/// State of the corners as corners.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum CornerState {
    /// Within what this lens does.
    AsExpected,
    /// Beyond what this lens does.
    SofterThanExpected,
    /// No corner could be measured.
    NotMeasured,
}

/// What the expectation for the corners rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// A learned baseline of this lens.
    Learned,
    /// A wide general assumption.
    Assumed,
}

/// The corners, judged as corners.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Corners {
    /// Their state.
    pub state: CornerState,
    /// What that rests on.
    pub basis: Basis,
    /// The corner that is spoken of: the worst of those beyond what is expected of them, or else the softest.
    pub corner: Option<ZoneName>,
    /// Lens blur expected at that corner, px (Gaussian-equivalent sigma).
    pub expected_px: Option<Estimate>,
    /// Blur of that corner beyond its expectation, px, in quadrature.
    pub excess_px: Option<Estimate>,
    /// Whether the lens was learned to be softer in that corner than in the one across from it, right for left.
    pub learned_one_sided: bool,
    /// Whether best focus at another distance in the corners (field curvature) would explain them as well:
    /// `None` where it plays no part.
    pub field_curvature: Option<Undecided>,
}

/// How far two explanations could be told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Undecided {
    /// The data favour it.
    Favoured,
    /// The data speak against it.
    Excluded,
    /// Undecided.
    Undecided,
}

/// The verdict in figures; the words are made by `report`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// Main cause.
    pub cause: Cause,
    /// Probability that `cause` is right, 0 to 1.
    pub confidence: f64,
    /// Other causes that alone put blur beyond the permitted somewhere.
    pub also: Vec<Cause>,
    /// Probability of every cause considered, most probable first.
    pub weights: Vec<(Cause, f64)>,
    /// Why it can't be told and what would settle it, if `cause` is `CannotTell`.
    pub unsettled: Option<Unsettled>,
}

impl Verdict {
    /// Whether it stands without "probably" (see [`judge::SURE`]).
    #[must_use]
    pub fn is_firm(&self) -> bool {
        judge::is_firm(self.confidence)
    }
}

/// Why a verdict is open, hence what would settle it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Unsettled {
    /// Nothing (or nearly nothing) in the frame could be measured.
    NothingMeasured,
    /// The near zone has nothing fit to judge.
    NearUnmeasured,
    /// The far zone has nothing fit to judge.
    FarUnmeasured,
    /// Haze or fog hides the far scene; what it leaves is judged.
    FarHidden,
    /// Two causes fit about equally well.
    CausesAlike,
    /// The picture may lie on its side, so that which end is near can't be told.
    Turned,
    /// Sharpening in the camera hides the widths.
    Sharpened,
    /// The f-number or the pixel pitch is unknown, so optics can't be applied.
    FactsMissing,
}

/// What the fitted model implies about the scene, in metres from the entrance pupil.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Implied {
    /// Focus distance from far blur, f and N alone; `None` where its inverse is not known to half of the nearest ground's.
    pub focus_m: Option<ImpliedDistance>,
    /// Nearest ground distance from near blur, f and N; `None` where it is not known to within half.
    pub near_m: Option<ImpliedDistance>,
    /// What the camera recorded, for comparison.
    pub recorded_m: Option<Distance>,
    /// Focus distance that would have been right.
    pub right_focus_m: Option<f64>,
    /// Optical blur, px, that focus there leaves at both ends at the f-number used: defocus and diffraction together.
    pub right_blur_px: Option<f64>,
    /// f-number with the best MTF50 at both ends of the depth, by the exact integral.
    pub best_f_number: Option<f64>,
    /// The classical root-square rule's answer, beside it.
    pub root_square_f_number: Option<f64>,
    /// How far to step back for the depth to fit at the best f-number, m; `None` where it fits or can't be said.
    pub step_back_m: Option<f64>,
}

/// A distance with its plausible interval (one sd each way in inverse distance).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ImpliedDistance {
    /// Best value, m (may be infinite).
    #[serde(with = "endless")]
    pub value: f64,
    /// Nearest plausible, m.
    #[serde(with = "endless")]
    pub low: f64,
    /// Farthest plausible, m (may be infinite).
    #[serde(with = "endless")]
    pub high: f64,
}

/// The whole answer for one frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Diagnosis {
    /// The verdict.
    pub verdict: Verdict,
    /// Zones in the order of [`ZoneName::JUDGED`].
    pub zones: Vec<Zone>,
    /// The corners as corners.
    pub corners: Corners,
    /// Permitted optical blur, Gaussian-equivalent sigma, px.
    pub permitted_px: f64,
    /// What the pixels of this picture show at best, px: no place is beyond the permitted by less.
    pub finest_px: f64,
    /// The fitted frame model; `None` where too little could be measured.
    pub model: Option<FrameModel>,
    /// What each tile shows, row-major like the tiles.
    pub standing: Vec<Standing>,
    /// Blur by cause for each tile, row-major; `None` where no model reaches.
    pub budgets: Vec<Option<Budget>>,
    /// Distances the picture itself implies.
    pub implied: Implied,
    /// Where the user or the tool placed near and far, fractions of the picture.
    pub near_at: Option<Point>,
    /// See `near_at`.
    pub far_at: Option<Point>,
    /// Flags found while diagnosing (the shot's own are added by the view).
    pub flags: Vec<Flag>,
}

/// Places of near and far among the zones of a diagnosis, and among whatever is kept of both ends. Derived: the order of
/// [`ZoneName::JUDGED`].
pub(super) const NEAR: usize = 0;
pub(super) const FAR: usize = 1;

impl Diagnosis {
    /// The near zone.
    #[must_use]
    pub fn near(&self) -> &Zone {
        &self.zones[NEAR]
    }

    /// The far zone.
    #[must_use]
    pub fn far(&self) -> &Zone {
        &self.zones[FAR]
    }

    pub(super) fn near_mut(&mut self) -> &mut Zone {
        &mut self.zones[NEAR]
    }

    pub(super) fn far_mut(&mut self) -> &mut Zone {
        &mut self.zones[FAR]
    }

    /// Near and far.
    #[must_use]
    pub fn ends(&self) -> &[Zone] {
        &self.zones[NEAR..=FAR]
    }

    pub(super) fn ends_mut(&mut self) -> &mut [Zone] {
        &mut self.zones[NEAR..=FAR]
    }

    /// What was found of a zone; `None` of those that a single frame is not judged by.
    #[must_use]
    pub fn zone(&self, name: ZoneName) -> Option<&Zone> {
        self.zones.iter().find(|z| z.name == name)
    }

    /// Whether a zone is sharp.
    #[must_use]
    pub fn answer(&self, name: ZoneName) -> Answer {
        self.zone(name).map_or_else(Answer::default, |z| z.answer)
    }

    /// Whether the frame is sharp from near to far: `None` where one of the two is unknown and the other is sharp.
    #[must_use]
    pub fn sharp_throughout(&self) -> Option<bool> {
        match [ZoneName::Near, ZoneName::Far].map(|z| self.answer(z).judgement) {
            [Judgement::Beyond, _] | [_, Judgement::Beyond] => Some(false),
            [Judgement::Unknown, _] | [_, Judgement::Unknown] => None,
            _ => Some(true),
        }
    }
}

/// Posterior of the fitted model of the frame. Positions are fractions of the picture from its centre:
/// u = (x - width/2) / half diagonal, v = (y - height/2) / half diagonal, v growing downwards.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FrameModel {
    /// Signed blur-disc diameter at the picture's centre if the ground reached there, px.
    /// Positive: nearer than the plane of focus.
    pub disc_px: Estimate,
    /// Its growth per unit v, px.
    pub disc_down_px: Estimate,
    /// Its growth per unit u (tilt, decentring or a roll of the camera), px.
    pub disc_right_px: Estimate,
    /// Signed disc of the far scene, px (negative or zero where focus is nearer than infinity).
    pub disc_far_px: Estimate,
    /// v of the horizon: ground below, far scene above.
    pub horizon: f64,
    /// Lens blur at the centre, Gaussian-equivalent sigma px.
    pub lens_centre_px: Estimate,
    /// Lens blur at the corner (u^2 + v^2 = 1), Gaussian-equivalent sigma px.
    pub lens_corner_px: Estimate,
    /// Length of the motion streak, px (zero if the model has none); of a double picture that of an even streak as soft.
    pub motion_px: Estimate,
    /// How far apart the two pictures of a double one lie, px.
    pub doubled_px: Option<Estimate>,
    /// Its direction, radians from +x towards +y.
    pub motion_angle: Option<f64>,
    /// Diffraction scale lambda N over the pitch, px: as much of the recorded one as the widths show; `None` where unknown.
    pub lambda_n_px: Option<f64>,
    /// The line where best focus meets the ground: two ends as fractions of the picture; `None` if it lies outside.
    pub focus_line: Option<[Point; 2]>,
    /// Reduced chi-square of the tiles the model explains.
    pub chi_square: f64,
}

/// A distance that may be infinite, which JSON has no number for: null stands for it.
mod endless {
    use serde::{Deserialize as _, Deserializer, Serialize as _, Serializer};

    pub(super) fn serialize<S: Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
        (*value < f64::INFINITY).then_some(*value).serialize(serializer)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
        Ok(Option::deserialize(deserializer)?.unwrap_or(f64::INFINITY))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_and_far_stand_where_they_are_looked_for() {
        assert_eq!((ZoneName::JUDGED[NEAR], ZoneName::JUDGED[FAR]), (ZoneName::Near, ZoneName::Far));
    }

    #[test]
    fn an_infinite_distance_comes_back_from_memory() {
        let implied = ImpliedDistance { value: f64::INFINITY, low: 31.5, high: f64::INFINITY };
        let text = serde_json::to_string(&implied).unwrap();
        assert_eq!(serde_json::from_str::<ImpliedDistance>(&text).unwrap(), implied);
    }
}
