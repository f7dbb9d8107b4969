//! The rules of the house, checked on the source itself. Each failure lists file:line and what to
//! do. Sources of the rules: the layout described in `src/lib.rs` and DEVELOPERS.md.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{
    fs,
    path::{Path, PathBuf},
};

/// Where only pure functions live.
const PURE: &[&str] = &[
    "src/core",
    "src/physics",
    "src/wire",
    "src/quantity",
    "src/config",
    "src/page",
    "src/past",
    "src/picture",
    "src/proposal",
    "src/report",
    "src/metrics",
    "src/time",
];

/// What a pure function has no business with. Of `std::net` only what opens sockets or asks a name
/// server: to parse an address is pure.
const IMPURE: &[&str] = &[
    "std::fs",
    "TcpStream",
    "TcpListener",
    "UdpSocket",
    "ToSocketAddrs",
    "std::thread",
    "std::env",
    "std::process",
    "tokio",
    "rumqttc",
    "rusqlite",
    "SystemTime",
    "Instant::now",
    "Timestamp::now",
    "Zoned::now",
    "println!",
    "eprintln!",
    "print!",
    "eprint!",
    "dbg!",
];

/// Reads the configuration file and its environment, for the rest of `src/config`.
const LOADERS: &[&str] = &["src/config/mod.rs", "src/config/load.rs"];

/// A library and the only place that may know of it.
const ONE_DOOR: &[(&str, &str)] = &[
    ("rumqttc", "src/edge/mqtt"),
    ("rusqlite", "src/edge/store"),
    ("hyper", "src/edge/http"),
];

const TOP_LEVEL: &[&str] = &[
    ".cargo",
    ".ci",
    ".git",
    ".gitignore",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "config",
    "src",
    "systemd",
    "target",
    "tests",
];

const LONGEST: usize = 400;

/// One file: its path from the top, as typed, and the same with comments and strings blanked.
struct Source {
    path: String,
    text: String,
    code: String,
}

impl Source {
    fn new(path: &str, text: &str) -> Self {
        Self {
            path: path.to_owned(),
            text: text.to_owned(),
            code: without_comments_and_strings(text),
        }
    }

    /// The number of lines before the trailing `#[cfg(test)] mod tests`.
    fn lines_before_tests(&self) -> usize {
        let lines: Vec<_> = self.code.lines().collect();
        let module = lines.iter().rposition(|line| *line == "mod tests {");
        module
            .and_then(|end| {
                lines[..end]
                    .iter()
                    .rposition(|line| !line.starts_with("#["))
            })
            .filter(|last| lines[last + 1..].contains(&"#[cfg(test)]"))
            .map_or(lines.len(), |last| last + 1)
    }

    /// The code that ships, with line numbers: nothing of a module of tests.
    fn shipped(&self) -> impl Iterator<Item = (usize, &str)> {
        let is_test = self.path.contains("/tests/") || self.path.ends_with("/tests.rs");
        let length = if is_test {
            0
        } else {
            self.lines_before_tests()
        };
        (1..).zip(self.code.lines()).take(length)
    }

    /// Whether the file is `place` itself, lies in that folder or begins with that name.
    fn is_of(&self, place: &str) -> bool {
        self.path
            .strip_prefix(place)
            .is_some_and(|rest| rest.starts_with(['/', '.', '_']))
    }
}

#[test]
fn pure_code_does_no_io_and_reads_no_clock() {
    obey(&["src"], impurities, "move it to src/edge or src/app");
}

#[test]
fn a_library_of_the_edge_is_known_in_one_place() {
    obey(&["src"], strangers, "go through the edge that owns it");
}

#[test]
fn files_are_short() {
    obey(&["src", "tests"], excess, "split it by what it is about");
}

#[test]
fn every_file_says_what_it_is() {
    obey(
        &["src", "tests"],
        nameless,
        "begin with //!: what it owns, what it may not do",
    );
}

#[test]
fn nothing_that_ships_panics_on_purpose() {
    obey(&["src"], panics, "return an error that says what was found");
}

#[test]
fn the_top_level_holds_only_what_was_agreed() {
    let strangers: Vec<_> = fs::read_dir(top())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| !TOP_LEVEL.contains(&name.as_str()))
        .collect();
    assert!(
        strangers.is_empty(),
        "at the top level: {strangers:?}; find a room for it in {TOP_LEVEL:?}"
    );
}

