//! Whether somebody is there: alarms that repeat until a person takes them, drills, the canary, and what is told to machines.

use std::fs;

use closewatch::care::CareError;
use closewatch::care::attend;
use closewatch::care::canary;
use closewatch::care::drill;
use closewatch::care::drill::Typed;
use closewatch::care::ladder;
use closewatch::care::ready;
use closewatch::care::vitals::Machine;
use closewatch::ids::StaffAddressId;
use closewatch::jobs::runner;
use closewatch::store::addresses;
use closewatch::store::addresses::Reached;
use closewatch::store::addresses::StaffAddress;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::canary as canary_rows;
use closewatch::store::drills;
use closewatch::store::ladders;
use closewatch::store::notices;
use closewatch::store::notices::NoticeKind;
use closewatch::store::staff::Roles;
use closewatch::triage::Told;
use closewatch::web::App;

use crate::support::Practice;
use crate::support::Staff;
use crate::support::count;
use crate::support::in_danger;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::rows_of;

async fn is_texted(practice: &Practice, who: &Staff) {
    let moment = practice.moment();
    let mut tx = practice.desk().db.write().await.unwrap();
    let address = StaffAddress {
        id: StaffAddressId::mint(&moment),
        practice: practice.id,
        staff: who.member.id,
        channel: Reached::Sms,
        address: "+12025550150".to_owned(),
        place: 1,
        since: moment.now,
    };
    assert!(addresses::insert(&mut tx, &address).await.unwrap());
    tx.commit().await.unwrap();
}

async fn alarms_of(practice: &Practice) -> Vec<AlarmKind> {
    let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.iter().map(|alarm| alarm.kind).collect()
}

async fn told(practice: &Practice, kind: NoticeKind) -> usize {
    let mut books = practice.books().await;
    let mut found = 0;
    for alarm in alarms::open(&mut books, practice.id).await.unwrap() {
        for time in 1..20 {
            let about = format!("alarm:{} time:{time}", alarm.id);
            let notices = notices::about(&mut books, practice.id, &about).await.unwrap();
            found += notices.iter().filter(|notice| notice.kind == kind).count();
        }
    }
    found
}

async fn answers_a_beat(practice: &Practice, who: &Staff) {
    attend::note_beat(practice.desk(), &who.member, practice.now(), practice.now()).await.unwrap();
}

#[tokio::test]
async fn in_practice_hours_ten_minutes_without_a_page_are_an_alarm_until_one_answers() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        answers_a_beat(&practice, &surgeon).await;
        practice.minutes_of_work_pass(9).await;
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::NoPageOpen));
        practice.minutes_of_work_pass(1).await;
        assert!(alarms_of(&practice).await.contains(&AlarmKind::NoPageOpen));
        answers_a_beat(&practice, &surgeon).await;
        practice.minutes_of_work_pass(1).await;
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::NoPageOpen));
    })
    .await;
}

#[tokio::test]
async fn a_page_that_answers_an_old_beat_is_not_believed() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let old = practice.now() - jiff::SignedDuration::from_secs(61);
        attend::note_beat(practice.desk(), &surgeon.member, old, practice.now()).await.unwrap();
        assert_eq!(count(&mut *practice.books().await, "page_beat").await, 0);
        let fresh = practice.now() - jiff::SignedDuration::from_secs(60);
        attend::note_beat(practice.desk(), &surgeon.member, fresh, practice.now()).await.unwrap();
        assert_eq!(count(&mut *practice.books().await, "page_beat").await, 1);
    })
    .await;
}

#[tokio::test]
async fn a_page_answers_through_its_door_with_the_beat_it_heard() {
    on_each_engine(async |practice| {
        let office = practice.office().await;
        let beat = practice.now().as_millisecond().to_string();
        let page = office.presses("/here", &[("beat", &beat)]).await;
        assert_eq!(page.status.as_u16(), 204);
        assert_eq!(count(&mut *practice.books().await, "page_beat").await, 1);
    })
    .await;
}

