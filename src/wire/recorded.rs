//! Runs as they are kept in the store: whole, so that they read back exactly. Earlier versions kept them
//! as they are published; what is read of these is rounded.

use serde_json::Value;

use crate::{
    core::{Basis, Known, RunRecord, SettledBy, Volumes},
    metrics::Metric,
    quantity::Volume,
    time::Wall,
};

/// A run as it is kept.
#[must_use]
pub fn text(record: &RunRecord) -> String {
    // A record has neither keys that are no texts nor anything else that does not serialise.
    serde_json::to_string(record).unwrap_or_default()
}

/// Reads a run that was kept by this version or an earlier one.
///
/// # Errors
/// When it is no JSON, or not that of a run.
pub fn read(text: &str) -> Result<RunRecord, serde_json::Error> {
    let document: Value = serde_json::from_str(text)?;
    if document.get("permeate_l").is_some() {
        Ok(published(&document))
    } else {
        serde_json::from_value(document)
    }
}

/// A run that was kept as it is published.
fn published(document: &Value) -> RunRecord {
    let date = |key: &str| document[key].as_str().and_then(Wall::from_rfc3339);
    let number = |key: &str| document[key].as_f64();
    let words = |key: &str| document[key].as_str().map(str::to_owned);
    let litres = |key: &str| Volume::from_litres(number(key).unwrap_or_default());
    let figure = |metric: &Metric| {
        let name = metric.description().name;
        let basis = document["basis"].get(name)?.clone();
        let basis = serde_json::from_value::<Basis>(basis).ok()?;
        let value = number(name)?;
        Some((name.to_owned(), Known { value, basis }))
    };
    let scatter = document["scatter"].as_object().into_iter().flatten();
    let told_creep = "the version that recorded it did not keep all of it".to_owned();
    RunRecord {
        started: date("started"),
        ended: date("ended"),
        seconds: number("seconds").unwrap_or_default(),
        volumes: Volumes {
            feed: litres("feed_l"),
            permeate: litres("permeate_l"),
            concentrate: litres("concentrate_l"),
        },
        settled_after_seconds: number("settled_after_s"),
        settled_after: number("settled_after_l").map(Volume::from_litres),
        settled_by: serde_json::from_value::<Option<SettledBy>>(document["settled_by"].clone())
            .unwrap_or_default(),
        creep: None,
        no_creep: words("no_creep").or(Some(told_creep)),
        flushed: document["flushed"].as_bool().unwrap_or_default(),
        interrupted: document["interrupted"].as_bool().unwrap_or_default(),
        steady: Metric::ALL.iter().filter_map(figure).collect(),
        taught_in_parts: false,
        scatter: scatter
            .filter_map(|(name, value)| Some((name.clone(), value.as_f64()?)))
            .collect(),
        samples: document["samples"]
            .as_u64()
            .and_then(|samples| usize::try_from(samples).ok())
            .unwrap_or_default(),
        coverage: number("coverage_pct").map(|share| share / 100.0),
        no_figures: words("no_figures"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{core::Creep, quantity::Conductivity, wire::document::run_text};

    /// Figures that no decimal text of a few digits holds.
    fn run() -> RunRecord {
        let peak = Conductivity::from_us_per_cm(310.0 / 7.0);
        RunRecord {
            started: Some(Wall(1_795_597_200_123)),
            ended: Some(Wall(1_795_599_300_456)),
            seconds: 2_100.333,
            volumes: Volumes {
                feed: Volume::from_litres(10.0 / 3.0),
                permeate: Volume::from_litres(2.0 / 3.0),
                concentrate: Volume::from_litres(8.0 / 3.0),
            },
            settled_after_seconds: Some(100.0 / 3.0),
            settled_after: Some(Volume::from_litres(0.1 + 0.2)),
            settled_by: Some(SettledBy::Signal),
            creep: Some(Creep {
                peak,
                peak_tds: crate::quantity::Tds::from_mg_per_l(22.1 / 3.0),
                salt_mg: 1.0 / 7.0,
                run_salt_mg: 11.0 / 7.0,
                basis: Basis::Inferred,
            }),
            no_creep: None,
            flushed: true,
            interrupted: false,
            steady: vec![
                (
                    "feed_pressure_bar".to_owned(),
                    Known::measured(4.0 + 1.0 / 3.0),
                ),
                ("rejection_pct".to_owned(), Known::assumed(96.0 + 1.0 / 7.0)),
            ],
            taught_in_parts: true,
            scatter: vec![("rejection_pct".to_owned(), 0.1 + 0.2)],
            samples: 41,
            coverage: Some(2.0 / 3.0),
            no_figures: None,
        }
    }

    #[test]
    fn a_run_reads_back_exactly() {
        for run in [run(), RunRecord::default()] {
            assert_eq!(read(&text(&run)).unwrap(), run);
        }
        let sixty = 0.1_f64.mul_add(600.0, f64::EPSILON * 64.0);
        let odd = RunRecord {
            seconds: sixty,
            ..run()
        };
        assert_eq!(
            read(&text(&odd)).unwrap().seconds.to_bits(),
            sixty.to_bits()
        );
    }

    #[test]
    fn a_run_kept_as_it_was_published_still_reads() {
        let (exact, read) = (run(), read(&run_text(&run())).unwrap());
        assert_eq!((read.started, read.ended), (exact.started, exact.ended));
        assert_eq!(read.volumes.feed, Volume::from_litres(3.333));
        assert_eq!(read.settled_by, exact.settled_by);
        assert_eq!(read.steady[0].1, Known::measured(4.33));
        assert_eq!(read.scatter, exact.scatter);
        assert_eq!((read.samples, read.coverage), (41, Some(0.667)));
        assert!(read.creep.is_none() && read.no_creep.is_some());
    }

    #[test]
    fn what_is_no_run_is_refused() {
        for text in ["", "7", "{", r#"{"started":"yesterday"}"#] {
            assert!(read(text).is_err(), "{text:?}");
        }
    }
}
