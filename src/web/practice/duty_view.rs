//! The roster as the duty pages show it: day by day, with its gaps in words.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::ToSpan;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::care::duty::Board;
use crate::care::duty::SHOWN_DAYS;
use crate::care::duty::shifts_ahead;
use crate::duty::DayHours;
use crate::duty::DutySpan;
use crate::duty::Gap;
use crate::duty::Hours;
use crate::duty::Rank;
use crate::duty::instant;
use crate::ids::StaffId;
use crate::store::staff::StaffMember;
use crate::web::practice::duty_typed::WEEK;
use crate::web::practice::duty_typed::span_code;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::words::calendar;

/// One day of the fortnight.
pub struct Day {
    pub name: String,
    /// "8:00–17:00", "closed", or the name of the holiday.
    pub hours: String,
    pub first: Vec<Entry>,
    pub second: Vec<Entry>,
}

/// One line of a day.
pub struct Entry {
    pub clock: String,
    /// `None`: a gap.
    pub who: Option<String>,
}

/// A gap in words.
pub struct GapLine {
    pub when: String,
    pub long: String,
    pub rank: &'static str,
}

/// An entry of a list to choose from.
pub struct Choice {
    pub code: String,
    pub words: String,
}

pub fn rank_words(rank: Rank) -> &'static str {
    match rank {
        Rank::First => "first",
        Rank::Second => "second",
    }
}

pub fn name_of(staff: &[StaffMember], id: StaffId) -> String {
    staff
        .iter()
        .find(|member| member.id == id)
        .map_or_else(|| "somebody who left".to_owned(), |member| member.name.clone())
}

/// The fortnight from today on, day by day.
pub fn fortnight(board: &Board, now: Timestamp) -> Vec<Day> {
    let zone = &board.practice.zone;
    let today = now.to_zoned_datetime(zone.clone()).date();
    let dates = (0..SHOWN_DAYS).filter_map(|days| today.checked_add(days.days()).ok());
    dates.filter_map(|date| day(board, date, now)).collect()
}

fn day(board: &Board, date: Date, now: Timestamp) -> Option<Day> {
    let zone = &board.practice.zone;
    let (begins, ends) = (instant(date, 0, zone)?.max(now), instant(date, crate::duty::DAY_MINUTES, zone)?);
    let spans = board.roster.spans(begins, ends);
    let gaps: Vec<Gap> = board.roster.gaps(begins, 2);
    let entries = |rank: Rank| {
        let held = spans.iter().filter(|span| span.rank == rank);
        let mut lines: Vec<(Timestamp, Entry)> = held
            .map(|span| {
                let who = Some(name_of(&board.staff, span.staff));
                (span.from, Entry { clock: clock_span(span.from, span.until, ends, zone), who })
            })
            .collect();
        for gap in gaps.iter().filter(|gap| gap.rank == rank && gap.from < ends) {
            let clock = clock_span(gap.from, gap.until.min(ends), ends, zone);
            lines.push((gap.from, Entry { clock, who: None }));
        }
        lines.sort_by_key(|(from, _)| *from);
        lines.into_iter().map(|(_, entry)| entry).collect()
    };
    Some(Day {
        name: calendar::short_day(STAFF_LANGUAGE, date.at(0, 0, 0, 0)),
        hours: hours_words(board.hours.holiday(date), board.hours.of(date.weekday())),
        first: entries(Rank::First),
        second: entries(Rank::Second),
    })
}

fn hours_words(holiday: Option<&str>, hours: Option<DayHours>) -> String {
    match (holiday, hours) {
        (Some(name), _) => format!("closed: {name}"),
        (None, None) => "closed".to_owned(),
        (None, Some(hours)) => {
            format!("{}–{}", clock_face(hours.from_minute()), clock_face(hours.until_minute()))
        }
    }
}

/// The hours of the week, days that are alike together: "Mon–Fri 8:00–18:00, Sat–Sun closed".
pub fn week_words(hours: &Hours) -> String {
    let mut groups: Vec<(usize, usize)> = Vec::new();
    for (day, of_day) in hours.days.iter().enumerate() {
        match groups.last_mut() {
            Some((first, last)) if hours.days[*first] == *of_day => *last = day,
            Some(_) | None => groups.push((day, day)),
        }
    }
    let short = |day: usize| WEEK[day].2.chars().take(3).collect::<String>();
    let group = |(first, last): (usize, usize)| {
        let days = if first == last { short(first) } else { format!("{}–{}", short(first), short(last)) };
        format!("{days} {}", hours_words(None, hours.days[first]))
    };
    groups.into_iter().map(group).collect::<Vec<_>>().join(", ")
}

/// A minute after midnight: "8:00", the end of the day "24:00".
pub fn clock_face(minute: i64) -> String {
    format!("{}:{:02}", minute / 60, minute % 60)
}

fn clock(at: Timestamp, zone: &TimeZone) -> String {
    let local = at.to_zoned_datetime(zone.clone());
    format!("{}:{:02}", local.hour(), local.minute())
}

fn clock_span(from: Timestamp, until: Timestamp, day_ends: Timestamp, zone: &TimeZone) -> String {
    let end = if until >= day_ends { "24:00".to_owned() } else { clock(until, zone) };
    format!("{}–{end}", clock(from, zone))
}