fn impurities(source: &Source) -> Vec<String> {
    if !PURE.iter().any(|place| source.is_of(place)) || LOADERS.contains(&source.path.as_str()) {
        return Vec::new();
    }
    let mut found = imported_from_std(source);
    for (number, line) in source.shipped() {
        for word in IMPURE.iter().filter(|word| mentions(line, word)) {
            found.push(format!("{}:{number}: {word}", source.path));
        }
    }
    found
}

/// `use std::{…, fs, …}`, which does not spell `std::fs` out.
fn imported_from_std(source: &Source) -> Vec<String> {
    let mut found = Vec::new();
    let mut depth = 0;
    for (number, line) in source.shipped() {
        let mut rest = line;
        if depth == 0 {
            let Some((_, names)) = line.split_once("std::{") else {
                continue;
            };
            (rest, depth) = (names, 1);
        }
        let mut name = String::new();
        for letter in rest.chars().chain([',']) {
            match letter {
                _ if depth == 0 => break,
                'a'..='z' | '_' if depth == 1 => name.push(letter),
                '{' => depth += 1,
                '}' => depth -= 1,
                _ => {}
            }
            if !name.is_empty() && !letter.is_ascii_lowercase() && letter != '_' {
                let full = format!("std::{name}");
                if IMPURE.contains(&full.as_str()) {
                    found.push(format!("{}:{number}: {full}", source.path));
                }
                name.clear();
            }
        }
    }
    found
}

fn strangers(source: &Source) -> Vec<String> {
    let mut found = Vec::new();
    for (library, place) in ONE_DOOR.iter().filter(|(_, place)| !source.is_of(place)) {
        for (number, line) in (1..).zip(source.code.lines()) {
            if mentions(line, library) {
                found.push(format!(
                    "{}:{number}: {library} belongs in {place}",
                    source.path
                ));
            }
        }
    }
    found
}

fn excess(source: &Source) -> Vec<String> {
    let length = source.lines_before_tests();
    if length <= LONGEST {
        return Vec::new();
    }
    vec![format!(
        "{}:{length}: longer than {LONGEST} lines before its tests",
        source.path
    )]
}

fn nameless(source: &Source) -> Vec<String> {
    if source.text.starts_with("//!") {
        return Vec::new();
    }
    vec![format!("{}:1: no //! comment", source.path)]
}

fn panics(source: &Source) -> Vec<String> {
    let calls = [".unwrap()", ".expect(", ".unwrap_err()", ".expect_err("];
    let mut found = Vec::new();
    for (number, line) in source.shipped() {
        for call in calls.iter().filter(|call| line.contains(**call)) {
            found.push(format!("{}:{number}: {call}", source.path));
        }
    }
    found
}

fn obey(folders: &[&str], rule: fn(&Source) -> Vec<String>, remedy: &str) {
    let sources: Vec<_> = folders.iter().flat_map(|folder| sources(folder)).collect();
    assert!(!sources.is_empty(), "nothing to check in {folders:?}");
    let found: Vec<_> = sources.iter().flat_map(rule).collect();
    assert!(found.is_empty(), "{remedy}:\n  {}\n", found.join("\n  "));
}

fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn sources(folder: &str) -> Vec<Source> {
    let mut waiting: Vec<PathBuf> = vec![top().join(folder)];
    let mut found = Vec::new();
    while let Some(path) = waiting.pop() {
        if path.is_dir() {
            waiting.extend(
                fs::read_dir(path)
                    .unwrap()
                    .map(|entry| entry.unwrap().path()),
            );
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            let name = path.strip_prefix(top()).unwrap().to_str().unwrap();
            found.push(Source::new(name, &fs::read_to_string(&path).unwrap()));
        }
    }
    found.sort_by(|one, other| one.path.cmp(&other.path));
    found
}

/// Whether `line` has `word` as a whole word.
fn mentions(line: &str, word: &str) -> bool {
    let is_part = |letter: char| letter.is_alphanumeric() || letter == '_';
    line.match_indices(word).any(|(start, _)| {
        let before = line[..start].chars().next_back();
        let after = line[start + word.len()..].chars().next();
        !before.is_some_and(is_part) && (word.ends_with('!') || !after.is_some_and(is_part))
    })
}

