//! The learned membrane against the truth: winter is told from wear, steps are told soon, the day a
//! limit is reached lies in the forecast's band. Laws of temperature: the membrane handbook's, one
//! that a home unit's manual prints (2700 K), and viscosity alone: the spread of published ones.

use permeated::{metrics::Metric, simulation::TemperatureLaw};

use super::{
    diary::{Alarm, Diary, Run, median},
    household::{Happening, Household},
    live_all,
};

const LAWS: [TemperatureLaw; 3] = [
    TemperatureLaw::Handbook,
    TemperatureLaw::Arrhenius(2700.0),
    TemperatureLaw::Viscosity,
];
const SEEDS: u64 = 20;

/// True share of the baseline at a run, per cent: A now over A in the runs that made the baseline.
fn true_share(diary: &Diary, run: &Run) -> f64 {
    let first = diary
        .runs
        .iter()
        .position(|run| run.value(Metric::FlowTrend).is_some())
        .unwrap_or(0);
    let base = median(diary.runs[..=first].iter().map(|run| run.truth.a_of_new));
    100.0 * run.truth.a_of_new / base
}

/// Worst error of a metric against the true share in each month, per cent of the baseline.
fn worst_by_month(diary: &Diary, metric: Metric) -> Vec<f64> {
    let error = |run: &&Run| Some(run.value(metric)? - true_share(diary, run));
    let worst = |month: &Vec<&Run>| {
        let errors = month.iter().filter_map(error);
        errors.fold(0.0, |worst: f64, error| {
            if error.abs() > worst.abs() {
                error
            } else {
                worst
            }
        })
    };
    diary.months().iter().map(worst).collect()
}

fn told(diary: &Diary) -> Vec<String> {
    let short = |alarm: &Alarm| format!("{} on day {:.1}", alarm.key, alarm.raised);
    diary.alarms().iter().map(short).collect()
}

/// A year of 4 to 24 °C, pressure ±15 %, 180 to 420 mg/L, cheap sensors with their noise, steps and,
/// in every second household, their constant errors; it begins on any day of the year.
#[test]
fn a_year_without_wear_raises_no_alarm_and_the_normalised_flow_stays_true() {
    let households: Vec<Household> = (0..SEEDS * 3)
        .map(|number| Household {
            calibrated: number % 2 == 0,
            decline_per_30_days: if number % 4 < 2 { 0.0 } else { 0.004 },
            salt_rise_per_30_days: 0.0,
            first_day: (number * 61 % 365) as f64,
            ..Household::new(number, LAWS[number as usize % 3])
        })
        .collect();
    let mut alarms = Vec::new();
    let (mut worst, mut of_rating): (f64, f64) = (0.0, 0.0);
    for diary in live_all(&households) {
        let months = worst_by_month(&diary, Metric::FlowTrend);
        let runs = worst_by_month(&diary, Metric::NormalizedFlowOfBaseline);
        let last = diary.runs.last().unwrap();
        let show = |metric: Metric| last.value(metric).unwrap_or(f64::NAN);
        println!(
            "{} {} runs, {} kB; U {:.0} ±{:.0} K; trend off by month {}; single runs at worst {:+.1}; told {:?}",
            diary.household.name(),
            diary.runs.len(),
            diary.state_bytes / 1000,
            show(Metric::FlowResponse),
            show(Metric::FlowResponseMargin),
            months
                .iter()
                .map(|error| format!("{error:+.1}"))
                .collect::<Vec<_>>()
                .join(" "),
            runs[3..]
                .iter()
                .copied()
                .fold(0.0, |worst: f64, error| worst.max(error.abs())),
            told(&diary),
        );
        // Against the rating itself the gauges' constant errors count, so only where they have none.
        if diary.household.calibrated {
            let rated = diary.runs.iter().filter(|run| run.day > 90.0).map(|run| {
                let found = run.value(Metric::NormalizedFlowOfRating).unwrap();
                (found - 100.0 * run.truth.a_of_new).abs()
            });
            of_rating = of_rating.max(rated.fold(0.0, f64::max));
        }
        alarms.extend(told(&diary));
        for error in &months[3..] {
            worst = worst.max(error.abs());
        }
    }
    println!("worst error of the trend after the third month: {worst:.2} % of the baseline");
    assert_eq!(alarms, Vec::<String>::new());
    assert!(worst < 4.0, "{worst}");
    println!("worst single run against the rating: {of_rating:.2} %");
    assert!(of_rating < 4.0, "{of_rating}");
}

