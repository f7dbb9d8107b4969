//! `permeated completions`: what a shell needs to complete our commands and options, from the same
//! tables as the help.

use std::process::ExitCode;

use clap::{Command, ValueEnum};

use super::paper;

/// A shell.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Shell {
    /// GNU Bash
    Bash,
    /// Zsh
    Zsh,
    /// Fish
    Fish,
}

/// Prints the shell's script on standard output.
#[must_use]
pub fn run(shell: Shell, mut command: Command) -> ExitCode {
    let shell = match shell {
        Shell::Bash => clap_complete::Shell::Bash,
        Shell::Zsh => clap_complete::Shell::Zsh,
        Shell::Fish => clap_complete::Shell::Fish,
    };
    // Into memory first: the generator does not bear a reader that goes away.
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut command, "permeated", &mut script);
    paper::say(&String::from_utf8_lossy(&script));
    ExitCode::SUCCESS
}
