//! What is kept comes back; what was kept before is a duplicate; migrations run once however often they are run.

use closewatch::care::sha256_hex;
use closewatch::ids::LinkId;
use closewatch::store::Db;
use closewatch::store::StoreError;
use closewatch::store::links;
use closewatch::store::links::LinkSecrets;
use closewatch::store::notices;
use closewatch::store::notices::NoticeKind;
use closewatch::store::notices::Recipient;
use closewatch::store::patients;
use closewatch::store::photos;
use closewatch::store::practices;
use closewatch::store::replies;
use closewatch::store::staff;
use closewatch::store::staff::Activity;
use closewatch::store::staff::Roles;
use closewatch::store::staff_sessions;
use closewatch::store::wounds;
use closewatch::triage::Decision;

use crate::support::Practice;
use crate::support::TABLES;
use crate::support::count;
use crate::support::in_each_place;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;

#[tokio::test]
async fn opening_a_database_twice_migrates_it_once_and_keeps_its_rows() {
    in_each_place(async |place| {
        let first = Practice::open(place).await;
        let again = Db::open(&place.url).await.unwrap();
        let found = practices::find(&mut again.read().await.unwrap(), first.id).await.unwrap().unwrap();
        assert_eq!(found.name, "Harbor Surgery");
        let applied = count(&mut again.read().await.unwrap(), "_sqlx_migrations").await;
        let files = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/migrations")).unwrap().count();
        assert_eq!(applied, i64::try_from(files).unwrap());
        again.close().await;
    })
    .await;
}

#[test]
fn every_table_that_names_a_practice_is_watched_by_the_isolation_tests() {
    let mut tables = Vec::new();
    for file in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/migrations")).unwrap() {
        let sql = std::fs::read_to_string(file.unwrap().path()).unwrap();
        for table in sql.split("CREATE TABLE ").skip(1) {
            let name = table.split_whitespace().next().unwrap().to_owned();
            let body = table.split(");").next().unwrap();
            if body.contains("practice_id") {
                tables.push(name);
            } else {
                // The practice itself, the address under which there is no practice yet, and what the program keeps of itself.
                assert!(
                    ["practice", "set_up", "clock_seen", "server_state", "unknown_name", "unsummed"]
                        .contains(&name.as_str()),
                    "{name} belongs to no practice"
                );
            }
        }
    }
    tables.sort();
    // A table that was made anew stands in two files.
    tables.dedup();
    let mut watched = TABLES.to_vec();
    watched.sort_unstable();
    assert_eq!(tables, watched);
}

#[tokio::test]
async fn a_patient_a_wound_its_plan_and_its_link_come_back_as_they_were_kept() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("José Núñez", &surgeon).await;
        let enrolled = &patient.enrolled;
        let mut books = practice.books().await;
        let found = patients::find(&mut books, practice.id, enrolled.patient.id).await.unwrap().unwrap();
        assert_eq!(found, enrolled.patient);
        let wound = wounds::find(&mut books, practice.id, enrolled.wound.id).await.unwrap().unwrap();
        assert_eq!(wound, enrolled.wound);
        let plan = wounds::plan(&mut books, practice.id, wound.id).await.unwrap();
        let zone = practices::find(&mut books, practice.id).await.unwrap().unwrap().zone;
        assert_eq!(plan, closewatch::plan::care_plan(&wound.operation, &zone));
        let link = links::by_token(&mut books, &sha256_hex(patient.issued.token.reveal())).await.unwrap();
        assert_eq!(link.unwrap().id, patient.issued.link.id);
        let locator = &patient.issued.code.reveal()[..4];
        let link = links::by_code_locator(&mut books, locator).await.unwrap();
        assert_eq!(link.unwrap().id, patient.issued.link.id);
    })
    .await;
}

#[tokio::test]
async fn patients_are_found_by_any_part_of_their_name_and_signs_are_taken_literally() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        for name in ["José Núñez", "Ana-María O'Brien", "100%_Sure", "Nunez Rivera"] {
            office.enrols(name, &surgeon).await;
        }
        let mut books = practice.books().await;
        let mut found = async |words: &str| {
            let found = patients::search(&mut books, practice.id, words, 50).await.unwrap();
            found.into_iter().map(|patient| patient.name).collect::<Vec<_>>()
        };
        assert_eq!(found("nunez").await, ["José Núñez", "Nunez Rivera"]);
        assert_eq!(found("JOSÉ  nu").await, ["José Núñez"]);
        assert_eq!(found("%").await, ["100%_Sure"]);
        assert_eq!(found("_").await, ["100%_Sure"]);
        assert_eq!(found("o'b").await, ["Ana-María O'Brien"]);
        assert_eq!(found("'; DROP TABLE patient; --").await, Vec::<String>::new());
        assert_eq!(found("").await.len(), 4);
    })
    .await;
}

