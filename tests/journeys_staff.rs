//! What staff do in a day, through the doors they use, told by the words they see.

use axum::http::StatusCode;
use axum::http::header;

use closewatch::care::sign_in::IDLE_LIMIT;
use closewatch::ids::CallbackId;
use closewatch::ids::WoundCheckId;
use closewatch::store::audit;
use closewatch::store::callbacks;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::links;
use closewatch::store::photos;
use closewatch::store::reviews;
use closewatch::store::staff::Roles;
use closewatch::store::thread;
use closewatch::triage::CallOutcome;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;
use closewatch::triage::Urgency;

use support::Page;
use support::Patient;
use support::Place;
use support::Practice;
use support::Staff;
use support::in_danger;
use support::jpeg;
use support::no_danger;
use support::on_each_engine;
use support::with_temperature;
use support::with_words;

mod support;

const ANSWER: &str = "The wound looks as I expect. Send a photo tomorrow.";

/// An enrolment form as the office fills it in.
fn enrolment<'a>(surgeon: &'a str, key: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("enrol_key", key),
        ("name", "Inés Example"),
        ("born", "1980-02-03"),
        ("phone", "202-555-0143"),
        ("language", "es"),
        ("site", "thigh"),
        ("side", "left"),
        ("procedure", "abscess drained"),
        ("surgeon", surgeon),
        ("operated", "2026-03-09T14:30"),
        ("strips", "placed"),
        ("strip_pieces", "1"),
        ("strip_length", "24"),
        ("strip_unit", "in"),
        ("line", "none"),
        ("blood_thinner", "no"),
    ]
}

/// A patient who sent one check with these answers; the surgeon finds it in the queue.
async fn one_check(
    practice: &Practice,
    name: &str,
    answers: closewatch::triage::Answers,
) -> (Patient, WoundCheckId) {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let patient = office.enrols(name, &surgeon).await;
    let receipt = patient.opens_link().await.sends("form", answers, &[jpeg(1)]).await;
    (patient, receipt.check)
}

async fn open_callback(practice: &Practice) -> CallbackId {
    callbacks::open(&mut *practice.books().await, practice.id).await.unwrap()[0].id
}

async fn actions(practice: &Practice) -> Vec<String> {
    let lines = audit::newest(&mut *practice.books().await, practice.id, 1_000).await.unwrap();
    lines.into_iter().map(|line| line.action).collect()
}

// Enrolment

#[tokio::test]
async fn the_office_enrols_and_sees_the_pin_once_and_the_sheet_prints_from_it() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let opened = office.opens("/patients/new").await;
        let key = opened.is_fine().field("enrol_key").unwrap();
        assert_eq!(key.len(), 32);
        let id = surgeon.member.id.to_string();
        let made = office.presses("/patients", &enrolment(&id, &key)).await;
        made.must_say("This page is shown once.").must_say("Inés Example").must_say("Left thigh");
        let (token, code, pin) =
            (made.field("token").unwrap(), made.field("code").unwrap(), made.field("pin").unwrap());
        assert_eq!(pin.len(), 6);
        made.must_say(&format!("PIN, to read answers {pin}"));
        made.must_say("wounds.example/go").must_say(&format!("https://wounds.example/k/{token}"));

        let secrets = [("token", token.as_str()), ("code", &code), ("pin", &pin), ("paper", "a4")];
        let sheet = office.presses("/links/sheet", &secrets).await;
        assert_eq!(sheet.headers[header::CONTENT_TYPE], "application/pdf");
        assert!(sheet.body.starts_with(b"%PDF"));
        let wrong_pin = [("token", token.as_str()), ("code", &code), ("pin", "000000")];
        assert_eq!(office.presses("/links/sheet", &wrong_pin).await.status, StatusCode::NOT_FOUND);

        // The same form again enrols nobody and shows no secret.
        let again = office.presses("/patients", &enrolment(&id, &key)).await;
        assert!(again.leads_to().starts_with("/patients/"), "{}", again.leads_to());
        let chart = office.opens(again.leads_to()).await;
        chart.must_say("Inés Example").must_say("patient issued 11:00, not used yet").must_not_say(&pin);
        // 24 inches of 2.54 cm.
        chart.must_say("1 strip, 61 cm in all");
    })
    .await;
}

#[tokio::test]
async fn an_enrolment_with_faults_comes_back_whole_and_says_each() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let id = surgeon.member.id.to_string();
    let mut typed = enrolment(&id, "key");
    typed.retain(|(field, _)| !["born", "strips", "side"].contains(field));
    typed.push(("allergies", "penicillin <hives>"));
    let back = office.presses("/patients", &typed).await;
    assert_eq!(back.status, StatusCode::UNPROCESSABLE_ENTITY);
    back.must_say("Nobody is enrolled yet.")
        .must_say("Enter the date of birth: year, month and day.")
        .must_say("Choose the side, or middle.")
        .must_say("Say whether a gauze strip was left in the wound.");
    assert_eq!(back.field("name").as_deref(), Some("Inés Example"));
    assert_eq!(back.field("allergies").as_deref(), Some("penicillin <hives>"));
    assert_eq!(back.field("enrol_key").as_deref(), Some("key"));
    assert_eq!(back.field("operated").as_deref(), Some("2026-03-09T14:30"));
}

#[tokio::test]
async fn an_operation_time_that_the_clocks_skipped_is_refused_in_words() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let id = surgeon.member.id.to_string();
    let mut typed = enrolment(&id, "key");
    // New York's clocks went forward at 2:00 on 8 March 2026 (IANA time zone database).
    typed.retain(|(field, _)| *field != "operated");
    typed.push(("operated", "2026-03-08T02:30"));
    let back = office.presses("/patients", &typed).await;
    assert_eq!(back.status, StatusCode::UNPROCESSABLE_ENTITY);
    back.must_say("The clocks went forward that night");
    assert_eq!(back.field("operated").as_deref(), Some("2026-03-08T02:30"));
}

