//! The values of one unit by Homie: each follows the unit's own message, so that it comes as rarely as
//! that, and is left out where nothing changed in it.

use std::collections::VecDeque;

use super::{
    base, device_id,
    document::State,
    properties::{Saying, alert_id, property},
};
use crate::{config::Homie, core::Unit, wire::Outgoing};

/// The values of a unit, and what was last said of them.
#[derive(Clone, Debug)]
pub struct Values {
    /// By the number of the unit's state; documents have none.
    said: Vec<Option<Said>>,
}

#[derive(Clone, Debug)]
struct Said {
    saying: Saying,
    value: Topic,
    /// Where the sentence of an alert stands while it is active.
    sentence: Option<(usize, Topic)>,
}

/// A retained topic.
#[derive(Clone, Debug)]
struct Topic {
    topic: String,
    /// What it was last told; empty for "taken away".
    told: Option<String>,
}

impl Values {
    /// Nothing said yet of these states.
    #[must_use]
    pub fn new(homie: &Homie, unit: &Unit, states: &[State]) -> Self {
        let device = format!("{}{}", base(homie), device_id(homie, &unit.settings().id));
        let said = |state: &State| {
            let property = property(unit, *state)?;
            let sentence = match property.saying {
                Saying::Alert(index) => unit.alerts().get(index).map(|alert| {
                    let id = alert_id(&alert.key());
                    (index, Topic::new(format!("{device}/$alert/{id}")))
                }),
                Saying::Same | Saying::TrueFor(_) => None,
            };
            Some(Said {
                saying: property.saying,
                value: Topic::new(format!("{device}/{}/{}", property.node, property.id)),
                sentence,
            })
        };
        Self {
            said: states.iter().map(said).collect(),
        }
    }

    /// Every topic on which a message may stay.
    pub fn topics(&self) -> impl Iterator<Item = &str> {
        let said = self.said.iter().flatten();
        said.flat_map(|said| {
            let sentence = said.sentence.as_ref().map(|(_, topic)| &topic.topic);
            sentence.into_iter().chain([&said.value.topic])
        })
        .map(String::as_str)
    }

    /// The topic of a state's value, if it has one.
    #[must_use]
    pub fn topic(&self, state: usize) -> Option<&str> {
        let said = self.said.get(state)?.as_ref()?;
        Some(&said.value.topic)
    }

    /// A state was published with this text; `beat` says it once more though nothing changed.
    pub fn tell(
        &mut self,
        state: usize,
        unit: &Unit,
        text: &[u8],
        beat: bool,
        outgoing: &mut VecDeque<Outgoing>,
    ) {
        let Some(Some(said)) = self.said.get_mut(state) else {
            return;
        };
        let text = String::from_utf8_lossy(text);
        outgoing.extend(said.value.tell(said.saying.say(unit, &text), beat));
        if let Some((index, topic)) = &mut said.sentence {
            let alert = unit.alerts().get(*index).filter(|alert| alert.is_active());
            let sentence = alert.and_then(|alert| alert.told());
            let sentence = sentence.map_or_else(String::new, |seen| seen.sentence.clone());
            outgoing.extend(topic.tell(sentence, beat));
        }
    }
}

impl Topic {
    fn new(topic: String) -> Self {
        Self { topic, told: None }
    }

    /// The message, if it is news. What was taken away need not be taken away again.
    fn tell(&mut self, payload: String, beat: bool) -> Option<Outgoing> {
        let same = self.told.as_ref() == Some(&payload);
        if same && (!beat || payload.is_empty()) {
            return None;
        }
        self.told = Some(payload.clone());
        Some(Outgoing {
            topic: self.topic.clone(),
            payload,
            retain: true,
        })
    }
}
