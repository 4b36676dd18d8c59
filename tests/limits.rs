//! Limits: who tries too often waits and is told how long, whoever has a right to come in does so meanwhile, and answers of
//! patients are never turned away.

mod support;

use axum::body::Body;
use axum::http::Method;
use axum::http::Request;
use axum::http::StatusCode;
use axum::http::header;
use futures::future::join_all;
use serde_json::Value;

use closewatch::care::intake;
use closewatch::care::intake::Sending;
use closewatch::care::second_step::setting_up;
use closewatch::store::alarms;
use closewatch::store::alarms::Alarm;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::photos;
use closewatch::store::staff::Roles;
use closewatch::web::client_address::CountBy;

use support::*;

/// A form as posted from this address.
async fn posts(practice: &Practice, from: &str, path: &str, cookie: &str, fields: &[(&str, &str)]) -> Page {
    let request = from_our_page(Method::POST, path, cookie)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(form(fields))
        .unwrap();
    send(&practice.router, coming_from(from, request)).await
}

fn coming_from(from: &str, mut request: Request<Body>) -> Request<Body> {
    request.extensions_mut().insert(CountBy(Some(from.parse().unwrap())));
    request
}

async fn tries(practice: &Practice, from: &str, cookie: &str, name: &str, password: &str) -> Page {
    let fields =
        [("sign_in_name", name), ("password", password), ("held_path", "/calls"), ("held_body", "a=b")];
    posts(practice, from, "/sign-in", cookie, &fields).await
}

#[track_caller]
fn must_wait(page: &Page, most_s: u64) -> u64 {
    assert_eq!(page.status, StatusCode::TOO_MANY_REQUESTS, "{}", page.words());
    let after: u64 = page.headers[header::RETRY_AFTER].to_str().unwrap().parse().unwrap();
    assert!((1..=most_s).contains(&after), "after {after} s");
    after
}

async fn open_alarms(practice: &Practice, kind: AlarmKind) -> Vec<Alarm> {
    let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.into_iter().filter(|alarm| alarm.kind == kind).collect()
}

#[tokio::test]
async fn of_a_thousand_guesses_from_one_address_thirty_are_looked_at_whatever_the_names() {
    on_each_engine(async |practice| {
        let (mut looked_at, mut sent_away) = (0, 0);
        for number in 0..1_000 {
            let page = tries(&practice, "192.0.2.7", "", &format!("somebody{}", number % 40), "wrong").await;
            match page.status {
                StatusCode::TOO_MANY_REQUESTS => sent_away += 1,
                _ => looked_at += 1,
            }
        }
        assert_eq!((looked_at, sent_away), (30, 970));
        let page = tries(&practice, "192.0.2.7", "", "rosa", "wrong").await;
        must_wait(&page, 300);
        page.must_say("Too many tries to sign in just now").must_say("Nothing is locked");
        assert_eq!(page.field("sign_in_name").as_deref(), Some("rosa"), "what was typed is kept");
        assert_eq!(page.field("held_path").as_deref(), Some("/calls"));
        assert_eq!(page.field("held_body").as_deref(), Some("a=b"));
        let elsewhere = tries(&practice, "192.0.2.8", "", "rosa", "wrong").await;
        assert_eq!(elsewhere.status, StatusCode::UNPROCESSABLE_ENTITY);
        practice.minutes_pass(5);
        let later = tries(&practice, "192.0.2.7", "", "rosa", "wrong").await;
        assert_eq!(later.status, StatusCode::UNPROCESSABLE_ENTITY);
    })
    .await;
}

#[tokio::test]
async fn the_home_network_of_an_ipv6_address_counts_as_one() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    for number in 0..30 {
        let from = format!("2001:db8:1:2::{number:x}");
        assert_eq!(tries(&practice, &from, "", "a", "b").await.status, StatusCode::UNPROCESSABLE_ENTITY);
        practice.minutes_pass(0);
    }
    must_wait(&tries(&practice, "2001:db8:1:2:ffff::1", "", "a", "b").await, 300);
    let next_door = tries(&practice, "2001:db8:1:3::1", "", "a", "b").await;
    assert_eq!(next_door.status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn a_colleague_signs_in_behind_the_same_address_in_a_browser_that_is_known() {
    on_each_engine(async |practice| {
        let member = practice.hires("Dr. Rosa Lind", Roles { surgeon: true, ..Roles::default() }).await;
        setting_up::give_app(practice.desk(), &member, &app_seed(), practice.now()).await.unwrap();
        let half = Staff::types_password(&practice, member.clone()).await;
        let code = app_seed().code_at(practice.now());
        let page = half.presses("/prove/code", &[("code", &code)]).await;
        let cookies = page.headers.get_all(header::SET_COOKIE).iter();
        let known = cookies
            .filter_map(|line| line.to_str().ok()?.split(';').next())
            .find(|cookie| cookie.contains("known"))
            .expect("the browser is known from now on")
            .to_owned();
        for number in 0..31 {
            tries(&practice, "192.0.2.7", "", &format!("name{number}"), "wrong").await;
        }
        must_wait(&tries(&practice, "192.0.2.7", "", &member.sign_in_name, PASSWORD).await, 300);
        let entered = tries(&practice, "192.0.2.7", &known, &member.sign_in_name, PASSWORD).await;
        assert!(entered.cookie().is_some(), "{}", entered.words());
        // The browser is hers: at another name it is as good as any.
        must_wait(&tries(&practice, "192.0.2.7", &known, "somebody", PASSWORD).await, 300);
    })
    .await;
}

#[tokio::test]
async fn a_right_password_does_not_count() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let member = practice.hires("Pat Moss", Roles { office: true, ..Roles::default() }).await;
    for _ in 0..40 {
        let page = tries(&practice, "192.0.2.7", "", &member.sign_in_name, PASSWORD).await;
        assert!(page.cookie().is_some(), "{}", page.words());
    }
}

