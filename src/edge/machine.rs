//! What this machine is called.

/// The host name as the kernel has it, in lower case; `None` when it has none.
#[must_use]
pub fn host_name() -> Option<String> {
    let system = rustix::system::uname();
    let name = system.nodename().to_str().ok()?;
    (!name.is_empty() && name != "(none)").then(|| name.to_ascii_lowercase())
}
