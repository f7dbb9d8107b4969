//! What the membrane does now: rejection, recovery, driving pressure, normalised flow. The
//! equations are `physics`; here they are given what is measured, inferred or assumed.

use super::{
    known::{Basis, Finding, Known, Lack, both, physical},
    run,
    train::Train,
    values::Values,
    water::{Flows, Totals},
};
use crate::{
    config::{Membrane, Point, UnitSettings},
    metrics::Metric,
    physics::{
        balance,
        membrane::{self, OperatingPoint, TemperatureLaw},
    },
    quantity::{Conductivity, Flow, Pressure, TdsScale, Volume},
    time::Mono,
};

/// The handbook's law until the unit has taught us its own.
const LAW: &TemperatureLaw = &TemperatureLaw::HANDBOOK;
/// Where nothing tells the permeate's salt, its (small) osmotic pressure follows from the feed at
/// the least rejection a usable membrane has.
const REJECTION_FOR_OSMOSIS: f64 = 0.95;

/// The conditions of the rating.
#[must_use]
pub fn rating_point(rating: &Membrane) -> OperatingPoint {
    let rejection = rating.rejection.unwrap_or(REJECTION_FOR_OSMOSIS);
    OperatingPoint {
        feed_pressure: rating.pressure,
        pressure_drop: Pressure::ZERO,
        permeate_pressure: Pressure::ZERO,
        temperature: rating.temperature,
        feed: rating.conductivity,
        permeate: rating.conductivity * (1.0 - rejection),
        recovery: rating.recovery,
    }
}

/// What is measured, inferred or assumed now, before any equation.
pub(super) struct Readings<'a> {
    pub settings: &'a UnitSettings,
    pub train: &'a Train,
    pub flows: &'a Flows,
    pub baseline: Option<Flow>,
    pub now: Mono,
}

