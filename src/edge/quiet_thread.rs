//! A thread of its own, with its own runtime and without a log, for the parts of the demonstration
//! that must neither slow the service's loop nor fill its log.

use std::{future::Future, io};

use tokio::sync::oneshot;
use tracing::subscriber::{NoSubscriber, with_default};

/// Runs `work` to its end on a new thread; what it returns arrives in the receiver (which fails if
/// the thread panicked).
///
/// # Errors
/// When the system gives no thread or no runtime.
pub(super) fn run<Work, Output>(name: &str, work: Work) -> io::Result<oneshot::Receiver<Output>>
where
    Work: Future<Output = Output> + Send + 'static,
    Output: Send + 'static,
{
    let (sender, receiver) = oneshot::channel();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    std::thread::Builder::new()
        .name(name.to_owned())
        .spawn(move || {
            let output = with_default(NoSubscriber::default(), || runtime.block_on(work));
            // Tasks that were left behind end before the result is told.
            drop(runtime);
            // Nobody may be waiting any more; then nobody needs the result.
            let _ = sender.send(output);
        })?;
    Ok(receiver)
}
