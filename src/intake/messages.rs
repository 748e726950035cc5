//! Messages: what goes between the program and its workers.
//!
//! A message is a length (32-bit little-endian) and that much JSON; behind an answer with pixels follow their bytes.

use std::ffi::OsString;
use std::io::{self, Read, Write};

use serde::{Deserialize, Serialize};

use super::IntakeErrorKind;
use super::luminance::Read as RawRead;
use super::rendered::MAX_PIXELS;
use crate::quantity::Flag;
use crate::shot::{JpegBlocks, Mosaic, Plane};

/// What is asked of a worker.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Ask {
    pub(super) path: OsString,
    pub(super) orientation: Option<u16>,
    pub(super) quarter_turns: u8,
    /// A picture to look at rather than a plane.
    pub(super) look: bool,
    /// Most memory to take for it, bytes.
    pub(super) memory: u64,
}

/// The head of an answer; pixels follow where there are any.
#[derive(Debug, Serialize, Deserialize)]
pub(super) enum Answer {
    Plane(Form),
    Picture { width: u32, height: u32 },
    Failed { kind: IntakeErrorKind, problem: String, advice: String, detail: Option<String> },
}

/// A plane without its samples, and its flags.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Form {
    pub(super) size: (usize, usize),
    levels: (u16, u16, u16),
    mosaic: Mosaic,
    /// Block size, origin and luma steps.
    jpeg: Option<(usize, usize, usize, Vec<u16>)>,
    rendered: bool,
    flags: Vec<Flag>,
    coded: Option<f64>,
}

impl Form {
    pub(super) fn of(read: &RawRead) -> Self {
        let plane = &read.plane;
        Self {
            size: (plane.width, plane.height),
            levels: (plane.black, plane.white, plane.saturation),
            mosaic: plane.mosaic,
            jpeg: plane.jpeg.as_ref().map(|j| (j.size, j.x0, j.y0, j.luma_steps.to_vec())),
            rendered: plane.rendered,
            flags: read.flags.clone(),
            coded: read.coded,
        }
    }

    pub(super) fn with(self, data: Vec<u16>) -> RawRead {
        let jpeg = self
            .jpeg
            .and_then(|(size, x0, y0, steps)| Some(JpegBlocks { size, x0, y0, luma_steps: steps.try_into().ok()? }));
        let (width, height) = self.size;
        let (black, white, saturation) = self.levels;
        let Self { mosaic, rendered, flags, coded, .. } = self;
        let plane = Plane { width, height, data, black, white, saturation, mosaic, jpeg, rendered };
        RawRead { plane, flags, coded, tint: None }
    }
}

/// Pixels of an answer, unless absurd.
pub(super) fn bounded(width: usize, height: usize) -> io::Result<usize> {
    width.checked_mul(height).filter(|n| *n <= MAX_PIXELS).ok_or_else(|| io::ErrorKind::InvalidData.into())
}

/// Longest head of a frame that is believed.
const MAX_HEAD: u32 = 1 << 20;

pub(super) fn write_frame(to: &mut impl Write, message: &impl Serialize) -> io::Result<()> {
    let json = serde_json::to_vec(message)?;
    to.write_all(&(json.len() as u32).to_le_bytes())?;
    to.write_all(&json)
}

pub(super) fn read_frame<T: for<'a> Deserialize<'a>>(from: &mut impl Read) -> io::Result<T> {
    let mut length = [0; 4];
    from.read_exact(&mut length)?;
    let length = u32::from_le_bytes(length);
    if length > MAX_HEAD {
        return Err(io::ErrorKind::InvalidData.into());
    }
    let mut json = vec![0; length as usize];
    from.read_exact(&mut json)?;
    Ok(serde_json::from_slice(&json)?)
}

/// Reads bytes as a request and as an answer, for the fuzzers.
pub(super) fn probe(mut bytes: &[u8]) {
    let _ = read_frame::<Ask>(&mut bytes);
    if let Ok(Answer::Plane(form)) = read_frame(&mut bytes) {
        let _ = bounded(form.size.0, form.size.1).map(|_| form.with(Vec::new()));
    }
}
