//! Silence through the doors: what was due and did not come is reminded of, rung about, and ends when it came or a person
//! says why. Times: 36 hours in week 1, 96 later, halved for the fragile (the protocol's rule `silent`: own rule, no
//! source); reminder, two calls, second contact, letter: common practice, no source.

use std::fs;

use jiff::SignedDuration;
use jiff::Timestamp;

use closewatch::plan::Diabetes;
use closewatch::plan::Immunity;
use closewatch::plan::Operation;
use closewatch::plan::Packing;
use closewatch::plan::RiskFactors;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::ladders;
use closewatch::store::silences;
use closewatch::store::silences::Silence;
use closewatch::store::silences::SilenceEnd;
use closewatch::triage::Decision;
use closewatch::triage::SilenceKind;
use closewatch::triage::SilenceStep;
use closewatch::words::Language;

use crate::support;
use crate::support::ANSWER;
use crate::support::Phone;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::operation;

/// Neither diabetes nor weak immunity: asked, and no.
fn well() -> RiskFactors {
    RiskFactors { diabetes: Some(Diabetes::None), immunity: Some(Immunity::None), ..RiskFactors::default() }
}

async fn packed(practice: &Practice, language: Language, hours: i64) -> Phone {
    let operated = practice.now() - SignedDuration::from_hours(hours);
    let packing = Some(Packing { pieces: 2, length_cm: Some(60.0), placed: operated });
    let operation = Operation { operated, packing, ..operation(practice.now()) };
    practice.phone_of("Rosa Ibarra", language, well(), operation).await
}

async fn unpacked(practice: &Practice, name: &str, risk: RiskFactors) -> Phone {
    let operation = Operation { packing: None, ..operation(practice.now()) };
    practice.phone_of(name, Language::English, risk, operation).await
}

async fn open(practice: &Practice) -> Vec<Silence> {
    silences::open(&mut *practice.books().await, practice.id).await.unwrap()
}

async fn of_kind(practice: &Practice, kind: SilenceKind) -> Option<Silence> {
    open(practice).await.into_iter().find(|silence| silence.kind == kind)
}

async fn hours_pass(practice: &Practice, hours: i64) {
    for _ in 0..hours * 2 {
        practice.works().await;
        practice.minutes_pass(30);
    }
    practice.works().await;
}

async fn alarms_of(practice: &Practice) -> Vec<AlarmKind> {
    let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.iter().map(|alarm| alarm.kind).collect()
}

/// The words of every letter to this number, in order.
fn letters_to(practice: &Practice, number: &str) -> Vec<String> {
    let mut files: Vec<_> =
        fs::read_dir(&practice.letters).unwrap().map(|file| file.unwrap().path()).collect();
    files.sort();
    files.iter().map(|file| fs::read_to_string(file).unwrap()).filter(|text| text.contains(number)).collect()
}

async fn logs(who: &Staff, id: &Silence, whom: &str, result: &str, more: &[(&str, &str)]) -> support::Page {
    let mut fields = vec![("whom", whom), ("result", result), ("interpreter", "not_needed")];
    fields.extend_from_slice(more);
    who.presses(&format!("/silence/{}/calls", id.id), &fields).await
}

