//! What is allowed in a unit's settings but rarely meant: mistyped units, lost zeros, ratios upside down,
//! limits that what was written as usual is beyond of. The usual ranges are common practice, no source,
//! and wide: a suspicion that is mostly wrong is not read any more.

use std::{ops::RangeInclusive, time::Duration};

use super::{odd_sensors, pressure, sensors, short};
use crate::{
    config::{StageKind, UnitSettings},
    quantity::{Conductivity, Pressure, Temperature, duration_text},
};

/// What stands in homes, with or without a pump; 125 psi is what most housings are rated for.
pub(super) const USUAL_BAR: RangeInclusive<f64> = 1.5..=8.7;
/// Tap water from a mountain's winter to a desert's summer.
pub(super) const USUAL_CELSIUS: RangeInclusive<f64> = 2.0..=32.0;
const DAY: f64 = 86_400.0;

/// All of it, a sentence each, what is likelier to do harm first.
pub(super) fn suspicions(unit: &UnitSettings) -> Vec<String> {
    let mut found = supply(unit);
    found.extend(membrane(unit));
    found.extend(stages(unit));
    found.extend(run(unit));
    found.extend(sensors::cautions(unit));
    found.extend(odd_sensors::suspicions(unit));
    found.extend(limits(unit));
    found
}

