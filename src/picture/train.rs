//! The train as a plain flow sheet: supply, vessels, membrane with the branch to the drain, storage. The
//! symbols follow the habit of engineering drawings (ISO 10628: a bow tie for a valve, a circle with a
//! wedge for a pump, a box with a diagonal for a membrane); vessels are filled as far as they are fresh.
//!
//! It is a list of elements that wraps on a page and stacks on a phone, and reads as one aloud.

use maud::{Markup, html};

use super::{
    axis::{NAME, TITLE, round},
    text,
};

/// A unit from supply to storage.
#[derive(Clone, Debug, PartialEq)]
pub struct TrainPicture {
    /// What it shows.
    pub title: String,
    /// Whether water flows: the pipe is drawn full then.
    pub flows: bool,
    /// What stands in the way of the water, in its order.
    pub elements: Vec<Element>,
}

/// Something in the way of the water.
#[derive(Clone, Debug, PartialEq)]
pub struct Element {
    /// How it is drawn.
    pub symbol: Symbol,
    /// What people call it.
    pub name: String,
    /// Where a click on its name leads, if anywhere: a fragment or path of the same site.
    pub link: Option<String>,
    /// What is left of it, or stands in it, 0 to 100.
    pub left: Option<f64>,
    /// What is known at this place: what it is, and the figure with its unit.
    pub values: Vec<(String, String)>,
    /// What leaves it to the drain, as in `values`. Empty but there: a branch of which nothing is known.
    pub drain: Option<Vec<(String, String)>>,
    /// What is wrong with it, in a few words.
    pub wrong: Option<String>,
}

impl Element {
    /// An element of which nothing is known yet.
    #[must_use]
    pub fn new(symbol: Symbol, name: impl Into<String>) -> Self {
        Self {
            symbol,
            name: name.into(),
            link: None,
            left: None,
            values: Vec::new(),
            drain: None,
            wrong: None,
        }
    }
}

/// How an element is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Symbol {
    /// Where the water comes from: a valve.
    Supply,
    /// A vessel with a filter cartridge.
    Sediment,
    /// A vessel with carbon.
    Carbon,
    /// A pump.
    Pump,
    /// A membrane in its housing.
    Membrane,
    /// A vessel with resin.
    Resin,
    /// Where the product goes.
    Storage,
}

impl TrainPicture {
    /// The picture.
    #[must_use]
    pub fn draw(&self) -> Markup {
        html! {
            figure class={ "picture-frame picture-train" @if self.flows { " train-flows" } } {
                figcaption {
                    span.picture-title { (text::cut(&self.title, TITLE)) }
                }
                ol.train {
                    @for element in &self.elements {
                        li class={ "train-element" @if element.wrong.is_some() { " train-wrong" } } {
                            (element.symbol())
                            div.train-text { (element.words()) }
                        }
                    }
                }
            }
        }
    }
}

/// The body of a vessel: left, top, width and height within its symbol of 64 × 96.
const VESSEL: (f64, f64, f64, f64) = (16.0, 8.0, 32.0, 56.0);

impl Element {
    fn filled(&self) -> Option<f64> {
        let left = self.left.filter(|left| left.is_finite())?;
        Some((left / 100.0).clamp(0.0, 1.0))
    }

    fn symbol(&self) -> Markup {
        let (x, y, width, height) = VESSEL;
        let vessel = |inside: Markup| {
            html! {
                rect class="train-vessel" x=(x) y=(y) width=(width) height=(height) rx="5" {}
                @if let Some(filled) = self.filled() {
                    @let high = round(filled * (height - 6.0));
                    rect class="train-fill" x=(x + 3.0) y=(y + height - 3.0 - high) width=(width - 6.0) height=(high) rx="2" {}
                }
                (inside)
            }
        };
        html! {
            svg.train-symbol aria-hidden="true" viewBox="0 0 64 96" width="64" height="96" {
                @match self.symbol {
                    Symbol::Supply => path class="train-vessel" d="M18 24l28 24v-24l-28 24z" {},
                    Symbol::Sediment => (vessel(html! {
                        path class="train-inside train-dashed" d="M26 12v48M32 12v48M38 12v48" {}
                    })),
                    Symbol::Carbon => (vessel(html! {
                        path class="train-inside" d="M20 18h24M20 54h24M20 18l24 36M44 18l-24 36" {}
                    })),
                    Symbol::Resin => (vessel(html! {
                        g class="train-inside" {
                            @for (x, y) in [(26, 22), (38, 22), (32, 32), (26, 42), (38, 42), (32, 52)] {
                                circle cx=(x) cy=(y) r="4" {}
                            }
                        }
                    })),
                    Symbol::Pump => {
                        circle class="train-vessel" cx="32" cy="36" r="17" {}
                        path class="train-inside" d="M25 21.5l24 14.5l-24 14.5" {}
                    },
                    Symbol::Membrane => {
                        rect class="train-vessel" x="6" y="16" width="52" height="40" rx="3" {}
                        @if let Some(filled) = self.filled() {
                            @let across = round(filled * 46.0);
                            rect class="train-fill" x="9" y="49" width=(across) height="4" rx="1" {}
                        }
                        path class="train-inside" d="M6 16L58 56" {}
                        @if self.drain.is_some() {
                            path class="train-branch" d="M18 56v30" {}
                            path class="train-branch-end" d="M13 84h10l-5 8z" {}
                        }
                    },
                    Symbol::Storage => {
                        path class="train-vessel" d="M10 12v52h44v-52" {}
                        @if let Some(filled) = self.filled() {
                            @let high = round(filled * 44.0);
                            rect class="train-fill" x="13" y=(61.0 - high) width="38" height=(high) {}
                        }
                    },
                }
            }
        }
    }

