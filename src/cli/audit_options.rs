//! How frames are found and judged, and what is written on them: options that `audit` and `watch` share.

use std::path::PathBuf;

use clap::ValueEnum;

use super::given::{Given, Subjects};
use super::reading::{OverFolder, Reading};
use crate::commands::audit::{Audit, Renditions};
use crate::commands::settings::Settings;
use crate::commands::sidecars::{Rate, Sidecars};
use crate::report::Theme;

#[derive(Debug, clap::Args)]
pub(super) struct Making {
    /// Folder for the report; by default a new one, `tussock-report-<date>`, beside the first path.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    over: OverFolder,
    #[command(flatten)]
    reading: Reading,
    /// Neither use nor keep remembered measurements.
    #[arg(long)]
    no_cache: bool,
    /// Write audit.json and audit.csv alone, without the page and its pictures.
    #[arg(long)]
    no_page: bool,
    /// Write frames at full size beside the page, in tiles, to look at any place of raw files and move about in large ones:
    /// every frame, or those whose names hold one of these (--renditions=0412,0415).
    #[arg(
        long,
        value_name = "NAMES",
        num_args = 0..=1,
        default_missing_value = "",
        require_equals = true,
        conflicts_with = "no_page"
    )]
    renditions: Option<String>,
    /// Open the report when it is written.
    #[arg(long, conflicts_with = "no_page")]
    open: bool,
    /// Colours of the page: auto follows the system.
    #[arg(long, value_enum, default_value_t = ThemeWord::Auto)]
    theme: ThemeWord,
    /// Learned baseline to judge the corners by, as `tussock lens learn` writes it; may be given again for another
    /// lens [default: by the lens's name from your settings or configuration folder, else learned from many frames of one
    /// lens].
    #[arg(long, value_name = "FILE")]
    lens: Vec<PathBuf>,
    /// Use nothing learned of a lens: none given, none stored, none from the shoot itself.
    #[arg(long)]
    no_lens: bool,
    #[command(flatten)]
    beside: Beside,
    #[command(flatten)]
    subjects: Subjects,
    #[command(flatten)]
    given: Given,
}

/// What is written beside the photographs.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Sidecars")]
struct Beside {
    /// Write an XMP sidecar beside each photograph, with the verdict as keywords and the numbers as properties; what a
    /// sidecar holds already stays.
    #[arg(long)]
    sidecars: bool,
    /// Only say what would be written into sidecars; the report is written all the same.
    #[arg(long, requires = "sidecars")]
    dry_run: bool,
    /// Give stars in the sidecars, too: 1 not sharp, 2 can't be told, 3 sharp, 4 sharp and the best of its scene.
    #[arg(
        long,
        requires = "sidecars",
        value_enum,
        value_name = "WHICH",
        num_args = 0..=1,
        default_missing_value = "unrated",
        require_equals = true
    )]
    rate: Option<RateWord>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum RateWord {
    /// Where there is no rating, or one that tussock gave.
    Unrated,
    /// In the place of your own ratings, too.
    All,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum ThemeWord {
    Auto,
    Light,
    Dark,
}

impl Beside {
    fn meant(&self) -> Option<Sidecars> {
        let rate = self.rate.map(|word| match word {
            RateWord::Unrated => Rate::Unrated,
            RateWord::All => Rate::All,
        });
        self.sidecars.then_some(Sidecars { dry_run: self.dry_run, rate })
    }
}

impl Making {
    /// The audit of these paths that the options and the settings mean; `json`: whether it prints JSON instead of a table.
    pub(super) fn meant(&self, paths: Vec<PathBuf>, json: bool, settings: &Settings) -> anyhow::Result<Audit> {
        Ok(Audit {
            wanted: self.reading.wanted(paths, self.given.overrides()?),
            out: self.out.clone(),
            overwrite: self.over.overwrite,
            remember: !self.no_cache,
            page: !self.no_page,
            renditions: match self.renditions.as_deref() {
                None => Renditions::None,
                Some("") => Renditions::All,
                Some(names) => Renditions::Named(names.split(',').map(|n| n.trim().to_owned()).collect()),
            },
            open: self.open,
            theme: match self.theme {
                ThemeWord::Auto => Theme::Auto,
                ThemeWord::Light => Theme::Light,
                ThemeWord::Dark => Theme::Dark,
            },
            json,
            intent: self.subjects.intent()?,
            lenses: self.lens.clone(),
            known_lenses: settings.lenses.clone().unwrap_or_default(),
            no_lens: self.no_lens,
            sidecars: self.beside.meant(),
        })
    }
}
