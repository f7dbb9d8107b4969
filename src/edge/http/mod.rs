//! HTTP: where scrapers read metrics and people the status page, two servers with one gate; and the
//! client for notices. What is served can be read, and changes nothing.
//!
//! hyper itself and no framework above it: a handful of paths needs no router, and a reader that never
//! ends its request must be cut off, which the usual `serve` functions do not do.

pub mod client;
mod gate;
mod metrics;
mod page;
mod shelf;

use std::{
    future::Future,
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

use crate::config::WebServer;
use gate::{Answer, Gate, Head};
pub use metrics::serve_metrics;
pub use page::serve_page;

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

/// Why something cannot be served.
#[derive(Debug, thiserror::Error)]
#[error(
    "{what} cannot be served at {listen} ({source}); choose another `listen` in [{table}], or stop what uses it"
)]
pub struct HttpError {
    /// What was to be served.
    what: &'static str,
    /// The table of the configuration.
    table: &'static str,
    /// The address.
    listen: SocketAddr,
    /// What the system said.
    source: std::io::Error,
}

/// A reader's question, to be answered by the application as things stand.
#[derive(Debug)]
pub struct Question<T> {
    asked: Instant,
    answer: oneshot::Sender<T>,
}

impl<T> Question<T> {
    /// How long it has waited.
    #[must_use]
    pub fn waited(&self) -> Duration {
        self.asked.elapsed()
    }

    /// Answers it.
    pub fn answer(self, answer: T) {
        // Who asked may have left meanwhile.
        let _ = self.answer.send(answer);
    }
}

/// Where the application hears readers' questions. Dropping it closes the port.
#[derive(Debug)]
pub struct Questions<T> {
    questions: mpsc::Receiver<Question<T>>,
    task: JoinHandle<()>,
}

impl<T> Questions<T> {
    /// The next question. It may be cancelled at any moment without losing one.
    pub async fn next(&mut self) -> Question<T> {
        match self.questions.recv().await {
            Some(question) => question,
            // The server holds a sender as long as it lives, and it lives as long as we do.
            None => std::future::pending().await,
        }
    }
}

impl<T> Drop for Questions<T> {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// The other end: puts questions to the application.
#[derive(Debug)]
struct Asker<T>(mpsc::Sender<Question<T>>);

impl<T> Asker<T> {
    /// The application's answer; `None` when it is stopping.
    async fn ask(&self) -> Option<T> {
        let (answer, answered) = oneshot::channel();
        let question = Question {
            asked: Instant::now(),
            answer,
        };
        self.0.send(question).await.ok()?;
        answered.await.ok()
    }
}

/// What is behind a gate.
trait Room: Send + Sync + 'static {
    /// What is served, for people and for the log.
    const WHAT: &'static str;
    /// The table of the configuration that switches it on.
    const TABLE: &'static str;
    /// Path of its entry.
    const ENTRY: &'static str;
    /// What a browser may load for it: a content security policy without the rules for all.
    const MAY_LOAD: &'static str;

    /// Answers a request that the gate let through.
    fn answer(&self, head: &Head) -> impl Future<Output = Answer> + Send;
}

/// Opens the port and serves; must be called inside a tokio runtime.
fn serve<T: Send + 'static, R: Room>(
    server: &WebServer,
    room: impl FnOnce(Asker<T>) -> R,
) -> Result<Questions<T>, HttpError> {
    let refused = |source| HttpError {
        what: R::WHAT,
        table: R::TABLE,
        listen: server.listen,
        source,
    };
    let listener = TcpListener::bind(server.listen).map_err(refused)?;
    listener.set_nonblocking(true).map_err(refused)?;
    let listener = tokio::net::TcpListener::from_std(listener).map_err(refused)?;
    let (ask, questions) = mpsc::channel(CONNECTIONS);
    let gate = Arc::new(Gate::new(server, room(Asker(ask))));
    let task = tokio::spawn(accept(listener, gate));
    tracing::info!("{} at http://{}{}", R::WHAT, server.listen, R::ENTRY);
    Ok(Questions { questions, task })
}

async fn accept<R: Room>(listener: tokio::net::TcpListener, gate: Arc<Gate<R>>) {
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
                tracing::debug!("a reader could not be accepted: {error}");
                tokio::time::sleep(PAUSE).await;
                continue;
            }
        };
        let gate = Arc::clone(&gate);
        connections.spawn(async move {
            let served = tokio::time::timeout(EXCHANGE, exchange(stream, gate)).await;
            if let Ok(Err(error)) = served {
                tracing::debug!("a reader was not served: {error}");
            }
            drop(place);
        });
    }
}

/// One request and its answer: a connection is not kept.
async fn exchange<R: Room>(stream: tokio::net::TcpStream, gate: Arc<Gate<R>>) -> hyper::Result<()> {
    let service = service_fn(move |request: hyper::Request<hyper::body::Incoming>| {
        let gate = Arc::clone(&gate);
        let (head, _) = request.into_parts();
        async move { Ok::<_, std::convert::Infallible>(gate.answer(&head).await) }
    });
    http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(HEAD_BYTES)
        .keep_alive(false)
        .serve_connection(TokioIo::new(stream), service)
        .await
}
