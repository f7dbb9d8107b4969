//! Metrics as an independent parser reads them: the one of the Python package `prometheus_client`.

use std::{
    io::Write as _,
    path::Path,
    process::{Command, Stdio},
};

use serde_json::Value;

const ABSENT: &str = "Python 3 with the package prometheus_client is needed for this test; run the \
     tests with tests/run, which puts the package under target/test-python";

/// The families in a text; panics with what the parser said when it refuses it.
pub fn parsed(text: &str, format: &str) -> Vec<Value> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut parser = Command::new("python3")
        .env("PYTHONPATH", top.join("target/test-python"))
        .arg(top.join("tests/openmetrics/parse.py"))
        .arg(format)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("python3: {error}. {ABSENT}"));
    let mut input = parser.stdin.take().unwrap();
    // A parser that died says why below.
    let _ = input.write_all(text.as_bytes());
    drop(input);
    let output = parser.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!said.contains("ModuleNotFoundError"), "{said}\n{ABSENT}");
    assert!(output.status.success(), "{said}\n--- of\n{text}");
    serde_json::from_slice(&output.stdout).unwrap()
}

/// The sample of a name whose labels are exactly these.
pub fn sample(families: &[Value], name: &str, labels: &Value) -> Option<f64> {
    let samples = families
        .iter()
        .flat_map(|family| family["samples"].as_array().unwrap());
    let mut found = samples.filter(|sample| sample[0] == name && sample[1] == *labels);
    let value = found.next().map(|sample| sample[2].as_f64().unwrap());
    assert_eq!(found.next(), None, "{name} twice");
    value
}
