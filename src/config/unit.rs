//! A unit's settings: what is its own, and what it has in common with the others of its table.

use std::{
    ops::{Deref, DerefMut},
    sync::Arc,
    time::Duration,
};

use jiff::tz::TimeZone;

use super::{
    alerting::AlertSettings,
    costs::Costs,
    hold_test::HoldTestSettings,
    notices::{Display, NoticeSettings},
    sensor::SensorSettings,
    settings::{Membrane, RunSettings, StageSettings, Storage, Supply},
};
use crate::quantity::{TdsScale, Volume};

/// One RO/DI unit: what is its own. The rest, by which it is read as if it stood here, many units of one
/// template have in common: thousands of them cost little memory.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitSettings {
    /// Lower-case letters, digits, `_` and `-`; part of topics and of the store.
    pub id: String,
    /// What people call it.
    pub name: String,
    /// The room it stands in, as hubs group devices.
    pub suggested_area: Option<String>,
    /// The rest of its table.
    pub common: Arc<CommonSettings>,
}

impl Deref for UnitSettings {
    type Target = CommonSettings;

    fn deref(&self) -> &CommonSettings {
        &self.common
    }
}

impl DerefMut for UnitSettings {
    fn deref_mut(&mut self) -> &mut CommonSettings {
        Arc::make_mut(&mut self.common)
    }
}

/// A sensor's settings where they stand among those of all units of the table.
#[derive(Clone, Debug)]
pub struct SharedSensor {
    common: Arc<CommonSettings>,
    index: usize,
}

impl Deref for SharedSensor {
    type Target = SensorSettings;

    fn deref(&self) -> &SensorSettings {
        &self.common.sensors[self.index]
    }
}

/// What a table says of each of its units.
#[derive(Clone, Debug, PartialEq)]
pub struct CommonSettings {
    /// The table's name below `unit`: the only unit's id, or whatever the template is called.
    pub table: String,
    /// Whether it is a template, with a list of ids.
    pub is_template: bool,
    /// Where its days begin and end.
    pub time_zone: TimeZone,
    /// The units in which sentences speak.
    pub display: Display,
    /// Whether it may be told anything by MQTT: what was replaced, tests by hand, answers to alerts.
    pub takes_commands: bool,
    /// Rules for what a person is told.
    pub notices: NoticeSettings,
    /// The scale in which TDS is published and limits in mg/L are understood.
    pub tds_scale: TdsScale,
    /// What is known of the water that comes in.
    pub supply: Supply,
    /// The membrane's rating; without it nothing is normalised.
    pub membrane: Option<Membrane>,
    /// What the product water runs into.
    pub storage: Storage,
    /// When a run begins, has settled and ends.
    pub run: RunSettings,
    /// The stages, from supply to storage.
    pub stages: Vec<StageSettings>,
    /// The sensors, in the order written; the index is the sensor's number in the core.
    pub sensors: Vec<SensorSettings>,
    /// Alert limits.
    pub alerts: AlertSettings,
    /// How far ahead the list of what to order looks.
    pub order_ahead: Duration,
    /// Prices of water and their currency; without them nothing is said of costs.
    pub costs: Option<Costs>,
    /// How the pressure hold test is made.
    pub hold_test: HoldTestSettings,
}

impl UnitSettings {
    /// The sensors, each to be held by itself without a copy.
    pub fn shared_sensors(&self) -> impl Iterator<Item = SharedSensor> {
        let common = &self.common;
        (0..common.sensors.len()).map(|index| SharedSensor {
            common: Arc::clone(common),
            index,
        })
    }

    /// Whether both come of the same template.
    #[must_use]
    pub fn is_alike(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.common, &other.common)
    }
}

impl CommonSettings {
    /// Settled runs that make the baseline.
    #[must_use]
    pub fn baseline_runs(&self) -> usize {
        self.membrane
            .as_ref()
            .map_or(super::defaults::BASELINE_RUNS as usize, |membrane| {
                membrane.baseline_runs
            })
    }

    /// How long and for how many litres a new element's figures do not count.
    #[must_use]
    pub fn break_in(&self) -> (Duration, Volume) {
        self.membrane.as_ref().map_or(
            (
                super::defaults::BREAK_IN_TIME,
                Volume::from_litres(super::defaults::BREAK_IN_LITRES),
            ),
            |membrane| (membrane.break_in_time, membrane.break_in_volume),
        )
    }

    /// The recovery to go by where none is measured: by the configured waste ratio, else the
    /// rating's.
    #[must_use]
    pub fn usual_recovery(&self) -> Option<f64> {
        self.supply
            .waste_ratio
            .and_then(crate::physics::balance::recovery_from_waste_ratio)
            .or(self.membrane.as_ref().map(|membrane| membrane.recovery))
    }
}
