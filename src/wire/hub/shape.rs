//! What a hub is told of each value: its name for people, its class, how its statistics are made, and
//! whether it stands in front. Each is matched one by one: a metric added to the catalogue does not
//! compile before it has its line here.
//!
//! A class stands only where the hub's list has it with the metric's unit, in the hub's own spelling; to
//! change one later makes the hub give up the statistics it has.

use crate::{
    config::Point,
    core::HandTest,
    metrics::{Metric, StageMetric},
};

/// What a hub is told of a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shape {
    /// Its name for people; the hub puts the device's before it.
    pub title: &'static str,
    /// The hub's class, if it has one for this quantity in this unit.
    pub device_class: Option<&'static str>,
    /// How statistics are made of it.
    pub state_class: &'static str,
    /// Where it stands.
    pub place: Place,
}

/// Where an entity stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// In front.
    Front,
    /// Among the diagnostics.
    Deep,
    /// Among the diagnostics, switched off until somebody wants it.
    Rare,
}

/// A value that rises and falls.
const MEASUREMENT: &str = "measurement";
/// A sum that only grows: it is told once it is on disk, so that no crash throws it back.
const GROWING: &str = "total_increasing";
/// A sum of which hubs take the differences, also a fall: of money they know no other.
const TOTAL: &str = "total";

impl Shape {
    const fn new(
        title: &'static str,
        device_class: Option<&'static str>,
        state_class: &'static str,
    ) -> Self {
        Self {
            title,
            device_class,
            state_class,
            place: Place::Front,
        }
    }

    const fn at(mut self, place: Place) -> Self {
        self.place = place;
        self
    }

    const fn deep(self) -> Self {
        self.at(Place::Deep)
    }

    const fn rare(self) -> Self {
        self.at(Place::Rare)
    }
}

/// A value for which hubs have no class.
const fn plain(title: &'static str) -> Shape {
    Shape::new(title, None, MEASUREMENT)
}

const fn flow(title: &'static str) -> Shape {
    Shape::new(title, Some("volume_flow_rate"), MEASUREMENT)
}

const fn pressure(title: &'static str) -> Shape {
    Shape::new(title, Some("pressure"), MEASUREMENT)
}

const fn conductivity(title: &'static str) -> Shape {
    Shape::new(title, Some("conductivity"), MEASUREMENT)
}

/// A time that is left or has passed, in days.
const fn days(title: &'static str) -> Shape {
    Shape::new(title, Some("duration"), MEASUREMENT)
}

/// What is there now of water.
const fn stored(title: &'static str) -> Shape {
    Shape::new(title, Some("volume_storage"), MEASUREMENT)
}

/// Metered water, as hubs add it up.
const fn water(title: &'static str) -> Shape {
    Shape::new(title, Some("water"), GROWING)
}

const fn hours(title: &'static str) -> Shape {
    Shape::new(title, Some("duration"), GROWING)
}

/// A sum for which hubs have no class.
const fn sum(title: &'static str) -> Shape {
    Shape::new(title, None, GROWING)
}

/// Money that was spent since prices were configured. What begins anew with the day or the month is no
/// sum to a hub: hubs allow money none that falls.
const fn spent(title: &'static str) -> Shape {
    Shape::new(title, Some("monetary"), TOTAL)
}

