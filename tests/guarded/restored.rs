//! A server that came out of a back-up: it says so, sends nothing, and once it is armed calls about what is open now, and never
//! about what was on its way when the back-up was made. And: how old back-ups are, and when that is an alarm.

use std::fs;
use std::path::Path;

use axum::http::Method;
use axum::http::StatusCode;
use jiff::SignedDuration;
use serde_json::Value;

use closewatch::care::Desk;
use closewatch::care::backup::noted;
use closewatch::care::keeping;
use closewatch::care::plan;
use closewatch::care::vitals::Machine;
use closewatch::ids::Chance;
use closewatch::ids::StaffAddressId;
use closewatch::photo::Limits;
use closewatch::plan::EndWhy;
use closewatch::store::Blobs;
use closewatch::store::Db;
use closewatch::store::addresses;
use closewatch::store::addresses::Reached;
use closewatch::store::addresses::StaffAddress;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::deliveries;
use closewatch::store::deliveries::DeliveryState;
use closewatch::store::key_file;
use closewatch::store::ladders;
use closewatch::store::ladders::LadderState;
use closewatch::store::notices;
use closewatch::store::notices::NoticeKind;
use closewatch::store::server;
use closewatch::store::server::Noted;
use closewatch::triage::Decision;
use closewatch::triage::Protocol;
use closewatch::web;
use closewatch::web::App;
use closewatch::web::Clock;

use crate::support::Page;
use crate::support::Patient;
use crate::support::Phone;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Safe;
use crate::support::Staff;
use crate::support::actions;
use crate::support::closewatch;
use crate::support::from_our_page;
use crate::support::in_danger;
use crate::support::in_each_place;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::rows_of;
use crate::support::said_by;
use crate::support::send;
use crate::support::word;

async fn is_reached(practice: &Practice, who: &Staff, number: &str) {
    let moment = practice.moment();
    let address = StaffAddress {
        id: StaffAddressId::mint(&moment),
        practice: practice.id,
        staff: who.member.id,
        channel: Reached::Sms,
        address: number.to_owned(),
        place: 1,
        since: moment.now,
    };
    let mut tx = practice.desk().db.write().await.unwrap();
    assert!(addresses::insert(&mut tx, &address).await.unwrap());
    tx.commit().await.unwrap();
}

fn letters(practice: &Practice) -> usize {
    fs::read_dir(&practice.letters).map_or(0, |files| {
        files.filter(|file| file.as_ref().unwrap().path().extension().is_some_and(|end| end == "txt")).count()
    })
}

async fn attends(practice: &Practice) -> (StatusCode, Value) {
    let page = looks(practice, "/attend").await;
    (page.status, serde_json::from_str(&page.html()).unwrap())
}

async fn looks(practice: &Practice, path: &str) -> Page {
    send(&practice.router, from_our_page(Method::GET, path, "").body(axum::body::Body::empty()).unwrap())
        .await
}

fn is_wrong(attending: &Value, code: &str) -> bool {
    attending["wrong"].as_array().unwrap().iter().any(|wrong| wrong == code)
}

/// The server on restored books, its clock moved by hand.
async fn on_restored(before: &Practice, data: &Path, url: &str, keys: &Path) -> Practice {
    let db = Db::open(url).await.unwrap();
    let ring = key_file::read_keys(keys).unwrap().unwrap();
    let blobs = Blobs::in_folder(&data.join("photos")).unwrap().sealed_with(ring, Chance::seeded(13));
    let desk = Desk::new(db, blobs, Protocol::built_in().clone(), Limits::default());
    // A moment after the restore, which went by the machine's clock.
    let clock = Clock::by_hand(Clock::Machine.now() + SignedDuration::from_secs(1));
    let app = App::new(desk, clock, Chance::seeded(21), "https://wounds.example");
    let app = app.with_post(before.app.post.clone(), before.app.outside.clone());
    let practice = Practice { router: web::router(&app), app, id: before.id, letters: data.join("letters") };
    practice.with_ways(&closewatch::config::NotifySettings {
        notify_folder: Some(practice.letters.clone()),
        ..closewatch::config::NotifySettings::default()
    })
}