#[tokio::test]
async fn what_must_be_unique_is_refused_as_a_duplicate() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        let mut twin = office.member.clone();
        twin.id = practice.hires("Another", Roles::default()).await.id;
        let db = &practice.desk().db;

        let mut tx = db.write().await.unwrap();
        let fault = staff::insert(&mut tx, &twin, "phc", practice.now()).await.unwrap_err();
        assert!(fault.is_duplicate(), "same id or sign-in name: {fault}");
        drop(tx);

        let mut tx = db.write().await.unwrap();
        let mut second = patient.enrolled.wound.clone();
        second.id = closewatch::ids::WoundId::mint(&practice.moment());
        let fault = wounds::insert(&mut tx, &second, "key of Mia Stone").await.unwrap_err();
        assert!(fault.is_duplicate(), "same enrolment form: {fault}");
        drop(tx);

        let mut tx = db.write().await.unwrap();
        let mut link = patient.issued.link.clone();
        link.id = LinkId::mint(&practice.moment());
        let secrets = LinkSecrets {
            token_sha256: sha256_hex(patient.issued.token.reveal()),
            code_locator: "ZZZZ".to_owned(),
        };
        let fault = links::insert(&mut tx, &link, &secrets).await.unwrap_err();
        assert!(fault.is_duplicate(), "same token: {fault}");
        drop(tx);

        let mut tx = db.write().await.unwrap();
        let mut orphan = patient.enrolled.wound.clone();
        orphan.id = closewatch::ids::WoundId::mint(&practice.moment());
        orphan.patient = closewatch::ids::PatientId::mint(&practice.moment());
        let fault = wounds::insert(&mut tx, &orphan, "another key").await.unwrap_err();
        assert!(!fault.is_duplicate(), "no such patient is not a duplicate: {fault}");
        assert!(matches!(fault, StoreError::Database(_)));
    })
    .await;
}

#[tokio::test]
async fn the_same_picture_is_kept_once_per_check_and_its_bytes_come_back() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let picture = jpeg(1);
        let receipt = phone.sends("form 1", no_danger(), &[picture.clone(), picture.clone(), jpeg(2)]).await;
        assert_eq!(receipt.photos_here, 2);
        let kept = photos::of_check(&mut *practice.books().await, practice.id, receipt.check).await.unwrap();
        for photo in &kept {
            let renditions = photo.renditions.as_ref().expect("a painted picture can be read");
            for name in [&renditions.full, &renditions.review, &renditions.small] {
                let bytes = practice
                    .desk()
                    .blobs
                    .get(&mut *practice.books().await, practice.id, name)
                    .await
                    .unwrap()
                    .expect("the blob is there");
                assert_eq!(&closewatch::store::BlobName::of(&bytes), name);
            }
        }
        let found = photos::find(&mut *practice.books().await, practice.id, kept[0].id).await.unwrap();
        assert_eq!(found.as_ref(), Some(&kept[0]));
    })
    .await;
}

#[tokio::test]
async fn a_new_practice_has_a_reply_for_every_decision_and_a_changed_one_replaces_it() {
    on_each_engine(async |practice| {
        let texts = replies::of_practice(&mut *practice.books().await, practice.id).await.unwrap();
        for decision in Decision::ALL {
            assert!(texts.iter().any(|text| text.decision == *decision), "{}", decision.code());
        }
        let mut changed = texts[0].clone();
        changed.body_en = "All is well.".to_owned();
        let mut tx = practice.desk().db.write().await.unwrap();
        replies::keep(&mut tx, &changed, practice.now()).await.unwrap();
        tx.commit().await.unwrap();
        let after = replies::of_practice(&mut *practice.books().await, practice.id).await.unwrap();
        assert_eq!(after.len(), texts.len());
        assert_eq!(after[0], changed);
    })
    .await;
}

#[tokio::test]
async fn a_notice_about_the_same_thing_is_queued_once() {
    on_each_engine(async |practice| {
        let moment = practice.moment();
        for _ in 0..3 {
            let mut tx = practice.desk().db.write().await.unwrap();
            let kind = NoticeKind::AnswerReady;
            notices::enqueue(&mut tx, practice.id, kind, Recipient::Office, "message:1", &moment)
                .await
                .unwrap();
            tx.commit().await.unwrap();
        }
        let waiting = notices::count_waiting(&mut *practice.books().await, practice.id, moment.now).await;
        assert_eq!(waiting.unwrap(), 1);
    })
    .await;
}

#[tokio::test]
async fn a_member_who_left_has_no_session_and_cannot_sign_in() {
    on_each_engine(async |practice| {
        let office = practice.office().await;
        let token = office.cookie.split_once('=').unwrap().1.to_owned();
        let hash = sha256_hex(&token);
        assert!(staff_sessions::find(&mut *practice.books().await, &hash).await.unwrap().is_some());
        let mut tx = practice.desk().db.write().await.unwrap();
        staff::set_active(&mut tx, practice.id, office.member.id, Activity::Gone).await.unwrap();
        tx.commit().await.unwrap();
        let mut books = practice.books().await;
        assert!(staff_sessions::find(&mut books, &hash).await.unwrap().is_none());
        assert!(staff::credentials(&mut books, &office.member.sign_in_name).await.unwrap().is_none());
        assert_eq!(count(&mut books, "staff_session").await, 0);
    })
    .await;
}