    fn words(&self) -> Markup {
        let name = text::cut(&self.name, NAME);
        let left = self
            .filled()
            .map(|filled| format!("{} %", text::figure(filled * 100.0, 0)));
        let link = self.link.as_ref().filter(|link| is_of_the_site(link));
        html! {
            @match link {
                Some(link) => { a.train-name href=(link) { bdi { (name) } } },
                None => { span.train-name { bdi { (name) } } },
            }
            @if let Some(wrong) = &self.wrong {
                span.train-trouble { "! " (text::cut(wrong, 2 * NAME)) }
            }
            @if left.is_some() || !self.values.is_empty() {
                dl {
                    @if let Some(left) = left {
                        dt { (if self.symbol == Symbol::Storage { "full" } else { "left" }) }
                        dd { (left) }
                    }
                    (figures(&self.values))
                }
            }
            @if let Some(drain) = &self.drain {
                dl.train-drain {
                    dt.train-to { "to the drain" }
                    @if drain.is_empty() { dd { "not measured" } }
                    (figures(drain))
                }
            }
        }
    }
}

/// A fragment or an absolute path of plain characters; `//` would begin another site's address.
fn is_of_the_site(link: &str) -> bool {
    let is_plain = link.bytes().all(|byte| byte.is_ascii_graphic());
    let is_path = link.starts_with('/') && !link.starts_with("//");
    is_plain && (link.starts_with('#') || is_path)
}

fn figures(values: &[(String, String)]) -> Markup {
    html! {
        @for (name, value) in values {
            dt { (text::cut(name, NAME)) }
            dd { (text::cut(value, NAME)) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::parsing::parsed;
    use super::*;

    fn train(elements: Vec<Element>) -> String {
        let train = TrainPicture {
            title: "Kitchen".to_owned(),
            flows: true,
            elements,
        };
        train.draw().into_string()
    }

    #[test]
    fn every_element_is_told_in_its_order_with_what_is_known_of_it() {
        let mut membrane = Element::new(Symbol::Membrane, "Membrane");
        membrane.values = vec![("rejection".to_owned(), "96.4 %".to_owned())];
        membrane.drain = Some(vec![("flow".to_owned(), "0.4 L/min".to_owned())]);
        let mut resin = Element::new(Symbol::Resin, "Mixed bed");
        resin.left = Some(41.6);
        resin.wrong = Some("resin nearly spent".to_owned());
        let mut storage = Element::new(Symbol::Storage, "Tank");
        storage.left = Some(250.0);
        let drawn = train(vec![
            Element::new(Symbol::Supply, "Mains"),
            membrane,
            resin,
            storage,
        ]);
        let document = parsed(&drawn);
        let items: Vec<String> = document
            .descendants()
            .filter(|node| node.has_tag_name("li"))
            .map(|item| {
                let texts = item.descendants().filter(roxmltree::Node::is_text);
                let texts: Vec<&str> = texts.filter_map(|text| text.text()).collect();
                texts.join("|")
            })
            .collect();
        assert_eq!(
            items,
            [
                "Mains",
                "Membrane|rejection|96.4 %|to the drain|flow|0.4 L/min",
                "Mixed bed|! resin nearly spent|left|42 %",
                "Tank|full|100 %"
            ]
        );
    }

    #[test]
    fn a_link_that_leaves_the_site_or_runs_something_is_no_link() {
        for (link, is_link) in [
            ("#resin", true),
            ("/kitchen", true),
            ("javascript:alert(1)", false),
            ("https://example.org", false),
            ("//example.org", false),
        ] {
            let mut element = Element::new(Symbol::Pump, "Pump");
            element.link = Some(link.to_owned());
            assert_eq!(train(vec![element]).contains("href"), is_link, "{link}");
        }
    }
}
