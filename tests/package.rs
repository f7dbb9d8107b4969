//! The Debian package: made by `systemd/package` in a clean copy of what is published, installed by
//! dpkg into a folder of its own, and held to what Debian's and systemd's own tools say of it. Packed
//! is the program as the tests have it (with the demo's broker, not the release build): what is
//! tested here is the packing. The host is left alone: maintainer scripts are kept to that folder
//! by `DPKG_ROOT`, and nothing is started.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{
    fs,
    os::unix::fs::PermissionsExt,
    path::{Path, PathBuf},
    process::Command,
};

use tempfile::TempDir;

const TOP: &str = env!("CARGO_MANIFEST_DIR");
const PROGRAM: &str = env!("CARGO_BIN_EXE_permeated");
const CONFIGURATION: &str = "etc/permeated/permeated.toml";

/// Runs it; its standard output. Anything but success ends the test with all it said.
fn run(command: &mut Command) -> String {
    let output = command.output().unwrap_or_else(|error| {
        panic!("{command:?}: {error}; tests/run installs what the tests need")
    });
    let said = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    assert!(
        output.status.success(),
        "{command:?}: {}\n{}{}",
        output.status,
        said(&output.stdout),
        said(&output.stderr)
    );
    said(&output.stdout)
}

/// The package, made from a copy of what is published and nothing else.
fn packed(folder: &Path) -> PathBuf {
    let copy = folder.join("source");
    fs::create_dir(&copy).unwrap();
    let parts = "Cargo.toml Cargo.lock README.md DEVELOPERS.md LICENSE src config systemd";
    // The examples and tests that Cargo.toml names must be there for Cargo to read it.
    for part in parts.split(' ').chain(["tests"]) {
        run(Command::new("cp")
            .arg("-a")
            .arg(Path::new(TOP).join(part))
            .arg(&copy));
    }
    let tools = Path::new(TOP).join("target/test-cargo/bin");
    let path = std::env::var("PATH").unwrap();
    let printed = run(Command::new(copy.join("systemd/package"))
        .args(["--binary", PROGRAM, "--into"])
        .arg(folder.join("made"))
        .env("PATH", format!("{}:{path}", tools.display())));
    let package = PathBuf::from(printed.lines().last().expect("its path"));
    assert!(package.starts_with(folder.join("made")), "{printed}");
    package
}

/// What reaches a running systemd whatever the folder; a stand-in that does nothing takes its place.
const TO_SYSTEMD: [&str; 2] = ["systemctl", "deb-systemd-invoke"];

/// A folder as if it were the root of a machine.
struct Machine {
    root: PathBuf,
    stand_ins: PathBuf,
}

impl Machine {
    fn new(folder: &Path) -> Self {
        let root = folder.join("root");
        for part in ["var/lib/dpkg/info", "var/lib/dpkg/updates", "etc", "run"] {
            fs::create_dir_all(root.join(part)).unwrap();
        }
        fs::write(root.join("var/lib/dpkg/status"), "").unwrap();
        let stand_ins = folder.join("stand-ins");
        fs::create_dir(&stand_ins).unwrap();
        for name in TO_SYSTEMD {
            std::os::unix::fs::symlink("/bin/true", stand_ins.join(name)).unwrap();
        }
        Self { root, stand_ins }
    }

    /// What it depends on is the host's business.
    fn dpkg(&self, arguments: &[&str]) {
        run(Command::new("dpkg")
            .arg(format!("--root={}", self.root.display()))
            .args([
                "--force-not-root",
                "--force-script-chrootless",
                "--force-depends",
            ])
            .args(["--force-confold", "--log=/dev/null"])
            .args(arguments)
            .env(
                "PATH",
                format!("{}:/usr/sbin:/usr/bin:/sbin:/bin", self.stand_ins.display()),
            ));
    }

    fn path(&self, name: &str) -> PathBuf {
        self.root.join(name)
    }

    fn permeated(&self, arguments: &[&str]) -> String {
        run(Command::new(self.path("usr/bin/permeated")).args(arguments))
    }

    /// Where the unit lies: Debian has moved it once.
    fn service(&self) -> PathBuf {
        ["usr/lib/systemd/system", "lib/systemd/system"]
            .map(|folder| self.path(folder).join("permeated.service"))
            .into_iter()
            .find(|path| path.is_file())
            .expect("the unit")
    }

