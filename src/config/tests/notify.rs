//! `[[notify]]`: what it may say, and how mistakes are told.

use super::*;

const UNIT: &str =
    "[unit.u]\n[[unit.u.sensor]]\nat = \"product_tds\"\ntopic = \"t\"\nunit = \"ppm\"\n";

fn problems(lines: &str) -> Vec<(Option<usize>, String)> {
    let text = format!("[[notify]]\n{lines}\n{UNIT}");
    let problems = read(&text).expect_err("a mistake");
    let told = problems.iter();
    told.map(|problem| (problem.line(), problem.to_string()))
        .collect()
}

#[test]
fn mistakes_are_told_with_their_line() {
    const GOOD: &str = "name = \"phone\"\nurl = \"https://notices.example/x\"\n";
    for (lines, line, wanted) in [
        ("url = \"https://a/\"", 1, "name = \"phone\""),
        ("name = \"a\"\nurl = \"ftp://a/\"", 3, "https://host"),
        (
            "name = \"a\"\nurl = \"https://me:hunter2@a/\"",
            3,
            "token_file",
        ),
        ("name = \"a\"\nurl = \"https://a/{titel}\"", 3, "{title}"),
        ("name = \"a\"\nurl = \"https://a:0/\"", 3, "1 to 65535"),
        (
            &format!("{GOOD}body = '{{\"a\": \"{{teckst}}\"}}'"),
            4,
            "{teckst} is no placeholder",
        ),
        (
            &format!("{GOOD}body = '{{\"a\": {{text}}x}}'"),
            4,
            "no JSON",
        ),
        (
            &format!("{GOOD}headers = {{ Host = \"x\" }}"),
            4,
            "permeated itself",
        ),
        (
            &format!("{GOOD}headers = {{ \"a b\" = \"x\" }}"),
            4,
            "no name of a header",
        ),
        (
            &format!("{GOOD}headers = {{ A = \"a\\nb\" }}"),
            4,
            "control character",
        ),
        (
            &format!("{GOOD}headers = {{ A = \"{{secret}}\" }}"),
            1,
            "secret_file",
        ),
        (&format!("{GOOD}secret_file = \"x\""), 4, "nothing uses it"),
        (&format!("{GOOD}severities = [\"warnin\"]"), 4, "warning"),
        (&format!("{GOOD}method = \"GET\""), 4, "POST"),
        (&format!("{GOOD}timeout = \"0 s\""), 4, "1 s"),
        (
            "name = \"a\"\nurl = \"http://a/\"\nca_file = \"x\"",
            4,
            "https",
        ),
        (&format!("{GOOD}[[notify]]\n{GOOD}"), 5, "this name already"),
    ] {
        let told = problems(lines);
        let found = told
            .iter()
            .any(|(at, text)| *at == Some(line) && text.contains(wanted));
        assert!(found, "{lines}: {told:?}");
        assert!(!format!("{told:?}").contains("hunter2"), "{told:?}");
    }
}

#[test]
fn a_body_is_json_or_text_by_its_look_or_its_header() {
    for (more, json) in [
        ("", true),
        ("body = '{\"a\": \"{text}\"}'", true),
        ("body = '{title}: {text}'", false),
        ("body = 'just {text}'", false),
        (
            "body = '\"{text}\"'\nheaders = { Content-Type = \"application/json\" }",
            true,
        ),
        (
            "body = '{\"a\"'\nheaders = { content-type = \"text/plain\" }",
            false,
        ),
    ] {
        let text = format!("[[notify]]\nname = \"p\"\nurl = \"http://a\"\n{more}\n{UNIT}");
        let settings = read(&text).unwrap_or_else(|problems| panic!("{problems}"));
        let target = &settings.notify[0];
        assert_eq!(target.json, json, "{more}");
        assert_eq!(target.server.to_string(), "http://a");
        assert_eq!(target.server.port, 80);
        assert!(target.cleared && target.severities.len() == 3);
    }
}

#[test]
fn an_address_may_be_a_url_s_host() {
    let text = format!("[[notify]]\nname = \"p\"\nurl = \"http://[::1]:8080/?a={{unit}}\"\n{UNIT}");
    let settings = read(&text).unwrap_or_else(|problems| panic!("{problems}"));
    let server = &settings.notify[0].server;
    assert_eq!(server.to_string(), "http://[::1]:8080");
    assert_eq!((server.host.as_str(), server.port), ("::1", 8080));
    let path = settings.notify[0]
        .path
        .fill(|placeholder| placeholder.key().to_owned());
    assert_eq!(path, "/?a=unit");
}
