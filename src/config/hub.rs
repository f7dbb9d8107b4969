//! How hubs are told what there is: discovery messages.

/// The form of the discovery messages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Discovery {
    /// One message for each device, with all its components.
    Device,
    /// One message for each component: every consumer knows this one.
    Components,
    /// None.
    Off,
}

/// The discovery messages that most hubs read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hub {
    /// Their form.
    pub discovery: Discovery,
    /// First level(s) of their topics; never that of our own.
    pub prefix: String,
    /// Where the hub says that it has started …
    pub birth_topic: String,
    /// … and the word it says then.
    pub birth_payload: String,
    /// Lower-case letters, digits, `_` and `-`: tells two installations on one broker apart. Part of
    /// every unique id, so that changing it costs the hub its history.
    pub instance: String,
    /// The same for the service's own device: every process has one, while a unit's ids stay as they are
    /// whichever process has it.
    pub service: String,
}
