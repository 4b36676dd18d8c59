//! The figures are counted in one pass through the books: what comes out is what counting by hand gives, of this practice
//! only; and saying how urgent it was changes nothing else.

use std::collections::BTreeMap;

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use sqlx::AssertSqlSafe;
use sqlx::Executor;

use closewatch::care::CareError;
use closewatch::care::figures;
use closewatch::care::figures::Figures;
use closewatch::care::figures::Table;
use closewatch::care::review;
use closewatch::care::review::Deciding;
use closewatch::ids::Chance;
use closewatch::ids::ReviewId;
use closewatch::ids::WoundCheckId;
use closewatch::store::FreeText;
use closewatch::store::audit;
use closewatch::store::callbacks;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::checks::WoundCheck;
use closewatch::store::practices;
use closewatch::store::reviews;
use closewatch::store::reviews::Review;
use closewatch::triage::Decided;
use closewatch::triage::Decision;
use closewatch::triage::Urgency;
use closewatch::triage::figures::Matrix;
use closewatch::triage::figures::Period;

use crate::support::Practice;
use crate::support::Staff;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::with_temperature;

const CHECKS: usize = 300;

fn chosen<T: Copy>(chance: &Chance, from: &[T]) -> T {
    from[chance.below(u32::try_from(from.len()).unwrap()) as usize]
}

/// Checks over the last hundred days, each with none to three reviews, as a busy practice might have them.
async fn a_busy_past(practice: &Practice, surgeon: &Staff) -> Vec<(WoundCheck, Vec<Review>)> {
    let office = practice.office().await;
    let phone = office.enrols("Mia Stone", surgeon).await.opens_link().await;
    let receipt = phone.sends("first", no_danger(), &[]).await;
    let first =
        checks::find(&mut *practice.books().await, practice.id, receipt.check).await.unwrap().unwrap();
    let chance = Chance::seeded(11);
    let mut all = vec![(first.clone(), Vec::new())];
    let mut tx = practice.desk().db.write().await.unwrap();
    for number in 1..CHECKS {
        let mut check = first.clone();
        check.id = WoundCheckId::mint(&practice.moment());
        check.sequence = practices::next_check_sequence(&mut tx, practice.id).await.unwrap();
        check.form_key = format!("form {number}");
        check.receipt = format!("R{number}");
        check.assessment.urgency = chosen(&chance, Urgency::ALL);
        check.received = practice.now() - SignedDuration::from_mins(i64::from(chance.below(144_000)));
        check.due = check.received + SignedDuration::from_mins(i64::from(chance.below(3_000)));
        check.state = CheckState::Closed;
        checks::insert(&mut tx, &check).await.unwrap();
        let mut its_reviews = Vec::new();
        for turn in 0..chance.below(4) {
            let decided =
                check.received + SignedDuration::from_mins(i64::from(turn * 700 + chance.below(700)));
            let later = |minutes: u32| decided + SignedDuration::from_mins(i64::from(chance.below(minutes)));
            let review = Review {
                id: ReviewId::mint(&practice.moment()),
                practice: practice.id,
                check: check.id,
                surgeon: surgeon.member.id,
                decision: chosen(&chance, Decision::ALL),
                come_in: Some(later(3_000)),
                note: FreeText::default(),
                urgency_shown: chosen(&chance, Urgency::ALL),
                due_shown: chosen(&chance, &[None, Some(later(600))]),
                urgency_judged: chosen(&chance, &[None, None, Some(Urgency::GoNow), Some(Urgency::OnTrack)]),
                call_due: Some(later(120)),
                decided,
                come_in_answer: None,
            };
            reviews::insert(&mut tx, &review).await.unwrap();
            its_reviews.push(review);
        }
        all.push((check, its_reviews));
    }
    tx.commit().await.unwrap();
    all
}

/// What counting by hand gives.
#[derive(Debug, Default, PartialEq, Eq)]
struct ByHand {
    received: u64,
    matrix: Matrix,
    by_decision: BTreeMap<(Decision, Urgency), u64>,
    without_judgement: u64,
    not_reviewed: u64,
    in_time: u64,
    late: u64,
    late_and_open: u64,
    moved_up: Vec<WoundCheckId>,
}

fn judged(review: &Review, zone: &TimeZone) -> Option<Urgency> {
    let decided = Decided { at: review.decided, come_in: review.come_in, call_due: review.call_due };
    review.urgency_judged.or(review.decision.judged(&decided, zone))
}

