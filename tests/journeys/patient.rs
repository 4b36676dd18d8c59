//! A patient's way through the pages, without scripts, as a phone sends it.

use axum::body::Body;
use axum::http::Method;
use axum::http::StatusCode;
use axum::http::header;
use jiff::SignedDuration;

use closewatch::care::enrol;
use closewatch::care::review;
use closewatch::care::review::Deciding;
use closewatch::care::thread;
use closewatch::ids::PracticeId;
use closewatch::plan::Diabetes;
use closewatch::plan::RiskFactors;
use closewatch::store::checks;
use closewatch::store::checks::WoundCheck;
use closewatch::triage::Decision;
use closewatch::triage::MeterReading;
use closewatch::triage::Said;
use closewatch::triage::Temperature;
use closewatch::triage::Urgency;
use closewatch::words::Language;

use crate::support::*;

/// Right-to-left letters, letters of four bytes, and marks that mean something in HTML.
const STRANGE: &str = "<script>alert(1)</script> שלום عليكم 𝔘𝔫𝔦 🩹 \"quoted\" & 'so'";

/// Classes, scores and rules as staff read them.
const STAFF_WORDS: &[&str] = &[
    "go_now",
    "ring_now",
    "on_track",
    "Go now",
    "Ring within",
    "By next working day",
    "On track",
    "score",
    "urgency",
    "rule_id",
    "protocol",
];

async fn sends(phone: &Phone, fields: &[(&str, &str)], files: &[File<'_>]) -> Page {
    let practice = &phone.patient.practice;
    send(&practice.router, form_with_files("/my/check", &phone.cookie, fields, files)).await
}

async fn a_phone(practice: &Practice) -> Phone {
    let surgeon = practice.surgeon().await;
    practice.office().await.enrols("Ana Ortiz", &surgeon).await.opens_link().await
}

/// A phone of a patient with diabetes who reads this language.
async fn a_phone_with_diabetes(practice: &Practice, language: Language) -> Phone {
    let risk = RiskFactors { diabetes: Some(Diabetes::T2), ..RiskFactors::default() };
    practice.phone_of("Ana Ortiz", language, risk, operation(practice.now())).await
}

async fn checks_of(phone: &Phone) -> Vec<WoundCheck> {
    let holder = phone.holder().await;
    checks::of_wound(&mut *phone.patient.practice.books().await, holder.practice, holder.wound).await.unwrap()
}

async fn looks(practice: &Practice, method: Method, path: &str) -> Page {
    send(&practice.router, from_our_page(method, path, "").body(Body::empty()).unwrap()).await
}

async fn knocks(practice: &Practice, token: &str) -> Page {
    looks(practice, Method::POST, &format!("/k/{token}")).await
}

async fn rows(practice: &Practice, id: PracticeId) -> std::collections::BTreeMap<String, Vec<String>> {
    rows_of(&mut *practice.books().await, id).await
}

#[tokio::test]
async fn looking_at_a_link_changes_nothing_and_tells_nothing() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let office = practice.office().await;
        let patient = office.enrols("Ana Ortiz", &surgeon).await;
        let gone = office.enrols("Ben Moore", &surgeon).await;
        let link = gone.issued.link.id;
        enrol::revoke_link(practice.desk(), &office.member, link, practice.now()).await.unwrap();
        let before = rows(&practice, practice.id).await;
        let mut bodies = Vec::new();
        for token in [patient.issued.token.reveal(), gone.issued.token.reveal(), "never-was", "x"] {
            for _ in 0..2 {
                let page = looks(&practice, Method::GET, &format!("/k/{token}")).await;
                assert_eq!(page.status, StatusCode::OK);
                assert!(page.cookie().is_none());
                assert!(token.len() < 3 || !page.html().contains(token));
                bodies.push(page.body);
            }
            let head = looks(&practice, Method::HEAD, &format!("/k/{token}")).await;
            assert!(head.status == StatusCode::OK && head.body.is_empty() && head.cookie().is_none());
        }
        assert!(bodies.windows(2).all(|pair| pair[0] == pair[1]));
        assert_eq!(rows(&practice, practice.id).await, before);
        // A thousand scanners later the link still works.
        for _ in 0..1_000 {
            looks(&practice, Method::GET, &format!("/k/{}", patient.issued.token.reveal())).await;
        }
        let page = knocks(&practice, patient.issued.token.reveal()).await;
        assert_eq!((page.status, page.leads_to()), (StatusCode::SEE_OTHER, "/my"));
    })
    .await;
}

