//! The store under `kill -9`: this test binary runs itself again as the process that is killed.

use std::{
    io::{BufRead, BufReader, Write},
    process::{Child, Command, Stdio},
    thread::sleep,
};

use super::*;

const FOLDER: &str = "PERMEATED_TEST_STORE_TO_BE_KILLED";

/// The process that is killed; does nothing in an ordinary run of the tests.
#[test]
fn saves_until_killed() {
    let Some(directory) = std::env::var_os(FOLDER) else {
        return;
    };
    let (store, loaded) = Store::open(Path::new(&directory)).unwrap();
    let start = number_in(&loaded);
    for number in start + 1.. {
        let checkpoint = Checkpoint {
            runs: vec![run_number(number)],
            retained: Some(topics(&[&number.to_string()])),
            alerts: vec![alert(number - 1, Some(0)), alert(number, None)],
            ..in_parts(number)
        };
        saved(&store, checkpoint).unwrap();
        // Past the test harness, which would keep a print for itself.
        writeln!(std::io::stdout(), "saved {number}").unwrap();
    }
}

/// An alert of which every checkpoint ends the one before.
fn alert(number: u32, until: Option<i64>) -> AlertRow {
    AlertRow {
        unit: "rodi".to_owned(),
        number: number.into(),
        since: Some(0),
        until,
        document: "{}".to_owned(),
    }
}

/// A state whose parts all tell the same number; the long one has pages of its own in the file.
fn in_parts(number: u32) -> Checkpoint {
    let parts = [("long", 3000), ("short", 1), ("middling", 300)];
    let parts = parts.map(|(name, width)| (name.to_owned(), format!("{number:0width$}")));
    Checkpoint {
        units: BTreeMap::from([("rodi".to_owned(), Parts::from(parts))]),
        ..Checkpoint::default()
    }
}

fn number_in(loaded: &Loaded) -> u32 {
    let Some(parts) = loaded.units.get("rodi") else {
        return 0;
    };
    let numbers: BTreeSet<u32> = parts.values().map(|text| text.parse().unwrap()).collect();
    assert_eq!((parts.len(), numbers.len()), (3, 1), "a torn state");
    numbers.into_iter().next().unwrap()
}

fn start_saving(folder: &Folder) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "--nocapture", "--test-threads=1"])
        .arg(format!("{}::saves_until_killed", module_path!()).replacen("permeated::", "", 1))
        .env(FOLDER, folder.state())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Kills the child (SIGKILL) and returns the last save it had acknowledged.
fn kill(mut child: Child) -> Option<u32> {
    child.kill().unwrap();
    let output = child.wait_with_output().unwrap();
    last_saved(&output.stdout)
}

fn last_saved(output: &[u8]) -> Option<u32> {
    let whole = output.iter().rposition(|&byte| byte == b'\n')?;
    let text = std::str::from_utf8(&output[..whole]).unwrap();
    // The harness may have begun the line the first save was written to.
    let last = text.lines().rfind(|line| line.contains("saved "))?;
    last.rsplit(' ').next()?.parse().ok()
}

#[test]
fn no_acknowledged_save_is_lost_in_thirty_kills() {
    let folder = Folder::new();
    let mut known = 0;
    for round in 0..30 {
        let mut child = start_saving(&folder);
        // Every third is killed from its start on, while it opens; the others once they save.
        if round % 3 != 0 {
            let mut line = String::new();
            let mut output = BufReader::new(child.stdout.take().unwrap());
            while !line.contains("saved") {
                line.clear();
                assert_ne!(output.read_line(&mut line).unwrap(), 0, "the child gave up");
            }
            known = known.max(last_saved(line.as_bytes()).unwrap());
            sleep(Duration::from_millis(round));
            let refused = Store::open(&folder.state()).unwrap_err();
            assert!(matches!(refused, StoreError::InUse { .. }), "{refused}");
            child.kill().unwrap();
            let mut rest = Vec::new();
            std::io::Read::read_to_end(&mut output, &mut rest).unwrap();
            known = known.max(last_saved(&rest).unwrap_or(0));
            child.wait().unwrap();
        } else {
            sleep(Duration::from_micros(500 * round));
            known = known.max(kill(child).unwrap_or(0));
        }
        let (store, loaded) = folder.open();
        let found = number_in(&loaded);
        assert!(
            found == known || found == known + 1,
            "round {round}: {known} was acknowledged, {found} is in the file"
        );
        store.close().unwrap();
        assert_eq!(folder.count("run"), found, "a torn checkpoint");
        if found > 0 {
            assert_eq!(folder.count("alert"), found + 1, "a lost alert");
            assert_eq!(folder.count("alert WHERE until IS NULL"), 1, "a torn alert");
            assert_eq!(loaded.retained, topics(&[&found.to_string()]));
        }
        known = found;
    }
    assert!(known > 50, "only {known} saves: the test saw too little");
}

#[test]
fn a_kill_while_the_file_is_made_leaves_none_or_a_whole_one() {
    for round in 0..20 {
        let folder = Folder::new();
        let child = start_saving(&folder);
        // Making it takes about ten milliseconds from the start of the process.
        sleep(Duration::from_micros(800 * round));
        let known = kill(child).unwrap_or(0);
        let (store, loaded) = folder.open();
        let found = number_in(&loaded);
        assert!(found == known || found == known + 1, "{known} → {found}");
        store.close().unwrap();
        assert_eq!(folder.names(), [FILE, "permeated.lock"], "leftovers");
    }
}
