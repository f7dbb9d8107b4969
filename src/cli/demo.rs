//! `permeated demo`: a broker of its own on a loopback port, a simulated unit that publishes what
//! cheap firmware would, and the real service that hears it, on top of months that were played in
//! before. What is shown comes back from the broker, as any other client would see it.

mod folder;
mod introduction;
pub mod past;
mod progress;
mod view;

use std::{
    collections::BTreeMap,
    io,
    net::{Ipv4Addr, SocketAddr, TcpListener},
    path::{Path, PathBuf},
    process::ExitCode,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    time::Duration,
};

use clap::Args;

use self::{
    folder::{Begun, FolderError},
    introduction::Introduction,
    past::{PastError, Played},
    progress::Progress,
};
use super::{FAILED, complain, run::stop_signal};
use crate::{
    app::{App, AppError},
    config::{self, Settings},
    edge::{
        clock::{Clock, system_time},
        demo_broker::{DemoBroker, DemoBrokerError},
        demo_feed::{self, DemoFeedError},
        mqtt::MqttError,
        store::Store,
    },
    simulation::{Household, Outlets, household_configuration},
};

/// What may be typed behind `demo`.
#[derive(Clone, Debug, Args)]
pub struct DemoArguments {
    /// Months of the past that it opens with, 0 to 9; 0 begins with a new unit
    #[arg(long, default_value_t = 9, value_parser = clap::value_parser!(u8).range(0..=9))]
    months: u8,
    /// Port of the broker on this machine's loopback address; 0 takes a free one
    #[arg(long, default_value_t = 0)]
    port: u16,
    /// Simulated seconds in a real one, 1 to 600
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u16).range(1..=600))]
    speed: u16,
    /// End after this many real seconds
    #[arg(long, value_name = "SECONDS")]
    seconds: Option<u64>,
    /// Seed of everything random about the simulated unit
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Keep state and configuration in this folder instead of a temporary one, and go on from there the
    /// next time
    #[arg(long, value_name = "FOLDER")]
    keep: Option<PathBuf>,
}

