//! Nothing half-done: what was acknowledged is kept, and what failed in the middle left nothing.

use sqlx::Row;

use closewatch::care::CareError;
use closewatch::care::intake;
use closewatch::care::intake::Sending;
use closewatch::care::measuring;
use closewatch::care::measuring::Method;
use closewatch::care::measuring::Outcome;
use closewatch::store::Engine;
use closewatch::store::patients;
use closewatch::store::photos;
use closewatch::triage::Decision;
use closewatch::triage::Urgency;
use closewatch::wound::Because;
use closewatch::wound::Measurement;
use closewatch::wound::Standing;

use crate::support::count;
use crate::support::in_danger;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::person;
use crate::support::photo;
use crate::support::rows_of;
use crate::support::with_temperature;
use crate::support::with_words;

#[tokio::test]
async fn every_sqlite_connection_syncs_at_commit_and_writes_ahead() {
    on_each_engine(async |practice| {
        let db = &practice.desk().db;
        if db.engine() == Engine::Postgres {
            return;
        }
        // All eight at once, so that every one of the pool is asked.
        let asked = futures::future::join_all((0..8).map(|_| db.read())).await;
        for conn in asked {
            let mut conn = conn.unwrap();
            let mut pragma = async |name: &'static str| {
                let sql = sqlx::AssertSqlSafe(format!("PRAGMA {name}"));
                let row = sqlx::query(sql).fetch_one(&mut *conn).await.unwrap();
                row.try_get::<String, _>(0)
                    .or_else(|_| row.try_get::<i64, _>(0).map(|whole| whole.to_string()))
            };
            // 2 is FULL, says the documentation of SQLite's PRAGMA synchronous.
            assert_eq!(pragma("synchronous").await.unwrap(), "2");
            assert_eq!(pragma("journal_mode").await.unwrap(), "wal");
            assert_eq!(pragma("foreign_keys").await.unwrap(), "1");
            assert_ne!(pragma("busy_timeout").await.unwrap(), "0");
        }
    })
    .await;
}

#[tokio::test]
async fn a_transaction_that_is_not_committed_leaves_nothing() {
    on_each_engine(async |practice| {
        let before = rows_of(&mut *practice.books().await, practice.id).await;
        let office = practice.hires("Pat Moss", closewatch::store::staff::Roles::default()).await;
        let with_office = rows_of(&mut *practice.books().await, practice.id).await;
        assert_ne!(before, with_office);
        let mut tx = practice.desk().db.write().await.unwrap();
        let new = person("Mia Stone");
        let patient = patients::Patient {
            id: closewatch::ids::PatientId::mint(&practice.moment()),
            practice: practice.id,
            name: new.name,
            born: new.born,
            phone: new.phone,
            language: new.language,
            helper_name: None,
            helper_phone: None,
            interpreter: None,
        };
        patients::insert(&mut tx, &patient, practice.now()).await.unwrap();
        assert!(patients::find(&mut tx, practice.id, patient.id).await.unwrap().is_some());
        drop(tx);
        assert_eq!(rows_of(&mut *practice.books().await, practice.id).await, with_office);
        drop(office);
    })
    .await;
}

/// Takes one table away under a running step: what the step wrote before it got there must be gone too.
#[tokio::test]
async fn a_step_that_fails_in_the_middle_leaves_nothing_of_itself() {
    for missing in ["ladder", "job", "audit", "photo", "answers_version", "measuring_job"] {
        on_each_engine(async |practice| {
            let (office, surgeon) = (practice.office().await, practice.surgeon().await);
            let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
            let before = rows_of(&mut *practice.books().await, practice.id).await;
            rename(&practice, missing, "set_aside").await;
            let failed = phone.tries_to_send("one", in_danger(), &[jpeg(1)]).await;
            assert!(matches!(failed, Err(CareError::Store(_))), "{missing}");
            rename(&practice, "set_aside", missing).await;
            assert_eq!(rows_of(&mut *practice.books().await, practice.id).await, before, "{missing}");
            // The retry under the same form key then goes through.
            let receipt = phone.sends("one", in_danger(), &[jpeg(1)]).await;
            assert_eq!((receipt.urgency, receipt.photos_here), (Urgency::GoNow, 1));
        })
        .await;
    }
}

/// A rung that breaks off half-way has told nobody and is fired again, whole.
#[tokio::test]
async fn a_rung_that_fails_in_the_middle_leaves_its_job_and_nothing_else() {
    for missing in ["notice", "audit", "ladder_rung", "wound_check"] {
        on_each_engine(async |practice| {
            let (office, surgeon) = (practice.office().await, practice.surgeon().await);
            let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
            phone.sends("one", in_danger(), &[]).await;
            rename(&practice, missing, "set_aside").await;
            practice.works().await;
            rename(&practice, "set_aside", missing).await;
            let (rungs, told) = {
                let mut books = practice.books().await;
                (count(&mut books, "ladder_rung").await, count(&mut books, "notice").await)
            };
            assert_eq!((rungs, told), if missing == "wound_check" { (1, 1) } else { (0, 0) }, "{missing}");
            practice.seconds_pass(61);
            practice.works().await;
            let mut books = practice.books().await;
            assert_eq!(count(&mut books, "ladder_rung").await, 1, "{missing}");
            assert_eq!(count(&mut books, "notice").await, 1, "{missing}");
        })
        .await;
    }
}