#[tokio::test]
async fn a_size_that_cannot_be_is_said_beside_the_field_it_was_typed_into() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let id = surgeon.member.id.to_string();
    let mut typed = enrolment(&id, "key");
    typed.extend([("length_mm", "4000"), ("width_mm", "20")]);
    let back = office.presses("/patients", &typed).await;
    back.must_say("Length, width and depth are in millimetres, from 1 to 500.");
    assert!(back.html().contains("id=\"length_mm-fault\""));
}

// The queue

#[tokio::test]
async fn the_queue_ranks_and_says_why_in_words() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        surgeon.opens("/queue").await.must_say("Nobody waits.");
        let calm = office.enrols("Calm Carter", &surgeon).await;
        calm.opens_link().await.sends("a", no_danger(), &[]).await;
        let feverish = office.enrols("Feverish Ford", &surgeon).await;
        feverish.opens_link().await.sends("b", with_temperature(390), &[]).await;
        let gasping = office.enrols("Gasping Grant", &surgeon).await;
        gasping.opens_link().await.sends("c", in_danger(), &[]).await;

        let queue = surgeon.opens("/queue").await;
        queue
            .must_say("3 checks wait")
            .must_say("Go now")
            .must_say("temperature 39.0 °C")
            .must_say("First check");
        queue.must_say("Left buttock · day 4");
        let words = queue.words();
        let place = |name: &str| words.find(name).unwrap_or_else(|| panic!("{name} is not in the queue"));
        assert!(place("Gasping Grant") < place("Feverish Ford"));
        assert!(place("Feverish Ford") < place("Calm Carter"));

        surgeon.opens("/queue?name=ford").await.must_say("Feverish Ford").must_not_say("Calm Carter");
        surgeon.opens("/queue?class=go_now").await.must_say("Gasping Grant").must_not_say("Calm Carter");
        surgeon.opens("/queue?name=nobody").await.must_say("Nothing waits that fits.");
        let fragment = surgeon.opens("/queue?fragment=1").await;
        fragment.must_say("Calm Carter").must_not_say("Sign out");
    })
    .await;
}

#[tokio::test]
async fn an_overdue_check_is_shown_in_the_class_it_is_read_in() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (_, check) = one_check(&practice, "Late Lopez", with_temperature(383)).await;
    let due = checks::find(&mut *practice.books().await, practice.id, check).await.unwrap().unwrap();
    assert_eq!(due.assessment.urgency, Urgency::Today);
    let surgeon = practice.surgeon().await;
    surgeon.opens("/queue?class=today").await.must_say("Late Lopez");
    practice.app.clock.pass(due.due.duration_since(practice.now()) + jiff::SignedDuration::from_mins(1));
    let surgeon = Staff::signs_in(&practice, surgeon.member).await;
    let queue = surgeon.opens("/queue").await;
    queue.must_say("Ring within the hour overdue, was Today");
    surgeon.opens("/queue?class=ring_now").await.must_say("Late Lopez");
    surgeon.opens("/queue?class=today").await.must_not_say("Late Lopez");
}

#[tokio::test]
async fn a_row_says_what_changed_who_asked_and_which_photos_are_still_to_come() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (patient, first) = one_check(&practice, "Tess Turner", no_danger()).await;
    let surgeon = practice.surgeon().await;
    surgeon.decides(first, Decision::HealingAsExpected, ANSWER).await.unwrap();
    let phone = patient.opens_link().await;
    let sending = closewatch::care::intake::Sending {
        form_key: "second".to_owned(),
        answers: with_temperature(390),
        photos_expected: 2,
    };
    let holder = phone.holder().await;
    closewatch::care::intake::receive(practice.desk(), &holder, sending, Vec::new(), &practice.moment())
        .await
        .unwrap();
    closewatch::care::thread::ask(practice.desk(), &holder, "q", "May I swim?", &practice.moment())
        .await
        .unwrap();
    let queue = surgeon.opens("/queue").await;
    queue
        .must_say("Up: was")
        .must_say("Asked a question")
        .must_say("2 of 2 photos still to come")
        .must_say("no photo");
}

#[tokio::test]
async fn a_name_with_marks_in_it_is_shown_as_typed_and_runs_nothing() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    one_check(&practice, "<script>alert(1)</script> \u{202e}O'Brien", no_danger()).await;
    let surgeon = practice.surgeon().await;
    let queue = surgeon.opens("/queue").await;
    queue.must_say("<script>alert(1)</script>");
    assert!(!queue.html().contains("<script>alert"));
}

// Opening and claiming

#[tokio::test]
async fn opening_a_check_claims_it_and_the_other_surgeon_is_told_by_whom() {
    on_each_engine(async |practice| {
        let (_, check) = one_check(&practice, "Una Usher", with_temperature(390)).await;
        let rosa = practice.surgeon().await;
        let ben = practice.staff("Dr. Ben Ode", Roles { surgeon: true, ..Roles::default() }).await;
        let opened = rosa.presses(&format!("/checks/{check}/open"), &[]).await;
        assert_eq!(opened.leads_to(), format!("/checks/{check}"));
        let page = rosa.opens(opened.leads_to()).await;
        page.must_say("Una Usher")
            .must_say("Yours until 11:15")
            .must_say("39.0 °C")
            .must_say("Send answer and close");

        ben.opens("/queue").await.must_say("Dr. Rosa Lind has it until 11:15");
        let refused = ben.presses(&format!("/checks/{check}/open"), &[]).await;
        assert_eq!(refused.status, StatusCode::CONFLICT);
        refused.must_say("Somebody else is looking at this check").must_say("Dr. Rosa Lind");
        let read_only = ben.opens(&format!("/checks/{check}")).await;
        read_only.must_say("Dr. Rosa Lind has this check until 11:15").must_not_say("Send answer and close");

        // What was typed meanwhile is not lost.
        let typed = [("decision", "healing_as_expected"), ("reply", "Typed in vain.")];
        let late = ben.presses(&format!("/checks/{check}/decide"), &typed).await;
        assert_eq!(late.status, StatusCode::CONFLICT);
        late.must_say("Nothing of yours was sent.").must_say("Typed in vain.");

        let released = rosa.presses(&format!("/checks/{check}/release"), &[]).await;
        assert_eq!(released.leads_to(), "/queue");
        assert!(ben.presses(&format!("/checks/{check}/open"), &[]).await.status.is_redirection());
    })
    .await;
}

