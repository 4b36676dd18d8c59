//! A lead or a surgeon asks whether there is enough cover, told by the words they see.

use axum::http::StatusCode;
use jiff::SignedDuration;

use closewatch::ids::Chance;
use closewatch::ids::WoundCheckId;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::practices;
use closewatch::triage::Urgency;

use crate::support::Page;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::no_danger;

const CLASSES: [&str; 5] = ["go_now", "ring_now", "today", "tomorrow", "on_track"];
const WORKDAYS: [&str; 5] = ["mon", "tue", "wed", "thu", "fri"];

/// The form's fields with these checks a day, six minutes a review, and one reviewer on weekdays.
fn form(per_day: [&str; 5]) -> Vec<(String, String)> {
    let mut fields = vec![];
    for (class, day) in CLASSES.iter().zip(per_day) {
        fields.push((format!("per_day_{class}"), day.to_owned()));
        fields.push((format!("minutes_{class}"), "6".to_owned()));
    }
    for (name, value) in [
        ("source", "typed"),
        ("weeks", "12"),
        ("hours", "flat"),
        ("spread", "log_normal"),
        ("reviewers", "1"),
        ("opens", "8:00"),
        ("closes", "18:00"),
        ("seed", "1"),
    ] {
        fields.push((name.to_owned(), value.to_owned()));
    }
    fields.extend(WORKDAYS.map(|day| ("day".to_owned(), day.to_owned())));
    fields
}

fn with(mut fields: Vec<(String, String)>, changes: &[(&str, &str)]) -> Vec<(String, String)> {
    for (name, value) in changes {
        fields.retain(|(field, _)| field != name);
        fields.push(((*name).to_owned(), (*value).to_owned()));
    }
    fields
}

async fn asks(staff: &Staff, fields: &[(String, String)]) -> Page {
    staff.opens(&format!("/practice/forecast?{}", serde_urlencoded::to_string(fields).unwrap())).await
}

/// Two checks of each class every day for five weeks, at nine in the morning and three in the afternoon.
async fn five_recorded_weeks(practice: &Practice) {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let receipt = phone.sends("first", no_danger(), &[]).await;
    let first =
        checks::find(&mut *practice.books().await, practice.id, receipt.check).await.unwrap().unwrap();
    let chance = Chance::seeded(3);
    let mut tx = practice.desk().db.write().await.unwrap();
    for day in 0..36 {
        for hours in [2, 20] {
            let urgency = Urgency::ALL[chance.below(5) as usize];
            for urgency in [urgency, Urgency::OnTrack] {
                let mut check = first.clone();
                check.id = WoundCheckId::mint(&practice.moment());
                check.sequence = practices::next_check_sequence(&mut tx, practice.id).await.unwrap();
                check.form_key = format!("form {}", check.sequence);
                check.receipt = format!("R{}", check.sequence);
                check.assessment.urgency = urgency;
                check.received = practice.now() - SignedDuration::from_hours(day * 24 + hours);
                check.state = CheckState::Closed;
                checks::insert(&mut tx, &check).await.unwrap();
            }
        }
    }
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn with_too_few_records_the_page_says_so_and_asks_for_numbers() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let lead = practice.lead().await;
    let page = lead.opens("/practice/forecast").await;
    page.is_fine()
        .must_say("Is there enough cover?")
        .must_say("Too few records to go by: 0 wound checks in 0 whole weeks.")
        .must_say("at least 100 wound checks")
        .must_not_say("What to expect");
    assert_eq!(page.field("opens").as_deref(), Some("8:00"));
    assert_eq!(page.field("closes").as_deref(), Some("18:00"));
    assert_eq!(page.field("per_day_today").as_deref(), Some(""));
    // Asking for the records all the same is refused by name.
    let refused = asks(&lead, &with(form(["1"; 5]), &[("source", "records")])).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    refused.must_say("Nothing was worked out yet.").must_say("Too few records to go by");
}

#[tokio::test]
async fn a_typed_question_is_answered_with_waits_reasons_and_one_more_reviewer() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let lead = practice.lead().await;
    let page = asks(&lead, &form(["0.5", "1", "4", "8", "16"])).await;
    page.is_fine()
        .must_say("With 1 reviewer on duty Monday to Friday from 8:00 to 18:00, reviewing takes 41 % of their time.")
        .must_say("Less often in time: Go now")
        .must_say("70 % of all checks come while nobody is on duty.")
        .must_say("Go now never waits in a list.")
        .must_say("One more reviewer, same hours")
        .must_say("Half an hour longer each day")
        .must_say("here nobody is outside the hours of duty")
        .must_say("here they vary less")
        .must_not_say("If all were read first come, first served")
        .must_say("Seed 1: the same question with the same seed gives the same page.");
    assert_eq!(page.body, asks(&lead, &form(["0.5", "1", "4", "8", "16"])).await.body);
    let other_seed = with(form(["0.5", "1", "4", "8", "16"]), &[("seed", "2")]);
    assert_ne!(page.words(), asks(&lead, &other_seed).await.words());
}

