//! `[hub]`: how hubs are told what there is.

use super::{
    super::{
        defaults,
        field::{Field, LONGEST_ID},
        hub::{Discovery, Hub},
        reader::Reader,
        settings::Publish,
    },
    topic,
};

pub(super) const HUB_KEYS: &[&str] = &[
    "discovery",
    "prefix",
    "birth_topic",
    "birth_payload",
    "instance",
];

pub(super) fn hub(reader: Option<&Reader<'_>>, publish: &Publish) -> Hub {
    let own_prefix = publish.prefix.as_str();
    let field = |key| reader.and_then(|reader| reader.field(key));
    let discovery = field("discovery").and_then(|field| {
        let names = [
            ("device", Discovery::Device),
            ("components", Discovery::Components),
            ("off", Discovery::Off),
        ];
        field.one_of("form of discovery", &names)
    });
    let prefix = field("prefix")
        .and_then(|field| foreign(&field, own_prefix))
        .unwrap_or_else(|| defaults::HUB_PREFIX.to_owned());
    let birth_topic = field("birth_topic").and_then(|field| topic::topic(&field, own_prefix));
    let text = |key| field(key).and_then(|field| field.text().map(str::to_owned));
    let instance = field("instance")
        .and_then(|field| field.id().map(str::to_owned))
        .unwrap_or_else(|| instance(own_prefix));
    Hub {
        discovery: discovery.unwrap_or(Discovery::Device),
        birth_topic: birth_topic.map_or_else(
            || format!("{prefix}/status"),
            |topic| topic.as_written().to_owned(),
        ),
        birth_payload: text("birth_payload").unwrap_or_else(|| defaults::BIRTH.to_owned()),
        // With a dash, for behind a _ stands a unit.
        service: publish.instance.as_ref().map_or_else(
            || instance.clone(),
            |process| format!("{instance}-{process}"),
        ),
        instance,
        prefix,
    }
}

/// A prefix that is not our own: under that one stand units.
fn foreign(field: &Field<'_>, own_prefix: &str) -> Option<String> {
    let prefix = topic::prefix(field)?;
    if prefix == own_prefix || prefix.starts_with(&format!("{own_prefix}/")) {
        field.wrong(format!(
            "{prefix:?} is publish.prefix or lies under it, where our own results are published; the \
             hub looks for its messages under a prefix of its own"
        ));
        return None;
    }
    Some(prefix.to_owned())
}

/// The publish prefix, as far as an id can hold it.
fn instance(prefix: &str) -> String {
    let fit = |c: char| match c.to_ascii_lowercase() {
        c if c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' => c,
        _ => '_',
    };
    prefix.chars().map(fit).take(LONGEST_ID).collect()
}
