//! What is said of a filling in a stage's document.

use super::{Fillings, Sight};
use crate::{
    config::Display,
    core::{load::LIKELY, stage::Stage},
    physics::swapped::LEAST_FRESH_RATIO,
    quantity::{Conductivity, TdsScale, Volume},
};

/// From this share of the anion side on, silica may already pass (common practice, no source).
const SILICA_USED: f64 = 0.85;

/// Figures with a digit more the smaller they are.
fn shown(scale: TdsScale, us_per_cm: f64) -> String {
    let level = scale.tds(Conductivity::from_us_per_cm(us_per_cm.max(0.0)));
    format!("{:.2} mg/L", level.mg_per_l())
}

impl Fillings {
    /// What taught the capacity, in words.
    pub fn learned_from(&self, stage: &Stage) -> Option<String> {
        self.filling(stage)?.learned.as_ref()?.words()
    }

    /// How a front that arrives is told.
    pub fn leaking_sentence(
        &self,
        stage: &Stage,
        scale: TdsScale,
        display: Display,
    ) -> Option<String> {
        let filling = self.filling(stage)?;
        let Sight::Leaking { from, to, runs } = filling.front.sight else {
            return None;
        };
        let (limit, enters) = filling.limits?;
        let left = match filling.front.litres_to(limit, enters) {
            Some(litres) if to < limit => {
                let left = display.whole_volume(Volume::from_litres(litres));
                format!("; about {left} left")
            }
            Some(_) | None => String::new(),
        };
        Some(format!(
            "The water behind {} rose from {} to {} over {runs} runs; the resin begins to let through{left}.",
            stage.settings().name,
            shown(scale, from),
            shown(scale, to),
        ))
    }

    /// What else is to be said, each in a sentence; nothing for a stage without resin.
    pub fn notes(&self, stage: &Stage, scale: TdsScale, display: Display) -> Vec<String> {
        let mut notes = Vec::new();
        if let Some(filling) = self.filling(stage) {
            if let Some(spent) = &filling.spent {
                notes.push(format!(
                    "Salt breaks through: {} against a limit of {} behind {}.",
                    shown(scale, spent.level),
                    shown(scale, spent.limit),
                    spent.behind,
                ));
                if spent.taken.is_none() {
                    notes.push(
                        "It was never seen to be good, so its capacity could not be learned."
                            .to_owned(),
                    );
                }
            } else {
                notes.extend(self.leaking_sentence(stage, scale, display));
            }
            if let Sight::Stepped { from, to, litres } = filling.front.sight {
                notes.push(format!(
                    "Behind it the probe stepped from {} to {} at {} and stays there: more likely the probe \
                     than the resin.",
                    shown(scale, from),
                    shown(scale, to),
                    display.whole_volume(Volume::from_litres(litres)),
                ));
            }
            let mut fresh = filling.fresh.clone();
            let ratio = crate::physics::statistics::median(&mut fresh);
            if ratio.is_some_and(|ratio| ratio < LEAST_FRESH_RATIO) {
                notes.push(
                    "The water behind it conducts hardly more than what enters, so this probe cannot tell when \
                     it is spent."
                        .to_owned(),
                );
            }
        }
        if stage
            .anion_used()
            .is_some_and(|used| used[LIKELY] >= SILICA_USED)
        {
            notes.push(
                "Its anion resin is nearly used: silica and carbon dioxide pass first, and a probe does not \
                 see silica. Where it matters, test for it by hand."
                    .to_owned(),
            );
        }
        notes
    }
}
