//! A report read back, as far as choosing frames needs it, and the keep list of its page.

use std::cell::RefCell;
use std::collections::{HashMap, HashSet};
use std::io::BufReader;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use schemars::JsonSchema;
use serde::Deserialize;

use crate::intake;
use crate::output;
use crate::quantity::shown;
use crate::report::{AUDIT_VERSION, OriginalView};

/// What is read of `audit.json`; everything else is passed over, so that its size is no matter.
#[derive(Debug, Deserialize)]
pub(super) struct Report {
    format: String,
    version: u32,
    #[serde(default)]
    pub id: Option<String>,
    /// The folder that relative names of files are seen from.
    #[serde(default)]
    pub base: Option<String>,
    pub frames: Vec<Frame>,
    /// The folder that the report's folder lies in.
    #[serde(skip)]
    pub beside: PathBuf,
    /// Photographs of folders looked into for renamed files, each with its length.
    #[serde(skip)]
    pub lengths: RefCell<HashMap<PathBuf, Vec<(u64, PathBuf)>>>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Frame {
    #[serde(default)]
    path: Option<String>,
    #[serde(default)]
    file: Option<String>,
    /// What the file is known again by.
    #[serde(default)]
    pub original: Option<OriginalView>,
    pub sharp: Sharp,
    pub verdict: Verdict,
    #[serde(default)]
    pub group: Option<usize>,
    /// What the report proposes for it.
    #[serde(default)]
    pub proposal: Option<Proposal>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Proposal {
    pub keep: bool,
    pub why: String,
}

impl Frame {
    /// The file as the report names it.
    pub(super) fn path(&self) -> &str {
        self.names().next().unwrap_or_default()
    }

    /// Why the report proposes to keep it, where it does.
    pub(super) fn why(&self) -> Option<&str> {
        self.proposal.as_ref().filter(|p| p.keep).map(|p| p.why.as_str())
    }

    /// Every name the report has for the file.
    pub(super) fn names(&self) -> impl Iterator<Item = &str> {
        [&self.path, &self.file].into_iter().filter_map(Option::as_deref)
    }
}

#[derive(Debug, Deserialize)]
pub(super) struct Sharp {
    pub throughout: Option<bool>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Verdict {
    pub cause: String,
}

/// What every version of a report begins with.
#[derive(Debug, Deserialize)]
struct Head {
    format: String,
    version: u32,
}

const FORMAT: &str = "tussock.audit";

/// Whether a report is of the version that is understood here: files are moved by what it says.
fn known(format: &str, version: u32, file: &Path) -> anyhow::Result<()> {
    if format == FORMAT && version != AUDIT_VERSION {
        let other = if version > AUDIT_VERSION { "a later" } else { "an earlier" };
        bail!(
            "{} was written by {other} version of tussock, whose reports are not known here; audit again",
            shown(file)
        );
    }
    Ok(())
}

impl Report {
    /// Reads a report from its folder or its `audit.json`.
    pub(super) fn read(place: &Path) -> anyhow::Result<Self> {
        let file = if place.is_dir() { place.join("audit.json") } else { place.to_owned() };
        let no_report = || format!("{} is not a report of tussock's; name its folder or its audit.json", shown(&file));
        let open = intake::open_file(&file).map_err(output::refused)?;
        let Ok(mut report) = serde_json::from_reader::<_, Self>(BufReader::new(open)) else {
            // One of another version may be of another shape.
            let head = intake::open_file(&file).ok().and_then(|f| serde_json::from_reader(BufReader::new(f)).ok());
            head.map_or(Ok(()), |head: Head| known(&head.format, head.version, &file))?;
            bail!(no_report());
        };
        if report.format != FORMAT {
            bail!(no_report());
        }
        known(&report.format, report.version, &file)?;
        let full = file.canonicalize().unwrap_or_else(|_| file.clone());
        report.beside = full.ancestors().nth(2).unwrap_or(Path::new("")).to_owned();
        Ok(report)
    }
}

/// `tussock.keep`, version 1: the keep list that a report's page saves and `tussock keepers --marks` reads.
#[derive(Debug, Deserialize, JsonSchema)]
pub(crate) struct Marks {
    /// Always `tussock.keep`.
    format: String,
    /// Version of this format.
    version: u32,
    /// The report's name for marks on it, `id` in its audit.json; null or left out where the list is for any.
    #[serde(default)]
    pub report: Option<String>,
    /// Frames to keep, as the report names them.
    #[serde(default)]
    pub keep: Vec<String>,
    /// Frames to leave out.
    #[serde(default)]
    pub leave_out: Vec<String>,
}

impl Marks {
    pub(super) fn read(file: &Path) -> anyhow::Result<Self> {
        let no_list = || format!("{} is not a keep list of tussock's; save one from the report's page", shown(file));
        let text = intake::read_text(file).map_err(output::refused)?;
        let marks: Self = serde_json::from_str(&text).ok().with_context(no_list)?;
        if marks.format != "tussock.keep" {
            bail!(no_list());
        }
        if marks.version != 1 {
            bail!("{} was written by a later version of tussock, whose keep lists are not known here", shown(file));
        }
        Ok(marks)
    }

    /// Paths in the list that are no frame of the report.
    pub(super) fn strangers<'a>(&'a self, report: &Report) -> Vec<&'a str> {
        let known: HashSet<&str> = report.frames.iter().flat_map(Frame::names).collect();
        self.keep.iter().chain(&self.leave_out).map(String::as_str).filter(|p| !known.contains(p)).collect()
    }
}
