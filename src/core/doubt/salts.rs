//! Salts that cannot be: permeate saltier than its feed, product far saltier than the permeate, a
//! concentrate that does not fit the flows. Each only beyond what the probes' errors explain.

use super::Evidence;
use crate::{
    config::{Point, UnitSettings},
    core::{
        known::{Basis, both},
        run::RunState,
        train::Train,
        water::Flows,
    },
    physics::balance,
    quantity::Conductivity,
    time::Mono,
};

/// A step of an inexpensive meter is 1 mg/L, 2 µS/cm on its usual scale of 0.5; two probes, two
/// steps.
const STEPS_US_PER_CM: f64 = 4.0;
/// Behind a cation bed a spent anion bed lets acid through, which conducts up to 3.4 times as well
/// as the salt it was (ion conductivities at 25 °C in S·cm²/mol, from memory: H⁺ 350, Na⁺ 50,
/// Cl⁻ 76). Only more is a lie.
const PRODUCT_OF_PERMEATE: f64 = 3.4;
/// Nothing but a faulty probe makes a home membrane hold back more than this.
const BEST_REJECTION: f64 = 0.995;
/// What two flow meters together may be off.
const FLOW_ERROR: f64 = 0.15;

/// Which salts were compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::core) enum Comparison {
    /// Permeate saltier than its feed.
    PermeateAndFeed,
    /// Product far saltier than permeate.
    ProductAndPermeate,
    /// Recovery by the concentrate's salt and by the flows.
    ConcentrateAndFlows,
}

/// What one comparison says.
#[derive(Clone, Copy, Debug)]
pub(in crate::core) struct Compared {
    pub what: Comparison,
    /// The sensors compared, µS/cm at 25 °C; for the concentrate: feed, permeate, concentrate.
    pub shown: [Option<(usize, Conductivity)>; 3],
    /// Recovery by salts and by flows, 0–1, for the concentrate.
    pub recoveries: Option<(f64, f64)>,
    pub evidence: Evidence,
    /// The likelier liar of the sensors compared.
    pub liar: usize,
}

/// The comparisons that the probes allow now; none while no water is made.
#[derive(Clone, Debug, Default)]
pub(in crate::core) struct Salts {
    compared: [Option<Compared>; 3],
}

/// A probe and what it shows.
type Shown = (usize, Conductivity);

struct Probes<'a> {
    train: &'a Train,
    settings: &'a UnitSettings,
    now: Mono,
    error: f64,
}

impl Salts {
    pub fn find(
        now: Mono,
        train: &Train,
        settings: &UnitSettings,
        flows: &Flows,
        state: RunState,
        error: f64,
    ) -> Self {
        // Before the run has settled, what crept through while standing is in the permeate.
        if state != RunState::Producing {
            return Self::default();
        }
        let probes = Probes {
            train,
            settings,
            now,
            error,
        };
        Self {
            compared: [
                probes.permeate_and_feed(),
                probes.product_and_permeate(),
                probes.concentrate_and_flows(flows),
            ],
        }
    }

    /// What speaks for or against a sensor, and by which comparison.
    pub fn about(&self, index: usize) -> Option<(Evidence, &Compared)> {
        let has = |compared: &&Compared| {
            let mut sensors = compared.shown.iter().flatten();
            sensors.any(|(sensor, _)| *sensor == index)
        };
        let compared = self.compared.iter().flatten();
        let said = compared.filter(has).map(|compared| {
            let evidence = match compared.evidence {
                Evidence::Against if compared.liar != index => Evidence::Mixed,
                evidence => evidence,
            };
            (evidence, compared)
        });
        said.max_by_key(|(evidence, _)| *evidence)
    }
}

