//! What a stage has taken against what it can take: ions by resin, disinfectant by carbon.

use super::{
    breakthrough::or_endless,
    known::{Basis, Finding, Known, Lack},
    load::{Ends, LEAST, LIKELY, LoadState, MOST, Room},
    stage::Stage,
};
use crate::{
    config::{Capacity, Point, StageKind, StageWater},
    physics::carbon,
    quantity::{Equivalents, Mass, Volume},
};

/// So many litres tell what each brings.
const LEAST_TREATED: f64 = 10.0;

impl Stage {
    pub(super) fn is_carbon(&self) -> bool {
        let kind = self.settings.kind;
        let is_carbon = matches!(kind, StageKind::Carbon | StageKind::CatalyticCarbon);
        is_carbon && self.settings.water == StageWater::Feed
    }

    /// What a DI stage can take, as its fillings have taught or as configured, without end where nothing
    /// says; `None` for every other stage.
    pub(super) fn room(&self) -> Option<Room> {
        Some(or_endless(&self.configured_room()?, self.standing.room))
    }

    /// What it takes before the next stage gets any. Where a probe would show it to be spent, it takes all
    /// until it does, whatever was reckoned, and nothing afterwards.
    pub(super) fn room_to_take(&self) -> Option<Room> {
        let room = self.room()?;
        if !(self.standing.is_watched || self.standing.is_spent) {
            return Some(room);
        }
        let takes = if self.standing.is_spent {
            0.0
        } else {
            f64::INFINITY
        };
        Some(Room {
            cation: room.cation.map(|_| [takes; 3]),
            anion: room.anion.map(|_| [takes; 3]),
        })
    }

    /// It was spent in appearance only, since it had treated so many `litres`: what came meanwhile it took
    /// after all, at its mean until then.
    pub(super) fn make_up_since(&mut self, litres: f64) {
        let more = self.state.treated.litres() / litres;
        if let (Some(load), true) = (&mut self.state.load, more.is_finite() && more > 1.0) {
            for taken in load.cation.iter_mut().chain(&mut load.anion) {
                *taken *= more;
            }
            load.by_mean += Volume::from_litres(self.state.treated.litres() - litres);
        }
    }

    /// The share of the anion side that is used, where it is known what it can take.
    pub(super) fn anion_used(&self) -> Option<Ends> {
        let room = self.room()?.anion.filter(|room| room[LIKELY].is_finite())?;
        let load = self.state.load.filter(|_| self.is_probed)?;
        Some([0, 1, 2].map(|end| load.anion[end] / room[end]))
    }

    fn configured_room(&self) -> Option<Room> {
        if self.settings.water == StageWater::Feed {
            return None;
        }
        let (cation, anion) = match self.settings.kind {
            StageKind::Cation => (Some([f64::INFINITY; 3]), None),
            StageKind::Anion => (None, Some([f64::INFINITY; 3])),
            StageKind::MixedBed => (Some([f64::INFINITY; 3]), Some([f64::INFINITY; 3])),
            StageKind::BoosterPump
            | StageKind::Carbon
            | StageKind::CatalyticCarbon
            | StageKind::Membrane
            | StageKind::Sediment => return None,
        };
        let Some(Capacity::Ions(capacity)) = self.settings.capacity else {
            return Some(Room { cation, anion });
        };
        let of = |whole: Equivalents| capacity.usable.map(|share| whole.meq() * share);
        Some(Room {
            cation: capacity.cation.map(of),
            anion: capacity.anion.map(of),
        })
    }

    /// What a DI stage has taken up, on the basis of the litres; `NoLife` for every other stage.
    fn load(&self) -> Finding<LoadState> {
        self.room().ok_or(Lack::NoLife)?;
        let basis = self.basis.ok_or(Lack::NoSensor(Point::PermeateFlow))?;
        if !self.is_probed {
            return Err(Lack::NoSensor(Point::PermeateTds));
        }
        let load = self.state.load.unwrap_or_default();
        if load.is_untold(self.state.treated) {
            return Err(Lack::TooEarly);
        }
        let value = Known { value: load, basis };
        Ok(if load.by_mean > Volume::ZERO {
            value.at_best(Basis::Inferred)
        } else {
            value
        })
    }

