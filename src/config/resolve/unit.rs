//! `[unit.*]` and `[unit.*.run]`: one RO/DI unit.

use std::sync::Arc;

use super::{
    super::{
        defaults,
        field::{Field, id_problem},
        ranges,
        reader::Reader,
        sensor::{Point, SensorSettings},
        settings::{Membrane, RunSettings, Storage, Supply},
        topic::Topic,
        unit::{CommonSettings, UnitSettings},
    },
    Context, alert, chemistry, costs, hold_test,
    ids::{self, Named},
    sensor, stage, supply,
};
use crate::quantity::{Flow, TdsScale, Volume};

pub(super) const KEYS: &[&str] = &[
    "ids",
    "ids_from",
    "name",
    "suggested_area",
    "tds_scale",
    "order_ahead",
    "supply",
    "membrane",
    "storage",
    "run",
    "costs",
    "hold_test",
    "stage",
    "sensor",
    "alert",
];
pub(super) const RUN_KEYS: &[&str] = &[
    "start_flow",
    "start_pressure",
    "stop_after",
    "settle_volume",
    "settle_time",
    "flush_expected",
];

/// The units of a table: one that is called as it is, or those of a template.
pub(super) fn units(table: &str, field: &Field<'_>, context: &Context<'_>) -> Vec<UnitSettings> {
    let Some(reader) = Reader::open(field, KEYS) else {
        return Vec::new();
    };
    let listed = ids::of_template(&reader, context);
    let is_template = listed.is_some();
    let problem = id_problem(table).or_else(|| reserved(table).filter(|_| !is_template));
    if let Some(sentence) = problem {
        field.report.wrong(&field.node.key, &field.path, sentence);
    }
    ids::check_places(field, is_template);
    let common = Arc::new(common(table, is_template, &reader, context));
    let text = |key: &str| reader.field(key).and_then(|field| field.text());
    let (name, area) = (text("name"), text("suggested_area"));
    let one = |named: Named| UnitSettings {
        name: named.name.unwrap_or_else(|| {
            name.map_or_else(|| named.id.clone(), |name| filled(name, &named.id))
        }),
        suggested_area: area.map(|area| filled(area, &named.id)),
        common: Arc::clone(&common),
        id: named.id,
    };
    let alone = || {
        let id = table.to_owned();
        vec![Named { id, name: None }]
    };
    let units: Vec<_> = listed.unwrap_or_else(alone).into_iter().map(one).collect();
    keep_off_our_own(&units, &reader, context.prefix);
    units
}

fn filled(text: &str, id: &str) -> String {
    text.replace(Topic::UNIT, id)
}

/// An id may make of a topic one of ours.
fn keep_off_our_own(units: &[UnitSettings], reader: &Reader<'_>, prefix: &str) {
    let own = format!("{prefix}/");
    let own_topic = |unit: &UnitSettings| {
        let topics = unit.sensors.iter().flat_map(SensorSettings::topics);
        let mut topics = topics.map(|topic| topic.of(&unit.id));
        topics
            .find(|topic| *topic == prefix || topic.starts_with(&own))
            .map(|topic| topic.into_owned())
    };
    // Without a template every topic was looked at as it stands.
    let templates = units.iter().filter(|unit| unit.is_template);
    if let Some((unit, topic)) = templates
        .filter_map(|unit| own_topic(unit).map(|topic| (unit, topic)))
        .next()
    {
        reader.wrong(format!(
            "the unit {:?} would hear {topic:?}, which lies under {prefix:?}, where our own results \
             are published; choose another topic or another publish.prefix",
            unit.id
        ));
    }
}

