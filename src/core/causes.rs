//! What has probably come over a membrane, told from how its figures changed together. Owns the
//! patterns and their words; measures nothing and raises nothing. Every answer is a likelihood: two
//! causes at once, or one that no one thought of, look like something else.
//!
//! The patterns are those of troubleshooting tables for membrane plants, their limits and the weights
//! of half-fitting signs rough judgement: common practice, no source.

/// Smallest change of flow that counts, as a share.
const FLOW_FLOOR: f64 = 0.03;
/// Smallest change of salt passage that counts, as a share of itself: 4.0 % to 4.4 %.
const SALT_PASSAGE_FLOOR: f64 = 0.10;
/// Smallest change of pressure drop that counts, as a share.
const PRESSURE_DROP_FLOOR: f64 = 0.10;
/// From here a salt passage or a pressure drop has risen much.
const MUCH: f64 = 0.30;
/// Standard errors that a change must pass: about 19 in 20 chance ones do not.
const STANDARD_ERRORS: f64 = 2.0;

/// How a figure changed against its baseline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    relative: f64,
    standard_error: f64,
}

impl Change {
    /// The change as a share of the baseline (−0.1: a tenth less; −1 or more) and its standard error
    /// (0 or more, in the same measure).
    ///
    /// `None` outside these ranges.
    #[must_use]
    pub fn new(relative: f64, standard_error: f64) -> Option<Self> {
        let possible = 0.0..f64::INFINITY;
        let sound = (-1.0..f64::INFINITY).contains(&relative) && possible.contains(&standard_error);
        sound.then_some(Self {
            relative,
            standard_error,
        })
    }

    fn course(self, floor: f64) -> Course {
        let size = self.relative.abs();
        if size < floor || size <= STANDARD_ERRORS * self.standard_error {
            Course::Same
        } else if self.relative < 0.0 {
            Course::Down
        } else if self.relative < MUCH {
            Course::Up
        } else {
            Course::MuchUp
        }
    }
}

/// The figures of a membrane that tell causes apart, each against its baseline at the same
/// conditions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Changes {
    /// Of the normalised flow.
    pub flow: Change,
    /// Of the normalised salt passage, relative: 4 % to 5 % is 0.25.
    pub salt_passage: Change,
    /// Of the pressure drop along the feed channel, brought to the same flow; `None` without gauges
    /// on both ends.
    pub pressure_drop: Option<Change>,
}

/// What can come over a membrane. In the order in which equally likely ones are named: what is
/// easiest to check comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// Salt gets past the membrane: an O-ring that leaks, or a membrane that chlorine has oxidised.
    OxidationOrLeak,
    /// A film of bacteria in the feed channel.
    Biofouling,
    /// Scale (hardness that fell out) or colloids (fines, rust) on the membrane.
    ScaleOrColloids,
    /// Organic matter on the membrane.
    OrganicFouling,
    /// The membrane has been pressed denser.
    Compaction,
}

/// A cause that fits what was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct LikelyCause {
    /// Which.
    pub cause: Cause,
    /// What was seen and why it speaks for the cause, in plain sentences.
    pub speaks_for: String,
    /// Whether its main sign, a rising pressure drop, is not measured: it is a guess then, and comes
    /// after those that are not.
    pub unmeasured: bool,
}

/// The causes that fit, the likeliest first.
///
/// A change within two standard errors, below 3 % of flow, or below 10 % of salt passage or pressure
/// drop is none. Empty when nothing changed, and when no known pattern fits (more flow with the
/// same salts is more likely a gauge or a meter than the membrane).
#[must_use]
pub fn likely_causes(changes: &Changes) -> Vec<LikelyCause> {
    let signs = Signs::of(changes);
    if signs.nothing_changed() {
        return Vec::new();
    }
    let mut fitting: Vec<(bool, u8, Cause)> = Cause::ALL
        .into_iter()
        .filter_map(|cause| Some((signs.lack_gauge_for(cause), signs.weight(cause)?, cause)))
        .collect();
    fitting
        .sort_by_key(|&(unmeasured, weight, cause)| (unmeasured, std::cmp::Reverse(weight), cause));
    fitting
        .into_iter()
        .map(|(unmeasured, _, cause)| LikelyCause {
            cause,
            speaks_for: speaks_for(cause, changes, &signs, unmeasured),
            unmeasured,
        })
        .collect()
}

