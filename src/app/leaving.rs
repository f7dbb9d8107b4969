//! How the loop ends: what is due is done, the state written, receipts and sums released, and goodbye said
//! where it is one.

use std::time::Duration;

use super::{App, AppError, homie};
use crate::{config::Settings, edge::systemd::ServiceManager};

/// The broker has this long to take our goodbye; the service ends within two seconds.
const GOODBYE: Duration = Duration::from_millis(1200);

/// How the loop ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Leave {
    /// The service stops: the broker is told that it is away.
    ForGood,
    /// It goes on at once with other settings: nobody needs to know.
    ToReturn,
    /// It goes on at once with another broker: this one is told that it is away.
    Elsewhere,
}

/// What became of a loop that was to end.
pub enum Left {
    /// It ended; the service manager is told by whoever goes on.
    Gone(ServiceManager),
    /// It goes on, for the state cannot be written, and why.
    Stays(Box<App>, String),
}

impl Leave {
    /// How the loop is left to go on with `new` settings.
    #[must_use]
    pub fn for_settings(old: &Settings, new: &Settings) -> Self {
        let place = |settings: &Settings| (settings.broker.host.clone(), settings.broker.port);
        if place(old) == place(new) {
            Self::ToReturn
        } else {
            Self::Elsewhere
        }
    }
}

impl From<()> for Leave {
    fn from((): ()) -> Self {
        Self::ForGood
    }
}

impl App {
    pub(super) async fn leave(mut self, why: Leave) -> Result<ServiceManager, AppError> {
        if why == Leave::ForGood {
            tracing::info!("stopping");
            self.manager.stopping();
        }
        // Their ports must be free when the next loop opens them.
        (self.questions, self.page_questions) = (None, None);
        self.advance_and_end();
        // With the held messages all that they tell of, what time alone has changed included.
        self.installation.keep_all();
        self.publish();
        self.close_notifier().await;
        tokio::task::yield_now().await;
        let kept = self.keeper.close(&mut self.installation).await;
        let result = match kept {
            Ok(released) => {
                for receipt in released.receipts {
                    self.session.acknowledge(receipt);
                }
                for message in released.sums {
                    homie::send(self.homie.as_ref(), &self.session, message);
                }
                Ok(self.manager)
            }
            Err(error) => Err(error.into()),
        };
        let homie = homie::leave(self.homie.take(), GOODBYE);
        if why == Leave::ToReturn {
            self.session.stay_silent();
        }
        let (farewell, ()) = tokio::join!(self.session.close(GOODBYE), homie);
        if farewell.said_goodbye && why == Leave::ForGood {
            tracing::info!(topic = self.places.status_topic(), "said offline");
        }
        result
    }
}
