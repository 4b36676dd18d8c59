//! Calls in full, and what follows from them: visits, the emergency department, an antibiotic and its two days; who of the
//! office may see photos.

use jiff::SignedDuration;

use closewatch::ids::WoundCheckId;
use closewatch::plan::RiskFactors;
use closewatch::plan::StepKind;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::antibiotics;
use closewatch::store::antibiotics::Culture;
use closewatch::store::checks;
use closewatch::store::ladders;
use closewatch::store::silences;
use closewatch::store::silences::Silence;
use closewatch::triage::Answers;
use closewatch::triage::Decision;
use closewatch::triage::Edge;
use closewatch::triage::EdgeBand;
use closewatch::triage::Said;
use closewatch::triage::SilenceKind;
use closewatch::triage::Trend;
use closewatch::triage::Urgency;
use closewatch::words::Language;

use crate::support;
use crate::support::ANSWER;
use crate::support::Phone;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::open_callback;
use crate::support::operation;

async fn phone(practice: &Practice) -> Phone {
    let operation = operation(practice.now());
    practice.phone_of("Mia Stone", Language::English, RiskFactors::default(), operation).await
}

async fn silence(practice: &Practice, kind: SilenceKind) -> Option<Silence> {
    let open = silences::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.into_iter().find(|silence| silence.kind == kind)
}

/// What a surgeon presses on the review page.
async fn decides(surgeon: &Staff, check: WoundCheckId, fields: &[(&str, &str)]) -> support::Page {
    surgeon.presses(&format!("/checks/{check}/open"), &[]).await;
    surgeon.fills_in(check, fields).await
}

#[tokio::test]
async fn whoever_is_sent_to_the_emergency_department_is_asked_after_in_two_hours() {
    on_each_engine(async |practice| {
        let phone = phone(&practice).await;
        let receipt = phone.sends("form", no_danger(), &[]).await;
        practice.surgeon().await.decides(receipt.check, Decision::GoToEmergency, ANSWER).await.unwrap();
        let (office, call) = (practice.office().await, open_callback(&practice).await);
        let page = office.opens(&format!("/callbacks/{call}")).await;
        page.must_say("Hand-off to print").must_say("date of birth").must_say("Voice mail");
        let went = [
            ("result", "spoke"),
            ("outcome", "went_to_emergency"),
            ("place", "Harbor General"),
            ("whom", "patient"),
            ("interpreter", "declined"),
        ];
        office.presses(&format!("/callbacks/{call}/attempts"), &went).await.is_fine();
        let arrival = silence(&practice, SilenceKind::Arrival).await.unwrap();
        assert_eq!(arrival.since, practice.now() + SignedDuration::from_hours(2));
        office
            .opens(&format!("/wounds/{}/hand-off", phone.patient.enrolled.wound.id))
            .await
            .must_say("Hand-off to the emergency department")
            .must_say("Mia Stone")
            .must_say("Go to the emergency department now")
            .must_say("never diagnoses");
        practice.minutes_pass(151);
        practice.works().await;
        let (office, address) = (practice.office().await, format!("/silence/{}", arrival.id));
        office.opens(&address).await.must_say("No word that they arrived");
        // They are not there: the surgeon is called at once, and the office cannot end it.
        let calls = format!("{address}/calls");
        let gone = [
            ("whom", "elsewhere"),
            ("result", "spoke"),
            ("said", "asks_surgeon"),
            ("note", "Harbor General has nobody of that name."),
        ];
        office.presses(&calls, &gone).await.is_fine();
        let running = {
            let mut books = practice.books().await;
            ladders::running(&mut books, practice.id, &format!("silence:{}", arrival.id)).await.unwrap()
        };
        assert_eq!(running.unwrap().kind, closewatch::triage::LadderKind::RingNow);
        office
            .presses(&format!("{address}/end"), &[("why", "home")])
            .await
            .must_say("Only a surgeon ends this.");
        let arrived = [("whom", "patient"), ("result", "spoke"), ("said", "done")];
        office.presses(&calls, &arrived).await.is_fine();
        assert!(silence(&practice, SilenceKind::Arrival).await.is_none());
    })
    .await;
}