fn supply(unit: &UnitSettings) -> Vec<String> {
    let (supply, id) = (&unit.supply, &unit.table);
    let place = |key: &str| format!("{key} in [unit.{id}.supply]");
    let ratio = supply.waste_ratio.and_then(|ratio| match ratio {
        ..0.6 => Some(format!(
            "{} is {}: more product than waste. If the maker writes {}:1, waste to product, write it so",
            place("waste_ratio"),
            short(ratio),
            short(1.0 / ratio)
        )),
        15.0.. => Some(format!(
            "{} is {}: of so much waste little is product; 1 to 5 is usual",
            place("waste_ratio"),
            short(ratio)
        )),
        _ => None,
    });
    let tds = supply.conductivity.and_then(|conductivity| {
        let tds = unit.tds_scale.tds(conductivity).mg_per_l();
        (!is_usual_feed(unit, conductivity)).then(|| {
            format!(
                "the feed in [unit.{id}.supply] has {} mg/L; tap water has 20 to 1000. Is the unit right?",
                short(tds)
            )
        })
    });
    [
        supply
            .pressure
            .and_then(|bar| odd_pressure(&place("pressure"), bar)),
        supply
            .temperature
            .and_then(|temperature| odd_temperature(&place("temperature"), temperature)),
        tds,
        ratio,
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// From rain to what no home membrane is made for.
fn is_usual_feed(unit: &UnitSettings, feed: Conductivity) -> bool {
    (5.0..=2000.0).contains(&unit.tds_scale.tds(feed).mg_per_l())
}

fn odd_pressure(place: &str, found: Pressure) -> Option<String> {
    if USUAL_BAR.contains(&found.bar()) {
        return None;
    }
    let meant = if USUAL_BAR.contains(&found.psi()) {
        format!(". Is it {} bar?", short(found.psi()))
    } else {
        ". Is the unit right?".to_owned()
    };
    Some(format!(
        "{place} is {}; 2 to 8 bar (30 to 115 psi) is usual{meant}",
        pressure(found)
    ))
}

fn odd_temperature(place: &str, found: Temperature) -> Option<String> {
    let celsius = found.celsius();
    if USUAL_CELSIUS.contains(&celsius) {
        return None;
    }
    let meant = Temperature::from_fahrenheit(celsius);
    let meant = if USUAL_CELSIUS.contains(&meant.celsius()) {
        format!(
            " If {} degF is meant, that is {:.0} °C",
            short(celsius),
            meant.celsius()
        )
    } else {
        " Is the unit right?".to_owned()
    };
    Some(format!(
        "{place} is {} °C; tap water has 4 to 28.{meant}",
        short(celsius)
    ))
}

/// Gallons a day by which elements are called.
const SIZES: [f64; 10] = [
    24.0, 36.0, 50.0, 75.0, 80.0, 100.0, 150.0, 200.0, 300.0, 400.0,
];

fn membrane(unit: &UnitSettings) -> Vec<String> {
    let Some(rating) = &unit.membrane else {
        return Vec::new();
    };
    let place = |key: &str| format!("{key} in [unit.{}.membrane]", unit.table);
    let (litres, gallons) = (rating.flow.l_per_day(), rating.flow.gal_per_day());
    let is_size = |number: f64| SIZES.iter().any(|size| (size - number).abs() < 0.3);
    let in_litres = |size: &&f64| (**size * 3.785_411_784 - gallons).abs() < 1.0;
    let flow = if is_size(litres) && litres < 160.0 {
        Some(format!(
            "{} is {litres:.0} L/d; elements are called by gallons a day: {litres:.0} gal/d would be {:.0} L/d",
            place("rated_flow"),
            litres * 3.785_411_784
        ))
    } else {
        let size = SIZES.iter().find(in_litres);
        size.filter(|_| !is_size(gallons)).map(|size| {
            format!(
                "{} is {gallons:.0} gal/d; {gallons:.0} L/d would be an element of {size} gal/d",
                place("rated_flow")
            )
        })
    };
    let recovery = (rating.recovery > 0.5).then(|| {
        format!(
            "{} is {} %; home elements are tested at 10 to 30 %",
            place("rated_recovery"),
            short(rating.recovery * 100.0)
        )
    });
    let rejection = rating.rejection.filter(|rejection| *rejection < 0.8);
    let rejection = rejection.map(|rejection| {
        format!(
            "{} is {} %; 90 to 99 % is usual",
            place("rated_rejection"),
            short(rejection * 100.0)
        )
    });
    let temperature = rating.temperature;
    [
        flow,
        odd_pressure(&place("rated_pressure"), rating.pressure),
        odd_temperature(&place("rated_temperature"), temperature),
        recovery,
        rejection,
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// From a small insert to a tank: litres of the water the stage sees, and days.
fn usual_life(kind: StageKind) -> Option<(RangeInclusive<f64>, RangeInclusive<f64>)> {
    match kind {
        StageKind::Sediment | StageKind::Carbon | StageKind::CatalyticCarbon => {
            Some((500.0..=500_000.0, 20.0..=1500.0))
        }
        StageKind::Membrane => Some((2000.0..=500_000.0, 180.0..=3700.0)),
        StageKind::Anion | StageKind::Cation | StageKind::MixedBed => {
            Some((20.0..=50_000.0, 14.0..=1500.0))
        }
        StageKind::BoosterPump => None,
    }
}

fn stages(unit: &UnitSettings) -> Vec<String> {
    let mut found = Vec::new();
    for stage in &unit.stages {
        let Some((litres, days)) = usual_life(stage.kind) else {
            continue;
        };
        let kind = stage.kind.key();
        if let Some(life) = stage
            .life_volume
            .filter(|life| !litres.contains(&life.litres()))
        {
            found.push(format!(
                "life of stage {} is {} L; of {kind} {:.0} to {:.0} L is usual (1 m3 is 1000 L, 1 gal 3.785 L)",
                stage.id,
                short(life.litres()),
                litres.start(),
                litres.end()
            ));
        }
        let is_odd = |life: &Duration| !days.contains(&(life.as_secs_f64() / DAY));
        if let Some(life) = stage.life_time.filter(is_odd) {
            found.push(format!(
                "life_time of stage {} is {}; of {kind} {:.0} to {:.0} d is usual",
                stage.id,
                duration_text(life),
                days.start(),
                days.end()
            ));
        }
    }
    let has_membrane = unit
        .stages
        .iter()
        .any(|stage| stage.kind == StageKind::Membrane);
    if unit.membrane.is_some() && !unit.stages.is_empty() && !has_membrane {
        found.push(format!(
            "the train of unit {} has no stage of kind membrane: all of its stages are taken to stand before \
             it and to see the whole feed",
            unit.id
        ));
    }
    found
}

fn run(unit: &UnitSettings) -> Vec<String> {
    let (run, id) = (&unit.run, &unit.table);
    let rated = unit.membrane.as_ref().map(|rating| rating.flow);
    let flow = rated.filter(|rated| run.start_flow.l_per_min() > 0.7 * rated.l_per_min());
    let flow = flow.map(|rated| {
        format!(
            "start_flow in [unit.{id}.run] is {} L/min, near the {} L/min that the membrane is rated at: in cold \
             water no run would be seen",
            short(run.start_flow.l_per_min()),
            short(rated.l_per_min())
        )
    });
    let start = run.start_pressure.zip(unit.supply.pressure);
    let start = start.filter(|(start, supply)| start.bar() >= supply.bar());
    let start = start.map(|(start, supply)| {
        format!(
            "start_pressure in [unit.{id}.run] is {}, and the supply has {}: no run would be seen",
            pressure(start),
            pressure(supply)
        )
    });
    flow.into_iter().chain(start).collect()
}

/// Limits that what was written as usual is beyond of: the alert would be there all the time.
fn limits(unit: &UnitSettings) -> Vec<String> {
    let (alerts, supply) = (&unit.alerts, &unit.supply);
    let mut found = Vec::new();
    let mut add = |code: &str, limit: String, usual: String| {
        found.push(format!(
            "the alert {code} would be there all the time: its limit is {limit}, and {usual}"
        ));
    };
    let boosted = |kind: &StageKind| *kind == StageKind::BoosterPump;
    let is_boosted = unit.stages.iter().any(|stage| boosted(&stage.kind));
    // What is odd itself has been told.
    let usual = supply
        .pressure
        .filter(|usual| USUAL_BAR.contains(&usual.bar()));
    if let Some(usual) = usual {
        let has = format!("the supply has {}", pressure(usual));
        let low = alerts.feed_pressure_low.as_ref().map(|limit| limit.raise);
        if let Some(low) = low.filter(|low| low.bar() > usual.bar() && !is_boosted) {
            add("feed_pressure_low", pressure(low), has.clone());
        }
        let high = alerts.feed_pressure_high.as_ref().map(|limit| limit.raise);
        if let Some(high) = high.filter(|high| high.bar() < usual.bar()) {
            add("feed_pressure_high", pressure(high), has);
        }
    }
    let permeate = alerts.permeate_tds_high.as_ref().map(|limit| limit.raise);
    let feed = supply
        .conductivity
        .filter(|feed| is_usual_feed(unit, *feed));
    if let Some((limit, feed)) = permeate.zip(feed)
        && limit.us_per_cm() >= feed.us_per_cm()
    {
        found.push(format!(
            "the alert permeate_tds_high would never come: its limit is {} mg/L, and the feed has {}",
            short(unit.tds_scale.tds(limit).mg_per_l()),
            short(unit.tds_scale.tds(feed).mg_per_l())
        ));
    }
    let mut add = |code: &str, limit: String, usual: String| {
        found.push(format!(
            "the alert {code} would be there all the time: its limits are {limit}, and {usual}"
        ));
    };
    let band = alerts.hydraulics.feed_temperature_out_of_range.as_ref();
    let is_usual = |usual: &Temperature| USUAL_CELSIUS.contains(&usual.celsius());
    if let Some((band, usual)) = band.zip(supply.temperature.filter(is_usual)) {
        let (low, high) = (band.low.celsius(), band.high.celsius());
        if !(low..=high).contains(&usual.celsius()) {
            add(
                "feed_temperature_out_of_range",
                format!("{} and {} °C", short(low), short(high)),
                format!("the supply has {} °C", short(usual.celsius())),
            );
        }
    }
    let band = alerts.hydraulics.recovery_out_of_range.as_ref();
    if let Some((band, ratio)) = band.zip(supply.waste_ratio) {
        let recovery = 1.0 / (1.0 + ratio);
        if !(band.low..=band.high).contains(&recovery) {
            add(
                "recovery_out_of_range",
                format!(
                    "{} and {} %",
                    short(band.low * 100.0),
                    short(band.high * 100.0)
                ),
                format!(
                    "a waste ratio of {} is {} %",
                    short(ratio),
                    short(recovery * 100.0)
                ),
            );
        }
    }
    found
}
