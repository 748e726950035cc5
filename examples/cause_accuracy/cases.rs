//! What is done to a picture, and what must be said of it.

use image::{Rgb, Rgb32FImage};
use tussock::diagnose::Cause;

use crate::blur::{Blur, blurred};
use crate::pictures::Picture;

/// Signed discs of the far scene, of the lower edge and of a thing that stands there, px (negative: beyond the focus).
#[derive(Clone, Copy)]
pub struct Focus {
    far: f64,
    near: f64,
    thing: Option<f64>,
    crest: Option<Crest>,
}

/// Where near ground ends and all that shows above is far.
#[derive(Clone, Copy)]
struct Crest {
    /// How far up, of the way from the lower edge to the horizon.
    up: f64,
    /// Inverse distance of the crest, of that of the lower edge: 1 for what stands up there, as a wall does.
    inverse: f64,
}

/// What the lens, its f-number or the camera's movement do.
#[derive(Clone, Copy)]
pub enum Optics {
    /// Nothing.
    Perfect,
    /// A Gaussian that grows with the square of the distance from the middle to this standard deviation in the corners, px.
    Corners(f64),
    /// The same all over.
    AllOver(f64),
    /// A Gaussian that grows from the middle to this standard deviation at the left edge, px.
    Left(f64),
    /// A circular pupil without aberrations at this wavelength times f-number, px.
    Diffraction(f64),
    /// An even movement of this length, px, its direction another one for every picture.
    Moved(f64),
}

/// What is done, and what must be said of near and far (`None`: not asked) and why (any of these).
pub struct Case {
    pub name: &'static str,
    focus: Focus,
    optics: Optics,
    pub soft: [Option<bool>; 2],
    /// Whether the lower corners must be beyond.
    pub corners: bool,
    pub causes: &'static [Cause],
}

const fn ground(name: &'static str, far: f64, near: f64, soft: [bool; 2], causes: &'static [Cause]) -> Case {
    let focus = Focus { far, near, thing: None, crest: None };
    Case { name, focus, optics: Optics::Perfect, soft: [Some(soft[0]), Some(soft[1])], corners: false, causes }
}

/// The permitted blur of a picture without pitch is that of a disc of two pixels.
pub const GROUND: [Case; 9] = [
    ground("as it is", 0.0, 0.0, [false, false], &[Cause::SharpThroughout]),
    ground("near 4 px", 0.0, 4.0, [true, false], &[Cause::FocusTooFar]),
    ground("near 8 px", 0.0, 8.0, [true, false], &[Cause::FocusTooFar]),
    ground("near 16 px", 0.0, 16.0, [true, false], &[Cause::FocusTooFar]),
    ground("far 4 px", -4.0, 0.0, [false, true], &[Cause::FocusTooNear]),
    ground("far 8 px", -8.0, 0.0, [false, true], &[Cause::FocusTooNear]),
    ground("far 6, near 6 px", -6.0, 6.0, [true, true], &[Cause::TooLittleDepth]),
    ground("far 4, near 10 px", -4.0, 10.0, [true, true], &[Cause::TooLittleDepth]),
    ground("far 8, near 4 px, both beyond the focus", -8.0, -4.0, [true, true], &[Cause::FocusTooNear]),
];

const fn thing(name: &'static str, discs: [f64; 3], soft: [Option<bool>; 2], causes: &'static [Cause]) -> Case {
    let [far, near, thing] = discs;
    Case {
        name,
        focus: Focus { far, near, thing: Some(thing), crest: None },
        optics: Optics::Perfect,
        soft,
        corners: false,
        causes,
    }
}

/// A thing that stands at the lower edge and reaches above the horizon, as a rock or a trunk does.
pub const THINGS: [Case; 6] = [
    thing("all sharp", [0.0, 0.0, 0.0], [Some(false), Some(false)], &[Cause::SharpThroughout]),
    thing("near and thing 8 px", [0.0, 8.0, 8.0], [Some(true), Some(false)], &[Cause::FocusTooFar]),
    thing("thing 16 px, ground 0 to 8 px", [0.0, 8.0, 16.0], [Some(true), Some(false)], &[Cause::FocusTooFar]),
    thing("thing sharp, far 8 px", [-8.0, 0.0, 0.0], [Some(false), Some(true)], &[Cause::FocusTooNear]),
    thing("thing and near 6, far 6 px", [-6.0, 6.0, 6.0], [Some(true), Some(true)], &[Cause::TooLittleDepth]),
    thing(
        "thing sharp, ground 6 to 12 px",
        [-12.0, -6.0, 0.0],
        [None, Some(true)],
        &[Cause::FocusTooNear, Cause::TooLittleDepth],
    ),
];