/// Ten per cent lost at once, on any day after the first three months.
#[test]
fn a_step_is_told_within_a_week() {
    let households: Vec<Household> = (0..24_u64)
        .map(|number| {
            let day = 92.0 + 11.0 * number as f64;
            let lost = Happening::Lose {
                share_of_a: 0.10,
                rise_of_b: 0.0,
            };
            Household {
                calibrated: number % 2 == 0,
                decline_per_30_days: 0.004,
                salt_rise_per_30_days: 0.0,
                first_day: (number * 151 % 365) as f64,
                days: day + 20.0,
                happenings: vec![(day, lost)],
                ..Household::new(100 + number, LAWS[number as usize % 3])
            }
        })
        .collect();
    let mut late: Vec<String> = Vec::new();
    for diary in live_all(&households) {
        let day = diary.household.happenings[0].0;
        let alarms = diary.alarms();
        let first = alarms
            .iter()
            .find(|alarm| alarm.key == "normalized_flow_falling");
        let after = first.map(|alarm| alarm.raised - day);
        println!(
            "{} step on day {day}: told after {after:.1?} days",
            diary.household.name()
        );
        if !after.is_some_and(|after| (0.0..=7.0).contains(&after)) {
            late.push(format!("{} {:?}", diary.household.name(), told(&diary)));
        }
    }
    assert_eq!(late, Vec::<String>::new());
}

/// One per cent a month: ninety days before the limit of −10 % is really crossed, the forecast's band
/// holds that day.
#[test]
fn a_forecast_made_ninety_days_ahead_holds_the_day() {
    let limit = 0.90;
    let households: Vec<Household> = (0..12_u64)
        .map(|number| Household {
            calibrated: number % 2 == 0,
            decline_per_30_days: 0.01,
            salt_rise_per_30_days: 0.0,
            first_day: (number * 97 % 365) as f64,
            days: 260.0,
            configuration: "[unit.home.alert.normalized_flow_low]\nlimit = \"90 %\"\n".to_owned(),
            ..Household::new(200 + number, LAWS[number as usize % 3])
        })
        .collect();
    let mut missed = Vec::new();
    let mut widths = Vec::new();
    for diary in live_all(&households) {
        // Exponential in time from the day of the baseline, by what was simulated.
        let base_day = diary.runs[4].day;
        let crossing = base_day - 2.0 + 30.0 * f64::ln(limit) / f64::ln(1.0 - 0.01);
        let asked = diary
            .runs
            .iter()
            .rfind(|run| run.day <= crossing - 90.0)
            .unwrap();
        let day = |metric: Metric| asked.value(metric).map(|days| asked.day + days);
        let (earliest, likely, latest) = (
            day(Metric::FlowLimitEarliest),
            day(Metric::FlowLimitLikely),
            day(Metric::FlowLimitLatest),
        );
        println!(
            "{} asked on day {:.0}: {earliest:.0?} {likely:.0?} {latest:.0?}, true {crossing:.0}",
            diary.household.name(),
            asked.day,
        );
        let holds =
            earliest.is_some_and(|day| day <= crossing) && latest.is_none_or(|day| day >= crossing);
        if !holds {
            missed.push(diary.household.name());
        }
        widths.push(latest.unwrap_or(f64::INFINITY) - earliest.unwrap_or(0.0));
    }
    let width = median(widths);
    println!("half of the bands are no wider than {width:.0} days");
    assert_eq!(missed, Vec::<String>::new());
    // A band that holds everything says nothing.
    assert!(width < 400.0, "{width}");
}
