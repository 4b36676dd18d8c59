//! The record: a tour of the house leaves exactly the lines it should, whoever is turned away leaves one, and a lead finds them.

use axum::http::StatusCode;
use sqlx::Row;

use closewatch::care::review;
use closewatch::care::turned_away;
use closewatch::ids::DeliveryId;
use closewatch::store::addresses::Reached;
use closewatch::store::audit;
use closewatch::store::audit::AuditEntry;
use closewatch::store::deliveries;
use closewatch::store::deliveries::Delivery;
use closewatch::store::deliveries::DeliveryState;
use closewatch::store::ladders;
use closewatch::store::notices;
use closewatch::store::notices::NoticeKind;
use closewatch::store::notices::Recipient;
use closewatch::store::photos;
use closewatch::store::staff::Roles;
use closewatch::triage::Decision;
use closewatch::triage::LadderKind;
use closewatch::words::Language;

use crate::support;
use crate::support::*;

async fn lines(practice: &Practice) -> Vec<AuditEntry> {
    let mut lines = audit::newest(&mut *practice.books().await, practice.id, 100_000).await.unwrap();
    lines.reverse();
    lines
}

/// What was noted since, in order.
struct Since {
    seen: usize,
}

impl Since {
    async fn added(&mut self, practice: &Practice) -> Vec<String> {
        let all = lines(practice).await;
        let new = all[self.seen..].iter().map(|line| line.action.clone()).collect();
        self.seen = all.len();
        new
    }
}

/// Notes what one step of the tour is to leave, and compares.
macro_rules! leaves {
    ($told:ident, $since:ident, $practice:expr, $($action:literal),+ $(,)?) => {
        assert_eq!($since.added($practice).await, [$($action),+]);
        $told.extend([$($action),+]);
    };
}

