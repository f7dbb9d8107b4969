//! The `permeated` command.
fn main() {}