#[tokio::test]
async fn the_button_exchanges_the_link_for_a_cookie_and_today_opens() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let patient = practice.office().await.enrols("Ana Ortiz", &surgeon).await;
        let page = knocks(&practice, patient.issued.token.reveal()).await;
        let line = page.headers[header::SET_COOKIE].to_str().unwrap().to_owned();
        for part in ["__Host-closewatch-phone=", "HttpOnly", "Secure", "SameSite=Lax", "Path=/"] {
            assert!(line.contains(part), "{line}");
        }
        let cookie = page.cookie().unwrap();
        let today =
            send(&practice.router, from_our_page(Method::GET, "/my", &cookie).body(Body::empty()).unwrap())
                .await;
        assert_eq!(today.status, StatusCode::OK);
        // Operated four days ago with a strip: it is overdue.
        today.must_say("Day 4").must_say("The gauze strip is late").must_say("Send a wound check");
        today.must_say("When to call for help now").must_say("Take it out, step by step");
        today.must_not_say("Ana").must_not_say("Lind").must_not_say("buttock").must_not_say("abscess");
        for tel in ["href=\"tel:911\"", "href=\"tel:2025550100\""] {
            assert!(today.html().contains(tel));
        }
    })
    .await;
}

#[tokio::test]
async fn a_typed_code_opens_the_page_and_a_wrong_one_says_what_to_do() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let patient = practice.office().await.enrols("Ana Ortiz", &surgeon).await;
        let types = async |code: &str| {
            let request = from_our_page(Method::POST, "/go", "")
                .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
                .body(form(&[("code", code)]))
                .unwrap();
            send(&practice.router, request).await
        };
        looks(&practice, Method::GET, "/go").await.must_say("Type your code").must_say("Escriba su código");
        let wrong = types("ABCD-<b>-\"EFGH").await;
        assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
        wrong.must_say("That code did not work").must_say("Ese código no sirvió");
        assert_eq!(wrong.field("code").as_deref(), Some("ABCD-<b>-\"EFGH"));
        let typed = patient.issued.code.reveal().to_lowercase();
        assert_eq!(types(&typed).await.leads_to(), "/my");
    })
    .await;
}

#[tokio::test]
async fn a_closed_link_names_the_practice_and_an_unknown_one_is_kind() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let office = practice.office().await;
        let patient = office.enrols("Ana Ortiz", &surgeon).await;
        let phone = patient.opens_link().await;
        let unknown = knocks(&practice, "never-was").await;
        assert_eq!(unknown.status, StatusCode::NOT_FOUND);
        unknown.must_say("We do not know this link").must_say("No conocemos este enlace");
        // After the plan and its two weeks.
        practice.app.clock.pass(SignedDuration::from_hours(24 * 105));
        let expired = knocks(&practice, patient.issued.token.reveal()).await;
        assert_eq!(expired.status, StatusCode::GONE);
        for words in [
            "This link is closed",
            "Nobody watches this link.",
            "202-555-0100",
            "Nadie vigila este enlace",
            "911",
        ] {
            expired.must_say(words);
        }
        assert!(expired.cookie().is_none());
        let page = phone.opens("/my").await;
        assert_eq!(page.status, StatusCode::GONE);
        page.must_say("This link is closed").must_say("202-555-0100");
        let revoked = office.enrols("Ben Moore", &surgeon).await;
        let open = revoked.opens_link().await;
        assert_eq!(open.opens("/my").await.status, StatusCode::OK);
        let link = revoked.issued.link.id;
        enrol::revoke_link(practice.desk(), &office.member, link, practice.now()).await.unwrap();
        assert_eq!(open.opens("/my/check").await.status, StatusCode::UNAUTHORIZED);
        let page = sends(&open, &[("form_key", "k"), ("danger", "none")], &[]).await;
        assert_eq!(page.status, StatusCode::UNAUTHORIZED);
        assert_eq!(knocks(&practice, revoked.issued.token.reveal()).await.status, StatusCode::GONE);
    })
    .await;
}

#[tokio::test]
async fn a_whole_check_with_a_photo_gets_a_receipt_and_a_time() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let page = phone.opens("/my/check").await;
        let key = page.field("form_key").unwrap();
        assert_eq!(key.len(), 22);
        assert_ne!(phone.opens("/my/check").await.field("form_key").unwrap(), key);
        let fields = [
            ("form_key", key.as_str()),
            ("danger", "none"),
            ("who", "helper"),
            ("better", "better"),
            ("temp", "98.2"),
            ("temp_unit", "f"),
            ("pain", "3"),
            ("words", STRANGE),
        ];
        let picture = photo(1);
        let sent = sends(&phone, &fields, &[File { name: "IMG_1.jpg", bytes: &picture }]).await;
        assert_eq!(sent.status, StatusCode::SEE_OTHER, "{}", sent.words());
        let checks = checks_of(&phone).await;
        assert_eq!(checks.len(), 1);
        assert_eq!(checks[0].answers.words, STRANGE);
        assert_eq!(checks[0].photos_expected, 1);
        assert_eq!(sent.leads_to(), format!("/my/sent/{}", checks[0].receipt));
        let page = phone.opens(sent.leads_to()).await;
        page.must_say("Sent").must_say(&checks[0].receipt).must_say("Photo 1 came through well.");
        page.must_say("Nobody has opened it yet.").must_say("If it gets worse").must_say("11:00 am");
        for hidden in STAFF_WORDS {
            assert!(!page.html().contains(hidden), "{hidden}");
        }
    })
    .await;
}

