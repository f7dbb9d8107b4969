//! Days not seen whole, clocks that jump, days of 23 and 25 hours.

use super::*;

#[test]
fn what_was_not_seen_whole_is_left_out_and_told() {
    let mut book = Book::new();
    let from = first_day();
    // The first day began at noon.
    book.look(at(from, 720));
    book.litres += 7.0;
    book.days(from + 1, &[10.0; 9]);
    // The service is away for four days; its counters bring 60 L when it returns.
    book.litres += 60.0;
    book.look(at(from + 14, 300));
    book.days(from + 15, &[10.0; 7]);
    let rate = book.usage.rate(StageWater::Permeate).unwrap();
    assert!((rate.level - 10.0).abs() < 1e-9, "{rate:?}");
    let [feed, permeate] = book.usage.left_out();
    assert!((permeate.litres() - 67.0).abs() < 1e-9, "{permeate:?}");
    assert!((feed.litres() - 335.0).abs() < 1e-9);
    // All of it is in the month: 7 + 9·10 + 60 + 7·10.
    let month = book.usage.month_so_far(&book.totals()).unwrap();
    assert!((month.permeate.litres() - 227.0).abs() < 1e-6, "{month:?}");
    assert!((month.concentrate.litres() - 908.0).abs() < 1e-6);
}

#[test]
fn today_begins_at_midnight_where_the_owner_lives() {
    let mut book = Book::new();
    book.zone = TimeZone::get("America/New_York").unwrap();
    let day = number_of(date(2026, 6, 10));
    book.look(at(day, 0));
    book.litres = 3.0;
    // 03:59 UTC is 23:59 in New York, 04:00 is midnight.
    book.look(at(day, 239));
    assert_eq!(
        book.usage.today(&book.totals()).unwrap().permeate.litres(),
        3.0
    );
    book.look(at(day, 240));
    assert_eq!(
        book.usage.today(&book.totals()).unwrap().permeate.litres(),
        0.0
    );
}

#[test]
fn an_unset_clock_ends_no_day_and_loses_nothing() {
    let mut book = Book::new();
    let from = first_day();
    book.days(from, &[10.0; 10]);
    let before = book.usage.state().clone();
    let unset = Now {
        mono: Mono(5),
        wall: Wall(3_600_000),
    };
    book.litres += 4.0;
    book.look(unset);
    assert_eq!(book.usage.state(), &before);
    assert_eq!(start(unset, &TimeZone::UTC), None);
    // The clock is set on the same day: it all belongs to it.
    book.look(at(from + 10, 600));
    book.look(at(from + 11, 0));
    assert_eq!(
        book.usage.state().days.last(),
        Some(&(from + 10, 20.0, 4.0))
    );
}

#[test]
fn a_clock_that_jumps_costs_days_not_the_past() {
    for jump in [4000, -300, -700] {
        let mut book = Book::new();
        let from = first_day();
        book.days(from, &[10.0; 56]);
        let level = |book: &Book| book.usage.rate(StageWater::Permeate).map(|rate| rate.level);
        // Wrong for three days, then put right.
        book.days(from + 57 + jump, &[30.0; 3]);
        book.days(from + 60, &[10.0; 8]);
        let after = level(&book).unwrap();
        assert!((after - 10.0).abs() < 1e-9, "{jump}: {after}");
        let known = book.usage.state().days.len();
        assert!(known <= LONGEST_DAYS, "{known}");
        let month = book.usage.month_so_far(&book.totals()).unwrap();
        assert!(month.permeate.litres() <= book.litres, "{jump}");
    }
}

#[test]
fn a_clock_put_back_over_midnight_goes_on_with_its_day() {
    let mut book = Book::new();
    let from = first_day();
    book.days(from, &[10.0; 10]);
    // Half past midnight, and back by an hour.
    book.litres += 1.0;
    book.look(at(from + 10, 30));
    book.look(at(from + 9, 1410));
    book.litres += 2.0;
    book.look(at(from + 10, 0));
    // The day has its 10 and 2; the litre of the half hour is left out of the use.
    assert_eq!(
        book.usage.state().days.last(),
        Some(&(from + 9, 60.0, 12.0))
    );
    // So is the first day, of which nobody knows when it was begun.
    assert_eq!(book.usage.left_out()[1].litres(), 11.0);
}

#[test]
fn days_of_23_and_25_hours_are_days() {
    // Berlin: 2026-03-29 has 23 hours, 2026-10-25 has 25.
    let zone = TimeZone::get("Europe/Berlin").unwrap();
    for (day, hours) in [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25)] {
        let (from, to) = span_of(day, &zone).unwrap();
        assert_eq!((to - from) / 3_600_000, hours);
        let mut book = Book::new();
        book.zone = zone.clone();
        let first = number_of(day) - 20;
        let before = i64::from(first) * DAY - 3_600_000 * 2;
        for hour in 0..40 * 24 {
            let wall = before + hour * 3_600_000;
            book.litres += 0.5;
            book.look(Now {
                mono: Mono(0),
                wall: Wall(wall),
            });
        }
        // Half a litre an hour.
        let days = &book.usage.state().days;
        let found = days.iter().find(|known| known.0 == number_of(day)).unwrap();
        assert!((found.2 - 0.5 * hours as f64).abs() < 1e-9, "{found:?}");
        assert!(days.windows(2).all(|pair| pair[1].0 == pair[0].0 + 1));
        let level = book.usage.rate(StageWater::Permeate).unwrap().level;
        assert!((level - 12.0).abs() < 0.1, "{level}");
    }
}
