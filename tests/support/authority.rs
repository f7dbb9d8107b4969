//! A certificate authority of the test's own, by the openssl program.
#![allow(dead_code)] // Each test file uses a part of it.

use std::{fs, path::Path, process::Command};

const KEY: [&str; 5] = [
    "-newkey",
    "ec",
    "-pkeyopt",
    "ec_paramgen_curve:P-256",
    "-nodes",
];

fn openssl(folder: &Path, arguments: &[&str]) {
    let output = Command::new("openssl")
        .current_dir(folder)
        .args(arguments)
        .output();
    let output = output.expect("openssl is needed for this test; run the tests with tests/run");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
}

/// Makes an authority: `<name>.pem` and `<name>.key` in the folder.
pub fn authority(folder: &Path, name: &str) {
    let (subject, key, certificate) = (
        format!("/CN={name}"),
        format!("{name}.key"),
        format!("{name}.pem"),
    );
    let mut arguments = vec!["req", "-x509", "-days", "2", "-subj", &subject];
    arguments.extend(KEY);
    arguments.extend(["-keyout", &key, "-out", &certificate]);
    openssl(folder, &arguments);
}

/// Has the authority sign a certificate for a host whose life ends in `days`: `<name>.pem` and
/// `<name>.key`.
pub fn certificate(folder: &Path, authority: &str, name: &str, host: &str, days: i32) {
    let [key, request, extensions, signed, by, by_key] = [
        format!("{name}.key"),
        format!("{name}.csr"),
        format!("{name}.cnf"),
        format!("{name}.pem"),
        format!("{authority}.pem"),
        format!("{authority}.key"),
    ];
    let (subject, days) = (format!("/CN={name}"), days.to_string());
    let text = format!("subjectAltName = DNS:{host}\nbasicConstraints = CA:FALSE\n");
    fs::write(folder.join(&extensions), text).unwrap();
    let mut arguments = vec!["req", "-subj", &subject];
    arguments.extend(KEY);
    arguments.extend(["-keyout", &key, "-out", &request]);
    openssl(folder, &arguments);
    openssl(
        folder,
        &[
            "x509",
            "-req",
            "-in",
            &request,
            "-CA",
            &by,
            "-CAkey",
            &by_key,
            "-CAcreateserial",
            "-days",
            &days,
            "-extfile",
            &extensions,
            "-out",
            &signed,
        ],
    );
}
