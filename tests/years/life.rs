//! Plays a household's time through the core: what is true, what the sensors make of it, what the
//! core hears at which moment. Deadlines are kept as in the service: what falls due between two
//! reports happens at its own moment.

use std::{sync::Arc, time::Instant};

use permeated::{
    core::{Arrival, Command, EventKind, Observation, Output, Replacement, Unit, UnitState},
    simulation::{Phase, Plant, Reading, Sensor, Totals, Truth},
    time::{Mono, Now, Wall},
};

use super::{
    diary::{Cost, Diary, Noted, Run, TrueRun, median},
    household::{DAY, Happening, Household},
};

/// 2026-01-01T00:00:00Z.
const START: i64 = 1_767_225_600_000;
/// Firmware goes on reporting briskly for so long after a run, s.
const BRISK_AFTER: f64 = 60.0;
/// While it stands it is looked at this often whether it still does, s.
const WATCH: f64 = 60.0;
/// What is true is taken after this much permeate, L: the daemon's default for settling.
const SETTLED_LITRES: f64 = 0.5;

/// Plays it.
pub fn live(household: &Household) -> Diary {
    let mut life = Life::new(household);
    life.pass();
    life.diary()
}

/// Plays it; also gives everything the core heard.
pub fn live_and_listen(household: &Household) -> (Diary, Vec<Heard>) {
    let mut life = Life::new(household);
    life.heard = Some(Vec::new());
    life.pass();
    let heard = life.heard.take().unwrap();
    (life.diary(), heard)
}

struct Life<'a> {
    household: &'a Household,
    plant: Plant,
    sensors: Vec<Sensor>,
    unit: Unit,
    /// What is still to happen, the latest first.
    to_come: Vec<(f64, Happening)>,
    settled: Mono,
    next_report: f64,
    ran_until: f64,
    now: TrueNow,
    events: Vec<Noted>,
    runs: Vec<Run>,
    cost: Cost,
    /// Everything the core heard, if it is to be kept: milliseconds, sensor, what.
    heard: Option<Vec<Heard>>,
}

/// When, which sensor, what.
pub type Heard = (u64, usize, Observation);

/// What is true of the run that goes on.
#[derive(Default)]
struct TrueNow {
    stood_seconds: f64,
    before: Totals,
    samples: Vec<Sample>,
    worn: (f64, f64),
}

#[derive(Clone, Copy)]
struct Sample {
    litres: f64,
    rejection: f64,
    rejection_by_mass: f64,
    celsius: f64,
    feed_psi: f64,
    feed_us_per_cm: f64,
    permeate_l_per_min: f64,
}

impl<'a> Life<'a> {
    fn new(household: &'a Household) -> Self {
        let settings = household.settings().units.remove(0);
        let mut to_come = household.happenings.clone();
        to_come.sort_by(|one, other| other.0.total_cmp(&one.0));
        Self {
            household,
            plant: household.plant(),
            sensors: household.sensors(),
            unit: Unit::new(Arc::new(settings), UnitState::default(), at(0)),
            to_come,
            settled: Mono(0),
            next_report: 0.0,
            ran_until: 0.0,
            now: TrueNow::default(),
            events: Vec::new(),
            runs: Vec::new(),
            cost: Cost::default(),
            heard: None,
        }
    }

    fn pass(&mut self) {
        let end = self.household.days * DAY;
        while self.plant.seconds() < end - 1e-6 {
            self.go_on(end);
        }
        self.report();
    }

    /// To the next moment at which something may be seen.
    fn go_on(&mut self, end: f64) {
        let started = Instant::now();
        let seconds = self.plant.seconds();
        let before = self.plant.phase();
        let longest = match before {
            Phase::Standing => WATCH,
            Phase::Producing | Phase::Flushing => f64::from(self.household.report_running),
        };
        let until = (seconds + longest).min(self.next_report).min(end);
        self.plant.step(until - seconds);
        let phase = self.plant.phase();
        if phase != Phase::Standing || before != Phase::Standing {
            self.follow(before);
        }
        self.cost.plant += started.elapsed();
        self.happen();
        if phase != before || self.plant.seconds() >= self.next_report - 1e-6 {
            self.report();
        }
    }

    /// Follows what is true of a run.
    fn follow(&mut self, before: Phase) {
        let truth = self.plant.truth();
        if before == Phase::Standing && self.now.samples.is_empty() {
            self.now.stood_seconds = truth.seconds - self.ran_until;
            self.now.before = truth.totals;
        }
        self.ran_until = truth.seconds;
        self.now.worn = (
            truth.water_permeability_of_new,
            truth.salt_permeability_of_new,
        );
        if truth.phase == Phase::Producing {
            self.now.samples.push(sample(&truth, &self.now.before));
        }
    }

    fn happen(&mut self) {
        let day = self.plant.seconds() / DAY;
        while let Some((_, happening)) = self.to_come.pop_if(|(on, _)| *on <= day) {
            match happening {
                Happening::Lose {
                    share_of_a,
                    rise_of_b,
                } => self.plant.lose(share_of_a, rise_of_b),
                Happening::Fault(point, fault) => {
                    for sensor in self.sensors.iter_mut().filter(|own| own.at() == point) {
                        sensor.fail(fault);
                    }
                }
                Happening::Change(change) => change(&mut self.plant.parameters),
                Happening::NewMembrane { told } => {
                    self.plant.replace_membrane();
                    if told {
                        self.tell_of_new_membrane();
                    }
                }
            }
        }
    }