/// A thing in focus before what is out of focus by tens of pixels, as a bird before reeds is. The ground that is sharp at the lower
/// edge is out of focus by some pixels higher up in the near zone already, so near is not asked.
pub const BACKDROPS: [Case; 5] = [
    thing("ground sharp, far 24 px", [-24.0, 0.0, 0.0], [None, Some(true)], &[Cause::FocusTooNear]),
    thing("ground sharp, far 48 px", [-48.0, 0.0, 0.0], [None, Some(true)], &[Cause::FocusTooNear]),
    thing("all else 24 px", [-24.0, -24.0, 0.0], [None, Some(true)], &[Cause::FocusTooNear, Cause::TooLittleDepth]),
    thing("all else 48 px", [-48.0, -48.0, 0.0], [None, Some(true)], &[Cause::FocusTooNear, Cause::TooLittleDepth]),
    thing("near 16, far 24 px", [-24.0, 16.0, 0.0], [None, Some(true)], &[Cause::TooLittleDepth, Cause::FocusTooNear]),
];

const fn crest(name: &'static str, discs: [f64; 2], inverse: f64, causes: &'static [Cause]) -> Case {
    let [far, near] = discs;
    let focus = Focus { far, near, thing: None, crest: Some(Crest { up: 0.5, inverse }) };
    let soft = [Some(near != 0.0), Some(far != 0.0)];
    Case { name, focus, optics: Optics::Perfect, soft, corners: false, causes }
}

/// A ledge or a wall before a far scene: half of the way up to the horizon the near ground ends.
pub const CRESTS: [Case; 7] = [
    crest("ledge 8 to 3 px, far sharp", [0.0, 8.0], 0.4, &[Cause::FocusTooFar]),
    crest("ledge 16 to 6 px, far sharp", [0.0, 16.0], 0.4, &[Cause::FocusTooFar]),
    crest("wall 8 px, far sharp", [0.0, 8.0], 1.0, &[Cause::FocusTooFar]),
    crest("ledge sharp to 5 px, far 8 px", [-8.0, 0.0], 0.4, &[Cause::FocusTooNear]),
    crest("wall sharp, far 4 px", [-4.0, 0.0], 1.0, &[Cause::FocusTooNear]),
    crest("wall sharp, far 8 px", [-8.0, 0.0], 1.0, &[Cause::FocusTooNear]),
    crest("ledge 6 to 1 px, far 6 px", [-6.0, 6.0], 0.4, &[Cause::TooLittleDepth]),
];

const fn other(
    name: &'static str,
    far: f64,
    near: f64,
    optics: Optics,
    soft: [Option<bool>; 2],
    causes: &'static [Cause],
) -> Case {
    let corners = matches!(optics, Optics::Corners(sigma) if sigma > 2.0);
    let focus = Focus { far, near, thing: None, crest: None };
    Case { name, focus, optics, soft, corners, causes }
}

const BOTH: [Option<bool>; 2] = [Some(true), Some(true)];
const UNASKED: [Option<bool>; 2] = [None, None];

/// Causes other than focus, and focus beside them.
pub const OTHERS: [Case; 9] = [
    other("moved 6 px", 0.0, 0.0, Optics::Moved(6.0), BOTH, &[Cause::Motion]),
    other("moved 12 px", 0.0, 0.0, Optics::Moved(12.0), BOTH, &[Cause::Motion]),
    // Whether near is beyond depends on how far the corners reach into it; the corners are asked for themselves.
    other("corners soft", 0.0, 0.0, Optics::Corners(2.5), UNASKED, &[Cause::LensSoftness, Cause::SharpThroughout]),
    // By a lens, or by processing, or out of focus where all is far: blur alike all over can be any of them.
    other(
        "soft all over",
        0.0,
        0.0,
        Optics::AllOver(1.5),
        BOTH,
        &[Cause::LensSoftness, Cause::Processing, Cause::CannotTell],
    ),
    other("left side soft", 0.0, 0.0, Optics::Left(3.0), UNASKED, &[Cause::LensAsymmetry]),
    other("f/22, pixels of 4 um", 0.0, 0.0, Optics::Diffraction(3.0), BOTH, &[Cause::Diffraction]),
    other("far 8 px, corners soft", -8.0, 0.0, Optics::Corners(1.5), [None, Some(true)], &[Cause::FocusTooNear]),
    other("near 8 px, corners soft", 0.0, 8.0, Optics::Corners(1.5), [Some(true), None], &[Cause::FocusTooFar]),
    other("near 8 px, moved 6 px", 0.0, 8.0, Optics::Moved(6.0), BOTH, &[Cause::Motion, Cause::FocusTooFar]),
];

