//! What a person is told, and how it is written into a request. Knows no socket and no file.

use serde::{Deserialize, Serialize};
use serde_json::json;

use crate::{
    config::{NotifyTarget, Placeholder, Template},
    core::alert::{self, LONGEST_TEXT, NoticeKind, Severity, shortened},
    time::Wall,
};

/// What a person is told of an alert.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Notice {
    /// The unit's id.
    pub unit: String,
    /// Its number in the unit, from 1: one that comes again is the same.
    pub number: u64,
    /// Why.
    pub kind: NoticeKind,
    /// The alert's code.
    pub code: String,
    /// The stage or sensor it is about.
    pub about: Option<String>,
    /// How urgent.
    pub severity: Severity,
    /// A short title.
    pub title: String,
    /// A sentence with the figures.
    pub text: String,
    /// What to check first.
    pub check_first: Option<String>,
    /// The caution that belongs to it.
    pub caution: Option<String>,
    /// Since when the alert is active, if the clock was set.
    pub since: Option<Wall>,
}

/// What keeps the service itself from its work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// There is no connection to the broker.
    Broker,
    /// The state cannot be written.
    Disk,
}

impl Trouble {
    /// Its code, its title, what it means and what to check first.
    fn words(self) -> [&'static str; 4] {
        match self {
            Self::Broker => [
                "broker_away",
                "No connection to the broker",
                "Nothing is heard of any sensor, so nothing is watched.",
                "Does the broker run, and does this machine reach it?",
            ],
            Self::Disk => [
                "state_not_kept",
                "State cannot be written",
                "What is measured and learned now is lost when the service ends. It still watches, and notices still leave.",
                "Is the disk full or read-only, or the memory card worn out?",
            ],
        }
    }
}

impl Notice {
    /// A notice of the service itself, as yet without unit, number and date; `problem` is a sentence.
    #[must_use]
    pub fn of_service(trouble: Trouble, kind: NoticeKind, problem: &str) -> Self {
        let [code, title, text, check_first] = trouble.words();
        let is_over = kind == NoticeKind::Cleared;
        let text = match problem {
            _ if is_over => "All is as it should be again.".to_owned(),
            "" => format!("{text} {check_first}"),
            problem => format!("{text} {check_first} The cause: {problem}"),
        };
        Self {
            unit: String::new(),
            number: 0,
            kind,
            code: code.to_owned(),
            about: None,
            severity: Severity::Warning,
            title: format!("permeated: {}{title}", kind.opening()),
            text: shortened(&text, LONGEST_TEXT),
            check_first: (!is_over).then(|| check_first.to_owned()),
            caution: None,
            since: None,
        }
    }

    /// A notice of a unit.
    #[must_use]
    pub fn of_unit(unit: &str, notice: &alert::Notice) -> Self {
        Self {
            unit: unit.to_owned(),
            number: notice.number,
            kind: notice.kind,
            code: notice.code.key().to_owned(),
            about: notice.about.clone(),
            severity: notice.severity,
            title: notice.title.clone(),
            text: notice.text.clone(),
            check_first: notice.check_first().map(str::to_owned),
            caution: notice.caution().map(str::to_owned),
            since: notice.since,
        }
    }

    /// One that says that it is a test.
    #[must_use]
    pub fn test() -> Self {
        Self {
            unit: "test".to_owned(),
            number: 0,
            kind: NoticeKind::Raised,
            code: "test".to_owned(),
            about: None,
            severity: Severity::Notice,
            title: "permeated: test notice".to_owned(),
            text: "This is a test. If you can read it, notices reach you.".to_owned(),
            check_first: Some("Nothing: all is well.".to_owned()),
            caution: None,
            since: None,
        }
    }

    /// By this a receiver recognises one that comes again.
    #[must_use]
    pub fn idempotency_key(&self) -> String {
        format!("{}-{}", self.unit, self.number)
    }

    /// Whether a target wants it.
    #[must_use]
    pub fn is_for(&self, target: &NotifyTarget) -> bool {
        target.severities.contains(&self.severity)
            && (target.cleared || self.kind != NoticeKind::Cleared)
    }

    fn of(&self, placeholder: Placeholder, secret: &str) -> String {
        let or_empty = |text: &Option<String>| text.clone().unwrap_or_default();
        match placeholder {
            Placeholder::About => or_empty(&self.about),
            Placeholder::Caution => or_empty(&self.caution),
            Placeholder::CheckFirst => or_empty(&self.check_first),
            Placeholder::Code => self.code.clone(),
            Placeholder::Kind => self.kind.key().to_owned(),
            Placeholder::Number => self.number.to_string(),
            Placeholder::Secret => secret.to_owned(),
            Placeholder::Severity => self.severity.key().to_owned(),
            Placeholder::Since => self.since.map(Wall::to_rfc3339).unwrap_or_default(),
            Placeholder::Text => self.text.clone(),
            Placeholder::Title => self.title.clone(),
            Placeholder::Unit => self.unit.clone(),
        }
    }

