//! The queue's order is worked out twice, once in the database and once in plain code: both must say the same.

use std::collections::BTreeMap;

use jiff::SignedDuration;
use jiff::Timestamp;

use closewatch::ids::Chance;
use closewatch::ids::WoundCheckId;
use closewatch::store::check_counts;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::checks::Claim;
use closewatch::store::checks::QueueFilter;
use closewatch::store::checks::WoundCheck;
use closewatch::store::claims;
use closewatch::store::practices;
use closewatch::triage::Urgency;
use closewatch::triage::Waiting;
use closewatch::triage::effective;
use closewatch::triage::rank;

use crate::support::Practice;
use crate::support::Staff;
use crate::support::no_danger;
use crate::support::on_each_engine;

const CHECKS: usize = 300;

/// Many checks of all classes and states, due around now, several of them at the very same moment.
async fn many_checks(practice: &Practice, surgeon: &Staff, seed: u64) -> Vec<WoundCheck> {
    let office = practice.office().await;
    let phone = office.enrols("José Núñez", surgeon).await.opens_link().await;
    let receipt = phone.sends("first", no_danger(), &[]).await;
    let first =
        checks::find(&mut *practice.books().await, practice.id, receipt.check).await.unwrap().unwrap();
    let chance = Chance::seeded(seed);
    let mut all = vec![first.clone()];
    let mut tx = practice.desk().db.write().await.unwrap();
    for number in 1..CHECKS {
        let mut check = first.clone();
        check.id = WoundCheckId::mint(&practice.moment());
        check.sequence = practices::next_check_sequence(&mut tx, practice.id).await.unwrap();
        check.form_key = format!("form {number}");
        check.receipt = format!("R{number}");
        check.assessment.urgency = Urgency::ALL[chance.below(5) as usize];
        // Within ten minutes of now, in whole minutes: ties, overdue ones, and ones due at this very moment.
        let minutes = i64::from(chance.below(21)) - 10;
        check.due = practice.now() + SignedDuration::from_mins(minutes);
        check.state = CheckState::ALL[chance.below(4) as usize];
        checks::insert(&mut tx, &check).await.unwrap();
        all.push(check);
    }
    tx.commit().await.unwrap();
    all
}

fn waits(check: &WoundCheck) -> bool {
    matches!(check.state, CheckState::Queued | CheckState::InReview)
}

fn in_plain_code(all: &[WoundCheck], now: Timestamp) -> Vec<WoundCheckId> {
    let waiting = all
        .iter()
        .filter(|check| waits(check))
        .map(|check| Waiting {
            check: check.id,
            urgency: check.assessment.urgency,
            due: check.due,
            sequence: u64::try_from(check.sequence).unwrap(),
        })
        .collect();
    rank(waiting, now).into_iter().map(|waiting| waiting.check).collect()
}

async fn in_the_database(practice: &Practice, filter: &QueueFilter, limit: i64) -> Vec<WoundCheckId> {
    let mut books = practice.books().await;
    let rows = checks::waiting(&mut books, practice.id, filter, practice.now(), limit).await.unwrap();
    rows.into_iter().map(|row| row.id).collect()
}

#[tokio::test]
async fn sqlite_and_postgresql_agree_with_the_plain_ranking() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let all = many_checks(&practice, &surgeon, 11).await;
        for _ in 0..3 {
            let expected = in_plain_code(&all, practice.now());
            assert_eq!(in_the_database(&practice, &QueueFilter::default(), 1_000).await, expected);
            // A page is the beginning of the whole.
            assert_eq!(in_the_database(&practice, &QueueFilter::default(), 20).await, expected[..20]);
            let mut books = practice.books().await;
            let counted = check_counts::by_urgency(&mut books, practice.id, practice.now()).await.unwrap();
            let total: i64 = counted.into_iter().map(|(_, waiting)| waiting).sum();
            assert_eq!(total, i64::try_from(expected.len()).unwrap());
            // Some that were not overdue are now.
            practice.minutes_pass(4);
        }
        let waiting = check_counts::waiting(&mut *practice.books().await, practice.id).await.unwrap();
        assert_eq!(waiting, i64::try_from(all.iter().filter(|check| waits(check)).count()).unwrap());
    })
    .await;
}

