//! One attempt to hand a notice over: what is sent, and what an answer means.

use std::{
    fs, io,
    path::{Path, PathBuf},
    time::{Duration, SystemTime},
};

use crate::{
    config::NotifyTarget,
    edge::{
        http::client::{Answer, Call, Client},
        trust::TrustError,
    },
    wire::notice::{Notice, percent_escaped},
};

/// Why a target cannot be used at all.
#[derive(Debug, thiserror::Error)]
pub enum NotifyError {
    /// Its certificates.
    #[error("notices cannot be sent to {name:?}: {source}")]
    Client {
        /// The target.
        name: String,
        /// Why.
        source: TrustError,
    },
    /// Its secret.
    #[error("notices cannot be sent to {name:?}: {source}")]
    Secret {
        /// The target.
        name: String,
        /// Why.
        source: SecretError,
    },
}

/// Why a secret cannot be had. Never shows it.
#[derive(Debug, thiserror::Error)]
pub enum SecretError {
    /// The file cannot be read.
    #[error(
        "cannot read {}: {source}; it must be there, and readable for the user that runs permeated",
        path.display()
    )]
    File {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The file does not hold what it should.
    #[error("the first line of {} must be the secret, in ASCII without blanks at its ends", .0.display())]
    Content(PathBuf),
}

/// What became of an attempt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The target has it.
    Taken {
        /// The status it answered.
        status: u16,
    },
    /// It will never take it: no further attempt would help.
    Refused {
        /// A sentence.
        why: String,
    },
    /// It may take it later.
    Later {
        /// A sentence.
        why: String,
        /// How long it asked us to wait.
        asked: Option<Duration>,
    },
}

/// Carries notices to one target.
pub struct Courier {
    target: NotifyTarget,
    client: Client,
}

impl Courier {
    /// Makes itself ready; asks nothing of the network.
    ///
    /// # Errors
    /// When a file that the target needs cannot be used.
    pub fn new(target: &NotifyTarget) -> Result<Self, NotifyError> {
        let name = || target.name.clone();
        let client = Client::new(
            target.server.clone(),
            target.ca_file.as_deref(),
            target.timeout,
        )
        .map_err(|source| NotifyError::Client {
            name: name(),
            source,
        })?;
        let courier = Self {
            target: target.clone(),
            client,
        };
        courier.secrets().map_err(|source| NotifyError::Secret {
            name: name(),
            source,
        })?;
        Ok(courier)
    }

    /// Token and secret, read anew: somebody may have put them right.
    fn secrets(&self) -> Result<(Option<String>, String), SecretError> {
        let token = self.target.token_file.as_deref().map(first_line);
        let secret = self.target.secret_file.as_deref().map(first_line);
        Ok((token.transpose()?, secret.transpose()?.unwrap_or_default()))
    }

    /// Tries once.
    pub async fn deliver(&self, notice: &Notice) -> Outcome {
        let later = |why: String| Outcome::Later { why, asked: None };
        let (token, secret) = match self.secrets() {
            Ok(secrets) => secrets,
            Err(error) => return later(error.to_string()),
        };
        let call = self.call(notice, token.as_deref(), &secret);
        let hidden = hidden(&call, [token.unwrap_or_default(), secret]);
        match self.client.call(call).await {
            Ok(answer) => self.meaning(&answer, &hidden),
            Err(error) => later(error.to_string()),
        }
    }

    fn call(&self, notice: &Notice, token: Option<&str>, secret: &str) -> Call {
        let target = &self.target;
        let kind = if target.json {
            "application/json"
        } else {
            "text/plain; charset=utf-8"
        };
        let mut headers = vec![
            ("content-type".to_owned(), kind.to_owned()),
            (
                "user-agent".to_owned(),
                concat!("permeated/", env!("CARGO_PKG_VERSION")).to_owned(),
            ),
            ("idempotency-key".to_owned(), notice.idempotency_key()),
        ];
        if let Some(token) = token {
            headers.push(("authorization".to_owned(), format!("Bearer {token}")));
        }
        let own = target.headers.iter();
        headers.extend(own.map(|(name, value)| (name.clone(), notice.header(value, secret))));
        Call {
            method: target.method,
            path: notice.path(&target.path, secret),
            headers,
            body: notice.body(target, secret),
        }
    }