/// Four classes of 0.2, 0.6, 1.2 and 2.0 an hour at ten minutes each, one surgeon always on: worked by hand.
#[tokio::test]
async fn day_and_night_with_even_arrivals_the_formula_stands_beside_the_played_weeks() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let lead = practice.lead().await;
    let mut fields = with(
        form(["4.8", "14.4", "28.8", "48", "0"]),
        &[("spread", "exponential"), ("opens", "0:00"), ("closes", "24:00"), ("reviewers", "1")],
    );
    for class in CLASSES {
        fields = with(fields, &[(format!("minutes_{class}").as_str(), "10")]);
    }
    fields.push(("day".to_owned(), "sat".to_owned()));
    fields.push(("day".to_owned(), "sun".to_owned()));
    let page = asks(&lead, &fields).await;
    page.is_fine().must_say("every day from 0:00 to 24:00, reviewing takes 67 % of their time");
    page.must_say("Mean waits by formula Class 1 reviewer 2 reviewers Go now 6.9 min");
    page.must_say("Ring within the hour 8.0 min").must_say("Today 11.5 min");
    page.must_say("By next working day 30.0 min");
    page.must_say("Mean over all checks 20.0 min").must_say("first come, first served 20.0 min");
    page.must_not_say("nobody is on duty").must_not_say("Half an hour longer").must_not_say("On track 0");
}

#[tokio::test]
async fn nonsense_is_named_and_nothing_typed_is_lost() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let lead = practice.lead().await;
    let nonsense = [
        ("per_day_today", "<lots>"),
        ("minutes_tomorrow", "0"),
        ("reviewers", "0"),
        ("opens", "noon"),
        ("seed", "x"),
    ];
    let page = asks(&lead, &with(form(["1", "2", "3", "4", "5"]), &nonsense)).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    page.must_say("Nothing was worked out yet.")
        .must_say("Today: enter how many come a day")
        .must_say("By next working day: enter the minutes a review takes, above 0")
        .must_say("Enter a whole number of reviewers, 1 or more.")
        .must_say("Enter a time from 0:00 to 24:00")
        .must_not_say("What to expect");
    for (field, typed) in nonsense {
        assert_eq!(page.field(field).as_deref(), Some(typed));
    }
    assert_eq!(page.field("per_day_on_track").as_deref(), Some("5"));
    for broken in ["%", "day", "=&=&", "per_day_today=%ff", "a=1&a=2"] {
        let page = lead.opens(&format!("/practice/forecast?{broken}")).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{broken}");
    }
}

#[tokio::test]
async fn more_work_than_time_is_told_with_the_reviewers_it_takes() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let lead = practice.lead().await;
    // 100 a day × 7 × 6 minutes = 4,200 minutes of work for 3,000 on duty.
    let page = asks(&lead, &form(["20"; 5])).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    page.must_say("There is not enough cover: 4200 minutes of reviewing come in a week")
        .must_say("each reviewer has 3000 minutes on duty")
        .must_say("at least 2 reviewers");
    let enough = asks(&lead, &with(form(["20"; 5]), &[("reviewers", "2")])).await;
    enough.is_fine().must_say("What to expect").must_say("takes 70 % of their time");
    let hardly = asks(&lead, &with(form(["25"; 5]), &[("reviewers", "2")])).await;
    hardly.is_fine().must_say("There is hardly any slack");
}

#[tokio::test]
async fn enough_records_are_gone_by_without_being_asked() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    five_recorded_weeks(&practice).await;
    let lead = practice.lead().await;
    let page = lead.opens("/practice/forecast").await;
    page.is_fine()
        .must_say("What to expect")
        .must_say("140 wound checks in the last 5 whole weeks")
        .must_say("here they change with the hour of the week")
        .must_say("Checks a week on average, by day and hours")
        .must_not_say("Too few records");
    // Two of the four a day come at nine in the morning, the others at three in the afternoon.
    page.must_say("Wednesday 0.0 0.0 2.0 2.0 0.0 0.0 4.0");
    let shaped = asks(&lead, &with(form(["1"; 5]), &[("hours", "recorded")])).await;
    shaped.is_fine().must_say("here they change with the hour of the week");
}

#[tokio::test]
async fn a_surgeon_comes_by_the_pages_about_the_ranking_and_is_shown_no_page_of_the_lead() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let surgeon = practice.surgeon().await;
    assert!(surgeon.opens("/queue").await.html().contains("/practice/protocol"));
    assert!(surgeon.opens("/practice/protocol").await.html().contains("/practice/forecast"));
    let page = surgeon.opens("/practice/forecast").await;
    page.is_fine().must_say("Is there enough cover?");
    assert!(!page.html().contains("/practice/staff"));
    let lead = practice.lead().await;
    assert!(lead.opens("/practice").await.html().contains("/practice/forecast"));
    assert!(lead.opens("/practice/forecast").await.html().contains("/practice/staff"));
}
