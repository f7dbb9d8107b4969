//! Topics and payloads, pure: bytes → readings, outputs → messages.

mod answer;
pub mod command;
pub mod csv;
pub mod document;
mod due;
mod fields;
mod hold_test;
pub mod homie;
pub mod hub;
pub mod log;
pub mod notice;
pub mod openmetrics;
pub mod payload;
pub mod recorded;
mod state;

pub use fields::Text;

/// A message to the broker.
#[derive(Clone, Debug, PartialEq)]
pub struct Outgoing {
    /// Full topic, prefix included.
    pub topic: String,
    /// Text of the message; empty and retained removes a retained message.
    pub payload: String,
    /// Retained messages are states (the newest per topic counts); the others are events (each counts).
    pub retain: bool,
}