#[tokio::test]
async fn five_thousand_guessed_links_open_nothing_are_one_alarm_and_a_known_link_opens_among_them() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        let chance = closewatch::ids::Chance::seeded(77);
        let (mut unknown, mut waits) = (0, 0);
        for number in 0..5_000 {
            let token = data_encoding::BASE64URL_NOPAD.encode(&chance.bytes::<20>());
            let page = posts(&practice, "192.0.2.7", &format!("/k/{token}"), "", &[]).await;
            match page.status {
                StatusCode::NOT_FOUND => unknown += 1,
                StatusCode::TOO_MANY_REQUESTS => waits += u64::from(must_wait(&page, 60) > 0),
                other => panic!("a guessed link: {other}"),
            }
            if number == 2_500 {
                let own = format!("/k/{}", patient.issued.token.reveal());
                let page = posts(&practice, "192.0.2.7", &own, "", &[]).await;
                assert_eq!(page.is_fine().leads_to(), "/my");
            }
        }
        assert_eq!((unknown, waits), (20, 4_980));
        let elsewhere = posts(&practice, "192.0.2.8", "/k/AAAAAAAAAAAAAAAAAAAAAAAAAAA", "", &[]).await;
        assert_eq!(elsewhere.status, StatusCode::NOT_FOUND);
        practice.minutes_of_work_pass(40).await;
        let open = open_alarms(&practice, AlarmKind::LinksGuessed).await;
        assert_eq!(open.len(), 1);
        assert_eq!(open[0].told, 1, "told once");
        let told = actions(&practice).await.into_iter().filter(|action| action == "links.guessed").count();
        assert_eq!(told, 1);
        practice.minutes_pass(21);
        practice.works().await;
        practice.seconds_pass(31);
        practice.works().await;
        assert_eq!(open_alarms(&practice, AlarmKind::LinksGuessed).await, [], "an hour later it is quiet");
    })
    .await;
}

#[tokio::test]
async fn a_code_is_typed_in_right_though_others_guess_codes_from_the_same_address() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        for _ in 0..20 {
            let page = posts(&practice, "192.0.2.7", "/go", "", &[("code", "0000-0000-0000-0000")]).await;
            assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        }
        let page = posts(&practice, "192.0.2.7", "/go", "", &[("code", "0000-0000-0000-0000")]).await;
        must_wait(&page, 60);
        page.must_say("Too many codes were tried just now.").must_say("Se probaron demasiados códigos.");
        page.must_say("An emergency? Call your local emergency number now.");
        assert_eq!(page.field("code").as_deref(), Some("0000-0000-0000-0000"));
        let own = patient.issued.code.reveal().to_owned();
        let page = posts(&practice, "192.0.2.7", "/go", "", &[("code", &own)]).await;
        assert_eq!(page.is_fine().leads_to(), "/my");
    })
    .await;
}

async fn sends_photo(phone: &Phone, form_key: &str, seed: u64) -> (StatusCode, Value) {
    let picture = jpeg(seed);
    let fields = [("form_key", form_key), ("position", "1")];
    let files = [File { name: "wound.jpg", bytes: &picture }];
    let mut request = form_with_files("/my/check/photo", &phone.cookie, &fields, &files);
    request.headers_mut().insert(header::ACCEPT, "application/json".parse().unwrap());
    let page = send(&phone.patient.practice.router, request).await;
    (page.status, serde_json::from_slice(&page.body).unwrap_or(Value::Null))
}

async fn twenty_checks_with_photos(phone: &Phone) {
    for number in 0..20 {
        phone.sends(&format!("form {number}"), no_danger(), &[jpeg(number)]).await;
        phone.patient.practice.minutes_pass(1);
    }
}

