//! Text for a person's terminal: lines that fit, and nothing in them that moves the cursor.

/// Longer lines are hard to read, however wide the terminal is.
pub(super) const WIDEST: usize = 100;
/// Narrower than this nothing would be readable.
const NARROWEST: usize = 40;

/// How many letters a line of standard output may have.
pub(super) fn width() -> usize {
    let terminal = terminal_size::terminal_size_of(std::io::stdout());
    terminal.map_or(WIDEST, |(width, _)| {
        usize::from(width.0).clamp(NARROWEST, WIDEST)
    })
}

/// Says it on standard output, without colours where they are not wanted.
pub(super) fn say(text: &str) {
    use std::io::Write as _;
    // A reader that went away (a closed pipe) has seen enough.
    let _ = anstream::stdout().write_all(text.as_bytes());
}

/// The text with its long lines broken. What goes on stands under its column, where one is set apart
/// by two blanks or more; else two letters further in.
pub(super) fn folded(text: &str, width: usize) -> String {
    let lines = text.split('\n').map(|line| folded_line(line, width));
    lines.collect::<Vec<_>>().join("\n")
}

fn folded_line(line: &str, width: usize) -> String {
    if length(line) <= width {
        return line.to_owned();
    }
    let (head, hang) = head(line, width / 2);
    let (mut folded, mut used, mut is_fresh) = (head.to_owned(), length(head), true);
    let words = line.get(head.len()..).unwrap_or_default().split(' ');
    for word in words.filter(|word| !word.is_empty()) {
        if !is_fresh && used + 1 + length(word) > width {
            folded.push('\n');
            folded.push_str(&" ".repeat(hang));
            (used, is_fresh) = (hang, true);
        }
        if !is_fresh {
            folded.push(' ');
            used += 1;
        }
        folded.push_str(word);
        used += length(word);
        is_fresh = false;
    }
    folded
}

/// Letters on the paper; what only gives them a colour is none.
fn length(text: &str) -> usize {
    let parts = anstream::adapter::strip_str(text);
    parts.map(|part| part.chars().count()).sum()
}

/// What stays at the beginning of the first line, and how far in the next ones begin.
fn head(line: &str, deepest: usize) -> (&str, usize) {
    let text = line.trim_start_matches(' ');
    let indent = line.len() - text.len();
    let column = text.find("  ").map(|gap| {
        let after = text.get(gap..).unwrap_or_default();
        indent + gap + after.len() - after.trim_start_matches(' ').len()
    });
    let head = column.and_then(|column| line.get(..column));
    match head.map(|head| (head, length(head))) {
        Some((head, hang)) if hang <= deepest => (head, hang),
        Some(_) | None => (line.get(..indent).unwrap_or_default(), indent + 2),
    }
}

/// One line, with nothing that moves a terminal's cursor.
pub(super) fn printable(text: &str) -> String {
    let plain = |letter: char| if letter.is_control() { ' ' } else { letter };
    text.chars().map(plain).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_go_on_under_their_column() {
        let text =
            "short\n  name      one two three four five six seven\n  no column at all in this line";
        let expected = "short\n  name      one two three\n            four five six\n            seven\n  \
                        no column at all in\n    this line";
        assert_eq!(folded(text, 25), expected);
        assert!(
            folded(expected, 25)
                .lines()
                .all(|line| line.chars().count() <= 25)
        );
    }

    #[test]
    fn colours_take_no_room() {
        let bold = anstyle::Style::new().bold();
        let (plain, coloured) = (
            "name  one two three four",
            format!("{bold}name{bold:#}  one two three four"),
        );
        let folded_plain = folded(plain, 16);
        assert_eq!(folded_plain, "name  one two\n      three four");
        let stripped = anstream::adapter::strip_str(&folded(&coloured, 16)).to_string();
        assert_eq!(stripped, folded_plain);
    }

    #[test]
    fn a_word_longer_than_the_line_stays_whole() {
        assert_eq!(folded("a  °°°°°°°°°°°° b", 10), "a  °°°°°°°°°°°°\n   b");
        assert_eq!(folded("", 10), "");
        assert_eq!(
            folded("                 x  y", 10),
            "                 x\n                   y"
        );
    }

    #[test]
    fn nothing_moves_the_cursor() {
        assert_eq!(printable("a\u{1b}[2J\nb\u{9b}c"), "a [2J b c");
    }
}
