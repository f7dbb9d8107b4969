//! The README and the example configuration against the code: what is said must be so.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::{collections::BTreeMap, fs, path::Path};

use permeated::{
    config::{self, Point, Settings, StageKind},
    core::{EventKind, RunState, alert::Code},
    metrics::{Metric, StageMetric},
    time::{Mono, Now, Wall},
    wire::openmetrics::{self, Kind, Service, exposed, exposed_stage},
};

fn read(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

fn load(name: &str, text: &str) -> Settings {
    config::from_text(name, text, &BTreeMap::new(), None)
        .unwrap_or_else(|problems| panic!("{problems}"))
}

/// The first fenced block of `language` in a Markdown text.
fn block<'a>(text: &'a str, language: &str) -> &'a str {
    let (_, rest) = text
        .split_once(&format!("```{language}\n"))
        .expect("such a block");
    rest.split_once("```").expect("its end").0
}

fn assert_named(place: &str, text: &str, names: impl IntoIterator<Item = &'static str>) {
    let missing: Vec<&str> = names
        .into_iter()
        .filter(|name| !text.contains(&format!("`{name}`")))
        .collect();
    assert!(missing.is_empty(), "{place} does not name {missing:?}");
}

#[test]
fn the_first_configuration_of_the_readme_is_right() {
    let readme = read("README.md");
    let settings = load("README.md", block(&readme, "toml"));
    assert_eq!(settings.units.len(), 1);
    assert_eq!(settings.units[0].sensors.len(), 5);
}

#[test]
fn the_readme_names_everything_that_is_published() {
    let readme = read("README.md");
    assert_named(
        "README.md",
        &readme,
        Metric::ALL.iter().map(|metric| metric.description().name),
    );
    assert_named(
        "README.md",
        &readme,
        StageMetric::ALL
            .iter()
            .map(|metric| metric.description().name),
    );
    assert_named("README.md", &readme, Code::ALL.map(Code::key));
    assert_named("README.md", &readme, EventKind::ALL.map(EventKind::key));
    assert_named("README.md", &readme, Point::ALL.map(Point::key));
    let states = [
        RunState::Unknown,
        RunState::Standby,
        RunState::Settling,
        RunState::Producing,
        RunState::Flushing,
    ];
    assert_named("README.md", &readme, states.map(RunState::key));
}

/// What scrapers get besides the catalogue, whose names follow a rule that the README tells.
#[test]
fn the_readme_names_what_scrapers_get_besides() {
    let readme = read("README.md");
    let catalogue: Vec<String> = (Metric::ALL.iter().map(|metric| exposed(*metric)))
        .chain(StageMetric::ALL.iter().map(|metric| exposed_stage(*metric)))
        .map(|exposed| format!("permeated_{}", exposed.unwrap().name))
        .collect();
    let now = Now {
        mono: Mono(0),
        wall: Wall(1_795_600_800_000),
    };
    let service = Service {
        started: now.date(),
        ..Service::default()
    };
    let mut besides = 0;
    for family in openmetrics::families(std::iter::empty(), now, &service, &[]) {
        if !catalogue.contains(&family.name) {
            let name = match family.kind {
                Kind::Counter => format!("`{}_total`", family.name),
                Kind::Gauge => format!("`{}`", family.name),
                Kind::Info => format!("`{}_info`", family.name),
            };
            assert!(readme.contains(&name), "README.md does not name {name}");
            besides += 1;
        }
    }
    assert!(besides > 15, "{besides}");
}

#[test]
fn the_readme_tells_each_metric_as_the_catalogue_does() {
    let readme = read("README.md");
    let told = |description: &permeated::metrics::Description| {
        let unit = if description.unit.is_empty() {
            "–"
        } else {
            description.unit
        };
        format!(
            "| `{}` | {unit} | {} |",
            description.name, description.meaning
        )
    };
    let rows = Metric::ALL
        .iter()
        .map(|metric| told(metric.description()))
        .chain(
            StageMetric::ALL
                .iter()
                .map(|metric| told(metric.description())),
        );
    let missing: Vec<String> = rows.filter(|row| !readme.contains(row)).collect();
    assert!(
        missing.is_empty(),
        "rows the README lacks:\n{}",
        missing.join("\n")
    );
}