impl Focus {
    /// Inverse distance, of that of the lower edge, at a share of the way down from the horizon to it.
    fn inverse(&self, down: f64) -> f64 {
        match self.crest {
            None => down.clamp(0.0, 1.0),
            Some(Crest { up, .. }) if down < 1.0 - up => 0.0,
            Some(Crest { up, inverse }) => inverse + (1.0 - inverse) * ((down - 1.0) / up + 1.0).min(1.0),
        }
    }
}

impl Case {
    /// The folder of its pictures.
    pub fn folder(&self) -> String {
        self.name.replace([',', '/'], "")
    }

    /// The f-number and the pixel pitch, um, that a raw file records.
    pub const fn camera(&self) -> (f64, f64) {
        if matches!(self.optics, Optics::Diffraction(_)) { (22.0, 4.0) } else { (2.8, 5.0) }
    }

    /// Whether only the f-number can tell why.
    pub const fn needs_f_number(&self) -> bool {
        matches!(self.optics, Optics::Diffraction(_))
    }

    /// Picture number `k`, so taken; a thing that stands in it is cut from the picture `from`.
    pub fn taken(&self, k: usize, picture: &Picture, from: &Picture) -> Rgb32FImage {
        let (width, height) = picture.light.dimensions();
        let down = |y: u32| ((f64::from(y) + 0.5) / f64::from(height) - picture.horizon) / (1.0 - picture.horizon);
        let Focus { far, near, thing, .. } = self.focus;
        let mut light = blurred(&picture.light, &|_, y| Blur::disc(far + (near - far) * self.focus.inverse(down(y))));
        if let Some(disc) = thing {
            light = stand(light, k, picture.horizon, from, Blur::disc(disc));
        }
        // From -1 to 1 across, and the same down.
        let place = |k: u32, most: u32| 2.0 * (f64::from(k) + 0.5) / f64::from(most) - 1.0;
        let half = f64::from(width).hypot(f64::from(height));
        match self.optics {
            Optics::Perfect => light,
            Optics::Corners(sigma) => blurred(&light, &|x, y| {
                let r = (place(x, width) * f64::from(width)).hypot(place(y, height) * f64::from(height)) / half;
                Blur::gaussian(sigma * r * r)
            }),
            Optics::AllOver(sigma) => blurred(&light, &|_, _| Blur::gaussian(sigma)),
            Optics::Left(sigma) => blurred(&light, &|x, _| Blur::gaussian(sigma * (-place(x, width)).max(0.0))),
            Optics::Diffraction(size) => blurred(&light, &|_, _| Blur::Airy((20.0 * size).round() as u32)),
            Optics::Moved(length) => {
                // Steps of the golden section fill the half circle evenly.
                let angle = (180.0 * (0.618 * k as f64).fract()).round() as u32;
                blurred(&light, &|_, _| Blur::Track((20.0 * length).round() as u32, angle))
            }
        }
    }
}

/// A thing with a ragged outline, a third as wide as the picture, from its lower edge to above the horizon; its surface is the
/// ground of another picture.
fn stand(behind: Rgb32FImage, k: usize, horizon: f64, from: &Picture, blur: Blur) -> Rgb32FImage {
    let (width, height) = behind.dimensions();
    let middle = f64::from(width) * (0.3 + 0.4 * (0.618 * k as f64).fract());
    let top = f64::from(height) * (horizon - 0.15).max(0.1);
    let ragged = |t: f64| (t / 9.0).sin() + 0.7 * (t / 3.7 + k as f64).sin() + 0.5 * (t / 1.9).cos();
    let inside = |x: u32, y: u32| {
        let (x, y) = (f64::from(x) - middle, f64::from(y));
        let half = f64::from(width) / 6.0 * (0.6 + 0.4 * ((y - top) / (f64::from(height) - top)).clamp(0.0, 1.0));
        x.abs() + 3.0 * ragged(y) < half && y > top + 3.0 * ragged(x) + 0.4 * x.abs()
    };
    // Reflected at its edges where it is smaller.
    let within = |k: u32, most: u32| if (k / most).is_multiple_of(2) { k % most } else { most - 1 - k % most };
    let (wide, high) = from.light.dimensions();
    let ground = ((1.0 - from.horizon) * f64::from(high)) as u32;
    let surface = |x: u32, y: u32| from.light.get_pixel(within(x, wide), high - 1 - within(height - 1 - y, ground)).0;
    let cut = |k: &dyn Fn(u32, u32) -> [f32; 3]| {
        Rgb32FImage::from_fn(width, height, |x, y| Rgb(if inside(x, y) { k(x, y) } else { [0.0; 3] }))
    };
    let thing = blurred(&cut(&surface), &|_, _| blur);
    let cover = blurred(&cut(&|_, _| [1.0; 3]), &|_, _| blur);
    let mut out = behind;
    for ((under, over), share) in out.iter_mut().zip(thing.iter()).zip(cover.iter()) {
        *under = *under * (1.0 - share) + over;
    }
    out
}
