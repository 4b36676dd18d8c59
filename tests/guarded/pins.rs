//! PINs: a stolen database alone does not let anybody try them, and a hash from before gets its pepper with the next right PIN.
//! Where the keys are lost or missing, nobody's count of wrong PINs grows, and new ones can be issued once there is a new key.

use argon2::Argon2;
use argon2::Params;
use argon2::PasswordHasher;
use argon2::PasswordVerifier;
use argon2::password_hash::phc::PasswordHash;

use closewatch::care::Desk;
use closewatch::care::enrol;
use closewatch::care::knock;
use closewatch::care::knock::AtTheDoor;
use closewatch::care::knock::Knock;
use closewatch::care::knock::PIN_HARD_STOP;
use closewatch::care::knock::PinTry;
use closewatch::care::pins;
use closewatch::ids::Chance;
use closewatch::photo::Limits;
use closewatch::store::Blobs;
use closewatch::store::keyring::KeyRing;
use closewatch::store::links;
use closewatch::store::links::PatientLink;
use closewatch::store::practices;
use closewatch::triage::Protocol;
use closewatch::web;
use closewatch::web::App;

use crate::support::*;

/// Whether whoever holds nothing but the books finds this PIN by trying it.
fn is_found_in(link: &PatientLink, pin: &str) -> bool {
    let hash = PasswordHash::new(&link.pin_phc).unwrap();
    Argon2::default().verify_password(pin.as_bytes(), &hash).is_ok()
}

async fn link_of(phone: &Phone) -> PatientLink {
    let (practice, id) = (&phone.patient.practice, phone.patient.issued.link.id);
    links::find(&mut *practice.books().await, practice.id, id).await.unwrap().unwrap()
}

async fn tries(phone: &Phone, pin: &str) -> PinTry {
    let practice = &phone.patient.practice;
    knock::try_pin(practice.desk(), &phone.token, pin, &practice.moment()).await.unwrap()
}

#[tokio::test]
async fn the_books_alone_do_not_let_anybody_try_a_pin() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let pin = phone.patient.issued.pin.reveal().to_owned();
        let link = link_of(&phone).await;
        assert!(link.pin_peppered && !is_found_in(&link, &pin), "the PIN is found without the keys");
        assert_eq!(tries(&phone, &pin).await, PinTry::Right);
        // One pepper for a practice: another link's PIN is as safe, and the neighbour has another one.
        let (_, _, second) = enrol::issue_link(
            practice.desk(),
            &office.member,
            phone.patient.enrolled.wound.id,
            "daughter Ana",
            &practice.moment(),
        )
        .await
        .unwrap();
        assert!(!is_found_in(&second.link, second.pin.reveal()));
        let neighbour = practice.neighbour().await;
        let (far_office, far_surgeon) = (neighbour.office().await, neighbour.surgeon().await);
        let far = far_office.enrols("Far Away", &far_surgeon).await.opens_link().await;
        assert_eq!(far.types_pin().await, PinTry::Right);
        let row = |rows: std::collections::BTreeMap<String, Vec<String>>| {
            let row = rows["practice"][0].clone();
            let pepper =
                row.split(' ').find(|pair| pair.starts_with("sealed_pin_pepper=")).unwrap().to_owned();
            assert!(pepper.len() > 100, "{pepper}");
            pepper
        };
        let ours = row(rows_of(&mut *practice.books().await, practice.id).await);
        let theirs = row(rows_of(&mut *practice.books().await, neighbour.id).await);
        assert_ne!(ours, theirs);
        // Also after a restart.
        let anew = practice.started_anew();
        let right = knock::try_pin(anew.desk(), &phone.token, &pin, &anew.moment()).await.unwrap();
        assert_eq!(right, PinTry::Right);
    })
    .await;
}

/// As links were kept before there was a pepper.
async fn is_from_before(phone: &Phone, pin: &str) {
    let practice = &phone.patient.practice;
    let argon2 =
        Argon2::new(argon2::Algorithm::Argon2id, argon2::Version::V0x13, Params::new(8, 1, 1, None).unwrap());
    let phc = argon2.hash_password_with_salt(pin.as_bytes(), b"only for tests!!").unwrap().to_string();
    let mut tx = practice.desk().db.write().await.unwrap();
    sqlx::query("UPDATE patient_link SET pin_phc = $1, pin_peppered = 0 WHERE id = $2")
        .bind(phc)
        .bind(phone.patient.issued.link.id.to_string())
        .execute(&mut *tx)
        .await
        .unwrap();
    sqlx::query("UPDATE practice SET sealed_pin_pepper = NULL").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn a_hash_from_before_is_found_until_the_next_right_pin_puts_the_pepper_in() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let pin = phone.patient.issued.pin.reveal().to_owned();
        is_from_before(&phone, &pin).await;
        assert!(is_found_in(&link_of(&phone).await, &pin), "what the pepper is for");
        assert_eq!(tries(&phone, "000000").await, PinTry::Wrong);
        assert!(!link_of(&phone).await.pin_peppered, "a wrong PIN changes nothing");
        assert_eq!(tries(&phone, &pin).await, PinTry::Right);
        let link = link_of(&phone).await;
        assert!(link.pin_peppered && !is_found_in(&link, &pin));
        assert_eq!(tries(&phone, "000000").await, PinTry::Wrong);
        assert_eq!(tries(&phone, &pin).await, PinTry::Right);
    })
    .await;
}