#[tokio::test]
async fn a_tour_of_more_than_forty_acts_leaves_exactly_its_kinds_of_line_in_order() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let p = &practice;
    let mut told: Vec<&str> = Vec::new();
    let mut since = Since { seen: lines(p).await.len() };

    // Coming in.
    let name = "Dr. Rosa Lind";
    let everything = Roles { surgeon: true, office: true, lead: true };
    let member = p.hires(name, everything).await;
    let wrong = [("sign_in_name", member.sign_in_name.as_str()), ("password", "not this one at all")];
    presses(p, "/sign-in", "", &wrong).await;
    leaves!(told, since, p, "sign_in.wrong");
    let nobody = [("sign_in_name", "nobody of this name"), ("password", "not this one at all")];
    presses(p, "/sign-in", "", &nobody).await;
    leaves!(told, since, p, "sign_in.unknown");
    p.minutes_pass(2);
    let surgeon = Staff::signs_in(p, member.clone()).await;
    leaves!(told, since, p, "sign_in.half", "sign_in");
    let office = p.office().await;
    leaves!(told, since, p, "sign_in.half", "sign_in");

    // A patient and their link.
    let patient = office.enrols("Mia Stone", &surgeon).await;
    leaves!(told, since, p, "patient.enrol", "link.issue");
    let (own, wound) = (patient.enrolled.patient.id, patient.enrolled.wound.id);
    office.opens("/patients").await.is_fine();
    leaves!(told, since, p, "patients.view");
    office.opens(&format!("/patients/{own}")).await.is_fine();
    leaves!(told, since, p, "patient.view");
    let contacts =
        [("phone", "202-555-0144"), ("helper_name", "Ann"), ("helper_phone", ""), ("interpreter", "")];
    office.presses(&format!("/patients/{own}/contacts"), &contacts).await.is_fine();
    leaves!(told, since, p, "patient.contacts");
    office.opens(&format!("/wounds/{wound}/plan")).await.is_fine();
    leaves!(told, since, p, "plan.view");
    let phone = patient.opens_link().await;
    leaves!(told, since, p, "link.open");
    phone.presses("/my/pin", &[("pin", "000000")]).await;
    leaves!(told, since, p, "pin.wrong");
    p.minutes_pass(2);
    phone.types_pin().await;
    leaves!(told, since, p, "pin.right");

    // A check, looked at and answered.
    let check = phone.sends("form", no_danger(), &[photo(1)]).await.check;
    leaves!(told, since, p, "check.receive", "photo.receive", "check.amend");
    surgeon.opens("/queue").await.is_fine();
    leaves!(told, since, p, "queue.view");
    surgeon.presses(&format!("/checks/{check}/open"), &[]).await.is_fine();
    leaves!(told, since, p, "check.claim");
    surgeon.opens(&format!("/checks/{check}")).await.is_fine();
    leaves!(told, since, p, "check.view");
    surgeon.opens(&format!("/checks/{check}/why")).await.is_fine();
    leaves!(told, since, p, "check.explain");
    let photo = photos::of_check(&mut *p.books().await, p.id, check).await.unwrap()[0].id;
    surgeon.opens(&format!("/photos/{photo}/full")).await.is_fine();
    leaves!(told, since, p, "photo.view");
    surgeon.presses(&format!("/checks/{check}/release"), &[]).await.is_fine();
    leaves!(told, since, p, "check.release");
    surgeon.decides(check, Decision::CallByOffice, "We ring you.").await.unwrap();
    leaves!(told, since, p, "check.claim", "check.decide");
    surgeon.presses(&format!("/checks/{check}/correct"), &[("about", ""), ("words", "left")]).await.is_fine();
    leaves!(told, since, p, "correction.add");

    // The call, and the patient's side.
    let call = office.reads_callbacks().await.remove(0).callback.id;
    leaves!(told, since, p, "callbacks.view");
    office.opens(&format!("/callbacks/{call}")).await.is_fine();
    leaves!(told, since, p, "callback.view");
    let missed = [("result", "no_answer"), ("whom", "patient"), ("interpreter", "not_needed")];
    office.presses(&format!("/callbacks/{call}/attempts"), &missed).await.is_fine();
    leaves!(told, since, p, "callback.attempt");
    phone.opens("/my/answers").await.is_fine();
    leaves!(told, since, p, "thread.view");
    let html = phone.opens("/my/answers").await.html();
    let message = html.split("action=\"/my/answers/").nth(1).unwrap().split('/').next().unwrap().to_owned();
    phone.presses(&format!("/my/answers/{message}/read"), &[]).await.is_fine();
    leaves!(told, since, p, "thread.view", "message.read");
    phone.presses("/my/answers", &[("form_key", "k"), ("question", "And now?")]).await.is_fine();
    leaves!(told, since, p, "message.ask", "thread.view");

    // Lists, figures, settings.
    office.opens("/silence").await.is_fine();
    leaves!(told, since, p, "silence.list");
    office.opens(&format!("/wounds/{wound}/hand-off")).await.is_fine();
    leaves!(told, since, p, "hand_off.view");
    office.opens("/alarms").await.is_fine();
    leaves!(told, since, p, "alarms.view");
    surgeon.opens("/practice/figures").await.is_fine();
    leaves!(told, since, p, "figures.view");
    let fresh = Staff::signs_in(p, member.clone()).await;
    leaves!(told, since, p, "sign_in.half", "sign_in");
    fresh.opens("/practice/figures/shares.csv").await.is_fine();
    leaves!(told, since, p, "figures.download");
    fresh.opens("/practice/record").await.is_fine();
    leaves!(told, since, p, "record.view");
    let measuring = [("measuring", "off"), ("first_id", "0"), ("last_id", "9"), ("ruler_mm", "100")];
    fresh.presses("/practice/measuring", &measuring).await.is_fine();
    leaves!(told, since, p, "measuring.set");
    fresh
        .presses("/practice/drill", &[("weekday", ""), ("time", ""), ("queue_oldest_hours", "24")])
        .await
        .is_fine();
    leaves!(told, since, p, "watch.set");
    fresh.presses(&format!("/practice/staff/{}/photos/on", office.member.id), &[]).await.is_fine();
    leaves!(told, since, p, "staff.photos_on");
    fresh.presses(&format!("/practice/staff/{}/photos/off", office.member.id), &[]).await.is_fine();
    leaves!(told, since, p, "staff.photos_off");

    // Copies.
    fresh.presses(&format!("/wounds/{wound}/copy"), &[("copy", "patient")]).await.is_fine();
    leaves!(told, since, p, "export.make");
    // Nobody else could agree.
    fresh.presses("/practice/export", &[("what", "everything")]).await;
    leaves!(told, since, p, "export.refused");

    // Doors that do not open, and a limit.
    office.opens("/queue").await;
    leaves!(told, since, p, "door.refused");
    p.minutes_pass(6);
    fresh.opens("/practice/figures/shares.csv").await;
    leaves!(told, since, p, "door.second_step");
    support::opens(p, "/queue", "").await;
    leaves!(told, since, p, "door.strangers");
    for _ in 0..7 {
        phone.presses("/my/pin", &[("pin", "000000")]).await;
    }
    let after = since.added(p).await;
    assert!(after.iter().any(|action| action == "limit.hit"), "{after:?}");
    told.push("limit.hit");
    office.presses(&format!("/links/{}/revoke", patient.issued.link.id), &[]).await.is_fine();
    leaves!(told, since, p, "link.revoke");
    office.presses("/sign-out", &[]).await.is_fine();
    leaves!(told, since, p, "sign_out");

    told.sort_unstable();
    told.dedup();
    assert!(told.len() >= 40, "{} kinds: {told:?}", told.len());
    // Each of them in words, on the lead's page.
    let lead = Staff::signs_in(p, member).await;
    let page = lead.opens("/practice/record").await;
    for spoken in [
        "noted a correction beside",
        "was turned away at a door of",
        "turned strangers away at doors of",
        "took a copy of",
    ] {
        page.must_say(spoken);
    }
    assert_eq!(audit::first_break(&mut *p.books().await, p.id).await.unwrap(), None);
}

