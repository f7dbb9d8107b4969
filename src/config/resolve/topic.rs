//! Topics and JSON pointers. Every sensor's topic is a plain one: no wildcard, not our own.

use super::super::{field::Field, topic::Topic};

/// MQTT counts a topic's bytes in 16 bits (MQTT 3.1.1, 1.5.3).
const LONGEST: usize = 65_535;

/// Our own prefix.
pub(super) fn prefix<'r>(field: &Field<'r>) -> Option<&'r str> {
    let text = plain(field)?;
    if text.starts_with('/') || text.ends_with('/') {
        field.wrong(format!(
            "{text:?} begins or ends with a slash; leave it out"
        ));
        return None;
    }
    Some(text)
}

/// A topic to hear.
pub(super) fn topic(field: &Field<'_>, own_prefix: &str) -> Option<Topic> {
    let text = plain(field)?;
    let below = text.strip_prefix(own_prefix);
    if below.is_some_and(|rest| rest.is_empty() || rest.starts_with('/')) {
        field.wrong(format!(
            "{text:?} lies under {own_prefix:?}, where our own results are published: they would \
             come back as readings; choose another topic or another publish.prefix"
        ));
        return None;
    }
    Some(Topic::new(text))
}

fn plain<'r>(field: &Field<'r>) -> Option<&'r str> {
    let text = field.text()?;
    if text.contains(['+', '#']) {
        field.wrong(format!(
            "{text:?} holds a wildcard (+ or #); one plain topic is wanted"
        ));
    } else if text.starts_with('$') {
        field.wrong(format!(
            "{text:?} begins with $, which brokers keep for themselves"
        ));
    } else if text.len() > LONGEST {
        field.wrong(format!("the topic is longer than {LONGEST} bytes"));
    } else {
        return Some(text);
    }
    None
}

/// A JSON pointer (RFC 6901) into a payload.
pub(super) fn pointer(field: &Field<'_>) -> Option<String> {
    let text = field.text()?;
    if !text.starts_with('/') {
        field.wrong(format!(
            "{text:?} is no JSON pointer: one begins with a slash, as \"/{}\"",
            text.replace('.', "/")
        ));
        return None;
    }
    // RFC 6901, 3: a tilde stands only before 0 (itself) or 1 (a slash).
    if text
        .split('~')
        .skip(1)
        .any(|rest| !rest.starts_with(['0', '1']))
    {
        field.wrong(format!(
            "{text:?} is no JSON pointer: write ~0 for a tilde in a name and ~1 for a slash"
        ));
        return None;
    }
    Some(text.to_owned())
}
