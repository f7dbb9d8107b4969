//! The commands that tell and help, as a user types them: what `check` finds suspicious, `status` beside a
//! running, killed and silent service, completions and the manual page held to programs that read them
//! (Bash, mandoc), colours on a real terminal's line.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "../support/mod.rs"]
mod support;

mod help;
mod site;
mod status;
mod suspicious;
