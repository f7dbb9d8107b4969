//! Small rules of topics that recordings need.

use serde_json::{Map, Value};

/// The filters that no other of them covers: a broker may send a message once for each filter that
/// matches (MQTT 3.1.1, 3.3.5), and it was heard once. Only filters that end in `#` cover others here;
/// any others that overlap are left as they are.
#[must_use]
pub fn not_covered(filters: impl IntoIterator<Item = String>) -> Vec<String> {
    let mut filters: Vec<String> = filters.into_iter().collect();
    filters.sort();
    filters.dedup();
    let covers = |cover: &String, other: &String| {
        cover != other
            && cover.strip_suffix('#').is_some_and(|start| {
                // `#` matches nothing that begins with `$` (4.7.2); `a/#` matches `a` itself.
                !start.contains('+')
                    && (other.starts_with(start) || Some(other.as_str()) == start.strip_suffix('/'))
                    && !(start.is_empty() && other.starts_with('$'))
            })
    };
    let left = filters
        .iter()
        .filter(|one| !filters.iter().any(|other| covers(other, one)));
    left.cloned().collect()
}

/// A JSON document in which each value stands where its pointer (RFC 6901) leads, as objects within
/// objects. `None` when two of them exclude each other.
#[must_use]
pub fn pointed<'a>(values: impl IntoIterator<Item = (&'a str, &'a str)>) -> Option<String> {
    let mut root = Value::Object(Map::new());
    for (pointer, text) in values {
        let mut place = &mut root;
        for token in pointer.strip_prefix('/')?.split('/') {
            // RFC 6901, 4: first ~1, then ~0.
            let key = token.replace("~1", "/").replace("~0", "~");
            place = place
                .as_object_mut()?
                .entry(key)
                .or_insert_with(|| Value::Object(Map::new()));
        }
        if place.as_object().is_none_or(|inside| !inside.is_empty()) {
            return None;
        }
        *place = serde_json::from_str(text)
            .ok()
            .filter(Value::is_number)
            .unwrap_or_else(|| text.into());
    }
    Some(root.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_another_filter_covers_is_not_asked_for_twice() {
        let left = |filters: &[&str]| not_covered(filters.iter().map(|&filter| filter.to_owned()));
        assert_eq!(left(&["a/b", "#", "$SYS/x", "a/#"]), ["#", "$SYS/x"]);
        assert_eq!(left(&["a", "a/#", "a/b/#", "ab"]), ["a/#", "ab"]);
        assert_eq!(left(&["+/x/#", "a/x/y", "a/+"]), ["+/x/#", "a/+", "a/x/y"]);
    }

    #[test]
    fn a_document_holds_each_value_where_its_pointer_leads() {
        let text = pointed([("/A/t", "17.5"), ("/A/u~1v", "on"), ("/c/0", "7")]).unwrap();
        let read: Value = serde_json::from_str(&text).unwrap();
        for (pointer, expected) in [
            ("/A/t", Value::from(17.5)),
            ("/A/u~1v", "on".into()),
            ("/c/0", 7.into()),
        ] {
            assert_eq!(read.pointer(pointer), Some(&expected), "{text}");
        }
        assert_eq!(pointed([("/a", "1"), ("/a/b", "2")]), None);
        assert_eq!(pointed([("/a/b", "2"), ("/a", "1")]), None);
    }
}