fn common(
    table: &str,
    is_template: bool,
    reader: &Reader<'_>,
    context: &Context<'_>,
) -> CommonSettings {
    let scale = reader
        .field("tds_scale")
        .and_then(|field| tds_scale(&field))
        .unwrap_or(TdsScale::NACL);
    let membrane = reader
        .table("membrane", supply::MEMBRANE_KEYS)
        .and_then(|table| supply::membrane(&table));
    let stages = stage::stages(reader);
    let sensors = sensor::sensors(reader, &stages, scale, context);
    let supply = reader
        .table("supply", supply::SUPPLY_KEYS)
        .map_or_else(Supply::default, |table| supply::supply(&table, scale));
    chemistry::carbon_needs_a_level(reader, &stages, &supply.chemistry);
    CommonSettings {
        table: table.to_owned(),
        is_template,
        time_zone: context.time_zone.clone(),
        display: context.display,
        takes_commands: context.takes_commands,
        notices: context.notices,
        tds_scale: scale,
        storage: reader
            .table("storage", supply::STORAGE_KEYS)
            .map_or(Storage::Unstated, |table| supply::storage(&table)),
        run: run(
            reader.table("run", RUN_KEYS).as_ref(),
            membrane.as_ref(),
            &sensors,
        ),
        costs: costs::costs(reader, &stages),
        hold_test: hold_test::hold_test(reader.table("hold_test", hold_test::KEYS).as_ref()),
        membrane,
        stages,
        sensors,
        alerts: alert::alerts(
            reader.field("alert").as_ref(),
            scale,
            supply.waste_ratio,
            supply.chemistry.disinfectant,
        ),
        supply,
        order_ahead: reader
            .field("order_ahead")
            .and_then(|field| field.duration_in(defaults::ORDER_AHEAD_RANGE))
            .unwrap_or(defaults::ORDER_AHEAD),
    }
}

/// The service tells whether it is there on `<prefix>/status`.
pub(super) fn reserved(id: &str) -> Option<String> {
    (id == "status").then(|| {
        "a unit cannot be called \"status\": the service itself publishes under that name"
            .to_owned()
    })
}

/// mg/L per µS/cm.
pub(super) fn tds_scale(field: &Field<'_>) -> Option<TdsScale> {
    let factor = field.number()?;
    let scale = TdsScale::new(factor);
    if scale.is_none() {
        field.wrong(format!(
            "{factor} is no scale of a TDS meter; allowed is 0.3 to 1 mg/L per uS/cm (0.5 for \
             most, 0.7 for the \"442\" scale)"
        ));
    }
    scale
}

fn run(
    reader: Option<&Reader<'_>>,
    membrane: Option<&Membrane>,
    sensors: &[SensorSettings],
) -> RunSettings {
    let field = |key| reader.and_then(|reader| reader.field(key));
    let start_flow = membrane.map_or_else(
        || Flow::from_l_per_min(defaults::START_L_PER_MIN),
        |membrane| membrane.flow * defaults::START_SHARE_OF_RATED,
    );
    RunSettings {
        start_flow: field("start_flow")
            .and_then(|field| field.quantity_in(ranges::start_flow_range()))
            .unwrap_or(start_flow),
        start_pressure: field("start_pressure")
            .and_then(|field| field.quantity_in(ranges::pressure_range())),
        stop_after: field("stop_after")
            .and_then(|field| field.duration_in(defaults::STOP_AFTER_RANGE))
            .unwrap_or(defaults::STOP_AFTER),
        settle_volume: field("settle_volume")
            .and_then(|field| field.quantity_in(ranges::settle_range()))
            .unwrap_or_else(|| Volume::from_litres(defaults::SETTLE_LITRES)),
        settle_time: field("settle_time")
            .and_then(|field| field.duration_in(defaults::SETTLE_TIME_RANGE))
            .unwrap_or(defaults::SETTLE_TIME),
        flush_expected: field("flush_expected").map_or_else(
            || sits_at(sensors, &[Point::FlushValve]),
            |field| flush_expected(&field, sensors),
        ),
    }
}

/// A flush that nothing can show would be missed for ever.
fn flush_expected(field: &Field<'_>, sensors: &[SensorSettings]) -> bool {
    let tellers = [Point::FlushValve, Point::ConcentrateFlow, Point::FeedFlow];
    let expected = field.flag() == Some(true);
    if expected && !sits_at(sensors, &tellers) {
        field.wrong(
            "a flush is expected but nothing would show one: it needs a flush_valve, \
             concentrate_flow or feed_flow sensor",
        );
    }
    expected
}

fn sits_at(sensors: &[SensorSettings], points: &[Point]) -> bool {
    sensors.iter().any(|sensor| points.contains(&sensor.at))
}
