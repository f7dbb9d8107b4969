//! The core: one RO/DI unit as a state machine. Readings → runs → performance → stages → alerts.
//!
//! It does no I/O and reads no clock. Four verbs are the whole of it: [`Unit::observe`] a reading,
//! [`Unit::command`], [`Unit::tick`] when [`Unit::deadline`] has come, and [`Unit::drain`] the
//! outputs. The same input gives the same output, so a recorded log replays to the same result.
//! A spurious tick is harmless; a late one only delays.

pub mod alert;
mod breakthrough;
mod capacity;
mod carbon;
mod care;
pub mod causes;
mod command;
pub mod costs;
mod counted_flow;
mod creep;
mod cycling;
mod doubt;
mod due;
mod ended;
pub mod expect;
mod filling;
mod hand_test;
mod hand_value;
pub mod hold_test;
mod hydraulics;
mod journal;
mod kept;
mod known;
mod ledger;
mod left;
mod litres;
mod live;
mod load;
mod logged;
mod maintenance;
mod membrane;
mod meter;
mod output;
mod performance;
mod possible;
mod prefilter;
mod record;
mod run;
mod scale;
mod sensor;
mod settled_water;
mod settling;
mod stage;
mod state;
mod steady;
mod sums;
mod taken;
mod taught;
mod telling;
mod told;
mod train;
mod unit;
mod usage;
mod values;
mod view;
mod watch;
mod water;

pub use breakthrough::Filling;
pub use capacity::Learned;
pub use carbon::CarbonState;
pub use command::{Command, Correction, Remark, Tested};
pub use creep::Creep;
pub use cycling::CyclingState;
pub use doubt::{Doubt, DoubtState};
pub use due::{Due, DueDates, Task};
pub use filling::{FormerFilling, Replacement};
pub use hand_test::{HandResult, HandTest, HandTests};
pub use hydraulics::HydraulicState;
pub use journal::{Deed, Entry, Holding, Journal, Particulars, as_it_holds};
pub use known::{Basis, Finding, Known, Lack};
pub use ledger::Ledger;
pub use left::{Binding, StageFindings};
pub use load::LoadState;
pub use membrane::{Estimate, Forecast, MembraneState, Shift};
pub use meter::{Arrival, Meter, MeterState, Packet};
pub use output::{Event, EventKind, MeterEvent, Output};
pub use performance::rating_point;
pub use prefilter::PrefilterState;
pub use record::RunRecord;
pub use run::{OpenRunState, RunState};
pub use sensor::{Observation, Sensor, Tally};
pub use settled_water::SettledWater;
pub use settling::SettledBy;
pub use stage::{Stage, StageRecord, StageState};
pub use state::{MAY_WAIT, UnitState};
pub use told::moment;
pub use train::Train;
pub use unit::Unit;
pub use usage::{Span, UsageState};
pub use values::Values;
pub use watch::WatchState;
pub use water::{Flows, Totals, Volumes};

/// How soon the state must be kept.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Keep {
    /// Nothing changed.
    #[default]
    Nothing,
    /// At the next checkpoint.
    Soon,
    /// Before the message that caused it is acknowledged.
    Now,
}