/// Which way a figure went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Course {
    Down,
    Same,
    Up,
    MuchUp,
}

use Course::{Down, MuchUp, Same, Up};

/// Which way all figures went.
struct Signs {
    flow: Course,
    salt_passage: Course,
    pressure_drop: Option<Course>,
}

impl Signs {
    fn of(changes: &Changes) -> Self {
        Self {
            flow: changes.flow.course(FLOW_FLOOR),
            salt_passage: changes.salt_passage.course(SALT_PASSAGE_FLOOR),
            pressure_drop: changes
                .pressure_drop
                .map(|change| change.course(PRESSURE_DROP_FLOOR)),
        }
    }

    fn nothing_changed(&self) -> bool {
        self.flow == Same && self.salt_passage == Same && self.pressure_drop.unwrap_or(Same) == Same
    }

    fn channel_is_obstructed(&self) -> bool {
        matches!(self.pressure_drop, Some(Up | MuchUp))
    }

    fn lack_gauge_for(&self, cause: Cause) -> bool {
        self.pressure_drop.is_none() && cause.shows_in_pressure_drop()
    }

    /// How well the signs fit, `None` when one speaks against: for each sign 2 as expected, 1 near it
    /// or not measured, 0 odd.
    fn weight(&self, cause: Cause) -> Option<u8> {
        let obstructed = self.channel_is_obstructed();
        let flow = match (cause, self.flow) {
            (Cause::OxidationOrLeak, Same | Up | MuchUp) => 2,
            (Cause::OxidationOrLeak, Down) => return None,
            (_, Down) => 2,
            // The channel can clog before the flow suffers.
            (Cause::Biofouling | Cause::ScaleOrColloids, Same) if obstructed => 1,
            (_, Same | Up | MuchUp) => return None,
        };
        let salt_passage = match (cause, self.salt_passage) {
            (Cause::OxidationOrLeak | Cause::ScaleOrColloids, Up | MuchUp) => 2,
            (Cause::ScaleOrColloids, Same) if obstructed => 1,
            (Cause::Biofouling | Cause::OrganicFouling, Same) => 2,
            (Cause::Biofouling, Up) | (Cause::OrganicFouling, Down) => 1,
            (Cause::Biofouling, MuchUp) => 0,
            (Cause::Biofouling, Down) if obstructed => 0,
            (Cause::Compaction, Down) => 2,
            (Cause::Compaction, Same) => 1,
            (_, Down | Same | Up | MuchUp) => return None,
        };
        let pressure_drop = match (cause, self.pressure_drop) {
            (_, None) => 1,
            (Cause::OxidationOrLeak, Some(Same | Down)) => 2,
            (Cause::OxidationOrLeak, Some(Up | MuchUp)) => 1,
            (Cause::Biofouling, Some(MuchUp)) | (Cause::ScaleOrColloids, Some(Up)) => 2,
            (Cause::Biofouling, Some(Up)) | (Cause::ScaleOrColloids, Some(MuchUp | Same)) => 1,
            (Cause::OrganicFouling | Cause::Compaction, Some(Same)) => 2,
            (Cause::OrganicFouling | Cause::Compaction, Some(Down)) => 1,
            (_, Some(Down | Same | Up | MuchUp)) => return None,
        };
        Some(flow + salt_passage + pressure_drop)
    }
}

impl Cause {
    /// All of them, in their order.
    pub const ALL: [Self; 5] = [
        Self::OxidationOrLeak,
        Self::Biofouling,
        Self::ScaleOrColloids,
        Self::OrganicFouling,
        Self::Compaction,
    ];