#[tokio::test]
async fn the_same_form_twice_is_one_check_and_a_changed_one_is_an_amendment() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let first = [("form_key", "one-key"), ("danger", "none"), ("better", "same")];
        let picture = photo(2);
        let file = || [File { name: "a.jpg", bytes: &picture }];
        let once = sends(&phone, &first, &file()).await;
        let twice = sends(&phone, &first, &file()).await;
        assert_eq!(once.leads_to(), twice.leads_to());
        assert_eq!(checks_of(&phone).await.len(), 1);
        let changed = [("form_key", "one-key"), ("danger", "none"), ("better", "worse")];
        assert_eq!(sends(&phone, &changed, &[]).await.leads_to(), once.leads_to());
        let checks = checks_of(&phone).await;
        assert_eq!(checks.len(), 1);
        assert_eq!(serde_json::to_value(&checks[0].answers).unwrap()["better"], "worse");
        let versions = count(&mut *practice.books().await, "answers_version").await;
        assert_eq!(versions, 2);
        phone.opens(once.leads_to()).await.must_say("Photo 1 came through well.");
    })
    .await;
}

#[tokio::test]
async fn an_impossible_temperature_and_an_unclear_sugar_are_asked_about_and_nothing_is_lost() {
    on_each_engine(async |practice| {
        let phone = a_phone_with_diabetes(&practice, Language::English).await;
        let fields = [
            ("form_key", "one-key"),
            ("danger", "none"),
            ("better", "better"),
            ("temp", "61"),
            ("temp_unit", "f"),
            ("sugar", "12"),
            ("sugar_unit", "mg_dl"),
            ("sugar_hours", "2"),
            ("words", STRANGE),
        ];
        let picture = photo(3);
        let page = sends(&phone, &fields, &[File { name: "a.jpg", bytes: &picture }]).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        page.must_say("We have your check.").must_say("A body has 30 to 43 °C").must_say("Which unit? 12");
        page.must_say("Photos we already have: 1").must_say(STRANGE);
        assert!(!page.html().contains("<script>alert"));
        assert_eq!(page.field("temp").as_deref(), Some("61"));
        assert_eq!(page.field("sugar").as_deref(), Some("12"));
        assert_eq!(page.field("sugar_hours").as_deref(), Some("2"));
        assert_eq!(page.field("form_key").as_deref(), Some("one-key"));
        for picked in ["a-better-better", "a-danger-none", "a-temp_unit-f", "a-sugar_unit-mg_dl"] {
            let html = page.html();
            let tag = tags(&html)
                .into_iter()
                .find(|tag| tag.contains(&format!("id=\"{picked}\"")))
                .unwrap()
                .to_owned();
            assert!(tag.contains("checked"), "{tag}");
        }
        // It is in, with what was clear; what was not is unknown.
        let check = checks_of(&phone).await.remove(0);
        assert_eq!(check.answers.temp, Said::Blank);
        match &check.answers.sugar.known().unwrap().reading {
            MeterReading::Unclear { entered, .. } => assert_eq!(entered, "12"),
            other => panic!("{other:?}"),
        }
        let mut fixed = fields.to_vec();
        fixed[3] = ("temp", "37,2");
        fixed[4] = ("temp_unit", "c");
        fixed.push(("sugar_unit_checked", "mmol_l"));
        let sent = sends(&phone, &fixed, &[]).await;
        assert_eq!(sent.leads_to(), format!("/my/sent/{}", check.receipt), "{}", sent.words());
        let check = checks_of(&phone).await.remove(0);
        match check.answers.temp.known().unwrap() {
            Temperature::Taken(taken) => assert_eq!((taken.tenths_c, taken.entered.as_str()), (372, "37,2")),
            Temperature::NoThermometer => panic!("a temperature was typed"),
        }
        match &check.answers.sugar.known().unwrap().reading {
            MeterReading::Measured { mg_dl, .. } => assert_eq!(*mg_dl, 216),
            other => panic!("{other:?}"),
        }
    })
    .await;
}