#[tokio::test]
async fn a_decision_that_fails_in_the_middle_decides_nothing() {
    for missing in ["callback", "notice", "message", "audit"] {
        on_each_engine(async |practice| {
            let (office, surgeon) = (practice.office().await, practice.surgeon().await);
            let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
            let check = phone.sends("one", no_danger(), &[]).await.check;
            let desk = practice.desk();
            closewatch::care::review::open(desk, &surgeon.member, check, practice.now()).await.unwrap();
            let before = rows_of(&mut *practice.books().await, practice.id).await;
            rename(&practice, missing, "set_aside").await;
            let deciding = closewatch::care::review::Deciding {
                decision: Decision::CallByOffice,
                reply: "We will ring you.".to_owned(),
                note: String::new(),
                come_in: None,
                ask: String::new(),
                judged: None,
                antibiotic: None,
                extent: None,
            };
            let moment = practice.moment();
            let failed =
                closewatch::care::review::decide(desk, &surgeon.member, check, deciding, &moment).await;
            assert!(matches!(failed, Err(CareError::Store(_))), "{missing}");
            rename(&practice, "set_aside", missing).await;
            assert_eq!(rows_of(&mut *practice.books().await, practice.id).await, before, "{missing}");
        })
        .await;
    }
}

/// The measurement, the check's new assessment and the end of the job are one step.
#[tokio::test]
async fn a_measuring_that_fails_while_keeping_leaves_the_check_alone_and_is_tried_again() {
    let blurred = Method {
        measure: std::sync::Arc::new(|_, _| Measurement::refused(vec![Because::Blurred])),
        ..Method::default()
    };
    for missing in ["measurement", "assessment", "audit"] {
        on_each_engine(async |practice| {
            let (office, surgeon) = (practice.office().await, practice.surgeon().await);
            let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
            phone.sends("one", no_danger(), &[photo(1)]).await;
            let before = rows_of(&mut *practice.books().await, practice.id).await;
            rename(&practice, missing, "set_aside").await;
            let failed = measuring::next(practice.desk(), &blurred, &practice.moment()).await.unwrap();
            assert_eq!(failed, Some(Outcome::PutOff), "{missing}");
            rename(&practice, "set_aside", missing).await;
            let mut after = rows_of(&mut *practice.books().await, practice.id).await;
            // Only the job knows that it was tried.
            after.insert("measuring_job".to_owned(), before["measuring_job"].clone());
            assert_eq!(after, before, "{missing}");
            practice.minutes_pass(3);
            let done = measuring::next(practice.desk(), &blurred, &practice.moment()).await.unwrap();
            assert_eq!(done, Some(Outcome::Measured(Standing::Refused)));
        })
        .await;
    }
}

async fn rename(practice: &crate::support::Practice, from: &str, to: &str) {
    let sql = sqlx::AssertSqlSafe(format!("ALTER TABLE {from} RENAME TO {to}"));
    let mut tx = practice.desk().db.write().await.unwrap();
    sqlx::query(sql).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn a_form_that_says_more_later_is_kept_beside_what_it_said_first_and_never_falls() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let first = phone.sends("one", in_danger(), &[]).await;
        assert_eq!(first.urgency, Urgency::GoNow);
        practice.minutes_pass(5);
        let second = phone.sends("one", with_temperature(370), &[]).await;
        assert_eq!((second.check, second.code.as_str()), (first.check, first.code.as_str()));
        assert_eq!(second.urgency, Urgency::GoNow, "a calmer later body lowers nothing");
        assert!(second.due <= first.due);
        let opened =
            closewatch::care::review::view(practice.desk(), &surgeon.member, first.check, practice.now());
        let said: Vec<_> = opened.await.unwrap().versions.into_iter().map(|(_, answers)| answers).collect();
        assert_eq!(said, [in_danger(), with_temperature(370)]);
        // A late retry of the first body is no third version.
        phone.sends("one", in_danger(), &[]).await;
        assert_eq!(count(&mut *practice.books().await, "answers_version").await, 2);
    })
    .await;
}

#[tokio::test]
async fn answers_go_in_without_their_photo_and_the_photo_follows() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let (desk, holder) = (practice.desk(), phone.holder().await);
        let photo = intake::prepare_photo(desk, jpeg(4), 1, None).await.unwrap();
        let early = intake::add_photo(desk, &holder, "one", photo.clone(), &practice.moment()).await.unwrap();
        assert!(early.is_none(), "a photo without answers has nowhere to go");
        let sending =
            Sending { form_key: "one".to_owned(), answers: with_words("hello"), photos_expected: 1 };
        let first = intake::receive(desk, &holder, sending, Vec::new(), &practice.moment()).await.unwrap();
        assert_eq!(first.photos_here, 0);
        for _ in 0..2 {
            let after = intake::add_photo(desk, &holder, "one", photo.clone(), &practice.moment()).await;
            assert_eq!(after.unwrap().unwrap().photos_here, 1, "the same photo twice is one photo");
        }
        // Something that is no picture is kept as a fact, and the check goes on.
        let broken = intake::prepare_photo(desk, b"not a picture".to_vec(), 2, None).await.unwrap();
        assert!(!broken.is_readable());
        let after =
            intake::add_photo(desk, &holder, "one", broken, &practice.moment()).await.unwrap().unwrap();
        assert_eq!(after.check, first.check);
        let kept = photos::of_check(&mut *practice.books().await, practice.id, first.check).await.unwrap();
        assert_eq!(kept.iter().filter(|photo| photo.renditions.is_some()).count(), 1);
        assert_eq!(kept.len(), 2);
    })
    .await;
}
