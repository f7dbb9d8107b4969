//! The text of the families, in either format.
//!
//! OpenMetrics 1.0, sections "ABNF" and "Overall structure"; the older one as its authors describe
//! "text format 0.0.4".

use std::fmt::Write as _;

use super::{Family, Kind, Sample};

/// A text format.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Plain text 0.0.4, which every scraper reads.
    Classic,
    /// OpenMetrics 1.0.
    OpenMetrics,
}

impl Format {
    /// The media type it is sent as.
    #[must_use]
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Classic => "text/plain; version=0.0.4; charset=utf-8",
            Self::OpenMetrics => "application/openmetrics-text; version=1.0.0; charset=utf-8",
        }
    }

    /// The format that an `Accept` header asks for (RFC 9110, 12.5.1): OpenMetrics only to who names
    /// it and likes it no less than plain text.
    #[must_use]
    pub fn accepted(accept: &str) -> Self {
        let weight = |wanted: &[&str]| {
            let ranges = accept.split(',').filter_map(|range| {
                let mut parts = range.split(';').map(str::trim);
                let media = parts.next()?.to_ascii_lowercase();
                let mut quality = 1.0;
                for part in parts {
                    match part.split_once('=') {
                        Some(("q" | "Q", value)) => quality = value.trim().parse().unwrap_or(0.0),
                        // A later version may not be readable to who asks for it only.
                        Some(("version", value)) if media == "application/openmetrics-text" => {
                            if !["1.0.0", "0.0.1"].contains(&value.trim_matches('"')) {
                                return None;
                            }
                        }
                        Some(_) | None => {}
                    }
                }
                wanted.contains(&media.as_str()).then_some(quality)
            });
            ranges.fold(0.0, f64::max)
        };
        let open = weight(&["application/openmetrics-text"]);
        if open > 0.0 && open >= weight(&["text/plain"]) {
            Self::OpenMetrics
        } else {
            Self::Classic
        }
    }
}

/// The whole text. A family without samples is left out.
#[must_use]
pub fn text(families: &[Family], format: Format) -> String {
    let mut text = String::new();
    for family in families.iter().filter(|family| !family.samples.is_empty()) {
        let suffix = match family.kind {
            Kind::Counter => "_total",
            Kind::Gauge => "",
            Kind::Info => "_info",
        };
        head(family, suffix, format, &mut text);
        for sample in &family.samples {
            text.push_str(&family.name);
            text.push_str(suffix);
            labels(sample, &mut text);
            text.push(' ');
            number(sample.value, &mut text);
            text.push('\n');
        }
    }
    if format == Format::OpenMetrics {
        text.push_str("# EOF\n");
    }
    text
}

fn head(family: &Family, suffix: &str, format: Format, text: &mut String) {
    let Family {
        name, unit, kind, ..
    } = family;
    let (name, kind) = match (format, kind) {
        (Format::OpenMetrics, Kind::Counter) => (name.clone(), "counter"),
        (Format::OpenMetrics, Kind::Info) => (name.clone(), "info"),
        (_, Kind::Gauge) => (name.clone(), "gauge"),
        // The older format knows samples only, and no info.
        (Format::Classic, Kind::Counter) => (format!("{name}{suffix}"), "counter"),
        (Format::Classic, Kind::Info) => (format!("{name}{suffix}"), "gauge"),
    };
    let help = escaped(&family.help, format == Format::OpenMetrics);
    // Writing into a text cannot fail.
    let _ = writeln!(text, "# HELP {name} {help}");
    let _ = writeln!(text, "# TYPE {name} {kind}");
    if format == Format::OpenMetrics && !unit.is_empty() {
        let _ = writeln!(text, "# UNIT {name} {unit}");
    }
}

fn labels(sample: &Sample, text: &mut String) {
    let mut before = '{';
    for (name, value) in sample.labels.iter().filter(|(_, value)| !value.is_empty()) {
        let _ = write!(text, "{before}{name}=\"{}\"", escaped(value, true));
        before = ',';
    }
    if before == ',' {
        text.push('}');
    }
}

fn escaped(value: &str, quotes: bool) -> String {
    let value = value.replace('\\', "\\\\").replace('\n', "\\n");
    if quotes {
        value.replace('"', "\\\"")
    } else {
        value
    }
}

/// Twelve digits: more than any sensor has, and none that only conversion made.
fn number(value: f64, text: &mut String) {
    let rounded: f64 = format!("{value:.11e}").parse().unwrap_or(value);
    let rounded = if rounded == 0.0 { 0.0 } else { rounded };
    let _ = write!(text, "{rounded}");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_asks_for_openmetrics_gets_it() {
        for (accept, format) in [
            ("", Format::Classic),
            ("*/*", Format::Classic),
            ("text/html,application/xhtml+xml,*/*;q=0.8", Format::Classic),
            ("application/openmetrics-text", Format::OpenMetrics),
            ("application/openmetrics-text;q=0", Format::Classic),
            (
                "application/openmetrics-text; version=2.0.0",
                Format::Classic,
            ),
            (
                "application/openmetrics-text;version=1.0.0;q=0.5,text/plain;version=0.0.4;q=0.3,*/*;q=0.1",
                Format::OpenMetrics,
            ),
            (
                "application/openmetrics-text;q=0.3, text/plain;q=0.5",
                Format::Classic,
            ),
        ] {
            assert_eq!(Format::accepted(accept), format, "{accept}");
        }
    }

    /// The escapes of OpenMetrics 1.0, "ABNF": `escaped-char`.
    #[test]
    fn texts_are_escaped_and_numbers_are_short() {
        let mut family = Family::new("a_pascals", "pascals", Kind::Gauge, "Says \"a\\b\".\n");
        family.add(&[("unit", "x\"\\\n"), ("about", "")], 4.14 * 1e5);
        family.add(&[], f64::NAN);
        family.add(&[], -0.0);
        assert_eq!(
            text(&[family.clone()], Format::OpenMetrics),
            "# HELP permeated_a_pascals Says \\\"a\\\\b\\\".\\n\n# TYPE permeated_a_pascals gauge\n\
             # UNIT permeated_a_pascals pascals\npermeated_a_pascals{unit=\"x\\\"\\\\\\n\"} 414000\n\
             permeated_a_pascals 0\n# EOF\n"
        );
        let classic = text(&[family], Format::Classic);
        assert!(!classic.contains("UNIT") && !classic.contains("EOF"));
        assert!(classic.contains("Says \"a\\\\b\".\\n\n"), "{classic}");
        assert_eq!(
            text(
                &[Family::new("b", "", Kind::Info, "None.")],
                Format::Classic
            ),
            ""
        );
    }
}