#[tokio::test]
async fn a_temperature_with_the_wrong_unit_is_kept_and_asked_about_in_the_patients_language() {
    on_each_engine(async |practice| {
        let phone = a_phone_with_diabetes(&practice, Language::Spanish).await;
        let fields = [("form_key", "k"), ("danger", "none"), ("temp", "37.5"), ("temp_unit", "f")];
        let page = sends(&phone, &fields, &[]).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        page.must_say("¿Qué unidad? 37.5").must_say("Tenemos su revisión.");
        assert!(page.html().contains("<html lang=\"es\">"));
        let check = checks_of(&phone).await.remove(0);
        match check.answers.temp.known().unwrap() {
            Temperature::Taken(taken) => assert_eq!(taken.tenths_c, 375),
            Temperature::NoThermometer => panic!("a temperature was typed"),
        }
    })
    .await;
}

#[tokio::test]
async fn a_file_that_is_no_photo_never_refuses_the_check() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let picture = photo(4);
        let huge = vec![0xff_u8; 15_000_001];
        let files = [
            File { name: "letter.pdf", bytes: b"%PDF-1.7 not a picture" },
            File { name: "whole.jpg", bytes: &picture },
            File { name: "torn.jpg", bytes: &picture[..400] },
            File { name: "huge.jpg", bytes: &huge },
            File { name: "empty.jpg", bytes: b"" },
        ];
        let sent = sends(&phone, &[("form_key", "k"), ("danger", "none")], &files).await;
        assert_eq!(sent.status, StatusCode::SEE_OTHER, "{}", sent.words());
        let page = phone.opens(sent.leads_to()).await;
        page.must_say("Photo 1 could not be used. The file was not a photo.");
        page.must_say("Photo 2 came through well.");
        page.must_say("Photo 4 could not be used. It was over 15 MB.");
        page.must_say("Photo 5 could not be used. The file was empty.");
        page.must_say("Send another photo");
        let [key, position] = ["form_key", "position"].map(|name| page.field(name).unwrap());
        assert_eq!(position, "6");
        // One more, from the page itself.
        let another = photo(5);
        let fields = [("form_key", key.as_str()), ("position", position.as_str())];
        let files = [File { name: "b.jpg", bytes: &another }];
        let request = form_with_files("/my/check/photo", &phone.cookie, &fields, &files);
        let added = send(&practice.router, request).await;
        assert_eq!(added.leads_to(), sent.leads_to());
        phone
            .opens(sent.leads_to())
            .await
            .must_say("Photo 6 came through well.")
            .must_say("We have 6 photos.");
    })
    .await;
}

#[tokio::test]
async fn the_same_picture_chosen_twice_is_one_photo_and_none_is_missed() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let picture = photo(7);
        let files = || File { name: "a.jpg", bytes: &picture };
        let sent = sends(&phone, &[("form_key", "k"), ("danger", "none")], &[files(), files()]).await;
        let page = phone.opens(sent.leads_to()).await;
        page.must_say("Photo 1 came through well.")
            .must_not_say("Photo 2 came")
            .must_not_say("Not all photos");
    })
    .await;
}

#[tokio::test]
async fn a_seventh_photo_is_left_out_and_the_check_goes_through() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let pictures: Vec<Vec<u8>> = (10..17).map(photo).collect();
        let files: Vec<File<'_>> = pictures.iter().map(|bytes| File { name: "a.jpg", bytes }).collect();
        let sent = sends(&phone, &[("form_key", "k"), ("danger", "none")], &files).await;
        let page = phone.opens(sent.leads_to()).await;
        page.must_say("Photo 6 came through well.").must_not_say("Photo 7");
    })
    .await;
}

#[tokio::test]
async fn a_form_that_breaks_off_is_kept_as_far_as_it_came() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let body = "--edge\r\nContent-Disposition: form-data; name=\"form_key\"\r\n\r\nk\r\n--edge\r\n\
                    Content-Disposition: form-data; name=\"danger\"\r\n\r\nbreath\r\n--edge\r\n\
                    Content-Disposition: form-data; name=\"photo\"; filename=\"a.jpg\"\r\n\r\nhalf a pic";
        let request = from_our_page(Method::POST, "/my/check", &phone.cookie)
            .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
            .body(Body::from(body))
            .unwrap();
        let page = send(&practice.router, request).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        page.must_say("Not all of it came through.");
        let check = checks_of(&phone).await.remove(0);
        assert_eq!(check.assessment.urgency, Urgency::GoNow);
    })
    .await;
}

#[tokio::test]
async fn emergency_advice_is_in_the_form_before_anything_is_sent() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let page = phone.opens("/my/check").await;
        page.must_say("Call 911 now").must_say("Press hard with a clean cloth.").must_say("Do not drive.");
        // Near the bottom two more signs are asked about, on the face two others.
        page.must_say("numb between your legs").must_not_say("swollen shut");
        page.must_say(
            "Tell them: I had an operation 4 days ago. I have an open wound (left buttock). My wound bleeds",
        );
        let html = page.html();
        let danger = html.find("id=\"q-danger\"").unwrap();
        assert!(danger < html.find("type=\"file\"").unwrap());
        assert!(danger < html.find("id=\"q-better\"").unwrap());
        assert!(!html.contains(" style="));
        let help = html.find("class=\"help\"").unwrap();
        for path in ["/my", "/my/answers"] {
            let other = phone.opens(path).await.html();
            let before = |page: &str| page[..page.find("class=\"help\"").unwrap()].matches("<header").count();
            assert_eq!(before(&other), before(&html), "{path} and {help}");
        }
    })
    .await;
}

