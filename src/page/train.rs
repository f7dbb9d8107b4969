//! The train as a flow from supply to storage: the water's values where they are measured or follow, and
//! in each vessel what is left of it.

use maud::{Markup, html};

use super::{
    figures::{basis, figure, legend, missing, missing_in_place, number},
    frame,
    unit::{Look, left},
    words,
};
use crate::{
    config::{Point, StageKind, Storage},
    core::{Finding, Lack, StageFindings},
    metrics::{Description, Metric, StageMetric},
};

/// A train with more than so many places is drawn downwards on every screen.
const MOST_ABREAST: usize = 10;

pub(super) fn section(look: &Look<'_>) -> Markup {
    let places = places(look);
    let flows = look.unit.run_state().makes_water();
    let body = html! {
        ol class={
            "way" @if flows { " flowing" } @if places.len() > MOST_ABREAST { " long" }
        } {
            @for place in &places { (place) }
        }
        (legend())
    };
    frame::wide("train", "From supply to storage", &body)
}

fn places(look: &Look<'_>) -> Vec<Markup> {
    let stages = &look.settings.stages;
    let membrane = (stages.iter()).position(|stage| stage.kind == StageKind::Membrane);
    let has_filters = membrane.unwrap_or(stages.len()) > 0;
    let mut places = Vec::new();
    let mut supply = vec![
        Metric::SupplyPressure,
        Metric::FeedTemperature,
        Metric::FeedTds,
        Metric::FeedFlow,
    ];
    let at_membrane = [Metric::FeedPressure];
    if !has_filters || membrane.is_none() {
        supply.extend(at_membrane);
    }
    places.push(water(
        look,
        "Supply",
        &supply,
        &[(Point::InletValve, "inlet valve")],
        None,
    ));
    for (index, stage) in stages.iter().enumerate() {
        if Some(index) == membrane && has_filters {
            places.extend(water_if_any(look, "Feed", &at_membrane));
        }
        let found = look.stages.get(index);
        places.push(vessel(look, index, found));
        let is_last_membrane = stage.kind == StageKind::Membrane
            && !stages[index + 1..]
                .iter()
                .any(|later| later.kind == StageKind::Membrane);
        if is_last_membrane {
            places.extend(water_if_any(
                look,
                "Permeate",
                &[
                    Metric::PermeateFlow,
                    Metric::PermeateTds,
                    Metric::PermeatePressure,
                ],
            ));
        }
    }
    let mut product = vec![Metric::ProductTds, Metric::StorageLevel];
    if membrane.is_none() {
        product.splice(0..0, [Metric::PermeateFlow, Metric::PermeateTds]);
    }
    let kind = match look.settings.storage {
        Storage::Unstated => None,
        Storage::Open => Some("open"),
        Storage::Pressurised(_) => Some("pressure tank"),
    };
    places.push(water(
        look,
        "Storage",
        &product,
        &[(Point::Leak, "leak sensor")],
        kind,
    ));
    places
}

fn water_if_any(look: &Look<'_>, name: &str, metrics: &[Metric]) -> Option<Markup> {
    let any = metrics.iter().any(|metric| look.can_give(*metric));
    any.then(|| water(look, name, metrics, &[], None))
}

/// A place where the water has values.
fn water(
    look: &Look<'_>,
    name: &str,
    metrics: &[Metric],
    contacts: &[(Point, &str)],
    kind: Option<&str>,
) -> Markup {
    html! {
        li .water {
            span .mark aria-hidden="true" { span .node {} }
            div .text {
                p .name { (name) }
                @if let Some(kind) = kind { p .fine { (kind) } }
                (values(look, metrics))
                (switches(look, contacts))
            }
        }
    }
}

fn values(look: &Look<'_>, metrics: &[Metric]) -> Markup {
    let shown = metrics.iter().filter(|metric| look.can_give(**metric));
    html! {
        @for metric in shown {
            (value(look, metric.description(), look.values.of(*metric)))
        }
    }
}

/// A value in its place. Its unit tells what it is; for those who hear the page, its name does.
fn value(look: &Look<'_>, description: &Description, found: Finding<f64>) -> Markup {
    let named = [
        ("pressure_bar", "pressure"),
        ("temperature_c", "temperature"),
        ("flow_l_min", "flow"),
        ("level_l", "level"),
    ];
    let name = named
        .iter()
        .find(|(end, _)| description.name.ends_with(end));
    html! {
        p .value {
            @match (name, found) {
                (Some((_, name)), Ok(_)) => {
                    span .unseen { (name) " " }
                    (figure(look.settings.display, description, found))
                }
                (Some((_, name)), Err(lack)) => { span .what { (name) " " } (missing_in_place(lack)) }
                (None, Ok(_)) => {
                    span .what { "TDS " }
                    (figure(look.settings.display, description, found))
                }
                (None, Err(lack)) => { span .what { "TDS " } (missing_in_place(lack)) }
            }
        }
    }
}

fn switches(look: &Look<'_>, contacts: &[(Point, &str)]) -> Markup {
    let there = look.unit.contacts(look.now.mono);
    html! {
        @for (point, found) in there {
            @if let Some((_, word)) = contacts.iter().find(|(of, _)| *of == point) {
                p .value {
                    span .what { (word) " " }
                    @match found {
                        Ok(known) => { span .figure { (said(point, known.value)) (basis(known.basis)) } }
                        Err(lack) => { (missing_in_place(lack)) }
                    }
                }
            }
        }
    }
}

