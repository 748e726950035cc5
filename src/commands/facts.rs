//! Files to their capture facts, with where each came from.

use std::path::PathBuf;

use super::Outcome;
use super::frames::say_reports;
use crate::intake::{self, Facts, Overrides};
use crate::output;
use crate::report::{FactsView, FileFactsView, facts_text};

/// The facts command as meant.
#[derive(Clone, Debug)]
pub(crate) struct Request {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// Walk into folders within folders.
    pub recursive: bool,
    /// Print JSON instead of text.
    pub json: bool,
    /// Facts the user gave.
    pub overrides: Overrides,
}

/// Runs the command: every file's facts to standard output, every failure to standard error.
///
/// # Errors
/// Where the JSON can't be written.
pub(crate) fn run(request: &Request) -> anyhow::Result<Outcome> {
    // A raw file and its rendered twin are one frame to an audit, but both are asked about here.
    let (files, found) = intake::files(&request.paths, request.recursive);
    say_reports(&found);
    let mut read: Vec<(String, Facts)> = Vec::new();
    let mut failures = found.failures;
    for path in files {
        match intake::facts(&path, &request.overrides) {
            Ok(facts) => read.push((path.display().to_string(), facts)),
            Err(error) => failures.push(error),
        }
    }
    for failure in &failures {
        output::say(&output::failed(failure));
    }
    if request.json {
        let files = read
            .iter()
            .map(|(file, facts)| FileFactsView {
                file: file.clone(),
                width: facts.size.map(|s| s.0),
                height: facts.size.map(|s| s.1),
                orientation: facts.orientation,
                capture: &facts.capture,
                flags: &facts.flags,
            })
            .collect();
        output::print_json(&output::json(&FactsView { format: "tussock.facts", version: 1, files })?);
    } else {
        for (i, (file, facts)) in read.iter().enumerate() {
            let gap = if i > 0 { "\n" } else { "" };
            output::print(&format!("{gap}{}", facts_text(file, &facts.capture, facts.size, &facts.flags)));
        }
        if read.is_empty() && failures.is_empty() {
            output::say("tussock: no photographs here");
        }
    }
    Ok(Outcome::of(read.len(), failures.len()))
}
