//! Feed against permeate and concentrate, where all three are metered: run after run, until enough
//! has passed to tell an error from what the meters had not yet told.

use serde::{Deserialize, Serialize};

use super::{
    Evidence,
    run_litres::{METERS, RunCount, is_near_minimum},
};
use crate::{
    config::BalanceLimits,
    core::{known::Lack, train::Train},
    quantity::Volume,
    time::Mono,
};

/// Open so many times in a row before it is told.
const TIMES: u8 = 2;

/// The last time enough had passed and the balance did not close.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(in crate::core) struct Contradiction {
    /// Litres of feed, permeate and concentrate, as each meter counted.
    pub litres: [f64; 3],
    /// The meter that likely counts too little: 0 feed, 1 permeate, 2 concentrate.
    pub likely: Option<u8>,
}

/// What is kept across restarts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct BalanceState {
    litres: [f64; 3],
    seconds: f64,
    /// How often in a row it was open.
    open: u8,
    last: Option<Contradiction>,
}

#[derive(Clone, Debug)]
pub(super) struct Balance {
    state: BalanceState,
}

impl Balance {
    pub fn new(state: BalanceState) -> Self {
        Self { state }
    }

    pub fn state(&self) -> BalanceState {
        self.state
    }

    /// Takes a run. One that a meter was away from says nothing.
    pub fn take(&mut self, run: &RunCount, train: &Train, limits: &BalanceLimits) {
        let [Some(feed), Some(permeate), Some(concentrate)] = run.litres else {
            return;
        };
        let state = &mut self.state;
        for (sum, litres) in state.litres.iter_mut().zip([feed, permeate, concentrate]) {
            *sum += litres;
        }
        state.seconds += run.seconds;
        let [feed, permeate, concentrate] = state.litres;
        let larger = feed.max(permeate + concentrate);
        if larger < limits.volume.litres() {
            return;
        }
        let error = (feed - permeate - concentrate) / larger;
        if error.abs() > limits.raise {
            state.open = state.open.saturating_add(1).min(TIMES);
            state.last = Some(Contradiction {
                litres: state.litres,
                likely: likely(state, error, train),
            });
        } else if error.abs() < limits.clear {
            state.open = 0;
            state.last = None;
        }
        state.litres = [0.0; 3];
        state.seconds = 0.0;
    }

    pub fn judge(&self, train: &Train, now: Mono) -> Option<(Evidence, Option<Contradiction>)> {
        for point in METERS {
            let sensor = train
                .at(point)
                .0
                .and_then(|index| train.sensors().get(index))?;
            let heard = sensor.metered(now);
            if !matches!(heard, Ok(_) | Err(Lack::BelowRange(_) | Lack::TooEarly)) {
                return None;
            }
        }
        let evidence = match self.state.open {
            0 => Evidence::For,
            open if open < TIMES => Evidence::Mixed,
            _ => Evidence::Against,
        };
        Some((evidence, self.state.last))
    }
}

/// The one meter that would close the balance if it counted more, and works near its minimum.
fn likely(state: &BalanceState, error: f64, train: &Train) -> Option<u8> {
    let near = |slot: u8| {
        let litres = Volume::from_litres(state.litres[usize::from(slot)]);
        let mean = litres.per_seconds(state.seconds.max(1.0));
        is_near_minimum(train, usize::from(slot), mean)
    };
    // Too much feed: one of the other two counts too little.
    let suspects: &[u8] = if error > 0.0 { &[1, 2] } else { &[0] };
    let mut near = suspects.iter().copied().filter(|slot| near(*slot));
    match (near.next(), near.next()) {
        (Some(slot), None) => Some(slot),
        _ => None,
    }
}
