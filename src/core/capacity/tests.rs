//! Closed forms of what is learned, and what never happens.

use super::*;
use crate::config::{StageKind, StageWater};

fn stage(kind: StageKind, ions: Option<IonCapacity>) -> StageSettings {
    StageSettings {
        id: "resin".to_owned(),
        name: "Resin".to_owned(),
        kind,
        water: StageWater::Permeate,
        life_volume: None,
        life_time: None,
        capacity: ions.map(Capacity::Ions),
        installed: None,
        lead_time: None,
        price: None,
        media: None,
        rinse: None,
    }
}

fn meq(meq: f64) -> Option<Equivalents> {
    Some(Equivalents::from_meq(meq))
}

/// A mixed bed as by its resin: 50 to 80 % of 400 meq cation and 300 meq anion.
fn mixed() -> StageSettings {
    let ions = IonCapacity {
        cation: meq(400.0),
        anion: meq(300.0),
        usable: [0.8, 0.65, 0.5],
    };
    stage(StageKind::MixedBed, Some(ions))
}

const BOTH: Room = Room {
    cation: Some([320.0, 260.0, 200.0]),
    anion: Some([240.0, 195.0, 150.0]),
};

fn load(cation: f64, anion: Ends) -> LoadState {
    LoadState {
        cation: [cation; 3],
        anion,
        ..LoadState::default()
    }
}

fn near(found: f64, expected: f64, share: f64) {
    assert!(
        (found / expected - 1.0).abs() <= share,
        "{found}, expected {expected}"
    );
}

/// Conjugate normals in logarithms, closed form: prior ln 195 with ln(0.8/0.5)/3.92 = 0.1199, observation
/// ln 160 with 0.05: the weight of the observation is 0.01438 / (0.01438 + 0.0025) = 0.8519.
#[test]
fn a_breakthrough_moves_the_belief_by_its_weight() {
    let mut learned = Learned::default();
    learned.break_through(&mixed(), &BOTH, &load(100.0, [160.0; 3]));
    let told = learned.told().unwrap();
    let expected = (195f64.ln() + 0.8519 * (160.0 / 195.0f64).ln()).exp();
    near(told.likely, expected, 1e-4);
    // Posterior 0.05·√0.8519 = 0.04615, and the next filling's own 0.05: 0.06804; × 1.96.
    near(told.high / told.likely, (1.96 * 0.06804f64).exp(), 1e-3);
    near(told.low * told.high, told.likely.powi(2), 1e-9);
    assert_eq!(learned.words().unwrap(), "1 breakthrough seen behind it");
}

/// With nothing configured the first breakthrough gives the capacity, and the band is that of a filling
/// beside another: 0.05·√2.
#[test]
fn where_nothing_is_configured_the_first_breakthrough_tells() {
    let anion = stage(StageKind::Anion, None);
    let room = Room {
        cation: None,
        anion: Some([f64::INFINITY; 3]),
    };
    let mut learned = Learned::default();
    assert_eq!(learned.room(&anion, None), [None, None]);
    learned.break_through(&anion, &room, &load(0.0, [50.0, 100.0, 200.0]));
    let told = learned.told().unwrap();
    near(told.likely, 100.0, 1e-12);
    near(told.high, 100.0 * (1.96 * 0.05 * 2f64.sqrt()).exp(), 1e-9);
    let room = learned.room(&anion, None)[ANION].unwrap();
    near(room[LEAST] / 50.0, 200.0 / room[MOST], 1e-9);
}

/// Whatever factor a reckoning is wrong by cancels: the share used of the next filling, after the same
/// load, is the same in all three but for the band of the fillings.
#[test]
fn a_reckoning_that_is_wrong_by_a_factor_is_put_right() {
    let mut learned = Learned::default();
    for _ in 0..4 {
        learned.break_through(&mixed(), &BOTH, &load(50.0, [60.0, 150.0, 450.0]));
    }
    let room = learned.room(&mixed(), None)[ANION].unwrap();
    let likely = 150.0 / room[LIKELY];
    let reach = (1.96 * 0.05 * 1.25f64.sqrt()).exp();
    near(likely, 1.0, 0.02);
    near(60.0 / room[LEAST], likely / reach, 0.02);
    near(450.0 / room[MOST], likely * reach, 0.04);
}

