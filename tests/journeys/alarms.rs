//! What nobody sees to yet: told on every page, taken with one press, and the work behind it in a lead's hands.

use axum::http::StatusCode;

use closewatch::care::review;
use closewatch::care::working;
use closewatch::ids::StaffAddressId;
use closewatch::store::addresses;
use closewatch::store::addresses::Reached;
use closewatch::store::addresses::StaffAddress;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::audit;
use closewatch::store::deliveries;
use closewatch::store::deliveries::DeliveryState;
use closewatch::store::jobs;
use closewatch::store::jobs::JobKind;
use closewatch::store::jobs::JobState;
use closewatch::store::ladders;
use closewatch::store::notices;
use closewatch::store::notices::NoticeKind;
use closewatch::store::notices::Recipient;
use closewatch::store::staff::Roles;

use crate::support::Page;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::in_danger;
use crate::support::on_each_engine;

const SURGEON: Roles = Roles { surgeon: true, office: false, lead: false };

async fn is_reached(practice: &Practice, who: &Staff, channel: Reached, address: &str) {
    let moment = practice.moment();
    let address = StaffAddress {
        id: StaffAddressId::mint(&moment),
        practice: practice.id,
        staff: who.member.id,
        channel,
        address: address.to_owned(),
        place: 1,
        since: moment.now,
    };
    let mut tx = practice.desk().db.write().await.unwrap();
    assert!(addresses::insert(&mut tx, &address).await.unwrap());
    tx.commit().await.unwrap();
}

async fn emergency_of(name: &str, office: &Staff, surgeon: &Staff) -> String {
    let phone = office.enrols(name, surgeon).await.opens_link().await;
    phone.sends("urgent", in_danger(), &[]).await.check.to_string()
}

async fn running_ladder(practice: &Practice) -> String {
    let all = ladders::all_running(&mut *practice.books().await, practice.id).await.unwrap();
    assert_eq!(all.len(), 1, "{all:?}");
    all[0].id.to_string()
}

async fn actions(practice: &Practice) -> Vec<String> {
    let lines = audit::newest(&mut *practice.books().await, practice.id, 200).await.unwrap();
    lines.into_iter().map(|line| line.action).collect()
}

/// The strip at the top of a page.
fn strip(page: &Page) -> bool {
    page.html().contains("class=\"strip")
}

#[tokio::test]
async fn an_emergency_stands_on_every_staff_page_until_somebody_sees_to_it() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let lead = practice.lead().await;
        assert!(!strip(&surgeon.opens("/queue").await));
        emergency_of("Mia Stone", &office, &surgeon).await;
        let pages = [
            (&surgeon, "/queue"),
            (&surgeon, "/queue?fragment=1"),
            (&office, "/patients"),
            (&lead, "/practice"),
            (&lead, "/me"),
        ];
        for (who, path) in pages {
            let page = who.opens(path).await;
            page.must_say("An emergency waits and nobody sees to it yet.").must_say("See to it");
        }
        is_reached(&practice, &surgeon, Reached::Sms, "+12025550150").await;
        practice.minutes_of_work_pass(6).await;
        let page = surgeon.opens("/alarms").await;
        page.must_say("Check of Mia Stone")
            .must_say("Emergency")
            .must_say("whoever is on duty: Dr. Rosa Lind");
        page.must_say("on duty again, everywhere: Dr. Rosa Lind")
            .must_say("next")
            .must_say("the second person");
        page.must_say("Nobody has opened it for 5 minutes");
        assert!(!strip(&page), "the page itself needs no strip");
        // The office sees names and numbers to ring; a lead who is neither sees that something waits.
        office.opens("/alarms").await.must_say("Mia Stone").must_not_say("Open the check");
        lead.opens("/alarms").await.must_say("Check of a patient").must_not_say("Mia Stone");
        let ladder = running_ladder(&practice).await;
        let refused = lead.presses(&format!("/alarms/ladders/{ladder}"), &[]).await;
        assert_eq!(refused.status, StatusCode::FORBIDDEN);
        surgeon.presses(&format!("/alarms/ladders/{ladder}"), &[]).await.is_fine();
        assert!(!strip(&surgeon.opens("/queue").await));
        surgeon.opens("/alarms").await.must_say("Nobody is being called.").must_say("Somebody sees to it");
        // Nobody opened it: ten minutes later it climbs again.
        practice.minutes_of_work_pass(11).await;
        surgeon.opens("/queue").await.must_say("An emergency waits and nobody sees to it yet.");
    })
    .await;
}

