//! What one patient's phone finds of another patient, and of what is for staff alone: nothing, at any door, whatever it sends.

use axum::body::Body;
use axum::http::Method;
use axum::http::StatusCode;
use jiff::SignedDuration;

use closewatch::care::callback;
use closewatch::care::callback::Attempting;
use closewatch::care::enrol;
use closewatch::care::envelope;
use closewatch::care::knock;
use closewatch::care::knock::AtTheDoor;
use closewatch::care::late_knock;
use closewatch::care::plan;
use closewatch::care::replies;
use closewatch::care::review;
use closewatch::care::review::Deciding;
use closewatch::care::silence;
use closewatch::plan::StepKind;
use closewatch::store::checks::CheckState;
use closewatch::store::late_knocks;
use closewatch::store::photos;
use closewatch::store::plan as plan_rows;
use closewatch::store::thread;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;
use closewatch::web;
use closewatch::web::Door;
use closewatch::web::Who;

use crate::support::*;

/// Everything of one patient that has a name in an address or a form.
struct Named {
    /// By the name it would have there.
    ids: Vec<(&'static str, String)>,
    message: String,
    receipt: String,
    step: String,
}

const FORM_KEY: &str = "the form of the other";

/// A phone whose patient sent a check with a photo, got an answer, and has a plan.
async fn with_everything(practice: &Practice, name: &str) -> (Phone, Named) {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols(name, &surgeon).await.opens_link().await;
    let answered = phone.sends("first", no_danger(), &[]).await;
    let words = format!("An answer for {name}.");
    surgeon.decides(answered.check, Decision::HealingAsExpected, &words).await.unwrap();
    let sent = phone.sends(FORM_KEY, no_danger(), &[jpeg(1)]).await;
    let enrolled = &phone.patient.enrolled;
    let mut books = practice.books().await;
    let wound = enrolled.wound.id;
    let message = thread::of_wound(&mut books, practice.id, wound).await.unwrap()[0].id.to_string();
    let photo = photos::of_check(&mut books, practice.id, sent.check).await.unwrap()[0].id.to_string();
    let steps = plan_rows::steps(&mut books, practice.id, wound).await.unwrap();
    let step = steps.iter().find(|kept| kept.step.kind == StepKind::Photo).unwrap().id.to_string();
    drop(books);
    let ids = vec![
        ("check", sent.check.to_string()),
        ("receipt", sent.code.clone()),
        ("photo", photo),
        ("message", message.clone()),
        ("step", step.clone()),
        ("wound", wound.to_string()),
        ("patient", enrolled.patient.id.to_string()),
        ("link", phone.patient.issued.link.id.to_string()),
        ("form_key", FORM_KEY.to_owned()),
        ("form", FORM_KEY.to_owned()),
    ];
    (phone, Named { ids, message, receipt: sent.code, step })
}

fn phone_doors(practice: &Practice) -> Vec<Door> {
    web::doors(&practice.app).into_iter().filter(|door| door.who == Who::Phone).collect()
}

/// The rows in which anything of this patient stands.
async fn rows_about(practice: &Practice, of: &Named) -> Vec<String> {
    let rows = rows_of(&mut *practice.books().await, practice.id).await;
    let about = rows.into_iter().filter(|(table, _)| table != "audit" && table != "practice");
    let about = about.flat_map(|(table, rows)| rows.into_iter().map(move |row| format!("{table} {row}")));
    about.filter(|row| of.ids[..8].iter().any(|(_, id)| row.contains(id.as_str()))).collect()
}

async fn opens(phone: &Phone, path: &str) -> Page {
    let router = &phone.patient.practice.router;
    send(router, from_our_page(Method::GET, path, &phone.cookie).body(Body::empty()).unwrap()).await
}

#[tokio::test]
async fn every_id_of_another_patient_is_unknown_at_every_door_of_a_phone_and_changes_nothing() {
    on_each_engine(async |practice| {
        let (ours, _) = with_everything(&practice, "Mia Stone").await;
        let (theirs, other) = with_everything(&practice, "Ned Gray").await;
        ours.types_pin().await;
        let before = rows_about(&practice, &other).await;
        let all_before = rows_of(&mut *practice.books().await, practice.id).await;
        let mut tried = 0;
        for door in phone_doors(&practice).iter().filter(|door| door.path.contains('{')) {
            // Its own id, and any other of that patient in its place.
            for (_, id) in other.ids.iter().filter(|(_, id)| !id.contains(' ')) {
                let path = door.path;
                let path = path.replace("{message}", id).replace("{receipt}", id).replace("{step}", id);
                let page = match door.method {
                    Method::GET => opens(&ours, &path).await,
                    _ => ours.presses(&path, &[("read", "1")]).await,
                };
                assert_eq!(page.status, StatusCode::NOT_FOUND, "{} {path}", door.method);
                page.must_not_say("Ned Gray").must_not_say("An answer for");
                tried += 1;
            }
        }
        assert!(tried >= 24, "{tried}");
        let after = rows_of(&mut *practice.books().await, practice.id).await;
        for (table, rows) in &after {
            assert!(table == "audit" || table == "practice" || *rows == all_before[table], "{table} changed");
        }
        // The same doors with their own patient's ids open: it is the id that is refused, not the door.
        theirs.types_pin().await;
        opens(&theirs, &format!("/my/sent/{}", other.receipt)).await.is_fine();
        opens(&theirs, &format!("/my/calendar/{}", other.step)).await.is_fine();
        theirs.presses(&format!("/my/answers/{}/read", other.message), &[]).await.is_fine();

        // In the body and behind the question mark of every door: nothing of the other changes or is shown.
        let before_bodies = rows_about(&practice, &other).await;
        assert!(before_bodies.len() >= before.len());
        let fields: Vec<(&str, &str)> = other.ids.iter().map(|(name, id)| (*name, id.as_str())).collect();
        let asked = serde_urlencoded::to_string(&fields).unwrap();
        for door in phone_doors(&practice).iter().filter(|door| !door.path.contains('{')) {
            // Some doors end the session of whoever goes through.
            let phone = ours.patient.opens_link().await;
            phone.types_pin().await;
            let pages = match door.method {
                Method::GET => vec![opens(&phone, &format!("{}?{asked}", door.path)).await],
                _ => vec![
                    phone.presses(door.path, &fields).await,
                    phone.posts_files(door.path, &fields, &[]).await,
                ],
            };
            for page in pages {
                assert!(!page.status.is_server_error(), "{} {}: {}", door.method, door.path, page.status);
                page.must_not_say("Ned Gray").must_not_say("An answer for Ned");
                assert!(!page.leads_to().contains(&other.receipt), "{} {}", door.method, door.path);
            }
        }
        let after = rows_about(&practice, &other).await;
        let lost: Vec<&String> = before_bodies.iter().filter(|row| !after.contains(row)).collect();
        assert!(lost.is_empty(), "changed or gone: {lost:?}");
        // What came of it stands with our own patient, whatever ids were sent along.
        let wound = ours.patient.enrolled.wound.id;
        assert!(ours.checks().await.iter().all(|check| check.wound == wound));
        assert_eq!(theirs.checks().await.len(), 2);
    })
    .await;
}

/// What is planted where only staff may see it.
fn canary(number: usize) -> String {
    format!("Zq{number:02}plantedword")
}

/// Plants a word of its own into everything that is for staff alone, and says how many.
async fn plants(practice: &Practice, phone: &Phone) -> usize {
    let (office, surgeon, lead) = (practice.office().await, practice.surgeon().await, practice.lead().await);
    let (desk, moment) = (practice.desk(), practice.moment());
    let (now, wound) = (moment.now, phone.patient.enrolled.wound.id);
    let check = phone.sends("one", no_danger(), &[jpeg(1)]).await.check;
    let deciding = |decision, reply: &str, note: usize, ask: String| Deciding {
        decision,
        reply: reply.to_owned(),
        note: canary(note),
        come_in: None,
        ask,
        judged: None,
        antibiotic: None,
        extent: None,
    };
    review::open(desk, &surgeon.member, check, now).await.unwrap();
    let by_office = deciding(Decision::CallByOffice, "We will ring you.", 0, canary(1));
    review::decide(desk, &surgeon.member, check, by_office, &moment).await.unwrap();
    let call = office.reads_callbacks().await.remove(0).callback.id;
    let missed = Attempting { note: canary(2), ..Attempting::of(CallResult::NoAnswer) };
    callback::log_attempt(desk, &office.member, call, missed, &moment).await.unwrap();
    callback::hand_back(desk, &office.member, call, &canary(3), now).await.unwrap();
    review::open(desk, &surgeon.member, check, now).await.unwrap();
    let fine = deciding(Decision::HealingAsExpected, "It heals.", 4, String::new());
    review::decide(desk, &surgeon.member, check, fine, &moment).await.unwrap();
    let steps = plan_rows::steps(&mut *practice.books().await, practice.id, wound).await.unwrap();
    let last = steps.into_iter().rev().find(|kept| kept.step.kind == StepKind::Photo).unwrap();
    let due = last.step.due + SignedDuration::from_hours(24);
    plan::move_step(desk, &office.member, wound, last.id, due, &canary(5), &moment).await.unwrap();
    // The strip, which went in at the operation, comes out first.
    phone.presses("/my/strip/say", &[("said", "all_out"), ("pieces", "1")]).await.is_fine();
    let until = now + SignedDuration::from_hours(48);
    plan::pause(desk, &office.member, wound, until, &canary(6), &moment).await.unwrap();
    plan::resume(desk, &office.member, wound, &moment).await.unwrap();
    let (silent, _) = goes_silent(practice, &office.member, wound).await;
    silence::ask_surgeon(desk, &office.member, silent, &canary(7), &moment).await.unwrap();
    silence::decide(desk, &surgeon.member, silent, &canary(8), &moment).await.unwrap();
    silence::end(desk, &surgeon.member, silent, &canary(9), &moment).await.unwrap();
    let (_, _, lost) = enrol::issue_link(desk, &office.member, wound, "lost", &moment).await.unwrap();
    enrol::revoke_link(desk, &office.member, lost.link.id, now).await.unwrap();
    knock::knock(desk, lost.token.reveal(), AtTheDoor::default(), &moment).await.unwrap();
    let late = late_knocks::waiting(&mut *practice.books().await, practice.id).await.unwrap().remove(0).id;
    late_knock::deal_with(desk, &office.member, late, &canary(10), now).await.unwrap();
    let text = replies::Editing {
        id: None,
        decision: Decision::HealingAsExpected,
        title: canary(11),
        body_en: "Fine.".to_owned(),
        body_es: "Bien.".to_owned(),
    };
    replies::keep(desk, &lead.member, text, &moment).await.unwrap();
    opens_envelope(practice, &lead, &canary(12)).await;
    let look = looks(practice).await[0].id;
    envelope::note(desk, &lead.member, look, &canary(13), now).await.unwrap();
    14
}

#[tokio::test]
async fn what_is_for_staff_alone_stands_on_no_page_of_a_patient() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let planted = plants(&practice, &phone).await;
        let rows = rows_of(&mut *practice.books().await, practice.id).await;
        let texts = opened_texts(&practice).await;
        for number in 0..planted {
            let word = canary(number);
            let is_kept = texts.iter().any(|(_, text)| text.contains(&word))
                || rows.values().flatten().any(|row| row.contains(&word));
            assert!(is_kept, "{} is nowhere", canary(number));
        }
        phone.types_pin().await;
        let second = phone.sends("two", in_danger(), &[jpeg(2)]).await;
        let sent = format!("/my/sent/{}", second.code);
        let mut pages = Vec::new();
        let mut nothing = |_: &str| String::new();
        let mut tour =
            Tour { cookie: phone.cookie.clone(), practice: &practice, types: &mut nothing, told: &mut pages };
        let starts =
            ["/my", "/my/check", "/my/check/steps", "/my/answers", "/my/strip", "/my/calendar", &sent];
        tour.walks(&starts, FormsMet::LeftAlone).await;
        assert!(pages.len() >= starts.len());
        let answers = pages.iter().find(|(path, _)| path == "/my/answers").unwrap();
        answers.1.must_say("It heals.");
        let for_staff = ["go_now", "ring_now", "on_track", "Ring within the hour", "score", "protocol"];
        for (path, page) in &pages {
            let html = page.html();
            assert!(!html.contains("plantedword"), "{path} shows what is for staff alone");
            assert!(!html.contains(&office.member.sign_in_name), "{path}");
            for word in for_staff {
                assert!(!page.words().contains(word), "{path} says {word}");
            }
        }
    })
    .await;
}