#[tokio::test]
async fn a_flood_of_refused_doors_is_a_line_a_minute_for_each_person_and_door() {
    on_each_engine(async |practice| {
        let (office, lead) = (practice.office().await, practice.lead().await);
        let before = lines(&practice).await.len();
        for _ in 0..200 {
            assert_eq!(office.opens("/queue").await.status, StatusCode::FORBIDDEN);
        }
        office.opens("/practice/record").await;
        lead.opens("/queue").await;
        let new = lines(&practice).await.split_off(before);
        assert_eq!(new.len(), 3, "{new:?}");
        assert!(new.iter().all(|line| line.action == "door.refused"));
        assert_eq!(new[0].actor, format!("staff:{}", office.member.id));
        assert_eq!(new[0].detail, "door=/queue method=GET times=1");
        practice.seconds_pass(60);
        office.opens("/queue").await;
        let last = lines(&practice).await.pop().unwrap();
        assert_eq!(
            last.detail, "door=/queue method=GET times=200",
            "the 199 that were not told, and this one"
        );
    })
    .await;
}

#[tokio::test]
async fn behind_a_door_too_a_refusal_is_a_line_and_no_address_stands_in_it() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (lead, surgeon) = (practice.lead().await, practice.surgeon().await);
    lead.presses("/practice/export", &[("what", "everything")]).await.is_fine();
    let id = closewatch::store::export_agreements::newest(&mut *practice.books().await, practice.id, 1)
        .await
        .unwrap()[0]
        .id;
    let page = lead.presses(&format!("/practice/export/{id}/agree"), &[("agree", "yes")]).await;
    assert_eq!(page.status, StatusCode::FORBIDDEN);
    let last = lines(&practice).await.pop().unwrap();
    assert_eq!(last.action, "door.refused");
    assert_eq!(last.detail, "door=/practice/export/{id}/agree method=POST times=1");
    let secret = "/k/AAAAAAAAAAAAAAAAAAAAAAAAAAA";
    for _ in 0..30 {
        support::presses(&practice, secret, "", &[]).await;
    }
    let all = lines(&practice).await;
    assert!(all.iter().all(|line| !line.detail.contains("AAAA") && !line.subject.contains("AAAA")));
    let _ = surgeon;
}

