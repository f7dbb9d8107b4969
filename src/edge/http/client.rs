//! One request to a server and its answer. Follows no redirect: it could carry a secret elsewhere, and
//! most servers' redirects turn a POST into a GET. Nothing that it says of an error holds path,
//! headers or body, for these hold secrets.

use std::{fmt, path::Path, sync::Arc, time::Duration};

use http_body_util::{BodyExt as _, Full};
use hyper::{
    Request,
    body::Bytes,
    client::conn::http1,
    header::{self, HeaderName, HeaderValue},
};
use hyper_util::rt::TokioIo;
use rustls::pki_types::ServerName;
use tokio::{
    io::{AsyncRead, AsyncWrite},
    net::TcpStream,
};
use tokio_rustls::TlsConnector;

use crate::{
    config::Server,
    edge::trust::{self, TrustError},
};

/// As much of an answer is read, for what it may say about a refusal.
const ANSWER_BYTES: usize = 2048;

/// A request.
pub struct Call {
    /// `POST` or `PUT`.
    pub method: &'static str,
    /// Path and query.
    pub path: String,
    /// Names in lower case, and values.
    pub headers: Vec<(String, String)>,
    /// The body.
    pub body: String,
}

impl fmt::Debug for Call {
    /// Without what may be secret.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Call")
            .field("method", &self.method)
            .finish_non_exhaustive()
    }
}

/// What a server answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// Status.
    pub status: u16,
    /// `Retry-After` as it stands.
    pub retry_after: Option<String>,
    /// The beginning of the body, if it is text.
    pub said: String,
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum CallError {
    /// Name not found, port closed, network away.
    #[error("no connection to {0}: {1}")]
    Connect(Server, std::io::Error),
    /// The certificate is not accepted, or TLS is not spoken.
    #[error("no encrypted connection to {0}: {1}")]
    Tls(Server, std::io::Error),
    /// It took too long.
    #[error("{0} did not answer within {1:?}")]
    Late(Server, Duration),
    /// The connection broke before the answer.
    #[error("the connection to {0} broke before the answer: {1}")]
    Broken(Server, hyper::Error),
    /// What was filled in cannot be sent.
    #[error(
        "the request to {0} cannot be written: its path or a header has characters that may not be there"
    )]
    Unwritable(Server),
}

/// A client of one server.
#[derive(Clone)]
pub struct Client {
    server: Server,
    tls: Option<TlsConnector>,
    timeout: Duration,
}

impl Client {
    /// A client of `server`, trusting the authorities in `ca_file` or the system's.
    ///
    /// # Errors
    /// When there are no such authorities.
    pub fn new(
        server: Server,
        ca_file: Option<&Path>,
        timeout: Duration,
    ) -> Result<Self, TrustError> {
        let tls = if server.tls {
            let config = trust::client(ca_file)?.with_no_client_auth();
            Some(TlsConnector::from(Arc::new(config)))
        } else {
            None
        };
        Ok(Self {
            server,
            tls,
            timeout,
        })
    }

    /// Sends a request and waits for the answer's head. Safe to cancel.
    ///
    /// # Errors
    /// When no answer came within the time-out.
    pub async fn call(&self, call: Call) -> Result<Answer, CallError> {
        let late = |_| CallError::Late(self.server.clone(), self.timeout);
        let request = self.request(call)?;
        tokio::time::timeout(self.timeout, self.exchange(request))
            .await
            .map_err(late)?
    }

    fn request(&self, call: Call) -> Result<Request<Full<Bytes>>, CallError> {
        let unwritable = || CallError::Unwritable(self.server.clone());
        let mut request = Request::builder()
            .method(call.method)
            .uri(call.path)
            .header(header::HOST, self.server.authority())
            .header(header::CONNECTION, "close")
            .body(Full::from(call.body))
            .map_err(|_| unwritable())?;
        for (name, value) in call.headers {
            let name = HeaderName::try_from(name).map_err(|_| unwritable())?;
            let mut value = HeaderValue::try_from(value).map_err(|_| unwritable())?;
            value.set_sensitive(true);
            request.headers_mut().insert(name, value);
        }
        Ok(request)
    }

    async fn exchange(&self, request: Request<Full<Bytes>>) -> Result<Answer, CallError> {
        let server = &self.server;
        let stream = TcpStream::connect((server.host.as_str(), server.port))
            .await
            .map_err(|error| CallError::Connect(server.clone(), error))?;
        let Some(tls) = &self.tls else {
            return self.talk(stream, request).await;
        };
        let refused = |error| CallError::Tls(server.clone(), error);
        let name = ServerName::try_from(server.host.clone())
            .map_err(|error| refused(std::io::Error::other(error)))?;
        let stream = tls.connect(name, stream).await.map_err(refused)?;
        self.talk(stream, request).await
    }

    async fn talk(
        &self,
        stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static,
        request: Request<Full<Bytes>>,
    ) -> Result<Answer, CallError> {
        let broken = |error| CallError::Broken(self.server.clone(), error);
        let (mut sender, connection) = http1::handshake(TokioIo::new(stream))
            .await
            .map_err(broken)?;
        let talk = async {
            let mut response = sender.send_request(request).await.map_err(broken)?;
            let status = response.status().as_u16();
            let retry_after = response.headers().get(header::RETRY_AFTER);
            let retry_after = retry_after.and_then(|value| value.to_str().ok());
            let retry_after = retry_after.map(str::to_owned);
            // The status decides; the body only helps a person, and only a refusal's is of interest.
            let mut said = Vec::new();
            while said.len() < ANSWER_BYTES && !(200..300).contains(&status) {
                match response.frame().await {
                    Some(Ok(frame)) => {
                        said.extend_from_slice(frame.data_ref().map_or(&[][..], |data| data));
                    }
                    Some(Err(_)) | None => break,
                }
            }
            said.truncate(ANSWER_BYTES);
            Ok(Answer {
                status,
                retry_after,
                said: readable(&said),
            })
        };
        // Both sides of the same exchange; the connection ends with it.
        tokio::select! {
            answer = talk => answer,
            error = silent(connection) => Err(broken(error)),
        }
    }
}

/// Drives a connection; resolves only if it fails, since its good end is the exchange's business.
async fn silent(connection: impl Future<Output = hyper::Result<()>>) -> hyper::Error {
    match connection.await {
        Err(error) => error,
        Ok(()) => std::future::pending().await,
    }
}

/// The first line that can be shown, at most 200 characters.
fn readable(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    let line = text.lines().map(str::trim).find(|line| !line.is_empty());
    let shown = line.unwrap_or_default().chars();
    shown.filter(|c| !c.is_control()).take(200).collect()
}
