//! The ledger: litres from the meters, booked so that they add up.

use std::time::Duration;

use super::{doubt::Doubt, known::Lack, run::RunState, train::Train, water::Totals};
use crate::{
    config::{Point, UnitSettings},
    quantity::{Flow, Volume},
    time::Mono,
};

const METERS: [Point; 3] = [Point::FeedFlow, Point::PermeateFlow, Point::ConcentrateFlow];
/// Meters report at their own times. Litres wait this long for the other meter's word before they
/// are booked without it; far beyond the usual 300 s of slow firmware.
const PATIENCE: Duration = Duration::from_secs(900);

/// Books litres from the meters.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    /// Litres heard and not yet booked, for feed, permeate and concentrate.
    waiting: [Volume; 3],
    reported: [bool; 3],
    booked_at: Mono,
    /// How long the meters have contradicted each other while water ran.
    open_for: Duration,
    /// When last no meter at all was heard.
    none_heard_at: Mono,
    /// Whose litres count now, and the waste ratio if it holds.
    speaking: [bool; 3],
    ratio: Option<f64>,
}

/// What the meters at the three points say of litres now.
#[derive(Clone, Copy, Default)]
struct Words {
    /// They tell, and are fresh.
    heard: [bool; 3],
    /// They are not heard yet after a time in which none was, but may still be.
    awaited: [bool; 3],
    /// They under-read or stand while water runs, or are in doubt.
    below_range: [bool; 3],
    /// Why they are not believed, where they are in doubt.
    doubt: [Option<Doubt>; 3],
}

impl Words {
    /// Too small a count is better than none: it counts where no other meter tells the flow. What
    /// another doubted meter counted is dropped.
    fn make_do(&mut self, has_ratio: bool, waiting: &mut [Volume; 3]) {
        let others = self.heard.iter().filter(|heard| **heard).count();
        let told = others >= 2 || (others == 1 && has_ratio);
        for (slot, litres) in waiting.iter_mut().enumerate() {
            match self.doubt[slot] {
                Some(Doubt::UnderReads) if !told => {
                    self.heard[slot] = true;
                    self.below_range[slot] = false;
                }
                Some(_) => *litres = Volume::ZERO,
                None => {}
            }
        }
    }
}

impl Ledger {
    /// A ledger with the litres that waited when the service was stopped.
    pub(super) fn new(waiting: [Volume; 3], now: Mono) -> Self {
        Self {
            waiting,
            none_heard_at: now,
            ..Self::default()
        }
    }

    /// Litres heard and not yet booked: kept across restarts, for the counts have moved on.
    pub(super) fn waiting(&self) -> [Volume; 3] {
        self.waiting
    }

    /// The totals if what waits were booked now: what a run amounts to so far.
    pub(super) fn foresee(&self, totals: &Totals) -> Totals {
        let mut foreseen = *totals;
        self.clone().book(self.speaking, self.ratio, &mut foreseen);
        foreseen
    }

    /// Collects what the meters heard and books what can be booked.
    pub(super) fn settle(
        &mut self,
        train: &mut Train,
        settings: &UnitSettings,
        state: RunState,
        totals: &mut Totals,
        now: Mono,
    ) {
        let mut words = self.listen(train, state, totals, now);
        // The restrictor is by-passed in a flush: the ratio does not hold.
        let ratio = settings.supply.waste_ratio;
        self.ratio = ratio.filter(|_| state != RunState::Flushing);
        words.make_do(self.ratio.is_some(), &mut self.waiting);
        // What a meter counted before it fell silent is as good as ever.
        self.speaking = words.heard;
        for (slot, speaks) in self.speaking.iter_mut().enumerate() {
            *speaks |= self.waiting[slot] > Volume::ZERO && !words.below_range[slot];
        }
        let complete = (0..METERS.len())
            .all(|slot| self.reported[slot] || !(words.heard[slot] || words.awaited[slot]));
        if complete || now.since(self.booked_at) > PATIENCE {
            if state.makes_water() {
                self.open_for += now.since(self.booked_at);
            }
            let before = *totals;
            let known = self.book(self.speaking, self.ratio, totals);
            if known && *totals != before {
                forget_covered(train, self.speaking, words);
            }
            self.reported = [false; 3];
            self.booked_at = now;
        }
    }