#[tokio::test]
async fn a_strip_past_its_grace_is_reminded_of_in_spanish_rung_about_twice_and_the_second_contact_finds_out()
{
    on_each_engine(async |practice| {
        let phone = packed(&practice, Language::Spanish, 52).await;
        let patient = phone.patient.enrolled.patient.clone();
        let office = practice.office().await;
        let contacts = [
            ("phone", patient.phone.as_str()),
            ("helper_name", "Ana Ibarra"),
            ("helper_phone", "202-555-0188"),
            ("interpreter", ""),
        ];
        office.presses(&format!("/patients/{}/contacts", patient.id), &contacts).await.is_fine();
        practice.works().await;
        assert!(of_kind(&practice, SilenceKind::Strip).await.is_none(), "six hours of grace");
        practice.minutes_pass(121);
        practice.works().await;
        let strip = of_kind(&practice, SilenceKind::Strip).await.unwrap();
        assert!(strip.reminded.is_some());
        practice.seconds_pass(10);
        practice.works().await;
        let reminded = letters_to(&practice, &patient.phone.replace('-', ""));
        let reminded = if reminded.is_empty() { letters_to(&practice, &patient.phone) } else { reminded };
        assert!(
            reminded.iter().any(|letter| letter.contains("No hemos sabido de usted")),
            "in Spanish: {reminded:?}"
        );
        assert!(reminded.iter().all(|letter| !letter.contains("Rosa") && !letter.contains("gasa")));
        // Two hours later it is a call.
        practice.minutes_pass(121);
        practice.works().await;
        let strip = of_kind(&practice, SilenceKind::Strip).await.unwrap();
        assert_eq!(strip.next, SilenceStep::Call);
        let office = practice.office().await;
        let list = office.opens("/silence").await;
        list.must_say("Rosa Ibarra").must_say("Strip not reported out").must_say("Ring the patient");
        office
            .opens(&format!("/silence/{}", strip.id))
            .await
            .must_say("La tira de gasa ya debe estar afuera")
            .must_say("The gauze strip should be out by now")
            .must_say("Offer an interpreter");
        logs(&office, &strip, "patient", "no_answer", &[]).await.is_fine();
        let strip = of_kind(&practice, SilenceKind::Strip).await.unwrap();
        assert_eq!(
            (strip.next, strip.next_from),
            (SilenceStep::Call, practice.now() + SignedDuration::from_hours(2))
        );
        practice.minutes_pass(121);
        let office = practice.office().await;
        logs(&office, &strip, "patient", "message_left", &[]).await.is_fine();
        let strip = of_kind(&practice, SilenceKind::Strip).await.unwrap();
        assert_eq!(strip.next, SilenceStep::SecondContact);
        // Spoke, and nothing chosen: what was typed stays.
        let half =
            logs(&office, &strip, "second_contact", "spoke", &[("note", "It is out since noon.")]).await;
        half.must_say("Choose what the call came to.").must_say("It is out since noon.");
        let told = [("said", "done"), ("note", "It is out since noon.")];
        logs(&office, &strip, "second_contact", "spoke", &told).await.is_fine();
        assert!(open(&practice).await.iter().all(|silence| silence.kind != SilenceKind::Strip));
        let ended = silences::ended(&mut *practice.books().await, practice.id, 5).await.unwrap();
        assert_eq!(ended[0].ended_why, Some(SilenceEnd::Told));
        office.opens(&format!("/silence/{}", strip.id)).await.must_say("with Ana Ibarra");
        phone.opens("/my").await.must_not_say("tira de gasa: atrasada");
    })
    .await;
}

#[tokio::test]
async fn a_patient_may_be_silent_for_36_hours_half_of_it_with_diabetes_and_a_check_ends_it_by_itself() {
    on_each_engine(async |practice| {
        let phone = unpacked(&practice, "Mia Stone", well()).await;
        let fragile = RiskFactors { diabetes: Some(Diabetes::T2), ..well() };
        let other = unpacked(&practice, "Ivo Reed", fragile).await;
        let (calm, weak) = (phone.patient.enrolled.wound.id, other.patient.enrolled.wound.id);
        let enrolled = practice.now();
        let mut first: Vec<(bool, Timestamp)> = Vec::new();
        for _ in 0..90 {
            practice.works().await;
            for silence in open(&practice).await {
                let is_weak = silence.wound == weak;
                assert!(is_weak || silence.wound == calm);
                if !first.iter().any(|(weak, _)| *weak == is_weak) {
                    first.push((is_weak, silence.since));
                }
            }
            practice.minutes_pass(30);
        }
        let hours = |which: bool| {
            first.iter().find(|(weak, _)| *weak == which).unwrap().1.duration_since(enrolled).as_hours()
        };
        // The step itself is due in the evening of the next day; the limit is counted from the enrolment.
        assert!(hours(false) >= 36, "{}", hours(false));
        assert!(hours(true) < hours(false), "{} and {}", hours(true), hours(false));
        phone.sends("here", no_danger(), &[]).await;
        practice.seconds_pass(31);
        practice.works().await;
        assert!(open(&practice).await.iter().all(|silence| silence.wound == weak));
        let ended = silences::of_wound(&mut *practice.books().await, practice.id, calm).await.unwrap();
        assert_eq!(ended[0].ended_why, Some(SilenceEnd::Came));
        assert_eq!(ended[0].ended_by, None);
    })
    .await;
}

