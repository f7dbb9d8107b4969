//! `permeated demo`: a broker of its own on a loopback port, a simulated unit that publishes what
//! cheap firmware would, and the real service that hears it. What is shown comes back from the
//! broker, as any other client would see it.

mod view;

use std::{
    collections::BTreeMap,
    io::{self, Write as _},
    net::SocketAddr,
    path::{Path, PathBuf},
    process::ExitCode,
    time::Duration,
};

use clap::Args;

use super::{FAILED, complain, run::stop_signal};
use crate::{
    app::{App, AppError},
    config::{self, Settings},
    core::alert,
    edge::{
        clock::Clock,
        demo_broker::{DemoBroker, DemoBrokerError},
        demo_feed::{self, DemoFeedError},
        mqtt::MqttError,
        store::Store,
    },
    simulation::{DemoUnit, demo_configuration},
};

/// What may be typed behind `demo`.
#[derive(Clone, Debug, Args)]
pub struct DemoArguments {
    /// Port of the broker on this machine's loopback address; 0 takes a free one
    #[arg(long, default_value_t = 0)]
    port: u16,
    /// Simulated seconds in a real one, 1 to 600
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u16).range(1..=600))]
    speed: u16,
    /// End after this many real seconds
    #[arg(long, value_name = "SECONDS")]
    seconds: Option<u64>,
    /// Seed of the simulated sensors' noise
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Keep state and configuration in this folder instead of a temporary one
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
    #[error("the demo's folder {folder}: {source}")]
    Folder { folder: String, source: io::Error },
    #[error(transparent)]
    Mqtt(#[from] MqttError),
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
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("permeated: {error}"));
            FAILED.into()
        }
    }
}

fn show(arguments: &DemoArguments, folder: &Path) -> Result<(), DemoError> {
    let in_folder = |source| DemoError::Folder {
        folder: folder.display().to_string(),
        source,
    };
    std::fs::create_dir_all(folder).map_err(in_folder)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    runtime.block_on(async {
        let stop = stop_signal()?;
        let broker = DemoBroker::start(arguments.port).await?;
        let address = broker.address();
        let text = demo_configuration(&format!("mqtt://{address}"), &folder.join("state"));
        let file = folder.join("permeated.toml");
        std::fs::write(&file, &text).map_err(in_folder)?;
        let name = file.display().to_string();
        let settings = config::from_text(&name, &text, &BTreeMap::new(), None)?;
        introduce(address, arguments.speed, &name);
        let ended = play(arguments, &settings, address, stop).await;
        broker.stop().await?;
        ended
    })
}

/// Runs service, simulated unit and view side by side until `stop` or the time is up.
async fn play(
    arguments: &DemoArguments,
    settings: &Settings,
    address: SocketAddr,
    stop: impl Future<Output = ()>,
) -> Result<(), DemoError> {
    let speed = f64::from(arguments.speed);
    let (store, loaded) = Store::open(&settings.store.directory).map_err(AppError::from)?;
    let clock = Clock::fast(speed);
    let app = App::new(settings, store, loaded, clock, None)?;
    let start = jiff::Timestamp::from_millisecond(clock.now().wall.0)
        .map_or(jiff::civil::DateTime::MIN, |time| {
            jiff::tz::TimeZone::UTC.to_datetime(time)
        });
    let unit = DemoUnit::new(arguments.seed, start);
    let view = view::View::open(settings)?;

    // One signal, three listeners.
    let (stopper, stopped) = tokio::sync::watch::channel(false);
    let told = |mut stopped: tokio::sync::watch::Receiver<bool>| async move {
        // A stopper that is gone has stopped.
        let _ = stopped.wait_for(|stop| *stop).await;
    };
    let feed = demo_feed::feed(address, unit, speed, told(stopped.clone()));
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
    fed?;
    served?;
    Ok(())
}

fn introduce(address: SocketAddr, speed: u16, file: &str) {
    let port = address.port();
    let text = format!(
        "A simulated RO/DI unit, watched by the real service. Everything you see is invented.

  broker           {address} (MQTT 3.1.1 and 5, this machine only)
  simulated time   {speed} times as fast as real time
  configuration    {file}

Watch it from another terminal with any MQTT client:

  mosquitto_sub -h 127.0.0.1 -p {port} -v -t 'permeated/#'            what is computed
  mosquitto_sub -h 127.0.0.1 -p {port} -v -t 'demo/#'                 what the sensors send
  mosquitto_sub -h 127.0.0.1 -p {port} -v -t 'permeated/basement/value/#'

Tell it something, and see the answer on permeated/basement/event:

  mosquitto_pub -h 127.0.0.1 -p {port} -t permeated/basement/do/stage/sediment/replaced -n

{}
Ctrl-C ends it.
",
        alert::CAUTION
    );
    // Without a reader there is nobody to introduce anything to.
    let _ = writeln!(io::stdout(), "{text}");
}
