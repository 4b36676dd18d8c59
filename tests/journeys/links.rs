//! Patient links through the doors: several for one wound, one in place of another, on somebody else's phone, with the wrong
//! initials, after their end, and after the office closed them.

use axum::http::StatusCode;
use data_encoding::HEXLOWER;
use jiff::SignedDuration;
use sha2::Digest;
use sha2::Sha256;

use closewatch::care::enrol;
use closewatch::care::enrol::IssuedLink;
use closewatch::care::late_knock;
use closewatch::care::phones;
use closewatch::ids::LinkId;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::links;
use closewatch::store::notices::NoticeKind;
use closewatch::triage::Urgency;

use crate::support;
use crate::support::Page;
use crate::support::Patient;
use crate::support::Phone;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::presses;

const ANY_CHECK: &[(&str, &str)] =
    &[("form_key", "any"), ("danger", "none"), ("words", "It itches a little.")];

async fn a_patient(practice: &Practice) -> (Staff, Patient) {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let patient = office.enrols("Ana María Ortiz", &surgeon).await;
    (office, patient)
}

/// Opens a link as a browser does, with what was filled in at the door.
async fn knocks(practice: &Practice, token: &str, said: &[(&str, &str)]) -> Page {
    presses(practice, &format!("/k/{token}"), "", said).await
}

/// A phone that came in so.
async fn comes_in(patient: &Patient, issued: &IssuedLink, said: &[(&str, &str)]) -> Phone {
    let page = knocks(&patient.practice, issued.token.reveal(), said).await;
    let cookie = page.cookie().unwrap_or_else(|| panic!("not let in: {}", page.words()));
    let token = cookie.split_once('=').unwrap().1.to_owned();
    let patient = Patient { issued: issued.clone(), ..patient.clone() };
    Phone { patient, token, cookie }
}

async fn another(office: &Staff, patient: &Patient, name: &str) -> IssuedLink {
    let (practice, wound) = (&office.practice, patient.enrolled.wound.id);
    let issued = enrol::issue_link(practice.desk(), &office.member, wound, name, &practice.moment()).await;
    issued.unwrap().2
}

async fn sends_any(phone: &Phone) -> StatusCode {
    phone.posts_files("/my/check", ANY_CHECK, &[]).await.status
}

async fn notices_of(practice: &Practice, kind: NoticeKind) -> usize {
    let rows = support::rows_of(&mut *practice.books().await, practice.id).await;
    let kind = format!("kind={}", kind.code());
    rows["notice"].iter().filter(|row| row.split(' ').any(|pair| pair == kind)).count()
}

fn days(count: i64) -> SignedDuration {
    SignedDuration::from_hours(24 * count)
}

#[tokio::test]
async fn a_link_issued_in_place_of_another_ends_it_a_day_after_it_was_first_opened() {
    on_each_engine(async |practice| {
        let (office, patient) = a_patient(&practice).await;
        let old = patient.opens_link().await;
        practice.minutes_pass(1);
        let (new, other) =
            (another(&office, &patient, "Patient").await, another(&office, &patient, "daughter Ana").await);
        let daughter = comes_in(&patient, &other, &[]).await;
        practice.app.clock.pass(days(3));
        assert_eq!(sends_any(&old).await, StatusCode::SEE_OTHER, "the new one was never opened");
        let fresh = comes_in(&patient, &new, &[]).await;
        practice.minutes_pass(24 * 60 - 1);
        assert_eq!(old.opens("/my").await.status, StatusCode::OK, "a form may be half filled in");
        practice.minutes_pass(1);
        assert_eq!(old.opens("/my").await.status, StatusCode::GONE);
        assert_eq!(sends_any(&fresh).await, StatusCode::SEE_OTHER);
        assert_eq!(sends_any(&daughter).await, StatusCode::SEE_OTHER, "hers has another name");
    })
    .await;
}

