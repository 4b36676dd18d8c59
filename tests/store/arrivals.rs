//! What came when, counted by the database, against the same checks counted one by one.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use closewatch::care::forecast;
use closewatch::ids::Chance;
use closewatch::ids::WoundCheckId;
use closewatch::store::arrivals;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::checks::WoundCheck;
use closewatch::store::practices;
use closewatch::triage::Urgency;
use closewatch::triage::forecast::RecordedArrivals;

use crate::support::Practice;
use crate::support::no_danger;
use crate::support::on_each_engine;

/// Keeps one more check like `first`, of this class and received then.
async fn keep(practice: &Practice, first: &WoundCheck, urgency: Urgency, received: Timestamp) {
    let mut tx = practice.desk().db.write().await.unwrap();
    let mut check = first.clone();
    check.id = WoundCheckId::mint(&practice.moment());
    check.sequence = practices::next_check_sequence(&mut tx, practice.id).await.unwrap();
    check.form_key = format!("form {}", check.sequence);
    check.receipt = format!("R{}", check.sequence);
    check.assessment.urgency = urgency;
    check.received = received;
    check.state = CheckState::Closed;
    checks::insert(&mut tx, &check).await.unwrap();
    tx.commit().await.unwrap();
}

/// The hour of the week by the calendar, 0–167 from Monday midnight.
fn hour_of_week(received: Timestamp, zone: &TimeZone) -> usize {
    let local = received.to_zoned_datetime(zone.clone());
    usize::try_from(local.weekday().to_monday_zero_offset()).unwrap() * 24
        + usize::try_from(local.hour()).unwrap()
}

async fn first_check(practice: &Practice) -> WoundCheck {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let receipt = phone.sends("first", no_danger(), &[]).await;
    checks::find(&mut *practice.books().await, practice.id, receipt.check).await.unwrap().unwrap()
}

#[tokio::test]
async fn checks_are_counted_by_class_and_local_hour_whoever_counts_them() {
    on_each_engine(async |practice| {
        let first = first_check(&practice).await;
        let chance = Chance::seeded(5);
        let mut all = vec![(first.assessment.urgency, first.received)];
        for _ in 0..200 {
            // Over the four weeks before now, in whole minutes, across the night when New York's clocks went forward.
            let minutes_ago = i64::from(chance.below(4 * 7 * 1_440)) + 1;
            let received = practice.now() - SignedDuration::from_mins(minutes_ago);
            let urgency = Urgency::ALL[chance.below(5) as usize];
            keep(&practice, &first, urgency, received).await;
            all.push((urgency, received));
        }
        practice.minutes_pass(1);
        let lead = practice.lead().await;
        let (from, until) = (practice.now() - SignedDuration::from_hours(3 * 168), practice.now());
        let zone = TimeZone::get("America/New_York").unwrap();
        let mut one_by_one = RecordedArrivals::over(3);
        for (urgency, received) in all.iter().filter(|(_, received)| (from..until).contains(received)) {
            one_by_one.count(*urgency, hour_of_week(*received, &zone), 1);
        }
        let by_database =
            forecast::records(practice.desk(), &lead.member, 3, practice.now()).await.unwrap().arrivals;
        assert!(one_by_one.total() > 100);
        assert_eq!(by_database, one_by_one);
    })
    .await;
}

#[tokio::test]
async fn a_count_begins_at_its_first_moment_and_ends_before_its_last() {
    on_each_engine(async |practice| {
        let first = first_check(&practice).await;
        let (from, until) = (
            first.received - SignedDuration::from_hours(50),
            first.received - SignedDuration::from_hours(49),
        );
        let millisecond = SignedDuration::from_millis(1);
        for received in [from - millisecond, from, until - millisecond, until] {
            keep(&practice, &first, Urgency::Today, received).await;
        }
        let mut books = practice.books().await;
        let counted = arrivals::by_hour_of_week(&mut books, practice.id, from, until, 0).await.unwrap();
        assert_eq!(counted.iter().map(|some| some.checks).sum::<u64>(), 2);
        assert_eq!(arrivals::first(&mut books, practice.id).await.unwrap(), Some(from - millisecond));
    })
    .await;
}

#[tokio::test]
async fn a_practice_counts_its_own_checks_and_only_whole_weeks_since_its_first() {
    on_each_engine(async |practice| {
        let neighbour = practice.neighbour().await;
        let first = first_check(&practice).await;
        let lead = practice.lead().await;
        let stranger = neighbour.lead().await;
        let asks = async |weeks| {
            forecast::records(practice.desk(), &lead.member, weeks, practice.now()).await.unwrap()
        };
        // The only check came just now: no whole week yet.
        assert_eq!((asks(12).await.arrivals.weeks(), asks(12).await.arrivals.total()), (0, 0));
        let two_weeks_ago = practice.now() - SignedDuration::from_hours(2 * 168);
        keep(&practice, &first, Urgency::Today, two_weeks_ago).await;
        practice.minutes_pass(1);
        let records = asks(12).await;
        // The window is the last two whole weeks; the check a minute older than that is outside it.
        assert_eq!((records.arrivals.weeks(), records.arrivals.total()), (2, 1));
        assert_eq!(asks(1).await.arrivals.weeks(), 1);
        assert_eq!(records.surgeons, 1);
        let other = forecast::records(practice.desk(), &stranger.member, 12, practice.now()).await.unwrap();
        assert_eq!((other.arrivals.weeks(), other.arrivals.total(), other.surgeons), (0, 0, 0));
        let mut books = practice.books().await;
        assert_eq!(arrivals::first(&mut books, neighbour.id).await.unwrap(), None);
    })
    .await;
}

#[tokio::test]
async fn the_office_does_not_plan_the_cover() {
    on_each_engine(async |practice| {
        let office = practice.office().await;
        let refused = forecast::records(practice.desk(), &office.member, 12, practice.now()).await;
        assert!(matches!(refused, Err(closewatch::care::CareError::NotAllowed)));
    })
    .await;
}