#[tokio::test]
async fn nobody_signed_in_on_a_working_day_is_an_alarm_until_somebody_does() {
    on_each_engine(async |practice| {
        let member = practice.hires("Dr. Away", Roles { surgeon: true, ..Roles::default() }).await;
        practice.works().await;
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::NobodySignedIn), "it was founded today");
        practice.minutes_pass(24 * 60);
        practice.works().await;
        assert!(alarms_of(&practice).await.contains(&AlarmKind::NobodySignedIn), "it is eleven");
        Staff::signs_in(&practice, member).await;
        practice.minutes_of_work_pass(1).await;
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::NobodySignedIn));
        // The next day at eleven nobody has signed in again.
        practice.minutes_pass(24 * 60);
        practice.works().await;
        assert!(alarms_of(&practice).await.contains(&AlarmKind::NobodySignedIn));
    })
    .await;
}

#[tokio::test]
async fn a_check_that_waits_longer_than_the_practice_says_is_an_alarm_though_it_is_not_due() {
    on_each_engine(async |practice| {
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        let typed = Typed { queue_oldest_hours: "1".to_owned(), ..Typed::default() };
        drill::set(practice.desk(), &lead.member, &typed, practice.now()).await.unwrap();
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("form", no_danger(), &[]).await;
        practice.minutes_of_work_pass(59).await;
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::QueueOld));
        practice.minutes_of_work_pass(2).await;
        assert!(alarms_of(&practice).await.contains(&AlarmKind::QueueOld));
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::Overdue));
    })
    .await;
}

#[tokio::test]
async fn an_alarm_is_told_every_quarter_hour_until_a_person_takes_it() {
    on_each_engine(async |practice| {
        let (surgeon, lead) = (practice.surgeon().await, practice.lead().await);
        is_texted(&practice, &surgeon).await;
        practice.minutes_of_work_pass(10).await;
        assert_eq!(told(&practice, NoticeKind::Alarm).await, 1, "whoever is on duty");
        practice.minutes_of_work_pass(14).await;
        assert_eq!(told(&practice, NoticeKind::Alarm).await, 1);
        practice.minutes_of_work_pass(1).await;
        assert_eq!(told(&practice, NoticeKind::Alarm).await, 2);
        let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
        let mut tx = practice.desk().db.write().await.unwrap();
        for alarm in &open {
            alarms::take(&mut tx, practice.id, alarm.id, lead.member.id, practice.now()).await.unwrap();
        }
        tx.commit().await.unwrap();
        practice.minutes_of_work_pass(40).await;
        assert_eq!(told(&practice, NoticeKind::Alarm).await, 2, "somebody sees to it");
    })
    .await;
}

#[tokio::test]
async fn an_alarm_nobody_can_be_written_to_about_begets_no_other_alarm() {
    on_each_engine(async |practice| {
        let lead = practice.lead().await;
        is_texted(&practice, &lead).await;
        let mut tx = practice.desk().db.write().await.unwrap();
        addresses::opt_out(&mut tx, practice.id, Reached::Sms, "+12025550150", practice.now()).await.unwrap();
        tx.commit().await.unwrap();
        practice.minutes_of_work_pass(40).await;
        assert_eq!(alarms_of(&practice).await, [AlarmKind::NoPageOpen]);
    })
    .await;
}

// Drills.

async fn rungs(practice: &Practice) -> Vec<(Told, i64)> {
    let mut books = practice.books().await;
    let all = drills::newest(&mut books, practice.id, 1).await.unwrap();
    let about = format!("drill:{}", all[0].id);
    let ladder = ladders::about(&mut books, practice.id, &about).await.unwrap().remove(0);
    let fired = ladders::rungs(&mut books, practice.id, ladder.id).await.unwrap();
    fired.iter().map(|rung| (rung.told, rung.reached)).collect()
}

#[tokio::test]
async fn a_drill_climbs_like_the_most_urgent_check_and_touches_no_patient() {
    on_each_engine(async |practice| {
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        office.enrols("Mia Stone", &surgeon).await;
        is_texted(&practice, &surgeon).await;
        let before = rows_of(&mut *practice.books().await, practice.id).await;
        drill::begin(practice.desk(), &lead.member, &practice.moment()).await.unwrap();
        practice.minutes_of_work_pass(41).await;
        let told: Vec<Told> = rungs(&practice).await.iter().map(|(told, _)| *told).collect();
        let expected = [
            Told::OnDuty,
            Told::OnDutyEverywhere,
            Told::Second,
            Told::SurgeonByVoice,
            Told::Everyone,
            Told::Patient,
            Told::Everyone,
        ];
        assert_eq!(told, expected);
        assert_eq!(rungs(&practice).await[5], (Told::Patient, 0));
        let alarms = alarms_of(&practice).await;
        assert!(!alarms.contains(&AlarmKind::NobodyToTell), "no patient is missed in a drill: {alarms:?}");
        let after = rows_of(&mut *practice.books().await, practice.id).await;
        for table in
            ["patient", "wound", "patient_link", "wound_check", "review", "callback", "message", "plan_step"]
        {
            assert_eq!(before[table], after[table], "{table}");
        }
        assert!(surgeon.reads_queue().await.is_empty());
    })
    .await;
}

