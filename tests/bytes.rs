//! What must hold of any bytes that come from outside: the functions that libFuzzer drives
//! (`tests/fuzz`), here on its seeds and on small changes of them. Hunt further with
//! `PROPTEST_RNG_SEED=n PROPTEST_CASES=5000 cargo test --test bytes`.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "fuzz/targets/mod.rs"]
mod targets;

use std::{fs, path::Path};

use proptest::{prelude::*, test_runner::RngSeed};

/// What a parser here may stumble over.
const PARTS: [&[u8]; 40] = [
    b"\0",
    b"\n",
    b"\r\n",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\"",
    b"'",
    b"\\",
    b"/",
    b"{",
    b"}",
    b"[",
    b"]",
    b",",
    b";",
    b"\t",
    b".",
    b"-",
    b"+",
    b"#",
    b"=",
    b"e",
    b"1e308",
    b"1e999",
    b"-0",
    b"nan",
    b"inf",
    b"null",
    b"true",
    b"9223372036854775808",
    b"4294967296",
    b"0.1",
    b"on",
    b" psi",
    b"2026-03-29 02:30",
    b"-009999-01-01T00:00:00Z",
    b"9999-12-31T23:59:59Z",
    b"\xc3\xa4",
    b"\xe2\x80\xae",
    b"~1",
];

/// A change of some bytes: where (a share of the length), how many go, and what comes.
type Change = (f64, usize, Vec<u8>);

fn change() -> impl Strategy<Value = Change> {
    let part = prop::sample::select(PARTS.to_vec()).prop_map(<[u8]>::to_vec);
    let comes = prop_oneof![
        3 => part,
        1 => Just(Vec::new()),
        1 => prop::collection::vec(any::<u8>(), 1..6),
    ];
    (
        0.0..1.0f64,
        prop_oneof![Just(0), Just(1), 0..40usize],
        comes,
    )
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A share of a length.
fn changed(seed: &[u8], changes: &[Change]) -> Vec<u8> {
    let mut bytes = seed.to_vec();
    for (share, gone, comes) in changes {
        let at = (share * bytes.len() as f64) as usize;
        let end = bytes.len().min(at + gone);
        bytes.splice(at..end, comes.iter().copied());
    }
    bytes
}

fn seeds(name: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fuzz/seeds")
        .join(name);
    let entries = fs::read_dir(&folder).unwrap_or_else(|error| panic!("{folder:?}: {error}"));
    let mut paths: Vec<_> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths.iter().map(|path| fs::read(path).unwrap()).collect()
}

fn cases(usual: u32) -> ProptestConfig {
    let asked = ProptestConfig::default();
    let is_usual = asked.rng_seed == RngSeed::Random;
    ProptestConfig {
        cases: if is_usual { usual } else { asked.cases },
        rng_seed: if is_usual {
            RngSeed::Fixed(1)
        } else {
            asked.rng_seed
        },
        failure_persistence: None,
        max_shrink_iters: 300,
        ..asked
    }
}

/// The target of that name on its seeds, on changes of them, and on bytes of no form.
fn try_target(name: &str, usual: u32) {
    let (_, take) = targets::ALL
        .iter()
        .find(|(other, _)| *other == name)
        .unwrap();
    let seeds = seeds(name);
    assert!(!seeds.is_empty(), "{name} has no seeds");
    seeds.iter().for_each(|seed| take(seed));
    let near = (
        prop::sample::select(seeds),
        prop::collection::vec(change(), 1..4),
    )
        .prop_map(|(seed, changes)| changed(&seed, &changes));
    let far = prop::collection::vec(any::<u8>(), 0..64);
    let mut runner = proptest::test_runner::TestRunner::new(cases(usual));
    let tried = runner.run(&prop_oneof![15 => near, 1 => far], |bytes| {
        take(&bytes);
        Ok(())
    });
    tried.unwrap_or_else(|error| panic!("{name}: {error}"));
}

#[test]
fn payloads() {
    try_target("payload", 150);
}

#[test]
fn commands() {
    try_target("command", 150);
}

#[test]
fn configurations() {
    try_target("configuration", 300);
}

#[test]
fn lines_of_a_log() {
    try_target("log", 2000);
}

#[test]
fn whole_replays() {
    try_target("replay", 200);
}

#[test]
fn kept_states() {
    try_target("state", 200);
}

#[test]
fn what_a_broker_carries() {
    try_target("proposal", 400);
}