#[tokio::test]
async fn strangers_fill_no_books_however_often_they_come() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    practice.office().await;
    let before = lines(&practice).await.len();
    for door in ["/queue", "/patients", "/practice", "/my", "/alarms"] {
        for _ in 0..40 {
            support::opens(&practice, door, "").await;
        }
    }
    let new = lines(&practice).await.split_off(before);
    assert_eq!(new.len(), 1, "{new:?}");
    assert_eq!((new[0].action.as_str(), new[0].actor.as_str()), ("door.strangers", "program"));
    practice.minutes_pass(turned_away::STRANGERS_EVERY.as_secs() / 60);
    support::opens(&practice, "/queue", "").await;
    assert_eq!(lines(&practice).await.pop().unwrap().detail, "times=200");
}

#[tokio::test]
async fn a_change_that_came_from_another_site_is_a_line_too() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let office = practice.office().await;
    let before = lines(&practice).await.len();
    for _ in 0..20 {
        let request = axum::http::Request::builder()
            .method("POST")
            .uri("/sign-out")
            .header("host", "wounds.example")
            .header("cookie", &office.cookie)
            .header("sec-fetch-site", "cross-site")
            .body(axum::body::Body::empty())
            .unwrap();
        assert_eq!(send(&practice.router, request).await.status, StatusCode::FORBIDDEN);
    }
    let new = lines(&practice).await.split_off(before);
    assert_eq!(new.len(), 1, "{new:?}");
    assert_eq!((new[0].action.as_str(), new[0].detail.as_str()), ("door.elsewhere", "times=1"));
}

/// The numbers of the lines on a page of the record, from the top.
fn shown(page: &Page) -> Vec<i64> {
    let html = page.html();
    let rows = html.split("<tbody>").nth(1).unwrap().split("</tbody>").next().unwrap().to_owned();
    rows.split("<tr><td>").skip(1).map(|row| row.split('<').next().unwrap().parse().unwrap()).collect()
}