#[tokio::test]
async fn the_letter_of_a_drill_is_the_usual_one() {
    on_each_engine(async |practice| {
        let (surgeon, lead) = (practice.surgeon().await, practice.lead().await);
        is_texted(&practice, &surgeon).await;
        drill::begin(practice.desk(), &lead.member, &practice.moment()).await.unwrap();
        practice.works().await;
        practice.seconds_pass(2);
        practice.works().await;
        let letters: Vec<String> = fs::read_dir(&practice.letters)
            .unwrap()
            .map(|file| fs::read_to_string(file.unwrap().path()).unwrap())
            .collect();
        assert!(!letters.is_empty());
        for letter in letters {
            assert!(letter.contains("Something waits for you in the queue"), "{letter}");
            assert!(!letter.to_lowercase().contains("drill"), "{letter}");
        }
    })
    .await;
}

#[tokio::test]
async fn opening_a_drill_ends_it_and_the_page_says_only_then_that_it_was_one() {
    on_each_engine(async |practice| {
        let (surgeon, lead) = (practice.surgeon().await, practice.lead().await);
        drill::begin(practice.desk(), &lead.member, &practice.moment()).await.unwrap();
        practice.minutes_of_work_pass(6).await;
        let queue = surgeon.opens("/queue").await;
        assert!(queue.words().contains("Something waits. Open it"), "{} {}", queue.status, queue.words());
        assert!(!queue.words().to_lowercase().contains("drill"));
        let running = drill::running(practice.desk(), &surgeon.member).await.unwrap().unwrap();
        let pressed = surgeon.presses(&format!("/drills/{}/open", running.id), &[]).await;
        let opened = surgeon.opens(pressed.leads_to()).await.words();
        assert!(opened.contains("DRILL") && opened.contains("after 6 min 0 s"), "{opened}");
        practice.minutes_of_work_pass(10).await;
        assert_eq!(rungs(&practice).await.len(), 2, "it climbs no further");
        assert!(drill::running(practice.desk(), &surgeon.member).await.unwrap().is_none());
        // A quarter of an hour has passed.
        let lead = Staff::signs_in(&practice, lead.member.clone()).await;
        let page = lead.opens("/practice/drill").await.words();
        assert!(page.contains("6 min 0 s") && page.contains("Dr. Rosa Lind"), "{page}");
    })
    .await;
}

#[tokio::test]
async fn saying_i_see_to_it_answers_a_drill_too_and_the_first_answer_counts() {
    on_each_engine(async |practice| {
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        let (desk, now) = (practice.desk(), practice.now());
        drill::begin(desk, &lead.member, &practice.moment()).await.unwrap();
        let twice = drill::begin(desk, &lead.member, &practice.moment()).await;
        assert!(matches!(twice, Err(CareError::AlreadyDone)));
        let running = drill::running(desk, &office.member).await.unwrap().unwrap();
        let ladders = ladder::running(desk, &office.member).await.unwrap();
        ladder::acknowledge(desk, &office.member, ladders[0].0.id, now).await.unwrap();
        drill::open(desk, &surgeon.member, running.id, now).await.unwrap();
        let (kept, by) = drill::view(desk, &lead.member, running.id).await.unwrap();
        assert_eq!(kept.answered, Some((office.member.id, now)));
        assert_eq!(by.as_deref(), Some("Pat Moss"));
    })
    .await;
}