/// A stretch of time with its days: "Fri Nov 27, 18:00 to 22:00", "Fri Nov 27, 18:00 to Sat Nov 28, 8:00".
pub fn stretch_words(from: Timestamp, until: Timestamp, zone: &TimeZone) -> String {
    let (begins, ends) = (from.to_zoned_datetime(zone.clone()), until.to_zoned_datetime(zone.clone()));
    let day = |local: &jiff::ZonedDateTime| calendar::short_day(STAFF_LANGUAGE, local.datetime());
    let first = format!("{}, {}", day(&begins), clock(from, zone));
    if begins.date() == ends.date() {
        format!("{first} to {}", clock(until, zone))
    } else {
        format!("{first} to {}, {}", day(&ends), clock(until, zone))
    }
}

/// How long: "45 min", "7 h", "1 d 3 h". To the minute below a day.
fn long_words(long: SignedDuration) -> String {
    let minutes = long.as_mins();
    match (minutes / 1_440, minutes % 1_440 / 60, minutes % 60) {
        (0, 0, minutes) => format!("{minutes} min"),
        (0, hours, 0) => format!("{hours} h"),
        (0, hours, minutes) => format!("{hours} h {minutes} min"),
        (days, 0, _) => format!("{days} d"),
        (days, hours, _) => format!("{days} d {hours} h"),
    }
}

/// The gaps ahead.
pub fn gaps(board: &Board, now: Timestamp) -> Vec<GapLine> {
    let line = |gap: Gap| GapLine {
        when: stretch_words(gap.from, gap.until, &board.practice.zone),
        long: long_words(gap.until.duration_since(gap.from)),
        rank: rank_words(gap.rank),
    };
    board.roster.gaps(now, SHOWN_DAYS).into_iter().map(line).collect()
}

/// Every duty ahead, to choose from; `me` is told apart.
pub fn spans(board: &Board, me: StaffId, now: Timestamp) -> Vec<Choice> {
    let end = now.saturating_add(SignedDuration::from_hours(SHOWN_DAYS * 24)).unwrap_or(now);
    let choice = |span: &DutySpan| {
        let whose = name_of(&board.staff, span.staff);
        let whose = if span.staff == me { format!("{whose} (you)") } else { whose };
        let when = stretch_words(span.from, span.until, &board.practice.zone);
        let second = if span.rank == Rank::Second { ", second" } else { "" };
        Choice { code: span_code(span), words: format!("{when}: {whose}{second}") }
    };
    board.roster.spans(now, end).iter().map(choice).collect()
}

/// Whoever works here now, to choose from.
pub fn people(staff: &[StaffMember]) -> Vec<Choice> {
    let active = staff.iter().filter(|member| member.active);
    active.map(|member| Choice { code: member.id.to_string(), words: member.name.clone() }).collect()
}

/// Who is on the roster of the coming days, or called because there is none, and has no address that works. A lead sees
/// everyone, the others only themselves.
pub fn called_and_unreached(
    board: &Board,
    unreached: &[StaffId],
    reader: &StaffMember,
    now: Timestamp,
) -> Vec<String> {
    let is_called = |member: &StaffMember| {
        let on_roster = shifts_ahead(&board.roster, member.id, now) > 0;
        member.active && (on_roster || board.roster.is_blank() && member.roles.surgeon)
    };
    let is_shown = |member: &&StaffMember| {
        (reader.roles.lead || reader.id == member.id) && unreached.contains(&member.id) && is_called(member)
    };
    board.staff.iter().filter(is_shown).map(|member| member.name.clone()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn a_stretch_names_its_second_day_only_when_it_is_another() {
        let zone = TimeZone::get("America/New_York").unwrap();
        let words = |from, until| stretch_words(at(from), at(until), &zone);
        assert_eq!(words("2026-05-04T22:00:00Z", "2026-05-05T02:00:00Z"), "Mon May 4, 18:00 to 22:00");
        assert_eq!(
            words("2026-05-04T22:00:00Z", "2026-05-05T12:00:00Z"),
            "Mon May 4, 18:00 to Tue May 5, 8:00"
        );
    }

    #[test]
    fn how_long_is_said_to_the_minute_below_a_day() {
        let long = |minutes| long_words(SignedDuration::from_mins(minutes));
        assert_eq!(
            [45, 60, 90, 1_439, 1_440, 1_620].map(long),
            ["45 min", "1 h", "1 h 30 min", "23 h 59 min", "1 d", "1 d 3 h"]
        );
    }

    #[test]
    fn hours_of_a_day_name_the_holiday_first() {
        assert_eq!(hours_words(None, DayHours::new(480, 1_440)), "8:00–24:00");
        assert_eq!(hours_words(None, None), "closed");
        assert_eq!(hours_words(Some("Staff day"), DayHours::new(480, 1_020)), "closed: Staff day");
    }

    #[test]
    fn days_with_the_same_hours_stand_together() {
        let mut hours = Hours::on_weekdays(TimeZone::UTC, DayHours::new(480, 1_080));
        assert_eq!(week_words(&hours), "Mon–Fri 8:00–18:00, Sat–Sun closed");
        hours.days[5] = DayHours::new(540, 720);
        assert_eq!(week_words(&hours), "Mon–Fri 8:00–18:00, Sat 9:00–12:00, Sun closed");
    }
}