#[tokio::test]
async fn of_two_who_press_at_once_the_second_is_told_who_has_it() {
    on_each_engine(async |practice| {
        let (office, rosa) = (practice.office().await, practice.surgeon().await);
        let ines = practice.staff("Dr. Inés Varga", SURGEON).await;
        emergency_of("Mia Stone", &office, &rosa).await;
        let path = format!("/alarms/ladders/{}", running_ladder(&practice).await);
        let (one, other) = tokio::join!(rosa.presses(&path, &[]), ines.presses(&path, &[]));
        let (first, second, late) = if one.status.is_redirection() {
            ("Dr. Rosa Lind", other, &ines)
        } else {
            ("Dr. Inés Varga", one, &rosa)
        };
        assert_eq!(second.status, StatusCode::CONFLICT);
        second.must_say(&format!("{first} sees to it since 11:00. You need do nothing more about it."));
        late.opens("/alarms").await.must_say(&format!("{first} since 11:00"));
        assert_eq!(actions(&practice).await.iter().filter(|action| *action == "ladder.stop").count(), 1);
        // Pressed again by whoever has it: still theirs, and nothing is written twice.
        let has_it = if first == "Dr. Rosa Lind" { &rosa } else { &ines };
        has_it.presses(&path, &[]).await.is_fine();
        assert_eq!(actions(&practice).await.iter().filter(|action| *action == "ladder.stop").count(), 1);
    })
    .await;
}

#[tokio::test]
async fn opening_the_check_stops_the_calling_and_the_page_says_so() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let check = emergency_of("Mia Stone", &office, &surgeon).await;
        surgeon.presses(&format!("/checks/{check}/open"), &[]).await.is_fine();
        let page = surgeon.opens("/alarms").await;
        page.must_say("Nobody is being called.");
        assert!(!strip(&surgeon.opens("/patients").await));
        // Given back unread: it is called for again.
        review::release(practice.desk(), &surgeon.member, check.parse().unwrap(), &practice.moment())
            .await
            .unwrap();
        practice.minutes_of_work_pass(11).await;
        surgeon.opens("/alarms").await.must_say("Check of Mia Stone").must_say("I see to it");
    })
    .await;
}

#[tokio::test]
async fn an_alarm_is_taken_once_and_ended_by_whoever_saw_to_it() {
    on_each_engine(async |practice| {
        let (office, lead) = (practice.office().await, practice.lead().await);
        let moment = practice.moment();
        let mut tx = practice.desk().db.write().await.unwrap();
        for (kind, about) in [(AlarmKind::ClockSetBack, "clock"), (AlarmKind::NoPageOpen, "pages")] {
            assert!(alarms::raise(&mut tx, practice.id, kind, about, &moment).await.unwrap());
        }
        tx.commit().await.unwrap();
        let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
        let of = |kind| open.iter().find(|alarm| alarm.kind == kind).unwrap().id;
        let (clock, pages) = (of(AlarmKind::ClockSetBack), of(AlarmKind::NoPageOpen));
        office.opens("/patients").await.must_say("2 alarms.");
        office.presses(&format!("/alarms/{clock}/take"), &[]).await.is_fine();
        let late = lead.presses(&format!("/alarms/{clock}/take"), &[]).await;
        assert_eq!(late.status, StatusCode::CONFLICT);
        late.must_say("Pat Moss sees to it since 11:00");
        lead.opens("/practice").await.must_say("1 alarm.");
        lead.presses(&format!("/alarms/{clock}/end"), &[]).await.is_fine();
        // What ends by itself is ended by nobody's press.
        let refused = lead.presses(&format!("/alarms/{pages}/end"), &[]).await;
        assert_eq!(refused.status, StatusCode::FORBIDDEN);
        let page = lead.opens("/alarms").await;
        page.must_say("Nobody has a page open").must_not_say("clock was set back");
        let again = lead.presses(&format!("/alarms/{clock}/end"), &[]).await;
        assert_eq!(again.status, StatusCode::CONFLICT);
    })
    .await;
}

#[tokio::test]
async fn somebody_switched_off_while_being_called_is_told_nothing_more_and_the_others_are() {
    on_each_engine(async |practice| {
        let (office, rosa) = (practice.office().await, practice.surgeon().await);
        let (ines, lead) = (practice.staff("Dr. Inés Varga", SURGEON).await, practice.lead().await);
        is_reached(&practice, &rosa, Reached::Sms, "+12025550150").await;
        is_reached(&practice, &ines, Reached::Sms, "+12025550151").await;
        emergency_of("Mia Stone", &office, &ines).await;
        practice.minutes_of_work_pass(1).await;
        let sent_to = async |number: &str| {
            let mut books = practice.books().await;
            let sent = deliveries::in_state(&mut books, practice.id, DeliveryState::Sent, 100).await.unwrap();
            sent.iter().filter(|letter| letter.address == number).count()
        };
        assert_eq!((sent_to("+12025550150").await, sent_to("+12025550151").await), (1, 1));
        lead.presses(&format!("/practice/staff/{}/off", rosa.member.id), &[]).await.is_fine();
        practice.minutes_of_work_pass(12).await;
        assert_eq!(sent_to("+12025550150").await, 1, "nothing more to whoever is gone");
        assert!(sent_to("+12025550151").await >= 3, "the other is told again");
        let page = ines.opens("/alarms").await;
        page.must_say("whoever is on duty: Dr. Inés Varga , Dr. Rosa Lind");
        page.must_say("on duty again, everywhere: Dr. Inés Varga 11:10").must_say("next 11:20");
    })
    .await;
}

