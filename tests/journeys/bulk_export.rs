//! Everything of a practice leaves the house only by two people and a code that works once on the server; everybody is told.

use std::fs;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Child;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;

use axum::http::StatusCode;

use closewatch::care::CareError;
use closewatch::care::export::CopyFor;
use closewatch::care::export::bulk;
use closewatch::ids::WoundId;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::audit;
use closewatch::store::audit::AuditEntry;
use closewatch::store::export_agreements;
use closewatch::store::export_agreements::ExportAgreement;
use closewatch::store::purge;
use closewatch::store::staff;
use closewatch::store::staff::Activity;
use closewatch::store::staff::Roles;
use closewatch::web::Clock;

use crate::support::*;

const WHAT: [(&str, &str); 1] = [("what", "everything")];

async fn a_lead(practice: &Practice, name: &str) -> Staff {
    practice.staff(name, Roles { lead: true, ..Roles::default() }).await
}

async fn newest(practice: &Practice) -> ExportAgreement {
    export_agreements::newest(&mut *practice.books().await, practice.id, 1).await.unwrap().remove(0)
}

async fn alarmed(practice: &Practice, kind: AlarmKind) -> bool {
    let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.iter().any(|alarm| alarm.kind == kind)
}

/// The lines about tries that were refused, newest first.
async fn refusals(practice: &Practice) -> Vec<AuditEntry> {
    let mut lines = audit::newest(&mut *practice.books().await, practice.id, 1_000).await.unwrap();
    lines.retain(|line| line.action == "export.refused");
    lines
}

/// The code on the page of whoever agreed.
fn code_on(page: &Page) -> String {
    page.html().split("id=\"export-code\">").nth(1).unwrap().split('<').next().unwrap().to_owned()
}

#[tokio::test]
async fn a_single_person_takes_nothing_out() {
    on_each_engine(async |practice| {
        let lead = a_lead(&practice, "Lee Park").await;
        practice.office().await;
        let page = lead.opens("/practice/export").await;
        page.must_say("Nobody else here could agree").must_not_say("Ask for everything to be taken out");
        let refused = lead.presses("/practice/export", &WHAT).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        refused.must_say("This needs a second person");
        assert!(!alarmed(&practice, AlarmKind::ExportAsked).await);
        let noted = refusals(&practice).await;
        let [line] = &noted[..] else { panic!("{noted:?}") };
        assert_eq!(line.actor, format!("staff:{}", lead.member.id));
        assert_eq!(
            (line.subject.clone(), line.detail.as_str()),
            (format!("practice:{}", practice.id), "why=alone")
        );
        lead.opens("/practice/record?kind=exports")
            .await
            .must_say("was refused that everything is taken out:");
        // With a second person there, the first one still cannot agree to what they asked for themselves.
        let surgeon = practice.surgeon().await;
        lead.presses("/practice/export", &WHAT).await.is_fine();
        let id = newest(&practice).await.id;
        let own = lead.presses(&format!("/practice/export/{id}/agree"), &[("agree", "yes")]).await;
        assert_eq!(own.status, StatusCode::FORBIDDEN);
        own.must_not_say("The code");
        lead.opens("/practice/export").await.must_not_say("I agree: everything may be taken out");
        assert_eq!(newest(&practice).await.agreed, None);
        assert_eq!(
            surgeon.presses("/practice/export", &WHAT).await.status,
            StatusCode::FORBIDDEN,
            "only a lead asks"
        );
    })
    .await;
}

