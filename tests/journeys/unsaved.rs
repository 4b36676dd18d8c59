//! What a patient is told when something of ours fails: that it was not received, whom to ring, in both languages; and that
//! answers are taken where photos have no room.

use axum::http::StatusCode;
use sqlx::Executor;

use closewatch::care::vitals::Machine;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::web;

use crate::support;
use crate::support::Page;
use crate::support::Phone;
use crate::support::Practice;
use crate::support::actions;
use crate::support::jpeg;
use crate::support::on_each_engine;

const FORM: [(&str, &str); 3] = [("form_key", "form one"), ("danger", "none"), ("better", "same")];

async fn phone(practice: &Practice) -> Phone {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    office.enrols("Mia Stone", &surgeon).await.opens_link().await
}

fn says_not_received(page: &Page) {
    assert_eq!(page.status, StatusCode::INTERNAL_SERVER_ERROR);
    page.must_say("We did NOT get this").must_say("NO recibimos esto");
    page.must_say("Nobody at the practice will see it.").must_say("Nadie en el consultorio lo va a ver.");
    page.must_say("202-555-0100").must_say("911");
    assert!(page.html().contains("href=\"tel:2025550100\""));
}

#[tokio::test]
async fn a_check_that_could_not_be_saved_is_said_not_to_be_received_with_the_number_to_ring() {
    on_each_engine(async |practice| {
        let phone = phone(&practice).await;
        practice.minutes_of_work_pass(1).await;
        let broken = "ALTER TABLE answers_version RENAME TO away";
        practice.books().await.execute(broken).await.unwrap();
        says_not_received(&phone.posts_files("/my/check", &FORM, &[]).await);
        // The same for the request of a page with scripts, which goes by the status.
        let answer = phone.presses("/my/check/answers", &FORM).await;
        assert_eq!(answer.status, StatusCode::INTERNAL_SERVER_ERROR);
        assert_eq!(phone.checks().await.len(), 0, "half a check");
        practice.books().await.execute("ALTER TABLE away RENAME TO answers_version").await.unwrap();
        phone.posts_files("/my/check", &FORM, &[]).await.is_fine();
        assert_eq!(phone.checks().await.len(), 1);
    })
    .await;
}

#[tokio::test]
async fn with_books_that_answer_nothing_the_number_is_still_known() {
    on_each_engine(async |practice| {
        let phone = phone(&practice).await;
        practice.minutes_of_work_pass(1).await;
        practice.desk().db.close().await;
        says_not_received(&phone.posts_files("/my/check", &FORM, &[]).await);
        let page = phone.opens("/my").await;
        page.must_say("This page does not open now").must_say("202-555-0100").must_not_say("NOT get this");
    })
    .await;
}

/// The same practice on a disk that has no room for photos.
fn without_room(practice: &Practice) -> Practice {
    let folder = practice.desk().blobs.folder().unwrap().to_owned();
    let machine = Machine {
        data_folder: Some(folder),
        // All of the disk is not free on any machine.
        photos_need_bytes: u64::MAX,
        photos_need_part: 1,
        ..Machine::default()
    };
    let mut app = practice.app.clone();
    app.desk = app.desk.on(machine);
    Practice { router: web::router(&app), app, ..practice.clone() }
}

#[tokio::test]
async fn where_photos_have_no_room_answers_are_taken_and_the_patient_is_told_kindly() {
    on_each_engine(async |practice| {
        let phone = phone(&practice).await;
        let full = without_room(&practice);
        let mut there = phone.clone();
        there.patient.practice = full.clone();
        let picture = jpeg(1);
        let files = [support::File { name: "wound.jpg", bytes: &picture }];
        let page = there.posts_files("/my/check", &FORM, &files).await;
        let sent = there.opens(page.is_fine().leads_to()).await;
        sent.must_say("We have your wound check.")
            .must_say("We have your answers. The photo could not be kept.");
        sent.must_say("Call 202-555-0100");
        assert_eq!(there.checks().await.len(), 1);
        // Once there is room, the same photo is taken for the same check.
        let sending = [("form_key", "form one"), ("position", "1")];
        let refused = there.posts_files("/my/check/photo", &sending, &files).await;
        assert!(refused.leads_to().starts_with("/my"), "{}", refused.status);
        phone.posts_files("/my/check/photo", &sending, &files).await.is_fine();
        phone.opens(page.leads_to()).await.must_say("Photo 1 came through");
    })
    .await;
}

#[tokio::test]
async fn a_disk_that_fills_is_an_alarm_within_a_minute_and_ends_with_the_room() {
    on_each_engine(async |practice| {
        let is_raised = async || {
            let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
            open.iter().any(|alarm| alarm.kind == AlarmKind::DiskFilling)
        };
        let full = without_room(&practice);
        practice.minutes_of_work_pass(1).await;
        assert!(!is_raised().await);
        full.minutes_of_work_pass(1).await;
        assert!(is_raised().await);
        assert!(actions(&practice).await.contains(&"disk.filling".to_owned()));
        practice.minutes_of_work_pass(1).await;
        assert!(!is_raised().await);
        assert!(actions(&practice).await.contains(&"disk.room".to_owned()));
    })
    .await;
}
