//! `closewatch verify`, as whoever runs the server uses it: on a record that is whole, and on records somebody changed who
//! can write to the database.

use std::path::Path;
use std::process::Command;
use std::process::Output;

use sqlx::AssertSqlSafe;

use closewatch::ids::Chance;
use closewatch::jobs::record_head::RecordFiles;
use closewatch::store::audit;

use crate::support::Place;
use crate::support::Practice;
use crate::support::no_danger;

/// A practice in which a few things happened, with its key and the heads of two days.
async fn lived(place: &Place) -> (Practice, RecordFiles, i64) {
    let practice = Practice::open(place).await;
    let files = RecordFiles {
        key: place.folder.path().join("record-key.pem"),
        heads: place.folder.path().join("heads"),
    };
    let (key, is_new) = files.open_key(&Chance::seeded(9)).unwrap();
    assert!(is_new);
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    assert_eq!(files.write_heads(practice.desk(), &key, &practice.moment()).await.unwrap(), 1);
    assert_eq!(files.write_heads(practice.desk(), &key, &practice.moment()).await.unwrap(), 0, "once a day");
    practice.minutes_pass(24 * 60);
    let check = phone.sends("one", no_danger(), &[]).await.check;
    closewatch::care::review::open(practice.desk(), &surgeon.member, check, practice.now()).await.unwrap();
    let (again, is_new) = files.open_key(&Chance::seeded(10)).unwrap();
    assert!(!is_new && again.public() == key.public(), "the key is kept");
    assert_eq!(files.write_heads(practice.desk(), &again, &practice.moment()).await.unwrap(), 1);
    let head = audit::head(&mut *practice.books().await, practice.id, practice.now()).await.unwrap();
    (practice, files, head.sequence)
}

fn verify(place: &Place, more: &[&str]) -> Output {
    let data = place.folder.path().to_str().unwrap();
    Command::new(env!("CARGO_BIN_EXE_closewatch"))
        .args(["verify", "--data", data, "--database-url", &place.url])
        .args(more)
        .output()
        .unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// What somebody can do who may write to the database file.
async fn harm(practice: &Practice, sql: &[&str]) {
    let mut tx = practice.desk().db.write().await.unwrap();
    let guards = ["audit_never_changes", "audit_goes_by_age", "audit_never_replaced"];
    for guard in guards {
        sqlx::query(AssertSqlSafe(format!("DROP TRIGGER {guard}"))).execute(&mut *tx).await.unwrap();
    }
    for sql in sql {
        sqlx::query(AssertSqlSafe((*sql).to_owned())).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn a_whole_record_is_said_to_be_whole_and_by_how_many_signed_heads() {
    let place = Place::sqlite();
    let (_practice, files, last) = lived(&place).await;
    let told = verify(&place, &[]);
    assert!(told.status.success(), "{}", said(&told));
    assert!(said(&told).contains(&format!("{last} lines, whole; 2 signed heads agree")), "{}", said(&told));
    // A copy of heads and key on another machine does as well; without heads it says what would not be seen.
    let (away, key) = (place.folder.path().join("away"), files.public_key());
    std::fs::create_dir(&away).unwrap();
    let none = verify(&place, &["--heads", away.to_str().unwrap()]);
    assert!(none.status.success() && said(&none).contains("an end that was cut off would not be seen"));
    let copy = std::fs::read_dir(&files.heads).unwrap().next().unwrap().unwrap().path();
    std::fs::copy(&copy, away.join("a.json")).unwrap();
    let one = verify(&place, &["--heads", away.to_str().unwrap(), "--public-key", key.to_str().unwrap()]);
    assert!(one.status.success() && said(&one).contains("1 signed heads agree"), "{}", said(&one));
}

#[tokio::test]
async fn a_changed_line_is_named() {
    let place = Place::sqlite();
    let (practice, _, _) = lived(&place).await;
    harm(&practice, &["UPDATE audit SET actor = 'program' WHERE sequence = 3"]).await;
    let told = verify(&place, &[]);
    assert_eq!(told.status.code(), Some(1));
    assert!(said(&told).contains("BROKEN at line 3: line 3 says something else than was written."));
    assert!(said(&told).contains("the record is not whole: 1 fault"), "{}", said(&told));
}

#[tokio::test]
async fn an_end_cut_off_with_the_practices_own_note_is_seen_by_the_signed_heads() {
    let place = Place::sqlite();
    let (practice, _, last) = lived(&place).await;
    let cut = format!("DELETE FROM audit WHERE sequence > {}", last - 2);
    let note = "UPDATE practice SET audit_sequence = (SELECT MAX(sequence) FROM audit WHERE practice_id = practice.id), \
                audit_head = (SELECT sha256 FROM audit WHERE practice_id = practice.id ORDER BY sequence DESC LIMIT 1)";
    harm(&practice, &[&cut, note]).await;
    let told = verify(&place, &[]);
    assert_eq!(told.status.code(), Some(1));
    let words = format!("it ends with line {} and once went on to line {last}", last - 2);
    assert!(said(&told).contains(&words), "{}", said(&told));
}

#[tokio::test]
async fn a_head_that_somebody_wrote_is_not_believed() {
    let place = Place::sqlite();
    let (_practice, files, _) = lived(&place).await;
    let path = std::fs::read_dir(&files.heads).unwrap().next().unwrap().unwrap().path();
    let forged = std::fs::read_to_string(&path).unwrap().replacen("\"sequence\": ", "\"sequence\": 1", 1);
    std::fs::write(&path, forged).unwrap();
    let told = verify(&place, &[]);
    assert_eq!(told.status.code(), Some(1));
    assert!(said(&told).contains("not believed: its signature is wrong"), "{}", said(&told));
}

#[tokio::test]
async fn a_key_that_is_missing_is_asked_for() {
    let place = Place::sqlite();
    let (_practice, _, _) = lived(&place).await;
    let told = verify(&place, &["--public-key", "/no/such/key.pem"]);
    assert_eq!(told.status.code(), Some(2));
    assert!(said(&told).contains("Name the key with --public-key."), "{}", said(&told));
    assert!(!Path::new("/no/such/key.pem").exists());
}
