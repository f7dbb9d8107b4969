//! What stands around a chart: its legend, what the numbers of marks mean, and all of it in words.

use maud::{Markup, html};

use super::{Found, Stretch};
use crate::{
    picture::{Line, Tone, axis::NAME, text},
    time::Wall,
};

impl Found<'_> {
    pub(super) fn mark_list(&self) -> Markup {
        html! {
            @if !self.marks.is_empty() {
                ol.picture-marks {
                    @for mark in &self.marks {
                        li {
                            span.picture-when { (self.chart.date(mark.at)) }
                            " "
                            bdi { (text::cut(&mark.text, 2 * NAME)) }
                        }
                    }
                }
            }
        }
    }

    pub(super) fn legend(&self) -> Markup {
        let latest = |stretches: &[Stretch]| {
            let (_, value) = stretches.last()?.last()?;
            Some(self.chart.value(*value))
        };
        let named = self.lines.len() > 1 || !self.bands.is_empty() || !self.limits.is_empty();
        html! {
            @if named {
                ul.picture-legend {
                    @for (index, (line, stretches)) in self.lines.iter().enumerate() {
                        li {
                            (sample(line.tone, dash(index)))
                            bdi { (text::cut(&line.name, NAME)) }
                            @match latest(stretches) {
                                Some(value) => { " " b { (value) } },
                                None => { " (nothing measured)" },
                            }
                        }
                    }
                    @for (band, _) in &self.bands {
                        li {
                            svg aria-hidden="true" width="26" height="12" {
                                rect class={ "picture-band " (band.tone.class()) } width="26" height="12" {}
                            }
                            bdi { (text::cut(&band.name, NAME)) }
                        }
                    }
                    @for limit in &self.limits {
                        li {
                            svg.picture-limits aria-hidden="true" width="26" height="12" {
                                line x1="0" x2="26" y1="6" y2="6" {}
                            }
                            bdi { (text::cut(&limit.text, NAME)) }
                            " " b { (self.chart.value(limit.value)) }
                        }
                    }
                }
            }
        }
    }

    pub(super) fn words(&self) -> String {
        let chart = self.chart;
        let mut words = format!(
            "From {} to {}.",
            chart.date(chart.from),
            chart.date(chart.to)
        );
        for (line, stretches) in &self.lines {
            words.push(' ');
            words.push_str(&self.line_words(line, stretches));
        }
        for limit in &self.limits {
            let text = text::cut(&limit.text, NAME);
            words.push_str(&format!(" Limit {}: {text}.", chart.value(limit.value)));
        }
        for mark in &self.marks {
            let text = text::cut(&mark.text, 2 * NAME);
            words.push_str(&format!(" {}: {text}.", chart.date(mark.at)));
        }
        words
    }

    fn line_words(&self, line: &Line, stretches: &[Stretch]) -> String {
        let name = text::cut(&line.name, NAME);
        let points = || stretches.iter().flatten();
        let least = points().min_by(|a, b| a.1.total_cmp(&b.1));
        let most = points().max_by(|a, b| a.1.total_cmp(&b.1));
        let (Some(least), Some(most), Some(last)) = (least, most, points().last()) else {
            return format!("{name}: nothing was measured in this time.");
        };
        let told = |(at, value): &(Wall, f64)| {
            format!("{} ({})", self.chart.value(*value), self.chart.date(*at))
        };
        let gaps = match stretches.len() - 1 {
            0 => String::new(),
            1 => ", with one gap".to_owned(),
            gaps => format!(", with {gaps} gaps"),
        };
        format!(
            "{name}: last {}, least {}, most {}{gaps}.",
            told(last),
            told(least),
            told(most)
        )
    }
}

/// How the lines of a chart are dashed, so that colour alone tells nothing.
pub(super) fn dash(index: usize) -> &'static str {
    match index % 4 {
        0 => "dash-0",
        1 => "dash-1",
        2 => "dash-2",
        _ => "dash-3",
    }
}

fn sample(tone: Tone, dash: &str) -> Markup {
    html! {
        svg aria-hidden="true" width="26" height="12" {
            line class={ "picture-line " (tone.class()) " " (dash) } x1="0" x2="26" y1="6" y2="6" {}
        }
    }
}
