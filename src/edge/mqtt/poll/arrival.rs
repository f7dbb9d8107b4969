//! What is done with a message that came: our own are for ourselves, the others are handed over.

use std::time::Instant;

use rumqttc::Publish;

use super::{
    super::{Message, inbox::HandOver, link::Shared, pace::Held},
    Poll,
};

impl Poll {
    pub(super) fn arrived(&mut self, publish: Publish) {
        let quality = publish.qos as u8;
        let settle = |shared: &Shared| {
            if quality > 0 {
                shared.link().receipts.settled(publish.pkid, quality);
            }
        };
        let is_own = |topic: &str| !self.options.is_silent && publish.topic == topic;
        if is_own(&self.marker_topic) {
            settle(&self.shared);
            let awaited = (self.backlog.as_ref())
                .is_some_and(|(marker, _)| publish.payload == marker.as_bytes());
            if awaited {
                self.backlog = None;
            }
        } else if is_own(&self.options.status_topic) {
            settle(&self.shared);
            let is_will = publish.payload == self.options.presence.will.as_bytes();
            if !publish.retain && is_will && !self.in_backlog() {
                self.contradict();
            }
        } else if publish.payload.len() > self.options.limits.packet {
            settle(&self.shared);
            self.too_large(&publish);
        } else {
            self.hand_over(publish, quality);
        }
    }

    /// Whether what comes may have been queued while we were away.
    fn in_backlog(&mut self) -> bool {
        let Some((_, until)) = &self.backlog else {
            return false;
        };
        if Instant::now() < *until {
            return true;
        }
        tracing::info!(
            "our own message on {} does not come back: queued messages can only be told from new \
             ones where the broker lets us read it",
            self.marker_topic
        );
        self.backlog = None;
        false
    }

    fn hand_over(&mut self, publish: Publish, quality: u8) {
        let precious = (self.options.precious)(&publish.topic);
        let late = quality > 0 && !publish.retain && self.in_backlog();
        let receipt = if quality == 0 {
            None
        } else if precious {
            Some((self.shared.link().receipts).open(publish.pkid, quality))
        } else {
            (self.shared.link().receipts).settled(publish.pkid, quality);
            None
        };
        let message = Message {
            topic: publish.topic,
            payload: publish.payload.to_vec(),
            retained: publish.retain,
            late,
            duplicate: publish.dup,
            packet_id: publish.pkid,
            receipt,
        };
        match self.shared.inbox.offer(message, precious) {
            HandOver::Waiting => {}
            HandOver::Held(held) => self.held(held),
            HandOver::Overwrote => self.shared.link().health.overwritten += 1,
            HandOver::Rejected => self.shared.link().health.too_many += 1,
        }
    }

    fn held(&self, held: Held) {
        self.shared.link().health.too_often += u64::from(held.passed_over);
        if let (Some(topic), Some(rate)) = (held.first, self.options.limits.rate) {
            tracing::warn!(
                "{topic} sends faster than {} messages a second: of what is more only the newest is heard, at \
                 that rate; look at the sensor's interval",
                rate.per_second
            );
        }
    }

    fn too_large(&mut self, publish: &Publish) {
        self.shared.link().health.too_large += 1;
        let text = format!(
            "a message of {} bytes on {} is more than is read ({}); it is ignored",
            publish.payload.len(),
            publish.topic,
            self.options.limits.packet
        );
        if self.told_oversize != publish.topic {
            self.told_oversize.clone_from(&publish.topic);
            tracing::warn!("{text}");
        }
        self.shared.link().health.problem = Some(text);
    }

    /// Somebody said for us that we are away: the will of our own older connection, or another instance.
    fn contradict(&mut self) {
        let gap = self.options.timings.online_gap;
        let now = Instant::now();
        let next = self.online_said.map_or(now, |said| said + gap);
        if next <= now {
            self.online_said = Some(now);
            self.shared.link().outbox.say_online();
        } else if self.online_said.is_some_and(|said| said <= now) {
            // Too soon: once, when its time has come. A time to come marks that it is arranged.
            self.online_said = Some(next);
            self.later(next - now, |shared| shared.link().outbox.say_online());
        }
    }
}