#[tokio::test]
async fn a_filter_leaves_the_order_as_it_is() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let all = many_checks(&practice, &surgeon, 12).await;
        let by_id: BTreeMap<WoundCheckId, &WoundCheck> = all.iter().map(|check| (check.id, check)).collect();
        let whole = in_the_database(&practice, &QueueFilter::default(), 1_000).await;
        for urgency in Urgency::ALL {
            let filter = QueueFilter { urgency: Some(*urgency), ..QueueFilter::default() };
            // The class it is read in: an overdue check shows with the class it has risen to.
            let read_in = |id: &WoundCheckId| {
                effective(by_id[id].assessment.urgency, by_id[id].due, practice.now()) == *urgency
            };
            let expected: Vec<WoundCheckId> = whole.iter().copied().filter(read_in).collect();
            assert_eq!(in_the_database(&practice, &filter, 1_000).await, expected);
        }
        for state in [CheckState::Queued, CheckState::InReview] {
            let filter = QueueFilter { state: Some(state), ..QueueFilter::default() };
            let expected: Vec<WoundCheckId> =
                whole.iter().copied().filter(|id| by_id[id].state == state).collect();
            assert_eq!(in_the_database(&practice, &filter, 1_000).await, expected);
        }
        let named = |name: &str| QueueFilter { name: name.to_owned(), ..QueueFilter::default() };
        assert_eq!(in_the_database(&practice, &named("nunez"), 1_000).await, whole);
        assert!(in_the_database(&practice, &named("nunes"), 1_000).await.is_empty());
    })
    .await;
}

#[tokio::test]
async fn a_row_shows_the_class_of_the_check_before_it_on_the_same_wound() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let office = practice.office().await;
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let first = phone.sends("one", no_danger(), &[]).await;
        practice.minutes_pass(60);
        let second = phone.sends("two", crate::support::in_danger(), &[]).await;
        let rows = surgeon.reads_queue().await;
        let row = |id| rows.iter().find(|row| row.id == id).unwrap();
        assert_eq!(row(first.check).previous_urgency, None);
        assert_eq!(row(second.check).previous_urgency, Some(first.urgency));
        assert_eq!(rows[0].id, second.check);
        assert_eq!(second.urgency, Urgency::GoNow);
    })
    .await;
}

#[tokio::test]
async fn a_claim_holds_against_others_until_it_runs_out() {
    on_each_engine(async |practice| {
        let (mine, other) = (practice.surgeon().await, practice.surgeon().await);
        let office = practice.office().await;
        let phone = office.enrols("Mia Stone", &mine).await.opens_link().await;
        let check = phone.sends("one", no_danger(), &[]).await.check;
        let until = practice.now() + SignedDuration::from_mins(15);
        let claims = async |staff: &Staff| {
            let mut tx = practice.desk().db.write().await.unwrap();
            let claim = Claim { by: staff.member.id, until };
            let got = claims::claim_for(&mut tx, practice.id, check, claim, practice.now()).await.unwrap();
            tx.commit().await.unwrap();
            got
        };
        assert!(claims(&mine).await);
        assert!(claims(&mine).await, "one's own claim can be taken again");
        assert!(!claims(&other).await);
        practice.minutes_pass(14);
        assert!(!claims(&other).await);
        practice.minutes_pass(1);
        assert!(claims(&other).await, "a claim ends at its time");
        assert!(!claims(&mine).await || practice.now() >= until);
    })
    .await;
}

#[tokio::test]
async fn of_twenty_surgeons_who_open_a_check_at_once_one_gets_it() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let office = practice.office().await;
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("one", no_danger(), &[]).await.check;
        let mut surgeons = Vec::new();
        for _ in 0..20 {
            surgeons.push(practice.surgeon().await);
        }
        let opening = surgeons.iter().map(|staff| {
            closewatch::care::review::open(practice.desk(), &staff.member, check, practice.now())
        });
        let opened = futures::future::join_all(opening).await;
        assert_eq!(opened.iter().filter(|opened| opened.is_ok()).count(), 1);
    })
    .await;
}
