//! The service: edges in, core, edges out, in one loop on one thread.
//!
//! Order of shutdown: stop hearing, write the state, release the receipts of what it holds, say
//! `offline`, leave.

mod announcing;
mod capturing;
mod hearing;
mod homie;
mod leaving;
mod manager;
mod outlets;
mod reading;
mod sums;
mod worries;

use std::{
    collections::{BTreeMap, BTreeSet, HashSet},
    fs::File,
    future::Future,
    sync::Arc,
    time::Duration,
};

use crate::{
    config::{Publish, Settings},
    core::Keep,
    edge::{
        clock::{Clock, sleep_until},
        http::{self, HttpError, Questions},
        mqtt::{self, Inbox, MqttError, Session, SessionOptions},
        notify::{Notifier, NotifyError},
        recording::Recording,
        store::{Loaded, Store, StoreError},
        systemd::ServiceManager,
    },
    installation::Installation,
    keeper::{Keeper, Released},
    page::Snapshot,
    time::Wall,
    wire::{
        Outgoing,
        hub::plan::{Before, joined},
        openmetrics::Family,
    },
};

use announcing::retained_topics;
use reading::read_states;
use sums::Sums;
use worries::Worries;

/// Why the service could not start or ended badly.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// Metrics or the page cannot be served.
    #[error(transparent)]
    Http(#[from] HttpError),
    /// Notices cannot be sent.
    #[error(transparent)]
    Notify(#[from] NotifyError),
    /// The session could not be set up.
    #[error(transparent)]
    Mqtt(#[from] MqttError),
    /// The MQTT client ended by itself, which only a fault in it can do.
    #[error(
        "the MQTT session ended by itself: {0}; the service stops so that it can be started afresh"
    )]
    SessionLost(String),
    /// The state of a unit in the store is not readable.
    #[error(
        "the state of unit {unit:?} in the store cannot be read ({source}); the file was left as it is. Restore a \
         backup of it, or move it away to start afresh"
    )]
    State {
        /// The unit.
        unit: String,
        /// What the reader said.
        source: serde_json::Error,
    },
    /// The state could not be kept.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// At rest the loop looks around this often.
const LONGEST_SLEEP: Duration = Duration::from_secs(60);
/// While something waits for the broker to have all before it, it is asked for this often.
const DELIVERY_POLL: Duration = Duration::from_secs(1);

/// The service, ready to run.
pub struct App {
    installation: Installation,
    session: Session,
    inbox: Inbox,
    homie: Option<HomieSession>,
    keeper: Keeper,
    clock: Clock,
    /// Where what is heard is written down, when that is asked for.
    capture: Option<Capture>,
    /// Where scrapers ask, when that is switched on.
    questions: Option<Questions<Vec<Family>>>,
    /// Where readers of the page ask, when that is switched on.
    page_questions: Option<Questions<Snapshot>>,
    /// Sends notices by HTTP, when a target is configured or something waits.
    notifier: Option<Notifier>,
    manager: ServiceManager,
    worries: Worries,
    /// When the service manager is told that we are ready, broker or not.
    ready_by: Option<tokio::time::Instant>,
    started: Option<Wall>,
    /// When the connection to the broker last came or went, if the clock was set.
    connection_since: Option<Wall>,
    /// Messages heard.
    heard: u64,
    /// Filters the broker's session still holds though nobody wants them.
    unwanted: BTreeSet<String>,
    /// Topics of ours that left the configuration and whose retained messages are being removed.
    ghosts: BTreeSet<String>,
    /// Whether the broker has taken everything since the ghosts were sent away.
    ghosts_sent: bool,
    /// Those that hubs are told of in steps, and whether all steps are done.
    in_steps: BTreeSet<String>,
    steps_done: bool,
    /// Whether every hub knows what left.
    said_farewell: bool,
    /// Where the service tells of itself.
    places: Publish,
    /// Whether the state could be kept, as told last.
    told_kept: Option<bool>,
    /// Notices on their way to the broker: unit and number.
    posted: BTreeMap<u64, (String, u64)>,
    sums: Sums,
    /// Why the session ended by itself, if it did.
    lost: Option<String>,
}

