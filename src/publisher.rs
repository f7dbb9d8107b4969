//! When a unit's states are published: at most one message per topic and interval, no change no
//! message but the heartbeat. A change is delayed, never lost.

use std::{
    collections::{VecDeque, hash_map::DefaultHasher},
    hash::{Hash, Hasher},
    sync::Arc,
    time::Duration,
};

use crate::{
    config::{Homie, Publish},
    core::Unit,
    sampler::{Sample, Sampler},
    time::{Mono, Now},
    wire::{
        Outgoing, Text,
        document::{self, Snapshot, State},
        homie::values::Values,
    },
};

/// The publishing of one unit.
#[derive(Clone, Debug)]
pub struct Publisher {
    interval: Duration,
    heartbeat: Duration,
    prefix: String,
    /// Units that publish the same share the list.
    states: Arc<[State]>,
    /// What was last told of each state: the number itself where it is one, else a hash of the text, for
    /// texts would cost too much memory.
    told: Vec<Option<u64>>,
    /// States to tell without waiting for the interval.
    urgent: Vec<State>,
    /// Whether something happened since the states were last looked at.
    stirred: bool,
    sampler: Sampler,
    next: Mono,
    heartbeat_at: Mono,
    /// The same values by the Homie convention, when that is switched on.
    homie: Option<Values>,
    /// Whether another sum was told since last asked.
    told_sums: bool,
    /// Nothing is published; samples are taken all the same.
    silent: bool,
}

/// Nothing is published for this long after a start: a restart should not blank every value in the
/// hub while the sensors' first messages are on their way.
const FIRST_WAIT: Duration = Duration::from_secs(5);

impl Publisher {
    /// A publisher that has told nothing yet.
    #[must_use]
    pub fn new(unit: &Unit, settings: &Publish, now: Now) -> Self {
        let states: Arc<[State]> = document::states(unit, now).into();
        Self {
            interval: settings.interval,
            heartbeat: settings.heartbeat,
            told: vec![None; states.len()],
            prefix: settings.prefix.clone(),
            states,
            urgent: Vec::new(),
            stirred: true,
            sampler: Sampler::default(),
            next: now.mono.after(settings.interval.max(FIRST_WAIT)),
            heartbeat_at: now.mono.after(settings.heartbeat),
            homie: None,
            told_sums: false,
            silent: false,
        }
    }

    /// Shares with another what is the same.
    #[must_use]
    pub fn alike(mut self, other: Option<&Self>) -> Self {
        if let Some(other) = other.filter(|other| other.states == self.states) {
            self.states = Arc::clone(&other.states);
        }
        self
    }

    /// As the `index`th of `number`: they repeat what they told one after the other, from half a heartbeat on.
    pub fn take_turn(&mut self, index: usize, number: usize, now: Now) {
        #[allow(clippy::cast_precision_loss, reason = "a number of units")]
        let share = 0.5 + 0.5 * index as f64 / number as f64;
        self.heartbeat_at = now.mono.after(self.heartbeat.mul_f64(share));
    }

    /// From now on it publishes nothing and looks at the unit this often, for its samples.
    pub fn sample_only(&mut self, every: Duration) {
        self.silent = true;
        self.interval = every;
    }

    /// Says the values by the Homie convention, too.
    #[must_use]
    pub fn with_homie(mut self, homie: Option<&Homie>, unit: &Unit) -> Self {
        self.homie = homie.map(|homie| Values::new(homie, unit, &self.states));
        self
    }

    /// The topics that tell of sums, by either convention.
    pub fn topics_of_sums(&self, unit: &Unit) -> impl Iterator<Item = String> {
        let sums = self.states.iter().enumerate();
        let sums = sums.filter(|(_, state)| state.tells_sums());
        sums.flat_map(|(number, state)| {
            let values = self.homie.as_ref();
            let homie = values.and_then(|values| values.topic(number));
            [Some(self.topic(unit, *state)), homie.map(str::to_owned)]
        })
        .flatten()
    }

    fn topic(&self, unit: &Unit, state: State) -> String {
        document::topic(&self.prefix, unit, state)
    }

    /// Its topics by that convention.
    pub fn homie_topics(&self) -> impl Iterator<Item = &str> {
        self.homie.iter().flat_map(Values::topics)
    }

    /// Whether another sum was told since last asked.
    pub fn take_told_sums(&mut self) -> bool {
        std::mem::take(&mut self.told_sums)
    }

    /// Whether everything was told once.
    #[must_use]
    pub fn has_told_all(&self) -> bool {
        self.told.iter().all(Option::is_some)
    }

    /// Everything that is published.
    #[must_use]
    pub fn states(&self) -> &[State] {
        &self.states
    }

    /// Tells a state without waiting for the interval.
    pub fn at_once(&mut self, state: State) {
        self.urgent.push(state);
    }

    /// Something happened: the states may have changed.
    pub fn stir(&mut self) {
        self.stirred = true;
    }

    /// All is told once more at the next opportunity, changed or not.
    pub fn repeat(&mut self, now: Now) {
        self.heartbeat_at = now.mono;
    }

    /// When something is due without a further reading.
    #[must_use]
    pub fn deadline(&self) -> Mono {
        // The heartbeat keeps to the interval, too.
        if self.stirred {
            self.next
        } else {
            self.heartbeat_at.max(self.next)
        }
    }

    /// Publishes what is due, written down in `text`. Gives a sample when one ended: the same look serves for both.
    pub fn publish(
        &mut self,
        unit: &Unit,
        now: Now,
        text: &mut Text,
        outgoing: &mut VecDeque<Outgoing>,
    ) -> Option<Sample> {
        let beat = now.mono >= self.heartbeat_at && now.mono >= self.next;
        let due = beat || (self.stirred && now.mono >= self.next);
        if self.silent {
            self.urgent.clear();
        }
        if !due && self.urgent.is_empty() {
            return None;
        }
        let snapshot = Snapshot::of(unit, now);
        let states = if self.silent { &[] } else { &*self.states };
        for (number, (state, told)) in states.iter().zip(&mut self.told).enumerate() {
            // Alerts and runs are urgent when they change: else they need not be written to see it.
            let changes_with_readings = !matches!(state, State::Alert(_) | State::Run);
            let look = due && (changes_with_readings || beat || told.is_none());
            if !look && !self.urgent.contains(state) {
                continue;
            }
            // A number need not be written to see that it is no news.
            let number_told = snapshot.number(*state);
            if !beat && number_told.is_some() && *told == number_told {
                continue;
            }
            text.clear();
            snapshot.write(*state, text);
            let news = number_told.unwrap_or_else(|| hash(text.bytes()));
            let is_new = *told != Some(news);
            self.told_sums |= is_new && state.tells_sums();
            if beat || is_new {
                *told = Some(news);
                let topic = document::topic(&self.prefix, unit, *state);
                outgoing.push_back(document::message(topic, text, now));
                if let Some(homie) = &mut self.homie {
                    homie.tell(number, unit, text.bytes(), beat, outgoing);
                }
            }
        }
        self.urgent.clear();
        if due {
            self.stirred = false;
            self.next = now.mono.after(self.interval);
        }
        if beat {
            self.heartbeat_at = now.mono.after(self.heartbeat);
        }
        if due {
            let (values, stages) = snapshot.found();
            self.sampler.look(now, unit, values, stages)
        } else {
            None
        }
    }
}

fn hash(text: &[u8]) -> u64 {
    let mut hasher = DefaultHasher::new();
    text.hash(&mut hasher);
    hasher.finish()
}
