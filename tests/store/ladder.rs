//! Nothing urgent stays unseen: ladders climb at their times, once each rung, through restarts and set clocks, until a
//! person acts.

use jiff::SignedDuration;
use jiff::Timestamp;

use closewatch::care::CareError;
use closewatch::care::clock;
use closewatch::care::ladder;
use closewatch::care::review;
use closewatch::care::working;
use closewatch::ids::WoundCheckId;
use closewatch::jobs::runner;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::jobs;
use closewatch::store::jobs::JobKind;
use closewatch::store::jobs::JobState;
use closewatch::store::ladders;
use closewatch::store::ladders::FiredRung;
use closewatch::store::ladders::Ladder;
use closewatch::store::ladders::LadderState;
use closewatch::store::notices;
use closewatch::store::notices::NoticeKind;
use closewatch::store::notices::Recipient;
use closewatch::store::staff;
use closewatch::store::staff::Activity;
use closewatch::triage::Answers;
use closewatch::triage::Decision;
use closewatch::triage::LadderKind;
use closewatch::triage::Told;

use crate::support::Phone;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::count;
use crate::support::in_danger;
use crate::support::no_danger;
use crate::support::on_each_engine;

/// A check just sent, and who is there.
struct Scene {
    office: Staff,
    surgeon: Staff,
    phone: Phone,
    check: WoundCheckId,
    sent: Timestamp,
}

async fn sent(practice: &Practice, answers: Answers) -> Scene {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let check = phone.sends("form", answers, &[]).await.check;
    Scene { office, surgeon, phone, check, sent: practice.now() }
}

async fn ladders_of(practice: &Practice, check: WoundCheckId) -> Vec<Ladder> {
    ladders::about(&mut *practice.books().await, practice.id, &format!("check:{check}")).await.unwrap()
}

async fn rungs_of(practice: &Practice, ladder: &Ladder) -> Vec<FiredRung> {
    ladders::rungs(&mut *practice.books().await, practice.id, ladder.id).await.unwrap()
}

/// Whom each rung told, and how many minutes after `from`.
fn minutes(rungs: &[FiredRung], from: Timestamp) -> Vec<(Told, i64)> {
    rungs.iter().map(|rung| (rung.told, rung.fired.duration_since(from).as_mins())).collect()
}

async fn alarms_of(practice: &Practice) -> Vec<AlarmKind> {
    let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.iter().map(|alarm| alarm.kind).collect()
}

const HALF_AN_HOUR: [(Told, i64); 6] = [
    (Told::OnDuty, 0),
    (Told::OnDutyEverywhere, 5),
    (Told::Second, 10),
    (Told::SurgeonByVoice, 20),
    (Told::Everyone, 30),
    (Told::Patient, 30),
];

#[tokio::test]
async fn an_emergency_nobody_opens_climbs_at_its_times_and_goes_on_above_the_last_rung() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        practice.staff("Dr. Second", scene.surgeon.member.roles).await;
        practice.minutes_of_work_pass(45).await;
        let ladders = ladders_of(&practice, scene.check).await;
        assert_eq!(ladders.len(), 1);
        let rungs = rungs_of(&practice, &ladders[0]).await;
        assert_eq!(minutes(&rungs, scene.sent)[..6], HALF_AN_HOUR);
        assert_eq!(minutes(&rungs, scene.sent)[6..], [(Told::Everyone, 40)]);
        assert!(alarms_of(&practice).await.contains(&AlarmKind::Unopened));
        let about = format!("ladder:{} rung:0", ladders[0].id);
        let told = notices::about(&mut *practice.books().await, practice.id, &about).await.unwrap();
        assert_eq!(told.len(), 2, "both surgeons are on duty where no roster says otherwise");
        let about = format!("ladder:{} rung:5", ladders[0].id);
        let told = notices::about(&mut *practice.books().await, practice.id, &about).await.unwrap();
        assert_eq!(told[0].kind, NoticeKind::NotReached);
        assert!(matches!(told[0].recipient, Recipient::Link(_)));
    })
    .await;
}

