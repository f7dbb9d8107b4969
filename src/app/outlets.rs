//! The loop's part in what leaves other than by MQTT: metrics when a scraper asks, notices by HTTP.

use std::time::Duration;

use super::App;
use crate::{
    config::Settings,
    core::{Keep, alert},
    edge::{
        http::{Question, Questions},
        notify::{Notifier, NotifyError, Pauses},
        store::{Loaded, NoticeKey},
    },
    page::{self, Snapshot},
    time::Now,
    wire::{
        Outgoing,
        document::{KEPT, UNKEPT},
        notice::Notice,
        openmetrics::{self, Family},
    },
};

/// A notice on its way has this long to arrive, or it is sent again after the next start.
const LAST_NOTICE: Duration = Duration::from_millis(400);
impl App {
    /// Tells a scraper how things stand now, once what is due has been done.
    pub(super) fn answer(&mut self, question: Question<Vec<Family>>) {
        let now = self.look_up();
        let service = self.service(question.waited());
        let units = self.installation.units();
        let sums = self.sums.durable();
        question.answer(openmetrics::families(units, now, &service, sums));
    }

    /// Hands what the page is made of to whoever reads it: a copy, for it is set in another thread.
    pub(super) fn show(&mut self, question: Question<Snapshot>) {
        let now = self.look_up();
        let health = self.session.health();
        let service = page::Service {
            started: self.started,
            connected: health.connected,
            since: self.connection_since,
            problem: health.problem,
            unwritten: self.keeper.problem().is_some(),
        };
        question.answer(Snapshot {
            now,
            units: self.installation.units().cloned().collect(),
            service,
        });
    }

    /// Tells by a retained message whether the state can be kept, whenever that changes; not before it was tried.
    pub(super) fn tell_whether_kept(&mut self) {
        let is_kept = self.keeper.problem().is_none();
        let is_tried = self.keeper.tally() != (0, 0) || !is_kept;
        if is_tried && self.told_kept != Some(is_kept) {
            self.told_kept = Some(is_kept);
            let word = if is_kept { KEPT } else { UNKEPT };
            self.session.publish(Outgoing {
                topic: self.places.store_topic(),
                payload: word.to_owned(),
                retain: true,
            });
        }
    }

    /// The present moment, once what is due has been done.
    fn look_up(&mut self) -> Now {
        let now = self.advance();
        self.note(Keep::Soon);
        now
    }

    fn service(&self, loop_lag: Duration) -> openmetrics::Service {
        let health = self.session.health();
        let (store_writes, store_failures) = self.keeper.tally();
        openmetrics::Service {
            connected: health.connected,
            connections: health.connections,
            messages: self.heard,
            too_often: health.too_often,
            too_large: health.too_large,
            too_many: health.too_many,
            overwritten: health.overwritten,
            refused: health.refused,
            events_dropped: health.events_dropped,
            inbox: health.inbox,
            states_waiting: health.states_waiting,
            events_waiting: health.events_waiting,
            in_flight: health.in_flight,
            store_writes,
            store_failures,
            loop_lag: loop_lag.as_secs_f64(),
            started: self.started,
        }
    }

    /// Keeps a notice for the targets that want it. What is told again after a crash they have already.
    pub(super) fn queue(&mut self, unit: &str, notice: &alert::Notice) {
        if let Some(notifier) = &mut self.notifier {
            let notice = Notice::of_unit(unit, notice);
            self.keeper.note_queued(notifier.queue(&notice));
        }
    }

    /// Begins no further notice and takes note of those that were settled.
    pub(super) async fn close_notifier(&mut self) {
        if let Some(notifier) = self.notifier.take() {
            for settled in notifier.close(LAST_NOTICE).await {
                self.keeper.note_settled(settled);
            }
        }
    }
}

pub(super) fn notifier(
    settings: &Settings,
    loaded: &Loaded,
) -> Result<Option<Notifier>, NotifyError> {
    if settings.notify.is_empty() && loaded.notices.is_empty() {
        return Ok(None);
    }
    let (waiting, marks) = (loaded.notices.clone(), loaded.notice_marks.clone());
    Notifier::open(&settings.notify, waiting, marks, Pauses::default()).map(Some)
}

pub(super) async fn next_settled(notifier: &mut Option<Notifier>) -> NoticeKey {
    match notifier {
        Some(notifier) => notifier.settled().await,
        None => std::future::pending().await,
    }
}

pub(super) async fn next_question<T>(questions: &mut Option<Questions<T>>) -> Question<T> {
    match questions {
        Some(questions) => questions.next().await,
        None => std::future::pending().await,
    }
}
