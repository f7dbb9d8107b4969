//! The contacts with the world, one file or folder each. Only they do I/O; they decide nothing.

pub mod clock;
#[cfg(feature = "demo-broker")]
pub mod demo_broker;
#[cfg(feature = "demo-broker")]
pub mod demo_feed;
pub mod http;
pub mod machine;
pub mod mqtt;
pub mod notify;
#[cfg(feature = "demo-broker")]
mod quiet_thread;
pub mod recording;
pub mod store;
pub mod systemd;
pub mod trust;