    /// What people call it.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Self::OxidationOrLeak => "An O-ring leaks, or the membrane is oxidised",
            Self::Biofouling => "Bacteria grow in the feed channel",
            Self::ScaleOrColloids => "Scale or colloids on the membrane",
            Self::OrganicFouling => "Organic matter on the membrane",
            Self::Compaction => "The membrane is compacted",
        }
    }

    /// How it shows, in a sentence.
    #[must_use]
    pub fn pattern(self) -> &'static str {
        match self {
            Self::OxidationOrLeak => {
                "Where salt gets past or through the membrane, salt passage rises and the flow stays or grows."
            }
            Self::Biofouling => {
                "A film of bacteria clogs the feed channel: the pressure drop rises much, the flow falls, the salt \
                 passage stays or rises a little."
            }
            Self::ScaleOrColloids => {
                "Scale and colloids cover the membrane: the flow falls, the salt passage rises, and so does the \
                 pressure drop."
            }
            Self::OrganicFouling => {
                "Organic matter lies on the membrane as a thin film: the flow falls, salt passage and pressure drop \
                 stay."
            }
            Self::Compaction => {
                "A compacted membrane is denser: less water and less salt pass, the pressure drop stays."
            }
        }
    }

    /// What to check first, in the order of likelihood and effort.
    #[must_use]
    pub fn check_first(self) -> &'static str {
        match self {
            Self::OxidationOrLeak => {
                "Check the O-rings of the membrane and how it sits in its housing, then total chlorine behind the \
                 carbon: an oxidised membrane does not recover, and the next one lasts no longer behind spent carbon."
            }
            Self::Biofouling => {
                "Check whether the pre-filters are slimy and how long the unit stood unused in warmth, and whether \
                 the flushes run; a home membrane is then replaced and its housing sanitised."
            }
            Self::ScaleOrColloids => {
                "Check that enough concentrate goes to the drain (flow restrictor, recovery), that the flushes run, \
                 the hardness of the feed, and the sediment filter."
            }
            Self::OrganicFouling => {
                "Check the age of the carbon and whether the supply has changed (surface water, colour); then the \
                 thermometer and the pressure gauge, whose faults look the same."
            }
            Self::Compaction => {
                "Check for feed pressure or water temperature above what the membrane is rated for; some compaction \
                 in the first weeks of a new membrane is usual."
            }
        }
    }

    /// What to beware of while one checks or cleans.
    #[must_use]
    pub fn caution(self) -> &'static str {
        match self {
            Self::OxidationOrLeak | Self::OrganicFouling | Self::Compaction => {
                "Hands off what is under pressure: shut the supply, switch the pump off and let the pressure out \
                 before you open anything."
            }
            Self::Biofouling | Self::ScaleOrColloids => {
                "Hands off what is under pressure: shut the supply, switch the pump off and let the pressure out \
                 before you open anything. Never mix acid with bleach: it gives off chlorine, which is poisonous. \
                 Bleach destroys the membrane: take it out before you sanitise, and rinse well."
            }
        }
    }

    /// Whether a rising pressure drop is its main sign.
    fn shows_in_pressure_drop(self) -> bool {
        match self {
            Self::Biofouling | Self::ScaleOrColloids => true,
            Self::OxidationOrLeak | Self::OrganicFouling | Self::Compaction => false,
        }
    }
}

fn speaks_for(cause: Cause, changes: &Changes, signs: &Signs, unmeasured: bool) -> String {
    let mut seen = vec![
        course_text("flow", changes.flow, signs.flow),
        course_text("salt passage", changes.salt_passage, signs.salt_passage),
    ];
    if let (Some(change), Some(course)) = (changes.pressure_drop, signs.pressure_drop) {
        seen.push(course_text("pressure drop", change, course));
    }
    let mut text = format!("Seen: {}. {}", seen.join(", "), cause.pattern());
    if unmeasured {
        text.push_str(
            " The pressure drop, its main sign, is not measured: no gauge tells it from the others.",
        );
    }
    text
}

fn course_text(name: &str, change: Change, course: Course) -> String {
    let per_cent = change.relative.abs() * 100.0;
    match course {
        Same => format!("{name} the same"),
        Down => format!("{name} down {per_cent:.0} %"),
        Up | MuchUp => format!("{name} up {per_cent:.0} %"),
    }
}