/// Blanks comments and the inside of strings and characters; lines keep their numbers.
fn without_comments_and_strings(text: &str) -> String {
    let mut code = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(letter) = rest.chars().next() {
        let length = match letter {
            '/' if rest.starts_with("//") => rest.find('\n').unwrap_or(rest.len()),
            '/' if rest.starts_with("/*") => rest.find("*/").map_or(rest.len(), |end| end + 2),
            '"' => closed_by_quote(rest, 1, '"'),
            '\'' if rest[1..].starts_with('\\') => closed_by_quote(rest, 1, '\''),
            '\'' if rest.chars().nth(2) == Some('\'') => closed_by_quote(rest, 1, '\''),
            'r' if !code.ends_with(|before: char| before.is_alphanumeric() && before != 'b') => {
                raw_string(rest).unwrap_or(0)
            }
            _ => 0,
        };
        if length == 0 {
            code.push(letter);
            rest = &rest[letter.len_utf8()..];
        } else {
            let lines = rest[..length].matches('\n');
            code.extend(std::iter::once(" ").chain(lines));
            rest = &rest[length..];
        }
    }
    code
}

/// The length of a literal that ends with a quote that no backslash precedes.
fn closed_by_quote(text: &str, begin: usize, quote: char) -> usize {
    let mut escaped = false;
    for (place, letter) in text.char_indices().skip(begin) {
        match letter {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            _ if letter == quote => return place + 1,
            _ => {}
        }
    }
    text.len()
}

/// The length of a raw string at the begin of `text`, if one is there.
fn raw_string(text: &str) -> Option<usize> {
    let hashes = text[1..].len() - text[1..].trim_start_matches('#').len();
    let begin = 1 + hashes + 1;
    text[1 + hashes..].starts_with('"').then_some(())?;
    let end = format!("\"{}", "#".repeat(hashes));
    let inside = text[begin..].find(&end).unwrap_or(text.len() - begin);
    Some((begin + inside + end.len()).min(text.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(rule: fn(&Source) -> Vec<String>, path: &str, text: &str) -> usize {
        rule(&Source::new(path, text)).len()
    }

    #[test]
    fn the_rules_see_what_they_should() {
        for text in [
            "use std::fs;",
            "use std::{\n    collections::BTreeMap,\n    fs::{self, File},\n};",
            "use std::{fmt, env};",
            "use std::net::TcpStream;",
            "let now = jiff::Timestamp::now();",
            "let a = 'x'; let b = '\"'; println!(\"{a}\");",
            "let r = r#\"a \"quoted\" text\"#; tokio::spawn(a)",
            "fn a() {}\n#[test]\nfn b() { std::thread::yield_now() }",
        ] {
            assert_eq!(found(impurities, "src/core/run.rs", text), 1, "{text}");
            assert_eq!(found(impurities, "src/wire.rs", text), 1, "{text}");
            assert_eq!(found(impurities, "src/edge/http.rs", text), 0, "{text}");
            assert_eq!(found(impurities, "src/config/load.rs", text), 0, "{text}");
        }
        assert_eq!(found(strangers, "src/app.rs", "use rusqlite::Row;"), 1);
        assert_eq!(found(strangers, "src/edge/store.rs", "rusqlite"), 0);
        assert_eq!(found(strangers, "src/edge/storefront.rs", "rusqlite"), 1);
        assert_eq!(found(excess, "src/a.rs", &"\n".repeat(401)), 1);
        assert_eq!(found(nameless, "src/a.rs", "// a\n"), 1);
        assert_eq!(found(panics, "src/a.rs", "a\n    .unwrap()\n"), 1);
        assert_eq!(found(panics, "src/a.rs", "a.expect(\"b\");"), 1);
    }

    #[test]
    fn the_rules_let_comments_strings_and_tests_pass() {
        let tests = format!(
            "fn a() {{}}\n\n#[cfg(test)]\n#[allow(a)]\nmod tests {{\n    use std::fs;\n    a.unwrap();\n{}}}",
            "\n".repeat(400)
        );
        for text in [
            "// std::fs and a.unwrap()\n/* tokio\n */",
            "let a = \"tokio \\\" println! .unwrap() // \";",
            "use std::{collections::{env}, fmt};\nuse std::time::Duration;",
            "use std::net::Ipv6Addr;",
            "fn environment<'a>(tokio_like: &'a str) {}",
            tests.as_str(),
        ] {
            for rule in [impurities, strangers, excess, panics] {
                assert_eq!(found(rule, "src/core/run.rs", text), 0, "{text}");
            }
        }
        assert_eq!(
            found(panics, "src/edge/store/tests/kill.rs", "a.unwrap()"),
            0
        );
    }
}
