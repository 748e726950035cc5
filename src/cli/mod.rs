//! run() -> ExitCode: the command line as typed becomes the command line as meant, then runs.

mod audit;
mod audit_options;
mod cache;
mod card;
mod demo;
mod dropped;
mod edge;
mod examples;
mod facts;
mod given;
mod keepers;
mod lens;
mod licences;
mod manual;
mod plan;
mod reading;
mod schema;
mod series;
mod settings;
#[doc(hidden)]
pub mod values;
mod watch;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{CommandFactory as _, FromArgMatches as _, Parser, Subcommand};

use crate::commands::settings::Settings;
use crate::commands::work::Budget;
use crate::commands::{self, Outcome, raw_worker};
use crate::output::{self, guard};

/// Tells for every frame of a landscape shoot whether it is sharp from near to far, and if not, why.
#[derive(Debug, Parser)]
#[command(name = "tussock", version, about, max_term_width = 100, after_long_help = examples::ALL)]
struct Line {
    /// Say what decoders and the system say of a failure in their own words, too, and how long each step took.
    #[arg(long, global = true, conflicts_with = "quiet")]
    verbose: bool,
    /// Say nothing but what was asked for and what went wrong: no progress, no table, no notes.
    #[arg(long, global = true)]
    quiet: bool,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Audit photographs and write a report.
    #[command(after_help = examples::AUDIT)]
    Audit(audit::Args),
    /// Render a small invented shoot and audit it: no photographs needed.
    #[command(after_help = examples::DEMO)]
    Demo(demo::Args),
    /// Judge frames as they come into a folder, from a tethered camera or a card.
    #[command(after_help = examples::WATCH)]
    Watch(watch::Args),
    /// Remembered measurements.
    #[command(after_help = examples::CACHE)]
    Cache(cache::Args),
    /// Measure the response of a slanted edge (ISO 12233 e-SFR).
    #[command(after_help = examples::EDGE)]
    Edge(edge::Args),
    /// Plan the next shot: where to focus, which stop, and what to do if none is enough.
    #[command(after_help = examples::PLAN)]
    Plan(plan::Args),
    /// Make a field card: near distance against focal length.
    #[command(after_help = examples::CARD)]
    Card(card::Args),
    /// Learn a lens's own softness, or show what was learned.
    #[command(after_help = examples::LENS)]
    Lens(lens::Args),
    /// Print the capture facts of photographs, each with where it came from.
    #[command(after_help = examples::FACTS)]
    Facts(facts::Args),
    /// List, link, copy or move the frames of a report that are worth keeping.
    #[command(after_help = examples::KEEPERS)]
    Keepers(keepers::Args),
    /// Compare frames of one scene: apertures, focus brackets, near-duplicates.
    #[command(after_help = examples::SERIES)]
    Series(series::Args),
    /// Show your defaults and where each comes from.
    #[command(after_help = examples::SETTINGS)]
    Settings(settings::Args),
    /// Print the JSON Schema of something that tussock writes.
    #[command(after_help = examples::SCHEMA)]
    Schema(schema::Args),
    /// Print the licences of tussock and of the libraries in it.
    #[command(after_help = examples::LICENCES)]
    Licences(licences::Args),
    /// Print the script that completes tussock's commands in a shell.
    #[command(after_help = examples::COMPLETIONS)]
    Completions(manual::CompletionsArgs),
    /// Print a manual page, or write all of them.
    #[command(after_help = examples::MAN)]
    Man(manual::ManArgs),
    /// Decode files for another process of this program, as asked on standard input.
    #[command(name = raw_worker::NAME, hide = true)]
    RawWorker {
        /// Longest time for a file, ms.
        time: u64,
    },
}

