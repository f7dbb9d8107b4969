//! The demonstration: one invented unit in a basement, its two sensor boards, and the
//! configuration that matches them.

mod described;

use jiff::civil::DateTime;

use super::firmware::{Board, Dialect, Published};
use super::hydraulics::{Prefilter, Restrictor};
use super::membrane::Element;
use super::plant::{Flush, Parameters, Phase, Plant};
use super::resin::Resin;
use super::sensors::Sensor;
use super::storage::{Container, Draw};
use super::supply::Supply;
use super::water::TemperatureLaw;
use crate::config::Point;
use crate::quantity::{Flow, Pressure, TdsScale, Temperature, Volume};

pub use described::demo_configuration;
pub(super) use described::{Described, InDocument, SENSORS, head, sensors};

const FLOW_BOARD: &str = "demo_flow";
const QUALITY_BOARD: &str = "demo/quality";
const PULSES_PER_LITRE: f64 = 3900.0;
const SLOWEST_PULSES: f64 = 0.05;
const GAUGE_PSI: f64 = 150.0;
const GAUGE_BITS: u32 = 12;
const DAY: f64 = 86_400.0;
/// Between two reports of a board, s; …
const INTERVAL: f64 = 10.0;
/// … and in a hurry while the unit stands: below the ten minutes after which a value is stale.
const REPORT_STANDING: f64 = 540.0;
/// Lived faster than real time a report comes early or late by some simulated seconds, which a flow
/// counted from one to the next must not feel.
const REPORT_RUNNING_LIVE: f64 = 30.0;
const REPORT_STANDING_LIVE: f64 = 60.0;
/// Stages of which something is simulated.
pub(super) const SEDIMENT: &str = "sediment";
pub(super) const MEMBRANE: &str = "membrane";
pub(super) const MIXED_BED: &str = "mixed_bed";

/// The unit of the demonstration with its boards.
#[derive(Clone, Debug)]
pub struct DemoUnit {
    /// The unit.
    pub plant: Plant,
    /// Its sensor boards.
    pub boards: Vec<Board>,
    /// The boards look this often for what they tell at once, s.
    glance: Glance,
}

#[derive(Clone, Copy, Debug)]
struct Glance {
    running: f64,
    standing: f64,
}

impl Glance {
    const USUAL: Self = Self {
        running: 5.0,
        standing: 5.0,
    };
    const IN_A_HURRY: Self = Self {
        running: 30.0,
        standing: 60.0,
    };
}

impl DemoUnit {
    /// A new unit that begins at `start` (local time; it sets the season). It stands for some five
    /// minutes and then fills; the same holds after any whole number of days.
    #[must_use]
    pub fn new(seed: u64, start: DateTime) -> Self {
        let boards = vec![
            flow_board(seed, start, &[]),
            quality_board(seed, start, &[]),
        ];
        Self::of(Plant::new(parameters(seed, start)), boards)
    }

    /// A unit with these boards.
    pub(super) fn of(plant: Plant, boards: Vec<Board>) -> Self {
        Self {
            plant,
            boards,
            glance: Glance::USUAL,
        }
    }

    /// Lets time pass (s); returns what was published meanwhile, in its order. Step by the boards'
    /// interval where the time of each message matters.
    pub fn step(&mut self, seconds: f64) -> Vec<Published> {
        let mut out = Vec::new();
        let end = self.plant.seconds() + seconds;
        while end - self.plant.seconds() > 1e-6 {
            self.look(end, &mut out);
        }
        out
    }

    /// Lets time pass until the boards next look, at most until `end` (s since the start, ahead);
    /// appends what they publish then.
    pub(super) fn look(&mut self, end: f64, out: &mut Vec<Published>) {
        let now = self.plant.seconds();
        let glance = match self.plant.phase() {
            Phase::Standing => self.glance.standing,
            Phase::Producing | Phase::Flushing => self.glance.running,
        };
        // Contacts are told at once, so the boards look every few seconds.
        let next = (self.boards.iter().map(Board::due))
            .filter(|due| *due > now + 1e-6)
            .fold(end.min(now + glance), f64::min);
        self.plant.step(next - now);
        let truth = self.plant.truth();
        for board in &mut self.boards {
            board.observe(&truth, out);
        }
    }

    /// Lets months go by in seconds from now on: longer steps, and boards that say little while the
    /// unit stands.
    pub fn hurry(&mut self) {
        let Glance { running, standing } = Glance::IN_A_HURRY;
        self.plant.hurry(running, standing);
        self.glance = Glance::IN_A_HURRY;
        for board in &mut self.boards {
            board.keep_pace(running, REPORT_STANDING);
        }
    }

    /// The usual steps again, and boards that tell more while it stands.
    pub fn take_time(&mut self) {
        self.plant.take_time();
        self.glance = Glance::USUAL;
        for board in &mut self.boards {
            board.keep_pace(REPORT_RUNNING_LIVE, REPORT_STANDING_LIVE);
        }
    }

    /// Somebody puts a new one in for that stage; nothing happens to one that is not simulated.
    pub fn replace(&mut self, stage: &str) {
        match stage {
            SEDIMENT => self.plant.replace_prefilter(),
            MEMBRANE => self.plant.replace_membrane(),
            MIXED_BED => self.plant.replace_resin(),
            _ => {}
        }
    }