#[tokio::test]
async fn a_lead_sends_a_dead_letter_again_or_sets_it_aside_and_sees_no_address() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let lead = practice.lead().await;
        // Six digits are no number: whatever goes there is dead at once.
        is_reached(&practice, &surgeon, Reached::Sms, "555014").await;
        emergency_of("Mia Stone", &office, &surgeon).await;
        practice.works().await;
        practice.seconds_pass(3);
        practice.works().await;
        assert_eq!(lead.opens("/practice/jobs").await.status, StatusCode::OK);
        assert_eq!(office.opens("/practice/jobs").await.status, StatusCode::FORBIDDEN);
        let page = lead.opens("/practice/jobs").await;
        page.must_say("“Something urgent waits” to Dr. Rosa Lind").must_say("Text, number ending in 14");
        page.must_say("7 to 15 digits").must_not_say("555014").must_not_say("Mia");
        lead.opens("/alarms").await.must_say("A message could not be sent");
        let dead = deliveries::in_state(&mut *practice.books().await, practice.id, DeliveryState::Dead, 9)
            .await
            .unwrap();
        let subject = format!("delivery:{}", dead[0].id);
        lead.presses("/practice/letters/send", &[("id", &subject)]).await.is_fine();
        let again = lead.presses("/practice/letters/send", &[("id", &subject)]).await;
        assert_eq!(again.status, StatusCode::CONFLICT);
        lead.opens("/practice/jobs").await.must_not_say("number ending in 14");
        // It fails again, and is there again, once.
        practice.works().await;
        let page = lead.opens("/practice/jobs").await;
        assert_eq!(page.words().matches("number ending in 14").count(), 1);
        lead.presses("/practice/letters/not-needed", &[("id", &subject)]).await.is_fine();
        lead.opens("/practice/jobs").await.must_not_say("number ending in 14");
        let failed =
            jobs::in_state(&mut *practice.books().await, practice.id, JobState::Failed, 9).await.unwrap();
        assert_eq!(failed, []);
        let said = actions(&practice).await;
        for action in ["letter.dead", "letter.send_again", "letter.not_needed"] {
            assert!(said.iter().any(|one| one == action), "{action}: {said:?}");
        }
        assert_eq!(audit::first_break(&mut *practice.books().await, practice.id).await.unwrap(), None);
    })
    .await;
}

#[tokio::test]
async fn a_letter_without_an_address_goes_out_once_there_is_one() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let lead = practice.lead().await;
        emergency_of("Mia Stone", &office, &surgeon).await;
        practice.works().await;
        lead.opens("/practice/jobs").await.must_say("there is no address that works");
        lead.opens("/practice/staff").await.must_say("No address that works: no message reaches them.");
        lead.opens("/practice/duty").await.must_say("Dr. Rosa Lind has no address that works");
        surgeon.opens("/alarms").await.must_say("(no address that works)");
        is_reached(&practice, &surgeon, Reached::Sms, "+12025550150").await;
        let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
        let about = open.iter().find(|alarm| alarm.about.starts_with("notice:")).unwrap().about.clone();
        lead.presses("/practice/letters/send", &[("id", &about)]).await.is_fine();
        practice.minutes_of_work_pass(1).await;
        let sent = deliveries::in_state(&mut *practice.books().await, practice.id, DeliveryState::Sent, 9)
            .await
            .unwrap();
        assert_eq!(sent.len(), 1);
        lead.opens("/practice/duty").await.must_not_say("Called, but not reached");
    })
    .await;
}

