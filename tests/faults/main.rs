//! The service among faults: kills, brokers, disks, clocks and sensors that misbehave, at the size that fits
//! a run of all tests. What must hold everywhere: what was counted is neither lost nor doubled, nobody is
//! told twice, memory stays bounded, the keeper is told, and the service goes on.
//!
//! `FAULTS_SEED` gives other kills, cuts and payloads than the usual ones; each test prints its seed.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "../support/receiver.rs"]
mod receiver;
#[allow(dead_code)]
#[path = "../service/site.rs"]
mod site;
#[path = "../support/mod.rs"]
mod support;

mod brokers;
mod chance;
mod clocks;
mod disk_notices;
mod disks;
mod floods;
mod kills;
mod malformed;
mod months;
mod preload;
mod proxy;
mod publisher;
mod rig;