/// Runs the program on the process's own arguments.
#[must_use]
pub fn run() -> ExitCode {
    guard::quiet();
    let (line, settings) = match understood() {
        Ok(understood) => understood,
        Err(exit) => return exit,
    };
    if line.verbose {
        output::speak_fully();
    }
    if line.quiet {
        output::speak_little();
    }
    if !matches!(line.command, Command::RawWorker { .. }) {
        raw_worker::set_up(Budget::new(None, None));
    }
    match guard::guarded(|| meant(line.command, &settings)) {
        // What was asked for beside the words was done; the words were not.
        Ok(Ok(Outcome::Done)) if output::lost() => Outcome::Partly.into(),
        Ok(Ok(outcome)) => outcome.into(),
        Ok(Err(error)) => {
            output::say(&format!("tussock: {}", output::in_words(&error)));
            Outcome::Nothing.into()
        }
        Err(words) => {
            output::say(&format!("tussock: this failed by a fault of the program; please report it ({words})"));
            Outcome::Nothing.into()
        }
    }
}

/// The line as typed, with the user's settings for defaults, and those settings; what is to be told of it has been told otherwise.
fn understood() -> Result<(Line, Settings), ExitCode> {
    let typed = dropped::as_meant(std::env::args_os().collect());
    let plain = || Line::try_parse_from(&typed).map_err(|e| wrong(&e, &typed));
    // A worker is started for every picture, and what explains the program must work beside a broken settings file.
    let without = ["settings", "licences", "schema", "completions", "man", raw_worker::NAME, "--version", "-V"];
    if typed.get(1).is_none_or(|first| without.iter().any(|w| first == *w)) {
        return Ok((plain()?, Settings::default()));
    }
    let with_defaults =
        commands::settings::read().and_then(|read| Ok((settings::apply(Line::command(), &read)?, read)));
    match with_defaults {
        Ok((line, read)) => {
            let line = line.try_get_matches_from(&typed).and_then(|m| Line::from_arg_matches(&m));
            Ok((line.map_err(|e| wrong(&e, &typed))?, read))
        }
        Err(why) => {
            // What makes no sense of itself, or asks for help, is answered first.
            plain()?;
            output::say(&format!("tussock: {}", output::in_words(&why)));
            Err(Outcome::Nothing.into())
        }
    }
}

fn meant(command: Command, settings: &Settings) -> anyhow::Result<Outcome> {
    match command {
        Command::Audit(args) => args.run(settings),
        Command::Demo(args) => args.run(),
        Command::Watch(args) => args.run(settings),
        Command::Cache(args) => args.run(),
        Command::Edge(args) => args.run(),
        Command::Plan(args) => args.run(settings),
        Command::Card(args) => args.run(settings),
        Command::Lens(args) => args.run(),
        Command::Facts(args) => args.run(),
        Command::Keepers(args) => args.run(),
        Command::Series(args) => args.run(),
        Command::Settings(args) => args.run(),
        Command::Schema(args) => args.run(),
        Command::Licences(args) => args.run(),
        Command::Completions(args) => args.run(Line::command()),
        Command::Man(args) => args.run(Line::command()),
        Command::RawWorker { time } => raw_worker::run(time),
    }
}