/// One key of another file: the next after the version `before`.
fn other_key(before: u32) -> KeyRing {
    KeyRing::from_text(&KeyRing::new_line(Some(before), &Chance::seeded(31))).unwrap()
}

/// The same books on a server with these keys.
fn with_keys(practice: &Practice, ring: KeyRing) -> Practice {
    let old = practice.desk();
    let blobs = Blobs::in_folder(old.blobs.folder().unwrap()).unwrap();
    let blobs = blobs.sealed_with(ring, Chance::seeded(32));
    let desk = Desk::new(old.db.clone(), blobs, Protocol::built_in().clone(), Limits::default());
    let app = App::new(desk, practice.app.clock.clone(), Chance::seeded(33), "https://wounds.example");
    Practice { router: web::router(&app), app, ..practice.clone() }
}

/// The phone, at that server.
fn moved_to(practice: &Practice, phone: &Phone) -> Phone {
    let patient = Patient { practice: practice.clone(), ..phone.patient.clone() };
    Phone { patient, token: phone.token.clone(), cookie: phone.cookie.clone() }
}

async fn sets_pepper(practice: &Practice, sealed: Option<Vec<u8>>) {
    let mut tx = practice.desk().db.write().await.unwrap();
    sqlx::query("UPDATE practice SET sealed_pin_pepper = $1").bind(sealed).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
}

async fn pepper_of(practice: &Practice) -> Option<Vec<u8>> {
    practices::sealed_pin_pepper(&mut *practice.books().await, practice.id).await.unwrap()
}

#[tokio::test]
async fn once_the_keys_are_lost_new_pins_can_be_issued_and_those_of_before_open_nothing() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let anew = with_keys(&practice, other_key(1));
        let wound = phone.patient.enrolled.wound.id;
        for name in ["daughter Ana", "son Ben"] {
            let issued = enrol::issue_link(anew.desk(), &office.member, wound, name, &anew.moment()).await;
            let (_, _, issued) = issued.unwrap();
            let (token, door) = (issued.token.reveal(), AtTheDoor::default());
            let opened = knock::knock(anew.desk(), token, door, &anew.moment()).await.unwrap();
            let Knock::Open { token, .. } = opened else { panic!("{opened:?}") };
            let pin = issued.pin.reveal();
            let right = knock::try_pin(anew.desk(), token.reveal(), pin, &anew.moment()).await.unwrap();
            assert_eq!(right, PinTry::Right, "{name}");
        }
        let began = actions(&anew).await.into_iter().filter(|action| action == "pin.begin_anew").count();
        assert_eq!(began, 1, "drawn once, and the record says so");
        let phone = moved_to(&anew, &phone);
        assert_eq!(phone.types_pin().await, PinTry::Wrong);
        phone.sends("one", in_danger(), &[]).await;
    })
    .await;
}

#[tokio::test]
async fn an_older_copy_of_the_keys_takes_nobodys_pin_away() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let newer = other_key(1).seal(&[7; 32], &pins::about(practice.id), &Chance::seeded(34));
        sets_pepper(&practice, Some(newer.clone())).await;
        let (wound, moment) = (phone.patient.enrolled.wound.id, practice.moment());
        let issued = enrol::issue_link(practice.desk(), &office.member, wound, "daughter Ana", &moment).await;
        assert!(issued.is_err(), "the newer key may come back");
        assert_eq!(pepper_of(&practice).await, Some(newer));
    })
    .await;
}

#[tokio::test]
async fn a_pin_that_cannot_be_compared_is_no_wrong_one_and_sending_goes_on() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let pin = phone.patient.issued.pin.reveal().to_owned();
        let without = with_keys(&practice, other_key(1));
        for _ in 0..PIN_HARD_STOP + 2 {
            let tried = knock::try_pin(without.desk(), &phone.token, &pin, &without.moment()).await;
            assert!(tried.is_err(), "{tried:?}");
        }
        assert_eq!(link_of(&phone).await.wrong_pins, 0);
        let moved = moved_to(&without, &phone);
        moved.sends("feverish", in_danger(), &[]).await;
        // The keys are back.
        assert_eq!(tries(&phone, &pin).await, PinTry::Right);
    })
    .await;
}

#[tokio::test]
async fn a_right_pin_from_before_is_right_also_where_no_pepper_can_be_put_in() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let pin = phone.patient.issued.pin.reveal().to_owned();
        is_from_before(&phone, &pin).await;
        let newer = other_key(1).seal(&[7; 32], &pins::about(practice.id), &Chance::seeded(34));
        sets_pepper(&practice, Some(newer)).await;
        assert_eq!(tries(&phone, &pin).await, PinTry::Right);
        let link = link_of(&phone).await;
        assert_eq!((link.pin_peppered, link.wrong_pins), (false, 0));
        sets_pepper(&practice, None).await;
        assert_eq!(tries(&phone, &pin).await, PinTry::Right);
        assert!(link_of(&phone).await.pin_peppered);
    })
    .await;
}
