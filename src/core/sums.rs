//! The ever-growing sums as metrics.

use super::{
    known::{Basis, Known, Lack},
    run,
    train::Train,
    values::Values,
    water::Totals,
};
use crate::{
    config::{Point, UnitSettings},
    metrics::Metric,
    quantity::Volume,
};

/// Fills in the sums: litres that some meter tells of, hours and runs where a run can be seen. Where
/// nothing tells, there is no sum, not a zero.
pub(super) fn set_totals(
    values: &mut Values,
    totals: &Totals,
    train: &Train,
    settings: &UnitSettings,
) {
    let by_basis = |litres: Volume, basis: Option<Basis>, point: Point| {
        let value = litres.litres();
        basis
            .map(|basis| Known { value, basis })
            .ok_or(Lack::NoSensor(point))
    };
    let feed = by_basis(
        totals.feed,
        run::feed_basis(train, settings),
        Point::FeedFlow,
    );
    let permeate = by_basis(
        totals.permeate,
        run::permeate_basis(train, settings),
        Point::PermeateFlow,
    );
    let concentrate = by_basis(
        totals.concentrate,
        run::concentrate_basis(train, settings),
        Point::ConcentrateFlow,
    );
    values.set(Metric::FeedVolume, feed);
    values.set(Metric::PermeateVolume, permeate);
    values.set(Metric::ConcentrateVolume, concentrate);
    let when = |value: f64, there: bool, lack: Lack| {
        if there {
            Ok(Known::measured(value))
        } else {
            Err(lack)
        }
    };
    let feed_meter = train.has(Point::FeedFlow);
    let side_meter = train.has(Point::PermeateFlow) || train.has(Point::ConcentrateFlow);
    let no_meter = Lack::NoSensor(Point::PermeateFlow);
    let (unsplit, unmatched) = (totals.unsplit.litres(), totals.unmatched.litres());
    values.set(
        Metric::UnsplitVolume,
        when(unsplit, feed_meter, Lack::NoSensor(Point::FeedFlow)),
    );
    values.set(
        Metric::UnmatchedVolume,
        when(unmatched, side_meter, no_meter),
    );
    let unmeasured = totals.unmeasured_seconds / 3600.0;
    values.set(
        Metric::UnmeasuredTime,
        when(unmeasured, feed_meter || side_meter, no_meter),
    );
    let runs_seen = run::can_be_seen(train, settings);
    let producing = totals.producing_seconds / 3600.0;
    values.set(
        Metric::ProducingTime,
        when(producing, runs_seen, Lack::NoRunSign),
    );
    #[allow(clippy::cast_precision_loss)]
    let runs = totals.runs as f64;
    values.set(Metric::Runs, when(runs, runs_seen, Lack::NoRunSign));
}
