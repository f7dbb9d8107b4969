//! Whether and where units are told by the Homie convention, version 5.

/// What is published by the Homie convention.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Homie {
    /// First level of its topics; never that of our own.
    pub domain: String,
    /// The id of the service's own device, which every unit's begins with.
    pub instance: String,
}

/// An id as Homie allows it: it knows no `_`.
#[must_use]
pub fn homie_id(id: &str) -> String {
    id.replace('_', "-")
}
