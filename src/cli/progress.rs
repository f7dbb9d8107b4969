//! How far a command has come, for a person at a terminal; nothing where standard error goes elsewhere.

use std::{io::IsTerminal as _, time::Duration};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// The line is drawn no more often than this a second: it must cost next to nothing.
const DRAWS: u8 = 8;

/// A bar as long as the file, with what is said beside it; a count where its length is not known.
pub(super) fn bar(bytes: Option<u64>) -> ProgressBar {
    let template = match bytes {
        Some(_) => "{BAR} {percent:>3} %  {msg}  {eta} left",
        None => "{msg}",
    };
    drawn(bytes, template)
}

/// A line of that length, drawn as `template` says; `{BAR}` in it is the bar of all commands.
pub(super) fn drawn(length: Option<u64>, template: &str) -> ProgressBar {
    let style = if colours() {
        "{bar:30.cyan/dim}"
    } else {
        "{bar:30}"
    };
    let template = &template.replace("{BAR}", style);
    let bar = if std::io::stderr().is_terminal() {
        ProgressBar::with_draw_target(length, ProgressDrawTarget::stderr_with_hz(DRAWS))
    } else {
        ProgressBar::hidden()
    };
    // A template of ours that were wrong would only look plain.
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style.progress_chars("█▌ "));
    }
    bar
}

/// Whether a person at this terminal wants colours.
fn colours() -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// A number with its thousands apart.
pub(super) fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push('\u{202f}');
        }
        text.push(digit);
    }
    text
}

/// A time as a clock shows it.
pub(super) fn clock_text(time: Duration) -> String {
    let seconds = time.as_secs();
    format!(
        "{}:{:02}:{:02}",
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_times_are_easy_to_read() {
        for (number, text) in [
            (0, "0"),
            (999, "999"),
            (1000, "1\u{202f}000"),
            (1_234_567, "1\u{202f}234\u{202f}567"),
        ] {
            assert_eq!(grouped(number), text);
        }
        assert_eq!(clock_text(Duration::from_secs(90_061)), "25:01:01");
    }
}
