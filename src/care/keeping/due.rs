//! When a patient's record has been kept for long enough.

use std::collections::BTreeSet;

use jiff::Timestamp;
use jiff::ToSpan;
use jiff::civil::Date;

use crate::care::Done;
use crate::duty::DAY_MINUTES;
use crate::duty::instant;
use crate::ids::PatientId;
use crate::store::Conn;
use crate::store::keepings::Numbers;
use crate::store::patients as patient_rows;
use crate::store::practices::Practice;
use crate::store::purge;

/// Candidates that are read at once.
const PAGE: i64 = 200;

/// A patient whose record has been kept for long enough.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Due {
    pub patient: PatientId,
    /// The day on which the last thing happened in it.
    pub last: Date,
    /// Which rule kept it until then, such as `clinical_years=15`.
    pub rule: String,
}

fn years_later(day: Date, years: i64) -> Date {
    day.saturating_add(years.years())
}

pub(in crate::care::keeping) fn years_earlier(day: Date, years: i64) -> Date {
    day.saturating_sub(years.years())
}

/// The last day on which a patient's record is kept. `last`: the day on which the last thing happened in it. Whoever was no adult
/// then is kept for as long as an adult would be, and until so many years after they have become one.
pub fn last_day(born: Date, last: Date, numbers: &Numbers) -> Date {
    let as_adult = years_later(last, numbers.clinical_years);
    match as_minor(born, last, numbers) {
        Some(as_minor) => as_minor.max(as_adult),
        None => as_adult,
    }
}

/// The last day by the rule for minors; `None`: they were an adult.
fn as_minor(born: Date, last: Date, numbers: &Numbers) -> Option<Date> {
    let adult_on = years_later(born, numbers.minor_age);
    (last < adult_on).then(|| years_later(adult_on, numbers.minor_years))
}

/// Which of the two rules it was.
fn rule(born: Date, last: Date, numbers: &Numbers) -> String {
    let as_adult = years_later(last, numbers.clinical_years);
    match as_minor(born, last, numbers) {
        Some(as_minor) if as_minor > as_adult => {
            format!("minor_age={} minor_years={}", numbers.minor_age, numbers.minor_years)
        }
        Some(_) | None => format!("clinical_years={}", numbers.clinical_years),
    }
}

/// Whether this patient's record has been kept for long enough, and nothing of it waits for anybody. Its time begins with the last
/// thing that happened to the person: whoever came back with another wound keeps the record of the first one.
pub(in crate::care::keeping) async fn is_due(
    conn: &mut Conn,
    practice: &Practice,
    numbers: &Numbers,
    (patient, born): (PatientId, Date),
    now: Timestamp,
) -> Done<Option<Due>> {
    let mut touched = None;
    for row in patient_rows::rows_of_person(conn, practice.id, patient).await? {
        touched = touched.max(purge::last_touched(conn, practice.id, row).await?);
    }
    let Some(touched) = touched else { return Ok(None) };
    let day = |at: Timestamp| at.to_zoned_datetime(practice.zone.clone()).date();
    let last = day(touched);
    if day(now) <= last_day(born, last, numbers) || purge::waits(conn, practice.id, patient).await? {
        return Ok(None);
    }
    Ok(Some(Due { patient, last, rule: rule(born, last, numbers) }))
}

/// Patients whose records have been kept for long enough at `now`, but for those a hold names; at most `limit`.
pub async fn patients(
    conn: &mut Conn,
    practice: &Practice,
    numbers: &Numbers,
    held: &BTreeSet<PatientId>,
    now: Timestamp,
    limit: usize,
) -> Done<Vec<Due>> {
    let today = now.to_zoned_datetime(practice.zone.clone()).date();
    let day = years_earlier(today, numbers.clinical_years);
    // The end of that day: whoever is due was ended by then.
    let Some(ended_by) = instant(day, DAY_MINUTES, &practice.zone) else { return Ok(Vec::new()) };
    let (mut due, mut after) = (Vec::new(), String::new());
    loop {
        let page = purge::candidates(conn, practice.id, ended_by, &after, PAGE).await?;
        let Some(last) = page.last() else { return Ok(due) };
        after = last.id.to_string();
        for candidate in page.iter().filter(|candidate| !held.contains(&candidate.id)) {
            due.extend(is_due(conn, practice, numbers, (candidate.id, candidate.born), now).await?);
            if due.len() >= limit {
                return Ok(due);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    const NUMBERS: Numbers = Numbers {
        clinical_years: 10,
        minor_age: 18,
        minor_years: 5,
        record_years: 6,
        letters_days: 90,
        passing_days: 3,
    };

    #[test]
    fn an_adults_record_is_kept_for_the_years_after_its_last_day() {
        assert_eq!(last_day(date(1960, 1, 1), date(2026, 3, 10), &NUMBERS), date(2036, 3, 10));
        assert_eq!(rule(date(1960, 1, 1), date(2026, 3, 10), &NUMBERS), "clinical_years=10");
        // On the very birthday they are an adult.
        assert_eq!(last_day(date(2008, 3, 10), date(2026, 3, 10), &NUMBERS), date(2036, 3, 10));
    }

    #[test]
    fn a_minors_record_is_kept_until_after_they_grew_up_and_never_shorter_than_an_adults() {
        // Four years old: 18 in 2040, and five more.
        assert_eq!(last_day(date(2022, 1, 5), date(2026, 3, 10), &NUMBERS), date(2045, 1, 5));
        assert_eq!(rule(date(2022, 1, 5), date(2026, 3, 10), &NUMBERS), "minor_age=18 minor_years=5");
        // Seventeen: 18 in 2027, and five more are 2032, sooner than ten years.
        assert_eq!(last_day(date(2009, 1, 5), date(2026, 3, 10), &NUMBERS), date(2036, 3, 10));
        assert_eq!(rule(date(2009, 1, 5), date(2026, 3, 10), &NUMBERS), "clinical_years=10");
        // A day short of 18, and of a birthday that comes every four years.
        let short = Numbers { clinical_years: 5, minor_years: 6, ..NUMBERS };
        assert_eq!(last_day(date(2008, 3, 11), date(2026, 3, 10), &short), date(2032, 3, 11));
        assert_eq!(last_day(date(2012, 2, 29), date(2026, 3, 10), &short), date(2036, 2, 28));
    }
}