#[tokio::test]
async fn a_lead_asks_a_surgeon_agrees_and_everybody_is_told() {
    on_each_engine(async |practice| {
        let (lead, office) = (a_lead(&practice, "Lee Park").await, practice.office().await);
        let surgeon = practice.surgeon().await;
        lead.presses("/practice/export", &WHAT).await.is_fine();
        assert!(alarmed(&practice, AlarmKind::ExportAsked).await);
        office.opens("/alarms").await.must_say("A lead asked to take out everything of the practice");
        assert_eq!(office.opens("/practice/export").await.status, StatusCode::FORBIDDEN);
        let again = lead.presses("/practice/export", &WHAT).await;
        again.must_say("One is open already.");
        let id = newest(&practice).await.id;
        let agreed = surgeon.presses(&format!("/practice/export/{id}/agree"), &[("agree", "yes")]).await;
        let code = code_on(&agreed);
        assert_eq!(code.len(), 19, "sixteen letters in groups: {code}");
        assert!(!surgeon.opens("/practice/export").await.html().contains(&code), "it is shown once");
        surgeon.opens("/practice/export").await.must_say("Lee Park asked").must_say("Dr. Rosa Lind agreed");
        let kept = format!("{:?}", rows_of(&mut *practice.books().await, practice.id).await);
        assert!(!kept.contains(&code) && !kept.contains(&code.replace('-', "")), "only its hash is kept");
        let second = a_lead(&practice, "Kim Vale").await;
        let late = second.presses(&format!("/practice/export/{id}/agree"), &[("agree", "yes")]).await;
        assert_eq!(late.status, StatusCode::CONFLICT);
        for action in ["export.ask", "export.agree"] {
            assert!(actions(&practice).await.contains(&action.to_owned()), "{action}");
        }
        second.presses(&format!("/practice/export/{id}/withdraw"), &[]).await.is_fine();
        lead.opens("/practice/export").await.must_say("Taken back");
    })
    .await;
}

#[tokio::test]
async fn nobody_agrees_to_what_somebody_asked_who_was_switched_off_since() {
    on_each_engine(async |practice| {
        let (lead, surgeon) = (a_lead(&practice, "Lee Park").await, practice.surgeon().await);
        lead.presses("/practice/export", &WHAT).await.is_fine();
        let mut tx = practice.desk().db.write().await.unwrap();
        staff::set_active(&mut tx, practice.id, lead.member.id, Activity::Gone).await.unwrap();
        tx.commit().await.unwrap();
        surgeon
            .opens("/practice/export")
            .await
            .must_say("They have been switched off since: nobody can agree to it.")
            .must_not_say("I agree: everything may be taken out");
        let id = newest(&practice).await.id;
        let refused = surgeon.presses(&format!("/practice/export/{id}/agree"), &[("agree", "yes")]).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        refused.must_say("Whoever asked has been switched off since.");
        assert!(!refused.html().contains("export-code"), "no code is shown");
        assert_eq!(newest(&practice).await.agreed, None);
        let noted = refusals(&practice).await;
        let [line] = &noted[..] else { panic!("{noted:?}") };
        assert_eq!(line.actor, format!("staff:{}", surgeon.member.id));
        assert_eq!((line.subject.clone(), line.detail.as_str()), (format!("export:{id}"), "why=asker_gone"));
        surgeon.presses(&format!("/practice/export/{id}/withdraw"), &[]).await.is_fine();
    })
    .await;
}

/// Everything is asked for and agreed to. The code.
async fn agreed(practice: &Practice, lead: &Staff, surgeon: &Staff) -> String {
    lead.presses("/practice/export", &WHAT).await.is_fine();
    let path = format!("/practice/export/{}/agree", newest(practice).await.id);
    code_on(&surgeon.presses(&path, &[("agree", "yes")]).await)
}