    fn tell_of_new_membrane(&mut self) {
        let now = self.go_to_now();
        let mut stages = self.unit.settings().stages.iter();
        let stage = stages.position(|stage| stage.id == "membrane").unwrap();
        let replacement = Replacement {
            stage,
            ..Replacement::default()
        };
        self.unit.command(now, Command::Replaced(replacement));
        self.collect(now);
    }

    /// Every sensor reports.
    fn report(&mut self) {
        let started = Instant::now();
        let truth = self.plant.truth();
        let observations: Vec<Observation> = self
            .sensors
            .iter_mut()
            .map(|sensor| {
                sensor.observe(&truth);
                as_sent(sensor.read(&truth))
            })
            .collect();
        let read = Instant::now();
        self.cost.plant += read - started;
        let now = self.go_to_now();
        for (index, observation) in observations.into_iter().enumerate() {
            if let Some(heard) = &mut self.heard {
                heard.push((now.mono.0, index, observation.clone()));
            }
            self.unit
                .observe(now, index, observation, Arrival::Live, None);
            self.collect(now);
        }
        self.cost.core += read.elapsed();
        let brisk = truth.phase != Phase::Standing
            || (self.ran_until > 0.0 && truth.seconds - self.ran_until < BRISK_AFTER);
        let interval = if brisk {
            self.household.report_running
        } else {
            self.household.report_standing
        };
        self.next_report = truth.seconds + f64::from(interval);
    }

    /// Lets everything happen that is due by now, each thing at its own moment.
    fn go_to_now(&mut self) -> Now {
        let now = at((self.plant.seconds() * 1000.0).round() as u64);
        loop {
            let due = self.unit.deadline().max(Mono(self.settled.0 + 1));
            if due > now.mono {
                return now;
            }
            let moment = at(due.0);
            self.unit.tick(moment);
            self.collect(moment);
        }
    }

    fn collect(&mut self, now: Now) {
        self.settled = now.mono;
        let day = now.mono.0 as f64 / 1000.0 / DAY;
        while let Some(output) = self.unit.drain() {
            match output {
                Output::Event(event)
                    if !matches!(event.event, EventKind::RunStarted | EventKind::RunEnded) =>
                {
                    self.events.push(Noted {
                        day,
                        kind: event.event,
                        about: event.about.unwrap_or_default(),
                        text: event.text,
                    });
                }
                Output::RunEnded(record) => {
                    let truth = std::mem::take(&mut self.now).close(&self.plant.truth());
                    self.runs.push(Run {
                        day,
                        record: *record,
                        values: self.unit.values(now),
                        truth,
                    });
                }
                Output::Notice(notice) => self.unit.delivered(notice.number),
                Output::Event(_)
                | Output::AlertChanged(_)
                | Output::AlertNoted(_)
                | Output::Logged(_)
                | Output::StageReplaced(_) => {}
            }
        }
    }

    fn diary(self) -> Diary {
        let state = serde_json::to_string(&self.unit.state()).unwrap();
        Diary {
            household: self.household.clone(),
            events: self.events,
            runs: self.runs,
            totals: *self.unit.totals(),
            true_totals: self.plant.truth().totals,
            state_bytes: state.len(),
            cost: self.cost,
        }
    }
}

impl TrueNow {
    fn close(self, end: &Truth) -> TrueRun {
        let settled: Vec<Sample> = self
            .samples
            .iter()
            .copied()
            .filter(|sample| sample.litres >= SETTLED_LITRES)
            .collect();
        let samples = if settled.is_empty() {
            self.samples
        } else {
            settled
        };
        let middle = |of: fn(&Sample) -> f64| median(samples.iter().map(of));
        TrueRun {
            stood_seconds: self.stood_seconds,
            permeate_litres: end.totals.permeate_litres - self.before.permeate_litres,
            concentrate_litres: end.totals.concentrate_litres - self.before.concentrate_litres,
            rejection: middle(|sample| sample.rejection),
            rejection_by_mass: middle(|sample| sample.rejection_by_mass),
            celsius: middle(|sample| sample.celsius),
            feed_psi: middle(|sample| sample.feed_psi),
            feed_us_per_cm: middle(|sample| sample.feed_us_per_cm),
            permeate_l_per_min: middle(|sample| sample.permeate_l_per_min),
            a_of_new: self.worn.0,
            b_of_new: self.worn.1,
        }
    }
}

fn sample(truth: &Truth, before: &Totals) -> Sample {
    let passage = truth.membrane_conductivity.unwrap() / truth.feed_conductivity;
    Sample {
        litres: truth.totals.permeate_litres - before.permeate_litres,
        rejection: 1.0 - passage,
        rejection_by_mass: truth.rejection.unwrap(),
        celsius: truth.feed_temperature.celsius(),
        feed_psi: truth.feed_pressure.psi(),
        feed_us_per_cm: truth.feed_conductivity.us_per_cm(),
        permeate_l_per_min: truth.permeate_flow.l_per_min(),
    }
}

/// As firmware sends it: so many decimals.
fn as_sent(reading: Reading) -> Observation {
    match reading {
        Reading::Count(count) => Observation::Number(f64::from(count)),
        Reading::Number(value, decimals) => {
            let scale = 10_f64.powi(i32::try_from(decimals).unwrap());
            Observation::Number((value * scale).round() / scale)
        }
        Reading::Closed(closed) => Observation::Contact(closed),
    }
}

/// Both clocks so long after the beginning.
pub fn at(milliseconds: u64) -> Now {
    Now {
        mono: Mono(milliseconds),
        wall: Wall(START + milliseconds as i64),
    }
}
