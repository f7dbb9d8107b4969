//! Help, completions and the manual page, held to the programs that read them.

use std::{
    fs,
    process::{Command, Stdio},
};

use crate::site::{program, run, text};

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let example = concat!(env!("CARGO_MANIFEST_DIR"), "/config/permeated.toml");
    for arguments in [
        vec!["check", example],
        vec!["completions", "bash"],
        vec!["manual"],
        vec!["--help"],
    ] {
        let mut process = (program().args(&arguments))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(process.stdout.take());
        let output = process.wait_with_output().unwrap();
        assert_eq!(text(&output.stderr), "", "{arguments:?}");
        assert_eq!(output.status.code(), Some(0), "{arguments:?}");
    }
}

/// The commands, as the help lists them.
fn commands() -> Vec<String> {
    let help = text(&run(&["--help"]).stdout);
    let listed = help.split_once("Commands:\n").unwrap().1;
    (listed.lines())
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_command_helps_with_examples() {
    let commands = commands();
    assert!(commands.len() >= 9, "{commands:?}");
    for command in commands.iter().filter(|command| *command != "help") {
        let output = run(&[command, "--help"]);
        assert_eq!(output.status.code(), Some(0));
        let help = text(&output.stdout);
        assert!(
            help.contains("Examples:\n  permeated "),
            "{command}: {help}"
        );
        assert!(!help.contains("\u{1b}["), "{command}: {help}");
    }
}

#[test]
fn bash_completes_what_the_help_lists() {
    let folder = tempfile::tempdir().unwrap();
    let script = folder.path().join("permeated.bash");
    fs::write(&script, run(&["completions", "bash"]).stdout).unwrap();
    let bash = |arguments: &[&str]| {
        let output = Command::new("bash").args(arguments).output().unwrap();
        assert!(output.status.success(), "{output:?}");
        assert_eq!(text(&output.stderr), "");
        text(&output.stdout)
    };
    let script = script.display().to_string();
    bash(&["-n", &script]);
    let registered = bash(&[
        "--norc",
        "-c",
        &format!("source {script}; complete -p permeated"),
    ]);
    assert!(registered.contains("_permeated"), "{registered}");
    // What Bash itself would offer behind "permeated " and behind "permeated status --".
    let offered = |words: &str, last: usize| {
        let ask = format!(
            "source {script}; COMP_WORDS=({words}); COMP_CWORD={last}; \
             _permeated permeated \"${{COMP_WORDS[{last}]}}\" \"${{COMP_WORDS[{last} - 1]}}\"; \
             printf '%s\\n' \"${{COMPREPLY[@]}}\""
        );
        bash(&["--norc", "-c", &ask])
    };
    let first = offered("permeated ''", 1);
    for command in commands() {
        assert!(
            first.lines().any(|line| line == command),
            "{command}: {first}"
        );
    }
    assert!(
        offered("permeated status --", 2)
            .lines()
            .any(|line| line == "--json")
    );
    for shell in ["zsh", "fish"] {
        let script = text(&run(&["completions", shell]).stdout);
        assert!(
            commands().iter().all(|command| script.contains(command)),
            "{shell}"
        );
    }
    assert_eq!(run(&["completions", "tcsh"]).status.code(), Some(2));
}

#[test]
fn the_manual_page_satisfies_mandoc_and_names_everything() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("permeated.1");
    fs::write(&page, run(&["manual"]).stdout).unwrap();
    let mandoc = |arguments: &[&str]| {
        let output = Command::new("mandoc").args(arguments).arg(&page).output();
        output.expect("mandoc is needed (Debian: apt-get install mandoc); tests/run installs it")
    };
    let lint = mandoc(&["-T", "lint", "-W", "warning"]);
    assert!(lint.status.success(), "{}", text(&lint.stdout));
    let shown = text(&mandoc(&["-T", "utf8"]).stdout);
    // Overstruck letters are how it tells bold and underlined ones.
    let mut plain = String::new();
    for letter in shown.chars() {
        if letter == '\u{8}' {
            plain.pop();
        } else {
            plain.push(letter);
        }
    }
    for command in commands().iter().filter(|command| *command != "help") {
        assert!(
            plain.contains(&format!("permeated {command}")),
            "{command}: {plain}"
        );
    }
    for words in [
        "permeated log replaced",
        "--strict",
        "EXIT STATUS",
        "NO_COLOR",
        "/etc/permeated/permeated.toml",
        "mosquitto_sub -p 1884 -v -t 'permeated/#'",
        "neither flood protection",
    ] {
        let flowing = plain.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flowing.contains(words), "{words}: {plain}");
    }
}
