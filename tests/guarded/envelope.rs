//! The sealed envelope: its code opens once, shows what waits for an hour and changes nothing; everybody on staff is told, each look
//! stands in the record, and wrong codes are slowed and told.

use axum::body::Body;
use axum::http::Method;
use axum::http::StatusCode;
use axum::http::header;
use http_body_util::BodyExt;
use jiff::SignedDuration;
use tower::ServiceExt;

use closewatch::care::CareError;
use closewatch::care::envelope;
use closewatch::care::envelope::LOOK_LIMIT;
use closewatch::care::envelope::Opening;
use closewatch::care::gates::wrong_codes;
use closewatch::store::addresses;
use closewatch::store::addresses::Reached;
use closewatch::store::addresses::StaffAddress;
use closewatch::store::alarms;
use closewatch::store::alarms::Alarm;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::audit;
use closewatch::store::notices;
use closewatch::store::notices::NoticeKind;
use closewatch::store::photos;
use closewatch::store::staff::Roles;
use closewatch::triage::Decision;
use closewatch::web;
use closewatch::web::Who;
use closewatch::web::client_address::CountBy;

use crate::support::*;

/// Somebody with a lead who can print, a check that waits, and one that was closed.
struct House {
    practice: Practice,
    lead: Staff,
    surgeon: Staff,
    waiting: String,
    closed: String,
    photo: String,
    closed_photo: String,
}

async fn house(practice: Practice) -> House {
    let (lead, office, surgeon) = (practice.lead().await, practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let waiting = phone.sends("one", in_danger(), &[jpeg(1)]).await.check;
    let other = office.enrols("Ned Gray", &surgeon).await.opens_link().await;
    let closed = other.sends("two", no_danger(), &[jpeg(2)]).await.check;
    surgeon.decides(closed, Decision::HealingAsExpected, "All is well.").await.unwrap();
    let mut books = practice.books().await;
    let photo = photos::of_check(&mut books, practice.id, waiting).await.unwrap()[0].id;
    let closed_photo = photos::of_check(&mut books, practice.id, closed).await.unwrap()[0].id;
    drop(books);
    House {
        waiting: waiting.to_string(),
        closed: closed.to_string(),
        photo: photo.to_string(),
        closed_photo: closed_photo.to_string(),
        practice,
        lead,
        surgeon,
    }
}

async fn open_alarms(practice: &Practice, kind: AlarmKind) -> Vec<Alarm> {
    let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.into_iter().filter(|alarm| alarm.kind == kind).collect()
}

async fn looks_at(practice: &Practice, cookie: &str, path: &str) -> Page {
    let request = from_our_page(Method::GET, path, cookie).body(Body::empty()).unwrap();
    send(&practice.router, request).await
}

/// A code typed from this address.
async fn types_from(practice: &Practice, from: &str, code: &str) -> Page {
    let fields = [("code", code), ("name", "Kim Vale"), ("reason", "the surgeons are cut off")];
    let mut request = from_our_page(Method::POST, "/envelope", "")
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(form(&fields))
        .unwrap();
    request.extensions_mut().insert(CountBy(Some(from.parse().unwrap())));
    send(&practice.router, request).await
}

/// The same code with its last letter changed.
fn mistyped(code: &str) -> String {
    let last = if code.ends_with('7') { "8" } else { "7" };
    format!("{}{last}", &code[..code.len() - 1])
}

#[tokio::test]
async fn the_code_opens_once_and_shows_what_waits_to_read_and_nothing_else() {
    on_each_engine(async |practice| {
        let house = house(practice).await;
        let practice = &house.practice;
        practice.lead().await.opens("/sign-in").await.must_say("Open the sealed envelope");
        let code = prints_code(&house.lead).await;
        let page = types_code(practice, &code.to_lowercase().replace('-', " "), "Kim Vale").await;
        assert_eq!(page.leads_to(), "/look/queue");
        let look = page.cookie().unwrap();
        let queue = looks_at(practice, &look, "/look/queue").await;
        queue.is_fine().must_say("Emergency look by Kim Vale").must_say("Mia Stone");
        queue.must_say("You can read here and change nothing.").must_not_say("Ned Gray");
        let check = looks_at(practice, &look, &format!("/look/checks/{}", house.waiting)).await;
        check.is_fine().must_say("Emergency look by Kim Vale").must_say("Mia Stone").must_say("202-555-0143");
        for (page, wanted) in [(&queue, "/small"), (&check, "/review")] {
            let html = page.html();
            assert!(html.contains(&format!("/look/photos/{}{wanted}", house.photo)), "the photo is shown");
            assert!(!html.contains("method=\"post\""), "nothing can be pressed");
            let tags = tags(&html);
            let links =
                tags.iter().filter(|tag| tag.starts_with("a ")).filter_map(|tag| attribute(tag, "href"));
            for to in links {
                let stays = to.starts_with("/look/") || to.starts_with('#') || to.starts_with("tel:");
                assert!(stays, "a link leads to {to}");
            }
        }
        for size in ["small", "review", "full"] {
            let photo = looks_at(practice, &look, &format!("/look/photos/{}/{size}", house.photo)).await;
            assert_eq!(photo.is_fine().headers[header::CONTENT_TYPE], "image/jpeg");
        }
        for path in [
            format!("/look/checks/{}", house.closed),
            format!("/look/photos/{}/review", house.closed_photo),
            "/look/checks/no-such-check".to_owned(),
        ] {
            assert_eq!(looks_at(practice, &look, &path).await.status, StatusCode::NOT_FOUND, "{path}");
        }
        // The same code again, and from somewhere else.
        let again = types_code(practice, &code, "Somebody Else").await;
        assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY);
        again.must_say("That code opens nothing.");
        assert!(again.cookie().is_none());
        assert_eq!(looks(practice).await.len(), 1);
        // A newer code takes the place of an older one.
        let old = prints_code(&house.lead).await;
        let new = prints_code(&house.lead).await;
        assert!(types_code(practice, &old, "Kim Vale").await.cookie().is_none());
        assert!(types_code(practice, &new, "Kim Vale").await.cookie().is_some());
        house.lead.opens("/practice/envelope").await.must_say("There is no code.");
    })
    .await;
}

