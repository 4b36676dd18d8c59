//! When shifts begin and end and whether a practice is open, for the checks by other programs: questions as JSON on
//! standard input, answers on standard output. Instants are seconds since 1970.
//!
//!     echo '{"shifts": [{"zone": "America/New_York", "date": "2026-03-07", "from_minute": 1320, "until_minute": 360}]}' | duty_times

use std::io::Read;

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde_json::Value;
use serde_json::json;

use closewatch::duty::DayHours;
use closewatch::duty::Hours;
use closewatch::duty::Rank;
use closewatch::duty::Roster;
use closewatch::duty::WeeklyShift;
use closewatch::duty::instant;
use closewatch::ids::Chance;
use closewatch::ids::Moment;
use closewatch::ids::StaffId;

fn main() {
    let mut asked = String::new();
    std::io::stdin().read_to_string(&mut asked).expect("questions on standard input");
    let asked: Value = serde_json::from_str(&asked).expect("questions as JSON");
    let each = |list: &str, answer: fn(&Value) -> Value| -> Vec<Value> {
        asked[list].as_array().into_iter().flatten().map(answer).collect()
    };
    println!("{}", json!({ "shifts": each("shifts", shift), "hours": each("hours", hours) }));
}

/// The one shift of that weekday as the roster lays it out around that date; `null`: it has no minute that day.
fn shift(one: &Value) -> Value {
    let (zone, date) = (zone(one), date(one));
    let staff = StaffId::mint(&Moment::new(Timestamp::UNIX_EPOCH, Chance::seeded(1)));
    let mut roster = Roster::empty(zone.clone());
    roster.weekly.push(WeeklyShift {
        weekday: date.weekday(),
        from_minute: number(one, "from_minute"),
        until_minute: number(one, "until_minute"),
        staff,
        rank: Rank::First,
    });
    let noon = instant(date, 720, &zone).expect("a date of our time");
    let day = SignedDuration::from_hours(24);
    let spans = roster.spans(noon - day, noon + day + day);
    spans.first().map_or(Value::Null, |span| json!([span.from.as_second(), span.until.as_second()]))
}

/// Whether a practice with these hours every day is open at each instant, and its next change after the first.
fn hours(one: &Value) -> Value {
    let day = DayHours::new(number(one, "from_minute"), number(one, "until_minute"));
    let mut hours = Hours::on_weekdays(zone(one), day);
    hours.days = [day; 7];
    let at: Vec<Timestamp> = one["at"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|second| Timestamp::from_second(second.as_i64()?).ok())
        .collect();
    let first = at.first().copied().unwrap_or_default();
    json!({
        "open": at.iter().map(|at| hours.is_open(*at)).collect::<Vec<bool>>(),
        "opens_next": hours.opens_next(first).map(Timestamp::as_second),
        "closes": hours.closes(first).map(Timestamp::as_second),
    })
}

fn zone(one: &Value) -> TimeZone {
    TimeZone::get(one["zone"].as_str().unwrap_or("")).expect("a zone of the IANA database")
}

fn date(one: &Value) -> Date {
    one["date"].as_str().unwrap_or("").parse().expect("a date such as 2026-03-07")
}

fn number(one: &Value, field: &str) -> i64 {
    one[field].as_i64().unwrap_or(-1)
}