/// What to say where the line as typed makes no sense, or asks for help.
fn wrong(error: &clap::Error, typed: &[OsString]) -> ExitCode {
    if error.kind() == ErrorKind::InvalidSubcommand
        && let Some(words) = dropped::strayed(typed)
    {
        output::say(&format!("tussock: {words}"));
        return Outcome::Nothing.into();
    }
    if error.use_stderr() {
        // What was typed is quoted in it, whatever it is.
        output::say(error.render().to_string().trim_end());
        return Outcome::Nothing.into();
    }
    if let Err(why) = error.print() {
        output::unprinted(&why);
    }
    if output::lost() { Outcome::Nothing.into() } else { Outcome::Done.into() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_sound() {
        Line::command().debug_assert();
    }

    #[test]
    fn every_command_has_examples_and_each_is_understood() {
        let mut lines = 0;
        for command in Line::command().get_subcommands().filter(|c| !c.is_hide_set()) {
            let help = command.get_after_help().map(ToString::to_string).unwrap_or_default();
            let examples = help.lines().map(str::trim).filter(|l| l.starts_with("tussock "));
            let before = lines;
            for example in examples {
                let parsed = Line::try_parse_from(example.split_whitespace());
                assert!(parsed.is_ok(), "{example}: {}", parsed.unwrap_err());
                assert!(example.starts_with(&format!("tussock {}", command.get_name())), "{example}");
                lines += 1;
            }
            assert!(lines > before, "{} has no example", command.get_name());
        }
        assert!(lines > 30, "{lines}");
    }

    /// As the guide's page for scripts has it.
    #[test]
    fn every_command_that_tells_anything_does_so_in_json() {
        let without = ["schema", "completions", "man", raw_worker::NAME];
        let mut left: Vec<clap::Command> = Line::command().get_subcommands().cloned().collect();
        let mut with = 0;
        while let Some(command) = left.pop() {
            if command.has_subcommands() {
                left.extend(command.get_subcommands().cloned());
            } else if !without.contains(&command.get_name()) {
                with += 1;
                assert!(command.get_arguments().any(|a| a.get_id() == "json"), "{}", command.get_name());
            }
        }
        assert!(with > 15, "{with}");
    }

    #[test]
    fn every_command_has_a_manual_page_and_every_shell_a_script() {
        let pages = manual::pages(Line::command()).unwrap();
        for name in ["tussock.1", "tussock-audit.1", "tussock-lens-learn.1"] {
            let (_, page) = pages.iter().find(|(n, _)| n == name).unwrap_or_else(|| panic!("no {name}"));
            let text = String::from_utf8(page.clone()).unwrap();
            assert!(text.contains(".TH") && text.contains("\\fB"), "{name}: {text}");
        }
        assert!(pages.iter().all(|(name, _)| !name.contains(raw_worker::NAME)));
    }

    #[test]
    fn settings_are_defaults_that_what_is_typed_overrides() {
        let settings = commands::settings::Settings {
            sharp_for: Some("1:1".into()),
            units: Some("imperial".into()),
            sensor: Some("23.5x15.6mm".into()),
            sensors: Some([("Tarn One".to_owned(), "23.6x15.7mm".to_owned())].into()),
            lenses: Some(vec!["a.toml".into(), "b.toml".into()]),
            theme: Some("dark".into()),
        };
        let parsed = |text: &str| {
            let line = settings::apply(Line::command(), &settings).unwrap();
            Line::from_arg_matches(&line.try_get_matches_from(text.split_whitespace()).unwrap()).unwrap().command
        };
        let shown = |text: &str| format!("{:?}", parsed(text));
        let audit = shown("tussock audit x");
        for part in ["OneToOne", "Imperial", "theme: Dark", "Tarn One", "23.6"] {
            assert!(audit.contains(part), "{part}: {audit}");
        }
        let typed = shown("tussock audit x --sharp-for diagonal --units metric --lens c.toml --theme light");
        for part in ["Diagonal1500", "Metric", "[\"c.toml\"]", "theme: Light"] {
            assert!(typed.contains(part), "{part}: {typed}");
        }
        assert!(shown("tussock lens learn x").contains("Tarn One") && shown("tussock facts x").contains("Tarn One"));
        // What is set of sensors and lenses was not given for the frames at hand.
        assert!(!audit.contains("a.toml") && !shown("tussock plan --near 1m --focal 24mm").contains("23.5"));
        assert_eq!(settings::sensor(&settings).map(|s| (s.width_mm, s.height_mm)), Some((23.5, 15.6)));
        for wrong in ["sharp-for", "units", "sensor", "sensors", "theme"] {
            let bad = |name: &str| (name == wrong).then(|| "nonsense".to_owned());
            let settings = commands::settings::Settings {
                sharp_for: bad("sharp-for"),
                units: bad("units"),
                sensor: bad("sensor"),
                sensors: bad("sensors").map(|size| [("Tarn One".to_owned(), size)].into()),
                lenses: None,
                theme: bad("theme"),
            };
            let why = settings::apply(Line::command(), &settings).unwrap_err().to_string();
            assert!(why.contains(wrong) && why.contains("nonsense"), "{why}");
        }
    }
}