#[tokio::test]
async fn a_drill_begins_at_its_time_once_a_week_and_not_while_something_real_is_urgent() {
    on_each_engine(async |practice| {
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        // It is Tuesday, eleven.
        let typed =
            Typed { weekday: "2".to_owned(), time: "11:30".to_owned(), queue_oldest_hours: "72".to_owned() };
        drill::set(practice.desk(), &lead.member, &typed, practice.now()).await.unwrap();
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let sent = phone.sends("form", in_danger(), &[]).await;
        practice.minutes_of_work_pass(31).await;
        assert!(drill::running(practice.desk(), &lead.member).await.unwrap().is_none(), "an emergency waits");
        surgeon.decides(sent.check, closewatch::triage::Decision::HealingAsExpected, "Fine.").await.unwrap();
        practice.minutes_of_work_pass(1).await;
        let first = drill::running(practice.desk(), &lead.member).await.unwrap().expect("it begins late");
        drill::open(practice.desk(), &surgeon.member, first.id, practice.now()).await.unwrap();
        practice.minutes_of_work_pass(20).await;
        assert_eq!(count(&mut *practice.books().await, "drill").await, 1);
        practice.minutes_pass(7 * 24 * 60 - 52);
        practice.minutes_of_work_pass(29).await;
        assert_eq!(count(&mut *practice.books().await, "drill").await, 1);
        practice.minutes_of_work_pass(2).await;
        assert_eq!(count(&mut *practice.books().await, "drill").await, 2);
    })
    .await;
}

#[tokio::test]
async fn eight_days_without_an_answered_drill_are_an_alarm() {
    on_each_engine(async |practice| {
        let lead = practice.lead().await;
        drill::begin(practice.desk(), &lead.member, &practice.moment()).await.unwrap();
        let running = drill::running(practice.desk(), &lead.member).await.unwrap().unwrap();
        drill::open(practice.desk(), &lead.member, running.id, practice.now()).await.unwrap();
        practice.minutes_pass(8 * 24 * 60 - 1);
        practice.works().await;
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::DrillMissing));
        practice.minutes_of_work_pass(1).await;
        assert!(alarms_of(&practice).await.contains(&AlarmKind::DrillMissing));
        drill::begin(practice.desk(), &lead.member, &practice.moment()).await.unwrap();
        practice.minutes_of_work_pass(1).await;
        assert!(alarms_of(&practice).await.contains(&AlarmKind::DrillMissing), "begun is not answered");
        let running = drill::running(practice.desk(), &lead.member).await.unwrap().unwrap();
        drill::open(practice.desk(), &lead.member, running.id, practice.now()).await.unwrap();
        practice.minutes_of_work_pass(1).await;
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::DrillMissing));
    })
    .await;
}

#[tokio::test]
async fn only_a_lead_begins_drills_and_what_cannot_stand_is_said_beside_its_field() {
    on_each_engine(async |practice| {
        let (surgeon, lead) = (practice.surgeon().await, practice.lead().await);
        let refused = drill::begin(practice.desk(), &surgeon.member, &practice.moment()).await;
        assert!(matches!(refused, Err(CareError::NotAllowed)));
        for (weekday, time, hours, field) in [
            ("8", "10:00", "72", "weekday"),
            ("1", "24:00", "72", "time"),
            ("1", "noon", "72", "time"),
            ("", "", "0", "queue_oldest_hours"),
            ("", "", "169", "queue_oldest_hours"),
        ] {
            let fields = [("weekday", weekday), ("time", time), ("queue_oldest_hours", hours)];
            let page = lead.presses("/practice/drill", &fields).await;
            assert_eq!(page.status.as_u16(), 422, "{field}");
            assert!(page.html().contains(&format!("{field}-fault")), "{field}");
        }
        let kept = [("weekday", "7"), ("time", "23:59"), ("queue_oldest_hours", "168")];
        assert_eq!(lead.presses("/practice/drill", &kept).await.leads_to(), "/practice/drill");
        let page = lead.opens("/practice/drill").await;
        assert!(page.html().contains("23:59") && page.html().contains("168"));
    })
    .await;
}

// The canary.

async fn seconds_of_work_pass(practice: &Practice, seconds: i64) {
    for _ in 0..seconds {
        practice.works().await;
        practice.seconds_pass(1);
    }
}