#[tokio::test]
async fn opening_it_stops_it_at_any_rung_and_nothing_fires_afterwards() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        practice.minutes_of_work_pass(11).await;
        review::open(practice.desk(), &scene.surgeon.member, scene.check, practice.now()).await.unwrap();
        practice.minutes_of_work_pass(14).await;
        let ladders = ladders_of(&practice, scene.check).await;
        assert_eq!((ladders.len(), ladders[0].state), (1, LadderState::Stopped));
        assert_eq!(ladders[0].stopped_by, Some(scene.surgeon.member.id));
        assert_eq!(minutes(&rungs_of(&practice, &ladders[0]).await, scene.sent), HALF_AN_HOUR[..3]);
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::Unopened));
    })
    .await;
}

#[tokio::test]
async fn a_check_opened_and_left_lying_climbs_anew_when_the_claim_has_run_out() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        review::open(practice.desk(), &scene.surgeon.member, scene.check, practice.now()).await.unwrap();
        practice.minutes_of_work_pass(21).await;
        let ladders = ladders_of(&practice, scene.check).await;
        assert_eq!(ladders.iter().map(|ladder| ladder.round).collect::<Vec<_>>(), [1, 2]);
        let begun = ladders[1].begun.duration_since(scene.sent);
        assert!((15 * 60..=16 * 60).contains(&begun.as_secs()), "{begun:?}");
        assert_eq!(minutes(&rungs_of(&practice, &ladders[1]).await, ladders[1].begun), HALF_AN_HOUR[..2]);
    })
    .await;
}

#[tokio::test]
async fn a_check_given_back_climbs_anew_at_once_and_a_decided_one_never() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        let (desk, member) = (practice.desk(), &scene.surgeon.member);
        review::open(desk, member, scene.check, practice.now()).await.unwrap();
        review::release(desk, member, scene.check, &practice.moment()).await.unwrap();
        assert_eq!(ladders_of(&practice, scene.check).await[1].state, LadderState::Running);
        scene.surgeon.decides(scene.check, Decision::HealingAsExpected, "Fine.").await.unwrap();
        practice.minutes_of_work_pass(30).await;
        let ladders = ladders_of(&practice, scene.check).await;
        assert!(ladders.iter().all(|ladder| ladder.state == LadderState::Stopped) && ladders.len() == 2);
    })
    .await;
}

#[tokio::test]
async fn saying_i_see_to_it_gives_ten_minutes_and_no_more() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        practice.works().await;
        let ladder = ladders_of(&practice, scene.check).await.remove(0);
        ladder::acknowledge(practice.desk(), &scene.office.member, ladder.id, practice.now()).await.unwrap();
        let again =
            ladder::acknowledge(practice.desk(), &scene.office.member, ladder.id, practice.now()).await;
        assert!(matches!(again, Err(CareError::AlreadyDone)));
        practice.minutes_of_work_pass(9).await;
        assert_eq!(ladders_of(&practice, scene.check).await.len(), 1);
        practice.minutes_of_work_pass(2).await;
        assert_eq!(ladders_of(&practice, scene.check).await.len(), 2, "nobody opened it after all");
    })
    .await;
}

#[tokio::test]
async fn a_restart_between_any_two_rungs_neither_loses_nor_doubles_one() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        let mut running = practice.clone();
        for _ in 0..70 {
            running = running.started_anew();
            running.works().await;
            running.seconds_pass(30);
        }
        let ladders = ladders_of(&practice, scene.check).await;
        let rungs = rungs_of(&practice, &ladders[0]).await;
        assert_eq!(minutes(&rungs, scene.sent), HALF_AN_HOUR);
    })
    .await;
}

