//! What was heard, for people: what it looks like and why, what must be decided, what was passed over.

use std::{collections::BTreeMap, fmt::Write as _};

use super::{
    LeftOut, Passed, Proposal,
    finding::{Finding, Sureness},
    series::shown,
    words::Elsewhere,
};
use crate::config::Point;

/// So much of a name is shown.
const LONGEST_NAME: usize = 120;
/// So many places are named of what is only counted.
const MOST_NAMED: usize = 5;

impl Proposal {
    /// The table of what was heard. `everything` also lists each value that was passed over.
    #[must_use]
    pub fn report(&self, everything: bool) -> String {
        let mut text = format!(
            "{}, {}, {}\n",
            counted(self.messages, "message"),
            counted(self.topics as u64, "topic"),
            counted(self.values as u64, "value"),
        );
        for (sureness, title) in [
            (Sureness::Sure, "Sure"),
            (
                Sureness::Likely,
                "Likely: stands in the configuration, look at it",
            ),
            (
                Sureness::Doubtful,
                "Doubtful: decide, then take it into use",
            ),
        ] {
            let found =
                |finding: &&Finding| finding.sureness == sureness && finding.mirror_of.is_none();
            let found: Vec<&Finding> = self.findings.iter().filter(found).collect();
            if !found.is_empty() {
                let _ = writeln!(text, "\n{title}");
                found
                    .into_iter()
                    .for_each(|finding| entry(finding, &mut text));
            }
        }
        self.mirrors(&mut text);
        self.about_boards(&mut text);
        self.passed_over(everything, &mut text);
        left_out(self.left_out, &mut text);
        text
    }

    fn mirrors(&self, text: &mut String) {
        let mirrors: Vec<&Finding> = self
            .findings
            .iter()
            .filter(|finding| finding.mirror_of.is_some())
            .collect();
        if mirrors.is_empty() {
            return;
        }
        let _ = writeln!(text, "\nSaid twice, not used");
        for finding in mirrors {
            let better = finding.mirror_of.as_deref().unwrap_or_default();
            let _ = writeln!(text, "  {}  is  {}", name(&finding.place()), name(better));
        }
    }

    fn about_boards(&self, text: &mut String) {
        for topic in &self.away {
            let _ = writeln!(
                text,
                "\n{} says that its board is away: its values are old.",
                name(topic)
            );
        }
        for topic in &self.silent {
            let _ = writeln!(
                text,
                "\n{} says that its board is there, but no value of it came: listen longer, some firmware tells \
                 every 5 minutes only (--seconds 330).",
                name(topic)
            );
        }
        if self.lists.is_empty() {
            return;
        }
        let _ = writeln!(
            text,
            "\nSeveral numbers in one payload: no single one can be read. Let the firmware send each on a topic of \
             its own, or JSON."
        );
        for (topic, list) in self.lists.iter().take(MOST_NAMED) {
            let _ = writeln!(text, "  {}  {list}", name(topic));
        }
        more(self.lists.len(), text);
    }

    fn passed_over(&self, everything: bool, text: &mut String) {
        let mut kinds: BTreeMap<Elsewhere, Vec<&Passed>> = BTreeMap::new();
        for passed in &self.passed {
            kinds.entry(passed.why).or_default().push(passed);
        }
        if kinds.is_empty() && self.ours == 0 {
            return;
        }
        let _ = writeln!(text, "\nPassed over");
        for (kind, values) in &kinds {
            let examples = values.iter().map(|passed| name(&passed.place));
            let _ = if everything {
                writeln!(
                    text,
                    "  {} of {}",
                    counted(values.len() as u64, "value"),
                    kind.text()
                )
            } else {
                let examples: Vec<String> = examples.take(2).collect();
                writeln!(
                    text,
                    "  {:>5}  {}, as {}",
                    values.len(),
                    kind.text(),
                    examples.join(", ")
                )
            };
            for passed in values
                .iter()
                .filter(|passed| everything && passed.is_reading)
            {
                let _ = writeln!(
                    text,
                    "    {}  {}  ({})",
                    name(&passed.place),
                    passed.last,
                    passed.often
                );
            }
        }
        if self.ours > 0 {
            let _ = writeln!(
                text,
                "  {} that permeated or the broker itself sent",
                counted(self.ours, "message")
            );
        }
        if !everything && !self.passed.is_empty() {
            let _ = writeln!(text, "  (--all lists every one)");
        }
    }
}

fn entry(finding: &Finding, text: &mut String) {
    let points: Vec<&str> = finding
        .points
        .iter()
        .map(|point| Point::key(*point))
        .collect();
    let unit = finding
        .unit
        .map_or_else(String::new, |unit| format!(", {unit}"));
    let _ = writeln!(
        text,
        "  {:<22} {:<14} last {}  ({})",
        points.join(" or "),
        format!("{}{unit}", finding.kind.key()),
        finding.last,
        finding.often
    );
    let _ = writeln!(text, "    {}", name(&finding.place()));
    wrapped(&format!("why: {}", finding.reasons.join("; ")), text);
    for decide in &finding.decide {
        wrapped(&format!("{}: {decide}", finding.wish()), text);
    }
    if let Some(presence) = &finding.presence {
        let _ = writeln!(
            text,
            "    there or not: {} says {:?} or {:?}",
            name(&presence.topic),
            presence.up,
            presence.down
        );
    }
}

fn name(place: &str) -> String {
    shown(place, LONGEST_NAME)
}

fn wrapped(what: &str, text: &mut String) {
    const WIDTH: usize = 100;
    let mut line = "   ".to_owned();
    for word in shown(what, 2000).split(' ') {
        if line.chars().count() + word.chars().count() >= WIDTH {
            let _ = writeln!(text, "{line}");
            line = "       ".to_owned();
        }
        line.push(' ');
        line.push_str(word);
    }
    let _ = writeln!(text, "{line}");
}

fn more(count: usize, text: &mut String) {
    if count > MOST_NAMED {
        let _ = writeln!(text, "  and {} more", count - MOST_NAMED);
    }
}

fn counted(count: u64, what: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {what}{plural}")
}

fn left_out(left_out: LeftOut, text: &mut String) {
    let LeftOut {
        topics,
        values,
        too_large,
        not_text,
        too_deep,
        long_names,
    } = left_out;
    let lines = [
        (
            topics,
            "of topics beyond the first 5000: name what you want to hear with --topic",
        ),
        (
            values,
            "with more values than are kept (200 of a topic, 20 000 in all), or odd names",
        ),
        (too_large, "larger than 64 KiB, which is no sensor's"),
        (not_text, "that were not UTF-8 text"),
        (
            too_deep,
            "with values more than 12 levels deep in their JSON",
        ),
        (
            long_names,
            "with a topic of more than 1000 bytes, or with control characters or {unit} in it",
        ),
    ];
    if lines.iter().all(|(count, _)| *count == 0) {
        return;
    }
    let _ = writeln!(text, "\nLeft out, in messages");
    for (count, what) in lines.iter().filter(|(count, _)| *count > 0) {
        let _ = writeln!(text, "  {count:>5}  {what}");
    }
}
