//! The invented practice's roster: two surgeons share day and night, and one evening ahead is left open.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::Weekday;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::care::duty;
use crate::cli::Failure;
use crate::duty::Absence;
use crate::duty::Rank;
use crate::duty::WeeklyShift;
use crate::duty::instant;
use crate::ids::Moment;
use crate::ids::StaffAddressId;
use crate::ids::StaffId;
use crate::store::addresses;
use crate::store::addresses::Reached;
use crate::store::addresses::StaffAddress;
use crate::store::staff::StaffMember;
use crate::web::App;

/// What the seed data say of duty.
#[derive(Deserialize)]
pub struct DutyPage {
    weekly: Vec<WeeklyLine>,
    away: AwayLine,
}

/// One person's shifts of every week.
#[derive(Deserialize)]
struct WeeklyLine {
    staff: String,
    rank: Rank,
    /// 1: Monday, 7: Sunday.
    weekdays: Vec<i8>,
    from_minute: i64,
    until_minute: i64,
}

/// Who is away on the first such weekday at least so many days ahead.
#[derive(Deserialize)]
struct AwayLine {
    staff: String,
    weekday: i8,
    days_ahead: i64,
    from_minute: i64,
    until_minute: i64,
}

/// Enters the roster as the lead would, when the practice was opened; the absence lies ahead of `now`.
pub async fn enter(
    app: &App,
    page: &DutyPage,
    lead: &StaffMember,
    who: impl Fn(&str) -> Option<StaffId>,
    opened: &Moment,
    now: Timestamp,
    zone: &TimeZone,
) -> Result<(), Failure> {
    let staff = |key: &str| who(key).ok_or_else(|| format!("nobody is called {key}"));
    let mut shifts = Vec::new();
    for line in &page.weekly {
        for weekday in &line.weekdays {
            shifts.push(WeeklyShift {
                weekday: Weekday::from_monday_one_offset(*weekday)?,
                from_minute: line.from_minute,
                until_minute: line.until_minute,
                staff: staff(&line.staff)?,
                rank: line.rank,
            });
        }
    }
    duty::add_weekly(&app.desk, lead, &shifts, opened).await?;
    let away = &page.away;
    let ahead = now + SignedDuration::from_hours(24 * away.days_ahead);
    let weekday = Weekday::from_monday_one_offset(away.weekday)?;
    let date = ahead.to_zoned_datetime(zone.clone()).date();
    let date = if date.weekday() == weekday { date } else { date.nth_weekday(1, weekday)? };
    let at = |minute| instant(date, minute, zone).ok_or("the calendar has ended");
    let absence =
        Absence { staff: staff(&away.staff)?, from: at(away.from_minute)?, until: at(away.until_minute)? };
    duty::add_away(&app.desk, lead, absence, opened).await?;
    Ok(())
}

/// Everybody has a phone of their own, from the range reserved for fiction, and a mail address.
pub async fn is_reached(
    app: &App,
    member: &StaffMember,
    number: usize,
    moment: &Moment,
) -> Result<(), Failure> {
    let places = [
        (Reached::Sms, format!("+1202555016{number}")),
        (Reached::Email, format!("{}@quillmere.example", member.sign_in_name)),
    ];
    let mut tx = app.desk.db.write().await?;
    for (place, (channel, address)) in (1..).zip(places) {
        let address = StaffAddress {
            id: StaffAddressId::mint(moment),
            practice: member.practice,
            staff: member.id,
            channel,
            address,
            place,
            since: moment.now,
        };
        addresses::insert(&mut tx, &address).await?;
    }
    Ok(tx.commit().await?)
}