/// The README's table of alerts states the defaults in words; these are the figures in it.
#[test]
fn the_readme_states_the_default_limits() {
    let readme = read("README.md");
    let settings = load("README.md", block(&readme, "toml"));
    let alerts = &settings.units[0].alerts;
    let row = |code: Code| {
        let start = format!("| `{}` |", code.key());
        readme
            .lines()
            .find(|line| line.starts_with(&start))
            .unwrap_or_else(|| panic!("no row {start}"))
            .to_owned()
    };
    let minutes = |hold: std::time::Duration| format!("{} min", hold.as_secs() / 60);
    let scale = settings.units[0].tds_scale;
    let tds = |limit: config::Limit<permeated::quantity::Conductivity>| {
        format!(
            "above {:.0} mg/L for {}",
            scale.tds(limit.raise).mg_per_l(),
            minutes(limit.hold)
        )
    };
    assert!(row(Code::ProductTdsHigh).contains(&tds(alerts.product_tds_high.unwrap())));
    assert!(row(Code::PermeateTdsHigh).contains(&tds(alerts.permeate_tds_high.unwrap())));
    let rejection = alerts.rejection_low.unwrap();
    let text = format!(
        "below {:.0} % for {}",
        rejection.raise * 100.0,
        minutes(rejection.hold)
    );
    assert!(row(Code::RejectionLow).contains(&text), "{text}");
    let flow = alerts.normalized_flow_low.unwrap();
    let text = format!(
        "below {:.0} % of the element's own baseline",
        flow.raise * 100.0
    );
    let rated = format!(
        "({:.0} % of its rating",
        alerts.normalized_flow_low_of_rating * 100.0
    );
    let found = row(Code::NormalizedFlowLow);
    assert!(
        found.contains(&text) && found.contains(&rated) && found.contains(&minutes(flow.hold)),
        "{found}"
    );
    let low = alerts.feed_pressure_low.unwrap();
    let text = format!("below {:.0} psi for {}", low.raise.psi(), minutes(low.hold));
    assert!(row(Code::FeedPressureLow).contains(&text), "{text}");
    let high = alerts.feed_pressure_high.unwrap();
    let text = format!(
        "above {:.0} psi for {} s",
        high.raise.psi(),
        high.hold.as_secs()
    );
    assert!(row(Code::FeedPressureHigh).contains(&text), "{text}");
    let text = format!(
        "less than {:.0} % or {:.0} days",
        alerts.stage_low.unwrap().raise * 100.0,
        alerts.stage_low_days
    );
    assert!(row(Code::StageLow).contains(&text), "{text}");
    assert!(row(Code::SensorSilent).contains(&minutes(alerts.sensor_silent.unwrap())));
    let cycling = alerts.short_cycling.unwrap();
    let text = format!(
        "more than {:.0} starts a day for less than {:.0} L each",
        cycling.raise,
        alerts.short_run.litres()
    );
    assert!(row(Code::ShortCycling).contains(&text), "{text}");
    let hours = |time: std::time::Duration| format!("{} h", time.as_secs() / 3600);
    assert!(row(Code::RunTooLong).contains(&hours(alerts.run_too_long.unwrap())));
    let text = format!(
        "{} runs of {} or more in a row",
        alerts.flush_missed.unwrap(),
        minutes(alerts.flush_missed_run)
    );
    assert!(row(Code::FlushMissed).contains(&text), "{text}");
    for code in Code::ALL {
        let severity = format!("| {} |", code.severity().key());
        assert!(row(code).ends_with(&severity), "{}", row(code));
    }
}

