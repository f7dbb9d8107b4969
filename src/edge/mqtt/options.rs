//! What a session is opened with, what can be wrong with it, and the client's own options made from
//! it. Reads the password file; sends nothing.

use std::{
    fmt, fs, io,
    path::{Path, PathBuf},
    sync::Arc,
    time::Duration,
};

use rumqttc::{LastWill, MqttOptions, QoS, Transport};

use super::{Presence, client_id, tls};
use crate::{config::Broker, edge::trust::TrustError};

/// The protocol has 16 bits for it.
const LONGEST_KEEP_ALIVE: Duration = Duration::from_secs(65_535);

/// Tells whether every message of a topic counts (increments, commands). Such a message is never
/// overwritten, and the broker keeps it until [`super::Session::acknowledge`].
pub type Precious = Arc<dyn Fn(&str) -> bool + Send + Sync>;

/// What a session is opened with.
#[derive(Clone)]
pub struct SessionOptions {
    /// Where the broker is and how it is entered.
    pub broker: Broker,
    /// Our name at the broker, the same at every start; see [`super::default_client_id`].
    pub client_id: String,
    /// Where `online` and `offline` are told, retained. A topic below it, `…/session`, carries a
    /// message to ourselves that ends what the broker had kept for us.
    pub status_topic: String,
    /// What is said of our being there.
    pub presence: Presence,
    /// Whether nothing at all is said of our being there: no will, no status, and neither is heard.
    pub is_silent: bool,
    /// Whether the broker keeps what comes while we are away. Who hears nothing needs no such session.
    pub keeps_session: bool,
    /// Topics to hear; wildcards are possible.
    pub subscribe: Vec<String>,
    /// Topics heard once and no longer wanted: the broker's session still has them.
    pub unsubscribe: Vec<String>,
    /// The topics of which every message counts.
    pub precious: Precious,
    /// How long is waited for what.
    pub timings: Timings,
    /// How much is kept of what.
    pub limits: Limits,
}

impl SessionOptions {
    /// Options that hear nothing yet, with the default timings and limits.
    #[must_use]
    pub fn new(broker: Broker, client_id: String, status_topic: String) -> Self {
        Self {
            broker,
            client_id,
            presence: Presence::plain(&status_topic),
            status_topic,
            is_silent: false,
            keeps_session: true,
            subscribe: Vec::new(),
            unsubscribe: Vec::new(),
            precious: Arc::new(|_| false),
            timings: Timings::default(),
            limits: Limits::default(),
        }
    }

    /// Options of a passing session that says nothing by itself and that the broker forgets: to
    /// overhear, or to send what somebody else says.
    #[must_use]
    pub fn silent(broker: Broker) -> Self {
        let mut options = Self::new(broker, client_id::passing_client_id(), String::new());
        options.is_silent = true;
        options.keeps_session = false;
        // Who overhears wants all of it.
        options.limits.rate = None;
        options.presence.here.clear();
        options.presence.away.clear();
        options
    }

    /// The topic of the message to ourselves that follows what the broker had kept for us.
    #[must_use]
    pub fn marker_topic(&self) -> String {
        format!("{}/session", self.status_topic)
    }

    /// Every filter of a connection: what is wanted, and our own status and marker.
    pub(super) fn filters(&self) -> Vec<String> {
        let mut filters: Vec<String> = (!self.is_silent)
            .then(|| self.status_topic.clone())
            .into_iter()
            .collect();
        filters.extend(self.keeps_session.then(|| self.marker_topic()));
        for filter in &self.subscribe {
            if !filters.contains(filter) {
                filters.push(filter.clone());
            }
        }
        filters
    }

    /// What the broker's session must forget.
    pub(super) fn unwanted(&self) -> Vec<String> {
        let wanted = self.filters();
        let mut unwanted = Vec::new();
        for filter in &self.unsubscribe {
            if !wanted.contains(filter) && !unwanted.contains(filter) {
                unwanted.push(filter.clone());
            }
        }
        unwanted
    }

    fn check(&self) -> Result<(), MqttError> {
        if self.client_id.is_empty() {
            return Err(MqttError::NoClientId);
        }
        if self.broker.keep_alive < Duration::from_secs(1) {
            return Err(MqttError::KeepAlive(self.broker.keep_alive));
        }
        if !self.is_silent && !is_topic(&self.status_topic) {
            return Err(MqttError::Topic(self.status_topic.clone()));
        }
        match (self.subscribe.iter().chain(&self.unsubscribe)).find(|filter| !is_filter(filter)) {
            Some(filter) => Err(MqttError::Filter(filter.clone())),
            None => Ok(()),
        }
    }

