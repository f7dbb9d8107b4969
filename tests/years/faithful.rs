//! The years themselves held to what they claim: repeatable, and no other than what the service would
//! make of the same readings.

use std::collections::BTreeMap;

use permeated::{
    core::{Arrival, Observation, RunRecord, UnitState},
    installation::{Incoming, Installation, Record},
    sampler::Sample,
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
    let mut records: Vec<RunRecord> = Vec::new();
    let mut samples: Vec<Sample> = Vec::new();
    for record in service.take_records() {
        match record {
            Record::Run(_, run) => records.push(*run),
            Record::Sample(_, sample) => samples.push(sample),
            Record::Alert(..) | Record::Notice(..) => {}
            Record::Entry(..) | Record::Stage(..) => panic!("nothing was replaced"),
        }
    }
    let said: Vec<RunRecord> = diary.runs.iter().map(|run| run.record.clone()).collect();
    assert!(said.len() > 30);
    assert_eq!(records, said);
    assert_eq!(service.units().next().unwrap().totals(), &diary.totals);
    samples_tell_of_the_same_litres(&samples, diary.totals.permeate.litres());
}

/// The samples leave no time out, and their flows times their time come to the litres that passed.
fn samples_tell_of_the_same_litres(samples: &[Sample], litres: f64) {
    let mut by_flow = 0.0;
    for pair in samples.windows(2) {
        let end = pair[0].start.0 + i64::from(pair[0].seconds) * 1000;
        let gap = pair[1].start.0 - end;
        assert!((0..60_000).contains(&gap), "{gap} ms between {pair:?}");
        let flow = pair[0].figures.mean.get("permeate_flow_l_min");
        by_flow += flow.unwrap_or(&0.0) * f64::from(pair[0].seconds) / 60.0;
    }
    let last = samples.last().unwrap().figures.last["permeate_l"];
    assert!((last / litres - 1.0).abs() < 0.01, "{last} of {litres} L");
    assert!(
        (by_flow / litres - 1.0).abs() < 0.02,
        "{by_flow} of {litres} L"
    );
}