fn by_hand(all: &[(WoundCheck, Vec<Review>)], begins: Timestamp, now: Timestamp, zone: &TimeZone) -> ByHand {
    let mut hand = ByHand::default();
    let mut in_order: Vec<_> = all.iter().filter(|(check, _)| check.received >= begins).collect();
    in_order.sort_by_key(|(check, _)| (check.received, check.sequence));
    for (check, its_reviews) in in_order {
        hand.received += 1;
        match its_reviews.first() {
            None if now > check.due => hand.late_and_open += 1,
            None => {}
            Some(first) if first.decided > first.due_shown.unwrap_or(check.due) => hand.late += 1,
            Some(_) => hand.in_time += 1,
        }
        let mut gravest: Option<(Urgency, &Review)> = None;
        for review in its_reviews {
            let Some(class) = judged(review, zone) else { continue };
            if gravest.is_none_or(|(so_far, _)| class > so_far) {
                gravest = Some((class, review));
            }
        }
        let Some((class, review)) = gravest else {
            if its_reviews.is_empty() {
                hand.not_reviewed += 1;
            } else {
                hand.without_judgement += 1;
            }
            continue;
        };
        *hand.by_decision.entry((review.decision, review.urgency_shown)).or_default() += 1;
        match (class >= Urgency::RingNow, review.urgency_shown >= Urgency::RingNow) {
            (true, true) => hand.matrix.caught += 1,
            (false, true) => hand.matrix.false_alarm += 1,
            (true, false) => hand.matrix.missed += 1,
            (false, false) => hand.matrix.calm += 1,
        }
        if class > review.urgency_shown {
            hand.moved_up.insert(0, check.id);
        }
    }
    hand
}

fn counted(figures: &Figures) -> ByHand {
    let agreement = &figures.agreement;
    let mut by_decision = BTreeMap::new();
    for decision in Decision::ALL {
        for class in Urgency::ALL {
            let checks = agreement.decided(*decision, *class);
            if checks > 0 {
                by_decision.insert((*decision, *class), checks);
            }
        }
    }
    let sum = |of: fn(&closewatch::triage::figures::Tally) -> u64| -> u64 {
        figures.response.by_class().map(|(_, tally)| of(tally)).sum()
    };
    ByHand {
        received: figures.received,
        matrix: agreement.matrix(),
        by_decision,
        without_judgement: agreement.without_judgement(),
        not_reviewed: agreement.not_reviewed(),
        in_time: sum(|tally| tally.in_time),
        late: sum(|tally| tally.late),
        late_and_open: sum(|tally| tally.late_and_open),
        moved_up: figures.moved_up.iter().map(|one| one.check).collect(),
    }
}

#[tokio::test]
async fn one_pass_through_the_books_counts_what_counting_by_hand_gives() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let all = a_busy_past(&practice, &surgeon).await;
        let (desk, member, now) = (practice.desk(), &surgeon.member, practice.now());
        let zone = TimeZone::get("America/New_York").unwrap();
        let mut seen = Vec::new();
        for period in Period::ALL {
            let figures = figures::download(desk, member, Table::MovedUp, *period, now).await.unwrap();
            let hand = by_hand(&all, period.begins(now, &zone), now, &zone);
            assert_eq!(counted(&figures), hand, "{period:?}");
            let table: u64 = hand.by_decision.values().sum();
            assert_eq!(table, figures.agreement.counted());
            seen.push(figures.received);
        }
        // The periods differ, and the longest hold everything.
        assert!(seen[0] > 0 && seen[0] < seen[1] && seen[1] < seen[2], "{seen:?}");
        assert_eq!(seen[3], u64::try_from(CHECKS).unwrap());
        let page = figures::read(desk, member, Period::All, now).await.unwrap();
        assert_eq!(page.moved_up.len(), figures::LISTED_ON_PAGE);
        assert!(page.agreement.moved_up().hits() > page.moved_up.len() as u64);
    })
    .await;
}

#[tokio::test]
async fn another_practices_checks_are_not_counted_and_the_office_may_not_look() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        a_busy_past(&practice, &surgeon).await;
        let neighbour = practice.neighbour().await;
        let (lead, office) = (neighbour.lead().await, practice.office().await);
        let theirs = figures::read(practice.desk(), &lead.member, Period::All, practice.now()).await.unwrap();
        assert_eq!((theirs.received, theirs.agreement.counted(), theirs.moved_up.len()), (0, 0, 0));
        let (desk, now) = (practice.desk(), practice.now());
        let looked = figures::read(desk, &office.member, Period::All, now).await;
        assert!(matches!(looked, Err(CareError::NotAllowed)));
        let took = figures::download(desk, &office.member, Table::Shares, Period::All, now).await;
        assert!(matches!(took, Err(CareError::NotAllowed)));
    })
    .await;
}