#[tokio::test]
async fn a_restored_server_sends_no_old_letter_and_once_armed_open_emergencies_climb() {
    in_each_place(async |place| {
        let practice = Practice::open_by(place, Clock::Machine).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        practice.lead().await;
        is_reached(&practice, &surgeon, "202-555-0151").await;
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let calm = phone.sends("calm", no_danger(), &[jpeg(1)]).await.check;
        // The first rung fired, its letter waits; and an answer waits that nobody was told of.
        let urgent = phone.sends("urgent", in_danger(), &[]).await.check;
        practice.works().await;
        surgeon.decides(calm, Decision::HealingAsExpected, "It heals well.").await.unwrap();
        let safe = Safe::new();
        let from = safe.backs_up(place);

        let to = if place.engine_name() == "SQLite" {
            Place::sqlite()
        } else {
            Place::postgres(&std::env::var("TEST_PG_URL").unwrap()).await
        };
        let data = to.folder.path().join("restored");
        let restored = safe.restoring(&from, place, &data, &to.url).output().unwrap();
        assert!(restored.status.success(), "{}", said_by(&restored));
        let keys = place.folder.path().join("sealing-keys");
        let again = on_restored(&practice, &data, &to.url, &keys).await;

        // Held, for as long as nobody arms it; it says so, and takes what comes.
        let here = Patient { practice: again.clone(), ..phone.patient.clone() };
        let phone = Phone { patient: here, ..phone };
        let came = phone.sends("while held", in_danger(), &[]).await.check;
        again.minutes_of_work_pass(90).await;
        assert_eq!(letters(&again), 0);
        let (status, attending) = attends(&again).await;
        assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE);
        assert!(
            is_wrong(&attending, "held") && attending["held_s"].as_i64().unwrap() >= 90 * 60,
            "{attending}"
        );
        let surgeon = Staff::signs_in(&again, surgeon.member).await;
        let queue = surgeon.opens("/queue").await;
        queue
            .must_say("Restored from a back-up")
            .must_say("no message and no alarm is sent")
            .must_say("Restored: verify");

        let arms = || {
            let mut command = closewatch(&["arm", "--data", word(&data), "--database-url", &to.url]);
            command.output().unwrap()
        };
        let armed = arms();
        assert!(armed.status.success() && said_by(&armed).contains("Armed."), "{}", said_by(&armed));
        assert!(said_by(&arms()).contains("nothing is held here"));
        let done = actions(&again).await;
        assert_eq!(done[0], "server.arm");
        assert!(done.contains(&"server.restore".to_owned()));

        // What waited is put aside for good; the emergency climbs anew.
        again.minutes_of_work_pass(2).await;
        let mut books = again.books().await;
        let about = ladders::about(&mut books, again.id, &format!("check:{urgent}")).await.unwrap();
        let states: Vec<LadderState> = about.iter().map(|ladder| ladder.state).collect();
        assert_eq!(
            states,
            [LadderState::Replaced, LadderState::Running],
            "one of before, and one that began anew"
        );
        let about = ladders::about(&mut books, again.id, &format!("check:{came}")).await.unwrap();
        assert_eq!(about.len(), 1, "what came while it was held goes its way");
        assert!(!ladders::rungs(&mut books, again.id, about[0].id).await.unwrap().is_empty());
        assert!(letters(&again) > 0, "somebody is told of it");
        let dead = deliveries::in_state(&mut books, again.id, DeliveryState::Dead, 100).await.unwrap();
        assert!(dead.iter().any(|letter| letter.why == "waited when the back-up was made"), "{dead:?}");
        for letter in deliveries::in_state(&mut books, again.id, DeliveryState::Sent, 100).await.unwrap() {
            assert!(letter.queued > practice.now(), "a letter of before was sent: {letter:?}");
            let notice = notices::find(&mut books, again.id, letter.notice).await.unwrap().unwrap();
            assert_ne!(notice.kind, NoticeKind::AnswerReady, "the answer's letter was of before");
        }
        drop(books);
        let (_, attending) = attends(&again).await;
        assert!(!is_wrong(&attending, "held"), "{attending}");
        surgeon.opens("/queue").await.must_not_say("Restored from a back-up").must_say("Restored: verify");
        to.clear().await;
    })
    .await;
}

/// What is left of the patients, and of the photos' keys.
async fn left(practice: &Practice) -> (usize, usize) {
    let rows = rows_of(&mut *practice.books().await, practice.id).await;
    (rows["patient"].len(), rows["sealed_blob"].len())
}

/// Sixteen years go by, and then as many days as must, with the daily work done.
async fn years_go_by(practice: &Practice) {
    practice.minutes_pass(60 * 24 * 365 * 16);
    for _ in 0..9 {
        practice.works().await;
        practice.minutes_pass(60 * 24);
    }
    practice.works().await;
}

