//! Notices become letters: to the right address, in the reader's language, once for what says the same, and never lost.

use std::fs;

use closewatch::care::outbox;
use closewatch::care::outbox::Refusal;
use closewatch::care::working;
use closewatch::care::working::Worked;
use closewatch::ids::StaffAddressId;
use closewatch::store::addresses;
use closewatch::store::addresses::Reached;
use closewatch::store::addresses::StaffAddress;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::deliveries;
use closewatch::store::deliveries::Delivery;
use closewatch::store::deliveries::DeliveryState;
use closewatch::store::jobs::Job;
use closewatch::store::jobs::JobKind;
use closewatch::triage::Decision;

use crate::support::Practice;
use crate::support::Staff;
use crate::support::in_danger;
use crate::support::no_danger;
use crate::support::on_each_engine;

async fn is_reached(practice: &Practice, who: &Staff, places: &[(Reached, &str)]) {
    let moment = practice.moment();
    let mut tx = practice.desk().db.write().await.unwrap();
    for (place, (channel, address)) in (1..).zip(places) {
        let address = StaffAddress {
            id: StaffAddressId::mint(&moment),
            practice: practice.id,
            staff: who.member.id,
            channel: *channel,
            address: (*address).to_owned(),
            place,
            since: moment.now,
        };
        assert!(addresses::insert(&mut tx, &address).await.unwrap());
    }
    tx.commit().await.unwrap();
}

/// The words of every letter in the folder, first sent first.
fn letters(practice: &Practice) -> Vec<String> {
    let mut files: Vec<_> =
        fs::read_dir(&practice.letters).unwrap().map(|file| file.unwrap().path()).collect();
    files.sort();
    let read = files.iter().map(|file| fs::read_to_string(file).unwrap());
    read.filter(|text| text.contains("\"text\"")).collect()
}

async fn deliveries_in(practice: &Practice, state: DeliveryState) -> Vec<Delivery> {
    deliveries::in_state(&mut *practice.books().await, practice.id, state, 100).await.unwrap()
}

async fn alarms_of(practice: &Practice) -> Vec<AlarmKind> {
    let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.iter().map(|alarm| alarm.kind).collect()
}

const SMS: (Reached, &str) = (Reached::Sms, "+12025550150");
const MAIL: (Reached, &str) = (Reached::Email, "rosa@harbor.example");

#[tokio::test]
async fn an_emergency_is_texted_at_once_and_mailed_as_well_after_five_minutes() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        is_reached(&practice, &surgeon, &[SMS, MAIL]).await;
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("form", in_danger(), &[]).await;
        practice.works().await;
        practice.seconds_pass(2);
        practice.works().await;
        let first = letters(&practice);
        assert_eq!(first.len(), 1, "{first:?}");
        assert!(first[0].contains("+12025550150") && first[0].contains("https://wounds.example/alarms"));
        practice.minutes_of_work_pass(6).await;
        assert_eq!(letters(&practice).len(), 3, "the text again, and the mail");
    })
    .await;
}

#[tokio::test]
async fn no_letter_says_who_or_what_it_is_about() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        is_reached(&practice, &surgeon, &[SMS]).await;
        let phone = office.enrols("Zebedee Canary", &surgeon).await.opens_link().await;
        let check = phone.sends("form", in_danger(), &[]).await.check;
        practice.minutes_of_work_pass(35).await;
        surgeon.decides(check, Decision::ChangeHomeCare, "Wash the canary wound.").await.unwrap();
        practice.works().await;
        let all = letters(&practice);
        assert!(all.len() >= 5, "{}", all.len());
        for letter in all {
            let said = letter.to_lowercase();
            for hidden in
                ["zebedee", "canary", "wound ", "thigh", "go now", "wash", "bleed", &check.to_string()]
            {
                assert!(!said.contains(hidden), "{hidden}: {letter}");
            }
        }
    })
    .await;
}

#[tokio::test]
async fn twenty_urgent_checks_at_once_are_one_text_and_twenty_in_the_books() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        is_reached(&practice, &surgeon, &[SMS]).await;
        for number in 0..20 {
            let patient = office.enrols(&format!("Patient {number}"), &surgeon).await;
            patient.opens_link().await.sends("form", in_danger(), &[]).await;
        }
        practice.works().await;
        practice.seconds_pass(2);
        practice.works().await;
        assert_eq!(letters(&practice).len(), 1);
        let sent = deliveries_in(&practice, DeliveryState::Sent).await;
        assert_eq!(sent.len(), 20);
        assert_eq!(sent.iter().filter(|one| one.sent_with.is_none()).count(), 1);
        assert_eq!(surgeon.reads_queue().await.len(), 20);
    })
    .await;
}

#[tokio::test]
async fn a_patient_is_told_of_an_answer_on_their_own_phone_and_after_stop_a_person_must_see_to_it() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        let phone = patient.opens_link().await;
        let check = phone.sends("form", no_danger(), &[]).await.check;
        surgeon.decides(check, Decision::HealingAsExpected, "Good.").await.unwrap();
        practice.works().await;
        let told = letters(&practice);
        assert_eq!(told.len(), 1);
        assert!(told[0].contains(&patient.enrolled.patient.phone) && told[0].contains("/my"), "{}", told[0]);
        let number = patient.enrolled.patient.phone.clone();
        for channel in [Reached::Sms, Reached::Voice] {
            let mut tx = practice.desk().db.write().await.unwrap();
            addresses::opt_out(&mut tx, practice.id, channel, &number, practice.now()).await.unwrap();
            tx.commit().await.unwrap();
        }
        let check = phone.sends("form 2", no_danger(), &[]).await.check;
        surgeon.decides(check, Decision::HealingAsExpected, "Good.").await.unwrap();
        practice.works().await;
        assert_eq!(letters(&practice).len(), 1, "nothing more to that number");
        assert_eq!(alarms_of(&practice).await, [AlarmKind::LetterFailed]);
    })
    .await;
}

