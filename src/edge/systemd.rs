//! The service manager: told when we are ready, that we live, and how we are. Without one (no
//! `NOTIFY_SOCKET` in the environment) nothing is told.

use std::time::{Duration, Instant};

use sd_notify::NotifyState;

/// What a service manager is told. The default tells nobody.
#[derive(Debug, Default)]
pub struct ServiceManager {
    listens: bool,
    /// How often it wants a sign of life, if it does, and when the last was given.
    watchdog: Option<Watchdog>,
    is_ready: bool,
    status: String,
}

#[derive(Debug)]
struct Watchdog {
    every: Duration,
    fed: Option<Instant>,
}

impl ServiceManager {
    /// The one that started this process, if one did.
    #[must_use]
    pub fn of_environment() -> Self {
        Self {
            listens: true,
            // Three signs in the time that one may take: a busy machine must not have us killed.
            watchdog: sd_notify::watchdog_enabled().map(|limit| Watchdog {
                every: limit / 3,
                fed: None,
            }),
            is_ready: false,
            status: String::new(),
        }
    }

    /// Whether it was told that we are ready.
    #[must_use]
    pub fn is_ready(&self) -> bool {
        self.is_ready
    }

    /// The work has begun; the first time counts, and the first after [`ServiceManager::reloading`].
    pub fn ready(&mut self) {
        if !self.is_ready {
            self.is_ready = true;
            self.tell(&[NotifyState::Ready]);
        }
    }

    /// The configuration is being read anew.
    pub fn reloading(&mut self) {
        self.is_ready = false;
        // Newer managers want to know when; where the clock cannot be read they do without.
        match NotifyState::monotonic_usec_now() {
            Ok(time) => self.tell(&[NotifyState::Reloading, time]),
            Err(_) => self.tell(&[NotifyState::Reloading]),
        }
    }

    /// We are going.
    pub fn stopping(&mut self) {
        self.tell(&[NotifyState::Stopping]);
    }

    /// How we are, in a line; the same again is not told.
    pub fn status(&mut self, text: &str) {
        if self.status != text {
            text.clone_into(&mut self.status);
            self.tell(&[NotifyState::Status(text)]);
        }
    }

    /// A sign of life, when one is due: to be called by the loop that does the work.
    pub fn feed_watchdog(&mut self) {
        let now = Instant::now();
        let due = |dog: &Watchdog| {
            dog.fed
                .is_none_or(|fed| now.duration_since(fed) >= dog.every)
        };
        if self.watchdog.as_ref().is_some_and(due) {
            self.tell(&[NotifyState::Watchdog]);
            if let Some(dog) = &mut self.watchdog {
                dog.fed = Some(now);
            }
        }
    }

    /// That loop may rest so long at most.
    #[must_use]
    pub fn longest_rest(&self) -> Duration {
        self.watchdog
            .as_ref()
            .map_or(Duration::MAX, |dog| dog.every)
    }

    fn tell(&self, states: &[NotifyState]) {
        if !self.listens {
            return;
        }
        // It restarts whom it does not hear; there is nothing better to do about it here.
        if let Err(error) = sd_notify::notify(states) {
            tracing::warn!("the service manager could not be told: {error}");
        }
    }
}