#[tokio::test]
async fn a_claim_nobody_used_is_free_after_fifteen_minutes() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (_, check) = one_check(&practice, "Vic Vance", no_danger()).await;
    let (rosa, ben) = (practice.surgeon().await, practice.surgeon().await);
    rosa.presses(&format!("/checks/{check}/open"), &[]).await.is_fine();
    practice.minutes_pass(14);
    assert_eq!(ben.presses(&format!("/checks/{check}/open"), &[]).await.status, StatusCode::CONFLICT);
    practice.minutes_pass(1);
    assert!(ben.presses(&format!("/checks/{check}/open"), &[]).await.status.is_redirection());
}

// Deciding

#[tokio::test]
async fn one_press_sends_the_answer_closes_the_check_and_writes_the_record() {
    on_each_engine(async |practice| {
        let (patient, check) = one_check(&practice, "Wanda Wu", with_temperature(379)).await;
        let surgeon = practice.surgeon().await;
        surgeon.presses(&format!("/checks/{check}/open"), &[]).await.is_fine();
        let page = surgeon.opens(&format!("/checks/{check}")).await;
        // The practice's text for this decision, its known blanks filled in.
        page.must_say("Answer to the patient, in English").must_say("Healing as expected");
        assert!(page.html().contains("the way I expect on day 4."), "the day is filled in");
        assert!(page.html().contains("Call us at 202-555-0100"), "the phone is filled in");

        let typed = [("decision", "healing_as_expected"), ("reply", ANSWER), ("note", "calm")];
        let sent = surgeon.presses(&format!("/checks/{check}/decide"), &typed).await;
        assert_eq!(sent.leads_to(), "/queue");
        surgeon.opens("/queue").await.must_say("Nobody waits.");

        let mut books = practice.books().await;
        let kept = checks::find(&mut books, practice.id, check).await.unwrap().unwrap();
        assert_eq!(kept.state, CheckState::Closed);
        let messages = thread::of_wound(&mut books, practice.id, patient.enrolled.wound.id).await.unwrap();
        assert_eq!(messages.iter().map(|message| message.body.as_str()).collect::<Vec<_>>(), vec![ANSWER]);
        assert_eq!(reviews::of_check(&mut books, practice.id, check).await.unwrap().len(), 1);
        drop(books);
        let done = actions(&practice).await;
        for action in ["check.claim", "check.view", "check.decide"] {
            assert!(done.iter().any(|line| line == action), "{action} is not in the record");
        }
        let kept = surgeon.opens(&format!("/checks/{check}")).await;
        kept.must_say("Decided and closed.").must_say(ANSWER).must_say("For staff: calm");
    })
    .await;
}

#[tokio::test]
async fn a_decision_with_faults_keeps_everything_that_was_typed() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (_, check) = one_check(&practice, "Xena Xu", no_danger()).await;
    let surgeon = practice.surgeon().await;
    let path = format!("/checks/{check}/decide");

    let typed =
        [("decision", "come_in"), ("reply", "Come on {come_in}. Bring {papers}."), ("note", "my note")];
    let back = surgeon.presses(&path, &typed).await;
    assert_eq!(back.status, StatusCode::UNPROCESSABLE_ENTITY);
    back.must_say("Not sent yet.")
        .must_say("Say when the patient should come in.")
        .must_say("Come on {come_in}. Bring {papers}.")
        .must_say("my note");
    assert!(back.html().contains("value=\"come_in\" data-leads-to=\"calls\" data-key=\"4\" checked"));

    let nothing_chosen = surgeon.presses(&path, &[("reply", "Only words")]).await;
    nothing_chosen.must_say("Choose what you decide.").must_say("Only words");
    let no_words = surgeon.presses(&path, &[("decision", "healing_as_expected")]).await;
    no_words.must_say("Write an answer, or choose one of the practice's replies.");
    let blank =
        surgeon.presses(&path, &[("decision", "antibiotic"), ("reply", "I sent it to {pharmacy}.")]).await;
    assert_eq!(blank.status, StatusCode::UNPROCESSABLE_ENTITY);
    blank.must_say("Fill in the blank {pharmacy} in the answer.");
}

#[tokio::test]
async fn come_in_fills_the_visit_into_the_answer_and_hands_the_call_to_the_office() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (patient, check) = one_check(&practice, "Yara Young", no_danger()).await;
    let (surgeon, office) = (practice.surgeon().await, practice.office().await);
    let typed = [
        ("decision", "come_in"),
        ("come_in", "2026-03-11T09:30"),
        ("reply", "Please come in on {come_in}."),
        ("ask", "Can somebody drive you?\nAny fever?"),
    ];
    assert_eq!(surgeon.presses(&format!("/checks/{check}/decide"), &typed).await.leads_to(), "/queue");
    let messages =
        thread::of_wound(&mut *practice.books().await, practice.id, patient.enrolled.wound.id).await.unwrap();
    assert_eq!(messages[0].body, "Please come in on Wednesday, March 11 at 9:30.");
    let list = office.opens("/callbacks").await;
    list.must_say("1 call to make").must_say("Yara Young").must_say("202-555-0143").must_say("Come in");
    let id = open_callback(&practice).await;
    let call = office.opens(&format!("/callbacks/{id}")).await;
    call.must_say("Can somebody drive you?")
        .must_say("Any fever?")
        .must_say("Visit: tomorrow at 9:30")
        .must_say("Please come in on Wednesday, March 11 at 9:30.")
        .must_say("speaks English");
    assert!(call.html().contains("href=\"tel:202-555-0143\""));
}

