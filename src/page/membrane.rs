//! What the membrane does: its figures, its trend with the band around it, the limits it approaches, what
//! its flow lacks of the rating, and what has probably come over it.

use maud::{Markup, html};

use super::{
    figures::{Shown, figure, number, with_unit},
    frame,
    unit::Look,
    words,
};
use crate::{
    core::{Finding, RunState},
    metrics::Metric,
    picture::Contributions,
};

/// A figure, and what people call it.
type Told = (Metric, &'static str);

/// What is told, in the order of what a keeper asks first.
const TOLD: &[Told] = &[
    (Metric::Rejection, "Rejection"),
    (
        Metric::NormalizedFlowOfBaseline,
        "Normalised flow, as a share of its own baseline",
    ),
    (
        Metric::NormalizedFlowOfRating,
        "Normalised flow, as a share of the rating",
    ),
    (
        Metric::SaltPassageOfBaseline,
        "Salt passage, as a share of its own baseline",
    ),
    (Metric::Recovery, "Recovery"),
    (Metric::WasteRatio, "Concentrate to one part of permeate"),
    (Metric::NetDrivingPressure, "Net driving pressure"),
    (Metric::BoostedFlow, "Flow at the boost pressure"),
    (
        Metric::PrefilterDrop,
        "Pressure lost in the pre-filters at 1 L/min",
    ),
    (Metric::ScalingIndex, "Saturation index of the concentrate"),
    (Metric::ChlorineExposure, "Exposure to chlorine"),
];

pub(super) fn section(look: &Look<'_>) -> Markup {
    let can_be = TOLD.iter().filter(|(metric, _)| look.can_give(*metric));
    let (known, missing): (Vec<&Told>, Vec<&Told>) =
        can_be.partition(|(metric, _)| look.values.of(*metric).is_ok());
    if known.is_empty() && missing.is_empty() {
        return html! {};
    }
    let display = look.settings.display;
    let body = html! {
        p .fine { (as_of(look)) }
        @if !known.is_empty() {
            dl .figures {
                @for (metric, words) in known {
                    div {
                        dt { (words) }
                        dd { (figure(display, metric.description(), look.values.of(*metric))) }
                    }
                }
            }
        }
        @if !missing.is_empty() { p .fine { "Not there now: " (lacks(look, &missing)) "." } }
        @for sentence in trends(look) { p { (sentence) } }
        @if let Some(picture) = shortfall(look) { (picture) }
        (causes(look))
        @for advice in look.unit.membrane_advice() { p { (advice) } }
    };
    frame::section("membrane", "The membrane", &body)
}

fn as_of(look: &Look<'_>) -> String {
    let held = look.unit.membrane().held_at;
    match (look.unit.run_state(), held) {
        (RunState::Producing, _) => "As it makes water now.".to_owned(),
        (_, Some(at)) => format!("As in the run that ended {}.", look.moment(at)),
        (_, None) => "A settled run gives the figures.".to_owned(),
    }
}

/// What is missing, by its reason.
fn lacks(look: &Look<'_>, missing: &[&Told]) -> String {
    let mut reasons: Vec<(String, Vec<String>)> = Vec::new();
    for (metric, name) in missing {
        let Err(lack) = look.values.of(*metric) else {
            continue;
        };
        let (reason, name) = (lack.to_string(), words::within(name));
        match reasons.iter_mut().find(|(known, _)| *known == reason) {
            Some((_, names)) => names.push(name),
            None => reasons.push((reason, vec![name])),
        }
    }
    let told = reasons.iter();
    told.map(|(reason, names)| format!("{} ({reason})", names.join("; ")))
        .collect::<Vec<_>>()
        .join("; ")
}

/// Level, slope and forecast of the two things that wear.
fn trends(look: &Look<'_>) -> Vec<String> {
    let flow = trend(
        look,
        "flow",
        [
            Metric::FlowTrend,
            Metric::FlowTrendMargin,
            Metric::FlowChange,
            Metric::FlowChangeMargin,
            Metric::FlowLimitEarliest,
            Metric::FlowLimitLikely,
            Metric::FlowLimitLatest,
        ],
    );
    let salt = trend(
        look,
        "salt passage",
        [
            Metric::SaltTrend,
            Metric::SaltTrendMargin,
            Metric::SaltChange,
            Metric::SaltChangeMargin,
            Metric::SaltLimitEarliest,
            Metric::SaltLimitLikely,
            Metric::SaltLimitLatest,
        ],
    );
    flow.into_iter().chain(salt).collect()
}

fn trend(look: &Look<'_>, of: &str, metrics: [Metric; 7]) -> Option<String> {
    let value = |finding: Finding<f64>| finding.ok().map(|known| known.value);
    let [
        level,
        margin,
        change,
        change_margin,
        earliest,
        likely,
        latest,
    ] = metrics.map(|metric| value(look.values.of(metric)));
    let around = |value: f64, margin: Option<f64>, decimals: usize| {
        let margin = margin.map(|margin| format!(" ± {}", number(margin, decimals)));
        let text = format!("{}{}", number(value, decimals), margin.unwrap_or_default());
        with_unit(&text, "%")
    };
    let level = around(level?, margin, 1);
    let change = change.map(|change| {
        let amount = around(change, change_margin, 2);
        format!(", and changes by {amount} a month")
    });
    let ahead = |days: f64| {
        if days <= 0.0 {
            "now".to_owned()
        } else {
            format!("in about {}", words::days_ahead(days))
        }
    };
    let limit = match (earliest, likely, latest) {
        (None, None, None) => String::new(),
        (earliest, Some(likely), latest) => {
            let earliest = earliest.map(|days| format!("at the earliest {}", ahead(days)));
            let latest = latest.map(|days| format!("at the latest {}", ahead(days)));
            let band: Vec<String> = earliest.into_iter().chain(latest).collect();
            let band = if band.is_empty() {
                String::new()
            } else {
                format!(" ({})", band.join(", "))
            };
            format!(
                " As it goes on, it reaches its limit {}{band}.",
                ahead(likely)
            )
        }
        (Some(earliest), None, _) => {
            format!(
                " Its limit is not in sight; at the earliest {}.",
                ahead(earliest)
            )
        }
        (None, None, Some(_)) => String::new(),
    };
    let change = change.unwrap_or_default();
    Some(format!(
        "Over the last runs its {of} stands at {level} of its baseline{change}.{limit}"
    ))
}

fn causes(look: &Look<'_>) -> Markup {
    let causes = look.unit.likely_causes();
    html! {
        @if !causes.is_empty() {
            h3 { "What has probably come over it" }
            ol .causes {
                @for likely in causes {
                    li {
                        p { strong { (likely.cause.title()) ". " } (likely.speaks_for) }
                        p { strong { "Check first. " } (likely.cause.check_first()) }
                        p .caution { strong { "Caution. " } (likely.cause.caution()) }
                    }
                }
            }
        }
    }
}

/// What a day of running gives less than the rating, and why.
fn shortfall(look: &Look<'_>) -> Option<Markup> {
    const PARTS: [(&str, Metric); 5] = [
        ("Feed pressure", Metric::ShortfallPressure),
        ("Back-pressure", Metric::ShortfallBackPressure),
        ("Temperature", Metric::ShortfallTemperature),
        ("Salinity", Metric::ShortfallSalinity),
        ("The membrane itself", Metric::ShortfallMembrane),
    ];
    let shown = Shown::of(look.settings.display, Metric::Shortfall.description());
    let value = |metric: Metric| Some(shown.value(look.values.of(metric).ok()?.value));
    let rated = shown.value(look.settings.membrane.as_ref()?.flow.l_per_day());
    let parts: Option<Vec<(String, f64)>> = (PARTS.into_iter())
        .map(|(name, metric)| Some((name.to_owned(), -value(metric)?)))
        .collect();
    let picture = Contributions {
        id: "shortfall".to_owned(),
        title: "What a day of running gives, and what it lacks of the rating".to_owned(),
        unit: shown.unit.to_owned(),
        decimals: 0,
        start: ("As rated".to_owned(), rated),
        parts: parts?,
        end: ("As it is".to_owned(), rated - value(Metric::Shortfall)?),
    };
    Some(html! { div .shortfall { (picture.draw()) } })
}