/// Decides a check as "call by the office", saying this about how urgent it was.
async fn rings_for(surgeon: &Staff, check: WoundCheckId, judged: Option<Urgency>) {
    let deciding = Deciding {
        decision: Decision::CallByOffice,
        reply: "We will ring you.".to_owned(),
        note: String::new(),
        come_in: None,
        ask: String::new(),
        judged,
        antibiotic: None,
        extent: None,
    };
    let (desk, moment) = (surgeon.practice.desk(), surgeon.practice.moment());
    review::decide(desk, &surgeon.member, check, deciding, &moment).await.unwrap();
}

#[tokio::test]
async fn saying_how_urgent_it_was_is_kept_and_noted_and_changes_no_call_and_no_due_time() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let mut left = Vec::new();
        for (name, says) in
            [("Mia Stone", None), ("Ida Marsh", Some(Urgency::GoNow)), ("Bo Lund", Some(Urgency::OnTrack))]
        {
            let phone = office.enrols(name, &surgeon).await.opens_link().await;
            let receipt = phone.sends("form", with_temperature(383), &[]).await;
            rings_for(&surgeon, receipt.check, says).await;
            let mut books = practice.books().await;
            let review = reviews::of_check(&mut books, practice.id, receipt.check).await.unwrap().remove(0);
            assert_eq!(review.urgency_judged, says);
            let call = callbacks::of_check(&mut books, practice.id, receipt.check).await.unwrap().remove(0);
            assert_eq!(review.call_due, Some(call.due));
            let check = checks::find(&mut books, practice.id, receipt.check).await.unwrap().unwrap();
            assert_eq!(review.due_shown, Some(check.due));
            left.push((call.urgency, call.due, check.state, check.due, check.assessment.urgency));
        }
        assert!(left.iter().all(|one| *one == left[0]), "{left:?}");
        let lines = audit::newest(&mut *practice.books().await, practice.id, 100).await.unwrap();
        let said: Vec<&str> = lines
            .iter()
            .filter(|line| line.action == "check.decide")
            .filter_map(|line| line.detail.split("judged=").nth(1))
            .collect();
        assert_eq!(said, ["on_track", "go_now", "as_decided"]);
    })
    .await;
}

/// Every decision made before the migration gets the due time its call had, from the class that was shown.
#[tokio::test]
async fn what_was_decided_before_call_times_were_kept_gets_the_one_it_had() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let answers = [no_danger(), with_temperature(383), crate::support::in_danger()];
        let mut asked = Vec::new();
        for (number, answer) in answers.iter().enumerate() {
            for decision in Decision::ALL {
                let name = format!("Mia Stone {number} {}", decision.code());
                let phone = office.enrols(&name, &surgeon).await.opens_link().await;
                let receipt = phone.sends("form", answer.clone(), &[]).await;
                surgeon.decides(receipt.check, *decision, "As I expect.").await.unwrap();
                asked.push(receipt.check);
            }
        }
        let kept = async || {
            let mut books = practice.books().await;
            let mut due = Vec::new();
            for check in &asked {
                let reviewed = reviews::of_check(&mut books, practice.id, *check).await.unwrap();
                due.extend(reviewed.into_iter().map(|review| (review.decision, review.call_due)));
            }
            due
        };
        let before = kept().await;
        assert!(before.iter().any(|(_, due)| due.is_some()) && before.iter().any(|(_, due)| due.is_none()));
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/migrations/0005_reviews_say_how_urgent_it_was.sql");
        let sql = std::fs::read_to_string(file).unwrap();
        let mut tx = practice.desk().db.write().await.unwrap();
        tx.execute("UPDATE review SET call_due_ms = NULL").await.unwrap();
        let updates: Vec<&str> =
            sql.split(';').filter_map(|part| part.find("UPDATE ").map(|at| &part[at..])).collect();
        assert_eq!(updates.len(), 2);
        for update in updates {
            tx.execute(AssertSqlSafe(update.to_owned())).await.unwrap();
        }
        tx.commit().await.unwrap();
        assert_eq!(kept().await, before);
    })
    .await;
}
