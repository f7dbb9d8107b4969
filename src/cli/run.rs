//! `permeated run`: the service in the foreground. SIGTERM or SIGINT ends it within two seconds,
//! with the state saved and `offline` published.

use std::{future::Future, process::ExitCode};

use tokio::signal::unix::{SignalKind, signal};

use super::{FAILED, complain};
use crate::{
    app::{App, AppError},
    config::Settings,
    edge::{clock::Clock, store::Store},
};

/// Why the service ended badly.
#[derive(Debug, thiserror::Error)]
enum RunError {
    #[error(transparent)]
    App(#[from] AppError),
    #[error("the service could not start: {0}")]
    Runtime(#[from] std::io::Error),
}

/// Runs the service until it is told to stop.
#[must_use]
pub fn run(settings: &Settings) -> ExitCode {
    match serve(settings) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("permeated: {error}"));
            FAILED.into()
        }
    }
}

fn serve(settings: &Settings) -> Result<(), RunError> {
    // Before the runtime, so that nothing is started that would have to be stopped.
    let (store, loaded) = Store::open(&settings.store.directory).map_err(AppError::from)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let ended = runtime.block_on(async {
        let stop = stop_signal()?;
        let units = settings.units.len();
        let broker = &settings.broker;
        tracing::info!(units, broker = %format!("{}:{}", broker.host, broker.port), "permeated {} starts", env!("CARGO_PKG_VERSION"));
        let app = App::new(settings, store, loaded, Clock::real())?;
        app.run(stop).await?;
        Ok(())
    });
    // Everything is written. A name server that does not answer must not hold up the end.
    runtime.shutdown_background();
    ended
}

/// Resolves when the service is told to stop.
pub(super) fn stop_signal() -> std::io::Result<impl Future<Output = ()>> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
    })
}
