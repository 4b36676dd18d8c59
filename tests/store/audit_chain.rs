//! The record is whole, and any line changed, lost, slipped in or swapped is found and named.

use sqlx::AssertSqlSafe;

use closewatch::ids::Chance;
use closewatch::store::Engine;
use closewatch::store::audit;
use closewatch::store::audit::Note;

use crate::support::Practice;
use crate::support::no_danger;
use crate::support::on_each_engine;

const LINES: i64 = 40;

/// Lines enough for every kind of harm, and the sequence of the last one.
async fn written(practice: &Practice) -> i64 {
    let mut tx = practice.desk().db.write().await.unwrap();
    for number in 0..LINES {
        let subject = format!("check:{number}");
        let note = Note { actor: "program", action: "check.view", subject: &subject, detail: "" };
        audit::append(&mut tx, practice.id, &note, practice.now()).await.unwrap();
    }
    tx.commit().await.unwrap();
    let newest = audit::newest(&mut *practice.books().await, practice.id, 1).await.unwrap();
    newest[0].sequence
}

async fn first_break(practice: &Practice) -> Option<i64> {
    audit::first_break(&mut *practice.books().await, practice.id).await.unwrap()
}

/// Does harm in a transaction, looks where the chain breaks, and takes the harm back.
async fn break_after(practice: &Practice, harm: &[String]) -> Option<i64> {
    let mut tx = practice.desk().db.write().await.unwrap();
    let guards: &[&'static str] = match practice.desk().db.engine() {
        Engine::Sqlite => &[
            "DROP TRIGGER audit_never_changes",
            "DROP TRIGGER audit_goes_by_age",
            "DROP TRIGGER audit_never_replaced",
        ],
        Engine::Postgres => &["ALTER TABLE audit DISABLE TRIGGER USER"],
    };
    // Whoever owns the file can do this.
    for sql in guards {
        sqlx::query(*sql).execute(&mut *tx).await.unwrap();
    }
    for sql in harm {
        sqlx::query(AssertSqlSafe(sql.clone())).execute(&mut *tx).await.unwrap();
    }
    audit::first_break(&mut tx, practice.id).await.unwrap()
}

#[tokio::test]
async fn what_people_do_leaves_a_whole_chain_on_which_every_view_and_change_stands() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("one", no_danger(), &[crate::support::jpeg(3)]).await.check;
        let desk = practice.desk();
        closewatch::care::review::open(desk, &surgeon.member, check, practice.now()).await.unwrap();
        closewatch::care::review::view(desk, &surgeon.member, check, practice.now()).await.unwrap();
        assert_eq!(first_break(&practice).await, None);
        let lines = audit::newest(&mut *practice.books().await, practice.id, 1_000).await.unwrap();
        let actions: Vec<&str> = lines.iter().rev().map(|line| line.action.as_str()).collect();
        let expected = [
            "practice.add",
            "sign_in.half",
            "sign_in",
            "sign_in.half",
            "sign_in",
            "patient.enrol",
            "link.issue",
            "link.open",
            "check.receive",
            "photo.receive",
            "check.amend",
            "check.claim",
            "check.view",
        ];
        assert_eq!(actions, expected);
        assert!(lines.iter().all(|line| !format!("{line:?}").contains("Mia")), "no name in the record");
    })
    .await;
}

#[tokio::test]
async fn a_changed_field_of_any_line_is_found_at_that_line() {
    on_each_engine(async |practice| {
        written(&practice).await;
        let chance = Chance::seeded(21);
        for field in ["actor", "action", "subject", "detail", "previous_sha256", "sha256"] {
            let line = 1 + i64::from(chance.below(LINES as u32));
            let harm = format!("UPDATE audit SET {field} = 'x' || {field} WHERE sequence = {line}");
            assert_eq!(break_after(&practice, &[harm]).await, Some(line), "{field}");
        }
        let harm = "UPDATE audit SET at_ms = at_ms + 1 WHERE sequence = 7".to_owned();
        assert_eq!(break_after(&practice, &[harm]).await, Some(7));
        // Moving letters from one field to the next does not spell the same line.
        let harm = "UPDATE audit SET actor = 'programcheck.view', action = '' WHERE sequence = 9".to_owned();
        assert_eq!(break_after(&practice, &[harm]).await, Some(9));
        assert_eq!(first_break(&practice).await, None, "the harm was taken back");
    })
    .await;
}

