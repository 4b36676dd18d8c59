//! Who answers when: practice hours, holidays, the weekly pattern, shifts on dates, and who is away.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::civil::Weekday;
use jiff::tz::TimeZone;
use sqlx::Row;
use sqlx::any::AnyRow;

use crate::duty::Absence;
use crate::duty::DatedShift;
use crate::duty::DayHours;
use crate::duty::Hours;
use crate::duty::Roster;
use crate::duty::WeeklyShift;
use crate::ids::DutyShiftId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::StoreError;
use crate::store::Stored;
use crate::store::practices;
use crate::store::row::Columns;

/// A weekly shift as kept.
#[derive(Clone, Debug)]
pub struct KeptWeekly {
    pub id: DutyShiftId,
    pub shift: WeeklyShift,
}

/// A shift on a date as kept.
#[derive(Clone, Debug)]
pub struct KeptDated {
    pub id: DutyShiftId,
    pub shift: DatedShift,
    /// The first half of its swap; `None`: no swap.
    pub swap: Option<DutyShiftId>,
}

/// Somebody away, as kept.
#[derive(Clone, Debug)]
pub struct KeptAway {
    pub id: DutyShiftId,
    pub absence: Absence,
}

/// Everything entered for the practice's duty. A practice that is not there has nobody on duty.
pub async fn roster(conn: &mut Conn, practice: PracticeId) -> Stored<Roster> {
    Ok(Roster {
        zone: zone(conn, practice).await?,
        weekly: weekly(conn, practice).await?.into_iter().map(|kept| kept.shift).collect(),
        dated: dated(conn, practice).await?.into_iter().map(|kept| kept.shift).collect(),
        absences: away(conn, practice).await?.into_iter().map(|kept| kept.absence).collect(),
        removed: removed(conn, practice).await?,
    })
}

/// When the practice is open.
pub async fn hours(conn: &mut Conn, practice: PracticeId) -> Stored<Hours> {
    let Some(of) = practices::find(conn, practice).await? else {
        return Ok(Hours::on_weekdays(TimeZone::UTC, None));
    };
    let rows = sqlx::query("SELECT * FROM practice_hours WHERE practice_id = $1")
        .bind(practice.to_string())
        .fetch_all(&mut *conn)
        .await?;
    let usual = DayHours::new(of.opens_minute, of.closes_minute);
    let mut hours = Hours::on_weekdays(of.zone, if rows.is_empty() { usual } else { None });
    for row in &rows {
        let day = usize::try_from(row.whole("weekday")? - 1).ok().and_then(|day| hours.days.get_mut(day));
        let kept = DayHours::new(row.whole("from_minute")?, row.whole("until_minute")?);
        if let Some(day) = day {
            *day = kept;
        }
    }
    hours.holidays = holidays(conn, practice).await?;
    Ok(hours)
}

async fn zone(conn: &mut Conn, practice: PracticeId) -> Stored<TimeZone> {
    Ok(practices::find(conn, practice).await?.map_or(TimeZone::UTC, |found| found.zone))
}

async fn removed(conn: &mut Conn, practice: PracticeId) -> Stored<BTreeSet<StaffId>> {
    sqlx::query("SELECT id FROM staff WHERE practice_id = $1 AND active = 0")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("id"))
        .collect()
}

/// Holidays with their names, by date.
pub async fn holidays(conn: &mut Conn, practice: PracticeId) -> Stored<BTreeMap<Date, String>> {
    sqlx::query("SELECT * FROM holiday WHERE practice_id = $1 ORDER BY day")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| Ok((row.parsed("day")?, row.text("name")?)))
        .collect()
}

/// Keeps a holiday; one on the same day gets the new name.
pub async fn keep_holiday(conn: &mut Conn, practice: PracticeId, day: Date, name: &str) -> Stored<()> {
    const SQL: &str = "INSERT INTO holiday (practice_id, day, name) VALUES ($1, $2, $3) \
                       ON CONFLICT (practice_id, day) DO UPDATE SET name = excluded.name";
    sqlx::query(SQL).bind(practice.to_string()).bind(day.to_string()).bind(name).execute(conn).await?;
    Ok(())
}

/// False: there was none on that day.
pub async fn remove_holiday(conn: &mut Conn, practice: PracticeId, day: Date) -> Stored<bool> {
    let gone = sqlx::query("DELETE FROM holiday WHERE practice_id = $1 AND day = $2")
        .bind(practice.to_string())
        .bind(day.to_string())
        .execute(conn)
        .await?;
    Ok(gone.rows_affected() == 1)
}

/// Keeps the hours of all seven days, Monday first; `None`: closed.
pub async fn keep_hours(conn: &mut Conn, practice: PracticeId, days: &[Option<DayHours>; 7]) -> Stored<()> {
    const SQL: &str = "INSERT INTO practice_hours (practice_id, weekday, from_minute, until_minute) \
                       VALUES ($1, $2, $3, $4) ON CONFLICT (practice_id, weekday) \
                       DO UPDATE SET from_minute = excluded.from_minute, until_minute = excluded.until_minute";
    for (weekday, day) in (1_i64..).zip(days) {
        sqlx::query(SQL)
            .bind(practice.to_string())
            .bind(weekday)
            .bind(day.map_or(0, DayHours::from_minute))
            .bind(day.map_or(0, DayHours::until_minute))
            .execute(&mut *conn)
            .await?;
    }
    Ok(())
}

