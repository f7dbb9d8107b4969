//! Our name at the broker: the same at every start of one machine and prefix, different elsewhere,
//! for the broker keeps a session under it and throws out the older of two clients with one name.

use std::{
    fs,
    hash::{BuildHasher, RandomState},
    time::Instant,
};

use crate::{config::Publish, digest::digest};

/// A name made of the prefix and a digest of the machine's identity (`/etc/machine-id`; without one,
/// the host name): 23 letters, digits and `-` at most, which every broker must take
/// (MQTT 3.1.1, 3.1.3.1, except for the dash, which all known ones take). An instance is the same
/// wherever it runs: who takes up its state elsewhere finds what the broker kept for it, and of two that
/// run by mistake the broker throws one out.
#[must_use]
pub fn default_client_id(publish: &Publish) -> String {
    of_part(publish, "")
}

/// As [`default_client_id`], for the session of the Homie convention.
#[must_use]
pub fn default_homie_client_id(publish: &Publish) -> String {
    of_part(publish, "/homie")
}

fn of_part(publish: &Publish, part: &str) -> String {
    let identity = publish.instance.as_ref().map_or_else(
        machine_identity,
        // No machine is called so.
        |instance| format!("/{instance}"),
    );
    from_identity(&format!("{}{part}", publish.prefix), &identity)
}

/// A name for a session that is soon over, another each time: 22 letters, every broker takes 23.
pub(super) fn passing_client_id() -> String {
    let id = RandomState::new().hash_one(Instant::now()) >> 16;
    format!("permeated-{id:012x}")
}

/// The first of these files that says anything.
fn machine_identity() -> String {
    [
        "/etc/machine-id",
        "/var/lib/dbus/machine-id",
        "/etc/hostname",
        "/proc/sys/kernel/hostname",
    ]
    .into_iter()
    .filter_map(|path| fs::read_to_string(path).ok())
    .map(|text| text.trim().to_owned())
    .find(|text| !text.is_empty() && text != "uninitialized")
    .unwrap_or_default()
}

fn from_identity(prefix: &str, identity: &str) -> String {
    let name: String = (prefix.chars())
        .filter(char::is_ascii_alphanumeric)
        .take(10)
        .collect();
    let digest = digest(&[prefix.as_bytes(), b"\0", identity.as_bytes()].concat());
    format!("{name}-{:012x}", digest >> 16)
}

#[cfg(test)]
mod tests {
    use std::{collections::BTreeSet, time::Duration};

    use super::*;

    #[test]
    fn the_digest_is_the_published_one() {
        // Test vectors of the FNV authors (draft-eastlake-fnv, appendix C), from memory.
        assert_eq!(digest(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(digest(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(digest(b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn ids_are_short_stable_and_differ_by_machine_and_prefix() {
        let id = from_identity("permeated", "0123456789abcdef0123456789abcdef");
        assert_eq!(
            id,
            from_identity("permeated", "0123456789abcdef0123456789abcdef")
        );
        assert!(id.starts_with("permeated-") && id.len() <= 23, "{id}");
        assert_ne!(id, from_identity("permeated", "another"));
        let nested = from_identity("home/water/permeated", "another");
        assert!(nested.len() <= 23 && !nested.contains('/'), "{nested}");
        assert_ne!(nested, from_identity("home/water/permeatec", "another"));
    }

    #[test]
    fn an_instance_is_called_the_same_on_every_machine_and_apart_from_all_others() {
        let publish = |instance: Option<&str>| Publish {
            prefix: "permeated".to_owned(),
            instance: instance.map(str::to_owned),
            interval: Duration::ZERO,
            heartbeat: Duration::ZERO,
        };
        let all = [None, Some("east"), Some("west"), Some("homie")].map(publish);
        let of = |publish| [default_client_id(publish), default_homie_client_id(publish)];
        let names: BTreeSet<String> = all.iter().flat_map(of).collect();
        assert_eq!(names.len(), 8, "{names:?}");
        assert_eq!(
            default_client_id(&all[1]),
            from_identity("permeated", "/east"),
            "nothing of the machine is in it"
        );
    }
}