#[tokio::test]
async fn a_reply_text_can_be_chosen_without_a_script_and_stands_in_the_patients_language() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let id = surgeon.member.id.to_string();
    let made = office.presses("/patients", &enrolment(&id, "key")).await;
    let token = made.field("token").unwrap();
    let knock = closewatch::care::knock::knock(practice.desk(), &token, &practice.moment()).await.unwrap();
    let closewatch::care::knock::Knock::Open { token, .. } = knock else { panic!("the link is closed") };
    let holder = closewatch::care::knock::holder(practice.desk(), token.reveal(), practice.now())
        .await
        .unwrap()
        .unwrap();
    let sending = closewatch::care::intake::Sending {
        form_key: "k".to_owned(),
        answers: no_danger(),
        photos_expected: 0,
    };
    let receipt =
        closewatch::care::intake::receive(practice.desk(), &holder, sending, Vec::new(), &practice.moment())
            .await
            .unwrap();
    let check = receipt.check;
    let page = surgeon.opens(&format!("/checks/{check}")).await;
    page.must_say("in Español").must_say("No readable photo came with this check");
    let html = page.html();
    let start = html.find(&format!("/checks/{check}?reply=")).expect("a text can be chosen by a link");
    let link = html[start..].split(['"', '#']).next().unwrap().to_owned();
    let begun = surgeon.opens(&link).await;
    begun.must_say("La herida se ve como espero en el día 1.").must_say("Llámenos al 202-555-0100");
    assert!(
        begun
            .html()
            .contains("value=\"healing_as_expected\" data-leads-to=\"closes\" data-key=\"1\" checked")
    );
}

#[tokio::test]
async fn a_check_decided_by_somebody_else_is_shown_as_it_stands() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (_, check) = one_check(&practice, "Zoe Zane", no_danger()).await;
    let (rosa, ben) = (practice.surgeon().await, practice.surgeon().await);
    rosa.decides(check, Decision::HealingAsExpected, ANSWER).await.unwrap();
    let typed = [("decision", "antibiotic"), ("reply", "Take this.")];
    let late = ben.presses(&format!("/checks/{check}/decide"), &typed).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    late.must_say("Nothing of yours was sent. Decided and closed.")
        .must_say("Healing as expected — Dr. Rosa Lind")
        .must_say("Take this.");
    assert_eq!(reviews::of_check(&mut *practice.books().await, practice.id, check).await.unwrap().len(), 1);
}

#[tokio::test]
async fn the_review_marks_what_changed_and_tells_what_is_unknown() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (patient, first) = one_check(&practice, "Abe Adams", with_temperature(371)).await;
    let surgeon = practice.surgeon().await;
    surgeon.decides(first, Decision::HealingAsExpected, ANSWER).await.unwrap();
    practice.minutes_pass(10);
    let second = patient.opens_link().await.sends("second", with_temperature(386), &[jpeg(2)]).await;
    let page = surgeon.opens(&format!("/checks/{}", second.check)).await;
    page.must_say("1 changed since the check before")
        .must_say("Temperature 38.6 °C (101.5 °F) was 37.1 °C (98.8 °F)")
        .must_say("temperature 38.6 °C")
        .must_say("Asked, not known, could raise it")
        .must_say("To Go now: weak immunity look it up")
        .must_say("(> 38.5 °C)")
        .must_say("the check before")
        .must_say("Source, confidence")
        .must_say("diabetes")
        .must_say("not reported all out");
    page.must_say("Day 4").must_say("Healing as expected");
}

#[tokio::test]
async fn an_amended_form_is_said_to_be_amended() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (patient, check) = one_check(&practice, "Bea Bond", no_danger()).await;
    practice.minutes_pass(3);
    patient.opens_link().await.sends("form", with_words("It bled at night."), &[]).await;
    let page = practice.surgeon().await.opens(&format!("/checks/{check}")).await;
    page.must_say("Form sent again 11:03: changed")
        .must_say("In their own words")
        .must_say("It bled at night.");
}

// Photos

#[tokio::test]
async fn a_surgeon_gets_a_photo_with_safe_headers_and_the_look_is_recorded() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (_, check) = one_check(&practice, "Cy Cole", no_danger()).await;
    let photo = photos::of_check(&mut *practice.books().await, practice.id, check).await.unwrap()[0].id;
    let surgeon = practice.surgeon().await;
    let full = surgeon.opens(&format!("/photos/{photo}/full")).await;
    assert_eq!(full.status, StatusCode::OK);
    assert_eq!(full.headers[header::CONTENT_TYPE], "image/jpeg");
    assert_eq!(full.headers[header::CACHE_CONTROL], "no-store");
    assert_eq!(full.headers[header::CONTENT_DISPOSITION], format!("inline; filename=\"wound-{photo}.jpg\""));
    assert_eq!(full.headers["x-content-type-options"], "nosniff");
    assert!(full.body.starts_with(&[0xff, 0xd8]));
    assert!(actions(&practice).await.iter().any(|action| action == "photo.view"));
    assert_eq!(surgeon.opens(&format!("/photos/{photo}/huge")).await.status, StatusCode::NOT_FOUND);
    assert_eq!(surgeon.opens("/photos/none/full").await.status, StatusCode::NOT_FOUND);
}

// Callbacks

/// A check handed to the office with this decision.
async fn handed_over(
    practice: &Practice,
    answers: closewatch::triage::Answers,
    decision: Decision,
) -> CallbackId {
    let (_, check) = one_check(practice, "Dee Dunn", answers).await;
    practice.surgeon().await.decides(check, decision, "").await.unwrap();
    open_callback(practice).await
}

#[tokio::test]
async fn two_missed_tries_keep_a_call_open_and_raise_it_and_only_then_can_it_be_given_up() {
    on_each_engine(async |practice| {
        let id = handed_over(&practice, with_temperature(383), Decision::CallByOffice).await;
        let office = practice.office().await;
        let path = format!("/callbacks/{id}");
        office.opens("/callbacks").await.must_say("Today");
        office.presses(&format!("{path}/attempts"), &[("result", "no_answer")]).await.is_fine();
        let too_soon = office.presses(&format!("{path}/could-not-reach"), &[]).await;
        assert_eq!(too_soon.status, StatusCode::UNPROCESSABLE_ENTITY);
        too_soon.must_say("Try at least twice, ten minutes apart, before you give up.");
        practice.minutes_pass(10);
        office
            .presses(&format!("{path}/attempts"), &[("result", "message_left"), ("note", "voicemail")])
            .await;
        let call = office.opens(&path).await;
        call.must_say("2 tries missed").must_say("Ring within the hour").must_say("voicemail");
        let given_up = office.presses(&format!("{path}/could-not-reach"), &[]).await;
        assert_eq!(given_up.leads_to(), "/callbacks");
        office.opens("/callbacks").await.must_say("Could not reach; back with the surgeon");
        practice.surgeon().await.opens("/queue").await.must_say("Dee Dunn");
    })
    .await;
}

