//! From a report to the frames to keep: lists of them, a folder of links, copies or moves that can be undone.

mod carry;
mod place;
mod report;
mod select;

use std::path::{Path, PathBuf};

use anyhow::bail;

use super::Outcome;
use crate::output;
use crate::quantity::{plain, shown};
pub(crate) use carry::{Undo, UndoneView, undo};
pub(crate) use report::Marks;
use report::{Frame, Report};
pub(crate) use select::{Choice, Which};

/// The keepers command as meant.
#[derive(Clone, Debug)]
pub(crate) struct Keepers {
    /// A report's folder, or its `audit.json`.
    pub report: PathBuf,
    /// Which frames, by their verdicts; `None` for those that are sharp, or those of the keep list where one is given.
    pub which: Option<Vec<Which>>,
    /// Only what the report proposes to keep.
    pub best: bool,
    /// A keep list as the report's page writes it.
    pub marks: Option<PathBuf>,
    /// How to print them.
    pub list: List,
    /// What to do with them beside printing.
    pub carry: Option<Carry>,
}

/// How the list is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum List {
    /// A file a line.
    Lines,
    /// A NUL behind each file, for names of any kind.
    Nul,
    /// JSON.
    Json,
}

/// A folder to put the frames into, and how.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Carry {
    /// How.
    pub how: How,
    /// The folder; it may exist.
    pub folder: PathBuf,
}

/// How frames come into a folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum How {
    /// Symbolic links to them.
    Link,
    /// Copies.
    Copy,
    /// The files themselves.
    Move,
}

/// Runs the command.
///
/// # Errors
/// Where the report or the keep list can't be read, they don't belong together, or the folder can't be made.
pub(crate) fn run(asked: &Keepers) -> anyhow::Result<Outcome> {
    let report = Report::read(&asked.report)?;
    let marks = asked.marks.as_deref().map(Marks::read).transpose()?;
    let mut problems = 0;
    let mut say = |text: String| {
        output::say(&format!("tussock: {text}"));
        problems += 1;
    };
    if let Some(marks) = &marks {
        if let (Some(of), Some(this)) = (&marks.report, &report.id)
            && of != this
        {
            bail!("the keep list is of another report; save it again from the page of this one");
        }
        for path in marks.strangers(&report) {
            say(format!("{}: the keep list names it, but the report has no such frame", plain(path)));
        }
    }
    let choice = Choice { which: asked.which.as_deref(), best: asked.best, marks: marks.as_ref() };
    let kept = select::select(&report, &choice);
    let named = |i: &usize| place::named(&report.frames[*i], &report);
    // A list of names can't tell which of them are only the best of a soft scene.
    if asked.best && asked.list != List::Json {
        for &i in &kept {
            let f = &report.frames[i];
            let why = f.why().filter(|_| f.sharp.throughout != Some(true));
            why.iter().for_each(|why| output::note(&format!("tussock: {}: {why}", plain(f.path()))));
        }
    }
    match asked.list {
        List::Lines => {
            let names: Vec<String> = kept.iter().map(named).collect();
            for name in names.iter().filter(|name| !in_a_line(name, output::at_terminal())) {
                say(format!("{}: its name can't be told in a list of lines; use -0", plain(name)));
            }
            output::print_names(&names.iter().map(|name| format!("{name}\n")).collect::<String>());
        }
        List::Nul => {
            output::print_bytes(kept.iter().map(|i| named(i) + "\0").collect::<String>().as_bytes());
        }
        List::Json => output::print_json(&json(&report, &kept)?),
    }
    if let Some(to) = &asked.carry {
        let frames: Vec<&Frame> = kept.iter().map(|&i| &report.frames[i]).collect();
        problems += carry::carry(&frames, &report, to)?;
    }
    if kept.is_empty() {
        output::say("tussock: no frame of this report is wanted so");
    }
    Ok(if problems > 0 { Outcome::Partly } else { Outcome::Done })
}

/// Whether a name is told by a line of its own: one without line ends, and at a terminal, which shows it made harmless, one
/// that is harmless as it is.
fn in_a_line(name: &str, at_terminal: bool) -> bool {
    if at_terminal { plain(name) == name } else { !name.contains('\n') }
}

/// `tussock.keepers`, version 1.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(crate) struct KeepersView<'a> {
    /// Always `tussock.keepers`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// Frames of the report that are wanted, in its order.
    pub frames: Vec<KeeperView<'a>>,
}

/// One frame.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(crate) struct KeeperView<'a> {
    /// The file as the report names it.
    pub path: &'a str,
    /// The name that leads to the file from the folder that the command is run in.
    pub file: String,
    /// Whether it is sharp from near to far; null where that can't be told.
    pub sharp_throughout: Option<bool>,
    /// Its cause, as in the report.
    pub cause: &'a str,
    /// Its group of frames of one scene; null where it is by itself.
    pub group: Option<usize>,
    /// Why the report proposes to keep it, in its words; null where it does not.
    pub why: Option<&'a str>,
}

fn json(report: &Report, kept: &[usize]) -> anyhow::Result<String> {
    let frames = kept.iter().map(|&i| {
        let f = &report.frames[i];
        KeeperView {
            path: f.path(),
            file: place::named(f, report),
            sharp_throughout: f.sharp.throughout,
            cause: &f.verdict.cause,
            group: f.group,
            why: f.why(),
        }
    });
    let view = KeepersView { format: "tussock.keepers", version: 1, frames: frames.collect() };
    output::json(&view)
}

/// What can't be done with a file, as it is said.
fn cannot(what: &str, path: &Path, error: &std::io::Error) -> String {
    format!("cannot {what} {}: {}", shown(path), output::reason(error))
}