impl Readings<'_> {
    fn conductivity(&self, point: Point) -> Finding<Conductivity> {
        self.train.conductivity(point, self.settings, self.now)
    }

    fn feed(&self) -> Finding<Conductivity> {
        self.train.feed_conductivity(self.settings, self.now)
    }

    /// The concentrate, measured or by balance.
    fn concentrate(&self) -> Finding<Conductivity> {
        self.conductivity(Point::ConcentrateTds).or_else(|lack| {
            if self.train.has(Point::ConcentrateTds) {
                return Err(lack);
            }
            let salts = both(self.feed(), self.conductivity(Point::PermeateTds));
            let balance = both(salts, self.flows.recovery())?
                .map(|((feed, permeate), recovery)| balance::concentrate(feed, permeate, recovery));
            physical(balance.at_best(Basis::Inferred))
        })
    }

    /// The recovery for the concentration along the membrane: as it is, else by the configured
    /// waste ratio, else as in the rating.
    fn recovery_for_osmosis(&self) -> Finding<f64> {
        let configured = self
            .settings
            .supply
            .waste_ratio
            .and_then(balance::recovery_from_waste_ratio);
        let rated = self
            .settings
            .membrane
            .as_ref()
            .map(|rating| rating.recovery);
        self.flows
            .recovery()
            .or_else(|lack| configured.or(rated).map(Known::assumed).ok_or(lack))
    }

    /// Pressure lost along the membrane, where both ends are measured; small in home elements.
    fn pressure_drop(&self) -> Pressure {
        let ends = self
            .train
            .pressure(Point::FeedPressure, self.now)
            .and_then(|feed| {
                Ok(feed.value
                    - self
                        .train
                        .pressure(Point::ConcentratePressure, self.now)?
                        .value)
            });
        ends.map_or(Pressure::ZERO, |drop| drop.max(Pressure::ZERO))
    }

    fn operating_point(&self) -> Finding<OperatingPoint> {
        let permeate = self.conductivity(Point::PermeateTds).or_else(|_| {
            let least = self
                .feed()?
                .map(|feed| feed * (1.0 - REJECTION_FOR_OSMOSIS));
            Ok(least.at_best(Basis::Inferred))
        });
        let pressures = both(
            self.train.membrane_pressure(self.settings, self.now),
            self.train.back_pressure(self.settings, self.now),
        );
        let temperature = self.train.temperature(self.settings, self.now);
        let conditions = both(temperature, self.recovery_for_osmosis());
        let all = both(both(pressures, both(self.feed(), permeate)), conditions)?;
        let pressure_drop = self.pressure_drop();
        Ok(all.map(
            |((pressures, (feed, permeate)), (temperature, recovery))| OperatingPoint {
                feed_pressure: pressures.0,
                pressure_drop,
                permeate_pressure: pressures.1,
                temperature,
                feed,
                permeate,
                recovery,
            },
        ))
    }

    /// Fills in what flows now.
    pub fn set_now(&self, values: &mut Values) {
        values.set_quantity(Metric::FeedFlow, self.flows.feed);
        values.set_quantity(Metric::PermeateFlow, self.flows.permeate);
        values.set_quantity(Metric::ConcentrateFlow, self.flows.concentrate);
        for (metric, point) in [
            (Metric::SupplyPressure, Point::SupplyPressure),
            (Metric::FeedPressure, Point::FeedPressure),
            (Metric::ConcentratePressure, Point::ConcentratePressure),
            (Metric::PermeatePressure, Point::PermeatePressure),
        ] {
            values.set_quantity(metric, self.train.pressure(point, self.now));
        }
        values.set_quantity(
            Metric::FeedTemperature,
            self.train.temperature(self.settings, self.now),
        );
        let (feed, permeate, product) = (
            self.feed(),
            self.conductivity(Point::PermeateTds),
            self.conductivity(Point::ProductTds),
        );
        values.set_quantity(Metric::FeedConductivity, feed);
        values.set_quantity(Metric::PermeateConductivity, permeate);
        values.set_quantity(Metric::ProductConductivity, product);
        let scale: TdsScale = self.settings.tds_scale;
        for (metric, finding) in [
            (Metric::FeedTds, feed),
            (Metric::PermeateTds, permeate),
            (Metric::ProductTds, product),
            (Metric::ConcentrateTds, self.concentrate()),
        ] {
            values.set_quantity(
                metric,
                finding.map(|known| known.map(|conductivity| scale.tds(conductivity))),
            );
        }
        values.set_quantity(
            Metric::StorageLevel,
            self.train.volume(Point::StorageLevel, self.now),
        );
    }

    /// Fills in what the membrane does; meant for while water is made.
    pub fn set_membrane(&self, values: &mut Values) {
        self.set_quality(values);
        let recovery = self.flows.recovery();
        values.set_share(Metric::Recovery, recovery);
        values.set(
            Metric::WasteRatio,
            recovery.and_then(|known| physical(known.map(balance::waste_ratio))),
        );
        let temperature = self.train.temperature(self.settings, self.now);
        let correction =
            temperature.map(|known| known.map(|temperature| LAW.correction(temperature)));
        values.set(Metric::TemperatureCorrection, correction);
        let flow = self.flows.permeate;
        let at_25 =
            both(flow, correction).map(|known| known.map(|(flow, correction)| flow / correction));
        values.set_quantity(Metric::FlowAt25C, at_25);
        self.set_normalized(values, flow);
    }

    fn set_quality(&self, values: &mut Values) {
        let pair = both(self.feed(), self.conductivity(Point::PermeateTds));
        // A permeate saltier than its feed is no rejection: one of the probes lies.
        let pair = pair.and_then(|known| {
            if known.value.1 > known.value.0 {
                Err(Lack::Implausible(Point::PermeateTds))
            } else {
                Ok(known)
            }
        });
        let of_pair = |equation: fn(Conductivity, Conductivity) -> Option<f64>| {
            pair.and_then(|known| physical(known.map(|(feed, permeate)| equation(feed, permeate))))
        };
        values.set_share(Metric::Rejection, of_pair(balance::rejection));
        values.set_share(Metric::SaltPassage, of_pair(balance::salt_passage));
    }

    fn set_normalized(&self, values: &mut Values, flow: Finding<Flow>) {
        let point = self.operating_point();
        let driving =
            point.and_then(|known| physical(known.map(|point| point.net_driving_pressure())));
        values.set_quantity(Metric::NetDrivingPressure, driving);
        let at = both(flow, point);
        let specific = at.and_then(|known| {
            physical(known.map(|(flow, point)| membrane::specific_flux(flow, &point, LAW)))
        });
        values.set(Metric::SpecificFlux, specific);
        let rating = self.settings.membrane.as_ref().ok_or(Lack::NoReference);
        let rating = rating.map(|rating| Known::measured((rating.flow, rating_point(rating))));
        let rated = both(at, rating);
        let normalized = rated.and_then(|known| {
            physical(known.map(|((flow, point), (rated, reference))| {
                Some((
                    membrane::normalized_flow(flow, &point, &reference, LAW)?,
                    rated,
                ))
            }))
        });
        values.set_quantity(
            Metric::NormalizedFlow,
            normalized.map(|known| known.map(|(flow, _)| flow)),
        );
        let of_rating = normalized.map(|known| known.map(|(flow, rated)| flow / rated));
        values.set_share(Metric::NormalizedFlowOfRating, of_rating);
        let baseline = self.baseline.map(Known::measured).ok_or(Lack::TooEarly);
        let of_baseline =
            both(normalized, baseline).map(|known| known.map(|((flow, _), first)| flow / first));
        values.set_share(Metric::NormalizedFlowOfBaseline, of_baseline);
        let expected = both(point, rating).and_then(|known| {
            physical(known.map(|(point, (rated, reference))| {
                membrane::expected_flow(rated, &reference, &point, LAW)
            }))
        });
        values.set_quantity(Metric::ExpectedFlow, expected);
        // Normalised salt passage needs a measured permeate, not the one osmosis made do with.
        let passage = both(self.conductivity(Point::PermeateTds), rated).and_then(|known| {
            physical(known.map(|(_, ((flow, point), (_, reference)))| {
                membrane::normalized_salt_passage(flow, &point, &reference, LAW)
            }))
        });
        values.set_share(Metric::NormalizedSaltPassage, passage);
    }
}

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