#[tokio::test]
async fn a_danger_sign_leads_to_call_now_even_when_another_answer_is_unclear() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let sent = sends(&phone, &[("form_key", "k"), ("danger", "breath"), ("temp", "61")], &[]).await;
        assert_eq!(sent.status, StatusCode::SEE_OTHER);
        let page = phone.opens(sent.leads_to()).await;
        page.must_say("Call 911 now").must_say("Do not wait for our answer.");
        // What was ticked, what to do about it, and what to tell the operator.
        page.must_say("Sit up. Do not walk around. Do not drive.");
        page.must_say(
            "I had an operation 4 days ago. I have an open wound (left buttock). It is hard to breathe",
        );
        page.must_not_say("Press hard with a clean cloth.");
        page.must_not_say("You get an answer by").must_not_say("We call you by");
    })
    .await;
}

#[tokio::test]
async fn a_call_is_promised_by_day_and_at_night_the_patient_is_told_to_call() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let sent =
            sends(&phone, &[("form_key", "day"), ("danger", "none"), ("chills", "shaking")], &[]).await;
        let page = phone.opens(sent.leads_to()).await;
        page.must_say("We call you by 12:00 pm").must_say("Go to the emergency room.");
        page.must_not_say("Nobody is watching messages now.");
        practice.minutes_pass(11 * 60);
        for path in ["/my", "/my/check", "/my/answers", sent.leads_to()] {
            let page = phone.opens(path).await;
            page.must_say("Nobody is watching messages now.")
                .must_say("Somebody watches again: tomorrow, 8:00 am");
        }
        let sent =
            sends(&phone, &[("form_key", "night"), ("danger", "none"), ("chills", "shaking")], &[]).await;
        let page = phone.opens(sent.leads_to()).await;
        page.must_say("Do not wait for us. Call 202-555-0100 now").must_not_say("We call you by");
        page.must_not_say("You get an answer by");
    })
    .await;
}

#[tokio::test]
async fn low_sugar_gets_sugar_advice_and_very_low_sugar_a_stronger_one() {
    on_each_engine(async |practice| {
        let phone = a_phone_with_diabetes(&practice, Language::English).await;
        const LOW: &str = "Sugar under 70 mg/dL (3.9 mmol/L)?";
        const VERY_LOW: &str = "Sugar under 54 mg/dL (3.0 mmol/L) is very low.";
        for (place, (sugar, unit, advice)) in [
            ("70", "mg_dl", ""),
            ("69", "mg_dl", LOW),
            ("54", "mg_dl", LOW),
            ("53", "mg_dl", VERY_LOW),
            ("3.9", "mmol_l", ""),
            ("3.8", "mmol_l", LOW),
            ("3.0", "mmol_l", LOW),
            ("2.9", "mmol_l", VERY_LOW),
            ("lo", "mg_dl", VERY_LOW),
        ]
        .into_iter()
        .enumerate()
        {
            let key = format!("key {place}");
            let fields =
                [("form_key", key.as_str()), ("danger", "none"), ("sugar", sugar), ("sugar_unit", unit)];
            let sent = sends(&phone, &fields, &[]).await;
            let page = phone.opens(sent.leads_to()).await;
            for words in [LOW, VERY_LOW] {
                assert_eq!(page.says(words), words == advice, "{sugar} {unit}: {words}");
            }
            assert_eq!(page.says("Your sugar was low"), !advice.is_empty());
        }
    })
    .await;
}

#[tokio::test]
async fn thirty_wrong_pins_close_reading_and_never_sending() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let mut last = StatusCode::OK;
        for _ in 0..30 {
            let page = phone.presses("/my/pin", &[("pin", "000000")]).await;
            page.must_say("You never need the PIN to send.");
            last = page.status;
            practice.minutes_pass(61);
        }
        assert_eq!(last, StatusCode::LOCKED);
        let pin = phone.patient.issued.pin.reveal().to_owned();
        let page = phone.presses("/my/pin", &[("pin", &pin)]).await;
        assert_eq!(page.status, StatusCode::LOCKED);
        page.must_say("Reading is off for this link.").must_say("202-555-0100");
        let sent = sends(&phone, &[("form_key", "k"), ("danger", "none")], &[]).await;
        assert_eq!(sent.status, StatusCode::SEE_OTHER);
        phone.opens(sent.leads_to()).await.must_say("We have your wound check.");
    })
    .await;
}

