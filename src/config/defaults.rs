//! What holds when the file says nothing, and what is allowed at all; each with its reason.
//! Unless said otherwise the reason is common practice, no source.

use std::{
    net::{IpAddr, Ipv4Addr, SocketAddr},
    ops::RangeInclusive,
    time::Duration,
};

use crate::quantity::Flow;

const fn seconds(seconds: u64) -> Duration {
    Duration::from_secs(seconds)
}

const fn minutes(minutes: u64) -> Duration {
    Duration::from_secs(minutes * 60)
}

const fn days(days: u64) -> Duration {
    Duration::from_secs(days * 86_400)
}

/// A broker on the same machine, the usual place of a small installation's.
pub(super) const BROKER_URL: &str = "mqtt://localhost:1883";
/// The registered port of MQTT.
pub(super) const PORT: u16 = 1883;
/// The registered port of MQTT over TLS.
pub(super) const TLS_PORT: u16 = 8883;
/// A broker that vanished is noticed within a minute.
pub(super) const KEEP_ALIVE: Duration = seconds(30);
/// MQTT counts whole seconds in 16 bits; below 5 s slow links drop out.
pub(super) const KEEP_ALIVE_RANGE: RangeInclusive<Duration> = seconds(5)..=seconds(65_535);

/// Our own name.
pub(super) const PREFIX: &str = "permeated";
/// Fast enough to watch, slow enough for any hub's history.
pub(super) const INTERVAL: Duration = seconds(10);
pub(super) const INTERVAL_RANGE: RangeInclusive<Duration> = seconds(0)..=minutes(60);
/// A hub that forgot is told again within five minutes.
pub(super) const HEARTBEAT: Duration = minutes(5);
pub(super) const HEARTBEAT_RANGE: RangeInclusive<Duration> = seconds(1)..=days(1);

/// A day later it was either done or forgotten.
pub(super) const REMIND: Duration = days(1);
pub(super) const REMIND_RANGE: RangeInclusive<Duration> = minutes(10)..=days(30);

/// The level under which controllers look for devices (Homie convention 5).
pub(super) const HOMIE_DOMAIN: &str = "homie";

/// The usual prefix of discovery messages, and the usual word of a hub that has started.
pub(super) const HUB_PREFIX: &str = "homeassistant";
pub(super) const BIRTH: &str = "online";

/// Nobody but this machine; the port is one of those scrapers' users take for their own exporters.
pub(super) const METRICS_LISTEN: SocketAddr =
    SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 9464);

/// Nobody but this machine; a port that no common service claims.
pub(super) const PAGE_LISTEN: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 8600);

/// A server that takes longer has not taken the notice.
pub(super) const NOTIFY_TIMEOUT: Duration = seconds(10);
pub(super) const NOTIFY_TIMEOUT_RANGE: RangeInclusive<Duration> = seconds(1)..=minutes(2);

/// Where services keep their state (the file system hierarchy's `/var/lib`).
pub(super) const STATE_DIRECTORY: &str = "/var/lib/permeated";
/// One write a minute is kind to flash cards.
pub(super) const CHECKPOINT: Duration = seconds(60);
pub(super) const CHECKPOINT_RANGE: RangeInclusive<Duration> = seconds(1)..=minutes(60);

/// Rating tests are made at 25 °C.
pub(super) const RATED_CELSIUS: f64 = 25.0;
pub(super) const BASELINE_RUNS: u32 = 5;
/// A new element gives more and passes more in its first day, and its preservative is to be washed
/// out: makers take their figures after 24 to 48 h.
pub(super) const BREAK_IN_TIME: Duration = days(1);
pub(super) const BREAK_IN_TIME_RANGE: RangeInclusive<Duration> = seconds(0)..=days(60);
pub(super) const BREAK_IN_LITRES: f64 = 20.0;
/// Best waste ratio near 80 psi; housings and fittings are made for little more than 100.
pub(super) const BOOST_PSI: f64 = 80.0;
pub(super) const BASELINE_RUNS_RANGE: RangeInclusive<u32> = 1..=50;
/// Quarter-inch tubing carries up to three; eight is a vessel bank.
pub(super) const ELEMENTS_RANGE: RangeInclusive<u32> = 1..=8;
pub(crate) const RECOVERY_RANGE: RangeInclusive<f64> = 0.01..=0.95;
pub(super) const REJECTION_RANGE: RangeInclusive<f64> = 0.5..=0.9999;
pub(super) const WASTE_RATIO_RANGE: RangeInclusive<f64> = 0.1..=20.0;