#[tokio::test]
async fn a_look_opens_no_other_door_and_no_post_is_taken_from_it() {
    let place = Place::sqlite();
    let house = house(Practice::open(&place).await).await;
    let practice = &house.practice;
    let look = opens_envelope(practice, &house.lead, "Kim Vale").await;
    let before = rows_of(&mut *practice.books().await, practice.id).await;
    let (mut read, mut refused) = (0, 0);
    for door in web::doors(&practice.app).into_iter().filter(|door| door.who != Who::Anyone) {
        let path: String = door
            .path
            .split('/')
            .map(|part| match part {
                "{size}" => "small",
                blank if blank.starts_with('{') && door.path.contains("photos") => &house.photo,
                blank if blank.starts_with('{') => &house.waiting,
                plain => plain,
            })
            .collect::<Vec<_>>()
            .join("/");
        if door.who == Who::Onlooker {
            assert_eq!(door.method, Method::GET, "{path}: an onlooker presses nothing");
            looks_at(practice, &look, &path).await.is_fine();
            read += 1;
            continue;
        }
        // Also where the look's token is brought as another kind of session.
        for cookie in [look.clone(), look.replace("-look=", "-staff="), look.replace("-look=", "-phone=")] {
            let page = match door.method {
                Method::GET => looks_at(practice, &cookie, &path).await,
                _ => presses(practice, &path, &cookie, &[("reply", "typed")]).await,
            };
            let is_out = page.status == StatusCode::UNAUTHORIZED || page.leads_to() == "/sign-in";
            assert!(is_out, "{} {path}: {}", door.method, page.status);
            refused += 1;
        }
    }
    assert!(read == 4 && refused > 300, "{read} and {refused}");
    let mut after = rows_of(&mut *practice.books().await, practice.id).await;
    // What was looked at stands in the record; nothing else changed.
    let looked = after.remove("audit").unwrap().len();
    assert!(looked > before["audit"].len());
    for (table, rows) in &after {
        if table != "practice" {
            assert_eq!(rows, &before[table], "{table}");
        }
    }
}