#[tokio::test]
async fn a_runner_killed_with_a_rung_in_hand_has_it_taken_over_after_its_lease() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        let mut tx = practice.desk().db.write().await.unwrap();
        let (now, until) = (practice.now(), practice.now() + working::LEASE);
        let mut taken = Vec::new();
        while let Some(job) = jobs::claim(&mut tx, now, "killed", until).await.unwrap() {
            taken.push(job);
        }
        tx.commit().await.unwrap();
        assert!(taken.iter().any(|job| job.kind == JobKind::ClimbLadder));
        assert_eq!(practice.works().await, runner::Tally::default(), "it is in other hands");
        practice.seconds_pass(60);
        practice.works().await;
        let ladders = ladders_of(&practice, scene.check).await;
        assert_eq!(rungs_of(&practice, &ladders[0]).await.len(), 1);
        // The first runner comes back to life: what it ends is no longer its own.
        let mut tx = practice.desk().db.write().await.unwrap();
        for job in &taken {
            assert!(!jobs::end(&mut tx, job, practice.now()).await.unwrap());
        }
    })
    .await;
}

#[tokio::test]
async fn eight_runners_side_by_side_fire_each_rung_once() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        for _ in 0..62 {
            let now = || practice.moment();
            runner::until_idle(practice.desk(), &practice.doorway(), &now, 8).await.unwrap();
            practice.seconds_pass(30);
        }
        let ladders = ladders_of(&practice, scene.check).await;
        assert_eq!(ladders.len(), 1);
        assert_eq!(minutes(&rungs_of(&practice, &ladders[0]).await, scene.sent), HALF_AN_HOUR);
        let per_rung = format!("ladder:{} rung:4", ladders[0].id);
        let told = notices::about(&mut *practice.books().await, practice.id, &per_rung).await.unwrap();
        assert_eq!(told.len(), 2, "the office and the surgeon, once each");
    })
    .await;
}

#[tokio::test]
async fn where_nobody_is_to_be_told_the_next_rung_does_not_wait() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        let mut tx = practice.desk().db.write().await.unwrap();
        staff::set_active(&mut tx, practice.id, scene.surgeon.member.id, Activity::Gone).await.unwrap();
        tx.commit().await.unwrap();
        practice.works().await;
        let ladders = ladders_of(&practice, scene.check).await;
        let rungs = rungs_of(&practice, &ladders[0]).await;
        let told: Vec<(Told, i64)> = rungs.iter().map(|rung| (rung.told, rung.reached)).collect();
        let expected = [
            (Told::OnDuty, 0),
            (Told::OnDutyEverywhere, 0),
            (Told::Second, 0),
            (Told::SurgeonByVoice, 0),
            (Told::Everyone, 1),
        ];
        assert_eq!(told, expected, "the office is everyone who is left");
        assert!(alarms_of(&practice).await.contains(&AlarmKind::NobodyToTell));
    })
    .await;
}

#[tokio::test]
async fn a_week_forward_fires_every_rung_in_order_and_none_twice() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        practice.works().await;
        practice.minutes_pass(7 * 24 * 60);
        practice.works().await;
        let ladders = ladders_of(&practice, scene.check).await;
        let rungs = rungs_of(&practice, &ladders[0]).await;
        let told: Vec<Told> = rungs.iter().map(|rung| rung.told).collect();
        assert_eq!(told[..6], HALF_AN_HOUR.map(|(told, _)| told));
        assert!(rungs.windows(2).all(|two| two[0].number + 1 == two[1].number));
    })
    .await;
}

#[tokio::test]
async fn three_hours_back_delay_no_rung() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        practice.minutes_of_work_pass(6).await;
        let back = SignedDuration::from_hours(3);
        practice.minutes_pass(-180);
        clock::set_back(practice.desk(), back, &practice.moment()).await.unwrap();
        practice.minutes_of_work_pass(26).await;
        let ladders = ladders_of(&practice, scene.check).await;
        let rungs = rungs_of(&practice, &ladders[0]).await;
        // In the practice's true time: those after the jump are three hours earlier on the wall.
        let truly: Vec<(Told, i64)> = rungs
            .iter()
            .map(|rung| {
                let wall = rung.fired.duration_since(scene.sent).as_mins();
                (rung.told, if wall < 0 { wall + 180 } else { wall })
            })
            .collect();
        assert_eq!(truly, HALF_AN_HOUR);
        assert!(alarms_of(&practice).await.contains(&AlarmKind::ClockSetBack));
    })
    .await;
}