#[tokio::test]
async fn of_three_links_one_is_revoked_in_the_middle_of_sending_and_the_others_go_on() {
    on_each_engine(async |practice| {
        let (office, patient) = a_patient(&practice).await;
        let first = patient.opens_link().await;
        let mut others = Vec::new();
        for name in ["daughter Ana", "nurse"] {
            let issued = another(&office, &patient, name).await;
            others.push(comes_in(&patient, &issued, &[]).await);
        }
        let holder = first.holder().await;
        let link: LinkId = holder.link;
        enrol::revoke_link(practice.desk(), &office.member, link, practice.now()).await.unwrap();
        for path in ["/my", "/my/check", "/my/answers"] {
            assert_eq!(first.opens(path).await.status, StatusCode::UNAUTHORIZED, "{path}");
        }
        assert_eq!(sends_any(&first).await, StatusCode::UNAUTHORIZED);
        for phone in &others {
            assert_eq!(sends_any(phone).await, StatusCode::SEE_OTHER);
        }
        assert_eq!(others[0].checks().await.len(), 2, "what came by the revoked link did not come in");
    })
    .await;
}

#[tokio::test]
async fn other_initials_than_the_patients_are_taken_and_shown_to_whoever_reads() {
    on_each_engine(async |practice| {
        let (office, patient) = a_patient(&practice).await;
        let surgeon = practice.surgeon().await;
        for fine in ["", "AO", "amo", "a.m.", "OA", "O"] {
            let phone = comes_in(&patient, &patient.issued, &[("initials", fine)]).await;
            assert_eq!(phone.holder().await.other_initials, "", "{fine}");
        }
        let phone = comes_in(&patient, &patient.issued, &[("initials", "bt")]).await;
        assert_eq!(sends_any(&phone).await, StatusCode::SEE_OTHER);
        surgeon.opens("/queue").await.must_say("Other initials typed: BT. Ask whose wound it is");
        let check = phone.checks().await[0].id;
        surgeon.opens(&format!("/checks/{check}")).await.must_say("Other initials typed: BT");
        assert!(!office.opens("/callbacks").await.says("BT"));
    })
    .await;
}

#[tokio::test]
async fn somebody_elses_phone_keeps_nothing_shows_no_answer_and_is_out_after_a_quarter_of_an_hour() {
    on_each_engine(async |practice| {
        let (_, patient) = a_patient(&practice).await;
        let phone = comes_in(&patient, &patient.issued, &[("borrowed", "1")]).await;
        let pin = patient.issued.pin.reveal();
        let read = phone.presses("/my/pin", &[("pin", pin)]).await;
        assert_eq!(read.status, StatusCode::FORBIDDEN);
        read.must_say("This is not your phone").must_not_say("Ana María");
        phone.opens("/my/answers").await.must_say("We call you.").must_not_say("Your PIN");
        let step = [("step", "danger"), ("form_key", "half"), ("danger", "none")];
        // Whoever goes on filling in stays in.
        for _ in 0..3 {
            practice.minutes_pass(14);
            assert!(phone.presses("/my/check/steps", &step).await.status.is_redirection());
        }
        let drafts =
            async || support::rows_of(&mut *practice.books().await, practice.id).await["check_draft"].len();
        assert_eq!(drafts().await, 1);
        practice.minutes_pass(15);
        let out = phone.opens("/my").await;
        assert_eq!(out.status, StatusCode::UNAUTHORIZED);
        assert!(out.headers["clear-site-data"].to_str().unwrap().contains("storage"));
        practice.minutes_of_work_pass(1).await;
        assert_eq!(drafts().await, 0, "nothing is kept of it");
        let again = comes_in(&patient, &patient.issued, &[("borrowed", "1")]).await;
        let surgeon = practice.surgeon().await;
        assert_eq!(sends_any(&again).await, StatusCode::SEE_OTHER);
        surgeon.opens("/queue").await.must_say("Somebody else’s phone: answer by a call");
    })
    .await;
}

