//! Everything of a practice leaves the house only by two people and a code that works once on the server; everybody is told.

mod support;

use std::fs;
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;

use axum::http::StatusCode;

use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::audit;
use closewatch::store::export_agreements;
use closewatch::store::export_agreements::ExportAgreement;
use closewatch::store::staff::Roles;
use closewatch::web::Clock;

use support::*;

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

fn export(place: &Place, to: &Path, code: &str, more: &[&str]) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_closewatch"))
        .args(["export", "--data", place.folder.path().to_str().unwrap(), "--database-url", &place.url])
        .args(["--to", to.to_str().unwrap()])
        .args(more)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
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

    lead.presses("/practice/export", &WHAT).await.is_fine();
    let path = format!("/practice/export/{}/agree", newest(&practice).await.id);
    let code = code_on(&surgeon.presses(&path, &[("agree", "yes")]).await);
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
}