    /// The client's options: MQTT 3.1.1, acknowledgements by hand.
    pub(super) fn client_options(&self) -> Result<MqttOptions, MqttError> {
        self.check()?;
        let broker = &self.broker;
        let mut options = MqttOptions::new(&self.client_id, &broker.host, broker.port);
        options
            .set_keep_alive(broker.keep_alive.min(LONGEST_KEEP_ALIVE))
            .set_clean_session(!self.keeps_session)
            .set_manual_acks(true)
            // The client's ring of packet ids. It is much longer than our own window, so that an
            // id never comes round while it is in use, and acknowledgements never queue behind a
            // full window.
            .set_inflight(256)
            .set_max_packet_size(self.limits.packet, self.limits.packet);
        if !self.is_silent {
            options.set_last_will(LastWill::new(
                &self.status_topic,
                self.presence.will.clone(),
                QoS::AtLeastOnce,
                true,
            ));
        }
        self.refresh_secrets(&mut options)?;
        Ok(options)
    }

    /// Reads password and certificates again: somebody may have put them right.
    pub(super) fn refresh_secrets(&self, options: &mut MqttOptions) -> Result<(), MqttError> {
        let password = self.broker.password_file.as_deref().map(password);
        match (&self.broker.user, password.transpose()?) {
            (Some(user), password) => {
                options.set_credentials(user, password.unwrap_or_default());
            }
            (None, Some(_)) => return Err(MqttError::PasswordWithoutUser),
            (None, None) => {}
        }
        if let Some(tls) = &self.broker.tls {
            options.set_transport(Transport::tls_with_config(tls::client(tls)?.into()));
        }
        Ok(())
    }
}

impl fmt::Debug for SessionOptions {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter
            .debug_struct("SessionOptions")
            .field("broker", &self.broker)
            .field("client_id", &self.client_id)
            .field("status_topic", &self.status_topic)
            .field("subscribe", &self.subscribe)
            .field("unsubscribe", &self.unsubscribe)
            .field("timings", &self.timings)
            .field("limits", &self.limits)
            .finish_non_exhaustive()
    }
}

/// How long is waited for what.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timings {
    /// Pause after the first failure; it doubles with each further one …
    pub first_pause: Duration,
    /// … up to this, which also follows a refusal that only a person can end.
    pub longest_pause: Duration,
    /// A connection that lived this long starts the pauses over.
    pub settled: Duration,
    /// Limit for making a connection, and for the broker to take what we write; whole seconds.
    pub connect: Duration,
    /// Messages stop being late after this even if our marker never came back (a broker may not
    /// let us read our own topics).
    pub marker_wait: Duration,
    /// Refused subscriptions are asked for again after this.
    pub subscribe_again: Duration,
    /// `online` is repeated at most this often when somebody says `offline` for us.
    pub online_gap: Duration,
    /// Connections that follow each other faster than this, each cut off by the broker, betray
    /// another client with our id.
    pub takeover_gap: Duration,
}

impl Default for Timings {
    fn default() -> Self {
        Self {
            first_pause: Duration::from_millis(500),
            longest_pause: Duration::from_secs(60),
            settled: Duration::from_secs(30),
            connect: Duration::from_secs(10),
            marker_wait: Duration::from_secs(30),
            subscribe_again: Duration::from_secs(60),
            online_gap: Duration::from_secs(5),
            takeover_gap: Duration::from_secs(10),
        }
    }
}

/// How often a topic is heard. What comes faster is passed over but for the newest, which waits for its turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rate {
    /// Messages in a second in the long run, at least 1 …
    pub per_second: u32,
    /// … and at once, after a rest, at least 1.
    pub at_once: u32,
}

/// How much is kept of what.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Messages waiting for the application; beyond it older values of a topic give way.
    pub inbox: usize,
    /// Events waiting for the broker; beyond it the oldest is dropped.
    pub events: usize,
    /// Publishes on their way without an acknowledgement, 1–200.
    pub window: usize,
    /// How often a topic is heard of which not every message counts; no limit when absent.
    pub rate: Option<Rate>,
    /// Largest packet in either direction, in bytes.
    pub packet: usize,
    /// A larger packet than [`Limits::packet`] is still read up to this, only to be thrown away
    /// with its topic told; otherwise one such message, kept by the broker, would cut us off for
    /// ever.
    pub swallow: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            inbox: 4096,
            events: 1000,
            window: 20,
            rate: Some(Rate {
                per_second: 100,
                at_once: 200,
            }),
            packet: 256 * 1024,
            swallow: 16 * 1024 * 1024,
        }
    }
}

