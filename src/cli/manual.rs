//! `permeated manual`: one manual page with every command, from the same tables as the help, in the
//! form that `man` reads.

use std::process::ExitCode;

use clap::Command;
use clap_mangen::{
    Man,
    roff::{Roff, bold, roman},
};

use super::{DEFAULT_FILE, paper};

/// The day on which this page was last gone through.
const DATE: &str = "2026-11-27";

/// Where an installation keeps what; the texts stand beside the code that opens them.
const FILES: [(&str, &str); 2] = [
    (
        DEFAULT_FILE,
        "The configuration that is read where no other is named.",
    ),
    (
        "/var/lib/permeated/permeated.db",
        "State, runs, the maintenance log and figures for graphs, in the folder that store.directory or \
         $STATE_DIRECTORY names.",
    ),
];

const ENVIRONMENT: [(&str, &str); 5] = [
    (
        "PERMEATED__*",
        "Single values of the configuration, for example PERMEATED__BROKER__URL.",
    ),
    (
        "STATE_DIRECTORY",
        "The state folder, where the configuration names none; service managers set it.",
    ),
    (
        "NO_COLOR",
        "Nothing is coloured when it is set and not empty.",
    ),
    (
        "TERM",
        "A terminal called dumb gets no colours, nor does anything that is no terminal.",
    ),
    (
        "JOURNAL_STREAM",
        "Log lines carry no time when it is set: the journal adds it.",
    ),
];

const STATUSES: [(&str, &str); 7] = [
    (
        "0",
        "Done; for status: the service runs and no alert is active.",
    ),
    (
        "1",
        "It failed, and the message says at what; for check --strict: something is suspicious.",
    ),
    ("2", "Wrong arguments, or problems in the configuration."),
    (
        "3",
        "log: the service did not answer. status: a notice or warning is active.",
    ),
    ("4", "status: a critical alert is active."),
    ("5", "status: the service is away or cannot be asked."),
    (
        "other",
        "What a command means by its own numbers stands with it.",
    ),
];

const CAUTIONS: &str = "permeated reads and reports. It closes no valve, and is neither flood protection \
    nor proof that water is fit to drink. Relieve the pressure before you open anything, keep mains \
    voltage away from water, and follow local codes.";

/// Prints the page on standard output.
#[must_use]
pub fn run(command: Command) -> ExitCode {
    match page(command) {
        Ok(page) => {
            paper::say(&page);
            ExitCode::SUCCESS
        }
        // Writing into memory does not fail.
        Err(error) => {
            super::complain(&format!(
                "permeated: the manual page cannot be made: {error}"
            ));
            super::FAILED.into()
        }
    }
}

fn page(command: Command) -> std::io::Result<String> {
    let mut command = command.disable_help_subcommand(true);
    command.build();
    let mut page = Vec::new();
    let man = Man::new(command.clone()).manual("User Commands").date(DATE);
    man.render_title(&mut page)?;
    let mut page = String::from_utf8_lossy(&page).into_owned();
    page += ".SH NAME\n";
    page += &written(|man, to| man.render_name_section(to), &command)?;
    page += ".SH SYNOPSIS\n";
    page += &written(|man, to| man.render_synopsis_section(to), &command)?;
    page += ".SH DESCRIPTION\n";
    page += &written(|man, to| man.render_description_section(to), &command)?;
    page += ".SH OPTIONS\n";
    page += &written(|man, to| man.render_options_section(to), &command)?;
    page += ".SH COMMANDS\n";
    for sub in command.get_subcommands() {
        add_command(&mut page, sub)?;
    }
    page += &list("EXIT STATUS", &STATUSES);
    page += &list("FILES", &FILES);
    page += &list("ENVIRONMENT", &ENVIRONMENT);
    let mut cautions = Roff::new();
    cautions.control("SH", ["CAUTIONS"]).text([roman(CAUTIONS)]);
    Ok(page + &cautions.to_roff())
}

/// A command with its options and examples, and the commands below it.
fn add_command(page: &mut String, command: &Command) -> std::io::Result<()> {
    let name = command.get_bin_name().unwrap_or_else(|| command.get_name());
    let mut title = Roff::new();
    title.control("SS", [name]);
    *page += &title.to_roff();
    // They are told once, above.
    let everywhere = ["help", "log_level"];
    let own = command.clone().mut_args(|argument| {
        let is_everywhere = everywhere.contains(&argument.get_id().as_str());
        argument.hide(is_everywhere)
    });
    *page += &written(|man, to| man.render_synopsis_section(to), &own)?;
    *page += ".PP\n";
    *page += &written(|man, to| man.render_description_section(to), &own)?;
    if own.get_arguments().any(|argument| !argument.is_hide_set()) {
        *page += &written(|man, to| man.render_options_section(to), &own)?;
    }
    if let Some(examples) = command.get_after_help() {
        let mut verbatim = Roff::new();
        verbatim.control("PP", []).control("nf", []);
        for line in examples.to_string().lines() {
            verbatim.text([roman(line)]);
        }
        verbatim.control("fi", []);
        *page += &verbatim.to_roff();
    }
    for sub in command.get_subcommands() {
        add_command(page, sub)?;
    }
    Ok(())
}

/// What the generator writes of one section, without its heading.
fn written(
    section: impl Fn(&Man, &mut Vec<u8>) -> std::io::Result<()>,
    command: &Command,
) -> std::io::Result<String> {
    let mut text = Vec::new();
    section(&Man::new(command.clone()), &mut text)?;
    let text = String::from_utf8_lossy(&text).into_owned();
    let headed = text.split_once(".SH ").map_or("", |(_, headed)| headed);
    let body = headed.split_once('\n').map_or("", |(_, body)| body);
    // The generator sets values apart by two breaks and an empty line, which man pages do with one.
    Ok(body.replace("\n.br\n\n.br\n", "\n.sp\n"))
}

fn list(title: &str, entries: &[(&str, &str)]) -> String {
    let mut roff = Roff::new();
    roff.control("SH", [title]);
    for (name, words) in entries {
        roff.control("TP", []);
        roff.text([bold(*name)]).text([roman(*words)]);
    }
    roff.to_roff()
}
