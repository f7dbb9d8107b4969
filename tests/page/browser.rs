//! The browser: one Chromium for all, driven by `browser.py`.

use std::{
    io::{BufRead as _, BufReader, Write as _},
    path::Path,
    process::{Child, ChildStdin, ChildStdout, Command, Stdio},
};

use serde_json::{Value, json};

const ABSENT: &str = "Chromium with its driver (Debian: apt-get install chromium chromium-driver) and \
     Python's selenium and axe_playwright_python are needed for this test; run the tests with tests/run, \
     which installs what is needed";

pub struct Browser {
    process: Child,
    input: Option<ChildStdin>,
    output: BufReader<ChildStdout>,
}

/// What the browser found.
pub struct Found(Value);

impl Browser {
    pub fn start() -> Self {
        let top = Path::new(env!("CARGO_MANIFEST_DIR"));
        let mut process = Command::new("python3")
            .env("PYTHONPATH", top.join("target/test-python"))
            .arg(top.join("tests/page/browser.py"))
            .args(["/usr/bin/chromium", "/usr/bin/chromedriver"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap_or_else(|error| panic!("python3: {error}. {ABSENT}"));
        let input = process.stdin.take();
        let output = BufReader::new(process.stdout.take().unwrap());
        Self {
            process,
            input,
            output,
        }
    }

    /// Visits a page as `more` asks.
    pub fn visit(&mut self, url: &str, more: Value) -> Found {
        let mut wanted = json!({ "url": url });
        let more = more.as_object().unwrap().clone();
        wanted.as_object_mut().unwrap().extend(more);
        writeln!(self.input.as_mut().unwrap(), "{wanted}").unwrap();
        let mut line = String::new();
        self.output.read_line(&mut line).unwrap();
        assert!(!line.is_empty(), "the browser ended. {ABSENT}");
        Found(serde_json::from_str(&line).unwrap())
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The end of its input ends it, and the browser with it.
        drop(self.input.take());
        let _ = self.process.wait();
    }
}

impl Found {
    pub fn title(&self) -> &str {
        self.0["title"].as_str().unwrap()
    }

    /// What a reader sees, blanks made one.
    pub fn text(&self) -> String {
        let text = self.0["text"].as_str().unwrap().replace('\u{a0}', " ");
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    pub fn strings(&self, key: &str) -> Vec<&str> {
        let list = self.0[key].as_array().unwrap().iter();
        list.map(|value| value.as_str().unwrap()).collect()
    }

    pub fn number(&self, key: &str) -> i64 {
        self.0[key].as_i64().unwrap()
    }

    pub fn says(&self, wanted: &[&str]) {
        let text = self.text();
        for words in wanted {
            assert!(text.contains(words), "{words:?} is not in\n{text}");
        }
    }

    /// What every visit must come to: answered, quiet, nothing from elsewhere, no sideways scrolling.
    pub fn is_sound(&self, url: &str) {
        let origin = url.split('/').take(3).collect::<Vec<_>>().join("/");
        let asked = self.0["asked"].as_array().unwrap();
        assert!(!asked.is_empty());
        for request in asked {
            let address = request[0].as_str().unwrap();
            assert!(
                address.starts_with(&format!("{origin}/")),
                "asked elsewhere: {address}"
            );
            assert_eq!(request[1], 200, "{address}");
        }
        assert_eq!(self.0["console"], json!([]), "{url}");
        assert_eq!(self.number("alive"), 0, "{url}: something that could run");
        assert!(self.number("overflow") <= 0, "{url} scrolls sideways");
        let headings = self.strings("outline");
        assert_eq!(
            headings
                .iter()
                .filter(|text| text.starts_with("H1"))
                .count(),
            1,
            "{headings:?}"
        );
        assert!(headings[0].starts_with("H1"), "{headings:?}");
    }

    pub fn is_accessible(&self) {
        assert_eq!(self.0["violations"], json!([]));
        assert!(self.number("passes") > 15, "hardly anything was checked");
    }
}
