//! Which metrics a configuration can give at all, and why not the others.

use super::{known::Lack, membrane::MembraneState, run, unit::Unit};
use crate::{
    metrics::{Group, Metric},
    time::Now,
};

impl Unit {
    /// With nothing heard yet, a value is away for now or it can never be there. The membrane's
    /// count only in runs, so they need something that tells a run.
    pub(super) fn find_possible(&mut self, now: Now) {
        let mut values = self.values(now);
        self.readings(now.mono, |readings| readings.set_membrane(&mut values));
        let runs = run::can_be_seen(&self.train, &self.settings);
        // The wear's metrics come after those they need in the catalogue.
        for metric in Metric::ALL.iter().copied() {
            let found = match metric.group() {
                Group::Wear => match self.never(MembraneState::needs(metric)) {
                    Some(lack) => Err(lack),
                    None => values.of(metric),
                },
                Group::Now | Group::Membrane | Group::Chemistry | Group::Totals | Group::Costs => {
                    values.of(metric)
                }
            };
            match found {
                Err(lack) if lack.is_permanent() => self.impossible.push((metric, lack)),
                _ if !runs && matches!(metric.group(), Group::Membrane | Group::Wear) => {
                    self.impossible.push((metric, Lack::NoRunSign));
                }
                Ok(_) | Err(_) => self.possible.push(metric),
            }
        }
    }

    /// Why this configuration can never give a metric; `None` if it can.
    pub(super) fn never(&self, wanted: Metric) -> Option<Lack> {
        let found = self.impossible.iter().find(|(metric, _)| *metric == wanted);
        found.map(|(_, lack)| *lack)
    }
}