#[tokio::test]
async fn each_wound_is_noted_when_it_is_taken_and_one_that_is_gone_ends_nothing() {
    on_each_engine(async |practice| {
        let (lead, office) = (a_lead(&practice, "Lee Park").await, practice.office().await);
        let surgeon = practice.surgeon().await;
        let mut patients = Vec::new();
        for name in ["Mia Stone", "Ned Gray", "Ana Reyes"] {
            patients.push(office.enrols(name, &surgeon).await.enrolled);
        }
        let code = agreed(&practice, &lead, &surgeon).await;
        let (desk, begun) = (practice.desk(), practice.moment());
        let bulk = bulk::begin(desk, practice.id, &code, &begun).await.unwrap().unwrap();
        assert_eq!(bulk.wounds.len(), 3);
        let mut taken = Vec::new();
        for (place, enrolled) in patients.iter().enumerate() {
            practice.minutes_pass(60);
            if place == 1 {
                let mut tx = desk.db.write().await.unwrap();
                purge::take(&mut tx, practice.id, enrolled.patient.id).await.unwrap().unwrap();
                tx.commit().await.unwrap();
            }
            let found =
                bulk::episode(desk, &bulk, enrolled.wound.id, CopyFor::Record, practice.now()).await.unwrap();
            assert_eq!(found.is_none(), place == 1, "{place}");
            if let Some(episode) = found {
                assert_eq!(episode.made.at, begun.now, "the stamp says when the code was used");
                taken.push((format!("wound:{}", episode.wound.id), practice.now()));
            }
        }
        let lines = audit::newest(&mut *practice.books().await, practice.id, 1_000).await.unwrap();
        let noted: Vec<_> = lines
            .iter()
            .rev()
            .filter(|line| line.action == "export.make")
            .map(|line| (line.subject.clone(), line.at))
            .collect();
        assert_eq!(noted, taken, "each with its own time, and none of what was not taken");
        let strange =
            bulk::episode(desk, &bulk, WoundId::mint(&begun), CopyFor::Record, practice.now()).await;
        assert!(matches!(strange, Err(CareError::NotFound)), "it was never in it");
    })
    .await;
}

#[tokio::test]
async fn asking_and_agreeing_need_the_second_step_anew_and_end_after_a_day() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (lead, surgeon) = (a_lead(&practice, "Lee Park").await, practice.surgeon().await);
    practice.minutes_pass(6);
    let asked = lead.presses("/practice/export", &WHAT).await;
    assert_eq!(asked.status, StatusCode::FORBIDDEN);
    asked.must_say("Show once more that it is you");
    let lead = Staff::signs_in(&practice, lead.member.clone()).await;
    lead.presses("/practice/export", &WHAT).await.is_fine();
    let path = format!("/practice/export/{}/agree", newest(&practice).await.id);
    let asked = surgeon.presses(&path, &[("agree", "yes")]).await;
    assert_eq!(asked.status, StatusCode::FORBIDDEN);
    practice.minutes_pass(24 * 60);
    let surgeon = Staff::signs_in(&practice, surgeon.member.clone()).await;
    surgeon.opens("/practice/export").await.must_say("Not used within a day; over.");
    assert_eq!(surgeon.presses(&path, &[("agree", "yes")]).await.status, StatusCode::CONFLICT);
    assert_eq!(newest(&practice).await.agreed, None);
}