/// A metric of a unit.
#[must_use]
pub const fn of_metric(metric: Metric) -> Shape {
    match metric {
        Metric::FeedFlow => flow("Feed flow"),
        Metric::PermeateFlow => flow("Permeate flow"),
        Metric::ConcentrateFlow => flow("Concentrate flow"),
        Metric::SupplyPressure => pressure("Supply pressure"),
        Metric::FeedPressure => pressure("Feed pressure"),
        Metric::ConcentratePressure => pressure("Concentrate pressure"),
        Metric::PermeatePressure => pressure("Permeate pressure"),
        Metric::FeedTemperature => Shape::new("Feed temperature", Some("temperature"), MEASUREMENT),
        Metric::FeedTds => plain("Feed TDS"),
        Metric::PermeateTds => plain("Permeate TDS"),
        Metric::ProductTds => plain("Product TDS"),
        Metric::ConcentrateTds => plain("Concentrate TDS"),
        Metric::FeedConductivity => conductivity("Feed conductivity").rare(),
        Metric::PermeateConductivity => conductivity("Permeate conductivity").rare(),
        Metric::ProductConductivity => conductivity("Product conductivity").rare(),
        Metric::StorageLevel => stored("Storage level"),
        Metric::Rejection => plain("Rejection"),
        Metric::SaltPassage => plain("Salt passage").deep(),
        Metric::NormalizedSaltPassage => plain("Normalised salt passage").deep(),
        Metric::Recovery => plain("Recovery"),
        Metric::WasteRatio => plain("Waste ratio"),
        Metric::NetDrivingPressure => pressure("Net driving pressure").deep(),
        Metric::TemperatureCorrection => plain("Temperature correction").rare(),
        Metric::FlowAt25C => flow("Permeate flow at 25 °C").deep(),
        Metric::NormalizedFlow => flow("Normalised flow").deep(),
        Metric::NormalizedFlowOfRating => plain("Normalised flow of rating").deep(),
        Metric::NormalizedFlowOfBaseline => plain("Normalised flow of baseline"),
        Metric::ExpectedFlow => flow("Expected flow").deep(),
        Metric::SpecificFlux => plain("Specific flow").rare(),
        Metric::SaltPassageOfBaseline => plain("Salt passage of baseline"),
        Metric::Shortfall => plain("Shortfall").deep(),
        Metric::ShortfallPressure => plain("Shortfall by pressure").deep(),
        Metric::ShortfallBackPressure => plain("Shortfall by back-pressure").deep(),
        Metric::ShortfallTemperature => plain("Shortfall by temperature").deep(),
        Metric::ShortfallSalinity => plain("Shortfall by salinity").deep(),
        Metric::ShortfallMembrane => plain("Shortfall by membrane").deep(),
        Metric::BoostedFlow => plain("Boosted flow").rare(),
        Metric::PrefilterDrop => pressure("Pre-filter drop").deep(),
        Metric::FlowResponse => plain("Flow response").rare(),
        Metric::FlowResponseMargin => plain("Flow response margin").rare(),
        Metric::ResponseToHandbook => plain("Flow response to handbook").rare(),
        Metric::FlowTrend => plain("Flow trend of baseline").deep(),
        Metric::FlowTrendMargin => plain("Flow trend margin").rare(),
        Metric::FlowChange => plain("Flow change").deep(),
        Metric::FlowChangeMargin => plain("Flow change margin").rare(),
        Metric::FlowLimitEarliest => days("Flow limit earliest").rare(),
        Metric::FlowLimitLikely => days("Flow limit").deep(),
        Metric::FlowLimitLatest => days("Flow limit latest").rare(),
        Metric::SmallestFlowChange => plain("Smallest flow change").rare(),
        Metric::SaltResponse => plain("Salt response").rare(),
        Metric::SaltResponseMargin => plain("Salt response margin").rare(),
        Metric::SaltTrend => plain("Salt trend of baseline").deep(),
        Metric::SaltTrendMargin => plain("Salt trend margin").rare(),
        Metric::SaltChange => plain("Salt change").deep(),
        Metric::SaltChangeMargin => plain("Salt change margin").rare(),
        Metric::SaltLimitEarliest => days("Salt limit earliest").rare(),
        Metric::SaltLimitLikely => days("Salt limit").deep(),
        Metric::SaltLimitLatest => days("Salt limit latest").rare(),
        Metric::SmallestSaltChange => plain("Smallest salt change").rare(),
        Metric::FeedVolume => water("Feed"),
        Metric::PermeateVolume => water("Permeate"),
        Metric::ConcentrateVolume => water("Concentrate"),
        Metric::UnsplitVolume => Shape::new("Feed unsplit", Some("volume"), GROWING).rare(),
        Metric::UnmatchedVolume => Shape::new("Feed unknown", Some("volume"), GROWING).rare(),
        Metric::ProducingTime => hours("Producing time").deep(),
        Metric::UnmeasuredTime => hours("Unmeasured time").rare(),
        Metric::Runs => sum("Runs").deep(),
        Metric::PermeateSalt => sum("Permeate salt").rare(),
        Metric::CreepSalt => sum("Creep salt").rare(),
        Metric::StartsPerDay => plain("Starts a day").deep(),
        Metric::LitresPerRun => plain("Litres a run").deep(),
        Metric::CreepShare => plain("Creep share").deep(),
        Metric::ScalingIndex => plain("Scaling index").deep(),
        Metric::SafeRecovery => plain("Safe recovery").deep(),
        Metric::ChlorineExposureLow => plain("Chlorine exposure at least").rare(),
        Metric::ChlorineExposure => plain("Chlorine exposure").deep(),
        Metric::ChlorineExposureHigh => plain("Chlorine exposure at most").rare(),
        Metric::CostToday => plain("Cost today"),
        Metric::CartridgesToday => plain("Cost of fillings today").rare(),
        Metric::WaterToday => plain("Cost of water today").rare(),
        Metric::WasteToday => plain("Cost of waste today").rare(),
        Metric::CostMonth => plain("Cost this month"),
        Metric::CartridgesMonth => plain("Cost of fillings this month").rare(),
        Metric::WaterMonth => plain("Cost of water this month").rare(),
        Metric::WasteMonth => plain("Cost of waste this month").rare(),
        Metric::CostLife => spent("Cost").deep(),
        Metric::CartridgesLife => spent("Cost of fillings").deep(),
        Metric::WaterLife => spent("Cost of water").deep(),
        Metric::WasteLife => spent("Cost of waste").deep(),
        Metric::CostLitre => plain("Cost of a litre"),
        Metric::CartridgesLitre => plain("Cost of a litre for fillings").rare(),
        Metric::WaterLitre => plain("Cost of a litre for water").rare(),
        Metric::WasteLitre => plain("Cost of a litre for waste").rare(),
        Metric::CostLitreLastMonth => plain("Cost of a litre last month").deep(),
        Metric::CartridgesLitreLastMonth => plain("Cost of a litre last month for fillings").rare(),
        Metric::WaterLitreLastMonth => plain("Cost of a litre last month for water").rare(),
        Metric::WasteLitreLastMonth => plain("Cost of a litre last month for waste").rare(),
    }
}

