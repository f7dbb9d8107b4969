//! What went wrong with a connection: the client's error → a kind we act on and a sentence a
//! person can act on.

use std::io;

use rumqttc::{ConnectReturnCode, ConnectionError, StateError, mqttbytes};
use rustls::{AlertDescription, CertificateError};

use crate::config::Broker;

/// What the session does about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// It may end by itself: try again.
    Passing,
    /// The broker closed the connection without a word.
    CutOff,
    /// Only a person can end it: try again, slowly.
    Refused,
    /// A packet of that many bytes is more than we read.
    Oversize(usize),
}

/// What went wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Problem {
    pub(super) kind: Kind,
    pub(super) text: String,
}

impl Problem {
    fn new(kind: Kind, text: impl Into<String>) -> Self {
        Self {
            kind,
            text: text.into(),
        }
    }

    /// As [`Problem::of`], of an attempt: nobody had let us in yet.
    pub(super) fn of_attempt(error: &ConnectionError, broker: &Broker) -> Self {
        let problem = Self::of(error, broker);
        if problem.kind != Kind::CutOff {
            return problem;
        }
        let speaks = if broker.tls.is_some() {
            "does it speak TLS (url = \"mqtts://…\"), or plain MQTT (\"mqtt://…\", usually port 1883)?"
        } else {
            "does it speak plain MQTT (url = \"mqtt://…\"), or TLS (\"mqtts://…\", usually port 8883)?"
        };
        Self::new(
            Kind::CutOff,
            format!(
                "{}:{} closes the connection before it lets us in: check the port in `broker.url`; {speaks} If that \
                 is right, the broker's log knows why",
                broker.host, broker.port
            ),
        )
    }

    /// The error as a problem. Never holds the password: the client's errors do not know it.
    pub(super) fn of(error: &ConnectionError, broker: &Broker) -> Self {
        match error {
            ConnectionError::ConnectionRefused(code) => refused(*code, broker),
            ConnectionError::NetworkTimeout => Self::new(
                Kind::Passing,
                format!("no answer from {}:{} in time", broker.host, broker.port),
            ),
            ConnectionError::FlushTimeout => {
                Self::new(Kind::Passing, "the broker takes no data any more")
            }
            ConnectionError::Io(error) => of_io(error, broker),
            ConnectionError::Tls(rumqttc::TlsError::Io(error)) => of_io(error, broker),
            ConnectionError::Tls(rumqttc::TlsError::TLS(error)) => of_tls(error, broker),
            ConnectionError::Tls(error) => Self::new(Kind::Refused, format!("TLS: {error}")),
            ConnectionError::MqttState(error) => of_state(error, broker),
            ConnectionError::NotConnAck(_) => Self::new(
                Kind::Refused,
                format!(
                    "{}:{} does not answer as an MQTT broker does: check the port (mqtt:// 1883, mqtts:// 8883) in `broker.url`",
                    broker.host, broker.port
                ),
            ),
            ConnectionError::RequestsDone => Self::new(Kind::Passing, error.to_string()),
        }
    }
}

fn refused(code: ConnectReturnCode, broker: &Broker) -> Problem {
    let text = match code {
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
            let user = broker.user.as_deref().map_or_else(
                || "without a user name".to_owned(),
                |user| format!("as user `{user}`"),
            );
            let file = broker.password_file.as_ref().map_or_else(
                || "no password file is set".to_owned(),
                |path| format!("the password is the first line of {}", path.display()),
            );
            format!("the broker refuses us {user}: check user and password ({file})")
        }
        ConnectReturnCode::BadClientId => {
            "the broker refuses our client id: set another one (`broker.client_id`)".to_owned()
        }
        ConnectReturnCode::RefusedProtocolVersion => {
            "the broker does not speak MQTT 3.1.1: let it, or take another one".to_owned()
        }
        ConnectReturnCode::ServiceUnavailable => {
            return Problem::new(Kind::Passing, "the broker says it is not available now");
        }
        ConnectReturnCode::Success => "the broker's answer makes no sense".to_owned(),
    };
    Problem::new(Kind::Refused, text)
}

fn of_state(error: &StateError, broker: &Broker) -> Problem {
    match error {
        StateError::Io(error) | StateError::Deserialization(mqttbytes::Error::Io(error)) => {
            of_io(error, broker)
        }
        StateError::Deserialization(mqttbytes::Error::PayloadSizeLimitExceeded(size)) => {
            Problem::new(
                Kind::Oversize(*size),
                format!(
                    "the broker sends a packet of {size} bytes, more than we read: look for a \
                     large message, perhaps retained, on one of the subscribed topics"
                ),
            )
        }
        StateError::ConnectionAborted => cut_off(),
        StateError::AwaitPingResp => {
            Problem::new(Kind::Passing, "the broker answers no keep-alive any more")
        }
        StateError::Deserialization(error) => Problem::new(
            Kind::Passing,
            format!("the broker sends what is not MQTT: {error}"),
        ),
        other => Problem::new(Kind::Passing, other.to_string()),
    }
}