#[derive(Debug, thiserror::Error)]
enum DemoError {
    #[error(transparent)]
    App(#[from] AppError),
    #[error(transparent)]
    Broker(#[from] DemoBrokerError),
    #[error("the demo's own configuration is wrong:\n{0}")]
    Configuration(#[from] config::Problems),
    #[error(transparent)]
    Feed(#[from] DemoFeedError),
    #[error(transparent)]
    Folder(#[from] FolderError),
    #[error(transparent)]
    Mqtt(#[from] MqttError),
    #[error(transparent)]
    Past(#[from] PastError),
    #[error("the thread that played the past ended unexpectedly")]
    PastLost,
    #[error("the demo could not start: {0}")]
    Runtime(#[from] io::Error),
}

/// Runs the demo until it is told to stop.
#[must_use]
pub fn run(arguments: DemoArguments) -> ExitCode {
    let folder = arguments.keep.clone().unwrap_or_else(|| {
        std::env::temp_dir().join(format!("permeated-demo-{}", std::process::id()))
    });
    let shown = show(&arguments, &folder);
    if arguments.keep.is_none() {
        // A temporary folder that is already gone needs no removing.
        let _ = std::fs::remove_dir_all(&folder);
    }
    match shown {
        Ok(()) | Err(DemoError::Past(PastError::BrokenOff)) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("permeated: {error}"));
            FAILED.into()
        }
    }
}

fn show(arguments: &DemoArguments, folder: &Path) -> Result<(), DemoError> {
    let begun = Begun::find_or_begin(folder, arguments.seed, arguments.months, system_time())?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    runtime.block_on(async {
        let stop = stop_signal()?;
        let broker = DemoBroker::start(arguments.port).await?;
        let ended = open(arguments, folder, begun, broker.address(), stop).await;
        broker.stop().await?;
        ended
    })
}

/// Plays the past in where there is none yet, then goes on live.
async fn open(
    arguments: &DemoArguments,
    folder: &Path,
    mut begun: Begun,
    broker: SocketAddr,
    stop: impl Future<Output = ()>,
) -> Result<(), DemoError> {
    tokio::pin!(stop);
    let [page, metrics] = free_addresses()?.map(Some);
    let outlets = Outlets { page, metrics };
    let url = format!("mqtt://{broker}");
    let text = household_configuration(&url, &folder::state(folder), outlets, begun.first_day());
    let file = folder::write_configuration(folder, &text)?;
    let settings = config::from_text(&file, &text, &BTreeMap::new(), None)?;
    let (household, played) = match begun.household(system_time()) {
        Some(household) => (household, None),
        None => {
            let (household, played) = open_past(&settings, &begun, &mut stop)
                .await
                .inspect_err(|_| folder::forget(folder))?;
            begun.keep(folder, &household.unit)?;
            (household, Some(played))
        }
    };
    Introduction {
        broker,
        outlets,
        speed: arguments.speed,
        file: &file,
        begun: &begun,
        played: played.as_ref(),
    }
    .print();
    let clock = Clock::fast(f64::from(arguments.speed), begun.now());
    go_live(
        arguments,
        &settings,
        (clock, broker),
        household,
        stop,
        |unit| Ok(begun.keep(folder, unit)?),
    )
    .await
}

/// Two addresses of this machine alone on which nobody listens.
fn free_addresses() -> io::Result<[SocketAddr; 2]> {
    // Both are taken before either is given back, or they might be the same.
    let any = (Ipv4Addr::LOCALHOST, 0);
    let (one, other) = (TcpListener::bind(any)?, TcpListener::bind(any)?);
    Ok([one.local_addr()?, other.local_addr()?])
}

/// Plays the past on a thread of its own, so that it can be broken off.
async fn open_past(
    settings: &Settings,
    begun: &Begun,
    stop: &mut (impl Future<Output = ()> + Unpin),
) -> Result<(Household, Played), DemoError> {
    let broken_off = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&broken_off);
    let settings = settings.clone();
    let mut household = begun.new_household();
    let (began, days) = (begun.began(), begun.days());
    let mut progress = Progress::begin(began, days);
    let playing = tokio::task::spawn_blocking(move || {
        let directory = settings.store.directory.clone();
        let played = past::play(
            &settings,
            &directory,
            &mut household,
            (began, days),
            |day| {
                progress.reach(day);
                !asked.load(Ordering::Relaxed)
            },
        )?;
        Ok::<_, PastError>((household, played))
    });
    tokio::pin!(playing);
    let ended = tokio::select! {
        ended = &mut playing => ended,
        () = stop => {
            broken_off.store(true, Ordering::Relaxed);
            // What it says now is of no account.
            let _ = playing.await;
            return Err(PastError::BrokenOff.into());
        }
    };
    Ok(ended.map_err(|_| DemoError::PastLost)??)
}

/// Runs service, simulated unit and view side by side until `stop` or the time is up; `keep` is given
/// the unit as it is then.
async fn go_live(
    arguments: &DemoArguments,
    settings: &Settings,
    (clock, address): (Clock, SocketAddr),
    household: Household,
    stop: impl Future<Output = ()>,
    keep: impl FnOnce(&crate::simulation::DemoUnit) -> Result<(), DemoError>,
) -> Result<(), DemoError> {
    let speed = f64::from(arguments.speed);
    let (store, loaded) = Store::open(&settings.store.directory).map_err(AppError::from)?;
    let app = App::new(settings, store, loaded, clock, None)?;
    let view = view::View::open(settings)?;

    // One signal, three listeners.
    let (stopper, stopped) = tokio::sync::watch::channel(false);
    let told = |mut stopped: tokio::sync::watch::Receiver<bool>| async move {
        // A stopper that is gone has stopped.
        let _ = stopped.wait_for(|stop| *stop).await;
    };
    let feed = demo_feed::feed(address, household.unit, speed, told(stopped.clone()));
    let time_is_up = async {
        match arguments.seconds {
            Some(seconds) => tokio::time::sleep(Duration::from_secs(seconds)).await,
            None => std::future::pending().await,
        }
    };
    let until = async {
        tokio::select! {
            () = stop => {}
            () = time_is_up => {}
        }
        let _ = stopper.send(true);
    };
    let service = app.run(told(stopped.clone()));
    let watching = view.show(told(stopped));
    let (served, fed, (), ()) = tokio::join!(service, feed, watching, until);
    keep(&fed?)?;
    served?;
    Ok(())
}
