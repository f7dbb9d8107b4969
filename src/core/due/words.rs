//! Why a stage falls due, in words.

use jiff::civil::Date;

use super::{Due, DueDates};
use crate::{
    config::{Capacity, Display},
    core::{
        left::Binding,
        load::{Ends, LIKELY},
        membrane::{Way, WayEnd, Ways},
        stage::Stage,
    },
    quantity::{Mass, Volume},
    time::SECONDS_PER_DAY,
};

impl Stage {
    /// What binds and how far it has come, in words.
    fn reason(&self, binding: Binding, ways: &Ways, display: Display) -> String {
        let wear = |way: &Way, of: &str| {
            let gone = way.used.map_or(0.0, |used| 100.0 * used.value[LIKELY]);
            let to = match way.limit {
                WayEnd::Share(share) => format!("to {:.0} % of the baseline's {of}", 100.0 * share),
                WayEnd::Rejection(rejection, _) => {
                    let limit = 100.0 * rejection;
                    format!("from the baseline to a rejection of {limit:.0} %")
                }
            };
            format!("{gone:.0} % of the way {to} is gone")
        };
        match binding {
            Binding::Age => {
                let life = self.settings.life_time.unwrap_or_default().as_secs_f64();
                format!("its life is {:.0} days", life / SECONDS_PER_DAY)
            }
            Binding::Breakthrough => "salt breaks through".to_owned(),
            Binding::Flow => wear(&ways.flow, "flow"),
            Binding::PressureDrop => "the pressure it takes is at its limit".to_owned(),
            Binding::Salt => wear(&ways.salt, "salt passage"),
            Binding::Test => "a test by hand found chlorine behind it".to_owned(),
            Binding::Load => self.load_text(),
            Binding::Volume => {
                let life = self.settings.life_volume.unwrap_or_default();
                let (treated, _) = display.counted(self.state.treated);
                format!("{treated:.0} of {} have passed", display.whole_volume(life))
            }
        }
    }

    fn load_text(&self) -> String {
        if let Some(Capacity::Disinfectant(capacity)) = self.settings.capacity {
            let given = self.state.disinfectant.map_or(0.0, Mass::grams);
            return format!(
                "{given:.1} of {:.1} g of chlorine have come",
                capacity.grams()
            );
        }
        let load = self.state.load.unwrap_or_default();
        let room = self.room();
        let side = |taken: Ends, room: Option<Ends>| Some((taken[LIKELY], room?[LIKELY]));
        let cation = side(load.cation, room.and_then(|room| room.cation));
        let anion = side(load.anion, room.and_then(|room| room.anion));
        let share = |side: &(f64, f64)| side.0 / side.1;
        let worse = match (cation, anion) {
            (Some(cation), Some(anion)) if share(&anion) > share(&cation) => Some(anion),
            (cation, anion) => cation.or(anion),
        };
        worse.map_or_else(String::new, |(taken, room)| {
            format!("{taken:.0} of {room:.0} meq are used")
        })
    }
}

/// Why a stage falls due then; `None` when it is not in sight.
pub(in crate::core) fn due_text(
    stage: &Stage,
    due: &Due,
    dates: &DueDates,
    ways: &Ways,
    today: Option<Date>,
    display: Display,
) -> Option<String> {
    let binding = due.binding?;
    let (today, likely) = (today?, dates.likely?);
    let reason = stage.reason(binding, ways, display);
    let day = |day: Date| day_text(day, today);
    if due.days.ok()?.value.likely <= 0.0 {
        let since = if binding.is_wear() {
            "the limit is reached".to_owned()
        } else {
            format!("nothing is left since {}", day(likely))
        };
        return Some(format!("{reason}; {since}"));
    }
    let band = match (dates.earliest, dates.latest) {
        (Some(earliest), Some(latest)) if earliest == latest => String::new(),
        (Some(earliest), Some(latest)) if one_month(earliest, latest) => {
            format!(" (between {} and {})", earliest.day(), day(latest))
        }
        (Some(earliest), Some(latest)) => {
            format!(" (between {} and {})", day(earliest), day(latest))
        }
        (Some(earliest), None) => format!(" (at the earliest {})", day(earliest)),
        (None, _) => String::new(),
    };
    let until = match (binding, due.per_day) {
        (Binding::Age | Binding::Breakthrough | Binding::PressureDrop | Binding::Test, _) => {
            format!("it ends on {}", day(likely))
        }
        (Binding::Flow | Binding::Salt, _) => {
            format!("as it goes on, the rest is gone about {}", day(likely))
        }
        (Binding::Load | Binding::Volume, Some(per_day)) => format!(
            "at {} a week it lasts until about {}",
            week_text(Volume::from_litres(per_day * 7.0), display),
            day(likely)
        ),
        (Binding::Load | Binding::Volume, None) => format!("it lasts until about {}", day(likely)),
    };
    Some(format!("{reason}; {until}{band}"))
}

fn one_month(one: Date, other: Date) -> bool {
    (one.year(), one.month()) == (other.year(), other.month())
}

fn week_text(used: Volume, display: Display) -> String {
    let (number, _) = display.counted(used);
    if number < 10.0 {
        display.volume(used)
    } else {
        display.whole_volume(used)
    }
}

/// "14 March"; with the year where it is not this one's.
fn day_text(day: Date, today: Date) -> String {
    let months = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let month = months[usize::from(day.month().unsigned_abs()) - 1];
    if day.year() == today.year() {
        format!("{} {month}", day.day())
    } else {
        format!("{} {month} {}", day.day(), day.year())
    }
}
