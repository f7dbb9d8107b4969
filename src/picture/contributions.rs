//! What lies between two figures: from the start over each part to the end, as steps. What is shown adds up
//! to the last digit.

use maud::{Markup, html};

use super::{
    axis::{Caption, NAME, percent, round},
    is_drawable,
    scale::Scale,
    text,
};

/// From one figure to another by its parts: how a shortfall comes about.
#[derive(Clone, Debug, PartialEq)]
pub struct Contributions {
    /// Tells it from the other pictures of a page: letters, digits and hyphens.
    pub id: String,
    /// What it shows.
    pub title: String,
    /// Unit of all its values.
    pub unit: String,
    /// Decimals that are shown.
    pub decimals: u8,
    /// What it begins with: the rated production.
    pub start: (String, f64),
    /// What each part adds, negative for what it takes.
    pub parts: Vec<(String, f64)>,
    /// What it ends with: start and parts together, but for rounding.
    pub end: (String, f64),
}

/// Height of a step in pixels: its text, and its bar beneath.
const STEP: f64 = 40.0;

/// A row of the picture.
struct Step<'a> {
    name: &'a str,
    /// What is shown of it.
    shown: String,
    low: f64,
    high: f64,
    class: &'static str,
    /// Where the next one begins.
    reached: f64,
}

impl Contributions {
    /// The picture. If start and parts are not the end, what lacks is a part of its own, `not explained`.
    #[must_use]
    pub fn draw(&self) -> Markup {
        let caption = |words| Caption {
            id: &self.id,
            title: &self.title,
            unit: &self.unit,
            words,
        };
        let Some(figures) = self.figures() else {
            let caption = caption("Not known.".to_owned());
            let nothing = html! {
                text class="picture-nothing" x="50%" y="24" text-anchor="middle" { "not known yet" }
            };
            let plot = html! { div.picture-rows { (caption.svg(STEP, &nothing)) } };
            return caption.figure(&html! {}, &plot, &html! {});
        };
        let steps = self.steps(&figures);
        let caption = caption(self.words(&steps));
        let low = steps.iter().map(|step| step.low).fold(0.0, f64::min);
        let high = steps.iter().map(|step| step.high).fold(0.0, f64::max);
        let scale = Scale::from_zero(low, high);
        #[allow(clippy::cast_precision_loss)] // A handful.
        let rows: Vec<(f64, &Step)> = (steps.iter().enumerate())
            .map(|(row, step)| (row as f64 * STEP, step))
            .collect();
        let height = rows.last().map_or(0.0, |(top, _)| top + STEP);
        let drawing = html! {
            @for (top, step) in &rows {
                @let (left, right) = (scale.share(step.low), scale.share(step.high));
                text class="picture-name" x="0" y=(top + 14.0) { (text::cut(step.name, NAME)) }
                text class="picture-figure" x="100%" y=(top + 14.0) text-anchor="end" { (step.shown) }
                rect class={ "picture-step " (step.class) } x=(percent(left)) y=(top + 20.0) width=(percent(right - left)) height="14" {}
                @if step.class != "step-end" {
                    @let x = percent(scale.share(step.reached));
                    line class="picture-reached" x1=(x) x2=(x) y1=(top + 20.0) y2=(round(top + STEP + 20.0)) {}
                }
            }
        };
        let plot = html! { div.picture-rows { (caption.svg(height, &drawing)) } };
        caption.figure(&html! {}, &plot, &html! {})
    }

    /// Start, parts and end as they are shown, in units of the last digit: whole numbers that add up. `None`
    /// when one is not known.
    fn figures(&self) -> Option<Vec<i64>> {
        let digit = 10f64.powi(-i32::from(self.decimals));
        let parts = self.parts.iter().map(|(_, value)| *value);
        let values: Vec<f64> = [self.start.1, self.end.1]
            .into_iter()
            .chain(parts)
            .collect();
        if !values.iter().all(|value| is_drawable(*value)) || self.decimals > 5 {
            return None;
        }
        #[allow(clippy::cast_possible_truncation)] // Below 10^17.
        let whole = |value: f64| (value / digit).round() as i64;
        let (start, end) = (whole(self.start.1), whole(self.end.1));
        let sum: f64 = self.parts.iter().map(|(_, value)| *value).sum();
        let lacks = self.end.1 - self.start.1 - sum;
        let mut parts: Vec<f64> = self.parts.iter().map(|(_, value)| value / digit).collect();
        // Less than a digit for every part is rounding of who made the parts.
        #[allow(clippy::cast_precision_loss)]
        let allowed = digit * parts.len().max(1) as f64;
        if lacks.abs() > allowed {
            parts.push(lacks / digit);
        }
        let parts = rounded_to(&parts, end - start);
        Some([start].into_iter().chain(parts).chain([end]).collect())
    }

