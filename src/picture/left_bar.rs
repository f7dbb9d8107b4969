//! What is left of a stage: a bar with the band in which the truth lies.

use maud::{Markup, html};

use super::{
    axis::{Caption, NAME, percent},
    text,
};

/// What is left of something, per cent.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftBar {
    /// Tells it from the other pictures of a page: letters, digits and hyphens.
    pub id: String,
    /// Of what.
    pub title: String,
    /// What is likely left, 0 to 100; `None` when it is not known.
    pub left: Option<f64>,
    /// The least and the most that may be left.
    pub band: Option<(f64, f64)>,
    /// At what is left it is time to order: a mark.
    pub order_at: Option<f64>,
    /// What stands beside it in a few words: `about 40 days`.
    pub note: String,
}

const TOP: f64 = 4.0;
const BAR: f64 = 14.0;

impl LeftBar {
    /// The picture.
    #[must_use]
    pub fn draw(&self) -> Markup {
        let share = |value: f64| value.is_finite().then(|| (value / 100.0).clamp(0.0, 1.0));
        let left = self.left.and_then(share);
        let band = (self.band)
            .and_then(|(low, high)| Some((share(low.min(high))?, share(high.max(low))?)));
        let caption = Caption {
            id: &self.id,
            title: &self.title,
            unit: "",
            words: words(left, band, &self.note),
        };
        let shown = left.map_or_else(|| "not known".to_owned(), shown);
        let drawing = html! {
            rect class="picture-track" x="0" y=(TOP) width="100%" height=(BAR) {}
            @if let Some(left) = left {
                rect class={ "picture-left" @if self.is_low(left) { " picture-low" } } x="0" y=(TOP) width=(percent(left)) height=(BAR) {}
            }
            @if let Some((low, high)) = band {
                // On the bar and on the empty track alike.
                @for class in ["picture-halo", "picture-whisker"] {
                    line class=(class) x1=(percent(low)) x2=(percent(high)) y1=(TOP + BAR / 2.0) y2=(TOP + BAR / 2.0) {}
                    @for end in [low, high] {
                        line class=(class) x1=(percent(end)) x2=(percent(end)) y1=(TOP + 3.0) y2=(TOP + BAR - 3.0) {}
                    }
                }
            }
            @if let Some(order) = self.order_at.and_then(share) {
                line class="picture-order" x1=(percent(order)) x2=(percent(order)) y1=(TOP - 3.0) y2=(TOP + BAR + 3.0) {}
            }
        };
        html! {
            div.picture-left-bar {
                div.picture-left-words {
                    span { bdi { (text::cut(&self.title, NAME)) } }
                    span {
                        b { (shown) }
                        @if !self.note.is_empty() {
                            span.picture-note { " · " (text::cut(&self.note, 2 * NAME)) }
                        }
                    }
                }
                (caption.svg(TOP + BAR + 4.0, &drawing))
            }
        }
    }

    fn is_low(&self, left: f64) -> bool {
        self.order_at.is_some_and(|order| left * 100.0 <= order)
    }
}

fn shown(share: f64) -> String {
    format!("{} %", text::figure(share * 100.0, 0))
}

fn words(left: Option<f64>, band: Option<(f64, f64)>, note: &str) -> String {
    let Some(left) = left else {
        return "What is left is not known.".to_owned();
    };
    let band = band.map_or_else(String::new, |(low, high)| {
        format!(", between {} and {}", shown(low), shown(high))
    });
    let note = match note {
        "" => String::new(),
        note => format!(", {}", text::cut(note, 64)),
    };
    format!("{} left{band}{note}.", shown(left))
}

#[cfg(test)]
mod tests {
    use super::super::tests::parsing::{parsed, text_of};
    use super::*;

    fn bar(left: Option<f64>, band: Option<(f64, f64)>) -> LeftBar {
        LeftBar {
            id: "resin".to_owned(),
            title: "Mixed bed".to_owned(),
            left,
            band,
            order_at: Some(20.0),
            note: "about 40 days".to_owned(),
        }
    }

    #[test]
    fn it_tells_what_is_left_and_how_sure_that_is() {
        let drawn = bar(Some(41.6), Some((35.2, 48.0))).draw().into_string();
        parsed(&drawn);
        assert_eq!(
            text_of(&drawn, "desc"),
            "42 % left, between 35 % and 48 %, about 40 days."
        );
        assert!(drawn.contains(r#"width="41.60%""#), "{drawn}");
        assert!(!drawn.contains("picture-low"));
        assert!(
            bar(Some(20.0), None)
                .draw()
                .into_string()
                .contains("picture-low")
        );
    }

    #[test]
    fn what_is_beyond_the_bar_or_no_number_stays_within() {
        for (left, shown) in [
            (Some(-3.0), "0 %"),
            (Some(130.0), "100 %"),
            (Some(f64::NAN), "not known"),
            (None, "not known"),
        ] {
            let drawn = bar(left, Some((f64::NAN, 2.0))).draw().into_string();
            parsed(&drawn);
            assert!(drawn.contains(shown), "{drawn}");
            assert!(!drawn.contains("NaN"), "{drawn}");
        }
    }
}