/// A metric of a stage; the stage's name is put before it.
#[must_use]
pub const fn of_stage_metric(metric: StageMetric) -> Shape {
    match metric {
        // It begins anew with every filling, and comes back when a replacement is withdrawn.
        StageMetric::Treated => Shape::new("treated", Some("volume"), TOTAL).deep(),
        StageMetric::Left => plain("left"),
        StageMetric::LeftVolume => stored("water left"),
        StageMetric::LeftTime => days("days left"),
        StageMetric::Tds => plain("TDS"),
        StageMetric::Age => days("age").deep(),
        StageMetric::LeftLow => plain("left at least").deep(),
        StageMetric::LeftHigh => plain("left at most").deep(),
        StageMetric::CationLoad => plain("cation load").rare(),
        StageMetric::AnionLoad => plain("anion load").rare(),
        StageMetric::DisinfectantLoad => plain("disinfectant load").deep(),
        StageMetric::LeftTimeLow => days("days left at least").deep(),
        StageMetric::LeftTimeHigh => days("days left at most").deep(),
        StageMetric::LeftVolumeLow => stored("water left at least").rare(),
        StageMetric::LeftVolumeHigh => stored("water left at most").rare(),
        StageMetric::Capacity => plain("capacity").deep(),
        StageMetric::CapacityLow => plain("capacity at least").rare(),
        StageMetric::CapacityHigh => plain("capacity at most").rare(),
        StageMetric::ContactTime => {
            Shape::new("contact time", Some("duration"), MEASUREMENT).deep()
        }
    }
}

/// A contact's name and class; `None` for what is no contact.
#[must_use]
pub const fn of_contact(point: Point) -> Option<(&'static str, &'static str)> {
    match point {
        Point::InletValve => Some(("Inlet valve", "opening")),
        Point::FlushValve => Some(("Flush valve", "opening")),
        Point::Pump => Some(("Booster pump", "running")),
        Point::Leak => Some(("Leak contact", "moisture")),
        Point::SupplyPressure
        | Point::FeedPressure
        | Point::ConcentratePressure
        | Point::PermeatePressure
        | Point::FeedTemperature
        | Point::FeedTds
        | Point::PermeateTds
        | Point::ProductTds
        | Point::StageTds
        | Point::ConcentrateTds
        | Point::FeedFlow
        | Point::PermeateFlow
        | Point::ConcentrateFlow
        | Point::StorageLevel => None,
    }
}

/// What a keeper may enter of a test by hand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Entry {
    /// Its name for people.
    pub title: &'static str,
    /// Its unit; empty for pH.
    pub unit: &'static str,
    /// The smallest and the largest value.
    pub smallest: f64,
    /// See `smallest`.
    pub largest: f64,
    /// The step of the box.
    pub step: f64,
}

/// A test by hand. The ranges are those of the configuration's keys.
#[must_use]
pub const fn of_test(test: HandTest) -> Entry {
    const fn entry(title: &'static str, smallest: f64, largest: f64, step: f64) -> Entry {
        Entry {
            title,
            unit: "mg/L",
            smallest,
            largest,
            step,
        }
    }
    match test {
        HandTest::Alkalinity => entry("Tested alkalinity", 1.0, 1000.0, 1.0),
        HandTest::Calcium => entry("Tested calcium hardness", 0.0, 1000.0, 1.0),
        HandTest::DisinfectantLevel => entry("Tested disinfectant in the feed", 0.0, 10.0, 0.01),
        HandTest::Hardness => entry("Tested hardness", 0.0, 1000.0, 1.0),
        HandTest::Ph => Entry {
            title: "Tested pH",
            unit: "",
            smallest: 5.5,
            largest: 10.0,
            step: 0.01,
        },
        HandTest::Silica => entry("Tested silica", 0.0, 150.0, 0.1),
        HandTest::Tds => entry("Tested TDS", 0.0, 20_000.0, 1.0),
        HandTest::TotalChlorine => entry("Tested total chlorine behind carbon", 0.0, 10.0, 0.01),
    }
}