#[tokio::test]
async fn after_twenty_checks_with_photos_in_a_day_a_link_sends_answers_and_the_practice_is_told_once() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        twenty_checks_with_photos(&phone).await;
        assert_eq!(open_alarms(&practice, AlarmKind::LinkFloods).await, []);
        // The twentieth takes the rest of its photos.
        assert_eq!(sends_photo(&phone, "form 19", 900).await.0, StatusCode::OK);
        let answers = phone
            .presses("/my/check/answers", &[("form_key", "more"), ("danger", "none"), ("better", "same")])
            .await;
        assert_eq!(answers.status, StatusCode::OK);
        for _ in 0..3 {
            let (status, told) = sends_photo(&phone, "more", 901).await;
            assert_eq!(status, StatusCode::INSUFFICIENT_STORAGE);
            let words = told["words"][0].as_str().unwrap();
            assert!(
                words.starts_with("We have your answers. This link sent photos with 20 checks"),
                "{words}"
            );
            assert!(words.contains("tomorrow") && words.ends_with("Call 202-555-0100."), "{words}");
        }
        // Without scripts, all in one: the answers come in, danger and all.
        let picture = jpeg(902);
        let files = [File { name: "wound.jpg", bytes: &picture }];
        let fields = [("form_key", "danger"), ("danger", "breath")];
        let page = phone.posts_files("/my/check", &fields, &files).await;
        let sent = phone.opens(page.is_fine().leads_to()).await;
        sent.must_say("This link sent photos with 20 checks in one day.").must_say("911");
        let checks = phone.checks().await;
        assert_eq!(checks.len(), 22);
        assert_eq!(checks[0].assessment.urgency, closewatch::triage::Urgency::GoNow);
        assert_eq!(photos_of(&practice, &checks[0]).await + photos_of(&practice, &checks[1]).await, 0);
        let open = open_alarms(&practice, AlarmKind::LinkFloods).await;
        assert_eq!(open.len(), 1);
        practice
            .office()
            .await
            .opens("/alarms")
            .await
            .must_say("One patient link sends far more photos")
            .must_say("Mia Stone");
        let told = actions(&practice).await.into_iter().filter(|action| action == "photos.too_many").count();
        assert_eq!(told, 1);
        // Another link is not held to it, and this one not for longer than a day.
        let other = office.enrols("Ann Reed", &surgeon).await.opens_link().await;
        other.sends("form", no_danger(), &[jpeg(1)]).await;
        practice.minutes_pass(24 * 60 - 20);
        let answers = phone
            .presses("/my/check/answers", &[("form_key", "next"), ("danger", "none"), ("better", "same")])
            .await;
        assert_eq!(answers.status, StatusCode::OK);
        assert_eq!(sends_photo(&phone, "next", 903).await.0, StatusCode::OK);
    })
    .await;
}

async fn photos_of(practice: &Practice, check: &closewatch::store::checks::WoundCheck) -> usize {
    photos::of_check(&mut *practice.books().await, practice.id, check.id).await.unwrap().len()
}

#[tokio::test]
async fn the_sentence_about_too_many_photos_is_in_spanish_too() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let language = closewatch::words::Language::Spanish;
    let operation = operation(practice.now());
    let phone = practice.phone_of("Inés Example", language, Default::default(), operation).await;
    twenty_checks_with_photos(&phone).await;
    phone
        .presses("/my/check/answers", &[("form_key", "more"), ("danger", "none"), ("better", "same")])
        .await
        .is_fine();
    let (_, told) = sends_photo(&phone, "more", 901).await;
    let words = told["words"][0].as_str().unwrap();
    assert!(words.starts_with("Tenemos sus respuestas. De este enlace ya llegaron 20 revisiones"), "{words}");
}

/// Whatever is sent side by side, no more than twenty get in: it is asked again where they are kept.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn of_thirty_checks_sent_at_once_twenty_keep_their_photos_and_all_keep_their_answers() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let (desk, holder) = (practice.desk(), phone.holder().await);
        let mut prepared = Vec::new();
        for number in 0..30 {
            prepared.push(intake::prepare_photo(desk, jpeg(number), 1, None).await.unwrap());
        }
        let sending = prepared.into_iter().enumerate().map(async |(number, photo)| {
            let form_key = format!("form {number}");
            let sending = Sending { form_key, answers: no_danger(), photos_expected: 1 };
            intake::receive(desk, &holder, sending, vec![photo], &practice.moment()).await.unwrap()
        });
        let receipts = join_all(sending).await;
        assert_eq!(receipts.iter().map(|receipt| receipt.photos_here).sum::<usize>(), 20);
        assert_eq!(phone.checks().await.len(), 30);
    })
    .await;
}

