//! `[homie]`: whether units are told by that convention, and whether their ids fit it.

use std::collections::BTreeMap;

use super::{
    super::{
        defaults,
        field::Field,
        homie::{Homie, homie_id},
        reader::Reader,
        settings::Publish,
        unit::UnitSettings,
    },
    topic,
};

pub(super) const KEYS: &[&str] = &["enabled", "domain"];

/// What is published, if that is switched on. `instance` is `hub.instance`.
pub(super) fn homie(
    reader: Option<&Reader<'_>>,
    publish: &Publish,
    instance: &str,
    units: &[UnitSettings],
) -> Option<Homie> {
    let reader = reader?;
    let domain = reader
        .field("domain")
        .and_then(|field| domain(&field, &publish.prefix));
    let enabled = reader.field("enabled")?;
    if !enabled.flag()? {
        return None;
    }
    let mut problems = id_problems(instance, units);
    look(
        "publish.instance",
        publish.instance.as_deref(),
        &mut problems,
    );
    for problem in problems {
        enabled.wrong(problem);
    }
    let instance = homie_id(instance);
    Some(Homie {
        domain: domain.unwrap_or_else(|| defaults::HOMIE_DOMAIN.to_owned()),
        // No unit's id begins with a dash.
        service: publish.instance.as_ref().map_or_else(
            || instance.clone(),
            |process| format!("{instance}--{}", homie_id(process)),
        ),
        instance,
    })
}

/// One level: controllers look for `+/5/+/$state`.
fn domain(field: &Field<'_>, own_prefix: &str) -> Option<String> {
    let text = topic::prefix(field)?;
    let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if !text.chars().all(allowed) || text.starts_with('-') || text.ends_with('-') {
        field.wrong(format!(
            "{text:?} is no Homie domain; it is one level of the characters a-z, 0-9 and -, which does \
             not begin or end with -"
        ));
        return None;
    }
    if own_prefix.split('/').next() == Some(text) {
        field.wrong(format!(
            "{text:?} begins publish.prefix, where our own results are published; Homie needs a level of \
             its own"
        ));
        return None;
    }
    Some(text.to_owned())
}

/// Ids that Homie does not allow, and those that it cannot tell apart.
fn id_problems(instance: &str, units: &[UnitSettings]) -> Vec<String> {
    let mut problems = Vec::new();
    look("hub.instance", [instance], &mut problems);
    look(
        "unit",
        units.iter().map(|unit| unit.id.as_str()),
        &mut problems,
    );
    for unit in units {
        let stages = unit.stages.iter().map(|stage| stage.id.as_str());
        look(&format!("stage of {:?}", unit.id), stages, &mut problems);
        let sensors = unit.sensors.iter().map(|sensor| sensor.id.as_str());
        look(&format!("sensor of {:?}", unit.id), sensors, &mut problems);
    }
    problems
}

fn look<'a>(what: &str, ids: impl IntoIterator<Item = &'a str>, problems: &mut Vec<String>) {
    let mut seen: BTreeMap<String, &str> = BTreeMap::new();
    for id in ids {
        let there = homie_id(id);
        if there.starts_with('-') || there.ends_with('-') {
            problems.push(format!(
                "the id {id:?} ({what}) begins or ends with _ or -, which Homie does not allow; choose \
                 another id"
            ));
        } else if let Some(other) = seen.insert(there.clone(), id) {
            problems.push(format!(
                "the ids {other:?} and {id:?} ({what}) are both {there:?} in Homie, which knows no _; \
                 choose another id for one of them"
            ));
        }
    }
}