    fn meaning(&self, answer: &Answer, hidden: &[String]) -> Outcome {
        let (status, server) = (answer.status, &self.target.server);
        // Some servers repeat what they were sent.
        let mut said = answer.said.clone();
        for secret in hidden {
            said = said.replace(secret, "…");
        }
        let said = if said.is_empty() {
            String::new()
        } else {
            format!(": {said}")
        };
        match status {
            200..300 => Outcome::Taken { status },
            300..=399 => Outcome::Refused {
                why: format!(
                    "{server} answered {status} and sends us elsewhere, which is not followed; write the final url"
                ),
            },
            // A secret is read anew each time: the owner may put it right meanwhile.
            401 | 403 | 408 | 425 | 429 | 500..=599 => Outcome::Later {
                why: format!("{server} answered {status}{said}"),
                asked: answer.retry_after.as_deref().and_then(asked_for),
            },
            _ => Outcome::Refused {
                why: format!("{server} answered {status}{said}"),
            },
        }
    }
}

/// What a server may repeat and no log may hold: path and query, which often are secrets themselves, and the
/// secrets, also as they stand in a path.
fn hidden(call: &Call, secrets: [String; 2]) -> Vec<String> {
    let path = call.path.split('?').next().unwrap_or_default().to_owned();
    let escaped = secrets.each_ref().map(|secret| percent_escaped(secret));
    let all = [call.path.clone(), path].into_iter();
    all.chain(secrets)
        .chain(escaped)
        .filter(|text| !matches!(text.as_str(), "" | "/"))
        .collect()
}

/// `Retry-After` (RFC 9110, 10.2.3): seconds, or a date.
fn asked_for(retry_after: &str) -> Option<Duration> {
    let text = retry_after.trim();
    if let Ok(seconds) = text.parse() {
        return Some(Duration::from_secs(seconds));
    }
    let date = httpdate::parse_http_date(text).ok()?;
    date.duration_since(SystemTime::now()).ok()
}

fn first_line(path: &Path) -> Result<String, SecretError> {
    let text = fs::read_to_string(path).map_err(|source| SecretError::File {
        path: path.to_owned(),
        source,
    })?;
    let line = text.lines().next().unwrap_or_default();
    let plain = |c: char| c.is_ascii() && !c.is_ascii_control();
    if line.is_empty() || line.trim() != line || !line.chars().all(plain) {
        return Err(SecretError::Content(path.to_owned()));
    }
    Ok(line.to_owned())
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::config;

    #[test]
    fn what_a_server_repeats_of_path_and_secrets_is_in_no_log() {
        let text = "[[notify]]\nname = \"phone\"\nurl = \"http://a/hooks/abc123/{secret}\"\n\
                    secret_file = \"s\"\n[unit.u]\n[[unit.u.sensor]]\nat = \"product_tds\"\n\
                    topic = \"t\"\nunit = \"ppm\"\n";
        let settings = config::from_text("t.toml", text, &BTreeMap::new(), None).unwrap();
        let target = &settings.notify[0];
        let courier = Courier {
            target: target.clone(),
            client: Client::new(target.server.clone(), None, target.timeout).unwrap(),
        };
        let (token, secret) = ("tok/en".to_owned(), "s=1".to_owned());
        let call = courier.call(&Notice::test(), Some(&token), &secret);
        let hidden = hidden(&call, [token, secret]);
        for (said, wanted) in [
            ("Cannot POST /hooks/abc123/s%3D1", "Cannot POST …"),
            ("no tok/en or tok%2Fen, s=1", "no … or …, …"),
        ] {
            let answer = Answer {
                status: 404,
                retry_after: None,
                said: said.to_owned(),
            };
            let Outcome::Refused { why } = courier.meaning(&answer, &hidden) else {
                panic!("404 is a refusal");
            };
            assert_eq!(why, format!("http://a answered 404: {wanted}"));
        }
    }

    #[test]
    fn retry_after_is_seconds_or_a_date() {
        assert_eq!(asked_for(" 120 "), Some(Duration::from_secs(120)));
        // The form of RFC 9110, 5.6.7, in a past and in a far year.
        assert_eq!(asked_for("Sun, 06 Nov 1994 08:49:37 GMT"), None);
        assert!(asked_for("Mon, 06 Nov 2090 08:49:37 GMT") > Some(Duration::from_secs(1_000_000)));
        assert_eq!(asked_for("soon"), None);
    }
}
