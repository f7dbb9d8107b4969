//! Runs and samples as comma-separated values, to the last digit that is kept. Names are those of the
//! documents and end in their units; times are RFC 3339.

use std::collections::BTreeSet;

use crate::{
    core::{RunRecord, SettledBy},
    metrics::{Group, Metric},
    past::Past,
    sampler::Sample,
    time::Wall,
    wire::csv::{self, Field},
};

use super::{facts::began, period::Period};

/// What stands before the figures of a run …
const OF_RUN: [&str; 17] = [
    "started",
    "ended",
    "seconds",
    "permeate_l",
    "feed_l",
    "concentrate_l",
    "settled_after_s",
    "settled_after_l",
    "settled_by",
    "creep_peak_mg_l",
    "creep_peak_us_cm",
    "creep_salt_mg",
    "creep_salt_meq",
    "creep_basis",
    "no_creep",
    "flushed",
    "interrupted",
];
/// … and behind them.
const AFTER_FIGURES: [&str; 4] = ["basis", "samples", "coverage_pct", "no_figures"];

/// The metrics of which a run has figures.
fn figures() -> impl Iterator<Item = &'static str> {
    let of_run = |metric: &&Metric| matches!(metric.group(), Group::Now | Group::Membrane);
    (Metric::ALL.iter().filter(of_run)).map(|metric| metric.description().name)
}

/// The runs that began in the period.
#[must_use]
pub fn runs(past: &Past, period: &Period) -> String {
    let is_in = |run: &&RunRecord| began(run).is_some_and(|at| period.contains(at));
    let runs: Vec<&RunRecord> = past.runs.iter().filter(is_in).collect();
    let names: Vec<&str> = figures().collect();
    // The columns are always the same; what another version kept besides stands behind them.
    let known: BTreeSet<&str> = names.iter().copied().collect();
    let others: BTreeSet<&str> = (runs.iter())
        .flat_map(|run| run.steady.iter().map(|(name, _)| name.as_str()))
        .filter(|name| !known.contains(name))
        .collect();
    let scatters: BTreeSet<&str> = (runs.iter())
        .flat_map(|run| run.scatter.iter().map(|(name, _)| name.as_str()))
        .collect();
    let names: Vec<&str> = names.into_iter().chain(others).collect();
    let scattered: Vec<String> = scatters
        .iter()
        .map(|name| format!("scatter_{name}"))
        .collect();
    let header = (OF_RUN.into_iter())
        .chain(names.iter().copied())
        .chain(AFTER_FIGURES)
        .chain(scattered.iter().map(String::as_str));
    csv::table(
        header,
        runs.iter().map(|run| record(run, &names, &scatters)),
    )
}

fn record(run: &RunRecord, names: &[&str], scatters: &BTreeSet<&str>) -> Vec<Field> {
    let creep = run.creep.as_ref();
    let mut fields = vec![
        moment(run.started),
        moment(run.ended),
        Field::number(Some(run.seconds)),
        Field::number(Some(run.volumes.permeate.litres())),
        Field::number(Some(run.volumes.feed.litres())),
        Field::number(Some(run.volumes.concentrate.litres())),
        Field::number(run.settled_after_seconds),
        Field::number(run.settled_after.map(|volume| volume.litres())),
        word(run.settled_by.map(SettledBy::key)),
        Field::number(creep.map(|creep| creep.peak_tds.mg_per_l())),
        Field::number(creep.map(|creep| creep.peak.us_per_cm())),
        Field::number(creep.map(|creep| creep.salt_mg)),
        Field::number(creep.map(crate::core::Creep::salt_meq)),
        word(creep.map(|creep| creep.basis.key())),
        Field::text(run.no_creep.clone()),
        Field::ours(run.flushed.to_string()),
        Field::ours(run.interrupted.to_string()),
    ];
    let of = |name: &str| run.steady.iter().find(|(kept, _)| kept == name);
    fields.extend((names.iter()).map(|name| Field::number(of(name).map(|(_, known)| known.value))));
    let bases: Vec<String> = (run.steady.iter())
        .map(|(name, known)| format!("{name}={}", known.basis.key()))
        .collect();
    fields.push(Field::ours(bases.join(" ")));
    fields.push(Field::ours(run.samples.to_string()));
    fields.push(Field::number(run.coverage.map(|share| share * 100.0)));
    fields.push(Field::text(run.no_figures.clone()));
    let scatter = |name: &&str| {
        let found = run.scatter.iter().find(|(kept, _)| kept == *name);
        Field::number(found.map(|(_, value)| *value))
    };
    fields.extend(scatters.iter().map(scatter));
    fields
}

/// The samples of the period.
#[must_use]
pub fn samples(past: &Past, period: &Period) -> String {
    let is_in = |sample: &&Sample| period.contains(sample.start);
    let samples: Vec<&Sample> = past.samples.iter().filter(is_in).collect();
    let named = |of: fn(&Sample) -> Vec<&str>| -> Vec<&str> {
        let names: BTreeSet<&str> = samples.iter().flat_map(|sample| of(sample)).collect();
        in_order(names)
    };
    let means = named(|sample| sample.figures.mean.keys().map(String::as_str).collect());
    let sums = named(|sample| sample.figures.last.keys().map(String::as_str).collect());
    let header = (["start", "seconds"].into_iter())
        .chain(means.iter().copied())
        .chain(sums.iter().copied());
    let record = |sample: &&Sample| {
        let mean = means.iter().map(|name| sample.figures.mean.get(*name));
        let last = sums.iter().map(|name| sample.figures.last.get(*name));
        let mut fields = vec![
            moment(Some(sample.start)),
            Field::ours(sample.seconds.to_string()),
        ];
        fields.extend(mean.chain(last).map(|value| Field::number(value.copied())));
        fields
    };
    csv::table(header, samples.iter().map(record))
}

/// In the order of the catalogue; those of stages behind them.
fn in_order(names: BTreeSet<&str>) -> Vec<&str> {
    let place = |name: &&str| {
        let metrics = &mut Metric::ALL.iter();
        metrics
            .position(|metric| metric.description().name == *name)
            .unwrap_or(usize::MAX)
    };
    let mut names: Vec<&str> = names.into_iter().collect();
    names.sort_by_key(place);
    names
}

fn moment(at: Option<Wall>) -> Field {
    at.map_or(Field::Empty, |at| Field::ours(at.to_rfc3339()))
}

fn word(word: Option<&'static str>) -> Field {
    word.map_or(Field::Empty, Field::ours)
}
