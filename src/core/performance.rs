//! What the membrane does now: rejection, recovery, driving pressure, normalised flow. The
//! equations are `physics`; here they are given what is measured, inferred or assumed.

use super::{
    hydraulics::prefilter_drop,
    known::{Basis, Finding, Known, Lack, both, physical},
    membrane::MembraneState,
    taught::Taught,
    train::Train,
    values::Values,
    water::Flows,
};
use crate::{
    config::{Membrane, Point, UnitSettings},
    metrics::Metric,
    physics::{
        attribution::{self, Shortfall},
        balance,
        driven::Driven,
        membrane::OperatingPoint,
    },
    quantity::{Conductivity, Flow, Pressure, TdsScale},
    time::Mono,
};

/// Where nothing tells the permeate's salt, its (small) osmotic pressure follows from the feed at
/// the least rejection a usable membrane has.
pub(super) const REJECTION_FOR_OSMOSIS: f64 = 0.95;

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
    pub membrane: &'a MembraneState,
    pub taught: &'a Taught,
    pub now: Mono,
}

/// What several metrics share: worked out once.
struct Working {
    point: Finding<OperatingPoint>,
    driven: Finding<Driven>,
    /// The permeate flow and the point it is at.
    at: Finding<(Flow, Driven)>,
    /// The same beside the rating.
    rated: Finding<((Flow, Driven), (Flow, Driven))>,
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
        let usual = self.settings.usual_recovery();
        self.flows
            .recovery()
            .or_else(|lack| usual.map(Known::assumed).ok_or(lack))
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

    /// Everything; of the membrane only while `producing`, for its quality counts only then.
    pub fn all(&self, producing: bool) -> Values {
        let mut values = Values::default();
        self.set_now(&mut values);
        if producing {
            self.set_membrane(&mut values);
        }
        values
    }

    /// Fills in what the alerts look at, at every look; of the membrane only while `producing`. See
    /// [`super::live::is_judged`].
    pub fn set_judged(&self, values: &mut Values, producing: bool) {
        values.set_quantity(
            Metric::FeedPressure,
            self.train.pressure(Point::FeedPressure, self.now),
        );
        values.set_quantity(
            Metric::FeedTemperature,
            self.train.temperature(self.settings, self.now),
        );
        if !producing {
            return;
        }
        values.set_quantity(Metric::PermeateFlow, self.flows.permeate);
        for (metric, point) in [
            (Metric::PermeateConductivity, Point::PermeateTds),
            (Metric::ProductConductivity, Point::ProductTds),
        ] {
            values.set_quantity(metric, self.conductivity(point));
        }
        self.set_judged_membrane(values, &self.working());
    }

    /// Fills in what the membrane does; meant for while water is made.
    pub fn set_membrane(&self, values: &mut Values) {
        let working = self.working();
        self.set_judged_membrane(values, &working);
        let correction = self.correction(&working);
        values.set(Metric::TemperatureCorrection, correction);
        values.set(
            Metric::WasteRatio,
            self.flows
                .recovery()
                .and_then(|known| physical(known.map(balance::waste_ratio))),
        );
        self.set_rest_of_normalized(values, &working);
        self.set_salt_of_baseline(values, &working);
    }

    fn working(&self) -> Working {
        let point = self.operating_point();
        let law = &self.taught.law;
        let driven = point.and_then(|known| physical(known.map(|point| Driven::new(point, law))));
        let at = both(self.flows.permeate, driven);
        let rated = both(at, self.taught.rating);
        Working {
            point,
            driven,
            at,
            rated,
        }
    }

    fn correction(&self, working: &Working) -> Finding<f64> {
        let temperature = self.train.temperature(self.settings, self.now)?;
        Ok(temperature.map(|temperature| match working.driven {
            Ok(driven) => driven.value.correction,
            Err(_) => self.taught.law.correction(temperature),
        }))
    }

