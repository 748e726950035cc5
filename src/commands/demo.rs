//! The simulator's shoot, rendered to files and audited down the same road as any other photographs.

use std::path::PathBuf;

use anyhow::Context;
use rayon::prelude::*;

use super::Outcome;
use super::audit::{self, Audit, Renditions};
use super::frames::Wanted;
use super::work::Budget;
use crate::intake::{Overrides, Prefer};
use crate::measure;
use crate::output;
use crate::output::folder::{DEMO, Folder, REPORT};
use crate::quantity::{Intent, shown};
use crate::report;
use crate::simulate::recipes;

/// The demo command as meant.
#[derive(Clone, Debug)]
pub(crate) struct Demo {
    /// Folder for the report; the pictures go into `shoot` within it.
    pub out: PathBuf,
    /// Whether files of the same names that are somebody else's may be replaced; photographs never are.
    pub overwrite: bool,
    /// Threads; `None` for all.
    pub jobs: Option<usize>,
    /// Whether to open the page when it is written.
    pub open: bool,
    /// Print `audit.json` instead of the table.
    pub json: bool,
}

/// Renders the shoot into `out/shoot` and audits it into `out`.
///
/// # Errors
/// Where a file can't be written or the audit can't be run.
pub(crate) fn run(demo: &Demo) -> anyhow::Result<Outcome> {
    let shoot = recipes::shoot();
    let mut folder = Folder::claim(&demo.out, demo.overwrite)?;
    let photographs = demo.out.join("shoot");
    output::note(&format!("rendering {} frames into {}", shoot.len(), shown(&photographs)));
    let mut threads = rayon::ThreadPoolBuilder::new();
    if let Some(jobs) = demo.jobs {
        threads = threads.num_threads(jobs);
    }
    threads.build().context("cannot start threads")?.install(|| {
        shoot.par_iter().try_for_each(|recipe| {
            let bytes = recipe.bytes().with_context(|| format!("cannot render {}", recipe.file))?;
            folder.put(&format!("shoot/{}", recipe.file), &bytes)
        })
    })?;
    let mut truth = csv::Writer::from_writer(Vec::new());
    truth.write_record(["file", "built-in fault"])?;
    for recipe in &shoot {
        truth.write_record([recipe.file, recipe.fault])?;
    }
    folder.put("built-in-faults.csv", &truth.into_inner().context("cannot write the list")?)?;
    folder.swap(&[REPORT, DEMO].concat())?;
    let wanted = Wanted {
        paths: vec![photographs],
        recursive: false,
        prefer: Prefer::default(),
        budget: Budget::new(demo.jobs, None),
        settings: measure::Settings::default(),
        overrides: Overrides::default(),
    };
    let found = wanted.find();
    let asked = Audit {
        wanted,
        out: Some(demo.out.clone()),
        overwrite: demo.overwrite,
        remember: false,
        page: true,
        renditions: Renditions::None,
        open: demo.open,
        theme: report::Theme::Auto,
        json: demo.json,
        intent: Intent::default(),
        lenses: Vec::new(),
        known_lenses: Vec::new(),
        no_lens: false,
        sidecars: None,
    };
    audit::into(&asked, &found, folder)
}
