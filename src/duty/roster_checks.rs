//! The roster on days that go wrong: nobody entered, somebody gone, nights over changes of clocks, shifts on shifts.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::Weekday;
use jiff::tz::TimeZone;

use crate::duty::Absence;
use crate::duty::DatedShift;
use crate::duty::DayHours;
use crate::duty::DutySpan;
use crate::duty::Gap;
use crate::duty::HORIZON;
use crate::duty::Hours;
use crate::duty::NoSwap;
use crate::duty::OnDuty;
use crate::duty::Rank;
use crate::duty::Roster;
use crate::duty::Watch;
use crate::duty::WeeklyShift;
use crate::ids::Chance;
use crate::ids::Moment;
use crate::ids::StaffId;

pub(super) const WEEK: [Weekday; 7] = [
    Weekday::Monday,
    Weekday::Tuesday,
    Weekday::Wednesday,
    Weekday::Thursday,
    Weekday::Friday,
    Weekday::Saturday,
    Weekday::Sunday,
];

pub(super) fn people(count: usize) -> Vec<StaffId> {
    let moment = Moment::new(at("2026-01-01T00:00:00Z"), Chance::seeded(17));
    (0..count).map(|_| StaffId::mint(&moment)).collect()
}

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn new_york() -> TimeZone {
    TimeZone::get("America/New_York").unwrap()
}

fn weekly(weekday: Weekday, from_h: i64, until_h: i64, staff: StaffId, rank: Rank) -> WeeklyShift {
    WeeklyShift { weekday, from_minute: from_h * 60, until_minute: until_h * 60, staff, rank }
}

fn dated(from: &str, until: &str, staff: StaffId, rank: Rank) -> DatedShift {
    DatedShift { from: at(from), until: at(until), staff, rank, instead_of: None }
}

fn span(from: &str, until: &str, staff: StaffId, rank: Rank) -> DutySpan {
    DutySpan { from: at(from), until: at(until), staff, rank }
}

/// By day one person, by night another, every day of the week.
fn day_and_night(day: StaffId, night: StaffId) -> Roster {
    let mut roster = Roster::empty(new_york());
    for weekday in WEEK {
        roster.weekly.push(weekly(weekday, 6, 22, day, Rank::First));
        roster.weekly.push(weekly(weekday, 22, 6, night, Rank::First));
    }
    roster
}

fn who(roster: &Roster, then: &str) -> Vec<StaffId> {
    roster.on_duty(at(then)).into_iter().map(|on| on.staff).collect()
}

#[test]
fn an_empty_roster_has_nobody_on_duty_and_one_gap() {
    let roster = Roster::empty(new_york());
    let now = at("2026-05-04T12:00:00Z");
    assert!(roster.is_blank() && roster.on_duty(now).is_empty());
    let until = now + SignedDuration::from_hours(14 * 24);
    assert_eq!(roster.gaps(now, 14), [Gap { from: now, until, rank: Rank::First }]);
    assert_eq!(roster.watch(now), Watch::Nobody { again: None });
    assert!(roster.gaps(now, 0).is_empty() && roster.gaps(now, -3).is_empty());
}

#[test]
fn where_no_roster_is_kept_the_hours_say_who_watches_and_where_one_is_kept_they_do_not() {
    let hours = Hours::on_weekdays(new_york(), DayHours::new(480, 1_020));
    let mut roster = Roster::empty(new_york());
    let (day, night) = (at("2026-05-04T15:00:00Z"), at("2026-05-05T02:00:00Z"));
    assert_eq!(
        roster.watch_or_hours(&hours, day),
        Watch::Somebody { until: Some(at("2026-05-04T21:00:00Z")) }
    );
    assert_eq!(
        roster.watch_or_hours(&hours, night),
        Watch::Nobody { again: Some(at("2026-05-05T12:00:00Z")) }
    );
    // Only the nights are covered: office hours alone are no cover any more.
    roster.weekly.push(weekly(Weekday::Monday, 20, 6, people(1)[0], Rank::First));
    assert_eq!(roster.watch_or_hours(&hours, day), Watch::Nobody { again: Some(at("2026-05-05T00:00:00Z")) });
    assert_eq!(
        roster.watch_or_hours(&hours, night),
        Watch::Somebody { until: Some(at("2026-05-05T10:00:00Z")) }
    );
}

