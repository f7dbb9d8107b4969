//! Whether a value belongs to a unit of this trade: a household's broker carries much else.

use super::{
    super::{
        finding::{Finding, Sureness},
        words::{self, Elsewhere},
    },
    Value,
};
use crate::config::Sensed;

/// How a value belongs to a unit of this trade.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Belonging {
    /// A name says so.
    Named(String),
    /// It comes from a board that also tells what only such a unit has.
    Company,
    /// It lies beside such values, which proves little.
    Beside,
    /// A name speaks of water.
    Water(String),
    /// Nothing says so.
    No,
}

impl Value<'_> {
    /// The first name that only such a unit has.
    pub(in super::super) fn of_the_trade(&self) -> Option<String> {
        let (names, around) = (self.names(), self.around());
        let own = words::any(&names, words::OF_THE_TRADE)
            .or_else(|| words::any(&around, words::OF_THE_TRADE));
        own.map(str::to_owned)
    }

    pub(super) fn belonging(
        &self,
        names: &[String],
        around: &[String],
        in_company: bool,
    ) -> Belonging {
        if let Some(word) = self.of_the_trade() {
            return Belonging::Named(word);
        }
        match (in_company, self.board.is_known || self.pointer.is_some()) {
            (true, true) => return Belonging::Company,
            (true, false) => return Belonging::Beside,
            (false, _) => {}
        }
        let water =
            words::any(names, words::OF_WATER).or_else(|| words::any(around, words::OF_WATER));
        water.map_or(Belonging::No, |word| Belonging::Water(word.to_owned()))
    }
}

/// Whether it is somebody else's.
pub(super) fn stranger(
    sensed: Sensed,
    belonging: &Belonging,
    names: &[String],
    around: &[String],
) -> Option<Elsewhere> {
    if matches!(belonging, Belonging::Named(_) | Belonging::Company) {
        return None;
    }
    const LEAK: &str = "leak waterleak flood leck leckage fuite moisture";
    let is_leak = sensed == Sensed::Contact && words::any(names, LEAK).is_some();
    let other = words::elsewhere(around).map(|(what, _)| what);
    match (sensed, belonging) {
        (Sensed::Contact, _) if is_leak => other.filter(|what| *what == Elsewhere::Life),
        (Sensed::Dissolved, _) => other,
        (Sensed::Temperature, Belonging::Beside) => other,
        (Sensed::Temperature, _) => Some(other.unwrap_or(Elsewhere::NoWater)),
        (Sensed::Contact, Belonging::No) => Some(other.unwrap_or(Elsewhere::Light)),
        (_, Belonging::No) => Some(other.unwrap_or(Elsewhere::NoWater)),
        (_, _) => other,
    }
}

/// What belonging says for it, and leaves open.
pub(super) fn belongs(finding: &mut Finding, belonging: &Belonging, sensed: Sensed) {
    match belonging {
        Belonging::Named(word) => {
            let quoted = format!("{word:?}");
            if !(finding.reasons.iter()).any(|reason| reason.contains(&quoted)) {
                (finding.reasons).push(format!("{quoted} belongs to such a unit"));
            }
        }
        Belonging::Company => {
            finding
                .reasons
                .push("its board also tells what only such a unit has".to_owned());
            finding.at_most(Sureness::Likely);
        }
        Belonging::Beside => {
            finding.doubt("whether it is of this unit: it only lies beside such values");
        }
        Belonging::Water(word) => {
            finding.reasons.push(format!("{word:?} speaks of water"));
            finding.doubt("whether it is of this unit");
        }
        Belonging::No if sensed == Sensed::Contact => {
            finding.doubt("whether it lies where this unit would leak");
        }
        Belonging::No => finding.doubt("whether it is of this unit"),
    }
}
