//! The downtime list: written every quarter of an hour, and read where there is no server.

use std::fs;
use std::process::Output;

use closewatch::jobs::downtime_list::ListFolder;
use closewatch::jobs::downtime_list::lists;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::backup_key::BackupKey;
use closewatch::triage::Decision;

use crate::support;
use crate::support::Practice;
use crate::support::Safe;
use crate::support::closewatch;
use crate::support::goes_silent;
use crate::support::in_danger;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::said_by;
use crate::support::word;

fn reads(from: &std::path::Path, identity: &std::path::Path) -> Output {
    closewatch(&["downtime-list", "--from", word(from), "--identity", word(identity)]).output().unwrap()
}

/// One check waits, one call is to be made, and one patient is silent.
async fn busy(practice: &Practice) {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let waits = office.enrols("Wanda Waits", &surgeon).await.opens_link().await;
    waits.sends("one", in_danger(), &[]).await;
    let called = office.enrols("Cal Called", &surgeon).await.opens_link().await;
    let sent = called.sends("two", no_danger(), &[]).await;
    surgeon.decides(sent.check, Decision::CallByOffice, "We ring you.").await.unwrap();
    let silent = office.enrols("Sid Silent", &surgeon).await;
    goes_silent(practice, &office.member, silent.enrolled.wound.id).await;
}

#[tokio::test]
async fn what_is_open_is_read_without_the_server_by_whoever_has_the_key_and_by_nobody_else() {
    on_each_engine(async |practice| {
        busy(&practice).await;
        let (safe, folder) = (Safe::new(), tempfile::tempdir().unwrap());
        let to =
            ListFolder { folder: folder.path().to_owned(), key: BackupKey::read(&safe.recipient).unwrap() };
        assert_eq!(to.write(practice.desk(), &practice.moment()).await.unwrap(), 1);
        practice.minutes_pass(15);
        to.write(practice.desk(), &practice.moment()).await.unwrap();
        // The server is gone, and its books with it.
        practice.desk().db.close().await;
        let told = reads(folder.path(), &safe.identity());
        let text = said_by(&told);
        assert!(told.status.success(), "{text}");
        for words in [
            "CHECKS THAT WAIT FOR A SURGEON: 1",
            "Wanda Waits",
            "Go now",
            "CALLS TO MAKE: 1",
            "Cal Called",
            "KNOCKS ON CLOSED LINKS: 0",
            "202-555-0",
            "never a diagnosis",
            "11:15",
        ] {
            assert!(text.contains(words), "{words} is missing:\n{text}");
        }
        let there = lists(folder.path(), Some(practice.id)).unwrap();
        assert_eq!(there.len(), 2);
        for path in &there {
            let bytes = fs::read(path).unwrap();
            assert!(!bytes.windows(5).any(|window| window == b"Wanda"), "a name lies there in the clear");
        }
        let stranger = reads(folder.path(), &Safe::new().identity());
        assert!(!stranger.status.success());
        assert!(said_by(&stranger).contains("this private key does not open it"), "{}", said_by(&stranger));
        let newest = there.last().unwrap();
        let mut bytes = fs::read(newest).unwrap();
        *bytes.last_mut().unwrap() ^= 1;
        fs::write(newest, bytes).unwrap();
        let changed = reads(newest, &safe.identity());
        assert!(
            !changed.status.success() && said_by(&changed).contains("it was changed"),
            "{}",
            said_by(&changed)
        );
        assert!(!said_by(&changed).contains("Wanda"));
    })
    .await;
}

#[tokio::test]
async fn a_day_of_lists_is_kept_and_no_half_one_is_ever_among_them() {
    let place = support::Place::sqlite();
    let practice = Practice::open(&place).await;
    let (safe, folder) = (Safe::new(), tempfile::tempdir().unwrap());
    let to = ListFolder { folder: folder.path().to_owned(), key: BackupKey::read(&safe.recipient).unwrap() };
    for _ in 0..100 {
        to.write(practice.desk(), &practice.moment()).await.unwrap();
        practice.minutes_pass(15);
    }
    let there = lists(folder.path(), Some(practice.id)).unwrap();
    assert_eq!(there.len(), 96);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 96, "nothing else lies there");
    // Left half by a program that died: not read, and replaced.
    fs::write(folder.path().join(format!(".half-{}", there[0].file_name().unwrap().to_str().unwrap())), b"")
        .unwrap();
    assert_eq!(lists(folder.path(), None).unwrap().len(), 96);
    assert!(reads(folder.path(), &safe.identity()).status.success());
}

#[tokio::test]
async fn a_list_that_cannot_be_written_is_an_alarm_until_it_can() {
    on_each_engine(async |practice| {
        let safe = Safe::new();
        let folder = tempfile::tempdir().unwrap();
        // A file lies where the folder is to be.
        let place = folder.path().join("lists");
        fs::write(&place, b"").unwrap();
        let to = ListFolder { folder: place.clone(), key: BackupKey::read(&safe.recipient).unwrap() };
        let open = async || {
            let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
            open.iter().filter(|alarm| alarm.kind == AlarmKind::ListNotWritten).count()
        };
        for _ in 0..2 {
            let why = to.write(practice.desk(), &practice.moment()).await.unwrap_err();
            assert!(why.contains("lists"), "{why}");
            assert_eq!(open().await, 1);
            practice.minutes_pass(15);
        }
        fs::remove_file(&place).unwrap();
        assert_eq!(to.write(practice.desk(), &practice.moment()).await.unwrap(), 1);
        assert_eq!(open().await, 0);
    })
    .await;
}