    /// The membrane's part of [`Self::set_judged`].
    fn set_judged_membrane(&self, values: &mut Values, working: &Working) {
        self.set_quality(values);
        values.set_share(Metric::Recovery, self.flows.recovery());
        let at_25 = both(self.flows.permeate, self.correction(working));
        let at_25 = at_25.map(|known| known.map(|(flow, correction)| flow / correction));
        values.set_quantity(Metric::FlowAt25C, at_25);
        let driving = working
            .driven
            .map(|known| known.map(|driven| driven.driving));
        values.set_quantity(Metric::NetDrivingPressure, driving);
        let normalized = working.rated.and_then(|known| {
            physical(known.map(|((flow, driven), (rated, reference))| {
                Some((driven.normalized_flow(flow, &reference)?, rated))
            }))
        });
        values.set_quantity(
            Metric::NormalizedFlow,
            normalized.map(|known| known.map(|(flow, _)| flow)),
        );
        let of_rating = normalized.map(|known| known.map(|(flow, rated)| flow / rated));
        values.set_share(Metric::NormalizedFlowOfRating, of_rating);
        self.set_flow_of_baseline(values, working);
        values.set_quantity(
            Metric::PrefilterDrop,
            prefilter_drop(self.train, self.settings, self.flows, self.now),
        );
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

    fn set_rest_of_normalized(&self, values: &mut Values, working: &Working) {
        let Working {
            driven, at, rated, ..
        } = *working;
        let specific =
            at.and_then(|known| physical(known.map(|(flow, driven)| driven.specific_flux(flow))));
        values.set(Metric::SpecificFlux, specific);
        let expected = both(driven, self.taught.rating).and_then(|known| {
            physical(
                known.map(|(driven, (rated, reference))| reference.normalized_flow(rated, &driven)),
            )
        });
        values.set_quantity(Metric::ExpectedFlow, expected);
        // Normalised salt passage needs a measured permeate, not the one osmosis made do with.
        let passage = both(self.conductivity(Point::PermeateTds), rated).and_then(|known| {
            physical(known.map(|(_, ((flow, driven), (_, reference)))| {
                driven.normalized_salt_passage(flow, &reference)
            }))
        });
        values.set_share(Metric::NormalizedSaltPassage, passage);
        set_shortfall(values, rated);
        let boosted = at.and_then(|known| {
            let pressure = self.settings.supply.boost_pressure;
            physical(known.map(|(flow, driven)| {
                driven.normalized_flow(flow, &driven.at_feed_pressure(pressure)?)
            }))
        });
        let boosted = boosted.map(|known| known.map(Flow::l_per_day).at_best(Basis::Inferred));
        values.set(Metric::BoostedFlow, boosted);
    }

    /// What is compared with what the element's own first settled runs gave, at the same conditions. A
    /// configured temperature knows no seasons: nothing is learned from it, so nothing compared.
    fn comparable(&self, working: &Working) -> Finding<(Flow, OperatingPoint)> {
        let thermometer = self.train.temperature(self.settings, self.now);
        let thermometer = match thermometer {
            Ok(known) if known.basis == Basis::Assumed => {
                Err(Lack::NoSensor(Point::FeedTemperature))
            }
            found => found,
        };
        let at = both(self.flows.permeate, working.point);
        both(at, thermometer).map(|known| known.map(|(at, _)| at))
    }

    fn set_flow_of_baseline(&self, values: &mut Values, working: &Working) {
        let flow = self.comparable(working).and_then(|known| {
            let (flow, point) = known.value;
            let driving = working.driven?.value.driving;
            let share = self.membrane.flow_share(flow, driving, point.temperature);
            let share = share.ok_or(Lack::TooEarly)?;
            Ok(known.map(|_| share.exp()))
        });
        values.set_share(Metric::NormalizedFlowOfBaseline, flow);
    }

    fn set_salt_of_baseline(&self, values: &mut Values, working: &Working) {
        let at = self.comparable(working);
        let salt = both(at, self.conductivity(Point::PermeateTds)).and_then(|known| {
            let ((flow, point), permeate) = known.value;
            let feed_side = point.feed_side_average().ok_or(Lack::NotPhysical)?;
            let share = self
                .membrane
                .salt_share(flow, feed_side, permeate, point.temperature);
            let share = share.ok_or(Lack::TooEarly)?;
            Ok(known.map(|_| share.exp()))
        });
        values.set_share(Metric::SaltPassageOfBaseline, salt);
    }
}

fn set_shortfall(values: &mut Values, rated: Finding<((Flow, Driven), (Flow, Driven))>) {
    let shortfall = rated.and_then(|known| {
        physical(known.map(|((flow, driven), (rated, rating))| {
            attribution::shortfall_of(flow, &driven, rated, &rating)
        }))
    });
    for (metric, part) in [
        (
            Metric::Shortfall,
            (|found| found.total) as fn(Shortfall) -> Flow,
        ),
        (Metric::ShortfallPressure, |found| found.pressure),
        (Metric::ShortfallBackPressure, |found| found.back_pressure),
        (Metric::ShortfallTemperature, |found| found.temperature),
        (Metric::ShortfallSalinity, |found| found.salinity),
        (Metric::ShortfallMembrane, |found| found.membrane),
    ] {
        let part = shortfall.map(|known| known.map(|found| part(found).l_per_day()));
        values.set(metric, part);
    }
}
