//! What a sensor shows, believed or not: for those who judge whether it lies.

use super::{Kind, Sensor};
use crate::{
    core::{doubt::Doubt, known::Lack},
    quantity::{Flow, Volume},
    time::Mono,
};

/// What it sent live in this process, for those who judge whether it lies.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(in crate::core) struct Sent {
    /// Readings used.
    pub readings: u64,
    /// Readings outside what is believable.
    pub refused: u64,
    /// Counts that were not believed, or fell.
    pub odd: u64,
    /// The last reading used, as the firmware sent it.
    pub last: f64,
}

impl Sensor {
    /// What a gauge shows, believed or not: doubts are judged by it.
    pub(in crate::core) fn shown(&self, now: Mono) -> Result<f64, Lack> {
        self.check_heard(now)?;
        self.median()
    }

    /// A gauge's median, however old.
    pub(super) fn median(&self) -> Result<f64, Lack> {
        let Kind::Gauge(gauge) = &self.kind else {
            return Err(Lack::NotHeard(self.settings.at));
        };
        gauge.median.ok_or(Lack::NotHeard(self.settings.at))
    }

    /// The last value of a gauge in its base unit, without smoothing.
    pub(in crate::core) fn latest(&self) -> Option<f64> {
        if let Kind::Gauge(gauge) = &self.kind {
            gauge.values.back().copied()
        } else {
            None
        }
    }

    /// A meter's flow as far as it tells whether anything flows: one that counts too little does.
    pub(in crate::core) fn flow_sign(&self, now: Mono) -> Result<Flow, Lack> {
        match self.doubt {
            Some(Doubt::UnderReads) => self.metered(now),
            _ => self.flow(now),
        }
    }

    /// What a meter shows, believed or not.
    pub(in crate::core) fn metered(&self, now: Mono) -> Result<Flow, Lack> {
        self.check_heard(now)?;
        self.counted()
    }

    /// A meter's flow, however old.
    pub(super) fn counted(&self) -> Result<Flow, Lack> {
        let Kind::Meter(meter) = &self.kind else {
            return Err(Lack::NotHeard(self.settings.at));
        };
        meter.flow(&self.settings)
    }

    /// Every litre a meter heard in this process.
    pub(in crate::core) fn litres_heard(&self) -> Option<Volume> {
        if let Kind::Meter(meter) = &self.kind {
            Some(meter.heard())
        } else {
            None
        }
    }

    /// What it sent live in this process.
    pub(in crate::core) fn sent(&self) -> Sent {
        self.sent
    }

    /// Whether a believable reading is fresh, doubted or not.
    pub(in crate::core) fn is_fresh(&self, now: Mono) -> bool {
        self.check_heard(now).is_ok()
    }

    /// Whether it speaks: not silent for its `max_age`, nor told to be away. What it says may not be
    /// believable.
    pub(in crate::core) fn is_heard(&self, now: Mono) -> bool {
        matches!(self.check_heard(now), Ok(()) | Err(Lack::Implausible(_)))
    }

    /// Why its values are withdrawn, if they are.
    #[must_use]
    pub fn doubt(&self) -> Option<Doubt> {
        self.doubt
    }

    pub(in crate::core) fn set_doubt(&mut self, doubt: Option<Doubt>) {
        self.doubt = doubt;
    }
}