use capturing::Capture;
use homie::HomieSession;
pub use leaving::{Leave, Left};
use outlets::{next_question, next_settled, notifier};

impl App {
    /// Sets everything up; must be called inside a tokio runtime. The broker need not be there. What is
    /// heard is written to `log`, if there is one, so that a replay of it does the same.
    ///
    /// # Errors
    /// When the session cannot be set up, metrics or the page cannot be served or a kept state cannot be read.
    pub fn new(
        settings: &Settings,
        store: Store,
        loaded: Loaded,
        clock: Clock,
        log: Option<Recording<File>>,
    ) -> Result<Self, AppError> {
        let mut kept = read_states(&loaded)?;
        let now = clock.now();
        let capture = log.and_then(|log| Capture::begin(log, &kept, now));
        let mut installation =
            Installation::new(settings, |id| kept.remove(id).unwrap_or_default(), now);
        let subscriptions = installation.subscriptions();
        let unwanted: BTreeSet<String> = loaded
            .subscriptions
            .difference(&subscriptions)
            .cloned()
            .collect();
        let places = settings.publish.clone();
        let retained = retained_topics(&installation, &places);
        let ghosts: BTreeSet<String> = loaded.retained.difference(&retained).cloned().collect();
        let before = Before {
            announced: &loaded.announced,
            ghosts: &ghosts,
        };
        let in_steps = installation.announced_before(before, now);
        let sums = Sums::new(&installation, settings, now);

        let client_id = settings
            .broker
            .client_id
            .clone()
            .unwrap_or_else(|| mqtt::default_client_id(&settings.publish));
        let mut options =
            SessionOptions::new(settings.broker.clone(), client_id, places.status_topic());
        options.subscribe = subscriptions.iter().cloned().collect();
        options.unsubscribe = unwanted.iter().cloned().collect();
        let precious = installation.precious_topics();
        let commands: HashSet<String> = installation
            .command_topics()
            .chain(installation.homie_devices())
            .collect();
        options.precious = Arc::new(move |topic| {
            // Level by level: there may be thousands of units.
            let mut levels = topic.match_indices('/');
            precious.contains(topic) || levels.any(|(end, _)| commands.contains(&topic[..=end]))
        });
        let questions = settings.metrics.as_ref().map(http::serve_metrics);
        let questions = questions.transpose()?;
        let page = settings.page.as_ref();
        let page = page.map(|page| http::serve_page(&page.server, &settings.store.directory));
        let page_questions = page.transpose()?;
        let notifier = notifier(settings, &loaded)?;
        let worries = Worries::new(&places, &loaded.notice_marks);
        options.presence.opening = homie::removals(ghosts.iter());
        let (session, inbox) = mqtt::open(options)?;
        let homie = HomieSession::open(settings)?;

        let mut keeper = Keeper::new(store, settings.store.checkpoint);
        // Until the broker has forgotten them, the old ones are kept in mind with the new ones.
        keeper.note_subscriptions(subscriptions.union(&unwanted).cloned().collect());
        keeper.note_retained(retained.union(&ghosts).cloned().collect());
        let announced = joined(&loaded.announced, &installation.announced());
        let nothing_goes = ghosts.is_empty() && announced == installation.announced();
        keeper.note_announced(announced);
        Ok(Self {
            installation,
            session,
            inbox,
            homie,
            keeper,
            clock,
            capture,
            questions,
            page_questions,
            notifier,
            worries,
            manager: ServiceManager::default(),
            ready_by: None,
            started: now.date(),
            connection_since: None,
            heard: 0,
            unwanted,
            ghosts_sent: nothing_goes,
            ghosts: homie::other_than_removals(ghosts.difference(&in_steps)),
            in_steps,
            steps_done: nothing_goes,
            said_farewell: nothing_goes,
            places,
            told_kept: None,
            posted: BTreeMap::new(),
            sums,
            lost: None,
        })
    }

