//! What the sections of the page are made of.

use maud::{Markup, html};

/// A table whose head is repeated on every printed page; the columns in `numbers` hold numbers.
#[must_use]
pub fn table(
    caption: &str,
    numbers: std::ops::Range<usize>,
    head: &[String],
    rows: Vec<Vec<Markup>>,
    foot: Option<Vec<Markup>>,
) -> Markup {
    let class = |column: usize| numbers.contains(&column).then_some("number");
    let cells = |cells: Vec<Markup>| {
        html! {
            @for (column, cell) in cells.into_iter().enumerate() {
                @if column == 0 { th scope="row" { (cell) } }
                @else { td class=[class(column)] { (cell) } }
            }
        }
    };
    html! {
        div.scroll tabindex="0" role="region" aria-label=(caption) {
            table {
                caption { (caption) }
                thead { tr {
                    @for (column, title) in head.iter().enumerate() {
                        th scope="col" class=[class(column)] { (title) }
                    }
                } }
                tbody { @for row in rows { tr { (cells(row)) } } }
                @if let Some(foot) = foot { tfoot { tr { (cells(foot)) } } }
            }
        }
    }
}

/// Headings of a table.
#[must_use]
pub fn head<'t>(titles: impl IntoIterator<Item = &'t str>) -> Vec<String> {
    titles.into_iter().map(str::to_owned).collect()
}

/// A section of the page.
#[must_use]
pub fn section(id: &str, title: &str, content: &Markup) -> Markup {
    html! {
        section id=(id) {
            h2 { (title) }
            (content)
        }
    }
}

/// A text, or nothing.
#[must_use]
pub fn text(text: impl AsRef<str>) -> Markup {
    html! { (text.as_ref()) }
}

/// A day or a moment, which does not break.
#[must_use]
pub fn when(text: impl AsRef<str>) -> Markup {
    html! { span.when { (text.as_ref()) } }
}

/// What stands where nothing is known.
#[must_use]
pub fn nothing() -> Markup {
    html! { span.nothing { "–" } }
}

/// `one run`, `3 runs`.
#[must_use]
pub fn count(number: usize, one: &str, more: &str) -> String {
    match number {
        0 => format!("no {more}"),
        1 => format!("one {one}"),
        _ => format!("{number} {more}"),
    }
}

/// `a`, `a and b`, `a, b and c`.
#[must_use]
pub fn listed(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_lists_are_words() {
        assert_eq!(count(0, "run", "runs"), "no runs");
        assert_eq!(count(1, "run", "runs"), "one run");
        assert_eq!(count(7, "run", "runs"), "7 runs");
        let words = ["a", "b", "c"].map(str::to_owned);
        assert_eq!(listed(&words), "a, b and c");
        assert_eq!(listed(&words[..1]), "a");
    }

    #[test]
    fn what_people_wrote_is_text() {
        let page = table(
            "x\"><script>",
            1..2,
            &head(["<b>"]),
            vec![vec![text("<i>")]],
            None,
        );
        let page = page.into_string();
        assert!(!page.contains("<script>") && !page.contains("<b>") && !page.contains("<i>"));
    }
}
