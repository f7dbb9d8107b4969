//! Settling, on signals worked out by hand and on the simulated membrane's creep, whose physics is
//! written apart from the core's.

use super::*;
use crate::{
    core::creep::{Passed, Salt},
    quantity::{Pressure, Temperature, Volume},
    simulation::{Container, DemoUnit, Phase, Plant, Supply},
};

/// One start of a simulated unit after standing.
#[derive(Clone, Copy, Debug)]
struct Start {
    /// B at 25 °C, L/(m²·h): 0.3 is a tight element, 3 a worn one.
    salt_permeability: f64,
    permeate_side: f64,
    feed_mg_per_l: f64,
    standing_minutes: f64,
    /// Of the probe: a part of the value; and how often it tells, s.
    noise: f64,
    interval: u32,
    seed: u64,
}

/// What became of it.
#[derive(Debug)]
struct Outcome {
    by: SettledBy,
    litres: f64,
    /// µS/cm of the membrane, and by how much the outlet lay above it, when it was said to have settled.
    level: f64,
    excess: f64,
    /// Litres after which the outlet was within the bound.
    needed: f64,
    /// Excess salt as told and as it was, µS/cm·L.
    told_salt: f64,
    true_salt: f64,
}

/// The bound: the excess over the membrane's level that may be left when a run has settled. 4 % or
/// half a step of change between two stretches leaves up to 1.2 of it, and the probe's steps hide up
/// to one step more.
fn bound(level: f64) -> f64 {
    (1.2 * SHARE * level).max(1.2 * HALF_STEP) + 2.0 * HALF_STEP
}

fn plant(start: Start) -> Plant {
    let mut parameters = DemoUnit::new(42, jiff::civil::date(2026, 1, 10).at(8, 0, 0, 0))
        .plant
        .parameters;
    let celsius = Temperature::from_celsius(20.0);
    parameters.supply = Supply::steady(Pressure::from_bar(4.0), celsius, start.feed_mg_per_l);
    parameters.room = celsius;
    parameters.draws.clear();
    parameters.flush = None;
    parameters.element.salt_permeability = start.salt_permeability;
    parameters.element.permeate_side = Volume::from_litres(start.permeate_side);
    parameters.container = Container {
        contents: Volume::from_litres(10.0),
        full: Volume::from_litres(20.0),
        refill: Volume::from_litres(15.0),
    };
    let mut plant = Plant::new(parameters);
    // A run first, so that standing begins from settled water.
    while plant.truth().phase != Phase::Standing {
        plant.step(60.0);
    }
    plant.step(start.standing_minutes * 60.0);
    plant.parameters.container.contents = Volume::ZERO;
    plant.step(1e-3);
    plant
}

/// Noise from a generator of its own (the one of Knuth's MMIX, from memory; what matters is that it
/// scatters).
fn noise(state: &mut u64) -> f64 {
    let mut sum = 0.0;
    for _ in 0..12 {
        *state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        sum += (*state >> 11) as f64 / (1_u64 << 53) as f64;
    }
    sum - 6.0
}

/// A probe with whole mg/L on the 0.5 scale, and the median of three.
fn play(start: Start) -> Outcome {
    let mut plant = plant(start);
    let begin = plant.truth().totals.permeate_litres;
    let mut settling = Settling::new(Mono(0));
    let mut salt = Salt::default();
    let (mut window, mut random) = ([0.0; 3], start.seed);
    let (mut base, mut true_salt, mut needed) = (Passed::default(), 0.0, None);
    let mut litres_before = begin;
    for second in 0..20_000_u32 {
        let truth = plant.truth();
        assert_eq!(
            truth.phase,
            Phase::Producing,
            "the run outlasts its settling"
        );
        let litres = truth.totals.permeate_litres - begin;
        let outlet = truth.permeate_conductivity.us_per_cm();
        let level = truth.membrane_conductivity.unwrap().us_per_cm();
        true_salt += (outlet - level) * (truth.totals.permeate_litres - litres_before);
        litres_before = truth.totals.permeate_litres;
        if outlet - level > bound(level) {
            needed = None;
        } else {
            needed.get_or_insert(litres);
        }
        if second % start.interval == 0 {
            let shown = outlet / 2.0 * (1.0 + start.noise * noise(&mut random));
            window.rotate_left(1);
            window[2] = shown.round() * 2.0;
        }
        if second == 0 {
            // Before the run the probe showed the standing water.
            window = [window[2]; 3];
        }
        let mut sorted = window;
        sorted.sort_unstable_by(f64::total_cmp);
        let heard_at = Mono(u64::from(second - second % start.interval) * 1000);
        let probed = Probed {
            us_cm: sorted[1],
            heard_at,
            smoothing: 3,
        };
        let now = Mono(u64::from(second) * 1000);
        salt.look(now, litres, Some(probed), second > 0);
        if second == 0 {
            base = salt.so_far();
        }
        let progress = Progress {
            share: litres / 0.5,
            by_volume: true,
        };
        if let Some(by) = settling.look(progress, Some(probed)) {
            let passed = salt.so_far().since(base);
            return Outcome {
                by,
                litres,
                level,
                excess: outlet - level,
                needed: needed.unwrap_or(f64::INFINITY),
                told_salt: passed.milligrams_above(settling.level().unwrap_or(level)) * 2.0,
                true_salt,
            };
        }
        plant.step(1.0);
    }
    panic!("never settled: {start:?}")
}