#[tokio::test]
async fn a_lost_a_slipped_in_and_a_swapped_line_are_found() {
    on_each_engine(async |practice| {
        let last = written(&practice).await;
        let lost = "DELETE FROM audit WHERE sequence = 5".to_owned();
        assert_eq!(break_after(&practice, std::slice::from_ref(&lost)).await, Some(5));
        let moved_up = "UPDATE audit SET sequence = sequence - 1 WHERE sequence = 6".to_owned();
        assert_eq!(break_after(&practice, &[lost, moved_up]).await, Some(5));
        let one_more = last + 1;
        let copied = format!(
            "INSERT INTO audit (practice_id, sequence, at_ms, actor, action, subject, detail, previous_sha256, sha256) \
             SELECT practice_id, {one_more}, at_ms, actor, action, subject, detail, previous_sha256, sha256 \
             FROM audit WHERE sequence = 3"
        );
        assert_eq!(break_after(&practice, &[copied]).await, Some(one_more));
        let swapped = [
            "UPDATE audit SET sequence = 1000 WHERE sequence = 11".to_owned(),
            "UPDATE audit SET sequence = 11 WHERE sequence = 12".to_owned(),
            "UPDATE audit SET sequence = 12 WHERE sequence = 1000".to_owned(),
        ];
        assert_eq!(break_after(&practice, &swapped).await, Some(11));
    })
    .await;
}

#[tokio::test]
async fn a_tail_cut_off_is_found_by_the_head_that_the_practice_keeps() {
    on_each_engine(async |practice| {
        written(&practice).await;
        let cut = "DELETE FROM audit WHERE sequence > 35".to_owned();
        assert_eq!(break_after(&practice, &[cut]).await, Some(36));
        let all = "DELETE FROM audit".to_owned();
        assert_eq!(break_after(&practice, &[all]).await, Some(1));
    })
    .await;
}

#[tokio::test]
async fn lines_written_at_the_same_moment_still_make_one_chain() {
    on_each_engine(async |practice| {
        let before = audit::newest(&mut *practice.books().await, practice.id, 100).await.unwrap();
        let writers = (0..20).map(|number| {
            let practice = practice.clone();
            tokio::spawn(async move {
                let mut tx = practice.desk().db.write().await.unwrap();
                let subject = format!("check:{number}");
                let note = Note { actor: "program", action: "check.view", subject: &subject, detail: "" };
                audit::append(&mut tx, practice.id, &note, practice.now()).await.unwrap();
                tx.commit().await.unwrap();
            })
        });
        for writer in futures::future::join_all(writers).await {
            writer.unwrap();
        }
        assert_eq!(first_break(&practice).await, None);
        let lines = audit::newest(&mut *practice.books().await, practice.id, 100).await.unwrap();
        assert_eq!(lines.len(), before.len() + 20);
    })
    .await;
}

#[tokio::test]
async fn the_database_itself_refuses_to_change_or_take_away_a_line() {
    on_each_engine(async |practice| {
        let last = written(&practice).await;
        let mut tries = vec![
            "UPDATE audit SET actor = 'program' WHERE sequence = 3",
            "UPDATE audit SET sequence = sequence + 1000",
            "DELETE FROM audit WHERE sequence = 3",
            "DELETE FROM audit",
        ];
        if practice.desk().db.engine() == Engine::Postgres {
            tries.push("TRUNCATE audit");
        }
        for sql in tries {
            let mut tx = practice.desk().db.write().await.unwrap();
            let refused = sqlx::query(sql).execute(&mut *tx).await.expect_err(sql);
            assert!(refused.to_string().contains("the record is append-only"), "{sql}: {refused}");
        }
        // A replaced row is a row taken away and another put in its place.
        if practice.desk().db.engine() == Engine::Sqlite {
            let replace = "INSERT OR REPLACE INTO audit SELECT practice_id, sequence, at_ms, 'program', action, subject, \
                           detail, previous_sha256, sha256 FROM audit WHERE sequence = 3";
            let mut tx = practice.desk().db.write().await.unwrap();
            assert!(sqlx::query(replace).execute(&mut *tx).await.is_err());
        }
        assert_eq!(first_break(&practice).await, None);
        let newest = audit::newest(&mut *practice.books().await, practice.id, 1).await.unwrap();
        assert_eq!(newest[0].sequence, last);
    })
    .await;
}
