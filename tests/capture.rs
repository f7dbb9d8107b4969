//! What was heard and what was said of it: a log that the service writes replays to what the service
//! published, byte for byte; `permeated capture` hears what the service hears, loses nothing unsaid and
//! leaves nothing at the broker; a log can be played to a broker.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[allow(dead_code)]
#[path = "service/site.rs"]
mod site;
mod support;

#[path = "capture/in_process.rs"]
mod in_process;
#[path = "capture/played.rs"]
mod played;
#[path = "capture/program.rs"]
mod program;
#[path = "capture/recorder.rs"]
mod recorder;
#[path = "capture/service.rs"]
mod service;
