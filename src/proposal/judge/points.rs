//! Where in the train a value may come from, by the names around it and, where these leave two, by its
//! size.

use super::super::{
    finding::Sureness,
    words::{self, Place},
};
use crate::config::{Point, Sensed};

/// The points a value may sit at.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sites {
    /// The likeliest first; empty where no point of ours fits.
    pub(super) points: Vec<Point>,
    pub(super) sureness: Sureness,
    pub(super) reason: Option<String>,
    pub(super) decide: Option<&'static str>,
}

impl Sites {
    fn at(point: Point, sureness: Sureness) -> Self {
        Self {
            points: vec![point],
            sureness,
            reason: None,
            decide: None,
        }
    }

    fn among(points: &[Point], decide: &'static str) -> Self {
        Self {
            points: points.to_vec(),
            sureness: Sureness::Doubtful,
            reason: None,
            decide: Some(decide),
        }
    }

    fn none() -> Self {
        Self {
            points: Vec::new(),
            sureness: Sureness::Doubtful,
            reason: None,
            decide: None,
        }
    }
}

/// Tap water has more, permeate of a sound membrane less (common practice, no source).
const TAP_MG_PER_L: f64 = 60.0;

const DISSOLVED: &str = "before the membrane it is feed_tds, between membrane and DI permeate_tds, after the last DI \
     product_tds";
const PRESSURE: &str =
    "before the pre-filters it is supply_pressure, after them (at the membrane) feed_pressure";
const FLOW: &str = "which water it meters: all that comes in is feed_flow, the product permeate_flow, the waste \
     concentrate_flow";

/// The points for what is sensed; `names` name the value, `around` its board, `high` is its highest
/// number.
pub(super) fn sites(
    sensed: Sensed,
    names: &[String],
    around: &[String],
    high: Option<f64>,
) -> Sites {
    let (place, is_near) = match place(names) {
        // A board called "ro" says nothing of where in it.
        Named::None => {
            let around = around.iter().filter(|word| !words::is_in(word, "ro di"));
            (place(&around.cloned().collect::<Vec<_>>()), false)
        }
        named => (named, true),
    };
    let is_near = is_near || sensed == Sensed::Contact || matches!(place, Named::None);
    let mut sites = match sensed {
        Sensed::Dissolved => dissolved(place.place(), high),
        Sensed::Pressure => pressure(place.place()),
        Sensed::Temperature => temperature(place.place()),
        Sensed::Flow => flow(place.place()),
        Sensed::Contact => contact(place.place(), names, around),
        Sensed::Volume => Sites::at(Point::StorageLevel, Sureness::Sure),
    };
    match &place {
        Named::One(place, word) => sites.reason = Some(format!("{word:?} names {}", place.text())),
        Named::Several(several) => {
            sites.sureness = Sureness::Doubtful;
            sites.reason = Some(format!("the name speaks of {several}"));
            sites
                .decide
                .get_or_insert("which of the places it names it sits at");
        }
        Named::None => {}
    }
    if !is_near {
        sites.sureness = sites.sureness.min(Sureness::Likely);
    }
    sites
}

/// What the names say of the place.
enum Named {
    None,
    One(Place, String),
    /// More than one, in words.
    Several(String),
}

impl Named {
    fn place(&self) -> Option<Place> {
        match self {
            Self::One(place, _) => Some(*place),
            Self::None | Self::Several(_) => None,
        }
    }
}

fn place(names: &[String]) -> Named {
    let has = |word: &str| names.iter().any(|name| name == word);
    let (before, after) = (has("before") || has("pre"), has("after") || has("post"));
    // "after RO" and "before DI" are the permeate, and so on; "RO" alone is its output.
    let crossing = match (has("ro"), has("di"), before, after) {
        (true, false, true, _) => Some((Place::Feed, "before RO")),
        (true, false, false, true) => Some((Place::Permeate, "after RO")),
        (false, true, true, _) => Some((Place::Permeate, "before DI")),
        (false, true, false, true) => Some((Place::Product, "after DI")),
        _ => None,
    };
    if let Some((place, word)) = crossing {
        return Named::One(place, word.to_owned());
    }
    let found = words::places(names);
    let ends = [Place::In, Place::Out];
    let strong: Vec<_> = found
        .iter()
        .filter(|(place, _)| !ends.contains(place))
        .collect();
    let strong: Vec<_> = if strong.len() > 1 {
        // "membrane feed" is the feed, not what the membrane gives.
        strong
            .into_iter()
            .filter(|(_, word)| *word != "membrane")
            .collect()
    } else {
        strong
    };
    match (strong.as_slice(), found.first()) {
        ([(place, word)], _) => Named::One(*place, (*word).to_owned()),
        ([], Some((place, word))) => {
            // "ro out", "di out": the end of what?
            match (place, has("ro"), has("di")) {
                (Place::Out, true, false) => Named::One(Place::Permeate, "RO out".to_owned()),
                (Place::Out, false, true) => Named::One(Place::Product, "DI out".to_owned()),
                (Place::In, true, false) => Named::One(Place::Feed, "RO in".to_owned()),
                (Place::In, false, true) => Named::One(Place::Permeate, "DI in".to_owned()),
                _ => Named::One(*place, (*word).to_owned()),
            }
        }
        ([], None) if has("ro") && !has("di") && names.len() > 1 => {
            Named::One(Place::Permeate, "ro".to_owned())
        }
        ([], None) if has("di") && names.len() > 1 => Named::One(Place::Product, "di".to_owned()),
        ([], None) => Named::None,
        (several, _) => Named::Several(
            several
                .iter()
                .map(|(place, _)| place.text())
                .collect::<Vec<_>>()
                .join(" and "),
        ),
    }
}