/// What a patient's form has no field for.
const MORE: [(&str, &str); 14] = [
    ("urgency", "0"),
    ("class", "on_track"),
    ("score", "0"),
    ("state", "closed"),
    ("closed_ms", "1"),
    ("due_ms", "4102444800000"),
    ("claimed_by", "somebody"),
    ("decision", "healing"),
    ("reply", "All is well."),
    ("note", "All is well."),
    ("protocol_version", "9.9"),
    ("practice_id", "another"),
    ("wound_id", "another"),
    ("roles", "lead"),
];

#[tokio::test]
async fn fields_that_no_form_of_a_patient_has_change_nothing() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let honest = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let posing = office.enrols("Ned Gray", &surgeon).await.opens_link().await;
        let form = [("form_key", "one"), ("danger", "breath"), ("better", "same")];
        let more: Vec<(&str, &str)> = form.iter().chain(&MORE).copied().collect();
        for path in ["/my/check", "/my/check/answers"] {
            let key = [("form_key", path)];
            let with = |fields: &[(&'static str, &'static str)]| -> Vec<(&str, &str)> {
                fields.iter().filter(|(name, _)| *name != "form_key").copied().chain(key).collect()
            };
            let (plain, posed) = (with(&form), with(&more));
            if path == "/my/check" {
                honest.posts_files(path, &plain, &[]).await.is_fine();
                posing.posts_files(path, &posed, &[]).await.is_fine();
            } else {
                honest.presses(path, &plain).await;
                posing.presses(path, &posed).await;
            }
        }
        let (honest_sent, posing_sent) = (honest.checks().await, posing.checks().await);
        assert_eq!((honest_sent.len(), posing_sent.len()), (2, 2));
        for (plain, posed) in honest_sent.iter().zip(&posing_sent) {
            assert_eq!(posed.wound, posing.patient.enrolled.wound.id);
            assert_eq!((posed.state, posed.claim), (CheckState::Queued, None));
            assert_eq!((posed.due, &posed.answers), (plain.due, &plain.answers));
            assert_eq!(posed.assessment, plain.assessment);
        }
        let rows = rows_of(&mut *practice.books().await, practice.id).await;
        assert!(!rows.values().flatten().any(|row| row.contains("All is well.")), "it is kept somewhere");
    })
    .await;
}