    /// Both boards publish this often from now on, s (> 0); 10 s unless changed.
    pub fn publish_every(&mut self, seconds: f64) {
        for board in &mut self.boards {
            board.publish_every(seconds);
        }
    }
}

/// A sensor by its name on a board.
type Named = (&'static str, Sensor);

/// The board in the pipes, with these sensors besides.
pub(super) fn flow_board(seed: u64, start: DateTime, more: &[Named]) -> Board {
    let slowest = Flow::from_l_per_min(SLOWEST_PULSES);
    Board::new(
        Dialect::Document {
            topic: FLOW_BOARD.to_owned(),
        },
        INTERVAL,
        start,
        with(
            more,
            vec![
                (
                    "COUNTER/C1",
                    Sensor::pulses(Point::PermeateFlow, PULSES_PER_LITRE, slowest),
                ),
                (
                    "COUNTER/C2",
                    Sensor::pulses(Point::ConcentrateFlow, PULSES_PER_LITRE, slowest),
                ),
                ("ANALOG/A0", gauge(Point::FeedPressure, seed ^ 0xA0)),
                ("DS18B20/Temperature", Sensor::thermometer(seed ^ 0xB0)),
            ],
        ),
    )
}

/// A pressure gauge of the kind that is built in.
pub(super) fn gauge(at: Point, seed: u64) -> Sensor {
    Sensor::ratiometric(at, Pressure::from_psi(GAUGE_PSI), GAUGE_BITS, seed)
}

fn with(more: &[Named], mut sensors: Vec<Named>) -> Vec<Named> {
    sensors.extend_from_slice(more);
    sensors
}

/// The board that tells how good the water is, with these sensors besides.
pub(super) fn quality_board(seed: u64, start: DateTime, more: &[Named]) -> Board {
    let meter = |at, salt| Sensor::tds_meter(at, TdsScale::NACL, 0.02, seed ^ salt);
    Board::new(
        Dialect::Plain {
            root: QUALITY_BOARD.to_owned(),
        },
        INTERVAL,
        start,
        with(
            more,
            vec![
                ("feed_tds", meter(Point::FeedTds, 0xC0)),
                ("permeate_tds", meter(Point::PermeateTds, 0xC1)),
                ("product_tds", meter(Point::ProductTds, 0xC2)),
                ("inlet_valve", Sensor::contact(Point::InletValve)),
            ],
        ),
    )
}

pub(super) fn parameters(seed: u64, start: DateTime) -> Parameters {
    Parameters {
        seed,
        supply: Supply {
            pressure: Pressure::from_psi(58.0),
            pressure_daily: Pressure::from_psi(3.0),
            pressure_wander: Pressure::from_psi(2.5),
            temperature: Temperature::from_celsius(14.0),
            temperature_seasonal: 5.0,
            temperature_wander: 0.6,
            salt_mg_per_l: 145.0,
            salt_seasonal: 0.10,
            salt_wander: 0.05,
            first_day: f64::from(start.date().day_of_year() - 1)
                + f64::from(start.time().hour()) / 24.0,
        },
        room: Temperature::from_celsius(18.0),
        prefilter: Prefilter {
            clean_loss: Pressure::from_psi(1.0),
            clean_flow: Flow::from_l_per_min(1.0),
            doubling: Volume::from_litres(8000.0),
            passed: Volume::ZERO,
        },
        booster: Pressure::ZERO,
        element: element(),
        restrictor: Restrictor::Orifice {
            flow: Flow::from_l_per_min(0.62),
            at: Pressure::from_psi(55.0),
        },
        back_pressure: Pressure::ZERO,
        flush: Some(Flush {
            seconds: 20.0,
            flow: Flow::from_l_per_min(1.8),
            at: Pressure::from_psi(50.0),
        }),
        resin: Some(Resin::new(450.0, 30.0, 4.0)),
        container: Container {
            contents: Volume::from_litres(88.0),
            full: Volume::from_litres(90.0),
            refill: Volume::from_litres(86.0),
        },
        draws: vec![
            draw(DAY / 6.0, 200.0, 200.0, 6.0),
            draw(7.0 * DAY, 3.1 * DAY, 1800.0, 45.0),
        ],
        standby_leak: Flow::ZERO,
    }
}

/// Rated 100 gal/d at 60 psi, 25 °C, 250 mg/L and 15 % recovery; this one is a little better.
fn element() -> Element {
    Element {
        area_m2: 0.45,
        water_permeability: 9.2,
        salt_permeability: 1.15,
        water_law: TemperatureLaw::Arrhenius(2700.0),
        salt_law: TemperatureLaw::Arrhenius(3000.0),
        channel_loss: 0.001,
        feed_side: Volume::from_litres(0.2),
        permeate_side: Volume::from_litres(0.1),
        flow_decline_per_1000_l: 0.015,
        salt_rise_per_1000_l: 0.03,
        flow_decline_per_30_days: 0.0,
        salt_rise_per_30_days: 0.0,
        slices: 10,
    }
}

pub(super) fn draw(every_seconds: f64, at_seconds: f64, for_seconds: f64, litres: f64) -> Draw {
    Draw {
        every_seconds,
        at_seconds,
        for_seconds,
        volume: Volume::from_litres(litres),
    }
}