fn of_io(error: &io::Error, broker: &Broker) -> Problem {
    let inner = error.get_ref().and_then(|inner| inner.downcast_ref());
    if let Some(error) = inner {
        return of_tls(error, broker);
    }
    let place = format!("{}:{}", broker.host, broker.port);
    match error.kind() {
        io::ErrorKind::ConnectionReset
        | io::ErrorKind::ConnectionAborted
        | io::ErrorKind::BrokenPipe
        | io::ErrorKind::UnexpectedEof => cut_off(),
        io::ErrorKind::ConnectionRefused => Problem::new(
            Kind::Passing,
            format!("nobody listens at {place}: is the broker running, and `broker.url` right?"),
        ),
        _ => Problem::new(Kind::Passing, format!("cannot reach {place}: {error}")),
    }
}

fn cut_off() -> Problem {
    Problem::new(Kind::CutOff, "the broker closed the connection")
}

fn of_tls(error: &rustls::Error, broker: &Broker) -> Problem {
    let ca = (broker.tls.as_ref().and_then(|tls| tls.ca_file.as_ref())).map_or_else(
        || "the system's certificate authorities".to_owned(),
        |path| format!("the CA file {}", path.display()),
    );
    let hint = match error {
        rustls::Error::InvalidCertificate(CertificateError::UnknownIssuer) => {
            format!(
                "the broker's certificate is not signed by {ca}: name its own in `broker.ca_file`"
            )
        }
        rustls::Error::InvalidCertificate(
            CertificateError::NotValidForName | CertificateError::NotValidForNameContext { .. },
        ) => format!(
            "the broker's certificate is for another name than `{}`: write the name it has in `broker.url`",
            broker.host
        ),
        rustls::Error::InvalidCertificate(
            CertificateError::Expired
            | CertificateError::ExpiredContext { .. }
            | CertificateError::NotValidYet
            | CertificateError::NotValidYetContext { .. },
        ) => "check the dates of the broker's certificate and this machine's clock".to_owned(),
        rustls::Error::AlertReceived(
            AlertDescription::CertificateRequired | AlertDescription::HandshakeFailure,
        ) => "the broker wants a client certificate (`broker.client_certificate` and `client_key`)"
            .to_owned(),
        rustls::Error::AlertReceived(
            AlertDescription::BadCertificate
            | AlertDescription::CertificateExpired
            | AlertDescription::CertificateRevoked
            | AlertDescription::CertificateUnknown
            | AlertDescription::DecryptError
            | AlertDescription::UnknownCA
            | AlertDescription::UnsupportedCertificate,
        ) => {
            let own = broker
                .tls
                .as_ref()
                .and_then(|tls| tls.client_certificate.as_ref());
            match own {
                Some(path) => format!(
                    "the broker does not accept our client certificate {}: check its dates, and that it is signed by an \
                     authority the broker knows",
                    path.display()
                ),
                None => "the broker does not accept our certificate; we have none to show \
                         (`broker.client_certificate` and `client_key`)"
                    .to_owned(),
            }
        }
        rustls::Error::InvalidMessage(_) => {
            format!("check that port {} speaks TLS", broker.port)
        }
        _ => "check the certificates on both sides".to_owned(),
    };
    Problem::new(Kind::Refused, format!("TLS: {hint} ({error})"))
}

#[cfg(test)]
mod tests {
    use std::{path::PathBuf, time::Duration};

    use super::*;

    fn broker() -> Broker {
        Broker {
            host: "broker.lan".to_owned(),
            port: 1883,
            tls: None,
            user: Some("unit".to_owned()),
            password_file: Some(PathBuf::from("/etc/secret")),
            client_id: None,
            keep_alive: Duration::from_secs(30),
        }
    }

    #[test]
    fn a_refusal_names_user_and_password_file() {
        let error = ConnectionError::ConnectionRefused(ConnectReturnCode::NotAuthorized);
        let problem = Problem::of(&error, &broker());
        assert_eq!(problem.kind, Kind::Refused);
        assert!(
            problem.text.contains("`unit`") && problem.text.contains("/etc/secret"),
            "{}",
            problem.text
        );
    }

    #[test]
    fn a_clock_that_was_never_set_is_named_when_certificates_are_not_valid_yet() {
        let error = rustls::Error::InvalidCertificate(CertificateError::NotValidYet);
        let error = ConnectionError::Io(io::Error::new(io::ErrorKind::InvalidData, error));
        let text = Problem::of(&error, &broker()).text;
        assert!(text.contains("clock"), "{text}");
    }

    #[test]
    fn a_closed_connection_is_told_from_a_broker_that_is_away() {
        let reset = ConnectionError::Io(io::ErrorKind::ConnectionReset.into());
        assert_eq!(Problem::of(&reset, &broker()).kind, Kind::CutOff);
        let away = ConnectionError::Io(io::ErrorKind::ConnectionRefused.into());
        let problem = Problem::of(&away, &broker());
        assert_eq!(problem.kind, Kind::Passing);
        assert!(problem.text.contains("broker.lan:1883"), "{}", problem.text);
    }
}