fn dissolved(place: Option<Place>, high: Option<f64>) -> Sites {
    let is_tap = high.is_some_and(|high| high >= TAP_MG_PER_L);
    match place {
        Some(Place::Feed | Place::Supply) => Sites::at(Point::FeedTds, Sureness::Sure),
        Some(Place::Permeate) => Sites::at(Point::PermeateTds, Sureness::Sure),
        Some(Place::Product) => Sites::at(Point::ProductTds, Sureness::Sure),
        Some(Place::Concentrate) => Sites::at(Point::ConcentrateTds, Sureness::Sure),
        Some(Place::BehindStage) => Sites::among(
            &[Point::StageTds, Point::FeedTds],
            "name the stage it sits behind",
        ),
        Some(Place::Storage) => Sites::among(
            &[Point::ProductTds],
            "what stands in the storage is not what flows: product_tds sits in the line",
        ),
        Some(Place::In) if is_tap => Sites::at(Point::FeedTds, Sureness::Likely),
        Some(Place::In) => Sites::among(&[Point::FeedTds, Point::PermeateTds], DISSOLVED),
        Some(Place::Out) => Sites::among(&[Point::PermeateTds, Point::ProductTds], DISSOLVED),
        Some(Place::Pump) | None if is_tap => {
            Sites::among(&[Point::FeedTds, Point::PermeateTds], DISSOLVED)
        }
        Some(Place::Pump) | None => Sites::among(
            &[Point::PermeateTds, Point::ProductTds, Point::FeedTds],
            DISSOLVED,
        ),
    }
}

fn pressure(place: Option<Place>) -> Sites {
    match place {
        Some(Place::Supply) => Sites::at(Point::SupplyPressure, Sureness::Sure),
        Some(Place::Feed) => Sites::at(Point::FeedPressure, Sureness::Sure),
        Some(Place::Pump) => Sites::at(Point::FeedPressure, Sureness::Likely),
        Some(Place::Concentrate) => Sites::at(Point::ConcentratePressure, Sureness::Sure),
        Some(Place::Permeate | Place::Product) => {
            Sites::at(Point::PermeatePressure, Sureness::Sure)
        }
        Some(Place::Storage) => Sites::at(Point::PermeatePressure, Sureness::Likely),
        Some(Place::In) => Sites::among(&[Point::SupplyPressure, Point::FeedPressure], PRESSURE),
        Some(Place::Out) => Sites::among(
            &[Point::PermeatePressure, Point::ConcentratePressure],
            "on the product side it is permeate_pressure, on the waste side concentrate_pressure",
        ),
        Some(Place::BehindStage) | None => {
            Sites::among(&[Point::FeedPressure, Point::SupplyPressure], PRESSURE)
        }
    }
}

fn temperature(place: Option<Place>) -> Sites {
    match place {
        Some(Place::Feed | Place::Supply) => Sites::at(Point::FeedTemperature, Sureness::Sure),
        Some(Place::In | Place::BehindStage | Place::Pump) | None => {
            Sites::at(Point::FeedTemperature, Sureness::Likely)
        }
        Some(Place::Permeate | Place::Product | Place::Concentrate | Place::Out) => Sites::among(
            &[Point::FeedTemperature],
            "there is a point for the feed's temperature only; this water is about as warm while the unit runs",
        ),
        Some(Place::Storage) => Sites::none(),
    }
}