#[tokio::test]
async fn a_lead_finds_lines_by_person_kind_day_and_patient_and_turns_pages() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let lead = practice.lead().await;
        let mia = office.enrols("Mia Stone", &surgeon).await;
        let ned = office.enrols("Ned Gray", &surgeon).await;
        let receipt = mia.opens_link().await.sends("form", no_danger(), &[jpeg(1)]).await;
        ned.opens_link().await.sends("form", no_danger(), &[]).await;
        review::view(practice.desk(), &surgeon.member, receipt.check, practice.now()).await.unwrap();
        practice.minutes_pass(24 * 60);
        let lead = Staff::signs_in(&practice, lead.member.clone()).await;
        let office = Staff::signs_in(&practice, office.member.clone()).await;
        office.opens("/patients").await.is_fine();
        let all = lines(&practice).await;
        let finds = async |query: &str| lead.opens(&format!("/practice/record?{query}")).await;
        let numbers = |wanted: &dyn Fn(&AuditEntry) -> bool| {
            let mut found: Vec<i64> =
                all.iter().filter(|line| wanted(line)).map(|line| line.sequence).collect();
            found.reverse();
            found
        };
        // Lines that looking itself leaves come after these.
        let of_before = |page: &Page| {
            shown(page).into_iter().filter(|line| *line <= all.len() as i64).collect::<Vec<_>>()
        };

        let who = format!("staff:{}", surgeon.member.id);
        let page = finds(&format!("person={}", surgeon.member.id)).await;
        assert_eq!(of_before(&page), numbers(&|line| line.actor == who));
        let page = finds("kind=sign_ins").await;
        let of_sign_in = ["sign_in", "sign_out", "second_step."];
        assert_eq!(
            of_before(&page),
            numbers(&|line| of_sign_in.iter().any(|begins| line.action.starts_with(begins)))
        );
        let page = finds("from=2026-03-11&until=2026-03-11").await;
        let midnight: jiff::Timestamp = "2026-03-11T04:00:00Z".parse().unwrap();
        assert_eq!(of_before(&page), numbers(&|line| line.at >= midnight));
        let page = finds("until=2026-03-10").await;
        assert_eq!(of_before(&page), numbers(&|line| line.at < midnight));

        // By patient: the reference on their page, or the number of a check; the lead sees no name.
        let own = surgeon_opens(&practice, &surgeon, &mia).await;
        let reference = own.words().split("reference ").nth(1).unwrap().split(' ').next().unwrap().to_owned();
        let mut by_reference = of_before(&finds(&format!("patient={reference}")).await);
        let by_receipt = of_before(&finds(&format!("patient={}", receipt.code)).await);
        assert_eq!(by_reference, by_receipt);
        by_reference.reverse();
        let found: Vec<&str> =
            by_reference.iter().map(|number| all[*number as usize - 1].action.as_str()).collect();
        assert_eq!(
            found,
            // The photo makes it another check than the answers alone were.
            [
                "patient.enrol",
                "link.issue",
                "link.open",
                "check.receive",
                "photo.receive",
                "check.amend",
                "check.view"
            ]
        );
        finds(&format!("patient={reference}")).await.must_not_say("Mia");
        let nobody = finds("patient=zzzzzz").await;
        assert_eq!(nobody.status, StatusCode::UNPROCESSABLE_ENTITY);
        nobody.must_say("No patient has this reference.");
        assert_eq!(finds("from=yesterday").await.status, StatusCode::UNPROCESSABLE_ENTITY);

        // Pages: every line once, whatever is added meanwhile.
        for _ in 0..150 {
            finds("kind=exports").await;
        }
        let (mut seen, mut path) = (Vec::new(), "/practice/record?kind=lists".to_owned());
        for _ in 0..10 {
            let page = lead.opens(&path).await;
            seen.extend(shown(&page));
            let html = page.html();
            let Some(at) = html.find(">Older lines<") else { break };
            path = attribute(html[..at].rsplit("<a").next().unwrap(), "href").unwrap();
        }
        let mut once = seen.clone();
        once.dedup();
        assert!(seen.len() > 150 && once == seen && seen.is_sorted_by(|one, next| one > next));
        let looks = lines(&practice).await.into_iter().filter(|line| line.action == "record.view").count();
        assert!(looks > 150, "looking is a line: {looks}");
        assert_eq!(office.opens("/practice/record").await.status, StatusCode::FORBIDDEN);
    })
    .await;
}

