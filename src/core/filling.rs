//! A new filling of a stage, and the old one back when it was told by mistake: what a stage is between
//! two replacements.

use serde::{Deserialize, Serialize};

use super::{
    breakthrough::Filling,
    carbon::FormerExposure,
    hydraulics::HydraulicState,
    journal::Entry,
    known::Lack,
    left::Binding,
    load::{Ends, LoadState, Room},
    membrane::{MembraneState, Ways},
    prefilter::PrefilterState,
    stage::{Stage, StageRecord, StageState},
    unit::Unit,
};
use crate::{
    config::StageKind,
    metrics::StageMetric,
    quantity::{Concentration, Mass},
    time::{Now, Wall},
};

/// A filling that was replaced, kept until the next replacement in case this one did not happen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FormerFilling {
    /// Number of the entry that replaced it.
    pub entry: u64,
    /// How it stood.
    pub filling: StageState,
    /// What was known of the element, where it is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub membrane: Option<Box<MembraneState>>,
    /// What was learned of the clean pre-filters, where it is one of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prefilters: Option<HydraulicState>,
    /// What its pressure taught, where it is one of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pressure: Option<PrefilterState>,
    /// What was seen behind it, where it is resin.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resin: Option<Filling>,
    /// The element's exposure to chlorine, where it is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure: Option<FormerExposure>,
}

/// What a keeper tells of a new filling.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Replacement {
    /// Index of the stage.
    pub stage: usize,
    /// When, if not now.
    pub date: Option<Wall>,
    /// Lot or batch of the new filling.
    pub lot: Option<String>,
    /// What it cost, in the configured currency.
    pub price: Option<f64>,
    /// Words.
    pub note: Option<String>,
}

impl Stage {
    /// How its filling ends now, by an entry of the log.
    pub(super) fn record(
        &self,
        now: Now,
        date: Option<Wall>,
        entry: u64,
        ways: Option<&Ways>,
    ) -> StageRecord {
        let found = self.find(now, Err(Lack::TooEarly), ways);
        let figure = |metric| found.of(metric).ok().map(|known| known.value);
        let state = self.state();
        StageRecord {
            stage: self.settings.id.clone(),
            replaced: date.or(now.date()),
            installed: state.installed,
            treated: state.treated,
            entry: Some(entry),
            lot: state.lot.clone(),
            price: state.price,
            cation_meq: figure(StageMetric::CationLoad),
            anion_meq: figure(StageMetric::AnionLoad),
            disinfectant_g: figure(StageMetric::DisinfectantLoad),
            left_pct: figure(StageMetric::Left),
            binds: found.binding.map(Binding::key).map(str::to_owned),
        }
    }

    /// Begins a new filling, told by an entry of the log, and gives the old one.
    pub(super) fn refill(&mut self, now: Now, replacement: &Replacement, entry: u64) -> StageState {
        let new = StageState {
            installed: replacement.date.or(now.date()),
            seen: now.date(),
            lot: replacement.lot.clone(),
            price: replacement.price,
            rinse: self.rinse_of_new_filling(now, replacement.date),
            entry: Some(entry),
            ..StageState::default()
        };
        std::mem::replace(&mut self.state, new)
    }

    /// Takes the old filling back; what passed since has passed through it.
    pub(super) fn take_back(&mut self, former: StageState) {
        let since = std::mem::replace(&mut self.state, former);
        let level = self.level;
        // Under a probe it takes all until that shows it spent, whatever was reckoned.
        let is_seen = self.standing.is_watched || self.standing.is_spent;
        let room = self.room().filter(|_| !is_seen);
        let state = &mut self.state;
        state.disinfectant = disinfectant(state, &since, level);
        state.load = match (state.load, since.load) {
            (Some(before), Some(since)) => Some(loads(&before, &since, room.as_ref())),
            (before, since) => before.or(since),
        };
        state.treated += since.treated;
        state.seen = state.seen.or(since.seen);
    }
}

impl Unit {
    /// The present filling was put in on another day than was told: the exposure to chlorine that it ended,
    /// or began, is another.
    pub(super) fn redate_filling(&mut self, now: Now, entry: &Entry) {
        let number = Some(entry.number);
        let own = (self.stages.iter()).find(|stage| stage.state.entry == number);
        let (Some(stage), Some(date)) = (own, entry.date) else {
            return;
        };
        let hours = self.hours();
        let carbon = &mut self.care.carbon;
        if stage.is_carbon() {
            carbon.unfilled(&stage.settings.id);
            carbon.filled(&stage.settings.id, Some(date), now, hours);
        } else if stage.settings.kind == StageKind::Membrane {
            carbon.element_since = carbon.hours_at(date, now, hours);
        }
        self.take_evidence(now);
    }
}

/// Of a filling that counted none, what came before is taken to have had the present level, as
/// [`Stage::treat`] has it.
fn disinfectant(
    before: &StageState,
    since: &StageState,
    level: Option<Concentration>,
) -> Option<Mass> {
    let given = |state: &StageState| {
        let of_level = level.map(|level| level.in_volume(state.treated));
        state.disinfectant.or(of_level)
    };
    if before.disinfectant.is_none() && since.disinfectant.is_none() {
        return None;
    }
    Some(given(before).unwrap_or_default() + given(since).unwrap_or_default())
}

/// What both took, as far as one filling has room for it.
fn loads(before: &LoadState, since: &LoadState, room: Option<&Room>) -> LoadState {
    let sum = |before: Ends, since: Ends, room: Option<Ends>| {
        std::array::from_fn(|end| {
            let room = room.map_or(f64::INFINITY, |room| room[end]);
            let most = room.max(before[end]).max(since[end]);
            (before[end] + since[end]).min(most)
        })
    };
    LoadState {
        counted: before.counted + since.counted,
        by_mean: before.by_mean + since.by_mean,
        cation: sum(
            before.cation,
            since.cation,
            room.and_then(|room| room.cation),
        ),
        anion: sum(before.anion, since.anion, room.and_then(|room| room.anion)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Volume;

    #[test]
    fn one_filling_takes_no_more_than_it_has_room_for() {
        let state = |meq: f64| LoadState {
            counted: Volume::from_litres(10.0),
            by_mean: Volume::from_litres(1.0),
            cation: [meq; 3],
            anion: [2.0 * meq; 3],
        };
        let room = Room {
            cation: Some([5.0, 7.0, 9.0]),
            anion: None,
        };
        let both = loads(&state(3.0), &state(3.0), Some(&room));
        assert_eq!(both.cation, [5.0, 6.0, 6.0]);
        assert_eq!(both.anion, [12.0; 3]);
        assert_eq!(both.counted, Volume::from_litres(20.0));
    }

    /// By hand: 100 L at 2 mg/L are 0.2 g.
    #[test]
    fn disinfectant_that_was_not_counted_is_reckoned_by_the_level() {
        let filling = |litres: f64, grams: Option<f64>| StageState {
            treated: Volume::from_litres(litres),
            disinfectant: grams.map(Mass::from_grams),
            ..StageState::default()
        };
        let level = Some(Concentration::from_mg_per_l(2.0));
        let of = |before: Option<f64>, since: Option<f64>| {
            let both = disinfectant(&filling(100.0, before), &filling(50.0, since), level);
            both.map(|mass| (mass.grams() * 1e6).round() / 1e6)
        };
        assert_eq!(of(Some(0.3), Some(0.1)), Some(0.4));
        assert_eq!(of(None, Some(0.1)), Some(0.3));
        assert_eq!(of(Some(0.3), None), Some(0.4));
        assert_eq!(of(None, None), None);
    }
}
