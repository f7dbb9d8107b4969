//! A household with a unit: what its water, its element and its use are like, as a seed and a few
//! choices decide. No playing here.

use std::collections::BTreeMap;

use permeated::{
    config::{self, Point, Settings},
    quantity::{Flow, Pressure, TdsScale, Temperature, Volume},
    simulation::{
        Container, Draw, Element, Fault, Parameters, Plant, Prefilter, Restrictor, Sensor, Supply,
        TemperatureLaw,
    },
};

pub const DAY: f64 = 86_400.0;
pub const PULSES_PER_LITRE: f64 = 3900.0;
const GAUGE_PSI: f64 = 150.0;
const GAUGE_BITS: u32 = 12;
/// Turbines of this kind stop below it.
const SLOWEST: f64 = 0.05;

/// Something that happens on a day.
#[derive(Clone, Debug)]
pub enum Happening {
    /// The membrane loses a share of A and gains a share of B at once.
    Lose { share_of_a: f64, rise_of_b: f64 },
    /// A sensor fails, or is well again.
    Fault(Point, Option<Fault>),
    /// Something about the plant becomes different: clogging, a booster, another restrictor …
    Change(fn(&mut Parameters)),
    /// A new membrane is put in; the keeper tells of it if `told`.
    NewMembrane { told: bool },
}

/// A household with a unit, and what will befall it.
#[derive(Clone, Debug)]
pub struct Household {
    /// Seed of everything random: supply, sensors, habits.
    pub seed: u64,
    /// How long it is watched, days.
    pub days: f64,
    /// Day of the year on which the watching begins (0 = first of January).
    pub first_day: f64,
    /// How the element's A follows the temperature. B follows it a little more steeply.
    pub law: TemperatureLaw,
    /// Share of A lost in 30 days.
    pub decline_per_30_days: f64,
    /// Share of B gained in 30 days.
    pub salt_rise_per_30_days: f64,
    /// Rated flow in the configuration, in parts of what this element gives when new.
    pub rating: f64,
    /// Whether gauges, probes and thermometer are calibrated: then only noise and steps are left.
    pub calibrated: bool,
    /// Noise of the TDS probes (0.02 = 2 %).
    pub probe_noise: f64,
    /// How much is drawn, in parts of the usual (some 25 L a day).
    pub thirst: f64,
    /// Between the float's two levels, L: the least a run makes.
    pub float_play: f64,
    /// Water held on the permeate side, L: what creep makes salty.
    pub held_permeate: f64,
    /// Seconds between reports while it runs, and while it stands (below the sensors' `max_age`, ten
    /// minutes unless configured).
    pub report_running: u32,
    pub report_standing: u32,
    /// What happens on which day; in any order.
    pub happenings: Vec<(f64, Happening)>,
    /// More of the configuration, in TOML; its tables as [unit.home.…].
    pub configuration: String,
}

impl Household {
    /// A normal year from a first of January, with calibrated sensors and half a per cent of A lost
    /// a month.
    pub fn new(seed: u64, law: TemperatureLaw) -> Self {
        Self {
            seed,
            days: 365.0,
            first_day: 0.0,
            law,
            decline_per_30_days: 0.005,
            salt_rise_per_30_days: 0.005,
            rating: 1.0,
            calibrated: true,
            probe_noise: 0.02,
            thirst: 1.0,
            float_play: 4.0,
            held_permeate: 0.1,
            report_running: 30,
            report_standing: 540,
            happenings: Vec::new(),
            configuration: String::new(),
        }
    }

    /// In short, for tables.
    pub fn name(&self) -> String {
        let law = match self.law {
            TemperatureLaw::Viscosity => "viscosity".to_owned(),
            TemperatureLaw::Arrhenius(kelvin) => format!("arrhenius {kelvin}"),
            TemperatureLaw::Handbook => "handbook".to_owned(),
        };
        format!(
            "{:4} {law:14} day {:3.0} {:4.1} %/month",
            self.seed,
            self.first_day,
            100.0 * self.decline_per_30_days
        )
    }