/// The weekly pattern, Monday first.
pub async fn weekly(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<KeptWeekly>> {
    const SQL: &str = "SELECT * FROM duty_weekly WHERE practice_id = $1 \
                       ORDER BY weekday, from_minute, rank, created_ms, id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| {
            Ok(KeptWeekly {
                id: row.parsed("id")?,
                shift: WeeklyShift {
                    weekday: weekday(row)?,
                    from_minute: row.whole("from_minute")?,
                    until_minute: row.whole("until_minute")?,
                    staff: row.parsed("staff_id")?,
                    rank: row.parsed("rank")?,
                },
            })
        })
        .collect()
}

fn weekday(row: &AnyRow) -> Stored<Weekday> {
    let column = "weekday";
    let unreadable = |because: String| StoreError::Unreadable { column, because };
    let number = i8::try_from(row.whole(column)?).map_err(|fault| unreadable(fault.to_string()))?;
    Weekday::from_monday_one_offset(number).map_err(|fault| unreadable(fault.to_string()))
}

pub async fn insert_weekly(
    conn: &mut Conn,
    practice: PracticeId,
    kept: &KeptWeekly,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "INSERT INTO duty_weekly (id, practice_id, staff_id, rank, weekday, from_minute, \
                       until_minute, created_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)";
    sqlx::query(SQL)
        .bind(kept.id.to_string())
        .bind(practice.to_string())
        .bind(kept.shift.staff.to_string())
        .bind(kept.shift.rank.code())
        .bind(i64::from(kept.shift.weekday.to_monday_one_offset()))
        .bind(kept.shift.from_minute)
        .bind(kept.shift.until_minute)
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// False: no such shift.
pub async fn remove_weekly(conn: &mut Conn, practice: PracticeId, id: DutyShiftId) -> Stored<bool> {
    let gone = sqlx::query("DELETE FROM duty_weekly WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .execute(conn)
        .await?;
    Ok(gone.rows_affected() == 1)
}

/// Shifts on dates in the order they were entered.
pub async fn dated(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<KeptDated>> {
    sqlx::query("SELECT * FROM duty_dated WHERE practice_id = $1 ORDER BY entered")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| {
            Ok(KeptDated {
                id: row.parsed("id")?,
                shift: DatedShift {
                    from: row.time("from_ms")?,
                    until: row.time("until_ms")?,
                    staff: row.parsed("staff_id")?,
                    rank: row.parsed("rank")?,
                    instead_of: row.parsed_maybe("instead_of")?,
                },
                swap: row.parsed_maybe("swap_id")?,
            })
        })
        .collect()
}

/// Enters a shift after all others. Hold the practice before.
pub async fn insert_dated(
    conn: &mut Conn,
    practice: PracticeId,
    kept: &KeptDated,
    now: Timestamp,
) -> Stored<()> {
    const LAST: &str = "SELECT COALESCE(MAX(entered), 0) AS last FROM duty_dated WHERE practice_id = $1";
    let last: i64 =
        sqlx::query(LAST).bind(practice.to_string()).fetch_one(&mut *conn).await?.try_get("last")?;
    const SQL: &str = "INSERT INTO duty_dated (id, practice_id, staff_id, rank, from_ms, until_ms, instead_of, \
                       swap_id, entered, created_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)";
    sqlx::query(SQL)
        .bind(kept.id.to_string())
        .bind(practice.to_string())
        .bind(kept.shift.staff.to_string())
        .bind(kept.shift.rank.code())
        .bind(kept.shift.from.as_millisecond())
        .bind(kept.shift.until.as_millisecond())
        .bind(kept.shift.instead_of.map(|staff| staff.to_string()))
        .bind(kept.swap.map(|id| id.to_string()))
        .bind(last + 1)
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Takes a shift back, and the other half of its swap with it. How many went; 0: no such shift.
pub async fn remove_dated(conn: &mut Conn, practice: PracticeId, id: DutyShiftId) -> Stored<u64> {
    const SQL: &str = "DELETE FROM duty_dated WHERE practice_id = $1 AND (id = $2 OR swap_id = \
                       (SELECT half.swap_id FROM duty_dated half WHERE half.practice_id = $1 AND half.id = $2))";
    let gone = sqlx::query(SQL).bind(practice.to_string()).bind(id.to_string()).execute(conn).await?;
    Ok(gone.rows_affected())
}

/// Who is away when, by beginning.
pub async fn away(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<KeptAway>> {
    sqlx::query("SELECT * FROM duty_away WHERE practice_id = $1 ORDER BY from_ms, id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| {
            Ok(KeptAway {
                id: row.parsed("id")?,
                absence: Absence {
                    staff: row.parsed("staff_id")?,
                    from: row.time("from_ms")?,
                    until: row.time("until_ms")?,
                },
            })
        })
        .collect()
}

pub async fn insert_away(
    conn: &mut Conn,
    practice: PracticeId,
    kept: &KeptAway,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "INSERT INTO duty_away (id, practice_id, staff_id, from_ms, until_ms, created_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6)";
    sqlx::query(SQL)
        .bind(kept.id.to_string())
        .bind(practice.to_string())
        .bind(kept.absence.staff.to_string())
        .bind(kept.absence.from.as_millisecond())
        .bind(kept.absence.until.as_millisecond())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// False: nobody was away by this id.
pub async fn remove_away(conn: &mut Conn, practice: PracticeId, id: DutyShiftId) -> Stored<bool> {
    let gone = sqlx::query("DELETE FROM duty_away WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .execute(conn)
        .await?;
    Ok(gone.rows_affected() == 1)
}