/// A run has begun when a tenth of the rated flow passes …
pub(super) const START_SHARE_OF_RATED: f64 = 0.1;
/// … or, for an unrated membrane, a tenth of a small element's (50 gal/d is 0.13 L/min).
pub(super) const START_L_PER_MIN: f64 = 0.02;
/// Longer than the pause between two messages of a brisk flow sensor.
pub(super) const STOP_AFTER: Duration = seconds(15);
pub(super) const STOP_AFTER_RANGE: RangeInclusive<Duration> = seconds(1)..=minutes(60);
/// What stands in the element and its tubing after a pause.
pub(super) const SETTLE_LITRES: f64 = 0.5;
/// Creep settles with a time constant of 6 to 41 min (a model); ten minutes is most of the quick ones.
pub(super) const SETTLE_TIME: Duration = minutes(10);
pub(super) const SETTLE_TIME_RANGE: RangeInclusive<Duration> = seconds(0)..=minutes(360);

/// Longer than any cartridge, and than most units.
pub(super) const LIFE_TIME_RANGE: RangeInclusive<Duration> = days(1)..=days(20 * 365);
/// Strong acid resin in the acid form, as on a maker's sheet (1.8).
pub(super) const CATION_EQ_PER_L: f64 = 1.8;
/// Strong base resin, type 1, in the base form: a maker's guaranteed least.
pub(super) const ANION_EQ_PER_L: f64 = 1.0;
/// Of a mixed bed, by volume of anion resin to one of cation resin (a maker's sheet).
pub(super) const ANION_PARTS: f64 = 1.5;
/// Shares of the whole capacity used before the water is no longer good: the most, the likely and
/// the least. 50 to 80 % (from memory), and the middle.
pub(super) const USABLE: [f64; 3] = [0.8, 0.65, 0.5];
/// Tap water; beyond, one of the tests is wrong.
pub(crate) const PH_RANGE: RangeInclusive<f64> = 5.5..=10.0;
/// An earlier year is a slip of the pen.
pub(crate) const EARLIEST_INSTALLED_YEAR: i16 = 2000;

/// Twice the slowest common interval of sensor firmware (300 s).
pub(super) const MAX_AGE: Duration = minutes(10);
/// Firmware tells a valve or a pump when it changes, and many have none of their own heartbeat.
pub(super) const CONTACT_MAX_AGE: Duration = days(7);
pub(super) const MAX_AGE_RANGE: RangeInclusive<Duration> = seconds(1)..=days(30);
/// Nothing is known of the sensor's lower end.
pub(super) const MINIMUM: Flow = Flow::ZERO;
/// More than quarter- or three-eighths-inch tubing carries at home pressure.
pub(super) const MAXIMUM_L_PER_MIN: f64 = 10.0;
/// One spike between two good values is passed over.
pub(super) const GAUGE_SMOOTHING: u32 = 3;
/// A median would lose or delay water.
pub(super) const FLOW_SMOOTHING: u32 = 1;
pub(super) const SMOOTHING_RANGE: RangeInclusive<u32> = 1..=31;
/// Gauges read a little below zero when empty; home plumbing bursts long before 20 bar.
pub(super) const PLAUSIBLE_BAR: (f64, f64) = (-0.5, 20.0);
/// Liquid, and below what membranes and housings bear. The 85 °C (power-on) and −127 °C (no answer)
/// of the common digital thermometer fall outside.
pub(super) const PLAUSIBLE_CELSIUS: (f64, f64) = (0.1, 60.0);
/// Brackish water at most.
pub(super) const PLAUSIBLE_US_PER_CM: (f64, f64) = (0.0, 20_000.0);
/// From a meter with one pulse a cubic metre to the finest turbine.
pub(super) const PULSES_PER_LITRE_RANGE: RangeInclusive<f64> = 0.001..=1_000_000.0;
/// Beyond 2^53 a count is no longer exact in a JSON number.
pub(super) const WRAP_RANGE: RangeInclusive<f64> = 2.0..=9_007_199_254_740_992.0;
/// The words of common firmware. "open" and "closed" are left out: an open valve passes water, an
/// open contact passes no current.
pub(super) const ON_WORDS: [&str; 4] = ["on", "true", "1", "yes"];
pub(super) const OFF_WORDS: [&str; 4] = ["off", "false", "0", "no"];
pub(super) const UP_WORD: &str = "online";
pub(super) const DOWN_WORD: &str = "offline";