/// Why a session cannot be opened. None of the texts holds a secret.
#[derive(Debug, thiserror::Error)]
pub enum MqttError {
    /// Empty client id.
    #[error(
        "the MQTT client id is empty: a session the broker keeps needs one; set `broker.client_id`"
    )]
    NoClientId,
    /// The protocol counts the keep-alive in seconds.
    #[error(
        "an MQTT keep-alive of {0:?} is too short: at least 1 s is needed in `broker.keep_alive`"
    )]
    KeepAlive(Duration),
    /// Not a topic one can publish to.
    #[error("`{0}` is not an MQTT topic: it must not be empty or hold `+`, `#` or NUL")]
    Topic(String),
    /// Not a filter one can subscribe to.
    #[error("`{0}` is not an MQTT filter: `+` stands for one whole level, `#` for all below, last")]
    Filter(String),
    /// A file that cannot be read.
    #[error(
        "cannot read the {what} {}: {source}; it must be there, and readable for the user that runs permeated",
        path.display()
    )]
    File {
        /// What the file is for.
        what: &'static str,
        /// Which file.
        path: PathBuf,
        /// Why not.
        source: io::Error,
    },
    /// A file that can be read but does not hold what it should.
    #[error("the {what} {} {problem}", path.display())]
    Content {
        /// What the file is for.
        what: &'static str,
        /// Which file.
        path: PathBuf,
        /// What is wrong in it, and what is allowed.
        problem: String,
    },
    /// MQTT has no password without a user.
    #[error(
        "a password file is set but no user: MQTT takes a password only with a user name; write `user` in [broker], too"
    )]
    PasswordWithoutUser,
    /// Half a client certificate.
    #[error(
        "a client certificate needs both its file and its key: write client_certificate and client_key in [broker], or neither"
    )]
    HalfClientCertificate,
    /// Whom to trust is not known, or a file of TLS is of no use.
    #[error(transparent)]
    Trust(#[from] TrustError),
    /// Opened outside a runtime.
    #[error("an MQTT session must be opened inside a tokio runtime")]
    NoRuntime,
}

/// Reads the files that the session needs, as it will.
///
/// # Errors
/// The first that is of no use; the text names it.
pub fn look_at_files(broker: &Broker) -> Result<(), MqttError> {
    let mut options = MqttOptions::new("", &broker.host, broker.port);
    SessionOptions::silent(broker.clone()).refresh_secrets(&mut options)
}

/// The first line of the password file.
fn password(path: &Path) -> Result<String, MqttError> {
    const WHAT: &str = "password file";
    let text = fs::read_to_string(path).map_err(|source| MqttError::File {
        what: WHAT,
        path: path.to_owned(),
        source,
    })?;
    match text.lines().next() {
        Some(line) if !line.is_empty() => Ok(line.to_owned()),
        _ => Err(MqttError::Content {
            what: WHAT,
            path: path.to_owned(),
            problem: "is empty: its first line must be the password".to_owned(),
        }),
    }
}

/// Whether one can publish to this topic (MQTT 3.1.1, 4.7).
#[must_use]
pub fn is_topic(topic: &str) -> bool {
    !topic.is_empty() && topic.len() <= 65_535 && !topic.contains(['+', '#', '\0'])
}

/// Whether one can subscribe to this filter (MQTT 3.1.1, 4.7).
#[must_use]
pub fn is_filter(filter: &str) -> bool {
    filter.len() <= 65_535 && !filter.contains('\0') && rumqttc::valid_filter(filter)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn options() -> SessionOptions {
        let broker = Broker {
            host: "127.0.0.1".to_owned(),
            port: 1883,
            tls: None,
            user: None,
            password_file: None,
            client_id: None,
            keep_alive: Duration::from_secs(30),
        };
        SessionOptions::new(broker, "id".to_owned(), "permeated/status".to_owned())
    }

    #[test]
    fn what_is_wanted_is_never_unsubscribed() {
        let mut options = options();
        options.subscribe = vec!["a".to_owned(), "a".to_owned()];
        options.unsubscribe = ["a", "b", "b", "permeated/status"]
            .map(str::to_owned)
            .into();
        assert_eq!(
            options.filters(),
            ["permeated/status", "permeated/status/session", "a"]
        );
        assert_eq!(options.unwanted(), ["b"]);
    }

    #[test]
    fn errors_name_the_file_or_the_filter() {
        let mut wrong = options();
        wrong.subscribe = vec!["a/#/b".to_owned()];
        let text = wrong.client_options().unwrap_err().to_string();
        assert!(text.contains("a/#/b"), "{text}");

        let mut wrong = options();
        wrong.broker.user = Some("unit".to_owned());
        wrong.broker.password_file = Some(PathBuf::from("/nowhere/password"));
        let text = wrong.client_options().unwrap_err().to_string();
        assert!(
            text.contains("password file") && text.contains("/nowhere/password"),
            "{text}"
        );
    }

    #[test]
    fn only_the_first_line_is_the_password() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("password");
        fs::write(&path, "s3 cret \r\nnot this\n").unwrap();
        assert_eq!(password(&path).unwrap(), "s3 cret ");
        fs::write(&path, "\n").unwrap();
        let text = password(&path).unwrap_err().to_string();
        assert!(
            text.contains("is empty") && text.contains("password"),
            "{text}"
        );
    }
}