#[tokio::test]
async fn a_look_ends_after_an_hour_by_the_clock_also_over_a_restart_and_streams_end_with_it() {
    on_each_engine(async |practice| {
        let house = house(practice).await;
        let practice = &house.practice;
        let look = opens_envelope(practice, &house.lead, "Kim Vale").await;
        let request = from_our_page(Method::GET, "/look/queue/stream", &look).body(Body::empty()).unwrap();
        let mut line = practice.router.clone().oneshot(request).await.unwrap().into_body();
        let mut next = async || match line.frame().await {
            Some(frame) => String::from_utf8(frame.unwrap().into_data().unwrap().to_vec()).unwrap(),
            None => "ended".to_owned(),
        };
        assert!(next().await.starts_with("event: beat"));
        practice.app.clock.pass(LOOK_LIMIT - SignedDuration::from_secs(1));
        looks_at(practice, &look, "/look/queue").await.is_fine().must_say("Mia Stone");
        let anew = practice.started_anew();
        looks_at(&anew, &look, "/look/queue").await.is_fine().must_say("Mia Stone");
        practice.seconds_pass(1);
        for server in [practice, &anew] {
            for path in ["/look/queue".to_owned(), format!("/look/photos/{}/full", house.photo)] {
                let page = looks_at(server, &look, &path).await;
                assert_eq!((page.status, page.leads_to()), (StatusCode::SEE_OTHER, "/envelope"), "{path}");
                page.must_not_say("Mia Stone");
            }
        }
        // Whatever the stream hears next, it ends.
        house.surgeon.presses(&format!("/checks/{}/open", house.waiting), &[]).await;
        assert_eq!(next().await, "ended");
        let lead = Staff::signs_in(practice, house.lead.member.clone()).await;
        lead.opens("/practice/envelope").await.must_say("ended by itself");
    })
    .await;
}

#[tokio::test]
async fn any_lead_ends_a_look_at_once_open_streams_too() {
    on_each_engine(async |practice| {
        let house = house(practice).await;
        let practice = &house.practice;
        let look = opens_envelope(practice, &house.lead, "Kim Vale").await;
        let id = looks(practice).await[0].id;
        let request = from_our_page(Method::GET, "/look/queue/stream", &look).body(Body::empty()).unwrap();
        let mut line = practice.router.clone().oneshot(request).await.unwrap().into_body();
        assert!(line.frame().await.is_some(), "the first beat");
        let other = practice.staff("Ida Moor", Roles { lead: true, ..Roles::default() }).await;
        let end = format!("/practice/envelope/{id}/end");
        house.surgeon.presses(&end, &[]).await.must_say("Not part of your role");
        other.opens("/practice/envelope").await.must_say("Kim Vale").must_say("End it now");
        other.presses(&end, &[]).await.is_fine();
        assert!(line.frame().await.is_none(), "the stream goes on");
        assert_eq!(looks_at(practice, &look, "/look/queue").await.leads_to(), "/envelope");
        assert_eq!(other.presses(&end, &[]).await.status, StatusCode::CONFLICT);
        other.opens("/practice/envelope").await.must_say("ended by Ida Moor");
    })
    .await;
}

