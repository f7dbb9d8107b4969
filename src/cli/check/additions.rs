//! What one more sensor or one more key would give: each is added to the settings and the core is
//! asked again.

use std::time::Duration;

use super::{
    effort::{cuts_a_tube, effort},
    probe::{Answer, ask},
    rows,
};
use crate::{
    config::{
        Conversion, Curve, Measure, Membrane, Point, Probe, RateConversion, Sensed, SensorSettings,
        Storage, UnitSettings,
    },
    core::{Basis, Lack},
    metrics::Metric,
    quantity::{Flow, Pressure, Quantity, TdsScale, Temperature, Unit, Volume},
};

/// Settings with something added.
struct Addition {
    /// `A sensor at permeate_flow`, `waste_ratio in [unit.kitchen.supply]`.
    what: String,
    /// Where a sensor would go.
    point: Option<Point>,
    settings: UnitSettings,
}

/// The sensor, and the key, that would add most; a line each, if there is any.
pub(super) fn suggestions(unit: &UnitSettings, now: &Answer) -> Vec<String> {
    let found = now.found();
    [sensors(unit), keys(unit)]
        .into_iter()
        .filter_map(|additions| best(&found, &additions))
        .collect()
}

/// Everything that keeps the core from giving a metric, in its own words: what it asks for is
/// added until it asks for nothing more.
pub(super) fn lacks(unit: &UnitSettings, metric: Metric, first: Lack) -> Vec<String> {
    let mut lack = first;
    let mut told = Vec::new();
    let mut settings = unit.clone();
    loop {
        let words = lack.to_string();
        // What only use brings is no lack of the configuration.
        let comes_by_itself = lack == Lack::TooEarly && !told.is_empty();
        if comes_by_itself || told.contains(&words) {
            return told;
        }
        told.push(words);
        match lack {
            Lack::NoSensor(point) => add_sensor(&mut settings, point),
            Lack::NoReference => settings.membrane = Some(plain_membrane()),
            // No sensor to add follows from these.
            Lack::NoRunSign
            | Lack::Doubted(_)
            | Lack::BalanceOpen
            | Lack::Boosted
            | Lack::NoLife
            | Lack::NoPrice
            | Lack::BelowRange(_)
            | Lack::Implausible(_)
            | Lack::Unconfirmed(_)
            | Lack::NotHeard(_)
            | Lack::Offline(_)
            | Lack::Silent(_)
            | Lack::NotProducing
            | Lack::NotInSight
            | Lack::NotPhysical
            | Lack::TooEarly
            | Lack::Untested
            | Lack::NoAnalysis
            | Lack::NoCarbon
            | Lack::NoDate => return told,
        }
        match ask(&settings).values.of(metric) {
            Ok(_) => return told,
            Err(next) => lack = next,
        }
    }
}

fn best(found: &[(String, Basis)], additions: &[Addition]) -> Option<String> {
    let gains = additions.iter().map(|addition| {
        let then = ask(&addition.settings).found();
        // What is known without any sensor only repeats what is written.
        let mut written = addition.settings.clone();
        written.sensors.clear();
        let echo = ask(&written).found();
        let (mut gives, mut surer) = (Vec::new(), Vec::new());
        for (name, basis) in then {
            match found.iter().find(|(known, _)| *known == name) {
                None if echo.iter().any(|(known, _)| *known == name) => {}
                None => gives.push(name),
                Some((_, before)) if basis < *before => surer.push(name),
                Some(_) => {}
            }
        }
        (addition, gives, surer)
    });
    let (addition, gives, surer) = gains
        .filter(|(_, gives, surer)| !gives.is_empty() || !surer.is_empty())
        // The earlier one wins a tie.
        .reduce(|best, next| {
            let weight =
                |gives: &[String], surer: &[String]| (gives.len() + surer.len(), gives.len());
            if weight(&next.1, &next.2) > weight(&best.1, &best.2) {
                next
            } else {
                best
            }
        })?;
    let part = |names: Vec<String>, words: &str| {
        (!names.is_empty()).then(|| format!("{words} {}", rows::in_words(&names)))
    };
    let parts: Vec<String> = [part(gives, "it gives"), part(surer, "it makes surer")]
        .into_iter()
        .flatten()
        .collect();
    let way = addition.point.map(|point| {
        let off = if cuts_a_tube(point) {
            ". Shut the supply and let the pressure off before a tube is cut"
        } else {
            ""
        };
        format!(". It takes {}{off}", effort(point))
    });
    Some(format!(
        "{} would add most: {}{}",
        addition.what,
        parts.join("; "),
        way.unwrap_or_default()
    ))
}