fn said(point: Point, on: bool) -> &'static str {
    match (point, on) {
        (Point::InletValve | Point::FlushValve, true) => "open",
        (Point::InletValve | Point::FlushValve, false) => "closed",
        (Point::Leak, true) => "wet",
        (Point::Leak, false) => "dry",
        (_, true) => "on",
        (_, false) => "off",
    }
}

/// A stage: how full it stands is what is left of it.
fn vessel(look: &Look<'_>, index: usize, found: Option<&StageFindings>) -> Markup {
    let Some(stage) = look.settings.stages.get(index) else {
        return html! {};
    };
    let of = |metric: StageMetric| found.and_then(|found| left(found, metric));
    let is_pump = stage.kind == StageKind::BoosterPump;
    let is_membrane = stage.kind == StageKind::Membrane;
    let contacts: &[(Point, &str)] = match stage.kind {
        StageKind::BoosterPump => &[(Point::Pump, "pump")],
        StageKind::Membrane => &[(Point::FlushValve, "flush valve")],
        StageKind::Anion
        | StageKind::Carbon
        | StageKind::CatalyticCarbon
        | StageKind::Cation
        | StageKind::MixedBed
        | StageKind::Sediment => &[],
    };
    html! {
        li class={ "stage" @if is_membrane { " membrane" } } {
            span .mark aria-hidden="true" {
                @if is_pump { (pump()) } @else { (drawn(
                    of(StageMetric::Left),
                    of(StageMetric::LeftLow).zip(of(StageMetric::LeftHigh)),
                    is_membrane,
                )) }
            }
            div .text {
                p .name { bdi { (stage.name) } }
                @if let Some(found) = found { (rest(look, found, is_pump)) }
                (switches(look, contacts))
                @if is_membrane { (drain(look)) }
            }
        }
    }
}

/// What is left of it, in words.
fn rest(look: &Look<'_>, found: &StageFindings, is_pump: bool) -> Markup {
    let days = left(found, StageMetric::LeftTime);
    let tds = found.of(StageMetric::Tds);
    html! {
        @match found.of(StageMetric::Left) {
            Ok(known) => {
                p .left {
                    span .figure {
                        (number(known.value, 0)) "\u{a0}%"
                        span .what { " left" }
                        (basis(known.basis))
                    }
                }
            }
            // A stage whose life nobody configured has nothing to tell.
            Err(lack) if lack.is_permanent() => {
                @if !is_pump { p .fine { "no life configured" } }
            }
            Err(lack) => { p .left { (missing(lack)) } }
        }
        @if let Some(days) = days.filter(|days| *days > 0.0) {
            p .fine { "about " (words::days_ahead(days)) }
        }
        @if !tds.is_err_and(Lack::is_permanent) {
            div .behind { (value(look, StageMetric::Tds.description(), tds)) }
        }
    }
}

/// What leaves the membrane for the drain.
fn drain(look: &Look<'_>) -> Markup {
    let metrics = [
        Metric::ConcentrateFlow,
        Metric::ConcentrateTds,
        Metric::ConcentratePressure,
    ];
    if !metrics.iter().any(|metric| look.can_give(*metric)) {
        return html! {};
    }
    html! {
        div .drain {
            p .name { span aria-hidden="true" { "↓ " } "To the drain" }
            (values(look, &metrics))
        }
    }
}

/// A vessel of 40 by 64 whose level is what is left, with the band within which it lies.
fn drawn(left: Option<f64>, band: Option<(f64, f64)>, is_membrane: bool) -> Markup {
    const TOP: f64 = 4.0;
    const HEIGHT: f64 = 60.0;
    let level = |percent: f64| HEIGHT * percent.clamp(0.0, 100.0) / 100.0;
    let low = left.is_some_and(|left| left < 10.0);
    let surely = band.map(|(least, _)| least).or(left);
    html! {
        svg .vessel.low[low] viewBox="0 0 44 68" width="44" height="68" focusable="false" {
            rect .shell x="2" y=(TOP) width="40" height=(HEIGHT) rx="7" {}
            @if let Some((least, most)) = band {
                rect .band x="4" y=(rounded(TOP + HEIGHT - level(most)))
                    width="36" height=(rounded(level(most) - level(least).min(level(most)))) {}
            }
            @if let Some(surely) = surely {
                rect .fill x="4" y=(rounded(TOP + HEIGHT - level(surely)))
                    width="36" height=(rounded(level(surely))) rx="4" {}
            } @else {
                path .unknown d="M14 34h16" {}
            }
            @if let Some(left) = left.filter(|_| band.is_some()) {
                @let y = rounded(TOP + HEIGHT - level(left));
                line .level x1="4" x2="40" y1=(y) y2=(y) {}
            }
            @if is_membrane { path .weave d="M4 62L40 6" {} }
            rect .rim x="2" y=(TOP) width="40" height=(HEIGHT) rx="7" {}
        }
    }
}

fn pump() -> Markup {
    html! {
        svg .vessel viewBox="0 0 44 68" width="44" height="68" focusable="false" {
            circle .shell cx="22" cy="34" r="17" {}
            path .weave d="M15 24L38 34L15 44" {}
            circle .rim cx="22" cy="34" r="17" {}
        }
    }
}

fn rounded(value: f64) -> String {
    format!("{value:.1}")
}