/// Somebody who is texted.
async fn is_reached(practice: &Practice, staff: &Staff, number: &str) {
    let moment = practice.moment();
    let address = StaffAddress {
        id: closewatch::ids::StaffAddressId::mint(&moment),
        practice: practice.id,
        staff: staff.member.id,
        channel: Reached::Sms,
        address: number.to_owned(),
        place: 1,
        since: moment.now,
    };
    let mut tx = practice.desk().db.write().await.unwrap();
    addresses::insert(&mut tx, &address).await.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn everybody_on_staff_is_told_at_once_and_until_a_lead_has_noted_what_happened() {
    on_each_engine(async |practice| {
        let house = house(practice).await;
        let practice = &house.practice;
        let office = practice.office().await;
        for (staff, number) in
            [(&house.lead, "2025550160"), (&house.surgeon, "2025550161"), (&office, "2025550162")]
        {
            is_reached(practice, staff, number).await;
        }
        practice.works().await;
        assert!(open_alarms(practice, AlarmKind::EnvelopeOpened).await.is_empty());
        opens_envelope(practice, &house.lead, "Kim Vale").await;
        let id = looks(practice).await[0].id;
        let open = open_alarms(practice, AlarmKind::EnvelopeOpened).await;
        let [alarm] = &open[..] else { panic!("{open:?}") };
        // Nothing had to come round first: the letters are queued with the opening.
        let about = format!("alarm:{} time:1", alarm.id);
        let told = notices::about(&mut *practice.books().await, practice.id, &about).await.unwrap();
        assert_eq!(told.len(), 3, "lead, surgeon and office");
        assert!(told.iter().all(|notice| notice.kind == NoticeKind::Alarm && notice.due == practice.now()));
        for staff in [&house.surgeon, &office, &house.lead] {
            let page = staff.opens("/alarms").await;
            page.must_say("Somebody opened the sealed envelope")
                .must_say("Kim Vale: the surgeons are cut off");
        }
        office.opens("/patients").await.must_say("1 alarm.");
        // It is told again until somebody takes it, and it stays when they did, and when the look is over.
        practice.minutes_of_work_pass(16).await;
        let about = format!("alarm:{} time:2", alarm.id);
        assert_eq!(notices::about(&mut *practice.books().await, practice.id, &about).await.unwrap().len(), 3);
        let surgeon = Staff::signs_in(practice, house.surgeon.member.clone()).await;
        surgeon.presses(&format!("/alarms/{}/take", alarm.id), &[]).await.is_fine();
        surgeon.presses(&format!("/alarms/{}/end", alarm.id), &[]).await;
        practice.minutes_of_work_pass(60).await;
        assert_eq!(open_alarms(practice, AlarmKind::EnvelopeOpened).await.len(), 1);
        let lead = Staff::signs_in(practice, house.lead.member.clone()).await;
        let note = format!("/practice/envelope/{id}/note");
        let page = lead.presses(&note, &[("note", " ")]).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        page.must_say("Say who it was");
        lead.presses(&note, &[("note", "Kim is the night nurse: rang both patients.")]).await.is_fine();
        assert!(open_alarms(practice, AlarmKind::EnvelopeOpened).await.is_empty());
        lead.opens("/practice/envelope")
            .await
            .must_say("Kim is the night nurse")
            .must_say("noted by Lee Park");
        assert_eq!(lead.presses(&note, &[("note", "again")]).await.status, StatusCode::CONFLICT);
    })
    .await;
}

#[tokio::test]
async fn each_page_looked_at_stands_in_the_record_under_the_name_that_was_typed() {
    on_each_engine(async |practice| {
        let house = house(practice).await;
        let practice = &house.practice;
        let look = opens_envelope(practice, &house.lead, "Kim Vale").await;
        let id = looks(practice).await[0].id;
        looks_at(practice, &look, "/look/queue").await;
        looks_at(practice, &look, "/look/queue?fragment=1").await;
        looks_at(practice, &look, &format!("/look/checks/{}", house.waiting)).await;
        looks_at(practice, &look, &format!("/look/photos/{}/full", house.photo)).await;
        let lines = audit::newest(&mut *practice.books().await, practice.id, 100).await.unwrap();
        let mut of_look: Vec<(&str, &str)> = lines
            .iter()
            .filter(|line| line.actor == format!("look:{id}"))
            .map(|line| (line.action.as_str(), line.subject.split(':').next().unwrap()))
            .collect();
        of_look.reverse();
        assert_eq!(
            of_look,
            [
                ("envelope.open", "sealed_code"),
                ("queue.view", "practice"),
                ("check.view", "check"),
                ("photo.view", "photo")
            ]
        );
        let record = house.lead.opens("/practice/record").await;
        record.must_say("Kim Vale (sealed code)").must_say("opened the envelope");
        assert_eq!(audit::first_break(&mut *practice.books().await, practice.id).await.unwrap(), None);
        // The name is beside the record, and not in it: a line can never be taken out again.
        assert!(lines.iter().all(|line| !format!("{line:?}").contains("Kim Vale")));
    })
    .await;
}

#[tokio::test]
async fn parts_of_the_queue_and_small_photos_asked_for_alone_stand_in_the_record_too() {
    on_each_engine(async |practice| {
        let house = house(practice).await;
        let practice = &house.practice;
        let small = format!("/look/photos/{}/small", house.photo);
        let full = format!("/look/photos/{}/full", house.photo);
        let lines_of_newest = async || {
            let actor = format!("look:{}", looks(practice).await[0].id);
            let mut lines = audit::newest(&mut *practice.books().await, practice.id, 100).await.unwrap();
            lines.reverse();
            let of_look = lines.into_iter().filter(|line| line.actor == actor);
            of_look.map(|line| (line.action, line.detail)).collect::<Vec<_>>()
        };
        let line = |action: &str, detail: &str| (action.to_owned(), detail.to_owned());
        let mut expected = vec![line("envelope.open", "")];
        let look = opens_envelope(practice, &house.lead, "Kim Vale").await;
        for (path, leaves) in [
            // What an address says of itself is not believed: nobody opened the page before.
            ("/look/queue?fragment=1", Some(line("queue.view", ""))),
            ("/look/queue?fragment=1", None),
            ("/look/queue?fragment=1&name=Mia", Some(line("queue.view", "narrowed"))),
            ("/look/queue?fragment=1&name=Mia", Some(line("queue.view", "narrowed"))),
            ("/look/queue?class=go_now", Some(line("queue.view", "narrowed"))),
            ("/look/queue", Some(line("queue.view", ""))),
            (&small, Some(line("photo.view", "small"))),
            (&small, None),
            (&full, Some(line("photo.view", ""))),
            (&full, Some(line("photo.view", ""))),
            (&small, None),
        ] {
            looks_at(practice, &look, path).await.is_fine();
            expected.extend(leaves);
            assert_eq!(lines_of_newest().await, expected, "{path}");
        }
        // What one look has a line for says nothing of the next.
        practice.seconds_pass(1);
        let second = opens_envelope(practice, &house.lead, "Ida Moor").await;
        looks_at(practice, &second, "/look/queue?fragment=1").await.is_fine().must_say("Mia Stone");
        looks_at(practice, &second, &small).await.is_fine();
        let of_second = [line("envelope.open", ""), line("queue.view", ""), line("photo.view", "small")];
        assert_eq!(lines_of_newest().await, of_second);
    })
    .await;
}

#[tokio::test]
async fn wrong_codes_are_slowed_by_address_and_told_and_the_right_one_opens_from_elsewhere() {
    on_each_engine(async |practice| {
        let house = house(practice).await;
        let practice = &house.practice;
        let code = prints_code(&house.lead).await;
        for number in 0..wrong_codes::WRONG {
            let typed =
                if number == 0 { mistyped(&code) } else { format!("AAAA-BBBB-CCCC-DDDD-000{number}") };
            let page = types_from(practice, "192.0.2.7", &typed).await;
            assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
            page.must_say("That code opens nothing.");
            assert_eq!(page.field("name").as_deref(), Some("Kim Vale"), "what was typed is kept");
            assert!(!page.html().contains(&typed), "but for the code");
        }
        // Even the right one is not looked at now from there, and is from elsewhere.
        let page = types_from(practice, "192.0.2.7", &code).await;
        assert_eq!(page.status, StatusCode::TOO_MANY_REQUESTS);
        assert_eq!(page.headers[header::RETRY_AFTER], "600");
        page.must_say("Wait 10 min").must_say("nothing is locked");
        let wrong = actions(practice).await.into_iter().filter(|action| action == "envelope.wrong").count();
        assert_eq!(wrong, 1, "the one that had the right beginning");
        for _ in wrong_codes::WRONG..wrong_codes::ALARM_AT {
            types_from(practice, "192.0.2.8", "AAAA-BBBB-CCCC-DDDD-EEEE").await;
        }
        practice.minutes_of_work_pass(1).await;
        assert_eq!(open_alarms(practice, AlarmKind::EnvelopeGuessed).await.len(), 1);
        assert!(types_from(practice, "192.0.2.9", &code).await.cookie().is_some());
        practice.minutes_of_work_pass(61).await;
        assert!(open_alarms(practice, AlarmKind::EnvelopeGuessed).await.is_empty());
    })
    .await;
}

#[tokio::test]
async fn many_at_once_open_it_once_and_a_form_half_filled_in_does_not_use_it_up() {
    on_each_engine(async |practice| {
        let house = house(practice).await;
        let practice = &house.practice;
        let code = prints_code(&house.lead).await;
        for (name, reason, words) in
            [("", "cut off", "Type your own name"), ("Kim Vale", " ", "Say why nobody can sign in")]
        {
            let fields = [("code", code.as_str()), ("name", name), ("reason", reason)];
            let page = presses(practice, "/envelope", "", &fields).await;
            assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
            page.must_say(words).must_say("The code was not looked at yet");
        }
        let moment = practice.moment();
        let opening = Opening { code: &code, name: "Kim Vale", reason: "cut off", browser: "", from: None };
        let tries = (0..8).map(|_| envelope::open(practice.desk(), opening, &moment));
        let opened = futures::future::join_all(tries).await;
        let tokens = opened.iter().filter(|one| matches!(one, Ok(Some(_)))).count();
        assert_eq!(tokens, 1, "{opened:?}");
        let others = opened.iter().all(|one| matches!(one, Ok(_) | Err(CareError::TooMany { .. })));
        assert!(others, "{opened:?}");
        assert_eq!(looks(practice).await.len(), 1);
    })
    .await;
}

#[tokio::test]
async fn printing_asks_for_the_second_step_again_and_is_for_leads_alone() {
    let place = Place::sqlite();
    let house = house(Practice::open(&place).await).await;
    let practice = &house.practice;
    let refused = envelope::print(practice.desk(), &house.surgeon.member, &practice.moment()).await;
    assert!(matches!(refused, Err(CareError::NotAllowed)));
    practice.minutes_pass(6);
    let page = house.lead.presses("/practice/envelope", &[]).await;
    assert_eq!(page.status, StatusCode::FORBIDDEN);
    page.must_not_say("Sealed code of");
    house.lead.opens("/practice/envelope").await.must_say("There is no code.");
}

#[tokio::test]
async fn no_code_name_or_reason_stands_in_the_log_or_in_what_is_sent_and_the_books_hold_no_code() {
    let (log, _listening) = Log::of_the_thread();
    let place = Place::sqlite();
    let house = house(Practice::open(&place).await).await;
    let practice = &house.practice;
    is_reached(practice, &house.surgeon, "2025550161").await;
    let code = prints_code(&house.lead).await;
    types_code(practice, &mistyped(&code), "Zoe Quill").await;
    let look = types_code(practice, &code, "Zoe Quill").await.cookie().unwrap();
    looks_at(practice, &look, "/look/queue").await;
    practice.minutes_of_work_pass(2).await;
    let log = log.text();
    assert!(log.contains("/look/queue"), "the log is listened to");
    let letters = sent_letters(practice);
    assert!(!letters.is_empty(), "a letter went out");
    let (token, bare) = (look.split_once('=').unwrap().1, code.replace('-', ""));
    for (what, secret) in [
        ("the code", code.as_str()),
        ("the code", &bare),
        ("its secret", &bare[4..]),
        ("the name", "Zoe Quill"),
        ("the reason", "cut off"),
        ("the cookie", token),
    ] {
        assert!(!log.contains(secret), "the log holds {what}");
        assert!(!letters.contains(secret), "a letter holds {what}");
    }
    let rows = rows_of(&mut *practice.books().await, practice.id).await;
    let all: String = rows.values().flatten().cloned().collect();
    assert!(!all.contains(&bare[4..]) && !all.contains(token), "the books hold a secret");
    assert!(all.contains("Zoe Quill"));
}

fn sent_letters(practice: &Practice) -> String {
    let Ok(folder) = std::fs::read_dir(&practice.letters) else { return String::new() };
    folder.map(|entry| std::fs::read_to_string(entry.unwrap().path()).unwrap()).collect()
}