#[tokio::test]
async fn a_call_about_an_emergency_cannot_end_as_could_not_reach() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let id = handed_over(&practice, in_danger(), Decision::GoToEmergency).await;
    let office = practice.office().await;
    let path = format!("/callbacks/{id}");
    let call = office.opens(&path).await;
    call.must_say("This call is about an emergency.");
    assert!(!call.html().contains("could-not-reach"), "giving up is not offered");
    for _ in 0..3 {
        office.presses(&format!("{path}/attempts"), &[("result", "no_answer")]).await.is_fine();
        practice.minutes_pass(12);
    }
    let refused = Staff::signs_in(&practice, office.member.clone())
        .await
        .presses(&format!("{path}/could-not-reach"), &[])
        .await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    refused.must_say("it stays open until somebody has spoken with the patient");
    let unsettled = [("result", "spoke"), ("outcome", "could_not_reach")];
    office.presses(&format!("{path}/attempts"), &unsettled).await;
    assert_eq!(open_callback(&practice).await, id);
}

#[tokio::test]
async fn speaking_with_the_patient_ends_the_call_and_closes_the_check() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let id = handed_over(&practice, no_danger(), Decision::CallByOffice).await;
    let office = practice.office().await;
    let nothing = office.presses(&format!("/callbacks/{id}/attempts"), &[("note", "typed")]).await;
    assert_eq!(nothing.status, StatusCode::UNPROCESSABLE_ENTITY);
    nothing.must_say("Choose how the call went.").must_say("typed");
    let spoke = [("result", "spoke"), ("outcome", "visit_booked"), ("note", "Thursday at nine")];
    assert_eq!(office.presses(&format!("/callbacks/{id}/attempts"), &spoke).await.leads_to(), "/callbacks");
    office.opens("/callbacks").await.must_say("Nobody is to be called.").must_say("Visit booked");
    let again = office.presses(&format!("/callbacks/{id}/attempts"), &spoke).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
}

#[tokio::test]
async fn a_call_handed_back_stands_in_the_review_with_the_offices_words() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let id = handed_over(&practice, no_danger(), Decision::CallByOffice).await;
    let office = practice.office().await;
    let silent = office.presses(&format!("/callbacks/{id}/hand-back"), &[("why", "  ")]).await;
    assert_eq!(silent.status, StatusCode::UNPROCESSABLE_ENTITY);
    silent.must_say("Say in a few words why the surgeon should look again.");
    let words = [("why", "Her daughter says she shivers.")];
    assert_eq!(office.presses(&format!("/callbacks/{id}/hand-back"), &words).await.leads_to(), "/callbacks");
    let check = callbacks::find(&mut *practice.books().await, practice.id, id).await.unwrap().unwrap().check;
    let surgeon = practice.surgeon().await;
    surgeon.opens("/queue").await.must_say("Dee Dunn");
    let review = surgeon.opens(&format!("/checks/{check}")).await;
    review.must_say("The office handed this back").must_say("Her daughter says she shivers.");
    review.must_say("Send answer and close");
}

// Patients and links

#[tokio::test]
async fn the_silent_are_named_and_found_by_name() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    office.enrols("José Núñez", &surgeon).await;
    practice.minutes_pass(60 * 24 * 3);
    let office = Staff::signs_in(&practice, office.member).await;
    let found = office.opens("/patients?name=jose+nu").await;
    found.must_say("José Núñez").must_say("day 7").must_say("no check yet").must_say("Silent for 3 days");
    office.opens("/patients?name=zz").await.must_say("Nobody by that name.");
}

#[tokio::test]
async fn another_link_is_shown_once_and_a_revoked_one_opens_nothing() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let patient = office.enrols("Eve Ely", &surgeon).await;
    let (wound, chart) = (patient.enrolled.wound.id, format!("/patients/{}", patient.enrolled.patient.id));
    let unnamed = office.presses(&format!("/wounds/{wound}/links"), &[("link_name", " ")]).await;
    assert_eq!(unnamed.status, StatusCode::UNPROCESSABLE_ENTITY);
    unnamed.must_say("Say whose link it is");
    let made = office.presses(&format!("/wounds/{wound}/links"), &[("link_name", "daughter Ana")]).await;
    made.must_say("link for “daughter Ana”").must_say("This page is shown once.");
    office.opens(&chart).await.must_say("daughter Ana issued 11:00, not used yet");

    let first = patient.issued.link.id;
    assert_eq!(office.presses(&format!("/links/{first}/revoke"), &[]).await.leads_to(), chart);
    office.opens(&chart).await.must_say("revoked 11:00");
    let kept = links::find(&mut *practice.books().await, practice.id, first).await.unwrap().unwrap();
    assert!(kept.revoked.is_some());
}

#[tokio::test]
async fn the_office_sees_the_patient_but_not_the_checks_and_a_surgeon_sees_both() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (patient, check) = one_check(&practice, "Flo Finn", no_danger()).await;
    let chart = format!("/patients/{}", patient.enrolled.patient.id);
    let office = practice.office().await.opens(&chart).await;
    office.must_say("Flo Finn").must_say("Issue a link");
    assert!(!office.html().contains("/checks/"));
    let surgeon = practice.surgeon().await.opens(&chart).await;
    surgeon.must_not_say("Issue a link");
    assert!(surgeon.html().contains(&format!("/checks/{check}")));
    assert!(actions(&practice).await.iter().any(|action| action == "patient.view"));
}

