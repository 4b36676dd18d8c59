//! What a surgeon does in a day: the queue, the review, the decision and the answer, told by the words they see.

use axum::http::StatusCode;
use axum::http::header;

use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::photos;
use closewatch::store::reviews;
use closewatch::store::staff::Roles;
use closewatch::store::thread;
use closewatch::triage::Decision;
use closewatch::triage::Urgency;

use crate::support::ANSWER;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::actions;
use crate::support::enrolment;
use crate::support::in_danger;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::one_check;
use crate::support::open_callback;
use crate::support::with_temperature;
use crate::support::with_words;

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
        let sent = surgeon.fills_in(check, &typed).await;
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
    assert_eq!(surgeon.fills_in(check, &typed).await.leads_to(), "/queue");
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
    let knock =
        closewatch::care::knock::knock(practice.desk(), &token, Default::default(), &practice.moment())
            .await
            .unwrap();
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

/// Taken on 9 March 2026 at 17:05:59 by its camera's clock, 18 hours before these days begin.
const TAKEN_BEFORE: &[u8] = include_bytes!("../truth/photo/full-of-metadata.jpg");

#[tokio::test]
async fn a_photo_that_was_sent_before_or_taken_long_ago_says_so_to_whoever_looks() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Olda Photo", &surgeon).await.opens_link().await;
        let first = phone.sends("one", no_danger(), &[TAKEN_BEFORE.to_vec()]).await;
        let page = surgeon.opens(&format!("/checks/{}", first.check)).await;
        page.must_not_say("not a new photo").must_not_say("by the camera’s clock");
        practice.minutes_pass(7 * 60);
        let surgeon = practice.surgeon().await;
        let again = phone.sends("two", no_danger(), &[TAKEN_BEFORE.to_vec(), jpeg(1)]).await;
        let page = surgeon.opens(&format!("/checks/{}", again.check)).await;
        page.must_say("the same file as on day 4 (11:00)").must_say("not a new photo");
        page.must_say("taken 1 day before it was sent, by the camera’s clock");
        // Another patient's photo is nobody else's business.
        let other = office.enrols("Una Other", &surgeon).await.opens_link().await;
        let theirs = other.sends("three", no_danger(), &[TAKEN_BEFORE.to_vec()]).await;
        surgeon.opens(&format!("/checks/{}", theirs.check)).await.must_not_say("not a new photo");
    })
    .await;
}