#[tokio::test]
async fn books_out_of_a_back_up_clear_away_again_what_had_gone_since() {
    in_each_place(async |place| {
        let practice = Practice::open_by(place, Clock::Machine).await;
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        let check = patient.opens_link().await.sends("one", no_danger(), &[jpeg(1)]).await.check;
        surgeon.decides(check, Decision::HealingAsExpected, "It heals well.").await.unwrap();
        let (desk, moment, wound) = (practice.desk(), practice.moment(), patient.enrolled.wound.id);
        plan::end(desk, &office.member, wound, EndWhy::Transferred, "moved", &moment).await.unwrap();
        let numbers = keeping::Typed {
            clinical_years: "15".to_owned(),
            minor_age: "21".to_owned(),
            minor_years: "10".to_owned(),
            record_years: "6".to_owned(),
            letters_days: "90".to_owned(),
            passing_days: "3".to_owned(),
            is_confirmed: true,
        };
        keeping::set(desk, &lead.member, &numbers, &moment).await.unwrap();
        let safe = Safe::new();
        let from = safe.backs_up(place);
        let keys = place.folder.path().join("sealing-keys");
        let here = on_restored(&practice, place.folder.path(), &place.url, &keys).await;
        assert_eq!(left(&here).await, (1, 2));
        years_go_by(&here).await;
        assert_eq!(left(&here).await, (0, 0));
        // Whoever makes back-ups hears which of the older ones still hold what went.
        let made = safe.backing_up(place).output().unwrap();
        assert!(made.status.success(), "{}", said_by(&made));
        let named: Vec<bool> = safe
            .backups()
            .iter()
            .map(|path| said_by(&made).contains(&format!("    {}", path.display())))
            .collect();
        assert!(
            said_by(&made).contains("can still show photos that were cleared away"),
            "{}",
            said_by(&made)
        );
        assert_eq!((&safe.backups()[0], named), (&from, vec![true, false]));

        let to = if place.engine_name() == "SQLite" {
            Place::sqlite()
        } else {
            Place::postgres(&std::env::var("TEST_PG_URL").unwrap()).await
        };
        let data = to.folder.path().join("restored");
        let restored = safe.restoring(&from, place, &data, &to.url).output().unwrap();
        assert!(restored.status.success(), "{}", said_by(&restored));
        let again = on_restored(&practice, &data, &to.url, &keys).await;
        years_go_by(&again).await;
        assert_eq!(
            left(&again).await,
            (1, 2),
            "it is back, and nothing goes before somebody arms the server"
        );
        let armed = closewatch(&["arm", "--data", word(&data), "--database-url", &to.url]).output().unwrap();
        assert!(armed.status.success(), "{}", said_by(&armed));
        years_go_by(&again).await;
        assert_eq!(left(&again).await, (0, 0));
        to.clear().await;
    })
    .await;
}

async fn has_alarm(practice: &Practice, kind: AlarmKind) -> bool {
    practice.minutes_of_work_pass(1).await;
    let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.iter().any(|alarm| alarm.kind == kind)
}

async fn notes(practice: &Practice, what: Noted) {
    let mut tx = practice.desk().db.write().await.unwrap();
    server::note(&mut tx, what, practice.now()).await.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn a_back_up_that_is_missing_or_never_tried_is_an_alarm_until_one_is_made_or_tried() {
    on_each_engine(async |practice| {
        noted::note_start(practice.desk(), practice.now()).await.unwrap();
        practice.minutes_pass(26 * 60 - 2);
        assert!(!has_alarm(&practice, AlarmKind::BackupOld).await);
        practice.minutes_pass(1);
        assert!(has_alarm(&practice, AlarmKind::BackupOld).await);
        assert!(is_wrong(&attends(&practice).await.1, "backup_old"));
        notes(&practice, Noted::LastBackup).await;
        assert!(!has_alarm(&practice, AlarmKind::BackupOld).await);
        let (_, attending) = attends(&practice).await;
        assert_eq!(attending["last_backup_s"], 60);
        assert_eq!(attending["last_restore_proof_s"], Value::Null);
        practice.minutes_pass(34 * 24 * 60);
        assert!(has_alarm(&practice, AlarmKind::RestoreUnproved).await);
        notes(&practice, Noted::LastRestoreProof).await;
        assert!(!has_alarm(&practice, AlarmKind::RestoreUnproved).await);
        assert_eq!(attends(&practice).await.1["last_restore_proof_s"], 60);
    })
    .await;
}

#[tokio::test]
async fn where_back_ups_are_made_by_other_means_none_is_missed() {
    on_each_engine(async |practice| {
        let desk = practice.desk().clone().on(Machine { backups_elsewhere: true, ..Machine::default() });
        noted::note_start(&desk, practice.now()).await.unwrap();
        practice.minutes_pass(36 * 24 * 60);
        assert!(!has_alarm(&practice, AlarmKind::BackupOld).await);
        assert!(!has_alarm(&practice, AlarmKind::RestoreUnproved).await);
        // Started again without, they are.
        noted::note_start(practice.desk(), practice.now()).await.unwrap();
        assert!(has_alarm(&practice, AlarmKind::BackupOld).await);
    })
    .await;
}