// The practice

#[tokio::test]
async fn a_lead_adds_a_member_switches_them_off_and_their_session_ends_at_once() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (lead, surgeon) = (practice.lead().await, practice.surgeon().await);
    let short = [("name", "Kay Kern"), ("sign_in_name", "kay"), ("password", "short"), ("office", "1")];
    let back = lead.presses("/practice/staff", &short).await;
    assert_eq!(back.status, StatusCode::UNPROCESSABLE_ENTITY);
    back.must_say("Use at least 15 characters.");
    assert_eq!(back.field("name").as_deref(), Some("Kay Kern"));
    let long =
        [("name", "Kay Kern"), ("sign_in_name", "kay"), ("password", "four words in a row"), ("office", "1")];
    assert_eq!(lead.presses("/practice/staff", &long).await.leads_to(), "/practice/staff");
    lead.opens("/practice/staff").await.must_say("Kay Kern").must_say("signs in as kay · office");

    let id = surgeon.member.id;
    lead.presses(&format!("/practice/staff/{id}/off"), &[]).await.is_fine();
    lead.opens("/practice/staff").await.must_say("cannot sign in");
    assert_eq!(surgeon.opens("/queue").await.leads_to(), "/sign-in");
    lead.presses(&format!("/practice/staff/{id}/on"), &[]).await.is_fine();
    Staff::signs_in(&practice, surgeon.member).await.opens("/queue").await.must_say("Nobody waits.");
    let me = lead.member.id;
    let myself = lead.presses(&format!("/practice/staff/{me}/off"), &[]).await;
    assert_eq!(myself.status, StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn a_lead_changes_a_reply_in_both_languages_and_reads_the_record() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let lead = practice.lead().await;
    lead.opens("/practice/replies").await.must_say("Healing as expected").must_say("Vi su foto");
    let half = [("decision", "another_photo"), ("title", "Closer"), ("body_en", "Come closer.")];
    let back = lead.presses("/practice/replies", &half).await;
    assert_eq!(back.status, StatusCode::UNPROCESSABLE_ENTITY);
    back.must_say("Write the reply in both languages").must_say("Come closer.");
    let whole = [half[0], half[1], half[2], ("body_es", "Acérquese.")];
    assert_eq!(lead.presses("/practice/replies", &whole).await.leads_to(), "/practice/replies");
    lead.opens("/practice/replies").await.must_say("Closer").must_say("Acérquese.");
    lead.opens("/practice/record")
        .await
        .must_say("Lee Park changed reply text")
        .must_say("Lee Park signed in");
    lead.opens("/practice").await.must_say("Harbor Surgery").must_say("Go now 10 minutes");
}

// Who may enter

fn is_refused(page: &Page) -> bool {
    page.status == StatusCode::FORBIDDEN && page.says("Not part of your role")
}

#[tokio::test]
async fn the_office_sees_no_photo_and_no_check_and_a_lead_sees_no_patient() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (patient, check) = one_check(&practice, "Gus Gray", no_danger()).await;
    let photo = photos::of_check(&mut *practice.books().await, practice.id, check).await.unwrap()[0].id;
    let (office, lead) = (practice.office().await, practice.lead().await);
    for path in [
        format!("/photos/{photo}/small"),
        format!("/photos/{photo}/full"),
        format!("/checks/{check}"),
        "/queue".to_owned(),
        "/queue/stream".to_owned(),
        "/practice".to_owned(),
    ] {
        assert!(is_refused(&office.opens(&path).await), "{path}");
    }
    for path in
        ["/queue".to_owned(), "/callbacks".to_owned(), format!("/patients/{}", patient.enrolled.patient.id)]
    {
        assert!(is_refused(&lead.opens(&path).await), "{path}");
    }
    let surgeon = practice.surgeon().await;
    assert!(is_refused(&surgeon.opens("/patients/new").await));
    assert!(is_refused(&surgeon.presses("/patients", &[]).await));
}

