//! The loop's part with the service manager: when the service is ready, and how it is.

use std::time::Duration;

use tokio::time::Instant;

use super::App;
use crate::edge::{mqtt::FromBroker, systemd::ServiceManager};

/// Without a broker for so long, the service counts as ready all the same: it tries for ever, and what
/// waits for it need not.
const READY_LIMIT: Duration = Duration::from_secs(15);

impl App {
    /// Tells a service manager how things stand.
    #[must_use]
    pub fn under(mut self, manager: ServiceManager) -> Self {
        self.ready_by = (!manager.is_ready()).then(|| Instant::now() + READY_LIMIT);
        self.manager = manager;
        self
    }

    pub(super) fn tell_manager(&mut self, item: &FromBroker) {
        match item {
            FromBroker::Connected { .. } => {
                self.manager.status("connected to the broker");
                self.be_ready();
            }
            FromBroker::Disconnected { reason } => self
                .manager
                .status(&format!("the broker is away, trying again: {reason}")),
            FromBroker::Delivered { .. }
            | FromBroker::Message(_)
            | FromBroker::Unsubscribed { .. } => {}
        }
    }

    pub(super) fn ready_without_broker(&mut self) {
        tracing::warn!(
            "ready, but without a broker after {} s; it is tried again until it is there",
            READY_LIMIT.as_secs()
        );
        let why = self.session.health().problem.unwrap_or_default();
        self.manager
            .status(&format!("no broker yet, trying again: {why}"));
        self.be_ready();
    }

    fn be_ready(&mut self) {
        self.ready_by = None;
        self.manager.ready();
    }
}