    /// Collects what the meters heard, and what they say of it.
    fn listen(
        &mut self,
        train: &mut Train,
        state: RunState,
        totals: &mut Totals,
        now: Mono,
    ) -> Words {
        let mut words = Words::default();
        for (slot, point) in METERS.into_iter().enumerate() {
            let (main, spare) = train.at(point);
            let word = |index: Option<usize>| Some(train.sensors()[index?].flow(now));
            let (main_word, spare_word) = (word(main), word(spare));
            let main_tells = tells(main_word, state);
            let use_spare = !main_tells && tells(spare_word, state);
            words.heard[slot] = main_tells || use_spare;
            words.below_range[slot] = !words.heard[slot]
                && matches!(main_word, Some(Err(Lack::BelowRange(_) | Lack::Doubted(_))));
            words.doubt[slot] = main
                .filter(|_| words.below_range[slot])
                .and_then(|index| train.sensors()[index].doubt());
            words.awaited[slot] = !words.heard[slot]
                && !words.below_range[slot]
                && [main, spare].into_iter().flatten().any(|index| {
                    let sensor = &train.sensors()[index];
                    let wait = sensor.settings().max_age;
                    !sensor.is_offline() && now.since(self.none_heard_at) <= wait
                });
            self.collect(train, slot, main, !use_spare, totals);
            self.collect(train, slot, spare, use_spare, totals);
        }
        if words.heard == [false; 3] {
            self.none_heard_at = now;
        }
        words
    }

    /// Takes a meter's litres. Those of the meter not in use are set aside: the other one counts
    /// the same water.
    fn collect(
        &mut self,
        train: &mut Train,
        slot: usize,
        index: Option<usize>,
        in_use: bool,
        totals: &mut Totals,
    ) {
        let sensor = index.and_then(|index| train.sensor_mut(index));
        let Some(meter) = sensor.and_then(super::sensor::Sensor::meter) else {
            return;
        };
        let reported = meter.has_reported();
        let litres = meter.take();
        let unmeasured = meter.take_unmeasured_seconds();
        if in_use {
            self.waiting[slot] += litres;
            self.reported[slot] |= reported;
            totals.unmeasured_seconds += unmeasured;
        } else {
            meter.forget_base();
        }
    }

    /// Books the litres that wait. Returns whether all three flows of that water are known now.
    fn book(&mut self, heard: [bool; 3], waste_ratio: Option<f64>, totals: &mut Totals) -> bool {
        let [feed, permeate, concentrate] = self.waiting;
        let nothing = Volume::ZERO;
        let split = waste_ratio.map(|ratio| (1.0 / (1.0 + ratio), ratio));
        match (heard, split) {
            // Permeate and concentrate make the feed; a feed meter beside them is a check.
            ([_, true, true], _) => self.add(totals, permeate, concentrate),
            ([true, true, false], _) if permeate <= feed => {
                self.add(totals, permeate, feed - permeate)
            }
            ([true, false, true], _) if concentrate <= feed => {
                self.add(totals, feed - concentrate, concentrate)
            }
            // What one meter heard before the feed meter waits for the feed meter, over a pause if
            // need be, but not for ever.
            ([true, true, false] | [true, false, true], _) => {
                if self.open_for > PATIENCE {
                    totals.feed += feed;
                    let (permeate, concentrate) = if heard[1] {
                        (permeate, nothing)
                    } else {
                        (nothing, concentrate)
                    };
                    totals.unmatched += permeate + concentrate - feed;
                    self.add_sides(totals, permeate, concentrate);
                }
                false
            }
            ([true, false, false], Some((part, ratio))) => {
                self.add(totals, feed * part, feed * (part * ratio))
            }
            ([true, false, false], None) => {
                totals.feed += feed;
                totals.unsplit += feed;
                self.add_sides(totals, nothing, nothing)
            }
            ([false, true, false], Some((_, ratio))) => {
                self.add(totals, permeate, permeate * ratio)
            }
            ([false, false, true], Some((_, ratio))) => {
                self.add(totals, concentrate / ratio, concentrate)
            }
            ([false, true, false], None) => {
                totals.unmatched += permeate;
                self.add_sides(totals, permeate, nothing)
            }
            ([false, false, true], None) => {
                totals.unmatched += concentrate;
                self.add_sides(totals, nothing, concentrate)
            }
            ([false, false, false], _) => false,
        }
    }

    /// Books water of which both sides are known.
    fn add(&mut self, totals: &mut Totals, permeate: Volume, concentrate: Volume) -> bool {
        totals.feed += permeate + concentrate;
        self.add_sides(totals, permeate, concentrate);
        true
    }

    fn add_sides(&mut self, totals: &mut Totals, permeate: Volume, concentrate: Volume) -> bool {
        totals.permeate += permeate;
        totals.concentrate += concentrate;
        self.waiting = [Volume::ZERO; 3];
        self.open_for = Duration::ZERO;
        false
    }
}