#[tokio::test]
async fn another_practices_rows_are_nowhere() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let id = handed_over(&practice, no_danger(), Decision::CallByOffice).await;
    let callback = callbacks::find(&mut *practice.books().await, practice.id, id).await.unwrap().unwrap();
    let photo =
        photos::of_check(&mut *practice.books().await, practice.id, callback.check).await.unwrap()[0].id;
    let wound = callback.wound;
    let link = links::of_wound(&mut *practice.books().await, practice.id, wound).await.unwrap()[0].id;
    let office = practice.office().await;
    let patient = office.opens("/patients").await;
    let html = patient.html();
    let chart = html[html.find("href=\"/patients/0").unwrap() + 6..].split('"').next().unwrap().to_owned();

    let neighbour = practice.neighbour().await;
    let everything = Roles { surgeon: true, office: true, lead: true };
    let stranger = neighbour.staff("Dr. Elsewhere", everything).await;
    let check = callback.check;
    for path in [
        format!("/checks/{check}"),
        format!("/photos/{photo}/small"),
        format!("/photos/{photo}/full"),
        format!("/callbacks/{id}"),
        chart,
    ] {
        assert_eq!(stranger.opens(&path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
    let someone = practice.lead().await.member.id;
    for path in [
        format!("/checks/{check}/open"),
        format!("/checks/{check}/release"),
        format!("/checks/{check}/decide"),
        format!("/callbacks/{id}/could-not-reach"),
        format!("/wounds/{wound}/links"),
        format!("/links/{link}/revoke"),
        format!("/practice/staff/{someone}/off"),
    ] {
        let fields = [("decision", "healing_as_expected"), ("reply", ANSWER), ("link_name", "me")];
        assert_eq!(stranger.presses(&path, &fields).await.status, StatusCode::NOT_FOUND, "{path}");
    }
    let attempt = [("result", "no_answer"), ("why", "no reason")];
    for path in [format!("/callbacks/{id}/attempts"), format!("/callbacks/{id}/hand-back")] {
        assert_eq!(stranger.presses(&path, &attempt).await.status, StatusCode::NOT_FOUND, "{path}");
    }
    stranger.opens("/queue").await.must_say("Nobody waits.");
    stranger.opens("/callbacks").await.must_say("Nobody is to be called.");
    stranger.opens("/patients").await.must_say("Nobody is enrolled yet.");
}

#[tokio::test]
async fn a_form_sent_after_the_session_ended_is_kept_over_the_sign_in() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (_, check) = one_check(&practice, "Hal Hart", no_danger()).await;
    let surgeon = practice.surgeon().await;
    practice.app.clock.pass(IDLE_LIMIT);
    let path = format!("/checks/{check}/decide");
    let typed = [("decision", "healing_as_expected"), ("reply", ANSWER)];
    let out = surgeon.presses(&path, &typed).await;
    assert_eq!(out.status, StatusCode::UNAUTHORIZED);
    out.must_say("what you typed is kept");
    let (held_path, held_body) = (out.field("held_path").unwrap(), out.field("held_body").unwrap());
    let again = [
        ("sign_in_name", surgeon.member.sign_in_name.as_str()),
        ("password", support::PASSWORD),
        ("held_path", &held_path),
        ("held_body", &held_body),
    ];
    let back = surgeon.presses("/sign-in", &again).await;
    back.must_say("What you typed is still here");
    assert_eq!(back.field("reply").as_deref(), Some(ANSWER));
    let cookie = back.cookie().unwrap();
    let signed_in = Staff { cookie, ..surgeon };
    assert_eq!(signed_in.presses(&held_path, &typed).await.leads_to(), "/queue");
}

#[tokio::test]
async fn each_role_lands_on_its_own_page_and_sees_only_its_own_ways() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (surgeon, office, lead) = (practice.surgeon().await, practice.office().await, practice.lead().await);
    assert_eq!(surgeon.opens("/").await.leads_to(), "/queue");
    assert_eq!(office.opens("/").await.leads_to(), "/callbacks");
    assert_eq!(lead.opens("/").await.leads_to(), "/practice");
    surgeon.opens("/queue").await.must_say("A sorting aid for clinicians; it never diagnoses.");
    assert!(!office.opens("/callbacks").await.html().contains("href=\"/queue\""));
    assert!(!lead.opens("/practice").await.html().contains("href=\"/patients\""));
    surgeon.presses("/sign-out", &[]).await.is_fine();
    assert_eq!(surgeon.opens("/queue").await.leads_to(), "/sign-in");
}

#[tokio::test]
async fn a_page_that_reads_itself_again_does_not_keep_a_session_alive() {
    use axum::body::Body;
    use axum::http::Method;
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let surgeon = practice.surgeon().await;
    let by_itself = async || {
        let request = support::from_our_page(Method::GET, "/queue?fragment=1", &surgeon.cookie)
            .header("x-unattended", "1")
            .body(Body::empty())
            .unwrap();
        support::send(&practice.router, request).await
    };
    practice.minutes_pass(14);
    assert_eq!(by_itself().await.status, StatusCode::OK);
    practice.minutes_pass(1);
    assert_eq!(by_itself().await.leads_to(), "/sign-in");
}

// The live line

#[tokio::test]
async fn the_live_line_beats_tells_of_changes_and_ends_with_the_session() {
    use axum::body::Body;
    use axum::http::Method;
    use http_body_util::BodyExt;
    use tower::ServiceExt;
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let patient = office.enrols("Ida Ives", &surgeon).await;
    let phone = patient.opens_link().await;
    let request =
        support::from_our_page(Method::GET, "/queue/stream", &surgeon.cookie).body(Body::empty()).unwrap();
    let response = practice.router.clone().oneshot(request).await.unwrap();
    assert_eq!(response.headers()[header::CONTENT_TYPE], "text/event-stream");
    let mut line = response.into_body();
    let mut next = async || match line.frame().await {
        Some(frame) => String::from_utf8(frame.unwrap().into_data().unwrap().to_vec()).unwrap(),
        None => "ended".to_owned(),
    };
    assert!(next().await.starts_with("event: beat"));
    phone.sends("form", no_danger(), &[]).await;
    assert!(next().await.starts_with("event: changed"));
    // Another practice's news is not ours.
    let neighbour = practice.neighbour().await;
    let (far_office, far_surgeon) = (neighbour.office().await, neighbour.surgeon().await);
    let far = far_office.enrols("Far Away", &far_surgeon).await;
    far.opens_link().await.sends("form", no_danger(), &[]).await;
    surgeon.presses("/sign-out", &[]).await.is_fine();
    assert_eq!(next().await, "ended");
}

#[tokio::test]
async fn calls_are_listed_due_first_and_an_overdue_one_counts_higher() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    for (name, answers) in [("Slow Sam", no_danger()), ("Quick Quinn", in_danger())] {
        let patient = office.enrols(name, &surgeon).await;
        let check = patient.opens_link().await.sends("form", answers, &[]).await.check;
        surgeon.decides(check, Decision::CallByOffice, "").await.unwrap();
    }
    let words = office.opens("/callbacks").await.words();
    assert!(words.find("Quick Quinn").unwrap() < words.find("Slow Sam").unwrap());
    let calls = office.reads_callbacks().await;
    office.rings(&calls[0], CallResult::Spoke, Some(CallOutcome::WentToEmergency)).await.unwrap();
    let after = office.opens("/callbacks").await;
    after.must_say("1 call to make").must_say("Going to, or at, the emergency department");
}

// Figures

/// A surgeon's decision on a check, as the form sends it.
fn decision(judged: &str) -> [(&str, &str); 6] {
    [
        ("decision", "healing_as_expected"),
        ("reply", ANSWER),
        ("note", ""),
        ("come_in", ""),
        ("ask", ""),
        ("judged", judged),
    ]
}

