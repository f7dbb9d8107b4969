//! A household with a train of DI vessels: permeate of a simple kind (salt that wanders, creep in the
//! first tenths of a litre), probes with errors, and a keeper who replaces what is told to be spent.

use std::{collections::BTreeMap, sync::Arc};

use permeated::{
    config,
    core::{Arrival, Command, EventKind, Observation, Output, Replacement, Unit, UnitState},
    metrics::StageMetric,
    simulation::{Dissolved, Resin, Vessel, Vessels},
    time::{Mono, Now, Wall},
    wire::{
        Text,
        document::{Snapshot, State},
    },
};

use super::parts::{Ended, Kind, Random, Told};

/// 2026-01-01T00:00:00Z.
const START: i64 = 1_767_225_600_000;
const PULSES: f64 = 10_000.0;
/// Between reports while it runs.
const REPORT_SECONDS: u64 = 30;
const LITRES_A_REPORT: f64 = 0.2;
/// Mean permeate, mg/L of salt.
const SALT: f64 = 8.0;

pub struct House {
    random: Random,
    kinds: Vec<Kind>,
    /// True usable capacities, meq, and how much fillings differ.
    pub capacities: Vec<(f64, f64)>,
    pub filling_noise: f64,
    /// What the configuration says of each stage.
    pub configured: Vec<String>,
    chemistry: bool,
    /// Carbon dioxide in the permeate, mg/L.
    pub gas: f64,
    /// Permeate at the first moment of a run, in multiples of the settled.
    pub creep: f64,
    /// At so many litres the last probe begins to show so much more, µS/cm.
    pub step: Option<(f64, f64)>,
    pub stop_at: Option<f64>,
    /// Alerts raised, and at how many litres in all.
    pub raised: Vec<(f64, String)>,
    /// Notes of the last stage, of all times.
    pub notes: Vec<String>,
    unit: Option<Unit>,
    vessels: Vessels,
    gains: Vec<f64>,
    seconds: u64,
    litres: f64,
}

struct Filling {
    since: f64,
    number: usize,
    true_end: Option<f64>,
    told: Vec<Told>,
}