/// The mean of a normal distribution cut off at its middle is 0.7979 deviations above it (√(2/π)); a bound
/// far below says nothing.
#[test]
fn a_filling_replaced_while_good_is_a_lower_bound() {
    let mut learned = Learned::default();
    learned.replace_while_good(&mixed(), &BOTH, &load(10.0, [195.0; 3]));
    let belief = learned.sides[ANION].unwrap()[LIKELY];
    let spread = 0.1199f64.hypot(0.05);
    let expected = 195f64.ln() + 0.1199f64.powi(2) / spread * (2.0 / std::f64::consts::PI).sqrt();
    near(belief.mean, expected, 1e-4);
    assert!(belief.deviation < 0.1199);
    let cation = learned.sides[CATION].unwrap()[LIKELY];
    near(cation.mean, 260f64.ln(), 1e-9);
    assert_eq!(learned.told(), None, "no breakthrough, no figure");
    assert!(learned.words().unwrap().contains("at least that much"));
}

#[test]
fn another_volume_of_resin_is_in_proportion_and_another_cartridge_forgotten() {
    let mut learned = Learned::default();
    learned.break_through(&mixed(), &BOTH, &load(100.0, [160.0; 3]));
    let before = learned.told().unwrap().likely;
    let twice = |times: f64| {
        let mut settings = mixed();
        if let Some(Capacity::Ions(ions)) = &mut settings.capacity {
            ions.cation = meq(400.0 * times);
            ions.anion = meq(300.0 * times);
        }
        settings
    };
    learned.rescale(&twice(2.0));
    near(learned.told().unwrap().likely, 2.0 * before, 1e-9);
    learned.rescale(&twice(2.0));
    near(learned.told().unwrap().likely, 2.0 * before, 1e-9);
    learned.rescale(&stage(StageKind::MixedBed, None));
    near(learned.told().unwrap().likely, 2.0 * before, 1e-9);
    learned.rescale(&twice(2.0));
    learned.rescale(&twice(100.0));
    assert_eq!(learned, Learned::default());
}

/// A filling whose water is good although it has taken all that was reckoned has something left.
#[test]
fn a_filling_that_is_still_good_can_take_more() {
    let learned = Learned::default();
    for taken in [0.0, 100.0, 195.0, 250.0, 400.0] {
        let room = learned.room(&mixed(), Some(&load(0.0, [taken; 3])));
        let room = room[ANION].unwrap();
        assert!(
            room.iter().all(|meq| *meq > taken && meq.is_finite()),
            "{taken}: {room:?}"
        );
        assert!(
            room[LEAST] >= room[LIKELY] && room[LIKELY] >= room[MOST],
            "{room:?}"
        );
    }
    let fresh = learned.room(&mixed(), None)[ANION].unwrap();
    near(fresh[LIKELY], 195.0, 1e-12);
}

/// Nothing negative, nothing that is not a number, whatever comes.
#[test]
fn nothing_wild_comes_of_wild_loads() {
    let wild = [0.0, 1e-300, 1e-9, 1.0, 1e9, 1e300, f64::INFINITY, f64::NAN];
    for settings in [mixed(), stage(StageKind::MixedBed, None)] {
        for first in wild {
            for second in wild {
                let mut learned = Learned::default();
                learned.replace_while_good(&settings, &BOTH, &load(second, [first; 3]));
                learned.break_through(&settings, &BOTH, &load(first, [first, second, second]));
                learned.break_through(&settings, &BOTH, &load(second, [second; 3]));
                let text = serde_json::to_string(&learned).unwrap();
                assert!(!text.contains("null,\"deviation"), "{text}");
                let good = load(first, [second; 3]);
                for room in learned.room(&settings, Some(&good)).into_iter().flatten() {
                    assert!(
                        room.iter().all(|meq| *meq > 0.0 && meq.is_finite()),
                        "{room:?}"
                    );
                }
            }
        }
    }
}