#[test]
fn the_readme_states_the_limits_of_doubts_and_hydraulics() {
    let readme = read("README.md");
    let written = block(&readme, "toml");
    let without_ratio: Vec<&str> = written
        .lines()
        .filter(|line| !line.starts_with("waste_ratio"))
        .collect();
    let settings = load("README.md", &without_ratio.join("\n"));
    let alerts = &settings.units[0].alerts;
    let (doubts, hydraulics) = (&alerts.doubts, &alerts.hydraulics);
    let minutes = |hold: std::time::Duration| format!("{} min", hold.as_secs() / 60);
    let implausible = doubts.sensor_implausible.unwrap();
    let balance = doubts.balance_open.unwrap();
    let leaking = hydraulics.shutoff_leaking.unwrap();
    let recovery = hydraulics.recovery_out_of_range.unwrap();
    let clogging = hydraulics.prefilter_clogging.unwrap();
    let lift = hydraulics.pump_not_lifting.unwrap();
    let temperature = hydraulics.feed_temperature_out_of_range.unwrap();
    for (code, text) in [
        (
            Code::SensorImplausible,
            format!(
                "{:.0} % of a sensor's readings within {} cannot be, or it contradicts the other probes for {}",
                implausible.share * 100.0,
                minutes(implausible.window),
                minutes(implausible.hold)
            ),
        ),
        (
            Code::SensorStuck,
            format!(
                "through {} h",
                doubts.sensor_stuck.unwrap().as_secs() / 3600
            ),
        ),
        (
            Code::BalanceOpen,
            format!(
                "more than {:.0} % apart over {:.0} L",
                balance.raise * 100.0,
                balance.volume.litres()
            ),
        ),
        (
            Code::ShutoffLeaking,
            format!(
                "more than {:.2} L/min ({:.0} L a day)",
                leaking.raise.l_per_min(),
                leaking.raise.l_per_day()
            ),
        ),
        (
            Code::RecoveryOutOfRange,
            format!(
                "{:.0} to {:.0} %) for {}",
                recovery.low * 100.0,
                recovery.high * 100.0,
                minutes(recovery.hold)
            ),
        ),
        (
            Code::PrefilterClogging,
            format!("{:.0} psi", clogging.raise.psi()),
        ),
        (
            Code::PumpNotLifting,
            format!(
                "less than {:.1} bar for {}",
                lift.raise.bar(),
                minutes(lift.hold)
            ),
        ),
        (
            Code::FeedTemperatureOutOfRange,
            format!(
                "below {:.0} °C or above {:.0} °C for {}",
                temperature.low.celsius(),
                temperature.high.celsius(),
                minutes(temperature.hold)
            ),
        ),
    ] {
        let start = format!("| `{}` |", code.key());
        let row = readme.lines().find(|line| line.starts_with(&start));
        assert!(
            row.is_some_and(|row| row.contains(&text)),
            "{row:?}: {text}"
        );
    }
}

#[test]
fn the_example_configuration_shows_every_kind_of_stage_and_point_it_may_have() {
    let example = read("config/permeated.toml");
    load("config/permeated.toml", &example);
    for key in StageKind::ALL
        .map(StageKind::key)
        .into_iter()
        .chain(Point::ALL.map(Point::key))
    {
        assert!(
            example.contains(key),
            "config/permeated.toml does not name {key}"
        );
    }
}

/// The newcomer's map must not send anybody to a place that is not there.
#[test]
fn the_developers_page_names_only_places_that_exist() {
    let page = read("DEVELOPERS.md");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut seen = 0;
    for name in page.split('`').skip(1).step_by(2) {
        let is_path = ["src/", "tests/", "config/", "systemd/", ".ci/"]
            .iter()
            .any(|start| name.starts_with(start));
        if is_path && !name.contains(' ') {
            let exists = root.join(name).exists() || root.join("src").join(name).exists();
            assert!(exists, "{name}");
            seen += 1;
        }
    }
    assert!(seen > 15, "only {seen} places named");
}