#[tokio::test]
async fn the_office_sees_the_phones_of_a_link_and_puts_one_of_them_out() {
    on_each_engine(async |practice| {
        let (office, patient) = a_patient(&practice).await;
        let (lost, kept) = (patient.opens_link().await, patient.opens_link().await);
        let chart = format!("/patients/{}", patient.enrolled.patient.id);
        office.opens(&chart).await.must_say("Put out");
        let wound = patient.enrolled.wound.id;
        let there = links::phones(&mut *practice.books().await, practice.id, wound, practice.now()).await;
        let there = there.unwrap();
        assert_eq!(there.len(), 2);
        let hash = HEXLOWER.encode(&Sha256::digest(&lost.token));
        let name = there.iter().find(|phone| phone.token_sha256 == hash).map(phones::name).unwrap();
        let link = patient.issued.link.id;
        let put_out = office.presses(&format!("/links/{link}/phones/{name}/end"), &[]).await;
        assert_eq!(put_out.leads_to(), chart);
        assert_eq!(lost.opens("/my").await.status, StatusCode::UNAUTHORIZED);
        assert_eq!(kept.opens("/my").await.status, StatusCode::OK);
        assert_eq!(
            office.presses(&format!("/links/{link}/phones/{name}/end"), &[]).await.status,
            StatusCode::NOT_FOUND
        );
    })
    .await;
}

#[tokio::test]
async fn a_phone_that_may_read_by_one_link_is_asked_for_the_pin_by_another() {
    on_each_engine(async |practice| {
        let (office, patient) = a_patient(&practice).await;
        let surgeon = practice.surgeon().await;
        let phone = patient.opens_link().await;
        assert_eq!(
            phone.presses("/my/pin", &[("pin", patient.issued.pin.reveal())]).await.leads_to(),
            "/my/answers"
        );
        let other = office.enrols("Ben Moore", &surgeon).await;
        let token = other.issued.token.reveal();
        let opened = presses(&practice, &format!("/k/{token}"), &phone.cookie, &[]).await;
        let phone = Phone { patient: other.clone(), token: String::new(), cookie: opened.cookie().unwrap() };
        phone.opens("/my/answers").await.must_say("PIN").must_not_say("Ben Moore");
    })
    .await;
}

#[tokio::test]
async fn words_left_with_a_link_that_expired_wait_for_a_person_who_says_what_came_of_them() {
    on_each_engine(async |practice| {
        let (_, patient) = a_patient(&practice).await;
        let phone = patient.opens_link().await;
        practice.app.clock.pass(days(105));
        let token = patient.issued.token.reveal();
        let closed = knocks(&practice, token, &[]).await;
        assert_eq!(closed.status, StatusCode::GONE);
        closed.must_say("Leave a few words").must_say("Deje unas palabras").must_say("202-555-0100");
        assert_eq!(closed.field("token").as_deref(), Some(token));
        let office = practice.office().await;
        office.opens("/callbacks").await.must_say("Knocks on closed links").must_say("Ana María Ortiz");
        assert_eq!(notices_of(&practice, NoticeKind::LateKnock).await, 1);

        let left = presses(&practice, "/late", "", &[("token", token), ("words", "It is red again")]).await;
        assert_eq!(left.status, StatusCode::GONE);
        left.must_say("Your words are here.").must_say("Sus palabras llegaron.");
        // A page that was open all the while sends its form: that it was not received is said, and its words are not lost.
        let sent = phone.posts_files("/my/check", ANY_CHECK, &[]).await;
        assert_eq!(sent.status, StatusCode::GONE);
        sent.must_say("This link is closed").must_say("No wound check can be sent from here.");
        let danger = [("form_key", "k"), ("danger", "breath"), ("words", "I can’t breathe")];
        assert_eq!(phone.presses("/my/check/answers", &danger).await.status, StatusCode::GONE);
        let page = office.opens("/callbacks").await;
        for words in [
            "It is red again",
            "It itches a little.",
            "Ticked as a danger: breath",
            "I can’t breathe",
            "4 times",
        ] {
            page.must_say(words);
        }
        let waiting = late_knock::waiting(practice.desk(), &office.member).await.unwrap();
        let [knocked] = waiting.as_slice() else { panic!("one link, one row: {waiting:?}") };
        assert_eq!(late_knock::class_of_knock(&knocked.knock), Urgency::RingNow);
        assert_eq!(knocked.knock.due, practice.now() + SignedDuration::from_hours(1));

        let overdue = async || {
            let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
            let about = format!("late_knock:{}", knocked.knock.id);
            open.iter().any(|alarm| alarm.kind == AlarmKind::Overdue && alarm.about == about)
        };
        practice.minutes_of_work_pass(59).await;
        assert!(!overdue().await);
        practice.minutes_of_work_pass(2).await;
        assert!(overdue().await, "nobody saw to it within the hour");
        let office = practice.office().await;
        let path = format!("/late/{}/deal", knocked.knock.id);
        let nothing_said = office.presses(&path, &[("note", " ")]).await;
        assert_eq!(nothing_said.status, StatusCode::UNPROCESSABLE_ENTITY);
        nothing_said.must_say("Say what came of it");
        assert_eq!(
            office.presses(&path, &[("note", "Rang; went to the emergency room")]).await.leads_to(),
            "/callbacks"
        );
        office.opens("/callbacks").await.must_not_say("Knocks on closed links");
        assert!(!overdue().await);
        assert_eq!(office.presses(&path, &[("note", "again")]).await.status, StatusCode::CONFLICT);
    })
    .await;
}