    /// Even in 0 … 1, of its own for each `what`.
    fn chance(&self, what: u64) -> f64 {
        // SplitMix64's finaliser.
        let mut bits = (self.seed.wrapping_mul(0x9E37_79B9_7F4A_7C15)).wrapping_add(what << 32 | 1);
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((bits ^ (bits >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// The plant at the beginning.
    pub fn plant(&self) -> Plant {
        let mut plant = Plant::new(self.parameters());
        plant.hurry(f64::from(self.report_running), 60.0);
        plant
    }

    fn parameters(&self) -> Parameters {
        Parameters {
            seed: self.seed,
            supply: self.supply(),
            room: Temperature::from_celsius(19.0),
            prefilter: Prefilter {
                clean_loss: Pressure::from_psi(1.0),
                clean_flow: Flow::from_l_per_min(1.0),
                // Changed in time: the year is not about pre-filters.
                doubling: Volume::from_litres(100_000.0),
                passed: Volume::ZERO,
            },
            booster: Pressure::ZERO,
            element: self.element(),
            restrictor: Restrictor::Orifice {
                flow: Flow::from_l_per_min(0.62),
                at: Pressure::from_psi(55.0),
            },
            back_pressure: Pressure::ZERO,
            flush: None,
            resin: None,
            container: Container {
                contents: Volume::from_litres(80.0),
                full: Volume::from_litres(80.0),
                refill: Volume::from_litres(80.0 - self.float_play),
            },
            draws: self.draws(),
            standby_leak: Flow::ZERO,
        }
    }

    /// 4–24 °C over the year, 58 psi ± 15 %, 180–420 mg/L.
    fn supply(&self) -> Supply {
        Supply {
            pressure: Pressure::from_psi(58.0),
            pressure_daily: Pressure::from_psi(4.0),
            pressure_wander: Pressure::from_psi(4.7),
            temperature: Temperature::from_celsius(14.0),
            temperature_seasonal: 9.0,
            temperature_wander: 1.0,
            salt_mg_per_l: 300.0,
            salt_seasonal: 0.25,
            salt_wander: 0.15,
            first_day: self.first_day,
        }
    }

    /// A 100 gal/d element, a little better or worse from seed to seed.
    fn element(&self) -> Element {
        Element {
            area_m2: 0.45,
            water_permeability: 9.2 * (0.9 + 0.2 * self.chance(1)),
            salt_permeability: 1.15 * (0.7 + 0.6 * self.chance(2)),
            water_law: self.law,
            salt_law: steeper(self.law),
            channel_loss: 0.001,
            feed_side: Volume::from_litres(0.2),
            permeate_side: Volume::from_litres(self.held_permeate),
            flow_decline_per_1000_l: 0.0,
            salt_rise_per_1000_l: 0.0,
            flow_decline_per_30_days: self.decline_per_30_days,
            salt_rise_per_30_days: self.salt_rise_per_30_days,
            slices: 4,
        }
    }

    /// Top-offs and kitchen through the day, an odd bucket, a weekly water change.
    fn draws(&self) -> Vec<Draw> {
        let draw = |every_days: f64, at: f64, minutes: f64, litres: f64| Draw {
            every_seconds: (every_days * DAY).round(),
            at_seconds: (at * every_days * DAY).round(),
            for_seconds: minutes * 60.0,
            volume: Volume::from_litres(litres * self.thirst),
        };
        vec![
            draw(
                0.31 + 0.1 * self.chance(3),
                0.3,
                4.0,
                3.5 + 2.0 * self.chance(4),
            ),
            draw(1.0, 0.75, 5.0, 2.0 + 3.0 * self.chance(5)),
            draw(1.7 + self.chance(6), 0.5, 10.0, 3.0 + 4.0 * self.chance(7)),
            draw(
                7.0,
                0.2 + 0.6 * self.chance(8),
                30.0,
                25.0 + 20.0 * self.chance(9),
            ),
        ]
    }

    /// What a maker would print for this element: flow in gal/d and rejection as meters show it, at
    /// 60 psi, 25 °C, 250 mg/L and a recovery of 15 %.
    fn rated(&self) -> (f64, f64) {
        let mut parameters = self.parameters();
        parameters.supply = Supply::steady(
            Pressure::from_psi(60.0),
            Temperature::from_celsius(25.0),
            250.0,
        );
        parameters.prefilter.clean_loss = Pressure::ZERO;
        parameters.room = Temperature::from_celsius(25.0);
        parameters.restrictor = Restrictor::Ratio(0.85 / 0.15);
        parameters.container = Container {
            contents: Volume::ZERO,
            full: Volume::from_litres(1e9),
            refill: Volume::from_litres(1e9),
        };
        parameters.draws.clear();
        let mut plant = Plant::new(parameters);
        plant.step(60.0);
        let truth = plant.truth();
        let passage = truth.membrane_conductivity.unwrap() / truth.feed_conductivity;
        (truth.permeate_flow.gal_per_day(), 1.0 - passage)
    }

    /// The settings as the real configuration code makes them.
    pub fn settings(&self) -> Settings {
        let (flow, rejection) = self.rated();
        let mut text = format!(
            "{HEAD}\n[unit.home.membrane]\nrated_flow = \"{:.1} gal/d\"\nrated_pressure = \"60 psi\"\n\
             rated_temperature = \"25 degC\"\nrated_tds = \"250 mg/L\"\nrated_recovery = 0.15\n\
             rated_rejection = {rejection:.4}\n",
            flow * self.rating
        );
        text += &self.configuration;
        for point in POINTS {
            text += &format!(
                "\n[[unit.home.sensor]]\nat = \"{0}\"\ntopic = \"s/{0}\"\n{1}\n",
                point.key(),
                keys(point)
            );
        }
        config::from_text("year.toml", &text, &BTreeMap::new(), None)
            .unwrap_or_else(|problems| panic!("{problems}\n{text}"))
    }

    /// The sensors, in the order of the settings.
    pub fn sensors(&self) -> Vec<Sensor> {
        let sensor = |(number, point): (usize, Point)| {
            let seed = self.seed.wrapping_mul(1000).wrapping_add(number as u64);
            let sensor = match point {
                Point::FeedPressure => {
                    Sensor::ratiometric(point, Pressure::from_psi(GAUGE_PSI), GAUGE_BITS, seed)
                }
                Point::FeedTemperature => Sensor::thermometer(seed),
                Point::PermeateFlow | Point::ConcentrateFlow => {
                    Sensor::pulses(point, PULSES_PER_LITRE, Flow::from_l_per_min(SLOWEST))
                }
                point => Sensor::tds_meter(point, TdsScale::NACL, self.probe_noise, seed),
            };
            if self.calibrated {
                sensor.calibrated()
            } else {
                sensor
            }
        };
        POINTS.into_iter().enumerate().map(sensor).collect()
    }
}

/// The sensors' points, in the order in which they report.
pub const POINTS: [Point; 6] = [
    Point::FeedPressure,
    Point::FeedTemperature,
    Point::FeedTds,
    Point::PermeateTds,
    Point::PermeateFlow,
    Point::ConcentrateFlow,
];

/// What the configuration says of the sensor at a point.
fn keys(point: Point) -> String {
    match point {
        Point::FeedPressure => {
            let steps = f64::from(GAUGE_BITS).exp2() - 1.0;
            format!(
                "unit = \"psi\"\ncalibration = [[{:.1}, 0.0], [{:.1}, {GAUGE_PSI:.1}]]",
                0.1 * steps,
                0.9 * steps
            )
        }
        Point::FeedTemperature => "unit = \"degC\"".to_owned(),
        Point::PermeateFlow | Point::ConcentrateFlow => format!(
            "kind = \"pulses\"\npulses_per_litre = {PULSES_PER_LITRE:.0}\nminimum = \"{SLOWEST} L/min\""
        ),
        _ => "unit = \"mg/L\"".to_owned(),
    }
}

const HEAD: &str = r#"[broker]
url = "mqtt://localhost"

[unit.home]
tds_scale = 0.5

[[unit.home.stage]]
id = "membrane"
kind = "membrane"
"#;

/// Salt passes a little more easily with warmth than water does: some 400 K more in Arrhenius' law
/// (common practice, no source).
fn steeper(law: TemperatureLaw) -> TemperatureLaw {
    TemperatureLaw::Arrhenius(match law {
        TemperatureLaw::Arrhenius(kelvin) => kelvin + 400.0,
        // The handbook's below 25 °C.
        TemperatureLaw::Handbook => 3020.0 + 400.0,
        // Viscosity between 5 and 25 °C (1.518 and 0.890 mPa·s, IAPWS): 2214 K.
        TemperatureLaw::Viscosity => 2214.0 + 400.0,
    })
}