/// Whether a meter's word on its flow means that its litres are to be believed. While water runs, a
/// meter below its range says nothing about them.
fn tells(word: Option<Result<Flow, Lack>>, state: RunState) -> bool {
    match word {
        Some(Ok(_) | Err(Lack::TooEarly)) => true,
        Some(Err(Lack::BelowRange(_))) => !state.makes_water(),
        Some(Err(_)) | None => false,
    }
}

/// What other meters told of in place of a silent one must not be counted again by its next count.
fn forget_covered(train: &mut Train, speaking: [bool; 3], words: Words) {
    for (slot, point) in METERS.into_iter().enumerate() {
        let (main, _) = train.at(point);
        let silent = !speaking[slot] && !words.below_range[slot];
        let sensor = main.filter(|_| silent).and_then(|at| train.sensor_mut(at));
        if let Some(meter) = sensor.and_then(super::sensor::Sensor::meter) {
            meter.forget_base();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Books these litres of feed, permeate and concentrate and returns what the totals say of feed,
    /// permeate, concentrate, unsplit and unmatched.
    fn booked(heard: [bool; 3], litres: [f64; 3], ratio: Option<f64>) -> [f64; 5] {
        let mut ledger = Ledger::new(litres.map(Volume::from_litres), Mono(0));
        let mut totals = Totals::default();
        ledger.book(heard, ratio, &mut totals);
        [
            totals.feed,
            totals.permeate,
            totals.concentrate,
            totals.unsplit,
            totals.unmatched,
        ]
        .map(Volume::litres)
    }

    #[test]
    fn any_two_flows_give_the_third_and_one_with_the_ratio_gives_all() {
        const YES: bool = true;
        const NO: bool = false;
        for (heard, litres, ratio, expected) in [
            // Two meters: the third by difference or sum.
            (
                [NO, YES, YES],
                [0.0, 1.0, 4.0],
                None,
                [5.0, 1.0, 4.0, 0.0, 0.0],
            ),
            (
                [YES, YES, NO],
                [5.0, 1.0, 0.0],
                None,
                [5.0, 1.0, 4.0, 0.0, 0.0],
            ),
            (
                [YES, NO, YES],
                [5.0, 0.0, 4.0],
                None,
                [5.0, 1.0, 4.0, 0.0, 0.0],
            ),
            // Three: permeate and concentrate make the feed.
            (
                [YES, YES, YES],
                [5.2, 1.0, 4.0],
                None,
                [5.0, 1.0, 4.0, 0.0, 0.0],
            ),
            // One, with a ratio of 4:1.
            (
                [NO, YES, NO],
                [0.0, 1.0, 0.0],
                Some(4.0),
                [5.0, 1.0, 4.0, 0.0, 0.0],
            ),
            (
                [YES, NO, NO],
                [5.0, 0.0, 0.0],
                Some(4.0),
                [5.0, 1.0, 4.0, 0.0, 0.0],
            ),
            (
                [NO, NO, YES],
                [0.0, 0.0, 4.0],
                Some(4.0),
                [5.0, 1.0, 4.0, 0.0, 0.0],
            ),
            // One without: nothing is guessed.
            (
                [YES, NO, NO],
                [5.0, 0.0, 0.0],
                None,
                [5.0, 0.0, 0.0, 5.0, 0.0],
            ),
            (
                [NO, YES, NO],
                [0.0, 1.0, 0.0],
                None,
                [0.0, 1.0, 0.0, 0.0, 1.0],
            ),
            (
                [NO, NO, YES],
                [0.0, 0.0, 4.0],
                None,
                [0.0, 0.0, 4.0, 0.0, 4.0],
            ),
            // More product than feed: waits for the feed meter's word.
            ([YES, YES, NO], [1.0, 2.0, 0.0], None, [0.0; 5]),
        ] {
            assert_eq!(
                booked(heard, litres, ratio),
                expected,
                "{heard:?} {litres:?}"
            );
        }
    }

    #[test]
    fn a_contradiction_waits_for_a_quarter_of_an_hour_of_running_water() {
        let mut ledger = Ledger::new([1.0, 2.0, 0.0].map(Volume::from_litres), Mono(0));
        ledger.open_for = PATIENCE + Duration::from_secs(1);
        let mut totals = Totals::default();
        ledger.book([true, true, false], None, &mut totals);
        assert_eq!(totals.feed.litres(), 1.0);
        assert_eq!(totals.permeate.litres(), 2.0);
        assert_eq!(totals.unmatched.litres(), 1.0);
        assert_eq!(ledger.waiting(), [Volume::ZERO; 3]);
    }
}