#[tokio::test]
async fn a_link_that_was_revoked_takes_no_words_and_its_knock_is_seen_to_all_the_same() {
    on_each_engine(async |practice| {
        let (office, patient) = a_patient(&practice).await;
        let link = patient.issued.link.id;
        enrol::revoke_link(practice.desk(), &office.member, link, practice.now()).await.unwrap();
        let token = patient.issued.token.reveal();
        let closed = knocks(&practice, token, &[]).await;
        assert_eq!(closed.status, StatusCode::GONE);
        closed.must_not_say("Leave a few words").must_not_say("Ana María");
        let left = presses(&practice, "/late", "", &[("token", token), ("words", "let me in")]).await;
        assert_eq!(left.status, StatusCode::NOT_FOUND);
        office.opens("/callbacks").await.must_say("Knocks on closed links").must_not_say("let me in");
    })
    .await;
}

#[tokio::test]
async fn looking_at_the_pages_of_a_link_that_expired_writes_nothing_down() {
    on_each_engine(async |practice| {
        let (_, patient) = a_patient(&practice).await;
        let phone = patient.opens_link().await;
        practice.app.clock.pass(days(105));
        for _ in 0..3 {
            assert_eq!(phone.opens("/my").await.status, StatusCode::GONE);
        }
        let rows = support::rows_of(&mut *practice.books().await, practice.id).await;
        assert!(rows["late_knock"].is_empty());
    })
    .await;
}

#[tokio::test]
async fn reading_that_is_off_stands_on_the_patients_page_and_other_patients_go_on_reading() {
    on_each_engine(async |practice| {
        let (office, patient) = a_patient(&practice).await;
        let surgeon = practice.surgeon().await;
        let phone = patient.opens_link().await;
        for _ in 0..30 {
            phone.presses("/my/pin", &[("pin", "000000")]).await;
            practice.minutes_pass(61);
        }
        assert_eq!(notices_of(&practice, NoticeKind::WrongPins).await, 1);
        let office = Staff::signs_in(&practice, office.member.clone()).await;
        let chart = format!("/patients/{}", patient.enrolled.patient.id);
        office.opens(&chart).await.must_say("reading is off after 30 wrong PINs: issue another");
        let other = office.enrols("Ben Moore", &surgeon).await;
        let neighbour = other.opens_link().await;
        let read = neighbour.presses("/my/pin", &[("pin", other.issued.pin.reveal())]).await;
        assert_eq!(read.leads_to(), "/my/answers");
        assert_eq!(phone.tries_to_send("still sends", no_danger(), &[]).await.unwrap().photos_here, 0);
    })
    .await;
}
