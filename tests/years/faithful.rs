//! The years themselves held to what they claim: repeatable, and no other than what the service would
//! make of the same readings.

use std::collections::BTreeMap;

use permeated::{
    core::{Arrival, Observation, RunRecord, UnitState},
    installation::{Incoming, Installation, Record},
    simulation::{Fault, TemperatureLaw},
};

use super::{
    household::{Happening, Household, POINTS},
    life::{at, live, live_and_listen},
    live_all,
};
use permeated::config::Point;

/// Three weeks in which something happens.
fn eventful() -> Household {
    let spikes = Fault::Spikes {
        share: 0.05,
        times: 3.0,
    };
    Household {
        days: 21.0,
        calibrated: false,
        happenings: vec![
            (12.0, Happening::Fault(Point::FeedTds, Some(Fault::Stuck))),
            (4.0, Happening::Fault(Point::PermeateTds, Some(spikes))),
            (
                8.0,
                Happening::Lose {
                    share_of_a: 0.1,
                    rise_of_b: 3.0,
                },
            ),
            (15.0, Happening::NewMembrane { told: true }),
        ],
        ..Household::new(11, TemperatureLaw::Viscosity)
    }
}

#[test]
fn the_same_household_gives_the_same_diary() {
    let other = Household {
        seed: 12,
        ..eventful()
    };
    let [one, two, another] = live_all(&[eventful(), eventful(), other])
        .try_into()
        .unwrap();
    assert!(one.runs.len() > 30 && !one.events.is_empty());
    assert_eq!((&one.runs, &one.events), (&two.runs, &two.events));
    assert_ne!(one.runs, another.runs);
    let alone = live(&eventful());
    assert_eq!((one.runs, one.totals), (alone.runs, alone.totals));
}

#[test]
fn what_happens_takes_place_on_its_day() {
    let diary = live(&eventful());
    let left = |day: f64| {
        let mut before = diary.runs.iter().filter(|run| run.day < day);
        before.next_back().unwrap().truth.a_of_new
    };
    assert!(left(8.0) > 0.99 && left(12.0) < 0.91 && left(12.0) > 0.89);
    assert!(left(21.0) > 0.99, "a new membrane");
}

/// The short cut past payloads and publishing changes nothing: the whole service's path
/// gives the same run records and totals, to the bit.
#[test]
fn the_service_would_say_the_same() {
    let household = Household {
        happenings: Vec::new(),
        ..eventful()
    };
    let (diary, heard) = live_and_listen(&household);
    let settings = household.settings();
    let kept: BTreeMap<String, UnitState> = BTreeMap::new();
    let mut service = Installation::new(
        &settings,
        |id| kept.get(id).cloned().unwrap_or_default(),
        at(0),
    );
    for (milliseconds, sensor, observation) in heard {
        let Observation::Number(number) = observation else {
            panic!("only numbers are sent");
        };
        let topic = format!("s/{}", POINTS[sensor].key());
        let payload = number.to_string();
        let message = Incoming {
            topic: &topic,
            payload: payload.as_bytes(),
            arrival: Arrival::Live,
            packet: None,
        };
        service.hear(at(milliseconds), message);
    }
    let records: Vec<RunRecord> = service
        .take_records()
        .into_iter()
        .map(|record| match record {
            Record::Run(_, run) => *run,
            Record::Stage(..) => panic!("nothing was replaced"),
        })
        .collect();
    let said: Vec<RunRecord> = diary.runs.iter().map(|run| run.record.clone()).collect();
    assert!(said.len() > 30);
    assert_eq!(records, said);
    assert_eq!(service.units().next().unwrap().totals(), &diary.totals);
}
