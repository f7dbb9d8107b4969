//! Figures and names as texts for pictures: cut to a length, nothing in them that a document could not
//! hold.

/// A figure with so many decimals, a true minus sign, and thousands apart from 10 000 on.
#[must_use]
pub fn figure(value: f64, decimals: u8) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    let text = format!("{:.*}", usize::from(decimals), value.abs());
    let is_zero = text.bytes().all(|byte| matches!(byte, b'0' | b'.'));
    let sign = if value < 0.0 && !is_zero { "−" } else { "" };
    let (whole, rest) = text.split_at(text.find('.').unwrap_or(text.len()));
    if whole.len() < 5 {
        return format!("{sign}{text}");
    }
    let mut grouped = String::with_capacity(text.len() + 4);
    for (place, digit) in whole.chars().enumerate() {
        if place > 0 && (whole.len() - place) % 3 == 0 {
            grouped.push('\u{202F}');
        }
        grouped.push(digit);
    }
    format!("{sign}{grouped}{rest}")
}

/// A unit is at most so long.
const UNIT: usize = 16;

/// A figure with its unit.
pub(super) fn with_unit(value: f64, decimals: u8, unit: &str) -> String {
    let figure = figure(value, decimals);
    match unit {
        "" => figure,
        _ => format!("{figure} {}", cut(unit, UNIT)),
    }
}

/// A name of at most so many characters: cut behind a word where there is one. What XML has no place for,
/// and marks that would turn the writing of what follows, are left out.
pub(super) fn cut(name: &str, most: usize) -> String {
    let clean: String = name
        .chars()
        .map(|letter| if letter.is_whitespace() { ' ' } else { letter })
        .filter(|letter| !letter.is_control() && !is_unwanted(*letter))
        .collect();
    let clean = clean.trim();
    if clean.chars().count() <= most {
        return clean.to_owned();
    }
    let fits: String = clean.chars().take(most.saturating_sub(1)).collect();
    let word = fits.rfind(' ').filter(|at| *at > fits.len() / 2);
    let fits = word.map_or(fits.as_str(), |at| &fits[..at]);
    // Half an emoji or a letter without its accent would be another.
    let fits = fits.trim_end_matches(|letter: char| joins(letter) || " ,;:".contains(letter));
    format!("{fits}…")
}

fn joins(letter: char) -> bool {
    matches!(letter, '\u{200D}' | '\u{FE00}'..='\u{FE0F}' | '\u{0300}'..='\u{036F}' | '\u{1F3FB}'..='\u{1F3FF}')
}

/// Controls of direction, and code points that no XML document may hold.
fn is_unwanted(letter: char) -> bool {
    matches!(letter, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{FFFE}' | '\u{FFFF}')
}

/// An id for an element: what may stand in it, of at most 40 characters.
pub(super) fn id(text: &str) -> String {
    let fits = |letter: &char| letter.is_ascii_alphanumeric() || *letter == '-';
    let own: String = text.chars().filter(fits).take(40).collect();
    format!("picture-{own}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_read_well() {
        for (value, decimals, expected) in [
            (0.0, 0, "0"),
            (-0.0, 1, "0.0"),
            (-0.04, 1, "0.0"),
            (-3.25, 1, "−3.2"),
            (1234.5, 1, "1234.5"),
            (12_345.6, 0, "12\u{202F}346"),
            (1_234_567.0, 0, "1\u{202F}234\u{202F}567"),
            (f64::NAN, 1, "–"),
            (f64::INFINITY, 1, "–"),
        ] {
            assert_eq!(figure(value, decimals), expected);
        }
    }

    #[test]
    fn names_are_cut_behind_a_word_and_lose_what_does_not_belong() {
        assert_eq!(cut("mixed bed", 20), "mixed bed");
        assert_eq!(cut("a mixed bed of resin", 14), "a mixed bed…");
        assert_eq!(cut("abcdefghijkl", 5), "abcd…");
        assert_eq!(cut(" two\nlines\u{0}\u{202E}", 20), "two lines");
        assert_eq!(cut("abc👩\u{200D}🔬🔬🔬", 6), "abc👩…");
        assert_eq!(cut(&"x".repeat(300), 24).chars().count(), 24);
        assert_eq!(id("kitchen <\"flow\">"), "picture-kitchenflow");
    }
}
