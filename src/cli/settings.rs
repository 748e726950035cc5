//! The settings file as defaults of the command line, and `tussock settings`.

use clap::Command;
use clap::builder::OsStr;

use super::values;
use crate::commands::Outcome;
use crate::commands::settings::{self, Settings};
use crate::plan::Sensor;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Runs the command.
    pub(super) fn run(&self) -> anyhow::Result<Outcome> {
        let settings = settings::read()?;
        check(&settings)?;
        settings::show(&settings, self.json)
    }
}

/// Commands that take each setting for a default: setting, option, commands. The others are handed on as what they are, since an
/// option says what is so of these very frames: `sensor` stands behind a photograph's own, `lenses` for the lenses they name.
const TAKEN_BY: [(&str, &str, &[&str]); 4] = [
    ("sharp-for", "sharp_for", &["audit", "watch", "series", "plan", "card"]),
    ("units", "units", &["audit", "watch", "series", "plan", "card"]),
    ("sensors", "sensor_of", &["audit", "watch", "series", "facts", "edge", "lens"]),
    ("theme", "theme", &["audit", "watch"]),
];

/// The command line with the settings as its defaults.
///
/// # Errors
/// Where a setting makes no sense.
pub(super) fn apply(mut line: Command, settings: &Settings) -> anyhow::Result<Command> {
    check(settings)?;
    for (name, option, commands) in TAKEN_BY {
        let defaults = values_of(settings, name);
        if defaults.is_empty() {
            continue;
        }
        for command in commands {
            let defaults = defaults.clone();
            let set = |c: Command| c.mut_arg(option, |a| a.default_values(defaults));
            line = line
                .mut_subcommand(command, |c| if *command == "lens" { c.mut_subcommand("learn", set) } else { set(c) });
        }
    }
    Ok(line)
}

fn values_of(settings: &Settings, name: &str) -> Vec<OsStr> {
    let text = match name {
        "sharp-for" => &settings.sharp_for,
        "units" => &settings.units,
        "theme" => &settings.theme,
        _ => {
            let sensors = settings.sensors.iter().flatten();
            return sensors.map(|(body, size)| OsStr::from(format!("{body}={size}"))).collect();
        }
    };
    text.iter().map(|t| OsStr::from(t.clone())).collect()
}

/// The sensor that plans and cards are for where nothing else tells it; one that makes no sense was refused before.
pub(super) fn sensor(settings: &Settings) -> Option<Sensor> {
    settings.sensor.as_deref().and_then(|text| values::sensor(text).ok())
}

/// Whether every setting makes sense.
fn check(settings: &Settings) -> anyhow::Result<()> {
    let of = |known: &[&str], value: &str| {
        known.contains(&value).then_some(()).ok_or_else(|| format!("'{value}' is none of {}", known.join(", ")))
    };
    let checks = [
        ("sharp-for", settings.sharp_for.as_deref().map(|v| values::sharp_for(v).map(drop))),
        ("units", settings.units.as_deref().map(|v| of(&["metric", "imperial"], v))),
        ("sensor", settings.sensor.as_deref().map(|v| values::sensor(v).map(drop))),
        ("theme", settings.theme.as_deref().map(|v| of(&["auto", "light", "dark"], v))),
    ];
    let sensors = settings.sensors.iter().flatten();
    let sensors = sensors.map(|(body, size)| ("sensors", Some(values::sensor_of(&format!("{body}={size}")).map(drop))));
    for (name, checked) in checks.into_iter().chain(sensors) {
        if let Some(Err(why)) = checked {
            return Err(settings::refused(name, &why));
        }
    }
    Ok(())
}
