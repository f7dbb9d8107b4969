//! One sensor to a point: what says the same twice, what claims the same point, and what stands active
//! when nothing is sure.

use std::collections::BTreeMap;

use super::finding::{Finding, Sureness};
use crate::config::Point;

/// Settles all claims. Findings keep their order.
pub(super) fn settle(findings: &mut [Finding]) {
    mirrors(findings);
    claims(findings);
    at_least_one(findings);
}

/// The same value by another topic, or in another unit beside: the better one counts.
fn mirrors(findings: &mut [Finding]) {
    for at in 0..findings.len() {
        let better = (0..findings.len()).find(|other| is_mirror(&findings[at], &findings[*other]));
        if let Some(better) = better {
            findings[at].mirror_of = Some(findings[better].place());
        }
    }
}

/// Whether `one` only says again what `other` says better.
fn is_mirror(one: &Finding, other: &Finding) -> bool {
    if other.mirror_of.is_some() || one.kind != other.kind || one.point() != other.point() {
        return false;
    }
    let (tail, other_tail) = (tail(one), tail(other));
    let same_board = one.board == other.board;
    // A thermometer that tells both degrees in one document.
    if same_board
        && one.topic == other.topic
        && one.unit == Some("degF")
        && other.unit == Some("degC")
    {
        return parent(one) == parent(other);
    }
    if one.rank <= other.rank {
        return false;
    }
    match (same_board, one.pointer.is_some()) {
        (true, true) => tail == other_tail,
        _ => !one.last.is_empty() && one.last == other.last,
    }
}

/// The last key of the pointer.
fn tail(finding: &Finding) -> &str {
    finding
        .pointer
        .as_deref()
        .and_then(|pointer| pointer.rsplit('/').next())
        .unwrap_or_default()
}

fn parent(finding: &Finding) -> &str {
    finding
        .pointer
        .as_deref()
        .and_then(|pointer| pointer.rsplit_once('/'))
        .map_or("", |(parent, _)| parent)
}

/// Of several at one point the surest counts; equals are for a person to choose from.
fn claims(findings: &mut [Finding]) {
    let mut at_point: BTreeMap<Point, Vec<usize>> = BTreeMap::new();
    for (at, finding) in findings.iter().enumerate() {
        if finding.is_active()
            && let Some(point) = finding.point()
        {
            at_point.entry(point).or_default().push(at);
        }
    }
    for (point, claimants) in at_point
        .into_iter()
        .filter(|(_, claimants)| claimants.len() > 1)
    {
        let worth = |at: usize| (findings[at].sureness, findings[at].sited);
        let best = claimants.iter().map(|at| worth(*at)).max();
        let leaders: Vec<usize> = (claimants.iter().copied())
            .filter(|at| Some(worth(*at)) == best)
            .collect();
        let winner = match leaders.as_slice() {
            [winner] => Some(*winner),
            // Any leak probe is better than none.
            [first, ..] if point == Point::Leak => Some(*first),
            _ => None,
        };
        for at in claimants.iter().copied().filter(|at| Some(*at) != winner) {
            let text = match winner {
                Some(winner) => format!(
                    "{} is taken by {}, which comes first; a second sensor there has spare = true",
                    point.key(),
                    findings[winner].place()
                ),
                None => several(point, claimants.len()),
            };
            findings[at].doubt(text);
        }
    }
}

fn several(point: Point, count: usize) -> String {
    if point == Point::FeedTemperature {
        return format!("{count} thermometers: which one is in the feed?");
    }
    format!(
        "{count} values claim {}: take one; a second sensor there has spare = true, another unit has a table of its own",
        point.key()
    )
}

/// A configuration needs a sensor: the likeliest whole entry stands when none is sure.
fn at_least_one(findings: &mut [Finding]) {
    if findings.iter().any(Finding::is_active) {
        return;
    }
    let whole = |finding: &&mut Finding| finding.lacking.is_empty() && finding.mirror_of.is_none();
    let fewest_doubts = findings
        .iter_mut()
        .filter(whole)
        .min_by_key(|finding| finding.decide.len());
    if let Some(finding) = fewest_doubts {
        finding.sureness = Sureness::Likely;
        finding.decide.insert(
            0,
            "nothing here is sure; this one stands because a configuration needs a sensor: decide"
                .to_owned(),
        );
    }
}