#[test]
fn a_shift_over_midnight_begins_and_ends_on_the_minute() {
    let [day, night] = people(2)[..] else { unreachable!() };
    let roster = day_and_night(day, night);
    // New York is four hours behind in May.
    assert_eq!(who(&roster, "2026-05-05T01:59:59Z"), [day]);
    assert_eq!(who(&roster, "2026-05-05T02:00:00Z"), [night]);
    assert_eq!(who(&roster, "2026-05-05T09:59:59Z"), [night]);
    assert_eq!(who(&roster, "2026-05-05T10:00:00Z"), [day]);
    let on = OnDuty { staff: night, rank: Rank::First, until: at("2026-05-05T10:00:00Z") };
    assert_eq!(roster.on_duty(at("2026-05-05T06:00:00Z")), [on]);
}

// New York: clocks forward at 2:00 on 8 March 2026, back at 2:00 on 1 November (IANA time zone database).
#[test]
fn a_night_is_an_hour_shorter_or_longer_when_the_clocks_change_and_leaves_no_gap() {
    let [day, night] = people(2)[..] else { unreachable!() };
    let roster = day_and_night(day, night);
    let hours = |from: &str| {
        let spans = roster.spans(at(from), at(from) + SignedDuration::from_hours(30));
        let night = spans.into_iter().find(|span| span.staff == night).unwrap();
        night.until.duration_since(night.from).as_hours()
    };
    assert_eq!(hours("2026-03-07T12:00:00Z"), 7);
    assert_eq!(hours("2026-03-08T12:00:00Z"), 8);
    assert_eq!(hours("2026-10-31T12:00:00Z"), 9);
    for begins in ["2026-03-01T00:00:00Z", "2026-10-25T00:00:00Z"] {
        assert!(roster.gaps(at(begins), 14).is_empty());
    }
    assert_eq!(who(&roster, "2026-03-08T09:59:59Z"), [night]);
    assert_eq!(who(&roster, "2026-03-08T10:00:00Z"), [day]);
    assert_eq!(who(&roster, "2026-11-01T10:59:59Z"), [night]);
    assert_eq!(who(&roster, "2026-11-01T11:00:00Z"), [day]);
}

#[test]
fn shifts_that_meet_in_a_skipped_or_a_doubled_hour_leave_no_gap_and_no_overlap() {
    let [early, late] = people(2)[..] else { unreachable!() };
    let mut roster = Roster::empty(new_york());
    for weekday in WEEK {
        let shift = |from_minute, until_minute, staff| WeeklyShift {
            weekday,
            from_minute,
            until_minute,
            staff,
            rank: Rank::First,
        };
        // 1:30 comes twice in November, 2:30 never in March.
        roster.weekly.extend([shift(90, 150, early), shift(150, 90, late)]);
    }
    for day in ["2026-03-07T05:00:00Z", "2026-10-31T04:00:00Z"] {
        assert!(roster.gaps(at(day), 3).is_empty());
        let end = at(day) + SignedDuration::from_hours(72);
        let spans = roster.spans(at(day), end);
        assert!(spans.windows(2).all(|pair| pair[0].until == pair[1].from), "{spans:?}");
    }
    assert_eq!(who(&roster, "2026-11-01T05:30:00Z"), [early]);
    assert_eq!(who(&roster, "2026-11-01T06:30:00Z"), [early]);
    assert_eq!(who(&roster, "2026-11-01T07:30:00Z"), [late]);
}

