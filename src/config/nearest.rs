//! The nearest of some names, for "did you mean".

/// The name that differs from `typed` by the fewest letters, when it is near enough to be meant.
pub(super) fn nearest<'n>(typed: &str, names: &[&'n str]) -> Option<&'n str> {
    let typed = typed.to_lowercase();
    // A slip of two letters, but never more than a third of a short name.
    let most = typed.chars().count().div_ceil(3).min(2);
    names
        .iter()
        .map(|name| (distance(&typed, &name.to_lowercase()), *name))
        .filter(|(letters, _)| *letters <= most)
        .min_by_key(|(letters, _)| *letters)
        .map(|(_, name)| name)
}

/// ` (did you mean "x"?)`, or nothing.
pub(super) fn hint(typed: &str, names: &[&str]) -> String {
    nearest(typed, names).map_or_else(String::new, |name| format!(" (did you mean {name:?}?)"))
}

/// Letters to insert, delete or replace (Levenshtein); letters in the wrong order count as one slip.
fn distance(left: &str, right: &str) -> usize {
    if left != right && sorted(left) == sorted(right) {
        return 1;
    }
    let right: Vec<char> = right.chars().collect();
    let mut row: Vec<usize> = (0..=right.len()).collect();
    for (done, l) in left.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = done + 1;
        for (at, r) in right.iter().enumerate() {
            let replaced = diagonal + usize::from(l != *r);
            diagonal = row[at + 1];
            row[at + 1] = replaced.min(diagonal + 1).min(row[at] + 1);
        }
    }
    row[right.len()]
}

fn sorted(text: &str) -> Vec<char> {
    let mut letters: Vec<char> = text.chars().collect();
    letters.sort_unstable();
    letters
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_find_their_name_and_strangers_do_not() {
        let names = ["pressure", "temperature", "tds"];
        assert_eq!(nearest("presure", &names), Some("pressure"));
        assert_eq!(nearest("tsd", &names), Some("tds"));
        assert_eq!(nearest("TDS", &names), Some("tds"));
        assert_eq!(nearest("turbidity", &names), None);
        assert_eq!(nearest("", &names), None);
    }

    #[test]
    fn distances_are_those_of_the_textbook() {
        // Common practice, no source: the example every text on the subject uses.
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("", "abc"), 3);
    }
}