#[cfg(test)]
mod tests {
    use super::Cause::{Biofouling, Compaction, OrganicFouling, OxidationOrLeak, ScaleOrColloids};
    use super::*;

    /// Changes in per cent, without error.
    fn changes(flow: f64, salt_passage: f64, pressure_drop: Option<f64>) -> Changes {
        let sure = |per_cent: f64| Change::new(per_cent / 100.0, 0.0).unwrap();
        Changes {
            flow: sure(flow),
            salt_passage: sure(salt_passage),
            pressure_drop: pressure_drop.map(sure),
        }
    }

    fn names(changes: &Changes) -> Vec<Cause> {
        let causes = likely_causes(changes).into_iter();
        causes.map(|likely| likely.cause).collect()
    }

    /// The pattern of each cause names it first (common practice, no source), and what else fits
    /// less well comes after.
    #[test]
    fn patterns_with_a_measured_drop() {
        let table: &[(f64, f64, f64, &[Cause])] = &[
            (15.0, 80.0, 0.0, &[OxidationOrLeak]),
            (0.0, 40.0, 0.0, &[OxidationOrLeak]),
            (0.0, 40.0, -15.0, &[OxidationOrLeak]),
            (-15.0, 25.0, 20.0, &[ScaleOrColloids, Biofouling]),
            (-15.0, 60.0, 20.0, &[ScaleOrColloids, Biofouling]),
            (-15.0, 60.0, 50.0, &[ScaleOrColloids, Biofouling]),
            // No rise of the drop: a small element's is hard to measure.
            (-15.0, 25.0, 0.0, &[ScaleOrColloids]),
            (-15.0, 0.0, 60.0, &[Biofouling, ScaleOrColloids]),
            (-15.0, 15.0, 60.0, &[Biofouling, ScaleOrColloids]),
            (-15.0, -15.0, 60.0, &[Biofouling]),
            // The channel clogs before the flow suffers.
            (0.0, 0.0, 60.0, &[Biofouling, ScaleOrColloids]),
            (-15.0, 0.0, 0.0, &[OrganicFouling, Compaction]),
            (-15.0, -20.0, 0.0, &[Compaction, OrganicFouling]),
            (
                0.0,
                40.0,
                20.0,
                &[OxidationOrLeak, ScaleOrColloids, Biofouling],
            ),
        ];
        for (flow, salt_passage, drop, expected) in table {
            let seen = changes(*flow, *salt_passage, Some(*drop));
            assert_eq!(names(&seen), *expected, "{flow} {salt_passage} {drop}");
            assert!(likely_causes(&seen).iter().all(|likely| !likely.unmeasured));
        }
    }

    /// Without gauges on both ends, what would show in the drop comes last and says so.
    #[test]
    fn patterns_without_a_measured_drop() {
        let table: &[(f64, f64, &[Cause], &[Cause])] = &[
            (15.0, 80.0, &[OxidationOrLeak], &[]),
            (0.0, 40.0, &[OxidationOrLeak], &[]),
            (-15.0, 25.0, &[], &[ScaleOrColloids, Biofouling]),
            (-15.0, 60.0, &[], &[ScaleOrColloids, Biofouling]),
            (-15.0, 0.0, &[OrganicFouling, Compaction], &[Biofouling]),
            (-15.0, -20.0, &[Compaction, OrganicFouling], &[]),
        ];
        for (flow, salt_passage, sure, unsure) in table {
            let found = likely_causes(&changes(*flow, *salt_passage, None));
            let expected: Vec<_> = sure
                .iter()
                .map(|cause| (*cause, false))
                .chain(unsure.iter().map(|cause| (*cause, true)))
                .collect();
            let seen: Vec<_> = found
                .iter()
                .map(|likely| (likely.cause, likely.unmeasured))
                .collect();
            assert_eq!(seen, expected, "{flow} {salt_passage}");
            for likely in found {
                let says = likely
                    .speaks_for
                    .contains("no gauge tells it from the others");
                assert_eq!(says, likely.unmeasured, "{}", likely.speaks_for);
            }
        }
    }

