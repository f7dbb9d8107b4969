//! What a session says of its own being there, in which order, and what the broker says for it. Plain
//! lists; when each is said is the outbox's business.

use super::{OFFLINE, ONLINE};
use crate::wire::Outgoing;

/// The words around everything else that a session says. All are retained.
#[derive(Clone, Debug, PartialEq)]
pub struct Presence {
    /// First on every connection, before any state.
    pub opening: Vec<Outgoing>,
    /// Once all states are on their way, and again when somebody says the will for us.
    pub here: Vec<Outgoing>,
    /// Whether that waits for [`super::Session::ready`].
    pub is_held: bool,
    /// Last, before a clean end.
    pub away: Vec<Outgoing>,
    /// What the broker says for us on the status topic when the connection is lost.
    pub will: String,
}

impl Presence {
    /// `online` and `offline` on the status topic.
    #[must_use]
    pub fn plain(status_topic: &str) -> Self {
        let say = |word: &str| {
            vec![Outgoing {
                topic: status_topic.to_owned(),
                payload: word.to_owned(),
                retain: true,
            }]
        };
        Self {
            opening: Vec::new(),
            here: say(ONLINE),
            is_held: false,
            away: say(OFFLINE),
            will: OFFLINE.to_owned(),
        }
    }
}