/// What was sent to a patient's link, and the calling about what did not come from them: a line about each thing. What they are about.
async fn is_told_and_called_about(practice: &Practice, office: &Staff, patient: &Patient) -> Vec<String> {
    let (silent, antibiotic) = goes_silent(practice, &office.member, patient.enrolled.wound.id).await;
    let moment = practice.moment();
    let mut tx = practice.desk().db.write().await.unwrap();
    let to = Recipient::Link(patient.issued.link.id);
    assert!(
        notices::enqueue(&mut tx, practice.id, NoticeKind::AnswerReady, to, "thread", &moment).await.unwrap()
    );
    let row = sqlx::query(
        "SELECT notice.id AS notice, job.id AS job FROM notice JOIN job ON job.about = notice.id \
         WHERE notice.recipient = $1",
    )
    .bind(to.to_string())
    .fetch_one(&mut *tx)
    .await
    .unwrap();
    let (notice, job): (String, String) = (row.try_get("notice").unwrap(), row.try_get("job").unwrap());
    let letter = Delivery {
        id: DeliveryId::mint(&moment),
        practice: practice.id,
        notice: notice.parse().unwrap(),
        channel: Reached::Sms,
        address: "202-555-0143".to_owned(),
        language: Language::English,
        subject: String::new(),
        body: "An answer is here.".to_owned(),
        state: DeliveryState::Waiting,
        tries: 0,
        sent_with: None,
        provider_id: None,
        why: String::new(),
        queued: moment.now,
        sent: None,
        delivered: None,
    };
    assert!(deliveries::insert(&mut tx, &letter).await.unwrap());
    let mut told = vec![
        ("notice.nobody", format!("notice:{notice}")),
        ("letter.dead", format!("delivery:{}", letter.id)),
        ("job.give_up", format!("job:{job}")),
    ];
    for about in [format!("silence:{silent}"), format!("antibiotic:{antibiotic}")] {
        let ladder =
            ladders::begin(&mut tx, practice.id, &about, LadderKind::RingNow, &moment).await.unwrap();
        told.push(("ladder.rung", format!("ladder:{}", ladder.id)));
    }
    for (action, subject) in &told {
        let note = audit::Note { actor: "program", action, subject, detail: "" };
        audit::append(&mut tx, practice.id, &note, moment.now).await.unwrap();
    }
    tx.commit().await.unwrap();
    told.into_iter().map(|(_, subject)| subject).collect()
}

#[tokio::test]
async fn what_was_sent_to_a_patient_and_the_calling_about_their_silence_are_found_by_the_patient() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let lead = practice.lead().await;
        let mia = office.enrols("Mia Stone", &surgeon).await;
        let ned = office.enrols("Ned Gray", &surgeon).await;
        let of_mia = is_told_and_called_about(&practice, &office, &mia).await;
        let of_ned = is_told_and_called_about(&practice, &office, &ned).await;
        let all = lines(&practice).await;
        for (patient, own, others) in [(&mia, &of_mia, &of_ned), (&ned, &of_ned, &of_mia)] {
            let id = patient.enrolled.patient.id;
            let page = lead.opens(&format!("/practice/record?patient={id}")).await;
            let found: Vec<&str> = all
                .iter()
                .filter(|line| shown(&page).contains(&line.sequence))
                .map(|line| line.subject.as_str())
                .collect();
            for subject in own {
                assert!(found.contains(&subject.as_str()), "{subject}: {found:?}");
            }
            assert!(others.iter().all(|subject| !found.contains(&subject.as_str())), "{found:?}");
        }
        // By kind and patient at once, and by person and patient.
        let id = mia.enrolled.patient.id;
        let page = lead.opens(&format!("/practice/record?patient={id}&kind=ladders")).await;
        let ladders: Vec<i64> = all
            .iter()
            .rev()
            .filter(|line| of_mia.contains(&line.subject))
            .map(|line| line.sequence)
            .collect();
        assert_eq!(shown(&page), ladders);
        let who = office.member.id;
        let page = lead.opens(&format!("/practice/record?patient={id}&person={who}")).await;
        assert!(shown(&page).iter().all(|number| all[*number as usize - 1].actor == format!("staff:{who}")));
        assert!(!shown(&page).is_empty(), "the enrolment at least");
    })
    .await;
}

async fn surgeon_opens(practice: &Practice, surgeon: &Staff, patient: &Patient) -> Page {
    let surgeon = Staff::signs_in(practice, surgeon.member.clone()).await;
    surgeon.opens(&format!("/patients/{}", patient.enrolled.patient.id)).await
}
