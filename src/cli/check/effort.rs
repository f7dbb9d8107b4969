//! What it takes to add a sensor. Common practice, no source; no prices, for these differ everywhere.

use crate::config::Point;

/// Where it goes, and what that takes.
pub(super) fn effort(point: Point) -> &'static str {
    match point {
        Point::SupplyPressure => {
            "a pressure sender screwed into a tee between the supply valve and the first filter: half an hour, a \
             tube cutter and sealing tape"
        }
        Point::FeedPressure => {
            "a pressure sender screwed into a tee between the last pre-filter (or the pump) and the membrane: half \
             an hour, a tube cutter and sealing tape"
        }
        Point::ConcentratePressure => {
            "a pressure sender on a tee between the membrane and its flow restrictor: half an hour, a tube cutter \
             and sealing tape"
        }
        Point::PermeatePressure => {
            "a pressure sender on a tee in the line to the storage: half an hour, a tube cutter and sealing tape"
        }
        Point::FeedTemperature => {
            "a probe taped to the feed tube under a piece of foam: ten minutes, no tool, and no tube is cut"
        }
        Point::FeedTds => {
            "a probe pressed into a tee in the tube before the membrane: half an hour, no tool but a tube cutter"
        }
        Point::PermeateTds => {
            "a probe pressed into a tee between membrane and DI: half an hour, no tool but a tube cutter"
        }
        Point::ProductTds => {
            "a probe pressed into a tee behind the last DI stage: half an hour, no tool but a tube cutter"
        }
        Point::StageTds => {
            "a probe pressed into a tee behind that stage: half an hour, no tool but a tube cutter"
        }
        Point::ConcentrateTds => {
            "a probe pressed into a tee in the drain line behind the restrictor: half an hour, no tool but a tube \
             cutter"
        }
        Point::FeedFlow => {
            "a small turbine meter in the tube before the membrane: half an hour, no tool but a tube cutter, and \
             as much again with a jug to find its pulses per litre"
        }
        Point::PermeateFlow => {
            "a meter made for drips in the tube behind the membrane: half an hour, no tool but a tube cutter, and \
             as much again with a jug to find its pulses per litre. Ordinary turbine meters see nothing there"
        }
        Point::ConcentrateFlow => {
            "a small turbine meter in the drain line behind the restrictor: half an hour, no tool but a tube \
             cutter, and as much again with a jug to find its pulses per litre"
        }
        Point::InletValve | Point::FlushValve => {
            "a relay or an isolated input beside the valve's coil: half an hour and a screwdriver, where the coil \
             has extra-low voltage; mains wiring is for those licensed for it"
        }
        Point::Pump => {
            "a plug that measures power between the pump and its socket: five minutes, no tool"
        }
        Point::Leak => "a leak sensor on the floor under the unit: five minutes, no tool",
        Point::StorageLevel => {
            "a level sensor in or under the storage: an hour, most of it to find which level is how many litres"
        }
    }
}

/// Whether a tube is cut for it, so that the water must be off.
pub(super) fn cuts_a_tube(point: Point) -> bool {
    match point {
        Point::SupplyPressure
        | Point::FeedPressure
        | Point::ConcentratePressure
        | Point::PermeatePressure
        | Point::FeedTds
        | Point::PermeateTds
        | Point::ProductTds
        | Point::StageTds
        | Point::ConcentrateTds
        | Point::FeedFlow
        | Point::PermeateFlow
        | Point::ConcentrateFlow => true,
        Point::FeedTemperature
        | Point::InletValve
        | Point::FlushValve
        | Point::Pump
        | Point::Leak
        | Point::StorageLevel => false,
    }
}
