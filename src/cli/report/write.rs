//! Where a report goes: files that are not there yet, or standard output.

use std::{
    fs::{self, OpenOptions},
    io::{self, Write as _},
    path::{Path, PathBuf},
    str::FromStr,
};

/// What is asked for as comma-separated values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Csv {
    /// The runs, on standard output.
    Runs,
    /// The samples, on standard output.
    Samples,
    /// Both, in files of this folder.
    Folder(PathBuf),
}

impl FromStr for Csv {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "" => Err("say runs, samples or a folder".to_owned()),
            "runs" => Ok(Self::Runs),
            "samples" => Ok(Self::Samples),
            folder => Ok(Self::Folder(folder.into())),
        }
    }
}

/// Where something goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Target {
    /// Standard output.
    Output,
    /// A file.
    File(PathBuf),
}

impl Target {
    /// "-" is standard output.
    pub fn of(path: PathBuf) -> Self {
        if path.as_os_str() == "-" {
            Self::Output
        } else {
            Self::File(path)
        }
    }
}

/// Why it is not there.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    #[error("{} is there already; --force writes over it, --output names another", .0.display())]
    Exists(PathBuf),
    #[error("cannot write {}: {source}", path.display())]
    File { path: PathBuf, source: io::Error },
}

/// Writes everything, or nothing where a file is in the way.
pub fn all(targets: &[(Target, String)], force: bool) -> Result<(), WriteError> {
    let files = targets.iter().filter_map(|(target, _)| match target {
        Target::File(path) => Some(path),
        Target::Output => None,
    });
    for path in files {
        if !force && path.exists() {
            return Err(WriteError::Exists(path.clone()));
        }
    }
    let is_quiet = targets.iter().any(|(target, _)| *target == Target::Output);
    for (target, text) in targets {
        match target {
            // A reader that went away is no failure.
            Target::Output => {
                let _ = io::stdout().write_all(text.as_bytes());
            }
            Target::File(path) => {
                file(path, text, force)?;
                if !is_quiet {
                    let _ = writeln!(io::stdout(), "{}", path.display());
                }
            }
        }
    }
    Ok(())
}

fn file(path: &Path, text: &str, force: bool) -> Result<(), WriteError> {
    let failed = |source: io::Error| match source.kind() {
        io::ErrorKind::AlreadyExists if !force => WriteError::Exists(path.to_owned()),
        _ => WriteError::File {
            path: path.to_owned(),
            source,
        },
    };
    if let Some(folder) = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
    {
        fs::create_dir_all(folder).map_err(failed)?;
    }
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(true);
    // Somebody may have put a file there since we looked.
    let file = options.create_new(!force).open(path);
    file.and_then(|mut file| file.write_all(text.as_bytes()))
        .map_err(failed)
}