#[tokio::test]
async fn an_answer_nobody_read_comes_back_as_a_call() {
    on_each_engine(async |practice| {
        let phone = unpacked(&practice, "Mia Stone", well()).await;
        let surgeon = practice.surgeon().await;
        let receipt = phone.sends("form", no_danger(), &[]).await;
        surgeon.decides(receipt.check, Decision::HealingAsExpected, ANSWER).await.unwrap();
        hours_pass(&practice, 23).await;
        assert!(of_kind(&practice, SilenceKind::Reply).await.is_none());
        hours_pass(&practice, 2).await;
        let reply = of_kind(&practice, SilenceKind::Reply).await.unwrap();
        hours_pass(&practice, 5).await;
        assert_eq!(of_kind(&practice, SilenceKind::Reply).await.unwrap().next, SilenceStep::Call);
        let office = practice.office().await;
        office.opens("/callbacks").await.must_say("silent patient");
        office.opens("/silence").await.must_say("The surgeon’s answer was not read");
        // Read meanwhile: it ends by itself.
        phone.types_pin().await;
        let answers = phone.opens("/my/answers").await.html();
        let id = answers
            .split("/my/answers/")
            .nth(1)
            .and_then(|rest| rest.split("/read").next())
            .unwrap()
            .to_owned();
        phone.presses(&format!("/my/answers/{id}/read"), &[]).await.is_fine();
        practice.seconds_pass(31);
        practice.works().await;
        let ended =
            silences::find(&mut *practice.books().await, practice.id, reply.id).await.unwrap().unwrap();
        assert_eq!(ended.ended_why, Some(SilenceEnd::Came));
    })
    .await;
}

#[tokio::test]
async fn a_step_nobody_takes_is_an_alarm_and_a_ladder_that_only_a_person_stops() {
    on_each_engine(async |practice| {
        packed(&practice, Language::English, 54).await;
        let office = practice.office().await;
        practice.minutes_pass(121);
        practice.works().await;
        practice.minutes_pass(121);
        practice.works().await;
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::Overdue));
        practice.minutes_pass(121);
        practice.works().await;
        assert!(alarms_of(&practice).await.contains(&AlarmKind::Overdue));
        let strip = of_kind(&practice, SilenceKind::Strip).await.unwrap();
        let about = format!("silence:{}", strip.id);
        let running = ladders::running(&mut *practice.books().await, practice.id, &about).await.unwrap();
        assert!(running.is_some());
        // The same after a restart.
        let anew = practice.started_anew();
        anew.minutes_pass(31);
        anew.works().await;
        let rungs = {
            let mut books = anew.books().await;
            let running = ladders::running(&mut books, anew.id, &about).await.unwrap().unwrap();
            ladders::rungs(&mut books, anew.id, running.id).await.unwrap()
        };
        assert_eq!(rungs.len(), 2, "each rung once");
        logs(&practice.office().await, &strip, "patient", "no_answer", &[]).await.is_fine();
        drop(office);
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::Overdue));
        let mut books = practice.books().await;
        assert!(ladders::running(&mut books, practice.id, &about).await.unwrap().is_none());
    })
    .await;
}