/// A plain sensor at each point that has none.
fn sensors(unit: &UnitSettings) -> Vec<Addition> {
    let free = |point: &Point| {
        *point != Point::StageTds && unit.sensors.iter().all(|sensor| sensor.at != *point)
    };
    let addition = |point: Point| {
        let mut settings = unit.clone();
        add_sensor(&mut settings, point);
        Addition {
            what: format!("A sensor at {}", point.key()),
            point: Some(point),
            settings,
        }
    };
    Point::ALL.into_iter().filter(free).map(addition).collect()
}

/// Each key that stands in for a sensor or a data sheet and is not written.
fn keys(unit: &UnitSettings) -> Vec<Addition> {
    let mut additions = Vec::new();
    let mut add = |missing: bool, key: &str, table: &str, write: &dyn Fn(&mut UnitSettings)| {
        if missing {
            let mut settings = unit.clone();
            write(&mut settings);
            additions.push(Addition {
                what: format!(
                    "Without another sensor, {key} in [unit.{}.{table}]",
                    unit.table
                ),
                point: None,
                settings,
            });
        }
    };
    let supply = &unit.supply;
    add(
        supply.waste_ratio.is_none(),
        "waste_ratio",
        "supply",
        &|unit| unit.supply.waste_ratio = Some(4.0),
    );
    add(supply.conductivity.is_none(), "tds", "supply", &|unit| {
        unit.supply.conductivity = Some(plain_membrane().conductivity);
    });
    add(
        supply.temperature.is_none(),
        "temperature",
        "supply",
        &|unit| unit.supply.temperature = Some(Temperature::from_celsius(18.0)),
    );
    add(supply.pressure.is_none(), "pressure", "supply", &|unit| {
        unit.supply.pressure = Some(plain_membrane().pressure);
    });
    add(unit.membrane.is_none(), "the rating", "membrane", &|unit| {
        unit.membrane = Some(plain_membrane())
    });
    add(
        unit.storage == Storage::Unstated,
        "kind",
        "storage",
        &|unit| unit.storage = Storage::Open,
    );
    add(
        unit.storage == Storage::Pressurised(None),
        "pressure",
        "storage",
        &|unit| unit.storage = Storage::Pressurised(Some(Pressure::from_bar(2.0))),
    );
    add(
        unit.run.start_pressure.is_none(),
        "start_pressure",
        "run",
        &|unit| unit.run.start_pressure = Some(Pressure::from_bar(2.0)),
    );
    additions
}

/// A small element with an ordinary test.
fn plain_membrane() -> Membrane {
    Membrane {
        flow: Flow::from_gal_per_day(75.0),
        pressure: Pressure::from_psi(60.0),
        temperature: Temperature::from_celsius(25.0),
        conductivity: TdsScale::NACL.conductivity(crate::quantity::Tds::from_mg_per_l(250.0)),
        recovery: 0.15,
        rejection: None,
        baseline_runs: 5,
        break_in_time: std::time::Duration::ZERO,
        break_in_volume: crate::quantity::Volume::ZERO,
    }
}

fn add_sensor(unit: &mut UnitSettings, at: Point) {
    let gauge = |units: &'static [Unit], probe| {
        units.first().map(|unit| Measure::Gauge {
            convert: Conversion {
                curve: Curve::IDENTITY,
                unit,
            },
            probe,
        })
    };
    let measure = match at.sensed() {
        Sensed::Contact => Some(Measure::Contact {
            on: vec!["on".to_owned()],
            off: vec!["off".to_owned()],
        }),
        Sensed::Flow => Flow::UNITS.first().map(|unit| Measure::Rate {
            convert: RateConversion::Flow(Conversion {
                curve: Curve::IDENTITY,
                unit,
            }),
            minimum: Flow::ZERO,
            maximum: Flow::from_l_per_min(100.0),
        }),
        Sensed::Dissolved => gauge(
            crate::quantity::Conductivity::UNITS,
            Some(Probe {
                scale: None,
                compensated: true,
            }),
        ),
        Sensed::Pressure => gauge(Pressure::UNITS, None),
        Sensed::Temperature => gauge(Temperature::UNITS, None),
        Sensed::Volume => gauge(Volume::UNITS, None),
    };
    let Some(measure) = measure else {
        return;
    };
    unit.sensors.push(SensorSettings {
        id: at.key().to_owned(),
        at,
        after_stage: None,
        topic: crate::config::Topic::new(at.key()),
        pointer: None,
        time_pointer: None,
        measure,
        max_age: Duration::from_secs(600),
        plausible: None,
        smoothing: 1,
        spare: false,
        availability: None,
    });
}
