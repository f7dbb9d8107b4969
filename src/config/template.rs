//! Texts with placeholders such as `{title}`. Only a name in braces is one; every other brace stands
//! for itself, so that JSON can be written as it is.

/// What can be filled in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Placeholder {
    /// What the alert is about: a stage or a sensor; empty for the unit.
    About,
    /// The caution that belongs to it; empty once it is over.
    Caution,
    /// What to check first; empty once it is over.
    CheckFirst,
    /// The alert's code.
    Code,
    /// `raised`, `reminder` or `cleared`.
    Kind,
    /// The notice's number in its unit.
    Number,
    /// The first line of `secret_file`.
    Secret,
    /// `notice`, `warning` or `critical`.
    Severity,
    /// Since when the alert is active, RFC 3339; empty when the clock was not set.
    Since,
    /// The sentence with the figures.
    Text,
    /// A short title.
    Title,
    /// The unit's id.
    Unit,
}

impl Placeholder {
    /// Every one.
    pub const ALL: [Self; 12] = [
        Self::About,
        Self::Caution,
        Self::CheckFirst,
        Self::Code,
        Self::Kind,
        Self::Number,
        Self::Secret,
        Self::Severity,
        Self::Since,
        Self::Text,
        Self::Title,
        Self::Unit,
    ];

    /// As written between braces.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::About => "about",
            Self::Caution => "caution",
            Self::CheckFirst => "check_first",
            Self::Code => "code",
            Self::Kind => "kind",
            Self::Number => "number",
            Self::Secret => "secret",
            Self::Severity => "severity",
            Self::Since => "since",
            Self::Text => "text",
            Self::Title => "title",
            Self::Unit => "unit",
        }
    }
}

/// A text with placeholders.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template {
    pieces: Vec<Piece>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Piece {
    Text(String),
    Placeholder(Placeholder),
}

impl Template {
    /// Reads a text.
    ///
    /// # Errors
    /// The name of the first placeholder that is not known.
    pub fn parse(text: &str) -> Result<Self, String> {
        let mut pieces = Vec::new();
        let mut plain = String::new();
        let mut rest = text;
        while let Some((before, behind)) = rest.split_once('{') {
            plain.push_str(before);
            let name = behind.split_once('}').filter(|(name, _)| is_name(name));
            let Some((name, behind_it)) = name else {
                plain.push('{');
                rest = behind;
                continue;
            };
            let known = Placeholder::ALL
                .into_iter()
                .find(|known| known.key() == name);
            let known = known.ok_or_else(|| name.to_owned())?;
            if !plain.is_empty() {
                pieces.push(Piece::Text(std::mem::take(&mut plain)));
            }
            pieces.push(Piece::Placeholder(known));
            rest = behind_it;
        }
        plain.push_str(rest);
        if !plain.is_empty() {
            pieces.push(Piece::Text(plain));
        }
        Ok(Self { pieces })
    }

    /// Whether that placeholder is in it.
    #[must_use]
    pub fn has(&self, placeholder: Placeholder) -> bool {
        self.pieces.contains(&Piece::Placeholder(placeholder))
    }

    /// The text with what `value` gives for each placeholder.
    #[must_use]
    pub fn fill(&self, value: impl Fn(Placeholder) -> String) -> String {
        let mut text = String::new();
        for piece in &self.pieces {
            match piece {
                Piece::Text(plain) => text.push_str(plain),
                Piece::Placeholder(placeholder) => text.push_str(&value(*placeholder)),
            }
        }
        text
    }
}

fn is_name(text: &str) -> bool {
    !text.is_empty() && text.chars().all(|c| c.is_ascii_lowercase() || c == '_')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_known_names_in_braces_are_filled_in() {
        let name = |placeholder: Placeholder| placeholder.key().to_uppercase();
        for (text, filled) in [
            ("", ""),
            ("plain } { {} {1} {A}", "plain } { {} {1} {A}"),
            (r#"{"a": "{title}", "b": {}}"#, r#"{"a": "TITLE", "b": {}}"#),
            ("{{text}}{", "{TEXT}{"),
            ("{check_first}", "CHECK_FIRST"),
        ] {
            assert_eq!(Template::parse(text).unwrap().fill(name), filled, "{text}");
        }
        assert_eq!(Template::parse("{title} {titel}"), Err("titel".to_owned()));
    }
}