    #[test]
    fn nothing_changed_and_nothing_known() {
        for (flow, salt_passage, drop) in [
            (0.0, 0.0, Some(0.0)),
            (0.0, 0.0, None),
            (2.9, 9.9, Some(9.9)),
            (-2.9, -9.9, Some(-9.9)),
            // Changes that no pattern has.
            (10.0, 0.0, Some(0.0)),
            (10.0, -20.0, None),
            (0.0, -20.0, Some(0.0)),
            (-15.0, 25.0, Some(-20.0)),
        ] {
            let found = likely_causes(&changes(flow, salt_passage, drop));
            assert!(found.is_empty(), "{flow} {salt_passage} {found:?}");
        }
    }

    /// A large change with a larger error is none; the floors hold however sure a small one is.
    #[test]
    fn what_is_uncertain_counts_as_the_same() {
        let with_errors = |flow, flow_error, salt_passage, salt_error| Changes {
            flow: Change::new(flow, flow_error).unwrap(),
            salt_passage: Change::new(salt_passage, salt_error).unwrap(),
            pressure_drop: None,
        };
        assert!(names(&with_errors(-0.2, 0.11, 0.0, 0.0)).is_empty());
        assert!(names(&with_errors(-0.2, 0.1, 0.0, 0.0)).is_empty());
        assert_eq!(names(&with_errors(-0.2, 0.09, 0.0, 0.0))[0], OrganicFouling);
        assert_eq!(names(&with_errors(-0.2, 0.01, 0.5, 0.3))[0], OrganicFouling);
        assert_eq!(
            names(&with_errors(-0.2, 0.01, 0.5, 0.2))[0],
            ScaleOrColloids
        );
        assert_eq!(
            names(&with_errors(-0.2, 0.11, 0.5, 0.2))[0],
            OxidationOrLeak
        );
        assert!(names(&with_errors(-0.02, 0.001, 0.09, 0.001)).is_empty());
        // At its floor a change counts.
        assert!(!names(&with_errors(-0.03, 0.0, 0.0, 0.0)).is_empty());
    }

    #[test]
    fn a_change_that_cannot_be_is_none() {
        for nonsense in [f64::NAN, f64::INFINITY, -1.01] {
            assert_eq!(Change::new(nonsense, 0.0), None, "{nonsense}");
            assert_eq!(Change::new(0.0, nonsense), None, "{nonsense}");
        }
        assert!(Change::new(-1.0, 0.0).is_some());
    }

    #[test]
    fn says_what_was_seen_and_what_to_beware_of() {
        let found = likely_causes(&changes(-12.4, 25.0, Some(0.0)));
        assert_eq!(
            found[0].speaks_for,
            "Seen: flow down 12 %, salt passage up 25 %, pressure drop the same. Scale and colloids cover the \
             membrane: the flow falls, the salt passage rises, and so does the pressure drop."
        );
        for cause in Cause::ALL {
            assert!(cause.caution().contains("pressure"), "{cause:?}");
            let is_cleaned = cause.shows_in_pressure_drop();
            let warns = cause.caution().contains("Never mix acid with bleach");
            assert_eq!(warns, is_cleaned, "{cause:?}");
            assert!(cause.check_first().starts_with("Check "), "{cause:?}");
            for text in [cause.pattern(), cause.check_first(), cause.caution()] {
                assert!(text.ends_with('.') && !text.contains("  "), "{text}");
            }
        }
    }

    /// Whatever is seen, the list holds no cause twice and unmeasured ones last.
    #[test]
    fn every_combination_is_in_order() {
        let steps = [-50.0, -12.0, 0.0, 15.0, 60.0];
        let drops = steps.map(Some).into_iter().chain([None]);
        for drop in drops {
            for (flow, salt_passage) in steps
                .iter()
                .flat_map(|flow| steps.map(|salt| (*flow, salt)))
            {
                let found = likely_causes(&changes(flow, salt_passage, drop));
                assert!(found.is_sorted_by_key(|likely| likely.unmeasured));
                for (at, likely) in found.iter().enumerate() {
                    let again = found[at + 1..].iter();
                    assert!(again.clone().all(|other| other.cause != likely.cause));
                }
            }
        }
    }
}
