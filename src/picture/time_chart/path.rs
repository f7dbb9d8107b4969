//! Paths on the grid that is stretched to the width of a page.

use crate::picture::{axis::ROWS, scale::Scale};

/// A path on the stretched grid: after its beginnings only steps are written, which are shorter.
#[derive(Default)]
pub(super) struct Path {
    text: String,
    at: Option<(i64, i64)>,
    /// Whether nothing follows its beginning yet.
    begun: bool,
}

impl Path {
    pub fn text(self) -> String {
        self.text
    }

    /// A line of no length.
    pub fn stay(&mut self) {
        self.text.push_str("h0");
    }

    /// Back to where it began.
    pub fn close(&mut self) {
        self.text.push('z');
        self.at = None;
    }

    /// Goes on to a place, or begins anew there.
    pub fn go(&mut self, begins: bool, column: i64, row: i64) {
        match self.at.filter(|_| !begins) {
            None => {
                self.text.push_str(&format!("M{column} {row}"));
                self.begun = true;
            }
            Some((x, y)) if (x, y) == (column, row) => return,
            Some((x, y)) => {
                let (across, down) = (column - x, row - y);
                let space = match (std::mem::take(&mut self.begun), across < 0) {
                    (true, _) => "l",
                    (false, true) => "",
                    (false, false) => " ",
                };
                let between = if down < 0 { "" } else { " " };
                self.text
                    .push_str(&format!("{space}{across}{between}{down}"));
            }
        }
        self.at = Some((column, row));
    }
}

#[allow(clippy::cast_possible_truncation)] // A share of 400.
pub(super) fn row(scale: &Scale, value: f64) -> i64 {
    ((1.0 - scale.share(value)) * ROWS).round() as i64
}
