//! What staff do in a day, through the doors they use, told by the words they see.

use axum::http::StatusCode;
use axum::http::header;

use closewatch::care::sign_in::IDLE_LIMIT;
use closewatch::ids::CallbackId;
use closewatch::store::callbacks;
use closewatch::store::links;
use closewatch::store::photos;
use closewatch::store::staff::Roles;
use closewatch::triage::CallOutcome;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;

use crate::support;
use crate::support::ANSWER;
use crate::support::Page;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::actions;
use crate::support::enrolment;
use crate::support::in_danger;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::one_check;
use crate::support::open_callback;
use crate::support::with_temperature;

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
    let spoke = [
        ("result", "spoke"),
        ("outcome", "visit_booked"),
        ("visit", "2026-03-12T09:00"),
        ("note", "Thursday at nine"),
    ];
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
    let extent = surgeon.opens(&format!("/checks/{check}")).await.field("extent").unwrap();
    practice.app.clock.pass(IDLE_LIMIT);
    let path = format!("/checks/{check}/decide");
    let typed = [("decision", "healing_as_expected"), ("reply", ANSWER), ("extent", &extent)];
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
    let half = surgeon.presses("/sign-in", &again).await;
    let cookie = half.cookie().unwrap();
    let code = support::app_seed().code_at(practice.now());
    let second = [
        ("code", code.as_str()),
        ("held_path", &half.field("held_path").unwrap()),
        ("held_body", &half.field("held_body").unwrap()),
    ];
    let back = Staff { cookie, ..surgeon.clone() }.presses("/prove/code", &second).await;
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
