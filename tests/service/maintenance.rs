//! The maintenance log as a keeper writes and reads it: `permeated log` beside the running service, which
//! owns the store; nothing that was told is lost by a kill.

use serde_json::json;

use crate::{
    COUNTED,
    site::{Site, program, until},
};

/// What `permeated log` answered: its exit status, standard output and standard error.
fn log(site: &Site, arguments: &[&str]) -> (i32, String, String) {
    let output = (program().arg("log").args(arguments))
        .arg("--config")
        .arg(site.file())
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    let status = output.status.code().unwrap();
    (status, text(output.stdout), text(output.stderr))
}

fn told(site: &Site, arguments: &[&str]) -> String {
    let (status, out, err) = log(site, arguments);
    assert_eq!(status, 0, "{arguments:?}: {out}{err}");
    out
}

/// A permeate count, and the litres of it that are safe in the file.
fn count(site: &Site, pulses: u32, litres: f64) {
    site.broker.publish("rig/pulses", &pulses.to_string(), &[]);
    until("the litres are kept", || {
        site.kept("u")["totals"]["permeate"] == json!(litres)
    });
}

fn mixed_bed(site: &Site) -> serde_json::Value {
    site.kept("u")["stages"]["mixed-bed"].clone()
}

#[test]
fn what_was_told_survives_a_kill_and_a_withdrawn_replacement_gives_the_old_filling_back() {
    let site = Site::new("", COUNTED);
    let service = site.start();
    count(&site, 1000, 0.0);
    count(&site, 3000, 2.0);

    let replaced = ["replaced", "mixed-bed", "--lot", "A1", "--price", "20"];
    let answer = told(&site, &replaced);
    assert!(answer.contains("after 2 L (entry 1)"), "{answer}");
    let answer = told(&site, &["test", "alkalinity", "80 mg/L CaCO3"]);
    assert!(
        answer.contains("Entry 2: alkalinity 80 mg/L CaCO3"),
        "{answer}"
    );
    count(&site, 4000, 3.0);
    until("the new filling is kept", || {
        mixed_bed(&site)["treated"] == json!(1.0) && mixed_bed(&site)["lot"] == json!("A1")
    });
    let words = "said \"no\", twice\nand again";
    told(&site, &["note", words, "--date", "2026-05-01"]);
    told(&site, &["correct", "2", "--value", "90"]);

    // Pressed by mistake: the filling of two litres is back, with the one since.
    let answer = told(&site, &["withdraw", "1", "--note", "wrong stage"]);
    assert!(
        answer.contains("Entry 5: entry 1 (mixed-bed replaced after 2 L)"),
        "{answer}"
    );
    assert!(answer.contains("3 L"), "{answer}");
    service.kill();
    let service = site.start();
    until("the old filling is kept", || {
        mixed_bed(&site)["treated"] == json!(3.0)
    });
    assert_eq!(mixed_bed(&site)["lot"], json!(null));
    until("every entry is kept", || {
        told(&site, &["show", "--csv"]).contains("\r\n5,")
    });

    let csv = told(&site, &["show", "--csv"]);
    let heads = csv
        .split("\r\n")
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
    assert_eq!(heads.count(), 5, "{csv}");
    assert!(csv.starts_with("number,date,entered,kind,"), "{csv}");
    for part in [
        // RFC 4180, 2.6 and 2.7: quoted, quotes doubled.
        "\"said \"\"no\"\", twice\nand again\"",
        ",replaced,mixed-bed,,,,2,A1,20,,,,withdrawn,5\r\n",
        ",test,,alkalinity,90,mg/L CaCO3,,,,,,,corrected,4\r\n",
        ",corrected,,,,,,,,,2,corrects entry 2: value from 80 to 90,holds,\r\n",
        ",withdrawn,,,,,,,,wrong stage,1,,holds,\r\n",
    ] {
        assert!(csv.contains(part), "{part:?} in {csv}");
    }
    let table = told(&site, &["show"]);
    assert!(
        table.contains("withdrawn by 5") && table.contains("corrected by 4"),
        "{table}"
    );
    let since = told(&site, &["show", "--since", "2026-05-02"]);
    assert!(
        !since.contains("twice") && since.contains("mixed-bed"),
        "{since}"
    );
    service.terminate();
    assert_eq!(
        site.kept("u")["hand_tests"]["alkalinity"][0]["value"],
        json!(90.0)
    );
}

#[test]
fn what_is_wrong_is_refused_with_a_sentence_and_a_status() {
    let site = Site::new("", COUNTED);
    let service = site.start();
    for (arguments, status, sentence) in [
        (&["withdraw", "7"][..], 1, "the log has no entries yet"),
        (&["test", "ph", "11"], 2, "pH is 5.5 to 10"),
        (
            &["test", "total_chlorine", "0.1"],
            2,
            "no carbon before the membrane",
        ),
        (&["test", "total_chlorine", "-0.1"], 2, "0 to 10 mg/L"),
        (
            &["replaced", "attic"],
            2,
            "the stages are sediment, membrane, mixed-bed",
        ),
        (
            &["replaced", "sediment", "--date", "2999-01-01"],
            2,
            "no day in the past",
        ),
        (
            &["replaced", "sediment", "--unit", "v"],
            2,
            "there is no unit \"v\"",
        ),
        (&["correct", "1"], 2, "nothing to correct"),
    ] {
        let (found, out, err) = log(&site, arguments);
        assert_eq!(found, status, "{arguments:?}: {out}{err}");
        assert!(err.contains(sentence), "{arguments:?}: {err}");
        assert_eq!(out, "", "{arguments:?}");
    }
    assert_eq!(told(&site, &["show"]), "No entries.\n");
    service.terminate();
}

#[test]
fn what_is_told_while_the_service_is_away_waits_for_it_with_its_own_time() {
    let site = Site::new("", COUNTED);
    let (status, _, err) = log(&site, &["note", "nobody has ever been there"]);
    assert_eq!(status, 3, "{err}");
    assert!(err.contains("did not answer within 5 s"), "{err}");
    site.start().terminate();
    let (status, out, err) = log(&site, &["sanitised"]);
    assert_eq!(status, 3, "{out}{err}");
    assert!(err.contains("permeated/status says offline"), "{err}");
    let before = jiff::Timestamp::now();
    let service = site.start();
    until("it is told", || {
        told(&site, &["show", "--csv"]).contains(",sanitised,")
    });
    let csv = told(&site, &["show", "--csv"]);
    let row = csv.lines().nth(1).unwrap();
    let fields: Vec<&str> = row.split(',').collect();
    let [date, entered] = [1, 2].map(|field: usize| fields[field].parse().unwrap());
    assert!(date < before && before < entered, "{row}");
    service.terminate();
}

#[test]
fn a_broker_that_is_not_there_is_named() {
    let mut site = Site::new("", COUNTED);
    let port = site.broker.port();
    site.broker.kill();
    let (status, out, err) = log(&site, &["sanitised"]);
    assert_eq!(status, 1, "{out}{err}");
    assert!(
        err.contains(&format!("nobody listens at 127.0.0.1:{port}")),
        "{err}"
    );
    let (status, _, err) = log(&site, &["show"]);
    assert_eq!(status, 1, "{err}");
    assert!(err.contains("there is no state yet"), "{err}");
}
