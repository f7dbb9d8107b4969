//! `permeated log`: the maintenance log. What is shown is read from the store, also while the service
//! runs; what is told goes through the broker to the running service, whose store it is.

mod show;
mod tell;

use std::{path::PathBuf, process::ExitCode};

use clap::{Args, Subcommand};

use super::{DEFAULT_FILE, PROBLEMS, complain, unit};
use crate::config::Settings;

/// What was typed.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct LogArguments {
    /// The configuration file
    #[arg(long, global = true, default_value = DEFAULT_FILE)]
    pub config: PathBuf,
    /// The unit's id; not needed where there is only one
    #[arg(long, global = true, value_name = "ID")]
    unit: Option<String>,
    #[command(subcommand)]
    what: What,
}

const EXAMPLES: &str = "Examples:\n\
    \x20 permeated log replaced carbon --lot A17 --price 24.90\n\
    \x20 permeated log test alkalinity \"80 mg/L CaCO3\"\n\
    \x20 permeated log test total_chlorine 0.05 --after carbon-2 --date 2026-05-01\n\
    \x20 permeated log sanitised --note \"peroxide, one hour\"\n\
    \x20 permeated log note \"new tubing to the tank\"\n\
    \x20 permeated log correct 12 --price 22.50\n\
    \x20 permeated log withdraw 13\n\
    \x20 permeated log show --csv --since 2026-01-01\n\n\
    A date is a day (2026-05-01: its noon in the configured time zone) or an RFC 3339 time; without one it \
    is now.\n\
    Exit status: 0 done, 1 refused or failed, 2 wrong arguments or configuration, 3 the service did not \
    answer.";

#[derive(Debug, Subcommand)]
enum What {
    /// Put an entry right; both stay in the log
    Correct {
        /// The entry's number
        number: u64,
        /// When it was done
        #[arg(long)]
        date: Option<String>,
        /// Lot or batch; "" takes it away
        #[arg(long)]
        lot: Option<String>,
        /// Price, in your currency; "" takes it away
        #[arg(long, allow_hyphen_values = true)]
        price: Option<String>,
        /// Words; "" takes them away
        #[arg(long)]
        note: Option<String>,
        /// What a test found
        #[arg(long, allow_hyphen_values = true)]
        value: Option<String>,
    },
    /// Write something down
    Note {
        /// The words
        text: String,
        /// When, if not now
        #[arg(long)]
        date: Option<String>,
    },
    /// A stage was replaced: a new filling begins
    Replaced {
        /// The stage's id
        stage: String,
        /// When, if not now
        #[arg(long)]
        date: Option<String>,
        /// Lot or batch of the new filling
        #[arg(long)]
        lot: Option<String>,
        /// What it cost, in your currency
        #[arg(long, allow_hyphen_values = true)]
        price: Option<String>,
        /// Words
        #[arg(long)]
        note: Option<String>,
    },
    /// The unit was sanitised
    Sanitised {
        /// When, if not now
        #[arg(long)]
        date: Option<String>,
        /// Words
        #[arg(long)]
        note: Option<String>,
    },
    /// Show the log
    Show {
        /// As comma-separated values (RFC 4180)
        #[arg(long)]
        csv: bool,
        /// Only what was done on that day or later, and what has no date
        #[arg(long, value_name = "DAY")]
        since: Option<jiff::civil::Date>,
    },
    /// A test by hand: alkalinity, calcium, disinfectant_level, hardness, ph, silica, tds, total_chlorine
    Test {
        /// Which test
        name: String,
        /// What was found: a number, or with its unit
        #[arg(allow_hyphen_values = true)]
        value: String,
        /// The carbon stage behind which the water was taken (total_chlorine)
        #[arg(long, value_name = "STAGE")]
        after: Option<String>,
        /// When, if not now
        #[arg(long)]
        date: Option<String>,
        /// Words
        #[arg(long)]
        note: Option<String>,
    },
    /// An entry does not hold; the last replacement of a stage gives the old filling back
    Withdraw {
        /// The entry's number
        number: u64,
        /// Words
        #[arg(long)]
        note: Option<String>,
    },
}

/// Shows the log or tells the service; see the exit statuses in the help.
#[must_use]
pub fn run(settings: &Settings, arguments: &LogArguments) -> ExitCode {
    let unit = match unit::chosen(settings, arguments.unit.as_deref()) {
        Ok(unit) => unit,
        Err(error) => {
            complain(&format!("permeated: {error}"));
            return PROBLEMS.into();
        }
    };
    match &arguments.what {
        What::Show { csv, since } => show::run(settings, unit, *csv, *since),
        told => tell::run(settings, unit, told),
    }
}
