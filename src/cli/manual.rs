//! Completions and manual pages, made from the command line's own description.

use std::path::PathBuf;

use anyhow::Context as _;
use clap_complete::Shell;

use crate::commands::Outcome;
use crate::output;
use crate::quantity::shown;

#[derive(Debug, clap::Args)]
pub(super) struct CompletionsArgs {
    /// The shell that is to complete the commands.
    #[arg(value_enum, value_name = "SHELL")]
    shell: Shell,
}

impl CompletionsArgs {
    /// Runs the command: the script goes to standard output.
    pub(super) fn run(&self, mut line: clap::Command) -> anyhow::Result<Outcome> {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut line, "tussock", &mut script);
        output::print_bytes(&script);
        Ok(Outcome::Done)
    }
}

#[derive(Debug, clap::Args)]
pub(super) struct ManArgs {
    /// The command that the page is of [default: tussock itself].
    #[arg(value_name = "COMMAND", conflicts_with = "out")]
    of: Option<String>,
    /// Write all pages into a folder.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Replace what is there already; pictures never are.
    #[arg(long, requires = "out")]
    overwrite: bool,
}

impl ManArgs {
    /// Runs the command.
    ///
    /// # Errors
    /// Where there is no such command, or a page can't be written.
    pub(super) fn run(&self, line: clap::Command) -> anyhow::Result<Outcome> {
        let pages = pages(line)?;
        match &self.out {
            Some(folder) => {
                for (name, page) in &pages {
                    output::write(&folder.join(name), page, self.overwrite)?;
                }
                output::note(&format!("{} pages written to {}", pages.len(), shown(folder)));
            }
            None => {
                let name = self.of.as_ref().map_or_else(|| "tussock.1".to_owned(), |of| format!("tussock-{of}.1"));
                let page = pages.iter().find(|(n, _)| *n == name);
                output::print_bytes(&page.with_context(|| format!("there is no command of that name ({name})"))?.1);
            }
        }
        Ok(Outcome::Done)
    }
}

/// Every page: file name, text in the language of man.
pub(super) fn pages(line: clap::Command) -> anyhow::Result<Vec<(String, Vec<u8>)>> {
    let mut line = line;
    line.build();
    let mut out = vec![page("tussock", line.clone())?];
    for command in line.get_subcommands().filter(|c| !c.is_hide_set() && c.get_name() != "help") {
        let name = format!("tussock-{}", command.get_name());
        out.push(page(&name, command.clone().name(name.clone()).display_name(name.clone()))?);
        for part in command.get_subcommands().filter(|c| c.get_name() != "help") {
            let name = format!("{name}-{}", part.get_name());
            out.push(page(&name, part.clone().name(name.clone()).display_name(name.clone()))?);
        }
    }
    Ok(out)
}

fn page(name: &str, command: clap::Command) -> anyhow::Result<(String, Vec<u8>)> {
    let mut text = Vec::new();
    clap_mangen::Man::new(command).render(&mut text).context("cannot write a manual page")?;
    Ok((format!("{name}.1"), text))
}
