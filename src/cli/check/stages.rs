//! What is left of a stage, in a line: each of its limits and how well it is known.

use crate::{
    config::{Capacity, StageKind, StageSettings, StageWater},
    core::{Finding, Lack, StageFindings},
    metrics::StageMetric,
    quantity::{Equivalents, duration_text},
};

/// How what is left of a stage is told: each of its limits, and how well it is known.
pub(super) fn words(stage: &StageSettings, found: &StageFindings) -> String {
    let water = match stage.water {
        StageWater::Feed => "feed",
        StageWater::Permeate => "permeate",
    };
    let volume = stage
        .life_volume
        .map(|life| format!("{} L of {water}", life.litres()))
        .map(|words| limit(words, found.of(StageMetric::LeftVolume)));
    let age = stage.life_time.map(|life| {
        let since = stage
            .installed
            .map_or("it was first seen".to_owned(), |day| day.to_string());
        let words = format!("{} since {since}", duration_text(life));
        limit(words, found.of(StageMetric::Age))
    });
    let load = capacity(stage).map(|words| {
        let loads = [
            StageMetric::DisinfectantLoad,
            StageMetric::AnionLoad,
            StageMetric::CationLoad,
        ];
        let mut known = loads.into_iter().map(|metric| found.of(metric));
        let own = known.find(|load| *load != Err(Lack::NoLife));
        limit(words, own.unwrap_or(Err(Lack::NoLife)))
    });
    let tds = found.of(StageMetric::Tds).ok();
    let tds = tds.map(|known| format!("TDS behind it ({})", known.basis.key()));
    let parts: Vec<String> = [load, volume, age, tds].into_iter().flatten().collect();
    match found.of(StageMetric::Left) {
        Err(lack) if parts.is_empty() => format!("absent: {lack}"),
        Ok(_) if parts.is_empty() && stage.kind == StageKind::Membrane => {
            "by its wear, learned from settled runs".to_owned()
        }
        Ok(_) | Err(_) => parts.join(", "),
    }
}

/// What it can take, in words: the side of a mixed bed that is spent first.
fn capacity(stage: &StageSettings) -> Option<String> {
    Some(match stage.capacity? {
        Capacity::Disinfectant(mass) => format!("{:.1} g of disinfectant", mass.grams()),
        Capacity::Ions(ions) => {
            let sides = [ions.cation, ions.anion].into_iter().flatten();
            let least = sides.map(Equivalents::meq).fold(f64::INFINITY, f64::min);
            let [most, _, least_used] = ions.usable;
            if least_used < most {
                let (from, to) = (least * least_used, least * most);
                format!("{from:.0} to {to:.0} meq of ions")
            } else {
                format!("{least:.0} meq of ions")
            }
        }
    })
}

fn limit(words: String, finding: Finding<f64>) -> String {
    match finding {
        Ok(known) => format!("{words} ({})", known.basis.key()),
        Err(lack) => format!("{words} (absent: {lack})"),
    }
}