#[tokio::test]
async fn a_canary_goes_the_whole_way_and_no_practice_sees_anything_of_it() {
    on_each_engine(async |practice| {
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        office.enrols("Mia Stone", &surgeon).await;
        is_texted(&practice, &surgeon).await;
        practice.works().await;
        let seen =
            ["patient", "wound", "wound_check", "review", "notice", "delivery", "ladder", "audit", "alarm"];
        let before = rows_of(&mut *practice.books().await, practice.id).await;
        canary::ensure(practice.desk(), &practice.moment()).await.unwrap();
        canary::ensure(practice.desk(), &practice.moment()).await.unwrap();
        assert_eq!(canary::came_through(practice.desk()).await.unwrap(), None);
        seconds_of_work_pass(&practice, 8).await;
        let through = canary::came_through(practice.desk()).await.unwrap().expect("it came through");
        assert!(practice.now().duration_since(through).as_secs() < 8);
        let after = rows_of(&mut *practice.books().await, practice.id).await;
        for table in seen {
            assert_eq!(before[table], after[table], "{table}");
        }
        assert!(surgeon.reads_queue().await.is_empty());
        assert!(fs::read_dir(&practice.letters).unwrap().next().is_none(), "no letter left the house");
        let answering = ready::answering(practice.desk(), practice.now()).await.unwrap();
        assert_eq!(answering.oldest_go_now_s, None);
        drop(lead);
    })
    .await;
}

#[tokio::test]
async fn what_old_canaries_leave_is_cleared_away() {
    on_each_engine(async |practice| {
        canary::ensure(practice.desk(), &practice.moment()).await.unwrap();
        let its = canary_rows::practice(&mut *practice.books().await).await.unwrap().unwrap();
        let mut kept = Vec::new();
        for _ in 0..4 {
            seconds_of_work_pass(&practice, 8).await;
            let rows = rows_of(&mut *practice.books().await, its).await;
            let many = |table: &str| rows[table].len();
            kept.push((many("wound_check"), many("notice"), many("ladder"), many("audit")));
            practice.seconds_pass(112);
        }
        assert_eq!(kept, [(0, 0, 0, 0); 4]);
        practice.minutes_of_work_pass(12).await;
        let rows = rows_of(&mut *practice.books().await, its).await;
        assert!(rows["job"].len() <= 6, "{:?}", rows["job"]);
        assert!(rows["alarm"].is_empty());
    })
    .await;
}

#[tokio::test]
async fn a_canary_does_not_come_through_a_broken_channel_and_does_again_when_it_is_mended() {
    on_each_engine(async |practice| {
        canary::ensure(practice.desk(), &practice.moment()).await.unwrap();
        let doorway = practice.doorway();
        let works = async |seconds: i64| {
            for _ in 0..seconds {
                let now = || practice.moment();
                runner::until_idle(practice.desk(), &doorway, &now, 1).await.unwrap();
                practice.seconds_pass(1);
            }
        };
        works(8).await;
        let first = canary::came_through(practice.desk()).await.unwrap().unwrap();
        fs::remove_dir_all(&practice.letters).unwrap();
        works(7 * 60).await;
        assert_eq!(canary::came_through(practice.desk()).await.unwrap(), Some(first));
        practice.desk().vitals.runner_steps(practice.now());
        assert_eq!(ready::why_silent(practice.desk(), practice.now()).await, Some("no canary came through"));
        fs::create_dir_all(&practice.letters).unwrap();
        works(2 * 60 + 10).await;
        assert!(canary::came_through(practice.desk()).await.unwrap().unwrap() > first);
        practice.desk().vitals.runner_steps(practice.now());
        assert_eq!(ready::why_silent(practice.desk(), practice.now()).await, None);
    })
    .await;
}

// What machines are told.

/// The same practice on a machine that is looked after.
fn on(practice: &Practice, machine: Machine) -> Practice {
    let desk = practice.desk().clone().on(machine);
    let app = App { desk, ..practice.app.clone() };
    Practice { router: closewatch::web::router(&app), app, ..practice.clone() }
}

async fn ready_says(practice: &Practice) -> (u16, serde_json::Value) {
    let request = crate::support::from_our_page(axum::http::Method::GET, "/ready", "")
        .body(axum::body::Body::empty())
        .unwrap();
    let page = crate::support::send(&practice.router, request).await;
    (page.status.as_u16(), serde_json::from_slice(&page.body).unwrap())
}

const PARTS: [&str; 5] = ["database", "disk", "clock", "keys", "runner"];

/// Only this part cannot do its work.
async fn only(practice: &Practice, broken: &str) {
    let (status, said) = ready_says(practice).await;
    assert_eq!(status, 503, "{said}");
    for part in PARTS {
        assert_eq!(said[part].as_bool().unwrap(), part != broken, "{part} with {broken} broken: {said}");
    }
}