#[tokio::test]
async fn one_links_flood_of_emergencies_pushes_nobody_off_the_queue() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let hostile = office.enrols("Mallory Gray", &surgeon).await.opens_link().await;
        for number in 0..260 {
            hostile.sends(&format!("form {number}"), in_danger(), &[]).await;
        }
        let others = ["Mia Stone", "Ann Reed", "Joe Hill"];
        for name in others {
            let phone = office.enrols(name, &surgeon).await.opens_link().await;
            phone.sends("form", no_danger(), &[]).await;
        }
        let rows = surgeon.reads_queue().await;
        let of = |name: &str| rows.iter().filter(|row| row.patient_name == name).count();
        assert_eq!(of("Mallory Gray"), 3);
        assert_eq!(others.map(of), [1, 1, 1]);
        let page = surgeon.opens("/queue").await;
        page.must_say("257 more of this wound: find them by name").must_say("263 checks wait");
        for name in others {
            page.must_say(name);
        }
        let all = surgeon.opens("/queue?name=Mallory").await;
        assert_eq!(all.html().matches("queue-row edge-").count(), 200);
        // As the first are answered, the next of them move up.
        let first = rows[0].id;
        surgeon.decides(first, closewatch::triage::Decision::HealingAsExpected, ANSWER).await.unwrap();
        let again = surgeon.reads_queue().await;
        assert_eq!(again.iter().filter(|row| row.patient_name == "Mallory Gray").count(), 3);
        assert!(again.iter().all(|row| row.id != first));
    })
    .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_storm_of_sign_ins_is_told_at_once_to_wait_and_patients_send_meanwhile() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let storm = (0..200).map(|number| {
        let practice = practice.clone();
        tokio::spawn(async move {
            let from = format!("192.0.2.{number}");
            tries(&practice, &from, "", &format!("name{number}"), "wrong").await
        })
    });
    let storm: Vec<_> = storm.collect();
    phone.sends("form", no_danger(), &[jpeg(1)]).await;
    let (mut looked_at, mut sent_away) = (0, 0);
    for page in join_all(storm).await {
        let page = page.unwrap();
        match page.status {
            StatusCode::UNPROCESSABLE_ENTITY => looked_at += 1,
            _ => sent_away += usize::from(must_wait(&page, 2) > 0),
        }
    }
    assert_eq!(looked_at + sent_away, 200);
    assert!(looked_at >= 18, "{looked_at} were looked at");
    assert!(sent_away >= 20, "{sent_away} were told to wait");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn photos_beyond_the_waiting_room_are_sent_again_and_none_is_lost() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let mut phones = Vec::new();
        for name in ["Mia Stone", "Ann Reed", "Joe Hill"] {
            phones.push(office.enrols(name, &surgeon).await.opens_link().await);
        }
        let all: Vec<(usize, usize, usize)> = (0..3)
            .flat_map(|phone| (0..7).flat_map(move |check| (0..6).map(move |at| (phone, check, at))))
            .collect();
        for (phone, check, at) in &all {
            if *at == 0 {
                let key = format!("form {check}");
                let fields = [("form_key", key.as_str()), ("danger", "none"), ("photos_expected", "6")];
                let page = phones[*phone].presses("/my/check/answers", &fields).await;
                assert_eq!(page.status, StatusCode::OK, "answers are never turned away");
            }
        }
        let sending = all.iter().map(|(phone, check, at)| {
            let (phone, key) = (phones[*phone].clone(), format!("form {check}"));
            let seed = (phone_seed(&phone) + *check as u64) * 10 + *at as u64;
            tokio::spawn(async move {
                let mut turned_away = 0;
                loop {
                    match sends_photo(&phone, &key, seed).await {
                        (StatusCode::OK, _) => return turned_away,
                        (StatusCode::SERVICE_UNAVAILABLE, told) => {
                            let words = told["words"][0].as_str().unwrap();
                            assert!(words.starts_with("Many photos come in just now."), "{words}");
                            turned_away += 1;
                        }
                        (other, told) => panic!("{other}: {told}"),
                    }
                    tokio::time::sleep(std::time::Duration::from_millis(200)).await;
                }
            })
        });
        let sending: Vec<_> = sending.collect();
        // Answers come in while photos are turned away.
        let fields = [("form_key", "meanwhile"), ("danger", "none")];
        assert_eq!(phones[0].presses("/my/check/answers", &fields).await.status, StatusCode::OK);
        let turned_away: usize = join_all(sending).await.into_iter().map(Result::unwrap).sum();
        assert!(turned_away > 0, "the waiting room was never full");
        for phone in &phones {
            for check in phone.checks().await.iter().filter(|check| check.form_key != "meanwhile") {
                assert_eq!(photos_of(&practice, check).await, 6, "{}", check.form_key);
            }
        }
    })
    .await;
}

fn phone_seed(phone: &Phone) -> u64 {
    phone.patient.issued.link.id.to_string().bytes().map(u64::from).sum()
}