    /// Milliequivalents taken up on one side. What no probe sees rests on the configuration, or on
    /// what tap water usually is.
    pub(super) fn ions(&self, positive: bool) -> Finding<f64> {
        let load = self.load()?;
        let room = self.room().ok_or(Lack::NoLife)?;
        let (taken, room) = if positive {
            (load.value.cation, room.cation)
        } else {
            (load.value.anion, room.anion)
        };
        room.ok_or(Lack::NoLife)?;
        let is_guessed = !positive || self.brings_ammonia;
        let load = load.map(|_| taken[LIKELY]);
        Ok(if is_guessed {
            load.at_best(Basis::Assumed)
        } else {
            load
        })
    }

    pub(super) fn disinfectant(&self) -> Finding<Mass> {
        if !self.is_carbon() || self.level.is_none() {
            return Err(Lack::NoLife);
        }
        let basis = self.basis.ok_or(Lack::NoSensor(Point::FeedFlow))?;
        Ok(Known {
            value: self.state.disinfectant.unwrap_or_default(),
            basis: basis.max(Basis::Assumed),
        })
    }

    /// The share of the capacity that is used, in each reckoning.
    pub(super) fn used(&self) -> Finding<Ends> {
        match self.settings.capacity {
            Some(Capacity::Disinfectant(capacity)) => {
                Ok(self.disinfectant()?.map(|given| [given / capacity; 3]))
            }
            // At a breakthrough what is guessed of the water was put right with the capacity.
            Some(Capacity::Ions(_)) | None if self.standing.told.is_some() => {
                let room = self.room().ok_or(Lack::NoLife)?;
                let used = self.load()?.map(|load| load.used(&room));
                Ok(used.at_best(Basis::Inferred))
            }
            None if self.standing.is_watched => Err(Lack::TooEarly),
            None => Err(Lack::NoLife),
            Some(Capacity::Ions(capacity)) => {
                let room = self.room().ok_or(Lack::NoLife)?;
                let used = self.load()?.map(|load| load.used(&room));
                let is_sure = capacity.usable[LEAST] <= capacity.usable[MOST];
                let is_seen = capacity.anion.is_none() && !self.brings_ammonia;
                Ok(if is_sure && is_seen {
                    used
                } else {
                    used.at_best(Basis::Assumed)
                })
            }
        }
    }

    /// What it can still treat: by its life in litres, or at the load of each litre so far.
    pub(super) fn left_volume(
        &self,
        treated: Finding<Volume>,
        used: Finding<Ends>,
    ) -> Finding<f64> {
        let life = self.settings.life_volume.ok_or(Lack::NoLife);
        let by_life = life.and_then(|life| {
            Ok(treated?.map(|treated| (life - treated).max(Volume::ZERO).litres()))
        });
        if self.standing.is_spent {
            return Ok(Known::measured(0.0));
        }
        let by_load = used.and_then(|used| {
            let left = match self.settings.capacity {
                Some(Capacity::Disinfectant(capacity)) => {
                    let given = self.state.disinfectant.unwrap_or_default();
                    let level = self.level.unwrap_or_default();
                    let left = carbon::feed_left(capacity, given, level);
                    left.ok_or(Lack::NotInSight)?
                }
                Some(Capacity::Ions(_)) | None => {
                    let (used, treated) = (used.value[LIKELY], self.state.treated);
                    if treated.litres() < LEAST_TREATED || used <= 0.0 {
                        return Err(Lack::TooEarly);
                    }
                    treated * ((1.0 - used).max(0.0) / used)
                }
            };
            Ok(used.map(|_| left.litres()))
        });
        match (by_life, by_load) {
            (Ok(life), Ok(load)) => Ok(if load.value < life.value { load } else { life }),
            (Ok(left), Err(_)) | (Err(_), Ok(left)) => Ok(left),
            (Err(life), Err(load)) => Err(life.or(load)),
        }
    }
}