    /// The body a target gets.
    #[must_use]
    pub fn body(&self, target: &NotifyTarget, secret: &str) -> String {
        match &target.body {
            Some(template) if target.json => {
                template.fill(|placeholder| json_escaped(&self.of(placeholder, secret)))
            }
            Some(template) => template.fill(|placeholder| self.of(placeholder, secret)),
            None => self.document(),
        }
    }

    /// The value of a header: one line of ASCII.
    #[must_use]
    pub fn header(&self, template: &Template, secret: &str) -> String {
        ascii_line(&template.fill(|placeholder| self.of(placeholder, secret)))
    }

    /// The path with its query; what is filled in is escaped.
    #[must_use]
    pub fn path(&self, template: &Template, secret: &str) -> String {
        template.fill(|placeholder| percent_escaped(&self.of(placeholder, secret)))
    }

    /// The usual body.
    fn document(&self) -> String {
        json!({
            "title": self.title,
            "text": self.text,
            "kind": self.kind.key(),
            "severity": self.severity.key(),
            "unit": self.unit,
            "number": self.number,
            "code": self.code,
            "about": self.about,
            "check_first": self.check_first,
            "caution": self.caution,
            "since": self.since.map(Wall::to_rfc3339),
        })
        .to_string()
    }
}

/// As it stands within the quotes of a JSON string (RFC 8259, 7).
fn json_escaped(text: &str) -> String {
    let quoted = serde_json::Value::from(text).to_string();
    let inner = quoted
        .strip_prefix('"')
        .and_then(|rest| rest.strip_suffix('"'));
    inner.unwrap_or_default().to_owned()
}

/// One line of ASCII: control characters become blanks, and a text that is not ASCII becomes encoded
/// words (RFC 2047, 4.2), which servers that take text in headers know.
fn ascii_line(text: &str) -> String {
    let line: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    let line = line.trim();
    if line.is_ascii() {
        return line.to_owned();
    }
    // An encoded word has at most 75 characters and holds whole characters only.
    const ROOM: usize = 75 - "=?UTF-8?Q??=".len();
    let mut words: Vec<String> = vec![String::new()];
    for c in line.chars() {
        let mut bytes = [0; 4];
        let encoded: String = match c {
            ' ' => "_".to_owned(),
            c if c.is_ascii_alphanumeric() => c.to_string(),
            c => (c.encode_utf8(&mut bytes).bytes())
                .map(|byte| format!("={byte:02X}"))
                .collect(),
        };
        match words.last_mut() {
            Some(word) if word.len() + encoded.len() <= ROOM => word.push_str(&encoded),
            Some(_) | None => words.push(encoded),
        }
    }
    let words = words.iter().map(|word| format!("=?UTF-8?Q?{word}?="));
    words.collect::<Vec<_>>().join(" ")
}

/// As it stands in a path or query (RFC 3986, 2.3), but for the colon of many tokens.
pub(crate) fn percent_escaped(text: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-._~:".contains(&byte);
    let escaped = |byte: u8| {
        if plain(byte) {
            char::from(byte).to_string()
        } else {
            format!("%{byte:02X}")
        }
    };
    text.bytes().map(escaped).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(text: &str, fill: impl Fn(&Notice, &Template) -> String) -> String {
        let mut notice = Notice::test();
        notice.title = "Küche: \"low\"\r\nX-Evil: 1".to_owned();
        fill(&notice, &Template::parse(text).unwrap())
    }

    /// A title with a line end must not become a header of its own; the encoded word by Python's
    /// `email.header.decode_header` is "Küche: "low"  X-Evil: 1".
    #[test]
    fn headers_are_one_ascii_line() {
        let header = filled("{title}", |notice, template| notice.header(template, ""));
        assert_eq!(header, "=?UTF-8?Q?K=C3=BCche=3A_=22low=22__X=2DEvil=3A_1?=");
        let plain = filled("Bearer {secret}", |notice, template| {
            notice.header(template, "a b")
        });
        assert_eq!(plain, "Bearer a b");
        for word in ascii_line(&"ü".repeat(60)).split(' ') {
            assert!(word.len() <= 75 && word.ends_with("?="), "{word}");
        }
    }

    #[test]
    fn paths_and_json_are_escaped() {
        let path = filled("/a/{title}?b={secret}", |notice, template| {
            notice.path(template, "1:a/b&c")
        });
        assert_eq!(
            path,
            "/a/K%C3%BCche:%20%22low%22%0D%0AX-Evil:%201?b=1:a%2Fb%26c"
        );
        assert_eq!(json_escaped("a\"\\\n\u{1}ü"), r#"a\"\\\n\u0001ü"#);
    }
}