#[tokio::test]
async fn a_call_books_a_visit_which_is_a_step_of_the_plan_and_answers_come_in() {
    on_each_engine(async |practice| {
        let phone = phone(&practice).await;
        let receipt = phone.sends("form", no_danger(), &[]).await;
        practice.surgeon().await.decides(receipt.check, Decision::CallByOffice, ANSWER).await.unwrap();
        let (office, call) = (practice.office().await, open_callback(&practice).await);
        let log = format!("/callbacks/{call}/attempts");
        let mut booked =
            vec![("result", "spoke"), ("outcome", "visit_booked"), ("note", "Wants the morning")];
        office.presses(&log, &booked).await.must_say("Say when the visit is.").must_say("Wants the morning");
        booked.push(("visit", "2020-01-01T09:00"));
        office.presses(&log, &booked).await.must_say("That time has passed.");
        let when = practice.now() + SignedDuration::from_hours(24);
        let typed = when.to_zoned_datetime(jiff::tz::TimeZone::get("America/New_York").unwrap());
        let typed = typed.datetime().strftime("%Y-%m-%dT%H:%M").to_string();
        booked.pop();
        booked.push(("visit", &typed));
        office.presses(&log, &booked).await.is_fine();
        let wound = phone.patient.enrolled.wound.id;
        let steps =
            closewatch::store::plan::steps(&mut *practice.books().await, practice.id, wound).await.unwrap();
        let visit = steps.iter().find(|kept| kept.step.kind == StepKind::Visit).unwrap();
        assert_eq!(visit.step.due.as_second() / 60, when.as_second() / 60);
        phone.opens("/my").await.must_say("Come to the practice");
    })
    .await;
}

#[tokio::test]
async fn a_next_try_is_kept_but_never_later_than_the_class_allows() {
    on_each_engine(async |practice| {
        let phone = phone(&practice).await;
        let receipt = phone.sends("form", no_danger(), &[]).await;
        practice.surgeon().await.decides(receipt.check, Decision::GoToEmergency, ANSWER).await.unwrap();
        let (office, call) = (practice.office().await, open_callback(&practice).await);
        let far = practice.now() + SignedDuration::from_hours(5);
        let typed = far.to_zoned_datetime(jiff::tz::TimeZone::get("America/New_York").unwrap());
        let typed = typed.datetime().strftime("%Y-%m-%dT%H:%M").to_string();
        let fields = [("result", "no_answer"), ("next_try", typed.as_str())];
        office.presses(&format!("/callbacks/{call}/attempts"), &fields).await.is_fine();
        let mut books = practice.books().await;
        let kept = closewatch::store::callbacks::find(&mut books, practice.id, call).await.unwrap().unwrap();
        assert_eq!(kept.due, practice.now() + SignedDuration::from_mins(10));
        drop(books);
        let second = [("result", "no_answer"), ("whom", "second_contact")];
        let refused = office.presses(&format!("/callbacks/{call}/attempts"), &second).await;
        refused.must_say("No second contact is named");
    })
    .await;
}

#[tokio::test]
async fn the_patient_answers_come_in_and_whoever_cannot_is_rung() {
    on_each_engine(async |practice| {
        let phone = phone(&practice).await;
        let receipt = phone.sends("form", no_danger(), &[]).await;
        let when = practice.now() + SignedDuration::from_hours(20);
        let typed = when.to_zoned_datetime(jiff::tz::TimeZone::get("America/New_York").unwrap());
        let typed = typed.datetime().strftime("%Y-%m-%dT%H:%M").to_string();
        let surgeon = practice.surgeon().await;
        let come = [("decision", "come_in"), ("reply", ANSWER), ("come_in", typed.as_str())];
        decides(&surgeon, receipt.check, &come).await.is_fine();
        let call = open_callback(&practice).await;
        let office = practice.office().await;
        let log = format!("/callbacks/{call}/attempts");
        office.presses(&log, &[("result", "no_answer")]).await.is_fine();
        let today = phone.opens("/my").await;
        today.must_say("Can you come:");
        let review = today.field("review").unwrap();
        phone.presses("/my/visit", &[("review", &review), ("answer", "cannot_then")]).await.is_fine();
        phone.opens("/my").await.must_not_say("Can you come:");
        // The call that is open already takes care of it: no second one.
        assert_eq!(office.reads_callbacks().await.len(), 1);
        phone.presses("/my/visit", &[("review", "nonsense"), ("answer", "cannot_then")]).await;
    })
    .await;
}

fn spreading() -> Answers {
    Answers {
        edge: Said::Is(Edge::Band(EdgeBand::ToTwoInches)),
        edge_move: Said::Is(Trend::Bigger),
        ..no_danger()
    }
}

