//! The frames of an audit once they are measured: what is small in memory, what is large in a scratch file.

use std::path::{Path, PathBuf};

use anyhow::Context as _;

use super::pack;
use crate::diagnose::Diagnosis;
use crate::intake::{self, Overrides};
use crate::measure::TileMap;
use crate::measure::register::Small;
use crate::output::scratch::{Place, Scratch};
use crate::output::store::Key;
use crate::quantity::Flag;
use crate::report::{Frame, Links, OriginalView};
use crate::series::Recall;
use crate::shot::Capture;

/// One frame's share of the report.
pub struct Done {
    /// The file that was read: the frame's own or its twin's.
    pub path: PathBuf,
    /// The frame.
    pub frame: Frame,
    /// Place on the shelf of the baseline it was diagnosed with.
    pub baseline: Option<usize>,
    /// Where its pictures are.
    pub links: Links,
    /// What its file is known again by.
    pub original: Option<OriginalView>,
    /// Other files of the same shot.
    pub twins: Vec<String>,
    /// For laying it on others; none of a frame that was remembered, whose pixels were not read.
    pub small: Option<Small>,
    /// Key of what is remembered of it.
    pub key: Option<Key>,
}

/// What is held of one frame.
pub struct Held {
    /// The file that was read: the frame's own or its twin's.
    pub path: PathBuf,
    /// The file as the user named it.
    pub file: String,
    /// Size of the upright picture, px.
    pub size: (u32, u32),
    /// Capture facts.
    pub capture: Capture,
    /// Flags found while reading.
    pub flags: Vec<Flag>,
    /// The group of frames of one scene it belongs to.
    pub group: Option<usize>,
    /// Place on the shelf of the baseline it was diagnosed with.
    pub baseline: Option<usize>,
    /// Where its pictures are.
    pub links: Links,
    /// What its file is known again by.
    pub original: Option<OriginalView>,
    /// Other files of the same shot.
    pub twins: Vec<String>,
    /// Key of what is remembered of it.
    pub key: Option<Key>,
    map: Place,
    diagnosis: Place,
    small: Option<Place>,
}

impl Held {
    /// Puts away what is large of a frame.
    ///
    /// # Errors
    /// Where the scratch file can't be written.
    pub fn new(done: Done, scratch: &Scratch) -> anyhow::Result<Self> {
        let cannot = "cannot write what is not kept in memory";
        let put = |bytes: Option<Vec<u8>>| scratch.put(&bytes.context(cannot)?).context(cannot);
        let Frame { file, capture, flags, map, diagnosis, group } = done.frame;
        Ok(Self {
            path: done.path,
            file,
            size: (map.width, map.height),
            capture,
            flags,
            group,
            baseline: done.baseline,
            links: done.links,
            original: done.original,
            twins: done.twins,
            key: done.key,
            map: put(pack::map(&map))?,
            diagnosis: put(pack::diagnosis(&diagnosis))?,
            small: done.small.as_ref().map(|small| put(Some(pack::small(small)))).transpose()?,
        })
    }
}

/// All frames of an audit.
pub struct Shoot<'a> {
    /// What is held of them.
    pub frames: Vec<Held>,
    /// Where the rest is.
    pub scratch: &'a Scratch,
    /// Facts the user gave.
    pub overrides: &'a Overrides,
}

impl Shoot<'_> {
    /// A frame with all that is known of it; `None` where it can't be had back.
    #[must_use]
    pub fn frame(&self, k: usize) -> Option<Frame> {
        let held = self.frames.get(k)?;
        Some(Frame {
            file: held.file.clone(),
            capture: held.capture.clone(),
            flags: held.flags.clone(),
            map: self.recall(k)?,
            diagnosis: self.diagnosis(k)?,
            group: held.group,
        })
    }

    /// What was found of a frame; `None` where it can't be had back.
    pub(crate) fn diagnosis(&self, k: usize) -> Option<Diagnosis> {
        pack::diagnosis_from(&self.scratch.get(self.frames.get(k)?.diagnosis)?)
    }

    /// Puts another diagnosis in place of a frame's.
    ///
    /// # Errors
    /// Where the scratch file can't be written.
    pub(crate) fn judge(&mut self, k: usize, diagnosis: &Diagnosis) -> anyhow::Result<()> {
        let bytes = pack::diagnosis(diagnosis).context("a diagnosis can be written")?;
        self.frames[k].diagnosis = self.scratch.put(&bytes).context("cannot write what is not kept in memory")?;
        Ok(())
    }
}

impl Recall<TileMap> for Shoot<'_> {
    fn recall(&self, k: usize) -> Option<TileMap> {
        pack::map_from(&self.scratch.get(self.frames.get(k)?.map)?)
    }
}

impl Recall<Small> for Shoot<'_> {
    fn recall(&self, k: usize) -> Option<Small> {
        let held = self.frames.get(k)?;
        match held.small {
            Some(place) => pack::small_from(&self.scratch.get(place)?),
            None => small_of(&held.path, self.overrides),
        }
    }
}

/// The small picture of a file, made anew: it is never remembered, since it is seldom asked for.
pub(crate) fn small_of(path: &Path, overrides: &Overrides) -> Option<Small> {
    Some(Small::new(&intake::read(path, overrides).ok()?.plane))
}
