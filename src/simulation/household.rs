//! The household of the demonstration: its unit over the months, what befalls it (`story`), the
//! configuration that matches it (`configuration`), and what is kept of it from one start to the next.
//! Everything is invented, and the same for the same seed and day.

mod configuration;
mod keeper;
mod story;

use jiff::civil::DateTime;
use serde::{Deserialize, Serialize};

use super::demo::{self, DemoUnit, draw};
use super::firmware::Published;
use super::hydraulics::Prefilter;
use super::membrane::Element;
use super::plant::{Parameters, Plant};
use super::resin::Resin;
use super::sensors::{Counted, Sensor};
use super::storage::Draw;
use super::supply::Supply;
use crate::config::Point;
use crate::quantity::{Flow, Pressure, Temperature, Volume};

pub use configuration::{Outlets, household_configuration};
use keeper::Keeper;
use story::Happening;

const DAY: f64 = 86_400.0;
/// Share of the flow that the element loses in 30 days, and of salt passage that it gains.
const DECLINE: f64 = 0.007;
/// After so much feed the pre-filter takes twice what it took when it was clean, L.
const DOUBLING_LITRES: f64 = 7000.0;
/// What the first filling of resin takes, meq.
const RESIN_MEQ: f64 = 400.0;
/// Carbon dioxide in the permeate, mg/L: as the story's tests of alkalinity and pH have it.
const CARBON_DIOXIDE: f64 = 4.1;
/// The line pressure, psi.
const LINE_PSI: f64 = 62.0;

/// A household with a unit.
#[derive(Clone, Debug)]
pub struct Household {
    /// The unit.
    pub unit: DemoUnit,
    /// What is still to come, the latest first, by the day.
    to_come: Vec<(f64, Happening)>,
    keeper: Keeper,
    draws: Vec<Draw>,
}

/// What is kept of a household from one start of the demonstration to the next.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct KeptHousehold {
    plant: Plant,
    counts: Vec<Vec<Counted>>,
}

impl Household {
    /// A household whose unit begins at `start` (local time; it sets the season). After `days` whole
    /// days, and after each further week, the unit stands for some three minutes and is then drawn
    /// from, and some three hours later much is drawn.
    #[must_use]
    pub fn new(seed: u64, start: DateTime, days: u32) -> Self {
        let draws = draws(days);
        let parameters = parameters(seed, start, draws.clone());
        let mut to_come = story::story();
        to_come.sort_by(|one, other| other.0.total_cmp(&one.0));
        Self {
            unit: DemoUnit::of(Plant::new(parameters), boards(seed, start)),
            to_come,
            keeper: Keeper::new(seed),
            draws,
        }
    }

    /// One that goes on from what was kept of it; nothing more is told of its story. Seed and start
    /// are those of its beginning.
    #[must_use]
    pub fn again(seed: u64, start: DateTime, kept: KeptHousehold) -> Self {
        let mut boards = boards(seed, start);
        for (board, counts) in boards.iter_mut().zip(&kept.counts) {
            board.go_on_counting(counts);
            board.begin_at(kept.plant.seconds());
        }
        Self {
            draws: kept.plant.parameters.draws.clone(),
            unit: DemoUnit::of(kept.plant, boards),
            to_come: Vec::new(),
            keeper: Keeper::new(seed),
        }
    }

    /// What is to be kept of it.
    #[must_use]
    pub fn kept(unit: &DemoUnit) -> KeptHousehold {
        KeptHousehold {
            plant: unit.plant.clone(),
            counts: unit.boards.iter().map(|board| board.counts()).collect(),
        }
    }

    /// Lets time pass until something may be seen, at most until `end` (s since the start, ahead).
    /// Gives what the boards publish and the keeper tells at that moment.
    pub fn go_on(&mut self, end: f64) -> Vec<Published> {
        let mut out = Vec::new();
        let next = self.to_come.last().map_or(end, |(day, _)| day * DAY);
        let now = self.unit.plant.seconds();
        self.unit.look(end.min(next.max(now + 1.0)), &mut out);
        let now = self.unit.plant.seconds();
        while let Some((_, happening)) = self.to_come.pop_if(|(day, _)| *day * DAY <= now + 1e-6) {
            self.happen(happening, &mut out);
        }
        out.extend(self.keeper.look_after(&mut self.unit));
        out
    }

    fn happen(&mut self, happening: Happening, out: &mut Vec<Published>) {
        let parameters = &mut self.unit.plant.parameters;
        match happening {
            Happening::LinePressure(psi) => parameters.supply.pressure = Pressure::from_psi(psi),
            Happening::Leak(leak) => self.unit.plant.leak = leak,
            Happening::QualityBoard { powered } => {
                if let Some(board) = self.unit.boards.last_mut() {
                    board.set_powered(powered);
                }
            }
            Happening::Away(true) => parameters.draws.clear(),
            Happening::Away(false) => parameters.draws.clone_from(&self.draws),
            Happening::Replaced { stage, lot, price } => {
                self.unit.replace(stage);
                out.push(story::told_replaced(stage, lot, price));
            }
            Happening::Told(message) => out.push(message),
        }
    }
}

fn boards(seed: u64, start: DateTime) -> Vec<super::Board> {
    let line = ("ANALOG/A1", demo::gauge(Point::SupplyPressure, seed ^ 0xA1));
    let tray = ("leak", Sensor::contact(Point::Leak));
    vec![
        demo::flow_board(seed, start, &[line]),
        demo::quality_board(seed, start, &[tray]),
    ]
}

fn parameters(seed: u64, start: DateTime, draws: Vec<Draw>) -> Parameters {
    let usual = demo::parameters(seed, start);
    Parameters {
        supply: Supply {
            pressure: Pressure::from_psi(LINE_PSI),
            temperature: Temperature::from_celsius(13.5),
            temperature_seasonal: 7.0,
            ..usual.supply
        },
        prefilter: Prefilter {
            clean_loss: Pressure::from_psi(1.0),
            clean_flow: Flow::from_l_per_min(1.0),
            doubling: Volume::from_litres(DOUBLING_LITRES),
            passed: Volume::ZERO,
        },
        element: Element {
            flow_decline_per_1000_l: 0.0,
            salt_rise_per_1000_l: 0.0,
            flow_decline_per_30_days: DECLINE,
            salt_rise_per_30_days: DECLINE,
            slices: 4,
            ..usual.element
        },
        resin: Some(Resin::new(RESIN_MEQ, 30.0, CARBON_DIOXIDE)),
        draws,
        ..usual
    }
}

/// Water for the kitchen four times a day, and much once a week: some 27 L a day.
fn draws(days: u32) -> Vec<Draw> {
    let week_day = f64::from(days % 7);
    vec![
        draw(DAY / 4.0, 200.0, 200.0, 5.2),
        draw(7.0 * DAY, week_day * DAY + 10_800.0, 1800.0, 45.0),
    ]
}