/// Zero product from a spent mixed bed shows as the first whole mg/L of a meter.
pub(super) const PRODUCT_TDS_MG_PER_L: f64 = 1.0;
pub(super) const PRODUCT_TDS_CLEAR: f64 = 0.8;
/// A tenth of a hard feed: beyond it a mixed bed is spent quickly.
pub(super) const PERMEATE_TDS_MG_PER_L: f64 = 30.0;
pub(super) const PERMEATE_TDS_CLEAR: f64 = 0.9;
/// Home elements below 90 % are past their best.
pub(crate) const REJECTION: f64 = 0.90;
/// Clears a fifth of the way back to perfect: 92 % for a limit of 90 %.
pub(super) const REJECTION_CLEAR_OF_PASSAGE: f64 = 0.2;
/// Plants clean at −10 to −15 % of the normalised flow (reference values of several makers).
pub(crate) const NORMALIZED_FLOW: f64 = 0.85;
pub(super) const NORMALIZED_FLOW_CLEAR_ABOVE: f64 = 0.05;
/// Plants take −10 % for the sign to clean.
pub(super) const FLOW_FALLING: f64 = 0.90;
pub(super) const FLOW_FALLING_CLEAR_ABOVE: f64 = 0.03;
/// Salt passage +10 % is the sign to clean or to replace.
pub(crate) const SALT_RISING: f64 = 1.10;
pub(super) const SALT_RISING_CLEAR: f64 = 0.97;
pub(super) const SALT_RISING_RANGE: RangeInclusive<f64> = 1.01..=20.0;
/// Judged on whole runs: nothing to wait for.
pub(super) const TREND_HOLD: Duration = seconds(0);
/// Against the rating the maker's own tolerance (often ±15 or 20 %) is added.
pub(super) const NORMALIZED_FLOW_OF_RATING: f64 = 0.70;
/// Below some 40 psi home elements make little and reject poorly.
pub(super) const FEED_PRESSURE_LOW_PSI: f64 = 40.0;
pub(super) const FEED_PRESSURE_LOW_CLEAR: f64 = 1.075;
/// Housings and push fittings leak well above 100 psi.
pub(super) const FEED_PRESSURE_HIGH_PSI: f64 = 100.0;
pub(super) const FEED_PRESSURE_HIGH_CLEAR: f64 = 0.95;
/// Time to order the cartridge.
pub(super) const STAGE_LEFT: f64 = 0.10;
pub(super) const STAGE_LEFT_CLEAR: f64 = 1.5;
pub(super) const STAGE_DAYS: f64 = 14.0;
pub(super) const STAGE_DAYS_RANGE: RangeInclusive<f64> = 0.0..=365.0;
/// Parcels may take weeks, from abroad months.
pub(super) const LEAD_TIME_RANGE: RangeInclusive<Duration> = days(0)..=days(365);
/// What a spent stage may be late before it is told again.
pub(super) const STAGE_OVERDUE: Duration = days(14);
pub(super) const STAGE_OVERDUE_RANGE: RangeInclusive<Duration> = days(0)..=days(365);
/// A month: orders are made together.
pub(super) const ORDER_AHEAD: Duration = days(30);
pub(super) const ORDER_AHEAD_RANGE: RangeInclusive<Duration> = days(0)..=days(2 * 365);
/// Longer than the first minutes of a run, in which the values have not settled.
pub(super) const QUALITY_HOLD: Duration = minutes(10);
pub(super) const NORMALIZED_FLOW_HOLD: Duration = minutes(30);
/// A tap opened elsewhere in the house is no fault.
pub(super) const FEED_PRESSURE_LOW_HOLD: Duration = minutes(2);
pub(super) const FEED_PRESSURE_HIGH_HOLD: Duration = seconds(10);
/// A share of life does not jitter: nothing to wait for.
pub(super) const STAGE_HOLD: Duration = seconds(0);
pub(super) const HOLD_RANGE: RangeInclusive<Duration> = seconds(0)..=days(30);
/// A fifth of the readings is far beyond the stray error code of a node that starts.
pub(super) const IMPLAUSIBLE_SHARE: f64 = 0.2;
/// Several readings even of firmware that reports every 300 s.
pub(super) const IMPLAUSIBLE_WINDOW: Duration = minutes(30);
pub(super) const IMPLAUSIBLE_WINDOW_RANGE: RangeInclusive<Duration> = minutes(5)..=days(1);
/// What inexpensive TDS boards are good for (±10 %).
pub(super) const PROBE_ERROR: f64 = 0.10;
pub(super) const PROBE_ERROR_RANGE: RangeInclusive<f64> = 0.005..=0.4;
/// Some days of a home unit: nothing in moving water stays the same to the last digit so long.
pub(super) const STUCK_RUN_TIME: Duration = minutes(360);
pub(super) const STUCK_RUN_TIME_RANGE: RangeInclusive<Duration> = minutes(30)..=days(30);
/// Beyond what two turbine meters of ±5–10 % that were never calibrated disagree by.
pub(super) const BALANCE: f64 = 0.15;
pub(super) const BALANCE_CLEAR_RATIO: f64 = 2.0 / 3.0;
/// So much that what a meter had not yet told is of no account.
pub(super) const BALANCE_LITRES: f64 = 5.0;
/// 29 L a day; a drip below it is beyond small turbines anyway.
pub(super) const SHUTOFF_L_PER_MIN: f64 = 0.02;
pub(super) const SHUTOFF_CLEAR: f64 = 0.5;
pub(super) const SHUTOFF_HOLD: Duration = minutes(10);
/// Round the configured waste ratio: restrictors are sold in steps of about a third, and pressure
/// moves permeate and concentrate differently (common practice, no source).
pub(super) const WASTE_RATIO_WITHIN: f64 = 0.4;
/// Without a ratio: from 9:1, which no restrictor is meant for, to 1:1, the least waste that home
/// elements are sold for (common practice, no source).
pub(super) const RECOVERY: (f64, f64) = (0.10, 0.50);
/// Clears a twentieth of the limit inside.
pub(super) const RECOVERY_CLEAR: f64 = 0.05;
/// A change of the line pressure or a filling tank moves it for minutes.
pub(super) const RECOVERY_HOLD: Duration = minutes(30);
/// A third of the 15 psi at which makers have cartridges changed: home flows are small.
pub(super) const PREFILTER_PSI: f64 = 5.0;
pub(super) const PREFILTER_CLEAR: f64 = 0.7;
/// It clogs within weeks: an hour of making water is soon, and no tap opened elsewhere lasts it.
pub(super) const PREFILTER_HOLD: Duration = minutes(60);
pub(super) const PREFILTER_FACTOR: f64 = 2.0;
pub(super) const PREFILTER_FACTOR_RANGE: RangeInclusive<f64> = 1.0..=10.0;
/// A booster pump in order adds 1 to 4 bar (common practice, no source).
pub(super) const PUMP_LIFT_BAR: f64 = 0.5;
pub(super) const PUMP_LIFT_CLEAR: f64 = 1.2;
/// It needs some seconds to fill the housings.
pub(super) const PUMP_LIFT_HOLD: Duration = minutes(1);
/// Ice bursts housings below, heat softens them and the element's glue above (common practice, no
/// source).
pub(super) const FEED_CELSIUS: (f64, f64) = (2.0, 38.0);
/// Clears one degree inside.
pub(super) const FEED_CELSIUS_CLEAR: f64 = 1.0;
/// A sensor node that restarts is back within minutes.
pub(super) const SILENT_GRACE: Duration = minutes(10);
/// A float with ordinary play and a household's use make a handful of starts a day.
pub(super) const SHORT_STARTS_PER_DAY: f64 = 12.0;
pub(super) const SHORT_STARTS_CLEAR: f64 = 0.75;
pub(super) const SHORT_STARTS_RANGE: RangeInclusive<f64> = 1.0..=1000.0;
/// The creep of one start is as much salt as one to three litres of good permeate (a model).
pub(super) const SHORT_RUN_LITRES: f64 = 2.0;
pub(super) const SHORT_CYCLING_HOLD: Duration = days(1);
/// A small element fills some 100 L in that time; household storages are smaller.
pub(super) const RUN_TOO_LONG: Duration = minutes(12 * 60);
pub(super) const RUN_TOO_LONG_RANGE: RangeInclusive<Duration> = minutes(10)..=days(30);
/// One missed flush may be a timer's choice.
pub(super) const FLUSH_MISSED_RUNS: u32 = 3;
pub(super) const FLUSH_MISSED_RUNS_RANGE: RangeInclusive<u32> = 1..=1000;
/// A top-off is often not followed by a flush.
pub(super) const FLUSH_MISSED_RUN: Duration = minutes(10);

