//! `tussock schema`: options as typed.

use crate::commands::{Outcome, schema};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Whose schema, such as audit [default: lists the names].
    #[arg(value_name = "NAME")]
    name: Option<String>,
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self) -> anyhow::Result<Outcome> {
        schema::run(self.name.as_deref())
    }
}
