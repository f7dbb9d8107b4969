//! Where the table and the configuration go. A file is written whole or not at all, and one that is
//! there is left as it is unless overwriting was asked for.

use std::{
    fs, io,
    io::Write as _,
    path::{Path, PathBuf},
    process::ExitCode,
};

use super::{
    super::{FAILED, complain},
    shown,
};

/// Whether the file could be written, as far as one can tell before.
pub(super) fn check(path: &Path, force: bool) -> Result<(), String> {
    let place = shown(path);
    if path.is_dir() {
        return Err(format!("--output {place} is a folder; name a file in it"));
    }
    if path.symlink_metadata().is_ok() && !force {
        return Err(format!(
            "{place} is there already and is left as it is; name another file, or overwrite it with --force"
        ));
    }
    let folder = folder(path);
    if !folder.is_dir() {
        return Err(format!(
            "--output {place}: there is no folder {}",
            shown(&folder)
        ));
    }
    Ok(())
}

fn folder(path: &Path) -> PathBuf {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
        _ => PathBuf::from("."),
    }
}

/// Tells what was found and writes the configuration, if there is one.
pub(super) fn tell(
    report: &str,
    text: Option<&str>,
    output: Option<&Path>,
    force: bool,
    (active, doubtful): (usize, usize),
) -> ExitCode {
    let Some(text) = text else {
        print(report);
        complain(
            &"permeated: nothing that was heard looks like a sensor of such a unit, so no configuration was written. \
              Listen longer (--seconds 330), while the unit makes water; look with --all at what was passed over; or \
              give the topics names that say what they carry (feed_tds, permeate_flow).",
        );
        return FAILED.into();
    };
    let Some(path) = output else {
        complain(&report);
        print(text);
        return ExitCode::SUCCESS;
    };
    print(report);
    match write(path, text, force) {
        Ok(()) => {
            print(&format!(
                "\nWritten: {}, with {active} sensor{} in use and {doubtful} to be decided. Next:\n  \
                 permeated check {0}\n",
                shown(path),
                if active == 1 { "" } else { "s" },
            ));
            ExitCode::SUCCESS
        }
        Err(error) => {
            // The listening was long: what came of it is not thrown away.
            print(&format!("\n{text}"));
            complain(&format!(
                "permeated: {} could not be written: {error}; the configuration stands above",
                shown(path)
            ));
            FAILED.into()
        }
    }
}

fn print(text: &str) {
    // A reader that went away (a closed pipe) is no failure.
    let _ = write!(io::stdout(), "{text}");
}

fn write(path: &Path, text: &str, force: bool) -> io::Result<()> {
    if !force {
        // Whoever made the file meanwhile keeps it.
        return fs::File::create_new(path)?.write_all(text.as_bytes());
    }
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let beside = folder(path).join(format!(".{name}.{}", std::process::id()));
    fs::write(&beside, text)?;
    fs::rename(&beside, path).inspect_err(|_| {
        let _ = fs::remove_file(&beside);
    })
}