#[tokio::test]
async fn a_start_with_a_clock_that_lags_makes_what_waits_due_sooner() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        practice.minutes_of_work_pass(6).await;
        clock::see(practice.desk(), &practice.moment()).await.unwrap();
        practice.minutes_pass(-180);
        let back = clock::at_start(practice.desk(), &practice.moment()).await.unwrap();
        assert_eq!(back, SignedDuration::from_hours(3));
        practice.minutes_of_work_pass(5).await;
        let ladders = ladders_of(&practice, scene.check).await;
        assert_eq!(rungs_of(&practice, &ladders[0]).await.len(), 3);
        let nothing = clock::at_start(practice.desk(), &practice.moment()).await.unwrap();
        assert_eq!(nothing, SignedDuration::ZERO, "a clock that is right moves nothing");
    })
    .await;
}

#[tokio::test]
async fn what_is_overdue_is_an_alarm_within_a_minute_and_climbs_until_it_is_decided() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, no_danger()).await;
        practice.works().await;
        assert!(ladders_of(&practice, scene.check).await.is_empty(), "nothing urgent, nothing due");
        let due = scene.surgeon.reads_queue().await[0].due;
        practice.minutes_pass(due.duration_since(practice.now()).as_mins());
        practice.works().await;
        assert!(ladders_of(&practice, scene.check).await.is_empty(), "due now is not late");
        practice.seconds_pass(60);
        practice.works().await;
        let ladders = ladders_of(&practice, scene.check).await;
        assert_eq!(ladders[0].kind, LadderKind::Overdue);
        assert!(alarms_of(&practice).await.contains(&AlarmKind::Overdue));
        scene.surgeon.decides(scene.check, Decision::HealingAsExpected, "Fine.").await.unwrap();
        practice.seconds_pass(60);
        practice.works().await;
        let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
        assert!(open.iter().all(|alarm| alarm.about != format!("check:{}", scene.check)));
    })
    .await;
}

#[tokio::test]
async fn a_check_that_becomes_an_emergency_climbs_the_steeper_ladder_from_its_first_rung() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, crate::support::with_temperature(390)).await;
        practice.works().await;
        assert_eq!(ladders_of(&practice, scene.check).await[0].kind, LadderKind::RingNow);
        scene.phone.sends("form", in_danger(), &[]).await;
        practice.works().await;
        let ladders = ladders_of(&practice, scene.check).await;
        assert_eq!(
            ladders.iter().map(|ladder| ladder.state).collect::<Vec<_>>(),
            [LadderState::Replaced, LadderState::Running]
        );
        assert_eq!(ladders[1].kind, LadderKind::GoNow);
        assert_eq!(rungs_of(&practice, &ladders[1]).await.len(), 1);
        practice.minutes_of_work_pass(12).await;
        assert_eq!(rungs_of(&practice, &ladders[0]).await.len(), 1, "the old one fires no more");
    })
    .await;
}

#[tokio::test]
async fn the_books_refuse_a_ladder_stopped_by_nobody() {
    on_each_engine(async |practice| {
        let scene = sent(&practice, in_danger()).await;
        let mut books = practice.books().await;
        let stopped = sqlx::query("UPDATE ladder SET state = 'stopped' WHERE state = 'running'")
            .execute(&mut *books)
            .await;
        assert!(stopped.is_err());
        assert_eq!(count(&mut books, "ladder").await, 1);
        drop(scene);
    })
    .await;
}

#[tokio::test]
async fn the_watch_comes_again_and_again_and_is_one_job() {
    on_each_engine(async |practice| {
        let mut comes = Vec::new();
        for _ in 0..5 {
            practice.minutes_of_work_pass(1).await;
            let waiting = jobs::in_state(&mut *practice.books().await, practice.id, JobState::Waiting, 10)
                .await
                .unwrap();
            assert_eq!(waiting.iter().map(|job| job.kind).collect::<Vec<_>>(), [JobKind::Watch]);
            assert_eq!(waiting[0].tries, 0, "only what failed counts");
            comes.push(waiting[0].due);
        }
        assert!(comes.is_sorted_by(|one, next| one < next), "{comes:?}");
    })
    .await;
}