    /// Runs until `stop` resolves, then saves, says goodbye and leaves. It stays when it is to return and the
    /// state cannot be written: another loop could not begin with it.
    ///
    /// # Errors
    /// When the last state could not be written.
    pub async fn run(
        mut self,
        stop: impl Future<Output = impl Into<Leave>>,
    ) -> Result<Left, AppError> {
        tokio::pin!(stop);
        for topic in self.ghosts.clone() {
            self.session.publish(Outgoing {
                topic,
                payload: String::new(),
                retain: true,
            });
        }
        let mut why = None;
        loop {
            self.manager.feed_watchdog();
            let wake = self
                .installation
                .deadline()
                .map_or(LONGEST_SLEEP, |at| self.clock.until(at));
            let longest = if self.waits_for_the_broker() {
                DELIVERY_POLL
            } else {
                LONGEST_SLEEP
            };
            let longest = longest.min(self.manager.longest_rest());
            let wake = tokio::time::sleep(wake.min(longest));
            let checkpoint = self.keeper.due();
            tokio::select! {
                leave = &mut stop, if why.is_none() => match leave.into() {
                    Leave::ForGood => break,
                    // Only once it is seen that the disk takes what is to be kept.
                    returns => {
                        why = Some(returns);
                        self.begin_checkpoint();
                    }
                },
                () = sleep_until(self.ready_by) => self.ready_without_broker(),
                item = self.inbox.receive() => self.take(item),
                item = homie::next_item(&mut self.homie) => self.take_of_homie(item),
                released = self.keeper.written() => {
                    self.release(released);
                    if why.is_some() {
                        if let Some(problem) = self.keeper.problem() {
                            let problem = problem.to_owned();
                            return Ok(Left::Stays(Box::new(self), problem));
                        }
                        break;
                    }
                }
                settled = next_settled(&mut self.notifier) => self.keeper.note_settled(settled),
                question = next_question(&mut self.questions) => self.answer(question),
                question = next_question(&mut self.page_questions) => self.show(question),
                () = sleep_until(checkpoint) => self.begin_checkpoint(),
                () = wake => {
                    self.advance();
                    self.note(Keep::Soon);
                }
            }
            // Asked before more is given: what was given before has had its time.
            self.go_on_announcing();
            self.forget_ghosts();
            self.publish();
            self.tell_whether_kept();
            self.tell_worries();
            if self.lost.is_some() {
                break;
            }
        }
        let lost = self.lost.take();
        let manager = self.leave(why.unwrap_or(Leave::ForGood)).await?;
        lost.map_or(Ok(Left::Gone(manager)), |reason| {
            Err(AppError::SessionLost(reason))
        })
    }

    /// What is durable now goes on its way.
    fn release(&mut self, released: Released) {
        self.release_sums(released.sums, released.is_durable);
        for receipt in released.receipts {
            self.session.acknowledge(receipt);
        }
        for (unit, notice) in released.notices {
            self.queue(&unit, &notice);
            let message = self.installation.message_of(&unit, &notice);
            match self.session.post(message) {
                Some(letter) => {
                    self.posted.insert(letter, (unit, notice.number));
                }
                // Refused, and logged; it would be refused for ever.
                None => self.installation.delivered(&unit, notice.number),
            }
        }
        for notice in released.queued {
            if let Some(notifier) = &mut self.notifier {
                notifier.send(notice);
            }
        }
    }

    /// Logs what happened; a run that ended or an alert that changed is kept at once.
    fn note(&mut self, keep: Keep) {
        let events = self.installation.take_events();
        let keep = if events.is_empty() { keep } else { Keep::Now };
        for (unit, event) in events {
            tracing::info!(unit, event = event.event.key(), "{}", event.text);
        }
        self.keeper.note(keep, None);
    }
}
