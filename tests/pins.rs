//! PINs: a stolen database alone does not let anybody try them, and a hash from before gets its pepper with the next right PIN.

mod support;

use argon2::Argon2;
use argon2::Params;
use argon2::PasswordHasher;
use argon2::PasswordVerifier;
use argon2::password_hash::phc::PasswordHash;

use closewatch::care::enrol;
use closewatch::care::knock;
use closewatch::care::knock::PinTry;
use closewatch::store::links;
use closewatch::store::links::PatientLink;

use support::*;

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
