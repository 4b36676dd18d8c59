//! Hours, shifts and absences as kept: they come back as entered, and a practice from before keeps its hours.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::Weekday;
use sqlx::AssertSqlSafe;
use sqlx::Executor;

use closewatch::care::duty as care_duty;
use closewatch::care::duty::InReturn;
use closewatch::duty::DayHours;
use closewatch::duty::DutySpan;
use closewatch::duty::Rank;
use closewatch::duty::WeeklyShift;
use closewatch::store::duty;

use crate::support::Practice;
use crate::support::Staff;
use crate::support::on_each_engine;

/// The hours every practice had before there were hours of its own.
const USUAL: Option<(i64, i64)> = Some((480, 1_080));

async fn days(practice: &Practice) -> Vec<Option<(i64, i64)>> {
    let hours = duty::hours(&mut *practice.books().await, practice.id).await.unwrap();
    hours.days.iter().map(|day| day.map(|day| (day.from_minute(), day.until_minute()))).collect()
}

#[tokio::test]
async fn a_practice_from_before_keeps_its_hours_and_its_weekend() {
    on_each_engine(async |practice| {
        let before = [USUAL, USUAL, USUAL, USUAL, USUAL, None, None];
        assert_eq!(days(&practice).await, before);
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/migrations/0009_duty.sql");
        let sql = std::fs::read_to_string(file).unwrap();
        let seeds: Vec<&str> =
            sql.split(';').filter_map(|part| part.find("INSERT INTO").map(|at| &part[at..])).collect();
        assert_eq!(seeds.len(), 1);
        let mut tx = practice.desk().db.write().await.unwrap();
        tx.execute(AssertSqlSafe(seeds[0].to_owned())).await.unwrap();
        tx.commit().await.unwrap();
        assert_eq!(days(&practice).await, before);
        let kept = crate::support::count(&mut *practice.books().await, "practice_hours").await;
        assert_eq!(kept, 7);
        let lead = practice.lead().await.member;
        let mut new = [None; 7];
        new[6] = DayHours::new(0, 1_440);
        care_duty::keep_hours(practice.desk(), &lead, &new, practice.now()).await.unwrap();
        assert_eq!(days(&practice).await, [None, None, None, None, None, None, Some((0, 1_440))]);
    })
    .await;
}

async fn every_day(practice: &Practice, lead: &Staff, from_minute: i64, until_minute: i64, who: &Staff) {
    let shifts: Vec<WeeklyShift> = (1..=7)
        .map(|day| WeeklyShift {
            weekday: Weekday::from_monday_one_offset(day).unwrap(),
            from_minute,
            until_minute,
            staff: who.member.id,
            rank: Rank::First,
        })
        .collect();
    care_duty::add_weekly(practice.desk(), &lead.member, &shifts, &practice.moment()).await.unwrap();
}

#[tokio::test]
async fn two_swaps_of_one_duty_at_once_leave_every_minute_covered_once() {
    on_each_engine(async |practice| {
        let (lead, day) = (practice.lead().await, practice.surgeon().await);
        let (night, third) = (practice.surgeon().await, practice.surgeon().await);
        every_day(&practice, &lead, 480, 1_200, &day).await;
        every_day(&practice, &lead, 1_200, 480, &night).await;
        let now = practice.now();
        let until = now + SignedDuration::from_hours(9);
        let given = DutySpan { from: now, until, staff: day.member.id, rank: Rank::First };
        let takes = async |who: &Staff| {
            let back = InReturn::Nothing { taker: who.member.id };
            care_duty::swap(practice.desk(), &who.member, given, back, &practice.moment()).await
        };
        let (one, other) = tokio::join!(takes(&night), takes(&third));
        assert!(one.is_ok() != other.is_ok(), "{one:?} {other:?}");
        let roster = duty::roster(&mut *practice.books().await, practice.id).await.unwrap();
        assert!(roster.gaps(now, 14).is_empty());
        let on: Vec<Timestamp> = roster.on_duty(now).iter().map(|on| on.until).collect();
        assert_eq!(on.len(), 1);
    })
    .await;
}