#[tokio::test]
async fn a_recorded_antibiotic_is_followed_and_who_is_worse_after_two_days_is_raised() {
    on_each_engine(async |practice| {
        let phone = phone(&practice).await;
        let receipt = phone.sends("form", no_danger(), &[]).await;
        let surgeon = practice.surgeon().await;
        let wrong = [("decision", "antibiotic"), ("reply", ANSWER), ("drug", "cephalexin"), ("days", "many")];
        let again = decides(&surgeon, receipt.check, &wrong).await;
        again.must_say("Enter the days it is taken");
        assert_eq!(again.field("drug").as_deref(), Some("cephalexin"), "what was typed stays");
        let start = [
            ("decision", "antibiotic"),
            ("reply", ANSWER),
            ("drug", "cephalexin"),
            ("doses", "4"),
            ("days", "7"),
            ("culture", "1"),
        ];
        decides(&surgeon, receipt.check, &start).await.is_fine();
        let wound = phone.patient.enrolled.wound.id;
        let course =
            antibiotics::of_wound(&mut *practice.books().await, practice.id, wound).await.unwrap().remove(0);
        assert_eq!(
            (course.drug.as_str(), course.doses_per_day, course.culture),
            ("cephalexin", Some(4), Culture::Sent)
        );
        phone.opens("/my").await.must_say("Take your antibiotic");
        phone.opens("/my/check").await.must_say("How many doses of the antibiotic did you miss");
        practice.minutes_pass(49 * 60);
        phone.opens("/my").await.must_say("Tell us if the antibiotic helps");
        let failing = phone.sends("worse", spreading(), &[]).await;
        let check =
            checks::find(&mut *practice.books().await, practice.id, failing.check).await.unwrap().unwrap();
        assert!(check.assessment.urgency >= Urgency::RingNow);
        let fired: Vec<&str> =
            check.assessment.reasons.iter().map(|reason| reason.rule_id.as_str()).collect();
        assert!(fired.contains(&"pills-not-working"), "{fired:?}");
        phone.opens("/my").await.must_not_say("Tell us if the antibiotic helps");
        // Three days after it was sent somebody asks the laboratory.
        practice.minutes_pass(24 * 60);
        practice.works().await;
        assert!(silence(&practice, SilenceKind::Culture).await.is_some());
        let (office, patient) = (practice.office().await, phone.patient.enrolled.patient.id);
        let culture = format!("/antibiotics/{}/culture", course.id);
        office
            .presses(&culture, &[("culture_result", "MRSA")])
            .await
            .must_say("Choose what the laboratory said")
            .must_say("MRSA");
        let noted = [("fits", "resists"), ("culture_result", "MRSA, resists cephalexin")];
        office.presses(&culture, &noted).await.is_fine();
        office.opens(&format!("/patients/{patient}")).await.must_say("MRSA, resists cephalexin");
        let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
        assert!(open.iter().any(|alarm| alarm.kind == AlarmKind::SurgeonAsked));
        practice.seconds_pass(31);
        practice.works().await;
        assert!(silence(&practice, SilenceKind::Culture).await.is_none());
        let stop = format!("/antibiotics/{}/end", course.id);
        assert_eq!(office.presses(&stop, &[("over", "stopped")]).await.status.as_u16(), 403);
        practice.surgeon().await.presses(&stop, &[("over", "stopped")]).await.is_fine();
        phone.opens("/my/check").await.must_not_say("How many doses of the antibiotic did you miss");
    })
    .await;
}

#[tokio::test]
async fn the_office_sees_no_photo_until_a_lead_lets_one_of_them() {
    on_each_engine(async |practice| {
        let phone = phone(&practice).await;
        let receipt = phone.sends("form", no_danger(), &[jpeg(1)]).await;
        practice.surgeon().await.decides(receipt.check, Decision::CallByOffice, ANSWER).await.unwrap();
        let call = open_callback(&practice).await;
        let photo = practice.photo_of(receipt.check).await;
        let (office, lead) = (practice.office().await, practice.lead().await);
        let (page, picture) = (format!("/callbacks/{call}"), format!("/photos/{photo}/small"));
        assert!(!office.opens(&page).await.html().contains(&picture));
        assert_eq!(office.opens(&picture).await.status.as_u16(), 403);
        let door = format!("/practice/staff/{}/photos/on", office.member.id);
        assert_eq!(office.presses(&door, &[]).await.status.as_u16(), 403);
        lead.presses(&door, &[]).await.is_fine();
        assert!(office.opens(&page).await.html().contains(&picture));
        assert_eq!(office.opens(&picture).await.status.as_u16(), 200);
        lead.presses(&door.replace("/on", "/off"), &[]).await.is_fine();
        assert_eq!(office.opens(&picture).await.status.as_u16(), 403);
    })
    .await;
}