    fn steps(&self, figures: &[i64]) -> Vec<Step<'_>> {
        let digit = 10f64.powi(-i32::from(self.decimals));
        #[allow(clippy::cast_precision_loss)] // Below 2^53 for all figures of the trade.
        let value = |figure: i64| figure as f64 * digit;
        let names = [self.start.0.as_str()]
            .into_iter()
            .chain(self.parts.iter().map(|(name, _)| name.as_str()))
            .chain((figures.len() > self.parts.len() + 2).then_some("not explained"))
            .chain([self.end.0.as_str()]);
        let last = figures.len().saturating_sub(1);
        let mut reached = 0;
        let mut steps = Vec::with_capacity(figures.len());
        for (place, (name, figure)) in names.zip(figures).enumerate() {
            let is_whole = place == 0 || place == last;
            let from = if is_whole { 0 } else { reached };
            let to = from + figure;
            reached = to;
            let sign = if !is_whole && *figure > 0 { "+" } else { "" };
            steps.push(Step {
                name,
                shown: format!("{sign}{}", text::figure(value(*figure), self.decimals)),
                low: value(from.min(to)),
                high: value(from.max(to)),
                class: match (is_whole, place == last, *figure < 0) {
                    (true, true, _) => "step-end",
                    (true, false, _) => "step-start",
                    (false, _, true) => "step-less",
                    (false, _, false) => "step-more",
                },
                reached: value(to),
            });
        }
        steps
    }

    fn words(&self, steps: &[Step]) -> String {
        let told: Vec<String> = steps
            .iter()
            .map(|step| {
                let unit = text::cut(&self.unit, NAME);
                let told = format!("{} {} {unit}", text::cut(step.name, NAME), step.shown);
                told.trim_end().to_owned()
            })
            .collect();
        format!("{}.", told.join(", "))
    }
}

/// Whole numbers near `values` whose sum is `sum`: those whose fraction is nearest to the next are moved,
/// no other way changes less.
fn rounded_to(values: &[f64], sum: i64) -> Vec<i64> {
    #[allow(clippy::cast_possible_truncation)]
    let mut whole: Vec<i64> = values.iter().map(|value| value.floor() as i64).collect();
    let mut lacks = sum - whole.iter().sum::<i64>();
    let mut order: Vec<usize> = (0..values.len()).collect();
    let fraction = |place: &usize| {
        values
            .get(*place)
            .map_or(0.0, |value| value - value.floor())
    };
    order.sort_by(|one, other| fraction(other).total_cmp(&fraction(one)));
    while lacks != 0 && !order.is_empty() {
        let step = lacks.signum();
        let mut moved = false;
        let forwards: Vec<usize> = if step > 0 {
            order.clone()
        } else {
            order.iter().rev().copied().collect()
        };
        for place in forwards {
            if lacks == 0 {
                break;
            }
            if let Some(value) = whole.get_mut(place) {
                *value += step;
                lacks -= step;
                moved = true;
            }
        }
        if !moved {
            break;
        }
    }
    whole
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::tests::parsing::{parsed, text_of};
    use super::*;

    fn shortfall(decimals: u8, start: f64, parts: &[f64], end: f64) -> Contributions {
        let named = |(place, value): (usize, &f64)| (format!("part {place}"), *value);
        Contributions {
            id: "shortfall".to_owned(),
            title: "Why less than rated".to_owned(),
            unit: "L/d".to_owned(),
            decimals,
            start: ("rated".to_owned(), start),
            parts: parts.iter().enumerate().map(named).collect(),
            end: ("now".to_owned(), end),
        }
    }

    #[test]
    fn what_is_shown_adds_up() {
        // 284 - 3 × 33.4 = 183.8: rounded one by one, 284 - 99 would be 185.
        let picture = shortfall(0, 284.0, &[-33.4, -33.4, -33.4], 183.8);
        assert_eq!(picture.figures().unwrap(), [284, -33, -33, -34, 184]);
        let drawn = picture.draw().into_string();
        parsed(&drawn);
        assert_eq!(
            text_of(&drawn, "desc"),
            "rated 284 L/d, part 0 −33 L/d, part 1 −33 L/d, part 2 −34 L/d, now 184 L/d."
        );
    }

    #[test]
    fn what_is_not_explained_is_told_and_what_is_not_known_is_not_drawn() {
        let picture = shortfall(1, 100.0, &[-20.0, 5.0], 75.0);
        assert_eq!(picture.figures().unwrap(), [1000, -200, 50, -100, 750]);
        assert!(picture.draw().into_string().contains("not explained"));
        for unknown in [f64::NAN, f64::INFINITY] {
            let drawn = shortfall(1, 100.0, &[unknown], 75.0).draw().into_string();
            parsed(&drawn);
            assert!(drawn.contains("not known yet") && !drawn.contains("NaN"));
        }
        parsed(&shortfall(1, 0.0, &[], 0.0).draw().into_string());
    }

    proptest! {
        #[test]
        fn whatever_the_parts_they_add_up_and_none_is_moved_by_more_than_two_digits(
            start in -1e4..1e4_f64, parts in prop::collection::vec(-1e3..1e3_f64, 1..8), decimals in 0_u8..4
        ) {
            let end = start + parts.iter().sum::<f64>();
            let picture = shortfall(decimals, start, &parts, end);
            let figures = picture.figures().unwrap();
            let (last, first) = figures.split_last().unwrap();
            prop_assert_eq!(first.iter().sum::<i64>(), *last);
            prop_assert_eq!(figures.len(), parts.len() + 2);
            let digit = 10f64.powi(-i32::from(decimals));
            for (figure, part) in figures[1..].iter().zip(&parts) {
                prop_assert!((*figure as f64 * digit - part).abs() < 2.0 * digit);
            }
        }
    }
}