fn starts() -> Vec<Start> {
    let mut starts = Vec::new();
    for salt_permeability in [0.3, 1.0, 3.0] {
        for permeate_side in [0.05, 0.1, 0.15] {
            for feed_mg_per_l in [60.0, 250.0, 600.0] {
                for (standing_minutes, noise) in [(20.0, 0.0), (480.0, 0.02), (480.0, 0.04)] {
                    for interval in [2, 10, 20] {
                        starts.push(Start {
                            salt_permeability,
                            permeate_side,
                            feed_mg_per_l,
                            standing_minutes,
                            noise,
                            interval,
                            seed: starts.len() as u64,
                        });
                    }
                }
            }
        }
    }
    starts
}

#[test]
fn simulated_creep_is_washed_out_when_it_is_said_to_be_and_not_long_before() {
    let mut limits = 0;
    for start in starts() {
        let found = play(start);
        assert!(found.excess <= bound(found.level), "{start:?}: {found:?}");
        // What is needed, or the least of 0.3 L, and then: the stretch that is going on, one to see
        // that it is level, one more for the median's delay and the noise; with a slow probe
        // (0.06 L and more from reading to reading) a stretch is twice as long.
        let stretch = if start.interval > 10 { 0.2 } else { 0.1 };
        let late = found.litres - found.needed.max(0.3);
        let most = if start.noise > 0.03 { 5.0 } else { 4.0 };
        if found.by == SettledBy::Limit {
            limits += 1;
        } else {
            assert!(
                late <= most * stretch + 0.1,
                "{start:?}: {late} L late: {found:?}"
            );
        }
        // A probe of whole mg/L that tells every 0.006 to 0.06 L: readings far apart on a steep
        // fall tell too much, and a weak creep of a few mg/L drowns in steps.
        let salt = found.told_salt / found.true_salt;
        assert!((0.85..1.3).contains(&salt), "{start:?}: {salt}: {found:?}");
    }
    // Noise that never gives two equal levels is for the limit, and is rare.
    assert!(limits <= 5, "{limits}");
}

/// Plays (litres, µS/cm) at 0.5 L `settle_volume`, with what was shown last at the end.
fn settled(row: &[(f64, Option<f64>)]) -> Option<(SettledBy, f64)> {
    let mut settling = Settling::new(Mono(0));
    let mut second = 0;
    row.iter().find_map(|&(litres, us_cm)| {
        second += 10;
        let probed = us_cm.map(|us_cm| Probed {
            us_cm,
            heard_at: Mono(second * 1000),
            smoothing: 1,
        });
        let progress = Progress {
            share: litres / 0.5,
            by_volume: true,
        };
        settling
            .look(progress, probed)
            .map(|by| (by, (litres * 1000.0).round() / 1000.0))
    })
}

/// A reading every 0.025 L up to 2 L.
fn row(us_cm: impl Fn(f64) -> Option<f64>) -> Vec<(f64, Option<f64>)> {
    (1..=80)
        .map(|step| f64::from(step) * 0.025)
        .map(|litres| (litres, us_cm(litres)))
        .collect()
}

#[test]
fn a_level_is_settled_however_high_but_not_before_the_least() {
    for level in [0.0, 2.0, 20.0, 400.0] {
        let found = settled(&row(|_| Some(level)));
        assert_eq!(found, Some((SettledBy::Signal, 0.3)), "{level}");
    }
}

#[test]
fn a_plug_of_salty_water_is_waited_for() {
    // 0.05 L of clean water from the tube, then 0.15 L of salty, then clean: the stretches of 0.1 L are
    // mixed, salty, clean and clean.
    let found = settled(&row(|litres| {
        Some(if (0.051..0.201).contains(&litres) {
            160.0
        } else {
            20.0
        })
    }));
    assert_eq!(found, Some((SettledBy::Signal, 0.4)));
}

#[test]
fn what_never_levels_is_settled_at_three_times_the_volume() {
    let found = settled(&row(|litres| Some(100.0 * (-litres).exp())));
    assert_eq!(found, Some((SettledBy::Limit, 1.5)));
    let found = settled(&row(|litres| Some(20.0 + 20.0 * litres)));
    assert_eq!(found, Some((SettledBy::Limit, 1.5)), "a rise is no level");
}

#[test]
fn without_enough_of_a_signal_the_volume_decides() {
    assert_eq!(
        settled(&row(|_| None)),
        Some((SettledBy::Volume, 0.5)),
        "no probe"
    );
    // A probe that tells every 0.2 L tells two or three times in 0.5 L: not two stretches.
    let slow: Vec<_> = (1..=8)
        .map(|step| (f64::from(step) * 0.2, Some(20.0)))
        .collect();
    assert_eq!(settled(&slow), Some((SettledBy::Volume, 0.6)));
    // One that falls silent at 0.6 L while the water was still changing.
    let silent = row(|litres| (litres < 0.6).then(|| 100.0 * (-litres).exp()));
    assert_eq!(settled(&silent), Some((SettledBy::Volume, 0.6)));
}

#[test]
fn the_same_reading_seen_again_is_no_second_one() {
    let mut settling = Settling::new(Mono(0));
    let probed = |second| Probed {
        us_cm: 20.0,
        heard_at: Mono(second * 1000),
        smoothing: 1,
    };
    for step in 1..=18 {
        let progress = Progress {
            share: f64::from(step) * 0.05,
            by_volume: false,
        };
        let found = settling.look(progress, Some(probed(u64::from(step > 9))));
        assert_eq!(found, None, "{step}");
    }
    let progress = Progress {
        share: 1.0,
        by_volume: false,
    };
    let found = settling.look(progress, Some(probed(1)));
    assert_eq!(found, Some(SettledBy::Time));
}