#[tokio::test]
async fn a_sixth_guess_waits_and_the_right_pin_opens_reading() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        for _ in 0..4 {
            let page = phone.presses("/my/pin", &[("pin", "000000")]).await;
            assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
            page.must_say("That PIN did not fit.");
        }
        let fifth = phone.presses("/my/pin", &[("pin", "000000")]).await;
        assert_eq!(fifth.status, StatusCode::TOO_MANY_REQUESTS);
        fifth.must_say("Too many tries. Try again after: 11:01 am");
        practice.minutes_pass(1);
        let pin = phone.patient.issued.pin.reveal();
        let spaced = format!("{} {}", &pin[..3], &pin[3..]);
        assert_eq!(phone.presses("/my/pin", &[("pin", &spaced)]).await.leads_to(), "/my/answers");
        phone.opens("/my/answers").await.must_say("No answer yet.").must_say("Ana Ortiz");
    })
    .await;
}

#[tokio::test]
async fn the_answer_is_behind_the_pin_and_holds_nothing_that_is_for_staff() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let office = practice.office().await;
        let patient = office.enrols("Ana Ortiz", &surgeon).await;
        let phone = patient.opens_link().await;
        let sent = sends(&phone, &[("form_key", "k"), ("danger", "none")], &[]).await;
        let check = checks_of(&phone).await.remove(0);
        review::open(practice.desk(), &surgeon.member, check.id, practice.now()).await.unwrap();
        let deciding = Deciding {
            decision: Decision::CallByOffice,
            reply: STRANGE.to_owned(),
            note: "CANARY-NOTE".to_owned(),
            come_in: None,
            ask: "CANARY-ASK".to_owned(),
            judged: None,
            antibiotic: None,
            extent: None,
        };
        review::decide(practice.desk(), &surgeon.member, check.id, deciding, &practice.moment())
            .await
            .unwrap();
        let today = phone.opens("/my").await;
        today.must_say("You have 1 new answer").must_not_say("alert(1)");
        phone.opens("/my/answers").await.must_say("Type your PIN to read").must_not_say("alert(1)");
        phone.types_pin().await;
        let page = phone.opens("/my/answers").await;
        page.must_say(STRANGE).must_say("From Dr. Rosa Lind").must_say("I have read this");
        let message =
            thread::read(practice.desk(), &phone.holder().await, practice.now()).await.unwrap().messages[0]
                .id;
        let read = phone.presses(&format!("/my/answers/{message}/read"), &[]).await;
        assert_eq!(read.leads_to(), "/my/answers");
        phone.opens("/my/answers").await.must_say("You read it: 11:00 am").must_not_say("I have read this");
        phone.opens("/my").await.must_not_say("new answer");
        phone.opens(sent.leads_to()).await.must_say("A person has read it. We will call you.");
        // Notes, what the office is to ask, other people's names, classes and rules are for staff.
        for path in ["/my", "/my/check", "/my/answers", sent.leads_to()] {
            let html = phone.opens(path).await.html();
            for hidden in STAFF_WORDS.iter().chain(&["Pat Moss", "CANARY"]) {
                assert!(!html.contains(hidden), "{path} shows {hidden}");
            }
        }
    })
    .await;
}

#[tokio::test]
async fn asking_back_needs_only_the_link_and_keeps_what_was_typed() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let early = phone.presses("/my/answers", &[("form_key", "q1"), ("question", STRANGE)]).await;
        assert_eq!(early.status, StatusCode::UNPROCESSABLE_ENTITY);
        early.must_say("Send a wound check first.").must_say(STRANGE);
        sends(&phone, &[("form_key", "k"), ("danger", "none")], &[]).await;
        phone
            .presses("/my/answers", &[("form_key", "q1"), ("question", "  ")])
            .await
            .must_say("Type your question first.");
        let long = "a".repeat(1_001);
        let page = phone.presses("/my/answers", &[("form_key", "q1"), ("question", &long)]).await;
        page.must_say("1000 letters at most").must_say(&long);
        for _ in 0..2 {
            let page = phone.presses("/my/answers", &[("form_key", "q1"), ("question", STRANGE)]).await;
            page.must_say("Sent. A person reads it.").must_not_say("You asked");
        }
        phone.types_pin().await;
        let page = phone.opens("/my/answers").await;
        page.must_say("You asked").must_say(STRANGE);
        assert_eq!(page.words().matches("You asked").count(), 1);
    })
    .await;
}