#[test]
fn somebody_switched_off_while_on_duty_leaves_a_gap_that_shows() {
    let [day, night] = people(2)[..] else { unreachable!() };
    let mut roster = day_and_night(day, night);
    roster.removed.insert(night);
    let now = at("2026-05-05T03:00:00Z");
    assert!(roster.on_duty(now).is_empty());
    assert_eq!(
        roster.gaps(now, 1)[0],
        Gap { from: now, until: at("2026-05-05T10:00:00Z"), rank: Rank::First }
    );
    assert_eq!(roster.watch(now), Watch::Nobody { again: Some(at("2026-05-05T10:00:00Z")) });
    assert!(roster.spans(now, at("2026-05-20T00:00:00Z")).iter().all(|span| span.staff == day));
}

#[test]
fn somebody_away_leaves_a_gap_until_another_covers_it() {
    let [day, night, third] = people(3)[..] else { unreachable!() };
    let mut roster = day_and_night(day, night);
    let away = ("2026-05-05T02:00:00Z", "2026-05-05T10:00:00Z");
    roster.absences.push(Absence { staff: night, from: at(away.0), until: at(away.1) });
    assert!(who(&roster, "2026-05-05T03:00:00Z").is_empty());
    roster.dated.push(dated(away.0, away.1, third, Rank::First));
    assert_eq!(who(&roster, "2026-05-05T03:00:00Z"), [third]);
    assert!(roster.gaps(at("2026-05-04T12:00:00Z"), 2).is_empty());
}

#[test]
fn two_people_of_one_rank_are_both_on_duty_and_one_is_enough() {
    let [one, other, second] = people(3)[..] else { unreachable!() };
    let mut roster = Roster::empty(new_york());
    roster.weekly.push(weekly(Weekday::Monday, 8, 18, one, Rank::First));
    roster.weekly.push(weekly(Weekday::Monday, 8, 12, other, Rank::First));
    roster.weekly.push(weekly(Weekday::Monday, 8, 18, second, Rank::Second));
    let on = roster.on_duty(at("2026-05-04T13:00:00Z"));
    assert_eq!(on.len(), 3);
    assert_eq!((on[2].staff, on[2].rank), (second, Rank::Second));
    let until = |staff| on.iter().find(|on| on.staff == staff).unwrap().until;
    assert_eq!((until(one), until(other)), (at("2026-05-04T22:00:00Z"), at("2026-05-04T16:00:00Z")));
    assert_eq!(who(&roster, "2026-05-04T17:00:00Z"), [one, second]);
    // Entered twice, counted once.
    roster.weekly.push(weekly(Weekday::Monday, 8, 18, one, Rank::First));
    assert_eq!(roster.on_duty(at("2026-05-04T17:00:00Z")).len(), 2);
}

#[test]
fn a_gap_of_the_second_rank_shows_only_where_one_is_kept() {
    let [day, night] = people(2)[..] else { unreachable!() };
    let mut roster = day_and_night(day, night);
    let now = at("2026-05-04T12:00:00Z");
    assert!(roster.gaps(now, 14).is_empty());
    roster.dated.push(dated("2026-05-04T12:00:00Z", "2026-05-04T20:00:00Z", night, Rank::Second));
    let gaps = roster.gaps(now, 14);
    assert_eq!(gaps.len(), 1);
    assert_eq!((gaps[0].from, gaps[0].rank), (at("2026-05-04T20:00:00Z"), Rank::Second));
}

#[test]
fn dated_shifts_replace_the_pattern_for_their_time_and_rank_and_stand_beside_each_other() {
    let [day, night, third, fourth] = people(4)[..] else { unreachable!() };
    let mut roster = day_and_night(day, night);
    roster.weekly.push(weekly(Weekday::Tuesday, 6, 22, night, Rank::Second));
    roster.dated.push(dated("2026-05-05T14:00:00Z", "2026-05-05T18:00:00Z", third, Rank::First));
    roster.dated.push(dated("2026-05-05T16:00:00Z", "2026-05-05T20:00:00Z", fourth, Rank::First));
    assert_eq!(who(&roster, "2026-05-05T13:59:59Z"), [day, night]);
    assert_eq!(who(&roster, "2026-05-05T14:00:00Z"), [third, night]);
    let mut both = vec![third, fourth];
    both.sort();
    both.push(night);
    assert_eq!(who(&roster, "2026-05-05T17:00:00Z"), both);
    assert_eq!(who(&roster, "2026-05-05T18:00:00Z"), [fourth, night]);
    assert_eq!(who(&roster, "2026-05-05T20:00:00Z"), [day, night]);
    // A shift that ends before it begins is none.
    roster.dated.push(dated("2026-05-05T21:00:00Z", "2026-05-05T21:00:00Z", third, Rank::First));
    assert_eq!(who(&roster, "2026-05-05T21:00:00Z"), [day, night]);
}