impl Probes<'_> {
    fn shown(&self, sensor: Option<usize>) -> Option<Shown> {
        let sensor = sensor?;
        let shown = self
            .train
            .conductivity_shown(sensor, self.settings, self.now);
        Some((sensor, shown.ok()?.value))
    }

    fn main(&self, point: Point) -> Option<Shown> {
        self.shown(self.train.at(point).0)
    }

    fn spare(&self, point: Point) -> Option<Shown> {
        self.shown(self.train.at(point).1)
    }

    /// The most by which `a` may exceed `b` if both are the same water.
    fn same_at_most(&self, of: Conductivity) -> Conductivity {
        let both_off = (1.0 + self.error) / (1.0 - self.error);
        of * both_off + Conductivity::from_us_per_cm(STEPS_US_PER_CM)
    }

    fn is_saltier(&self, a: Conductivity, b: Conductivity) -> bool {
        a > self.same_at_most(b)
    }

    fn permeate_and_feed(&self) -> Option<Compared> {
        let (feed, permeate) = (self.main(Point::FeedTds)?, self.main(Point::PermeateTds)?);
        let evidence = if self.is_saltier(permeate.1, feed.1) {
            Evidence::Against
        } else if permeate.1 > feed.1 {
            Evidence::Mixed
        } else {
            Evidence::For
        };
        let liar = if self.feed_reads_low(feed.1, permeate.1) {
            feed.0
        } else {
            permeate.0
        };
        Some(Compared {
            what: Comparison::PermeateAndFeed,
            shown: [Some(feed), Some(permeate), None],
            recoveries: None,
            evidence,
            liar,
        })
    }

    /// Whether another probe says that the water is as salty as the permeate probe shows. A product
    /// without salt tells nothing: resin takes whatever comes.
    fn feed_reads_low(&self, feed: Conductivity, permeate: Conductivity) -> bool {
        let second = self.spare(Point::PermeateTds);
        if second.is_some_and(|(_, second)| !self.is_saltier(second, feed)) {
            return false;
        }
        let others = [
            second,
            self.spare(Point::FeedTds),
            self.main(Point::ProductTds),
            self.before_membrane(),
        ];
        let agrees = |shown: &Shown| self.is_saltier(shown.1, feed);
        // Concentrate is saltier than its feed by nature, up to twice at a recovery of one half.
        let concentrate = self.main(Point::ConcentrateTds);
        let concentrate = concentrate
            .is_some_and(|(_, shown)| self.is_saltier(shown, feed * 2.0) && shown > permeate);
        concentrate || others.iter().flatten().any(agrees)
    }

    /// A probe behind a stage that sees the feed.
    fn before_membrane(&self) -> Option<Shown> {
        let sees_feed = |index: &usize| {
            let stage = self.settings.stages.get(*index);
            stage.is_some_and(|stage| {
                stage.water == crate::config::StageWater::Feed
                    && stage.kind != crate::config::StageKind::Membrane
            })
        };
        let sensors = self.train.sensors().iter();
        let at = sensors
            .map(|sensor| sensor.settings())
            .position(|sensor| sensor.after_stage.as_ref().is_some_and(sees_feed));
        self.shown(at)
    }

    fn product_and_permeate(&self) -> Option<Compared> {
        let permeate = self.main(Point::PermeateTds)?;
        let product = self.main(Point::ProductTds)?;
        let feed = self.main(Point::FeedTds);
        let evidence = if self.is_saltier(product.1, permeate.1 * PRODUCT_OF_PERMEATE) {
            Evidence::Against
        } else if product.1 > permeate.1 * PRODUCT_OF_PERMEATE {
            Evidence::Mixed
        } else {
            Evidence::For
        };
        let too_pure = feed.is_some_and(|(_, feed)| {
            permeate.1 < feed * (1.0 - BEST_REJECTION) && !self.is_saltier(product.1, feed)
        });
        Some(Compared {
            what: Comparison::ProductAndPermeate,
            shown: [Some(permeate), Some(product), None],
            recoveries: None,
            evidence,
            liar: if too_pure { permeate.0 } else { product.0 },
        })
    }

    /// Recovery from the salts alone is (Cc − Cf)/(Cc − Cp): the salt that comes in goes out.
    fn concentrate_and_flows(&self, flows: &Flows) -> Option<Compared> {
        let (feed, permeate) = (self.main(Point::FeedTds)?, self.main(Point::PermeateTds)?);
        let concentrate = self.main(Point::ConcentrateTds)?;
        let ways = recoveries(flows);
        let by_flows = *ways.first()?;
        let [f, p, c] = [feed.1, permeate.1, concentrate.1].map(Conductivity::us_per_cm);
        let recovery = |f: f64, c: f64| (c > p).then(|| (c - f) / (c - p));
        let (less, more) = (1.0 - self.error, 1.0 + self.error);
        // With a concentrate below the permeate no recovery fits.
        let highest = recovery(f * less, c * more).unwrap_or(0.0);
        let lowest = recovery(f * more, c * less).unwrap_or(f64::NEG_INFINITY);
        let by_salts = recovery(f, c);
        let half = |limit: f64| by_salts.map_or(limit, |by_salts| (limit + by_salts) / 2.0);
        // Where the three meters disagree, either way of reading them may be the true one.
        let fits = |lowest: f64, highest: f64| {
            ways.iter().any(|recovery| {
                highest >= recovery * (1.0 - FLOW_ERROR) && lowest <= recovery * (1.0 + FLOW_ERROR)
            })
        };
        let evidence = if !fits(lowest, highest) {
            Evidence::Against
        } else if fits(half(lowest), half(highest)) {
            Evidence::For
        } else {
            Evidence::Mixed
        };
        Some(Compared {
            what: Comparison::ConcentrateAndFlows,
            shown: [Some(feed), Some(permeate), Some(concentrate)],
            recoveries: by_salts.map(|by_salts| (by_salts, by_flows)),
            evidence,
            // It serves this balance only: without it least is lost.
            liar: concentrate.0,
        })
    }
}

/// Recovery by the flows, 0–1: of the feed, and of permeate and concentrate together; only what is
/// not the owner's own figure.
fn recoveries(flows: &Flows) -> Vec<f64> {
    let whole = both(flows.permeate, flows.feed).ok();
    let sides = both(flows.permeate, flows.concentrate).ok();
    let sides = sides.map(|known| known.map(|(permeate, rest)| (permeate, permeate + rest)));
    let ways = [whole, sides].into_iter().flatten();
    let own = flows
        .recovery()
        .is_ok_and(|known| known.basis == Basis::Assumed);
    ways.filter(|_| !own)
        .filter_map(|known| balance::recovery(known.value.0, known.value.1))
        .collect()
}
