//! What the core calls possible comes, and nothing else.

use super::*;

/// A property of the core: what it calls possible comes once every sensor speaks and water is
/// made, and nothing else ever does; the ledger books litres of exactly what is said to be known;
/// the membrane's figures need something that tells a run.
#[test]
fn what_the_core_calls_possible_comes_and_nothing_else() {
    const POINTS: [&str; 7] = [
        "feed_flow",
        "permeate_flow",
        "concentrate_flow",
        "feed_pressure",
        "feed_temperature",
        "feed_tds",
        "permeate_tds",
    ];
    const CONSTANTS: &str =
        "[unit.k.supply]\nwaste_ratio = 4\ntds = \"250 ppm\"\ntemperature = \"15 degC\"\n";
    const START: &str = "[unit.k.run]\nstart_pressure = \"30 psi\"\n";
    let mut wrong = Vec::new();
    for keys in [
        RATING.to_owned(),
        String::new(),
        format!("{RATING}{CONSTANTS}{START}"),
    ] {
        for subset in 1..1_u32 << POINTS.len() {
            let points: Vec<&str> = (0..POINTS.len())
                .filter(|bit| subset >> bit & 1 == 1)
                .map(|bit| POINTS[bit])
                .collect();
            let settings = settings(&(plain(&points) + &keys));
            let answer = probe::ask(&settings.units[0]);
            let totals = answer.unit.totals();
            for (metric, booked) in [
                (Metric::FeedVolume, totals.feed),
                (Metric::PermeateVolume, totals.permeate),
                (Metric::ConcentrateVolume, totals.concentrate),
            ] {
                let (possible, booked) =
                    (answer.unit.possible().contains(&metric), booked.litres());
                if possible != (booked > 0.0) {
                    wrong.push(format!(
                        "{points:?} {metric:?} {possible}, booked {booked} L"
                    ));
                }
            }
            for metric in Metric::ALL.iter().copied() {
                let (possible, finding) = (
                    answer.unit.possible().contains(&metric),
                    answer.values.of(metric),
                );
                if metric.group() == Group::Wear {
                    // What takes weeks to learn is not there after minutes, but neither is it denied.
                    if possible == finding.is_err_and(Lack::is_permanent) {
                        wrong.push(format!("{points:?} {metric:?} {possible} {finding:?}"));
                    }
                    continue;
                }
                if possible != finding.is_ok() {
                    wrong.push(format!("{points:?} {metric:?} {possible} {finding:?}"));
                }
                if metric.group() == Group::Membrane && possible && !answer.runs() {
                    wrong.push(format!("{points:?} {metric:?} without a run"));
                }
                if let Err(lack) = finding
                    && !lack.is_permanent()
                {
                    wrong.push(format!("{points:?} {metric:?} {lack}"));
                }
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "{} wrong:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}