#[tokio::test]
async fn a_surgeon_says_how_urgent_it_was_and_the_lead_reads_it_in_the_figures() {
    on_each_engine(async |practice| {
        let (_, check) = one_check(&practice, "Calm Carter", no_danger()).await;
        let (surgeon, lead) = (practice.surgeon().await, practice.lead().await);
        let review = surgeon.opens(&format!("/checks/{check}")).await;
        review.must_say("How urgent was it?").must_say("As the decision says");
        practice.minutes_pass(10);
        let decide = format!("/checks/{check}/decide");
        assert_eq!(surgeon.presses(&decide, &decision("ring_now")).await.leads_to(), "/queue");
        surgeon
            .opens(&format!("/checks/{check}"))
            .await
            .must_say("said how urgent it was: Ring within the hour");

        let page = lead.opens("/practice/figures").await;
        page.is_fine()
            .must_say("How well it ranks")
            .must_say("missed share of the urgent c/(a+c) = 1 − sensitivity too few to say (1 of 1)")
            .must_say("false share of the calm b/(b+d) = 1 − specificity too few to say (0 of 0)")
            .must_say("under-triage c/(c+d) and over-triage b/(a+b)")
            .must_say("How urgent it was: 1 said by the surgeon, 0 read from the decision")
            .must_say("1 of 1 counted checks were judged graver than they were assessed: too few to say.")
            .must_say("more urgent cases without another miss are needed")
            .must_say("10 min")
            .must_not_say("Calm Carter");
        let link = format!("href=\"/checks/{check}\"");
        assert!(!page.html().contains(&link), "a lead who is no surgeon cannot open the review");
        let theirs = surgeon.opens("/practice/figures?period=all").await;
        assert!(theirs.html().contains(&link));
        let lines = actions(&practice).await;
        assert_eq!(lines.iter().filter(|action| *action == "figures.view").count(), 2);
        lead.opens("/practice/record").await.must_say("looked at the figures of");
    })
    .await;
}

#[tokio::test]
async fn a_word_for_how_urgent_it_was_that_is_none_sends_nothing_and_loses_nothing() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (_, check) = one_check(&practice, "Calm Carter", no_danger()).await;
    let surgeon = practice.surgeon().await;
    let back = surgeon.presses(&format!("/checks/{check}/decide"), &decision("very")).await;
    assert_eq!(back.status, StatusCode::UNPROCESSABLE_ENTITY);
    back.must_say("Choose how urgent it was, or leave it to the decision.").must_say(ANSWER);
    let reviewed = reviews::of_check(&mut *practice.books().await, practice.id, check).await.unwrap();
    assert!(reviewed.is_empty());
}

#[tokio::test]
async fn the_figures_look_back_over_local_dates_and_count_what_is_overdue_and_open_as_late() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (_, check) = one_check(&practice, "Late Lopez", with_temperature(383)).await;
    let surgeon = practice.surgeon().await.member;
    let figures = async |path: &str| Staff::signs_in(&practice, surgeon.clone()).await.opens(path).await;
    let counts = "Today 0 0 0 0 1 – – too few to say";
    figures("/practice/figures").await.must_say("1 not answered and not yet due is").must_say(counts);
    // Received on a Tuesday at eleven; the thirtieth local date is the 8th of April.
    practice.minutes_pass(29 * 24 * 60 + 12 * 60);
    let late = "Today 1 0 0 1 0 29.5 d too few to say too few to say";
    figures("/practice/figures?period=30").await.must_say(late);
    practice.minutes_pass(60);
    figures("/practice/figures?period=30").await.must_say("by the practice’s own calendar: 0 .");
    figures("/practice/figures?period=90").await.must_say("by the practice’s own calendar: 1 .");
    figures("/practice/figures?period=nonsense").await.must_say("by the practice’s own calendar: 1 .");
    let open = checks::find(&mut *practice.books().await, practice.id, check).await.unwrap().unwrap();
    assert_eq!(open.state, CheckState::Queued);
}

#[tokio::test]
async fn each_table_goes_home_as_a_file_without_a_name_and_is_noted() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (patient, check) = one_check(&practice, "Calm Carter", no_danger()).await;
    let (surgeon, lead) = (practice.surgeon().await, practice.lead().await);
    surgeon.decides(check, Decision::Antibiotic, ANSWER).await.unwrap();
    let receipt =
        checks::find(&mut *practice.books().await, practice.id, check).await.unwrap().unwrap().receipt;
    let tables = [
        ("decisions", "decision,assessed_go_now_checks", "\r\nantibiotic,0,0,0,"),
        (
            "shares",
            "share,formula,hits_checks",
            "\r\nfalse share of the calm,b/(b+d),0,1,,,,too few to say\r\n",
        ),
        ("moved-up", "receipt,received_local_time,decision", receipt.as_str()),
        ("response-by-class", "class,answered_in_time_checks", "\r\ngo_now,0,0,0,0,,,,,,too few to say\r\n"),
        ("response-by-hour", "received_local_hour,answered_in_time_checks", "\r\n11,1,0,0,0,"),
    ];
    for (table, head, row) in tables {
        let file = lead.opens(&format!("/practice/figures/{table}.csv?period=30")).await;
        assert_eq!(file.status, StatusCode::OK, "{table}");
        assert_eq!(file.headers[header::CONTENT_TYPE], "text/csv; charset=utf-8; header=present");
        let named = file.headers[header::CONTENT_DISPOSITION].to_str().unwrap();
        assert_eq!(named, format!("attachment; filename=\"{table}-30-days-2026-03-10.csv\""));
        let text = file.html();
        assert!(text.starts_with(head) && text.contains(row) && text.ends_with("\r\n"), "{table}: {text}");
        let columns = text.lines().next().unwrap().split(',').count();
        assert!(text.lines().all(|line| line.split(',').count() == columns), "{table}: {text}");
        for secret in ["Carter", &patient.enrolled.patient.phone, "Mia"] {
            assert!(!text.contains(secret), "{table}: {text}");
        }
    }
    let lines = audit::newest(&mut *practice.books().await, practice.id, 1_000).await.unwrap();
    let taken: Vec<&str> = lines
        .iter()
        .filter(|line| line.action == "figures.download")
        .map(|line| line.detail.as_str())
        .rev()
        .collect();
    assert_eq!(taken.len(), tables.len());
    assert_eq!(taken[2], "table=moved-up period=30");
}