#[tokio::test]
async fn the_small_sends_bring_a_danger_tick_first_then_answers_then_photos() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let tick = [("form_key", "k"), ("part", "danger"), ("danger", "bleed")];
        let page = phone.presses("/my/check/answers", &tick).await;
        let told: serde_json::Value = serde_json::from_slice(&page.body).unwrap();
        assert_eq!((page.status, &told["call_now"]), (StatusCode::OK, &serde_json::json!(true)));
        let whole = [("form_key", "k"), ("danger", "bleed"), ("better", "worse"), ("photos_expected", "1")];
        let page = phone.presses("/my/check/answers", &whole).await;
        let sent: serde_json::Value = serde_json::from_slice(&page.body).unwrap();
        assert_eq!(sent["receipt"], told["receipt"]);
        phone.opens(sent["sent_url"].as_str().unwrap()).await.must_say("Not all photos came.");
        // A tick that was late adds its sign and takes nothing away.
        let late = [("form_key", "k"), ("part", "danger"), ("danger", "breath")];
        phone.presses("/my/check/answers", &late).await;
        let checks = checks_of(&phone).await;
        assert_eq!(checks.len(), 1);
        let answers = serde_json::to_value(&checks[0].answers).unwrap();
        assert_eq!(answers["better"], "worse");
        assert_eq!(answers["danger"], serde_json::json!(["bleed", "breath"]));
        let picture = photo(6);
        let adds = async |key: &str, bytes: &[u8]| {
            let fields = [("form_key", key), ("position", "1"), ("tap_x", "2500"), ("tap_y", "7500")];
            let files = [File { name: "photo.jpg", bytes }];
            let mut request = form_with_files("/my/check/photo", &phone.cookie, &fields, &files);
            request.headers_mut().insert(header::ACCEPT, "application/json".parse().unwrap());
            send(&practice.router, request).await
        };
        for _ in 0..2 {
            let page = adds("k", &picture).await;
            let seen: serde_json::Value = serde_json::from_slice(&page.body).unwrap();
            assert_eq!(seen, serde_json::json!({"ok": true, "words": []}));
        }
        let torn = adds("k", b"no picture").await;
        let seen: serde_json::Value = serde_json::from_slice(&torn.body).unwrap();
        assert_eq!((torn.status, &seen["ok"]), (StatusCode::OK, &serde_json::json!(false)));
        assert_eq!(adds("no-such-form", &picture).await.status, StatusCode::CONFLICT);
        let page = phone.opens(sent["sent_url"].as_str().unwrap()).await;
        page.must_say("Photo 1 came through well.");
        let taps = sqlx_taps(&practice).await;
        assert_eq!(taps, [(2_500, 7_500)]);
    })
    .await;
}

async fn sqlx_taps(practice: &Practice) -> Vec<(i64, i64)> {
    let lines = rows(practice, practice.id).await.remove("photo").unwrap();
    let value = |line: &str, name: &str| {
        line.split(' ').find_map(|pair| pair.strip_prefix(&format!("{name}=")).map(str::to_owned)).unwrap()
    };
    lines
        .iter()
        .filter(|line| value(line, "tap_x") != "NULL")
        .map(|line| (value(line, "tap_x").parse().unwrap(), value(line, "tap_y").parse().unwrap()))
        .collect()
}

#[tokio::test]
async fn slips_in_a_small_send_come_back_with_their_fields_and_the_check_is_in() {
    on_each_engine(async |practice| {
        let phone = a_phone_with_diabetes(&practice, Language::English).await;
        let fields = [("form_key", "k"), ("danger", "none"), ("temp", "warm"), ("sugar", "25")];
        let page = phone.presses("/my/check/answers", &fields).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        let body: serde_json::Value = serde_json::from_slice(&page.body).unwrap();
        assert!(body["receipt"].is_string() && body["answer_by"].is_string());
        let asked: Vec<(&str, &str)> = body["faults"]
            .as_array()
            .unwrap()
            .iter()
            .map(|fault| (fault["field"].as_str().unwrap(), fault["question"].as_str().unwrap()))
            .collect();
        assert_eq!(asked, [("temp", "temp"), ("sugar_unit", "sugar")]);
        assert_eq!(checks_of(&phone).await.len(), 1);
    })
    .await;
}

#[tokio::test]
async fn the_language_changes_and_what_was_typed_comes_along() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let fields =
            [("form_key", "k"), ("danger", "none"), ("words", STRANGE), ("temp", "38"), ("language", "es")];
        let page = phone.presses("/my/language", &fields).await;
        page.must_say("Revisión de la herida").must_say(STRANGE);
        assert_eq!(page.field("form_key").as_deref(), Some("k"));
        assert_eq!(page.field("temp").as_deref(), Some("38"));
        assert!(checks_of(&phone).await.is_empty());
        assert!(phone.opens("/my").await.html().contains("<html lang=\"es\">"));
        let back =
            phone.presses("/my/language", &[("language", "en"), ("back", "//elsewhere.example")]).await;
        assert_eq!(back.leads_to(), "/my");
    })
    .await;
}

