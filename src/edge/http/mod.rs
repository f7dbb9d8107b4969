//! HTTP: where scrapers read metrics. It answers `GET /metrics` with what the application says at
//! that moment and nothing else; it cannot change anything.
//!
//! hyper itself and no framework above it: one path needs no router, and a reader that never ends
//! its request must be cut off, which the usual `serve` functions do not do.

mod answer;
pub mod client;

use std::{
    net::{SocketAddr, TcpListener},
    sync::Arc,
    time::{Duration, Instant},
};

use hyper::{server::conn::http1, service::service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::{
    sync::{Semaphore, mpsc, oneshot},
    task::JoinHandle,
};

use crate::{config::MetricsServer, wire::openmetrics::Family};
use answer::Gate;

/// Connections at a time; more wait to be accepted.
const CONNECTIONS: usize = 16;
/// A request's head must be there within this time, …
const HEAD: Duration = Duration::from_secs(5);
/// … and the whole exchange be over within this.
const EXCHANGE: Duration = Duration::from_secs(10);
/// Longest head of a request, in bytes (hyper's least).
const HEAD_BYTES: usize = 8192;
/// After a failed accept (too many open files), the next is tried this much later.
const PAUSE: Duration = Duration::from_millis(200);

/// Why metrics cannot be served.
#[derive(Debug, thiserror::Error)]
#[error(
    "metrics cannot be served at {listen} ({source}); choose another `listen` in [metrics], or stop what uses it"
)]
pub struct HttpError {
    /// The address.
    listen: SocketAddr,
    /// What the system said.
    source: std::io::Error,
}

/// A scraper's question, to be answered by the application with everything there is.
#[derive(Debug)]
pub struct Question {
    asked: Instant,
    answer: oneshot::Sender<Vec<Family>>,
}

impl Question {
    /// How long it has waited.
    #[must_use]
    pub fn waited(&self) -> Duration {
        self.asked.elapsed()
    }

    /// Answers it.
    pub fn answer(self, families: Vec<Family>) {
        // Who asked may have left meanwhile.
        let _ = self.answer.send(families);
    }
}

/// Where the application hears scrapers' questions. Dropping it closes the port.
#[derive(Debug)]
pub struct Questions {
    questions: mpsc::Receiver<Question>,
    task: JoinHandle<()>,
}

impl Questions {
    /// The next question. It may be cancelled at any moment without losing one.
    pub async fn next(&mut self) -> Question {
        match self.questions.recv().await {
            Some(question) => question,
            // The server holds a sender as long as it lives, and it lives as long as we do.
            None => std::future::pending().await,
        }
    }
}

impl Drop for Questions {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// Opens the port and serves; must be called inside a tokio runtime.
///
/// # Errors
/// When the port cannot be had.
pub fn serve(settings: &MetricsServer) -> Result<Questions, HttpError> {
    let refused = |source| HttpError {
        listen: settings.listen,
        source,
    };
    let listener = TcpListener::bind(settings.listen).map_err(refused)?;
    listener.set_nonblocking(true).map_err(refused)?;
    let listener = tokio::net::TcpListener::from_std(listener).map_err(refused)?;
    let (ask, questions) = mpsc::channel(CONNECTIONS);
    let gate = Arc::new(Gate::new(settings, ask));
    let task = tokio::spawn(accept(listener, gate));
    tracing::info!("metrics at http://{}/metrics", settings.listen);
    Ok(Questions { questions, task })
}

async fn accept(listener: tokio::net::TcpListener, gate: Arc<Gate>) {
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    let mut connections = tokio::task::JoinSet::new();
    loop {
        let Ok(place) = Arc::clone(&places).acquire_owned().await else {
            return;
        };
        while connections.try_join_next().is_some() {}
        let stream = match listener.accept().await {
            Ok((stream, _)) => stream,
            Err(error) => {
                tracing::debug!("a scraper could not be accepted: {error}");
                tokio::time::sleep(PAUSE).await;
                continue;
            }
        };
        let gate = Arc::clone(&gate);
        connections.spawn(async move {
            let served = tokio::time::timeout(EXCHANGE, exchange(stream, gate)).await;
            if let Ok(Err(error)) = served {
                tracing::debug!("a scraper was not served: {error}");
            }
            drop(place);
        });
    }
}

/// One request and its answer: a connection is not kept.
async fn exchange(stream: tokio::net::TcpStream, gate: Arc<Gate>) -> hyper::Result<()> {
    let service = service_fn(move |request| {
        let gate = Arc::clone(&gate);
        async move { Ok::<_, std::convert::Infallible>(gate.answer(&request).await) }
    });
    http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(HEAD_BYTES)
        .keep_alive(false)
        .serve_connection(TokioIo::new(stream), service)
        .await
}