    /// Everything below /etc, by its path.
    fn settings(&self) -> Vec<String> {
        let all = run(Command::new("find")
            .arg(self.path("etc"))
            .args(["!", "-type", "d"]));
        let strip = |line: &str| line.replace(&format!("{}/", self.root.display()), "");
        all.lines().map(strip).collect()
    }
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn unzipped(path: &Path) -> String {
    run(Command::new("gzip").arg("-dc").arg(path))
}

/// The sum that `systemd-analyze security` gives, 0 (safe) to 10.
fn exposure(unit: &Path) -> f64 {
    let text = run(Command::new("systemd-analyze")
        .args(["security", "--offline=true", "--no-pager"])
        .arg(unit));
    let told = text
        .split("Overall exposure level for")
        .nth(1)
        .expect(&text);
    let figure = told
        .split(':')
        .nth(1)
        .and_then(|rest| rest.split_whitespace().next());
    figure.and_then(|figure| figure.parse().ok()).expect(told)
}

#[test]
fn the_package_installs_and_starts_nothing_by_itself() {
    let folder = TempDir::new().unwrap();
    let package = packed(folder.path());
    let file = package.to_str().unwrap();
    let machine = Machine::new(folder.path());
    machine.dpkg(&["--install", file]);

    the_program_and_what_it_ships_with(&machine);
    the_unit(&machine);

    // Its life is looked after, but it is not enabled; and a configuration that its owner has changed outlives the next version.
    let script = |kind| {
        read(
            &machine
                .path("var/lib/dpkg/info")
                .join(format!("permeated.{kind}")),
        )
    };
    assert!(script("postinst").contains("try-restart permeated.service"));
    assert!(script("prerm").contains("stop permeated.service"));
    assert_eq!(machine.settings(), [CONFIGURATION]);
    let configuration = machine.path(CONFIGURATION);
    fs::write(&configuration, "# mine\n").unwrap();
    machine.dpkg(&["--install", file]);
    assert_eq!(fs::read_to_string(&configuration).unwrap(), "# mine\n");
    machine.dpkg(&["--remove", "permeated"]);
    assert_eq!(fs::read_to_string(&configuration).unwrap(), "# mine\n");
    assert!(!machine.path("usr/bin/permeated").exists());
    machine.dpkg(&["--purge", "permeated"]);
    assert!(!configuration.exists());
}

fn the_program_and_what_it_ships_with(machine: &Machine) {
    let version = env!("CARGO_PKG_VERSION");
    assert_eq!(
        machine.permeated(&["--version"]),
        format!("permeated {version}\n")
    );
    let configuration = machine.path(CONFIGURATION);
    machine.permeated(&["check", configuration.to_str().unwrap()]);
    // It holds no secret and is read by a user that is made up at every start.
    let mode = fs::metadata(&configuration).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o644);

    let manual = unzipped(&machine.path("usr/share/man/man1/permeated.1.gz"));
    assert_eq!(manual, machine.permeated(&["manual"]));
    for (shell, place) in [
        ("bash", "bash-completion/completions/permeated"),
        ("zsh", "zsh/vendor-completions/_permeated"),
        ("fish", "fish/vendor_completions.d/permeated.fish"),
    ] {
        let shipped = fs::read_to_string(machine.path("usr/share").join(place)).unwrap();
        assert_eq!(shipped, machine.permeated(&["completions", shell]));
    }
    let documents = machine.path("usr/share/doc/permeated");
    assert!(
        unzipped(&documents.join("changelog.Debian.gz"))
            .starts_with(&format!("permeated ({version}-1)"))
    );
    let licence = read(&documents.join("copyright"));
    let mit = read(&Path::new(TOP).join("LICENSE"));
    let grant = "Permission is hereby granted, free of charge";
    assert!(mit.contains(grant) && licence.contains(grant));
    assert!(licence.contains("/usr/share/common-licenses/Apache-2.0"));
}

fn the_unit(machine: &Machine) {
    let service = machine.service();
    let unit = fs::read_to_string(&service).unwrap();
    for path in ["/usr/bin/permeated", "/etc/permeated/permeated.toml"] {
        assert!(
            unit.contains(path) && machine.path(&path[1..]).is_file(),
            "{path}"
        );
    }
    // `verify` looks for the program in the host's root, whatever it is told: so it is given the place.
    let here = machine.root.join("permeated.service");
    let program = machine.path("usr/bin/permeated");
    let moved = unit.replace("/usr/bin/permeated", program.to_str().unwrap());
    fs::write(&here, moved).unwrap();
    let said = Command::new("systemd-analyze")
        .args(["verify", "--man=no", "--recursive-errors=no"])
        .arg(&here)
        .output()
        .unwrap();
    let complaints = String::from_utf8_lossy(&said.stderr).into_owned();
    assert!(
        said.status.success() && complaints.is_empty(),
        "{complaints}"
    );
    let exposure = exposure(&service);
    assert!((0.0..=1.1).contains(&exposure), "{exposure}");
}