#[tokio::test]
async fn a_language_we_do_not_have_changes_nothing_and_loses_nothing() {
    on_each_engine(async |practice| {
        let phone = a_phone_with_diabetes(&practice, Language::Spanish).await;
        for unknown in ["xx", "de", "", "es-ES; DROP", "英語", "en\0"] {
            let fields = [
                ("form_key", "k"),
                ("danger", "none"),
                ("words", STRANGE),
                ("sugar", "120"),
                ("language", unknown),
            ];
            let page = phone.presses("/my/language", &fields).await;
            assert_eq!(page.status, StatusCode::OK, "{unknown}");
            page.must_say(STRANGE);
            assert_eq!(page.field("sugar").as_deref(), Some("120"));
            if unknown != "en\0" {
                assert!(page.html().contains("<html lang=\"es\">"), "{unknown}");
            }
            phone.presses("/my/language", &[("language", "es")]).await;
            let back = phone.presses("/my/language", &[("language", unknown), ("back", "/my/check")]).await;
            assert_eq!((back.status, back.leads_to()), (StatusCode::SEE_OTHER, "/my/check"), "{unknown}");
            phone.presses("/my/language", &[("language", "es")]).await;
        }
        // Nor does one asked for in the address, in a header, in a cookie, or in the check itself.
        for path in [
            "/my?language=xx",
            "/my/check?lang=xx&language=xx",
            "/my/check/steps?at=xx&language=xx",
            "/my/answers?lang=",
        ] {
            let request =
                from_our_page(Method::GET, path, &format!("{}; language=xx; lang=xx", phone.cookie))
                    .header(header::ACCEPT_LANGUAGE, "xx, *;q=0.1")
                    .body(Body::empty())
                    .unwrap();
            let page = send(&practice.router, request).await;
            assert_eq!(page.status, StatusCode::OK, "{path}");
            assert!(page.html().contains("<html lang=\"es\">"), "{path}");
        }
        let sent = sends(&phone, &[("form_key", "k2"), ("danger", "none"), ("language", "xx")], &[]).await;
        phone.opens(sent.leads_to()).await.must_say("Tenemos su revisión.");
    })
    .await;
}

#[tokio::test]
async fn leaving_ends_the_session_and_asks_the_browser_to_forget() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let page = phone.presses("/my/leave", &[]).await;
        page.must_say("You have left.").must_say("Ya salió.");
        assert!(page.headers.contains_key("clear-site-data"));
        assert!(page.headers[header::SET_COOKIE].to_str().unwrap().contains("Max-Age=0"));
        assert_eq!(phone.opens("/my").await.status, StatusCode::UNAUTHORIZED);
        phone.patient.opens_link().await.opens("/my").await.must_say("Day 4");
    })
    .await;
}

#[tokio::test]
async fn a_receipt_of_another_link_is_not_found() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let office = practice.office().await;
        let mine = office.enrols("Ana Ortiz", &surgeon).await.opens_link().await;
        let other = office.enrols("Ben Moore", &surgeon).await.opens_link().await;
        let sent = sends(&mine, &[("form_key", "k"), ("danger", "none")], &[]).await;
        assert_eq!(mine.opens(sent.leads_to()).await.status, StatusCode::OK);
        assert_eq!(other.opens(sent.leads_to()).await.status, StatusCode::NOT_FOUND);
        // The way out of that page leads a phone to its own pages, not to the staff's sign-in.
        assert_eq!(other.opens("/").await.leads_to(), "/my");
    })
    .await;
}

#[tokio::test]
async fn the_form_is_light_enough_for_a_bad_line() {
    on_each_engine(async |practice| {
        let phone = a_phone_with_diabetes(&practice, Language::Spanish).await;
        let html = phone.opens("/my/check").await.html();
        let mut addresses: Vec<String> = tags(&html)
            .into_iter()
            .filter_map(|tag| attribute(tag, "src").or_else(|| attribute(tag, "href")))
            .filter(|address| address.starts_with("/static/"))
            .collect();
        for module in ["branches", "photos", "sending"] {
            addresses.push(format!("/static/patient/{module}.js"));
        }
        addresses.push("/my/check".to_owned());
        let mut bytes = 0;
        for address in &addresses {
            let mut request = from_our_page(Method::GET, address, &phone.cookie);
            request = request.header(header::ACCEPT_ENCODING, "gzip");
            let page = send(&practice.router, request.body(Body::empty()).unwrap()).await;
            assert_eq!(page.status, StatusCode::OK, "{address}");
            bytes += page.body.len();
        }
        println!("{} files, {bytes} bytes compressed", addresses.len());
        assert!(bytes < 60 * 1024, "{bytes}");
    })
    .await;
}
