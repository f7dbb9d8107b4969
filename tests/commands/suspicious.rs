//! What `permeated check` finds suspicious, and what comes of it.

use std::fs;

use crate::site::{UNITS, run, text};

#[test]
fn what_looks_wrong_is_told_and_fails_only_a_strict_check() {
    let folder = tempfile::tempdir().unwrap();
    let write = |text: &str| {
        let file = folder.path().join("permeated.toml");
        let general = "[broker]\nurl = \"mqtt://localhost\"\n[store]\ndirectory = \"state\"\n";
        fs::write(&file, format!("{general}{text}")).unwrap();
        file.display().to_string()
    };
    let file = write(UNITS);
    for arguments in [vec!["check", &file], vec!["check", "--strict", &file]] {
        let output = run(&arguments);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        assert!(
            !text(&output.stdout).contains("ook again"),
            "{}",
            text(&output.stdout)
        );
    }
    let file = write(&UNITS.replace("life_time = \"180 d\"", "life = \"3 L\""));
    let output = run(&["check", &file]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let said = text(&output.stdout);
    assert!(
        said.starts_with("The configuration is right. One thing in it is suspicious"),
        "{said}"
    );
    assert!(said.contains("life of stage sediment is 3 L"), "{said}");
    assert_eq!(text(&run(&["check", "--config", &file]).stdout), said);
    let widest = said.lines().map(|line| line.chars().count()).max();
    assert!(widest <= Some(100), "{widest:?}: {said}");
    assert_eq!(run(&["check", "--strict", &file]).status.code(), Some(1));
}
