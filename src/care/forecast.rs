//! Is there enough cover? What came in lately, and how long each class would wait for a reviewer.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::must_judge_ranking;
use crate::care::protocols;
use crate::store::Conn;
use crate::store::arrivals;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::triage::forecast;
use crate::triage::forecast::Answer;
use crate::triage::forecast::Question;
use crate::triage::forecast::RecordedArrivals;

const WEEK: SignedDuration = SignedDuration::from_hours(7 * 24);

/// What the practice's books say of its checks. They are counted, never read, so nobody's chart is looked at.
#[derive(Clone, Debug)]
pub struct Records {
    pub practice: Practice,
    /// The last whole weeks up to now, as many as were asked for and the practice has had checks.
    pub arrivals: RecordedArrivals,
    /// Surgeons who can sign in.
    pub surgeons: usize,
}

/// Counts what came in the last `weeks` weeks before `now`.
pub async fn records(desk: &Desk, member: &StaffMember, weeks: u32, now: Timestamp) -> Done<Records> {
    must_judge_ranking(member)?;
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
    let first = arrivals::first(&mut conn, member.practice).await?;
    let weeks = weeks.min(first.map_or(0, |first| whole_weeks(first, now)));
    let counted = count(&mut conn, &practice, weeks, now).await?;
    let staff = staff::of_practice(&mut conn, member.practice).await?;
    Ok(Records {
        arrivals: counted,
        surgeons: staff.iter().filter(|one| one.active && one.roles.surgeon).count(),
        practice,
    })
}

/// Plays the weeks through, one question at a time: it takes a processor for up to a second.
pub async fn answer(desk: &Desk, member: &StaffMember, question: Question) -> Done<Answer> {
    must_judge_ranking(member)?;
    let _permit = desk.playing.acquire().await.map_err(|closed| CareError::Work(closed.to_string()))?;
    let targets = *protocols::in_force(desk, &mut *desk.db.read().await?, member.practice).await?.targets();
    let played = tokio::task::spawn_blocking(move || forecast::answer(&question, &targets)).await;
    played
        .map_err(|fault| CareError::Work(fault.to_string()))?
        .ok_or_else(|| CareError::Work("nobody is ever on duty".to_owned()))
}

fn whole_weeks(first: Timestamp, now: Timestamp) -> u32 {
    let weeks = now.duration_since(first).as_secs().div_euclid(WEEK.as_secs());
    u32::try_from(weeks).unwrap_or(0)
}

fn weeks_before(now: Timestamp, weeks: u32) -> Timestamp {
    let back = i32::try_from(weeks).ok().and_then(|weeks| WEEK.checked_mul(weeks));
    back.and_then(|back| now.checked_sub(back).ok()).unwrap_or(Timestamp::MIN)
}

async fn count(conn: &mut Conn, practice: &Practice, weeks: u32, now: Timestamp) -> Done<RecordedArrivals> {
    let mut counted = RecordedArrivals::over(weeks);
    for one in stretches(weeks_before(now, weeks), now, &practice.zone) {
        let arrived =
            arrivals::by_hour_of_week(conn, practice.id, one.from, one.until, one.offset_ms).await?;
        for some in arrived {
            counted.count(some.urgency, some.hour_of_week, some.checks);
        }
    }
    Ok(counted)
}

/// A time during which the practice's clock is not put forward or back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Stretch {
    from: Timestamp,
    until: Timestamp,
    offset_ms: i64,
}

fn stretches(from: Timestamp, until: Timestamp, zone: &TimeZone) -> Vec<Stretch> {
    let changes = zone.following(from).map(|change| change.timestamp()).take_while(|at| *at < until);
    let starts: Vec<Timestamp> = std::iter::once(from).chain(changes).collect();
    let ends = starts.iter().skip(1).copied().chain(std::iter::once(until));
    starts
        .iter()
        .zip(ends)
        .map(|(from, until)| Stretch {
            from: *from,
            until,
            offset_ms: i64::from(zone.to_offset(*from).seconds()) * 1_000,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn a_count_is_cut_where_the_clocks_change() {
        let new_york = TimeZone::get("America/New_York").unwrap();
        // New York: forward at 2:00 on 8 March 2026, back at 2:00 on 1 November (IANA time zone database).
        let (from, until) = (at("2026-03-01T00:00:00Z"), at("2026-11-02T00:00:00Z"));
        let (forward, back) = (at("2026-03-08T07:00:00Z"), at("2026-11-01T06:00:00Z"));
        let stretch = |from, until, hours: i64| Stretch { from, until, offset_ms: hours * 3_600_000 };
        let all = [stretch(from, forward, -5), stretch(forward, back, -4), stretch(back, until, -5)];
        assert_eq!(stretches(from, until, &new_york), all);
        assert_eq!(stretches(from, until, &TimeZone::UTC), [stretch(from, until, 0)]);
        assert_eq!(stretches(forward, back, &new_york), [stretch(forward, back, -4)]);
    }

    #[test]
    fn only_whole_weeks_since_the_first_check_count() {
        let first = at("2026-03-03T15:00:00Z");
        assert_eq!(whole_weeks(first, at("2026-03-10T14:59:59Z")), 0);
        assert_eq!(whole_weeks(first, at("2026-03-10T15:00:00Z")), 1);
        assert_eq!(whole_weeks(first, at("2026-03-01T15:00:00Z")), 0);
        assert_eq!(weeks_before(at("2026-03-10T15:00:00Z"), 1), first);
        assert_eq!(weeks_before(first, u32::MAX), Timestamp::MIN);
    }
}
