//! `permeated run`: the service in the foreground. SIGTERM or SIGINT ends it within two seconds,
//! with the state saved and `offline` published. SIGHUP has it read its configuration anew: wrong, it
//! is told and nothing changes; right, the loop is left and entered again as by a restart, but that
//! nobody is told `offline`.

use std::{borrow::Cow, fs::File, future::Future, path::Path, process::ExitCode};

use tokio::signal::unix::{Signal, SignalKind, signal};

use super::{FAILED, complain};
use crate::{
    app::{App, AppError, Leave, Left},
    config::{Problems, Settings},
    edge::{
        clock::Clock,
        recording::{self, IfThere, Recording, RecordingError},
        store::{Loaded, Store},
        systemd::ServiceManager,
    },
};

/// Why the service ended badly.
#[derive(Debug, thiserror::Error)]
enum RunError {
    #[error(transparent)]
    App(#[from] AppError),
    #[error(transparent)]
    Capture(#[from] RecordingError),
    #[error("the service could not start: {0}")]
    Runtime(#[from] std::io::Error),
}

/// What the service is run with, from one reading of the configuration to the next.
struct Means<'a> {
    /// Reads the configuration anew.
    read: &'a dyn Fn() -> Result<Settings, Problems>,
    /// Where what it hears is written down.
    capture: Option<&'a Path>,
}

/// Runs the service until it is told to stop. `read` reads the configuration anew, when that is asked
/// for (SIGHUP); what is heard goes to the log `capture`, if there is one.
#[must_use]
pub fn run(
    settings: &Settings,
    read: &dyn Fn() -> Result<Settings, Problems>,
    capture: Option<&Path>,
) -> ExitCode {
    match serve(settings, &Means { read, capture }) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("permeated: {error}"));
            FAILED.into()
        }
    }
}

fn serve(settings: &Settings, means: &Means) -> Result<(), RunError> {
    // Before the runtime, so that nothing is started that would have to be stopped.
    let opened = Store::open(&settings.store.directory).map_err(AppError::from)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let ended = runtime.block_on(serve_on(settings, means, opened));
    // Everything is written. A name server that does not answer must not hold up the end.
    runtime.shutdown_background();
    ended
}

async fn serve_on(
    settings: &Settings,
    means: &Means<'_>,
    opened: (Store, Loaded),
) -> Result<(), RunError> {
    let mut signals = Signals::new()?;
    let mut settings = Cow::Borrowed(settings);
    tracing::info!("permeated {} starts", env!("CARGO_PKG_VERSION"));
    let mut app = start(&settings, opened, means.log()?)?.under(ServiceManager::of_environment());
    loop {
        let mut next = None;
        let told = signals.end(means.read, &settings, &mut next);
        let mut manager = match app.run(told).await? {
            Left::Gone(manager) => manager,
            Left::Stays(stays, problem) => {
                tracing::error!(
                    "the new configuration is not taken, for the state cannot be written ({problem}); going on with \
                     the old one: ask again when that is mended"
                );
                app = *stays;
                continue;
            }
        };
        let Some(new) = next else { return Ok(()) };
        manager.reloading();
        app = match means.open(&new) {
            Ok(app) => {
                settings = Cow::Owned(new);
                app
            }
            Err(error) => {
                tracing::error!(
                    "the new configuration cannot be used ({error}); going on with the old one"
                );
                means.open(&settings)?
            }
        }
        .under(manager);
    }
}

impl Means<'_> {
    /// Opens the service again. That its log cannot be opened again does not end it.
    fn open(&self, settings: &Settings) -> Result<App, RunError> {
        let opened = Store::open(&settings.store.directory).map_err(AppError::from)?;
        let log = self.log().unwrap_or_else(|error| {
            tracing::error!("what is heard is not written down any more: {error}");
            None
        });
        start(settings, opened, log)
    }

    fn log(&self) -> Result<Option<Recording<File>>, RecordingError> {
        let open = |path| recording::open(path, IfThere::Append);
        self.capture.map(open).transpose()
    }
}

fn start(
    settings: &Settings,
    (store, loaded): (Store, Loaded),
    log: Option<Recording<File>>,
) -> Result<App, RunError> {
    let units = settings.units.len();
    let broker = format!("{}:{}", settings.broker.host, settings.broker.port);
    tracing::info!(units, broker = %broker, "watching");
    Ok(App::new(settings, store, loaded, Clock::real(), log)?)
}

/// What tells the service to end or to read its configuration anew.
struct Signals {
    terminate: Signal,
    interrupt: Signal,
    hang_up: Signal,
}

impl Signals {
    fn new() -> std::io::Result<Self> {
        Ok(Self {
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            hang_up: signal(SignalKind::hangup())?,
        })
    }

    /// Resolves when the loop is to end; `next` then holds the settings to go on with, if it is to. What
    /// is wrong in the file is told, and changes nothing.
    async fn end(
        &mut self,
        read: &dyn Fn() -> Result<Settings, Problems>,
        settings: &Settings,
        next: &mut Option<Settings>,
    ) -> Leave {
        loop {
            tokio::select! {
                _ = self.terminate.recv() => return Leave::ForGood,
                _ = self.interrupt.recv() => return Leave::ForGood,
                _ = self.hang_up.recv() => {}
            }
            match read() {
                Ok(new) => {
                    tracing::info!("the configuration was read anew");
                    let leave = Leave::for_settings(settings, &new);
                    *next = Some(new);
                    return leave;
                }
                Err(problems) => {
                    tracing::error!("the configuration was read anew, but not taken:\n{problems}");
                }
            }
        }
    }
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