impl House {
    pub fn new(seed: u64, kinds: &[Kind]) -> Self {
        let mut random = Random(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        // What is used of fresh resin: 50 to 80 %, like as not.
        let capacities = kinds
            .iter()
            .map(|kind| {
                let usable = 0.52 + 0.26 * random.even();
                let (cation, anion) = kind.whole();
                (cation * usable, anion * usable)
            })
            .collect();
        let gains = (0..=kinds.len()).map(|_| 1.0 + 0.02 * random.normal().clamp(-2.0, 2.0));
        Self {
            capacities,
            filling_noise: 0.03,
            configured: kinds.iter().map(|_| String::new()).collect(),
            chemistry: false,
            gas: 4.0,
            creep: 10.0,
            step: None,
            stop_at: None,
            raised: Vec::new(),
            notes: Vec::new(),
            unit: None,
            vessels: Vessels::default(),
            gains: gains.collect(),
            kinds: kinds.to_vec(),
            random,
            seconds: 0,
            litres: 0.0,
        }
    }

    pub fn know_chemistry(&mut self) {
        self.chemistry = true;
    }

    pub fn know_resin(&mut self) {
        self.configured = self
            .kinds
            .iter()
            .map(|kind| kind.resin().to_owned())
            .collect();
    }

    pub fn know_capacities(&mut self) {
        let capacity = |(kind, (cation, anion)): (&Kind, &(f64, f64))| {
            let meq = match kind {
                Kind::Cation => *cation,
                Kind::Anion | Kind::Mixed => *anion,
            };
            format!("capacity = \"{meq:.1} meq\"")
        };
        let both = self.kinds.iter().zip(&self.capacities);
        self.configured = both.map(capacity).collect();
    }

    fn configuration(&self) -> String {
        let mut text =
            String::from("[unit.k]\ntds_scale = 0.5\n[unit.k.supply]\ntemperature = \"15 degC\"\n");
        if self.chemistry {
            // PHREEQC: water of 100 mg/L CaCO3 … 4.2 mg/L of carbon dioxide at 15 °C and pH 7.6, alkalinity 78.
            text += "conductivity = \"232 uS/cm\"\nalkalinity = \"78 mg/L CaCO3\"\nph = 7.62\n";
        }
        text += "[[unit.k.stage]]\nid = \"membrane\"\nkind = \"membrane\"\n";
        for (index, (kind, keys)) in self.kinds.iter().zip(&self.configured).enumerate() {
            let id = kind.id(index);
            text += &format!(
                "[[unit.k.stage]]\nid = \"{id}\"\nkind = \"{}\"\n{keys}\n",
                kind.key()
            );
        }
        text += "[[unit.k.sensor]]\nat = \"permeate_flow\"\ntopic = \"f\"\nkind = \"pulses\"\npulses_per_litre = 10000\n";
        text += "[[unit.k.sensor]]\nat = \"permeate_tds\"\ntopic = \"p\"\nunit = \"uS/cm\"\n";
        for (index, kind) in self.kinds.iter().enumerate() {
            if index + 1 == self.kinds.len() {
                text +=
                    "[[unit.k.sensor]]\nat = \"product_tds\"\ntopic = \"d\"\nunit = \"uS/cm\"\n";
            } else {
                text += &format!(
                    "[[unit.k.sensor]]\nat = \"stage_tds\"\nstage = \"{}\"\ntopic = \"s{index}\"\nunit = \"uS/cm\"\n",
                    kind.id(index)
                );
            }
        }
        text
    }

    fn now(&self) -> Now {
        Now {
            mono: Mono(self.seconds * 1000),
            wall: Wall(START + (self.seconds * 1000) as i64),
        }
    }

    fn begin(&mut self) {
        let text = self.configuration();
        let settings = config::from_text("house.toml", &text, &BTreeMap::new(), None)
            .unwrap_or_else(|problems| panic!("{problems}\n{text}"));
        let settings = Arc::new(settings.units.into_iter().next().unwrap());
        self.unit = Some(Unit::new(settings, UnitState::default(), self.now()));
        let fresh = |kind: &Kind| Vessel {
            cation: (*kind != Kind::Anion).then(|| Resin::new(1.0, 30.0, 0.0)),
            anion: (*kind != Kind::Cation).then(|| Resin::new(1.0, 30.0, 0.0)),
        };
        self.vessels = Vessels(self.kinds.iter().map(fresh).collect());
        for index in 0..self.kinds.len() {
            self.refill(index);
        }
    }

    fn refill(&mut self, index: usize) {
        let factor = (self.filling_noise * self.random.normal()).exp();
        let (cation, anion) = self.capacities[index];
        self.vessels.0[index].refill(cation * factor, anion * factor);
    }

    /// The keeper puts a fresh filling in and says so.
    pub fn replace(&mut self, index: usize) {
        self.refill(index);
        self.seconds += 120;
        let now = self.now();
        let command = Command::Replaced(Replacement {
            stage: index + 1,
            ..Replacement::default()
        });
        self.unit.as_mut().unwrap().command(now, command);
        self.collect();
    }

    /// Until each stage has had so many fillings spent, or the first stage is at its last. What is told
    /// spent is replaced at once.
    pub fn live(&mut self, fillings: usize) -> Vec<Ended> {
        self.begin();
        let fresh = |number: usize, since: f64| Filling {
            since,
            number,
            true_end: None,
            told: Vec::new(),
        };
        let mut present: Vec<Filling> = self.kinds.iter().map(|_| fresh(1, 0.0)).collect();
        let mut ended = Vec::new();
        while self.litres < self.stop_at.unwrap_or(60_000.0) {
            self.run(&mut present);
            for (index, filling) in present.iter_mut().enumerate() {
                let treated = self.litres - filling.since;
                if let Some(told) = self.told(index, treated) {
                    filling.told.push(told);
                }
                if self.document(index)["binds"] != "breakthrough" {
                    continue;
                }
                let old = std::mem::replace(filling, fresh(filling.number + 1, self.litres));
                ended.push(Ended {
                    stage: self.kinds[index].id(index),
                    number: old.number,
                    told_litres: treated,
                    true_litres: old.true_end.unwrap_or(treated),
                    told: old.told,
                });
                self.replace(index);
            }
            let last = self.notes_of_last();
            self.notes.extend(last);
            self.notes.dedup();
            // The mixed bed behind others has nothing to do.
            let first_two = self.kinds.len().min(2);
            if present[..first_two]
                .iter()
                .all(|filling| filling.number > fillings)
            {
                break;
            }
        }
        ended
    }

    /// One run, and the standing after it.
    fn run(&mut self, present: &mut [Filling]) {
        let wanted = 6.0 + 6.0 * self.random.even();
        let salt =
            SALT * (1.0 + 0.1 * (self.litres / 700.0).sin()) * (1.0 + 0.03 * self.random.normal());
        let mut made = 0.0;
        while made < wanted {
            made += LITRES_A_REPORT;
            self.litres += LITRES_A_REPORT;
            self.seconds += REPORT_SECONDS;
            let crept = 1.0 + (self.creep - 1.0) * (-made / 0.15_f64).exp();
            let permeate = Dissolved::permeate(salt * crept, self.gas);
            let behind = self.vessels.treat(permeate, LITRES_A_REPORT);
            if made > 2.0 {
                self.note_true_ends(permeate, &behind, present);
            }
            self.report(permeate, &behind);
        }
        let still = vec![Dissolved::permeate(0.0, 0.0); self.kinds.len()];
        for _ in 0..3 {
            self.seconds += 300;
            self.report(Dissolved::permeate(salt, self.gas), &still);
        }
        self.seconds += 6 * 3600;
    }

    /// Cation resin has let a tenth of the sodium through; elsewhere the water conducts as much as the limit.
    fn note_true_ends(
        &mut self,
        permeate: Dissolved,
        behind: &[Dissolved],
        present: &mut [Filling],
    ) {
        for (index, water) in behind.iter().enumerate() {
            let is_last = index + 1 == behind.len();
            // What the anion resin lets through, without the cation resin's sodium.
            let own = Dissolved {
                sodium: 0.0,
                ..*water
            };
            let is_over = match self.kinds[index] {
                Kind::Cation => water.sodium > 0.1 * permeate.sodium,
                Kind::Mixed => water.conductivity() > 2.0,
                Kind::Anion if is_last => own.conductivity() > 2.0,
                Kind::Anion => own.conductivity() > (0.1 * permeate.conductivity()).max(2.0),
            };
            let filling = &mut present[index];
            if is_over && filling.true_end.is_none() {
                filling.true_end = Some(self.litres - filling.since);
            }
        }
    }

    fn report(&mut self, permeate: Dissolved, behind: &[Dissolved]) {
        let now = self.now();
        let mut shown = vec![permeate.conductivity()];
        shown.extend(behind.iter().map(Dissolved::conductivity));
        if let (Some((litres, more)), Some(last)) = (self.step, shown.last_mut()) {
            *last += if self.litres > litres { more } else { 0.0 };
        }
        for (index, true_value) in shown.into_iter().enumerate() {
            let noisy = true_value * self.gains[index] * (1.0 + 0.01 * self.random.normal())
                + 0.03 * self.random.normal();
            let value = (noisy.max(0.0) * 10.0).round() / 10.0;
            self.observe(now, index + 1, value);
        }
        let count = (self.litres * PULSES).floor();
        self.observe(now, 0, count);
    }

    fn observe(&mut self, now: Now, sensor: usize, value: f64) {
        let unit = self.unit.as_mut().unwrap();
        loop {
            let due = unit.deadline();
            if due > now.mono {
                break;
            }
            let wall = Wall(START + i64::try_from(due.0).unwrap());
            unit.tick(Now { mono: due, wall });
        }
        unit.observe(now, sensor, Observation::Number(value), Arrival::Live, None);
        self.collect();
    }

    fn collect(&mut self) {
        while let Some(output) = self.unit.as_mut().unwrap().drain() {
            if let Output::Event(event) = output
                && event.event == EventKind::AlertRaised
            {
                self.raised
                    .push((self.litres, event.about.unwrap_or_default()));
            }
        }
    }

    fn told(&self, index: usize, treated: f64) -> Option<Told> {
        let unit = self.unit.as_ref().unwrap();
        let found = &unit.stage_findings(self.now())[index + 1];
        for metric in StageMetric::ALL.iter().copied() {
            if let Ok(known) = found.of(metric) {
                assert!(known.value.is_finite() && known.value >= 0.0, "{metric:?}");
            }
        }
        let of = |metric| found.of(metric).ok().map(|known| known.value);
        let end = |left_pct: f64| treated / (1.0 - left_pct / 100.0).max(1e-9);
        let band = (of(StageMetric::LeftLow), of(StageMetric::LeftHigh));
        Some(Told {
            litres: treated,
            foreseen: treated + of(StageMetric::LeftVolume)?,
            band: match band {
                (Some(low), Some(high)) => Some((end(low), end(high))),
                _ => None,
            },
        })
    }

    pub fn metric(&self, index: usize, name: &str) -> f64 {
        self.document(index)[name].as_f64().unwrap()
    }

    pub fn document(&self, index: usize) -> serde_json::Value {
        let unit = self.unit.as_ref().unwrap();
        let mut text = Text::default();
        Snapshot::of(unit, self.now()).write(State::Stage(index + 1), &mut text);
        serde_json::from_str(&text.into_string()).unwrap()
    }

    fn notes_of_last(&self) -> Vec<String> {
        let document = self.document(self.kinds.len() - 1);
        let notes = document["notes"].as_array().cloned().unwrap_or_default();
        notes
            .iter()
            .map(|note| note.as_str().unwrap().to_owned())
            .collect()
    }
}
