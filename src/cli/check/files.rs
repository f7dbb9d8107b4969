//! Whether the files that a configuration names (certificates, keys, passwords) are of use to whoever checks it.

use crate::{
    config::Settings,
    edge::{mqtt, notify::Courier},
};

/// What is wrong with them, a sentence each. What systemd hands over is there only while the service runs.
pub(super) fn doubts(settings: &Settings) -> Vec<String> {
    let broker = mqtt::look_at_files(&settings.broker).err();
    let targets = settings.notify.iter();
    let targets = targets.filter_map(|target| Courier::new(target).err());
    broker
        .map(|error| error.to_string())
        .into_iter()
        .chain(targets.map(|error| error.to_string()))
        .map(|doubt| {
            if doubt.contains("/run/credentials/") {
                format!("{doubt} (systemd hands it over when the service starts)")
            } else {
                doubt
            }
        })
        .collect()
}