/// The command at its question.
fn export_asks(place: &Place, to: &Path, more: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_closewatch"))
        .args(["export", "--data", place.folder.path().to_str().unwrap(), "--database-url", &place.url])
        .args(["--to", to.to_str().unwrap()])
        .args(more)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

fn export(place: &Place, to: &Path, code: &str, more: &[&str]) -> Output {
    let mut child = export_asks(place, to, more);
    // Whoever was refused for another reason reads no code.
    let _ = writeln!(child.stdin.take().unwrap(), "{code}");
    child.wait_with_output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

#[tokio::test]
async fn with_the_code_everything_is_taken_out_once() {
    let place = Place::sqlite();
    // The program reads the machine's clock.
    let practice = Practice::open_by(&place, Clock::Machine).await;
    let (lead, office) = (a_lead(&practice, "Lee Park").await, practice.office().await);
    let surgeon = practice.surgeon().await;
    for (number, name) in ["Mia Stone", "Ned Gray", "Ana Reyes"].into_iter().enumerate() {
        let phone = office.enrols(name, &surgeon).await.opens_link().await;
        phone.sends("form", with_words(&format!("words of {name}")), &[photo(number as u8)]).await;
    }
    let to = place.folder.path().join("taken");
    let never = export(&place, &to, "0000-0000-0000-0000", &[]);
    assert_eq!(never.status.code(), Some(2), "{}", said(&never));
    assert!(said(&never).contains("this code opens nothing here"), "{}", said(&never));
    let noted = refusals(&practice).await;
    let [line] = &noted[..] else { panic!("{noted:?}") };
    assert_eq!((line.actor.as_str(), line.detail.as_str()), ("program", "why=code"));

    let code = agreed(&practice, &lead, &surgeon).await;
    fs::write(to.join("something"), "else").unwrap();
    let full = export(&place, &to, &code, &[]);
    assert_eq!(full.status.code(), Some(2), "the folder is not empty: {}", said(&full));
    fs::remove_file(to.join("something")).unwrap();
    let wrong = export(&place, &to, &code, &["--copy", "half"]);
    assert_eq!(wrong.status.code(), Some(2), "{}", said(&wrong));

    let done = export(&place, &to, &code.to_lowercase(), &[]);
    assert!(done.status.success(), "{}", said(&done));
    assert!(said(&done).contains("3 wounds"), "{}", said(&done));
    let zips: Vec<_> = fs::read_dir(&to).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(zips.len(), 3);
    let mut found = Vec::new();
    for path in &zips {
        assert_eq!(fs::metadata(path).unwrap().permissions().mode() & 0o777, 0o600);
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        assert!(name.starts_with("whole-record-") && name.ends_with("-by-lee-park.zip"), "{name}");
        let mut read = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
        assert_eq!(read.len(), 2, "a photo and a page");
        let page = (0..read.len())
            .find_map(|at| {
                let mut file = read.by_index(at).unwrap();
                let is_page = file.name().ends_with(".html");
                is_page.then(|| std::io::read_to_string(&mut file).unwrap())
            })
            .unwrap();
        assert!(page.contains("Asked for by Lee Park, agreed by Dr. Rosa Lind"));
        found.extend(
            ["Mia Stone", "Ned Gray", "Ana Reyes"]
                .into_iter()
                .filter(|name| page.contains(&format!("words of {name}"))),
        );
    }
    found.sort_unstable();
    assert_eq!(found, ["Ana Reyes", "Mia Stone", "Ned Gray"], "each once");
    assert!(alarmed(&practice, AlarmKind::ExportTaken).await);
    let lines = audit::newest(&mut *practice.books().await, practice.id, 1_000).await.unwrap();
    let of = |action: &str| lines.iter().filter(|line| line.action == action).count();
    assert_eq!((of("export.take"), of("export.make")), (1, 3));
    lead.opens("/practice/export").await.must_say("Taken out on the server");

    let again = export(&place, &place.folder.path().join("again"), &code, &[]);
    assert_eq!(again.status.code(), Some(2), "a code works once: {}", said(&again));
    assert_eq!(refusals(&practice).await.len(), 2, "the one that was none, and the one that was used");
}

#[tokio::test]
async fn a_code_typed_after_its_day_opens_nothing_however_long_the_question_stood() {
    let place = Place::sqlite();
    let practice = Practice::open_by(&place, Clock::Machine).await;
    let (lead, surgeon) = (a_lead(&practice, "Lee Park").await, practice.surgeon().await);
    practice.office().await.enrols("Mia Stone", &surgeon).await;
    let code = agreed(&practice, &lead, &surgeon).await;
    let to = place.folder.path().join("taken");
    let mut child = export_asks(&place, &to, &[]);
    let mut stderr = BufReader::new(child.stderr.take().unwrap());
    let mut line = String::new();
    while !line.contains("The code, then Enter:") {
        line.clear();
        assert!(stderr.read_line(&mut line).unwrap() > 0, "it ended without a question");
    }
    // The code's day ends while the question stands.
    let mut tx = practice.desk().db.write().await.unwrap();
    sqlx::query("UPDATE export_agreement SET until_ms = $1")
        .bind(practice.now().as_millisecond())
        .execute(&mut *tx)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    writeln!(child.stdin.take().unwrap(), "{code}").unwrap();
    let mut rest = String::new();
    std::io::Read::read_to_string(&mut stderr, &mut rest).unwrap();
    let done = child.wait_with_output().unwrap();
    assert_eq!(done.status.code(), Some(2), "{rest}");
    assert!(rest.contains("this code opens nothing here"), "{rest}");
    assert_eq!(newest(&practice).await.taken, None);
    assert_eq!(fs::read_dir(&to).unwrap().count(), 0);
}