#[tokio::test]
async fn each_fault_flips_its_own_part_of_ready_within_fifteen_seconds_and_mending_it_flips_it_back() {
    on_each_engine(async |practice| {
        let place = tempfile::tempdir().unwrap();
        let (data, key) = (place.path().join("photos"), place.path().join("key"));
        fs::create_dir(&data).unwrap();
        fs::write(&key, "secret").unwrap();
        let machine =
            Machine { data_folder: Some(data.clone()), key_files: vec![key.clone()], ..Machine::default() };
        let practice = on(&practice, machine.clone());
        only(&practice, "runner").await;
        let passes = async |seconds: i64| {
            practice.seconds_pass(seconds);
            practice.works().await;
        };
        passes(15).await;
        assert_eq!(ready_says(&practice).await.0, 200);
        // The photo folder is gone.
        fs::remove_dir(&data).unwrap();
        passes(15).await;
        only(&practice, "disk").await;
        fs::create_dir(&data).unwrap();
        // A key is gone.
        fs::remove_file(&key).unwrap();
        passes(15).await;
        only(&practice, "keys").await;
        fs::write(&key, "").unwrap();
        passes(15).await;
        only(&practice, "keys").await;
        fs::write(&key, "secret").unwrap();
        // The clock falls behind one that nobody sets.
        practice.desk().vitals.set_clock_lags(true);
        passes(15).await;
        only(&practice, "clock").await;
        practice.desk().vitals.set_clock_lags(false);
        // A later time was seen before.
        closewatch::care::clock::see(practice.desk(), &practice.moment()).await.unwrap();
        practice.seconds_pass(-60);
        practice.desk().vitals.runner_steps(practice.now());
        only(&practice, "clock").await;
        practice.seconds_pass(60);
        // The runner hangs.
        passes(15).await;
        assert_eq!(ready_says(&practice).await.0, 200);
        practice.seconds_pass(15);
        only(&practice, "runner").await;
        passes(15).await;
        // The books take nothing any more.
        let mut tx = practice.desk().db.write().await.unwrap();
        sqlx::query("DROP TABLE server_state").execute(&mut *tx).await.unwrap();
        tx.commit().await.unwrap();
        practice.seconds_pass(15);
        practice.desk().vitals.runner_steps(practice.now());
        only(&practice, "database").await;
        // No room.
        let full = on(&practice, Machine { least_free_bytes: u64::MAX, ..machine });
        assert_eq!(ready_says(&full).await.1["disk"], false);
    })
    .await;
}

#[tokio::test]
async fn attend_tells_ages_and_codes_and_nobodys_name_or_health() {
    on_each_engine(async |practice| {
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        canary::ensure(practice.desk(), &practice.moment()).await.unwrap();
        drill::begin(practice.desk(), &lead.member, &practice.moment()).await.unwrap();
        let running = drill::running(practice.desk(), &lead.member).await.unwrap().unwrap();
        drill::open(practice.desk(), &lead.member, running.id, practice.now()).await.unwrap();
        answers_a_beat(&practice, &surgeon).await;
        is_texted(&practice, &surgeon).await;
        seconds_of_work_pass(&practice, 8).await;
        let said = async || {
            let request = crate::support::from_our_page(axum::http::Method::GET, "/attend", "")
                .body(axum::body::Body::empty())
                .unwrap();
            let page = crate::support::send(&practice.router, request).await;
            (page.status.as_u16(), serde_json::from_slice::<serde_json::Value>(&page.body).unwrap())
        };
        let (status, well) = said().await;
        assert_eq!(status, 200, "{well}");
        assert_eq!(well["last_drill_s"], 8);
        assert_eq!(well["on_duty_heartbeat_s"], 8);
        assert_eq!(well["oldest_go_now_s"], serde_json::Value::Null);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("form", in_danger(), &[]).await;
        seconds_of_work_pass(&practice, 299).await;
        answers_a_beat(&practice, &surgeon).await;
        let (status, nearly) = said().await;
        assert_eq!((status, &nearly["oldest_go_now_s"]), (200, &299.into()), "{nearly}");
        assert!(nearly["last_notification_s"].as_i64().unwrap() < 299);
        seconds_of_work_pass(&practice, 1).await;
        let (status, late) = said().await;
        assert_eq!((status, &late["wrong"]), (503, &serde_json::json!(["unopened"])), "{late}");
        for word in ["Mia", "Rosa", "Harbor", "breath", "2025550"] {
            assert!(!late.to_string().contains(word), "{word}");
        }
    })
    .await;
}
