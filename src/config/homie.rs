//! Whether and where units are told by the Homie convention, version 5.

/// What is published by the Homie convention.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Homie {
    /// First level of its topics; never that of our own.
    pub domain: String,
    /// What the id of every unit's device begins with.
    pub instance: String,
    /// The id of the service's own device.
    pub service: String,
}

/// An id as Homie allows it: it knows no `_`.
#[must_use]
pub fn homie_id(id: &str) -> String {
    id.replace('_', "-")
}
