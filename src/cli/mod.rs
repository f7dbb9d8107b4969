//! The commands, one file each. Each prints to standard output what was asked for, to standard
//! error what went wrong, and says so in its exit status.

pub mod capture;
pub mod check;
pub mod completions;
#[cfg(feature = "demo-broker")]
pub mod demo;
mod examples;
pub mod expect;
pub mod listen;
pub mod log;
mod logging;
pub mod manual;
pub mod notify;
mod paper;
mod progress;
pub mod replay;
pub mod report;
pub mod run;
pub mod status;
mod unit;

use std::{
    collections::BTreeMap,
    path::{Path, PathBuf},
    process::ExitCode,
};

use clap::{CommandFactory as _, Parser, Subcommand};

use crate::config::{self, Problems, Settings};

/// Everything a user may type.
#[derive(Debug, Parser)]
#[command(name = "permeated", version, about, max_term_width = 100)]
#[command(after_help = examples::ALL)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    command: Command,
    /// How much to say on standard error: error, warn (usual), info (usual for run), debug or trace
    #[arg(long = "log", global = true, value_name = "LEVEL")]
    log_level: Option<tracing::Level>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Record what the service would hear from a live broker, to be replayed
    Capture(capture::CaptureArguments),
    /// Check a configuration; say what looks wrong in it, what it gives and which sensor would add most
    #[command(after_help = examples::CHECK)]
    Check {
        /// The configuration file
        #[arg(default_value = DEFAULT_FILE)]
        file: PathBuf,
        /// The same, as other commands take it
        #[arg(long, value_name = "FILE", conflicts_with = "file")]
        config: Option<PathBuf>,
        /// End with status 1 when something is suspicious
        #[arg(long)]
        strict: bool,
    },
    /// Print what a shell needs to complete commands and options
    #[command(after_help = examples::COMPLETIONS)]
    Completions {
        /// Which shell
        shell: completions::Shell,
    },
    /// Show the whole thing with a simulated unit on a broker of its own; needs no set-up
    #[cfg(feature = "demo-broker")]
    #[command(after_help = examples::DEMO)]
    Demo(demo::DemoArguments),
    /// Say what the present element would give at another pressure, temperature or salinity
    #[command(after_help = examples::EXPECT)]
    Expect {
        /// The configuration file
        #[arg(long, default_value = DEFAULT_FILE)]
        config: PathBuf,
        #[command(flatten)]
        question: expect::Question,
    },
    /// Hear a broker for a while, say what looks like a sensor and propose a configuration
    Listen(listen::ListenArguments),
    /// Show the maintenance log, or tell the running service what was done and tested by hand
    Log(log::LogArguments),
    /// Print the manual page
    #[command(after_help = examples::MANUAL)]
    Manual,
    /// Send a test notice to the configured targets and say what came back
    #[command(after_help = examples::NOTIFY)]
    Notify {
        /// The configuration file
        #[arg(long, default_value = DEFAULT_FILE)]
        config: PathBuf,
        #[command(flatten)]
        arguments: notify::NotifyArguments,
    },
    /// Feed a recorded log to the core and print what the service would have published
    Replay(replay::ReplayArguments),
    /// Write a period as one HTML page with pictures, and runs and samples as tables
    Report(report::ReportArguments),
    /// Run the service in the foreground
    #[command(after_help = examples::RUN)]
    Run {
        /// The configuration file
        #[arg(long, default_value = DEFAULT_FILE)]
        config: PathBuf,
        /// Add what is heard to this log, with the state it began with: a replay of it does the same
        #[arg(long, value_name = "LOG")]
        capture: Option<PathBuf>,
    },
    /// Say how each unit stands now: alerts, water, stages, and whether the service runs
    #[command(after_help = examples::STATUS)]
    Status {
        /// The configuration file
        #[arg(long, default_value = DEFAULT_FILE)]
        config: PathBuf,
        #[command(flatten)]
        arguments: status::StatusArguments,
    },
}

const DEFAULT_FILE: &str = "/etc/permeated/permeated.toml";
/// Exit status when something failed that is not the user's to type differently.
const FAILED: u8 = 1;
/// Exit status when the configuration has problems.
const PROBLEMS: u8 = 2;

/// Does what was typed.
#[must_use]
pub fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let is_service = matches!(arguments.command, Command::Run { .. });
    let usual = if is_service {
        tracing::Level::INFO
    } else {
        tracing::Level::WARN
    };
    logging::start(arguments.log_level.unwrap_or(usual));
    match arguments.command {
        Command::Capture(arguments) => with_settings(&arguments.config, |settings| {
            capture::run(settings, &arguments)
        }),
        Command::Check {
            file,
            config,
            strict,
        } => {
            let file = config.unwrap_or(file);
            check::run(&file, &environment(), state_directory().as_deref(), strict)
        }
        Command::Completions { shell } => completions::run(shell, Arguments::command()),
        #[cfg(feature = "demo-broker")]
        Command::Demo(arguments) => demo::run(arguments),
        Command::Expect { config, question } => {
            with_settings(&config, |settings| expect::run(settings, &question))
        }
        Command::Listen(arguments) => listen::run(&arguments),
        Command::Log(arguments) => {
            with_settings(&arguments.config, |settings| log::run(settings, &arguments))
        }
        Command::Manual => manual::run(Arguments::command()),
        Command::Notify { config, arguments } => {
            with_settings(&config, |settings| notify::run(settings, &arguments))
        }
        Command::Replay(arguments) => with_settings(&arguments.config, |settings| {
            replay::run(settings, &arguments)
        }),
        Command::Run { config, capture } => with_settings(&config, |settings| {
            run::run(settings, &|| read(&config), capture.as_deref())
        }),
        Command::Status { config, arguments } => {
            with_settings(&config, |settings| status::run(settings, &arguments))
        }
        Command::Report(arguments) => with_settings(&arguments.config, |settings| {
            report::run(settings, &arguments)
        }),
    }
}

/// Reads the configuration; its problems end the command with status 2.
fn with_settings(path: &Path, command: impl FnOnce(&Settings) -> ExitCode) -> ExitCode {
    match read(path) {
        Ok(settings) => command(&settings),
        Err(problems) => {
            complain(&problems);
            PROBLEMS.into()
        }
    }
}

fn read(path: &Path) -> Result<Settings, Problems> {
    config::load(path, &environment(), state_directory().as_deref())
}

/// Tells a person, on standard error, why a command did not do its work.
fn complain(what: &dyn std::fmt::Display) {
    use std::io::Write as _;
    // There is nowhere left to report that standard error is gone.
    let _ = writeln!(std::io::stderr(), "{what}");
}

/// The environment's texts; variables that are not Unicode cannot be ours.
fn environment() -> BTreeMap<String, String> {
    std::env::vars_os()
        .filter_map(|(name, value)| Some((name.into_string().ok()?, value.into_string().ok()?)))
        .collect()
}

/// The state folder the service manager made for us, if one did.
fn state_directory() -> Option<PathBuf> {
    let folders = std::env::var_os("STATE_DIRECTORY")?;
    std::env::split_paths(&folders)
        .next()
        .filter(|path| !path.as_os_str().is_empty())
}
