//! The library that makes a disk fail and a clock jump (`preload.c`), and the orders it is given.

use std::{
    fs,
    os::unix::fs::FileExt,
    path::{Path, PathBuf},
    process::Command,
    sync::OnceLock,
};

use crate::site::{Service, Site};

/// What calls fail with, by their numbers on Linux (asm-generic/errno-base.h): everywhere the same.
pub const EIO: i64 = 5;
pub const ENOSPC: i64 = 28;
pub const EROFS: i64 = 30;

/// The orders' places in the file.
const ERROR: u64 = 0;
const PER_MILLE: u64 = 1;
const DELAY: u64 = 2;
const SHIFT: u64 = 3;
const FAILED: u64 = 4;
const SEEN: u64 = 5;

/// What the program under test is told to suffer; it may be changed while that runs.
pub struct Orders {
    file: fs::File,
    path: PathBuf,
    folder: PathBuf,
}

impl Orders {
    /// For the state folder of a site; nothing fails yet.
    pub fn new(site: &Site) -> Self {
        let path = site.folder().join("orders");
        fs::write(&path, [0; 48]).unwrap();
        let file = fs::File::options()
            .read(true)
            .write(true)
            .open(&path)
            .unwrap();
        Self {
            file,
            path,
            folder: site.state(),
        }
    }

    /// Starts the service under these orders without waiting for anything.
    pub fn launch(&self, site: &Site) -> Service {
        let text = |path: &Path| path.to_str().unwrap().to_owned();
        let (control, folder) = (text(&self.path), text(&self.folder));
        site.launch_with(&[
            ("LD_PRELOAD", &text(library())),
            ("FAULTS_CONTROL", &control),
            ("FAULTS_FOLDER", &folder),
        ])
    }

    /// The same, and waits until it hears.
    pub fn start(&self, site: &Site) -> Service {
        let before = site.broker.log().len();
        let service = self.launch(site);
        site.hears(before);
        service
    }

    /// So many of a thousand calls that write fail with this from now on.
    pub fn fail(&self, error: i64, per_mille: i64) {
        self.give(PER_MILLE, per_mille);
        self.give(ERROR, error);
    }

    /// The disk is well again.
    pub fn heal(&self) {
        self.give(ERROR, 0);
        self.give(DELAY, 0);
    }

    /// Each call that writes takes so much longer.
    pub fn delay(&self, milliseconds: i64) {
        self.give(DELAY, milliseconds);
    }

    /// The wall clock is so far ahead of the machine's.
    pub fn shift_clock(&self, milliseconds: i64) {
        self.give(SHIFT, milliseconds);
    }

    /// Calls that were failed so far.
    pub fn failed(&self) -> i64 {
        self.read(FAILED)
    }

    /// Calls that could have been.
    pub fn seen(&self) -> i64 {
        self.read(SEEN)
    }

    fn give(&self, place: u64, order: i64) {
        self.file
            .write_all_at(&order.to_ne_bytes(), place * 8)
            .unwrap();
    }

    fn read(&self, place: u64) -> i64 {
        let mut bytes = [0; 8];
        self.file.read_exact_at(&mut bytes, place * 8).unwrap();
        i64::from_ne_bytes(bytes)
    }
}

/// Compiled once for all tests of this process.
fn library() -> &'static Path {
    static LIBRARY: OnceLock<PathBuf> = OnceLock::new();
    LIBRARY.get_or_init(|| {
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/faults/preload.c");
        let name = format!("preload-{}.so", std::process::id());
        let library = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        let made = Command::new("cc")
            .args(["-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o"])
            .arg(&library)
            .arg(source)
            .arg("-ldl")
            .output()
            .expect("a C compiler is needed for this test (Debian: build-essential)");
        assert!(made.status.success(), "{made:?}");
        library
    })
}