#[tokio::test]
async fn a_job_that_was_given_up_is_tried_again_by_hand_once() {
    on_each_engine(async |practice| {
        let (office, lead) = (practice.office().await, practice.lead().await);
        let moment = practice.moment();
        let mut tx = practice.desk().db.write().await.unwrap();
        notices::enqueue(&mut tx, practice.id, NoticeKind::WrongPins, Recipient::Office, "link:x", &moment)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        is_reached(&practice, &office, Reached::Email, "office@harbor.example").await;
        // It fails twenty times.
        let failed = loop {
            let job = working::claim(practice.desk(), &practice.moment()).await.unwrap().unwrap();
            if job.kind == JobKind::AddressNotice {
                let given =
                    working::give_back(practice.desk(), &job, "the disk was full", &practice.moment())
                        .await
                        .unwrap();
                if given == working::Worked::GaveUp {
                    break job.id.to_string();
                }
                lead.opens("/practice/jobs").await.must_say("the disk was full").must_say("Try now");
                lead.presses("/practice/jobs/now", &[("id", &job.id.to_string())]).await.is_fine();
            }
        };
        lead.opens("/practice/jobs").await.must_say("Find out whom to write to").must_say("20 tries");
        lead.opens("/alarms").await.must_say("A job of the program failed again and again");
        lead.presses("/practice/jobs/now", &[("id", &failed)]).await.is_fine();
        lead.opens("/alarms").await.must_not_say("A job of the program failed again and again");
        practice.minutes_of_work_pass(1).await;
        let sent = deliveries::in_state(&mut *practice.books().await, practice.id, DeliveryState::Sent, 9)
            .await
            .unwrap();
        assert_eq!(sent.len(), 1);
        let done = lead.presses("/practice/jobs/now", &[("id", &failed)]).await;
        assert_eq!(done.status, StatusCode::CONFLICT);
    })
    .await;
}

#[tokio::test]
async fn a_lead_changes_the_times_within_what_is_safe_and_the_surgeon_hears_of_it() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let lead = practice.lead().await;
        is_reached(&practice, &surgeon, Reached::Email, "rosa@harbor.example").await;
        let page = lead.opens("/practice/ladder").await;
        page.must_say("2 to 5 min").must_say("None: these are the times the program comes with.");
        let fields = |page: &Page| -> Vec<(String, String)> {
            let kinds = ["go_now", "ring_now", "overdue"];
            let names = kinds.iter().flat_map(|kind| (1..6).map(move |rung| format!("{kind}_{rung}")));
            names.filter_map(|name| page.field(&name).map(|value| (name, value))).collect()
        };
        let typed = fields(&page);
        assert_eq!(typed.len(), 13);
        let with = |name: &str, minutes: &str| -> Vec<(String, String)> {
            let change = |(field, value): &(String, String)| {
                (field.clone(), if field == name { minutes.to_owned() } else { value.clone() })
            };
            typed.iter().map(change).collect()
        };
        let press = async |fields: Vec<(String, String)>| {
            let fields: Vec<(&str, &str)> = fields.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
            lead.presses("/practice/ladder", &fields).await
        };
        let refused = press(with("go_now_1", "9")).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        refused.must_say("Nothing was changed.").must_say("Enter whole minutes from 2 to 5.");
        assert_eq!(refused.field("go_now_1").as_deref(), Some("9"), "what was typed stays");
        press(with("go_now_1", "3")).await.is_fine();
        press(with("go_now_1", "3")).await.is_fine();
        let page = lead.opens("/practice/ladder").await;
        page.must_say("Lee Park : Emergency: 0, 5, 10, 20, 30, 30 → 0, 3, 10, 20, 30, 30 minutes");
        assert_eq!(
            actions(&practice).await.iter().filter(|action| *action == "ladder_times.keep").count(),
            1
        );
        surgeon.opens("/practice/ladder").await.must_say("3 min of 2 to 5");
        assert_eq!(surgeon.presses("/practice/ladder", &[]).await.status, StatusCode::FORBIDDEN);
        practice.minutes_of_work_pass(1).await;
        let sent = deliveries::in_state(&mut *practice.books().await, practice.id, DeliveryState::Sent, 9)
            .await
            .unwrap();
        assert!(sent.len() == 1 && sent[0].body.contains("/practice/ladder"), "{sent:?}");
        // A ladder that begins now climbs by them.
        emergency_of("Mia Stone", &office, &surgeon).await;
        practice.works().await;
        surgeon.opens("/alarms").await.must_say("next 11:04: on duty again, everywhere");
    })
    .await;
}

#[tokio::test]
async fn a_call_that_is_late_is_called_for_by_its_own_name() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let check = emergency_of("Mia Stone", &office, &surgeon).await;
    surgeon
        .decides(check.parse().unwrap(), closewatch::triage::Decision::CallByOffice, "We ring you.")
        .await
        .unwrap();
    practice.works().await;
    practice.minutes_of_work_pass(12).await;
    let page = office.opens("/alarms").await;
    page.must_say("Call to Mia Stone").must_say("Past its due time").must_say("I see to it");
}