#[test]
fn two_people_swap_and_each_has_the_others_shift() {
    let [day, night, third] = people(3)[..] else { unreachable!() };
    let mut roster = day_and_night(day, night);
    let tuesday = span("2026-05-05T10:00:00Z", "2026-05-06T02:00:00Z", day, Rank::First);
    let thursday_night = span("2026-05-08T02:00:00Z", "2026-05-08T10:00:00Z", night, Rank::First);
    roster.dated.extend(roster.swap(&tuesday, &thursday_night).unwrap());
    assert_eq!(who(&roster, "2026-05-05T12:00:00Z"), [night]);
    assert_eq!(who(&roster, "2026-05-08T05:00:00Z"), [day]);
    assert!(roster.gaps(at("2026-05-04T00:00:00Z"), 14).is_empty());
    // Meanwhile it is no longer theirs.
    assert_eq!(roster.swap(&tuesday, &thursday_night).unwrap_err(), NoSwap::NotTheirs);
    // What a lead enters later stands over the swap.
    roster.dated.push(dated("2026-05-05T10:00:00Z", "2026-05-06T02:00:00Z", third, Rank::First));
    assert_eq!(who(&roster, "2026-05-05T12:00:00Z"), [third]);
}

#[test]
fn a_swap_that_cannot_be_says_why() {
    let [day, night, third] = people(3)[..] else { unreachable!() };
    let mut roster = day_and_night(day, night);
    let tuesday = span("2026-05-05T10:00:00Z", "2026-05-06T02:00:00Z", day, Rank::First);
    let friday = span("2026-05-08T10:00:00Z", "2026-05-09T02:00:00Z", day, Rank::First);
    assert_eq!(roster.swap(&tuesday, &friday).unwrap_err(), NoSwap::SamePerson);
    assert_eq!(roster.takes_over(&tuesday, day).unwrap_err(), NoSwap::SamePerson);
    roster.weekly.push(weekly(Weekday::Tuesday, 6, 22, third, Rank::First));
    assert_eq!(roster.takes_over(&tuesday, third).unwrap_err(), NoSwap::OnAlready);
    roster.absences.push(Absence {
        staff: night,
        from: at("2026-05-06T01:00:00Z"),
        until: at("2026-05-07T00:00:00Z"),
    });
    assert_eq!(roster.takes_over(&tuesday, night).unwrap_err(), NoSwap::Away);
    let longer = span("2026-05-05T10:00:00Z", "2026-05-06T02:00:01Z", day, Rank::First);
    assert_eq!(roster.takes_over(&longer, night).unwrap_err(), NoSwap::NotTheirs);
    let endless = DutySpan { from: Timestamp::MIN, until: Timestamp::MAX, ..tuesday };
    assert_eq!(roster.takes_over(&endless, night).unwrap_err(), NoSwap::NotTheirs);
}

#[test]
fn who_is_on_for_good_is_on_as_far_as_is_looked_ahead() {
    let one = people(1)[0];
    let mut roster = Roster::empty(new_york());
    roster.weekly.extend(WEEK.map(|weekday| weekly(weekday, 8, 8, one, Rank::First)));
    let now = at("2026-05-04T15:00:00Z");
    assert_eq!(roster.on_duty(now)[0].until, now + HORIZON);
    assert_eq!(roster.watch(now), Watch::Somebody { until: None });
}