fn flow(place: Option<Place>) -> Sites {
    match place {
        Some(Place::Feed | Place::Supply) => Sites::at(Point::FeedFlow, Sureness::Sure),
        Some(Place::In | Place::BehindStage | Place::Pump) => {
            Sites::at(Point::FeedFlow, Sureness::Likely)
        }
        Some(Place::Permeate | Place::Product) => Sites::at(Point::PermeateFlow, Sureness::Sure),
        Some(Place::Concentrate) => Sites::at(Point::ConcentrateFlow, Sureness::Sure),
        Some(Place::Storage) => Sites::at(Point::PermeateFlow, Sureness::Likely),
        Some(Place::Out) => Sites::among(&[Point::PermeateFlow, Point::ConcentrateFlow], FLOW),
        None => Sites::among(
            &[Point::PermeateFlow, Point::FeedFlow, Point::ConcentrateFlow],
            FLOW,
        ),
    }
}

/// Names of contacts by what they tell.
const LEAK: &str = "leak waterleak flood leck leckage fuite wet moisture";
const FLUSH: &str = "flush flushing";
const PUMP: &str = "pump pumpe booster";
const VALVE: &str = "valve solenoid ventil shutoff";

fn contact(place: Option<Place>, names: &[String], around: &[String]) -> Sites {
    let all: Vec<String> = names.iter().chain(around).cloned().collect();
    let is = |list: &str| {
        words::any(names, list)
            .or_else(|| words::any(&all, list))
            .is_some()
    };
    if is(LEAK) {
        Sites::at(Point::Leak, Sureness::Sure)
    } else if is(FLUSH) {
        Sites::at(Point::FlushValve, Sureness::Sure)
    } else if is(PUMP) {
        Sites::at(Point::Pump, Sureness::Sure)
    } else if is(VALVE) {
        match place {
            Some(Place::In | Place::Supply | Place::Feed) => {
                Sites::at(Point::InletValve, Sureness::Sure)
            }
            Some(
                Place::BehindStage
                | Place::Pump
                | Place::Permeate
                | Place::Product
                | Place::Concentrate
                | Place::Storage
                | Place::Out,
            )
            | None => Sites::among(
                &[Point::InletValve, Point::FlushValve],
                "the valve that lets water in is inlet_valve, the one that by-passes the restrictor flush_valve",
            ),
        }
    } else {
        Sites::none()
    }
}

#[cfg(test)]
mod tests {
    use super::{super::super::words::words, *};

    #[test]
    fn names_lead_to_points() {
        use Point::*;
        use Sureness::*;
        for (sensed, name, high, point, sureness) in [
            (Sensed::Dissolved, "feed_tds", 280.0, FeedTds, Sure),
            (Sensed::Dissolved, "tap water tds", 280.0, FeedTds, Sure),
            (Sensed::Dissolved, "permeate_tds", 8.0, PermeateTds, Sure),
            (Sensed::Dissolved, "tds after ro", 8.0, PermeateTds, Sure),
            (Sensed::Dissolved, "di_out_tds", 0.0, ProductTds, Sure),
            (Sensed::Dissolved, "ro_tds", 8.0, PermeateTds, Sure),
            (Sensed::Dissolved, "tds_in", 280.0, FeedTds, Likely),
            (Sensed::Dissolved, "tds_in", 9.0, FeedTds, Doubtful),
            (Sensed::Dissolved, "tds_out", 9.0, PermeateTds, Doubtful),
            (Sensed::Dissolved, "tds", 9.0, PermeateTds, Doubtful),
            (Sensed::Dissolved, "membrane feed tds", 200.0, FeedTds, Sure),
            (Sensed::Dissolved, "carbon_tds", 200.0, StageTds, Doubtful),
            (Sensed::Pressure, "line_pressure", 4.0, SupplyPressure, Sure),
            (Sensed::Pressure, "pressure", 4.0, FeedPressure, Doubtful),
            (
                Sensed::Temperature,
                "temperature",
                14.0,
                FeedTemperature,
                Likely,
            ),
            (Sensed::Flow, "waste flow", 0.6, ConcentrateFlow, Sure),
            (Sensed::Contact, "inlet_valve", 1.0, InletValve, Sure),
            (Sensed::Contact, "valve", 1.0, InletValve, Doubtful),
            (Sensed::Contact, "booster pump", 1.0, Pump, Sure),
        ] {
            let found = sites(sensed, &words(name), &[], Some(high));
            assert_eq!(
                (found.points[0], found.sureness),
                (point, sureness),
                "{name}"
            );
        }
        assert_eq!(
            sites(Sensed::Temperature, &words("tank_temp"), &[], None).points,
            []
        );
    }
}