#[tokio::test]
async fn about_a_strip_a_day_past_its_grace_the_surgeon_decides_and_the_office_is_told() {
    on_each_engine(async |practice| {
        packed(&practice, Language::English, 54).await;
        practice.minutes_pass(121);
        hours_pass(&practice, 23).await;
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::SurgeonAsked));
        hours_pass(&practice, 2).await;
        assert!(alarms_of(&practice).await.contains(&AlarmKind::SurgeonAsked));
        let strip = of_kind(&practice, SilenceKind::Strip).await.unwrap();
        let page = format!("/silence/{}", strip.id);
        let office = practice.office().await;
        office.opens(&page).await.must_say("The strip is still in, and nobody has reached the patient.");
        let why = [("why", "We know them, they are fine.")];
        office.presses(&format!("{page}/end"), &why).await.must_say("Only a surgeon ends this.");
        let refused = office.presses(&format!("{page}/decide"), &[("decision", "Let it be")]).await;
        assert_eq!(refused.status.as_u16(), 403);
        let surgeon = practice.surgeon().await;
        surgeon
            .presses(&format!("{page}/decide"), &[("decision", " ")])
            .await
            .must_say("Say what is to be done");
        let welfare = [("decision", "Ask the police to look in.")];
        surgeon.presses(&format!("{page}/decide"), &welfare).await.is_fine();
        assert!(!alarms_of(&practice).await.contains(&AlarmKind::SurgeonAsked));
        office.opens(&page).await.must_say("Ask the police to look in.").must_say("Surgeon has answered");
        office.opens("/silence").await.must_say("Ring the patient");
    })
    .await;
}

#[tokio::test]
async fn the_letter_is_in_the_patients_language_and_comes_after_three_days_of_trying() {
    on_each_engine(async |practice| {
        packed(&practice, Language::Spanish, 54).await;
        practice.minutes_pass(121);
        practice.works().await;
        let strip = of_kind(&practice, SilenceKind::Strip).await.unwrap();
        for _ in 0..4 {
            hours_pass(&practice, 20).await;
            logs(&practice.office().await, &strip, "patient", "no_answer", &[]).await.is_fine();
        }
        practice.minutes_pass(61);
        practice.works().await;
        let strip = of_kind(&practice, SilenceKind::Strip).await.unwrap();
        assert_eq!(strip.next, SilenceStep::Letter);
        let office = practice.office().await;
        let address = format!("/silence/{}/letter", strip.id);
        office
            .opens(&address)
            .await
            .must_say("Hola, Rosa Ibarra")
            .must_say("Escribimos a su teléfono y llamamos")
            .must_say("¿La tira de gasa sigue adentro?");
        office.presses(&address, &[]).await.is_fine();
        let strip = of_kind(&practice, SilenceKind::Strip).await.unwrap();
        assert_eq!(strip.next, SilenceStep::KeepTrying);
        // Now the patient counts as tried for long enough, if a surgeon ends the plan as lost.
        office.opens("/silence").await.must_say("Ring once a day").must_say("Letter sent");
    })
    .await;
}

#[tokio::test]
async fn whoever_promised_is_left_alone_until_then_and_comes_back_if_nothing_came() {
    on_each_engine(async |practice| {
        unpacked(&practice, "Mia Stone", well()).await;
        hours_pass(&practice, 42).await;
        let check = of_kind(&practice, SilenceKind::Check).await.unwrap();
        let office = practice.office().await;
        let done = logs(&office, &check, "patient", "spoke", &[("said", "done")]).await;
        done.must_say("A check cannot be taken on the phone.");
        logs(&office, &check, "patient", "spoke", &[("said", "will_do")]).await.is_fine();
        let check = of_kind(&practice, SilenceKind::Check).await.unwrap();
        assert!(check.next_from >= practice.now() + SignedDuration::from_hours(24));
        assert_eq!(check.next, SilenceStep::Call);
        hours_pass(&practice, 40).await;
        assert!(of_kind(&practice, SilenceKind::Check).await.is_some(), "a promise is not a check");
        assert!(alarms_of(&practice).await.contains(&AlarmKind::Overdue));
    })
    .await;
}