/// A quarter of an hour, in which a drip of some drops a minute shows on a gauge.
pub(super) const HOLD_TEST_TIME: Duration = minutes(15);
pub(crate) const HOLD_TEST_MINUTES_RANGE: RangeInclusive<f64> = 2.0..=240.0;
/// Creep of tubing and seals takes some per cent in that time …
pub(super) const HOLD_TEST_SHARE: f64 = 0.03;
pub(super) const HOLD_TEST_SHARE_RANGE: RangeInclusive<f64> = 0.001..=0.5;
/// … and cheap gauges of 10 to 12 bar range wander by a hundredth of it.
pub(super) const HOLD_TEST_DROP_BAR: f64 = 0.1;
/// Less than a household's line pressure tells nothing of how tight the unit is at it.
pub(super) const HOLD_TEST_LEAST_BAR: f64 = 1.0;

/// Of a filling. Currencies differ by some ten thousand times; more is a slip of the pen.
pub(super) const PRICE_RANGE: RangeInclusive<f64> = 0.0..=1e9;

/// Ordinary carbon may be spent by chloramine within weeks; free chlorine it takes for months (common
/// practice, no source).
pub(super) const TEST_DUE_CHLORAMINE: Duration = days(30);
pub(super) const TEST_DUE_CHLORINE: Duration = days(90);
pub(super) const TEST_DUE_RANGE: RangeInclusive<Duration> = days(1)..=days(730);
/// The least that common kits show (common practice, no source).
pub(super) const BREAKTHROUGH_MG_PER_L: f64 = 0.1;
/// Above an index of 0.3 calcite falls out within the minute the concentrate spends in a home element
/// without antiscalant; below it stays dissolved (common practice, no source). The index of ASTM D3739
/// lies 0.12 to 0.27 below PHREEQC's of calcite in tap water: 0.2 are taken off for that.
pub(super) const SCALING_INDEX: f64 = 0.1;
pub(super) const SCALING_CLEAR_BELOW: f64 = 0.1;
/// Water that dissolves chalk to water that plants keep in solution with chemicals only.
pub(super) const SCALING_RANGE: RangeInclusive<f64> = -2.0..=3.0;