#[tokio::test]
async fn somebody_on_duty_without_an_address_is_an_alarm_and_the_ladder_climbs_on() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("form", in_danger(), &[]).await;
        practice.works().await;
        assert!(alarms_of(&practice).await.contains(&AlarmKind::LetterFailed));
        is_reached(&practice, &office, &[(Reached::Sms, "+12025550151")]).await;
        practice.minutes_of_work_pass(31).await;
        assert!(letters(&practice).iter().any(|letter| letter.contains("+12025550151")), "everyone is told");
    })
    .await;
}

/// The letter of the first rung, claimed.
async fn letter_in_hand(practice: &Practice) -> (Job, Delivery) {
    loop {
        let Some(job) = working::claim(practice.desk(), &practice.moment()).await.unwrap() else {
            practice.seconds_pass(2);
            continue;
        };
        if job.kind == JobKind::SendLetter {
            let moment = practice.moment();
            let delivery = outbox::letter(practice.desk(), &job, &moment).await.unwrap().unwrap();
            return (job, delivery);
        }
        working::within_the_house(practice.desk(), &job, &outside(), &practice.moment()).await.unwrap();
    }
}

fn outside() -> outbox::Outside {
    outbox::Outside {
        public_url: "https://wounds.example".to_owned(),
        channels: vec![Reached::Sms, Reached::Voice],
    }
}

#[tokio::test]
async fn a_letter_sent_by_a_program_killed_before_it_noted_so_goes_again_under_the_same_name() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        is_reached(&practice, &surgeon, &[SMS]).await;
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("form", in_danger(), &[]).await;
        let (first, delivery) = letter_in_hand(&practice).await;
        practice.seconds_pass(61);
        let (second, again) = letter_in_hand(&practice).await;
        assert_eq!((first.id, &delivery.id), (second.id, &again.id), "the same letter, the same reference");
        let moment = practice.moment();
        let late = outbox::sent(practice.desk(), &first, &delivery, None, &moment).await.unwrap();
        assert_eq!(late, Worked::InOtherHands);
        assert_eq!(deliveries_in(&practice, DeliveryState::Sent).await.len(), 0);
        assert_eq!(
            outbox::sent(practice.desk(), &second, &again, Some("p1"), &moment).await.unwrap(),
            Worked::Done
        );
        assert_eq!(deliveries_in(&practice, DeliveryState::Sent).await[0].provider_id.as_deref(), Some("p1"));
    })
    .await;
}

#[tokio::test]
async fn after_two_refusals_another_channel_is_used_as_well_and_after_twelve_it_is_an_alarm() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        is_reached(&practice, &surgeon, &[SMS, (Reached::Voice, "+12025550152")]).await;
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("form", in_danger(), &[]).await;
        let (mut job, mut delivery) = letter_in_hand(&practice).await;
        let number = delivery.id;
        for tries in 1..=12 {
            let later = Refusal::Later { after: None };
            let moment = practice.moment();
            let worked =
                outbox::refused(practice.desk(), &job, &delivery, later, "no answer", &outside(), &moment)
                    .await;
            let expected = if tries == 12 { Worked::GaveUp } else { Worked::PutOff };
            assert_eq!(worked.unwrap(), expected, "try {tries}");
            let ways =
                deliveries::of_notice(&mut *practice.books().await, practice.id, delivery.notice).await;
            assert_eq!(ways.unwrap().len(), if tries < 2 { 1 } else { 2 }, "try {tries}");
            if tries == 12 {
                break;
            }
            practice.minutes_pass(7);
            (job, delivery) = loop {
                let (job, delivery) = letter_in_hand(&practice).await;
                if delivery.id == number {
                    break (job, delivery);
                }
            };
        }
        assert!(alarms_of(&practice).await.contains(&AlarmKind::LetterFailed));
        assert_eq!(deliveries_in(&practice, DeliveryState::Dead).await.len(), 1);
    })
    .await;
}

#[tokio::test]
async fn delivered_is_noted_once_and_stops_no_ladder() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        is_reached(&practice, &surgeon, &[SMS]).await;
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("form", in_danger(), &[]).await;
        practice.minutes_of_work_pass(1).await;
        let sent = deliveries_in(&practice, DeliveryState::Sent).await.remove(0);
        let mut tx = practice.desk().db.write().await.unwrap();
        assert!(deliveries::note_delivered(&mut tx, practice.id, sent.id, practice.now()).await.unwrap());
        assert!(!deliveries::note_delivered(&mut tx, practice.id, sent.id, practice.now()).await.unwrap());
        tx.commit().await.unwrap();
        practice.minutes_of_work_pass(6).await;
        assert!(letters(&practice).len() >= 2, "the ladder climbs on");
    })
    .await;
}
